//! One slot of the ledger: 64 bytes that are good, blank or damaged.
//!
//! | bytes | what |
//! | --- | --- |
//! | 0 to 55 | payload, opaque here |
//! | 56 to 59 | little-endian word: class in the top 2 bits, sequence number in the other 30 |
//! | 60 to 63 | CRC-32 (ISO-HDLC), little-endian, over bytes 0 to 59 |
//!
//! This frame is the same in every format version, so that a store of another
//! version can be refused by name instead of being misread (M4).

#[cfg(not(feature = "fast-crc"))]
use crc::NoTable;
#[cfg(not(feature = "fast-crc"))]
use crc::{CRC_32_ISO_HDLC, Crc};

/// Bytes in a slot.
pub const SLOT: usize = 64;
/// Bytes of payload in a slot.
pub const PAYLOAD: usize = 56;
/// Bytes that the checksum is over.
pub(super) const BODY: usize = SLOT - 4;
/// The last sequence number that is ever given out. One number is spent by
/// each append: at one a second it is reached after 34 years, at the pulses of a
/// default timetable after thousands.
pub const SEQ_MAX: u32 = (1 << 30) - 2;

/// What the caller stores in a slot; its first byte is the kind of record.
pub type Payload = [u8; PAYLOAD];

/// Whether every bit of a slot is one, as an erase leaves it.
fn is_blank(bytes: &[u8; SLOT]) -> bool {
    bytes.as_chunks::<8>().0.iter().all(|word| *word == [0xff; 8])
}

/// Without a table the checksum costs no flash.
#[cfg(not(feature = "fast-crc"))]
fn checksum(body: &[u8; BODY]) -> u32 {
    const CRC: Crc<u32, NoTable> = Crc::<u32, NoTable>::new(&CRC_32_ISO_HDLC);
    CRC.checksum(body)
}
/// A host has instructions for it. A start reads every slot in use twice, and an
/// exploration starts a device hundreds of thousands of times a second: with tables a
/// third of that time went into the checksum.
#[cfg(feature = "fast-crc")]
fn checksum(body: &[u8; BODY]) -> u32 {
    // the 32 bits of it are the low ones
    crc_fast::checksum(crc_fast::CrcAlgorithm::Crc32IsoHdlc, body) as u32
}

/// What a slot is for.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[repr(u8)]
pub enum Class {
    /// The ledger's own: the first slot of a sector.
    Header = 0,
    /// A payload of the snapshot that a sector begins with.
    Snapshot = 1,
    /// The ledger's own: the snapshot before it is complete.
    Seal = 2,
    /// An appended payload.
    Record = 3,
}

/// What 64 bytes of the store turned out to be.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Slot {
    /// Erased: every bit is one.
    Blank,
    /// Written, and its check holds.
    Good {
        /// Its sequence number, 1 to [`SEQ_MAX`]; it rises along the ledger.
        seq: u32,
        /// What it is for.
        class: Class,
        /// What the caller stored.
        payload: Payload,
    },
    /// Neither: torn, flipped, worn or unreadable.
    Damaged,
}

/// Class and number.
fn word(bytes: &[u8; SLOT]) -> u32 {
    let [.., w0, w1, w2, w3, _, _, _, _] = bytes;
    u32::from_le_bytes([*w0, *w1, *w2, *w3])
}

/// Which of the three a slot is.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(super) enum Sight {
    Blank,
    Good,
    Damaged,
}

impl Sight {
    #[cfg_attr(not(target_pointer_width = "32"), inline)]
    pub(super) fn of(bytes: &[u8; SLOT]) -> Self {
        if is_blank(bytes) {
            return Self::Blank;
        }
        let [body @ .., c0, c1, c2, c3] = bytes;
        // the number that is all ones is never given
        if checksum(body) == u32::from_le_bytes([*c0, *c1, *c2, *c3])
            && word(bytes) & (SEQ_MAX + 1) <= SEQ_MAX
        {
            Self::Good
        } else {
            Self::Damaged
        }
    }

