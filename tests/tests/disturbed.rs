//! D3, D5, D7, D9, D10, O1, P1: what gets in the way of a dose, to the second: another that
//! waits, a late call, a limit or a container that is told of in its middle.

use dosewright_core::cause::Cause;
use dosewright_core::civil::Local;
use dosewright_core::config::{Container, Head};
use dosewright_core::entry::Entry;
use dosewright_core::event::Event;
use dosewright_core::record::{OutcomeKind, Record};
use dosewright_core::time::Instant;
use dosewright_core::timers::Reason;
use dosewright_core::units::Volume;
use dosewright_tests::entries::daily;
use dosewright_tests::pump::{self, GEOMETRY, N, Pump, head, midnight};
use dosewright_tests::slots::{damage, records};
use dosewright_tests::wires::Wires;

/// 02:00 of the first day, in seconds.
const DUE: i64 = 7200;
const HOUR: i64 = 3600;

/// 40 ml in half an hour and two hours of grace: ten pulses of 8 s, three minutes apart.
fn entry(id: u16, at_min: u16) -> Entry {
    Entry { grace_ms: 7_200_000, ..daily(id, at_min, Volume::from_ml(40)) }
}

struct Rig {
    device: Pump,
    wires: Wires,
    wakes: Vec<(i64, Reason)>,
}

impl Rig {
    fn new(entries: &[Entry]) -> Self {
        let mut wires = Wires::default();
        let device = pump::started(&mut wires);
        let mut rig = Self { device, wires, wakes: Vec::new() };
        rig.at(0, Event::Timetable(&pump::timetable(entries)));
        rig
    }

    /// Tells it something, and nothing before it: whatever was due since then is late.
    fn at(&mut self, s: i64, event: Event<'_, N>) {
        self.device.handle(Instant::from_ms(s * 1000), event, &mut self.wires);
        assert_eq!(self.wires.refused, None);
    }

    /// Calls it as it asks to be called.
    fn until(&mut self, s: i64) {
        let end = Instant::from_ms(s * 1000);
        while let Some((at, why)) = self.device.next_wake().filter(|(at, _)| *at <= end) {
            self.wakes.push((at.as_ms(), why));
            self.device.handle(at, Event::Wake, &mut self.wires);
        }
    }

    /// The intents: of which entry, when, in seconds, and how long, in ms.
    fn pulses(&self) -> Vec<(u16, i64, u32)> {
        records(self.device.ledger().flash().bytes())
            .filter_map(|(_, record)| match record {
                Record::Pulse(p) => Some((p.due.id.0, p.at.as_ms() / 1000, p.on_ms)),
                _ => None,
            })
            .collect()
    }

    fn outcomes(&self) -> Vec<(u16, OutcomeKind, Volume)> {
        records(self.device.ledger().flash().bytes())
            .filter_map(|(_, record)| match record {
                Record::Outcome(o) => Some((o.due.id.0, o.kind, o.most)),
                _ => None,
            })
            .collect()
    }
}

#[test]
fn d7_a_longest_run_that_is_made_shorter_holds_for_the_pulse_that_runs() {
    let mut rig = Rig::new(&[entry(1, 120)]);
    rig.until(DUE + 1);
    let shorter = Head { longest_run_ms: 4_000, ..head() };
    rig.at(DUE + 1, Event::SetHead(&shorter));
    assert!(rig.wires.on);
    rig.until(DUE + 3);
    assert!(rig.wires.on);
    rig.until(DUE + 4);
    assert!(!rig.wires.on);
    // what is left is made of shorter ones
    rig.until(DUE + HOUR);
    assert!(rig.pulses()[1..].iter().all(|pulse| pulse.2 <= 4_000), "{:?}", rig.pulses());
    assert_eq!(rig.outcomes(), [(1, OutcomeKind::Dosed, Volume::from_ml(40))]);
}

#[test]
fn d3_what_waits_begins_before_what_comes_due_as_the_stop_ends() {
    let mut rig = Rig::new(&[entry(2, 180), entry(1, 120)]);
    rig.until(DUE - 60);
    rig.at(DUE - 60, Event::RemoteStop(true));
    rig.until(DUE + HOUR - 1);
    rig.at(DUE + HOUR, Event::RemoteStop(false));
    rig.until(DUE + 2 * HOUR);
    // it hurries, in one pulse of its 80 s; the other begins when that has had its rest
    let pulses = rig.pulses();
    assert_eq!(pulses[0], (1, DUE + HOUR, 80_000));
    assert!(pulses[1..].iter().all(|pulse| pulse.0 == 2 && pulse.1 >= DUE + HOUR + 80));
    let whole = Volume::from_ml(40);
    assert_eq!(rig.outcomes(), [(1, OutcomeKind::Dosed, whole), (2, OutcomeKind::Dosed, whole)]);
}

