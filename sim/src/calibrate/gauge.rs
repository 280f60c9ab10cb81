//! What a calibration's volume is measured with, and by how much that may be off.

use crate::trade::vessel::{Class, Standard, tolerance_ml};
use crate::trade::water::{STANDARD_HPA, z_ml_per_g};

/// What the volume was measured with.
#[derive(Clone, Debug, PartialEq)]
pub enum Gauge {
    /// A cylinder of the tables.
    Cylinder {
        /// Its size in ml.
        size_ml: u32,
        /// Its class.
        class: Class,
        /// Whose tolerances.
        standard: Standard,
    },
    /// Another vessel: what it holds, and the half-width of what it may be off.
    Other {
        /// In ml.
        size_ml: f64,
        /// In ml.
        tolerance_ml: f64,
    },
    /// A balance that shows within a half-width of the mass, and what was
    /// weighed.
    Balance {
        /// In g.
        within_g: f64,
        /// What was weighed.
        liquid: Liquid,
    },
}

/// What was weighed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Liquid {
    /// Water at a temperature in C.
    Water(f64),
    /// A product of a density in g/ml.
    Product(f64),
}

impl Liquid {
    /// Volume in ml of a gram.
    pub fn ml_per_g(self) -> f64 {
        match self {
            Self::Water(celsius) => z_ml_per_g(celsius, STANDARD_HPA),
            Self::Product(density) => 1.0 / density,
        }
    }
}

impl Gauge {
    /// The half-width of its error in ml; `None` where the tables have no such
    /// cylinder.
    pub fn half_width_ml(&self) -> Option<f64> {
        match self {
            Self::Cylinder { size_ml, class, standard } => {
                tolerance_ml(*standard, *size_ml, *class)
            }
            Self::Other { tolerance_ml, .. } => Some(*tolerance_ml),
            Self::Balance { within_g, liquid } => Some(within_g * liquid.ml_per_g()),
        }
    }

    /// What it holds in ml; a balance takes any vessel.
    pub fn holds_ml(&self) -> f64 {
        match self {
            Self::Cylinder { size_ml, .. } => f64::from(*size_ml),
            Self::Other { size_ml, .. } => *size_ml,
            Self::Balance { .. } => f64::INFINITY,
        }
    }
}
