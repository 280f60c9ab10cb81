//! What the ideal device begins, ends and skips.

use dosewright_core::cause::Cause;
use dosewright_core::config::Head;
use dosewright_core::record::OutcomeKind;

use super::causes::Causes;
use super::device::Ideal;
use super::ideal::Running;
use super::model::{Delivery, Due, Key};
use super::predict::{Hand, Predicted};
use super::readings::Reading;
use super::rules::{Verdict, on_time, volume_nl};
use super::zone;

impl<H: Hand> Ideal<H> {
    pub(super) fn begin_what_can(&mut self, at: i64) {
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
        let waiting: Vec<Due> = self.model.waiting().collect();
        for due in waiting {
            let mut causes = self.hinder.pump_causes();
            if self.open.is_some() {
                causes = causes.with(Cause::PumpInUse);
            }
            if due.weekly && unset {
                causes = causes.with(Cause::ClockUnset).with(Cause::ClockLost);
            }
            if self.open.is_none() && self.model.head.is_some_and(|h| self.model.stock.is_short(&h))
            {
                causes = causes.with(Cause::ContainerEmpty);
            }
            if causes.is_empty() {
                let first = self.model.first_waiting().is_some_and(|f| f.key == due.key);
                let rests = self.model.head.is_some_and(|h| self.limits.free_from(&h, at) > at);
                let before = self.kept(due.key.id);
                causes = Causes::of(Cause::PumpInUse);
                if first && !rests && !before.is_empty() {
                    // it is too late for the shortest pulse: what kept it last did that
                    causes = before;
                } else if first {
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

    pub(super) fn begin(
        &mut self,
        due: Due,
        at: i64,
        volume_nl: u64,
        cut: Option<Cause>,
        head: &Head,
    ) {
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
        open.all_causes = open.causes;
        open.plan(head, pulses, volume_nl);
        self.open = Some(open);
        self.run_open(at);
    }

    pub(super) fn end_open(&mut self) {
        let Some(open) = self.open.take() else { return };
        if open.turned {
            self.motor.ran_through();
        }
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
                (open.causes.or(open.all_causes), kind)
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
        self.model.ended(delivery);
        let said = Predicted {
            kind: Some(kind),
            causes,
            least_nl,
            most_nl,
            slack_nl,
            begun_at: Some(open.begin.at),
            ..self.predicted(key, key.nominal, 1, due.due_at, due.key.asked)
        };
        self.say(said, Some(&open));
    }

    pub(super) fn skip(
        &mut self,
        key: Key,
        last: i64,
        count: u64,
        due_at: i64,
        asked: bool,
        causes: Causes,
    ) {
        let said = Predicted {
            kind: Some(OutcomeKind::Skipped(causes.first().unwrap_or(Cause::PumpInUse))),
            causes,
            ..self.predicted(key, last, count, due_at, asked)
        };
        self.say(said, None);
    }

    pub(super) fn predicted(
        &self,
        key: Key,
        last: i64,
        count: u64,
        due_at: i64,
        asked: bool,
    ) -> Predicted {
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
}
