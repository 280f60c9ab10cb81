//! The course of things: what comes due as device time goes on, what keeps it
//! from beginning, and what should have happened by now.

use dosewright_core::cause::Cause;
use dosewright_core::entry::EntryId;

use super::Auditor;
use super::causes::Causes;
use super::dose::TICK_MS;
use super::limits::rest_tick_ms;
use super::model::{Due, Fate, Span, Why};
use super::owed::Owed;
use super::rules::Verdict;
use super::wake::STAMP_EVERY_MS;

impl Auditor {
    /// Lets device time go on to `to`, as far as the device is awake.
    pub(super) fn advance(&mut self, to: i64) {
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
    pub(super) fn step(&mut self, at: i64, why: Why) {
        self.now = self.now.max(at);
        self.level.pass(at);
        self.motor_has_rested(at);
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
        let waiting = self.model.waiting();
        waiting.filter(|d| d.deadline() <= at).min_by_key(|d| (d.deadline(), d.key.id))
    }

    /// A waiting due's deadline passes.
    pub(super) fn lapse(&mut self, due: &Due, at: i64, why: Why) {
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
            // what came before a start that is not told yet is told with it
            let start = self.supply.start.filter(|(start, _)| due.due_at <= *start);
            causes = start.map_or(causes, |(_, of_start)| causes.or(of_start));
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

    /// A setting or an operator ends the open dose of an entry.
    pub(super) fn force_end(&mut self, id: EntryId, cause: Cause, at: i64) {
        let off = self.model.line(id).is_some_and(|l| !l.entry.enabled);
        // an edit of a disabled entry, whose dose was asked for, is both
        let also = (off && cause == Cause::Edited).then_some(Cause::Disabled);
        if let Some(open) = &mut self.open
            && open.due.key.id == id
        {
            open.hinder(at, cause);
            open.forced = Some(also.into_iter().fold(Causes::of(cause), Causes::with));
            open.end_by = at;
            self.pin.ms.edited = true;
        }
    }

    /// Works out what keeps the waiting dues from beginning, and which of them
    /// has to begin when.
    pub(super) fn refresh(&mut self, at: i64) {
        let before = self.ready.take();
        self.too_late = None;
        let mut waiting: Vec<Due> = self.model.waiting().collect();
        let owner = self.open.as_ref().map(|open| open.due.key);
        let wanted = owner.is_some_and(|owner| self.model.another_waits(owner));
        if let Some(open) = self.open.as_mut().filter(|_| !wanted) {
            open.take_back_hurry(at, &self.limits);
        }
        if waiting.is_empty() {
            return;
        }
        waiting.sort_by_key(Due::order);
        let pump = self.hinder.pump_causes();
        let unset = self.model.clock.offset_ms.is_none();
        let owner = self.open.is_some();
        let mut ahead = Causes::NONE;
        // whether an account that is unsure keeps it is left open
        let accounts = self.unsure_accounts();
        for due in &waiting {
            let (mut causes, mut unsure) = (pump.or(ahead), accounts);
            if owner {
                causes = causes.with(Cause::PumpInUse);
            }
            if due.weekly && unset {
                causes = causes.with(Cause::ClockUnset).with(Cause::ClockLost);
            } else {
                ahead = ahead.or(causes).with(Cause::PumpInUse);
            }
            if !owner
                && let Some(head) = &self.model.head
                && self.model.stock.is_short(head)
            {
                causes = causes.with(Cause::ContainerEmpty);
                if self.limits.free_at_latest(head, at) > at {
                    // both keep it: either is right
                    causes = causes.with(Cause::PumpLimits);
                }
            }
            if causes.is_empty()
                && let Some(head) = &self.model.head
            {
                let free = self.limits.free_at_latest(head, at);
                if free > at {
                    // the pump's rest comes after its use: either is right
                    causes = causes.with(Cause::PumpLimits).with(Cause::PumpInUse);
                    ahead = ahead.or(causes);
                } else if free + self.chip.slack_ms() > at {
                    // by the device's measure the rest may end a ms later
                    unsure = unsure.with(Cause::PumpLimits);
                }
                if free + i64::from(head.shortest_on_ms) <= due.deadline() {
                    let since = before.filter(|(key, _)| *key == due.key).map(|(_, at)| at);
                    self.ready = Some((due.key, since.unwrap_or(free)));
                } else if free <= at {
                    self.too_late = Some(due.key);
                }
            }
            if causes.is_empty()
                && let Some((_, start)) = self.supply.start.filter(|(start, _)| *start == at)
                && let Some(kept) = self.kept_by.get_mut(&due.key.id).filter(|k| !k.is_empty())
            {
                // what kept it for a part of the start's call alone was no use of the pump;
                // but an act of the same ms may have ended that
                *kept = kept.or(start);
            }
            if !unsure.is_empty() {
                let kept = self.kept_by.entry(due.key.id).or_default();
                *kept = kept.or(unsure);
            }
            if !causes.is_empty() {
                let causes = causes.or(unsure);
                let kept = self.kept_by.entry(due.key.id).or_default();
                // what ends in the same late wake in which the deadline passes has
                // kept the due from beginning all the same; the pump's rest is counted
                // to its use; what a memory that takes nothing kept from being told is told
                // with what was to be told before it
                let ends_late = self.supply.sleeps_late() || causes.contains(Cause::PumpLimits);
                *kept = if ends_late || self.hinder.ledger_bad { kept.or(causes) } else { causes };
            }
        }
        // a due whose settings may be lost may not be there for the device
        let known = waiting.iter().any(|due| !self.taint.covers(due.key.id));
        if let Some(open) = self.open.as_mut().filter(|_| wanted && !known) {
            (open.disturbed, open.may_hurry) = (true, true);
        }
        if let (Some(open), Some(head)) = (&mut self.open, &self.model.head)
            && known
            && wanted
            && open.able_since.is_some()
            && open.hurry.is_none()
        {
            open.hurry_from(at, head, &self.limits);
        }
    }

    /// What the accounts of container and pack, and of the motor's faults, would keep a
    /// dose for, where they are unsure.
    fn unsure_accounts(&self) -> Causes {
        let container = self.model.stock.unsure.then_some(Cause::ContainerEmpty);
        let pack = self.pack.is_unread(self.taint.ever).then_some(Cause::Battery);
        let motor = self.motor.unsure.then_some(Cause::MotorFault);
        container.into_iter().chain(pack).chain(motor).fold(Causes::NONE, Causes::with)
    }

    /// What had to happen by now and did not.
    fn look_for_what_is_missing(&mut self, at: i64) {
        if self.hinder.ledger_bad {
            // what cannot be written is not owed before it can
            return;
        }
        let slack = self.slack();
        self.look_for_low_level(at, slack);
        if let Some((key, by)) = self.ready
            && at > by + self.rest_slack()
            && self.ready_reported != Some(key)
        {
            self.ready_reported = Some(key);
            let due = self.model.line(key.id).and_then(|l| l.waiting);
            match due.and_then(|d| self.model.judge(&d, by)) {
                // an account that is unsure may keep it
                _ if self.taint.covers(key.id) || !self.unsure_accounts().is_empty() => {
                    self.report.unjudged += 1;
                }
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
        if let Some((at, _)) = &mut self.supply.start {
            // its call goes on where the memory broke it off
            *at = now;
        }
        for owed in self.owed_mut() {
            owed.by = owed.by.max(now);
        }
        self.level.can_be_told(now);
        if let Some(open) = &mut self.open {
            open.end_by = open.end_by.max(now);
            if open.able_since.is_none() && self.hinder.run_causes().is_empty() {
                open.resume(now, &self.limits);
            }
        }
        self.refresh(now);
        for due in self.model.waiting() {
            // where it was tried in vain, the memory has kept it last; but a dose that it kept
            // from being ended has had the pump until now
            let kept = self.kept_by.entry(due.key.id).or_default();
            *kept = kept.with(Cause::Ledger);
        }
        self.rearm();
    }

    /// How late a dose may begin behind the pump's rest: by the device's measure of it.
    fn rest_slack(&self) -> i64 {
        let rest = self.model.head.as_ref().map_or(0, rest_tick_ms);
        self.slack() + if self.chip.slack_ms() > 0 { rest } else { 0 }
    }

    /// Sets the instant at which to look again.
    pub(super) fn rearm(&mut self) {
        let mut first = self.model.next_birth().unwrap_or(i64::MAX);
        for line in &self.model.lines {
            if let Some(due) = &line.waiting {
                first = first.min(due.deadline());
            }
        }
        if self.hinder.fault {
            first = first.min(self.motor.until());
        }
        self.timer = first;
        if self.hinder.ledger_bad {
            return;
        }
        let after = self.slack() + 1;
        if let Some((_, by)) = self.ready.filter(|(key, _)| self.ready_reported != Some(*key)) {
            first = first.min(by + self.rest_slack() + 1);
        }
        for owed in self.owed.values().flat_map(super::owed::OwedList::iter) {
            if !owed.reported {
                first = first.min(owed.by + after);
            }
        }
        if let Some(open) = self.open.as_ref().filter(|open| !open.reported) {
            first = first.min(open.end_by + after);
        }
        let told = self.low_level_by().map_or(i64::MAX, |by| by + after);
        self.timer = first.min(self.level.due.unwrap_or(i64::MAX)).min(told);
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
