//! Spoilt streams: every check is seen to fail on what it is for.

use dosewright_core::cause::Cause;
use dosewright_core::entry::{EntryId, Nominal};
use dosewright_core::record::{OutcomeKind, Record};
use dosewright_core::time::{Duration, Instant};
use dosewright_core::units::{Carry, Volume};

use super::bench::{
    CET, DAY, Ev, HOUR, MIN, Stream, breaks, every, head, holds, ideal_stream, install, is_outcome,
    is_pulse, local, nights, nominal, places, round_head, set_table, table, weekly, with_outcome,
    with_pulse, without,
};
use crate::observe::DeviceAct;

const END: u64 = 12 * HOUR as u64;

fn night() -> Stream {
    with_inputs(&[], END)
}

fn with_inputs(inputs: &[(i64, Ev)], end: u64) -> Stream {
    nights(head(), inputs, end)
}

#[test]
fn d1_an_outcome_that_is_missing() {
    let stream = night();
    breaks(&without(&stream, &places(&stream, is_outcome)), END, "D1", "no outcome");
}

#[test]
fn d1_an_outcome_twice() {
    let mut stream = night();
    let at = places(&stream, is_outcome)[0];
    stream.insert(at + 1, stream[at].clone());
    breaks(&stream, END, "D1", "without a dose that was open");
    let mut skip = night();
    let mut again = skip[at].clone();
    if let Ev::Record(Record::Outcome(o)) = &mut again.1 {
        o.kind = OutcomeKind::Skipped(Cause::SupplyLost);
        (o.least, o.most) = (Volume::ZERO, Volume::ZERO);
    }
    skip.insert(at + 1, again);
    breaks(&skip, END, "D1", "has one already");
}

#[test]
fn d1_keys_that_do_not_match() {
    let stream = night();
    for change in [0, 1, 2, 3] {
        let spoil = |key: &mut dosewright_core::record::DueKey| match change {
            0 => key.nominal = Nominal(key.nominal.0 + 1440),
            1 => key.epoch += 1,
            2 => key.revision += 1,
            _ => key.id = EntryId(7),
        };
        let spoilt = with_pulse(&stream, 0, |p| spoil(&mut p.due));
        breaks(&spoilt, END, "D1", "does not exist");
    }
}

#[test]
fn d1_skipped_for_another_cause() {
    let lost = [(30 * MIN, Ev::Supply(false)), (3 * HOUR, Ev::Supply(true))];
    let stream = with_inputs(&lost, END);
    holds(&stream, END);
    let wrong = with_outcome(&stream, 0, |o| o.kind = OutcomeKind::Skipped(Cause::WokenLate));
    breaks(&wrong, END, "D1", "expected skipped, \"supply lost\"");
    let delivered = with_outcome(&stream, 0, |o| o.most = Volume::from_ml(1));
    breaks(&delivered, END, "D4", "something is said to be delivered");
    let marked = with_outcome(&stream, 0, |o| o.mark = Some(Nominal(5)));
    breaks(&marked, END, "D1", "the mark");
    let late = with_outcome(&stream, 0, |o| o.due_at = Instant::from_ms(1));
    breaks(&late, END, "D9", "its instant is noted");
}

#[test]
fn d1_skipped_though_it_could_run() {
    let stream = night();
    let first = places(&stream, is_pulse)[0];
    let outcome = places(&stream, is_outcome)[0];
    let (ms, mut ev) = stream[outcome].clone();
    let Ev::Record(Record::Outcome(o)) = &mut ev else {
        panic!("an outcome is an outcome, not at {ms}")
    };
    (o.kind, o.at) = (OutcomeKind::Skipped(Cause::AlreadyDosed), Instant::from_ms(45 * MIN));
    (o.least, o.most, o.carry) = (Volume::ZERO, Volume::ZERO, Carry(0));
    let mut spoilt: Stream = stream[..first].to_vec();
    spoilt.push((45 * MIN as u64, ev));
    breaks(&spoilt, 50 * MIN as u64, "D2", "expected the dose to begin");
}

