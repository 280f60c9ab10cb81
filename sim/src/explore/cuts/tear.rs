//! What a cut leaves of the write or erase that it falls in.

use std::fmt;
use std::str::FromStr;

use dosewright_core::ledger::SLOT;

use super::memory::{Bytes, Memory, SECTOR_BYTES, Work};

/// Bytes of the stripes of [`Tear::Stripes`].
const STRIPE: usize = 32;
/// Patterns of an erase that left bits behind all over the sector.
const WEAK: u8 = 4;

/// What is left of a write or an erase in which the supply went.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum Tear {
    /// The first so many bytes are written, or erased; the rest is as it was.
    Bytes(u16),
    /// The first so many bytes are written, and the slot fails to read: a part
    /// that keeps a code with each word gives an error for the word at the cut.
    Unreadable(u16),
    /// Whole words are written up to the one this bit of the slot is in, and of
    /// that word this bit alone.
    Bit(u16),
    /// Whole words are written up to and with the one this bit of the slot is
    /// in, this bit left out.
    AllBut(u16),
    /// The second half of the sector is erased.
    SecondHalf,
    /// Every other 32 bytes of the sector are erased.
    Stripes,
    /// All bytes of the sector are erased in part: one of several patterns.
    Weak(u8),
}

impl Tear {
    /// A slot in which `new` was being written in words of `word` bytes.
    pub(super) fn written(self, old: &Bytes, new: &Bytes, word: usize) -> Bytes {
        let place = |bit: u16| (usize::from(bit) / 8, 1_u8 << (bit % 8));
        let upto = match self {
            Self::Bytes(count) | Self::Unreadable(count) => usize::from(count),
            Self::Bit(bit) => usize::from(bit) / 8 / word * word,
            Self::AllBut(bit) => usize::from(bit) / 8 / word * word + word,
            Self::SecondHalf | Self::Stripes | Self::Weak(_) => 0,
        };
        let mut torn = *old;
        for (byte, new) in torn.iter_mut().zip(new).take(upto) {
            *byte &= new;
        }
        match self {
            Self::Bit(bit) => {
                let (at, mask) = place(bit);
                torn[at] &= new[at] | !mask;
            }
            Self::AllBut(bit) => {
                let (at, mask) = place(bit);
                torn[at] |= old[at] & mask;
            }
            _ => {}
        }
        torn
    }

    /// Whether a write torn so differs from one torn at a whole word.
    pub(super) fn matters(self, old: &Bytes, new: &Bytes) -> bool {
        match self {
            Self::Bit(bit) | Self::AllBut(bit) => {
                let (at, mask) = (usize::from(bit) / 8, 1_u8 << (bit % 8));
                old[at] & mask != new[at] & mask
            }
            _ => true,
        }
    }

    /// A slot `at` bytes into the sector that was being erased.
    pub(super) fn erased(self, old: &Bytes, at: usize) -> Bytes {
        let is_erased = |byte: usize| match self {
            Self::Bytes(count) | Self::Unreadable(count) => byte < usize::from(count),
            Self::SecondHalf => byte >= SECTOR_BYTES / 2,
            Self::Stripes => (byte / STRIPE).is_multiple_of(2),
            Self::Bit(_) | Self::AllBut(_) | Self::Weak(_) => false,
        };
        // the common cases without a look at each byte
        match self {
            Self::Bytes(count) if at + SLOT <= usize::from(count) => return [0xff; SLOT],
            Self::Bytes(count) if at >= usize::from(count) => return *old,
            _ => {}
        }
        std::array::from_fn(|byte| match self {
            Self::Weak(pattern) => old[byte] | mix(at + byte, pattern),
            _ if is_erased(at + byte) => 0xff,
            _ => old[byte],
        })
    }

    /// Leaves a memory as the cut in this piece of work does; whether the work is
    /// complete all the same.
    pub(super) fn leave<const W: usize>(self, work: &Work, memory: &Memory) -> bool {
        match work {
            Work::Write { slot, bytes } => {
                let left = self.written(&memory.slot(*slot), bytes, W);
                memory.put(*slot, &left, memory.fails(*slot) || self.fails());
                left == *bytes && !self.fails()
            }
            Work::Erase { .. } => {
                for (at, slot) in work.slots().enumerate() {
                    let left = self.erased(&memory.slot(slot), at * SLOT);
                    memory.put(slot, &left, memory.fails(slot));
                }
                false
            }
        }
    }

    const fn fails(self) -> bool {
        matches!(self, Self::Unreadable(_))
    }
}

/// Pseudo-random bits: the output function of SplitMix64.
fn mix(at: usize, pattern: u8) -> u8 {
    let z = (at as u64 | u64::from(pattern) << 32).wrapping_add(0x9e37_79b9_7f4a_7c15);
    let z = (z ^ z >> 30).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    let z = (z ^ z >> 27).wrapping_mul(0x94d0_49bb_1331_11eb);
    (z ^ z >> 31) as u8
}

