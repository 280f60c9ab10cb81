//! The uncertainty of a flow from a timed run, by JCGM 100:2008 (GUM).
//!
//! A tolerance of half-width `a` without more knowledge is a rectangular
//! distribution, u = a / sqrt(3) (4.3.7); relative uncertainties of a quotient
//! add in squares (5.1.6); the expanded uncertainty is U = k u with k = 2.

/// Coverage factor.
pub const COVERAGE: f64 = 2.0;

/// Standard uncertainty of a value known to lie within `half_width`, evenly.
pub fn rectangular(half_width: f64) -> f64 {
    half_width / 3.0_f64.sqrt()
}

/// One line of an uncertainty budget.
#[derive(Clone, Debug, PartialEq)]
pub struct Part {
    /// What it comes from.
    pub name: &'static str,
    /// Standard uncertainty as a share of the flow (0.01 is 1 %).
    pub share: f64,
}

/// An uncertainty with what it is made of.
#[derive(Clone, Debug, PartialEq, Default)]
pub struct Budget {
    /// The parts, independent of each other.
    pub parts: Vec<Part>,
}

impl Budget {
    /// With one part more; `share` of the flow.
    #[must_use]
    pub fn with(mut self, name: &'static str, share: f64) -> Self {
        self.parts.push(Part { name, share });
        self
    }

    /// Combined standard uncertainty as a share of the flow.
    pub fn combined(&self) -> f64 {
        self.parts.iter().map(|part| part.share * part.share).sum::<f64>().sqrt()
    }

    /// Expanded uncertainty as a share of the flow, k = 2.
    pub fn expanded(&self) -> f64 {
        COVERAGE * self.combined()
    }
}

/// The budget of a run of `run_s` that gave `volume_ml` in a vessel of tolerance
/// `vessel_ml`, timed to a standard uncertainty of `timing_s`.
pub fn timed_run(volume_ml: f64, vessel_ml: f64, run_s: f64, timing_s: f64) -> Budget {
    Budget::default()
        .with("vessel", rectangular(vessel_ml) / volume_ml)
        .with("timing", timing_s / run_s)
}
