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

/// Days from fitting until the tube set is due, and by what. `drift_a_year` is
/// the share of flow lost in a year of 365 days, by the trend of calibrations;
/// 0 where there is none.
pub fn due_days(life: &Life, hours_a_year: f64, drift_a_year: f64) -> (f64, Governs) {
    let by =
        |limit: f64, a_year: f64| if a_year > 0.0 { limit / a_year * 365.0 } else { f64::INFINITY };
    [
        (life.days, Governs::Calendar),
        (by(life.hours, hours_a_year), Governs::Hours),
        (by(life.drift, drift_a_year), Governs::Drift),
    ]
    .into_iter()
    .min_by(|a, b| a.0.total_cmp(&b.0))
    .unwrap_or((life.days, Governs::Calendar))
}
