//! A lean model of the flash: whole slots by value, and a list of what was done.
//!
//! It is a plain array of slots that a handle points to, so that a device can be
//! started from it thousands of times a millisecond and nothing is copied that
//! does not change. Against [`crate::world::flash::NorMock`], which it must
//! agree with, it can do no more than the ledger asks for: reads and writes of
//! one whole slot, erases of whole sectors.

use std::cell::{Cell, RefCell};

use dosewright_core::device::Device;
use dosewright_core::ledger::{Class, Geometry, SLOT, Slot};
use embedded_storage::nor_flash::{ErrorType, NorFlash, ReadNorFlash};

use crate::world::flash::NorError;

/// Lines of the timetable.
pub(super) const N: usize = 2;
/// Deliveries that the device keeps account of.
pub(super) const H: usize = 4;
/// Sectors of the ring: with two, every roll erases the one that was in force
/// before the last roll.
pub(super) const SECTORS: usize = 2;
/// Slots of a sector: as few as the device takes, so that sectors change often.
pub(super) const SLOTS: usize = Device::<Flash<'static, 1>, N, H>::LEAST_SLOTS;
const ALL: usize = SECTORS * SLOTS;
pub(super) const SECTOR_BYTES: usize = SLOTS * SLOT;

pub(super) const GEOMETRY: Geometry =
    Geometry { start: 0, sector_bytes: SECTOR_BYTES as u32, sectors: SECTORS as u16 };

/// The device over it.
pub(super) type Pump<'m, const W: usize> = Device<Flash<'m, W>, N, H>;

/// The bytes of one slot.
pub(super) type Bytes = [u8; SLOT];

const ERASED: Bytes = [0xff; SLOT];

/// Something that the ledger did to the memory.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Work {
    Write { slot: usize, bytes: Bytes },
    Erase { sector: usize },
}

impl Work {
    /// The slots it touches.
    pub(super) fn slots(&self) -> std::ops::Range<usize> {
        match *self {
            Self::Write { slot, .. } => slot..slot + 1,
            Self::Erase { sector } => sector * SLOTS..(sector + 1) * SLOTS,
        }
    }

    /// Whether it is part of a change of sector: the erase, and all that is written before
    /// the next record.
    pub(super) fn is_of_roll(&self) -> bool {
        match self {
            Self::Erase { .. } => true,
            Self::Write { bytes, .. } => {
                !matches!(Slot::decode(bytes), Slot::Good { class: Class::Record, .. })
            }
        }
    }
}

/// What the memory holds, and what was done to it since that was last asked.
#[derive(Clone, Debug)]
pub(super) struct Memory {
    slots: [Cell<Bytes>; ALL],
    /// Slots that fail to read until they are erased, a bit each.
    failing: Cell<u128>,
    done: RefCell<Vec<Work>>,
}

const _: () = assert!(ALL <= 128, "a bit a slot");

impl Memory {
    pub(super) fn erased() -> Self {
        Self {
            slots: [const { Cell::new(ERASED) }; ALL],
            failing: Cell::new(0),
            done: RefCell::new(Vec::new()),
        }
    }

    /// Makes this hold what another holds.
    pub(super) fn copy_from(&self, other: &Self) {
        for (slot, others) in self.slots.iter().zip(&other.slots) {
            slot.set(others.get());
        }
        self.failing.set(other.failing.get());
        self.done.borrow_mut().clear();
    }

    pub(super) fn slot(&self, slot: usize) -> Bytes {
        self.slots[slot].get()
    }

    pub(super) fn fails(&self, slot: usize) -> bool {
        self.failing.get() >> slot & 1 == 1
    }

    /// Puts a slot into this state, whatever it was.
    pub(super) fn put(&self, slot: usize, bytes: &Bytes, fails: bool) {
        self.slots[slot].set(*bytes);
        let others = self.failing.get() & !(1 << slot);
        self.failing.set(others | u128::from(fails) << slot);
    }

    /// Makes a slot fail to read until it is erased.
    pub(super) fn fail(&self, slot: usize, fails: bool) {
        self.put(slot, &self.slot(slot), fails);
    }

    /// Does a piece of work in full.
    pub(super) fn perform(&self, work: &Work) {
        match work {
            Work::Write { slot, bytes } => {
                let mut now = self.slot(*slot);
                for (byte, new) in now.iter_mut().zip(bytes) {
                    *byte &= new;
                }
                self.slots[*slot].set(now);
            }
            Work::Erase { .. } => work.slots().for_each(|slot| self.put(slot, &ERASED, false)),
        }
    }

    /// Moves what was done since the last call into `into`, in the place of what
    /// was there; whether there is any.
    pub(super) fn take_done(&self, into: &mut Vec<Work>) -> bool {
        into.clear();
        std::mem::swap(into, &mut *self.done.borrow_mut());
        !into.is_empty()
    }

