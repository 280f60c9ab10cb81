//! The waveform of a run as a value change dump (IEEE 1364), for any viewer.
//!
//! One millisecond a step, wires of one bit and real numbers only: some viewers
//! choke on a week in microseconds, and some on vectors.

use std::io;

use dosewright_core::units::Volume;
use vcd::{IdCode, SimulationCommand, TimescaleUnit, Value, Writer};

use super::{Event, Fate, Sink};
use crate::observe::DeviceAct;

/// The one-bit signals.
#[derive(Clone, Copy)]
enum Wire {
    Pump,
    Supply,
    DoseOpen,
    RemoteStop,
    Leak,
}

/// Names of the wires, in the order of the dump.
pub const WIRES: [&str; 5] = ["pump", "supply", "dose_open", "remote_stop", "leak"];
/// The real: what outcomes have said was delivered at the least, in ml, summed.
pub const DELIVERED: &str = "delivered_ml";

/// Writes the dump; the first error of the writer ends it.
pub struct Wave<W: io::Write> {
    out: Writer<W>,
    wires: [IdCode; WIRES.len()],
    values: [bool; WIRES.len()],
    delivered: IdCode,
    sum: Volume,
    at_ms: u64,
    error: Option<io::Error>,
}

impl<W: io::Write> Wave<W> {
    /// Onto a writer, which should be buffered; writes the header. The dump
    /// carries no date, so that equal runs give equal files.
    pub fn new(out: W) -> io::Result<Self> {
        let mut out = Writer::new(out);
        out.version("dosewright")?;
        out.timescale(1, TimescaleUnit::MS)?;
        out.add_module("device")?;
        let mut wires = [IdCode::FIRST; WIRES.len()];
        for (id, name) in wires.iter_mut().zip(WIRES) {
            *id = out.add_wire(1, name)?;
        }
        let delivered = out.add_var(vcd::VarType::Real, 64, DELIVERED, None)?;
        out.upscope()?;
        out.enddefinitions()?;
        out.timestamp(0)?;
        out.begin(SimulationCommand::Dumpvars)?;
        for id in wires {
            out.change_scalar(id, Value::V0)?;
        }
        out.change_real(delivered, 0.0)?;
        out.end()?;
        let values = [false; WIRES.len()];
        Ok(Self { out, wires, values, delivered, sum: Volume::ZERO, at_ms: 0, error: None })
    }

    fn at(&mut self, at_ms: u64) -> io::Result<()> {
        if at_ms > self.at_ms {
            self.at_ms = at_ms;
            self.out.timestamp(at_ms)?;
        }
        Ok(())
    }

    fn wire(&mut self, at_ms: u64, wire: Wire, on: bool) -> io::Result<()> {
        let index = wire as usize;
        let (Some(&id), Some(value)) = (self.wires.get(index), self.values.get_mut(index)) else {
            return Ok(());
        };
        if *value == on {
            return Ok(());
        }
        *value = on;
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
            Event::Outcome(outcome) if outcome.started_ms.is_some() => {
                if !matches!(outcome.fate, Fate::Open(_)) {
                    self.wire(at_ms, Wire::DoseOpen, false)?;
                }
                self.sum = self.sum.plus(outcome.least);
                self.at(at_ms)?;
                self.out.change_real(self.delivered, self.sum.as_nl() as f64 / 1e6)
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
        self.at(end_ms)?;
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
