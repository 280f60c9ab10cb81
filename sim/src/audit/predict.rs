//! What a faultless device with a faultless pump makes of settings, supply and
//! clock: every due with its outcome, from the reference model alone.

use dosewright_core::cause::Cause;
use dosewright_core::config::Head;
use dosewright_core::entry::EntryId;
use dosewright_core::record::OutcomeKind;

use crate::observe::{DeviceAct, Observation};

use super::Facts;
use super::acts::Hindrances;
use super::causes::Causes;
use super::chip::Chip;
use super::ideal::{Next, Running};
use super::limits::Limits;
use super::model::{Delivery, Due, Fate, Key, Model, Why};
use super::readings::Reading;
use super::rules::{Verdict, on_time, volume_nl};
use super::zone;

/// A due, or a stretch of skipped ones, and what has to become of it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Predicted {
    /// The entry.
    pub id: EntryId,
    /// The revision it is born under.
    pub revision: u16,
    /// The clock epoch it is born in.
    pub epoch: u16,
    /// Its place in the entry's order.
    pub nominal: u32,
    /// The last of the stretch; the due itself where there is one.
    pub last: u32,
    /// How many dues it stands for.
    pub count: u64,
    /// Its instant in device ms, as the clock stood when it ended.
    pub due_at: i64,
    /// Its instant in local time in ms since 1970; `None` with the clock unset.
    pub due_local_ms: Option<i64>,
    /// Whether an operator asked for it.
    pub asked: bool,
    /// How it has to end; `None` where it is open at the end. Where `causes`
    /// has more than one, this has the first of them.
    pub kind: Option<OutcomeKind>,
    /// The causes of which any one will do.
    pub causes: Causes,
    /// Least delivered, in nl.
    pub least_nl: u64,
    /// Most delivered, in nl.
    pub most_nl: u64,
    /// How far both may be off, in nl: one ms of flow for an undisturbed dose,
    /// one pulse for each disturbance.
    pub slack_nl: u64,
    /// When it began, in device ms.
    pub begun_at: Option<i64>,
    /// When it ended, in device ms.
    pub ended_at: i64,
}

/// The dues of a run and what has to become of them, in the order in which
/// they end; what is open at `end_ms` comes last. Observations of pump and
/// ledger are not looked at; every act of an operator is taken as accepted.
pub fn predict<'a>(
    facts: &Facts,
    observations: impl IntoIterator<Item = (u64, Observation<'a>)>,
    end_ms: u64,
) -> Vec<Predicted> {
    let mut ideal = Ideal::new(facts, Silent);
    for (at_ms, what) in observations {
        ideal.see(at_ms, &what);
    }
    ideal.finish(end_ms).0
}

/// Is told what the ideal device does, at which device time.
pub(crate) trait Hand {
    fn booted(&mut self, model: &Model, ms: u64, at: i64, feed_kept: bool);
    fn set(&mut self, model: &Model, ms: u64, at: i64, act: &DeviceAct);
    fn waits(&mut self, model: &Model, ms: u64, due: &Due, cause: Cause, at: i64);
    fn intends(&mut self, model: &Model, ms: u64, dose: &Running, at: i64, on_ms: i64);
    fn pump(&mut self, ms: u64, on: bool);
    fn ended(&mut self, model: &Model, ms: u64, what: &Predicted, dose: Option<&Running>);
    fn service(&mut self, ms: u64, at: i64, act: Option<&DeviceAct>, length_ms: i64);
}

/// Tells nobody.
#[derive(Debug)]
pub(crate) struct Silent;

