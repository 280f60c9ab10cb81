//! `[tube]` and `[product]`.

use dosewright_core::time::Duration;

use super::super::model::{Product, Tube};
use super::super::reader::TableReader;

/// Density and viscosity where the file gives none: about water's.
const WATER: (u32, u32) = (1_000_000, 1_000);

pub(super) fn tube(mut t: TableReader) -> Option<Tube> {
    let bore_um = t.quantity_u32("bore");
    let suction_um = t.quantity_u32("suction").unwrap_or(0);
    let discharge_um = t.quantity_u32("discharge").unwrap_or(0);
    let lift_um = t.quantity_i32("lift").unwrap_or(0);
    let outlet_below_um = t.quantity_i32("outlet_below").unwrap_or(0);
    let fitted = t.date("fitted");
    let pumped = t.length("pumped").unwrap_or(Duration::ZERO);
    let life = t.length("life");
    let life_pumping = t.length("life_pumping");
    let life_drift_ppm = t.quantity_u32("life_drift");
    let drift_a_year_ppm = t.quantity_u32("drift_a_year");
    let spans = t.finish();
    Some(Tube {
        bore_um: bore_um?,
        suction_um,
        discharge_um,
        lift_um,
        outlet_below_um,
        fitted,
        pumped,
        life,
        life_pumping,
        life_drift_ppm,
        drift_a_year_ppm,
        spans,
    })
}

pub(super) fn product(mut t: TableReader) -> Product {
    let density_mg_l = t.quantity_u32("density").unwrap_or(WATER.0);
    let viscosity_upa_s = t.quantity_u32("viscosity").unwrap_or(WATER.1);
    let active_ppm = t.quantity_u32("active");
    let cod_mg_l = t.quantity_u32("cod");
    let water_a_day = t.volume("water_a_day");
    let use_by = t.date("use_by");
    let spans = t.finish();
    Product { density_mg_l, viscosity_upa_s, active_ppm, cod_mg_l, water_a_day, use_by, spans }
}
