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
mod tests {
    use super::*;

    type Part = NorMock<4, 128>;

    #[test]
    fn a_write_clears_bits_and_an_erase_sets_them() {
        let mut flash = Part::new(2);
        flash.write(4, &[0xf0; 4]).unwrap();
        flash.write(4, &[0x3c; 4]).unwrap();
        assert_eq!(flash.bytes()[3..9], [0xff, 0x30, 0x30, 0x30, 0x30, 0xff]);
        // and just so while a fault is armed
        flash.cut_after_steps(Some(5));
        flash.write(4, &[0xdf; 4]).unwrap();
        assert_eq!(flash.bytes()[3..9], [0xff, 0x10, 0x10, 0x10, 0x10, 0xff]);
        flash.cut_after_steps(None);
        flash.erase(0, 128).unwrap();
        assert_eq!(flash, Part::new(2));
        assert_eq!(flash.counters().erases, [1, 0]);
        assert_eq!(flash.counters().bytes_written, 12);
        assert_eq!(flash.counters().steps, 3 * 5 + ERASE_STEPS);
    }

    #[test]
    fn what_is_not_aligned_or_out_of_bounds_is_refused() {
        let mut flash = Part::new(2);
        assert_eq!(flash.write(2, &[0; 4]), Err(NorError::NotAligned));
        assert_eq!(flash.write(252, &[0; 8]), Err(NorError::OutOfBounds));
        assert_eq!(flash.erase(0, 64), Err(NorError::NotAligned));
        assert_eq!(flash.erase(128, 512), Err(NorError::OutOfBounds));
        assert_eq!(flash.read(250, &mut [0; 8]), Err(NorError::OutOfBounds));
        assert_eq!(flash, Part::new(2));
    }

    #[test]
    fn a_strict_part_refuses_to_write_a_word_twice() {
        let mut flash = Part::new(1);
        flash.set_strict(true);
        flash.write(0, &[0xfe; 4]).unwrap();
        assert_eq!(flash.write(0, &[0; 4]), Err(NorError::Rewrite));
    }

    /// The bytes a cut write of twelve zero bytes leaves, and its result.
    fn torn(steps: u64, tear: Tear) -> (Vec<u8>, Result<(), NorError>) {
        let mut flash = Part::new(1);
        flash.set_tear(tear);
        flash.cut_after_steps(Some(steps));
        let result = flash.write(0, &[0; 12]);
        assert_eq!(flash.is_off(), result.is_err());
        if result.is_err() {
            assert_eq!(flash.read(0, &mut [0; 4]), Err(NorError::Cut));
            assert_eq!(flash.write(64, &[0; 4]), Err(NorError::Cut));
            assert_eq!(flash.erase(0, 128), Err(NorError::Cut));
            flash.power_on();
            assert_eq!(flash.read(0, &mut [0; 4]), Ok(()));
        }
        (flash.bytes()[..16].to_vec(), result)
    }

    #[test]
    fn a_cut_write_leaves_what_its_tear_says() {
        for steps in 0..=13 {
            let result = if steps <= 12 { Err(NorError::Cut) } else { Ok(()) };
            let taken = steps.min(12) as usize;
            let prefix = |bytes: usize| [vec![0; bytes], vec![0xff; 16 - bytes]].concat();
            assert_eq!(torn(steps, Tear::Bytes), (prefix(taken), result));
            assert_eq!(torn(steps, Tear::Words), (prefix(taken / 4 * 4), result));
            let (bytes, bits_result) = torn(steps, Tear::Bits { seed: 7 });
            let (whole, end) = (taken / 4 * 4, taken.next_multiple_of(4));
            assert_eq!(bits_result, result);
            assert!(bytes[..whole].iter().all(|byte| *byte == 0));
            assert!(bytes[end..].iter().all(|byte| *byte == 0xff));
            let zeros: u32 = bytes[whole..end].iter().map(|byte| byte.count_zeros()).sum();
            assert!(whole == end || (1..32).contains(&zeros), "{steps} {bytes:?}");
        }
    }

    #[test]
    fn a_cut_erase_leaves_each_kind_of_rest() {
        let erased_bytes = |steps| {
            let mut flash = Part::from_bytes(vec![0; 256]);
            flash.cut_after_steps(Some(steps));
            let result = flash.erase(0, 256);
            let erased = flash.bytes().iter().map(|byte| usize::from(*byte == 0xff));
            (erased.sum::<usize>(), flash.bytes()[0] == 0xff, result.is_ok())
        };
        assert_eq!(erased_bytes(0), (0, false, false));
        assert_eq!(erased_bytes(1), (64, true, false));
        assert_eq!(erased_bytes(2), (64, false, false));
        assert_eq!(erased_bytes(3), (64, true, false));
        assert!(erased_bytes(4).0 < 8);
        assert_eq!(erased_bytes(5), (128, true, false));
        assert_eq!(erased_bytes(6), (128, true, false));
        assert_eq!(erased_bytes(7), (192, true, false));
        assert_eq!(erased_bytes(12), (256, true, true));
    }

