//! How a due is judged at the moment it could begin: repeat guard and ceiling.

use dosewright_core::cause::Cause;
use dosewright_core::entry::{Entry, EntryId, Recurrence};

use super::dues::Weekly;
use super::limits::pulse_limits;
use super::model::{Begin, Delivery, Due, Model};
use super::readings::Reading;

const HOUR_MS: i64 = 3_600_000;
const DAY_MS: i64 = 24 * HOUR_MS;
const DAY_MIN: i64 = 1440;
pub(super) const CEILING_SPAN_MS: i64 = 23 * HOUR_MS;

/// What is to become of a due that could begin.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Verdict {
    Skip(Cause),
    Begin {
        /// What it is to deliver, in nl.
        volume_nl: u64,
        /// Why that is less than the entry's volume, where it is.
        cut: Option<Cause>,
    },
}

/// Whole milliseconds of pumping that a volume and a remainder ask for, and the
/// remainder that is left, in sixty-thousandths of a nanolitre.
pub(crate) fn on_time(volume_nl: u64, carry: u32, flow_nl_per_min: u32) -> (i64, u32) {
    let flow = flow_nl_per_min.max(1);
    let wanted = volume_nl.checked_mul(60_000).and_then(|w| w.checked_add(u64::from(carry)));
    match wanted {
        Some(wanted) => ((wanted / u64::from(flow)) as i64, (wanted % u64::from(flow)) as u32),
        None => {
            let wanted = u128::from(volume_nl) * 60_000 + u128::from(carry);
            ((wanted / u128::from(flow)) as i64, (wanted % u128::from(flow)) as u32)
        }
    }
}

/// What so many ms of pumping deliver, rounded to the nearest nl.
pub(crate) fn volume_nl(on_ms: i64, flow_nl_per_min: u32) -> u64 {
    let on_ms = on_ms.max(0) as u64;
    let product = on_ms.checked_mul(u64::from(flow_nl_per_min));
    match product.and_then(|product| product.checked_add(30_000)) {
        Some(product) => product / 60_000,
        None => ((u128::from(on_ms) * u128::from(flow_nl_per_min) + 30_000) / 60_000) as u64,
    }
}

impl Model {
    /// How long ago a delivery began. Before a loss of the clock it is as old as
    /// the greater of elapsed time and wall difference (D2).
    pub(crate) fn age_ms(&self, begin: &Begin, now: i64) -> i64 {
        let elapsed = now - begin.at;
        if begin.losses == self.clock.losses || self.reading == Some(Reading::ElapsedAgeOnly) {
            return elapsed;
        }
        match (self.clock.utc_ms(now), begin.utc_ms) {
            (Some(wall), Some(then)) => elapsed.max(wall - then),
            _ => elapsed,
        }
    }

    /// How long before this due's instant a delivery counts.
    fn due_age_ms(&self, delivery: &Delivery, due: &Due, now: i64) -> i64 {
        let unseen = self.age_ms(&delivery.begin, now) - (now - delivery.begin.at);
        let counted_at = match self.reading {
            Some(Reading::CeilingByBegin) => delivery.begin.at,
            _ => delivery.due_at,
        };
        due.due_at - counted_at + unseen
    }

    /// What the ceiling leaves for a due, in nl (D7).
    pub(crate) fn room_nl(&self, due: &Due, now: i64) -> u64 {
        let span = match self.reading {
            Some(Reading::CeilingOver24h) => DAY_MS,
            _ => CEILING_SPAN_MS,
        };
        let counts = |d: &&Delivery| self.due_age_ms(d, due, now) < span;
        // they stand in the order of their begins, and no age is below elapsed time
        let recent = self.deliveries.iter().rev().take_while(|d| now - d.begin.at <= 2 * DAY_MS);
        let spent: u64 = recent.filter(counts).map(|d| d.most_nl).sum();
        self.ceiling_for_nl(due.due_at).saturating_sub(spent)
    }

    /// The ceiling of a due of an instant. One that follows from the timetable is, for 23 h
    /// after the timetable was changed, at least what it was before.
    pub(crate) fn ceiling_for_nl(&self, due_at: i64) -> u64 {
        let before = match self.reading {
            Some(Reading::CeilingFallsAtOnce) => None,
            _ => self.ceiling_before.filter(|(_, until)| due_at < *until),
        };
        before.map_or(self.ceiling_nl, |(nl, _)| nl.max(self.ceiling_nl))
    }

    /// What an entry's deliveries took that began within its guard's span.
    fn delivered_in_guard_nl(&self, id: EntryId, guard_ms: i64, now: i64) -> u64 {
        let counts = |d: &&Delivery| d.id == id && self.age_ms(&d.begin, now) < guard_ms;
        self.deliveries.iter().filter(counts).map(|d| d.most_nl).sum()
    }

    /// Whether a due inside its guard may run for what an edit leaves of it.
    pub(crate) fn runs_on_after_edit(&self, due: &Due, now: i64) -> bool {
        self.line(due.key.id).is_some_and(|line| {
            let guard = self.guard_ms(line);
            let guarded = line.last.is_some_and(|last| self.age_ms(&last, now) < guard);
            guarded && line.edited && !due.key.asked
        })
    }

