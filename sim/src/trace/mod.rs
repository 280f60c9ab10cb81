//! What an observed run is written down as: lines for machines, a table, a
//! waveform, a page for people.
//!
//! One [`Tracker`] looks on, reads the ledger's slots as the device writes them
//! and tells [`Event`]s to any number of [`Sink`]s. Every writer streams and
//! holds a bounded amount, so that ten years take no more room than a week.

mod clocks;
pub mod csv;
pub mod json;
pub mod names;
pub mod outcomes;
pub mod page;
pub mod stamp;
pub mod summary;
#[cfg(test)]
mod tests;
pub mod timeline;
pub mod vcd;

pub use names::Names;
pub use outcomes::{Fate, Outcome, Tracker};

use dosewright_core::civil::Local;
use dosewright_core::record::{Act, Alarm, DueKey};
use dosewright_core::tube::Found;

use crate::observe::DeviceAct;

/// A setting of the device's clock or zone that took effect.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct ClockChange {
    /// The clock epoch that it opened.
    pub epoch: u16,
    /// What the device's clock showed before; `None` where it was unset.
    pub before: Option<Stamped>,
    /// What it shows from then on; `None` where it is still unset.
    pub after: Option<Stamped>,
    /// True local time at that moment.
    pub truth: Stamped,
}

/// A local time with its distance from UTC.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Stamped {
    /// The local time.
    pub local: Local,
    /// Seconds east of UTC.
    pub offset_s: i32,
}

/// One thing that a trace may want to say.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Event<'a> {
    /// A scheduled dose, or one that an operator asked for, came to its end; at
    /// the end of the run those that are open, too.
    Outcome(&'a Outcome),
    /// A dose began to wait or to run, or a stretch of closed ones to grow; its
    /// outcome will follow.
    Opened {
        /// Its name in the ledger.
        key: DueKey,
        /// An operator asked for it.
        asked: bool,
    },
    /// The pump's drive turned on or off.
    Pump {
        /// Whether it is on now.
        on: bool,
        /// For a scheduled dose or one asked for; prime and calibrate are none.
        for_dose: bool,
    },
    /// The supply came on or went off.
    Supply {
        /// Whether it is on now.
        on: bool,
    },
    /// The processor started again though the supply was on.
    Reset,
    /// The clock chip lost its feed: the clock is unset.
    FeedLost,
    /// The clock or the zone was set.
    Clock(&'a ClockChange),
    /// The device wrote down that an alarm came or went.
    Alarm {
        /// Which.
        alarm: Alarm,
        /// Whether it is on now.
        on: bool,
    },
    /// Somebody or something acted on the device.
    Asked(&'a DeviceAct),
    /// The device wrote down an act of service.
    Done {
        /// Which.
        act: Act,
        /// Its figure in ms, as [`Act`] says.
        ms: u32,
    },
    /// The device wrote down what a calibration found.
    Calibrated {
        /// What it found.
        found: Found,
        /// Whether the flow is in force from then on.
        in_force: bool,
    },
    /// The device was called late.
    LateWake {
        /// By so many ms.
        by_ms: u64,
    },
}

/// Something that writes events down.
pub trait Sink {
    /// Takes in one event; true ms from the start of the run. An outcome is told
    /// when it is final, which can be after later events.
    fn event(&mut self, at_ms: u64, event: &Event<'_>);
}
