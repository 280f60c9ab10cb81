//! The dose that is open: its pulses, its disturbances, its end.

use super::{Controller, ON_TIME, Pump};
use crate::book::OpenDose;
use crate::cause::Cause;
use crate::effect::{Effect, Effects};
use crate::entry::{Entry, EntryId};
use crate::record::{DueKey, Mark, Outcome, OutcomeKind, Pulse, Record};
use crate::spread::{self, Bounds, PUT_OFF, Plan};
use crate::time::{Duration, Instant};
use crate::timetable::Refusal;
use crate::units::Flow;

/// What is known of the open dose beyond its last intent in the ledger.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(super) struct Running {
    /// The train of pulses still to run; `None` until something lets it be made.
    plan: Option<Plan>,
    /// Length of the pulses the dose was planned with.
    pulse_ms: u32,
    /// The least pumping so far, without the pulse that runs.
    pub(super) least_ms: u32,
    /// The most pumping so far, without the pulse that runs.
    pub(super) most_ms: u32,
    window_end: Instant,
    deadline: Instant,
    /// The last thing that disturbed it.
    pub(super) disturbed: Option<Cause>,
    /// It finishes fast because another waits.
    hurried: bool,
    /// An operator has ended it, and its outcome is not in the ledger yet.
    stopped: bool,
}

impl Running {
    /// A dose that is about to begin by a plan.
    pub(super) const fn new(begin: &Begin) -> Self {
        Self {
            plan: Some(begin.plan),
            pulse_ms: begin.pulse_ms,
            least_ms: 0,
            most_ms: begin.doubted_ms,
            window_end: begin.due_at.plus(begin.entry.window()),
            deadline: begin.due_at.plus(begin.entry.window_and_grace()),
            disturbed: begin.disturbed,
            hurried: begin.hurried,
            stopped: false,
        }
    }
}

/// All that is settled when a dose begins.
#[derive(Clone, Copy)]
pub(super) struct Begin {
    pub(super) line: usize,
    pub(super) entry: Entry,
    pub(super) due: DueKey,
    pub(super) due_at: Instant,
    pub(super) mark: Mark,
    pub(super) plan: Plan,
    /// Length of the pulses the dose was planned with.
    pub(super) pulse_ms: u32,
    /// Pumping that the dose asks for in all.
    pub(super) dose_ms: u32,
    /// Pumping that slots which cannot be read may stand for.
    pub(super) doubted_ms: u32,
    pub(super) flow: Flow,
    pub(super) asked: bool,
    pub(super) cut: Option<Cause>,
    pub(super) disturbed: Option<Cause>,
    pub(super) hurried: bool,
}

impl<const N: usize, const H: usize> Controller<N, H> {
    /// The entry of the open dose, if it is still what it was at its begin.
    fn open_entry(&self, pulse: &Pulse) -> Result<Entry, Cause> {
        let line = usize::from(pulse.line);
        match self.book.timetable.line(line) {
            Some(entry) => self.open_stands(pulse).map(|()| entry),
            None => self.open_stands(pulse).and(Err(Cause::Removed)),
        }
    }