    /// Judges a due that could begin now.
    pub(crate) fn judge(&self, due: &Due, now: i64) -> Option<Verdict> {
        let line = self.line(due.key.id)?;
        let head = self.head?;
        let carry = line.carry;
        let too_little =
            |nl: u64| on_time(nl, carry, head.flow.as_nl_per_min()).0 < pulse_limits(&head).0;
        let (mut volume_nl, mut cut) = (line.entry.volume.as_nl(), None);
        let guard = self.guard_ms(line);
        let guarded = line.last.is_some_and(|last| self.age_ms(&last, now) < guard);
        if guarded && !due.key.asked {
            if !line.edited {
                return Some(Verdict::Skip(Cause::AlreadyDosed));
            }
            volume_nl =
                volume_nl.saturating_sub(self.delivered_in_guard_nl(due.key.id, guard, now));
            if too_little(volume_nl) {
                return Some(Verdict::Skip(Cause::AlreadyDosed));
            }
            if volume_nl < line.entry.volume.as_nl() {
                cut = Some(Cause::AlreadyDosed);
            }
        }
        let room = self.room_nl(due, now);
        if room < volume_nl {
            (volume_nl, cut) = (room, Some(Cause::Ceiling));
            if too_little(volume_nl) {
                return Some(Verdict::Skip(Cause::Ceiling));
            }
        }
        if let Some(can) = self.stock.can_dose_nl(0)
            && can < volume_nl
        {
            (volume_nl, cut) = (can, Some(Cause::ContainerEmpty));
            if too_little(volume_nl) {
                return Some(Verdict::Skip(Cause::ContainerEmpty));
            }
        }
        Some(Verdict::Begin { volume_nl, cut })
    }

    /// A due has been judged, and so has the edit before it.
    pub(crate) fn judged(&mut self, id: EntryId) {
        if let Some(line) = self.line_mut(id) {
            line.edited = false;
        }
    }

    /// A delivery has begun.
    pub(crate) fn begun(&mut self, id: EntryId, at: i64, asked: bool) -> Begin {
        let begin = Begin { at, utc_ms: self.clock.utc_ms(at), losses: self.clock.losses };
        if let Some(line) = self.line_mut(id) {
            line.last = Some(begin);
            // a dose that is asked for is no due of the new revision
            line.edited &= asked;
        }
        begin
    }

    /// A delivery has ended. What no rule can ask for any more is dropped. One whose outcome
    /// was lost ends again, and counts as what is said of it then.
    pub(crate) fn ended(&mut self, delivery: Delivery) {
        let is_it = |known: &Delivery| {
            let of = |d: &Delivery| (d.id, d.due_at, d.begin.at);
            of(known) == of(&delivery)
        };
        // mostly it is younger than all that are known, and not among them
        let may_be_known = delivery.begin.at <= self.last_begin;
        let place = may_be_known.then(|| self.deliveries.iter().rposition(is_it)).flatten();
        let before = place.and_then(|at| self.deliveries.remove(at)).map_or(0, |d| d.most_nl);
        // an edit can make a guard longer than any is now; more than so many are
        // more than the logic itself can keep
        const MOST: usize = 512;
        if self.deliveries.len() > MOST {
            self.deliveries.pop_front();
        }
        self.stock.draw(delivery.most_nl.saturating_sub(before));
        if delivery.most_nl > 0 {
            self.last_begin = self.last_begin.max(delivery.begin.at);
            self.deliveries.push_back(delivery);
        }
    }
}

/// 1.25 times the most that the timetable asks for in any 24 h (D7).
pub(crate) fn default_ceiling_nl(entries: impl Iterator<Item = Entry> + Clone) -> u64 {
    let enabled = || entries.clone().filter(|e| e.enabled);
    let weekly: Vec<(Weekly, u64)> =
        enabled().filter_map(|e| Weekly::of(&e, None).map(|w| (w, e.volume.as_nl()))).collect();
    // the pattern of a week is the same between any two dates at which an entry
    // starts or stops; around each of them, every window of 24 h is looked at
    let mut turns: Vec<i64> = enabled()
        .filter(|e| matches!(e.recurrence, Recurrence::Weekly { .. }))
        .flat_map(|e| [e.first, e.last])
        .flatten()
        .map(|d| i64::from(d.days()))
        .collect();
    turns.push(20_000);
    turns.sort_unstable();
    turns.dedup();
    let mut most = 0;
    for turn in turns {
        let (from, until) = ((turn - 10) * DAY_MIN, (turn + 10) * DAY_MIN);
        let mut dues: Vec<(i64, u64)> = Vec::new();
        for (entry, volume) in &weekly {
            let mut next = entry.next_nominal(from);
            while let Some(n) = next.filter(|&n| n < until) {
                dues.push((n, *volume));
                next = entry.next_nominal(n + 1);
            }
        }
        dues.sort_unstable();
        let mut end = 0;
        let mut sum = 0_u64;
        for (i, &(first, volume)) in dues.iter().enumerate() {
            while let Some(&(n, v)) = dues.get(end).filter(|(n, _)| *n < first + DAY_MIN) {
                debug_assert!(n >= first);
                sum += v;
                end += 1;
            }
            most = most.max(sum);
            debug_assert!(end > i);
            sum -= volume;
        }
    }
    let by_interval: u64 = enabled()
        .filter_map(|e| match e.recurrence {
            Recurrence::Interval { every_ms, .. } => {
                Some(e.volume.as_nl() * (DAY_MS as u64).div_ceil(every_ms.max(1)))
            }
            Recurrence::Weekly { .. } => None,
        })
        .sum();
    ((u128::from(most) + u128::from(by_interval)) * 5 / 4) as u64
}