#[test]
fn d2_a_dose_inside_the_guard() {
    let back = [(2 * HOUR, Ev::Act(DeviceAct::SetClock(local("2026-10-19 00:30"))))];
    let stream = with_inputs(&back, END);
    holds(&stream, END);
    // the second due runs like the first, an hour and a half later
    let skip = places(&stream, is_outcome)[1];
    let (from, to) = (places(&stream, is_pulse)[0], places(&stream, is_outcome)[0]);
    let shift = stream[skip].0 - stream[from].0;
    let mut doubled: Stream = stream[..skip].to_vec();
    for (ms, ev) in &stream[from..=to] {
        let mut ev = ev.clone();
        let later = |at: &mut Instant| *at = at.plus(Duration::from_ms(shift));
        match &mut ev {
            Ev::Record(Record::Pulse(p)) => {
                p.due.epoch = 2;
                later(&mut p.at);
                later(&mut p.due_at);
            }
            Ev::Record(Record::Outcome(o)) => {
                o.due.epoch = 2;
                later(&mut o.at);
                later(&mut o.due_at);
            }
            _ => {}
        }
        doubled.push((ms + shift, ev));
    }
    breaks(&doubled, 4 * HOUR as u64, "D2", "to be skipped, \"already dosed\"");
    // and one that says skipped for another reason
    let wrong = with_outcome(&stream, 1, |o| o.kind = OutcomeKind::Skipped(Cause::Ceiling));
    breaks(&wrong, END, "D2", "expected skipped, \"already dosed\"");
}

#[test]
fn d3_two_at_once_and_out_of_order() {
    let timetable = table(&[weekly(1, 0x7f, 45), every(2, 6 * HOUR, 50 * MIN)]);
    let stream = ideal_stream(&install(head(), CET, "2026-10-19 00:00", timetable), END);
    holds(&stream, END);
    // the owner goes on as if nobody waited: its last pulse an hour late
    let of = |id: u16| move |ev: &Ev| matches!(ev, Ev::Record(Record::Pulse(p)) if p.due.id == EntryId(id));
    let second = places(&stream, of(2))[0];
    let first_outcome = places(&stream, is_outcome)[0];
    assert!(first_outcome < second);
    // without the owner's outcome the other begins while it owns the pump
    breaks(&without(&stream, &[first_outcome]), END, "D3", "owns the pump");
    // the wait is for another cause
    let mut wrong = stream.clone();
    let born = places(&stream, |ev| matches!(ev, Ev::Record(Record::Born(_))))[0];
    if let Ev::Record(Record::Born(b)) = &mut wrong[born].1 {
        b.cause = Cause::RemoteStop;
    }
    breaks(&wrong, END, "D3", "not for \"pump in use\"");
    if let Ev::Record(Record::Born(b)) = &mut wrong[born].1 {
        b.due.nominal = Nominal(99);
    }
    breaks(&wrong, END, "D1", "there is no such due");
}

#[test]
fn d3_the_owner_does_not_hurry() {
    // the night's dose as if alone, and the other one after its window
    let alone = night();
    let mut other = every(2, 6 * HOUR, 50 * MIN);
    other.grace_ms = HOUR as u32;
    let timetable = table(&[weekly(1, 0x7f, 45), other]);
    let both = ideal_stream(&install(head(), CET, "2026-10-19 00:00", timetable), END);
    let from = places(&alone, is_pulse)[0];
    let to = places(&alone, is_outcome)[0];
    let head_of_both = places(&both, is_pulse)[0];
    let born = places(&both, |ev| matches!(ev, Ev::Record(Record::Born(_))))[0];
    let mut slow: Stream = both[..head_of_both].to_vec();
    slow.extend_from_slice(&alone[from..=to]);
    slow.push(both[born].clone());
    slow.sort_by_key(|(ms, _)| *ms);
    breaks(&slow, 91 * MIN as u64, "D3", "while another due waits");
}

