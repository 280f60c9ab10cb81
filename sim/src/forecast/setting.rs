//! What the installer tells the device of its pack: the forecast's own figures.

use dosewright_core::power::Pack;

use super::pack::{Draw, cells_in_series, least_v};
use crate::scenario::{Scenario, Supply};

/// So far above its end a cell is low, in V (own choice).
const LOW_V: f64 = 0.1;
/// A dose is begun no nearer to the least voltage of the device than this, in V a
/// cell: what a dose takes off it (own choice).
const RESERVE_V: f64 = 0.03;
/// Hysteresis of the thresholds, in V a cell (own choice).
const HYSTERESIS_V: f64 = 0.05;
/// A jump at rest that another pack makes, in V a cell (own choice).
const JUMP_V: f64 = 0.15;

/// The pack as the device is told of it; `None` on mains.
pub fn pack_setting(scenario: &Scenario) -> Option<Pack> {
    let Supply::Battery { pack, .. } = &scenario.supply else { return None };
    let (draw, _) = Draw::of(scenario)?;
    let cells = f64::from(cells_in_series(scenario)?);
    let exhausted_v = (cells * draw.cell.end_v).max(least_v(scenario) + cells * RESERVE_V);
    let low_v = (cells * (draw.cell.end_v + LOW_V)).max(exhausted_v + cells * HYSTERESIS_V);
    let whole = |x: f64| x.round().clamp(0.0, 65_535.0) as u16;
    let lost_a = draw.lost_ah_a_day / 24.0;
    Some(Pack {
        capacity_mah: whole(draw.usable_ah * 1e3).max(1),
        motor_ma: whole(draw.load.motor_a * 1e3).max(1),
        start_ma: whole(draw.load.start_a * 1e3),
        start_ms: whole(draw.load.start_s * 1e3),
        sleep_ua: whole((draw.load.sleep_a + lost_a) * 1e6),
        display_ua: whole(draw.load.display_a * 1e6),
        low_mv: whole(low_v * 1e3),
        exhausted_mv: whole(exhausted_v * 1e3),
        hysteresis_mv: whole(cells * HYSTERESIS_V * 1e3),
        jump_mv: whole(cells * JUMP_V * 1e3),
        warn_days: pack.warn_days.unwrap_or(Pack::WARN_DAYS),
    })
}
