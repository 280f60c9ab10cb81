//! The ideal device: it does at once whatever the reference model says may be
//! done, with a pump that does just what it is told.

use dosewright_core::cause::Cause;
use dosewright_core::entry::EntryId;

use crate::observe::{DeviceAct, Observation};

use super::Facts;
use super::acts::Hindrances;
use super::bench::Bench;
use super::causes::Causes;
use super::chip::Chip;
use super::ideal::{Next, Running};
use super::limits::Limits;
use super::model::{Due, Fate, Model, Why};
use super::predict::{Hand, Predicted};
use super::readings::Reading;
use super::stock::{Level, Motor};

/// The ideal device.
#[derive(Debug)]
pub(crate) struct Ideal<H> {
    pub(crate) model: Model,
    pub(crate) hand: H,
    pub(crate) chip: Chip,
    pub(super) limits: Limits,
    pub(super) hinder: Hindrances,
    pub(super) level: Level,
    pub(super) motor: Motor,
    pub(super) bench: Bench,
    /// Alarms that are on, a bit each.
    pub(super) alarms: u16,
    pub(super) open: Option<Running>,
    /// Until when prime or calibrate runs.
    pub(super) service_until: Option<i64>,
    pub(super) kept_by: Vec<(EntryId, Causes)>,
    pub(super) supply_on: bool,
    pub(super) awake: bool,
    pub(super) feed_lost: bool,
    pub(super) was_reset: bool,
    pub(super) booted_once: bool,
    /// Called late, and not yet for what.
    pub(super) held: bool,
    pub(super) now: i64,
    pub(super) ms: u64,
    pub(super) out: Vec<Predicted>,
    pub(super) keep: bool,
}

impl<H: Hand> Ideal<H> {
    pub(crate) fn new(facts: &Facts, hand: H) -> Self {
        Self {
            model: facts.model(),
            hand,
            chip: Chip::default(),
            limits: Limits::default(),
            hinder: Hindrances::default(),
            level: Level::default(),
            motor: Motor::default(),
            bench: Bench::default(),
            alarms: 0,
            open: None,
            service_until: None,
            kept_by: Vec::new(),
            supply_on: false,
            awake: false,
            feed_lost: false,
            was_reset: false,
            booted_once: false,
            held: false,
            now: 0,
            ms: 0,
            out: Vec::new(),
            keep: true,
        }
    }

    /// Keeps no list of dues: for runs that are long and only looked on.
    #[cfg(test)]
    pub(crate) fn forget(&mut self) {
        self.keep = false;
    }

    #[cfg(test)]
    pub(crate) fn is_awake(&self) -> bool {
        self.awake
    }

    /// True time, where a late wake is not over yet.
    #[cfg(test)]
    pub(crate) fn held_at(&self) -> Option<u64> {
        self.held.then_some(self.ms)
    }

    /// Lets everything happen that happens up to this true time.
    pub(crate) fn run_until(&mut self, ms: u64) {
        self.boot_if_due();
        if self.held && ms <= self.ms {
            return;
        }
        self.release();
        if self.awake {
            let to = self.chip.count(ms);
            while let Some(at) = self.timer().filter(|&at| at <= to) {
                self.ms = self.chip.when(at).max(self.ms);
                self.step(at.max(self.now), Why::Awake);
            }
            self.now = self.now.max(to);
        }
        self.ms = self.ms.max(ms);
    }

    /// What passes at a late wake passes now.
    pub(crate) fn release(&mut self) {
        if std::mem::take(&mut self.held) {
            self.step(self.now, Why::Late);
        }
    }

    pub(crate) fn see(&mut self, ms: u64, what: &Observation<'_>) {
        match what {
            // inputs are read at the start, before the logic decides anything
            Observation::Act(DeviceAct::RemoteStop(on)) if !self.awake && ms == self.ms => {
                self.hinder.stop = *on;
                return;
            }
            Observation::Act(DeviceAct::Leak(on)) if !self.awake && ms == self.ms => {
                self.hinder.leak = *on;
                return;
            }
            Observation::Act(DeviceAct::LevelLow(closed)) if !self.awake && ms == self.ms => {
                self.look_at_level(*closed, self.chip.count(ms));
                return;
            }
            Observation::Chip { .. } if ms == self.ms => {}
            Observation::Display { .. }
            | Observation::Account { .. }
            | Observation::Named { .. }
            | Observation::MemoryFault { .. } => return,
            _ => self.catch_up(ms, what),
        }
        match *what {
            Observation::Supply { on } => {
                self.supply_on = on;
                if !on {
                    self.fall_asleep();
                    self.was_reset = false;
                }
            }
            Observation::Reset => {
                self.fall_asleep();
                self.was_reset = true;
            }
            Observation::Chip { count_ms, rate_ppb, feed_kept } => {
                self.feed_lost |= !feed_kept;
                self.chip.set(ms, count_ms, rate_ppb);
            }
            Observation::Act(act) => self.act(act),
            Observation::LateWake { .. }
            | Observation::Pump { .. }
            | Observation::Slot { .. }
            | Observation::Display { .. }
            | Observation::Account { .. }
            | Observation::MemoryFault { .. }
            | Observation::Named { .. }
            | Observation::Unread { .. }
            | Observation::Erased { .. }
            | Observation::NotStarted
            | Observation::Wake => {}
        }
    }