impl Hand for Silent {
    fn booted(&mut self, _: &Model, _: u64, _: i64, _: bool) {}
    fn set(&mut self, _: &Model, _: u64, _: i64, _: &DeviceAct) {}
    fn waits(&mut self, _: &Model, _: u64, _: &Due, _: Cause, _: i64) {}
    fn intends(&mut self, _: &Model, _: u64, _: &Running, _: i64, _: i64) {}
    fn pump(&mut self, _: u64, _: bool) {}
    fn ended(&mut self, _: &Model, _: u64, _: &Predicted, _: Option<&Running>) {}
    fn service(&mut self, _: u64, _: i64, _: Option<&DeviceAct>, _: i64) {}
}

/// The ideal device.
#[derive(Debug)]
pub(crate) struct Ideal<H> {
    pub(crate) model: Model,
    pub(crate) hand: H,
    pub(crate) chip: Chip,
    limits: Limits,
    hinder: Hindrances,
    open: Option<Running>,
    /// Until when prime or calibrate runs.
    service_until: Option<i64>,
    kept_by: Vec<(EntryId, Causes)>,
    supply_on: bool,
    awake: bool,
    feed_lost: bool,
    was_reset: bool,
    booted_once: bool,
    /// Called late, and not yet for what.
    held: bool,
    now: i64,
    ms: u64,
    out: Vec<Predicted>,
    keep: bool,
}