#[test]
fn d3_prime_in_a_dose_and_a_dose_in_prime() {
    let prime = [(44 * MIN + 30_000, Ev::Act(DeviceAct::Prime(Volume::from_ml(53))))];
    let stream = with_inputs(&prime, END);
    holds(&stream, END);
    let ended = places(&stream, |ev| matches!(ev, Ev::Record(Record::Act { .. })))[1];
    breaks(&without(&stream, &[ended]), END, "D3", "in spite of \"prime or calibrate\"");
    let begun = places(&stream, |ev| matches!(ev, Ev::Record(Record::Act { .. })))[0];
    let mut in_dose = night();
    let at = places(&in_dose, is_pulse)[3];
    let (ms, _) = in_dose[at];
    let mut service = stream[begun].1.clone();
    if let Ev::Record(Record::Act { at, .. }) = &mut service {
        *at = Instant::from_ms(ms as i64);
    }
    in_dose.insert(at, (ms, service));
    breaks(&in_dose, END, "D3", "while the dose owns the pump");
    breaks(&in_dose, END, "O1", "nobody asked");
}

#[test]
fn d4_pulses_of_a_wrong_length() {
    let stream = night();
    let ons = places(&stream, |ev| matches!(ev, Ev::Pump(true)));
    let offs = places(&stream, |ev| matches!(ev, Ev::Pump(false)));
    for (late, words) in [(2_i64, "on an intent of"), (-2, "nothing stopped it")] {
        let mut long = stream.clone();
        long[offs[4]].0 = (long[offs[4]].0 as i64 + late) as u64;
        breaks(&long, END, "D4", words);
    }
    // on without an intent
    let mut bare = stream.clone();
    let (ms, _) = bare[offs[29]];
    bare.push((ms + 5000, Ev::Pump(true)));
    bare.push((ms + 6000, Ev::Pump(false)));
    bare.sort_by_key(|(ms, _)| *ms);
    breaks(&bare, END, "D4", "without an intent");
    // in the dose it counts as what it pumped: 15 s and 271 698 ms of 26.5 ml a minute
    let more = [(46 * MIN, Ev::Pump(true)), (46 * MIN + 15_000, Ev::Pump(false))];
    let more = super::bench::with(&stream, &more);
    breaks(&more, END, "D4", "at most 119999950 nl, and the pump ran for 126624508 nl");
    assert_eq!(super::bench::audit(&more, END).volume_nl / 1_000, 126_624);
    // the intent comes after the pump
    let mut swapped = stream.clone();
    swapped.swap(ons[4], ons[4] - 1);
    breaks(&swapped, END, "D4", "without an intent");
    // an intent and no pump
    breaks(&without(&stream, &[ons[4], offs[4]]), END, "D4", "the pump did not go on");
    // the pump goes on late
    let mut late = stream;
    late[ons[4]].0 += 3;
    breaks(&late, END, "D4", "did not go on");
}

#[test]
fn d4_accounts_that_do_not_add_up() {
    let stream = night();
    for (spoilt, words) in [
        (with_pulse(&stream, 9, |p| p.least_ms -= 3), "at least"),
        (with_pulse(&stream, 9, |p| p.most_ms += 3), "at most"),
        (with_pulse(&stream, 0, |p| p.dose_ms += 1), "the dose is to pump"),
        (with_pulse(&stream, 29, |p| p.on_ms += 3), "more than the dose"),
        (with_pulse(&stream, 9, |p| p.restarts = 1), "restarts are noted"),
        (with_pulse(&stream, 9, |p| p.first = true), "says first"),
        (with_outcome(&stream, 0, |o| o.least = Volume::from_ml(119)), "least delivered"),
        (with_outcome(&stream, 0, |o| o.most = Volume::from_ml(121)), "most delivered"),
        (with_outcome(&stream, 0, |o| o.carry = Carry(1)), "a remainder of 1"),
        (with_outcome(&stream, 0, |o| o.restarts = 1), "restarts are noted"),
    ] {
        breaks(&spoilt, END, "D4", words);
    }
    let slower = dosewright_core::units::Flow::from_nl_per_min(26_000_000).unwrap();
    breaks(&with_pulse(&stream, 9, |p| p.flow = slower), END, "D5", "it began with");
    breaks(&with_pulse(&stream, 9, |p| p.begun_after_ms = 4), END, "D2", "its begin is noted");
    breaks(&with_pulse(&stream, 9, |p| p.cut = Some(Cause::Ceiling)), END, "D7", "marked as cut");
    breaks(&with_pulse(&stream, 9, |p| p.due_at = Instant::from_ms(3)), END, "D9", "its instant");
    breaks(&with_pulse(&stream, 9, |p| p.mark = None), END, "D1", "the mark");
    let part = with_outcome(&stream, 0, |o| o.kind = OutcomeKind::Part(Cause::SupplyLost));
    breaks(&part, END, "D1", "expected dosed");
    breaks(&with_outcome(&stream, 0, |o| o.count = 2), END, "D1", "stands for several");
    breaks(&with_outcome(&stream, 0, |o| o.begun_after_ms = 2), END, "D2", "the begin is noted");
}

