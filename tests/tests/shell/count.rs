//! What a clock chip can count: beyond what the ledger holds, and behind it.

use std::cell::Cell;

use dosewright_core::civil::{Date, Local};
use dosewright_core::device::{Device, Outputs};
use dosewright_core::event::Event;
use dosewright_core::ledger::Geometry;
use dosewright_core::record::{Alarm, Reset};
use dosewright_core::time::{Duration, Instant};
use dosewright_core::timetable::Refusal;
use dosewright_sim::world::flash::NorMock;

type Flash = NorMock<4, 1024>;
type Pump = Device<Flash, 4, 8>;
const GEOMETRY: Geometry = Geometry { start: 0, sector_bytes: 4096, sectors: 2 };
const DAY_MS: i64 = 86_400_000;

/// Takes what comes, as long as it comes to an end.
#[derive(Default)]
struct Wires {
    records: Cell<u32>,
}

impl Outputs for Wires {
    fn pump_on(&mut self, _: Duration) {}
    fn pump_off(&mut self) {}
    fn refused(&mut self, refusal: &Refusal) {
        panic!("{refusal:?}");
    }
    fn alarm(&mut self, _: Alarm, _: bool) {}
    fn now(&mut self, before: Instant) -> Instant {
        self.records.set(self.records.get() + 1);
        assert!(self.records.get() < 20, "a call writes without end");
        before
    }
}

fn at(ms: i64) -> Instant {
    Instant::from_ms(ms)
}

fn handle(pump: &mut Pump, now: Instant, event: Event<'_, 4>) {
    pump.handle(now, event, &mut Wires::default());
}

/// A device that starts at a count.
fn started(flash: Flash, count: Instant) -> Pump {
    let Ok(mut pump) = Device::start(flash, GEOMETRY, Some(count), Reset::PowerOn) else {
        panic!("the device does not start")
    };
    let now = pump.now();
    handle(&mut pump, now, Event::Wake);
    pump
}

/// One whose clock is set, and whose ledger is 30 days old.
fn of_thirty_days() -> Pump {
    let mut pump = started(NorMock::new(8), Instant::ZERO);
    let noon = Local::new(Date::from_ymd(2026, 3, 2).unwrap(), Duration::from_h(12));
    handle(&mut pump, at(1000), Event::SetClock(noon));
    handle(&mut pump, at(30 * DAY_MS), Event::Wake);
    assert_eq!(pump.controller().book().at, at(30 * DAY_MS));
    pump
}

fn clock_is_set(pump: &Pump) -> bool {
    pump.controller().book().clock.is_some()
}

/// The first instant that no record holds.
const BEYOND: [i64; 3] = [1 << 47, 1 << 48, i64::MAX];

#[test]
fn p1_an_instant_that_no_record_holds_is_not_taken() {
    for beyond in BEYOND {
        let mut pump = of_thirty_days();
        handle(&mut pump, at(beyond), Event::Wake);
        handle(&mut pump, at(beyond), Event::RemoteStop(true));
        assert_eq!(pump.now(), at(30 * DAY_MS), "{beyond}");
        assert!(clock_is_set(&pump));
        // what comes after it goes on
        handle(&mut pump, at(31 * DAY_MS), Event::Wake);
        assert_eq!(pump.controller().book().at, at(31 * DAY_MS));
    }
}

#[test]
fn m1_the_last_instant_that_a_record_holds_is_taken_and_kept() {
    let mut pump = of_thirty_days();
    handle(&mut pump, at((1 << 47) - 1), Event::Wake);
    assert_eq!(pump.now(), at((1 << 47) - 1));
    let pump = started(pump.into_flash(), at((1 << 47) - 1));
    assert_eq!(pump.controller().book().at, at((1 << 47) - 1));
    assert!(clock_is_set(&pump));
}

#[test]
fn d9_a_count_that_cannot_be_the_ledgers_clock_is_a_feed_that_was_lost() {
    let ledger_at = 30 * DAY_MS;
    // a minute behind is what is left of a chip that counts coarsely; a day on is a day off
    for count in [ledger_at, ledger_at - 60_000, ledger_at + DAY_MS] {
        let pump = started(of_thirty_days().into_flash(), at(count));
        assert!(clock_is_set(&pump), "{count}");
        assert_eq!(pump.now(), at(count.max(ledger_at)));
    }
    let behind = [ledger_at - 60_001, 0, -1, i64::MIN];
    for count in behind.into_iter().chain(BEYOND) {
        let pump = started(of_thirty_days().into_flash(), at(count));
        assert!(!clock_is_set(&pump), "{count}");
        assert!(pump.controller().book().alarm_is_on(Alarm::ClockUnset), "{count}");
        assert_eq!(pump.now(), at(ledger_at), "what the chip is to be set to");
    }
    // a fresh ledger has no clock to lose
    let pump = started(NorMock::new(8), at(i64::MAX));
    assert_eq!(pump.now(), Instant::ZERO);
}
