//! Calibrate: a run into a vessel, a reading, a flow (O2, O4). Whoever leaves it at
//! any step leaves the flow as it was: only the record of a calibration changes it.

use super::Controller;
use crate::calibration::{self, Judgement, Measured, Target, Vessel};
use crate::record::{Act, Record};
use crate::timetable::Refusal;
use crate::tube::Found;
use crate::units::{Flow, Volume, over};

/// What a calibration has come to so far. A restart forgets it.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(super) struct Bench {
    /// How long the last run was, where it ran in full and waits for its reading, in
    /// ms; else 0.
    pub(super) run_ms: u32,
    /// The flow that the run before it gave, which has to be found again.
    pub(super) first: Option<Flow>,
}

impl Bench {
    pub(super) const EMPTY: Self = Self { run_ms: 0, first: None };
}

impl<const N: usize, const H: usize> Controller<N, H> {
    /// Whether a calibration run was made whose reading is not entered yet.
    pub const fn waits_for_reading(&self) -> bool {
        self.bench.run_ms > 0
    }

    /// Begins a run of whole turns of the rotor into a vessel.
    pub(super) fn calibrate_into(&mut self, vessel: &Vessel) -> Result<bool, Refusal> {
        let head = self.book.head.ok_or(Refusal::Busy)?;
        // the rotor keeps its speed: a worn tube gives less a turn, not fewer turns. No
        // turn has more than four litres
        let turn_nl = head.roller_pass.as_nl().saturating_mul(u64::from(head.rollers));
        let nominal = self.book.tube.nominal.unwrap_or(head.flow);
        let turn = Volume::from_nl(over(
            turn_nl.min(u64::from(u32::MAX)) * u64::from(head.flow.as_nl_per_min()),
            u64::from(nominal.as_nl_per_min()),
        ));
        let run = calibration::run_for(&vessel.to_fill(), &Target::PLANNED, head.flow, turn);
        let run = run.map_err(Refusal::NoRun)?;
        self.begin_service(Act::CalibrationBegun, u64::from(run.run_ms))
    }

    /// A reading is entered.
    pub(super) fn measured(&mut self, measured: &Measured) -> Result<bool, Refusal> {
        let run_ms = self.bench.run_ms;
        let Some(head) = self.book.head.filter(|_| run_ms > 0) else {
            return Err(Refusal::NothingMeasured);
        };
        let target = &Target::DEFAULT;
        let volume = measured.amount.volume().ok_or(Refusal::OutOfRange)?;
        let reading =
            calibration::reading(volume, measured.reading_error, run_ms, target.timing_ms);
        let nominal = self.book.tube.nominal.unwrap_or(head.flow);
        let first = self.bench.first;
        let reading = match calibration::judge(reading, run_ms, target, nominal, head.flow, first) {
            Judgement::Accept(reading) => reading,
            // how it was found changes nothing, and needs no second word
            Judgement::Confirm(reading) if measured.as_found => reading,
            Judgement::Confirm(reading) => {
                let flow = reading.flow;
                self.bench = Bench { run_ms: 0, first: Some(flow) };
                return Err(Refusal::RunTwice { flow });
            }
            Judgement::RunLonger { least_ms, .. } => return Err(Refusal::RunLonger { least_ms }),
            Judgement::Implausible { flow } => return Err(Refusal::Implausible { flow }),
        };
        let (flow, uncertainty_ppm) = (reading.flow, reading.uncertainty_ppm);
        let found = Found { at: self.now, flow, uncertainty_ppm };
        Ok(self.want(&Record::Calibration { found, in_force: !measured.as_found }))
    }
}