    fn catch_up(&mut self, ms: u64, what: &Observation<'_>) {
        if let Observation::LateWake { by_ms } = *what {
            self.run_until(ms.saturating_sub(by_ms + 1));
            let now = self.chip.count(ms);
            self.one_shot(now);
            self.ms = ms;
            if by_ms > 1 {
                let stopped = !self.hinder.stop_causes().is_empty();
                if let Some(open) = self.open.as_mut().filter(|_| !stopped) {
                    open.disturb(Causes::of(Cause::WokenLate));
                }
            }
            self.now = now;
            self.held = self.awake;
        } else if ms > self.ms && matches!(what, Observation::Chip { feed_kept: false, .. }) {
            self.ms = ms;
        } else {
            self.run_until(ms);
        }
    }

    /// The timer outside the logic turns the pump off in time, awake or not.
    fn one_shot(&mut self, now: i64) {
        if let Some((end, on_ms)) = self.open.as_mut().and_then(|o| o.over_by(now)) {
            self.ms = self.chip.when(end).max(self.ms);
            self.limits.ended(end, on_ms);
            self.hand.pump(self.ms, false);
        }
        if let Some(until) = self.service_until.filter(|&until| until <= now)
            && let Some(service) = self.hinder.service.as_mut().filter(|s| s.ran_ms == 0)
        {
            service.ran_ms = until - service.at;
            self.ms = self.chip.when(until).max(self.ms);
            self.hand.pump(self.ms, false);
        }
    }

    fn fall_asleep(&mut self) {
        (self.awake, self.held) = (false, false);
        (self.hinder.stop, self.hinder.leak) = (false, false);
        self.level.forget();
        self.service_until = None;
        if self.hinder.service.take().is_some() {
            self.hand.pump(self.ms, false);
        }
        if let Some(run) = self.open.as_mut().and_then(Running::cut) {
            self.limits.ended(self.now, self.now - run);
            self.hand.pump(self.ms, false);
        }
    }

    pub(crate) fn boot_if_due(&mut self) {
        if !self.supply_on || self.awake {
            return;
        }
        let at = self.chip.count(self.ms);
        self.awake = true;
        let lost = std::mem::take(&mut self.feed_lost) && self.booted_once;
        self.booted_once = true;
        self.now = at;
        if lost {
            self.model.lose_clock();
        }
        self.hand.booted(&self.model, self.ms, at, !lost);
        self.model.stock.service_lost();
        self.bench.leave();
        self.hinder.fault = self.motor.until() > at;
        let reading = self.model.reading;
        let why = if self.was_reset { Why::Restart } else { Why::Boot };
        for (_, causes) in &mut self.kept_by {
            // whatever kept it before: the start is what kept it last
            *causes = why.causes();
        }
        if let Some(open) = self.open.as_mut() {
            open.restart(why.causes(), reading == Some(Reading::RestartForgets));
            let complete = open.most_ms >= open.total_ms;
            let mut forced = Causes::NONE;
            if lost && reading != Some(Reading::LostFeedGoesOn) {
                forced = forced.with(Cause::ClockLost);
            }
            if open.restarts >= 3 {
                forced = forced.with(Cause::Restarts);
            }
            if complete || !forced.is_empty() || open.due.deadline() <= at {
                if !forced.is_empty() {
                    open.causes = forced;
                }
                self.end_open();
            }
        }
        self.step(at, why);
    }

    fn timer(&self) -> Option<i64> {
        let waiting = || self.model.waiting();
        let next_pulse = match (&self.open, &self.model.head) {
            (Some(open), Some(head)) => {
                let stopped = !self.hinder.stop_causes().is_empty();
                Some(open.timer(self.now, head, &self.limits, stopped))
            }
            _ => None,
        };
        let begins = match (self.first_able(), &self.model.head) {
            (Some(_), Some(head)) => Some(self.limits.free_from(head, self.now)),
            _ => None,
        };
        let lapses = waiting().map(|d| d.deadline()).min();
        let rested = self.hinder.fault.then(|| self.motor.until());
        let low = self.level.due;
        [self.model.next_birth(), lapses, next_pulse, begins, self.service_until, rested, low]
            .into_iter()
            .flatten()
            .min()
    }

