//! For how long the memory keeps a record at least: the busiest stretch of the timetable that
//! fills all sectors but one.

use dosewright_core::book::Book;
use dosewright_core::civil::DAY_MS;
use dosewright_core::ledger::SLOT;
use dosewright_core::record::DELIVERIES_A_RECORD;

use super::HORIZON_DAYS;
use super::days::each_due;
use super::memory::{ACCOUNT, FRAME};
use crate::observe::LINES;
use crate::scenario::{Scenario, Supply};

const HOUR_MS: f64 = 3.6e6;
/// Slots of a dose beside its pulses: its first intent stands in two, and its outcome.
const BESIDE_PULSES: f64 = 2.0;

/// A dose: when it is due, its slots, and from when on there is nothing but a stamp an hour.
struct Due {
    at_ms: f64,
    slots: f64,
    quiet_ms: f64,
    /// Slots that are taken from the first due on until just before it.
    before: f64,
}

/// Slots of all sectors but the one that is begun, with the largest snapshots of so many
/// doses. When it is begun the others are full, and its own were erased.
fn room(scenario: &Scenario, doses: usize) -> f64 {
    let unused_lines = LINES.saturating_sub(scenario.entries.len());
    let unused_account = ACCOUNT.saturating_sub(doses) / DELIVERIES_A_RECORD;
    let snapshot = Book::<LINES, ACCOUNT>::SNAPSHOT_MOST
        .saturating_sub(2 * unused_lines)
        .saturating_sub(unused_account);
    let all = scenario.memory.sector_bytes as usize / SLOT;
    let slots = all.saturating_sub(FRAME + snapshot).max(1);
    slots as f64 * f64::from(scenario.memory.sectors.max(1) - 1)
}

/// The doses of the horizon in the order of their dues.
fn dues(scenario: &Scenario) -> Vec<Due> {
    // the pack is read before each dose
    let readings = if matches!(scenario.supply, Supply::Battery { .. }) { 1.0 } else { 0.0 };
    // and when its window ends
    let mut dues: Vec<(Due, f64)> = Vec::new();
    each_due(scenario, HORIZON_DAYS, |day, ms, dose| {
        let at_ms = (day as i64 * DAY_MS + ms) as f64;
        // between pulses that are an hour apart there are stamps
        let apart_h = dose.busy_h / dose.starts.max(1.0);
        let stamps = dose.starts * apart_h.floor();
        let slots = dose.starts + BESIDE_PULSES + stamps + readings;
        let quiet_ms = at_ms + (dose.busy_h - apart_h) * HOUR_MS;
        dues.push((Due { at_ms, slots, quiet_ms, before: 0.0 }, at_ms + dose.busy_h * HOUR_MS));
    });
    dues.sort_by(|(a, _), (b, _)| a.at_ms.total_cmp(&b.at_ms));
    let mut all: Vec<Due> = Vec::with_capacity(dues.len());
    let mut busy_ms = f64::NEG_INFINITY;
    for (mut due, ends_ms) in dues {
        // one that finds another under way has to wait, which is a record
        due.slots += if due.at_ms < busy_ms { 1.0 } else { 0.0 };
        busy_ms = busy_ms.max(ends_ms);
        due.before = all.last().map_or(0.0, |last| last.before + last.slots + stamps(last, &due));
        all.push(due);
    }
    all
}

/// Stamps between two dues.
fn stamps(last: &Due, next: &Due) -> f64 {
    ((next.at_ms - last.quiet_ms) / HOUR_MS).floor().max(0.0)
}

