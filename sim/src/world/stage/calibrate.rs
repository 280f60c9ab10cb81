//! Somebody calibrates: the run, what comes out of it into the vessel, and what is
//! read off that.

use dosewright_core::calibration::{Amount, Measured, TRAIN_STARTS, Vessel};
use dosewright_core::time::Duration;
use dosewright_core::timetable::Refusal;
use dosewright_core::units::{Flow, Volume};
use rand_pcg::Pcg64Mcg;
use rand_pcg::rand_core::{RngCore as _, SeedableRng as _};

use super::{Power, Stage};
use crate::observe::DeviceAct;
use crate::run::ActEnd;
use crate::scenario::{Act, Calibration, CalibrationRun};
use crate::world::script::Cue;

/// How long somebody takes to read the vessel after a run, in ms.
const READING_MS: u64 = 30_000;
/// How long somebody takes to make ready for a second run, in ms.
const AGAIN_MS: u64 = 5 * 60_000;

/// Runs that somebody makes beside the first before giving up: the device may ask for a
/// longer one, for one more where the next reading is a low one, and for another that says
/// the same.
const MOST_RERUNS: u32 = 8;

/// Runs of one act beside its first.
#[derive(Clone, Copy, Debug)]
pub(in crate::world) struct Rerun {
    act: usize,
    runs: u32,
    /// The length that the device has asked for, in ms; `None` for one as before.
    run_ms: Option<u32>,
}

impl<const W: usize> Stage<'_, W> {
    /// The run begins.
    pub(super) fn calibrate(&mut self, index: usize) {
        let scenario = self.scenario;
        let Some(Act::Calibrate { run: Some(run), vessel, result, .. }) =
            scenario.operator.get(index).map(|act| &act.act)
        else {
            return;
        };
        self.plant.advance(self.now);
        self.measured_from = self.plant.delivered_nl();
        let asked = self.reruns.iter().find(|rerun| rerun.act == index);
        let asked = asked.and_then(|rerun| rerun.run_ms);
        self.act(&match run {
            _ if let Some(run_ms) = asked => DeviceAct::Calibrate(run_ms),
            CalibrationRun::Lasts(run) => {
                DeviceAct::Calibrate(u32::try_from(run.as_ms()).unwrap_or(u32::MAX))
            }
            CalibrationRun::IntoVessel => DeviceAct::CalibrateInto(*vessel),
            CalibrationRun::Train => DeviceAct::CalibrateTrain(*vessel),
        });
        if self.end.acts.get(index) != Some(&ActEnd::Taken) {
            return;
        }
        let over = match (result, run) {
            (Calibration::Flow(_), CalibrationRun::Lasts(run)) => {
                self.now.saturating_add(run.as_ms())
            }
            (_, CalibrationRun::Train) => self.train_over_at(),
            // the device times the run, and its clock may be off
            _ => self.one_shot.unwrap_or(self.now).saturating_add(READING_MS),
        };
        self.script.at(over, Cue::ActEnds(index));
    }

    /// When a train that has begun is over and read, rests and all. Somebody waits until
    /// the pump has surely stopped.
    fn train_over_at(&mut self) -> u64 {
        let Some(device) = self.device() else { return self.now };
        let asked_ms = device.controller().service_run().map_or(0, |run| run.asked_ms);
        let head = device.controller().book().head;
        let rest = head
            .map_or(Duration::ZERO, |head| head.rest_after(Duration::from_ms(u64::from(asked_ms))));
        let rests_ms = rest.as_ms().saturating_mul(u64::from(TRAIN_STARTS));
        let slow_ms = u64::from(asked_ms) / 50;
        self.now + u64::from(asked_ms) + slow_ms + rests_ms + READING_MS
    }

    /// What comes after the run: the reading.
    pub(super) fn act_ends(&mut self, index: usize) {
        let scenario = self.scenario;
        let Some(Act::Calibrate { vessel, result, as_found, confirm, .. }) =
            scenario.operator.get(index).map(|act| &act.act)
        else {
            return;
        };
        let volume = match *result {
            Calibration::Flow(flow) => return self.enter_flow(index, flow),
            Calibration::Measured(volume) => volume,
            Calibration::AsDelivered => {
                let came = self.came_out();
                if came > vessel.capacity {
                    let holds = vessel.capacity;
                    return self.note_act(index, ActEnd::Overflowed { came, holds });
                }
                self.read_off(came, vessel)
            }
        };
        if !matches!(self.power, Some(Power::On(_))) {
            return self.note_act(index, ActEnd::DeviceOff);
        }
        self.act(&DeviceAct::Measured(Measured {
            amount: Amount::Volume(volume),
            reading_error: vessel.reading_error,
            as_found: *as_found,
        }));
        if *confirm {
            self.run_again(index);
        }
    }

    /// Makes ready for another run, where the device has asked for a second one, or for a
    /// longer one that goes into the vessel.
    fn run_again(&mut self, index: usize) {
        let Some(Act::Calibrate { run, vessel, result, .. }) =
            self.scenario.operator.get(index).map(|act| &act.act)
        else {
            return;
        };
        let longer = match self.end.acts.get(index) {
            Some(ActEnd::Refused(Refusal::RunTwice { .. })) => None,
            Some(ActEnd::Refused(Refusal::RunLonger { least_ms })) => Some(*least_ms),
            _ => return,
        };
        if let Some(run_ms) = longer {
            // a train is as long as the device makes it, and a reading that the file gives
            // is of the run that the file gives
            let is_train = matches!(run, Some(CalibrationRun::Train));
            if is_train || !matches!(result, Calibration::AsDelivered) {
                return;
            }
            let run = Duration::from_ms(u64::from(run_ms));
            let comes = self.device().and_then(|device| device.controller().book().head);
            if comes.is_some_and(|head| head.flow.volume(run) > vessel.capacity) {
                return;
            }
        }
        let place = self.reruns.iter().position(|rerun| rerun.act == index);
        let place = place.unwrap_or_else(|| {
            self.reruns.push(Rerun { act: index, runs: 0, run_ms: None });
            self.reruns.len() - 1
        });
        if let Some(rerun) = self.reruns.get_mut(place).filter(|rerun| rerun.runs < MOST_RERUNS) {
            rerun.runs += 1;
            rerun.run_ms = longer.or(rerun.run_ms);
            self.script.at(self.now.saturating_add(AGAIN_MS), Cue::Act(index));
        }
    }

    /// What has come out since the run began.
    fn came_out(&mut self) -> Volume {
        self.plant.advance(self.now);
        Volume::from_nl(self.plant.delivered_nl().saturating_sub(self.measured_from))
    }

    /// A volume as it is read off a vessel: anywhere within its reading error, by the seed
    /// and how often something was read.
    fn read_off(&mut self, came: Volume, vessel: &Vessel) -> Volume {
        self.readings += 1;
        let seed = self.seed ^ u64::from(self.readings).wrapping_mul(0x9e37_79b9_7f4a_7c15);
        let share = u128::from(Pcg64Mcg::seed_from_u64(seed).next_u32());
        let error = u128::from(vessel.reading_error.as_nl());
        let off = (2 * error * share) >> 32;
        let read = (u128::from(came.as_nl()) + off).saturating_sub(error);
        Volume::from_nl(u64::try_from(read).unwrap_or(u64::MAX))
    }

    pub(super) fn enter_flow(&mut self, index: usize, flow: Flow) {
        if matches!(self.power, Some(Power::On(_))) {
            self.act(&DeviceAct::SetFlow(flow));
        } else {
            self.note_act(index, ActEnd::DeviceOff);
        }
    }
}
