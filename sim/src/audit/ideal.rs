//! A dose on a faultless pump: when each pulse starts and how long it is.

use dosewright_core::cause::Cause;
use dosewright_core::config::Head;

use super::causes::Causes;
use super::limits::{Limits, pulse_limits, rest_ms};
use super::model::{Begin, Due};
use super::share::share;

/// How the pulses that are left lie.
#[derive(Debug, Clone, Copy)]
enum Spread {
    /// `pulses` of them, from `from` on, over `span_ms`, `ms` of pumping in all.
    Even { from: i64, span_ms: i64, ms: i64, pulses: i64, done: i64 },
    /// As fast as the limits allow.
    Fast,
    /// To be worked out again.
    Open,
}

/// What comes next.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Next {
    Nothing,
    On { on_ms: i64 },
    Off { ran_ms: i64 },
    End,
}

/// A dose that owns the ideal pump.
#[derive(Debug, Clone)]
pub(crate) struct Running {
    pub(crate) due: Due,
    pub(crate) begin: Begin,
    pub(crate) total_ms: i64,
    pub(crate) carry_after: u32,
    pub(crate) flow: u32,
    pub(crate) cut: Option<Cause>,
    /// What disturbed it last.
    pub(crate) causes: Causes,
    /// All that disturbed it: any of it may be called the cause of a part dose.
    pub(crate) all_causes: Causes,
    /// Least and most pumping before the pulse that runs.
    pub(crate) least_ms: i64,
    pub(crate) most_ms: i64,
    pub(crate) restarts: u8,
    /// By how much another good device's dose may differ.
    pub(crate) slack_ms: i64,
    /// The pulse that runs: its start and length.
    pulse: Option<(i64, i64)>,
    /// The last intent, which a restart counts: least and most before, length.
    intent: Option<(i64, i64, i64)>,
    /// When that was.
    intent_at: i64,
    /// Its last pulse went on to its end, and the device knows it.
    pub(crate) turned: bool,
    spread: Spread,
    pulses: i64,
    was_hurried: bool,
    /// Pumping that the container has for it in all.
    cap_ms: i64,
}

impl Running {
    pub(crate) fn new(
        due: Due,
        begin: Begin,
        total_ms: i64,
        carry_after: u32,
        flow: u32,
        cut: Option<Cause>,
    ) -> Self {
        Self {
            due,
            begin,
            total_ms,
            carry_after,
            flow,
            cut,
            causes: Causes::NONE,
            all_causes: Causes::NONE,
            least_ms: 0,
            most_ms: 0,
            restarts: 0,
            slack_ms: 0,
            pulse: None,
            intent: None,
            intent_at: 0,
            turned: false,
            spread: Spread::Open,
            pulses: 1,
            was_hurried: false,
            cap_ms: i64::MAX,
        }
    }

    fn window_end(&self) -> i64 {
        self.due.due_at + self.due.window_ms
    }

    /// The pulses of an undisturbed dose: as many as the entry says, or pulses of
    /// at least the head's least volume.
    pub(crate) fn plan(&mut self, head: &Head, pulses: Option<u16>, volume_nl: u64) {
        let by_volume = volume_nl / head.least_pulse.as_nl().max(1);
        self.pulses = pulses.map_or(by_volume as i64, i64::from).clamp(1, 1000);
        if self.begin.at <= self.due.due_at + 1 {
            let (from, until) = (self.due.due_at, self.window_end());
            self.spread = even(head, from, until, self.total_ms, self.pulses, None);
        }
    }

    pub(crate) fn disturb(&mut self, causes: Causes) {
        self.causes = causes;
        self.all_causes = self.all_causes.or(causes);
        self.spread = Spread::Open;
        self.slack_ms += self.total_ms / self.pulses.max(1) + 1;
    }

