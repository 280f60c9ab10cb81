//! Outcomes in the ledger against what had to become of their dues.

use dosewright_core::cause::Cause;
use dosewright_core::record::{Outcome, OutcomeKind};

use super::causes::Causes;
use super::dose::TICK_MS;
use super::model::{Due, Key};
use super::report::DueRecord;
use super::rules::Verdict;
use super::{Auditor, key_of};

/// Records of skipped dues of one entry that one moment may cost: stretches that
/// closed dates divide, and no more.
const MOST_RECORDS_AT_ONCE: u32 = 64;

/// The stretch of closed dues that an entry's last outcome stands for.
#[derive(Debug, Clone, Copy)]
pub(crate) struct ClosedRun {
    pub(crate) first: i64,
    pub(crate) revision: u16,
    epoch: u16,
    last: i64,
    count: u64,
}

impl Auditor {
    pub(super) fn on_outcome(&mut self, o: &Outcome) {
        let key = key_of(&o.due, o.asked);
        self.follow_name(key, o.due_at.as_ms());
        let opens = self.open.as_ref().is_some_and(|x| x.due.key == key);
        if opens {
            if let Some(open) = self.open.take() {
                self.end_dose(&open, o);
                if open.over_at_start {
                    self.leave_the_pump_at_start();
                }
            }
        } else if let OutcomeKind::Skipped(cause) = o.kind {
            self.skip(key, cause, o);
        } else if !key.asked
            && o.least.as_nl() == 0
            && self.tail.as_ref().is_some_and(|t| o.due_at.as_ms() <= t.booted_at)
        {
            self.doubted_dose(key, o);
        } else if self.taint.covers(key.id) {
            // its intents are lost: what the device says of it counts
            let due_at = o.due_at.as_ms();
            self.count_told(key.id, due_at, due_at + i64::from(o.begun_after_ms), o);
        } else {
            self.fail(
                "D1",
                Some(key),
                format!("{} without a dose that was open", kind_words(o.kind)),
            );
        }
        self.born.retain(|k| *k != key);
        let judged = self.model.line(key.id).is_some_and(|l| l.revision == key.revision);
        let fits = self.mark_fits(key.id, o.mark.map(|n| i64::from(n.0)));
        if judged && !fits && !self.more_to_come(key) {
            self.fail(
                "D1",
                Some(key),
                String::from("the mark written with the outcome is not the entry's"),
            );
        }
        self.refresh(self.now);
        self.rearm();
    }

    /// Whether more dues of the entry have passed than the ledger knows of yet.
    fn more_to_come(&self, key: Key) -> bool {
        self.owed.get(&key.id).is_some_and(|list| !list.is_empty())
            || self.model.line(key.id).is_none_or(|l| l.waiting.is_some())
            || self.taint.covers(key.id)
    }

    /// A setting of ten years, or a year without supply, costs few records (D9).
    fn check_burst(&mut self, key: Key) {
        let (ms, id, count) = self.burst;
        let same = ms == self.ms && id == key.id;
        self.burst = (self.ms, key.id, if same { count + 1 } else { 1 });
        if self.burst.2 == MOST_RECORDS_AT_ONCE + 1 {
            let what = format!("more than {MOST_RECORDS_AT_ONCE} records of skipped dues at once");
            self.fail("D9", Some(key), what);
        }
    }

