//! Contacts over embedded-hal: level and inhibit inputs.

use embedded_hal::digital::InputPin;

use super::{Inputs, Levels};
use crate::time::{Duration, Instant};

/// So often is a contact read before it counts as one that cannot be (own choice).
const READINGS: u8 = 3;

/// A contact on an input pin.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Contact<P> {
    /// The pin.
    pub pin: P,
    /// Whether the contact is on when the pin is high.
    pub on_is_high: bool,
}

impl<P: InputPin> Contact<P> {
    /// Whether it is on. One that cannot be read, in three readings, counts as on: these
    /// contacts stop the pump, or say that the container is low.
    pub fn is_on(&mut self) -> bool {
        let high = (0..READINGS).find_map(|_| self.pin.is_high().ok());
        high.is_none_or(|high| high == self.on_is_high)
    }
}

/// The contacts of a pump.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Contacts<S, L, M, V = Absent> {
    /// The remote stop.
    pub remote_stop: Contact<S>,
    /// The leak or tube-burst detector.
    pub leak: Contact<L>,
    /// The motor driver's fault output.
    pub motor_fault: Contact<M>,
    /// The low-level contact of the container. It may bounce: the logic waits until
    /// it has settled.
    pub level_low: Contact<V>,
}

impl<S: InputPin, L: InputPin, M: InputPin, V: InputPin> Inputs for Contacts<S, L, M, V> {
    fn levels(&mut self) -> Levels {
        Levels {
            remote_stop: self.remote_stop.is_on(),
            leak: self.leak.is_on(),
            motor_fault: self.motor_fault.is_on(),
            level_low: self.level_low.is_on(),
        }
    }
}

/// A pin for a contact that the board does not have: it is never on.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug, Default)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Absent;

impl embedded_hal::digital::ErrorType for Absent {
    type Error = core::convert::Infallible;
}

impl InputPin for Absent {
    fn is_high(&mut self) -> Result<bool, Self::Error> {
        Ok(false)
    }

    fn is_low(&mut self) -> Result<bool, Self::Error> {
        Ok(true)
    }
}

impl Contact<Absent> {
    /// A contact that the board does not have.
    pub const fn absent() -> Self {
        Self { pin: Absent, on_is_high: true }
    }
}

/// A contact that bounces: its level counts when it has stood for a while.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Steady {
    /// How long a level must stand before it counts.
    stands_for: Duration,
    is_on: bool,
    /// The level that is not believed yet, and since when it stands.
    other_since: Option<Instant>,
}

impl Steady {
    /// A contact that is off until a level has stood for so long.
    pub const fn new(stands_for: Duration) -> Self {
        Self { stands_for, is_on: false, other_since: None }
    }

    /// Takes in the level as it is now; `Some` when the level that counts changes.
    pub fn see(&mut self, now: Instant, is_on: bool) -> Option<bool> {
        if is_on == self.is_on {
            self.other_since = None;
            return None;
        }
        let since = *self.other_since.get_or_insert(now);
        if now.since(since) < self.stands_for {
            return None;
        }
        (self.is_on, self.other_since) = (is_on, None);
        Some(is_on)
    }

    /// When to look again; `None` while nothing is in doubt.
    pub fn look_at(&self) -> Option<Instant> {
        self.other_since.map(|since| since.plus(self.stands_for))
    }
}
