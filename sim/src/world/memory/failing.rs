//! Calls of the memory that go wrong by a fault of the file.

use embedded_storage::nor_flash::ReadNorFlash;

use super::{Deed, Watched};
use crate::scenario::{Done, Misread};
use crate::world::flash::{self, NorError};

/// Readings of one slot in a row after which it counts as damaged, and after which it counts
/// as blank (M2).
const MISREAD: u8 = 3;
const MISREAD_BLANK: u8 = 2;

/// Which call goes wrong, and in which way.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::world) enum Call {
    Read(Misread),
    Write(Failure),
    Erase(Failure),
}

impl Call {
    pub(super) fn is_write(self) -> Option<Failure> {
        if let Self::Write(how) = self { Some(how) } else { None }
    }

    pub(super) fn is_erase(self) -> Option<Failure> {
        if let Self::Erase(how) = self { Some(how) } else { None }
    }

    fn is_read(self) -> Option<Misread> {
        if let Self::Read(how) = self { Some(how) } else { None }
    }
}

/// What a write or an erase that fails has done, and whether its driver says so.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::world) struct Failure {
    pub(in crate::world) done: Done,
    pub(in crate::world) reported: bool,
}

impl Failure {
    /// How many of so many pages are erased.
    pub(super) fn share_of(self, pages: u32) -> u32 {
        match self.done {
            Done::Nothing => 0,
            Done::Half => pages / 2,
            Done::All => pages,
        }
    }

    /// What is written of these bytes, in whole words.
    pub(super) fn part_of(self, bytes: &[u8], word: usize) -> &[u8] {
        let words = (bytes.len() / word.max(1)) as u32;
        let taken = self.share_of(words) as usize * word;
        bytes.get(..taken).unwrap_or(bytes)
    }

    /// What the driver says of a call of which so much was done.
    pub(super) fn told(self, done: Result<(), NorError>) -> Result<(), NorError> {
        if self.reported { done.and(Err(NorError::Failed)) } else { done }
    }
}

/// A fault that waits for calls.
#[derive(Debug, Clone, Copy)]
pub(in crate::world) struct Waits {
    /// Which fault of the file.
    pub(in crate::world) fault: usize,
    pub(in crate::world) call: Call,
    /// So many such calls go by before.
    pub(in crate::world) after: u32,
    /// So many go wrong.
    pub(in crate::world) times: u32,
}

/// Faults that wait for calls, in their order: of one kind of call the first counts.
#[derive(Debug, Clone, Default)]
pub(in crate::world) struct Failing {
    waiting: Vec<Waits>,
    /// The slot that is being read again and again, how often it was in a row, and how many of
    /// these readings gave all ones.
    misread: Option<(u32, u8, u8)>,
}

impl Failing {
    #[inline]
    pub(super) fn is_idle(&self) -> bool {
        self.waiting.is_empty()
    }

    /// One more that waits.
    pub(in crate::world) fn wait(&mut self, waits: Waits) {
        if self.is_idle() {
            self.misread = None;
        }
        self.waiting.push(waits);
    }

    /// A fault waits no longer.
    pub(in crate::world) fn give_up(&mut self, fault: usize) {
        self.waiting.retain(|waits| waits.fault != fault);
    }

    /// One more call of a kind: the place of the fault whose it is, and how it goes wrong.
    fn next<H>(&mut self, of: fn(Call) -> Option<H>) -> Option<(usize, H)> {
        let place = self.waiting.iter().position(|waits| of(waits.call).is_some())?;
        let waits = self.waiting.get_mut(place)?;
        if let Some(left) = waits.after.checked_sub(1) {
            waits.after = left;
            return None;
        }
        Some((place, of(waits.call)?))
    }

    /// The call went wrong by the fault at this place; its number in the file.
    fn spend(&mut self, place: usize) -> Option<usize> {
        let waits = self.waiting.get_mut(place)?;
        let fault = waits.fault;
        waits.times = waits.times.saturating_sub(1);
        if waits.times == 0 {
            self.waiting.remove(place);
        }
        Some(fault)
    }

    /// A slot was read, and what came of it is no slot; whether so often in a row that it is
    /// not read again: as often as a slot is read, or twice as blank.
    fn gives_up(&mut self, address: u32, as_blank: bool) -> bool {
        let (_, times, blank) =
            self.misread.filter(|(last, ..)| *last == address).unwrap_or((address, 0, 0));
        let (times, blank) = (times + 1, blank + u8::from(as_blank));
        let is_over = times >= MISREAD || blank >= MISREAD_BLANK;
        self.misread = (!is_over).then_some((address, times, blank));
        is_over
    }
}

impl<const W: usize> Watched<W> {
    /// How this call fails, if it does.
    pub(super) fn fails(&mut self, of: fn(Call) -> Option<Failure>) -> Option<Failure> {
        // with the supply gone nothing is begun, whatever is tried
        if self.failing.is_idle() || self.nor.is_off() {
            return None;
        }
        // what is read after it is read for the first time
        self.failing.misread = None;
        let (place, how) = self.failing.next(of)?;
        let fault = self.failing.spend(place)?;
        self.deeds.borrow_mut().push(Deed::Failed(fault));
        Some(how)
    }

    #[cold]
    pub(super) fn read_that_may_fail(
        &mut self,
        offset: u32,
        bytes: &mut [u8],
    ) -> Result<(), NorError> {
        if self.nor.is_off() {
            self.failing.misread = None;
            return self.nor.read(offset, bytes);
        }
        let found = self.failing.next(Call::is_read);
        let range = offset as usize..(offset as usize).saturating_add(bytes.len());
        let is_blank =
            self.nor.bytes().get(range).is_none_or(|bytes| bytes.iter().all(|byte| *byte == 0xff));
        // what is blank and reads as all ones is right
        let wrong = found.filter(|(_, how)| !(is_blank && *how == Misread::Blank));
        let Some((place, how)) = wrong else {
            // one that is blank is read again to be sure where more was to be there, and two
            // wrong readings after it are the last
            if is_blank {
                self.failing.gives_up(offset, true);
            } else {
                self.failing.misread = None;
            }
            return self.nor.read(offset, bytes);
        };
        if let Some(fault) = self.failing.spend(place) {
            self.deeds.borrow_mut().push(Deed::Failed(fault));
        }
        if self.failing.gives_up(offset, how == Misread::Blank) {
            self.deeds.borrow_mut().push(Deed::Unread { address: offset });
        }
        let way = match how {
            Misread::Bit => flash::Misread::Bit,
            Misread::Error => flash::Misread::Fails,
            Misread::Blank => flash::Misread::Ones,
        };
        self.nor.misread(0, 1, way);
        self.nor.read(offset, bytes)
    }
}

#[cfg(test)]
mod tests;
