//! Every state: a breadth-first exploration of the real controller over one or
//! two entries and a small alphabet of events at chosen instants.
//!
//! **What is explored.** From a device just set up, every path of calls in which
//! at most so many disturbances happen, each of every kind, at each of four
//! moments around each call that the logic asks for: 1 ms after the last thing
//! that happened, half way to the call, 1 ms before it, and 5 s after it, so that
//! the event itself brings the late call. What ends a disturbance (the stop goes
//! off, the clock is set again, an operator lets go) costs nothing and can come
//! at the same moments. A reset starts the logic from the book folded so far.
//!
//! **Why it ends.** Elapsed time only grows, so no state ever comes back, and
//! the book holds instants that no shift leaves alone: taking two states for the
//! same but for a shift of time would need a proof about every rule that reads
//! the time. So states are equal only when they are equal in every bit, and the
//! exploration is bounded by a horizon of true time and a number of disturbances
//! a path. Within those two it goes to a fixed point: every state that can be
//! reached has been seen, and each of its continuations taken.
//!
//! **The judge** (`ghost`) is carried along in the state, so that two paths
//! which leave the controller alike and the world different are two states.
//!
//! **Why an own search.** The model checker `stateright` was looked at first. It
//! keeps whole states in its queue (the controller and its judge are some
//! kilobytes, which is gigabytes at a million), tells states apart by 64 bits,
//! judges states where most promises here are about steps, and brings threads
//! and a web server into a library that has neither. Here a state that waits is
//! six bytes and a fingerprint of 128 bits: its turn come, it is made again from
//! the path to it, which also shows that a path is the same each time.

mod action;
mod ghost;
mod node;
mod path;
mod search;
mod setup;

pub use ghost::Finding;
pub use setup::{BUILT_IN, Setup};

use search::Search;

/// How far to explore.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Options {
    /// Steps of a path at most; `None` for no limit.
    pub depth: Option<u32>,
    /// Disturbances of a path at most.
    pub disturbances: u8,
    /// States at most. Each takes 24 to 45 bytes, and for a moment twice that
    /// when the table of fingerprints grows.
    pub states: usize,
    /// Violations after which it ends, each of another kind.
    pub findings: usize,
}

impl Default for Options {
    fn default() -> Self {
        Self { depth: None, disturbances: 2, states: 20_000_000, findings: 1 }
    }
}

/// Why an exploration ended.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Ended {
    /// Every state within the bounds has been seen.
    FixedPoint,
    /// A promise does not hold.
    Violation,
    /// The limit of steps was reached.
    Depth,
    /// The limit of states was reached.
    States,
    /// Whoever looked on wanted the end.
    Interrupted,
}

impl Ended {
    /// In words.
    pub const fn words(self) -> &'static str {
        match self {
            Self::FixedPoint => "fixed point",
            Self::Violation => "violation",
            Self::Depth => "limit of depth",
            Self::States => "limit of states",
            Self::Interrupted => "interrupted",
        }
    }
}

/// How far an exploration is.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Progress {
    /// States seen.
    pub states: usize,
    /// Of these, not yet followed.
    pub waiting: usize,
    /// Steps taken.
    pub transitions: u64,
    /// Steps on the paths that are followed now.
    pub depth: u32,
}

/// A violation and a shortest path to it.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Found {
    /// What does not hold.
    pub finding: Finding,
    /// True ms from the start.
    pub at_ms: u64,
    /// Steps of the path, calls on time included.
    pub steps: usize,
    /// The path in words.
    pub path: Vec<String>,
    /// The path as a scenario file; an error names what a file cannot say.
    pub scenario: Result<String, String>,
}

/// What an exploration came to.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Report {
    /// States seen.
    pub states: usize,
    /// Steps taken.
    pub transitions: u64,
    /// Steps of the longest path.
    pub depth: u32,
    /// Why it ended.
    pub ended: Ended,
    /// What was found, the shortest paths first.
    pub found: Vec<Found>,
}

/// Explores. `look` is told now and then how far it is, and says whether to go on.
pub fn explore(
    setup: &Setup,
    options: &Options,
    look: &mut dyn FnMut(&Progress) -> bool,
) -> Report {
    let outcome = match Search::new(setup, options) {
        Ok(search) => search.run(look),
        // it does not even start
        Err(finding) => search::Outcome {
            states: 1,
            transitions: 0,
            depth: 0,
            ended: Ended::Violation,
            hits: vec![search::Hit { finding, steps: Vec::new() }],
        },
    };
    let found = outcome
        .hits
        .into_iter()
        .map(|hit| Found {
            at_ms: hit.steps.last().map_or(0, |step| step.at_ms),
            steps: hit.steps.len(),
            path: path::words(setup, &hit.steps),
            scenario: path::scenario(setup, hit.finding.promise, &hit.steps),
            finding: hit.finding,
        })
        .collect();
    Report {
        states: outcome.states,
        transitions: outcome.transitions,
        depth: outcome.depth,
        ended: outcome.ended,
        found,
    }
}