/// Days from a record until so many slots are taken, its own with them, at the soonest.
fn soonest(dues: &[Due], slots: f64) -> f64 {
    let mut least_ms = (slots - 1.0).max(0.0) * HOUR_MS;
    // a stretch that begins with a dose
    let mut end = 0;
    for first in dues {
        while dues.get(end + 1).is_some_and(|next| next.before - first.before < slots) {
            end += 1;
        }
        let Some(last) = dues.get(end) else { break };
        let stamps = slots - (last.before + last.slots - first.before);
        let ends_ms = if stamps > 0.0 { last.quiet_ms + stamps * HOUR_MS } else { last.at_ms };
        least_ms = least_ms.min(ends_ms - first.at_ms);
    }
    // one that ends with a dose
    let mut begin = 0;
    for last in dues {
        let from = last.before + last.slots - slots;
        while dues.get(begin + 1).is_some_and(|next| next.before <= from) {
            begin += 1;
        }
        let Some(first) = dues.get(begin) else { break };
        let into = from - first.before;
        let begins_ms = if into < 0.0 {
            first.at_ms + into * HOUR_MS
        } else if into < first.slots {
            first.at_ms
        } else {
            // the stamp after those that fall out
            first.quiet_ms + (into - first.slots + 1.0) * HOUR_MS
        };
        least_ms = least_ms.min(last.at_ms - begins_ms);
    }
    least_ms.max(0.0) / DAY_MS as f64
}

/// Days for which the memory keeps a record at least.
pub(super) fn days(scenario: &Scenario) -> f64 {
    // times of day are the clock's on the wall: a day of spring is an hour shorter
    let hour = HOUR_MS / DAY_MS as f64;
    let dues = dues(scenario);
    (soonest(&dues, room(scenario, dues.len())) - hour).max(0.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn dues_at(each: &[(f64, f64)]) -> Vec<Due> {
        let mut out: Vec<Due> = Vec::new();
        for &(hour, slots) in each {
            let at_ms = hour * HOUR_MS;
            let mut due = Due { at_ms, slots, quiet_ms: at_ms, before: 0.0 };
            due.before =
                out.last().map_or(0.0, |last| last.before + last.slots + stamps(last, &due));
            out.push(due);
        }
        out
    }

    /// In tenths of an hour.
    fn tenths(dues: &[Due], slots: f64) -> i64 {
        (soonest(dues, slots) * 240.0).round() as i64
    }

    #[test]
    fn the_busiest_stretch_is_found_wherever_it_lies() {
        // a stamp an hour: from the first to the last of 48
        assert_eq!(tenths(&[], 48.0), 470);
        // thin, and three doses of 10 slots in which an hour goes by
        let dues =
            dues_at(&[(0.0, 4.0), (100.0, 10.0), (101.0, 10.0), (102.0, 10.0), (300.0, 4.0)]);
        // 21 are two doses and the stamp between them
        assert_eq!(tenths(&dues, 21.0), 10);
        assert_eq!(tenths(&dues, 32.0), 20);
        // all three with their two stamps, and six of the hours before: of the first of them to
        // the sixth, which comes with the first dose, it is 5 h
        assert_eq!(tenths(&dues, 38.0), 70);
        // it may end with the busiest dose: 30 and ten stamps before it, the first of them 9 h
        // before the last
        let dues = dues_at(&[(0.0, 1.0), (50.5, 30.0), (51.0, 1.0)]);
        assert_eq!(tenths(&dues, 31.0), 5);
        assert_eq!(tenths(&dues[..2], 40.0), 95);
        // or begin with the first stamp after a dose, of five in five hours and a half
        let after = dues_at(&[(0.0, 10.0), (5.5, 10.0)]);
        assert_eq!(tenths(&after, 15.0), 45);
        // or begin with a dose, where the one before it takes five hours for its two slots: ten
        // and two stamps, or three until another dose
        let mut first = dues_at(&[(0.0, 2.0), (6.0, 10.0)]);
        (first[0].quiet_ms, first[1].before) = (5.0 * HOUR_MS, 3.0);
        assert_eq!((tenths(&first, 12.0), tenths(&first, 10.0)), (20, 0));
        let mut next = dues_at(&[(0.0, 2.0), (6.0, 10.0), (9.5, 4.0)]);
        (next[0].quiet_ms, next[1].before, next[2].before) = (5.0 * HOUR_MS, 3.0, 16.0);
        next[2].quiet_ms = 12.5 * HOUR_MS;
        assert_eq!([13.0, 14.0].map(|slots| tenths(&next, slots)), [30, 35]);
        // the one dose is more than there is room for
        assert_eq!(tenths(&dues, 20.0), 0);
    }
}
