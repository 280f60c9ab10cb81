//! A minimal polled state machine: next wake, jump there, step. No ledger, no limits,
//! no restarts, no clock that can be set: what remains of a controller without them.

use crate::work::{DAY_S, Tally, Work, weekday};

struct Machine<'w> {
    work: &'w Work,
    due_at: u64,
    left: u32,
    next_on: u64,
    off_at: u64,
}

const NEVER: u64 = u64::MAX;

impl Machine<'_> {
    /// The first due at or after a second.
    fn next_due(&self, from: u64) -> u64 {
        let mut first = NEVER;
        for entry in &self.work.entries {
            let at = u64::from(entry.at_min) * 60;
            let day = from.saturating_sub(at).div_ceil(DAY_S);
            let bits = u16::from(entry.days) << 7 | u16::from(entry.days);
            let ahead = (bits >> weekday(day)).trailing_zeros();
            if ahead < 7 {
                first = first.min((day + u64::from(ahead)) * DAY_S + at);
            }
        }
        first
    }

    fn next_wake(&self) -> u64 {
        self.due_at.min(self.next_on).min(self.off_at)
    }

    fn step(&mut self, now: u64, tally: &mut Tally) {
        if now == self.off_at {
            tally.edge(false, now);
            self.off_at = NEVER;
        }
        if now == self.due_at {
            (self.left, self.next_on) = (self.work.pulses, now);
            self.due_at = self.next_due(now + 1);
        }
        if now == self.next_on {
            tally.edge(true, now);
            self.left -= 1;
            self.off_at = now + self.work.on_s;
            self.next_on = if self.left > 0 { now + self.work.spacing_s } else { NEVER };
        }
    }
}

pub fn run(work: &Work) -> Tally {
    let mut machine = Machine { work, due_at: 0, left: 0, next_on: NEVER, off_at: NEVER };
    machine.due_at = machine.next_due(0);
    let mut tally = Tally::default();
    let end = work.end_s();
    loop {
        let now = machine.next_wake();
        if now >= end {
            return tally;
        }
        machine.step(now, &mut tally);
    }
}