impl<H: Hand> Ideal<H> {
    pub(crate) fn new(facts: &Facts, hand: H) -> Self {
        Self {
            model: facts.model(),
            hand,
            chip: Chip::default(),
            limits: Limits::default(),
            hinder: Hindrances::default(),
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
            Observation::Chip { .. } if ms == self.ms => {}
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
        let reading = self.model.reading;
        let why = if self.was_reset { Why::Restart } else { Why::Boot };
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
                self.end_open(at);
            }
        }
        self.step(at, why);
    }

    fn timer(&self) -> Option<i64> {
        let waiting = || self.model.lines.iter().filter_map(|l| l.waiting);
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
        [self.model.next_birth(), lapses, next_pulse, begins, self.service_until]
            .into_iter()
            .flatten()
            .min()
    }

    fn step(&mut self, at: i64, why: Why) {
        self.now = at;
        if self.service_until.is_some_and(|until| until <= at) {
            self.end_service();
        }
        self.run_open(at);
        self.lapse(at, why);
        let mut fates = Vec::new();
        self.model.births(at, why, &mut fates);
        self.take(fates, at);
        self.begin_what_can(at);
        self.run_open(at);
    }

    /// Pulses of the open dose that end or start now.
    fn run_open(&mut self, at: i64) {
        let Some(head) = self.model.head else { return };
        let hurry = self.model.first_waiting().is_some();
        let stopped = !self.hinder.stop_causes().is_empty();
        while let Some(open) = self.open.as_mut() {
            match open.next(at, &head, &self.limits, hurry, stopped) {
                Next::Nothing => return,
                Next::Off { ran_ms } => {
                    self.limits.ended(at, ran_ms);
                    self.hand.pump(self.ms, false);
                }
                Next::On { on_ms } => {
                    self.limits.started(at);
                    let open = self.open.as_ref();
                    if let Some(open) = open {
                        self.hand.intends(&self.model, self.ms, open, at, on_ms);
                    }
                    self.hand.pump(self.ms, true);
                }
                Next::End => self.end_open(at),
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

    fn drop_waiting(&mut self, id: EntryId) {
        if let Some(line) = self.model.line_mut(id) {
            line.waiting = None;
        }
    }

    fn kept(&self, id: EntryId) -> Causes {
        self.kept_by.iter().find(|(i, _)| *i == id).map_or(Causes::NONE, |(_, c)| *c)
    }

    fn take(&mut self, fates: Vec<Fate>, at: i64) {
        for fate in fates {
            match fate {
                Fate::Skipped(span, causes) => {
                    self.skip(span.key, span.last, span.count, span.due_at, false, causes);
                }
                Fate::Waits(id) => self.kept_by.retain(|(i, _)| *i != id),
                Fate::Lapsed(due) => self.lapse_one(&due, Why::Setting),
                Fate::Ends(id, cause) => {
                    if let Some(open) = self.open.as_mut().filter(|o| o.due.key.id == id) {
                        if let Some(since) = open.stop(at) {
                            self.limits.ended(at, at - since);
                            self.hand.pump(self.ms, false);
                        }
                        open.causes = Causes::of(cause);
                        self.end_open(at);
                    }
                }
            }
        }
    }

    /// The due that is first in order among those that could begin.
    fn first_able(&self) -> Option<Due> {
        let unset = self.model.clock.offset_ms.is_none();
        let blocked = self.open.is_some() || !self.hinder.pump_causes().is_empty();
        let waiting = self.model.lines.iter().filter_map(|l| l.waiting);
        let able = waiting.filter(|d| !(d.weekly && unset)).min_by_key(Due::order);
        let head = self.model.head?;
        able.filter(|d| {
            let free = self.limits.free_from(&head, self.now);
            !blocked && free + i64::from(head.shortest_on_ms) <= d.deadline()
        })
    }

    fn begin_what_can(&mut self, at: i64) {
        while let (Some(due), Some(head)) = (self.first_able(), self.model.head) {
            if self.limits.free_from(&head, at) > at {
                break;
            }
            match self.model.judge(&due, at) {
                Some(Verdict::Begin { volume_nl, cut }) => {
                    self.begin(due, at, volume_nl, cut, &head);
                }
                Some(Verdict::Skip(cause)) => {
                    self.drop_waiting(due.key.id);
                    self.model.judged(due.key.id);
                    self.skip(due.key, due.key.nominal, 1, due.due_at, false, Causes::of(cause));
                }
                None => break,
            }
        }
        self.note_what_waits(at);
    }

    fn note_what_waits(&mut self, at: i64) {
        let unset = self.model.clock.offset_ms.is_none();
        let waiting: Vec<Due> = self.model.lines.iter().filter_map(|l| l.waiting).collect();
        for due in waiting {
            let mut causes = self.hinder.pump_causes();
            if self.open.is_some() {
                causes = causes.with(Cause::PumpInUse);
            }
            if due.weekly && unset {
                causes = causes.with(Cause::ClockUnset).with(Cause::ClockLost);
            }
            if causes.is_empty() {
                let first = self.model.first_waiting().is_some_and(|f| f.key == due.key);
                causes = Causes::of(Cause::PumpInUse);
                if first {
                    causes = causes.with(Cause::PumpLimits);
                }
            }
            let new = !self.kept_by.iter().any(|(id, _)| *id == due.key.id);
            self.kept_by.retain(|(id, _)| *id != due.key.id);
            self.kept_by.push((due.key.id, causes));
            if let (true, Some(cause)) = (new, causes.first()) {
                self.hand.waits(&self.model, self.ms, &due, cause, at);
            }
        }
    }

    fn begin(&mut self, due: Due, at: i64, volume_nl: u64, cut: Option<Cause>, head: &Head) {
        let id = due.key.id;
        let flow = head.flow.as_nl_per_min();
        let carry = match self.model.reading {
            _ if due.key.asked => 0,
            Some(Reading::RemainderDropped) => 0,
            _ => self.model.line(id).map_or(0, |l| l.carry),
        };
        let (total_ms, carry_after) = on_time(volume_nl, carry, flow);
        let pulses = self.model.line(id).and_then(|l| l.entry.pulses);
        if !due.key.asked {
            self.drop_waiting(id);
        }
        let causes = self.kept(id);
        self.kept_by.retain(|(i, _)| *i != id);
        let begin = self.model.begun(id, at, due.key.asked);
        let mut open = Running::new(due, begin, total_ms, carry_after, flow, cut);
        open.causes = causes;
        if causes.is_empty() && at > due.due_at + 1 {
            open.causes = due.why.causes();
        }
        open.plan(head, pulses, volume_nl);
        self.open = Some(open);
        self.run_open(at);
    }

    fn end_open(&mut self, at: i64) {
        let Some(open) = self.open.take() else { return };
        let (key, due) = (open.due.key, open.due);
        let (least_nl, most_nl) =
            (volume_nl(open.least_ms, open.flow), volume_nl(open.most_ms, open.flow));
        let whole = open.most_ms >= open.total_ms;
        let (causes, kind) = match (whole, open.cut) {
            (true, None) => (Causes::NONE, OutcomeKind::Dosed),
            (true, Some(cut)) => (Causes::of(cut), OutcomeKind::Part(cut)),
            (false, _) => {
                let cause = open.causes.first().unwrap_or(Cause::PumpLimits);
                let skipped = open.most_ms == 0;
                let kind =
                    if skipped { OutcomeKind::Skipped(cause) } else { OutcomeKind::Part(cause) };
                (open.causes, kind)
            }
        };
        if kind == OutcomeKind::Dosed
            && !key.asked
            && let Some(line) = self.model.line_mut(key.id)
        {
            line.carry = open.carry_after;
        }
        let slack_nl = volume_nl(open.slack_ms + 1, open.flow) + 1;
        let delivery = Delivery { id: key.id, begin: open.begin, due_at: due.due_at, most_nl };
        self.model.ended(delivery, at);
        let said = Predicted {
            kind: Some(kind),
            causes,
            least_nl,
            most_nl,
            slack_nl,
            begun_at: Some(open.begin.at),
            ended_at: at,
            ..self.predicted(key, key.nominal, 1, due.due_at, due.key.asked)
        };
        self.say(said, Some(&open));
    }

    fn skip(&mut self, key: Key, last: i64, count: u64, due_at: i64, asked: bool, causes: Causes) {
        let said = Predicted {
            kind: Some(OutcomeKind::Skipped(causes.first().unwrap_or(Cause::PumpInUse))),
            causes,
            ended_at: self.now,
            ..self.predicted(key, last, count, due_at, asked)
        };
        self.say(said, None);
    }

    fn predicted(&self, key: Key, last: i64, count: u64, due_at: i64, asked: bool) -> Predicted {
        let utc = self.model.clock.utc_ms(due_at);
        Predicted {
            id: key.id,
            revision: key.revision,
            epoch: key.epoch,
            nominal: u32::try_from(key.nominal).unwrap_or(u32::MAX),
            last: u32::try_from(last).unwrap_or(u32::MAX),
            count,
            due_at,
            due_local_ms: utc.map(|utc| zone::local_ms(&self.model.clock.tz, utc)),
            asked,
            kind: None,
            causes: Causes::NONE,
            least_nl: 0,
            most_nl: 0,
            slack_nl: 0,
            begun_at: None,
            ended_at: self.now,
        }
    }

    fn say(&mut self, said: Predicted, dose: Option<&Running>) {
        self.hand.ended(&self.model, self.ms, &said, dose);
        if self.keep {
            self.out.push(said);
        }
    }

    fn end_service(&mut self) {
        self.service_until = None;
        if let Some(service) = self.hinder.service.take() {
            let mut ran = service.ran_ms;
            if ran == 0 {
                ran = self.now - service.at;
                self.hand.pump(self.ms, false);
            }
            self.limits.service_ended(service.at + ran, ran);
            self.hand.service(self.ms, self.now, None, ran);
        }
    }

    fn act(&mut self, act: &DeviceAct) {
        let at = self.now;
        let mut fates = Vec::new();
        match act {
            DeviceAct::SetHead(head) => self.model.head = Some(*head),
            DeviceAct::SetFlow(flow) => {
                self.model.head = self.model.head.map(|h| Head { flow: *flow, ..h });
            }
            DeviceAct::SetZone(zone) => self.model.set_zone(at, *zone, &mut fates),
            DeviceAct::SetClock(local) => {
                if let Some(utc) = zone::utc_ms(&self.model.clock.tz, local.as_ms()) {
                    self.model.set_offset(at, utc - at, &mut fates);
                }
            }
            DeviceAct::SetTimetable(t) => {
                let ceiling = t.ceiling.map(dosewright_core::units::Volume::as_nl);
                self.model.adopt(at, t.entries(), t.closed, ceiling, &mut fates);
            }
            DeviceAct::RunAgain(id) => self.run_again(*id, at),
            DeviceAct::Prime(_) | DeviceAct::Calibrate(_) => self.serve(act, at),
            DeviceAct::Release => {
                if self.hinder.service.is_some() {
                    self.end_service();
                }
            }
            DeviceAct::RemoteStop(on) => self.stop(Cause::RemoteStop, *on, at),
            DeviceAct::Leak(on) => self.stop(Cause::Leak, *on, at),
            DeviceAct::MotorFault => self.stop(Cause::MotorFault, true, at),
            DeviceAct::Acknowledge => self.stop(Cause::MotorFault, false, at),
        }
        self.hand.set(&self.model, self.ms, at, act);
        self.take(fates, at);
        let late = std::mem::take(&mut self.held);
        self.step(at, if late { Why::Late } else { Why::Setting });
    }

    fn run_again(&mut self, id: EntryId, at: i64) {
        let busy = self.open.is_some() || !self.hinder.pump_causes().is_empty();
        let (Some(head), false) = (self.model.head, busy) else { return };
        let number = i64::from(self.model.asks);
        let Some(due) = self.model.asked_due(id, number, at) else { return };
        if self.limits.free_from(&head, at) > at {
            return;
        }
        if let Some(Verdict::Begin { volume_nl, cut }) = self.model.judge(&due, at) {
            self.model.asks += 1;
            self.begin(due, at, volume_nl, cut, &head);
        }
    }

    fn serve(&mut self, act: &DeviceAct, at: i64) {
        let busy = self.open.is_some() || !self.hinder.pump_causes().is_empty();
        let (Some(head), false) = (self.model.head, busy) else { return };
        let (prime, length) = match act {
            DeviceAct::Prime(volume) => {
                let (ms, _) = on_time(volume.as_nl(), 0, head.flow.as_nl_per_min());
                (true, ms.min(i64::from(head.longest_prime_ms)))
            }
            DeviceAct::Calibrate(ms) => {
                (false, i64::from(*ms).min(i64::from(head.longest_calibration_ms)))
            }
            _ => return,
        };
        self.hinder.service = Some(super::acts::Service { prime, at, ran_ms: 0 });
        self.service_until = Some(at + length);
        self.hand.service(self.ms, at, Some(act), length);
        self.hand.pump(self.ms, true);
    }

    fn stop(&mut self, cause: Cause, on: bool, at: i64) {
        match cause {
            Cause::RemoteStop => self.hinder.stop = on,
            Cause::Leak => self.hinder.leak = on,
            _ => self.hinder.fault = on,
        }
        if on && self.hinder.service.is_some() {
            self.end_service();
        }
        if let Some(open) = self.open.as_mut().filter(|_| on) {
            open.disturb(Causes::of(cause));
            if let Some(since) = open.stop(at) {
                self.limits.ended(at, at - since);
                self.hand.pump(self.ms, false);
            }
        }
    }

    /// The run is over: what is still open is listed without an outcome.
    pub(crate) fn finish(mut self, end_ms: u64) -> (Vec<Predicted>, H) {
        self.run_until(end_ms);
        let waiting = self.model.lines.iter().filter_map(|l| l.waiting);
        let mut open: Vec<Due> = self.open.iter().map(|o| o.due).chain(waiting).collect();
        open.sort_by_key(Due::order);
        for due in open {
            let said = self.predicted(due.key, due.key.nominal, 1, due.due_at, due.key.asked);
            self.out.push(said);
        }
        (self.out, self.hand)
    }
}
