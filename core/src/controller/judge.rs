//! What a dose comes to that nothing keeps from beginning: its volume after the repeat
//! guard, the ceiling and the stock, and its train.

use super::dose::Begin;
use super::dues::{Due, Skip};
use super::{Controller, ON_TIME};
use crate::cause::Cause;
use crate::entry::{Entry, Nominal};
use crate::limits;
use crate::record::{DueKey, LineState, Mark, Outcome, OutcomeKind, Record};
use crate::spread::{self, Bounds, Plan};
use crate::time::{Duration, Instant};
use crate::timetable::Refusal;
use crate::units::{Carry, Volume};

impl<const N: usize, const H: usize> Controller<N, H> {
    /// A due that nothing keeps from beginning: the repeat guard and the ceiling
    /// have the last word (D2, D7).
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(super) fn judge(
        &mut self,
        due: &Due,
        key: DueKey,
        mark: Mark,
        waited: Option<Cause>,
    ) -> bool {
        let Due { line, entry, state, due_at, .. } = *due;
        let (target, cut) = self.left_of(&entry, &state, due_at, self.now);
        let skip = |cause| Skip { key, last: key.nominal, count: 1, due_at, mark, cause };
        let Some(head) = self.book.head else {
            return self.skip(line, &state, &skip(Cause::Damaged));
        };
        let (dose, pulses) = match cut {
            None => (head.flow.on_time(entry.volume, state.carry).0, entry.pulses),
            Some(_) => (head.flow.on_time(target, Carry(0)).0, None),
        };
        if dose.as_ms() < u64::from(head.shortest_pulse_ms()) {
            return self.skip(line, &state, &skip(cut.unwrap_or(Cause::PumpLimits)));
        }
        let dose_ms = u32::try_from(dose.as_ms()).unwrap_or(u32::MAX);
        let planned =
            spread::pulses_for(u64::from(dose_ms), u64::from(entry.window_ms), &head, pulses);
        let pulse_ms = dose_ms.div_ceil(spread::pulses_or_most(planned));
        // slots that could not be read may have been this dose's first intents (D4)
        let doubted = if due_at <= self.started_at {
            self.doubt.saturating_mul(pulse_ms).min(dose_ms)
        } else {
            0
        };
        let late = self.now.since(due_at) > ON_TIME;
        let disturbed = match (waited, late, planned) {
            (Some(cause), _, _) => Some(cause),
            (None, true, _) => Some(self.passing),
            (None, false, Err(_)) => Some(Cause::PumpLimits),
            (None, false, Ok(_)) => (doubted > 0).then_some(Cause::Restarts),
        };
        let hurry = self.another_wants_the_pump(line);
        let even = planned.ok().map(|pulses| even_train(&entry, due_at, pulses, dose_ms));
        // starts that disturbed doses took lately may be missing to this one
        let allowed =
            even.is_some_and(|plan| plan.is_allowed(&self.book.starts, head.starts_per_hour));
        let disturbed = disturbed.or((!allowed).then_some(Cause::PumpLimits));
        let plan = match (disturbed, even) {
            (None, Some(plan)) if !hurry => Some(plan),
            _ => {
                let bounds = self.bounds(&entry, due_at, hurry);
                spread::respread(dose_ms - doubted, pulse_ms, &head, &bounds)
            }
        };
        let Some(plan) = plan else {
            let cause = disturbed.unwrap_or(Cause::PumpLimits);
            if doubted == 0 {
                return self.skip(line, &state, &skip(cause));
            }
            let skip = self.skipped(line, &state, &skip(cause));
            // all that could still be delivered may have been delivered already
            let most = head.flow.volume(Duration::from_ms(u64::from(doubted)));
            let begun_after_ms = u32::try_from(self.now.since(due_at).as_ms()).unwrap_or(u32::MAX);
            let kind =
                if doubted >= dose_ms { OutcomeKind::Dosed } else { OutcomeKind::Part(cause) };
            let outcome = Outcome { most, kind, begun_after_ms, restarts: 1, ..skip };
            return self.want(&Record::Outcome(outcome));
        };
        self.begin(&Begin {
            line,
            entry,
            due: key,
            due_at,
            mark,
            plan,
            pulse_ms,
            dose_ms,
            doubted_ms: doubted,
            flow: head.flow,
            asked: false,
            cut,
            disturbed,
            hurried: hurry,
        })
    }

