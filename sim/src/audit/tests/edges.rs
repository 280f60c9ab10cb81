//! What just holds and what is a millisecond too much, in whole streams.

use dosewright_core::cause::Cause;
use dosewright_core::config::Head;
use dosewright_core::record::{Act, Delivery, OutcomeKind, Record};
use dosewright_core::time::Instant;
use dosewright_core::units::Volume;

use super::bench::{
    DAY, Ev, HOUR, MIN, Show, Stream, breaks, changed, facts, head, holds, is_outcome, lacks,
    moved, nights, places, round_head, with_outcome,
};
use crate::observe::DeviceAct;

const END: u64 = 12 * HOUR as u64;

fn night() -> Stream {
    nights(head(), &[], END)
}

fn later(at: &mut Instant, by: i64) {
    *at = Instant::from_ms(at.as_ms() + by);
}

fn is_stamp(ev: &Ev) -> bool {
    matches!(ev, Ev::Record(Record::Stamp { .. }))
}

/// A record, and what it says of its time, so much later.
fn stamped_later(stream: &Stream, place: usize, by: i64) -> Stream {
    let mut stream = stream.clone();
    stream[place].0 = stream[place].0.saturating_add_signed(by);
    changed(&stream, place, |record| match record {
        Record::Stamp { at } => later(at, by),
        Record::Outcome(o) => later(&mut o.at, by),
        other => panic!("{other:?}"),
    })
}

#[test]
fn d4_the_pin_follows_the_ledger_to_a_millisecond() {
    let stream = night();
    let ons = places(&stream, |ev| matches!(ev, Ev::Pump(true)));
    let offs = places(&stream, |ev| matches!(ev, Ev::Pump(false)));
    breaks(&moved(&stream, ons[4], 1), END, "D4", "the pump did not go on");
    holds(&moved(&stream, offs[4], 1), END);
    holds(&moved(&stream, offs[4], -1), END);
    breaks(&moved(&stream, offs[4], 2), END, "D4", "ran for 9059 ms on an intent of 9057");
    breaks(&moved(&stream, offs[4], -2), END, "D4", "went off after 9055 of 9057 ms");
}

#[test]
fn d7_the_governor_ends_a_run_within_a_millisecond() {
    let tight = Head { longest_run_ms: 9_500, ..head() };
    let stream = nights(tight, &[], END);
    holds(&stream, END);
    let off = places(&stream, |ev| matches!(ev, Ev::Pump(false)))[4];
    // an intent that is too long is said once, and not of its pin
    let mut long = night();
    for (_, ev) in &mut long {
        if let Ev::Act(DeviceAct::SetHead(h)) | Ev::Record(Record::Head { head: h, .. }) = ev {
            h.longest_run_ms = 9_000;
        }
    }
    breaks(&long, END, "D7", "a pulse of 9057 ms: the longest run is 9000 ms");
    lacks(&long, END, "D7", "the pump ran for");
    lacks(&moved(&long, off, 1), END, "D7", "the pump ran for");
    breaks(&moved(&long, off, 2), END, "D7", "the pump ran for 9059 ms");
    // 9057 ms were meant
    lacks(&moved(&stream, off, 444), END, "D7", "the longest run is");
    breaks(&moved(&stream, off, 445), END, "D7", "ran for 9502 ms: the longest run is 9500 ms");
}

#[test]
fn d9_an_hour_between_stamps_and_three_milliseconds() {
    let stream = night();
    let stamp = places(&stream, is_stamp)[2];
    holds(&stamped_later(&stream, stamp, 3), END);
    breaks(&stamped_later(&stream, stamp, 4), END, "D9", "no record with an instant for 3600004");
}

#[test]
fn d10_a_record_is_stamped_by_the_clock_to_a_millisecond() {
    let stream = night();
    let stamp = places(&stream, is_stamp)[2];
    for (by, right) in [(-2, false), (-1, true), (1, true), (2, false)] {
        let off = changed(&stream, stamp, |record| {
            if let Record::Stamp { at } = record {
                later(at, by);
            }
        });
        if right {
            holds(&off, END);
        } else {
            breaks(&off, END, "D10", "the clock chip stands at");
        }
    }
}

