//! What would help most: single changes, each tried in full.

use dosewright_core::entry::EntryId;
use dosewright_core::time::Instant;
use dosewright_core::timetable;

use super::{Forecast, forecast};
use crate::scenario::{CellType, Scenario, Supply};

/// One change and what it brings.
#[derive(Clone, Debug, PartialEq)]
pub struct Change {
    /// What is changed, in words.
    pub what: String,
    /// Days that the next visit is later by, from date to date.
    pub visit_days: f64,
    /// Days that the pack lasts longer; `None` on mains.
    pub pack_days: Option<f64>,
    /// Days that the container lasts longer; `None` without one.
    pub stock_days: Option<f64>,
}

/// Gain below which a change is not worth naming, in days.
const WORTH_DAYS: f64 = 1.0;

fn fits(scenario: &Scenario) -> bool {
    scenario.entries.iter().all(|plan| {
        timetable::fit(&plan.to_core(EntryId(1), Instant::ZERO), &scenario.head.head).is_ok()
    })
}

/// The scenario with half the pulses, where that fits.
fn fewer_pulses(scenario: &Scenario) -> Option<Scenario> {
    let mut changed = scenario.clone();
    for plan in &mut changed.entries {
        let entry = plan.to_core(EntryId(1), Instant::ZERO);
        let pulses = timetable::fit(&entry, &scenario.head.head).ok()?;
        plan.pulses = Some(u16::try_from((pulses / 2).max(1)).unwrap_or(u16::MAX));
    }
    fits(&changed).then_some(changed)
}

fn with_pack(
    scenario: &Scenario,
    change: impl Fn(&mut CellType, &mut crate::scenario::Pack) -> bool,
) -> Option<Scenario> {
    let mut changed = scenario.clone();
    let Supply::Battery { cells_of, pack, .. } = &mut changed.supply else { return None };
    change(cells_of, pack).then_some(changed)
}

/// The changes that can be made, in no order.
fn candidates(scenario: &Scenario) -> Vec<(String, Scenario)> {
    let mut found: Vec<(String, Scenario)> = Vec::new();
    let mut put = |what: &str, changed: Option<Scenario>| {
        if let Some(changed) = changed {
            found.push((what.to_owned(), changed));
        }
    };
    let battery = matches!(scenario.supply, Supply::Battery { .. });
    if battery {
        put("half as many pulses a dose", fewer_pulses(scenario));
        put(
            "the display never lit",
            with_pack(scenario, |_, pack| pack.lit_a_week_ms.replace(0) != Some(0)),
        );
        put(
            "half the sleep current",
            with_pack(scenario, |_, pack| {
                pack.sleep_ua = Some(pack.sleep_ua.unwrap_or(60) / 2);
                true
            }),
        );
        put(
            "the pack kept at room temperature (usable 80 %)",
            with_pack(scenario, |_, pack| {
                let better = pack.usable_ppm.is_none_or(|ppm| ppm < 800_000);
                pack.usable_ppm = Some(800_000);
                better
            }),
        );
        put(
            "LR20 cells",
            with_pack(scenario, |cell, _| {
                let other = *cell != CellType::Lr20;
                *cell = CellType::Lr20;
                other
            }),
        );
        let mut mains = scenario.clone();
        mains.supply = Supply::Mains;
        put("mains", Some(mains));
    }
    if let Some(container) = &scenario.container {
        if container.level < container.capacity {
            let mut changed = scenario.clone();
            if let Some(container) = &mut changed.container {
                container.level = container.capacity;
            }
            put("the container filled up", Some(changed));
        }
        let mut changed = scenario.clone();
        if let Some(container) = &mut changed.container {
            // and twice as much of it stays in the heel
            container.capacity = container.capacity.plus(container.capacity);
            container.heel = container.heel.plus(container.heel);
            container.level = container.capacity;
        }
        put("a container of twice the size, full", Some(changed));
    }
    found
}

/// Tries them one by one; those that bring a day or more, the best first: by the
/// next visit, then by what lasts longer in all.
pub fn changes(scenario: &Scenario, before: &Forecast) -> Vec<Change> {
    let visit = |f: &Forecast| f.next().map_or(f64::INFINITY, |call| call.days);
    // by the clock, which says whether it is worth naming, and from date to date, which is
    // what is told: dates are told beside it
    let gain = |after: f64, before: f64| {
        // beyond the horizon before and after, nothing is known to be gained
        if before.is_infinite() {
            (0.0, 0.0)
        } else {
            (after - before, after.floor() - before.floor())
        }
    };
    let mut found: Vec<Change> = candidates(scenario)
        .into_iter()
        .filter_map(|(what, changed)| {
            let after = forecast(&changed);
            let visit = gain(visit(&after), visit(before));
            let pack = before.pack.as_ref().map(|pack| {
                let days = after.pack.as_ref().map_or(f64::INFINITY, |pack| pack.until.days);
                gain(days, pack.until.days)
            });
            let stock = before
                .stock
                .as_ref()
                .zip(after.stock.as_ref())
                .map(|(before, after)| gain(after.until.days, before.until.days));
            let gains = [Some(visit), pack, stock];
            let is_worth_it = gains.into_iter().flatten().any(|(days, _)| days >= WORTH_DAYS);
            let dates = |gain: Option<(f64, f64)>| gain.map(|(_, days)| days);
            is_worth_it.then_some(Change {
                what,
                visit_days: visit.1,
                pack_days: dates(pack),
                stock_days: dates(stock),
            })
        })
        .collect();
    let most =
        |change: &Change| change.pack_days.unwrap_or(0.0).max(change.stock_days.unwrap_or(0.0));
    found.sort_by(|a, b| b.visit_days.total_cmp(&a.visit_days).then(most(b).total_cmp(&most(a))));
    found
}
