//! Prime and calibration runs: the pump in an operator's hands (O1, O2).

use super::calibrate::Bench;
use super::{Controller, Pump};
use crate::effect::{Effect, Effects};
use crate::record::{Act, Record};
use crate::time::Duration;
use crate::timetable::Refusal;

/// A prime or calibration run that owns the pump.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(super) struct Service {
    /// `PrimeBegun` or `CalibrationBegun`.
    pub(super) act: Act,
    /// How long it was to run, in ms.
    pub(super) asked_ms: u32,
    /// The governor's limit of it, in ms.
    pub(super) longest_ms: u32,
    /// How long it ran, once it is over.
    pub(super) ran_ms: u32,
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
            Act::PrimeBegun | Act::CalibrationBegun => {
                let longest_ms = self.book.head.map_or(ms, |head| match act {
                    Act::PrimeBegun => head.longest_prime_ms,
                    _ => head.longest_calibration_ms,
                });
                self.service =
                    Some(Service { act, asked_ms: ms, longest_ms, ran_ms: 0, over: false });
                let length = Duration::from_ms(u64::from(ms));
                self.pump = Pump::On { since: self.now, until: self.now.plus(length) };
                effects.push(Effect::PumpOn(length));
            }
            Act::PrimeEnded | Act::CalibrationEnded => {
                let asked_ms = self.service.take().map_or(0, |service| service.asked_ms);
                self.bench = match act {
                    // whatever cut the run short, nothing can be measured by it
                    Act::CalibrationEnded if ms == asked_ms => Bench { run_ms: ms, ..self.bench },
                    _ => Bench::EMPTY,
                };
                self.stale = true;
            }
            Act::Unlocked | Act::WrongPin => self.try_noted(act, effects),
            Act::TubeChanged => (self.bench, self.stale) = (Bench::EMPTY, true),
            Act::Acknowledged => (self.acknowledged, self.stale) = (true, true),
        }
    }

    /// The end of a service run, once its pump is off.
    pub(super) fn service_record(&mut self) -> bool {
        let Some(service) = self.service.filter(|service| service.over) else { return false };
        let act = match service.act {
            Act::PrimeBegun => Act::PrimeEnded,
            _ => Act::CalibrationEnded,
        };
        self.want(&Record::Act { at: self.now, act, ms: service.ran_ms })
    }
}
