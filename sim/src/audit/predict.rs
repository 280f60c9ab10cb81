//! What a faultless device with a faultless pump makes of settings, supply and
//! clock: every due with its outcome, from the reference model alone.

use dosewright_core::cause::Cause;
use dosewright_core::entry::EntryId;
use dosewright_core::record::{Alarm, OutcomeKind};
use dosewright_core::tube::Found;

use crate::observe::{DeviceAct, Observation};

use super::Facts;
use super::causes::Causes;
use super::device::Ideal;
use super::ideal::Running;
use super::model::{Due, Model};

/// A due, or a stretch of skipped ones, and what has to become of it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Predicted {
    /// The entry.
    pub id: EntryId,
    /// The revision it is born under.
    pub revision: u16,
    /// The clock epoch it is born in.
    pub epoch: u16,
    /// Its place in the entry's order.
    pub nominal: u32,
    /// The last of the stretch; the due itself where there is one.
    pub last: u32,
    /// How many dues it stands for.
    pub count: u64,
    /// Its instant in device ms, as the clock stood when it ended.
    pub due_at: i64,
    /// Its instant in local time in ms since 1970; `None` with the clock unset.
    pub due_local_ms: Option<i64>,
    /// Whether an operator asked for it.
    pub asked: bool,
    /// How it has to end; `None` where it is open at the end. Where `causes`
    /// has more than one, this has the one that came last.
    pub kind: Option<OutcomeKind>,
    /// The causes of which any one will do.
    pub causes: Causes,
    /// Least delivered, in nl.
    pub least_nl: u64,
    /// Most delivered, in nl.
    pub most_nl: u64,
    /// How far both may be off, in nl: one ms of flow for an undisturbed dose,
    /// one pulse for each disturbance.
    pub slack_nl: u64,
    /// When it began, in device ms.
    pub begun_at: Option<i64>,
    /// When it ended, in device ms.
    pub ended_at: i64,
}

/// The dues of a run and what has to become of them, in the order in which
/// they end; what is open at `end_ms` comes last. Observations of pump and
/// ledger are not looked at; every act of an operator is taken as accepted.
pub fn predict<'a>(
    facts: &Facts,
    observations: impl IntoIterator<Item = (u64, Observation<'a>)>,
    end_ms: u64,
) -> Vec<Predicted> {
    let mut ideal = Ideal::new(facts, Silent);
    for (at_ms, what) in observations {
        ideal.see(at_ms, &what);
    }
    ideal.finish(end_ms).0
}

/// Is told what the ideal device does, at which device time.
pub(crate) trait Hand {
    fn booted(&mut self, model: &Model, ms: u64, at: i64, feed_kept: bool);
    fn set(&mut self, model: &Model, ms: u64, at: i64, act: &DeviceAct, dose: Option<&Running>);
    fn waits(&mut self, model: &Model, ms: u64, due: &Due, cause: Cause, at: i64);
    fn intends(&mut self, model: &Model, ms: u64, dose: &Running, at: i64, on_ms: i64);
    fn pump(&mut self, ms: u64, on: bool);
    fn ended(&mut self, model: &Model, ms: u64, what: &Predicted, dose: Option<&Running>);
    fn service(&mut self, ms: u64, at: i64, act: Option<&DeviceAct>, length_ms: i64);
    fn motor(&mut self, ms: u64, at: i64, faults: u8);
    fn calibrated(&mut self, ms: u64, found: Found, in_force: bool);
    fn alarm(&mut self, ms: u64, at: i64, alarm: Alarm, on: bool);
}

/// Tells nobody.
#[derive(Debug)]
pub(crate) struct Silent;

impl Hand for Silent {
    fn booted(&mut self, _: &Model, _: u64, _: i64, _: bool) {}
    fn set(&mut self, _: &Model, _: u64, _: i64, _: &DeviceAct, _: Option<&Running>) {}
    fn waits(&mut self, _: &Model, _: u64, _: &Due, _: Cause, _: i64) {}
    fn intends(&mut self, _: &Model, _: u64, _: &Running, _: i64, _: i64) {}
    fn pump(&mut self, _: u64, _: bool) {}
    fn ended(&mut self, _: &Model, _: u64, _: &Predicted, _: Option<&Running>) {}
    fn service(&mut self, _: u64, _: i64, _: Option<&DeviceAct>, _: i64) {}
    fn motor(&mut self, _: u64, _: i64, _: u8) {}
    fn calibrated(&mut self, _: u64, _: Found, _: bool) {}
    fn alarm(&mut self, _: u64, _: i64, _: Alarm, _: bool) {}
}
