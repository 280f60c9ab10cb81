//! What can go wrong with a flash, and what it then says.

use embedded_storage::nor_flash::{NorFlashError, NorFlashErrorKind};

/// Why the flash refused.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub enum NorError {
    /// An address or length is no multiple of the word or page.
    NotAligned,
    /// Beyond the end.
    OutOfBounds,
    /// The supply is gone, until [`super::NorMock::power_on`].
    Cut,
    /// The range cannot be read.
    Unreadable,
    /// It did not do what it was to, or did not say so in time.
    Failed,
    /// A word that was not blank was to be written, and the flash is strict.
    Rewrite,
}

impl NorFlashError for NorError {
    fn kind(&self) -> NorFlashErrorKind {
        match self {
            Self::NotAligned => NorFlashErrorKind::NotAligned,
            Self::OutOfBounds => NorFlashErrorKind::OutOfBounds,
            Self::Cut | Self::Unreadable | Self::Failed | Self::Rewrite => NorFlashErrorKind::Other,
        }
    }
}

impl From<NorFlashErrorKind> for NorError {
    fn from(kind: NorFlashErrorKind) -> Self {
        match kind {
            NorFlashErrorKind::NotAligned => Self::NotAligned,
            _ => Self::OutOfBounds,
        }
    }
}

/// What a cut leaves of the word that was being written.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug, Default)]
pub enum Tear {
    /// The bytes up to the cut, to the byte.
    #[default]
    Bytes,
    /// Whole words only.
    Words,
    /// Whole words, and of the bits of the word at the cut a pseudo-random part.
    Bits {
        /// Chooses the part.
        seed: u64,
    },
}

/// How a page is worn.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub enum Wear {
    /// After an erase one bit in about every so many bytes stays zero.
    StuckLow {
        /// Bytes to a stuck bit, 1 and more.
        bytes: u32,
        /// Chooses the bits.
        seed: u64,
    },
    /// One bit in about every so many bytes cannot be written to zero.
    StuckHigh {
        /// Bytes to a stuck bit, 1 and more.
        bytes: u32,
        /// Chooses the bits.
        seed: u64,
    },
    /// Writes and erases change nothing, and no error says so.
    Dead,
}

/// What reading a range gives.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub enum Unreadable {
    /// An error.
    Fails,
    /// Pseudo-random bytes, the same each time.
    Garbage {
        /// Chooses the bytes.
        seed: u64,
    },
}
