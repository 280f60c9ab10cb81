//! O5: settings behind a PIN; tries with a growing delay; a lock that returns by
//! itself; and no PIN in any log.

use dosewright_core::civil::Local;
use dosewright_core::config::{Container, Head};
use dosewright_core::device::{Device, Outputs};
use dosewright_core::entry::EntryId;
use dosewright_core::event::Event;
use dosewright_core::ledger::Geometry;
use dosewright_core::lock::{Pin, PinWord};
use dosewright_core::power::Pack;
use dosewright_core::record::{Alarm, Record, Reset};
use dosewright_core::time::{Duration, Instant};
use dosewright_core::timetable::{Refusal, Timetable};
use dosewright_core::units::{Flow, Volume};
use dosewright_core::zone::Zone;
use dosewright_sim::world::flash::NorMock;

const N: usize = 4;
type Pump = Device<NorMock<4, 1024>, N, 8>;
const GEOMETRY: Geometry = Geometry { start: 0, sector_bytes: 4096, sectors: 2 };
const MINUTE: i64 = 60_000;

struct Bench {
    device: Pump,
    now: i64,
    refused: Option<Refusal>,
}

struct Wires<'a>(&'a mut Option<Refusal>);

impl Outputs for Wires<'_> {
    fn pump_on(&mut self, _: Duration) {}
    fn pump_off(&mut self) {}
    fn refused(&mut self, refusal: &Refusal) {
        *self.0 = Some(*refusal);
    }
    fn alarm(&mut self, _: Alarm, _: bool) {}
}

fn pin(digits: &str) -> Pin {
    Pin::from_digits(digits.as_bytes()).unwrap()
}

impl Bench {
    fn new() -> Self {
        let zero = Some(Instant::ZERO);
        let Ok(device) = Device::start(NorMock::new(8), GEOMETRY, zero, Reset::PowerOn) else {
            panic!("the ledger does not start")
        };
        let mut bench = Self { device, now: 0, refused: None };
        let head = Head::with_flow(Flow::from_nl_per_min(30_000_000).unwrap());
        bench.act(Event::SetHead(&head)).unwrap();
        bench
    }

    fn locked() -> Self {
        let mut bench = Self::new();
        bench.act(Event::SetPin(Some(pin("0417")))).unwrap();
        bench.act(Event::Lock).unwrap();
        bench
    }

    fn act(&mut self, event: Event<'_, N>) -> Result<(), Refusal> {
        self.refused = None;
        self.device.handle(Instant::from_ms(self.now), event, &mut Wires(&mut self.refused));
        self.refused.map_or(Ok(()), Err)
    }

    fn unlock(&mut self, digits: &str) -> Result<(), Refusal> {
        self.act(Event::Unlock(pin(digits)))
    }

    fn is_open(&mut self) -> bool {
        match self.act(Event::Prime(Volume::from_ml(1))) {
            Err(Refusal::Locked) => false,
            _ => {
                self.act(Event::Release).unwrap();
                true
            }
        }
    }

    fn restart(self) -> Self {
        let count = Some(Instant::from_ms(self.now));
        let flash = self.device.into_flash();
        let Ok(device) = Device::start(flash, GEOMETRY, count, Reset::PowerOn) else {
            panic!("the ledger does not open")
        };
        let mut bench = Self { device, ..self };
        bench.act(Event::Wake).unwrap();
        bench
    }
}

#[test]
fn o5_without_a_pin_nothing_is_locked() {
    let mut bench = Bench::new();
    assert!(bench.is_open());
    assert_eq!(bench.unlock("0000"), Ok(()), "there is nothing to open");
    bench.act(Event::Lock).unwrap();
    assert!(bench.is_open());
}

#[test]
fn o5_whoever_sets_a_pin_is_in_until_the_lock_returns() {
    let mut bench = Bench::new();
    bench.now = 10 * MINUTE;
    bench.act(Event::SetPin(Some(pin("0417")))).unwrap();
    assert!(!bench.device.controller().is_locked() && bench.is_open());
    bench.now += 24 * 60 * MINUTE;
    assert_eq!(bench.act(Event::Wake), Ok(()));
    assert!(bench.device.controller().is_locked() && !bench.is_open());
}

