//! A board made up of one register.

use core::ptr::{read_volatile, write_volatile};

use dosewright_core::record::Alarm;
#[cfg(not(feature = "hal"))]
use dosewright_core::shell::Parts;
use dosewright_core::shell::{Clock, Drive, Inputs, Levels, OneShot, Report};
use dosewright_core::time::{Duration, Instant};
use dosewright_core::timetable::Refusal;
use embedded_storage::nor_flash::{
    ErrorType, NorFlash, NorFlashError, NorFlashErrorKind, ReadNorFlash,
};

const REGISTER: *mut u32 = 0x4000_0000 as *mut u32;

/// Anything.
pub fn get() -> u32 {
    // SAFETY: the image is linked and measured, not run
    unsafe { read_volatile(REGISTER) }
}

pub fn get64() -> u64 {
    u64::from(get()) << 32 | u64::from(get())
}

/// Makes a value count as used.
pub fn put(value: u32) {
    // SAFETY: as above
    unsafe { write_volatile(REGISTER, value) }
}

#[cfg(not(feature = "hal"))]
pub type Made = Parts<Port, Port, Port, Port, Port>;

#[cfg(not(feature = "hal"))]
pub fn made() -> Made {
    Parts {
        clock: Port,
        drive: Port,
        one_shot: Port,
        inputs: Port,
        report: Port,
        drive_failed: false,
        off_owed: false,
    }
}

#[cfg(feature = "hal")]
pub use crate::pins::{Made, made};

/// Every part of the board.
pub struct Port;

impl Clock for Port {
    fn now(&mut self) -> Instant {
        Instant::from_ms(get64() as i64)
    }
    fn sleep(&mut self, until: Option<Instant>) {
        put(until.map_or(0, |at| at.as_ms() as u32));
    }
}

impl Drive for Port {
    type Error = ();
    fn start(&mut self) -> Result<(), ()> {
        put(1);
        if get() == 0 { Ok(()) } else { Err(()) }
    }
    fn stop(&mut self) -> Result<(), ()> {
        put(0);
        if get() == 0 { Ok(()) } else { Err(()) }
    }
}

impl OneShot for Port {
    fn arm(&mut self, length: Duration) -> bool {
        put(length.as_ms() as u32);
        get() != 0
    }
    fn disarm(&mut self) {
        put(0);
    }
}

impl Inputs for Port {
    fn levels(&mut self) -> Levels {
        Levels {
            remote_stop: get() != 0,
            leak: get() != 0,
            level_low: get() != 0,
            motor_fault: get() != 0,
        }
    }
}

impl Report for Port {
    fn alarm(&mut self, alarm: Alarm, on: bool) {
        put(alarm as u32 + u32::from(on));
    }
    fn refused(&mut self, refusal: &Refusal) {
        put(u32::from(*refusal == Refusal::Busy));
    }
    fn lost(&mut self, count: u32) {
        put(count);
    }
}

#[derive(Debug)]
pub struct Failed;

impl NorFlashError for Failed {
    fn kind(&self) -> NorFlashErrorKind {
        NorFlashErrorKind::Other
    }
}

pub struct Flash;

impl Flash {
    fn done() -> Result<(), Failed> {
        if get() == 0 { Ok(()) } else { Err(Failed) }
    }
}

impl ErrorType for Flash {
    type Error = Failed;
}

impl ReadNorFlash for Flash {
    const READ_SIZE: usize = 1;
    fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), Failed> {
        put(offset);
        bytes.iter_mut().for_each(|byte| *byte = get() as u8);
        Self::done()
    }
    fn capacity(&self) -> usize {
        get() as usize
    }
}

impl NorFlash for Flash {
    const WRITE_SIZE: usize = 4;
    const ERASE_SIZE: usize = 1024;
    fn erase(&mut self, from: u32, to: u32) -> Result<(), Failed> {
        put(from);
        put(to);
        Self::done()
    }
    fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Failed> {
        put(offset);
        bytes.iter().for_each(|byte| put(u32::from(*byte)));
        Self::done()
    }
}
