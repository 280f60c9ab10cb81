//! The settings behind a PIN (O5).

use super::Controller;
use crate::effect::{Effect, Effects};
use crate::lock::{Lock, Pin, STAYS_UNLOCKED};
use crate::record::{Act, Record};
use crate::time::Instant;
use crate::timetable::Refusal;

impl<const N: usize, const H: usize> Controller<N, H> {
    /// Whether the settings are locked now.
    pub fn is_locked(&self) -> bool {
        self.is_locked_at(self.now)
    }

    /// The same at a later instant.
    pub(crate) fn is_locked_at(&self, now: Instant) -> bool {
        self.book.lock.is_set() && now >= self.unlocked_until
    }

    /// Whether somebody is let in with what the lock keeps out; whoever asks for that is
    /// still there.
    pub(super) fn lets_in(&mut self) -> bool {
        if self.book.lock.is_set() {
            if self.is_locked() {
                return false;
            }
            self.open_up();
        }
        true
    }

    /// Whoever entered the PIN, or set it, is in.
    pub(super) const fn open_up(&mut self) {
        self.unlocked_until = self.now.plus(STAYS_UNLOCKED);
    }

    /// A calibration run that nobody cut short was a use of what is behind the lock: whoever
    /// began it is to enter its reading. What was locked by hand, or by a restart, stays so.
    pub(super) fn stay_open(&mut self) {
        if self.unlocked_until > Instant::MIN {
            self.open_up();
        }
    }

    pub(super) const fn lock_up(&mut self) {
        self.unlocked_until = Instant::MIN;
    }

    /// A try is judged, and taken down before it is answered: switching the device
    /// off and on again saves nobody the wait.
    pub(super) fn unlock(&mut self, pin: Pin) -> Result<bool, Refusal> {
        let lock = &self.book.lock;
        if !lock.is_set() {
            return Ok(false);
        }
        let next_try = lock.next_try();
        if self.now < next_try {
            let wait_ms = u32::try_from(next_try.since(self.now).as_ms()).unwrap_or(u32::MAX);
            return Err(Refusal::TriedTooOften { wait_ms });
        }
        let act = if lock.opens_with(pin) { Act::Unlocked } else { Act::WrongPin };
        Ok(self.want(&Record::Act { at: self.now, act, ms: 0 }))
    }

    pub(super) fn set_pin(&mut self, pin: Option<Pin>) -> bool {
        self.want(&Record::Pin { at: self.now, check: Lock::check_of(pin) })
    }

    /// The ledger has a try.
    pub(super) fn try_noted(&mut self, act: Act, effects: &mut Effects) {
        match act {
            Act::Unlocked => self.open_up(),
            _ => effects.push(Effect::Refused(Refusal::WrongPin)),
        }
    }
}
