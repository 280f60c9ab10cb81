//! What a scenario expects against what its run came to.

mod calm;
mod figures;
mod judge;

pub use figures::{EntryFigures, Figures};

use crate::diagnose::Diagnostic;
use crate::run::RunEnd;
use crate::scenario::Scenario;

/// How many claims of a scenario do not hold, and each figure of them that is another, at its
/// place in the file.
/// Claims of `held` are not looked at: they are about all the others.
pub fn failures(scenario: &Scenario, figures: &Figures, end: &RunEnd) -> (usize, Vec<Diagnostic>) {
    judge::failures(&scenario.expect, figures, end)
}
