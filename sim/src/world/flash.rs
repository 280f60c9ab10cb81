//! A NOR flash with everything that can go wrong with one.
//!
//! A write clears bits and an erase sets them. On demand the supply goes at any
//! step of a write or erase, bits flip, pages wear and ranges cannot be read.

mod fault;
mod lapse;

use std::hash::{Hash, Hasher};

use embedded_storage::nor_flash::{
    ErrorType, NorFlash, ReadNorFlash, check_erase, check_read, check_write,
};

pub use fault::{NorError, Tear, Unreadable, Wear};
pub use lapse::{EraseFailure, Misread, WriteFailure};
use lapse::{Lapse, Lapses};

/// Steps of erasing one page; the supply can go before each of them and after
/// the last one. See [`NorMock::cut_after_steps`].
pub const ERASE_STEPS: u64 = 6;

/// What was done to the flash since it was made.
#[derive(Clone, PartialEq, Eq, Hash, Debug, Default)]
pub struct NorCounters {
    /// Calls of read.
    pub reads: u64,
    /// Calls of write.
    pub writes: u64,
    /// Bytes written.
    pub bytes_written: u64,
    /// Steps a cut can fall on; see [`NorMock::cut_after_steps`].
    pub steps: u64,
    /// Erases of each page.
    pub erases: Vec<u32>,
}

#[derive(Clone, PartialEq, Eq, Hash, Debug, Default)]
struct Faults {
    /// Steps left until the supply goes.
    budget: Option<u64>,
    tear: Tear,
    is_off: bool,
    is_strict: bool,
    worn: Vec<(u32, Wear)>,
    unreadable: Vec<(u32, u32, Unreadable)>,
    lapses: Option<Box<Lapses>>,
}

/// A NOR flash with words of `W` bytes and pages of `E` bytes.
///
/// Two are equal that hold the same and have the same faults armed; what
/// was counted on the way is left out.
#[derive(Clone, Debug)]
pub struct NorMock<const W: usize, const E: usize> {
    bytes: Vec<u8>,
    counters: NorCounters,
    faults: Faults,
    /// Whether `faults` says anything: with none, nothing looks at them.
    is_armed: bool,
}

impl<const W: usize, const E: usize> PartialEq for NorMock<W, E> {
    fn eq(&self, other: &Self) -> bool {
        self.bytes == other.bytes && self.faults == other.faults
    }
}

impl<const W: usize, const E: usize> Eq for NorMock<W, E> {}

impl<const W: usize, const E: usize> Hash for NorMock<W, E> {
    fn hash<H: Hasher>(&self, state: &mut H) {
        self.bytes.hash(state);
        self.faults.hash(state);
    }
}

impl<const W: usize, const E: usize> NorMock<W, E> {
    /// An erased flash of so many pages.
    pub fn new(pages: usize) -> Self {
        Self::from_bytes(vec![0xff; pages * E])
    }

    /// A flash that holds an image, filled up with erased bytes to a whole page.
    pub fn from_bytes(mut bytes: Vec<u8>) -> Self {
        let pages = bytes.len().div_ceil(E);
        bytes.resize(pages * E, 0xff);
        let counters = NorCounters { erases: vec![0; pages], ..NorCounters::default() };
        Self { bytes, counters, faults: Faults::default(), is_armed: false }
    }

    /// What it holds.
    pub fn bytes(&self) -> &[u8] {
        &self.bytes
    }

    /// What it holds, taken out.
    pub fn into_bytes(self) -> Vec<u8> {
        self.bytes
    }

    /// What was done to it.
    pub fn counters(&self) -> &NorCounters {
        &self.counters
    }

    /// Lets the supply go after so many more steps; `None` disarms it.
    ///
    /// A write of n bytes has n + 1 steps: it begins, and each byte. An erase
    /// has [`ERASE_STEPS`] a page; by how many were left when the supply went, the
    /// page is as it was, has its first half erased, its second half, every other
    /// 32 bytes, pseudo-random bits, or all of it. The call that meets the end
    /// fails with [`NorError::Cut`], even if its last byte is written, and so
    /// does everything after it until [`NorMock::power_on`].
    pub fn cut_after_steps(&mut self, steps: Option<u64>) {
        self.faults.budget = steps;
        self.rearm();
    }

    /// What the next cut leaves of a word.
    pub fn set_tear(&mut self, tear: Tear) {
        self.faults.tear = tear;
        self.rearm();
    }

    /// Takes the supply away at once.
    pub fn power_off(&mut self) {
        self.faults.is_off = true;
        self.rearm();
    }

    /// Gives the supply back; an armed cut that was not met is disarmed.
    pub fn power_on(&mut self) {
        self.faults.is_off = false;
        self.faults.budget = None;
        self.rearm();
    }

    /// Whether the supply is gone.
    pub fn is_off(&self) -> bool {
        self.faults.is_off
    }

