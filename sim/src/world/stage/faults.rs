//! Faults as they begin and end.

use dosewright_core::ledger::SLOT;
use dosewright_core::time::Duration;

use super::{Power, Stage};
use crate::observe::{DeviceAct, Observation};
use crate::run::FaultEnd;
use crate::scenario::{Calls, FaultKind};
use crate::world::WorldError;
use crate::world::flash::Wear;
use crate::world::memory::{Call, Failure, PAGE, Waiting, Waits, Watched};
use crate::world::script::Cue;

impl<const W: usize> Stage<'_, W> {
    pub(super) fn fault(&mut self, index: usize) -> Result<(), WorldError> {
        let Some(fault) = self.scenario.faults.get(index) else { return Ok(()) };
        let is_on = matches!(self.power, Some(Power::On(_)));
        let mut effect = is_on;
        match fault.kind {
            FaultKind::SupplyLoss { lasts } => self.supply_off(lasts.as_ms(), false),
            FaultKind::ClockLost { lasts } => {
                self.supply_off(lasts.as_ms(), true);
                effect = true;
            }
            FaultKind::MemoryTear { during, after_bytes, within, .. } => {
                // a device that is off does no such work: one that waits goes on waiting
                if is_on {
                    let tear = Waiting { fault: index, work: during, after: after_bytes };
                    self.flash(|flash| flash.tears.waiting.push(tear));
                    self.ends_after(within, index);
                }
                // it takes effect in the first such work from now on
                effect = false;
            }
            FaultKind::BitFlip { address, bit } => {
                self.flash(|flash| flash.nor.flip_bit(address, bit));
                self.see_slot_of(address);
                effect = true;
            }
            FaultKind::PageWorn { sector } => {
                let pages = self.geometry.sector_bytes / PAGE as u32;
                self.flash(|flash| {
                    for page in sector * pages..(sector + 1) * pages {
                        flash.nor.wear_out(page, Wear::Dead);
                    }
                });
                self.worn.push((sector, index));
                // it takes effect when something is to be written there
                effect = false;
            }
            FaultKind::LateWake { by, times } => {
                // nobody is called while the device is off: those that wait go on waiting
                if is_on {
                    self.late = Some((by.as_ms(), times, index));
                }
                // it takes effect when a call comes late
                effect = false;
            }
            FaultKind::SpuriousWake { times, over } => {
                for i in 0..u64::from(times) {
                    let into = over.as_ms() * i / u64::from(times).max(1);
                    self.script.at(self.now + into, Cue::Spurious);
                }
            }
            FaultKind::WatchdogReset => effect = self.watchdog()?,
            FaultKind::RemoteStop { lasts }
            | FaultKind::Leak { lasts }
            | FaultKind::ContainerLow { lasts }
            | FaultKind::MotorStall { lasts }
            | FaultKind::OverCurrent { lasts }
            | FaultKind::SqueezeLost { lasts, .. }
            | FaultKind::FootValveLeak { lasts, .. } => {
                effect = self.lasting_begins(index, fault.kind);
                self.ends_after(lasts, index);
            }
            FaultKind::LevelBounce { times, over } => self.bounce_begins(times, over, index),
            FaultKind::QueueFlood { events } => effect = self.flood(events),
            FaultKind::Misread { calls, how } => {
                effect = self.calls_fail(index, calls, Call::Read(how));
            }
            FaultKind::WriteFailure { calls, done, reported } => {
                effect = self.calls_fail(index, calls, Call::Write(Failure { done, reported }));
            }
            FaultKind::EraseFailure { calls, done, reported } => {
                effect = self.calls_fail(index, calls, Call::Erase(Failure { done, reported }));
            }
        }
        if let Some(end) = self.end.faults.get_mut(index) {
            *end = if effect { FaultEnd::TookEffect } else { FaultEnd::NoEffect };
        }
        Ok(())
    }

    /// Calls of the memory are to go wrong, those of a start too. No effect yet: it takes it
    /// in the first of them.
    fn calls_fail(&mut self, fault: usize, calls: Calls, call: Call) -> bool {
        let waits = Waits { fault, call, after: calls.after, times: calls.times };
        self.flash(|flash| flash.failing.wait(waits));
        self.ends_after(calls.within, fault);
        false
    }

    fn flash(&mut self, change: impl FnOnce(&mut Watched<W>)) {
        match &mut self.power {
            Some(Power::On(device)) => change(device.ledger_mut().flash_mut()),
            Some(Power::Off(flash)) => change(flash),
            None => {}
        }
    }

    /// Shows the slot that a byte lies in as it stands now.
    fn see_slot_of(&mut self, address: u32) {
        let bytes = match &self.power {
            Some(Power::On(device)) => device.ledger().flash().nor.bytes(),
            Some(Power::Off(flash)) => flash.nor.bytes(),
            None => return,
        };
        let at = address as usize / SLOT * SLOT;
        if let Some(slot) = bytes.get(at..at + SLOT) {
            self.observer.see(self.now, &Observation::Slot { address: at as u32, bytes: slot });
        }
    }

    fn ends_after(&mut self, lasts: Option<Duration>, index: usize) {
        if let Some(lasts) = lasts {
            self.script.at(self.now.saturating_add(lasts.as_ms()), Cue::FaultEnds(index));
        }
    }

    /// The supply went in the middle of a write or an erase, and is off for as long as the
    /// tear says.
    pub(super) fn torn(&mut self) {
        let mut torn_by = None;
        self.flash(|flash| torn_by = flash.tears.torn_by.take());
        let mut lasts_ms = 0;
        if let Some(index) = torn_by {
            self.took_effect(index);
            if let Some(FaultKind::MemoryTear { lasts, .. }) =
                self.scenario.faults.get(index).map(|fault| fault.kind)
            {
                lasts_ms = lasts.as_ms();
            }
        }
        self.supply_off(lasts_ms, false);
    }

    /// The write or erase that a tear waited for did not come in time.
    fn tear_ends(&mut self, index: usize) {
        self.flash(|flash| flash.tears.waiting.retain(|tear| tear.fault != index));
    }

    pub(super) fn input(&mut self, act: &DeviceAct) {
        if matches!(self.power, Some(Power::On(_))) {
            self.act(act);
        }
    }

    pub(super) fn fault_ends(&mut self, index: usize) {
        match self.scenario.faults.get(index).map(|fault| fault.kind) {
            Some(FaultKind::LevelBounce { .. }) => self.bounce_ends(),
            Some(FaultKind::MemoryTear { .. }) => self.tear_ends(index),
            Some(
                FaultKind::Misread { .. }
                | FaultKind::WriteFailure { .. }
                | FaultKind::EraseFailure { .. },
            ) => self.flash(|flash| flash.failing.give_up(index)),
            _ => self.lasting_ends(index),
        }
    }
}
