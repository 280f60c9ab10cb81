//! A run: a scenario's world driven to its end, watched by observers.

use dosewright_core::civil::Local;
use dosewright_core::entry::{EntryId, GapRule};
use dosewright_core::time::Duration;
use dosewright_core::timetable::Refusal;
use dosewright_core::units::Volume;
use dosewright_core::zone::Zone;

use crate::observe::Observer;
use crate::scenario::{Moment, Scenario};
use crate::world::{self, WorldError};

/// How to run.
#[derive(Debug, Clone, Default)]
pub struct Options {
    /// Ends the run after so much true time, if that is before its own end.
    pub until: Option<Duration>,
    /// Seed of everything left to chance: which bits a torn write leaves.
    pub seed: u64,
    /// Report every call of the logic to the observers.
    pub observe_wakes: bool,
}

/// What became of an operator's act.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum ActEnd {
    /// The device took it.
    Taken,
    /// The device refused it.
    Refused(Refusal),
    /// The device was off.
    DeviceOff,
    /// Its moment did not come before the end of the run.
    NotReached,
    /// More came out than the vessel holds, so that nothing was read off it.
    Overflowed {
        /// What came out.
        came: Volume,
        /// What the vessel holds.
        holds: Volume,
    },
    /// This world has no part for it.
    NoSuchPart(&'static str),
}

/// What became of a fault.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum FaultEnd {
    /// It took effect.
    TookEffect,
    /// Its moment came and nothing was there to be hit.
    NoEffect,
    /// Its moment did not come before the end of the run.
    NotReached,
}

/// What a run leaves beside what its observers saw.
#[derive(Debug, Clone)]
pub struct RunEnd {
    /// True time at the end, in ms from the start.
    pub end_ms: u64,
    /// The entries that there were in the run, by number, with their names.
    pub names: Vec<(EntryId, String)>,
    /// What became of each fault, in the order of the file.
    pub faults: Vec<FaultEnd>,
    /// What became of each act, in the order of the file.
    pub acts: Vec<ActEnd>,
    /// Calls of the logic.
    pub wakes: u64,
    /// Pump starts.
    pub starts: u64,
    /// What the pump was on for at the flow the device knew, in nl.
    pub commanded_nl: u64,
    /// What of it really came out, in nl.
    pub delivered_nl: u64,
    /// What ran out of the container by itself, in nl.
    pub spilled_nl: u64,
    /// What is in the container at the end, in nl.
    pub level_nl: Option<u64>,
    /// What the device takes to be in it, in nl.
    pub account_nl: Option<u64>,
    /// How often the battery pack let the device down under load.
    pub brown_outs: u32,
    /// Share of the battery pack's charge that is left at the end; `None` on mains.
    pub pack_left: Option<f64>,
    /// The memory at the end.
    pub image: Vec<u8>,
    /// Erases of each 1 KiB of the memory.
    pub erases: Vec<u32>,
    /// Alarms as the device raised and lowered them: true ms, alarm, on.
    pub alarms: Vec<(u64, dosewright_core::record::Alarm, bool)>,
    /// Since which true ms the memory takes nothing, where it takes nothing at the end.
    pub memory_fault: Option<u64>,
    /// The device could not start from its memory: true ms, and why.
    pub refused_memory: Option<(u64, String)>,
    /// What the installer set at the start was refused.
    pub install_refused: Option<Refusal>,
}

/// The facts of a scenario that observers need to know beforehand.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Frame {
    /// True local time at the start.
    pub start: Local,
    /// The zone of the place.
    pub zone: Zone,
    /// True UTC at the start, in ms since 1970.
    pub start_utc_ms: i64,
    /// True length of the run in ms.
    pub run_ms: u64,
}

impl Frame {
    /// The frame of a scenario.
    pub fn of(scenario: &Scenario, options: &Options) -> Self {
        let clock = &scenario.clock;
        let zone = clock.zone.zone;
        let start_utc_ms = zone.to_utc(clock.start, GapRule::Shift).as_ms();
        let run_ms = options.until.map_or(clock.run_for, |until| until.min(clock.run_for)).as_ms();
        Self { start: clock.start, zone, start_utc_ms, run_ms }
    }

    /// True ms of the run at a moment; `None` for one that the run itself brings.
    pub fn moment(&self, moment: Moment) -> Option<u64> {
        match moment {
            Moment::After(length) => Some(length.as_ms()),
            Moment::Local(local) => {
                let utc = self.zone.to_utc(local, GapRule::Shift).as_ms();
                Some(u64::try_from(utc.saturating_sub(self.start_utc_ms)).unwrap_or(0))
            }
            Moment::Pulse { .. } => None,
        }
    }

    /// True local time at a true ms of the run.
    pub fn local(&self, at_ms: u64) -> Local {
        let utc = self.start_utc_ms.saturating_add_unsigned(at_ms);
        self.zone.to_local(dosewright_core::time::Utc::from_ms(utc))
    }

    /// True UTC offset in seconds at a true ms of the run.
    pub fn offset_s(&self, at_ms: u64) -> i32 {
        let utc = self.start_utc_ms.saturating_add_unsigned(at_ms);
        self.zone.offset_at(dosewright_core::time::Utc::from_ms(utc))
    }
}

/// Runs a scenario to its end. The entries get the numbers 1, 2, ... in the
/// order in which the run meets them.
pub fn run(
    scenario: &Scenario,
    options: &Options,
    observer: &mut dyn Observer,
) -> Result<RunEnd, WorldError> {
    world::run(scenario, options, observer)
}