#[test]
fn d1_an_outcome_comes_with_the_end_or_two_milliseconds_later() {
    let stream = night();
    let outcome = places(&stream, is_outcome)[0];
    holds(&stamped_later(&stream, outcome, 2), END);
    breaks(&stamped_later(&stream, outcome, 3), END, "D1", "the dose has no outcome by");
    // one that was skipped is owed when the device starts
    let cut = [(30 * MIN, Ev::Supply(false)), (3 * HOUR, Ev::Supply(true))];
    let stream = nights(head(), &cut, END);
    let outcome = places(&stream, is_outcome)[0];
    holds(&stamped_later(&stream, outcome, 2), END);
    breaks(&stamped_later(&stream, outcome, 3), END, "D1", "no outcome: expected skipped");
}

#[test]
fn d4_an_outcome_is_right_to_a_millisecond_of_flow() {
    // 441 nl in a ms, and the rounding of two volumes
    let stream = night();
    let exact = 119_999_950;
    for (nl, right) in [
        (exact - 444, false),
        (exact - 443, true),
        (exact, true),
        (exact + 443, true),
        (exact + 444, false),
    ] {
        let off = with_outcome(&stream, 0, |o| {
            (o.least, o.most) = (Volume::from_nl(nl), Volume::from_nl(nl));
        });
        if right {
            holds(&off, END);
        } else {
            breaks(&off, END, "D4", "least delivered is given as");
            breaks(&off, END, "D4", "most delivered is given as");
        }
    }
}

#[test]
fn d4_an_outcome_says_neither_more_nor_less_than_the_pump_ran() {
    let stream = night();
    let says = |ml| {
        with_outcome(&stream, 0, move |o| {
            (o.least, o.most) = (Volume::from_ml(ml), Volume::from_ml(ml));
        })
    };
    breaks(&says(119), END, "D4", "at most 119000000 nl, and the pump ran for 119999508 nl");
    breaks(&says(121), END, "D4", "at least 121000000 nl, and the pump ran for 120000392 nl");
    breaks(&says(121), END, "D4", "up to 121000000 nl of a dose of 120000000 nl");
}

#[test]
fn what_a_run_came_to_is_summed_by_entry() {
    // two nights, of which the second is cut short
    let end = (2 * DAY) as u64;
    let cut = [(DAY + 50 * MIN, Ev::Supply(false)), (DAY + 310 * MIN, Ev::Supply(true))];
    let stream = nights(round_head(), &cut, end);
    let report = holds(&stream, end);
    let night = report.entries[&dosewright_core::entry::EntryId(1)];
    let counts = night.counts;
    assert_eq!(
        (counts.dues, counts.dosed, counts.part, counts.skipped, counts.open),
        (2, 1, 1, 0, 0)
    );
    assert_eq!(counts, report.dues);
    // 30 pulses of 4 ml, and four, of which the last may not have run
    assert_eq!((night.least_nl, night.most_nl), (132_000_000, 136_000_000));
    assert_eq!((night.pin_nl, night.pin_ms), (136_000_000, 136_000));
    assert_eq!(
        (report.volume_nl, report.pump_on_ms, report.pump_starts),
        (136_000_000, 136_000, 34)
    );
    assert_eq!((report.service_nl, report.refused_acts, report.unjudged), (0, 0, 0));
    let dosed_and_primed = [(4 * HOUR, Ev::Act(DeviceAct::Prime(Volume::from_ml(53))))];
    let report = holds(&nights(round_head(), &dosed_and_primed, END), END);
    assert_eq!((report.service_nl, report.pump_on_ms), (53_000_000, 173_000));
}

#[test]
fn d1_a_part_for_a_rest_that_was_over() {
    // a cut of four hours, after which nothing keeps the pump
    let cut = [(50 * MIN, Ev::Supply(false)), (310 * MIN, Ev::Supply(true))];
    let stream = nights(head(), &cut, END);
    let rest = with_outcome(&stream, 0, |o| o.kind = OutcomeKind::Part(Cause::PumpLimits));
    breaks(&rest, END, "D1", "part, \"pump limits\"");
}

