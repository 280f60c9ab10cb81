//! The dose that owns the pump: what its intents may say, and what the pin did.

use dosewright_core::cause::Cause;
use dosewright_core::config::Head;

use super::causes::Causes;
use super::limits::{Limits, pulse_limits, rest_ms};
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
    /// The device may have seen it off so many ms before its end.
    pub(crate) unsure_ms: i64,
    /// The most that the ledger leaves of it: a fault of the motor has its instant there.
    pub(crate) most_ms: i64,
}

impl Flight {
    fn ended_early(&self) -> Option<i64> {
        self.ran_ms.filter(|&ran| ran + TICK_MS < self.on_ms)
    }

    /// What is left of it at an instant, where it delivers from a lead after its start on and
    /// runs as it was meant to.
    pub(crate) fn left_ms(&self, at: i64, lead_ms: i64) -> i64 {
        (self.most_ms - (at - self.at - lead_ms).max(0)).max(0)
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
    pub(super) pulses: (i64, i64),
    pub(super) index: i64,
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
    /// The last start ends it, in its own call: no pulse of it follows.
    pub(crate) over_at_start: bool,
    /// Since when nothing has kept it from pumping; `None` while something does.
    pub(crate) able_since: Option<i64>,
    pub(super) most_when_able: i64,
    pub(super) limits_when_able: Limits,
    pub(crate) hurry: Option<Hurry>,
    /// A due waited for it that may not be there for the device.
    pub(crate) may_hurry: bool,
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
            over_at_start: false,
            able_since: Some(begin.at),
            most_when_able: 0,
            limits_when_able: limits.clone(),
            hurry: None,
            may_hurry: false,
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
        let doubt = self.flight.take().map_or(0, |f| f.most_ms);
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

    /// Whether its last pulse went on to its end, and the motor with it, as far as a ledger
    /// shows that had its last fault at an instant.
    pub(crate) fn turned(&self, fault_at: i64) -> bool {
        self.flight.is_some_and(|flight| {
            flight.at > fault_at && flight.ran_ms.is_some() && flight.ended_early().is_none()
        })
    }

    /// Least and most pumping, each as a range, once the last pulse is counted.
    pub(crate) fn after_flight(&self) -> ((i64, i64), (i64, i64)) {
        let (mut least, mut most) = (self.least, self.most);
        if let Some(flight) = &self.flight {
            if let Some(ran) = flight.ended_early() {
                least.1 += ran + TICK_MS;
                most.0 += (ran - TICK_MS).max(0);
                most.1 += (ran + TICK_MS).min(flight.on_ms);
            } else {
                let at_least = flight.on_ms - flight.unsure_ms;
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

    /// Whether nothing is left of it, whatever pulses may be in doubt.
    pub(crate) fn is_complete(&self) -> bool {
        self.after_flight().1.0 >= self.total_ms
    }

    /// Nobody waits for the pump any more: the rest is spread again.
    pub(crate) fn take_back_hurry(&mut self, now: i64, limits: &Limits) {
        if self.hurry.take().is_some() && self.able_since.is_some() {
            self.resume(now, limits);
        }
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
        let longest = self.longest_ms.max(left.min(pulse_limits(head).1));
        let margin = shortest + rest_ms(head, longest) + 2 * TICK_MS;
        self.hurry = Some(Hurry { free_by: fit.free_at + margin });
        self.disturbed = true;
    }
}
