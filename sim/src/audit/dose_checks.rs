//! What each intent of a dose may say, where its pulses lie, and what more would
//! have fitted (D3 to D7).

use dosewright_core::cause::Cause;
use dosewright_core::config::Head;
use dosewright_core::record::Pulse;

use super::causes::Causes;
use super::dose::{Finding, Flight, Open, TICK_MS};
use super::limits::{Limits, PUT_OFF_MS, lead_ms, most_even, pulse_limits, rest_ms};
use super::rules::volume_nl;
use super::share::share;

impl Open {
    /// An intent for one more pulse.
    pub(crate) fn intend(&mut self, p: &Pulse, head: &Head, limits: &Limits) -> Vec<Finding> {
        let mut found = Vec::new();
        let (at, on) = (p.at.as_ms(), i64::from(p.on_ms));
        let (least, most) = self.after_flight();
        let (p_least, p_most) = (i64::from(p.least_ms), i64::from(p.most_ms));
        if p_least < least.0 || p_least > least.1 {
            found.push((
                "D4",
                format!(
                    "the intent says at least {p_least} ms were pumped before it, not {}",
                    range(least)
                ),
            ));
        }
        if p_most < most.0 || p_most > most.1 {
            found.push((
                "D4",
                format!(
                    "the intent says at most {p_most} ms were pumped before it, not {}",
                    range(most)
                ),
            ));
        }
        // from here on the device's own account counts: it has been checked
        if self.index == 0 {
            self.most_when_able = p_most;
        }
        (self.least, self.most) = ((p_least, p_least), (p_most, p_most));
        self.over_at_start = false;
        self.flight = Some(Flight { at, on_ms: on, ran_ms: None, unsure_ms: 0, most_ms: on });
        if i64::from(p.dose_ms) != self.total_ms {
            found.push((
                "D4",
                format!("the dose is to pump {} ms, not {}", p.dose_ms, self.total_ms),
            ));
        }
        if p.flow.as_nl_per_min() != self.flow {
            found.push((
                "D5",
                format!(
                    "the dose runs at {} nl/min, but it began with {}",
                    p.flow.as_nl_per_min(),
                    self.flow
                ),
            ));
        }
        if p.cut != self.cut {
            found.push((
                "D7",
                format!(
                    "the dose is marked as cut by {}, not by {}",
                    cut_words(p.cut),
                    cut_words(self.cut)
                ),
            ));
        }
        if p.restarts != self.restarts {
            found.push(("D4", format!("{} restarts are noted, not {}", p.restarts, self.restarts)));
        }
        if p_most + on > self.total_ms {
            found.push(("D4", format!(
                "a pulse of {on} ms after up to {p_most} ms would be more than the dose of {} ms",
                self.total_ms
            )));
        }
        // limits hold for what the pump runs, volumes are of the pulse (O3)
        let run = on + lead_ms(head);
        if run > i64::from(head.longest_run_ms) {
            found.push((
                "D7",
                format!("a pulse of {run} ms: the longest run is {} ms", head.longest_run_ms),
            ));
        }
        if run < i64::from(head.shortest_on_ms) && p_most + on != self.total_ms {
            found.push((
                "D7",
                format!("a pulse of {run} ms: the shortest is {} ms", head.shortest_on_ms),
            ));
        }
        let free = limits.free_at(head);
        if free > at + TICK_MS {
            found.push((
                "D7",
                format!(
                    "a pulse starts at device ms {at}: rest and starts an hour allow it from {free}"
                ),
            ));
        }
        if at + run > self.due.deadline() {
            found.push((
                "D5",
                format!("a pulse ends {} ms after the deadline", at + run - self.due.deadline()),
            ));
        }
        self.longest_ms = self.longest_ms.max(on);
        if self.disturbed {
            self.check_rest(at, on, p_most, head, limits, &mut found);
        } else {
            self.check_even(at, on, p_least, head, limits, &mut found);
        }
        self.index += 1;
        if self.may_be_complete() {
            self.end_by = at + run;
        }
        found
    }

