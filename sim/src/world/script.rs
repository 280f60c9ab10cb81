//! What is to happen to the device from outside, in order of true time.

use std::cmp::Reverse;
use std::collections::BinaryHeap;

use crate::run::Frame;
use crate::scenario::Moment;

/// Something to do at a moment.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Cue {
    /// The fault of that number in the file begins.
    Fault(usize),
    /// The fault of that number ends.
    FaultEnds(usize),
    /// The act of that number in the file is done.
    Act(usize),
    /// An act's second half: the operator lets go, or enters a reading.
    ActEnds(usize),
    /// The supply comes back, if nothing else still keeps it off.
    Supply,
    /// The logic is called for no reason.
    Spurious,
    /// The low-level contact bounces once.
    Bounce,
}

/// The moments that are known, and those that the run itself will bring.
#[derive(Debug, Default)]
pub(super) struct Script {
    queue: BinaryHeap<Reverse<(u64, u64, Cue)>>,
    /// Cues that wait for a pulse: dose, pulse, cue.
    pulses: Vec<(u32, u32, Cue)>,
    count: u64,
}

impl Script {
    /// Puts a cue at a true time. Cues of one moment come in the order in which
    /// they were put.
    pub(super) fn at(&mut self, at_ms: u64, cue: Cue) {
        self.queue.push(Reverse((at_ms, self.count, cue)));
        self.count += 1;
    }

    /// Puts a cue at a scenario's moment.
    pub(super) fn at_moment(&mut self, moment: Moment, frame: &Frame, cue: Cue) {
        match (frame.moment(moment), moment) {
            (Some(at_ms), _) => self.at(at_ms, cue),
            (None, Moment::Pulse { dose, pulse }) => self.pulses.push((dose, pulse, cue)),
            (None, _) => {}
        }
    }

    /// When the next cue is.
    pub(super) fn next_at(&self) -> Option<u64> {
        self.queue.peek().map(|Reverse((at_ms, _, _))| *at_ms)
    }

    /// The next cue, if its time has come.
    pub(super) fn pop_by(&mut self, now: u64) -> Option<Cue> {
        self.next_at().filter(|&at| at <= now)?;
        self.queue.pop().map(|Reverse((_, _, cue))| cue)
    }

    /// Whether any cue waits for a pulse.
    pub(super) fn waits_for_pulses(&self) -> bool {
        !self.pulses.is_empty()
    }

    /// A pulse has just begun: its cues come now.
    pub(super) fn pulse_began(&mut self, at_ms: u64, dose: u32, pulse: u32) {
        let mut due = Vec::new();
        self.pulses.retain(|&(d, p, cue)| {
            let is_due = (d, p) == (dose, pulse);
            if is_due {
                due.push(cue);
            }
            !is_due
        });
        for cue in due {
            self.at(at_ms, cue);
        }
    }
}