#[test]
fn d3_d10_of_two_that_are_found_due_late_the_first_hurries_from_its_first_pulse() {
    let mut rig = Rig::new(&[entry(1, 120), entry(2, 151)]);
    rig.until(DUE - 60);
    rig.at(DUE + 32 * 60, Event::Wake);
    assert_eq!(rig.pulses(), [(1, DUE + 32 * 60, 80_000)]);
    rig.until(DUE + 2 * HOUR);
    let whole = Volume::from_ml(40);
    assert_eq!(rig.outcomes(), [(1, OutcomeKind::Dosed, whole), (2, OutcomeKind::Dosed, whole)]);
}

#[test]
fn d4_lost_slots_are_doubted_by_one_dose_alone() {
    let told = |lost: fn(&Record) -> bool| {
        let mut rig = Rig::new(&[entry(1, 120), entry(2, 151)]);
        rig.until(DUE - 60);
        rig.at(DUE - 60, Event::RemoteStop(true));
        rig.until(DUE + 35 * 60);
        rig.at(DUE + 35 * 60, Event::Acknowledge);
        // both wait; the last slot is lost, or the one before it as well, which says so of the
        // second
        let mut flash = rig.device.into_flash();
        assert!(damage(&mut flash, |_, record| lost(record)) > 0);
        let back = Instant::from_ms((DUE + 41 * 60) * 1000);
        rig.device = pump::start(flash, GEOMETRY, back);
        rig.until(DUE + 3 * HOUR);
        records(rig.device.ledger().flash().bytes())
            .filter_map(|(_, record)| match record {
                Record::Outcome(o) => Some((o.due.id.0, o.kind, o.least)),
                _ => None,
            })
            .collect::<Vec<_>>()
    };
    let (dosed, ml) = (OutcomeKind::Dosed, Volume::from_ml);
    let both = told(|record| match record {
        Record::Born(born) => born.due.id.0 == 2,
        record => matches!(record, Record::Act { .. }),
    });
    assert_eq!(both, [(1, dosed, ml(36)), (2, dosed, ml(40))]);
    let one = told(|record| matches!(record, Record::Act { .. }));
    assert_eq!(one, [(1, dosed, ml(40)), (2, dosed, ml(40))]);
}

#[test]
fn d10_a_pulse_that_comes_late_moves_the_rest_of_them() {
    let mut rig = Rig::new(&[entry(1, 120)]);
    rig.until(DUE + 170);
    // planned for 180 s after the first
    rig.at(DUE + 210, Event::Wake);
    rig.until(DUE + HOUR);
    // nine are spread over what is left of the half hour: 1590.6 s with a rest, 176.73 s apart
    let starts: Vec<i64> = rig.pulses().iter().map(|pulse| pulse.1 - DUE).collect();
    assert_eq!(starts, [0, 210, 386, 563, 740, 916, 1093, 1270, 1447, 1623]);
    assert_eq!(rig.outcomes(), [(1, OutcomeKind::Dosed, Volume::from_ml(40))]);
}

#[test]
fn d9_d10_a_dose_that_is_called_too_late_while_the_clock_is_set_was_woken_late() {
    let mut rig = Rig::new(&[daily(1, 120, Volume::from_ml(40))]);
    rig.until(DUE + 170);
    // ten seconds are left of its window; the clock says what it said before
    let late = DUE + 1790;
    let now = Local::from_ms(midnight().as_ms() + late * 1000);
    rig.at(late, Event::SetClock(now));
    rig.until(DUE + HOUR);
    let [(1, OutcomeKind::Part(Cause::WokenLate), most)] = rig.outcomes()[..] else {
        panic!("{:?}", rig.outcomes())
    };
    assert!(most > Volume::from_ml(4) && most < Volume::from_ml(10), "{most:?}");
}

/// So much above the heel of 500 ml; the contact closes at a litre.
fn container() -> Container {
    Container {
        capacity: Volume::from_ml(10_000),
        low: Volume::from_ml(1_000),
        heel: Volume::from_ml(500),
        debounce_ms: 2_000,
    }
}

