//! The uncertainty of a flow from a timed run, by JCGM 100:2008 (GUM).
//!
//! A tolerance of half-width `a` without more knowledge is a rectangular
//! distribution, u = a / sqrt(3) (4.3.7); relative uncertainties of a quotient
//! add in squares (5.1.6); the expanded uncertainty is U = k u. k is 2 where all of it is
//! known by tolerances; what few readings show of their own scatter asks for more (G.4).

/// Coverage factor of many degrees of freedom.
pub const COVERAGE: f64 = 2.0;

/// Degrees of freedom and Student's t for 95.45 %, which many degrees make 2 (JCGM 100:2008,
/// Table G.2).
const T_95_45: [(f64, f64); 27] = [
    (1.0, 13.97),
    (2.0, 4.53),
    (3.0, 3.31),
    (4.0, 2.87),
    (5.0, 2.65),
    (6.0, 2.52),
    (7.0, 2.43),
    (8.0, 2.37),
    (9.0, 2.32),
    (10.0, 2.28),
    (11.0, 2.25),
    (12.0, 2.23),
    (13.0, 2.21),
    (14.0, 2.20),
    (15.0, 2.18),
    (16.0, 2.17),
    (17.0, 2.16),
    (18.0, 2.15),
    (19.0, 2.14),
    (20.0, 2.13),
    (25.0, 2.11),
    (30.0, 2.09),
    (35.0, 2.07),
    (40.0, 2.06),
    (45.0, 2.06),
    (50.0, 2.05),
    (100.0, 2.025),
];

/// The coverage factor for so many effective degrees of freedom: the table's value, and
/// between two of them what lies evenly between them by one over the degrees, which is never
/// less than Student's t (G.6.4: interpolate, or take the next lower).
pub fn coverage(degrees: f64) -> f64 {
    let mut above = (0.0, COVERAGE);
    for (of, t) in T_95_45.into_iter().rev() {
        let inverse = 1.0 / of;
        if degrees >= of {
            let share = (1.0 / degrees - above.0) / (inverse - above.0);
            return above.1 + share * (t - above.1);
        }
        above = (inverse, t);
    }
    above.1
}

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
    /// Its degrees of freedom: of a tolerance infinite (G.4.3), of n readings n - 1.
    pub degrees: f64,
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
    pub fn with(self, name: &'static str, share: f64) -> Self {
        self.seen(name, share, f64::INFINITY)
    }

    /// With one that readings showed, of so many degrees of freedom.
    #[must_use]
    pub fn seen(mut self, name: &'static str, share: f64, degrees: f64) -> Self {
        self.parts.push(Part { name, share, degrees });
        self
    }

    /// Combined standard uncertainty as a share of the flow.
    pub fn combined(&self) -> f64 {
        self.parts.iter().map(|part| part.share * part.share).sum::<f64>().sqrt()
    }

    /// Effective degrees of freedom, by Welch and Satterthwaite (G.4.1); infinite where no
    /// reading has a part in it.
    pub fn degrees(&self) -> f64 {
        let parts = self.parts.iter();
        let sum: f64 = parts.map(|part| part.share.powi(4) / part.degrees).sum();
        if sum > 0.0 { self.combined().powi(4) / sum } else { f64::INFINITY }
    }

    /// Its coverage factor.
    pub fn coverage(&self) -> f64 {
        coverage(self.degrees())
    }

    /// Expanded uncertainty as a share of the flow.
    pub fn expanded(&self) -> f64 {
        self.coverage() * self.combined()
    }
}

/// The budget of a run of `run_s` that gave `volume_ml` in a vessel of tolerance
/// `vessel_ml`, timed to a standard uncertainty of `timing_s`.
pub fn timed_run(volume_ml: f64, vessel_ml: f64, run_s: f64, timing_s: f64) -> Budget {
    Budget::default()
        .with("vessel", rectangular(vessel_ml) / volume_ml)
        .with("timing", timing_s / run_s)
}