#[test]
fn d4_dosed_though_pulses_are_missing() {
    // the supply goes and comes, and the device counts a pulse too many as done
    let cut = [(59 * MIN, Ev::Supply(false)), (72 * MIN, Ev::Supply(true))];
    let stream = with_inputs(&cut, END);
    holds(&stream, END);
    let after = places(&stream, |ev| matches!(ev, Ev::Record(Record::Pulse(p)) if p.restarts == 1));
    let wrong = with_pulse(
        &stream,
        places(&stream, is_pulse).iter().position(|&p| p == after[0]).unwrap(),
        |p| {
            p.most_ms += 9056;
        },
    );
    breaks(&wrong, END, "D4", "at most");
    let forgets = with_pulse(
        &stream,
        places(&stream, is_pulse).iter().position(|&p| p == after[0]).unwrap(),
        |p| {
            p.most_ms -= 9056;
        },
    );
    breaks(&forgets, END, "D4", "at most");
}

#[test]
fn d5_a_part_dose_though_the_rest_fits() {
    let cut = [(59 * MIN, Ev::Supply(false)), (72 * MIN, Ev::Supply(true))];
    let stream = with_inputs(&cut, END);
    let last = *places(&stream, is_pulse).last().unwrap();
    let outcome = places(&stream, is_outcome)[0];
    let most = match &stream[last].1 {
        Ev::Record(Record::Pulse(p)) => (p.least_ms, p.most_ms),
        _ => unreachable!(),
    };
    // the device gives up three pulses before the end
    let short: Vec<usize> = places(&stream, is_pulse).iter().rev().take(3).copied().collect();
    let drop: Vec<usize> = short.iter().flat_map(|&i| [i, i + 1, i + 2]).collect();
    let first_dropped = *short.last().unwrap();
    let (least, upto) = match &stream[first_dropped].1 {
        Ev::Record(Record::Pulse(p)) => (p.least_ms, p.most_ms),
        _ => unreachable!(),
    };
    assert!(upto < most.1);
    let nl = |ms: u32| Volume::from_nl(u64::from(ms) * 26_500_000 / 60_000);
    let mut part = stream.clone();
    if let Ev::Record(Record::Outcome(o)) = &mut part[outcome].1 {
        o.kind = OutcomeKind::Part(Cause::SupplyLost);
        (o.least, o.most, o.carry) = (nl(least), nl(upto), Carry(0));
    }
    breaks(&without(&part, &drop), END, "D5", "fit before the deadline");
}

