//! What must not have been accepted: overlapping windows, windows longer than
//! the gap, doses that cannot fit (D3, D5).

use dosewright_core::entry::{Entry, Recurrence};
use dosewright_core::timetable::Timetable;

use crate::observe::LINES;

use super::Auditor;
use super::dues::Weekly;
use super::limits::Limits;
use super::rules::on_time;

const DAY_MIN: i64 = 1440;
const MIN_MS: i64 = 60_000;

impl Auditor {
    /// Complains of a timetable in force that ought to have been refused.
    pub(super) fn check_acceptable(&mut self, timetable: &Timetable<LINES>) {
        let enabled: Vec<Entry> = timetable.entries().filter(|e| e.enabled).collect();
        for entry in &enabled {
            if let Some((promise, what)) = self.objection(entry) {
                let name = self.entry_name(entry.id);
                self.fail(promise, None, format!("{name} was accepted, and {what}"));
            }
        }
        for (i, first) in enabled.iter().enumerate() {
            for second in enabled.iter().skip(i + 1) {
                if overlap(first, second) {
                    let (a, b) = (self.entry_name(first.id), self.entry_name(second.id));
                    self.fail(
                        "D3",
                        None,
                        format!("{a} and {b} were accepted, and their windows overlap"),
                    );
                }
            }
        }
    }

    fn objection(&self, entry: &Entry) -> Option<(&'static str, String)> {
        let gap = match entry.recurrence {
            Recurrence::Interval { every_ms, .. } => every_ms as i64,
            Recurrence::Weekly { .. } => Weekly::of(entry, None)?.shortest_gap_ms(),
        };
        let whole = i64::from(entry.window_ms) + i64::from(entry.grace_ms);
        if whole >= gap {
            let what =
                format!("window and grace of {whole} ms are not less than its gap of {gap} ms");
            return Some(("D3", what));
        }
        let head = self.model.head?;
        let (wanted, _) = on_time(entry.volume.as_nl(), 0, head.flow.as_nl_per_min());
        let window = i64::from(entry.window_ms);
        let fits = Limits::default().fit(&head, 0, window, wanted).done_ms;
        (fits < wanted)
            .then(|| ("D5", format!("only {fits} ms of its {wanted} ms of pumping fit its window")))
    }
}

/// Whether two weekly entries have nominal windows that overlap on any dates
/// that both have.
fn overlap(first: &Entry, second: &Entry) -> bool {
    let (Some(a), Some(b)) = (Weekly::of(first, None), Weekly::of(second, None)) else {
        return false;
    };
    let starts = [first.first, second.first].into_iter().flatten().map(|d| i64::from(d.days()));
    // with the later first date both have their dues in the week after it
    let from = starts.max().unwrap_or(20_000) - 1;
    let (from, until) = (from * DAY_MIN, (from + 10) * DAY_MIN);
    let dues = |w: &Weekly| {
        let mut found = Vec::new();
        let mut next = w.next_nominal(from);
        while let Some(n) = next.filter(|&n| n < until) {
            found.push(n * MIN_MS);
            next = w.next_nominal(n + 1);
        }
        found
    };
    let (in_a, in_b) = (dues(&a), dues(&b));
    let windows = (i64::from(first.window_ms), i64::from(second.window_ms));
    in_a.iter().any(|&m| in_b.iter().any(|&n| m < n + windows.1 && n < m + windows.0))
}