    /// Whether it is, without unpacking it: this is asked at every call.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    fn open_stands(&self, pulse: &Pulse) -> Result<(), Cause> {
        let line = usize::from(pulse.line);
        match self.book.timetable.id_on(line) {
            Some(id) if id != pulse.due.id => Err(Cause::Removed),
            Some(_) if self.book.revision(line) == pulse.due.revision => Ok(()),
            Some(_) if self.book.timetable.line(line).is_some_and(|entry| !entry.enabled) => {
                Err(Cause::Disabled)
            }
            Some(_) => Err(Cause::Edited),
            None if self.book.damaged & crate::book::bit(line) != 0 => Err(Cause::Damaged),
            None => Err(Cause::Removed),
        }
    }

    /// Begins a dose: its first intent, which the pump waits for.
    pub(super) fn begin(&mut self, begin: &Begin) -> bool {
        self.running = Some(Running::new(begin));
        let after = self.now.since(begin.due_at).as_ms();
        self.want(&Record::Pulse(Pulse {
            line: begin.line as u8,
            due: begin.due,
            mark: begin.mark,
            at: self.now,
            due_at: begin.due_at,
            begun_after_ms: u32::try_from(after).unwrap_or(u32::MAX),
            on_ms: u32::try_from(begin.plan.next_length().as_ms()).unwrap_or(u32::MAX),
            least_ms: 0,
            most_ms: begin.doubted_ms,
            dose_ms: begin.dose_ms,
            flow: begin.flow,
            first: true,
            asked: begin.asked,
            cut: begin.cut,
            restarts: 0,
        }))
    }

    /// What a restart makes of the open dose: the last intent counts as
    /// delivered, and is not sure (D4).
    pub(super) fn resumed(&self, open: &OpenDose) -> Running {
        let pulse = &open.pulse;
        let entry = self.open_entry(pulse).ok();
        let (window, whole) =
            entry.map_or((Duration::ZERO, Duration::ZERO), |e| (e.window(), e.window_and_grace()));
        // the last one may have been longer, in a hurry
        let pulse_ms = entry.zip(self.book.head.as_ref()).map_or(pulse.on_ms, |(entry, head)| {
            let pulses = entry.pulses.filter(|_| pulse.cut.is_none());
            let dose_ms = u64::from(pulse.dose_ms);
            let planned = spread::pulses_for(dose_ms, u64::from(entry.window_ms), head, pulses);
            pulse.dose_ms.div_ceil(spread::pulses_or_most(planned))
        });
        Running {
            plan: None,
            pulse_ms,
            least_ms: pulse.least_ms,
            most_ms: open.most_ms(),
            window_end: pulse.due_at.plus(window),
            deadline: pulse.due_at.plus(whole),
            disturbed: Some(self.passing),
            hurried: false,
            stopped: false,
        }
    }

    /// Starts the pump for an intent that the ledger has.
    pub(super) fn run_pulse(&mut self, pulse: &Pulse, effects: &mut Effects) {
        let length = self.book.run_of(pulse.on_ms);
        if let Some(plan) = self.running.as_mut().and_then(|running| running.plan.as_mut()) {
            plan.next += 1;
        }
        if self.stopped_by().is_some() {
            // the stop came while the intent was written: the pulse is not run
            return;
        }
        self.pump = Pump::On { since: self.now, until: self.now.plus(length) };
        effects.push(Effect::PumpOn(length));
        if !self.book.gauge.pack.is_mains() {
            effects.push(Effect::ReadPack);
        }
    }

    /// Ends a run whose time is over. The one-shot has ended it on the
    /// millisecond, whenever this call comes.
    pub(super) fn end_run(&mut self, effects: &mut Effects) {
        let Pump::On { since, until } = self.pump else { return };
        if self.now < until {
            return;
        }
        effects.push(Effect::PumpOff);
        self.pump_went_off(since, until, until);
    }

    /// Turns the pump off before its time.
    pub(super) fn stop_run(&mut self, effects: &mut Effects) {
        if let Pump::On { since, until } = self.pump {
            effects.push(Effect::PumpOff);
            self.pump_went_off(since, until, self.now.min(until));
        }
    }

    fn pump_went_off(&mut self, since: Instant, until: Instant, at: Instant) {
        let on = at.since(since);
        let rest = self.book.head.as_ref().map_or(Duration::ZERO, |head| head.rest_after(on));
        let mut rest_until = at.plus(rest);
        if let Some(service) = &mut self.service {
            let on_ms = u32::try_from(on.as_ms()).unwrap_or(u32::MAX);
            service.ran_ms = service.ran_ms.saturating_add(on_ms);
            // what is cut short is over, whatever of a train was still to come
            service.over = service.left == 0 || at < until;
            if service.over {
                rest_until = rest_until.max(service.rest_until);
            }
        } else if let Some(running) = &mut self.running {
            // what was cut off is taken off the pulse: its start was lost anyway
            let cut_ms = u32::try_from(until.since(at).as_ms()).unwrap_or(u32::MAX);
            let pulse_ms = self.book.open.as_ref().map_or(0, |open| open.pulse.on_ms);
            let on_ms = pulse_ms.saturating_sub(cut_ms);
            running.least_ms = running.least_ms.saturating_add(on_ms);
            // while time stands still nobody knows how long it ran
            let most_ms = if self.behind { pulse_ms } else { on_ms };
            running.most_ms = running.most_ms.saturating_add(most_ms);
        }
        self.pump = Pump::Off { rest_until };
    }

    /// An operator ends the open dose of an entry. The pump is off at once, whether the
    /// ledger can take it down now or later.
    pub(super) fn stop_dose(&mut self, id: EntryId, effects: &mut Effects) {
        let is_its = self.book.open.as_ref().is_some_and(|open| open.pulse.due.id == id);
        match &mut self.running {
            Some(running) if is_its => {
                running.stopped = true;
                self.stop_run(effects);
            }
            // its pump is off until the start is in the ledger, and the stop is not
            None if is_its => effects.push(Effect::Refused(Refusal::Busy)),
            _ => effects.push(Effect::Refused(Refusal::NotRunning { id })),
        }
    }

    /// The governor: whatever the state machine thinks, no run is longer than
    /// the longest (D7).
    pub(super) fn govern(&mut self, effects: &mut Effects) {
        let Pump::On { since, .. } = self.pump else { return };
        if self.now.since(since) >= self.longest_run() {
            self.disturb(Cause::PumpLimits);
            self.stop_run(effects);
        }
    }

    /// How long a run may be that is on now.
    pub(super) fn longest_run(&self) -> Duration {
        let Some(head) = &self.book.head else { return Duration::from_ms(u64::MAX) };
        let longest = self.service.as_ref().map_or(head.longest_run_ms, |s| s.longest_ms);
        Duration::from_ms(u64::from(longest))
    }

    /// Something gets in the way of the open dose: its train is made anew.
    pub(super) fn disturb(&mut self, cause: Cause) {
        if let Some(running) = &mut self.running {
            running.plan = None;
            running.disturbed = Some(cause);
        }
    }

    /// The end of the open dose, if it has come.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(super) fn dose_end(&mut self, effects: &mut Effects) -> bool {
        let Some(open) = &self.book.open else { return false };
        if self.running.is_none() {
            debug_assert!(false, "an open dose that nobody runs");
            self.running = Some(self.resumed(open));
        }
        if let Some(cause) = self.must_end(open) {
            let pulse = open.pulse;
            self.stop_run(effects);
            return self.outcome_of(&pulse, cause);
        }
        let Some(running) = &self.running else { return false };
        let over = running.most_ms >= open.pulse.dose_ms || self.now >= running.deadline;
        if !over || self.pump_is_on() {
            return false;
        }
        let (pulse, blame) = (open.pulse, self.blame(running));
        self.outcome_of(&pulse, blame)
    }

    /// What keeps the open dose from going on, or disturbed it last.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    fn blame(&self, running: &Running) -> Cause {
        let empty = self.is_short().then_some(Cause::ContainerEmpty);
        let next = running.plan.and_then(|plan| plan.next_start());
        let missed = next.and_then(|start| self.missed(start));
        self.stopped_by().or(empty).or(missed).or(running.disturbed).unwrap_or(Cause::WokenLate)
    }

    /// What a call passed by that comes too late for a planned start.
    fn missed(&self, start: Instant) -> Option<Cause> {
        let late = self.now.since(start) > ON_TIME;
        // a setting never touches a dose that has begun (D9)
        let is_set = self.passing == Cause::ClockSet;
        late.then_some(if is_set { Cause::WokenLate } else { self.passing })
    }

    /// The next intent of the open dose, if its time has come; or its end, where
    /// nothing more can be delivered.
    pub(super) fn dose_pulse(&mut self) -> bool {
        if self.pump_is_on() || self.book.open.is_none() {
            return false;
        }
        let (stopped_by, another_waits) = (self.stopped_by(), self.another_waits());
        let Some(running) = &mut self.running else { return false };
        if stopped_by.is_some() {
            // of stops that lap over one another, the one that lasts disturbs it last
            running.disturbed = stopped_by;
            return false;
        }
        if running.hurried != another_waits {
            // while another waits for this one, it is as fast as it may be (D3)
            (running.plan, running.hurried) = (None, another_waits);
        }
        let planned = running.plan.and_then(|plan| plan.next_start().map(|at| (plan, at)));
        if planned.is_some_and(|(_, start)| self.now < start) {
            return false;
        }
        let start = planned.and_then(|(_, at)| self.put_off(at));
        let plan = match planned.zip(start) {
            Some((_, start)) if self.now < start => return false,
            Some(((plan, _), start)) if self.may_start(start, &plan) => plan,
            _ => {
                let missed = planned.and_then(|(_, start)| self.missed(start));
                if planned.is_some()
                    && let Some(running) = &mut self.running
                {
                    running.disturbed = missed.or(Some(Cause::PumpLimits));
                }
                let Some(pulse) = self.book.open.map(|open| open.pulse) else { return false };
                let Some(plan) = self.respread(&pulse) else {
                    // nothing more can be delivered before the deadline
                    let blame = self.running.as_ref().map(|running| self.blame(running));
                    return self.outcome_of(&pulse, blame.unwrap_or(Cause::WokenLate));
                };
                if let Some(running) = &mut self.running {
                    running.plan = Some(plan);
                }
                if plan.origin > self.now {
                    return false;
                }
                plan
            }
        };
        let (Some(OpenDose { pulse, .. }), Some(running)) = (&self.book.open, &self.running) else {
            return false;
        };
        self.want(&Record::Pulse(Pulse {
            at: self.now,
            mark: self.book.mark(usize::from(pulse.line)),
            on_ms: u32::try_from(plan.next_length().as_ms()).unwrap_or(u32::MAX),
            least_ms: running.least_ms,
            most_ms: running.most_ms,
            first: false,
            ..*pulse
        }))
    }

    /// Whether another due waits for the pump. One of the same entry, put ahead by a clock
    /// that was set back, is no other: its dose does not notice (D9).
    fn another_waits(&self) -> bool {
        let Some(OpenDose { pulse, .. }) = &self.book.open else { return false };
        let is_another = |line: usize| pulse.asked || line != usize::from(pulse.line);
        self.any_waiting && (0..N).any(|line| is_another(line) && self.book.waits(line))
    }

    /// When a pulse starts that is planned for an instant: the pump's limits may put it off
    /// by a little; `None` where it is more.
    fn put_off(&self, start: Instant) -> Option<Instant> {
        Some(self.start_allowed_from(start)).filter(|&allowed| allowed <= start.plus(PUT_OFF))
    }

    /// Whether the next pulse of a plan may start at its instant, which the limits allow.
    fn may_start(&self, start: Instant, plan: &Plan) -> bool {
        self.now.since(start) <= ON_TIME
            && self.running.as_ref().is_some_and(|running| {
                let run = plan.next_length().plus(self.book.run_of(0));
                self.now.plus(run) <= running.deadline
            })
    }

    /// Spreads what is left of the open dose from the first moment it may go on.
    fn respread(&self, pulse: &Pulse) -> Option<Plan> {
        let (running, head) = (self.running?, self.book.head?);
        let from = self.next_start_allowed();
        let bounds = Bounds {
            from,
            window_end: running.window_end,
            deadline: running.deadline,
            starts: &self.book.starts,
            hurry: running.hurried,
        };
        let rest_ms = pulse.dose_ms.saturating_sub(running.most_ms).min(self.stock_ms(pulse.flow));
        spread::respread(rest_ms, running.pulse_ms, &head, &bounds)
    }

    /// What ends the open dose at once, whatever is left of it.
    fn must_end(&self, open: &OpenDose) -> Option<Cause> {
        if open.lost {
            return Some(Cause::ClockLost);
        }
        if let Err(cause) = self.open_stands(&open.pulse) {
            return Some(cause);
        }
        if self.running.as_ref().is_some_and(|running| running.stopped) {
            return Some(Cause::Stopped);
        }
        (open.pulse.restarts >= 3).then_some(Cause::Restarts)
    }

    /// The end of the open dose, as far as it has come.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    fn outcome_of(&mut self, pulse: &Pulse, cause: Cause) -> bool {
        let (least_ms, most_ms) =
            self.running.map_or((0, pulse.dose_ms), |r| (r.least_ms, r.most_ms));
        let volume = |ms: u32| pulse.flow.volume(Duration::from_ms(u64::from(ms)));
        let line = usize::from(pulse.line);
        let state = self.book.state(line);
        let whole = most_ms >= pulse.dose_ms;
        let mut carry = state.carry;
        let kind = if whole {
            match (pulse.cut, self.book.timetable.line(line)) {
                (Some(cut), _) => OutcomeKind::Part(cut),
                (None, entry) => {
                    // of an entry that was edited since, the dose's volume is not known any more
                    if !pulse.asked
                        && state.revision == pulse.due.revision
                        && let Some(entry) = entry
                    {
                        carry = pulse.flow.on_time(entry.volume, state.carry).1;
                    }
                    OutcomeKind::Dosed
                }
            }
        } else if most_ms == 0 {
            OutcomeKind::Skipped(cause)
        } else {
            OutcomeKind::Part(cause)
        };
        self.want(&Record::Outcome(Outcome {
            line: pulse.line,
            due: pulse.due,
            last: pulse.due.nominal,
            count: 1,
            at: self.now,
            due_at: pulse.due_at,
            begun_after_ms: pulse.begun_after_ms,
            least: volume(least_ms),
            most: volume(most_ms),
            kind,
            asked: pulse.asked,
            restarts: pulse.restarts,
            mark: state.mark,
            carry: if whole { carry } else { state.carry },
        }))
    }

    /// When the open dose wants its next pulse.
    pub(super) fn pulse_start(&self) -> Option<Instant> {
        if let Some(at) = self.train_goes_on() {
            return Some(at);
        }
        if self.pump_is_on() || self.is_halted() {
            return None;
        }
        match (&self.book.open, &self.running) {
            (Some(_), Some(running)) => match &running.plan {
                Some(plan) => plan.next_start().map(|start| self.put_off(start).unwrap_or(start)),
                None => Some(self.next_start_allowed()),
            },
            _ if self.any_waiting && self.service.is_none() => {
                let allowed = self.next_start_allowed();
                (allowed > self.now).then_some(allowed)
            }
            _ => None,
        }
    }

    /// The deadline of the open dose while something keeps it from going on.
    pub(super) fn blocked_deadline(&self) -> Option<Instant> {
        let running = self.running.as_ref().filter(|_| self.book.open.is_some())?;
        let blocked = self.stopped_by().is_some() || running.plan.is_none();
        (blocked && !self.pump_is_on()).then_some(running.deadline)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::book::Book;
    use crate::config::Head;
    use crate::controller::boot;
    use crate::event::Event;
    use crate::timers::Reason;
    use crate::units::Flow;

    #[test]
    fn d7_the_governor_ends_a_run_that_the_state_machine_has_forgotten() {
        let began = Instant::from_ms(60_000);
        let mut controller = boot(Book::<4, 8>::empty(), began);
        let flow = Flow::from_nl_per_min(24_000_000).unwrap();
        let head = Head { longest_run_ms: 90_000, ..Head::with_flow(flow) };
        for mut event in [Event::Wake, Event::SetHead(&head)] {
            while controller.step(began, event).iter().any(|effect| effect == Effect::Append) {
                event = Event::Appended;
            }
        }
        // the bug: the pump is on, for no dose, and no end of it is known
        assert!(controller.book.head.is_some() && controller.running.is_none());
        controller.pump = Pump::On { since: began, until: Instant::MAX };
        let _ = controller.step(began, Event::Wake);
        let latest = began.plus(Duration::from_ms(90_000));
        assert_eq!(controller.next_wake(), Some((latest, Reason::Governor)));
        let early = controller.step(latest.minus(Duration::from_ms(1)), Event::Wake);
        assert!(controller.pump_is_on() && early.iter().all(|e| e != Effect::PumpOff));
        let late = controller.step(latest, Event::Wake);
        assert!(!controller.pump_is_on() && late.iter().any(|e| e == Effect::PumpOff));
    }
}
