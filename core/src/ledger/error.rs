//! What can go wrong with the ledger, and what mends it.

use core::fmt;

use super::geometry::GeometryError;
use super::slot::SEQ_MAX;
use super::store::WriteError;

/// Why a ledger did not open. `E` is the flash's error.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum OpenError<E> {
    /// It cannot lie so in this flash.
    Geometry(GeometryError),
    /// The flash could not be read, and no ledger was found in what could.
    Flash(E),
    /// The ring is erased: a fresh part.
    Blank,
    /// There is a snapshot but no sealed one, or a torn header and nothing else: a first
    /// format was cut.
    Unfinished,
    /// There is something in the ring, and it is no ledger.
    Unformatted,
    /// The ring holds a ledger of this other format version.
    Version(u16),
    /// The ring holds a ledger of another geometry.
    OtherGeometry {
        /// Bytes in a sector there.
        sector_bytes: u32,
        /// Sectors in the ring there.
        sectors: u16,
    },
}

/// Why a record was not acknowledged. `E` is the flash's error.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum AppendError<E> {
    /// The sector is full, or was found worn before: roll, then append again.
    Full,
    /// So many slots in a row did not take it that the sector is given up: roll,
    /// then append again.
    Worn,
    /// The flash failed, and did so again on the slots after: roll, then append again.
    Flash(E),
    /// All sequence numbers are spent.
    Exhausted,
}

/// Why a roll left the old sector in force. `E` is the flash's error.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum RollError<E> {
    /// The snapshot does not fit in a sector.
    TooLarge {
        /// Slots it needs.
        slots: usize,
        /// Slots there are for it.
        most: u16,
    },
    /// The snapshot gave fewer payloads than when it was counted.
    Uneven,
    /// No sector took it.
    Worn,
    /// The flash failed, in the last sector that was tried.
    Flash(E),
    /// All sequence numbers are spent.
    Exhausted,
}

/// Why a ledger could not be made. `E` is the flash's error.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum FormatError<E> {
    /// It cannot lie so in this flash.
    Geometry(GeometryError),
    /// Its first snapshot could not be written.
    Roll(RollError<E>),
}

impl<E> From<GeometryError> for FormatError<E> {
    fn from(error: GeometryError) -> Self {
        Self::Geometry(error)
    }
}

impl<E> From<RollError<E>> for FormatError<E> {
    fn from(error: RollError<E>) -> Self {
        Self::Roll(error)
    }
}

impl<E> From<WriteError<E>> for RollError<E> {
    fn from(error: WriteError<E>) -> Self {
        match error {
            WriteError::Worn | WriteError::End => Self::Worn,
            WriteError::Uneven => Self::Uneven,
            WriteError::Flash(error) => Self::Flash(error),
        }
    }
}

impl<E> WriteError<E> {
    /// What a sector is passed over for. A snapshot that comes out shorter than it was counted
    /// does so in every sector, and is an error at once.
    pub(super) fn passed_over(self) -> Result<RollError<E>, RollError<E>> {
        match self.into() {
            RollError::Uneven => Err(RollError::Uneven),
            error => Ok(error),
        }
    }
}

impl<E: fmt::Debug> fmt::Display for OpenError<E> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Geometry(error) => error.fmt(f),
            Self::Flash(error) => write!(f, "the memory cannot be read: {error:?}"),
            Self::Blank => f.write_str("the memory is blank: format it"),
            Self::Unfinished => f.write_str("a first format was cut short: format again"),
            Self::Unformatted => f.write_str("the memory holds no ledger: format it"),
            Self::Version(version) => write!(
                f,
                "the ledger is of format version {version}, this program reads {}: use the \
                 program that wrote it, or format",
                super::VERSION
            ),
            Self::OtherGeometry { sector_bytes, sectors } => write!(
                f,
                "the ledger has {sectors} sectors of {sector_bytes} bytes: open it with these, \
                 or format"
            ),
        }
    }
}

impl<E: fmt::Debug> fmt::Display for AppendError<E> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Full => f.write_str("the sector is full: roll first"),
            Self::Worn => f.write_str("the sector is worn: roll first"),
            Self::Flash(error) => write!(f, "the memory cannot be written: {error:?}"),
            Self::Exhausted => exhausted(f),
        }
    }
}

impl<E: fmt::Debug> fmt::Display for RollError<E> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::TooLarge { slots, most } => write!(
                f,
                "a snapshot of {slots} slots does not fit, {most} do: give larger sectors"
            ),
            Self::Uneven => f.write_str("the snapshot changed while it was written"),
            Self::Worn => f.write_str("the memory is worn: replace it"),
            Self::Flash(error) => write!(f, "the memory cannot be written: {error:?}"),
            Self::Exhausted => exhausted(f),
        }
    }
}

impl<E: fmt::Debug> fmt::Display for FormatError<E> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Geometry(error) => error.fmt(f),
            Self::Roll(error) => error.fmt(f),
        }
    }
}

fn exhausted(f: &mut fmt::Formatter<'_>) -> fmt::Result {
    write!(f, "all {SEQ_MAX} sequence numbers are spent: erase the memory and format it")
}