#[test]
fn d5_d6_pulses_out_of_place() {
    let stream = night();
    let pulses = places(&stream, is_pulse);
    let shifted = |n: usize, by: i64| {
        let mut moved = stream.clone();
        for place in pulses[n]..pulses[n] + 3 {
            let (ms, ev) = &mut moved[place];
            *ms = (*ms as i64 + by) as u64;
            if let Ev::Record(Record::Pulse(p)) = ev {
                p.at = Instant::from_ms(p.at.as_ms() + by);
            }
        }
        moved
    };
    breaks(&shifted(7, 2), END, "D6", "pulse 8 of 30");
    breaks(&shifted(7, -2000), END, "D6", "pulse 8 of 30");
    breaks(&shifted(0, 5000), END, "D5", "did not begin");
    // all of the dose in the first ten minutes
    let mut rushed = stream.clone();
    for (n, &place) in pulses.iter().enumerate() {
        for place in place..place + 3 {
            let (ms, ev) = &mut rushed[place];
            *ms -= n as u64 * 70_000;
            if let Ev::Record(Record::Pulse(p)) = ev {
                p.at = Instant::from_ms(p.at.as_ms() - n as i64 * 70_000);
            }
        }
    }
    breaks(&rushed, END, "D6", "ahead of the straight line");
    // the last pulse after the window
    breaks(&shifted(29, 85_000), END, "D5", "after the window");
    breaks(&shifted(29, 85_000), END, "D5", "after the deadline");
}

#[test]
fn d7_longest_run_rest_and_starts() {
    let stream = night();
    let run = |head| {
        let mut spoilt = stream.clone();
        for (_, ev) in &mut spoilt {
            match ev {
                Ev::Act(DeviceAct::SetHead(h)) | Ev::Record(Record::Head { head: h, .. }) => {
                    *h = head;
                }
                _ => {}
            }
        }
        spoilt
    };
    breaks(
        &run(dosewright_core::config::Head { longest_run_ms: 9_000, ..head() }),
        END,
        "D7",
        "the longest run is 9000",
    );
    breaks(
        &run(dosewright_core::config::Head { least_rest_ms: 86_000_000, ..head() }),
        END,
        "D7",
        "allow it from",
    );
    breaks(
        &run(dosewright_core::config::Head { starts_per_hour: 20, ..head() }),
        END,
        "D7",
        "allow it from",
    );
    breaks(
        &run(dosewright_core::config::Head { shortest_on_ms: 10_000, ..head() }),
        END,
        "D7",
        "the shortest is",
    );
    // and such a timetable is not to be accepted
    breaks(
        &run(dosewright_core::config::Head {
            longest_run_ms: 9_000,
            least_rest_ms: 86_000,
            ..head()
        }),
        END,
        "D5",
        "fit its window",
    );
}

#[test]
fn d7_more_than_the_ceiling_and_a_wrong_cut() {
    let mut inputs = install(round_head(), CET, "2026-10-19 00:00", table(&[weekly(1, 0x7f, 45)]));
    inputs.push((2 * HOUR as u64, Ev::Act(DeviceAct::RunAgain(EntryId(1)))));
    let stream = ideal_stream(&inputs, END);
    holds(&stream, END);
    let asked = places(&stream, |ev| matches!(ev, Ev::Record(Record::Pulse(p)) if p.asked));
    let mut more = stream.clone();
    for &at in &asked {
        if let Ev::Record(Record::Pulse(p)) = &mut more[at].1 {
            p.dose_ms += 1000;
        }
    }
    breaks(&more, END, "D4", "the dose is to pump 31000 ms, not 30000");
    let full = with_outcome(&stream, 1, |o| o.kind = OutcomeKind::Dosed);
    breaks(&full, END, "D1", "expected part, \"daily ceiling\"");
    // nobody asked
    let act = places(&stream, |ev| matches!(ev, Ev::Act(DeviceAct::RunAgain(_))));
    breaks(&without(&stream, &act), END, "D1", "nobody asked for");
    // asked, and not done
    let mut refused: Stream = stream[..asked[0]].to_vec();
    refused.push((3 * HOUR as u64, Ev::Record(Record::Stamp { at: Instant::from_ms(3 * HOUR) })));
    breaks(&refused, 3 * HOUR as u64, "D2", "run again was refused");
}

#[test]
fn d10_a_record_at_a_wrong_time_and_no_stamps() {
    let stream = night();
    let stamps = places(&stream, |ev| matches!(ev, Ev::Record(Record::Stamp { .. })));
    assert!(stamps.len() > 5);
    let mut wrong = stream.clone();
    wrong[stamps[2]].1 = Ev::Record(Record::Stamp { at: Instant::from_ms(1) });
    breaks(&wrong, END, "D10", "the clock chip stands at");
    breaks(&without(&stream, &stamps[2..4]), END, "D9", "no record with an instant");
}