    /// The container has so much pumping for it in all, from now on.
    pub(crate) fn cap(&mut self, ms: i64) {
        let was_short = self.cap_ms < self.total_ms;
        self.cap_ms = ms;
        if was_short || ms < self.total_ms {
            self.disturb(Causes::of(Cause::ContainerEmpty));
        }
    }

    /// What it can pump in all.
    fn can_ms(&self) -> i64 {
        self.total_ms.min(self.cap_ms.max(self.most_ms))
    }

    pub(crate) fn is_on(&self) -> bool {
        self.pulse.is_some()
    }

    /// How long the pulse that runs has run by then.
    pub(crate) fn running_ms(&self, at: i64) -> i64 {
        self.pulse.map_or(0, |(start, on)| (at - start).min(on))
    }

    /// The most pumping by its intents, the last one in full.
    pub(crate) fn intended_ms(&self) -> i64 {
        self.intent.map_or(0, |(_, most, on)| most + on).min(self.total_ms)
    }

    /// The same by an instant, which the last pulse may have begun after or reach beyond.
    pub(crate) fn intended_by(&self, at: i64) -> i64 {
        let left = self.intent.map_or(0, |(_, _, on)| (on - (at - self.intent_at).max(0)).max(0));
        self.intended_ms() - left
    }

    /// What it has pumped at most by an instant, as far as the device knows.
    pub(crate) fn pumped_by(&self, at: i64) -> i64 {
        if self.is_on() { self.intended_by(at) } else { self.most_ms }
    }

    /// The motor has a fault, which the ledger has the instant of: the last pulse has run no
    /// longer than until then.
    pub(crate) fn fault(&mut self, at: i64) {
        if let Some((_, _, on)) = &mut self.intent {
            *on = (*on).min(at - self.intent_at);
        }
    }

    /// The pump stops in mid-pulse and the device knows how long it ran; gives
    /// the start of the pulse.
    pub(crate) fn stop(&mut self, at: i64) -> Option<i64> {
        let (start, _) = self.pulse.take()?;
        self.least_ms += at - start;
        self.most_ms += at - start;
        Some(start)
    }

    /// The pump stops in mid-pulse, and the device does not get to know; gives
    /// the start of the pulse.
    pub(crate) fn cut(&mut self) -> Option<i64> {
        self.pulse.take().map(|(start, _)| start)
    }

    /// End and length of the pulse, where it is over by then; the device knows.
    pub(crate) fn over_by(&mut self, now: i64) -> Option<(i64, i64)> {
        let (start, on) = self.pulse.take_if(|(start, on)| *start + *on <= now)?;
        self.least_ms += on;
        self.most_ms += on;
        self.turned = true;
        Some((start + on, on))
    }

    pub(crate) fn restart(&mut self, causes: Causes, forgets: bool) {
        self.restarts = self.restarts.saturating_add(1);
        self.turned = false;
        if let Some((least, most, on)) = self.intent.take() {
            self.least_ms = least;
            self.most_ms = if forgets { most } else { (most + on).min(self.total_ms) };
        }
        self.disturb(causes);
    }

    /// Start and length of the next pulse; `None` where no more fits.
    fn upcoming(&self, now: i64, head: &Head, limits: &Limits) -> Option<(i64, i64)> {
        let left = self.can_ms() - self.most_ms;
        match self.spread {
            Spread::Even { from, span_ms, ms, pulses, done } => {
                let at = |i: i64| share(span_ms, i, pulses);
                let part = |i: i64| share(ms, i, pulses);
                Some((
                    limits.free_from(head, from + at(done)).max(now),
                    part(done + 1) - part(done),
                ))
            }
            Spread::Fast | Spread::Open => {
                let start = limits.free_from(head, now);
                let (shortest, longest) = pulse_limits(head);
                let mut on = left.min(longest).min(self.due.deadline() - start);
                let rest = left - on;
                if rest > 0 && rest < shortest && on - (shortest - rest) >= shortest {
                    on -= shortest - rest;
                }
                (on >= shortest.min(left)).then_some((start, on))
            }
        }
    }

