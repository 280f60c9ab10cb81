//! What a timetable draws from a pack. A model.

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
