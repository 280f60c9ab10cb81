//! The end of a dose: what its outcome says against what the pin did and the
//! rules allow.

use dosewright_core::cause::Cause;
use dosewright_core::entry::EntryId;
use dosewright_core::record::{Outcome, OutcomeKind, Pulse};

use super::Auditor;
use super::causes::Causes;
use super::dose::{Open, TICK_MS};
use super::limits::pulse_limits;
use super::model::{Delivery, Key};
use super::outcomes::kind_words;
use super::rules::volume_nl;

impl Auditor {
    pub(super) fn end_dose(&mut self, open: &Open, o: &Outcome) {
        let key = open.due.key;
        let now = o.at.as_ms();
        let head = self.model.head;
        let (least, most) = open.after_flight();
        // one ms of flow, and the rounding of the two volumes
        let unit = u64::from(open.flow) / 60_000 + 2;
        let bounds = |(low, high): (i64, i64)| {
            let high = volume_nl(high.min(open.total_ms.max(low)), open.flow);
            (volume_nl(low, open.flow).saturating_sub(unit), high + unit)
        };
        let mut found = Vec::new();
        for (what, nl, (low, high)) in
            [("least", o.least.as_nl(), bounds(least)), ("most", o.most.as_nl(), bounds(most))]
        {
            if nl < low || nl > high {
                found.push((
                    "D4",
                    format!("{what} delivered is given as {nl} nl: expected {low} to {high} nl"),
                ));
            }
        }
        let entry_nl = self.model.line(key.id).map_or(u64::MAX, |l| l.entry.volume.as_nl());
        // a remainder that an earlier dose left at another flow is still owed
        let carried = self.model.line(key.id).map_or(0, |l| u64::from(l.carry) / 60_000);
        if o.most.as_nl() > entry_nl.saturating_add(unit + carried)
            && o.due.revision == self.revision(key)
        {
            found.push(("D4", format!("up to {} nl of a dose of {entry_nl} nl", o.most.as_nl())));
        }
        let slack = open.pin_runs * self.chip.slack_ms() + open.pin_cuts * TICK_MS + TICK_MS;
        let pin =
            (volume_nl(open.pin_ms - slack, open.flow), volume_nl(open.pin_ms + slack, open.flow));
        if o.least.as_nl() > pin.1 + unit {
            found.push((
                "D4",
                format!("at least {} nl, and the pump ran for {} nl", o.least.as_nl(), pin.1),
            ));
        }
        if o.most.as_nl() + unit < pin.0 {
            found.push((
                "D4",
                format!("at most {} nl, and the pump ran for {} nl", o.most.as_nl(), pin.0),
            ));
        }
        self.check_kind(open, o, most, &mut found);
        if matches!(o.kind, OutcomeKind::Dosed) {
            let lacking = open.total_ms - open.pin_ms - slack;
            if lacking > open.in_doubt_ms {
                found.push((
                    "D4",
                    format!(
                        "dosed, and {lacking} ms of {} ms are lacking: restarts account for {} ms",
                        open.total_ms, open.in_doubt_ms
                    ),
                ));
            }
        }
        if i64::from(o.begun_after_ms) != open.begin.at - o.due_at.as_ms() {
            found.push(("D2", format!("the begin is noted {} ms after the due", o.begun_after_ms)));
        }
        if o.due_at.as_ms() != open.due.due_at {
            found.push((
                "D9",
                format!("the instant is noted as {}, not {}", o.due_at.as_ms(), open.due.due_at),
            ));
        }
        if o.restarts != open.restarts {
            found.push(("D4", format!("{} restarts are noted, not {}", o.restarts, open.restarts)));
        }
        if o.count != 1 || o.last != o.due.nominal {
            found.push(("D1", String::from("an outcome of one dose stands for several dues")));
        }
        let (carry, revision) =
            self.model.line(key.id).map_or((0, key.revision), |l| (l.carry, l.revision));
        let carries = open.cut.is_none() && open.carries && revision == key.revision;
        let wanted = match o.kind {
            OutcomeKind::Dosed if carries => open.carry_after,
            _ => carry,
        };
        let lost = self.model.line(key.id).is_some_and(|l| l.carry_lost);
        if o.carry.0 != wanted && !lost && self.facts.reading.is_none() {
            found.push(("D4", format!("a remainder of {} is carried on, not {wanted}", o.carry.0)));
        }
        let forced = open.forced.is_some();
        if let (Some(head), false) = (head, forced) {
            let stock = &self.model.stock;
            let cap = if stock.unsure { 0 } else { stock.cap_ms(open.flow) };
            found.extend(open.check_end(now, &head, self.hinder.run_causes(), cap));
        }
        let tainted = self.taint.covers(key.id);
        if tainted && !found.is_empty() {
            self.report.unjudged += 1;
            self.taint.settled(key.id);
        } else {
            for (promise, what) in found {
                self.fail(promise, Some(key), what);
            }
        }
        if let Some(line) = self.model.line_mut(key.id) {
            (line.carry, line.carry_lost) = (o.carry.0, false);
        }
        let (begin, due_at, most_nl) = (open.begin, o.due_at.as_ms(), o.most.as_nl());
        self.model.ended(Delivery { id: key.id, begin, due_at, most_nl });
        self.closed_runs.remove(&key.id);
        if !key.asked {
            // a dose that began before the clock was set, or in the same ms, shows nothing of what
            // it has since
            let shows = open.begin.at > self.model.clock.set_at;
            if shows && self.taint.mark_shown(key.id) {
                self.forget_up_to(key);
            }
        }
        self.motor.saw(open);
        self.pin.use_ended();
        self.last_dose_end = now;
        self.note(key, o, 1, open.first_on_ms);
    }

