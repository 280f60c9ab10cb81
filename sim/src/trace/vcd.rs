//! The waveform of a run as a value change dump (IEEE 1364), for any viewer.
//!
//! One millisecond a step, or a microsecond for a short window: some viewers choke on
//! a week in microseconds. Wires of one bit and real numbers, and one small bus that
//! says in a row what the device is at; everything in it is in the wires, too, for
//! viewers without buses.

use std::io;

use dosewright_core::record::{Act, Alarm};
use dosewright_core::units::Volume;
use vcd::{IdCode, SimulationCommand, TimescaleUnit, Writer};

use super::{Event, Fate, Sink};
use crate::observe::DeviceAct;

/// The one-bit signals.
#[derive(Clone, Copy)]
enum Wire {
    Pump,
    Supply,
    Display,
    DoseOpen,
    Prime,
    Calibrate,
    RemoteStop,
    Leak,
    Alarm,
    ClockSet,
}

/// Names of the wires, in the order of the dump.
pub const WIRES: [&str; 10] = [
    "pump",
    "supply",
    "display",
    "dose_open",
    "prime",
    "calibrate",
    "remote_stop",
    "leak",
    "alarm",
    "clock_set",
];
/// The bus: what the device is at, as a [`State`].
pub const STATE: &str = "state";
const STATE_BITS: u32 = 3;

/// What the device is at, as the bus has it. Where several hold, the one that stands
/// last here is shown, but for no supply, which goes before all.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum State {
    /// No supply.
    Off = 0,
    /// Nothing of the others.
    Idle = 1,
    /// A dose has begun and has no outcome.
    Dose = 2,
    /// An operator primes.
    Prime = 3,
    /// An operator calibrates.
    Calibrate = 4,
    /// The remote stop is on.
    Stopped = 5,
    /// A motor fault is latched, the leak detector is on, or the memory cannot be
    /// written.
    Fault = 6,
}

impl State {
    /// All of them, in the order of their numbers.
    pub const ALL: [Self; 7] = [
        Self::Off,
        Self::Idle,
        Self::Dose,
        Self::Prime,
        Self::Calibrate,
        Self::Stopped,
        Self::Fault,
    ];

    /// In lower case.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Off => "off",
            Self::Idle => "idle",
            Self::Dose => "dose",
            Self::Prime => "prime",
            Self::Calibrate => "calibrate",
            Self::Stopped => "stopped",
            Self::Fault => "fault",
        }
    }

    /// Its bits, the highest first.
    fn bits(self) -> impl Iterator<Item = vcd::Value> {
        (0..STATE_BITS).rev().map(move |bit| (self as u8 >> bit & 1 == 1).into())
    }
}

/// The real: what outcomes have said was delivered at the least, in ml, summed.
pub const DELIVERED: &str = "delivered_ml";
/// The real: what is left in the container by the device's account, in ml; it
/// changes when a dose, a prime or a calibration run has ended.
pub const LEVEL: &str = "level_ml";

/// How a waveform is written.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Shape {
    /// Only this stretch, from and to in true ms, in steps of a microsecond; its
    /// time begins with the stretch.
    pub window: Option<(u64, u64)>,
    /// Level of the container at the start; without one there is no level.
    pub level: Option<Volume>,
}

fn ml(volume: Volume) -> f64 {
    volume.as_nl() as f64 / 1e6
}

/// Writes the dump; the first error of the writer ends it.
pub struct Wave<W: io::Write> {
    out: Writer<W>,
    shape: Shape,
    wires: [IdCode; WIRES.len()],
    values: [bool; WIRES.len()],
    state: IdCode,
    shown: State,
    delivered: IdCode,
    level: Option<IdCode>,
    sum: Volume,
    left: Volume,
    alarms: Vec<Alarm>,
    opened: bool,
    at_ms: u64,
    error: Option<io::Error>,
}