#[test]
fn d1_a_dose_that_is_asked_for_is_due_now() {
    let again = DeviceAct::RunAgain(dosewright_core::entry::EntryId(1));
    let stream = nights(round_head(), &[(2 * HOUR, Ev::Act(again))], END);
    holds(&stream, END);
    let due_before = |by: i64| {
        let mut stream = stream.clone();
        for (_, ev) in &mut stream {
            match ev {
                Ev::Record(Record::Pulse(p)) if p.asked => {
                    later(&mut p.due_at, -by);
                    p.begun_after_ms += by as u32;
                }
                Ev::Record(Record::Outcome(o)) if o.asked => {
                    later(&mut o.due_at, -by);
                    o.begun_after_ms += by as u32;
                }
                _ => {}
            }
        }
        stream
    };
    holds(&due_before(1), END);
    breaks(&due_before(2), END, "D1", "a dose asked for now is due at device ms 7199998");
    // and before the pump has rested it is not begun
    let outcome = places(&night(), is_outcome)[0];
    let soon = night()[outcome].0 as i64 + 100;
    let again = DeviceAct::RunAgain(dosewright_core::entry::EntryId(1));
    let refused = nights(head(), &[(soon, Ev::Act(again))], END);
    assert_eq!(holds(&refused, END).asked.dues, 0);
}

#[test]
fn o1_prime_is_noted_as_it_ran() {
    let prime = [(4 * HOUR, Ev::Act(DeviceAct::Prime(Volume::from_ml(53))))];
    let stream = nights(head(), &prime, END);
    let acts = places(&stream, |ev| matches!(ev, Ev::Record(Record::Act { .. })));
    let noted = |place: usize, by: i32| {
        changed(&stream, place, |record| {
            if let Record::Act { ms, .. } = record {
                *ms = ms.saturating_add_signed(by);
            }
        })
    };
    for by in [-1, 1] {
        holds(&noted(acts[1], by), END);
        breaks(&noted(acts[1], 2 * by), END, "O1", "is noted with");
    }
    // a stop that goes, where none was there, ends nothing
    let more = [prime[0].clone(), (4 * HOUR + 30_000, Ev::Act(DeviceAct::RemoteStop(false)))];
    assert_eq!(holds(&nights(head(), &more, END), END).service_nl, 53_000_000);
    // what was asked for may be rounded up to a whole ms
    holds(&noted(acts[0], 1), END);
    breaks(&noted(acts[0], 2), END, "O1", "nobody asked for so much");
    // off, and noted as ended, so much later
    let off =
        places(&stream, |ev| *ev == Ev::Pump(false)).into_iter().find(|&i| i > acts[0]).unwrap();
    let ends = |stream: &Stream, by: i64| {
        let mut stream = changed(stream, acts[1], |record| {
            if let Record::Act { at, .. } = record {
                later(at, by);
            }
        });
        stream[acts[1]].0 += by as u64;
        moved(&stream, off, by)
    };
    holds(&ends(&stream, 1), END);
    breaks(&ends(&stream, 2), END, "O1", "it was to stop by itself after 120000 ms");
    // two minutes are the longest, or a millisecond less
    let longest = |ms| {
        let mut stream = stream.clone();
        for (_, ev) in &mut stream {
            if let Ev::Act(DeviceAct::SetHead(h)) | Ev::Record(Record::Head { head: h, .. }) = ev {
                h.longest_prime_ms = ms;
            }
        }
        stream
    };
    holds(&longest(120_000), END);
    breaks(&longest(119_999), END, "D7", "prime of 120000 ms begins: its longest run is 119999");
    lacks(&ends(&longest(120_500), 501), END, "D7", "the longest run is");
    breaks(&ends(&longest(120_500), 502), END, "D7", "ran for 120502 ms");
}

#[test]
fn o1_o2_what_begins_is_what_was_asked_for() {
    let run = |asked: DeviceAct, act: Act, ms| {
        let stream = nights(head(), &[(4 * HOUR, Ev::Act(DeviceAct::Calibrate(60_000)))], END);
        let begun = places(&stream, |ev| matches!(ev, Ev::Record(Record::Act { .. })))[0];
        let mut stream = changed(&stream, begun, |record| {
            if let Record::Act { act: a, ms: m, .. } = record {
                (*a, *m) = (act, ms);
            }
        });
        let said = places(&stream, |ev| matches!(ev, Ev::Act(DeviceAct::Calibrate(_))))[0];
        stream[said].1 = Ev::Act(asked);
        stream
    };
    let words = "nobody asked for so much";
    lacks(&run(DeviceAct::Calibrate(60_000), Act::CalibrationBegun, 60_000), END, "O1", words);
    breaks(&run(DeviceAct::Calibrate(59_999), Act::CalibrationBegun, 60_000), END, "O1", words);
    breaks(&run(DeviceAct::Calibrate(60_000), Act::PrimeBegun, 60_000), END, "O1", words);
    breaks(&run(DeviceAct::Calibrate(60_000), Act::TrainBegun, 60_000), END, "O1", words);
    let prime = DeviceAct::Prime(Volume::from_ml(53));
    breaks(&run(prime, Act::CalibrationBegun, 60_000), END, "O1", words);
}

