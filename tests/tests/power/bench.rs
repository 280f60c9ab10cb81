//! A device with a pack that reads as it is told to.

use dosewright_core::civil::{Days, Local};
use dosewright_core::config::Head;
use dosewright_core::device::Device;
use dosewright_core::entry::{Entry, EntryId, GapRule, Recurrence};
use dosewright_core::event::Event;
use dosewright_core::ledger::Geometry;
use dosewright_core::power::Pack;
use dosewright_core::record::{Alarm, OutcomeKind, Record, Reset};
use dosewright_core::time::Instant;
use dosewright_core::timers::Reason;
use dosewright_core::timetable::{Refusal, Timetable};
use dosewright_core::units::{Flow, Volume};
use dosewright_sim::world::flash::NorMock;
use dosewright_tests::slots::records;
use dosewright_tests::wires::Wires;

const N: usize = 4;
type Pump = Device<NorMock<4, 1024>, N, 8>;
const GEOMETRY: Geometry = Geometry { start: 0, sector_bytes: 16_384, sectors: 2 };
pub(crate) const HOUR: i64 = 3_600_000;

pub(crate) const PACK: Pack = Pack {
    capacity_mah: 6000,
    motor_ma: 350,
    start_ma: 1200,
    start_ms: 30,
    sleep_ua: 60,
    display_ua: 12_000,
    low_mv: 7000,
    exhausted_mv: 6500,
    hysteresis_mv: 200,
    jump_mv: 700,
    warn_days: 14,
};

/// A device with a pack that reads as it is told to.
pub(crate) struct Bench {
    pub(crate) device: Pump,
    pub(crate) wires: Wires,
    pub(crate) now: i64,
    /// At rest and under load, in mV.
    pub(crate) reads: (u16, u16),
    /// What one reading of each test says instead, at rest and under load, in mV.
    pub(crate) misread: (Option<u16>, Option<u16>),
    pub(crate) wakes: Vec<Reason>,
}

impl Bench {
    pub(crate) fn new(pack: Option<Pack>) -> Self {
        let zero = Some(Instant::ZERO);
        let Ok(device) = Device::start(NorMock::new(32), GEOMETRY, zero, Reset::PowerOn) else {
            panic!("the ledger does not start")
        };
        let wires = Wires::default();
        let mut bench = Self {
            device,
            wires,
            now: 0,
            reads: (10_500, 9_500),
            misread: (None, None),
            wakes: Vec::new(),
        };
        let head = Head::with_flow(Flow::from_nl_per_min(30_000_000).unwrap());
        bench.act(Event::SetHead(&head)).unwrap();
        bench
            .act(Event::SetClock(Local::from_ms(1_790_000_000_000 / 86_400_000 * 86_400_000)))
            .unwrap();
        if let Some(pack) = pack {
            bench.act(Event::SetPack(&pack)).unwrap();
        }
        let mut timetable = Timetable::EMPTY;
        timetable
            .put(Entry {
                id: EntryId(1),
                enabled: true,
                recurrence: Recurrence::Weekly { days: Days::ALL, at_min: 180, by_night: false },
                volume: Volume::from_ml(120),
                window_ms: 2_700_000,
                grace_ms: 0,
                first: None,
                last: None,
                observes_closed: false,
                gap_rule: GapRule::Shift,
                pulses: None,
            })
            .unwrap();
        bench.act(Event::Timetable(&timetable)).unwrap();
        bench
    }

    pub(crate) fn act(&mut self, event: Event<'_, N>) -> Result<(), Refusal> {
        self.wires.refused = None;
        self.wires.now = self.now;
        let (tests, reads) = (self.wires.tests.len(), self.wires.reads.len());
        self.device.handle(Instant::from_ms(self.now), event, &mut self.wires);
        let answer = self.wires.refused.map_or(Ok(()), Err);
        let (rest, load) = self.reads;
        if self.wires.tests.len() > tests {
            let (misread_rest, misread_load) = self.misread;
            for (mv, loaded, misread) in [(rest, false, misread_rest), (load, true, misread_load)] {
                for i in 0..10 {
                    let mv = misread.filter(|_| i == 4).unwrap_or(mv);
                    self.act(Event::PackRead { mv, loaded }).unwrap();
                }
            }
        } else if self.wires.reads.len() > reads {
            self.act(Event::PackRead { mv: load, loaded: true }).unwrap();
        }
        answer
    }

    /// Lets time pass, calling as asked.
    pub(crate) fn until(&mut self, ms: i64) {
        while let Some((at, why)) = self.device.next_wake().filter(|(at, _)| at.as_ms() <= ms) {
            assert!(at.as_ms() > self.now, "P1: {why:?} asks to be called at once again");
            self.now = at.as_ms();
            self.wakes.push(why);
            self.act(Event::Wake).unwrap();
        }
        self.now = ms;
    }

    pub(crate) fn restart(&mut self) {
        self.start_again(Some(Instant::from_ms(self.now)));
    }

    /// Starts again; without a count, the clock chip has lost its feed.
    pub(crate) fn start_again(&mut self, count: Option<Instant>) {
        let blank = Device::start(NorMock::new(32), GEOMETRY, count, Reset::PowerOn);
        let Ok(blank) = blank else { panic!() };
        let flash = std::mem::replace(&mut self.device, blank).into_flash();
        let Ok(device) = Device::start(flash, GEOMETRY, count, Reset::PowerOn) else {
            panic!("the ledger does not open")
        };
        self.device = device;
        self.act(Event::Wake).unwrap();
    }

    pub(crate) fn records(&self) -> Vec<Record> {
        records(self.device.ledger().flash().bytes()).map(|(_, record)| record).collect()
    }

    pub(crate) fn outcomes(&mut self) -> Vec<OutcomeKind> {
        self.records()
            .into_iter()
            .filter_map(|record| match record {
                Record::Outcome(outcome) => Some(outcome.kind),
                _ => None,
            })
            .collect()
    }

    pub(crate) fn alarm(&self, alarm: Alarm) -> bool {
        self.device.controller().book().alarm_is_on(alarm)
    }
}
