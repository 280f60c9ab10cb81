//! What a scenario expects against what its run came to.

mod calm;
mod figures;
mod judge;

pub use figures::{EntryFigures, Figures};

use crate::diagnose::Diagnostic;
use crate::run::RunEnd;
use crate::scenario::Scenario;

/// The claims of a scenario that do not hold, each at its place in the file.
/// Claims of `held` are not looked at: they are about all the others.
pub fn failures(scenario: &Scenario, figures: &Figures, end: &RunEnd) -> (usize, Vec<Diagnostic>) {
    judge::failures(&scenario.expect, figures, end)
}
