//! `[[operator]]`: what somebody does at the device, and when.

use dosewright_core::calibration::Vessel;
use dosewright_core::civil::{Date, Local};
use dosewright_core::entry::GapRule;
use dosewright_core::lock::Pin;
use dosewright_core::time::Duration;
use dosewright_core::units::{Flow, Volume};

use super::{CellType, EntryName, EntryPlan, Moment, NamedZone, RecurrencePlan, SignedMs};
use crate::diagnose::Spans;

/// How the clock is set.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub enum ClockSetting {
    /// To a local time of the device's zone.
    To(Local),
    /// By so much against what it shows.
    By(SignedMs),
}

/// What an edit does to a value that an entry need not have.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub enum Change<T> {
    /// Sets it.
    To(T),
    /// Takes it away: the word "none".
    Clear,
}

impl<T> Change<T> {
    /// What it is set to.
    pub fn value(self) -> Option<T> {
        match self {
            Self::To(value) => Some(value),
            Self::Clear => None,
        }
    }
}

/// What an edit changes; `None` leaves a value as it is.
#[derive(Clone, Debug, PartialEq, Eq, Default)]
pub struct Edit {
    /// When its doses are due.
    pub recurrence: Option<RecurrencePlan>,
    /// The dose.
    pub volume: Option<Volume>,
    /// In ms.
    pub window_ms: Option<u32>,
    /// In ms.
    pub grace_ms: Option<u32>,
    /// First date.
    pub first: Option<Change<Date>>,
    /// Last date.
    pub last: Option<Change<Date>>,
    /// Whether closed dates keep it from running.
    pub observes_closed: Option<bool>,
    /// What happens in the hour that spring skips.
    pub gap_rule: Option<GapRule>,
    /// Pulses of a dose.
    pub pulses: Option<Change<u16>>,
}

impl Edit {
    /// The entry as it is after the edit. Only `from` of an interval is left
    /// for the caller to resolve.
    #[must_use]
    pub fn apply(&self, entry: &EntryPlan) -> EntryPlan {
        fn change<T: Copy>(change: Option<Change<T>>, old: Option<T>) -> Option<T> {
            change.map_or(old, Change::value)
        }
        EntryPlan {
            recurrence: self.recurrence.unwrap_or(entry.recurrence),
            volume: self.volume.unwrap_or(entry.volume),
            window_ms: self.window_ms.unwrap_or(entry.window_ms),
            grace_ms: self.grace_ms.unwrap_or(entry.grace_ms),
            first: change(self.first, entry.first),
            last: change(self.last, entry.last),
            observes_closed: self.observes_closed.unwrap_or(entry.observes_closed),
            gap_rule: self.gap_rule.unwrap_or(entry.gap_rule),
            pulses: change(self.pulses, entry.pulses),
            ..entry.clone()
        }
    }
}

/// The result of a calibration run.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub enum Calibration {
    /// The volume that was measured after the run.
    Measured(Volume),
    /// What truly came out, as somebody reads it off the vessel.
    AsDelivered,
    /// The new flow, worked out elsewhere.
    Flow(Flow),
}

/// How long a calibration runs.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub enum CalibrationRun {
    /// So long.
    Lasts(Duration),
    /// As the device reckons for the vessel.
    IntoVessel,
    /// As long, in a train of short pulses.
    Train,
}

/// A key of the panel.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub enum Key {
    /// Up.
    Up,
    /// Down.
    Down,
    /// Confirm.
    Ok,
    /// Back.
    Back,
}

impl Key {
    /// All of them.
    pub const ALL: [Self; 4] = [Self::Up, Self::Down, Self::Ok, Self::Back];

    /// Its word in the file.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Up => "up",
            Self::Down => "down",
            Self::Ok => "ok",
            Self::Back => "back",
        }
    }
}

/// What the operator does.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Act {
    /// Sets the clock.
    SetClock(ClockSetting),
    /// Sets the zone.
    SetZone(NamedZone),
    /// Changes values of an entry.
    Edit {
        /// Which.
        entry: EntryName,
        /// What.
        edit: Edit,
        /// Where the keys of the edit stand.
        spans: Spans,
    },
    /// Disables an entry.
    Disable(EntryName),
    /// Enables an entry.
    Enable(EntryName),
    /// Takes an entry out of the timetable.
    Remove(EntryName),
    /// Adds an entry.
    Add(Box<EntryPlan>),
    /// Replaces the whole timetable.
    Timetable(Vec<EntryPlan>),
    /// Primes until the volume or the time is reached, whichever is first; one
    /// of the two is always given.
    Prime {
        /// Stops at this volume.
        volume: Option<Volume>,
        /// Stops after this time.
        lasts: Option<Duration>,
    },
    /// Calibrates.
    Calibrate {
        /// How long the pump runs for it; `None` for a result without a run.
        run: Option<CalibrationRun>,
        /// What it is measured with.
        vessel: Vessel,
        /// The result.
        result: Calibration,
        /// It says how the head was found, and stays out of force.
        as_found: bool,
        /// The operator makes a second or a longer run where the device asks for one.
        confirm: bool,
    },
    /// Runs an entry's dose again.
    RunAgain(EntryName),
    /// Ends an entry's dose while it is under way.
    StopDose(EntryName),
    /// Acknowledges the alarms.
    Acknowledge,
    /// Sets the PIN, or takes it away.
    SetPin(Option<Pin>),
    /// Enters a PIN.
    Unlock(Pin),
    /// Locks the settings.
    Lock,
    /// Presses a key.
    Press {
        /// Which.
        key: Key,
        /// How often.
        times: u32,
    },
    /// Fills the container.
    Refill {
        /// To this level; `None` to its capacity.
        level: Option<Volume>,
    },
    /// Puts in a new tube set.
    ChangeTube {
        /// What the head really delivers from then on; `None` leaves it.
        true_flow: Option<Flow>,
    },
    /// Puts in a new battery pack.
    ChangePack {
        /// Of these cells; `None` of the same as before.
        cells_of: Option<CellType>,
        /// The device is told of it.
        told: bool,
    },
}

impl Act {
    /// Whether it changes what is due from then on: the timetable, or the clock.
    pub const fn moves_dues(&self) -> bool {
        matches!(
            self,
            Self::Edit { .. }
                | Self::Disable(_)
                | Self::Enable(_)
                | Self::Remove(_)
                | Self::Add(_)
                | Self::Timetable(_)
                | Self::SetZone(_)
                | Self::SetClock(_)
        )
    }

    /// Its key in the file.
    pub const fn word(&self) -> &'static str {
        match self {
            Self::SetClock(_) => "set_clock",
            Self::SetZone(_) => "set_zone",
            Self::Edit { .. } => "edit",
            Self::Disable(_) => "disable",
            Self::Enable(_) => "enable",
            Self::Remove(_) => "remove",
            Self::Add(_) => "add",
            Self::Timetable(_) => "timetable",
            Self::Prime { .. } => "prime",
            Self::Calibrate { .. } => "calibrate",
            Self::RunAgain(_) => "run_again",
            Self::StopDose(_) => "stop_dose",
            Self::Acknowledge => "acknowledge",
            Self::SetPin(_) => "set_pin",
            Self::Unlock(_) => "unlock",
            Self::Lock => "lock",
            Self::Press { .. } => "press",
            Self::Refill { .. } => "refill",
            Self::ChangeTube { .. } => "change_tube",
            Self::ChangePack { .. } => "change_pack",
        }
    }
}

/// One act of the file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OperatorAct {
    /// When.
    pub at: Moment,
    /// What.
    pub act: Act,
    /// Where it stands.
    pub spans: Spans,
}
