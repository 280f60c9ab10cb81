//! What runs out by itself when the squeeze is lost and the container stands
//! above the outlet.

use super::hydraulics::{LAMINAR_UP_TO, reynolds, turbulent_pa};
use super::water::GRAVITY;
use std::f64::consts::PI;

/// The tube and what is in it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Siphon {
    /// Bore in mm.
    pub bore_mm: f64,
    /// Length of tube in m.
    pub length_m: f64,
    /// Height of the liquid's surface above the outlet in m.
    pub head_m: f64,
    /// In kg/m3.
    pub density: f64,
    /// In Pa s.
    pub viscosity: f64,
}

/// In which regime it runs.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Regime {
    /// Hagen-Poiseuille.
    Laminar,
    /// Between the two: by Blasius, as a guess.
    Transitional,
    /// Blasius.
    Turbulent,
}

/// A siphon's flow.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Flow {
    /// In ml/min.
    pub ml_min: f64,
    /// Reynolds number.
    pub reynolds: f64,
    /// In which regime.
    pub regime: Regime,
}

/// Reynolds number from which the flow is turbulent.
const TURBULENT_FROM: f64 = 4000.0;

impl Siphon {
    /// The flow at which friction takes up the whole head. The head is kept
    /// constant: the true time to empty is a little longer.
    pub fn flow(&self) -> Flow {
        let (bore, drive) = (self.bore_mm / 1000.0, self.density * GRAVITY * self.head_m.max(0.0));
        let re = |q: f64| reynolds(bore, q, self.density, self.viscosity);
        let laminar = drive * PI * bore.powi(4) / (128.0 * self.viscosity * self.length_m);
        if re(laminar) <= LAMINAR_UP_TO {
            return Flow { ml_min: laminar * 60e6, reynolds: re(laminar), regime: Regime::Laminar };
        }
        // by Blasius the drop grows as q^1.75, so the flow can be had in one step
        let unit = turbulent_pa(bore, self.length_m, 1e-6, self.density, self.viscosity);
        let q = 1e-6 * (drive / unit).powf(1.0 / 1.75);
        let regime = if re(q) < TURBULENT_FROM { Regime::Transitional } else { Regime::Turbulent };
        Flow { ml_min: q * 60e6, reynolds: re(q), regime }
    }
}
