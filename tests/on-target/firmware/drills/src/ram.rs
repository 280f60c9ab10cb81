//! RAM that outlasts a reset: the ledger, the clock chip, and what a meter outside
//! saw of the pump.

use core::mem::MaybeUninit;

use dosewright_core::time::Instant;
use embedded_storage::nor_flash::{
    ErrorType, NorFlash, NorFlashErrorKind, ReadNorFlash, check_erase, check_read, check_write,
};

pub const SECTOR: usize = 4 * 1024;
pub const SECTORS: usize = 2;

#[unsafe(link_section = ".uninit.LEDGER")]
static mut LEDGER: MaybeUninit<[u8; SECTOR * SECTORS]> = MaybeUninit::uninit();
#[unsafe(link_section = ".uninit.OUTSIDE")]
static mut OUTSIDE: MaybeUninit<Outside> = MaybeUninit::uninit();

/// The world outside the processor. Any bytes are a value of it.
#[derive(Clone, Copy)]
#[repr(C)]
pub struct Outside {
    marks: [u32; 2],
    /// The clock chip's count in ms.
    pub count_ms: u32,
    /// Starts of the processor.
    pub starts: u32,
    /// When the pump was turned on, plus one; 0 while it is off.
    pub on_since: u32,
    /// How long the pump was on, in ms, pulse by pulse.
    pub ran_ms: [u32; 16],
    pub pulses: u32,
    /// Pulses that the one-shot ended while the logic hung.
    pub ended_by_timer: u32,
    /// Hangs so far.
    pub hangs: u32,
}

const MARKS: [u32; 2] = [0x6472_696c, 0x6c73_2121];

/// Looks at the world outside, or changes it, with interrupts held off.
pub fn outside<R>(act: impl FnOnce(&mut Outside) -> R) -> R {
    cortex_m::interrupt::free(|_| {
        // SAFETY: every access is here, one at a time
        act(unsafe { &mut *(&raw mut OUTSIDE).cast::<Outside>() })
    })
}

/// Whether the chip was reset in the middle of a drill; else all is made new.
pub fn is_restart() -> bool {
    outside(|world| {
        let restart = world.marks == MARKS;
        if !restart {
            *world = Outside {
                marks: MARKS,
                count_ms: 0,
                starts: 0,
                on_since: 0,
                ran_ms: [0; 16],
                pulses: 0,
                ended_by_timer: 0,
                hangs: 0,
            };
        }
        world.starts += 1;
        // a chip that resets lets go of its pins
        world.pin(false);
        restart
    })
}

impl Outside {
    pub fn now(&self) -> Instant {
        Instant::from_ms(i64::from(self.count_ms))
    }

    /// The pump's pin, as the meter sees it.
    pub fn pin(&mut self, on: bool) {
        match (on, self.on_since) {
            (true, 0) => self.on_since = self.count_ms + 1,
            (false, since) if since > 0 => {
                if let Some(place) = self.ran_ms.get_mut(self.pulses as usize) {
                    *place = self.count_ms + 1 - since;
                }
                self.pulses += 1;
                self.on_since = 0;
            }
            _ => {}
        }
    }
}

/// NOR flash in RAM.
pub struct RamFlash(&'static mut [u8; SECTOR * SECTORS]);

impl RamFlash {
    /// The memory; `main` calls this once in a start.
    pub fn take(erase: bool) -> Self {
        // SAFETY: it is called once, and any bytes are bytes
        let bytes = unsafe { &mut *(&raw mut LEDGER).cast::<[u8; SECTOR * SECTORS]>() };
        if erase {
            bytes.fill(0xff);
        }
        Self(bytes)
    }
}

impl ErrorType for RamFlash {
    type Error = NorFlashErrorKind;
}

impl ReadNorFlash for RamFlash {
    const READ_SIZE: usize = 1;
    fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), Self::Error> {
        check_read(self, offset, bytes.len())?;
        bytes.copy_from_slice(&self.0[offset as usize..][..bytes.len()]);
        Ok(())
    }
    fn capacity(&self) -> usize {
        self.0.len()
    }
}

impl NorFlash for RamFlash {
    const WRITE_SIZE: usize = 4;
    const ERASE_SIZE: usize = 1024;
    fn erase(&mut self, from: u32, to: u32) -> Result<(), Self::Error> {
        check_erase(self, from, to)?;
        self.0[from as usize..to as usize].fill(0xff);
        Ok(())
    }
    fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Self::Error> {
        check_write(self, offset, bytes.len())?;
        for (place, byte) in self.0[offset as usize..].iter_mut().zip(bytes) {
            *place &= byte;
        }
        Ok(())
    }
}
