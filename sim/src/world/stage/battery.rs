//! The battery pack in the stage: what the device reads of it, and when it browns out.

use dosewright_core::power::READINGS;

use super::{Power, Stage};
use crate::observe::DeviceAct;
use crate::world::battery::RECOVERS_MS;

/// How long the test load of a reading is on, in ms (model parameter).
const TEST_LOAD_MS: u64 = 10;

/// What the device asks of the pack's converter.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::world) enum Ask {
    /// Ten readings at rest, ten under a test load.
    Test,
    /// One, now that the pump is on.
    Read,
}

impl<const W: usize> Stage<'_, W> {
    /// Hands in the readings that the device asked for.
    pub(super) fn read_pack(&mut self, ask: Ask) {
        if let Some(battery) = &mut self.battery {
            battery.advance(self.now);
        }
        // one that cannot feed the device any more goes off before it answers
        if !self.can_be_fed() {
            return;
        }
        let Some(battery) = &mut self.battery else { return };
        let (rest, load) = (battery.reads_mv(false), battery.reads_mv(true));
        match ask {
            Ask::Test => {
                battery.tested(u64::from(READINGS) * TEST_LOAD_MS);
                for (mv, loaded) in [(rest, false), (load, true)] {
                    for _ in 0..READINGS {
                        self.act(&DeviceAct::PackRead { mv, loaded });
                    }
                }
            }
            // the pump may have been stopped already
            Ask::Read if self.one_shot.is_some() => {
                self.act(&DeviceAct::PackRead { mv: load, loaded: true });
            }
            Ask::Read => {}
        }
    }

    /// When the pack lets the device down, in true ms.
    pub(super) fn sags_at(&self) -> Option<u64> {
        if !matches!(self.power, Some(Power::On(_))) {
            return None;
        }
        self.battery.as_ref()?.sags_at()
    }

    /// The voltage falls under the device's least: its supply goes, and comes back once
    /// the load is off, if the pack still has that much.
    pub(super) fn brown_out(&mut self) {
        self.end.brown_outs += 1;
        self.supply_off(RECOVERS_MS, false);
    }

    /// Whether the pack can feed the device at all.
    pub(super) fn can_be_fed(&self) -> bool {
        self.battery.as_ref().is_none_or(|battery| !battery.is_dead())
    }
}
