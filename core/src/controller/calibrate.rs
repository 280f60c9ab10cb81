//! Calibrate: a run into a vessel, a reading, a flow (O2, O4). Whoever leaves it at
//! any step leaves the flow as it was: only the record of a calibration changes it.

use super::Controller;
use crate::calibration::{self, Judgement, Measured, TRAIN_STARTS, Target, Train, Vessel};
use crate::record::{Act, Record};
use crate::time::Duration;
use crate::timetable::Refusal;
use crate::tube::Found;
use crate::units::{Carry, Flow, Volume, over, over_up, times};

/// What a calibration has come to so far. A restart forgets it.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(super) struct Bench {
    /// How long the last run was, where it ran in full and waits for its reading, in
    /// ms; else 0.
    pub(super) run_ms: u32,
    /// The starts in it: 1 but for a train.
    pub(super) starts: u8,
    /// The starts of the train that was asked for last.
    pub(super) asked_starts: u8,
    /// How long the run was whose reading is in force, in ms; 0 before one, and once the
    /// flow was changed otherwise: a train is measured against it.
    pub(super) long_ms: u32,
    /// The flow that the run before it gave, which has to be found again.
    pub(super) first: Option<Flow>,
}

impl Bench {
    pub(super) const EMPTY: Self =
        Self { run_ms: 0, starts: 1, asked_starts: 1, long_ms: 0, first: None };

    /// A run of so many starts ended in full. What was to be found again counts for a run
    /// of the same kind.
    pub(super) fn ran(&self, run_ms: u32, starts: u8) -> Self {
        let is_same = (starts > 1) == (self.starts > 1);
        Self { run_ms, starts, first: self.first.filter(|_| is_same), ..*self }
    }

    /// What is left of it once its reading was taken.
    pub(super) const fn taken(&self, in_force: bool) -> Self {
        let is_long = in_force && self.starts <= 1;
        Self { long_ms: if is_long { self.run_ms } else { 0 }, ..Self::EMPTY }
    }
}

impl<const N: usize, const H: usize> Controller<N, H> {
    /// Whether a calibration run was made whose reading is not entered yet.
    pub const fn waits_for_reading(&self) -> bool {
        self.bench.run_ms > 0
    }

    /// Begins a run of whole turns of the rotor into a vessel.
    pub(super) fn calibrate_into(&mut self, vessel: &Vessel) -> Result<bool, Refusal> {
        let run_ms = self.run_into(vessel, Target::PLANNED)?;
        self.begin_service(Act::CalibrationBegun, u64::from(run_ms))
    }

    /// Begins a train of equal pulses, as long in all as a run into the vessel that is surer
    /// than it need be, for its starts lose some of it; each rounded up to a whole ms.
    pub(super) fn calibrate_train(&mut self, vessel: &Vessel) -> Result<bool, Refusal> {
        let head = self.book.head.ok_or(Refusal::Busy)?;
        if self.bench.long_ms == 0 {
            return Err(Refusal::NothingMeasured);
        }
        let run_ms = u64::from(self.run_into(vessel, Target::TRAIN)?);
        let starts = over(run_ms, u64::from(head.shortest_on_ms.max(1)))
            .min(u64::from(TRAIN_STARTS))
            .min(u64::from(head.starts_per_hour));
        let each_ms = over_up(run_ms, starts.max(1));
        if starts < 2 || each_ms > u64::from(head.longest_run_ms) {
            return Err(Refusal::OutOfRange);
        }
        let wrote = self.begin_service(Act::TrainBegun, each_ms.saturating_mul(starts))?;
        self.bench.asked_starts = starts as u8;
        Ok(wrote)
    }

    /// The length of a run of whole turns into a vessel, in ms.
    fn run_into(&self, vessel: &Vessel, target: Target) -> Result<u32, Refusal> {
        let head = self.book.head.ok_or(Refusal::Busy)?;
        let turn = Volume::from_nl(times(head.roller_pass.as_nl(), u64::from(head.rollers)));
        let nominal = self.book.tube.nominal.unwrap_or(head.flow);
        let run = calibration::run_for(&vessel.to_fill(), &target, head.flow, turn, nominal);
        run.map(|run| run.run_ms).map_err(Refusal::NoRun)
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
        let Bench { starts, long_ms, first, .. } = self.bench;
        let is_train = starts > 1;
        // it is expected to give less by the lead of each start
        let lost_ms = u32::from(head.lead_ms) * u32::from(starts);
        let on_ms = run_ms.saturating_sub(lost_ms);
        let on = Duration::from_ms(u64::from(on_ms));
        let expected = calibration::reading(head.flow.volume(on), Volume::ZERO, run_ms, 0);
        let expected = expected.map_or(head.flow, |expected| expected.flow);
        let reading = match calibration::judge(reading, run_ms, target, nominal, expected, first) {
            Judgement::Accept(reading) => reading,
            // how it was found changes nothing, and needs no second word
            Judgement::Confirm(reading) if measured.as_found => reading,
            Judgement::Confirm(reading) => {
                let flow = reading.flow;
                self.bench = Bench { run_ms: 0, first: Some(flow), ..self.bench };
                return Err(Refusal::RunTwice { flow });
            }
            Judgement::RunLonger { least_ms, .. } => return Err(Refusal::RunLonger { least_ms }),
            Judgement::Implausible { flow } => return Err(Refusal::Implausible { flow }),
        };
        let (mut flow, mut uncertainty_ppm) = (reading.flow, reading.uncertainty_ppm);
        let mut lead_ms = head.lead_ms;
        if !is_train && on_ms < run_ms {
            // the steady flow, as a train gives it
            flow = calibration::reading(volume, Volume::ZERO, on_ms, 0).map_or(flow, |r| r.flow);
        } else if is_train {
            let long = u64::from(long_ms.saturating_sub(u32::from(head.lead_ms)));
            let long = head.flow.volume(Duration::from_ms(long));
            let long = Train { on_ms: long_ms, starts: 1, volume: long };
            let train = Train { on_ms: run_ms, starts: u32::from(starts), volume };
            let found = calibration::two_point(&long, &train);
            // a start that takes more than half a pulse is none that can be reckoned with
            let most_ms = over(u64::from(run_ms), 2 * u64::from(starts));
            let implausible = Refusal::Implausible { flow: Some(flow) };
            let found = found.filter(|_| !measured.as_found).ok_or(implausible)?;
            flow = found.steady;
            let long_ppm = self.book.tube.last().map_or(0, |last| last.uncertainty_ppm);
            uncertainty_ppm = calibration::two_point_ppm(&long, long_ppm, &train, uncertainty_ppm);
            let lead = flow.on_time(found.loss_per_start, Carry(0)).0.as_ms();
            lead_ms = u16::try_from(lead.min(most_ms + 1)).unwrap_or(u16::MAX);
            if u64::from(lead_ms) > most_ms || u32::from(lead_ms) >= head.longest_run_ms {
                return Err(implausible);
            }
        }
        let found = Found { at: self.now, flow, uncertainty_ppm };
        Ok(self.want(&Record::Calibration { found, in_force: !measured.as_found, lead_ms }))
    }
}
