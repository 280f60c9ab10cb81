//! NOR flash in RAM, without a way to panic.

use core::mem::MaybeUninit;

use dosewright_core::ledger::Geometry;
use embedded_storage::nor_flash::{
    ErrorType, NorFlash, NorFlashError, NorFlashErrorKind, ReadNorFlash,
};

/// Bytes of a sector: what the state needs, and some records.
const SECTOR: usize = (2 * crate::N + crate::H / 2 + crate::N + 64) * 64;
const BYTES: usize = 2 * SECTOR;
/// Where the ledger lies.
pub const GEOMETRY: Geometry = Geometry { start: 0, sector_bytes: SECTOR as u32, sectors: 2 };

static mut BYTES_OF_IT: MaybeUninit<[u8; BYTES]> = MaybeUninit::uninit();

/// The memory. It lies in a static, so that it costs no stack.
pub struct RamFlash(());

#[derive(Debug)]
pub struct OutOfRange;

impl NorFlashError for OutOfRange {
    fn kind(&self) -> NorFlashErrorKind {
        NorFlashErrorKind::OutOfBounds
    }
}

impl RamFlash {
    /// The memory, erased. Only [`crate::world::run`] has one.
    pub fn erased() -> Self {
        let flash = Self(());
        flash.bytes().fill(0xff);
        flash
    }

    #[allow(clippy::mut_from_ref)]
    fn bytes(&self) -> &mut [u8; BYTES] {
        // SAFETY: there is one `RamFlash` at a time, each borrow of it ends within
        // the call that took it, and any bytes are bytes
        unsafe { &mut *(&raw mut BYTES_OF_IT).cast() }
    }

    fn part(&self, offset: u32, length: usize) -> Result<&mut [u8], OutOfRange> {
        let from = offset as usize;
        self.bytes().get_mut(from..from.wrapping_add(length)).ok_or(OutOfRange)
    }
}

impl ErrorType for RamFlash {
    type Error = OutOfRange;
}

impl ReadNorFlash for RamFlash {
    const READ_SIZE: usize = 1;

    fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), OutOfRange> {
        let from = self.part(offset, bytes.len())?;
        bytes.iter_mut().zip(from).for_each(|(to, from)| *to = *from);
        Ok(())
    }

    fn capacity(&self) -> usize {
        BYTES
    }
}

impl NorFlash for RamFlash {
    const WRITE_SIZE: usize = 4;
    const ERASE_SIZE: usize = 64;

    fn erase(&mut self, from: u32, to: u32) -> Result<(), OutOfRange> {
        self.part(from, to.wrapping_sub(from) as usize)?.fill(0xff);
        Ok(())
    }

    fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), OutOfRange> {
        let to = self.part(offset, bytes.len())?;
        to.iter_mut().zip(bytes).for_each(|(to, byte)| *to &= byte);
        Ok(())
    }
}
