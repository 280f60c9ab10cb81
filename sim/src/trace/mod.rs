//! What an observed run is written down as: lines for machines, a table, a
//! waveform, a page for people.
//!
//! One [`Tracker`] looks on, reads the ledger's slots as the device writes them
//! and tells [`Event`]s to any number of [`Sink`]s. Every writer streams and
//! holds a bounded amount, so that ten years take no more room than a week.

mod account;
mod changed;
mod clocks;
pub mod csv;
mod cut;
pub mod json;
mod lost;
pub mod names;
mod outcome;
pub mod outcomes;
pub mod page;
pub mod stamp;
pub mod summary;
#[cfg(test)]
mod tests;
pub mod timeline;
mod untold;
pub mod vcd;

pub use changed::{Changed, Settings};
pub use lost::Lost;
pub use names::Names;
pub use outcome::{Fate, Outcome, Wait, waited};
pub use outcomes::Tracker;

use dosewright_core::civil::Local;
use dosewright_core::entry::EntryId;
use dosewright_core::record::{Act, Alarm, DueKey};
use dosewright_core::tube::Found;
use dosewright_core::units::Volume;

use crate::observe::DeviceAct;
use crate::run::Frame;

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

impl Stamped {
    /// True local time at a true ms of a run.
    pub fn of(frame: &Frame, at_ms: u64) -> Self {
        Self { local: frame.local(at_ms), offset_s: frame.offset_s(at_ms) }
    }

    /// The same as UTC, in ms since 1970.
    pub fn utc_ms(self) -> i64 {
        self.local.as_ms() - i64::from(self.offset_s) * 1000
    }

    /// Whether it is the moment of another one at another offset, as after a setting of the
    /// zone.
    pub fn is_same_moment_elsewhere(self, other: Self) -> bool {
        self.utc_ms() == other.utc_ms() && self.offset_s != other.offset_s
    }
}

/// What changed the account of the container.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize, schemars::JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Mover {
    /// Somebody said what is in it.
    Told,
    /// A dose.
    Dose,
    /// A prime.
    Prime,
    /// A calibration run.
    Calibrate,
    /// A calibration found another flow: what was drawn is restated.
    Restated,
    /// The low-level contact showed that there is less.
    Contact,
    /// The device started again and does not know what was drawn before.
    Restart,
}

impl Mover {
    /// All of them.
    pub const ALL: [Self; 7] = [
        Self::Told,
        Self::Dose,
        Self::Prime,
        Self::Calibrate,
        Self::Restated,
        Self::Contact,
        Self::Restart,
    ];

    /// Its word in the lines.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Told => "told",
            Self::Dose => "dose",
            Self::Prime => "prime",
            Self::Calibrate => "calibrate",
            Self::Restated => "restated",
            Self::Contact => "contact",
            Self::Restart => "restart",
        }
    }

    /// Of its word.
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|by| by.word() == word)
    }
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
    /// The display was lit or went dark.
    Display {
        /// Whether it is lit now.
        lit: bool,
    },
    /// The device's account of the container has changed.
    Account {
        /// What is in it, less what an open dose has drawn.
        level: Volume,
        /// What changed it.
        by: Mover,
    },
    /// The processor started again though the supply was on.
    Reset,
    /// The clock chip lost its feed: the clock is unset.
    FeedLost,
    /// The clock or the zone was set.
    Clock(&'a ClockChange),
    /// The device wrote down that an alarm came or went; of *memory fault*, that it said so.
    Alarm {
        /// Which.
        alarm: Alarm,
        /// Whether it is on now.
        on: bool,
        /// What of the memory it is about.
        lost: &'a Lost,
    },
    /// An entry is about to be brought in by this number.
    Named {
        /// The number.
        id: EntryId,
        /// The name.
        name: &'a str,
    },
    /// Somebody or something acted on the device.
    Asked {
        /// What was done.
        act: &'a DeviceAct,
        /// The entry whose dose it is about.
        entry: Option<&'a str>,
    },
    /// After the start, another timetable is in force: what it made of an entry.
    Changed(&'a Changed),
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
        /// The lead of each start that goes with it, in ms.
        lead_ms: u16,
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
