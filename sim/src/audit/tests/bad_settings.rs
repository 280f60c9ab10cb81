//! Spoilt settings, acceptances and snapshots.

use dosewright_core::entry::{EntryId, Nominal};
use dosewright_core::record::{Begin, Delivery, LineState, Record};
use dosewright_core::time::{Instant, Utc};
use dosewright_core::tube::Tube;
use dosewright_core::units::{Carry, Volume};

use super::bench::{
    CET, DAY, Ev, HOUR, MIN, Show, Stream, audit_with, breaks, every, facts, head, holds,
    ideal_stream, install, list, local, places, set_table, table, weekly, zone,
};
use crate::observe::DeviceAct;

const END: u64 = 12 * HOUR as u64;

fn night() -> Stream {
    ideal_stream(&install(head(), CET, "2026-10-19 00:00", table(&[weekly(1, 0x7f, 45)])), END)
}

fn spoil(stream: &Stream, change: impl Fn(&mut Record)) -> Stream {
    let mut stream = stream.clone();
    for (_, ev) in &mut stream {
        if let Ev::Record(record) = ev {
            change(record);
        }
    }
    stream
}

#[test]
fn d8_the_clock_set_to_another_time_than_asked() {
    let stream = night();
    let off = spoil(&stream, |r| {
        if let Record::Clock { utc: Some(utc), .. } = r {
            *utc = Utc::from_ms(utc.as_ms() + 3_600_000);
        }
    });
    breaks(&off, END, "D8", "the clock was set to");
    let elsewhere = spoil(&stream, |r| {
        if let Record::Clock { zone: z, .. } = r {
            *z = zone("EST5EDT,M3.2.0,M11.1.0");
        }
    });
    breaks(&elsewhere, END, "D8", "another zone");
    let epoch = spoil(&stream, |r| {
        if let Record::Clock { epoch, utc: Some(_), .. } = r {
            *epoch += 1;
        }
    });
    breaks(&epoch, END, "D9", "clock epoch 2 opens, not 1");
    // a repeated time means its first pass
    let mut inputs = install(head(), CET, "2026-10-25 12:00", table(&[]));
    inputs.push((MIN as u64, Ev::Act(DeviceAct::SetClock(local("2026-10-25 02:30")))));
    let repeated = ideal_stream(&inputs, END);
    holds(&repeated, END);
    let second = spoil(&repeated, |r| {
        if let Record::Clock { utc: Some(utc), epoch: 2, .. } = r {
            *utc = Utc::from_ms(utc.as_ms() + 3_600_000);
        }
    });
    breaks(&second, END, "D8", "the clock was set to");
}

#[test]
fn m2_settings_that_nobody_made() {
    let stream = night();
    for (is, words) in [
        (0, "a head that nobody set"),
        (1, "nobody set it"),
        (2, "a timetable is in force that nobody set"),
    ] {
        let acts = places(&stream, |ev| match ev {
            Ev::Act(DeviceAct::SetHead(_)) => is == 0,
            Ev::Act(DeviceAct::SetClock(_)) => is == 1,
            Ev::Act(DeviceAct::SetTimetable(_)) => is == 2,
            _ => false,
        });
        let mut without = stream.clone();
        without.remove(acts[0]);
        breaks(&without, END, "M2", words);
    }
}

#[test]
fn d11_a_timetable_that_is_not_whole() {
    let entries = [weekly(1, 0x7f, 45), every(2, 6 * HOUR, 3 * HOUR)];
    let stream = ideal_stream(&install(head(), CET, "2026-10-19 00:00", table(&entries)), END);
    holds(&stream, END);
    let staged = places(&stream, |ev| matches!(ev, Ev::Record(Record::Staged(_))));
    let mut less = stream.clone();
    less.remove(staged[1]);
    breaks(&less, END, "D11", "lines 0x1 were staged");
    breaks(&less, END, "D11", "\"trickle\" was set and is not in force");
    let other = spoil(&stream, |r| {
        if let Record::Staged(s) = r {
            s.entry.volume = Volume::from_ml(7);
        }
    });
    breaks(&other, END, "D11", "is not in force as it was set");
    let revision = spoil(&stream, |r| {
        if let Record::Staged(s) = r {
            s.revision = 4;
        }
    });
    breaks(&revision, END, "D11", "is in revision 4, not 1");
    let ceiling = spoil(&stream, |r| {
        if let Record::Adopted(a) = r {
            a.ceiling = Some(Volume::from_ml(1));
        }
    });
    breaks(&ceiling, END, "D11", "the ceiling in force");
    let kept = spoil(&stream, |r| {
        if let Record::Adopted(a) = r {
            a.kept_ceiling = Volume::from_nl(1);
        }
    });
    breaks(&kept, END, "D7", "the ceiling of before goes on as 1 nl, and was 0 nl");
    let closed = spoil(&stream, |r| {
        if let Record::StagedClosed(list) = r {
            let day = dosewright_core::civil::Date::MIN;
            assert!(list.push(dosewright_core::entry::ClosedDates { first: day, last: day }));
        }
    });
    breaks(&closed, END, "D11", "the closed dates");
}