    /// Whether writing to a word that is not blank is an error, as it is on
    /// parts that keep a code with each word.
    pub fn set_strict(&mut self, is_strict: bool) {
        self.faults.is_strict = is_strict;
        self.rearm();
    }

    /// Flips one bit, 0 to 7, of a byte; nothing happens beyond the end.
    pub fn flip_bit(&mut self, address: u32, bit: u8) {
        if let Some(byte) = self.bytes.get_mut(address as usize) {
            *byte ^= 1 << (bit & 7);
        }
    }

    /// Wears a page, from its next write or erase on.
    pub fn wear_out(&mut self, page: u32, wear: Wear) {
        self.faults.worn.push((page, wear));
        self.rearm();
    }

    /// Makes the bytes `from..to` unreadable, until [`NorMock::mend`].
    pub fn make_unreadable(&mut self, from: u32, to: u32, how: Unreadable) {
        self.faults.unreadable.push((from, to, how));
        self.rearm();
    }

    /// After so many readings more, so many in a row go wrong.
    pub fn misread(&mut self, after: u64, times: u64, how: Misread) {
        self.lapses().misread = Lapse::new(after, times, how);
    }

    /// After so many pages more that are erased, so many in a row report an error.
    pub fn fail_erases(&mut self, after: u64, times: u64, how: EraseFailure) {
        self.lapses().no_erase = Lapse::new(after, times, how);
    }

    /// After so many writes more, so many in a row fail.
    pub fn fail_writes(&mut self, after: u64, times: u64, how: WriteFailure) {
        self.lapses().no_write = Lapse::new(after, times, how);
    }

    fn lapses(&mut self) -> &mut Lapses {
        self.is_armed = true;
        self.faults.lapses.get_or_insert_default()
    }

    /// Takes all wear, unreadable ranges and calls that are to fail away.
    pub fn mend(&mut self) {
        self.faults.worn.clear();
        self.faults.unreadable.clear();
        self.faults.lapses = None;
        self.rearm();
    }

    fn rearm(&mut self) {
        let faults = &self.faults;
        self.is_armed = faults.budget.is_some()
            || faults.is_off
            || faults.is_strict
            || !faults.worn.is_empty()
            || !faults.unreadable.is_empty()
            || faults.lapses.is_some();
    }

    /// Takes the steps of one call off the budget; those that are left where
    /// it does not suffice.
    fn spend(&mut self, steps: u64) -> Option<u64> {
        let budget = self.faults.budget.as_mut()?;
        if let Some(left) = budget.checked_sub(steps) {
            *budget = left;
            return None;
        }
        let left = *budget;
        self.faults.budget = None;
        self.faults.is_off = true;
        Some(left)
    }

    #[cold]
    fn write_with_faults(&mut self, offset: usize, bytes: &[u8]) -> Result<(), NorError> {
        let old = &self.bytes[offset..offset + bytes.len()];
        if self.faults.is_strict && old.iter().any(|byte| *byte != 0xff) {
            return Err(NorError::Rewrite);
        }
        let lapse = self.faults.lapses.as_mut().and_then(|lapses| lapses.no_write.next());
        let (result, bytes) = match lapse {
            None => (Ok(()), bytes),
            Some(WriteFailure::Silent) => return Ok(()),
            Some(WriteFailure::Undone) => return Err(NorError::Failed),
            Some(WriteFailure::Half) => (Err(NorError::Failed), &bytes[..bytes.len() / 2 / W * W]),
        };
        let left = self.spend(bytes.len() as u64 + 1);
        let taken = left.map_or(bytes.len(), |left| left as usize);
        let whole_words = taken / W * W;
        let mut wear = (usize::MAX, None);
        for (at, value) in bytes.iter().enumerate() {
            let address = offset + at;
            let value = match self.faults.tear {
                _ if at < whole_words => *value,
                Tear::Bytes if at < taken => *value,
                Tear::Bits { seed } if at < taken.next_multiple_of(W) => {
                    *value | mix(seed ^ address as u64) as u8
                }
                _ => break,
            };
            // looked up once a page: a memory can have many that are worn
            if wear.0 != address / E {
                wear = (address / E, self.wear_of(address / E));
            }
            let worn = wear.1.map(|wear| match wear {
                Wear::StuckHigh { bytes, seed } => value | stuck_bits(address, bytes, seed),
                Wear::StuckLow { .. } => value,
                Wear::Dead => 0xff,
            });
            self.bytes[address] &= worn.unwrap_or(value);
        }
        if left.is_some() { Err(NorError::Cut) } else { result }
    }

    fn wear_of(&self, page: usize) -> Option<Wear> {
        self.faults.worn.iter().find(|(worn, _)| *worn as usize == page).map(|(_, wear)| *wear)
    }

