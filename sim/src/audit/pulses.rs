//! An intent in the ledger: which dose it is for, whether that may begin, and
//! how much it may be.

use dosewright_core::cause::Cause;
use dosewright_core::record::Pulse;

use super::dose::{Finding, Open, Plan, TICK_MS};
use super::limits::{fits_evenly, lead_ms, most_even};
use super::model::{Due, Key, Why};
use super::readings::Reading;
use super::rules::{Verdict, on_time};
use super::{Auditor, key_of};

/// The window of a due of which only a pulse is known.
const UNKNOWN_MS: i64 = u32::MAX as i64;

impl Auditor {
    pub(super) fn on_pulse(&mut self, p: &Pulse) {
        let key = key_of(&p.due, p.asked);
        self.motor_is_tried(p.at.as_ms());
        self.follow_name(key, p.due_at.as_ms());
        let goes_on = self.open.as_ref().is_some_and(|o| o.due.key == key);
        match &self.open {
            Some(open) if goes_on => self.motor.saw(open),
            _ => self.begin(key, p),
        }
        let Some(head) = self.model.head else {
            self.fail("D7", Some(key), String::from("a pulse before any head was set"));
            return;
        };
        let stops = self.hinder.stop_causes();
        if !stops.is_empty() {
            self.fail("P4", Some(key), format!("an intent in spite of {stops}"));
        }
        if self.pin.is_on() {
            self.fail("D4", Some(key), String::from("an intent while the pump is on"));
        }
        let tainted = self.taint.covers(key.id);
        let Some(open) = &mut self.open else { return };
        if tainted && p.first {
            // the settings that it runs by may be older ones
            (open.total_ms, open.flow) = (i64::from(p.dose_ms), p.flow.as_nl_per_min());
            (open.cut, open.disturbed) = (p.cut, true);
        }
        let mut found: Vec<Finding> = Vec::new();
        if let Some(forced) = open.forced {
            found.push(("D11", format!("a pulse, though the dose has to end: {forced}")));
        }
        if p.due_at.as_ms() != open.due.due_at {
            found.push((
                "D9",
                format!("its instant is noted as {}, not {} ms", p.due_at.as_ms(), open.due.due_at),
            ));
        }
        if p.first == goes_on {
            found.push((
                "D4",
                format!("the intent says first: {}, and the dose was open: {goes_on}", p.first),
            ));
        }
        let after = open.begin.at - p.due_at.as_ms();
        if i64::from(p.begun_after_ms) != after {
            found.push((
                "D2",
                format!("its begin is noted {} ms after its due, not {after} ms", p.begun_after_ms),
            ));
        }
        found.extend(open.intend(p, &head, &self.limits));
        let (at, on_ms) = (p.at.as_ms(), i64::from(p.on_ms));
        let cap = self.model.stock.cap_ms(open.flow);
        if i64::from(p.most_ms) + on_ms > cap.saturating_add(TICK_MS) && !self.model.stock.unsure {
            found.push((
                "O1",
                format!(
                    "a pulse of {on_ms} ms after {} ms, and the container has {cap} ms of pumping by account",
                    p.most_ms
                ),
            ));
        }
        if !self.mark_fits(key.id, p.mark.map(|n| i64::from(n.0))) {
            found.push(("D1", String::from("the mark written with the intent is not the entry's")));
        }
        if tainted {
            self.report.unjudged += u64::from(!found.is_empty());
            found.clear();
            // whatever the memory has lost, the pump rests after what it has run
            let rested = self.limits.rested_from(&head).unwrap_or(at);
            if rested > at + TICK_MS && !self.taint.all() {
                let what = format!("a pulse starts at device ms {at}: the pump rests to {rested}");
                found.push(("D7", what));
            }
        }
        for (promise, what) in found {
            self.fail(promise, Some(key), what);
        }
        self.pin.intend_dose(key, at, on_ms, lead_ms(&head));
        self.rearm();
    }