    /// What repeat guard, ceiling and stock leave of a dose that begins at an instant, and
    /// which of them cuts it.
    pub(super) fn left_of(
        &self,
        entry: &Entry,
        state: &LineState,
        due_at: Instant,
        at: Instant,
    ) -> (Volume, Option<Cause>) {
        let (clock, losses) = (self.book.clock.as_ref(), self.book.losses);
        let (mut target, mut cut) = (entry.volume, None);
        let guard = entry.guard();
        let since = state.last.map(|last| limits::age(&last, at, clock, losses));
        if let Some(since) = since.filter(|&since| since < guard) {
            // of an edited entry what it had; all, where the account does not say so any more
            let had = if state.edited && !self.book.history.may_lack(since) {
                self.book.history.of_entry(entry.id, guard, at, clock, losses)
            } else {
                entry.volume
            };
            // what began and delivered nothing takes nothing off: all of it is a dose
            if had > Volume::ZERO {
                (target, cut) = (entry.volume.minus(had), Some(Cause::AlreadyDosed));
            }
        }
        let room = self.room_under_ceiling(due_at);
        // what the guard leaves is too little already: that is why it is skipped
        let spent = cut.is_some() && self.is_too_little(target);
        if room < target && !spent {
            (target, cut) = (room, Some(Cause::Ceiling));
        }
        if let Some(stock) = self.in_stock()
            && stock < target
        {
            (target, cut) = (stock, Some(Cause::ContainerEmpty));
        }
        (target, cut)
    }

    /// What a train that starts now has to keep to, for a due of this instant.
    fn bounds(&self, entry: &Entry, due_at: Instant, hurry: bool) -> Bounds<'_> {
        Bounds {
            from: self.now,
            window_end: due_at.plus(entry.window()),
            deadline: due_at.plus(entry.window_and_grace()),
            starts: &self.book.starts,
            hurry,
        }
    }

    /// Whether the shortest pulse would be more than this volume.
    pub(super) fn is_too_little(&self, volume: Volume) -> bool {
        self.book.head.is_some_and(|head| {
            let (dose, _) = head.flow.on_time(volume, Carry(0));
            dose.as_ms() < u64::from(head.shortest_pulse_ms())
        })
    }

    /// What the ceiling leaves for a due of this instant (D7).
    pub(super) fn room_under_ceiling(&self, due_at: Instant) -> Volume {
        let (clock, losses) = (self.book.clock.as_ref(), self.book.losses);
        let spent = self.book.history.before_due(due_at, self.now, clock, losses);
        self.ceiling_for(due_at).minus(spent)
    }

    /// The ceiling for a due of this instant.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(super) fn ceiling_for(&self, due_at: Instant) -> Volume {
        self.ceiling.max(self.book.ceiling_kept_for(due_at))
    }

    /// A dose that an operator asks for now, on the line of its entry (D2): no
    /// guard stands against it, the ceiling does.
    pub(super) fn ask(&mut self, line: usize) -> Result<bool, Refusal> {
        let (Some(entry), Some(head)) = (self.book.timetable.line(line), self.book.head) else {
            return Err(Refusal::Busy);
        };
        let free =
            self.is_idle() && self.stopped_by().is_none() && self.next_start_allowed() <= self.now;
        if !free {
            return Err(Refusal::Busy);
        }
        let room = self.room_under_ceiling(self.now);
        let mut cut = (room < entry.volume).then_some(Cause::Ceiling);
        let mut target = room.min(entry.volume);
        if let Some(stock) = self.in_stock()
            && stock < target
        {
            (target, cut) = (stock, Some(Cause::ContainerEmpty));
        }
        let dose = head.flow.on_time(target, Carry(0)).0;
        if dose.as_ms() < u64::from(head.shortest_pulse_ms()) {
            return Err(if cut == Some(Cause::ContainerEmpty) {
                Refusal::ContainerEmpty
            } else {
                Refusal::AtCeiling
            });
        }
        self.pack_refuses(&entry, target)?;
        let pulses = if cut.is_some() { None } else { entry.pulses };
        let planned = spread::pulses_for(dose.as_ms(), u64::from(entry.window_ms), &head, pulses)
            .map_err(|misfit| Refusal::DoesNotFit { id: entry.id, misfit })?;
        let dose_ms = u32::try_from(dose.as_ms()).unwrap_or(u32::MAX);
        let even = even_train(&entry, self.now, planned, dose_ms);
        let pulse_ms = dose_ms.div_ceil(planned.max(1));
        // starts that were taken lately may be missing to this dose
        let (plan, disturbed) = if even.is_allowed(&self.book.starts, head.starts_per_hour) {
            (even, None)
        } else {
            let bounds = self.bounds(&entry, self.now, false);
            let plan = spread::respread(dose_ms, pulse_ms, &head, &bounds).ok_or(Refusal::Busy)?;
            (plan, Some(Cause::PumpLimits))
        };
        let state = self.book.state(line);
        Ok(self.begin(&Begin {
            line,
            entry,
            due: DueKey {
                id: entry.id,
                revision: state.revision,
                epoch: self.book.epoch,
                nominal: Nominal(self.book.asks),
            },
            due_at: self.now,
            mark: state.mark,
            plan,
            pulse_ms,
            dose_ms,
            doubted_ms: 0,
            flow: head.flow,
            asked: true,
            cut,
            disturbed,
            hurried: false,
        }))
    }
}

/// The train of an undisturbed dose: evenly over its window from its instant.
fn even_train(entry: &Entry, origin: Instant, pulses: u32, total_ms: u32) -> Plan {
    Plan { origin, span_ms: u64::from(entry.window_ms), pulses, total_ms, next: 0 }
}
