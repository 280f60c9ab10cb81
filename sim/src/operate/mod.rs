//! A hand on the device's front panel while its world goes on: a script's, or a
//! person's at the terminal.

mod page;
mod picture;
mod script;

pub use page::{boxed, facts};
pub use picture::Dots;
pub use script::{Counts, Script, ScriptEnd, ScriptHand, renewed};

use dosewright_core::civil::Local;
use dosewright_core::panel::{Input, Screen};
use dosewright_core::record::Alarm;

use crate::judged::{self, Judged};
use crate::observe::Observer;
use crate::run::{Options, RunEnd};
use crate::scenario::Scenario;
use crate::world::{self, WorldError};

/// Who turns and presses the knob.
pub trait Hand {
    /// When it is to be called next, in true ms from the start: between `now` and
    /// `world`, the moment at which anything else happens. `None` leaves the world to
    /// go on. A live hand waits here.
    fn next_at(&mut self, now: u64, world: Option<u64>) -> Option<u64>;

    /// What it does at its moment.
    fn act(&mut self, now: u64, bench: &mut dyn Bench);

    /// Whether the run is to end.
    fn is_done(&self) -> bool;
}

/// What a hand has before it.
pub trait Bench {
    /// Touches the knob. On a device that is off nothing comes of it.
    fn touch(&mut self, input: Input);
    /// What the display shows.
    fn screen(&mut self) -> Screen;
    /// What can be seen beside it.
    fn sight(&mut self) -> Sight;
}

/// The world beside the panel, as it really is.
#[derive(Debug, Clone, PartialEq)]
pub struct Sight {
    /// True local time.
    pub local: Local,
    /// What stands on the head and its tubes.
    pub label: String,
    /// Whether the device has its supply.
    pub is_on: bool,
    /// Whether the pump runs.
    pub pump_is_on: bool,
    /// What came out of the tube so far, in nl.
    pub delivered_nl: u64,
    /// What is in the container, in nl.
    pub level_nl: Option<u64>,
    /// Share of the pack's charge that is left.
    pub pack_left: Option<f64>,
    /// The alarms that the device has on.
    pub alarms: Vec<Alarm>,
    /// True ms until the next dose that is due.
    pub next_due_ms: Option<u64>,
}

/// How the device comes to the panel.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Condition {
    /// Set up as the scenario says.
    Installed,
    /// As it comes from the factory: nothing is set up, there is no entry.
    Factory,
}

/// Runs a scenario's world with a hand on the panel, and judges it: the promises hold
/// whatever is pressed. What the scenario expects of a run without hands is left out.
pub fn operate(
    scenario: &Scenario,
    options: &Options,
    condition: Condition,
    hand: &mut dyn Hand,
) -> Result<Judged, WorldError> {
    let scenario = as_found(scenario, condition);
    judged::run_by(&scenario, options, Vec::new(), None, |observer| {
        world::operate(&scenario, options, condition, hand, observer)
    })
}

/// The same, seen by somebody else and judged by nobody.
pub fn watched(
    scenario: &Scenario,
    options: &Options,
    condition: Condition,
    hand: &mut dyn Hand,
    observer: &mut dyn Observer,
) -> Result<RunEnd, WorldError> {
    world::operate(&as_found(scenario, condition), options, condition, hand, observer)
}

fn as_found(scenario: &Scenario, condition: Condition) -> Scenario {
    let mut scenario = scenario.clone();
    scenario.expect.clear();
    if condition == Condition::Factory {
        scenario.entries.clear();
        scenario.closed.clear();
    }
    scenario
}