#[test]
fn o5_a_closed_lock_keeps_every_setting_out_and_no_dose() {
    let mut bench = Bench::locked();
    let head = Head::with_flow(Flow::from_nl_per_min(20_000_000).unwrap());
    let container = Container { capacity: Volume::from_ml(5_000), ..Container::NONE };
    let measured = dosewright_core::calibration::Measured {
        amount: dosewright_core::calibration::Amount::Volume(Volume::from_ml(1)),
        reading_error: Volume::ZERO,
        as_found: false,
    };
    let vessel = dosewright_core::calibration::Vessel {
        capacity: Volume::from_ml(100),
        reading_error: Volume::ZERO,
    };
    let before = *bench.device.controller().book();
    for event in [
        Event::SetClock(Local::from_ms(0)),
        Event::SetZone(&Zone::UTC),
        Event::Timetable(&Timetable::EMPTY),
        Event::SetHead(&head),
        Event::SetFlow(head.flow),
        Event::Container(&container, Volume::from_ml(1_000)),
        Event::RunAgain(EntryId(1)),
        Event::Prime(Volume::from_ml(1)),
        Event::Calibrate { run_ms: 1000 },
        Event::CalibrateInto(&vessel),
        Event::CalibrateTrain(&vessel),
        Event::Measured(&measured),
        Event::TubeChanged,
        Event::SetPin(None),
    ] {
        assert_eq!(bench.act(event), Err(Refusal::Locked), "{event:?}");
    }
    assert_eq!(*bench.device.controller().book(), before);
    // whoever is at hand may fill it up, and acknowledge
    assert_ne!(bench.act(Event::Refill(Volume::from_ml(1))), Err(Refusal::Locked));
    assert_eq!(bench.act(Event::Acknowledge), Ok(()));
    assert_eq!(bench.act(Event::Release), Ok(()));
    let id = EntryId(1);
    assert_eq!(bench.act(Event::StopDose(id)), Err(Refusal::NotRunning { id }));
}

#[test]
fn o5_tries_are_limited_by_a_delay_that_grows() {
    let mut bench = Bench::locked();
    for _ in 0..3 {
        assert_eq!(bench.unlock("1111"), Err(Refusal::WrongPin));
    }
    for (wait_min, step) in [(1, 1), (2, 2), (4, 4), (8, 8), (16, 16), (32, 32), (60, 60), (60, 60)]
    {
        let wait_ms = (wait_min * MINUTE) as u32;
        // not even the right one is judged before its time
        assert_eq!(bench.unlock("0417"), Err(Refusal::TriedTooOften { wait_ms }));
        bench.now += wait_min * MINUTE - 1;
        assert_eq!(bench.unlock("0417"), Err(Refusal::TriedTooOften { wait_ms: 1 }));
        bench.now += 1;
        assert_eq!(bench.unlock("2222"), Err(Refusal::WrongPin), "after {step} min");
    }
    bench.now += 60 * MINUTE;
    assert_eq!(bench.unlock("0417"), Ok(()));
    assert!(bench.is_open());
    // the row is over
    bench.act(Event::Lock).unwrap();
    assert_eq!(bench.unlock("1111"), Err(Refusal::WrongPin));
    assert_eq!(bench.unlock("0417"), Ok(()));
}

#[test]
fn o5_switching_it_off_and_on_saves_nobody_the_wait() {
    let mut bench = Bench::locked();
    for _ in 0..3 {
        assert_eq!(bench.unlock("1111"), Err(Refusal::WrongPin));
        bench = bench.restart();
    }
    bench.now += 59_999;
    assert_eq!(bench.unlock("0417"), Err(Refusal::TriedTooOften { wait_ms: 1 }));
    bench = bench.restart();
    assert_eq!(bench.unlock("0417"), Err(Refusal::TriedTooOften { wait_ms: 1 }));
    bench.now += 1;
    assert_eq!(bench.unlock("0417"), Ok(()));
    // and a restart locks it
    let mut bench = bench.restart();
    assert!(!bench.is_open());
}

#[test]
fn o5_the_lock_returns_by_itself() {
    let mut bench = Bench::locked();
    bench.unlock("0417").unwrap();
    bench.now += 5 * MINUTE - 1;
    // whoever goes on working stays in
    bench.act(Event::SetZone(&Zone::UTC)).unwrap();
    bench.now += 5 * MINUTE - 1;
    bench.act(Event::SetZone(&Zone::UTC)).unwrap();
    bench.now += 5 * MINUTE;
    assert_eq!(bench.act(Event::SetZone(&Zone::UTC)), Err(Refusal::Locked));
    // it asks for no call of its own (P1)
    let asked = bench.device.next_wake().map(|(_, why)| why);
    assert_eq!(asked, Some(dosewright_core::timers::Reason::Stamp));
}

