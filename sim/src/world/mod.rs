//! The world around the controller: a true clock that jumps from event to
//! event, and everything the device is connected to.

pub mod battery;
mod chip;
pub mod flash;
pub mod head;
mod memory;
mod operator;
mod plant;
mod rotor;
mod script;
mod stage;

use dosewright_core::ledger::OpenError;
use dosewright_core::timetable::Timetable;

use crate::observe::{LINES, Observer};
use crate::operate::{Condition, Hand};
use crate::run::{Frame, Options, RunEnd};
use crate::scenario::Scenario;

pub(crate) use stage::LEAST_SECTOR_BYTES;

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
    play(scenario, options, None, observer)
}

/// Drives a scenario's world with a hand on the device's panel.
pub(crate) fn operate(
    scenario: &Scenario,
    options: &Options,
    condition: Condition,
    hand: &mut dyn Hand,
    observer: &mut dyn Observer,
) -> Result<RunEnd, WorldError> {
    play(scenario, options, Some((condition, hand)), observer)
}

/// Whose hand is on the panel, and how it finds the device.
type OnPanel<'a> = Option<(Condition, &'a mut dyn Hand)>;

fn play(
    scenario: &Scenario,
    options: &Options,
    on_panel: OnPanel<'_>,
    observer: &mut dyn Observer,
) -> Result<RunEnd, WorldError> {
    match scenario.memory.word_bytes {
        1 => play_on::<1>(scenario, options, on_panel, observer),
        8 => play_on::<8>(scenario, options, on_panel, observer),
        _ => play_on::<4>(scenario, options, on_panel, observer),
    }
}

/// With a memory of words of `W` bytes.
fn play_on<const W: usize>(
    scenario: &Scenario,
    options: &Options,
    on_panel: OnPanel<'_>,
    observer: &mut dyn Observer,
) -> Result<RunEnd, WorldError> {
    let stage = stage::Stage::<W>::new(scenario, options, observer)?;
    match on_panel {
        Some((condition, hand)) => stage.under(hand, condition).play(),
        None => stage.play(),
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
        other => other.to_string(),
    }
}