    pub(super) fn done(&self) -> usize {
        self.done.borrow().len()
    }

    /// Whether no reader can tell these slots of two memories apart by what a slot
    /// says: each holds the same, or says nothing in both.
    ///
    /// The ledger sees slots through [`Slot::decode`], its check for blanks and
    /// its reading back of what it wrote itself, and never writes to a slot that
    /// is not blank. What a damaged slot holds therefore changes nothing.
    pub(super) fn says_the_same(&self, other: &Self, slots: std::ops::Range<usize>) -> bool {
        slots.into_iter().all(|slot| {
            let (here, there) = (self.slot(slot), other.slot(slot));
            match (self.fails(slot), other.fails(slot)) {
                (true, true) => true,
                (false, false) => {
                    let is_damaged = |bytes| matches!(Slot::decode(bytes), Slot::Damaged);
                    here == there || is_damaged(&here) && is_damaged(&there)
                }
                _ => false,
            }
        })
    }

    pub(super) const fn all_slots() -> std::ops::Range<usize> {
        0..ALL
    }

    fn slot_at(offset: u32, length: usize) -> Result<usize, NorError> {
        let offset = offset as usize;
        if !offset.is_multiple_of(SLOT) || length != SLOT {
            return Err(NorError::NotAligned);
        }
        Some(offset / SLOT).filter(|slot| *slot < ALL).ok_or(NorError::OutOfBounds)
    }
}

/// The device's way to a memory with words of `W` bytes.
#[derive(Clone, Copy, Debug)]
pub(super) struct Flash<'m, const W: usize>(pub(super) &'m Memory);

impl<const W: usize> PartialEq for Flash<'_, W> {
    /// A way to a memory is like any other: what they hold is compared by
    /// [`Memory::says_the_same`].
    fn eq(&self, _: &Self) -> bool {
        true
    }
}

impl<const W: usize> ErrorType for Flash<'_, W> {
    type Error = NorError;
}

impl<const W: usize> ReadNorFlash for Flash<'_, W> {
    const READ_SIZE: usize = SLOT;

    fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), NorError> {
        let slot = Memory::slot_at(offset, bytes.len())?;
        if self.0.fails(slot) {
            return Err(NorError::Unreadable);
        }
        bytes.copy_from_slice(&self.0.slot(slot));
        Ok(())
    }

    fn capacity(&self) -> usize {
        ALL * SLOT
    }
}

