//! What each day of the timetable takes: volume, pumping, starts.

use dosewright_core::civil::{DAY_MS, Local};
use dosewright_core::entry::{EntryId, GapRule, Nominal, Recurrence};
use dosewright_core::time::{Instant, Utc};
use dosewright_core::timetable;
use dosewright_core::units::Carry;
use dosewright_core::zone::Zone;

use super::HORIZON_DAYS;
use crate::scenario::{EntryPlan, IntervalStart, RecurrencePlan, Scenario};

/// What a calendar day takes, or several.
#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub struct Day {
    /// Doses that begin.
    pub doses: u32,
    /// In ml.
    pub volume_ml: f64,
    /// In hours.
    pub pumping_h: f64,
    /// Pump starts.
    pub starts: f64,
    /// Hours in which a dose is under way.
    pub busy_h: f64,
}

/// One dose of an entry.
fn dose(plan: &EntryPlan, scenario: &Scenario) -> Day {
    let head = &scenario.head.head;
    let entry = plan.to_core(EntryId(1), Instant::ZERO);
    let (on, _) = head.flow.on_time(plan.volume, Carry(0));
    let starts = f64::from(timetable::fit(&entry, head).unwrap_or(1));
    Day {
        doses: 1,
        volume_ml: plan.volume.as_nl() as f64 / 1e6,
        // each pulse runs longer than its volume takes
        pumping_h: (on.as_ms() as f64 + starts * f64::from(head.lead_ms)) / 3.6e6,
        starts,
        busy_h: f64::from(plan.window_ms) / 3.6e6,
    }
}

fn add(day: &mut Day, dose: &Day) {
    day.doses += dose.doses;
    day.volume_ml += dose.volume_ml;
    day.pumping_h += dose.pumping_h;
    day.starts += dose.starts;
    day.busy_h += dose.busy_h;
}

/// The first `count` days from the start, as the clock on the wall has them. Dues before
/// the time of day of the start fall out.
pub fn days(scenario: &Scenario, count: usize) -> Vec<Day> {
    let mut days = vec![Day::default(); count];
    each_due(scenario, count, |index, _, dose| {
        if let Some(day) = days.get_mut(index) {
            add(day, dose);
        }
    });
    days
}

/// What 365 days take, to the minute from the start.
pub(super) fn year(scenario: &Scenario) -> Day {
    let start_ms = scenario.clock.start.as_ms().rem_euclid(DAY_MS);
    let mut sum = Day::default();
    each_due(scenario, 366, |index, at_ms, dose| {
        if index < 365 || at_ms < start_ms {
            add(&mut sum, dose);
        }
    });
    sum
}

/// Local times that come one after the other. A change of the clock is looked for where
/// the last one found is over.
struct Wall<'z> {
    zone: &'z Zone,
    offset_ms: i64,
    changes_ms: i64,
}

impl<'z> Wall<'z> {
    const fn new(zone: &'z Zone) -> Self {
        Self { zone, offset_ms: 0, changes_ms: i64::MIN }
    }

    /// Of UTC in ms.
    fn local(&mut self, utc_ms: i64) -> Local {
        if utc_ms >= self.changes_ms {
            let utc = Utc::from_ms(utc_ms);
            self.offset_ms = i64::from(self.zone.offset_at(utc)) * 1000;
            let next = self.zone.next_change_after(utc);
            self.changes_ms = next.map_or(i64::MAX, |change| change.at.as_ms());
        }
        Local::from_ms(utc_ms.saturating_add(self.offset_ms))
    }
}

/// When the first dose begins, within the horizon: the day from the start's and the ms of
/// that day.
pub(crate) fn first_dose(scenario: &Scenario) -> Option<(usize, i64)> {
    let mut first: Option<(usize, i64)> = None;
    each_due(scenario, HORIZON_DAYS, |day, ms, _| {
        first = Some(first.map_or((day, ms), |first| first.min((day, ms))));
    });
    first
}

/// Calls `put` for every due of the first `count` days, one entry after the other: the
/// day from the start's, the ms of that day, what the dose takes.
pub(super) fn each_due(scenario: &Scenario, count: usize, mut put: impl FnMut(usize, i64, &Day)) {
    let start = scenario.clock.start;
    let (zone, device_zone) = (&scenario.clock.zone.zone, &scenario.clock.zone_of_device().zone);
    let utc_ms = |zone: &Zone, local: Local, rule| zone.to_utc(local, rule).as_ms();
    let midnight_ms = start.as_ms() - start.as_ms().rem_euclid(DAY_MS);
    let place = |local: Local| {
        let ms = local.as_ms() - midnight_ms;
        let day = usize::try_from(ms.div_euclid(DAY_MS)).ok().filter(|day| *day < count)?;
        Some((day, ms.rem_euclid(DAY_MS)))
    };
    for plan in scenario.entries.iter().filter(|plan| plan.enabled) {
        let dose = dose(plan, scenario);
        let entry = plan.to_core(EntryId(1), Instant::ZERO);
        match plan.recurrence {
            RecurrencePlan::Weekly { .. } => {
                // the device's own clock may be another zone's; the days are the place's
                let start_ms = utc_ms(zone, start, GapRule::Shift);
                let own_ms = device_zone.to_local(Utc::from_ms(start_ms)).as_ms();
                let start_min =
                    own_ms.div_euclid(60_000) + i64::from(own_ms.rem_euclid(60_000) > 0);
                let mut at = Nominal(u32::try_from(start_min).unwrap_or(0));
                let mut wall = Wall::new(zone);
                while let Some(due) = entry.next_at_or_after(at) {
                    let nominal = Local::from_ms(i64::from(due.0) * 60_000);
                    // one in a skipped hour may move to the next day
                    let utc_ms = utc_ms(device_zone, nominal, entry.gap_rule);
                    at = due.next();
                    // of a time that happens twice the start may be the second
                    if utc_ms < start_ms {
                        continue;
                    }
                    let Some((day, ms)) = place(wall.local(utc_ms)) else { break };
                    if !scenario.closes(&entry, entry.date_of(due)) {
                        put(day, ms, &dose);
                    }
                }
            }
            RecurrencePlan::Every { interval_ms, from } => {
                let start_ms = utc_ms(zone, start, GapRule::Shift);
                let from_ms = match from {
                    IntervalStart::Local(local) => utc_ms(zone, local, GapRule::Shift),
                    IntervalStart::After(after) => start_ms.saturating_add_unsigned(after.as_ms()),
                    IntervalStart::Accepted => start_ms,
                };
                let each = i64::try_from(interval_ms.max(1)).unwrap_or(i64::MAX);
                // an interval counts on from before the start
                let behind = (start_ms - from_ms).max(0);
                let mut at = from_ms + (behind + each - 1) / each * each;
                let mut wall = Wall::new(zone);
                while let Some((day, ms)) = place(wall.local(at)) {
                    put(day, ms, &dose);
                    at += each;
                }
            }
        }
    }
    debug_assert!(
        scenario.entries.iter().all(|plan| matches!(
            plan.to_core(EntryId(1), Instant::ZERO).recurrence,
            Recurrence::Weekly { .. } | Recurrence::Interval { .. }
        )),
        "every kind of entry is reckoned"
    );
}
