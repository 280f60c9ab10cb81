//! When the device is awake: supply, restarts, late wakes, and what comes due
//! as its time goes on.

use std::collections::BTreeSet;

use dosewright_core::cause::Cause;
use dosewright_core::entry::EntryId;

use super::Auditor;
use super::causes::Causes;
use super::dose::TICK_MS;
use super::limits::rest_ms;
use super::model::{Due, Fate, Span, Why};
use super::owed::Owed;
use super::readings::Reading;
use super::rules::Verdict;

const STAMP_EVERY_MS: i64 = 3_600_000;

/// Whether the device runs.
#[derive(Debug, Default)]
pub(crate) struct Supply {
    pub(crate) on: bool,
    /// The logic has started since the supply came on, or since a reset.
    pub(crate) awake: bool,
    /// The logic has started at least once.
    started_once: bool,
    /// Called at this instant, late or by an operator: what the operator does
    /// comes before the dues that pass at the same instant.
    held: Option<(i64, Why)>,
    /// True time of the last late wake.
    late_at: Option<u64>,
    /// What stopped it last was a reset.
    was_reset: bool,
    /// The chip's feed failed since the logic last started.
    feed_lost: bool,
    /// The instant of the last record or start, for the hourly stamp.
    pub(crate) stamped_at: i64,
    stamp_reported: bool,
}

impl Supply {
    /// It has asked to be called, and was not called yet.
    pub(crate) fn sleeps_late(&self) -> bool {
        matches!(self.held, Some((_, Why::Late)))
    }

    pub(crate) fn feed_kept(&self) -> bool {
        !self.feed_lost
    }
}

/// Unreadable slots at the ledger's end, found by a start with no dose open: how
/// many at least and at most may have been intents.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Tail {
    pub(crate) booted_at: i64,
    pub(crate) least: u32,
    pub(crate) most: u32,
}

/// What damage to the memory keeps from being judged.
#[derive(Debug, Default)]
pub(crate) struct Taint {
    pub(crate) all: bool,
    pub(crate) entries: BTreeSet<EntryId>,
}

impl Taint {
    pub(crate) fn covers(&self, id: EntryId) -> bool {
        self.all || self.entries.contains(&id)
    }
}

impl Auditor {
    pub(super) fn see_supply(&mut self, on: bool) {
        if !on {
            let now = self.chip.count(self.ms);
            self.advance(now);
            self.check_stamp(now);
            self.fall_asleep();
            self.supply.was_reset = false;
            self.pin.ms.cut = true;
        }
        self.supply.on = on;
    }

    pub(super) fn see_reset(&mut self) {
        let now = self.chip.count(self.ms);
        self.advance(now);
        self.fall_asleep();
        self.supply.was_reset = true;
        self.pin.reset();
    }

    /// The logic stops. When it starts again it reads its inputs anew.
    fn fall_asleep(&mut self) {
        self.supply.awake = false;
        self.supply.held = None;
        self.ready = None;
        (self.hinder.stop, self.hinder.leak) = (false, false);
        // what a cut tore is no fault of the memory
        self.hinder.ledger_bad = false;
    }

    pub(super) fn see_chip(&mut self, count_ms: i64, rate_ppb: i64, feed_kept: bool) {
        if !feed_kept {
            self.supply.feed_lost = true;
            self.now = self.now.min(count_ms);
        }
        self.chip.set(self.ms, count_ms, rate_ppb);
    }

