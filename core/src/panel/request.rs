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

/// One thing that the person at the knob wants. It is made an event by
/// [`Self::hand_in`], and is in force when the controller has taken that, or not at
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
    /// Makes an event of it and hands that in. `timetable` is the one in force; what
    /// comes back is why it was not taken.
    pub fn hand_in<const N: usize>(
        &self,
        timetable: &Timetable<N>,
        hand_in: impl FnOnce(Event<'_, N>) -> Option<Refusal>,
    ) -> Option<Refusal> {
        match self {
            Self::Release => hand_in(Event::Release),
            Self::Acknowledge => hand_in(Event::Acknowledge),
            Self::SetClock(local) => hand_in(Event::SetClock(*local)),
            Self::SetZone(zone) => hand_in(Event::SetZone(zone)),
            Self::SetHead(head) => hand_in(Event::SetHead(head)),
            Self::TubeChanged => hand_in(Event::TubeChanged),
            Self::Container(container, level) => hand_in(Event::Container(container, *level)),
            Self::Refill(level) => hand_in(Event::Refill(*level)),
            Self::PackChanged => hand_in(Event::PackChanged),
            Self::Prime(volume) => hand_in(Event::Prime(*volume)),
            Self::Calibrate(vessel) => hand_in(Event::CalibrateInto(vessel)),
            Self::Measured(measured) => hand_in(Event::Measured(measured)),
            Self::Put(entry) => {
                let mut timetable = *timetable;
                match timetable.put(*entry) {
                    Ok(()) => hand_in(Event::Timetable(&timetable)),
                    Err(refusal) => Some(refusal),
                }
            }
            Self::Remove(id) => {
                let mut timetable = *timetable;
                if timetable.remove(*id) {
                    hand_in(Event::Timetable(&timetable))
                } else {
                    Some(Refusal::NoSuchEntry { id: *id })
                }
            }
            Self::RunAgain(id) => hand_in(Event::RunAgain(*id)),
            Self::Unlock(pin) => hand_in(Event::Unlock(*pin)),
            Self::Lock => hand_in(Event::Lock),
            Self::SetPin(pin) => hand_in(Event::SetPin(*pin)),
        }
    }
}
