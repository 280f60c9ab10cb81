//! The same board with the adapters for embedded-hal: a switched drive, contacts.

use core::convert::Infallible;

use dosewright_core::shell::Parts;
use dosewright_core::shell::contacts::{Contact, Contacts};
use dosewright_core::shell::drives::Switched;
use embedded_hal::digital::{ErrorType, InputPin, OutputPin};

use crate::board::{Port, get, put};

pub struct Pin;

impl ErrorType for Pin {
    type Error = Infallible;
}

impl OutputPin for Pin {
    fn set_low(&mut self) -> Result<(), Infallible> {
        put(0);
        Ok(())
    }
    fn set_high(&mut self) -> Result<(), Infallible> {
        put(1);
        Ok(())
    }
}

impl InputPin for Pin {
    fn is_high(&mut self) -> Result<bool, Infallible> {
        Ok(get() != 0)
    }
    fn is_low(&mut self) -> Result<bool, Infallible> {
        Ok(get() == 0)
    }
}

type Inputs = Contacts<Pin, Pin, Pin, Pin>;
pub type Made = Parts<Port, Switched<Pin>, Port, Inputs, Port>;

pub fn made() -> Made {
    let contact = || Contact { pin: Pin, on_is_high: get() != 0 };
    Parts {
        clock: Port,
        drive: Switched { pin: Pin },
        one_shot: Port,
        inputs: Contacts {
            remote_stop: contact(),
            leak: contact(),
            motor_fault: contact(),
            level_low: contact(),
        },
        report: Port,
        drive_failed: false,
        off_owed: false,
    }
}
