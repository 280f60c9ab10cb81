//! Figures for a discharge permit: what goes down the drain with the product.

/// The product and the water it goes into.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Discharge {
    /// Dose a day in ml.
    pub dose_ml: f64,
    /// Specific gravity.
    pub specific_gravity: f64,
    /// Share of active matter by mass.
    pub active: f64,
    /// Chemical oxygen demand of the product in g/l.
    pub cod_g_l: f64,
    /// Water a day in m3.
    pub water_m3: f64,
}

impl Discharge {
    /// Active matter in g a day.
    pub fn active_g(&self) -> f64 {
        self.dose_ml * self.specific_gravity * self.active
    }

    /// Active matter in mg/l of the day's water.
    pub fn active_mg_l(&self) -> f64 {
        self.active_g() / self.water_m3
    }

    /// Oxygen demand that the product adds, in mg/l of the day's water.
    pub fn cod_mg_l(&self) -> f64 {
        self.dose_ml / 1000.0 * self.cod_g_l / self.water_m3
    }
}