/// All tears that are tried.
#[derive(Debug)]
pub(super) struct Tears {
    /// Of a write, as first and as second cut.
    pub(super) write: Vec<Tear>,
    /// Of a write, as first cut with none after it.
    pub(super) write_once: Vec<Tear>,
    /// Of an erase, as first and as second cut.
    pub(super) erase: Vec<Tear>,
}

impl Tears {
    /// With words of so many bytes.
    pub(super) fn of(word: usize) -> Self {
        let ends = |length: usize| (0..=length).step_by(word).map(|count| count as u16);
        let unreadable = || ends(SLOT - 1).map(Tear::Unreadable);
        let bits = (0..SLOT as u16 * 8).flat_map(|bit| [Tear::Bit(bit), Tear::AllBut(bit)]);
        let mut write: Vec<Tear> = ends(SLOT).map(Tear::Bytes).collect();
        let mut write_once: Vec<Tear> = bits.collect();
        // codes are kept with words, so a part with words of a byte has none;
        // what fails to read there is tried once
        let to = if word > 1 { &mut write } else { &mut write_once };
        to.extend(unreadable());
        let mut erase: Vec<Tear> = ends(SECTOR_BYTES).map(Tear::Bytes).collect();
        erase.extend([Tear::SecondHalf, Tear::Stripes]);
        erase.extend((0..WEAK).map(Tear::Weak));
        Self { write, write_once, erase }
    }
}

impl fmt::Display for Tear {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Bytes(count) => write!(f, "bytes {count}"),
            Self::Unreadable(count) => write!(f, "unreadable {count}"),
            Self::Bit(bit) => write!(f, "bit {bit}"),
            Self::AllBut(bit) => write!(f, "all but bit {bit}"),
            Self::SecondHalf => f.write_str("second half"),
            Self::Stripes => f.write_str("stripes"),
            Self::Weak(pattern) => write!(f, "weak {pattern}"),
        }
    }
}

impl FromStr for Tear {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let (kind, figure) = text.rsplit_once(' ').unwrap_or((text, ""));
        let no = || {
            format!(
                "\"{text}\" is no tear: give \"bytes 17\", \"unreadable 16\", \"bit 5\", \
                 \"all but bit 5\", \"second half\", \"stripes\" or \"weak 0\""
            )
        };
        let upto = |most: usize| {
            figure.parse::<u16>().ok().filter(|n| usize::from(*n) <= most).ok_or_else(no)
        };
        match (kind, text) {
            (_, "second half") => Ok(Self::SecondHalf),
            (_, "stripes") => Ok(Self::Stripes),
            ("bytes", _) => upto(SECTOR_BYTES).map(Self::Bytes),
            ("unreadable", _) => upto(SLOT).map(Self::Unreadable),
            ("bit", _) => upto(SLOT * 8 - 1).map(Self::Bit),
            ("all but bit", _) => upto(SLOT * 8 - 1).map(Self::AllBut),
            ("weak", _) => upto(usize::from(WEAK) - 1).map(|n| Self::Weak(n as u8)),
            _ => Err(no()),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_tear_is_read_back_as_it_is_written() {
        for word in [1, 4, 8] {
            let tears = Tears::of(word);
            for tear in [tears.write, tears.write_once, tears.erase].into_iter().flatten() {
                assert_eq!(tear.to_string().parse(), Ok(tear));
            }
        }
        for bad in ["", "bytes", "bytes -1", "bytes 9999", "bit 512", "weak 4", "half"] {
            assert!(bad.parse::<Tear>().is_err(), "{bad}");
        }
    }

    #[test]
    fn a_write_is_torn_at_every_word_and_at_every_bit() {
        let (old, new) = ([0xff; SLOT], [0x0f; SLOT]);
        for (word, ends, unreadable) in [(1, 65, 0), (4, 17, 16), (8, 9, 8)] {
            let tears = Tears::of(word);
            assert_eq!(tears.write.len(), ends + unreadable);
            // half of the 512 bits change
            let bits = tears.write_once.iter().filter(|tear| !tear.fails());
            assert_eq!(bits.filter(|tear| tear.matters(&old, &new)).count(), 512);
            assert_eq!(tears.erase.len(), SECTOR_BYTES / word + 1 + 2 + usize::from(WEAK));
        }
    }

    #[test]
    fn a_torn_word_has_one_bit_or_all_but_one() {
        let (old, new) = ([0xff; SLOT], [0; SLOT]);
        let torn = Tear::Bit(37).written(&old, &new, 4);
        assert_eq!(torn[..8], [0, 0, 0, 0, !(1 << 5), 0xff, 0xff, 0xff]);
        let torn = Tear::AllBut(37).written(&old, &new, 4);
        assert_eq!(torn[..9], [0, 0, 0, 0, 1 << 5, 0, 0, 0, 0xff]);
        assert_eq!(Tear::Bytes(3).written(&old, &new, 1)[..4], [0, 0, 0, 0xff]);
    }
}