#[test]
fn o5_a_calibration_run_that_outlasts_the_lock_can_be_finished() {
    use dosewright_core::calibration::{Amount, Measured};
    let amount = Amount::Volume(Volume::from_ml(240));
    let measured = Measured { amount, reading_error: Volume::from_ml(1), as_found: true };
    // begun by somebody who is in, and run for eight minutes
    let run = |lock_up: bool, stop: bool| {
        let mut bench = Bench::locked();
        bench.unlock("0417").unwrap();
        bench.act(Event::Calibrate { run_ms: 480_000 }).unwrap();
        bench.now += 5 * MINUTE;
        assert!(!bench.is_open() && bench.device.controller().is_locked());
        if lock_up {
            bench.act(Event::Lock).unwrap();
        }
        if stop {
            bench.act(Event::Release).unwrap();
        }
        bench.now += 3 * MINUTE;
        bench.act(Event::Wake).unwrap();
        bench
    };
    let mut bench = run(false, false);
    assert!(bench.device.controller().waits_for_reading());
    bench.now += 5 * MINUTE - 1;
    assert_eq!(bench.act(Event::Measured(&measured)), Ok(()));
    // and no longer than the lock stays open after anything else
    let mut bench = run(false, false);
    bench.now += 5 * MINUTE;
    assert_eq!(bench.act(Event::Measured(&measured)), Err(Refusal::Locked));
    // who locks up means it, and whoever stops the run is let in to nothing
    for (lock_up, stop) in [(true, false), (false, true)] {
        let mut bench = run(lock_up, stop);
        assert_eq!(bench.act(Event::Measured(&measured)), Err(Refusal::Locked));
        assert!(bench.device.controller().is_locked());
    }
}

#[test]
fn o5_what_needs_no_pin_keeps_nothing_open() {
    let pack = Pack { capacity_mah: 6000, motor_ma: 350, ..Pack::MAINS };
    let container = Container { capacity: Volume::from_ml(5_000), ..Container::NONE };
    for which in 0..4 {
        let mut bench = Bench::new();
        bench.act(Event::SetPack(&pack)).unwrap();
        bench.act(Event::Container(&container, Volume::from_ml(1_000))).unwrap();
        bench.act(Event::SetPin(Some(pin("0417")))).unwrap();
        bench.now += 5 * MINUTE - 1;
        // whoever is at hand may do it, or try
        let taken = match which {
            0 => bench.act(Event::Acknowledge),
            1 => bench.act(Event::Refill(Volume::from_ml(2_000))),
            2 => bench.act(Event::PackChanged),
            _ => bench.unlock("1111"),
        };
        assert_eq!(taken, if which < 3 { Ok(()) } else { Err(Refusal::WrongPin) });
        bench.now += 1;
        assert_eq!(bench.act(Event::SetZone(&Zone::UTC)), Err(Refusal::Locked), "{which}");
    }
}

#[test]
fn o5_a_pin_is_changed_or_taken_away_by_whoever_is_in() {
    let mut bench = Bench::locked();
    bench.unlock("0417").unwrap();
    bench.act(Event::SetPin(Some(pin("86420")))).unwrap();
    assert!(bench.is_open());
    bench.act(Event::Lock).unwrap();
    assert_eq!(bench.unlock("0417"), Err(Refusal::WrongPin));
    bench.unlock("86420").unwrap();
    bench.act(Event::SetPin(None)).unwrap();
    let mut bench = bench.restart();
    assert!(bench.is_open());
}

#[test]
fn o5_no_log_and_no_memory_shows_the_pin() {
    let mut bench = Bench::locked();
    bench.unlock("0417").unwrap();
    let text = format!("{:?} {:?}", pin("0417"), Event::<N>::Unlock(pin("0417")));
    assert!(!text.contains("417") && text.contains("Pin"), "{text}");
    // nor the word from which it can be worked out, which is 1200492747 for this one
    let word = PinWord(0x478e_10cb);
    let record = Record::Pin { at: Instant::ZERO, check: word };
    let state = format!("{record:?} {:?}", bench.device.controller());
    assert_eq!(state.matches("PinWord").count(), 2);
    assert!(!state.contains("10417") && !state.contains("1200492747"));
    let bytes = bench.device.into_flash().into_bytes();
    for shown in [&b"0417"[..], &[0, 4, 1, 7], &417_u32.to_le_bytes(), &10_417_u32.to_le_bytes()] {
        assert!(!bytes.windows(4).any(|window| window == shown), "{shown:?} is in the memory");
    }
}