    /// The device was not called in the `by_ms` before now, though it had asked.
    pub(super) fn see_late_wake(&mut self, by_ms: u64) {
        if !self.supply.awake || self.supply.late_at == Some(self.ms) {
            return;
        }
        self.supply.late_at = Some(self.ms);
        let asked_for = self.chip.count(self.ms.saturating_sub(by_ms));
        let now = self.chip.count(self.ms);
        // the chip may have jumped over the very instant that was asked for
        self.advance(asked_for - 1 - self.chip.slack_ms());
        if by_ms as i64 > TICK_MS {
            // a dose that was stopped all the while did not need the wake
            if let Some(open) = self.open.as_mut().filter(|o| o.able_since.is_some()) {
                open.disturb(Cause::WokenLate);
                open.hurry = None;
                open.resume(now, &self.limits);
            }
        }
        // nothing was owed while the device slept
        if let Some((_, at)) = &mut self.ready {
            *at = (*at).max(now);
        }
        for owed in self.owed.values_mut().flat_map(super::owed::OwedList::iter_mut) {
            owed.by = owed.by.max(now);
        }
        if let Some(open) = &mut self.open {
            open.end_by = open.end_by.max(now);
        }
        self.supply.stamped_at = self.supply.stamped_at.max(now - STAMP_EVERY_MS);
        self.supply.held = Some((now, Why::Late));
        self.now = self.now.max(now);
    }

    /// An operator acts at `now`. A timer of the same ms comes first, and its
    /// records with it; where there are none, the act comes first.
    pub(super) fn hold_at(&mut self, now: i64) {
        let before = match self.ms.checked_sub(1) {
            Some(ms) => self.chip.count(ms),
            None => now - 1,
        };
        self.advance(before.min(now - 1));
        if self.supply.awake && self.supply.held.is_none() && self.now < now {
            self.supply.held = Some((now, Why::Awake));
        }
        self.now = self.now.max(now);
    }

    /// What was held back passes now.
    pub(super) fn release(&mut self) {
        if let Some((now, why)) = self.supply.held.take() {
            self.step(now, why);
        }
    }

    /// The logic starts: what the ledger does not hold, it does not know.
    pub(super) fn boot(&mut self, at: i64, feed_kept: bool) {
        // before the first start there was nothing to keep
        let first = !std::mem::replace(&mut self.supply.started_once, true);
        self.supply.feed_lost &= !first;
        if feed_kept == self.supply.feed_lost && !first {
            let what = if feed_kept { "kept" } else { "lost" };
            self.fail(
                "D9",
                None,
                format!("the device takes the clock chip's feed as {what}, and it was not"),
            );
        }
        let lost = self.supply.feed_lost;
        (self.supply.feed_lost, self.supply.awake) = (false, true);
        self.now = at;
        self.supply.stamped_at = at;
        self.hinder.service = None;
        self.limits.booted(at);
        if let Some((end, on_ms)) = self.pin.intent.take().map(|i| i.meant()) {
            // the logic cannot know that the pump did not run on
            if let Some(head) = &self.model.head {
                self.limits.unsure_until(end + rest_ms(head, on_ms));
            }
        }
        if lost {
            self.model.lose_clock();
            self.pin.ms.clock_lost = true;
        }
        self.forget_what_is_not_written();
        let why = if self.supply.was_reset { Why::Restart } else { Why::Boot };
        let mut extra = why.causes();
        if lost {
            extra = extra.with(Cause::ClockLost).with(Cause::ClockUnset);
        }
        for list in self.owed.values_mut() {
            for owed in list.iter_mut() {
                owed.causes = owed.causes.or(extra);
                owed.by = owed.by.max(at);
            }
        }
        self.restart_open(at, lost, why);
        if self.open.is_none() && self.ledger.unreadable > 0 {
            let (least, most) = (self.ledger.tail, self.ledger.unreadable);
            self.tail = Some(Tail { booted_at: at, least, most });
        }
        self.rearm();
        self.step(at, why);
    }