impl<W: io::Write> Wave<W> {
    /// Onto a writer, which should be buffered; writes the header. The dump
    /// carries no date, so that equal runs give equal files.
    pub fn new(out: W, shape: Shape) -> io::Result<Self> {
        let mut out = Writer::new(out);
        out.version("dosewright")?;
        if let Some((from, to)) = shape.window {
            out.comment(&format!("time 0 is {from} ms after the start of the run; until {to} ms"))?;
            out.timescale(1, TimescaleUnit::US)?;
        } else {
            out.timescale(1, TimescaleUnit::MS)?;
        }
        let states = State::ALL.map(|state| format!("{} {}", state as u8, state.word()));
        out.comment(&format!("{STATE}: {}", states.join(", ")))?;
        out.add_module("device")?;
        let mut wires = [IdCode::FIRST; WIRES.len()];
        for (id, name) in wires.iter_mut().zip(WIRES) {
            *id = out.add_wire(1, name)?;
        }
        let state = out.add_wire(STATE_BITS, STATE)?;
        let delivered = out.add_var(vcd::VarType::Real, 64, DELIVERED, None)?;
        let level = match shape.level {
            Some(_) => Some(out.add_var(vcd::VarType::Real, 64, LEVEL, None)?),
            None => None,
        };
        out.upscope()?;
        out.enddefinitions()?;
        let mut wave = Self {
            out,
            shape,
            wires,
            values: [false; WIRES.len()],
            state,
            shown: State::Off,
            delivered,
            level,
            sum: Volume::ZERO,
            left: shape.level.unwrap_or(Volume::ZERO),
            alarms: Vec::new(),
            opened: false,
            at_ms: 0,
            error: None,
        };
        if shape.window.is_none() {
            wave.open()?;
        }
        Ok(wave)
    }

    /// The values at the first moment of the dump.
    fn open(&mut self) -> io::Result<()> {
        self.opened = true;
        self.at_ms = self.shape.window.map_or(0, |(from, _)| from);
        self.out.timestamp(0)?;
        self.out.begin(SimulationCommand::Dumpvars)?;
        for (id, value) in self.wires.into_iter().zip(self.values) {
            self.out.change_scalar(id, value)?;
        }
        self.out.change_vector(self.state, self.shown.bits())?;
        self.reals()?;
        self.out.end()
    }

    fn reals(&mut self) -> io::Result<()> {
        self.out.change_real(self.delivered, ml(self.sum))?;
        if let Some(id) = self.level {
            self.out.change_real(id, ml(self.left))?;
        }
        Ok(())
    }

    /// Whether changes at a moment are to be seen; the dump is opened where they are.
    fn shows(&mut self, at_ms: u64) -> io::Result<bool> {
        let Some((from, to)) = self.shape.window else { return Ok(true) };
        if at_ms >= from && !self.opened {
            self.open()?;
        }
        Ok((from..=to).contains(&at_ms))
    }

    fn at(&mut self, at_ms: u64) -> io::Result<()> {
        if at_ms > self.at_ms {
            self.at_ms = at_ms;
            self.out.timestamp(match self.shape.window {
                Some((from, _)) => at_ms.saturating_sub(from).saturating_mul(1000),
                None => at_ms,
            })?;
        }
        Ok(())
    }

    fn wire(&mut self, at_ms: u64, wire: Wire, on: bool) -> io::Result<()> {
        let index = wire as usize;
        let (Some(&id), Some(&value)) = (self.wires.get(index), self.values.get(index)) else {
            return Ok(());
        };
        if value == on {
            return Ok(());
        }
        // what was before the window is in its first values
        let shows = self.shows(at_ms)?;
        if let Some(value) = self.values.get_mut(index) {
            *value = on;
        }
        if !shows {
            return Ok(());
        }
        self.at(at_ms)?;
        self.out.change_scalar(id, on)
    }

    fn value(&self, wire: Wire) -> bool {
        self.values.get(wire as usize).is_some_and(|value| *value)
    }

    fn state(&self) -> State {
        const FAULTS: [Alarm; 3] = [Alarm::MotorFault, Alarm::Leak, Alarm::LedgerFault];
        let fault = self.value(Wire::Leak) || self.alarms.iter().any(|on| FAULTS.contains(on));
        match () {
            () if !self.value(Wire::Supply) => State::Off,
            () if fault => State::Fault,
            () if self.value(Wire::RemoteStop) => State::Stopped,
            () if self.value(Wire::Calibrate) => State::Calibrate,
            () if self.value(Wire::Prime) => State::Prime,
            () if self.value(Wire::DoseOpen) => State::Dose,
            () => State::Idle,
        }
    }

