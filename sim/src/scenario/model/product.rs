//! `[tube]` and `[product]`: what the arithmetic of the trade reckons with.

use dosewright_core::civil::Date;
use dosewright_core::time::Duration;
use dosewright_core::units::Volume;

use crate::diagnose::Spans;

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