    /// A record of one or more skipped dues.
    fn skip(&mut self, key: Key, cause: Cause, o: &Outcome) {
        if o.least.as_nl() != 0 || o.most.as_nl() != 0 {
            self.fail(
                "D4",
                Some(key),
                String::from("skipped, and something is said to be delivered"),
            );
        }
        self.check_burst(key);
        let waiting = self.model.line(key.id).and_then(|l| l.waiting).filter(|d| d.key == key);
        if let Some(due) = waiting {
            self.skip_waiting(&due, cause, o);
            return;
        }
        let run = self.closed_runs.get(&key.id).copied();
        let same = run.filter(|r| {
            cause == Cause::Closed && r.revision == key.revision && r.epoch == key.epoch
        });
        let grows = same.filter(|r| r.first == key.nominal);
        let first = match (grows, self.model.line(key.id).and_then(|l| l.weekly)) {
            (Some(run), Some(weekly)) => weekly.next_nominal(run.last + 1).unwrap_or(key.nominal),
            _ => key.nominal,
        };
        let from = Key { nominal: first, ..key };
        let last = i64::from(o.last.0);
        let believed = self.believed();
        let line = self.model.line(key.id);
        let weekly = line.and_then(|l| l.weekly);
        let settled = self.owed.get_mut(&key.id).and_then(|list| {
            list.settle(
                from,
                last,
                |causes| {
                    // the rest of the pump is part of its use
                    let rests = cause == Cause::PumpLimits && causes.contains(Cause::PumpInUse);
                    rests || causes.or(believed).contains(cause)
                },
                |n| weekly.map_or(n, |w| w.next_nominal(n).unwrap_or(n)),
                |n| line.and_then(|l| self.model.instant(l, n)),
                |a, b| weekly.map_or((b - a + 1) as u64, |w| w.count(a, b)),
            )
        });
        let Some(settled) = settled else {
            if self.taint.covers(key.id) {
                self.report.unjudged += 1;
            } else {
                let what = "an outcome for a due that does not exist, or has one already: ";
                self.fail("D1", Some(key), format!("{what}skipped, {}", super::words(cause)));
            }
            return;
        };
        let before = grows.map_or(0, |r| r.count);
        if u64::from(o.count) != before + settled.count || settled.last != last {
            self.fail("D1", Some(key), format!(
                "one record stands for {} dues up to nominal {last}; they are {} up to nominal {}",
                o.count,
                before + settled.count,
                settled.last
            ));
        }
        if let Some(wrong) = settled.wrong {
            if self.taint.covers(key.id) {
                self.report.unjudged += 1;
            } else {
                let promise = promise_of(wrong, cause);
                self.fail(
                    promise,
                    Some(from),
                    format!("skipped, {}: expected skipped, {wrong}", super::words(cause)),
                );
            }
        }
        // a due that a setting has moved or put ahead: by a setting that the memory has
        // lost it had another instant
        let known = !(self.taint.ever && cause == Cause::ClockSet);
        if grows.is_none() && known && o.due_at.as_ms() != settled.due_at {
            self.fail(
                "D9",
                Some(key),
                format!("its instant is noted as {}, not {} ms", o.due_at.as_ms(), settled.due_at),
            );
        }
        let follows =
            same.zip(weekly).is_some_and(|(r, w)| w.next_nominal(r.last + 1) == Some(key.nominal));
        if grows.is_none() && follows {
            self.fail("D1", Some(key), String::from("closed dues in a row are not one record"));
        }
        if cause == Cause::Closed {
            let first = grows.map_or(key.nominal, |r| r.first);
            let (revision, epoch, count) = (key.revision, key.epoch, before + settled.count);
            let run = ClosedRun { first, revision, epoch, last, count };
            self.closed_runs.insert(key.id, run);
        } else {
            self.closed_runs.remove(&key.id);
        }
        self.note(from, o, settled.count, None);
    }

    /// A due that waits is skipped before its deadline: only a judgement does that.
    fn skip_waiting(&mut self, due: &Due, cause: Cause, o: &Outcome) {
        let now = o.at.as_ms();
        let key = due.key;
        let free = self.model.head.map_or(now, |h| self.limits.free_from(&h, now));
        let judged = matches!(self.ready, Some((k, _)) if k == key) && free <= now + TICK_MS;
        let verdict = self.model.judge(due, now);
        let kept = self.kept_by.get(&key.id).copied().unwrap_or_default();
        let shortest = self.model.head.map_or(0, |h| i64::from(h.shortest_on_ms));
        let too_late = self
            .model
            .head
            .is_some_and(|h| self.limits.free_at_latest(&h, now) + shortest > due.deadline());
        // a due before it whose settings may be lost may not be there for the device
        let ahead = |d: &Due| d.key != key && d.order() < due.order();
        let may_be_first =
            self.model.waiting().filter(ahead).any(|before| self.taint.covers(before.key.id));
        let nothing_keeps = judged || self.too_late == Some(key) || may_be_first;
        let late = if kept.contains(Cause::PumpInUse) {
            // a due that has waited for the pump waits for its rest as well
            kept.with(Cause::PumpLimits).or(due.why.causes())
        } else {
            // less is left of it than a shortest pulse: what woke it late ends it
            kept.or(due.why.causes())
        };
        let expected = match verdict {
            // guard and ceiling come before what fits (D2, D7, D5)
            Some(Verdict::Skip(expected)) if nothing_keeps => Causes::of(expected),
            // and so they do where the pump may rest longer, and need not
            Some(Verdict::Skip(expected)) if too_late && free <= now + TICK_MS => {
                late.with(expected)
            }
            _ if too_late => late,
            _ => Causes::NONE,
        };
        let lower = cause == Cause::Ceiling && self.taint.lowers_ceiling(now);
        let open_to_doubt = self.taint.covers(key.id) || lower;
        if !expected.or(self.believed()).contains(cause) && !open_to_doubt {
            let found = super::words(cause);
            let (promise, what) = match (expected.is_empty(), judged) {
                (true, true) => {
                    (promise_of(Causes::NONE, cause), String::from("expected the dose to begin"))
                }
                (true, false) => (
                    "D1",
                    format!(
                        "it can wait until its deadline at device ms {}, and {} keeps it",
                        due.deadline(),
                        kept
                    ),
                ),
                (false, _) => {
                    (promise_of(expected, cause), format!("expected skipped, {expected}"))
                }
            };
            self.fail(promise, Some(key), format!("skipped, {found}, at device ms {now}: {what}"));
        }
        let known = !(self.taint.ever && cause == Cause::ClockSet);
        if known && o.due_at.as_ms() != due.due_at {
            self.fail(
                "D9",
                Some(key),
                format!("its instant is noted as {}, not {} ms", o.due_at.as_ms(), due.due_at),
            );
        }
        if o.count != 1 || o.last != o.due.nominal {
            self.fail("D1", Some(key), String::from("an outcome of one due stands for several"));
        }
        if let Some(line) = self.model.line_mut(key.id) {
            line.waiting = None;
        }
        // the first due inside the guard is what settles an edit (D2)
        if judged && cause == Cause::AlreadyDosed {
            self.model.judged(key.id);
        }
        self.kept_by.remove(&key.id);
        self.closed_runs.remove(&key.id);
        self.note(key, o, 1, None);
    }

