//! The tube set is due at the least of hours, calendar and drift (common
//! practice, no source).

/// Its life.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Life {
    /// Hours of pumping.
    pub hours: f64,
    /// Days since it was fitted.
    pub days: f64,
    /// Loss of flow, as a share.
    pub drift: f64,
}

/// 500 h, 12 months, 10 % (common practice, no source).
pub const USUAL: Life = Life { hours: 500.0, days: 365.0, drift: 0.1 };

/// What governs.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Governs {
    /// Hours of pumping.
    Hours,
    /// The calendar.
    Calendar,
    /// Drift of the flow.
    Drift,
}

impl Governs {
    /// In words.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Hours => "hours of pumping",
            Self::Calendar => "the calendar",
            Self::Drift => "drift of the flow",
        }
    }
}

/// What is behind it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Used {
    /// Days since it was fitted.
    pub days: f64,
    /// Hours that it has pumped.
    pub hours: f64,
    /// Share of the flow lost in a year of 365 days, by the trend of calibrations; 0 where
    /// there is none.
    pub drift_a_year: f64,
}

/// Days until it is due, negative where it has been due for so long, and by what.
/// `days_to_pump` tells in how many days so many further hours are pumped.
pub fn due_days(life: &Life, used: &Used, days_to_pump: impl FnOnce(f64) -> f64) -> (f64, Governs) {
    let by_calendar = life.days - used.days;
    let left_h = life.hours - used.hours;
    // from its last hour on it is due now, whenever the next dose comes
    let by_hours = if left_h > 0.0 { days_to_pump(left_h) } else { 0.0 };
    let by_drift = if used.drift_a_year > 0.0 {
        life.drift / used.drift_a_year * 365.0 - used.days
    } else {
        f64::INFINITY
    };
    [(by_calendar, Governs::Calendar), (by_hours, Governs::Hours), (by_drift, Governs::Drift)]
        .into_iter()
        .min_by(|a, b| a.0.total_cmp(&b.0))
        .unwrap_or((by_calendar, Governs::Calendar))
}
