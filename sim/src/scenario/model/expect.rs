//! `[[expect]]`: what must hold of the run.

use dosewright_core::cause::Cause;
use dosewright_core::civil::Local;
use dosewright_core::record::Alarm;
use dosewright_core::time::Duration;
use dosewright_core::units::Volume;

use super::{EntryName, Moment};
use crate::diagnose::Spans;

/// An outcome; `Open` is none yet at the end of the run.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub enum Outcome {
    /// All of it: the pump ran, flow not sensed.
    Dosed,
    /// Part of it.
    Part,
    /// None of it.
    Skipped,
    /// No outcome at the end of the run.
    Open,
}

impl Outcome {
    /// All of them.
    pub const ALL: [Self; 4] = [Self::Dosed, Self::Part, Self::Skipped, Self::Open];

    /// Its word.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Dosed => "dosed",
            Self::Part => "part",
            Self::Skipped => "skipped",
            Self::Open => "open",
        }
    }
}

/// A local time of a claim; written with its offset it says which of two it is where the
/// clocks show it twice.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct ClaimTime {
    /// The local time.
    pub local: Local,
    /// Seconds east of UTC; `None` where it is written without.
    pub offset_s: Option<i32>,
}

impl ClaimTime {
    /// Where it lies, in ms: in UTC where it has its offset, else as the clocks show it.
    pub fn place_ms(self) -> i64 {
        self.local.as_ms() - i64::from(self.offset_s.unwrap_or(0)) * 1000
    }
}

/// What is expected of one scheduled dose; what is `None` is not looked at.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct DueClaim {
    /// Of this entry,
    pub entry: EntryName,
    /// nominally at this device local time, after a move by D8.
    pub at: ClaimTime,
    /// Its outcome.
    pub outcome: Option<Outcome>,
    /// The cause of its outcome.
    pub cause: Option<Cause>,
    /// True local time: its first pulse starts then or later.
    pub started_from: Option<ClaimTime>,
    /// True local time: its first pulse starts then or earlier.
    pub started_by: Option<ClaimTime>,
    /// True local time: its last pulse ends then or later.
    pub ended_from: Option<ClaimTime>,
    /// True local time: its last pulse ends then or earlier.
    pub ended_by: Option<ClaimTime>,
    /// At least so much is delivered.
    pub volume_from: Option<Volume>,
    /// At most so much is delivered.
    pub volume_to: Option<Volume>,
}

/// One thing that is expected.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Claim {
    /// `outcomes`: so many scheduled doses with each outcome; a number that is
    /// not given is not looked at.
    Outcomes {
        /// Of this entry, or of all.
        entry: Option<EntryName>,
        /// Dosed.
        dosed: Option<u32>,
        /// Part.
        part: Option<u32>,
        /// Skipped; a folded record counts its count.
        skipped: Option<u32>,
        /// Open at the end.
        open: Option<u32>,
        /// Every part and every skipped one has this cause.
        cause: Option<Cause>,
    },
    /// `volume`: what was delivered over the run.
    Volume {
        /// By this entry, or by all.
        entry: Option<EntryName>,
        /// Against this volume; `None` against what its scheduled doses ask.
        of: Option<Volume>,
        /// Within so many parts per million of it.
        within_ppm: u32,
    },
    /// `due`: one scheduled dose.
    Due(Box<DueClaim>),
    /// `pump_on`: how long the pump was on in all.
    PumpOn {
        /// At least.
        least: Option<Duration>,
        /// At most.
        most: Option<Duration>,
    },
    /// `outflow`: what really came out at the outlet by the pump.
    Outflow {
        /// At least.
        least: Option<Volume>,
        /// At most.
        most: Option<Volume>,
    },
    /// `alarms`: so many alarms.
    Alarms {
        /// Of this kind, or of all.
        kind: Option<Alarm>,
        /// At least.
        least: Option<u32>,
        /// At most.
        most: Option<u32>,
    },
    /// `calm`: from a moment on no scheduled dose is left open past its deadline,
    /// and none that is due suffers from what went wrong before.
    Calm {
        /// When; never at a pulse.
        from: Moment,
    },
    /// `held`: whether all expectations and promises hold.
    Held(bool),
}

/// One claim of the file. An `[[expect]]` with several keys is several of these.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Expectation {
    /// What.
    pub claim: Claim,
    /// Where it stands: `spans.table()` is the claim's value, `spans.at("dosed")`
    /// a number in it.
    pub spans: Spans,
}