    /// Counts an outcome, and lists it where a list is wanted.
    pub(super) fn note(&mut self, key: Key, o: &Outcome, count: u64, started_ms: Option<u64>) {
        for counts in self.report.counts_mut(key.id, o.asked) {
            counts.dues += count;
            match o.kind {
                OutcomeKind::Dosed => counts.dosed += count,
                OutcomeKind::Part(_) => counts.part += count,
                OutcomeKind::Skipped(_) => counts.skipped += count,
            }
        }
        let totals = self.report.entries.entry(key.id).or_default();
        totals.least_nl += o.least.as_nl();
        totals.most_nl += o.most.as_nl();
        if self.report.due_list.is_none() {
            return;
        }
        let name = self.name(key);
        let ended_ms = self.ms;
        self.report.list(|| DueRecord {
            name,
            count,
            last: o.last.0,
            due_at: o.due_at.as_ms(),
            kind: Some(o.kind),
            asked: o.asked,
            least_nl: o.least.as_nl(),
            most_nl: o.most.as_nl(),
            started_ms,
            ended_ms,
        });
    }

    /// What has no outcome at the end of the run.
    pub(super) fn count_what_is_open(&mut self) {
        let mut open: Vec<(Key, i64, u64, i64, bool)> = Vec::new();
        if let Some(o) = &self.open {
            let key = o.due.key;
            open.push((key, key.nominal, 1, o.due.due_at, o.reported));
        }
        for due in self.model.waiting() {
            let missing = self.ready_reported == Some(due.key);
            open.push((due.key, due.key.nominal, 1, due.due_at, missing));
        }
        for owed in self.owed.values().flat_map(super::owed::OwedList::iter) {
            let span = &owed.span;
            open.push((span.key, span.last, span.count, span.due_at, owed.reported));
        }
        for (key, last, count, due_at, missing) in open {
            let asked = key.asked;
            for counts in self.report.counts_mut(key.id, asked) {
                counts.dues += count;
                if !missing {
                    counts.open += count;
                }
            }
            let name = self.name(key);
            let ended_ms = self.ms;
            self.report.list(|| DueRecord {
                name,
                count,
                last: u32::try_from(last).unwrap_or(u32::MAX),
                due_at,
                kind: None,
                asked,
                least_nl: 0,
                most_nl: 0,
                started_ms: None,
                ended_ms,
            });
        }
    }
}

/// Whose promise a wrong cause breaks.
fn promise_of(expected: Causes, found: Cause) -> &'static str {
    let about = |cause| expected.contains(cause) || found == cause;
    if about(Cause::AlreadyDosed) {
        "D2"
    } else if about(Cause::Ceiling) {
        "D7"
    } else if about(Cause::ClockSet) || about(Cause::ClockUnset) {
        "D9"
    } else if about(Cause::OlderWaiting) {
        "D3"
    } else {
        "D1"
    }
}

pub(super) fn kind_words(kind: OutcomeKind) -> String {
    match kind {
        OutcomeKind::Dosed => String::from("dosed"),
        OutcomeKind::Part(cause) => format!("part, {}", super::words(cause)),
        OutcomeKind::Skipped(cause) => format!("skipped, {}", super::words(cause)),
    }
}