    /// The bus follows the wires and the alarms.
    fn bus(&mut self, at_ms: u64) -> io::Result<()> {
        let state = self.state();
        if state == self.shown {
            return Ok(());
        }
        let shows = self.shows(at_ms)?;
        self.shown = state;
        if !shows {
            return Ok(());
        }
        self.at(at_ms)?;
        self.out.change_vector(self.state, state.bits())
    }

    fn write(&mut self, at_ms: u64, event: &Event<'_>) -> io::Result<()> {
        match *event {
            Event::Pump { on, for_dose } => {
                if on && for_dose {
                    self.wire(at_ms, Wire::DoseOpen, true)?;
                }
                self.wire(at_ms, Wire::Pump, on)
            }
            Event::Display { lit } => self.wire(at_ms, Wire::Display, lit),
            Event::Supply { on } => {
                self.wire(at_ms, Wire::Supply, on)?;
                self.let_go(at_ms)
            }
            // a device that starts neither primes nor calibrates
            Event::Reset => self.let_go(at_ms),
            Event::Asked { act: DeviceAct::RemoteStop(on), .. } => {
                self.wire(at_ms, Wire::RemoteStop, *on)
            }
            Event::Asked { act: DeviceAct::Leak(on), .. } => self.wire(at_ms, Wire::Leak, *on),
            Event::Done { act, .. } => match act {
                Act::PrimeBegun => self.wire(at_ms, Wire::Prime, true),
                Act::PrimeEnded => self.wire(at_ms, Wire::Prime, false),
                Act::CalibrationBegun | Act::TrainBegun => self.wire(at_ms, Wire::Calibrate, true),
                Act::CalibrationEnded | Act::TrainEnded => self.wire(at_ms, Wire::Calibrate, false),
                Act::Acknowledged | Act::TubeChanged | Act::Unlocked | Act::WrongPin => Ok(()),
            },
            Event::Alarm { alarm, on, .. } => {
                self.alarms.retain(|known| *known != alarm);
                if on {
                    self.alarms.push(alarm);
                }
                self.wire(at_ms, Wire::Alarm, !self.alarms.is_empty())
            }
            Event::Clock(change) => self.wire(at_ms, Wire::ClockSet, change.after.is_some()),
            Event::FeedLost => self.wire(at_ms, Wire::ClockSet, false),
            Event::Outcome(outcome) if outcome.started_ms.is_some() => {
                if !matches!(outcome.fate, Fate::Open(_)) {
                    self.wire(at_ms, Wire::DoseOpen, false)?;
                }
                let shows = self.shows(at_ms)?;
                self.sum = self.sum.plus(outcome.least);
                if shows {
                    self.at(at_ms)?;
                    self.out.change_real(self.delivered, ml(self.sum))?;
                }
                Ok(())
            }
            Event::Account { level, .. } => {
                let Some(id) = self.level.filter(|_| level != self.left) else { return Ok(()) };
                let shows = self.shows(at_ms)?;
                self.left = level;
                if shows {
                    self.at(at_ms)?;
                    self.out.change_real(id, ml(level))?;
                }
                Ok(())
            }
            _ => Ok(()),
        }
    }

    fn let_go(&mut self, at_ms: u64) -> io::Result<()> {
        self.wire(at_ms, Wire::Prime, false)?;
        self.wire(at_ms, Wire::Calibrate, false)
    }

    /// Ends the dump at the end of the run and flushes; the first error that
    /// there was, if any.
    pub fn finish(mut self, end_ms: u64) -> io::Result<()> {
        if let Some(error) = self.error.take() {
            return Err(error);
        }
        if !self.opened {
            self.open()?;
        }
        self.at(self.shape.window.map_or(end_ms, |(_, to)| to.min(end_ms)))?;
        self.out.flush()
    }
}

impl<W: io::Write> Sink for Wave<W> {
    fn event(&mut self, at_ms: u64, event: &Event<'_>) {
        if self.error.is_none() {
            self.error = self.write(at_ms, event).and_then(|()| self.bus(at_ms)).err();
        }
    }
}
