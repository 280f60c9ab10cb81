//! What the controller asks of the world.

use crate::record::Alarm;
use crate::time::Duration;
use crate::timetable::Refusal;

/// One thing to do. Effects of one step are to be done in their order, and an
/// [`Effect::Append`] or [`Effect::Adopt`], always the last of its step, is to be
/// answered before any other event is handed in.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Effect {
    /// Turn the pump on, and set the one-shot timer that turns it off again
    /// after this length whatever the logic does (D4).
    PumpOn(Duration),
    /// Turn the pump off.
    PumpOff,
    /// Write the record of [`crate::controller::Controller::pending`], and answer
    /// with `Appended` or `AppendFailed`.
    Append,
    /// Write the records of [`crate::controller::Controller::adoption`], all
    /// in one sector, and answer with `Adopted` or `AppendFailed`.
    Adopt,
    /// The operator's request is refused.
    Refused(Refusal),
    /// An alarm came or went.
    Alarm(Alarm, bool),
    /// Read the pack ten times at rest, then ten times under a test load of the
    /// motor's current, and hand in each as
    /// [`PackRead`](crate::event::Event::PackRead).
    TestPack,
    /// Read the pack once, now that the pump is on, and hand it in.
    ReadPack,
    /// Light the display, or let it go dark.
    Light(bool),
}

/// Effects a single step can have.
const MOST: usize = 8;

/// The effects of one step, by value, so that none can be left undone unseen.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[must_use = "effects are what the pump and the ledger do"]
pub struct Effects {
    acts: [Act; MOST],
    len: u8,
    /// Length of the run that begins.
    run: Duration,
    refusal: Option<Refusal>,
}

/// An effect without what is larger than a byte or two, and comes once in a step.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
enum Act {
    PumpOn,
    PumpOff,
    Append,
    Adopt,
    Refused,
    Alarm(Alarm, bool),
    TestPack,
    ReadPack,
    Light(bool),
}

impl Effects {
    /// Nothing to do.
    pub const NONE: Self =
        Self { acts: [Act::PumpOff; MOST], len: 0, run: Duration::ZERO, refusal: None };

    fn act(&mut self, act: Act) {
        debug_assert!(usize::from(self.len) < MOST, "a step with too many effects");
        if let Some(place) = self.acts.get_mut(usize::from(self.len)) {
            *place = act;
            self.len += 1;
        }
    }

    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(crate) fn push(&mut self, effect: Effect) {
        let act = match effect {
            Effect::PumpOn(length) => {
                debug_assert_eq!(self.run, Duration::ZERO, "two runs in one step");
                self.run = length;
                Act::PumpOn
            }
            Effect::PumpOff => Act::PumpOff,
            Effect::Append => Act::Append,
            Effect::Adopt => Act::Adopt,
            Effect::Refused(refusal) => {
                debug_assert!(self.refusal.is_none(), "two refusals in one step");
                self.refusal = Some(refusal);
                Act::Refused
            }
            Effect::Alarm(alarm, on) => Act::Alarm(alarm, on),
            Effect::TestPack => Act::TestPack,
            Effect::ReadPack => Act::ReadPack,
            Effect::Light(on) => Act::Light(on),
        };
        self.act(act);
    }

    /// In the order in which they are to be done.
    pub fn iter(&self) -> impl Iterator<Item = Effect> + '_ {
        self.acts.get(..usize::from(self.len)).unwrap_or_default().iter().filter_map(|act| {
            Some(match *act {
                Act::PumpOn => Effect::PumpOn(self.run),
                Act::PumpOff => Effect::PumpOff,
                Act::Append => Effect::Append,
                Act::Adopt => Effect::Adopt,
                Act::Refused => Effect::Refused(self.refusal?),
                Act::Alarm(alarm, on) => Effect::Alarm(alarm, on),
                Act::TestPack => Effect::TestPack,
                Act::ReadPack => Effect::ReadPack,
                Act::Light(on) => Effect::Light(on),
            })
        })
    }

    /// Whether there is nothing to do.
    pub const fn is_empty(&self) -> bool {
        self.len == 0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn there_is_something_to_do_once_something_was_put_down() {
        let mut effects = Effects::NONE;
        assert!(effects.is_empty() && effects.iter().next().is_none());
        effects.push(Effect::PumpOff);
        assert!(!effects.is_empty() && effects.iter().eq([Effect::PumpOff]));
    }
}
