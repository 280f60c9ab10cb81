//! The dose that owns the pump: what its intents may say, and what the pin did.

use dosewright_core::cause::Cause;
use dosewright_core::config::Head;
use dosewright_core::record::Pulse;

use super::causes::Causes;
use super::limits::{Limits, rest_ms};
use super::model::{Begin, Due};

/// A check that did not hold: the promise, and what is wrong.
pub(crate) type Finding = (&'static str, String);

/// A wake may come so late, in device ms, without disturbing the dose.
pub(crate) const TICK_MS: i64 = 1;

/// The last intent, while no later record says what came of it.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Flight {
    pub(crate) at: i64,
    pub(crate) on_ms: i64,
    /// How long the pin was on for it, in device ms.
    pub(crate) ran_ms: Option<i64>,
    /// The device may have seen it off a ms before its end.
    pub(crate) unsure: bool,
}

impl Flight {
    fn ended_early(&self) -> Option<i64> {
        self.ran_ms.filter(|&ran| ran + TICK_MS < self.on_ms)
    }
}

/// When the owner must have left the pump, rested, to another due that waits.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Hurry {
    pub(crate) free_by: i64,
}

/// A dose between its begin and its outcome.
#[derive(Debug, Clone)]
pub(crate) struct Open {
    pub(crate) due: Due,
    pub(crate) begin: Begin,
    /// Pumping it asks for in all, in ms.
    pub(crate) total_ms: i64,
    /// The remainder after a whole dose.
    pub(crate) carry_after: u32,
    /// Its remainder is the entry's from then on.
    pub(crate) carries: bool,
    pub(crate) flow: u32,
    pub(crate) cut: Option<Cause>,
    /// The numbers of pulses that its pulses so far agree with.
    pulses: (i64, i64),
    index: i64,
    /// Something of what the rules call disturbing has happened.
    pub(crate) disturbed: bool,
    /// The cause of the last disturbance.
    pub(crate) causes: Causes,
    /// Pumping before the last intent: least and most, each as a range.
    pub(crate) least: (i64, i64),
    pub(crate) most: (i64, i64),
    pub(crate) flight: Option<Flight>,
    pub(crate) restarts: u8,
    /// Pumping that restarts and unreadable slots may have cost.
    pub(crate) in_doubt_ms: i64,
    pub(crate) longest_ms: i64,
    pub(crate) pin_ms: i64,
    pub(crate) pin_runs: i64,
    pub(crate) pin_cuts: i64,
    pub(crate) first_on_ms: Option<u64>,
    /// When its outcome is owed at the latest, in device ms.
    pub(crate) end_by: i64,
    /// It has to end at once, for one of these causes.
    pub(crate) forced: Option<Causes>,
    /// Since when nothing has kept it from pumping; `None` while something does.
    pub(crate) able_since: Option<i64>,
    most_when_able: i64,
    limits_when_able: Limits,
    pub(crate) hurry: Option<Hurry>,
    pub(crate) reported: bool,
}

/// What a dose is to be.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Plan {
    pub(crate) total_ms: i64,
    pub(crate) carry_after: u32,
    pub(crate) carries: bool,
    pub(crate) flow: u32,
    pub(crate) cut: Option<Cause>,
    pub(crate) pulses: Option<u16>,
}

impl Open {
    pub(crate) fn new(due: Due, begin: Begin, plan: Plan, limits: &Limits) -> Self {
        let pulses = match plan.pulses {
            Some(n) if plan.cut.is_none() => (i64::from(n), i64::from(n)),
            _ => (1, i64::MAX),
        };
        let late = begin.at > due.due_at + TICK_MS;
        Self {
            due,
            begin,
            total_ms: plan.total_ms,
            carry_after: plan.carry_after,
            carries: plan.carries,
            flow: plan.flow,
            cut: plan.cut,
            pulses,
            index: 0,
            disturbed: late || plan.cut.is_some(),
            causes: Causes::NONE,
            least: (0, 0),
            most: (0, 0),
            flight: None,
            restarts: 0,
            in_doubt_ms: 0,
            longest_ms: 0,
            pin_ms: 0,
            pin_runs: 0,
            pin_cuts: 0,
            first_on_ms: None,
            end_by: due.deadline(),
            forced: None,
            able_since: Some(begin.at),
            most_when_able: 0,
            limits_when_able: limits.clone(),
            hurry: None,
            reported: false,
        }
    }

