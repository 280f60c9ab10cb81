//! The waveform of a run as a value change dump (IEEE 1364), for any viewer.
//!
//! One millisecond a step, or a microsecond for a short window; wires of one bit and
//! real numbers only: some viewers choke on a week in microseconds, and some on
//! vectors.

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
    DoseOpen,
    Prime,
    Calibrate,
    RemoteStop,
    Leak,
    Alarm,
    ClockSet,
}

/// Names of the wires, in the order of the dump. What the device is at is told by
/// `dose_open`, `prime` and `calibrate`.
pub const WIRES: [&str; 9] = [
    "pump",
    "supply",
    "dose_open",
    "prime",
    "calibrate",
    "remote_stop",
    "leak",
    "alarm",
    "clock_set",
];
/// The real: what outcomes have said was delivered at the least, in ml, summed.
pub const DELIVERED: &str = "delivered_ml";
/// The real: what is left in the container by account, at least, in ml.
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

/// Writes the dump; the first error of the writer ends it.
pub struct Wave<W: io::Write> {
    out: Writer<W>,
    shape: Shape,
    wires: [IdCode; WIRES.len()],
    values: [bool; WIRES.len()],
    delivered: IdCode,
    level: Option<IdCode>,
    sum: Volume,
    drawn: Volume,
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
        out.add_module("device")?;
        let mut wires = [IdCode::FIRST; WIRES.len()];
        for (id, name) in wires.iter_mut().zip(WIRES) {
            *id = out.add_wire(1, name)?;
        }
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
            delivered,
            level,
            sum: Volume::ZERO,
            drawn: Volume::ZERO,
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
        self.reals()?;
        self.out.end()
    }

    fn reals(&mut self) -> io::Result<()> {
        let ml = |volume: Volume| volume.as_nl() as f64 / 1e6;
        self.out.change_real(self.delivered, ml(self.sum))?;
        if let (Some(id), Some(level)) = (self.level, self.shape.level) {
            self.out.change_real(id, ml(level.minus(self.drawn)))?;
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

    fn write(&mut self, at_ms: u64, event: &Event<'_>) -> io::Result<()> {
        match *event {
            Event::Pump { on, for_dose } => {
                if on && for_dose {
                    self.wire(at_ms, Wire::DoseOpen, true)?;
                }
                self.wire(at_ms, Wire::Pump, on)
            }
            Event::Supply { on } => self.wire(at_ms, Wire::Supply, on),
            Event::Asked(DeviceAct::RemoteStop(on)) => self.wire(at_ms, Wire::RemoteStop, *on),
            Event::Asked(DeviceAct::Leak(on)) => self.wire(at_ms, Wire::Leak, *on),
            Event::Done { act, .. } => match act {
                Act::PrimeBegun => self.wire(at_ms, Wire::Prime, true),
                Act::PrimeEnded => self.wire(at_ms, Wire::Prime, false),
                Act::CalibrationBegun => self.wire(at_ms, Wire::Calibrate, true),
                Act::CalibrationEnded => self.wire(at_ms, Wire::Calibrate, false),
                Act::Acknowledged | Act::TubeChanged | Act::Unlocked | Act::WrongPin => Ok(()),
            },
            Event::Alarm { alarm, on } => {
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
                self.drawn = self.drawn.plus(outcome.most);
                if shows {
                    self.at(at_ms)?;
                    self.reals()?;
                }
                Ok(())
            }
            _ => Ok(()),
        }
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
            self.error = self.write(at_ms, event).err();
        }
    }
}
