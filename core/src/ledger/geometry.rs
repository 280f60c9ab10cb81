//! Where the ledger lies in the flash, and whether it can lie there.

use core::fmt;

use embedded_storage::nor_flash::NorFlash;

use super::slot::SLOT;

/// The ring of sectors that a ledger lives in.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Geometry {
    /// Where it starts, in bytes; a multiple of the flash's erase size.
    pub start: u32,
    /// Bytes in a sector: a multiple of the erase size, 256 or more.
    pub sector_bytes: u32,
    /// Sectors in the ring, 2 to 65534. With 3 or more a roll spares the
    /// sector that stands in for a damaged snapshot, and a worn sector is passed
    /// over; with 2 a roll over such a snapshot has no other place to go, and a
    /// cut in it loses what the damaged slot held.
    pub sectors: u16,
}

/// What is wrong with a geometry.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum GeometryError {
    /// The number of sectors is not 2 to 65534.
    Sectors(u16),
    /// The sector size is no multiple of the erase size and of 64, or not 4 to
    /// 65534 slots.
    SectorBytes {
        /// Bytes in a sector, as asked for.
        sector_bytes: u32,
        /// The flash's erase size in bytes.
        erase_size: usize,
    },
    /// The start is no multiple of the erase size.
    Start {
        /// Where the ledger was to start, in bytes.
        start: u32,
        /// The flash's erase size in bytes.
        erase_size: usize,
    },
    /// The ring ends beyond the flash.
    Capacity {
        /// Where the ring would end, in bytes.
        end: u64,
        /// The flash's size in bytes.
        capacity: usize,
    },
    /// A slot of 64 bytes is no multiple of the flash's write or read size.
    WordSize(usize),
}

impl fmt::Display for GeometryError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match *self {
            Self::Sectors(sectors) => write!(f, "{sectors} sectors: give 2 to 65534"),
            Self::SectorBytes { sector_bytes, erase_size } => write!(
                f,
                "sectors of {sector_bytes} bytes: give a multiple of {erase_size} and of 64, \
                 4 to 65534 slots of 64 bytes"
            ),
            Self::Start { start, erase_size } => {
                write!(f, "start at byte {start}: give a multiple of {erase_size}")
            }
            Self::Capacity { end, capacity } => write!(
                f,
                "the ring ends at byte {end} of a flash of {capacity}: give fewer or smaller \
                 sectors, or an earlier start"
            ),
            Self::WordSize(size) => {
                write!(f, "a slot of 64 bytes cannot be written in words of {size} bytes")
            }
        }
    }
}

impl Geometry {
    /// Slots in a sector of a geometry that passed its check; 0 for one of a
    /// size that cannot pass.
    pub const fn slots(&self) -> u16 {
        let slots = self.sector_bytes / SLOT as u32;
        if slots < u16::MAX as u32 { slots as u16 } else { 0 }
    }

    /// Whether a ledger can lie so in this flash.
    pub fn check<F: NorFlash>(&self, flash: &F) -> Result<(), GeometryError> {
        if self.sectors < 2 || self.sectors == u16::MAX {
            return Err(GeometryError::Sectors(self.sectors));
        }
        for size in [F::WRITE_SIZE, F::READ_SIZE] {
            if !SLOT.is_multiple_of(size) {
                return Err(GeometryError::WordSize(size));
            }
        }
        let (erase_size, sector_bytes) = (F::ERASE_SIZE, self.sector_bytes);
        let size = sector_bytes as usize;
        if !size.is_multiple_of(erase_size) || !size.is_multiple_of(SLOT) || self.slots() < 4 {
            return Err(GeometryError::SectorBytes { sector_bytes, erase_size });
        }
        if !(self.start as usize).is_multiple_of(erase_size) {
            return Err(GeometryError::Start { start: self.start, erase_size });
        }
        let end = u64::from(self.start) + u64::from(sector_bytes) * u64::from(self.sectors);
        let capacity = flash.capacity();
        if end > capacity as u64 || u32::try_from(end).is_err() {
            return Err(GeometryError::Capacity { end, capacity });
        }
        Ok(())
    }
}
