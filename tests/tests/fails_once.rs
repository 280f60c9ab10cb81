//! M1, M2, D1: one call of the memory that fails, or goes wrong, anywhere in some days with
//! doses and a restart.

use dosewright_core::device::Outputs;
use dosewright_core::event::Event;
use dosewright_core::ledger::Geometry;
use dosewright_core::record::{Alarm, Outcome, OutcomeKind, Reset};
use dosewright_core::time::{Duration, Instant};
use dosewright_core::timetable::Refusal;
use dosewright_core::units::Volume;
use dosewright_sim::world::flash::{EraseFailure, Misread, NorMock, Tear, WriteFailure};
use dosewright_tests::entries::daily;
use dosewright_tests::pump::{self, Pump};
use dosewright_tests::slots::outcomes;

type Flash = NorMock<4, 1024>;
const GEOMETRY: Geometry = Geometry { start: 0, sector_bytes: 3072, sectors: 4 };

/// What the pump did, and which alarms there were.
#[derive(Default, PartialEq, Eq, Debug)]
struct Told {
    at: i64,
    pump: Vec<(i64, bool)>,
    alarms: Vec<(i64, Alarm, bool)>,
    refused: Vec<Refusal>,
}

impl Outputs for Told {
    fn pump_on(&mut self, _: Duration) {
        self.pump.push((self.at, true));
    }
    fn pump_off(&mut self) {
        self.pump.push((self.at, false));
    }
    fn refused(&mut self, refusal: &Refusal) {
        self.refused.push(*refusal);
    }
    fn alarm(&mut self, alarm: Alarm, on: bool) {
        self.alarms.push((self.at, alarm, on));
    }
}

fn tell(device: &mut Pump, at: Instant, event: Event<'_, 4>, told: &mut Told) {
    told.at = at.as_ms();
    device.handle(at, event, told);
}

fn wake_until(device: &mut Pump, end: Instant, told: &mut Told) {
    while let Some((at, _)) = device.next_wake().filter(|(at, _)| *at <= end) {
        tell(device, at, Event::Wake, told);
    }
}

/// Three days with a dose each of ten pulses, one of a single pulse, and a restart in the middle
/// of the second day's.
fn life(flash: Flash) -> (Told, Vec<Outcome>, Flash) {
    let mut told = Told::default();
    let mut device = pump::start(flash, GEOMETRY, Instant::ZERO);
    let head = pump::head();
    tell(&mut device, Instant::ZERO, Event::SetHead(&head), &mut told);
    tell(&mut device, Instant::ZERO, Event::SetClock(pump::midnight()), &mut told);
    let mut one = daily(2, 240, Volume::from_ml(5));
    (one.pulses, one.window_ms, one.grace_ms) = (Some(1), 60_000, 0);
    let timetable = pump::timetable(&[daily(1, 120, Volume::from_ml(40)), one]);
    tell(&mut device, Instant::ZERO, Event::Timetable(&timetable), &mut told);
    let middle = Instant::ZERO.plus(Duration::from_min(26 * 60 + 10));
    wake_until(&mut device, middle, &mut told);
    let flash = device.into_flash();
    let mut device = Pump::start(flash, GEOMETRY, Some(middle), Reset::Watchdog)
        .unwrap_or_else(|(_, error)| panic!("{error:?}"));
    tell(&mut device, middle, Event::Wake, &mut told);
    wake_until(&mut device, Instant::ZERO.plus(Duration::from_h(72)), &mut told);
    let flash = device.into_flash();
    (told, outcomes(flash.bytes()).collect(), flash)
}

/// The life in which nothing goes wrong.
fn right() -> (Told, Vec<Outcome>, Flash) {
    let right = life(Flash::new(12));
    let whole = right.1.iter().filter(|outcome| outcome.kind == OutcomeKind::Dosed).count();
    assert_eq!((whole, right.1.len()), (6, 6));
    right
}

#[test]
fn m2_a_reading_that_goes_wrong_once_changes_no_dose() {
    let (told, ended, flash) = right();
    let ways = [Misread::Fails, Misread::Ones, Misread::Bit, Misread::Garbage { seed: 9 }];
    let mut runs = 0;
    for (at, how) in (0..flash.counters().reads).step_by(3).zip(ways.into_iter().cycle()) {
        let mut flash = Flash::new(12);
        flash.misread(at, 1, how);
        let (told_now, ended_now, _) = life(flash);
        assert_eq!((&told_now, &ended_now), (&told, &ended), "reading {at} {how:?}");
        runs += 1;
    }
    println!("{runs} lives");
    assert!(runs > 300, "{runs}");
}

#[test]
fn m1_an_erase_that_reports_an_error_once_changes_no_dose() {
    let (told, ended, flash) = right();
    let pages = flash.counters().erases.iter().sum::<u32>();
    assert!(pages > 20, "{pages}");
    for at in 0..u64::from(pages) {
        for how in [EraseFailure::Undone, EraseFailure::Half, EraseFailure::Done] {
            let mut flash = Flash::new(12);
            flash.fail_erases(at, 1, how);
            let (told_now, ended_now, _) = life(flash);
            assert_eq!((&told_now, &ended_now), (&told, &ended), "page {at} {how:?}");
        }
    }
}

#[test]
fn m2_a_write_that_fails_once_changes_no_dose() {
    let (told, ended, flash) = right();
    let writes = flash.counters().writes;
    assert!(writes > 100, "{writes}");
    for at in 0..writes {
        for how in [WriteFailure::Undone, WriteFailure::Silent, WriteFailure::Half] {
            let mut flash = Flash::new(12);
            flash.fail_writes(at, 1, how);
            let (mut told_now, ended_now, _) = life(flash);
            // a slot that did not take is told at the next start, and no more than that
            told_now.alarms.retain(|(_, alarm, _)| *alarm != Alarm::MemoryDamaged);
            // what a lost slot may have been is added to the dose that it was in
            let same = ended.iter().zip(&ended_now).all(|(before, now)| {
                before.due == now.due && before.kind == now.kind && now.most >= before.least
            });
            assert!(same && ended.len() == ended_now.len(), "write {at} {how:?} {ended_now:?}");
            assert_eq!(told_now.alarms, told.alarms, "write {at} {how:?}");
            assert_eq!(told_now.refused, told.refused, "write {at} {how:?}");
        }
    }
}

#[test]
fn m1_a_fresh_device_whose_first_start_is_cut_starts_again() {
    let mut runs = 0;
    for tear in [Tear::Bytes, Tear::Words, Tear::Bits { seed: 1 }, Tear::Bits { seed: 2 }] {
        for steps in 0.. {
            let mut flash = Flash::new(12);
            flash.set_tear(tear);
            flash.cut_after_steps(Some(steps));
            let Err((mut flash, _)) =
                Pump::start(flash, GEOMETRY, Some(Instant::ZERO), Reset::PowerOn)
            else {
                break;
            };
            flash.power_on();
            pump::start(flash, GEOMETRY, Instant::ZERO);
            runs += 1;
        }
    }
    println!("{runs} runs");
    assert!(runs > 1600, "{runs}");
}