#[test]
fn p4_the_pump_on_when_it_must_not_be() {
    let stops = [(60 * MIN + 2000, Ev::Act(DeviceAct::RemoteStop(true)))];
    let stream = with_inputs(&stops, END);
    holds(&stream, END);
    let act = places(&stream, |ev| matches!(ev, Ev::Act(DeviceAct::RemoteStop(_))))[0];
    assert_eq!(stream[act + 1].1, Ev::Pump(false));
    let mut on = stream.clone();
    on[act + 1].0 += 100;
    breaks(&on, END, "P4", "in spite of \"remote stop\"");
    // the supply goes in a pulse and the pin stays on
    let cut = [(60 * MIN + 2000, Ev::Supply(false)), (80 * MIN, Ev::Supply(true))];
    let stream = with_inputs(&cut, END);
    let off = places(&stream, |ev| *ev == Ev::Supply(false))[0];
    assert_eq!(stream[off - 1].1, Ev::Pump(false));
    let mut on = stream.clone();
    on[off - 1].0 += 100;
    on.swap(off - 1, off);
    breaks(&on, END, "P4", "the supply off");
    // a reset
    let reset = [(60 * MIN + 2000, Ev::Reset)];
    let stream = with_inputs(&reset, END);
    holds(&stream, END);
    let at = places(&stream, |ev| *ev == Ev::Reset)[0];
    assert_eq!(stream[at - 1].1, Ev::Pump(false));
    let mut on = without(&stream, &[at - 1]);
    let next =
        places(&on, |ev| matches!(ev, Ev::Pump(true))).into_iter().find(|&i| i > at - 1).unwrap();
    let late = on[at - 1].0 + 50;
    on.insert(next, (late, Ev::Pump(false)));
    on.sort_by_key(|(ms, _)| *ms);
    breaks(&on, END, "P4", "after a reset");
}

#[test]
fn o1_prime_longer_than_asked() {
    let prime = [(4 * HOUR, Ev::Act(DeviceAct::Prime(Volume::from_ml(53))))];
    let stream = with_inputs(&prime, END);
    holds(&stream, END);
    let acts = places(&stream, |ev| matches!(ev, Ev::Record(Record::Act { .. })));
    let ms_of = |stream: &mut Stream, i: usize, by: u32| {
        if let Ev::Record(Record::Act { ms, .. }) = &mut stream[i].1 {
            *ms += by;
        }
    };
    let mut long = stream.clone();
    ms_of(&mut long, acts[0], 100);
    breaks(&long, END, "O1", "nobody asked for so much");
    let mut wrong = stream.clone();
    ms_of(&mut wrong, acts[1], 100);
    breaks(&wrong, END, "O1", "the pump ran for");
    let mut on = stream.clone();
    let off =
        places(&stream, |ev| *ev == Ev::Pump(false)).into_iter().find(|&i| i > acts[0]).unwrap();
    on[off].0 += 100;
    on.sort_by_key(|(ms, _)| *ms);
    breaks(&on, END, "O1", "it was to stop by itself");
    breaks(&on, END, "D4", "what it ran for has ended");
}

#[test]
fn d9_a_weekly_dose_with_the_clock_unset() {
    let inputs = [
        (2 * HOUR, Ev::Supply(false)),
        (3 * HOUR, Ev::Supply(true)),
        (3 * HOUR, Ev::Chip(2 * HOUR, 0, false)),
    ];
    let stream = with_inputs(&inputs, 2 * DAY as u64);
    holds(&stream, 2 * DAY as u64);
    let alarm = places(&stream, |ev| matches!(ev, Ev::Record(Record::Alarm { .. })));
    breaks(&without(&stream, &alarm), 2 * DAY as u64, "D9", "no alarm was raised");
    let boot = *places(&stream, |ev| matches!(ev, Ev::Record(Record::Boot { .. }))).last().unwrap();
    let mut kept = stream.clone();
    if let Ev::Record(Record::Boot { feed_kept, .. }) = &mut kept[boot].1 {
        *feed_kept = true;
    }
    breaks(&kept, 2 * DAY as u64, "D9", "feed as kept");
    let mut jumped = stream;
    if let Ev::Record(Record::Boot { at, .. }) = &mut jumped[boot].1 {
        *at = Instant::from_ms(3 * HOUR);
    }
    breaks(&jumped, 2 * DAY as u64, "D9", "the ledger's last instant");
}

