//! The tracker on streams made by hand.

use dosewright_core::cause::Cause;
use dosewright_core::civil::{Date, Local};
use dosewright_core::entry::{EntryId, Nominal};
use dosewright_core::ledger::{Class, Slot};
use dosewright_core::record::{
    Act, Born, DueKey, Outcome as Ended, OutcomeKind, Pulse, Record, Reset,
};
use dosewright_core::time::{Duration, Instant, Utc};
use dosewright_core::units::{Carry, Flow, Volume};
use dosewright_core::zone::Zone;

use super::timeline::Timeline;
use super::{Event, Fate, Lost, Names, Outcome, Sink, Tracker};
use crate::observe::{Observation, Observer};
use crate::run::Frame;

mod damage;

const DAY: i64 = 86_400_000;

/// What was told of outcomes and of the pump.
#[derive(Default)]
struct Told {
    outcomes: Vec<(u64, Outcome)>,
    pump: Vec<(u64, bool, bool)>,
    lost: Vec<Lost>,
}

impl Sink for Told {
    fn event(&mut self, at_ms: u64, event: &Event<'_>) {
        match event {
            Event::Outcome(outcome) => self.outcomes.push((at_ms, (*outcome).clone())),
            Event::Pump { on, for_dose } => self.pump.push((at_ms, *on, *for_dose)),
            Event::Alarm { lost, .. } => self.lost.push((*lost).clone()),
            _ => {}
        }
    }
}

fn frame() -> Frame {
    let start = Local::new(Date::from_ymd(2026, 12, 21).unwrap(), Duration::ZERO);
    let zone = Zone::parse("CET-1CEST,M3.5.0,M10.5.0/3").unwrap();
    Frame { start, zone, start_utc_ms: start.as_ms() - 3_600_000, run_ms: 30 * DAY as u64 }
}

fn key(nominal: u32) -> DueKey {
    DueKey { id: EntryId(1), revision: 1, epoch: 1, nominal: Nominal(nominal) }
}

pub(super) fn skipped(first: u32, count: u32, cause: Cause) -> Record {
    Record::Outcome(Ended {
        line: 0,
        due: key(first),
        last: Nominal(first + count - 1),
        count,
        at: Instant::from_ms(DAY),
        due_at: Instant::from_ms(DAY),
        begun_after_ms: 0,
        least: Volume::ZERO,
        most: Volume::ZERO,
        kind: OutcomeKind::Skipped(cause),
        asked: false,
        restarts: 0,
        mark: None,
        carry: Carry(0),
    })
}

pub(super) fn dosed(nominal: u32, ml: u64) -> Record {
    let Record::Outcome(outcome) = skipped(nominal, 1, Cause::Closed) else { unreachable!() };
    Record::Outcome(Ended {
        kind: OutcomeKind::Dosed,
        least: Volume::from_ml(ml),
        most: Volume::from_ml(ml),
        ..outcome
    })
}

fn pulse(nominal: u32, on_ms: u32, most_ms: u32) -> Record {
    Record::Pulse(Pulse {
        line: 0,
        due: key(nominal),
        mark: None,
        at: Instant::from_ms(DAY),
        due_at: Instant::from_ms(DAY),
        begun_after_ms: 0,
        on_ms,
        least_ms: most_ms,
        most_ms,
        dose_ms: 100_000,
        flow: Flow::from_nl_per_min(60_000_000).unwrap(),
        first: most_ms == 0,
        asked: false,
        cut: None,
        restarts: 0,
    })
}

/// What is told of a stream: slots, and the pump at times.
fn told(steps: &[(u64, Step)]) -> Told {
    let mut told = Told::default();
    let mut tracker = Tracker::new(frame(), Names::default(), vec![&mut told]);
    tracker.see(0, &Observation::Chip { count_ms: 0, rate_ppb: 0, feed_kept: true });
    let utc = Utc::from_ms(frame().start_utc_ms);
    let clock = Record::Clock { at: Instant::ZERO, epoch: 1, utc: Some(utc), zone: frame().zone };
    let slot = Slot::encode(Class::Record, 1, &clock.encode());
    tracker.see(0, &Observation::Slot { address: 0, bytes: &slot });
    for (seq, (at_ms, step)) in (2..).zip(steps) {
        match step {
            Step::Write(record) => {
                let slot = Slot::encode(Class::Record, seq, &record.encode());
                tracker.see(*at_ms, &Observation::Slot { address: 64, bytes: &slot });
            }
            Step::Bytes(bytes) => tracker.see(*at_ms, &Observation::Slot { address: 64, bytes }),
            Step::Pump(on) => tracker.see(*at_ms, &Observation::Pump { on: *on }),
        }
    }
    tracker.finish(20 * DAY as u64, &[]);
    told
}

enum Step {
    Write(Record),
    Bytes(Vec<u8>),
    Pump(bool),
}
use Step::{Bytes, Pump, Write};

