//! Prime and calibration runs: the pump in an operator's hands (O1, O2).

use super::calibrate::Bench;
use super::{Controller, Pump};
use crate::effect::{Effect, Effects};
use crate::record::{Act, Record};
use crate::time::{Duration, Instant};
use crate::timetable::Refusal;
use crate::units::over;

/// A prime or calibration run that owns the pump.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(super) struct Service {
    /// `PrimeBegun`, `CalibrationBegun` or `TrainBegun`.
    pub(super) act: Act,
    /// How long it was to run in all, in ms.
    pub(super) asked_ms: u32,
    /// The length of one of its pulses, in ms: all of it but for a train.
    pub(super) each_ms: u32,
    /// Its pulses: 1 but for a train.
    pub(super) starts: u8,
    /// Pulses still to come after the one that runs.
    pub(super) left: u8,
    /// The governor's limit of it, in ms.
    pub(super) longest_ms: u32,
    /// How long it ran, once it is over.
    pub(super) ran_ms: u32,
    /// Until when the pump was to rest when it began: whoever stands there need not wait for
    /// that, a dose after it does (D7).
    pub(super) rest_until: Instant,
    /// The pump is off again and the end is to be taken down.
    pub(super) over: bool,
}

impl<const N: usize, const H: usize> Controller<N, H> {
    /// Lets an operator have the pump for a run, if nothing else has it.
    pub(super) fn begin_service(&mut self, act: Act, run_ms: u64) -> Result<bool, Refusal> {
        let Some(head) = self.book.head else { return Err(Refusal::Busy) };
        if !self.is_idle() || self.stopped_by().is_some() {
            return Err(Refusal::Busy);
        }
        let longest_ms = match act {
            Act::PrimeBegun => head.longest_prime_ms,
            _ => head.longest_calibration_ms,
        };
        // a prime stops by itself at its limit; a calibration that would be cut
        // short by it would measure the wrong run
        let ms = match act {
            Act::PrimeBegun => run_ms.min(u64::from(longest_ms)),
            _ => run_ms,
        };
        // whoever asked for more has not got it
        self.prime_cut = ms < run_ms;
        match u32::try_from(ms) {
            Ok(ms) if ms >= 1 && ms <= longest_ms => {
                Ok(self.want(&Record::Act { at: self.now, act, ms }))
            }
            _ => Err(Refusal::OutOfRange),
        }
    }

    /// The act is in the ledger: the run starts, or is over for good.
    pub(super) fn service_noted(&mut self, act: Act, ms: u32, effects: &mut Effects) {
        match act {
            Act::PrimeBegun | Act::CalibrationBegun | Act::TrainBegun => {
                let longest_ms = self.book.head.map_or(ms, |head| match act {
                    Act::PrimeBegun => head.longest_prime_ms,
                    Act::TrainBegun => head.longest_run_ms,
                    _ => head.longest_calibration_ms,
                });
                let starts =
                    if act == Act::TrainBegun { self.bench.asked_starts.max(1) } else { 1 };
                let each_ms = over(u64::from(ms), u64::from(starts)) as u32;
                let rest_until = match self.pump {
                    Pump::Off { rest_until } => rest_until,
                    Pump::On { .. } => Instant::MIN,
                };
                self.service = Some(Service {
                    act,
                    asked_ms: ms,
                    each_ms,
                    starts,
                    left: starts.saturating_sub(1),
                    longest_ms,
                    ran_ms: 0,
                    rest_until,
                    over: false,
                });
                let length = Duration::from_ms(u64::from(each_ms));
                self.pump = Pump::On { since: self.now, until: self.now.plus(length) };
                effects.push(Effect::PumpOn(length));
            }
            Act::PrimeEnded | Act::CalibrationEnded | Act::TrainEnded => {
                let (asked_ms, starts) = self
                    .service
                    .take()
                    .map_or((0, 1), |service| (service.asked_ms, service.starts));
                self.bench = match act {
                    // whatever cut the run short, nothing can be measured by it
                    Act::CalibrationEnded | Act::TrainEnded if ms == asked_ms => {
                        self.stay_open();
                        self.bench.ran(ms, starts)
                    }
                    _ => Bench::EMPTY,
                };
                if act == Act::PrimeEnded {
                    self.prime_cut |= ms != asked_ms;
                }
                self.stale = true;
            }
            Act::Unlocked | Act::WrongPin => self.try_noted(act, effects),
            Act::TubeChanged => (self.bench, self.stale) = (Bench::EMPTY, true),
            Act::Acknowledged => (self.acknowledged, self.stale) = (true, true),
        }
    }

    /// When the next pulse of a train may start, while one is still to come.
    pub(super) fn train_goes_on(&self) -> Option<Instant> {
        let Pump::Off { rest_until } = self.pump else { return None };
        self.service.filter(|service| !service.over && service.left > 0).map(|_| rest_until)
    }

    /// The next pulse of a train, if its time has come. What stops the pump in between ends
    /// the train: nothing can be measured by a part of it.
    pub(super) fn train_pulse(&mut self, effects: &mut Effects) {
        let Some(at) = self.train_goes_on() else { return };
        let stopped = self.stopped_by().is_some();
        let Some(service) = &mut self.service else { return };
        if stopped {
            service.over = true;
        } else if self.now >= at {
            service.left -= 1;
            let length = Duration::from_ms(u64::from(service.each_ms));
            self.pump = Pump::On { since: self.now, until: self.now.plus(length) };
            effects.push(Effect::PumpOn(length));
        }
    }

    /// The end of a service run, once its pump is off.
    pub(super) fn service_record(&mut self) -> bool {
        let Some(service) = self.service.filter(|service| service.over) else { return false };
        let act = match service.act {
            Act::PrimeBegun => Act::PrimeEnded,
            Act::TrainBegun => Act::TrainEnded,
            _ => Act::CalibrationEnded,
        };
        self.want(&Record::Act { at: self.now, act, ms: service.ran_ms })
    }
}
