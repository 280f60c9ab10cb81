//! The supply of the stage's device: it comes on, goes, and the watchdog resets.

use dosewright_core::device::{Device, StartError};
use dosewright_core::event::Event;
use dosewright_core::ledger::SLOT;
use dosewright_core::record::Reset;

use super::{LEAST_SECTOR_BYTES, Power, Stage};
use crate::observe::{DeviceAct, Observation};
use crate::world::chip::Chip;
use crate::world::memory::{Deed, Watched};
use crate::world::script::Cue;
use crate::world::{WorldError, open_error};

impl<const W: usize> Stage<'_, W> {
    /// The supply comes on, or the watchdog fires: the device boots.
    pub(super) fn power_on(&mut self, reset: Reset) -> Result<(), WorldError> {
        let Some(Power::Off(mut flash)) = self.power.take() else { return Ok(()) };
        flash.nor.power_on();
        if let Some(battery) = &mut self.battery {
            battery.set_awake(true, self.now);
        }
        if reset == Reset::PowerOn {
            self.see(&Observation::Supply { on: true });
        }
        let feed_kept = !self.feed_lost;
        let count = feed_kept.then(|| self.count());
        match Device::start(flash, self.geometry, count, reset) {
            Ok(device) => {
                if !feed_kept {
                    self.chip = Chip::new(self.now, device.now().as_ms(), self.chip.rate_ppb);
                }
                let (count_ms, rate_ppb) = (self.chip.count(self.now), self.chip.rate_ppb);
                self.see(&Observation::Chip { count_ms, rate_ppb, feed_kept });
                self.wants_call = device.next_wake().map(|(at, _)| at);
                self.power = Some(Power::On(Box::new(device)));
            }
            Err((flash, StartError::SectorTooSmall { slots, least })) => {
                self.power = Some(Power::Off(flash));
                return Err(WorldError::Memory(format!(
                    "a sector has {slots} slots of {SLOT} bytes, and the device needs {least}; \
                     make sectors of {} KiB or more",
                    LEAST_SECTOR_BYTES / 1024
                )));
            }
            Err((flash, StartError::Format(error))) => {
                self.power = Some(Power::Off(flash));
                return Err(WorldError::Memory(error.to_string()));
            }
            Err((flash, StartError::Open(error))) => {
                // a device that cannot read its memory stays as it is: off
                self.power = Some(Power::Off(flash));
                self.end.refused_memory = Some((self.now, open_error(&error)));
                // of what it has done on the way only that counts by which it fails
                for deed in self.deeds.take() {
                    if let Deed::Failed(fault) = deed {
                        self.took_effect(fault);
                    }
                }
                self.see(&Observation::NotStarted);
                return Ok(());
            }
        }
        // inputs are read before anything is decided: those that are on, and those that went
        // off while nobody looked
        if self.remote_stop || self.told_stop {
            self.act(&DeviceAct::RemoteStop(self.remote_stop));
        }
        if self.leak || self.told_leak {
            self.act(&DeviceAct::Leak(self.leak));
        }
        self.contact_at_start();
        self.hand_in(Event::Wake);
        Ok(())
    }

    /// The supply goes, for so long at least.
    pub(super) fn supply_off(&mut self, lasts_ms: u64, feed_lost: bool) {
        self.off_until = self.off_until.max(self.now.saturating_add(lasts_ms));
        self.script.at(self.off_until, Cue::Supply);
        self.stop_device();
        self.feed_lost |= feed_lost;
    }

    /// A start that is in the ledger has told the loss of the clock chip's feed.
    fn forget_loss(&mut self) {
        if let Some(Power::On(device)) = &self.power
            && device.controller().has_started()
        {
            self.feed_lost = false;
        }
    }

    fn stop_device(&mut self) {
        let Some(mut flash) = self.take_down() else { return };
        flash.nor.power_off();
        self.power = Some(Power::Off(flash));
        self.pump_off();
        self.light(false);
        if let Some(battery) = &mut self.battery {
            battery.set_awake(false, self.now);
        }
        self.see(&Observation::Supply { on: false });
    }

    /// The watchdog fires; whether there was a device for it to reset.
    pub(super) fn watchdog(&mut self) -> Result<bool, WorldError> {
        let Some(flash) = self.take_down() else { return Ok(false) };
        self.power = Some(Power::Off(flash));
        self.pump_off();
        self.light(false);
        self.see(&Observation::Reset);
        self.power_on(Reset::Watchdog)?;
        Ok(true)
    }

    /// The device is no more, and with it what it did not write down; its memory stays.
    /// `None` where none is on.
    fn take_down(&mut self) -> Option<Watched<W>> {
        if !matches!(self.power, Some(Power::On(_))) {
            return None;
        }
        self.note_lateness();
        self.forget_loss();
        if let Some(front) = &mut self.front {
            front.restart();
        }
        match self.power.take() {
            Some(Power::On(device)) => Some(device.into_flash()),
            off => {
                self.power = off;
                None
            }
        }
    }
}
