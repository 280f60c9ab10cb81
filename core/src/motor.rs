//! A motor that stalls or draws too much: retried after growing rests, then
//! latched until an operator acknowledges it.

use crate::time::{Duration, Instant};

/// The faults of the motor in a row.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Motor {
    /// How many: 0 for a motor that runs, [`Motor::LATCHED`] for one that waits
    /// for an operator.
    pub faults: u8,
    /// When the last one was.
    pub at: Instant,
}

impl Motor {
    /// No fault.
    pub const SOUND: Self = Self { faults: 0, at: Instant::ZERO };
    /// The fault after which nothing is tried any more: three retries, after 1, 2
    /// and 4 minutes (common practice, no source).
    pub const LATCHED: u8 = 4;

    /// How many faults in a row one more would make.
    pub const fn one_more(&self) -> u8 {
        if self.faults < Self::LATCHED { self.faults.saturating_add(1) } else { Self::LATCHED }
    }

    /// A fault, by its number in the row.
    pub const fn failed(&mut self, at: Instant, faults: u8) {
        *self = Self { faults, at };
    }

    /// A run went on to its end: that ends the row. What was cut short, by a stop or by a
    /// start of the device, proves nothing.
    pub const fn ran_through(&mut self) {
        if !self.is_latched() {
            *self = Self::SOUND;
        }
    }

    /// Whether only an operator can go on.
    pub const fn is_latched(&self) -> bool {
        self.faults >= Self::LATCHED
    }

    /// Until when it rests after its last fault; [`Instant::MIN`] where it does not.
    pub const fn rests_until(&self) -> Instant {
        if self.faults == 0 || self.is_latched() {
            return Instant::MIN;
        }
        self.at.plus(Duration::from_min(1 << (self.faults - 1)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rests_grow_and_a_run_that_went_well_ends_the_row() {
        let at = Instant::from_ms(1_000);
        let mut motor = Motor::SOUND;
        for minutes in [1, 2, 4] {
            motor.failed(at, motor.one_more());
            assert_eq!(motor.rests_until(), at.plus(Duration::from_min(minutes)));
        }
        let mut tried = motor;
        tried.ran_through();
        assert_eq!((tried, tried.rests_until()), (Motor::SOUND, Instant::MIN));
        motor.failed(at, motor.one_more());
        assert!(motor.is_latched());
        assert_eq!(motor.rests_until(), Instant::MIN);
    }

    #[test]
    fn a_latched_motor_stays_at_its_last_fault() {
        let mut motor = Motor { faults: Motor::LATCHED, ..Motor::SOUND };
        assert_eq!(motor.one_more(), Motor::LATCHED);
        motor.ran_through();
        assert!(motor.is_latched(), "only an operator can go on");
    }
}