    /// A due of which the ledger holds nothing has not passed, as far as the
    /// device can know.
    fn forget_what_is_not_written(&mut self) {
        let epoch = self.model.clock.epoch;
        let mut back = Vec::new();
        for (id, list) in &mut self.owed {
            let revision = self.model.line(*id).map(|l| l.revision);
            let at_the_end: Vec<i64> = list
                .iter()
                .rev()
                .take_while(|o| !o.known && !o.reported)
                .map(|o| o.span.key.nominal)
                .collect();
            let waits = self.model.line(*id).and_then(|l| l.waiting).map(|d| d.key.nominal);
            list.retain(|o| {
                let key = o.span.key;
                let old = key.epoch != epoch || Some(key.revision) != revision;
                if o.known || o.reported || !at_the_end.contains(&key.nominal) {
                    return true;
                }
                if !old {
                    if waits.is_some_and(|n| n > key.nominal) {
                        return true;
                    }
                    back.push((*id, key.nominal));
                }
                false
            });
        }
        for line in &self.model.lines {
            if let Some(due) = &line.waiting
                && !self.born.contains(&due.key)
            {
                back.push((line.entry.id, due.key.nominal));
            }
        }
        for (id, nominal) in back {
            if let Some(line) = self.model.line_mut(id)
                && line.waiting.is_some_and(|d| d.key.nominal == nominal)
            {
                line.waiting = None;
            }
            self.model.unpass(id, nominal);
        }
    }

    fn restart_open(&mut self, at: i64, lost: bool, why: Why) {
        let forgets = self.facts.reading == Some(Reading::RestartForgets);
        let Some(open) = &mut self.open else { return };
        let cause = why.causes().first().unwrap_or(Cause::SupplyLost);
        open.restart(at, self.ledger.unreadable, cause, forgets);
        let complete = open.may_be_complete();
        let mut causes = open.forced.take().unwrap_or_default();
        if lost && self.facts.reading != Some(Reading::LostFeedGoesOn) {
            causes = causes.with(Cause::ClockLost);
        }
        if open.restarts >= 3 {
            causes = causes.with(Cause::Restarts);
        }
        if causes.is_empty() {
            // what the logic reads at its start may be called the last disturbance
            open.causes = open.causes.or(self.hinder.stop_causes());
        } else {
            open.forced = Some(causes);
            open.causes = open.causes.or(causes);
        }
        if !causes.is_empty() || complete || open.due.deadline() <= at {
            open.end_by = at;
        } else {
            open.end_by = open.due.deadline();
            if self.hinder.pump_causes().is_empty() {
                open.resume(at, &self.limits);
            }
        }
    }

    /// Lets device time go on to `to`, as far as the device is awake.
    pub(super) fn advance(&mut self, to: i64) {
        if self.supply.held.is_some_and(|(held, _)| to > held + TICK_MS) {
            self.release();
        }
        if self.supply.awake && self.supply.held.is_none() {
            while self.timer <= to {
                let at = self.timer;
                self.step(at, Why::Awake);
            }
        }
        self.now = self.now.max(to);
    }

    /// Everything that the instant `at` brings: deadlines, then births, then
    /// what should have happened by now.
    fn step(&mut self, at: i64, why: Why) {
        self.now = self.now.max(at);
        while let Some(due) = self.lapsed(at) {
            self.lapse(&due, at, why);
        }
        let mut fates = Vec::new();
        self.model.births(at, why, &mut fates);
        self.take_fates(fates, at);
        self.refresh(at);
        self.look_for_what_is_missing(at);
        self.rearm();
    }

    fn lapsed(&self, at: i64) -> Option<Due> {
        let waiting = self.model.lines.iter().filter_map(|l| l.waiting);
        waiting.filter(|d| d.deadline() <= at).min_by_key(|d| (d.deadline(), d.key.id))
    }

    /// A waiting due's deadline passes.
    fn lapse(&mut self, due: &Due, at: i64, why: Why) {
        let id = due.key.id;
        if let Some(line) = self.model.line_mut(id) {
            // another may have been born in its place by now
            line.waiting = line.waiting.filter(|d| d.key != due.key);
        }
        let kept = self.kept_by.remove(&id).unwrap_or_default();
        let mut causes = match why {
            Why::Boot | Why::Restart | Why::Setting => why.causes(),
            Why::Late => kept.or(why.causes()),
            Why::Awake | Why::Edit => kept,
        };
        if self.hinder.ledger_bad {
            causes = causes.with(Cause::Ledger);
        }
        let key = due.key;
        let span =
            Span { key, last: key.nominal, count: 1, due_at: due.due_at, by: due.deadline() };
        let known = self.born.contains(&key);
        let owed = Owed { span, causes, by: due.deadline().max(at), known, reported: false };
        if self.ready_reported == Some(key) {
            // that it did not begin has been said
            self.ready_reported = None;
        }
        self.owed.entry(id).or_default().push(owed);
    }

