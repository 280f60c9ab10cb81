//! The last 64 KiB of the chip's own flash.

use embedded_storage::nor_flash::{
    ErrorType, NorFlash, NorFlashErrorKind, ReadNorFlash, check_erase, check_read, check_write,
};
use rp2040_flash::flash;

const START: u32 = 2048 * 1024 - BYTES as u32;
const BYTES: usize = 64 * 1024;
/// Where the flash is seen by the processor.
const SEEN_AT: u32 = 0x1000_0000;
/// Bytes that the chip writes at once; what is ones stays as it is.
const PAGE: usize = 256;

pub struct OnChipFlash;

impl ErrorType for OnChipFlash {
    type Error = NorFlashErrorKind;
}

impl ReadNorFlash for OnChipFlash {
    const READ_SIZE: usize = 1;

    fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), Self::Error> {
        check_read(self, offset, bytes.len())?;
        let from = (SEEN_AT + START + offset) as *const u8;
        for (i, byte) in bytes.iter_mut().enumerate() {
            // SAFETY: it lies in the flash, as was checked
            *byte = unsafe { from.add(i).read_volatile() };
        }
        Ok(())
    }

    fn capacity(&self) -> usize {
        BYTES
    }
}

impl NorFlash for OnChipFlash {
    const WRITE_SIZE: usize = 1;
    const ERASE_SIZE: usize = 4096;

    fn erase(&mut self, from: u32, to: u32) -> Result<(), Self::Error> {
        check_erase(self, from, to)?;
        // one at a time: what came meanwhile, the end of a run above all, is let through between
        for sector in (from..to).step_by(Self::ERASE_SIZE) {
            cortex_m::interrupt::free(|_| {
                // SAFETY: interrupts are off and the second core was never started
                unsafe { flash::flash_range_erase(START + sector, Self::ERASE_SIZE as u32, true) };
            });
        }
        Ok(())
    }

    fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Self::Error> {
        check_write(self, offset, bytes.len())?;
        let mut offset = offset as usize;
        for part in bytes.chunks(64) {
            let mut page = [0xff; PAGE];
            let into = offset % PAGE;
            let Some(place) = page.get_mut(into..into + part.len()) else {
                return Err(NorFlashErrorKind::NotAligned);
            };
            place.copy_from_slice(part);
            cortex_m::interrupt::free(|_| {
                let address = START + (offset - into) as u32;
                // SAFETY: as above
                unsafe { flash::flash_range_program(address, &page, true) };
            });
            offset += part.len();
        }
        Ok(())
    }
}