    /// Something disturbs the dose.
    pub(crate) fn disturb(&mut self, cause: Cause) {
        self.disturbed = true;
        // what came last is not always to be told: each of them is right
        self.causes = self.causes.with(cause);
    }

    /// The pump is kept from running for it from now on.
    pub(crate) fn hinder(&mut self, now: i64, cause: Cause) {
        self.disturb(cause);
        self.able_since = None;
        self.hurry = None;
        if self.forced.is_none() {
            self.end_by = self.due.deadline().max(now);
        }
    }

    /// Nothing keeps the pump from running for it any more.
    pub(crate) fn resume(&mut self, now: i64, limits: &Limits) {
        let (_, most) = self.after_flight();
        self.able_since = Some(now);
        self.most_when_able = most.1;
        self.limits_when_able = limits.clone();
    }

    /// The logic started again in the middle of it.
    pub(crate) fn restart(&mut self, now: i64, unreadable: u32, cause: Cause, forgets: bool) {
        self.restarts = self.restarts.saturating_add(1);
        let doubt = self.flight.take().map_or(0, |f| f.on_ms);
        let unread = i64::from(unreadable) * self.longest_ms;
        if !forgets {
            self.most.0 = (self.most.0 + doubt).min(self.total_ms);
            self.most.1 = (self.most.1 + doubt + unread).min(self.total_ms);
        }
        self.in_doubt_ms += doubt + unread;
        self.hinder(now, cause);
    }

    /// Unreadable slots at the ledger's end may have been intents of this dose:
    /// each counts as one of its pulses.
    pub(crate) fn doubt_tail(&mut self, least: u32, most: u32, pulses: Option<u16>) {
        let (short, long) = match pulses.map(i64::from) {
            Some(n) if n > 0 => (self.total_ms / n, (self.total_ms + n - 1) / n),
            // how many pulses the device would have made is its own affair
            _ => (0, self.total_ms),
        };
        self.most.0 = (i64::from(least) * short).min(self.total_ms);
        self.most.1 = (i64::from(most) * long).min(self.total_ms);
        self.in_doubt_ms += self.most.1;
        self.disturbed = true;
        self.most_when_able = self.most.1;
    }

    /// Least and most pumping, each as a range, once the last pulse is counted.
    pub(crate) fn after_flight(&self) -> ((i64, i64), (i64, i64)) {
        let (mut least, mut most) = (self.least, self.most);
        if let Some(flight) = &self.flight {
            if let Some(ran) = flight.ended_early() {
                least.1 += ran + TICK_MS;
                most.0 += (ran - TICK_MS).max(0);
                most.1 += flight.on_ms;
            } else {
                let at_least = flight.on_ms - i64::from(flight.unsure) * TICK_MS;
                least.0 += at_least;
                least.1 += flight.on_ms;
                most.0 += at_least;
                most.1 += flight.on_ms;
            }
        }
        (least, most)
    }

    /// Whether one more pulse would be more than the dose asks for.
    pub(crate) fn may_be_complete(&self) -> bool {
        self.after_flight().1.1 >= self.total_ms
    }