    /// A dose that the start ends keeps nobody: the start has kept whatever waited for it.
    pub(super) fn leave_the_pump_at_start(&mut self) {
        let Some((_, start)) = self.supply.start else { return };
        for due in self.model.waiting() {
            let kept = self.kept_by.entry(due.key.id).or_default();
            let memory = kept.contains(Cause::Ledger).then_some(Cause::Ledger);
            *kept = memory.into_iter().fold(start, Causes::with);
        }
    }

    /// A dose all of whose pulses may stand in slots that cannot be read: it ends
    /// without one that can (D4). Nothing of it is sure.
    pub(super) fn doubted_dose(&mut self, key: Key, o: &Outcome) {
        if let Some(tail) = &mut self.tail {
            // which dose the slots were of cannot be told: others may count them too
            tail.least = 0;
        }
        let Some(head) = self.model.head else { return };
        let p = Pulse {
            line: o.line,
            due: o.due,
            mark: o.mark,
            at: o.at,
            due_at: o.due_at,
            begun_after_ms: o.begun_after_ms,
            on_ms: 0,
            least_ms: 0,
            most_ms: 0,
            dose_ms: 0,
            flow: head.flow,
            first: true,
            asked: false,
            cut: None,
            restarts: 0,
        };
        let due = self.begin_waiting(key, &p);
        let entry_nl = self.model.line(key.id).map_or(0, |l| l.entry.volume.as_nl());
        let unit = u64::from(head.flow.as_nl_per_min()) / 60_000 + 2;
        let carried = self.model.line(key.id).map_or(0, |l| u64::from(l.carry) / 60_000);
        if o.most.as_nl() > entry_nl + unit + carried && !self.taint.covers(key.id) {
            let what = format!("up to {} nl of a dose of {entry_nl} nl", o.most.as_nl());
            self.fail("D4", Some(key), what);
        }
        self.count_told(key.id, due.due_at, o.at.as_ms(), o);
        if let Some(line) = self.model.line_mut(key.id) {
            (line.carry, line.carry_lost) = (o.carry.0, false);
        }
        self.closed_runs.remove(&key.id);
        self.note(key, o, 1, None);
    }

    /// A dose counts for guard and ceiling with what the device says of it.
    pub(super) fn count_told(&mut self, id: EntryId, due_at: i64, begun_at: i64, o: &Outcome) {
        let begin = self.model.begun(id, begun_at, o.asked);
        self.model.ended(Delivery { id, begin, due_at, most_nl: o.most.as_nl() });
    }

    fn revision(&self, key: Key) -> u16 {
        self.model.line(key.id).map_or(0, |l| l.revision)
    }

    /// Dosed, part or skipped, and why.
    fn check_kind(
        &self,
        open: &Open,
        o: &Outcome,
        most: (i64, i64),
        found: &mut Vec<(&'static str, String)>,
    ) {
        let shortest = self.model.head.map_or(0, |h| pulse_limits(&h).0);
        let total = open.total_ms;
        let surely = most.0 >= total;
        // a rest shorter than the shortest pulse cannot be pumped
        let perhaps = most.1 >= total || total - most.1 < shortest;
        let mut causes = open.causes.or(self.believed()).or(self.hinder.stop_causes());
        if let Some(forced) = open.forced {
            causes = causes.or(forced);
        }
        let left = self.model.stock.cap_ms(open.flow).saturating_sub(most.0);
        if left < shortest + TICK_MS || self.model.stock.unsure {
            causes = causes.with(Cause::ContainerEmpty);
        }
        let at = o.at.as_ms();
        if self.model.head.is_some_and(|head| self.limits.free_at_latest(&head, at) > at) {
            // starts an hour, or the rest, left no room for what was still to come
            causes = causes.with(Cause::PumpLimits);
        }
        let mut allowed = Vec::new();
        let fits = match o.kind {
            OutcomeKind::Dosed => open.cut.is_none() && perhaps,
            OutcomeKind::Part(cause) => {
                let cut = perhaps && open.cut == Some(cause);
                cut || (!surely || open.forced.is_some()) && causes.contains(cause)
            }
            OutcomeKind::Skipped(cause) => most.0 == 0 && causes.contains(cause),
        };
        if fits {
            return;
        }
        match open.cut {
            Some(cause) if perhaps => allowed.push(format!("part, {}", super::words(cause))),
            None if perhaps => allowed.push(String::from("dosed")),
            _ => {}
        }
        if !surely || open.forced.is_some() {
            let kind = if most.1 == 0 { "skipped" } else { "part" };
            allowed.push(format!("{kind}, {causes}"));
        }
        found.push((
            "D1",
            format!(
                "{} with up to {} of {total} ms pumped: expected {}",
                kind_words(o.kind),
                most.1,
                allowed.join(", or ")
            ),
        ));
    }
}