    /// Takes in what the model decided.
    pub(super) fn take_fates(&mut self, fates: Vec<Fate>, at: i64) {
        for fate in fates {
            match fate {
                Fate::Skipped(span, mut causes) => {
                    if self.hinder.ledger_bad {
                        causes = causes.with(Cause::Ledger);
                    }
                    let known = self.born.contains(&span.key);
                    let by = span.by.max(at);
                    let owed = Owed { span, causes, by, known, reported: false };
                    self.owed.entry(span.key.id).or_default().push(owed);
                }
                Fate::Waits(id) => {
                    self.kept_by.remove(&id);
                }
                Fate::Lapsed(due) => self.lapse(&due, at, Why::Setting),
                Fate::Ends(id, cause) => self.force_end(id, cause, at),
            }
        }
    }

    fn force_end(&mut self, id: EntryId, cause: Cause, at: i64) {
        if let Some(open) = &mut self.open
            && open.due.key.id == id
        {
            open.hinder(at, cause);
            open.forced = Some(Causes::of(cause));
            open.end_by = at;
            self.pin.ms.edited = true;
        }
    }

    /// Works out what keeps the waiting dues from beginning, and which of them
    /// has to begin when.
    pub(super) fn refresh(&mut self, at: i64) {
        let before = self.ready.take();
        let mut waiting: Vec<Due> = self.model.lines.iter().filter_map(|l| l.waiting).collect();
        if waiting.is_empty() {
            if let Some(open) = &mut self.open {
                open.hurry = None;
            }
            return;
        }
        waiting.sort_by_key(Due::order);
        let pump = self.hinder.pump_causes();
        let unset = self.model.clock.offset_ms.is_none();
        let owner = self.open.is_some();
        let mut ahead = Causes::NONE;
        for due in &waiting {
            let mut causes = pump.or(ahead);
            if owner {
                causes = causes.with(Cause::PumpInUse);
            }
            if due.weekly && unset {
                causes = causes.with(Cause::ClockUnset).with(Cause::ClockLost);
            } else {
                ahead = ahead.or(causes).with(Cause::PumpInUse);
            }
            if causes.is_empty()
                && let Some(head) = &self.model.head
            {
                let free = self.limits.free_at_latest(head, at);
                if free > at {
                    // the pump's rest comes after its use: either is right
                    causes = causes.with(Cause::PumpLimits).with(Cause::PumpInUse);
                    ahead = ahead.or(causes);
                }
                if free + i64::from(head.shortest_on_ms) <= due.deadline() {
                    let since = before.filter(|(key, _)| *key == due.key).map(|(_, at)| at);
                    self.ready = Some((due.key, since.unwrap_or(free)));
                }
            }
            if !causes.is_empty() {
                let kept = self.kept_by.entry(due.key.id).or_default();
                // what ends in the same late wake in which the deadline passes has
                // kept the due from beginning all the same; and the pump's rest is
                // counted to its use
                let ends_late = self.supply.sleeps_late() || causes.contains(Cause::PumpLimits);
                *kept = if ends_late { kept.or(causes) } else { causes };
            }
        }
        if let (Some(open), Some(head)) = (&mut self.open, &self.model.head)
            && open.able_since.is_some()
            && open.hurry.is_none()
        {
            open.hurry_from(at, head, &self.limits);
        }
    }