#[test]
fn d11_a_cut_before_the_adoption_leaves_the_old_one() {
    let mut inputs = install(head(), CET, "2026-10-19 00:00", table(&[weekly(1, 0x7f, 45)]));
    inputs.push((HOUR as u64 * 3, Ev::Act(set_table(&[weekly(1, 0x7f, 300)]))));
    inputs.push((HOUR as u64 * 3, Ev::Supply(false)));
    inputs.push((HOUR as u64 * 3 + 1000, Ev::Supply(true)));
    let stream = ideal_stream(&inputs, END);
    holds(&stream, END);
    // the same without the adoption's last record: the device must run on as it was
    let adopted =
        *places(&stream, |ev| matches!(ev, Ev::Record(Record::Adopted(_)))).last().unwrap();
    let mut torn = stream.clone();
    torn[adopted].1 = Ev::Torn;
    breaks(&torn, END, "D1", "does not exist");
}

#[test]
fn d3_d5_timetables_that_ought_to_be_refused() {
    let accept = |entries: &[dosewright_core::entry::Entry]| {
        let mut stream = install(head(), CET, "2026-10-19 12:00", table(entries));
        stream = ideal_stream(&stream, HOUR as u64);
        stream
    };
    let mut late = weekly(2, 0b10_0000, 75);
    breaks(&accept(&[weekly(1, 0b10_0000, 45), late]), HOUR as u64, "D3", "their windows overlap");
    // round the week's end: Sunday 23:30 for 45 min, Monday 00:10
    let round = accept(&[weekly(1, 0b100_0000, 1410), weekly(2, 1, 10)]);
    breaks(&round, HOUR as u64, "D3", "their windows overlap");
    late.first = Some(super::bench::date("2027-01-01"));
    let mut early = weekly(1, 0b10_0000, 45);
    early.last = Some(super::bench::date("2026-12-31"));
    holds(&accept(&[early, late]), HOUR as u64);
    let mut long = weekly(1, 0x7f, 45);
    long.grace_ms = 24 * HOUR as u32;
    breaks(&accept(&[long]), HOUR as u64, "D3", "are not less than its gap");
    let mut big = weekly(1, 0x7f, 45);
    big.volume = Volume::from_ml(2000);
    breaks(&accept(&[big]), HOUR as u64, "D5", "fit its window");
}

fn snapshot(
    stream: &Stream,
    change: impl Fn(&mut LineState, &mut Delivery, &mut u16),
    tube: Tube,
) -> Vec<String> {
    let mut show = Show::new(facts());
    for (ms, ev) in stream {
        show.see(*ms, ev);
    }
    // what the device carries forward after the night's dose: 271698 ms of
    // 26.5 ml/min, and 3 000 000 of remainder
    let at = Instant::from_ms(45 * MIN);
    let utc = Some(Utc::from_ms(1_792_360_800_000 + 45 * MIN));
    let begin = Begin { at, utc, losses: 0 };
    let mut delivery =
        Delivery { id: EntryId(1), begin, begun_after_ms: 0, volume: Volume::from_nl(119_999_950) };
    let mut state = LineState {
        revision: 1,
        mark: Some(super::bench::nominal("2026-10-20 00:45")),
        carry: Carry(3_000_000),
        last: Some(begin),
        ..LineState::default()
    };
    let mut epoch = 1;
    change(&mut state, &mut delivery, &mut epoch);
    let now = Instant::from_ms(END as i64 + 1);
    show.snapshot(
        END + 1,
        &[
            Record::SnapClock {
                at: now,
                epoch,
                utc: Some(Utc::from_ms(1_792_360_800_000 + END as i64 + 1)),
                losses: 0,
                not_before: Instant::ZERO,
                zone: zone(CET),
            },
            Record::SnapLine { line: 0, id: EntryId(1), state },
            Record::SnapDeliveries([Some(delivery), None]),
            Record::SnapTube(tube),
        ],
    );
    let report = show.auditor.finish(END + 2);
    report.violations.iter().map(ToString::to_string).collect()
}

