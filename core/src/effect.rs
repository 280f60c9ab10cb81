//! What the controller asks of the world.

use crate::record::{Alarm, Record};
use crate::time::Duration;
use crate::timetable::Refusal;

/// One thing to do. Effects of one step are to be done in their order, and an
/// [`Effect::Append`] or [`Effect::Adopt`], always the last of its step, is to be
/// answered before any other event is handed in.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[allow(clippy::large_enum_variant)]
pub enum Effect {
    /// Turn the pump on, and set the one-shot timer that turns it off again
    /// after this length whatever the logic does (D4).
    PumpOn(Duration),
    /// Turn the pump off.
    PumpOff,
    /// Write this record, and answer with `Appended` or `AppendFailed`.
    Append(Record),
    /// Write the records of [`crate::controller::Controller::adoption`], all
    /// in one sector, and answer with `Adopted` or `AppendFailed`.
    Adopt,
    /// The operator's request is refused.
    Refused(Refusal),
    /// An alarm came or went.
    Alarm(Alarm, bool),
}

/// Effects a single step can have beside its append.
const MOST: usize = 6;

/// The effects of one step, by value, so that none can be left undone unseen.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[must_use = "effects are what the pump and the ledger do"]
pub struct Effects {
    acts: [Option<Act>; MOST],
    len: usize,
    append: Option<Record>,
}

/// An effect without the record, which is many times larger than the others.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
enum Act {
    PumpOn(Duration),
    PumpOff,
    Adopt,
    Refused(Refusal),
    Alarm(Alarm, bool),
}

impl Effects {
    /// Nothing to do.
    pub const NONE: Self = Self { acts: [None; MOST], len: 0, append: None };

    pub(crate) fn push(&mut self, effect: Effect) {
        let act = match effect {
            Effect::Append(record) => {
                debug_assert!(self.append.is_none(), "two appends in one step");
                self.append = Some(record);
                return;
            }
            Effect::PumpOn(length) => Act::PumpOn(length),
            Effect::PumpOff => Act::PumpOff,
            Effect::Adopt => Act::Adopt,
            Effect::Refused(refusal) => Act::Refused(refusal),
            Effect::Alarm(alarm, on) => Act::Alarm(alarm, on),
        };
        debug_assert!(self.len < MOST, "a step with too many effects");
        if let Some(place) = self.acts.get_mut(self.len) {
            *place = Some(act);
            self.len += 1;
        }
    }

    /// In the order in which they are to be done.
    pub fn iter(&self) -> impl Iterator<Item = Effect> + '_ {
        let acts = self.acts.iter().take(self.len).flatten().map(|act| match *act {
            Act::PumpOn(length) => Effect::PumpOn(length),
            Act::PumpOff => Effect::PumpOff,
            Act::Adopt => Effect::Adopt,
            Act::Refused(refusal) => Effect::Refused(refusal),
            Act::Alarm(alarm, on) => Effect::Alarm(alarm, on),
        });
        acts.chain(self.append.map(Effect::Append))
    }

    /// Whether there is nothing to do.
    pub const fn is_empty(&self) -> bool {
        self.len == 0 && self.append.is_none()
    }
}
