//! `[tube]` and `[product]`: what the arithmetic of the trade reckons with.

use dosewright_core::civil::Date;
use dosewright_core::time::Duration;
use dosewright_core::units::Volume;

use crate::diagnose::Spans;
use crate::trade::siphon::{self, Siphon};
use crate::trade::suction::tube_ml;

/// `[tube]`: tube set and lines, all of one bore.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Tube {
    /// Inner diameter in micrometres.
    pub bore_um: u32,
    /// Length of the suction line in micrometres.
    pub suction_um: u32,
    /// Length of the discharge line in micrometres.
    pub discharge_um: u32,
    /// Height of the pump above the product's lowest level in micrometres.
    pub lift_um: i32,
    /// How far the outlet lies below the product's surface in micrometres.
    pub outlet_below_um: i32,
    /// When it was fitted, where that is not the start.
    pub fitted: Option<Date>,
    /// How long it has pumped since.
    pub pumped: Duration,
    /// Calendar life.
    pub life: Option<Duration>,
    /// Life in pumping.
    pub life_pumping: Option<Duration>,
    /// Life in loss of flow, in parts per million.
    pub life_drift_ppm: Option<u32>,
    /// Loss of flow in a year, in parts per million.
    pub drift_a_year_ppm: Option<u32>,
    /// Where it stands.
    pub spans: Spans,
}

impl Tube {
    /// What runs out of the container by itself when the squeeze is lost; `None`
    /// where the outlet does not lie below the product, or there is no line.
    pub fn siphon(&self, product: Option<&Product>) -> Option<siphon::Flow> {
        let metres = |um: u32| f64::from(um) / 1e6;
        let (head_m, length_m) = (
            f64::from(self.outlet_below_um) / 1e6,
            metres(self.suction_um) + metres(self.discharge_um),
        );
        let siphon = Siphon {
            bore_mm: f64::from(self.bore_um) / 1e3,
            length_m,
            head_m,
            density: product.map_or(1e3, |p| f64::from(p.density_mg_l) / 1e3),
            viscosity: product.map_or(1e-3, |p| f64::from(p.viscosity_upa_s) / 1e6),
        };
        (head_m > 0.0 && length_m > 0.0).then(|| siphon.flow())
    }

    /// What of the suction line drains back when the foot valve fails: as much of it
    /// as is lifted above the product.
    pub fn lifted(&self) -> Volume {
        let lift_m = (f64::from(self.lift_um) / 1e6).clamp(0.0, f64::from(self.suction_um) / 1e6);
        Volume::from_nl((tube_ml(f64::from(self.bore_um) / 1e3, lift_m) * 1e6).round() as u64)
    }
}

/// `[product]`.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Product {
    /// In milligrams a litre.
    pub density_mg_l: u32,
    /// In micropascal seconds.
    pub viscosity_upa_s: u32,
    /// Share of active matter by mass, in parts per million.
    pub active_ppm: Option<u32>,
    /// Chemical oxygen demand in milligrams a litre.
    pub cod_mg_l: Option<u32>,
    /// Water that the site uses in a day.
    pub water_a_day: Option<Volume>,
    /// Date after which it is not to be used.
    pub use_by: Option<Date>,
    /// Where it stands.
    pub spans: Spans,
}