#[test]
fn d11_a_snapshot_that_forgets() {
    let stream = night();
    let tube = Tube { nominal: Some(head().flow), ..Tube::UNKNOWN };
    assert_eq!(snapshot(&stream, |_, _, _| {}, tube), Vec::<String>::new());
    let found = snapshot(&stream, |_, _, _| {}, Tube::UNKNOWN);
    assert!(found.iter().any(|v| v.starts_with("O4")), "{found:?}");
    type Change = fn(&mut LineState, &mut Delivery, &mut u16);
    let changes: [(Change, &str); 6] = [
        (|s, _, _| s.carry = Carry(0), "its remainder"),
        (|s, _, _| s.last = None, "its last begin"),
        (|s, _, _| s.mark = Some(Nominal(1)), "its mark"),
        (|s, _, _| s.revision = 9, "its revision"),
        (|_, d, _| d.volume = Volume::from_ml(1), "of the last 23 h"),
        (|_, _, e| *e = 7, "another clock"),
    ];
    for (change, words) in changes {
        let found = snapshot(&stream, change, tube);
        assert!(
            found.iter().any(|v| v.contains(words) && v.starts_with("D11")),
            "{words}: {found:?}"
        );
    }
}

#[test]
fn m1_m4_slots_out_of_order_and_without_sense() {
    let mut show = Show::new(facts());
    for (ms, ev) in &night() {
        show.see(*ms, ev);
    }
    use crate::observe::{Observation, Observer};
    use dosewright_core::ledger::{Class, Slot};
    let stamp = Record::Stamp { at: Instant::from_ms(END as i64) }.encode();
    let old = Slot::encode(Class::Record, 3, &stamp);
    show.auditor.see(END, &Observation::Slot { address: 8192, bytes: &old });
    let senseless = Slot::encode(Class::Record, 100_000, &[0xee; 56]);
    show.auditor.see(END, &Observation::Slot { address: 8256, bytes: &senseless });
    let report = show.auditor.finish(END + 1);
    let promises: Vec<&str> = report.violations.iter().map(|v| v.promise).collect();
    assert_eq!(promises, ["M1", "M4"]);
}

#[test]
fn m2_damage_is_not_held_against_what_it_hit() {
    // the outcome is flipped, the device restarts and writes it again
    let mut inputs = install(head(), CET, "2026-10-19 00:00", table(&[weekly(1, 0x7f, 45)]));
    inputs.push((6 * HOUR as u64, Ev::Supply(false)));
    inputs.push((7 * HOUR as u64, Ev::Supply(true)));
    let stream = ideal_stream(&inputs, END);
    holds(&stream, END);
    let off = places(&stream, |ev| *ev == Ev::Supply(false))[0];
    let outcome = places(&stream, super::bench::is_outcome)[0];
    let records_between = places(&stream, |ev| matches!(ev, Ev::Record(_)))
        .iter()
        .filter(|&&i| i > outcome && i < off)
        .count();
    let mut flipped = stream.clone();
    flipped.insert(off + 1, (6 * HOUR as u64, Ev::Flip(records_between)));
    let boot = places(&flipped, |ev| matches!(ev, Ev::Record(Record::Boot { .. })))[1];
    let mut again = flipped[outcome].clone();
    again.0 = 7 * HOUR as u64;
    if let Ev::Record(Record::Outcome(o)) = &mut again.1 {
        o.at = Instant::from_ms(7 * HOUR);
    }
    flipped.insert(boot + 1, again.clone());
    let report = audit_with(facts(), &flipped, END);
    assert!(report.held(), "{}", list(&report.violations));
    assert_eq!(report.dues.dosed, 1);
    // without the flip it would be a second outcome
    let mut twice = stream;
    let boot = places(&twice, |ev| matches!(ev, Ev::Record(Record::Boot { .. })))[1];
    twice.insert(boot + 1, again);
    breaks(&twice, END, "D1", "without a dose that was open");
    let _ = DAY;
}

#[test]
fn d9_ten_years_in_thousands_of_records() {
    let mut inputs = install(head(), CET, "2026-10-19 00:00", table(&[weekly(1, 0x7f, 45)]));
    let ten_years = DeviceAct::SetClock(local("2036-10-19 12:00"));
    inputs.push((10 * MIN as u64, Ev::Act(ten_years)));
    let stream = ideal_stream(&inputs, END);
    holds(&stream, END);
    let place = places(&stream, super::bench::is_outcome)[0];
    let (ms, Ev::Record(Record::Outcome(all))) = &stream[place] else { panic!("an outcome") };
    // the same dues, one record each
    let mut many: Stream = stream[..place].to_vec();
    let (first, last) = (all.due.nominal.0, all.last.0);
    for (i, n) in (first..=last).step_by(1440).enumerate() {
        let mut one = *all;
        (one.due.nominal, one.last, one.count) = (Nominal(n), Nominal(n), 1);
        one.mark = Some(Nominal(n + 1440));
        // winter time begins on the 25th, and the instants are an hour later
        let days = i as i64;
        let local_ms = i64::from(n) * MIN;
        one.due_at = Instant::from_ms(
            instant_in_berlin(local_ms) - instant_in_berlin(i64::from(first) * MIN)
                + all.due_at.as_ms(),
        );
        assert!(days < 3654);
        many.push((*ms, Ev::Record(Record::Outcome(one))));
    }
    many.extend_from_slice(&stream[place + 1..]);
    let report = super::bench::audit(&many, END);
    let promises: Vec<&str> = report.violations.iter().map(|v| v.promise).collect();
    assert_eq!(promises, ["D9"], "{}", list(&report.violations));
    assert_eq!(report.dues.skipped, 3654);
}