#[test]
fn o1_a_level_that_disagrees_stops_the_pump_in_mid_pulse() {
    let mut rig = Rig::new(&[entry(1, 120)]);
    rig.at(10, Event::Container(&container(), Volume::from_ml(8_000)));
    rig.until(DUE + 1);
    rig.at(DUE + 1, Event::LevelLow(true));
    rig.until(DUE + 2);
    assert!(rig.wires.on, "it may bounce");
    rig.until(DUE + 3);
    assert!(!rig.wires.on);
    rig.until(DUE + 3 * HOUR);
    // three seconds of it are all there was
    let part = OutcomeKind::Part(Cause::ContainerEmpty);
    assert_eq!(rig.outcomes(), [(1, part, Volume::from_ul(1_500))]);
}

#[test]
fn o1_a_low_level_in_a_dose_leaves_it_what_is_above_the_heel() {
    let mut rig = Rig::new(&[daily(1, 120, Volume::from_ml(40))]);
    let low = Container { low: Volume::from_ml(510), ..container() };
    rig.at(10, Event::Container(&low, Volume::from_ml(1_000)));
    // two pulses, 8 ml, have been pumped when the contact closes, 10 ml above the heel
    rig.until(DUE + 240);
    rig.at(DUE + 240, Event::LevelLow(true));
    rig.until(DUE + HOUR);
    let part = OutcomeKind::Part(Cause::ContainerEmpty);
    assert_eq!(rig.outcomes(), [(1, part, Volume::from_ml(18))]);
}

#[test]
fn o1_a_refill_lets_what_waited_for_it_begin_at_once() {
    let mut rig = Rig::new(&[entry(1, 120)]);
    rig.at(10, Event::Container(&container(), Volume::from_ml(8_000)));
    rig.until(DUE - 60);
    rig.at(DUE - 60, Event::LevelLow(true));
    rig.until(DUE + 600);
    assert!(rig.pulses().is_empty());
    rig.at(DUE + 600, Event::LevelLow(false));
    rig.at(DUE + 600, Event::Refill(Volume::from_ml(8_000)));
    assert!(rig.wires.on);
    rig.until(DUE + HOUR);
    assert_eq!(rig.pulses().len(), 10);
    assert_eq!(rig.outcomes(), [(1, OutcomeKind::Dosed, Volume::from_ml(40))]);
}

#[test]
fn o1_a_dose_takes_no_more_than_a_container_that_is_told_of_in_its_middle() {
    for (left_ml, expected) in [
        (10, (OutcomeKind::Part(Cause::ContainerEmpty), 18)),
        (32, (OutcomeKind::Dosed, 40)),
        (3_000, (OutcomeKind::Dosed, 40)),
    ] {
        let mut rig = Rig::new(&[daily(1, 120, Volume::from_ml(40))]);
        rig.at(10, Event::Container(&container(), Volume::from_ml(8_000)));
        // two pulses, 8 ml, have been pumped
        rig.until(DUE + 240);
        rig.at(DUE + 240, Event::Refill(Volume::from_ml(500 + left_ml)));
        rig.until(DUE + HOUR);
        let (kind, most) = expected;
        assert_eq!(rig.outcomes(), [(1, kind, Volume::from_ml(most))], "{left_ml}");
        if left_ml > 32 {
            // enough is there: nothing is moved
            let starts: Vec<i64> = rig.pulses().iter().map(|pulse| pulse.1 - DUE).collect();
            assert_eq!(starts, (0..10).map(|pulse| 180 * pulse).collect::<Vec<_>>());
        }
    }
    // and all that it was to have, once there is enough again
    let mut rig = Rig::new(&[daily(1, 120, Volume::from_ml(40))]);
    rig.at(10, Event::Container(&container(), Volume::from_ml(8_000)));
    rig.until(DUE + 240);
    rig.at(DUE + 240, Event::Refill(Volume::from_ml(510)));
    rig.until(DUE + 400);
    rig.at(DUE + 400, Event::Refill(Volume::from_ml(5_000)));
    rig.until(DUE + HOUR);
    assert_eq!(rig.outcomes(), [(1, OutcomeKind::Dosed, Volume::from_ml(40))]);
}

