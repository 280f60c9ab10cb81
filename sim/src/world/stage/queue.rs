//! The queue between the device's interrupt handlers and its main loop, where more
//! comes at once than it holds.

use dosewright_core::shell::{Inbox, Levels, Signal, Taken};

use super::Stage;
use crate::observe::DeviceAct;

/// Signals that the simulated device's queue holds (own choice).
const HOLDS: usize = 16;

impl<const W: usize> Stage<'_, W> {
    /// The contact of the remote stop bounces so many times at once, and stands at last
    /// as it stood before. The shell's own queue takes in what it can; after a loss the
    /// contacts are read again, as its main loop does. Whether something was lost.
    pub(super) fn flood(&mut self, events: u32) -> bool {
        if !self.is_on() {
            return false;
        }
        let inbox = Inbox::<Signal, HOLDS>::new();
        for left in (0..events).rev() {
            let on = self.remote_stop ^ !left.is_multiple_of(2);
            inbox.post(Signal::RemoteStop(on));
        }
        let mut lost = false;
        while let Some(taken) = inbox.take() {
            match taken {
                Taken::Item(Signal::RemoteStop(on)) => {
                    self.input(&DeviceAct::RemoteStop(on));
                }
                Taken::Item(_) => {}
                Taken::Lost(_) => {
                    lost = true;
                    self.read_contacts();
                }
            }
        }
        lost
    }

    /// All contacts are read: first those that are on, then those that are off.
    fn read_contacts(&mut self) {
        let levels = Levels {
            remote_stop: self.remote_stop,
            leak: self.leak,
            level_low: self.contact_told(),
            // a driver that knows of trouble has said so before, and the pump is off
            motor_fault: false,
        };
        for signal in levels.signals(true).chain(levels.signals(false)) {
            match signal {
                Signal::RemoteStop(on) => self.input(&DeviceAct::RemoteStop(on)),
                Signal::Leak(on) => self.input(&DeviceAct::Leak(on)),
                Signal::LevelLow(on) => self.input(&DeviceAct::LevelLow(on)),
                Signal::MotorFault | Signal::Timer | Signal::Release | Signal::Acknowledge => {}
            }
        }
    }
}
