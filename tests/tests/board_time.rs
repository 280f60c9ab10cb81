//! Boards whose time is not that of the paper: a memory that takes time to write (D1), and a
//! clock that was ahead in one reading (D4).

use dosewright_core::device::Outputs;
use dosewright_core::entry::{Entry, EntryId, Recurrence};
use dosewright_core::event::Event;
use dosewright_core::record::{Alarm, Outcome, OutcomeKind};
use dosewright_core::time::{Duration, Instant};
use dosewright_core::timetable::Refusal;
use dosewright_core::units::Volume;
use dosewright_tests::entries::daily;
use dosewright_tests::pump::{self, GEOMETRY, Pump};
use dosewright_tests::slots::outcomes;
use dosewright_tests::wires::Wires;

/// Each answer of the memory comes so much later.
struct Slow(Duration);

impl Outputs for Slow {
    fn pump_on(&mut self, _: Duration) {}
    fn pump_off(&mut self) {}
    fn refused(&mut self, refusal: &Refusal) {
        panic!("{refusal:?}");
    }
    fn alarm(&mut self, _: Alarm, _: bool) {}
    fn now(&mut self, before: Instant) -> Instant {
        before.plus(self.0)
    }
}

/// Calls it whenever it asks to be called, before an instant.
fn wake_before(device: &mut Pump, end_ms: i64, out: &mut impl Outputs) {
    while let Some((at, _)) = device.next_wake().filter(|(at, _)| at.as_ms() < end_ms) {
        device.handle(at.max(device.now()), Event::Wake, out);
    }
}

fn told(device: &Pump) -> Vec<Outcome> {
    outcomes(device.ledger().flash().bytes()).collect()
}

#[test]
fn d1_a_due_that_comes_while_its_edit_is_written_has_its_outcome() {
    // 40 ml at 02:00, or every 4 h from 02:00 on, edited half a second before it
    let due = Instant::from_ms(2 * 3_600_000);
    let weekly = daily(1, 120, Volume::from_ml(40));
    let every_ms = 4 * 3_600_000;
    let interval = Entry { recurrence: Recurrence::Interval { every_ms, from: due }, ..weekly };
    for entry in [weekly, interval] {
        for took_ms in [0, 400, 1_000, 20_000] {
            let mut device = pump::started(&mut Wires::default());
            let mut slow = Slow(Duration::from_ms(took_ms));
            device.handle(Instant::ZERO, Event::Timetable(&pump::timetable(&[entry])), &mut slow);
            wake_before(&mut device, 7_000_000, &mut slow);
            let edited = Entry { volume: Volume::from_ml(30), ..entry };
            let asked = due.minus(Duration::from_ms(500));
            device.handle(asked, Event::Timetable(&pump::timetable(&[edited])), &mut slow);
            // what a restart finds is what is in force
            let now = device.now();
            let flash = device.ledger().flash().clone();
            let found = pump::start(flash, GEOMETRY, now);
            let (live, found) = (device.controller().book(), found.controller().book());
            let line = live.line_of(EntryId(1)).unwrap();
            assert_eq!(live.state(line).mark, found.state(line).mark, "{took_ms} ms");
            wake_before(&mut device, 3 * 3_600_000, &mut slow);
            let told = told(&device);
            assert_eq!(told.len(), 1, "{took_ms} ms");
            assert_eq!((told[0].due_at, told[0].kind), (due, OutcomeKind::Dosed), "{took_ms} ms");
            assert!(Volume::from_ml(30).as_nl() - told[0].least.as_nl() < 1_000, "{:?}", told[0]);
        }
    }
}

#[test]
fn d4_a_pulse_that_is_stopped_while_time_stands_still_counts_in_full() {
    // 60 ml in pulses of 8 s; 2 s into one the clock reads an hour ahead for once, and the
    // stop comes when it is right again
    for (ahead_ms, unknown) in [(0, false), (1, true), (3_000, true)] {
        let mut wires = Wires::default();
        let mut device = pump::started(&mut wires);
        let dose = daily(1, 120, Volume::from_ml(60));
        let timetable = pump::timetable(&[dose]);
        pump::tell(&mut device, Instant::ZERO, Event::Timetable(&timetable), &mut wires).unwrap();
        while !wires.on {
            let (at, _) = device.next_wake().unwrap();
            device.handle(at, Event::Wake, &mut wires);
        }
        let ran = device.now().plus(Duration::from_ms(2_000));
        device.handle(ran.plus(Duration::from_ms(ahead_ms)), Event::Wake, &mut wires);
        device.handle(ran, Event::StopDose(EntryId(1)), &mut wires);
        assert!(!wires.on);
        let told = told(&device);
        assert_eq!(told.len(), 1);
        assert!(matches!(told[0].kind, OutcomeKind::Part(_)));
        // 2 s, or 5 by the clock; and all of its 8 s where the clock is behind
        let s = |volume: Volume| volume.as_nl() / 500_000;
        assert_eq!(s(told[0].least), if ahead_ms == 3_000 { 5 } else { 2 }, "{:?}", told[0]);
        assert_eq!(s(told[0].most), if unknown { 8 } else { 2 }, "{:?}", told[0]);
    }
}
