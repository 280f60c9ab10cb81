//! When the device is awake: supply, restarts, late wakes, and what comes due
//! as its time goes on.

use dosewright_core::cause::Cause;
use dosewright_core::entry::Nominal;
use dosewright_core::record::DueKey;
use dosewright_core::time::Instant;

use super::Auditor;
use super::bench;
use super::causes::Causes;
use super::dose::TICK_MS;
use super::limits::{lead_ms, longest_rest_ms, rest_ms};
use super::model::{Fate, Why};
use super::readings::Reading;
use super::report::SleptThrough;

pub(super) const STAMP_EVERY_MS: i64 = 3_600_000;

/// Whether the device runs.
#[derive(Debug, Default)]
pub(crate) struct Supply {
    pub(crate) on: bool,
    /// The logic has started since the supply came on, or since a reset.
    pub(crate) awake: bool,
    /// It does not: its memory holds no ledger of its own.
    pub(super) refused: bool,
    /// The logic has started at least once.
    pub(super) started_once: bool,
    /// Called at this instant, late or by an operator: what the operator does
    /// comes before the dues that pass at the same instant.
    pub(super) held: Option<(i64, Why)>,
    /// True time of the last late wake.
    pub(super) late_at: Option<u64>,
    /// What stopped it last was a reset.
    pub(super) was_reset: bool,
    /// The chip's feed failed since the logic last started.
    pub(super) feed_lost: bool,
    /// What the chip was set to then: the record of the start may come later.
    pub(super) set_to: i64,
    /// The instant of the last record or start, for the hourly stamp.
    pub(crate) stamped_at: i64,
    pub(super) stamp_reported: bool,
    /// The call of the last start, which a memory that takes nothing puts off: its instant,
    /// and what it is called.
    pub(super) start: Option<(i64, Causes)>,
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
        if on {
            self.ledger.starts();
        }
        (self.supply.on, self.supply.refused) = (on, false);
    }

    pub(super) fn see_reset(&mut self) {
        let now = self.chip.count(self.ms);
        self.advance(now);
        self.fall_asleep();
        self.supply.was_reset = true;
        self.ledger.starts();
        self.pin.reset();
    }

    /// The logic stops. When it starts again it reads its inputs anew.
    fn fall_asleep(&mut self) {
        self.supply.awake = false;
        self.supply.held = None;
        self.ready = None;
        (self.hinder.stop, self.hinder.leak) = (false, false);
        self.level = super::stock::Level::default();
        self.pack.forget();
        self.ledger.stops();
        // what a cut tore is no fault of the memory
        self.hinder.ledger_bad = false;
    }

    pub(super) fn see_chip(&mut self, count_ms: i64, rate_ppb: i64, feed_kept: bool) {
        if !feed_kept {
            self.supply.feed_lost = true;
            self.supply.set_to = count_ms;
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
            } else if let Some(open) = self.open.as_mut().filter(|_| self.hinder.ledger_bad) {
                // a slot that flipped may look like a write that failed, and then the wake
                // was needed; so it was where the memory takes again by now
                open.disturb(Cause::WokenLate);
            }
        }
        // nothing was owed while the device slept
        if let Some((_, at)) = &mut self.ready {
            *at = (*at).max(now);
        }
        for owed in self.owed_mut() {
            owed.by = owed.by.max(now);
        }
        if let Some(open) = &mut self.open {
            open.end_by = open.end_by.max(now);
        }
        if let Some(due) = &mut self.level.due {
            *due = (*due).max(now);
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

    /// At the run's end: dues whose instant came while the device could not know
    /// of it are open, whatever a start would make of them (D1).
    pub(super) fn pass_what_is_slept_through(&mut self) {
        let why = if self.supply.sleeps_late() { Why::Late } else { Why::Boot };
        if why == Why::Boot && (self.supply.awake || self.supply.feed_lost) {
            return;
        }
        let now = self.chip.count(self.ms);
        let mut fates = Vec::new();
        self.model.births(now, why, &mut fates);
        for fate in &fates {
            let (key, last, count, due_at) = match fate {
                Fate::Skipped(span, _) => (span.key, span.last, span.count, span.due_at),
                Fate::Waits(id) => match self.model.line(*id).and_then(|line| line.waiting) {
                    Some(due) => (due.key, due.key.nominal, 1, due.due_at),
                    None => continue,
                },
                Fate::Lapsed(_) | Fate::Ends(..) => continue,
            };
            let nominal = |n: i64| Nominal(u32::try_from(n).unwrap_or(u32::MAX));
            let (id, revision, epoch) = (key.id, key.revision, key.epoch);
            self.report.slept_through.push(SleptThrough {
                due: DueKey { id, revision, epoch, nominal: nominal(key.nominal) },
                last: nominal(last),
                count: u32::try_from(count).unwrap_or(u32::MAX),
                due_at: Instant::from_ms(due_at),
            });
        }
        self.take_fates(fates, now);
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
        self.taint.known = true;
        let train = self.hinder.service.take().filter(|service| service.train.is_some());
        self.model.stock.service_lost();
        self.bench.leave();
        self.lock.close();
        self.level.can_be_told(at);
        self.motor.pending = false;
        self.motor.unsure |= self.taint.motor;
        self.motor.row_unsure |= self.taint.motor;
        self.hinder.fault = self.motor.until() > at;
        self.limits.booted(at, self.model.head.as_ref().map_or(0, lead_ms));
        // the logic cannot know that the pump did not run on
        let meant = self.pin.intent.take().map(|intent| intent.meant());
        if let Some(head) = &self.model.head {
            let rested = match train {
                Some(train) => Some(bench::train_rested_by(head, train.at, train.asked_ms)),
                None => meant.map(|(end, on_ms)| end + rest_ms(head, on_ms)),
            };
            // a slot that cannot be read may have been a run, which may have lasted until now
            let by_loss = self.ledger.may_hide_a_run().then(|| at + longest_rest_ms(head));
            if let Some(at) = rested.max(by_loss) {
                self.limits.unsure_until(at);
            }
        }
        if lost {
            self.model.lose_clock();
            self.pin.ms.clock_lost = true;
        }
        self.forget_what_is_not_written();
        if lost {
            self.wait_again(at);
        }
        let why = if self.supply.was_reset { Why::Restart } else { Why::Boot };
        self.supply.start = Some((at, why.causes()));
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
        for due in self.model.waiting() {
            // whatever kept it before: the start is what kept it last
            self.kept_by.insert(due.key.id, why.causes());
        }
        self.restart_open(at, lost, why);
        // a first intent has two slots, and the pump starts after both: one alone is no pulse
        if self.open.is_none() && self.ledger.unreadable() > 1 {
            let (least, most) = (self.ledger.tail(), self.ledger.unreadable());
            let (least, most) = (least.saturating_sub(1), most - 1);
            self.tail = Some(Tail { booted_at: at, least, most });
        }
        self.ledger.started();
        self.rearm();
        self.step(at, why);
    }

    /// The device's time goes on from the ledger's last instant. A due whose deadline had
    /// come by then, and which the ledger knows to wait, waits again.
    fn wait_again(&mut self, at: i64) {
        let epoch = self.model.clock.epoch;
        for (id, list) in &mut self.owed {
            let Some(line) = self.model.line(*id).filter(|line| line.waiting.is_none()) else {
                continue;
            };
            let again = list.iter().rev().find_map(|o| {
                let (key, due_at) = (o.span.key, o.span.due_at);
                let is_its = (key.epoch, key.revision) == (epoch, line.revision);
                let due = self.model.due(line, key.nominal, due_at, Why::Awake);
                (o.known && !o.reported && is_its && due.deadline() > at).then_some(due)
            });
            let Some(due) = again else { continue };
            list.retain(|o| o.span.key != due.key);
            if let Some(line) = self.model.line_mut(*id) {
                line.waiting = Some(due);
            }
        }
    }

    /// A due of which the ledger holds nothing has not passed, as far as the
    /// device can know.
    pub(super) fn forget_what_is_not_written(&mut self) {
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
        let unreadable = self.ledger.unreadable();
        let Some(open) = &mut self.open else { return };
        let cause = why.causes().first().unwrap_or(Cause::SupplyLost);
        open.restart(at, unreadable, cause, forgets);
        // slots that cannot be read may have been its last pulses: then it may end or go on
        let complete = if unreadable > 0 { open.is_complete() } else { open.may_be_complete() };
        // that somebody stopped it was known to no more than the logic that ran
        let mut causes = open.forced.take().unwrap_or_default().without(Cause::Stopped);
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
        let over = !causes.is_empty() || open.due.deadline() <= at;
        open.over_at_start = over || open.is_complete();
        if over || complete {
            open.end_by = at;
        } else {
            open.end_by = open.due.deadline();
            if self.hinder.run_causes().is_empty() {
                open.resume(at, &self.limits);
            }
        }
    }
}