    pub(super) fn step(&mut self, at: i64, why: Why) {
        self.now = at;
        if self.service_until.is_some_and(|until| until <= at) {
            self.end_service();
        }
        self.supplies(at);
        self.run_open(at);
        self.lapse(at, why);
        let mut fates = Vec::new();
        self.model.births(at, why, &mut fates);
        self.take(fates, at);
        self.begin_what_can(at);
        self.run_open(at);
        self.tell_alarms(at);
    }

    /// Pulses of the open dose that end or start now.
    pub(super) fn run_open(&mut self, at: i64) {
        let Some(head) = self.model.head else { return };
        let owner = self.open.as_ref().map(|open| open.due.key);
        let hurry = owner.is_some_and(|owner| self.model.another_waits(owner));
        let stopped = !self.hinder.stop_causes().is_empty();
        while let Some(open) = self.open.as_mut() {
            let turned = open.turned;
            match open.next(at, &head, &self.limits, hurry, stopped) {
                Next::Nothing => return,
                Next::Off { ran_ms } => {
                    self.limits.ended(at, ran_ms);
                    self.hand.pump(self.ms, false);
                }
                Next::On { on_ms } => {
                    if turned {
                        self.motor.ran_through();
                    }
                    self.limits.started(at);
                    let open = self.open.as_ref();
                    if let Some(open) = open {
                        self.hand.intends(&self.model, self.ms, open, at, on_ms);
                    }
                    self.hand.pump(self.ms, true);
                }
                Next::End => self.end_open(),
            }
        }
    }

    fn lapse(&mut self, at: i64, why: Why) {
        let over = |d: &&Due| d.deadline() <= at;
        let lapsed: Vec<Due> = self
            .model
            .lines
            .iter()
            .filter_map(|l| l.waiting.as_ref())
            .filter(over)
            .copied()
            .collect();
        for due in lapsed {
            self.lapse_one(&due, why);
        }
    }

    fn lapse_one(&mut self, due: &Due, why: Why) {
        let kept = self.kept(due.key.id);
        let causes = match why {
            Why::Boot | Why::Restart | Why::Setting => why.causes(),
            Why::Late => kept.or(why.causes()),
            Why::Awake | Why::Edit => kept,
        };
        if self.model.line(due.key.id).and_then(|l| l.waiting).is_some_and(|d| d.key == due.key) {
            self.drop_waiting(due.key.id);
        }
        self.skip(due.key, due.key.nominal, 1, due.due_at, due.key.asked, causes);
    }

    pub(super) fn drop_waiting(&mut self, id: EntryId) {
        if let Some(line) = self.model.line_mut(id) {
            line.waiting = None;
        }
    }

    pub(super) fn kept(&self, id: EntryId) -> Causes {
        self.kept_by.iter().find(|(i, _)| *i == id).map_or(Causes::NONE, |(_, c)| *c)
    }

    pub(super) fn take(&mut self, fates: Vec<Fate>, at: i64) {
        for fate in fates {
            match fate {
                Fate::Skipped(span, causes) => {
                    self.skip(span.key, span.last, span.count, span.due_at, false, causes);
                }
                Fate::Waits(id) => self.kept_by.retain(|(i, _)| *i != id),
                Fate::Lapsed(due) => self.lapse_one(&due, Why::Setting),
                Fate::Ends(id, cause) => self.break_off(id, cause, at),
            }
        }
    }

    /// The open dose of an entry ends as far as it has come.
    pub(super) fn break_off(&mut self, id: EntryId, cause: Cause, at: i64) {
        let Some(open) = self.open.as_mut().filter(|o| o.due.key.id == id) else { return };
        if let Some(since) = open.stop(at) {
            self.limits.ended(at, at - since);
            self.hand.pump(self.ms, false);
        }
        open.causes = Causes::of(cause);
        self.end_open();
    }

    /// The due that is first in order among those that could begin.
    pub(super) fn first_able(&self) -> Option<Due> {
        let unset = self.model.clock.offset_ms.is_none();
        let blocked = self.open.is_some() || !self.hinder.pump_causes().is_empty();
        let waiting = self.model.waiting();
        let able = waiting.filter(|d| !(d.weekly && unset)).min_by_key(Due::order);
        let head = self.model.head?;
        able.filter(|d| {
            let free = self.limits.free_from(&head, self.now);
            let blocked = blocked || self.model.stock.is_short(&head);
            !blocked && free + i64::from(head.shortest_on_ms) <= d.deadline()
        })
    }

    /// The run is over: what is still open is listed without an outcome.
    pub(crate) fn finish(mut self, end_ms: u64) -> (Vec<Predicted>, H) {
        self.run_until(end_ms);
        let waiting = self.model.waiting();
        let mut open: Vec<Due> = self.open.iter().map(|o| o.due).chain(waiting).collect();
        open.sort_by_key(Due::order);
        for due in open {
            let said = self.predicted(due.key, due.key.nominal, 1, due.due_at, due.key.asked);
            self.out.push(said);
        }
        (self.out, self.hand)
    }
}