#[test]
fn d11_a_snapshot_forgets_a_delivery_after_23_hours() {
    let carries = |at: i64, carried: bool| {
        let stream = nights(head(), &[], (24 * HOUR) as u64);
        let mut show = Show::new(facts());
        for (ms, ev) in stream.iter().filter(|(ms, _)| *ms < at as u64) {
            show.see(*ms, ev);
        }
        show.record(at as u64, &Record::Stamp { at: Instant::from_ms(at) });
        let begin =
            dosewright_core::record::Begin { at: Instant::from_ms(45 * MIN), utc: None, losses: 0 };
        let volume = Volume::from_nl(119_999_950);
        let id = dosewright_core::entry::EntryId(1);
        let delivery = Delivery { id, begin, begun_after_ms: 0, volume };
        show.snapshot(at as u64, &[Record::SnapDeliveries([carried.then_some(delivery), None])]);
        let report = show.auditor.finish(at as u64);
        !report.violations.iter().any(|v| v.what.contains("of the last 23 h"))
    };
    let over = 45 * MIN + 23 * HOUR;
    assert!(carries(over - 1, true) && !carries(over - 1, false));
    assert!(carries(over, true) && carries(over, false));
}

#[test]
fn d1_what_is_slept_through_is_reported() {
    // off from two in the morning on: two nights are missed
    let end = (2 * DAY + 3 * HOUR) as u64;
    let off = nights(head(), &[(2 * HOUR, Ev::Supply(false))], end);
    let report = holds(&off, end);
    assert_eq!(report.slept_through.len(), 1);
    let first = report.slept_through[0];
    assert_eq!(first.due.nominal, super::bench::nominal("2026-10-20 00:45"));
    assert_eq!((first.last, first.count), (super::bench::nominal("2026-10-21 00:45"), 2));
    assert_eq!(first.due_at, Instant::from_ms(DAY + 45 * MIN));
    assert_eq!((report.dues.dues, report.dues.dosed, report.dues.open), (3, 1, 2));
    // one that waits for a wake which does not come
    let asleep: Stream = night().into_iter().filter(|(ms, _)| *ms < 44 * MIN as u64).collect();
    let asleep = super::bench::with(&asleep, &[(60 * MIN, Ev::Late(16 * MIN as u64))]);
    let report = holds(&asleep, 60 * MIN as u64);
    assert_eq!((report.slept_through.len(), report.dues.open), (1, 1));
    // awake, and whole, nothing is
    assert_eq!(holds(&night(), END).slept_through, []);
    // with a clock that has lost its feed nobody can know
    let lost = [(DAY, Ev::Chip(3 * DAY, 0, false))];
    let lost = super::bench::with(&off, &lost);
    assert_eq!(holds(&lost, end).slept_through, []);
}

#[test]
fn d1_a_due_that_waits_for_the_pump_is_not_skipped_before_its_deadline() {
    use super::bench::{CET, every, ideal_stream, install, table, weekly};
    let timetable = table(&[weekly(1, 0x7f, 45), every(2, 6 * HOUR, 50 * MIN)]);
    let stream = ideal_stream(&install(head(), CET, "2026-10-19 00:00", timetable), END);
    let outcome = places(&stream, is_outcome)[1];
    let born = places(&stream, |ev| matches!(ev, Ev::Record(Record::Born(_))))[0];
    // the second one's outcome, as if nothing of it had run
    let Ev::Record(Record::Outcome(mut o)) = stream[outcome].1.clone() else { panic!() };
    o.kind = OutcomeKind::Skipped(Cause::PumpInUse);
    (o.least, o.most, o.begun_after_ms) = (Volume::ZERO, Volume::ZERO, 0);
    o.at = Instant::from_ms(stream[born].0 as i64);
    let mut skipped: Stream = stream[..=born].to_vec();
    skipped.push((stream[born].0, Ev::Record(Record::Outcome(o))));
    breaks(&skipped, 51 * MIN as u64, "D1", "it can wait until its deadline");
    let said = super::bench::audit(&skipped, 51 * MIN as u64).violations[0].to_string();
    assert!(said.contains("\"trickle\", interval 0 (2026-10-19 00:50): skipped"), "{said}");
    // nor one that has its window before it, for another's sake
    o.kind = OutcomeKind::Skipped(Cause::OlderWaiting);
    let last = skipped.len() - 1;
    skipped[last].1 = Ev::Record(Record::Outcome(o));
    breaks(&skipped, 51 * MIN as u64, "D1", "skipped, \"older dose waiting\"");
}