    /// D5: what is left of a disturbed dose is spread over what is left of its window,
    /// where that can be. It may lag, for the pump's limits or for other trouble; it may not
    /// run ahead, and no pulse may be much longer than an even train needs, from now on or from
    /// when it could go on: starts that come free in it need not be waited for.
    fn check_rest(
        &self,
        at: i64,
        on: i64,
        before: i64,
        head: &Head,
        limits: &Limits,
        found: &mut Vec<Finding>,
    ) {
        let (Some(since), None, None) = (self.able_since, self.hurry, &self.forced) else { return };
        let (until, left) = (self.due.due_at + self.due.window_ms, self.total_ms - before);
        let (run, since) = (on + lead_ms(head), since.max(self.begin.at));
        if self.may_hurry || left <= 0 || at + run > until || since > at {
            return;
        }
        let planned = match self.pulses {
            (n, last) if n == last => n,
            // a device may plan half as many
            _ => {
                let volume_nl = volume_nl(self.total_ms, self.flow);
                most_even(head, self.total_ms, self.due.window_ms, volume_nl).div_euclid(2).max(1)
            }
        };
        let pulse = self.total_ms / planned + 1;
        let wanted = self.total_ms - self.most_when_able;
        let when_able = &self.limits_when_able;
        let Some(now) = limits.longest_even(head, at, until - at, left, pulse) else { return };
        let then = when_able.longest_even(head, since, until - since, wanted, pulse);
        let pulse = then.map_or(now, |then| then.max(now));
        let most = 2 * pulse + TICK_MS;
        let line = share(wanted, at + run - since, until - since);
        let ahead = before + on - self.most_when_able - line;
        // one of the longest, where few starts were free, may be what is ahead
        if on > most || ahead > most.max(self.longest_ms + TICK_MS) {
            found.push((
                "D5",
                format!(
                    "a pulse of {on} ms, {ahead} ms ahead of what is left spread over what is left \
                     of the window: pulses of {pulse} ms would do"
                ),
            ));
        }
    }

    /// D5, D6: where the pulses of an undisturbed dose lie.
    fn check_even(
        &mut self,
        at: i64,
        on: i64,
        before: i64,
        head: &Head,
        limits: &Limits,
        found: &mut Vec<Finding>,
    ) {
        let (total, window, i) = (self.total_ms, self.due.window_ms, self.index);
        let offset = at - self.due.due_at;
        // a busy hour before may hold the pulse back: D7 goes before D5 and D6
        let start = |n: i64| share(window, i, n);
        let planned = self.due.due_at + start(self.pulses.0.max(1));
        let free = limits.free_at(head);
        if free > planned + PUT_OFF_MS {
            self.disturb(Cause::PumpLimits);
            if i == 0 {
                self.resume(at, limits);
            }
            return;
        }
        let run = on + lead_ms(head);
        if offset + run > self.due.window_ms {
            found.push((
                "D5",
                format!("a pulse ends {} ms after the window", offset + run - self.due.window_ms),
            ));
        }
        // D6, straight from the promise: at both ends of the pulse
        let line = |at: i64| share(total, at, window.max(1));
        let pulse = self.longest_ms + TICK_MS;
        let (early, late) = (before + on - line(offset + run), line(offset) - before);
        if early > pulse || late > pulse {
            found.push((
                "D6",
                format!(
                    "{} ms of pumping {} of the straight line, more than the {} ms of one pulse",
                    early.max(late),
                    if early > late { "ahead" } else { "behind" },
                    self.longest_ms
                ),
            ));
        }
        // the very schedule: pulse i of n
        if self.index == 0 && self.pulses.1 == i64::MAX {
            self.pulses = (self.total_ms / (on + 1) + 1, self.total_ms / on.max(1));
        }
        let length = |n: i64| share(total, i + 1, n) - share(total, i, n);
        // a ms late an hour ago, and the limits put it off by that
        let agrees = |n: i64| {
            let start = start(n);
            let put_off = free.max(self.due.due_at + start);
            length(n) == on && offset + TICK_MS >= start && at <= put_off + TICK_MS
        };
        let (least, most) = self.pulses;
        if let Some(first) = (least..=most).find(|&n| agrees(n)) {
            let last = (first..=most).rfind(|&n| n == first || agrees(n));
            self.pulses = (first, last.unwrap_or(first));
            return;
        }
        let n = self.pulses.0.max(1);
        found.push(("D6", format!(
            "pulse {} of {n} is {on} ms long and starts {offset} ms after the due, not {} ms long at {} ms",
            self.index + 1,
            length(n),
            start(n)
        )));
        self.disturbed = true;
    }

