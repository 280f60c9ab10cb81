//! A real controller with a head whose flow pulsates by the angle of its rotor.

use dosewright_core::calibration::{Amount, Measured, Vessel};
use dosewright_core::civil::{Days, Local};
use dosewright_core::config::Head;
use dosewright_core::device::{Device, Outputs};
use dosewright_core::entry::{Entry, EntryId, GapRule, Recurrence};
use dosewright_core::event::Event;
use dosewright_core::ledger::Geometry;
use dosewright_core::record::{Alarm, Record, Reset};
use dosewright_core::time::{Duration, Instant};
use dosewright_core::timetable::{Refusal, Timetable};
use dosewright_core::units::{Flow, Volume};
use dosewright_sim::world::flash::NorMock;
use dosewright_sim::world::head::Rotor;
use dosewright_tests::slots::records;

pub(crate) const N: usize = 4;
type Flash = NorMock<4, 1024>;

const GEOMETRY: Geometry = Geometry { start: 0, sector_bytes: 8192, sectors: 2 };

/// What comes out of the head, and what the device said.
pub(crate) struct Outflow {
    pub(crate) rotor: Rotor,
    pub(crate) now: Instant,
    on_since: Option<Instant>,
    /// In ml, since the rig was made.
    pub(crate) ml: f64,
    pub(crate) refused: Option<Refusal>,
    pub(crate) on_ms: u64,
    pub(crate) starts: u32,
}

impl Outputs for Outflow {
    fn pump_on(&mut self, _: Duration) {
        assert!(self.on_since.is_none(), "the pump starts while it runs");
        self.on_since = Some(self.now);
        self.starts += 1;
    }
    fn pump_off(&mut self) {
        if let Some(since) = self.on_since.take() {
            let on_ms = self.now.since(since).as_ms();
            self.on_ms += on_ms;
            // gaps are longer than the rotor takes to come to rest
            self.ml += self.rotor.run_ml(on_ms as f64 / 1e3, 10.0);
        }
    }
    fn refused(&mut self, refusal: &Refusal) {
        self.refused = Some(*refusal);
    }
    fn alarm(&mut self, _: Alarm, _: bool) {}
}

/// A device on a bench.
pub(crate) struct Rig {
    pub(crate) device: Device<Flash, N, 16>,
    pub(crate) out: Outflow,
}

impl Rig {
    /// A device that is set up with this head, its clock at midnight of a Monday.
    pub(crate) fn new(head: Head, rotor: Rotor) -> Self {
        let Ok(device) =
            Device::start(Flash::new(16), GEOMETRY, Some(Instant::ZERO), Reset::PowerOn)
        else {
            panic!("the ledger does not start")
        };
        let out = Outflow {
            rotor,
            now: Instant::ZERO,
            on_since: None,
            ml: 0.0,
            refused: None,
            on_ms: 0,
            starts: 0,
        };
        let mut rig = Self { device, out };
        rig.act(Event::SetHead(&head)).unwrap();
        let monday = dosewright_core::civil::Date::from_ymd(2026, 10, 5).unwrap();
        rig.act(Event::SetClock(Local::new(monday, Duration::ZERO))).unwrap();
        rig
    }

    /// Does something to it now.
    pub(crate) fn act(&mut self, event: Event<'_, N>) -> Result<(), Refusal> {
        self.out.refused = None;
        self.device.handle(self.out.now, event, &mut self.out);
        self.out.refused.map_or(Ok(()), Err)
    }

    /// Lets it run on for so many ms.
    pub(crate) fn run(&mut self, ms: u64) {
        let until = self.out.now.plus(Duration::from_ms(ms));
        while let Some((at, _)) = self.device.next_wake().filter(|(at, _)| *at <= until) {
            self.out.now = at.max(self.out.now);
            self.device.handle(self.out.now, Event::Wake, &mut self.out);
        }
        self.out.now = until;
    }

    /// A calibration run into a vessel, in full; what came out, in ml.
    pub(crate) fn run_into(&mut self, vessel: &Vessel) -> Result<f64, Refusal> {
        let before = self.out.ml;
        self.act(Event::CalibrateInto(vessel))?;
        self.run(700_000);
        Ok(self.out.ml - before)
    }

    /// Enters a volume read off a vessel.
    pub(crate) fn read(&mut self, ml: f64, vessel: &Vessel) -> Result<(), Refusal> {
        self.enter(ml, vessel, false)
    }

    /// The same, as the head was found.
    pub(crate) fn read_as_found(&mut self, ml: f64, vessel: &Vessel) -> Result<(), Refusal> {
        self.enter(ml, vessel, true)
    }

    fn enter(&mut self, ml: f64, vessel: &Vessel, as_found: bool) -> Result<(), Refusal> {
        let amount = Amount::Volume(Volume::from_nl((ml * 1e6).round() as u64));
        let reading_error = vessel.reading_error;
        self.act(Event::Measured(&Measured { amount, reading_error, as_found }))
    }

    /// The flow in force, in ml/min.
    pub(crate) fn flow(&self) -> f64 {
        self.device.controller().book().head.map_or(0.0, |h| ml_min(h.flow))
    }

    /// What its memory holds, slot by slot.
    pub(crate) fn records(&self) -> Vec<Record> {
        records(self.device.ledger().flash().bytes()).map(|(_, record)| record).collect()
    }

    /// Switches it off, and on again.
    pub(crate) fn restart(self) -> Self {
        let count = Some(self.out.now);
        let flash = self.device.into_flash();
        let Ok(device) = Device::start(flash, GEOMETRY, count, Reset::PowerOn) else {
            panic!("the ledger does not open")
        };
        let mut rig = Self { device, out: Outflow { on_since: None, ..self.out } };
        rig.run(0);
        rig
    }
}

pub(crate) fn ml_min(flow: Flow) -> f64 {
    f64::from(flow.as_nl_per_min()) / 1e6
}

pub(crate) fn flow(ml_min: f64) -> Flow {
    Flow::from_nl_per_min((ml_min * 1e6).round() as u32).unwrap()
}

/// A cylinder of 100 ml, class A: 0.50 ml (ASTM E1272, Table 1).
pub(crate) const CYLINDER: Vessel =
    Vessel { capacity: Volume::from_ml(100), reading_error: Volume::from_ul(500) };

/// A dose every night at 00:45, over three quarters of an hour.
pub(crate) fn nightly(volume: Volume, pulses: u16) -> Timetable<N> {
    let mut timetable = Timetable::EMPTY;
    let entry = Entry {
        id: EntryId(1),
        enabled: true,
        recurrence: Recurrence::Weekly { days: Days::ALL, at_min: 45, by_night: false },
        volume,
        window_ms: 2_700_000,
        grace_ms: 0,
        first: None,
        last: None,
        observes_closed: false,
        gap_rule: GapRule::Shift,
        pulses: Some(pulses),
    };
    timetable.put(entry).unwrap();
    timetable
}
