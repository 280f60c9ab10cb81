//! The pieces of the logic whose cost is counted in instructions. Each is a call of its
//! own that is not inlined, so that a tool which counts by function finds it.

use std::hint::black_box;

use dosewright_core::device::{Device, Outputs};
use dosewright_core::event::Event;
use dosewright_core::ledger::{Geometry, Payload};
use dosewright_core::record::{Alarm, Record, Reset};
use dosewright_core::time::{Duration, Instant};
use dosewright_core::timetable::Refusal;
use dosewright_sim::run::{self, Options};
use dosewright_sim::world::flash::NorMock;

use crate::next_due::{Answer, instants};
use crate::work::Work;

/// The simulated part, with words of 4 bytes.
type Flash = NorMock<4, 1024>;
/// The device as the simulator has it.
pub type Pump = Device<Flash, 64, 128>;

/// How often each piece is done.
pub const TIMES: u32 = 256;
/// How many edges of the pump are counted: so many that it says nothing where the changes of
/// sector come among them, of which there is one in some 300.
pub const EDGES: u32 = 16_384;

/// Counts starts and drops everything else.
#[derive(Default)]
pub struct Starts(u32);

impl Outputs for Starts {
    fn pump_on(&mut self, _: Duration) {
        self.0 += 1;
    }
    fn pump_off(&mut self) {}
    fn refused(&mut self, refusal: &Refusal) {
        panic!("refused: {refusal:?}");
    }
    fn alarm(&mut self, _: Alarm, _: bool) {}
}

/// A memory that a run has left, and the device's time at its end.
#[derive(Clone)]
pub struct Store {
    image: Vec<u8>,
    geometry: Geometry,
    count: Instant,
}

impl Store {
    /// The standard work's memory after so many hours and minutes.
    pub fn after(hours: u64, minutes: u64) -> Self {
        let scenario = Work::year().scenario();
        let until = Duration::from_ms((hours * 60 + minutes) * 60_000);
        let options = Options { until: Some(until), ..Options::default() };
        struct Nobody;
        impl dosewright_sim::observe::Observer for Nobody {
            fn see(&mut self, _: u64, _: &dosewright_sim::observe::Observation<'_>) {}
        }
        let end = run::run(&scenario, &options, &mut Nobody).expect("a sound world");
        let memory = &scenario.memory;
        let geometry = Geometry {
            start: 0,
            sector_bytes: memory.sector_bytes,
            sectors: u16::try_from(memory.sectors).expect("few sectors"),
        };
        Self { image: end.image, geometry, count: Instant::from_ms(end.end_ms as i64) }
    }

    /// The memory of the hour, of the first so many, after which there was the least
    /// room in the sector in force.
    pub fn fullest(hours: u64) -> Self {
        let stores = (1..=hours).map(|hour| Self::after(hour, 50));
        stores.min_by_key(|store| store.boot().ledger().free()).expect("an hour")
    }

    fn flash(&self) -> Flash {
        Flash::from_bytes(self.image.clone())
    }

    /// A device that has started from it.
    pub fn boot(&self) -> Pump {
        measured_boot(self.flash(), self.geometry, self.count)
    }

    /// The same counted: its flash is made before.
    pub fn boots(&self) {
        for flash in (0..TIMES).map(|_| self.flash()).collect::<Vec<_>>() {
            black_box(measured_boot(flash, self.geometry, self.count));
        }
    }
}

/// A start from what the memory holds, up to the first call's end.
#[inline(never)]
pub fn measured_boot(flash: Flash, geometry: Geometry, count: Instant) -> Pump {
    let started = Device::start(flash, geometry, Some(count), Reset::PowerOn);
    let mut device = started.unwrap_or_else(|(_, error)| panic!("{error:?}"));
    device.handle(count, Event::Wake, &mut Starts::default());
    device
}

/// So many calls that have nothing to do.
#[inline(never)]
pub fn measured_idle_wake(device: &mut Pump, now: Instant) {
    let mut nothing = Starts::default();
    for _ in 0..TIMES {
        device.handle(black_box(now), Event::Wake, &mut nothing);
    }
    assert_eq!(nothing.0, 0, "a call with nothing to do started the pump");
}

/// So many pump edges of doses under way, from call to call.
#[inline(never)]
pub fn measured_pulse_edges(device: &mut Pump) {
    let mut starts = Starts::default();
    while starts.0 < EDGES / 2 || device.controller().pump_is_on() {
        let (at, _) = device.next_wake().expect("there is a call to come");
        device.handle(at, Event::Wake, &mut starts);
    }
}

/// So many appends to the sector in force.
#[inline(never)]
pub fn measured_appends(device: &mut Pump, payload: &Payload) {
    for _ in 0..TIMES {
        let written = device.ledger_mut().append(black_box(payload));
        assert!(written.is_ok(), "{written:?}");
    }
}

/// So many answers to when the next due is.
#[inline(never)]
pub fn measured_next_due(answer: &Answer<'_>) -> i64 {
    instants().take(TIMES as usize).map(answer).sum()
}

/// A record as large as any, in the ledger's bytes.
pub fn payload() -> Payload {
    Record::Stamp { at: Instant::from_ms(86_400_000) }.encode()
}