    /// What more would have fitted, or should have come sooner, at the end.
    /// `cap_ms` is the pumping that the container has for it in all.
    pub(crate) fn check_end(
        &self,
        at: i64,
        head: &Head,
        hindered: Causes,
        cap_ms: i64,
    ) -> Vec<Finding> {
        let mut found = Vec::new();
        let deadline = self.due.deadline();
        let most = self.after_flight().1.1;
        let total = self.total_ms.min(cap_ms.max(most));
        let left = total - most;
        let one_pulse = self.longest_ms.max(i64::from(head.shortest_on_ms)) + TICK_MS;
        let last_end = self.flight.map(|f| f.at + f.ran_ms.unwrap_or(f.on_ms));
        if left > 0 {
            let Some(since) = self.able_since else {
                if at + one_pulse < deadline {
                    found.push(("D5", format!(
                        "the dose ends {} ms before its deadline, while it was kept from pumping by {hindered}",
                        deadline - at
                    )));
                }
                return found;
            };
            let wanted = total - self.most_when_able;
            let fits = self.limits_when_able.fit(head, since, deadline, wanted).done_ms;
            let pumped = most - self.most_when_able;
            if pumped + one_pulse < fits {
                found.push(("D5", format!(
                    "a part dose: {pumped} ms were pumped since device ms {since}, and {fits} ms of the {wanted} ms fit before the deadline"
                )));
            }
            return found;
        }
        let Some(last_end) = last_end else { return found };
        if let Some(hurry) = self.hurry {
            let free_at = self.flight.map_or(last_end, |f| last_end + rest_ms(head, f.on_ms));
            if free_at > hurry.free_by {
                found.push(("D3", format!(
                    "while another due waits the pump is free for it at device ms {free_at}; the limits allow {}",
                    hurry.free_by
                )));
            }
        } else if let (true, Some(since)) = (self.disturbed, self.able_since) {
            let window_end = self.due.due_at + self.due.window_ms;
            let wanted = total - self.most_when_able;
            let fits =
                self.limits_when_able.fit(head, since, window_end - one_pulse, wanted).done_ms;
            // evenly, it may be, and be it in the longest pulses; else the rest goes on to the
            // deadline
            let from = self.limits_when_able.free_at_latest(head, since);
            let evenly = || {
                let longest = pulse_limits(head).1;
                let limits = &self.limits_when_able;
                limits.longest_even(head, from, window_end - from, wanted, longest).is_some()
            };
            let is_after = last_end + lead_ms(head) > window_end + 2 * TICK_MS;
            if wanted > 0 && is_after && fits >= wanted && evenly() {
                found.push((
                    "D5",
                    format!(
                        "the dose ends {} ms after its window, though the rest fitted into it",
                        last_end + lead_ms(head) - window_end
                    ),
                ));
            }
        }
        found
    }
}

fn range((low, high): (i64, i64)) -> String {
    if low == high { low.to_string() } else { format!("{low} to {high}") }
}

fn cut_words(cause: Option<Cause>) -> &'static str {
    cause.map_or("nothing", Cause::words)
}