    /// The first intent of a dose.
    fn begin(&mut self, key: Key, p: &Pulse) {
        let now = p.at.as_ms();
        if let Some(open) = self.open.take() {
            let owner = self.name(open.due.key);
            self.fail("D3", Some(key), format!("a dose begins while {owner} owns the pump"));
            self.pin.use_ended();
        }
        let due = if p.asked { self.begin_asked(key, p) } else { self.begin_waiting(key, p) };
        let kept = self.hinder.pump_causes();
        if self.hinder.service.is_some() {
            self.fail("D3", Some(key), format!("a dose begins in spite of {kept}"));
        }
        if self.hinder.pack && !self.taint.covers(key.id) {
            let what = format!(
                "a dose begins, and the pack reads {} mV under load: it cannot finish it",
                self.pack.load_mv()
            );
            self.fail("P3", Some(key), what);
        }
        if due.weekly && self.model.clock.offset_ms.is_none() && !key.asked {
            self.fail(
                "D9",
                Some(key),
                String::from("a weekly dose begins while the clock is unset"),
            );
        }
        if now >= due.deadline() {
            self.fail(
                "D5",
                Some(key),
                format!("a dose begins {} ms after its deadline", now - due.deadline()),
            );
        }
        let nothing_taken_off =
            p.cut == Some(Cause::AlreadyDosed) && self.model.runs_on_after_edit(&due, now);
        let (volume_nl, cut) = match self.model.judge(&due, now) {
            // what the container has left by a damaged account is its own affair
            Some(_) if self.model.stock.unsure && p.cut == Some(Cause::ContainerEmpty) => {
                let flow = self.model.head.map_or(1, |h| h.flow.as_nl_per_min());
                (volume_of(p, flow), p.cut)
            }
            // an edited dose of which the guard's span took nothing: it is left
            // open whether all of it is a dose or a part
            Some(Verdict::Begin { volume_nl, cut: None }) if nothing_taken_off => {
                (volume_nl, p.cut)
            }
            Some(Verdict::Begin { volume_nl, cut }) => (volume_nl, cut),
            Some(Verdict::Skip(cause)) => {
                let promise = if cause == Cause::AlreadyDosed { "D2" } else { "D7" };
                let kept = cause == Cause::Ceiling && self.taint.keeps_ceiling(now);
                if kept || !self.taint.covers(key.id) {
                    self.fail(
                        promise,
                        Some(key),
                        format!("a dose begins that was to be skipped, {}", super::words(cause)),
                    );
                }
                (self.model.line(key.id).map_or(0, |l| l.entry.volume.as_nl()), p.cut)
            }
            None => (0, None),
        };
        let flow = self.model.head.map_or(1, |h| h.flow.as_nl_per_min());
        let carry = match self.facts.reading {
            Some(Reading::RemainderDropped) => 0,
            _ => self.model.line(key.id).map_or(0, |l| l.carry),
        };
        let (mut total_ms, carry_after) = on_time(volume_nl, carry, flow);
        let plain_ms = on_time(volume_nl, 0, flow).0;
        if self.model.line(key.id).is_some_and(|l| l.carry_lost) {
            // a remainder is less than a ms of the flow that it was left at
            let (most_ms, _) = on_time(volume_nl, self.fastest - 1, flow);
            total_ms = i64::from(p.dose_ms).clamp(plain_ms, most_ms);
        }
        let mut cut = cut;
        if self.taint.lowers_ceiling(now)
            && p.cut == Some(Cause::Ceiling)
            && i64::from(p.dose_ms) <= total_ms
        {
            // it may be lower, never higher
            (total_ms, cut) = (i64::from(p.dose_ms), p.cut);
            self.report.unjudged += 1;
        }
        if cut == Some(Cause::Ceiling)
            && i64::from(p.dose_ms) > total_ms.max(plain_ms)
            && self.taint.covers(key.id)
            && self.taint.keeps_ceiling(now)
        {
            let left =
                format!("the dose is to pump {} ms, and the ceiling leaves {total_ms}", p.dose_ms);
            self.fail("D7", Some(key), left);
        }
        let plain = i64::from(p.dose_ms) == plain_ms;
        if plain && (cut.is_some() || key.asked) {
            // whether a dose that is cut, or asked for, takes the remainder in and
            // carries one on is left open
            total_ms = plain_ms;
        }
        let pulses = self.model.line(key.id).and_then(|l| l.entry.pulses);
        let carries = !key.asked;
        let plan = Plan { total_ms, carry_after, carries, flow, cut, pulses };
        let begin = self.model.begun(key.id, now, key.asked);
        let mut open = Open::new(due, begin, plan, &self.limits);
        // nothing is known of the window of a due that should not be
        open.disturbed |= due.window_ms == UNKNOWN_MS;
        let fits = self.model.head.is_none_or(|head| {
            let window_ms = open.due.window_ms;
            fits_evenly(&head, total_ms, window_ms, pulses.filter(|_| cut.is_none()))
        });
        if !fits {
            // a flow that was set since makes it not fit: an alarm says so, and the
            // limits shape it
            open.disturb(Cause::PumpLimits);
        }
        if let Some(kept) = self.kept_by.remove(&key.id).filter(|k| !k.is_empty()) {
            // it waited, if only for part of a ms: what kept it last is told of it (D1)
            (open.causes, open.disturbed) = (kept, true);
        }
        if !self.born.contains(&key) && now > due.due_at + TICK_MS {
            // the ledger has no wait: several things may have held it up, in one call of
            // the logic at times: each of them may be named
            open.causes = open.causes.or(due.why.causes());
            if self.last_dose_end >= due.due_at {
                open.causes = open.causes.with(Cause::PumpInUse).with(Cause::PumpLimits);
            }
        }
        if let Some(head) = self.model.head {
            // the even train of its pulses, were they all as long as the first
            let n = (total_ms / i64::from(p.on_ms).max(1)).clamp(1, 10_000);
            let window = self.model.line(key.id).map_or(0, |l| i64::from(l.entry.window_ms));
            let longer = |n: i64| (0..n).map(move |k| due.due_at + window * k / n);
            let wanted = pulses.map_or(n, i64::from).max(1);
            let even = |n| self.limits.allow_train(&head, longer(n));
            let most =
                || pulses.map_or_else(|| most_even(&head, total_ms, window, volume_nl), i64::from);
            if !even(wanted)
                || self.limits.starts_in_hour_before(now) > 0 && (!even(n + 2) || !even(most()))
            {
                // starts that doses before it took are missing to it (D7)
                open.disturb(Cause::PumpLimits);
            }
        }
        // a dose that is asked for now has nothing behind the restart
        let doubted = |t: &mut super::wake::Tail| !key.asked && due.due_at <= t.booted_at;
        if let Some(tail) = self.tail.take_if(doubted) {
            // nor is it known how long those are of a dose that its own do not fit
            let own = pulses.filter(|_| cut.is_none() && fits);
            open.doubt_tail(tail.least, tail.most, own);
        }
        self.open = Some(open);
        self.refresh(now);
    }