#[test]
fn d11_a_dose_that_an_edit_should_have_ended() {
    let mut inputs = install(round_head(), CET, "2026-10-19 00:00", table(&[weekly(1, 0x7f, 45)]));
    inputs.push((60 * MIN as u64 + 1000, Ev::Act(set_table(&[weekly(1, 0x7f, 120)]))));
    let stream = ideal_stream(&inputs, END);
    holds(&stream, END);
    let outcome = places(&stream, is_outcome)[0];
    breaks(&without(&stream, &[outcome]), END, "D1", "no outcome by");
    let wrong = with_outcome(&stream, 0, |o| o.kind = OutcomeKind::Part(Cause::Disabled));
    breaks(&wrong, END, "D1", "expected part, \"edited\"");
    let off =
        places(&stream, |ev| *ev == Ev::Pump(false)).into_iter().rfind(|&i| i < outcome).unwrap();
    let mut on = without(&stream, &[outcome]);
    on[off].0 += 500;
    on.sort_by_key(|(ms, _)| *ms);
    breaks(&on, END, "D11", "has to end");
}

#[test]
fn d1_d5_a_device_that_falls_silent() {
    let stream = night();
    let pulses = places(&stream, is_pulse);
    // after its first pulse, and after its last
    let until = |place: usize| -> Stream { stream[..place + 3].to_vec() };
    let first = until(pulses[0]);
    breaks(&first, 91 * MIN as u64, "D1", "the dose has no outcome by device ms 5400000");
    let last = until(pulses[29]);
    breaks(&last, 89 * MIN as u64, "D1", "the dose has no outcome by device ms 5319057");
    // before it, and after it
    let before = stream[..pulses[0]].to_vec();
    breaks(&before, 46 * MIN as u64, "D5", "did not begin at device ms 2700000");
    let outcome = places(&stream, is_outcome)[0];
    breaks(&stream[..=outcome].to_vec(), END, "D9", "no record with an instant");
}

#[test]
fn d1_a_dose_for_a_due_that_was_to_be_skipped() {
    let cut = [(30 * MIN, Ev::Supply(false)), (3 * HOUR, Ev::Supply(true))];
    let stream = with_inputs(&cut, END);
    let outcome = places(&stream, is_outcome)[0];
    let at = stream[outcome].0;
    let mut all_the_same: Stream = stream[..outcome].to_vec();
    let Ev::Record(Record::Pulse(mut p)) = night()[places(&night(), is_pulse)[0]].1.clone() else {
        panic!("a pulse")
    };
    (p.at, p.begun_after_ms) = (Instant::from_ms(at as i64), at as u32 - 45 * MIN as u32);
    all_the_same.push((at, Ev::Record(Record::Pulse(p))));
    breaks(&all_the_same, at, "D1", "a dose begins whose due was to be skipped");
}

#[test]
fn d1_d9_each_cause_has_its_promise() {
    let forward = [(10 * MIN, Ev::Act(DeviceAct::SetClock(local("2026-10-19 02:00"))))];
    let stream = with_inputs(&forward, END);
    holds(&stream, END);
    let skipped = |cause| with_outcome(&stream, 0, move |o| o.kind = OutcomeKind::Skipped(cause));
    let words = "expected skipped, \"clock set\"";
    for (cause, promise) in [
        (Cause::SupplyLost, "D9"),
        (Cause::AlreadyDosed, "D2"),
        (Cause::Ceiling, "D7"),
        (Cause::ClockUnset, "D9"),
    ] {
        breaks(&skipped(cause), END, promise, words);
    }
    let lost = [(30 * MIN, Ev::Supply(false)), (3 * HOUR, Ev::Supply(true))];
    let stream = with_inputs(&lost, END);
    let skipped = |cause| with_outcome(&stream, 0, move |o| o.kind = OutcomeKind::Skipped(cause));
    let words = "expected skipped, \"supply lost\"";
    for (cause, promise) in [
        (Cause::ClockSet, "D9"),
        (Cause::ClockUnset, "D9"),
        (Cause::OlderWaiting, "D3"),
        (Cause::Leak, "D1"),
    ] {
        breaks(&skipped(cause), END, promise, words);
    }
}