    /// The slot of these bytes.
    pub(super) fn slot(self, bytes: &[u8; SLOT]) -> Slot {
        let [payload @ .., _, _, _, _, _, _, _, _] = bytes;
        let word = word(bytes);
        let class = match word >> 30 {
            0 => Class::Header,
            1 => Class::Snapshot,
            2 => Class::Seal,
            _ => Class::Record,
        };
        match self {
            Self::Blank => Slot::Blank,
            Self::Good => Slot::Good { seq: word & (SEQ_MAX + 1), class, payload: *payload },
            Self::Damaged => Slot::Damaged,
        }
    }
}

impl Slot {
    /// Reads the bytes of a slot.
    pub fn decode(bytes: &[u8; SLOT]) -> Self {
        Sight::of(bytes).slot(bytes)
    }

    /// The bytes of a good slot; bits of `seq` above the 30th are dropped.
    pub fn encode(class: Class, seq: u32, payload: &Payload) -> [u8; SLOT] {
        let mut bytes = [0; SLOT];
        let word = u32::from(class as u8) << 30 | seq & (SEQ_MAX + 1);
        let [body @ .., c0, c1, c2, c3] = &mut bytes;
        let [content @ .., w0, w1, w2, w3] = body;
        *content = *payload;
        [*w0, *w1, *w2, *w3] = word.to_le_bytes();
        [*c0, *c1, *c2, *c3] = checksum(body).to_le_bytes();
        bytes
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_checksum_is_the_published_one() {
        // check value of CRC-32/ISO-HDLC in the catalogue of parametrised CRC
        // algorithms, carried by the crate `crc-catalog`
        let published = crc::Crc::<u32>::new(&crc::CRC_32_ISO_HDLC);
        assert_eq!(published.checksum(b"123456789"), 0xcbf4_3926);
        // and a slot's is the same, with every byte in every place
        let mut body = [0; BODY];
        for round in 0..5000_usize {
            for (i, byte) in body.iter_mut().enumerate() {
                *byte = (round * (2 * i + 7) + round / 256) as u8;
            }
            assert_eq!(checksum(&body), published.checksum(&body), "{body:?}");
        }
    }

    #[test]
    fn a_slot_comes_back_as_it_was_written() {
        let mut payload = [0; PAYLOAD];
        for (i, byte) in payload.iter_mut().enumerate() {
            *byte = (i as u8).wrapping_mul(5) | 1;
        }
        for class in [Class::Header, Class::Snapshot, Class::Seal, Class::Record] {
            for seq in [1, 2, 0x1234_5678, SEQ_MAX] {
                let bytes = Slot::encode(class, seq, &payload);
                assert_eq!(Slot::decode(&bytes), Slot::Good { seq, class, payload });
            }
        }
    }

    #[test]
    fn m2_the_number_that_is_never_given_makes_no_slot() {
        for class in [Class::Header, Class::Snapshot, Class::Seal, Class::Record] {
            let bytes = Slot::encode(class, SEQ_MAX + 1, &[0xa5; PAYLOAD]);
            assert_eq!(Slot::decode(&bytes), Slot::Damaged);
        }
    }

    #[test]
    fn m2_every_flip_of_one_or_two_bits_is_seen() {
        let bytes = Slot::encode(Class::Record, 77, &[0xa5; PAYLOAD]);
        let flip = |bytes: &[u8; SLOT], bit: usize| {
            let mut bytes = *bytes;
            bytes[bit / 8] ^= 1 << (bit % 8);
            bytes
        };
        for first in 0..SLOT * 8 {
            let once = flip(&bytes, first);
            assert_eq!(Slot::decode(&once), Slot::Damaged);
            assert_eq!(Slot::decode(&flip(&[0xff; SLOT], first)), Slot::Damaged);
            for second in first + 1..SLOT * 8 {
                assert_eq!(Slot::decode(&flip(&once, second)), Slot::Damaged);
            }
        }
    }
}