#[test]
fn a_stretch_of_closed_dates_is_told_once_it_can_grow_no_more() {
    let day = DAY as u64;
    let told = told(&[
        (day, Write(skipped(7, 1, Cause::Closed))),
        (2 * day, Write(skipped(7, 2, Cause::Closed))),
        (3 * day, Write(skipped(7, 3, Cause::Closed))),
        (4 * day, Write(dosed(20, 120))),
        (5 * day, Write(skipped(30, 1, Cause::Closed))),
    ]);
    let seen: Vec<_> = told
        .outcomes
        .iter()
        .map(|(at, outcome)| (*at / day, outcome.count, outcome.fate))
        .collect();
    let closed = Fate::Skipped(Cause::Closed);
    assert_eq!(seen, [(4, 3, closed), (4, 1, Fate::Dosed), (20, 1, closed)]);
}

#[test]
fn stretches_of_another_first_due_or_cause_are_others() {
    let told = told(&[
        (1, Write(skipped(7, 2, Cause::Closed))),
        (2, Write(skipped(9, 2, Cause::Closed))),
        (3, Write(skipped(11, 4, Cause::SupplyLost))),
    ]);
    let counts: Vec<_> =
        told.outcomes.iter().map(|(_, outcome)| (outcome.key.nominal.0, outcome.count)).collect();
    assert_eq!(counts, [(7, 2), (9, 2), (11, 4)]);
}

#[test]
fn the_pump_is_put_down_to_the_dose_it_ran_for() {
    let prime = Record::Act { at: Instant::ZERO, act: Act::PrimeBegun, ms: 5000 };
    let told = told(&[
        (1000, Write(pulse(7, 2000, 0))),
        (1000, Pump(true)),
        (3000, Pump(false)),
        (4000, Write(pulse(7, 1500, 2000))),
        (4000, Pump(true)),
        (5500, Pump(false)),
        (5500, Write(dosed(7, 3))),
        (9000, Write(prime)),
        (9000, Pump(true)),
        (12_000, Pump(false)),
    ]);
    let [(_, outcome)] = told.outcomes.as_slice() else { panic!("{:?}", told.outcomes) };
    assert_eq!(
        (outcome.started_ms, outcome.ended_ms, outcome.on_ms),
        (Some(1000), Some(5500), 3500)
    );
    // 3.5 s at 60 ml/min
    assert_eq!(outcome.pumped, Volume::from_nl(3_500_000));
    assert_eq!(outcome.started.unwrap().local, Local::from_ms(frame().start.as_ms() + 1000));
    let for_dose: Vec<bool> = told.pump.iter().map(|(_, _, for_dose)| *for_dose).collect();
    assert_eq!(for_dose, [true, true, true, true, false, false]);
}

/// What somebody does to the device while a pulse runs begins no run of its own: the pulse
/// stays its dose's.
#[test]
fn an_act_without_a_run_takes_no_run_from_its_dose() {
    for act in [Act::Acknowledged, Act::TubeChanged, Act::Unlocked, Act::WrongPin] {
        let done = |at| (at, Write(Record::Act { at: Instant::ZERO, act, ms: 0 }));
        let told = told(&[
            (1000, Write(pulse(7, 2000, 0))),
            (1000, Pump(true)),
            done(1500),
            (3000, Pump(false)),
            // and none between two pulses
            done(3500),
            (4000, Write(pulse(7, 1500, 2000))),
            done(4000),
            (4000, Pump(true)),
            (5500, Pump(false)),
            (5500, Write(dosed(7, 3))),
        ]);
        let [(_, outcome)] = told.outcomes.as_slice() else { panic!("{:?}", told.outcomes) };
        let ran = (outcome.started_ms, outcome.ended_ms, outcome.on_ms);
        assert_eq!(ran, (Some(1000), Some(5500), 3500), "{act:?}");
        assert!(told.pump.iter().all(|(_, _, for_dose)| *for_dose), "{act:?}: {:?}", told.pump);
    }
}

#[test]
fn what_is_open_at_the_end_is_told_as_open() {
    let born = Record::Born(Born {
        line: 1,
        due: DueKey { id: EntryId(2), ..key(9) },
        mark: None,
        at: Instant::ZERO,
        due_at: Instant::ZERO,
        cause: Cause::PumpInUse,
    });
    let told = told(&[
        (1000, Write(pulse(7, 2000, 0))),
        (1000, Pump(true)),
        (1500, Write(born)),
        (3000, Pump(false)),
        (4000, Write(Record::Act { at: Instant::ZERO, act: Act::PrimeBegun, ms: 1000 })),
        (4000, Pump(true)),
        (5000, Pump(false)),
    ]);
    let fates: Vec<_> = told
        .outcomes
        .iter()
        .map(|(_, outcome)| (outcome.key.id.0, outcome.fate, outcome.on_ms))
        .collect();
    assert_eq!(fates, [(2, Fate::Open(Some(Cause::PumpInUse)), 0), (1, Fate::Open(None), 2000)]);
    let running = &told.outcomes[1].1;
    assert_eq!((running.least, running.most), (Volume::ZERO, Volume::from_ml(2)));
}