    #[cold]
    fn erase_with_faults(&mut self, page: usize) -> Result<(), NorError> {
        if let Some(how) = self.faults.lapses.as_mut().and_then(|lapses| lapses.no_erase.next()) {
            let erased = match how {
                EraseFailure::Undone => 0,
                EraseFailure::Half => E / 2,
                EraseFailure::Done => E,
            };
            self.bytes[page * E..][..erased].fill(0xff);
            return Err(NorError::Failed);
        }
        let left = self.spend(ERASE_STEPS);
        let wear = self.wear_of(page);
        for at in 0..E {
            let address = page * E + at;
            let is_erased = match left {
                Some(0) => false,
                Some(1) => at < E / 2,
                Some(2) => at >= E / 2,
                Some(3) => at / 32 % 2 == 0,
                Some(4) => {
                    self.bytes[address] |= mix(address as u64 ^ self.counters.steps) as u8;
                    false
                }
                _ => true,
            };
            if is_erased {
                self.bytes[address] = match wear {
                    Some(Wear::StuckLow { bytes, seed }) => !stuck_bits(address, bytes, seed),
                    Some(Wear::Dead) => self.bytes[address],
                    Some(Wear::StuckHigh { .. }) | None => 0xff,
                };
            }
        }
        if left.is_some() { Err(NorError::Cut) } else { Ok(()) }
    }

    #[cold]
    fn read_with_faults(&mut self, offset: usize, bytes: &mut [u8]) -> Result<(), NorError> {
        match self.faults.lapses.as_mut().and_then(|lapses| lapses.misread.next()) {
            None => {}
            Some(Misread::Fails) => {
                bytes.fill(0);
                return Err(NorError::Unreadable);
            }
            Some(Misread::Ones) => bytes.fill(0xff),
            Some(Misread::Bit) => bytes[0] ^= 0x10,
            Some(Misread::Garbage { seed }) => {
                for (at, byte) in bytes.iter_mut().enumerate() {
                    *byte = mix(seed ^ (offset + at) as u64) as u8;
                }
            }
        }
        let end = offset + bytes.len();
        for (from, to, how) in &self.faults.unreadable {
            let hit = offset.max(*from as usize)..end.min(*to as usize);
            match how {
                Unreadable::Fails if !hit.is_empty() => return Err(NorError::Unreadable),
                Unreadable::Fails => {}
                Unreadable::Garbage { seed } => {
                    for address in hit {
                        bytes[address - offset] = mix(seed ^ address as u64) as u8;
                    }
                }
            }
        }
        Ok(())
    }
}

/// The bits of a byte that a worn page has stuck: mostly none.
fn stuck_bits(address: usize, bytes: u32, seed: u64) -> u8 {
    let drawn = mix(seed ^ (address as u64) << 20);
    let is_stuck = (drawn >> 8).is_multiple_of(u64::from(bytes.max(1)));
    if is_stuck { 1 << (drawn & 7) } else { 0 }
}

/// The output function of SplitMix64: every bit of the result depends on every
/// bit of the input.
fn mix(value: u64) -> u64 {
    let z = value.wrapping_add(0x9e37_79b9_7f4a_7c15);
    let z = (z ^ z >> 30).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    let z = (z ^ z >> 27).wrapping_mul(0x94d0_49bb_1331_11eb);
    z ^ z >> 31
}

impl<const W: usize, const E: usize> ErrorType for NorMock<W, E> {
    type Error = NorError;
}

impl<const W: usize, const E: usize> ReadNorFlash for NorMock<W, E> {
    const READ_SIZE: usize = 1;

    fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), NorError> {
        check_read(self, offset, bytes.len())?;
        if self.faults.is_off {
            return Err(NorError::Cut);
        }
        let offset = offset as usize;
        self.counters.reads += 1;
        bytes.copy_from_slice(&self.bytes[offset..offset + bytes.len()]);
        if self.is_armed { self.read_with_faults(offset, bytes) } else { Ok(()) }
    }

    fn capacity(&self) -> usize {
        self.bytes.len()
    }
}

impl<const W: usize, const E: usize> NorFlash for NorMock<W, E> {
    const WRITE_SIZE: usize = W;
    const ERASE_SIZE: usize = E;

    fn erase(&mut self, from: u32, to: u32) -> Result<(), NorError> {
        check_erase(self, from, to)?;
        for page in from as usize / E..to as usize / E {
            if self.faults.is_off {
                return Err(NorError::Cut);
            }
            self.counters.steps += ERASE_STEPS;
            self.counters.erases[page] += 1;
            if self.is_armed {
                self.erase_with_faults(page)?;
            } else {
                self.bytes[page * E..(page + 1) * E].fill(0xff);
            }
        }
        Ok(())
    }

    fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), NorError> {
        check_write(self, offset, bytes.len())?;
        if self.faults.is_off {
            return Err(NorError::Cut);
        }
        let offset = offset as usize;
        self.counters.writes += 1;
        self.counters.bytes_written += bytes.len() as u64;
        self.counters.steps += bytes.len() as u64 + 1;
        if self.is_armed {
            return self.write_with_faults(offset, bytes);
        }
        for (byte, value) in self.bytes[offset..offset + bytes.len()].iter_mut().zip(bytes) {
            *byte &= value;
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests;
