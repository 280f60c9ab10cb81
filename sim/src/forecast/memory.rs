//! How long the memory lasts (M3): records a day, slots a sector, erases.

use dosewright_core::ledger::SLOT;
use dosewright_core::record::DELIVERIES_A_RECORD;

use super::{Day, kept};
use crate::scenario::Scenario;

/// Erases that a part is rated for (M3).
pub const RATED_ERASES: f64 = 10_000.0;
/// Deliveries that the simulated device keeps account of.
pub(super) const ACCOUNT: usize = 128;
/// A snapshot's records of clock, globals, head and closed dates.
const SNAPSHOT_BASE: usize = 4;
/// A snapshot's records of an entry.
const SNAPSHOT_ENTRY: usize = 2;
/// A snapshot's records of the last hour's starts and an open dose, about half of
/// what they can be.
const SNAPSHOT_STARTS: usize = 4;
/// Header and seal.
pub(super) const FRAME: usize = 2;

/// What the ledger writes and how long the part bears it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Wear {
    /// Records a day, over the first year.
    pub records_a_day: f64,
    /// Slots of a sector that are left for records.
    pub slots: f64,
    /// Sectors.
    pub sectors: u32,
    /// Erases of each sector in a year.
    pub erases_a_year: f64,
    /// Years until the rated erases.
    pub years: f64,
    /// Days for which a record is kept at least, in the busiest stretch of the timetable: until
    /// its sector is erased.
    pub kept_days: f64,
}

/// By the timetable: a record for each pulse and one for each outcome, and a
/// stamp in every hour without one. The first intent of a dose stands in two slots.
pub fn wear(scenario: &Scenario, days: &[Day]) -> Wear {
    let year = days.get(..days.len().min(365)).unwrap_or(days);
    let records: f64 = year
        .iter()
        .map(|day| {
            let quiet_h = (24.0 - day.busy_h).max(0.0);
            // each dose begins the hour anew: half an hour's stamp falls out
            let stamps = (quiet_h - 0.5 * f64::from(day.doses)).max(0.0);
            day.starts + f64::from(day.doses) + stamps
        })
        .sum();
    let records_a_day = records / year.len().max(1) as f64;
    let snapshot = SNAPSHOT_BASE
        + SNAPSHOT_ENTRY * scenario.entries.len()
        + ACCOUNT / DELIVERIES_A_RECORD
        + SNAPSHOT_STARTS;
    let all = scenario.memory.sector_bytes as usize / SLOT;
    let slots = all.saturating_sub(FRAME + snapshot).max(1) as f64;
    let sectors = scenario.memory.sectors.max(1);
    let doses: f64 = year.iter().map(|day| f64::from(day.doses)).sum();
    let slots_a_day = (records + doses) / year.len().max(1) as f64;
    let erases_a_year = slots_a_day * 365.25 / slots / f64::from(sectors);
    let kept_days = kept::days(scenario);
    let years = RATED_ERASES / erases_a_year;
    Wear { records_a_day, slots, sectors, erases_a_year, years, kept_days }
}
