//! What a panel asks of the controller: one of its existing events, whole.

use crate::calibration::{Measured, Vessel};
use crate::civil::Local;
use crate::config::{Container, Head};
use crate::entry::{Entry, EntryId};
use crate::event::Event;
use crate::lock::Pin;
use crate::timetable::{Refusal, Timetable};
use crate::units::Volume;
use crate::zone::Zone;

/// One thing that the person at the knob wants. It is made an event
/// ([`operate`](super::operate)), and is in force when the controller has taken that, or not at
/// all.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Request {
    /// Stop prime or calibrate.
    Release,
    /// Acknowledge what is latched.
    Acknowledge,
    /// Set the clock.
    SetClock(Local),
    /// Set the zone.
    SetZone(Zone),
    /// Set the head.
    SetHead(Head),
    /// Say that a new tube set is in.
    TubeChanged,
    /// Set up the container, with what is in it.
    Container(Container, Volume),
    /// Say what is in it after it was filled.
    Refill(Volume),
    /// Say that another pack is in.
    PackChanged,
    /// Prime, up to this volume.
    Prime(Volume),
    /// Run into a vessel.
    Calibrate(Vessel),
    /// What came out of it.
    Measured(Measured),
    /// The timetable in force with this entry in it, new or in the place of the one of
    /// its number.
    Put(Entry),
    /// The timetable in force without this entry.
    Remove(EntryId),
    /// A dose now.
    RunAgain(EntryId),
    /// The PIN.
    Unlock(Pin),
    /// Lock the settings.
    Lock,
    /// Another PIN, or none.
    SetPin(Option<Pin>),
}

impl Request {
    /// The event that it is; `None` for a change of the timetable ([`Self::timetable`]).
    pub const fn event<const N: usize>(&self) -> Option<Event<'_, N>> {
        Some(match self {
            Self::Release => Event::Release,
            Self::Acknowledge => Event::Acknowledge,
            Self::SetClock(local) => Event::SetClock(*local),
            Self::SetZone(zone) => Event::SetZone(zone),
            Self::SetHead(head) => Event::SetHead(head),
            Self::TubeChanged => Event::TubeChanged,
            Self::Container(container, level) => Event::Container(container, *level),
            Self::Refill(level) => Event::Refill(*level),
            Self::PackChanged => Event::PackChanged,
            Self::Prime(volume) => Event::Prime(*volume),
            Self::Calibrate(vessel) => Event::CalibrateInto(vessel),
            Self::Measured(measured) => Event::Measured(measured),
            Self::RunAgain(id) => Event::RunAgain(*id),
            Self::Unlock(pin) => Event::Unlock(*pin),
            Self::Lock => Event::Lock,
            Self::SetPin(pin) => Event::SetPin(*pin),
            Self::Put(_) | Self::Remove(_) => return None,
        })
    }

    /// Changes a copy of the timetable in force; `None` where it asks for no such
    /// change. The whole of it is then handed in.
    ///
    /// # Errors
    ///
    /// There is no line for the entry, or no such entry.
    pub fn timetable<const N: usize>(
        &self,
        timetable: &mut Timetable<N>,
    ) -> Option<Result<(), Refusal>> {
        match self {
            Self::Put(entry) => Some(timetable.put(*entry)),
            Self::Remove(id) if timetable.remove(*id) => Some(Ok(())),
            Self::Remove(id) => Some(Err(Refusal::NoSuchEntry { id: *id })),
            _ => None,
        }
    }
}