    /// What had to happen by now and did not.
    fn look_for_what_is_missing(&mut self, at: i64) {
        if self.hinder.ledger_bad {
            // what cannot be written is not owed before it can
            return;
        }
        let slack = self.slack();
        if let Some((key, by)) = self.ready
            && at > by + slack
            && self.ready_reported != Some(key)
        {
            self.ready_reported = Some(key);
            let due = self.model.line(key.id).and_then(|l| l.waiting);
            match due.and_then(|d| self.model.judge(&d, by)) {
                _ if self.taint.covers(key.id) => self.report.unjudged += 1,
                Some(Verdict::Skip(cause)) => {
                    let cause = super::words(cause);
                    self.fail(
                        "D1",
                        Some(key),
                        format!("no outcome skipped, {cause}, at device ms {by}"),
                    );
                }
                _ => self.fail(
                    "D5",
                    Some(key),
                    format!("the dose did not begin at device ms {by}, though nothing hindered it"),
                ),
            }
        }
        let mut missing = Vec::new();
        for (id, list) in &mut self.owed {
            let tainted = self.taint.covers(*id);
            for owed in list.iter_mut().filter(|o| !o.reported && at > o.by + slack) {
                owed.reported = true;
                if tainted {
                    self.report.unjudged += owed.span.count;
                } else {
                    missing.push((owed.span, owed.causes));
                }
            }
        }
        for (span, causes) in missing {
            let many = if span.count > 1 {
                format!("no outcome for {} dues that begin with it", span.count)
            } else {
                String::from("no outcome")
            };
            self.fail("D1", Some(span.key), format!("{many}: expected skipped, {causes}"));
        }
        let overdue = self.open.as_mut().filter(|o| !o.reported && at > o.end_by + slack);
        if let Some(open) = overdue {
            open.reported = true;
            let (key, by) = (open.due.key, open.end_by);
            if self.taint.covers(key.id) {
                self.report.unjudged += 1;
            } else {
                self.fail("D1", Some(key), format!("the dose has no outcome by device ms {by}"));
            }
        }
    }

    /// The ledger can be written again: what is owed is owed from now on.
    pub(super) fn ledger_is_good(&mut self) {
        self.hinder.ledger_bad = false;
        let now = self.now;
        for owed in self.owed.values_mut().flat_map(super::owed::OwedList::iter_mut) {
            owed.by = owed.by.max(now);
        }
        if let Some(open) = &mut self.open {
            open.end_by = open.end_by.max(now);
        }
        self.refresh(now);
        self.rearm();
    }

    /// Sets the instant at which to look again.
    pub(super) fn rearm(&mut self) {
        let after = self.slack() + 1;
        let ready = self.ready.filter(|(key, _)| self.ready_reported != Some(*key));
        let owed = self.owed.values().flat_map(super::owed::OwedList::iter);
        let waiting = self.model.lines.iter().filter_map(|l| l.waiting);
        if self.hinder.ledger_bad {
            let lapses = waiting.map(|d| d.deadline()).min();
            self.timer =
                [self.model.next_birth(), lapses].into_iter().flatten().min().unwrap_or(i64::MAX);
            return;
        }
        self.timer = [
            self.model.next_birth(),
            waiting.map(|d| d.deadline()).min(),
            ready.map(|(_, by)| by + after),
            owed.filter(|o| !o.reported).map(|o| o.by + after).min(),
            self.open.as_ref().filter(|o| !o.reported).map(|o| o.end_by + after),
        ]
        .into_iter()
        .flatten()
        .min()
        .unwrap_or(i64::MAX);
    }

    /// The ledger carries an instant at least hourly.
    pub(super) fn check_stamp(&mut self, now: i64) {
        let gone = now - self.supply.stamped_at;
        let late = gone > STAMP_EVERY_MS + self.slack() + TICK_MS;
        if self.supply.awake && late && !self.supply.stamp_reported && !self.hinder.ledger_bad {
            self.supply.stamp_reported = true;
            self.fail("D9", None, format!("no record with an instant for {gone} ms"));
        }
    }
}