    /// The owner must be as fast as the limits allow from now on (D3).
    pub(crate) fn hurry_from(&mut self, now: i64, head: &Head, limits: &Limits) {
        let mut limits = limits.clone();
        let mut from = now;
        if let Some(flight) = self.flight.filter(|f| f.ran_ms.is_none()) {
            from = flight.at + flight.on_ms;
            limits.ended(from, flight.on_ms);
        }
        let left = self.total_ms - self.after_flight().1.0;
        let fit = limits.fit(head, from, self.due.deadline(), left);
        // a pulse of the old spread may start at this very instant, and rests are
        // rounded up to whole ms
        let shortest = i64::from(head.shortest_on_ms) + i64::from(head.shortest_off_ms);
        let margin = shortest + rest_ms(head, self.longest_ms) + 2 * TICK_MS;
        self.hurry = Some(Hurry { free_by: fit.free_at + margin });
        self.disturbed = true;
    }

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
        self.flight = Some(Flight { at, on_ms: on, ran_ms: None, unsure: false });
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
        if on > i64::from(head.longest_run_ms) {
            found.push((
                "D7",
                format!("a pulse of {on} ms: the longest run is {} ms", head.longest_run_ms),
            ));
        }
        if on < i64::from(head.shortest_on_ms) && p_most + on != self.total_ms {
            found.push((
                "D7",
                format!("a pulse of {on} ms: the shortest is {} ms", head.shortest_on_ms),
            ));
        }
        let free = limits.free_from(head, at);
        if free > at + TICK_MS {
            found.push((
                "D7",
                format!(
                    "a pulse starts at device ms {at}: rest and starts an hour allow it from {free}"
                ),
            ));
        }
        if at + on > self.due.deadline() {
            found.push((
                "D5",
                format!("a pulse ends {} ms after the deadline", at + on - self.due.deadline()),
            ));
        }
        self.longest_ms = self.longest_ms.max(on);
        if !self.disturbed {
            self.check_even(at, on, p_least, head, limits, &mut found);
        }
        self.index += 1;
        if self.may_be_complete() {
            self.end_by = at + on;
        }
        found
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
        let (total, window) = (i128::from(self.total_ms), i128::from(self.due.window_ms));
        let offset = at - self.due.due_at;
        // a busy hour before may hold the pulse back: D7 goes before D5 and D6
        let n = i128::from(self.pulses.0.max(1));
        let planned = self.due.due_at + (window * i128::from(self.index) / n) as i64;
        if self.index > 0
            && at > planned + TICK_MS
            && limits.free_from(head, planned) > planned + TICK_MS
        {
            self.disturb(Cause::PumpLimits);
            return;
        }
        let i = i128::from(self.index);
        let start = |n: i64| (window * i / i128::from(n)) as i64;
        // a busy hour before may hold the pulse back: D7 goes before D5 and D6
        let planned = self.due.due_at + start(self.pulses.0.max(1));
        if limits.free_from(head, planned) > planned + TICK_MS {
            self.disturb(Cause::PumpLimits);
            self.resume(at, limits);
            return;
        }
        if offset + on > self.due.window_ms {
            found.push((
                "D5",
                format!("a pulse ends {} ms after the window", offset + on - self.due.window_ms),
            ));
        }
        // D6, straight from the promise: at both ends of the pulse
        let line = |at: i64| (total * i128::from(at) / window.max(1)) as i64;
        let pulse = self.longest_ms + TICK_MS;
        let (early, late) = (before + on - line(offset + on), line(offset) - before);
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
        let length =
            |n: i64| (total * (i + 1) / i128::from(n)) as i64 - (total * i / i128::from(n)) as i64;
        let agrees = |n: i64| length(n) == on && (offset - start(n)).abs() <= TICK_MS;
        let (mut low, mut high) = self.pulses;
        while low <= high && !agrees(low) {
            low += 1;
        }
        while high > low && !agrees(high) {
            high -= 1;
        }
        if low <= high {
            self.pulses = (low, high);
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
    pub(crate) fn check_end(&self, at: i64, head: &Head, hindered: Causes) -> Vec<Finding> {
        let mut found = Vec::new();
        let deadline = self.due.deadline();
        let most = self.after_flight().1.1;
        let left = self.total_ms - most;
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
            let wanted = self.total_ms - self.most_when_able;
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
            let wanted = self.total_ms - self.most_when_able;
            let fits =
                self.limits_when_able.fit(head, since, window_end - one_pulse, wanted).done_ms;
            if wanted > 0 && fits >= wanted && last_end > window_end + 2 * TICK_MS {
                found.push((
                    "D5",
                    format!(
                        "the dose ends {} ms after its window, though the rest fitted into it",
                        last_end - window_end
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