    /// When to look again.
    pub(crate) fn timer(&self, now: i64, head: &Head, limits: &Limits, stopped: bool) -> i64 {
        if let Some((start, on)) = self.pulse {
            return start + on;
        }
        let deadline = self.due.deadline();
        if stopped {
            return deadline;
        }
        self.upcoming(now, head, limits).map_or(deadline, |(start, _)| start.min(deadline))
    }

    /// What happens now, one thing at a time.
    pub(crate) fn next(
        &mut self,
        at: i64,
        head: &Head,
        limits: &Limits,
        hurry: bool,
        stopped: bool,
    ) -> Next {
        if let Some((start, on)) = self.pulse {
            if at < start + on {
                return Next::Nothing;
            }
            self.pulse = None;
            self.least_ms += on;
            self.most_ms += on;
            self.turned = true;
            return Next::Off { ran_ms: on };
        }
        if self.most_ms >= self.can_ms() || at >= self.due.deadline() {
            return Next::End;
        }
        if stopped {
            return Next::Nothing;
        }
        if hurry != self.was_hurried {
            self.was_hurried = hurry;
            self.spread = Spread::Open;
        }
        if matches!(self.spread, Spread::Open) {
            self.spread = self.spread_again(at, head, limits, hurry);
        }
        let Some((start, on)) = self.upcoming(at, head, limits) else { return Next::End };
        if at < start {
            return Next::Nothing;
        }
        if at + on > self.due.deadline() && !matches!(self.spread, Spread::Fast) {
            self.spread = Spread::Fast;
            return self.next(at, head, limits, hurry, stopped);
        }
        if let Spread::Even { done, .. } = &mut self.spread {
            *done += 1;
        }
        self.intent = Some((self.least_ms, self.most_ms, on));
        (self.intent_at, self.turned) = (at, false);
        self.pulse = Some((at, on));
        Next::On { on_ms: on }
    }

    fn spread_again(&self, at: i64, head: &Head, limits: &Limits, hurry: bool) -> Spread {
        let left = self.can_ms() - self.most_ms;
        if hurry {
            return Spread::Fast;
        }
        let from = limits.free_from(head, at);
        let pulses = (left * self.pulses / self.total_ms.max(1)).max(1);
        for until in [self.window_end(), self.due.deadline()] {
            if until > from {
                let even = even(head, from, until, left, pulses, Some(limits));
                if matches!(even, Spread::Even { .. }) {
                    return even;
                }
            }
        }
        Spread::Fast
    }

    /// Least and most pumping before the last intent.
    #[cfg(test)]
    pub(crate) fn before(&self) -> (i64, i64) {
        self.intent.map_or((0, 0), |(least, most, _)| (least, most))
    }
}

/// An even train of as many pulses as may be, if there can be one; the starts there have
/// been count where they are given.
fn even(
    head: &Head,
    from: i64,
    until: i64,
    ms: i64,
    most_pulses: i64,
    limits: Option<&Limits>,
) -> Spread {
    let span = until - from;
    let (shortest, longest) = pulse_limits(head);
    for pulses in (1..=most_pulses.max(ms / longest + 1)).rev() {
        let (least, most) = (ms / pulses, (ms + pulses - 1) / pulses);
        let gap = span / pulses - most;
        let in_an_hour = pulses.min(pulses * 3_600_000 / span.max(1) + 1);
        let enough = least >= shortest || pulses == 1;
        let rest = if pulses == 1 { 0 } else { rest_ms(head, most) };
        let starts = (0..pulses).map(|i| from + share(span, i, pulses));
        if enough
            && most <= longest
            && gap >= rest
            && in_an_hour <= i64::from(head.starts_per_hour)
            && limits.is_none_or(|limits| limits.allow_train(head, starts))
        {
            return Spread::Even { from, span_ms: span, ms, pulses, done: 0 };
        }
    }
    Spread::Fast
}
