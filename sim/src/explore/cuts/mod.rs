//! Every cut: the real device over a model of its flash, its supply cut at every
//! byte of every write and erase and at every moment at which anything happens;
//! and from each restart on, cut again at every such point.
//!
//! A *run* is one place of the first cut, at depth 2 with one place of the second:
//! the memory is left as that cut leaves it, byte for byte, and the device starts
//! from it and is judged. Then it goes on to the end of the script, unless a
//! neighbouring run of the same call has come to a state that is equal in all
//! that can make a difference: controller, ledger, what the slots say, and all
//! that was seen from outside.

mod course;
mod failure;
mod judge;
mod memory;
mod ride;
mod script;
mod tear;
mod tell;
mod walk;

use std::sync::Mutex;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};

pub use course::Violation;
pub use failure::{Cut, Failure};
pub use tear::Tear;
pub use tell::{Told, tell};
pub use walk::Counts;

use script::Script;
use tear::Tears;
use walk::Walker;

/// What to explore.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Plan {
    /// Cuts in a run: 1 or 2.
    pub depth: usize,
    /// Bytes of a word of the memory: 1, 4 or 8.
    pub word: usize,
    /// How many workers share the work; the result is the same for any number.
    pub threads: usize,
    /// Go on once only from first cuts that leave equal states: the same states
    /// are seen, in a fraction of the runs.
    pub merge_first: bool,
}

/// What came of it.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Report {
    /// What was explored.
    pub plan: Plan,
    /// How much of it.
    pub counts: Counts,
    /// Whether it was explored to the end.
    pub is_complete: bool,
    /// The first run that broke a promise, in the order of first cuts.
    pub failure: Option<Failure>,
}

/// What whoever waits may see and do.
#[derive(Debug, Default)]
pub struct Watch {
    stop: AtomicBool,
    first_cuts: AtomicU64,
}

impl Watch {
    /// Ends the exploration; what is finished is kept.
    pub fn stop(&self) {
        self.stop.store(true, Ordering::Relaxed);
    }

    /// Places of the first cut that are done with.
    pub fn first_cuts(&self) -> u64 {
        self.first_cuts.load(Ordering::Relaxed)
    }
}

/// What the workers share.
struct Shared<'w> {
    watch: &'w Watch,
    next_unit: AtomicU64,
    /// The least unit with a failure.
    failed: AtomicU64,
    failure: Mutex<Option<(u64, Failure)>>,
}

impl Shared<'_> {
    /// The next unit of first cuts that nobody has.
    fn claim(&self) -> u64 {
        self.next_unit.fetch_add(1, Ordering::Relaxed)
    }

    /// Whether a unit is still to be done: those before a failure are, so that the
    /// first failure is the same however many workers there are.
    fn wants(&self, unit: u64) -> bool {
        !self.watch.stop.load(Ordering::Relaxed) && unit < self.failed.load(Ordering::Relaxed)
    }

    fn progress(&self) {
        self.watch.first_cuts.fetch_add(1, Ordering::Relaxed);
    }

    fn report(&self, unit: u64, failure: Failure) {
        self.failed.fetch_min(unit, Ordering::Relaxed);
        let mut first = self.failure.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
        let is_first = first.as_ref().is_none_or(|(known, known_failure)| {
            unit < *known || unit == *known && failure.cuts < known_failure.cuts
        });
        if is_first {
            *first = Some((unit, failure));
        }
    }
}

/// Explores every cut of the script.
pub fn explore(plan: Plan, watch: &Watch) -> Report {
    match plan.word {
        1 => explore_words_of::<1>(plan, watch),
        4 => explore_words_of::<4>(plan, watch),
        _ => explore_words_of::<8>(plan, watch),
    }
}

fn explore_words_of<const W: usize>(plan: Plan, watch: &Watch) -> Report {
    let tears = Tears::of(W);
    let shared = Shared {
        watch,
        next_unit: AtomicU64::new(0),
        failed: AtomicU64::new(u64::MAX),
        failure: Mutex::new(None),
    };
    let work = || {
        let script = Script::evening();
        let mut walker = Walker::<W>::new(&script, &tears, &shared, plan.merge_first);
        walker.explore(plan.depth);
        walker.counts
    };
    let mut counts = Counts::default();
    std::thread::scope(|scope| {
        let workers: Vec<_> = (1..plan.threads.max(1)).map(|_| scope.spawn(work)).collect();
        counts.add(&work());
        for worker in workers {
            match worker.join() {
                Ok(done) => counts.add(&done),
                Err(panic) => std::panic::resume_unwind(panic),
            }
        }
    });
    let failure = shared.failure.into_inner().unwrap_or_else(std::sync::PoisonError::into_inner);
    Report {
        plan,
        counts,
        is_complete: !watch.stop.load(Ordering::Relaxed),
        failure: failure.map(|(_, failure)| failure),
    }
}

#[cfg(test)]
mod tests;
