//! Doses in the durable state: a due waits, a pulse begins, a dose has its outcome.

use super::{Book, OpenDose, bit};
use crate::cause::Cause;
use crate::entry::EntryId;
use crate::record::{Begin, Born, ClosedRun, Delivery, Outcome, OutcomeKind, Pulse, Waiting};
use crate::time::{Duration, Instant};
use crate::units::Volume;

impl<const N: usize, const H: usize> Book<N, H> {
    pub(super) fn wait(&mut self, born: &Born) {
        // where the line's settings were lost, or the adoption that put them in force, what
        // waits there still wants its end (D1)
        let line = usize::from(born.line);
        let is_here = self.entry_is(born.line, born.due.id);
        let is_another = self.timetable.id_on(line).is_some();
        let is_lost = !is_another && self.timetable.line_of(Some(born.due.id)).is_none();
        if !is_here && !is_lost && self.damaged & bit(line) == 0 {
            return;
        }
        self.change(line, |state| {
            if is_here {
                (state.mark, state.closed_run) = (born.mark, None);
            }
            state.waiting = Some(Waiting {
                id: born.due.id,
                revision: born.due.revision,
                epoch: born.due.epoch,
                nominal: born.due.nominal,
                due_at: born.due_at,
                cause: born.cause,
            });
        });
    }

    pub(super) fn begin_pulse(&mut self, pulse: &Pulse) {
        if let Some(open) = self.open
            && !open.is_of(pulse.due, pulse.asked)
        {
            // the outcome of the dose before could not be read: its intents tell of it
            let Pulse { line, due, due_at, begun_after_ms, .. } = open.pulse;
            self.delivered(line, due.id, due_at, begun_after_ms, open.most());
        } else {
            self.ran_through(pulse.flow.volume(Duration::from_ms(u64::from(pulse.most_ms))));
        }
        let first = pulse.first;
        let begin = Begin { at: pulse.at, utc: self.utc(pulse.at), losses: self.losses };
        let line = usize::from(pulse.line);
        // the pulses of a dose but its first find the mark where it is
        let changes = first || pulse.mark != self.mark(line);
        if changes && self.entry_is(pulse.line, pulse.due.id) {
            self.change(line, |state| {
                if !pulse.asked && pulse.due.revision == state.revision {
                    state.mark = pulse.mark;
                }
                if first {
                    // what was closed before it is one stretch, and what comes another (D1)
                    (state.last, state.closed_run) = (Some(begin), None);
                    if !pulse.asked {
                        (state.edited, state.waiting) = (false, None);
                    }
                }
            });
        }
        if pulse.asked && first {
            self.asks = self.asks.max(pulse.due.nominal.0.saturating_add(1));
        }
        self.starts.push(pulse.at);
        let run = self.run_of(pulse.on_ms);
        self.gauge.draw(self.gauge.pack.pumping_uc(run.as_ms(), 1));
        self.rest_after_run(pulse.at, run);
        self.open = Some(OpenDose { pulse: *pulse, in_doubt: false, lost: false });
    }

    /// The open dose has pumped so much at most: where that holds the last pulse to its end,
    /// the motor turned.
    fn ran_through(&mut self, most: Volume) {
        if let Some(open) = &self.open
            && !open.in_doubt
            && open.pulse.at > self.motor.at
            && most >= open.most()
        {
            self.motor.ran_through();
        }
    }

    /// How long the pump runs for a pulse of so many ms.
    pub(crate) fn run_of(&self, on_ms: u32) -> Duration {
        let on = Duration::from_ms(u64::from(on_ms));
        self.head.as_ref().map_or(on, |head| head.run_of(on))
    }

    /// The rest that a run needs.
    pub(super) fn rest_of(&self, run: Duration) -> Duration {
        self.head.as_ref().map_or(Duration::ZERO, |head| head.rest_after(run))
    }

    pub(super) fn rest_after_run(&mut self, at: Instant, run: Duration) {
        self.rest_until = at.plus(run).plus(self.rest_of(run));
    }

    /// Takes down the most that a dose can have delivered, and draws it from the container.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    fn delivered(
        &mut self,
        line: u8,
        id: EntryId,
        due_at: Instant,
        begun_after_ms: u32,
        volume: Volume,
    ) {
        self.stock.draw(volume);
        if volume == Volume::ZERO {
            return;
        }
        let begun = due_at.plus(Duration::from_ms(u64::from(begun_after_ms)));
        // the line knows when it began by the clock of that time
        let begin = match self.state(usize::from(line)).last {
            Some(last) if last.at == begun => last,
            _ => Begin { at: begun, utc: self.utc(begun), losses: self.losses },
        };
        if self.entry_is(line, id) {
            // where no intent was readable, this is the first word of it
            self.change(usize::from(line), |state| state.last = Some(begin));
        }
        self.history.push(Delivery { id, begin, begun_after_ms, volume });
    }

    pub(super) fn end(&mut self, outcome: &Outcome) {
        let Outcome { line, due, due_at, begun_after_ms, most, .. } = *outcome;
        self.delivered(line, due.id, due_at, begun_after_ms, most);
        if let Some(open) = self.open
            && open.is_of(due, outcome.asked)
        {
            self.ran_through(most);
            self.open = None;
            // the pump is off by now, whatever the last intent asked for
            let rest = self.rest_of(self.run_of(open.pulse.on_ms));
            self.rest_until = self.rest_until.min(outcome.at.plus(rest));
        }
        if outcome.asked {
            // what was closed while it ran is a stretch of its own as well (D1)
            self.change(usize::from(outcome.line), |state| state.closed_run = None);
            return;
        }
        let here = self.entry_is(outcome.line, due.id);
        self.change(usize::from(outcome.line), |state| {
            // an entry that has left its line can still have a due to end there
            if state.waiting.is_some_and(|w| w.key() == due) {
                state.waiting = None;
            }
            if !here {
                return;
            }
            state.carry = outcome.carry;
            if due.revision == state.revision {
                state.mark = outcome.mark;
            }
            if outcome.kind == OutcomeKind::Skipped(Cause::AlreadyDosed) {
                state.edited = false;
            }
            state.closed_run = (outcome.kind == OutcomeKind::Skipped(Cause::Closed))
                .then_some(ClosedRun { first: due, due_at: outcome.due_at, count: outcome.count });
        });
    }
}
