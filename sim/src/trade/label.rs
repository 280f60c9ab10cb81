//! The label's rate: volumes of the start-up and the maintenance dose. The
//! label governs.

/// Start-up and maintenance.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Label {
    /// What is dosed, in m3 of drain or separator.
    pub volume_m3: f64,
    /// Start-up rate in ml/m3 a night.
    pub start_up_ml_m3: f64,
    /// Nights of start-up.
    pub start_up_nights: u32,
    /// Maintenance rate in ml/m3 a night.
    pub maintenance_ml_m3: f64,
}

impl Label {
    /// Start-up dose in ml.
    pub fn start_up_ml(&self) -> f64 {
        self.start_up_ml_m3 * self.volume_m3
    }

    /// Maintenance dose in ml.
    pub fn maintenance_ml(&self) -> f64 {
        self.maintenance_ml_m3 * self.volume_m3
    }

    /// What so many nights from the first on take, in ml.
    pub fn total_ml(&self, nights: u32) -> f64 {
        let start = nights.min(self.start_up_nights);
        f64::from(start) * self.start_up_ml() + f64::from(nights - start) * self.maintenance_ml()
    }
}