#[test]
fn p1_a_dose_is_over_with_its_last_pulse_and_its_rest_wakes_nobody() {
    let mut rig = Rig::new(&[entry(1, 120)]);
    rig.until(DUE + 4 * HOUR);
    let after = rig.wakes.iter().filter(|wake| wake.0 > (DUE + 1620) * 1000);
    let reasons: Vec<Reason> = after.map(|wake| wake.1).collect();
    assert_eq!(reasons[0], Reason::RunEnd);
    assert!(reasons[1..].iter().all(|why| *why == Reason::Stamp), "{reasons:?}");
    // nor does that of a prime
    let mut rig = Rig::new(&[]);
    rig.at(60, Event::Prime(Volume::from_ml(5)));
    rig.until(HOUR);
    assert_eq!(rig.wakes.last().unwrap().1, Reason::RunEnd);
}

#[test]
fn d7_a_rest_that_is_made_longer_is_what_the_dose_was_kept_by() {
    let mut rig = Rig::new(&[daily(1, 120, Volume::from_ml(40))]);
    rig.until(DUE + 240);
    // a pulse of 8 s now needs a rest of eight minutes, and none is longer than 10 s
    let slower = Head { longest_run_ms: 10_000, least_rest_ms: 600_000, ..head() };
    rig.at(DUE + 240, Event::SetHead(&slower));
    rig.until(DUE + HOUR);
    // three as planned, and what goes in by the end of the window: 10 s each
    let lengths: Vec<u32> = rig.pulses().iter().map(|pulse| pulse.2).collect();
    assert_eq!(lengths, [8_000, 8_000, 8_000, 10_000, 10_000]);
    let part = OutcomeKind::Part(Cause::PumpLimits);
    assert_eq!(rig.outcomes(), [(1, part, Volume::from_ml(22))]);
}

#[test]
fn d1_a_dose_that_the_starts_of_an_hour_keep_too_long_ends_where_it_is_kept() {
    let mut rig = Rig::new(&[daily(1, 120, Volume::from_ml(40))]);
    rig.until(DUE + 240);
    // two were; the next may come an hour after the first, when the window is over
    rig.at(DUE + 240, Event::SetHead(&Head { starts_per_hour: 2, ..head() }));
    rig.until(DUE + 359);
    assert_eq!(rig.outcomes(), []);
    rig.until(DUE + 360);
    let part = OutcomeKind::Part(Cause::PumpLimits);
    assert_eq!(rig.outcomes(), [(1, part, Volume::from_ml(8))]);
}

#[test]
fn d5_a_dose_that_begins_a_millisecond_late_is_not_disturbed() {
    let second = |late_ms: i64| {
        let mut rig = Rig::new(&[entry(1, 120)]);
        rig.until(DUE - 60);
        let at = Instant::from_ms(DUE * 1000 + late_ms);
        rig.device.handle(at, Event::Wake, &mut rig.wires);
        rig.until(DUE + HOUR);
        let starts: Vec<i64> = records(rig.device.ledger().flash().bytes())
            .filter_map(|(_, record)| match record {
                Record::Pulse(pulse) => Some(pulse.at.as_ms() - DUE * 1000),
                _ => None,
            })
            .collect();
        assert_eq!((starts.len(), starts[0]), (10, late_ms));
        starts[1]
    };
    // a tenth of the half hour after the due, or after its begin
    assert_eq!((second(0), second(1)), (180_000, 180_000));
    assert_ne!(second(2), 180_000);
}

#[test]
fn o1_each_service_run_keeps_its_own_limit() {
    let mut rig = Rig::new(&[]);
    let unlike = Head { longest_prime_ms: 60_000, longest_calibration_ms: 10_000, ..head() };
    rig.at(1, Event::SetHead(&unlike));
    // 15 ml are 30 s; and no prime is longer than a minute
    for (ml, s) in [(15, 30), (300, 60)] {
        let at = 100 * ml;
        rig.at(at, Event::Prime(Volume::from_ml(ml as u64)));
        rig.until(at + s - 1);
        assert!(rig.wires.on, "{ml}");
        rig.until(at + s);
        assert!(!rig.wires.on, "{ml}");
    }
}

#[test]
fn d7_a_fault_that_is_told_again_is_one_fault() {
    let mut rig = Rig::new(&[entry(1, 120)]);
    rig.until(DUE + 1);
    let faults = |rig: &Rig| rig.device.controller().book().motor.faults;
    for _ in 0..3 {
        rig.at(DUE + 1, Event::MotorFault);
        assert!(!rig.wires.on);
        assert_eq!(faults(&rig), 1);
    }
    // the retry after a minute's rest fails as well
    rig.until(DUE + 62);
    assert!(rig.wires.on);
    rig.at(DUE + 62, Event::MotorFault);
    assert_eq!(faults(&rig), 2);
}
