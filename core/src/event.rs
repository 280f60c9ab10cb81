//! What the world tells the controller.

use crate::calibration::{Measured, Vessel};
use crate::civil::Local;
use crate::config::{Container, Head};
use crate::entry::EntryId;
use crate::lock::Pin;
use crate::power::Pack;
use crate::timetable::Timetable;
use crate::units::{Flow, Volume};
use crate::zone::Zone;

/// Something that happened, handed to [`crate::controller::Controller::step`]
/// together with its instant.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Event<'a, const N: usize> {
    /// Called because a timer is over, or for no reason at all.
    Wake,
    /// The record of the last [`crate::effect::Effect::Append`] is in the ledger.
    Appended,
    /// The record of the last [`crate::effect::Effect::Append`] could not be written.
    AppendFailed,
    /// An operator sets the clock to a local time of the zone in force. A
    /// repeated time means its first pass, a skipped one the moved time (D8). Its date is one
    /// from [`crate::civil::Date::MIN`] to [`crate::civil::Date::MAX`].
    SetClock(Local),
    /// An operator sets the zone; the moment the clock says stays the same.
    SetZone(&'a Zone),
    /// An operator wants this timetable in force, whole. The answer is
    /// [`crate::effect::Effect::Adopt`] or a refusal.
    Timetable(&'a Timetable<N>),
    /// All records of the timetable's adoption are in the ledger.
    Adopted(&'a Timetable<N>),
    /// An operator sets the head's limits and flow.
    SetHead(&'a Head),
    /// An operator enters a flow that was worked out elsewhere.
    SetFlow(Flow),
    /// An operator sets up a container, and says what is in it.
    Container(&'a Container, Volume),
    /// An operator says what is in the container after it was filled, up to its capacity.
    Refill(Volume),
    /// An operator asks for a dose of this entry now, outside the timetable.
    RunAgain(EntryId),
    /// An operator ends the open dose, if it is one of this entry: the pump goes off, and
    /// what is left is not delivered. No lock keeps it out.
    StopDose(EntryId),
    /// An operator asks for prime, up to this volume at the flow in force, or to the head's
    /// longest prime where that is less.
    Prime(Volume),
    /// An operator asks for a calibration run of so many milliseconds, 1 to the head's longest.
    Calibrate {
        /// Length of the run in ms.
        run_ms: u32,
    },
    /// An operator asks for a calibration run into a vessel: of whole turns of the
    /// rotor, and as long as the target uncertainty needs (O2).
    CalibrateInto(&'a Vessel),
    /// An operator asks for a train of short pulses into a vessel, after the reading of a
    /// long run was taken (O3).
    CalibrateTrain(&'a Vessel),
    /// An operator enters what was measured after the calibration run (O2).
    Measured(&'a Measured),
    /// An operator has put in a new tube set (O4).
    TubeChanged,
    /// The operator lets go: a prime or calibration run ends, and what was measured
    /// of a calibration so far is forgotten.
    Release,
    /// An operator enters the PIN: the settings are unlocked for a while (O5).
    Unlock(Pin),
    /// An operator locks the settings again.
    Lock,
    /// An operator sets the PIN, or takes it away.
    SetPin(Option<Pin>),
    /// The remote stop changed.
    RemoteStop(bool),
    /// The leak or tube-burst detector changed.
    Leak(bool),
    /// The low-level contact changed; it may bounce.
    LevelLow(bool),
    /// The motor stalled or drew too much: tried again after growing rests, then
    /// latched until acknowledged.
    MotorFault,
    /// An operator acknowledges what is latched.
    Acknowledge,
    /// An operator sets up the battery pack, or says that the device is on mains. The first
    /// pack counts as full; with one in, its figures change and what was drawn stays, until
    /// [`Self::PackChanged`].
    SetPack(&'a Pack),
    /// An operator has put in another pack, full.
    PackChanged,
    /// What the pack's voltage was read as: one reading, taken now.
    PackRead {
        /// In mV.
        mv: u16,
        /// With the motor running, or a test load of its current; else at rest.
        loaded: bool,
    },
    /// A key was pressed; it wakes the display. What it means beyond that is for
    /// whoever shows the screens, where
    /// [`crate::controller::Controller::takes_keys`] said so before.
    Key {
        /// It was held: that unlocks the keys.
        held: bool,
    },
}

impl<const N: usize> Event<'_, N> {
    /// Whether an operator asks for something that can change what is due. To stop the
    /// pump is none: nothing else comes before it.
    pub const fn is_request(&self) -> bool {
        match self {
            Self::SetClock(_)
            | Self::SetZone(_)
            | Self::Timetable(_)
            | Self::SetHead(_)
            | Self::SetFlow(_)
            | Self::Container(..)
            | Self::Refill(_)
            | Self::RunAgain(_)
            | Self::Prime(_)
            | Self::Calibrate { .. }
            | Self::CalibrateInto(_)
            | Self::CalibrateTrain(_)
            | Self::Measured(_)
            | Self::TubeChanged
            | Self::Unlock(_)
            | Self::SetPin(_)
            | Self::SetPack(_)
            | Self::PackChanged
            | Self::Acknowledge => true,
            Self::Wake
            | Self::Appended
            | Self::AppendFailed
            | Self::Adopted(_)
            | Self::StopDose(_)
            | Self::Release
            | Self::Lock
            | Self::RemoteStop(_)
            | Self::Leak(_)
            | Self::LevelLow(_)
            | Self::MotorFault
            | Self::PackRead { .. }
            | Self::Key { .. } => false,
        }
    }

    /// Whether a lock keeps it out: all that an operator asks for, but for filling the
    /// container, putting in another pack, acknowledging, stopping a dose, letting go, locking
    /// and the PIN itself, which whoever is at hand may do.
    pub const fn needs_unlocking(&self) -> bool {
        match self {
            Self::Refill(_) | Self::PackChanged | Self::Acknowledge | Self::Unlock(_) => false,
            other => other.is_request(),
        }
    }
}