#[test]
fn slots_that_are_torn_or_no_records_of_their_own_are_passed_over() {
    let whole = Slot::encode(Class::Record, 3, &dosed(7, 120).encode());
    let mut torn = whole;
    torn[40..].fill(0xff);
    let copied = Slot::encode(Class::Snapshot, 4, &dosed(8, 120).encode());
    let told = told(&[
        (1, Bytes(torn.to_vec())),
        (2, Bytes(copied.to_vec())),
        (3, Bytes(whole[..63].to_vec())),
        (4, Bytes(vec![0xff; 64])),
    ]);
    assert!(told.outcomes.is_empty(), "{:?}", told.outcomes);
}

#[test]
fn after_a_boot_without_the_feed_an_interval_has_no_local_time() {
    let boot = Record::Boot { at: Instant::ZERO, feed_kept: false, reset: Reset::PowerOn };
    let told = told(&[(1, Write(dosed(7, 1))), (2, Write(boot)), (3, Write(dosed(8, 1)))]);
    assert!(told.outcomes[0].1.due.is_some() && told.outcomes[1].1.due.is_none());
}

#[test]
fn the_timeline_never_goes_back_in_time() {
    let frame = frame();
    let mut timeline = Timeline::new(
        Vec::new(),
        frame,
        Names::default(),
        super::timeline::Style { fold: false, all: true },
    );
    {
        let mut tracker = Tracker::new(frame, Names::default(), vec![&mut timeline]);
        let see = |tracker: &mut Tracker<'_>, at: u64, record: &Record| {
            let slot = Slot::encode(Class::Record, 2, &record.encode());
            tracker.see(at, &Observation::Slot { address: 64, bytes: &slot });
        };
        tracker.see(0, &Observation::Chip { count_ms: 0, rate_ppb: 0, feed_kept: true });
        // late at 00:06 on the 23rd, which passes a due of the 22nd
        tracker.see(2 * DAY as u64 + 360_000, &Observation::LateWake { by_ms: 7_200_000 });
        see(&mut tracker, 2 * DAY as u64 + 360_000, &skipped(7, 1, Cause::WokenLate));
        tracker.finish(3 * DAY as u64, &[]);
    }
    let text = String::from_utf8(timeline.finish().unwrap()).unwrap();
    let headings: Vec<&str> = text.lines().filter(|line| line.ends_with(" 2026")).collect();
    assert_eq!(headings, ["wed 23 dec 2026"], "{text}");
}

/// What the folded timeline tells of records, one a minute from the second day on.
fn folded(records: &[Record]) -> String {
    let frame = frame();
    let style = super::timeline::Style { fold: true, all: true };
    let mut timeline = Timeline::new(Vec::new(), frame, Names::default(), style);
    {
        let mut tracker = Tracker::new(frame, Names::default(), vec![&mut timeline]);
        tracker.see(0, &Observation::Chip { count_ms: 0, rate_ppb: 0, feed_kept: true });
        for (seq, (minute, record)) in (2..).zip((0..).zip(records)) {
            let slot = Slot::encode(Class::Record, seq, &record.encode());
            let seen = Observation::Slot { address: 64, bytes: &slot };
            tracker.see(DAY as u64 + minute * 60_000, &seen);
        }
        tracker.finish(20 * DAY as u64, &[]);
    }
    String::from_utf8(timeline.finish().unwrap()).unwrap()
}

/// The same of another entry.
fn of_entry(id: u16, record: &Record) -> Record {
    let Record::Outcome(outcome) = record else { panic!("{record:?}") };
    Record::Outcome(Ended { due: DueKey { id: EntryId(id), ..outcome.due }, ..*outcome })
}

#[test]
fn a_row_of_skipped_doses_is_folded_with_no_other() {
    let nights = (0..8).map(|n| of_entry(2, &dosed(40 + n, 120)));
    let row = [skipped(7, 7, Cause::SupplyLost)];
    let told = folded(&row.into_iter().chain(nights).collect::<Vec<_>>());
    let lines =
        |entry: &str| -> Vec<&str> { told.lines().filter(|line| line.contains(entry)).collect() };
    let (skipped, dosed) = (lines("  skipped  "), lines("  dosed  "));
    assert!(skipped.len() == 1 && skipped[0].contains("supply lost, 7 doses"), "{told}");
    assert!(dosed.len() == 1 && dosed[0].ends_with("  8 doses"), "{told}");
}

#[test]
fn a_dose_that_was_asked_for_is_counted_with_no_other() {
    let Record::Outcome(due) = dosed(20, 120) else { unreachable!() };
    let asked = Record::Outcome(Ended { asked: true, ..due });
    let nights = (0..7).map(|n| dosed(30 + n, 120));
    let told = folded(&std::iter::once(asked).chain(nights).collect::<Vec<_>>());
    assert!(told.contains("asked for") && told.contains("7 doses"), "{told}");
}

#[test]
fn one_dose_among_many_is_counted_as_one() {
    let nights = (0..7).map(|n| dosed(30 + n, 120));
    let other = of_entry(2, &dosed(20, 120));
    let told = folded(&nights.chain([other]).collect::<Vec<_>>());
    assert!(told.contains("7 doses") && told.contains("  1 dose\n"), "{told}");
}