    #[test]
    fn a_worn_page_keeps_bits_and_the_others_do_not() {
        let written = |wear| {
            let mut flash = NorMock::<4, 1024>::new(2);
            flash.wear_out(1, wear);
            flash.erase(0, 2048).unwrap();
            let erased = flash.bytes().to_vec();
            flash.write(0, &[0; 2048]).unwrap();
            let count = |bytes: &[u8], good| bytes.iter().filter(|byte| **byte != good).count();
            assert_eq!(count(&erased[..1024], 0xff) + count(&flash.bytes()[..1024], 0), 0);
            (count(&erased[1024..], 0xff), count(&flash.bytes()[1024..], 0))
        };
        let (low, none) = written(Wear::StuckLow { bytes: 16, seed: 1 });
        assert!((32..128).contains(&low) && none == 0, "{low} {none}");
        let (none, high) = written(Wear::StuckHigh { bytes: 16, seed: 1 });
        assert!((32..128).contains(&high) && none == 0, "{none} {high}");
        assert_eq!(written(Wear::Dead), (0, 1024));
    }

    /// A dead memory is tried again every minute.
    #[test]
    fn many_worn_pages_take_no_longer_than_one() {
        let erased_in = |worn: u32| {
            let mut flash = NorMock::<4, 16_384>::new(97);
            (0..worn).for_each(|page| flash.wear_out(page, Wear::Dead));
            let from = std::time::Instant::now();
            (0..16).for_each(|_| flash.erase(96 * 16_384, 97 * 16_384).unwrap());
            from.elapsed()
        };
        // the quickest of some: others may want the processor too
        let quickest = |worn| (0..20).map(|_| erased_in(worn)).min().unwrap();
        let (one, many) = (quickest(1), quickest(96));
        assert!(many < one * 4, "{many:?} with 96 worn pages, {one:?} with one");
    }

    #[test]
    fn an_unreadable_range_fails_or_lies_and_can_be_mended() {
        let mut flash = Part::new(2);
        let mut bytes = [0; 16];
        flash.make_unreadable(8, 12, Unreadable::Fails);
        assert_eq!(flash.read(0, &mut bytes), Err(NorError::Unreadable));
        assert_eq!(flash.read(12, &mut bytes), Ok(()));
        flash.mend();
        flash.make_unreadable(8, 12, Unreadable::Garbage { seed: 3 });
        flash.read(0, &mut bytes).unwrap();
        assert!(bytes[..8].iter().chain(&bytes[12..]).all(|byte| *byte == 0xff));
        assert!(bytes[8..12].iter().any(|byte| *byte != 0xff));
        flash.mend();
        assert_eq!(flash, Part::new(2));
    }

    #[test]
    fn so_many_calls_fail_after_so_many_others_each_in_its_way() {
        let fails = Err(NorError::Failed);
        for (how, said, written) in [
            (WriteFailure::Undone, fails, 0),
            (WriteFailure::Silent, Ok(()), 0),
            (WriteFailure::Half, fails, 8),
        ] {
            let mut flash = Part::new(1);
            flash.fail_writes(2, 2, how);
            let told = [0, 16, 32, 48, 64].map(|at| flash.write(at, &[0; 16]));
            assert_eq!(told, [Ok(()), Ok(()), said, said, Ok(())], "{how:?}");
            let zeros =
                |slot: &[u8]| slot.iter().map(|byte| usize::from(*byte == 0)).sum::<usize>();
            let done: Vec<_> = flash.bytes().chunks(16).take(5).map(zeros).collect();
            assert_eq!(done, [16, 16, written, written, 16], "{how:?}");
        }
        for (how, erased) in
            [(EraseFailure::Undone, 0), (EraseFailure::Half, 64), (EraseFailure::Done, 128)]
        {
            let mut flash = Part::from_bytes(vec![0; 4 * 128]);
            flash.fail_erases(1, 2, how);
            let told = [0, 128, 256, 384].map(|at| flash.erase(at, at + 128));
            assert_eq!(told, [Ok(()), fails, fails, Ok(())], "{how:?}");
            let ones =
                |page: &[u8]| page.iter().map(|byte| usize::from(*byte == 0xff)).sum::<usize>();
            let done: Vec<_> = flash.bytes().chunks(128).map(ones).collect();
            assert_eq!(done, [128, erased, erased, 128], "{how:?}");
        }
        let mut flash = Part::from_bytes(vec![0; 128]);
        flash.misread(1, 2, Misread::Bit);
        let firsts = [(); 4].map(|()| {
            let mut bytes = [0xff; 4];
            flash.read(0, &mut bytes).map(|()| bytes[0])
        });
        assert_eq!(firsts, [Ok(0), Ok(0x10), Ok(0x10), Ok(0)]);
        // what was not met by then is taken away
        flash.misread(0, 1, Misread::Fails);
        flash.mend();
        assert_eq!(flash.read(0, &mut [0; 4]), Ok(()));
    }
}
