//! Outcomes in the ledger against what had to become of their dues.

use dosewright_core::cause::Cause;
use dosewright_core::record::{Outcome, OutcomeKind, Pulse};

use super::causes::Causes;
use super::dose::{Open, TICK_MS};
use super::model::{Delivery, Due, Key};
use super::report::DueRecord;
use super::rules::{Verdict, volume_nl};
use super::{Auditor, key_of};

/// The stretch of closed dues that an entry's last outcome stands for.
#[derive(Debug, Clone, Copy)]
pub(crate) struct ClosedRun {
    pub(crate) first: i64,
    pub(crate) revision: u16,
    epoch: u16,
    last: i64,
    count: u64,
    /// A dose that was asked for came between: whether the record grows on
    /// after it is left open.
    pub(crate) may_end: bool,
}

impl Auditor {
    pub(super) fn on_outcome(&mut self, o: &Outcome) {
        let key = key_of(&o.due, o.asked);
        let opens = self.open.as_ref().is_some_and(|x| x.due.key == key);
        if opens {
            if let Some(open) = self.open.take() {
                self.end_dose(&open, o);
            }
        } else if let OutcomeKind::Skipped(cause) = o.kind {
            self.skip(key, cause, o);
        } else if !key.asked
            && o.least.as_nl() == 0
            && !self.taint.covers(key.id)
            && self.tail.as_ref().is_some_and(|t| o.due_at.as_ms() <= t.booted_at)
        {
            self.doubted_dose(key, o);
        } else if !self.taint.covers(key.id) {
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

    fn end_dose(&mut self, open: &Open, o: &Outcome) {
        let key = open.due.key;
        let now = o.at.as_ms();
        let head = self.model.head;
        let (least, most) = open.after_flight();
        // one ms of flow, and the rounding of the two volumes
        let unit = u64::from(open.flow) / 60_000 + 2;
        let bounds = |(low, high): (i64, i64)| {
            let high = volume_nl(high.min(open.total_ms.max(low)), open.flow);
            (volume_nl(low, open.flow).saturating_sub(unit), high + unit)
        };
        let mut found = Vec::new();
        for (what, nl, (low, high)) in
            [("least", o.least.as_nl(), bounds(least)), ("most", o.most.as_nl(), bounds(most))]
        {
            if nl < low || nl > high {
                found.push((
                    "D4",
                    format!("{what} delivered is given as {nl} nl: expected {low} to {high} nl"),
                ));
            }
        }
        let entry_nl = self.model.line(key.id).map_or(u64::MAX, |l| l.entry.volume.as_nl());
        if o.most.as_nl() > entry_nl.saturating_add(unit) && o.due.revision == self.revision(key) {
            found.push(("D4", format!("up to {} nl of a dose of {entry_nl} nl", o.most.as_nl())));
        }
        let slack = open.pin_runs * self.chip.slack_ms() + open.pin_cuts * TICK_MS + TICK_MS;
        let pin =
            (volume_nl(open.pin_ms - slack, open.flow), volume_nl(open.pin_ms + slack, open.flow));
        if o.least.as_nl() > pin.1 + unit {
            found.push((
                "D4",
                format!("at least {} nl, and the pump ran for {} nl", o.least.as_nl(), pin.1),
            ));
        }
        if o.most.as_nl() + unit < pin.0 {
            found.push((
                "D4",
                format!("at most {} nl, and the pump ran for {} nl", o.most.as_nl(), pin.0),
            ));
        }
        self.check_kind(open, o, most, &mut found);
        if matches!(o.kind, OutcomeKind::Dosed) {
            let lacking = open.total_ms - open.pin_ms - slack;
            if lacking > open.in_doubt_ms {
                found.push((
                    "D4",
                    format!(
                        "dosed, and {lacking} ms of {} ms are lacking: restarts account for {} ms",
                        open.total_ms, open.in_doubt_ms
                    ),
                ));
            }
        }
        if i64::from(o.begun_after_ms) != open.begin.at - o.due_at.as_ms() {
            found.push(("D2", format!("the begin is noted {} ms after the due", o.begun_after_ms)));
        }
        if o.due_at.as_ms() != open.due.due_at {
            found.push((
                "D9",
                format!("the instant is noted as {}, not {}", o.due_at.as_ms(), open.due.due_at),
            ));
        }
        if o.restarts != open.restarts {
            found.push(("D4", format!("{} restarts are noted, not {}", o.restarts, open.restarts)));
        }
        if o.count != 1 || o.last != o.due.nominal {
            found.push(("D1", String::from("an outcome of one dose stands for several dues")));
        }
        let carry = self.model.line(key.id).map_or(0, |l| l.carry);
        let wanted = match o.kind {
            OutcomeKind::Dosed if open.cut.is_none() && open.carries => open.carry_after,
            _ => carry,
        };
        if o.carry.0 != wanted && self.facts.reading.is_none() {
            found.push(("D4", format!("a remainder of {} is carried on, not {wanted}", o.carry.0)));
        }
        let forced = open.forced.is_some();
        if let (Some(head), false) = (head, forced) {
            found.extend(open.check_end(now, &head, self.hinder.pump_causes()));
        }
        let tainted = self.taint.covers(key.id);
        if tainted && !found.is_empty() {
            self.report.unjudged += 1;
            self.taint.entries.remove(&key.id);
        } else {
            for (promise, what) in found {
                self.fail(promise, Some(key), what);
            }
        }
        if let Some(line) = self.model.line_mut(key.id) {
            line.carry = o.carry.0;
        }
        let (begin, due_at, most_nl) = (open.begin, o.due_at.as_ms(), o.most.as_nl());
        self.model.ended(Delivery { id: key.id, begin, due_at, most_nl }, now);
        if !key.asked {
            self.closed_runs.remove(&key.id);
        }
        self.pin.use_ended();
        self.last_dose_end = now;
        self.note(key, o, 1, open.first_on_ms);
    }

    /// A dose all of whose pulses may stand in slots that cannot be read: it ends
    /// without one that can (D4). Nothing of it is sure.
    fn doubted_dose(&mut self, key: Key, o: &Outcome) {
        self.tail = None;
        let Some(head) = self.model.head else { return };
        let p = Pulse {
            line: o.line,
            due: o.due,
            mark: o.mark,
            at: o.at,
            due_at: o.due_at,
            begun_after_ms: o.begun_after_ms,
            on_ms: 0,
            least_ms: 0,
            most_ms: 0,
            dose_ms: 0,
            flow: head.flow,
            first: true,
            asked: false,
            cut: None,
            restarts: 0,
        };
        let due = self.begin_waiting(key, &p);
        let entry_nl = self.model.line(key.id).map_or(0, |l| l.entry.volume.as_nl());
        let unit = u64::from(head.flow.as_nl_per_min()) / 60_000 + 2;
        if o.most.as_nl() > entry_nl + unit {
            let what = format!("up to {} nl of a dose of {entry_nl} nl", o.most.as_nl());
            self.fail("D4", Some(key), what);
        }
        let now = o.at.as_ms();
        let begin = self.model.begun(key.id, now, false);
        self.model.ended(
            Delivery { id: key.id, begin, due_at: due.due_at, most_nl: o.most.as_nl() },
            now,
        );
        if let Some(line) = self.model.line_mut(key.id) {
            line.carry = o.carry.0;
        }
        self.closed_runs.remove(&key.id);
        self.note(key, o, 1, None);
    }

    fn revision(&self, key: Key) -> u16 {
        self.model.line(key.id).map_or(0, |l| l.revision)
    }

    /// Dosed, part or skipped, and why.
    fn check_kind(
        &self,
        open: &Open,
        o: &Outcome,
        most: (i64, i64),
        found: &mut Vec<(&'static str, String)>,
    ) {
        let shortest = self.model.head.map_or(0, |h| i64::from(h.shortest_on_ms));
        let total = open.total_ms;
        let surely = most.0 >= total;
        // a rest shorter than the shortest pulse cannot be pumped
        let perhaps = most.1 >= total || total - most.1 < shortest;
        let mut causes = open.causes.or(self.believed()).or(self.hinder.stop_causes());
        if let Some(forced) = open.forced {
            causes = causes.or(forced);
        }
        let at = o.at.as_ms();
        if self.model.head.is_some_and(|head| self.limits.free_at_latest(&head, at) > at) {
            // starts an hour, or the rest, left no room for what was still to come
            causes = causes.with(Cause::PumpLimits);
        }
        let mut allowed = Vec::new();
        let fits = match o.kind {
            OutcomeKind::Dosed => open.cut.is_none() && perhaps,
            OutcomeKind::Part(cause) => {
                let cut = perhaps && open.cut == Some(cause);
                cut || (!surely || open.forced.is_some()) && causes.contains(cause)
            }
            OutcomeKind::Skipped(cause) => most.0 == 0 && causes.contains(cause),
        };
        if fits {
            return;
        }
        match open.cut {
            Some(cause) if perhaps => allowed.push(format!("part, {}", super::words(cause))),
            None if perhaps => allowed.push(String::from("dosed")),
            _ => {}
        }
        if !surely || open.forced.is_some() {
            let kind = if most.1 == 0 { "skipped" } else { "part" };
            allowed.push(format!("{kind}, {causes}"));
        }
        found.push((
            "D1",
            format!(
                "{} with up to {} of {total} ms pumped: expected {}",
                kind_words(o.kind),
                most.1,
                allowed.join(", or ")
            ),
        ));
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
                |causes| causes.or(believed).contains(cause),
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
        if grows.is_none() && o.due_at.as_ms() != settled.due_at {
            self.fail(
                "D9",
                Some(key),
                format!("its instant is noted as {}, not {} ms", o.due_at.as_ms(), settled.due_at),
            );
        }
        let follows = same
            .filter(|r| !r.may_end)
            .zip(weekly)
            .is_some_and(|(r, w)| w.next_nominal(r.last + 1) == Some(key.nominal));
        if grows.is_none() && follows {
            self.fail("D1", Some(key), String::from("closed dues in a row are not one record"));
        }
        if cause == Cause::Closed {
            let first = grows.map_or(key.nominal, |r| r.first);
            let (revision, epoch, count) = (key.revision, key.epoch, before + settled.count);
            let run = ClosedRun { first, revision, epoch, last, count, may_end: false };
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
        let expected = match verdict {
            Some(Verdict::Skip(expected)) if judged => Causes::of(expected),
            _ if too_late => kept,
            _ => Causes::NONE,
        };
        if !expected.or(self.believed()).contains(cause) && !self.taint.covers(key.id) {
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
        if o.due_at.as_ms() != due.due_at {
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
        if judged {
            self.model.judged(key.id);
        }
        self.kept_by.remove(&key.id);
        self.closed_runs.remove(&key.id);
        self.note(key, o, 1, None);
    }

    /// Counts an outcome, and lists it where a list is wanted.
    fn note(&mut self, key: Key, o: &Outcome, count: u64, started_ms: Option<u64>) {
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
        for due in self.model.lines.iter().filter_map(|l| l.waiting) {
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

fn kind_words(kind: OutcomeKind) -> String {
    match kind {
        OutcomeKind::Dosed => String::from("dosed"),
        OutcomeKind::Part(cause) => format!("part, {}", super::words(cause)),
        OutcomeKind::Skipped(cause) => format!("skipped, {}", super::words(cause)),
    }
}