impl<const W: usize> NorFlash for Flash<'_, W> {
    const WRITE_SIZE: usize = W;
    const ERASE_SIZE: usize = SECTOR_BYTES;

    fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), NorError> {
        let slot = Memory::slot_at(offset, bytes.len())?;
        let bytes = bytes.try_into().map_err(|_| NorError::NotAligned)?;
        let work = Work::Write { slot, bytes };
        self.0.perform(&work);
        self.0.done.borrow_mut().push(work);
        Ok(())
    }

    fn erase(&mut self, from: u32, to: u32) -> Result<(), NorError> {
        let (from, to) = (from as usize, to as usize);
        if !from.is_multiple_of(SECTOR_BYTES) || !to.is_multiple_of(SECTOR_BYTES) {
            return Err(NorError::NotAligned);
        }
        for sector in from / SECTOR_BYTES..to / SECTOR_BYTES {
            if sector >= SECTORS {
                return Err(NorError::OutOfBounds);
            }
            let work = Work::Erase { sector };
            self.0.perform(&work);
            self.0.done.borrow_mut().push(work);
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::super::tear::Tear;
    use super::*;
    use crate::world::flash::{NorMock, Tear as MockTear, Unreadable};

    type Mock = NorMock<4, SECTOR_BYTES>;

    fn bytes_of(seed: usize) -> Bytes {
        std::array::from_fn(|at| (((at + 1) * (seed * 37 + 11)) >> 2) as u8)
    }

    /// The same work done to both, and the mock cut in the last of it.
    fn both(works: &[Work], steps_of_last: Option<u64>) -> (Memory, Mock) {
        let (memory, mut mock) = (Memory::erased(), Mock::new(SECTORS));
        for (at, work) in works.iter().enumerate() {
            let is_last = at + 1 == works.len();
            if is_last && let Some(steps) = steps_of_last {
                mock.cut_after_steps(Some(steps));
            } else {
                memory.perform(work);
            }
            match work {
                Work::Write { slot, bytes } => _ = mock.write((slot * SLOT) as u32, bytes),
                Work::Erase { sector } => {
                    let from = (sector * SECTOR_BYTES) as u32;
                    _ = mock.erase(from, from + SECTOR_BYTES as u32);
                }
            }
        }
        mock.power_on();
        (memory, mock)
    }

    fn same(memory: &Memory, mock: &Mock) -> bool {
        (0..ALL).all(|slot| memory.slot(slot) == mock.bytes()[slot * SLOT..][..SLOT])
    }

    fn work(at: usize) -> Work {
        match at % 9 {
            8 => Work::Erase { sector: at / 9 % SECTORS },
            _ => Work::Write { slot: at * 13 % ALL, bytes: bytes_of(at) },
        }
    }

    #[test]
    fn it_holds_what_the_mock_holds() {
        let works: Vec<Work> = (0..200).map(work).collect();
        for count in 0..works.len() {
            let (memory, mock) = both(&works[..count], None);
            assert!(same(&memory, &mock), "after {count}");
        }
    }

    #[test]
    fn a_write_torn_at_a_byte_or_a_word_leaves_what_the_mock_leaves() {
        let works: Vec<Work> = (0..60).map(work).collect();
        for count in 1..works.len() {
            let Work::Write { slot, bytes } = works[count - 1] else { continue };
            for steps in 0..=SLOT as u64 {
                let (memory, mut mock) = both(&works[..count - 1], None);
                mock.set_tear(MockTear::Bytes);
                mock.cut_after_steps(Some(steps));
                _ = mock.write((slot * SLOT) as u32, &bytes);
                let torn = Tear::Bytes(steps as u16).written(&memory.slot(slot), &bytes, 4);
                memory.put(slot, &torn, false);
                assert!(same(&memory, &mock), "write {count} after {steps} bytes");
            }
        }
    }

    #[test]
    fn an_erase_that_ends_half_way_leaves_what_the_mock_leaves() {
        let works: Vec<Work> = (0..45).map(work).collect();
        let Work::Erase { sector } = works[44] else { panic!("the last is an erase") };
        let half = (SECTOR_BYTES / 2) as u16;
        let cases = [
            (0, Tear::Bytes(0)),
            (1, Tear::Bytes(half)),
            (2, Tear::SecondHalf),
            (3, Tear::Stripes),
            (5, Tear::Bytes(SECTOR_BYTES as u16)),
        ];
        for (steps, tear) in cases {
            let (memory, mock) = both(&works, Some(steps));
            for (at, slot) in works[44].slots().enumerate() {
                memory.put(slot, &tear.erased(&memory.slot(slot), at * SLOT), false);
            }
            assert!(same(&memory, &mock), "{tear} of sector {sector}");
        }
    }

    #[test]
    fn a_slot_that_fails_to_read_does_so_until_it_is_erased() {
        let (memory, mut mock) = both(&[work(3)], None);
        let slot = 3 * 13 % ALL;
        memory.put(slot, &bytes_of(3), true);
        let from = (slot * SLOT) as u32;
        mock.make_unreadable(from, from + SLOT as u32, Unreadable::Fails);
        let mut flash = Flash::<4>(&memory);
        for at in 0..ALL {
            let (mut a, mut b) = ([0; SLOT], [0; SLOT]);
            let offset = (at * SLOT) as u32;
            assert_eq!(flash.read(offset, &mut a), mock.read(offset, &mut b), "slot {at}");
        }
        flash.erase(0, (SECTORS * SECTOR_BYTES) as u32).unwrap();
        assert_eq!(flash.read(from, &mut [0; SLOT]), Ok(()));
    }

    #[test]
    fn what_the_ledger_never_asks_for_is_refused() {
        let memory = Memory::erased();
        let mut flash = Flash::<1>(&memory);
        assert_eq!(flash.write(0, &[0; 8]), Err(NorError::NotAligned));
        assert_eq!(flash.write(8, &[0; SLOT]), Err(NorError::NotAligned));
        assert_eq!(flash.read((ALL * SLOT) as u32, &mut [0; SLOT]), Err(NorError::OutOfBounds));
        assert_eq!(flash.erase(0, 64), Err(NorError::NotAligned));
    }

    #[test]
    fn damaged_slots_say_the_same_and_others_only_what_they_hold() {
        let (a, b) = (Memory::erased(), Memory::erased());
        let say_the_same = || a.says_the_same(&b, Memory::all_slots());
        assert!(say_the_same());
        a.put(5, &[0x11; SLOT], false);
        assert!(!say_the_same(), "damaged and blank");
        b.put(5, &[0x22; SLOT], false);
        assert!(say_the_same(), "both damaged");
        b.put(5, &[0x11; SLOT], true);
        assert!(!say_the_same(), "one of them fails to read");
        a.put(5, &[0x33; SLOT], true);
        assert!(say_the_same());
        let good = |seq| Slot::encode(dosewright_core::ledger::Class::Record, seq, &[7; SLOT - 8]);
        a.put(6, &good(1), false);
        b.put(6, &good(2), false);
        assert!(!say_the_same(), "two good slots");
    }
}