    fn begin_asked(&mut self, key: Key, p: &Pulse) -> Due {
        let at = p.due_at.as_ms();
        let number = i64::from(self.model.asks);
        // what was closed before it is one stretch, and what comes another
        self.closed_runs.remove(&key.id);
        let asked = self.pending.ask.take().is_some_and(|(id, _)| id == key.id);
        if asked {
            self.model.asks += 1;
        } else {
            self.fail("D1", Some(key), String::from("a dose that nobody asked for"));
        }
        let line = self.model.line(key.id);
        let named = line.map(|l| (l.revision, self.model.clock.epoch));
        // the setting that gave the clock its epoch may be lost
        if named != Some((key.revision, key.epoch)) && !self.taint.covers(key.id) {
            self.fail(
                "D1",
                Some(key),
                String::from("a dose that was asked for has a wrong revision or epoch"),
            );
        }
        if asked && (at - self.now).abs() > TICK_MS {
            self.fail("D1", Some(key), format!("a dose asked for now is due at device ms {at}"));
        }
        let due = self.model.asked_due(key.id, number, at);
        due.map_or_else(|| unknown(key, p), |due| Due { key, ..due })
    }

    pub(super) fn begin_waiting(&mut self, key: Key, p: &Pulse) -> Due {
        let waiting = self.model.line(key.id).and_then(|l| l.waiting).filter(|d| d.key == key);
        let Some(due) = waiting else {
            if !self.taint.covers(key.id) {
                let what = if self.owes(key.id, key.nominal) {
                    "a dose begins whose due was to be skipped"
                } else {
                    "a dose begins for a due that does not exist, or has its outcome"
                };
                self.fail("D1", Some(key), String::from(what));
            }
            return unknown(key, p);
        };
        let unset = self.model.clock.offset_ms.is_none();
        let ahead = self.model.waiting();
        let ahead = ahead
            .filter(|d| d.order() < due.order() && !(d.weekly && unset))
            .filter(|d| !self.taint.covers(d.key.id))
            .min_by_key(Due::order);
        if let Some(first) = ahead {
            let first = self.name(first.key);
            self.fail(
                "D3",
                Some(key),
                format!("a dose begins before that of {first}, which is first in order"),
            );
        }
        if let Some(line) = self.model.line_mut(key.id) {
            line.waiting = None;
        }
        due
    }
}

/// The least volume that asks for as much pumping as an intent says.
fn volume_of(p: &Pulse, flow: u32) -> u64 {
    (u64::from(p.dose_ms) * u64::from(flow)).div_ceil(60_000)
}

/// A due that should not be, as its record has it, so that the judging can go on.
fn unknown(key: Key, p: &Pulse) -> Due {
    Due {
        key,
        due_at: p.due_at.as_ms(),
        window_ms: UNKNOWN_MS,
        grace_ms: 0,
        why: Why::Awake,
        weekly: false,
    }
}