#[test]
fn d1_what_has_to_end_ends_at_once() {
    let minutes = |of: &[(i64, bool)]| -> Vec<(i64, Ev)> {
        of.iter().map(|(min, on)| (min * MIN, Ev::Supply(*on))).collect()
    };
    let restarts =
        minutes(&[(50, false), (51, true), (55, false), (56, true), (60, false), (61, true)]);
    let mut lost = minutes(&[(60, false), (70, true)]);
    lost.push((70 * MIN, Ev::Chip(0, 0, false)));
    let stopped = DeviceAct::StopDose(dosewright_core::entry::EntryId(1));
    let mut off = super::bench::weekly(1, 0x7f, 45);
    off.enabled = false;
    let removed = super::bench::set_table(&[]);
    let edited = super::bench::set_table(&[super::bench::weekly(1, 0x7f, 300)]);
    let act = |act| vec![(60 * MIN + 30_000, Ev::Act(act))];
    for (inputs, cause) in [
        (restarts, Cause::Restarts),
        (lost, Cause::ClockLost),
        (act(stopped), Cause::Stopped),
        (act(super::bench::set_table(&[off])), Cause::Disabled),
        (act(removed), Cause::Removed),
        (act(edited), Cause::Edited),
        // and one whose window is over when the supply comes
        (minutes(&[(60, false), (100, true)]), Cause::SupplyLost),
    ] {
        let stream = nights(head(), &inputs, 3 * HOUR as u64);
        holds(&stream, 3 * HOUR as u64);
        let outcome = places(&stream, is_outcome)[0];
        let Ev::Record(Record::Outcome(o)) = &stream[outcome].1 else { panic!() };
        assert_eq!(o.kind, OutcomeKind::Part(cause));
        holds(&stamped_later(&stream, outcome, 2), 3 * HOUR as u64);
        breaks(&stamped_later(&stream, outcome, 3), 3 * HOUR as u64, "D1", "has no outcome by");
        let other = if cause == Cause::Leak { Cause::Stopped } else { Cause::Leak };
        let wrong = with_outcome(&stream, 0, |o| o.kind = OutcomeKind::Part(other));
        breaks(&wrong, 3 * HOUR as u64, "D1", "expected part");
    }
}

#[test]
fn d4_a_restart_in_the_last_pulse_ends_the_dose() {
    // the last pulse begins at 01:28:30
    let cut = [(88 * MIN + 32_000, Ev::Supply(false)), (89 * MIN, Ev::Supply(true))];
    let stream = nights(head(), &cut, 3 * HOUR as u64);
    holds(&stream, 3 * HOUR as u64);
    let outcome = places(&stream, is_outcome)[0];
    assert_eq!(stream[outcome].0, 89 * MIN as u64);
    holds(&stamped_later(&stream, outcome, 2), 3 * HOUR as u64);
    breaks(&stamped_later(&stream, outcome, 3), 3 * HOUR as u64, "D1", "has no outcome by");
    // a pulse short is all that it may lack
    let Ev::Record(Record::Outcome(o)) = &stream[outcome].1 else { panic!() };
    assert_eq!(o.kind, OutcomeKind::Dosed);
    assert!(o.most.as_nl() - o.least.as_nl() < 4_001_000);
    let sure = with_outcome(&stream, 0, |o| o.least = o.most);
    breaks(&sure, 3 * HOUR as u64, "D4", "least delivered is given as");
}
