//! How pack and container go down, day by day.

use dosewright_core::civil::DAY_MS;

use super::days::each_due;
use super::pack::Draw;
use super::{BATTERY_RANGE, Day, HORIZON_DAYS, days};
use crate::scenario::Scenario;

/// What is in the container at the end of each day by the timetable, from the level
/// at the start on, in ml; down to the heel. `None` without one.
pub fn levels_ml(scenario: &Scenario) -> Option<Vec<f64>> {
    let container = scenario.container.as_ref()?;
    let ml = |volume: dosewright_core::units::Volume| volume.as_nl() as f64 / 1e6;
    let (mut level, heel) = (ml(container.level), ml(container.heel));
    let mut out = vec![level];
    for day in days(scenario, HORIZON_DAYS) {
        if level <= heel {
            break;
        }
        level = (level - day.volume_ml).max(heel);
        out.push(level);
    }
    Some(out)
}

/// The same at the time of day of the start, on that day and each of so many after it: what
/// an account of a run from the start on is compared with. A dose is drawn when its window
/// is over.
pub fn levels_from_start_ml(scenario: &Scenario, count: usize) -> Option<Vec<f64>> {
    let container = scenario.container.as_ref()?;
    let ml = |volume: dosewright_core::units::Volume| volume.as_nl() as f64 / 1e6;
    let heel = ml(container.heel);
    let mut drawn = vec![0.0; count + 1];
    let start_ms = scenario.clock.start.as_ms().rem_euclid(DAY_MS);
    each_due(scenario, count + 1, |day, ms, dose| {
        let ends_ms = ms + (dose.busy_h * 3.6e6) as i64;
        // the first of those times that it does not end after
        let after = (ends_ms - start_ms + DAY_MS - 1).div_euclid(DAY_MS);
        let at = usize::try_from(after).ok().and_then(|after| day.checked_add(after));
        if let Some(sum) = at.and_then(|at| drawn.get_mut(at)) {
            *sum += dose.volume_ml;
        }
    });
    let mut level = ml(container.level);
    let mut out = Vec::new();
    for sum in drawn {
        let at_heel = level <= heel && !out.is_empty();
        if at_heel {
            break;
        }
        level = (level - sum).max(heel.min(level));
        out.push(level);
    }
    Some(out)
}

/// Voltage of the pack with the motor running, at the end of each day.
#[derive(Clone, Debug, PartialEq)]
pub struct Voltage {
    /// Cells in series; 1 where that is not known.
    pub cells: u32,
    /// At which each counts as empty, in V.
    pub end_v: f64,
    /// By the best estimate, until it is exhausted, in V.
    pub typical: Vec<f64>,
    /// By the least estimate, in V.
    pub worst: Vec<f64>,
}

/// A model; `None` on mains.
pub fn voltage(scenario: &Scenario) -> Option<Voltage> {
    let (draw, cells) = Draw::of(scenario)?;
    let all = days(scenario, HORIZON_DAYS);
    let cells = cells.unwrap_or(1);
    let course = |share, used| course(&draw, &all, (share, used), f64::from(cells));
    let end_v = draw.cell.end_v;
    let typical = course(1.0, draw.used_ah);
    let worst = course(1.0 - BATTERY_RANGE, draw.gone_ah().max(draw.used_ah));
    Some(Voltage { cells, end_v, typical, worst })
}

/// With a share of the charge that the best estimate gives a full one, and what is gone of it
/// at the start.
fn course(draw: &Draw, days: &[Day], (share, used_ah): (f64, f64), cells: f64) -> Vec<f64> {
    let (usable_ah, whole_ah) = (draw.usable_ah * share, draw.to_end_ah * share);
    let loaded_v = |used_ah: f64| draw.cell.loaded_v(used_ah / whole_ah);
    let mut used = used_ah;
    let mut out = vec![cells * loaded_v(used)];
    for day in days {
        if used >= usable_ah {
            break;
        }
        used += draw.a_day(day);
        out.push(cells * loaded_v(used));
    }
    out
}
