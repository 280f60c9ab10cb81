//! The doses of a folded row, one by one.

use dosewright_core::civil::Local;
use dosewright_core::entry::{Entry, Nominal, Recurrence};
use dosewright_core::time::Utc;
use dosewright_core::zone::Zone;

use super::super::facts::Dose;
use super::DAY_MS;
use super::plans::Plan;
use crate::run::Frame;
use crate::trace::Stamped;

/// Days of one folded row of doses that are marked.
const MOST_OF_ROW: u32 = 4_000;

/// The dues of a folded row, by the device's zone; its first and last alone where the
/// timetable cannot tell the others.
pub(super) fn row(frame: &Frame, dose: &Dose, plan: Option<&Plan>, zone: &Zone) -> Vec<Stamped> {
    let entry = plan.and_then(|plan| plan.entry).filter(|_| dose.count <= MOST_OF_ROW);
    let (Some(first), Some(last)) = (dose.due, dose.last_due) else {
        return row_of_unset(frame, dose, entry.as_ref());
    };
    let ends = vec![first, last];
    let Some(entry) = entry else { return ends };
    let stamped = |utc: Utc| Stamped { local: zone.to_local(utc), offset_s: zone.offset_at(utc) };
    let all: Vec<Stamped> = match entry.recurrence {
        Recurrence::Interval { every_ms, .. } => (0..dose.count)
            .map(|i| first.utc_ms().saturating_add(i64::from(i) * every_ms as i64))
            .map(|utc_ms| stamped(Utc::from_ms(utc_ms)))
            .collect(),
        Recurrence::Weekly { .. } => {
            // the first may have been moved, by a day at most
            let from_min = (first.local.as_ms() - DAY_MS).div_euclid(60_000);
            let mut at = Nominal(u32::try_from(from_min).unwrap_or(0));
            let mut found = Vec::new();
            while let Some(due) = entry.next_at_or_after(at) {
                let local = Local::from_ms(i64::from(due.0) * 60_000);
                let due_at = stamped(zone.to_utc(local, entry.gap_rule));
                if due_at.local > last.local || found.len() >= dose.count as usize {
                    break;
                }
                if due_at.local >= first.local {
                    found.push(due_at);
                }
                at = due.next();
            }
            found
        }
    };
    if all.len() == dose.count as usize { all } else { ends }
}

/// The same while the clock was unset, in true time: only intervals are due then.
fn row_of_unset(frame: &Frame, dose: &Dose, entry: Option<&Entry>) -> Vec<Stamped> {
    let (Some(first_ms), Some(Recurrence::Interval { every_ms, .. })) =
        (dose.due_ms, entry.map(|entry| entry.recurrence))
    else {
        return dose.at(frame).into_iter().collect();
    };
    (0..dose.count)
        .map(|i| first_ms.saturating_add_unsigned(u64::from(i).saturating_mul(every_ms)))
        .map(|at_ms| Stamped::of(frame, u64::try_from(at_ms).unwrap_or(0)))
        .collect()
}