#[test]
fn d9_the_instant_of_a_due_that_is_judged() {
    let back = [(2 * HOUR, Ev::Act(DeviceAct::SetClock(local("2026-10-19 00:30"))))];
    let stream = with_inputs(&back, END);
    let wrong = with_outcome(&stream, 1, |o| o.due_at = Instant::from_ms(3));
    breaks(&wrong, END, "D9", "its instant is noted as 3, not 8100000 ms");
    let several = with_outcome(&stream, 1, |o| o.count = 2);
    breaks(&several, END, "D1", "an outcome of one due stands for several");
    // nor is it hidden by a record that is lost
    let mut lost = wrong;
    let boot = places(&lost, |ev| matches!(ev, Ev::Record(Record::Boot { .. })))[0];
    lost.insert(boot + 1, (0, Ev::Flip(0)));
    breaks(&lost, END, "D9", "its instant is noted as 3, not 8100000 ms");
}

#[test]
fn d1_the_mark_stands_behind_the_due() {
    let stream = night();
    let mark = |n: u32| {
        let first = nominal("2026-10-19 00:45").0;
        with_pulse(&stream, 9, move |p| p.mark = Some(Nominal(first + n)))
    };
    let words = "the mark written with the intent is not the entry's";
    breaks(&mark(0), END, "D1", words);
    holds(&mark(1), END);
    holds(&mark(1440), END);
    breaks(&mark(1441), END, "D1", words);
}

#[test]
fn d3_two_that_wait_begin_in_the_order_of_their_dues() {
    let mut other = every(2, 6 * HOUR, 50 * MIN);
    other.grace_ms = HOUR as u32;
    let stop = |entries: &[dosewright_core::entry::Entry]| {
        let mut inputs = install(head(), CET, "2026-10-19 00:00", table(entries));
        inputs.push((40 * MIN as u64, Ev::Act(DeviceAct::RemoteStop(true))));
        inputs.push((60 * MIN as u64, Ev::Act(DeviceAct::RemoteStop(false))));
        ideal_stream(&inputs, END)
    };
    let both = stop(&[weekly(1, 0x7f, 45), other]);
    holds(&both, END);
    let alone = stop(&[other]);
    let begins = |stream: &Stream| {
        places(stream, |ev| matches!(ev, Ev::Record(Record::Pulse(p)) if p.due.id == EntryId(2)))[0]
    };
    let first = places(&both, is_pulse)[0];
    let mut turned: Stream = both[..first].to_vec();
    turned.extend_from_slice(&alone[begins(&alone)..]);
    breaks(&turned, 61 * MIN as u64, "D3", "before that of \"night\", 2026-10-19 00:45, which is");
}

#[test]
fn o1_a_prime_that_is_let_go_of_stops() {
    let prime = [
        (4 * HOUR, Ev::Act(DeviceAct::Prime(Volume::from_ml(53)))),
        (4 * HOUR + 30_000, Ev::Act(DeviceAct::Release)),
    ];
    let stream = with_inputs(&prime, END);
    holds(&stream, END);
    let release = places(&stream, |ev| *ev == Ev::Act(DeviceAct::Release))[0];
    assert_eq!(stream[release + 1].1, Ev::Pump(false));
    let mut on = stream;
    on[release + 1].0 += 5;
    on[release + 2].0 += 5;
    breaks(&on, END, "O1", "prime or calibrate was let go of, and the pump is on");
    // a key that is let go of in a dose stops nothing
    let dose = [(45 * MIN + 2_000, Ev::Act(DeviceAct::Release))];
    holds(&with_inputs(&dose, END), END);
}