/// UTC ms of a local time in the zone of these tests.
fn instant_in_berlin(local_ms: i64) -> i64 {
    let tz = crate::audit::to_jiff(&zone(CET)).unwrap();
    crate::audit::zone::utc_ms(&tz, local_ms).unwrap()
}

#[test]
fn d4_a_torn_intent_counts_as_a_pulse() {
    // the due passes while the supply is off, and the dose begins at the boot
    let mut inputs = install(head(), CET, "2026-10-19 00:00", table(&[weekly(1, 0x7f, 45)]));
    inputs.push((45 * MIN as u64 - 1000, Ev::Supply(false)));
    inputs.push((45 * MIN as u64 + 1000, Ev::Supply(true)));
    let stream = ideal_stream(&inputs, END);
    holds(&stream, END);
    // with both slots of an intent lost it may have begun before: a pulse of 9056 ms
    let off = places(&stream, |ev| *ev == Ev::Supply(false))[0];
    let mut torn = stream.clone();
    // the slot after the adoption may be its second one, the next two are not
    for _ in 0..3 {
        torn.insert(off, (45 * MIN as u64 - 1000, Ev::Torn));
    }
    breaks(&torn, END, "D4", "not 9056 to 18114");
}

#[test]
fn d11_what_was_staged_before_a_start_is_of_no_account() {
    let stream = night();
    let adopted = places(&stream, |ev| matches!(ev, Ev::Record(Record::Adopted(_))))[0];
    let mut cut = stream.clone();
    let boot = Record::Boot {
        at: Instant::ZERO,
        feed_kept: true,
        reset: dosewright_core::record::Reset::PowerOn,
    };
    let start = [Ev::Supply(false), Ev::Supply(true), Ev::Record(boot)].map(|ev| (0, ev));
    cut.splice(adopted..adopted, start);
    breaks(&cut, END, "D11", "lines 0x0 were staged, and lines 0x1 are said to be in force");
}

#[test]
fn d9_only_a_weekly_entry_needs_the_clock() {
    let lost = |entries: &[dosewright_core::entry::Entry]| {
        let mut inputs = install(head(), CET, "2026-10-19 00:00", table(entries));
        inputs.push((2 * HOUR as u64, Ev::Supply(false)));
        inputs.push((3 * HOUR as u64, Ev::Supply(true)));
        inputs.push((3 * HOUR as u64, Ev::Chip(2 * HOUR, 0, false)));
        let stream = ideal_stream(&inputs, END);
        holds(&stream, END);
        super::bench::without(
            &stream,
            &places(&stream, |ev| matches!(ev, Ev::Record(Record::Alarm { .. }))),
        )
    };
    let interval = every(2, 6 * HOUR, 30 * MIN);
    holds(&lost(&[interval]), END);
    let weekly = weekly(1, 0x7f, 45);
    let words = "the clock was lost, and no alarm was raised";
    breaks(&lost(&[weekly, interval]), END, "D9", words);
    let disabled = dosewright_core::entry::Entry { enabled: false, ..weekly };
    holds(&lost(&[disabled, interval]), END);
}

#[test]
fn d9_the_instant_of_a_skipped_due_is_judged_though_a_record_is_lost() {
    // no supply over the dose; a stamp before it is lost
    let mut inputs = install(head(), CET, "2026-10-19 00:00", table(&[weekly(1, 0x7f, 105)]));
    inputs.push((90 * MIN as u64, Ev::Supply(false)));
    inputs.push((3 * HOUR as u64, Ev::Supply(true)));
    let mut stream = ideal_stream(&inputs, END);
    let off = places(&stream, |ev| *ev == Ev::Supply(false))[0];
    stream.insert(off + 1, (90 * MIN as u64, Ev::Flip(0)));
    holds(&stream, END);
    let wrong = super::bench::with_outcome(&stream, 0, |o| o.due_at = Instant::from_ms(3));
    breaks(&wrong, END, "D9", "its instant is noted as 3, not 6300000 ms");
}
