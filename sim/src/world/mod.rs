//! The world around the controller: a true clock that jumps from event to
//! event, and everything the device is connected to.

pub mod battery;
mod chip;
pub mod flash;
pub mod head;
mod memory;
mod operator;
mod plant;
mod script;
mod stage;

use dosewright_core::ledger::OpenError;
use dosewright_core::timetable::Timetable;

use crate::observe::{LINES, Observer};
use crate::operate::{Condition, Hand};
use crate::run::{Frame, Options, RunEnd};
use crate::scenario::Scenario;

/// Why a world cannot run a scenario at all.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum WorldError {
    /// The memory is laid out so that the device cannot use it.
    Memory(String),
    /// The logic asks to be called over and over at one instant.
    BusyLoop {
        /// True ms from the start.
        at_ms: u64,
    },
}

impl std::fmt::Display for WorldError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Memory(why) => write!(f, "the device cannot use this memory: {why}"),
            Self::BusyLoop { at_ms } => {
                write!(f, "the logic asked to be called again and again at {at_ms} ms")
            }
        }
    }
}

impl std::error::Error for WorldError {}

/// Drives a scenario's world to its end.
pub(crate) fn run(
    scenario: &Scenario,
    options: &Options,
    observer: &mut dyn Observer,
) -> Result<RunEnd, WorldError> {
    match scenario.memory.word_bytes {
        1 => stage::Stage::<1>::new(scenario, options, observer)?.play(),
        8 => stage::Stage::<8>::new(scenario, options, observer)?.play(),
        _ => stage::Stage::<4>::new(scenario, options, observer)?.play(),
    }
}

/// Drives a scenario's world with a hand on the device's panel.
pub(crate) fn operate(
    scenario: &Scenario,
    options: &Options,
    condition: Condition,
    hand: &mut dyn Hand,
    observer: &mut dyn Observer,
) -> Result<RunEnd, WorldError> {
    match scenario.memory.word_bytes {
        1 => stage::Stage::<1>::new(scenario, options, observer)?.under(hand, condition).play(),
        8 => stage::Stage::<8>::new(scenario, options, observer)?.under(hand, condition).play(),
        _ => stage::Stage::<4>::new(scenario, options, observer)?.under(hand, condition).play(),
    }
}

/// The timetable that the installer enters at the start.
pub(crate) fn first_timetable(scenario: &Scenario, frame: &Frame) -> Timetable<LINES> {
    operator::Plan::new(scenario, |from| stage::start_of(from, frame, None, 0)).timetable()
}

/// In words what keeps a ledger from opening.
pub(crate) fn open_error<E: std::fmt::Debug>(error: &OpenError<E>) -> String {
    match error {
        OpenError::Version(found) => format!("its ledger has format version {found}"),
        OpenError::Unformatted => "it holds something that is no ledger".to_owned(),
        OpenError::OtherGeometry { sector_bytes, sectors } => {
            format!("its ledger has {sectors} sectors of {sector_bytes} bytes")
        }
        other => format!("{other:?}"),
    }
}
