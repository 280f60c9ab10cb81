//! How long a pack lasts at a timetable. A model.

use super::cells::Cell;

/// What draws from the pack.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Load {
    /// Current of the running motor, in A.
    pub motor_a: f64,
    /// Current of a start, in A, and how long it lasts, in s. It is counted in
    /// full beside the running current.
    pub start_a: f64,
    /// See `start_a`.
    pub start_s: f64,
    /// Current that never stops, in A.
    pub sleep_a: f64,
    /// Current of the lit display, in A.
    pub display_a: f64,
}

/// A week's use.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Week {
    /// Hours of pumping.
    pub pumping_h: f64,
    /// Pump starts.
    pub starts: f64,
    /// Hours of lit display.
    pub display_h: f64,
}

/// A week's use in Ah, by what takes it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Drain {
    /// The running motor.
    pub pumping_ah: f64,
    /// Starts.
    pub starts_ah: f64,
    /// Sleep.
    pub sleep_ah: f64,
    /// The display.
    pub display_ah: f64,
}

impl Drain {
    /// Of a week.
    pub fn of(load: &Load, week: &Week) -> Self {
        Self {
            pumping_ah: week.pumping_h * load.motor_a,
            starts_ah: week.starts * load.start_a * load.start_s / 3600.0,
            sleep_ah: 168.0 * load.sleep_a,
            display_ah: week.display_h * load.display_a,
        }
    }

    /// All of it.
    pub fn total_ah(&self) -> f64 {
        self.pumping_ah + self.starts_ah + self.sleep_ah + self.display_ah
    }
}

/// Weeks that a full pack of these cells lasts: the capacity at the motor's
/// current, the usable share of it, less what it loses by itself in that time.
pub fn weeks(cell: &Cell, motor_a: f64, usable: f64, lost_a_year: f64, drain: &Drain) -> f64 {
    let capacity_ah = cell.capacity_ah(motor_a) * usable;
    // what is lost by itself is a drain too, taken as steady over the life
    let lost_ah_a_week = capacity_ah * lost_a_year / (365.25 / 7.0);
    capacity_ah / (drain.total_ah() + lost_ah_a_week)
}
