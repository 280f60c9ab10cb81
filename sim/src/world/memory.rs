//! The device's flash, watched: what is written where, and the one write or
//! erase in the middle of which the supply is to go.

mod failing;

use std::cell::RefCell;
use std::rc::Rc;

use dosewright_core::device::Outputs;
use dosewright_core::ledger::SLOT;
use dosewright_core::record::Alarm;
use dosewright_core::time::Duration;
use dosewright_core::timetable::Refusal;
use embedded_storage::nor_flash::{ErrorType, NorFlash, ReadNorFlash};

use super::flash::{ERASE_STEPS, NorError, NorMock};
use super::stage::Ask;
use crate::scenario::MemoryWork;
pub(super) use failing::{Call, Failing, Failure, Waits};

/// Bytes of the smallest erase of the simulated part.
pub(super) const PAGE: usize = 1024;

/// One thing that the device did, in the order in which it did it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Deed {
    /// A slot was written, and so it stood after the write.
    Wrote {
        address: u32,
        slot: [u8; SLOT],
    },
    /// A slot was read wrongly so often in a row that the device takes it as damaged.
    Unread {
        address: u32,
    },
    /// The sector at this address was erased, but for these slots.
    Erased {
        address: u32,
        left: Vec<u32>,
    },
    /// A call went wrong, by the fault of that number in the file.
    Failed(usize),
    /// The supply went in the middle of a write or an erase: nothing after it is done.
    Cut,
    PumpOn(Duration),
    PumpOff,
    Refused(Refusal),
    Alarm(Alarm, bool),
    Pack(Ask),
    Light(bool),
}

/// What the device did since it was last asked.
pub(super) type Deeds = Rc<RefCell<Vec<Deed>>>;

/// The device's outputs.
pub(super) struct Wires<'a>(pub(super) &'a Deeds);

impl Outputs for Wires<'_> {
    fn pump_on(&mut self, length: Duration) {
        self.0.borrow_mut().push(Deed::PumpOn(length));
    }

    fn pump_off(&mut self) {
        self.0.borrow_mut().push(Deed::PumpOff);
    }

    fn refused(&mut self, refusal: &Refusal) {
        self.0.borrow_mut().push(Deed::Refused(*refusal));
    }

    fn alarm(&mut self, alarm: Alarm, on: bool) {
        self.0.borrow_mut().push(Deed::Alarm(alarm, on));
    }

    fn test_pack(&mut self) {
        self.0.borrow_mut().push(Deed::Pack(Ask::Test));
    }

    fn read_pack(&mut self) {
        self.0.borrow_mut().push(Deed::Pack(Ask::Read));
    }

    fn light(&mut self, on: bool) {
        self.0.borrow_mut().push(Deed::Light(on));
    }
}

/// A tear that waits: the supply goes in the first such work, after so many steps of it.
#[derive(Debug, Clone, Copy)]
pub(super) struct Waiting {
    /// Which fault of the file.
    pub(super) fault: usize,
    pub(super) work: MemoryWork,
    pub(super) after: u32,
}

/// Tears of the flash.
#[derive(Debug, Clone, Default)]
pub(super) struct Tears {
    /// Those that wait, in their order.
    pub(super) waiting: Vec<Waiting>,
    /// The fault of the one that took the supply.
    pub(super) torn_by: Option<usize>,
}

/// The flash with words of `W` bytes.
#[derive(Debug, Clone)]
pub(super) struct Watched<const W: usize> {
    pub(super) nor: NorMock<W, PAGE>,
    deeds: Deeds,
    // a flash is moved about: few bytes in itself
    pub(super) tears: Box<Tears>,
    pub(super) failing: Box<Failing>,
}

impl<const W: usize> Watched<W> {
    pub(super) fn new(nor: NorMock<W, PAGE>, deeds: Deeds) -> Self {
        Self { nor, deeds, tears: Box::default(), failing: Box::default() }
    }

    /// The slots that are not blank.
    fn left(&self, from: u32, to: u32) -> Vec<u32> {
        let erased = self.nor.bytes().get(from as usize..to as usize).unwrap_or_default();
        // a slot at once: to stop at the first would take the bytes one by one
        let is_left = |slot: &[u8]| slot.iter().fold(0xff, |all, &byte| all & byte) != 0xff;
        let slots = (from..).step_by(SLOT).zip(erased.chunks(SLOT));
        slots.filter(|(_, slot)| is_left(slot)).map(|(address, _)| address).collect()
    }

    fn cut_by(&self, result: Result<(), NorError>) {
        if matches!(result, Err(NorError::Cut)) {
            self.deeds.borrow_mut().push(Deed::Cut);
        }
    }

    /// Work of so many steps begins. A tear takes the supply in it, and in nothing after it:
    /// at its end where it has fewer steps than the tear waits for.
    fn arm(&mut self, work: MemoryWork, steps: u64) {
        // with the supply gone nothing is begun, whatever is tried
        if self.nor.is_off() {
            return;
        }
        let waiting = &mut self.tears.waiting;
        let first = waiting.iter().position(|tear| tear.work == work);
        if let Some(tear) = first.map(|at| waiting.remove(at)) {
            self.tears.torn_by = Some(tear.fault);
            self.nor.cut_after_steps(Some(u64::from(tear.after).min(steps.saturating_sub(1))));
        }
    }
}

impl<const W: usize> ErrorType for Watched<W> {
    type Error = NorError;
}

impl<const W: usize> ReadNorFlash for Watched<W> {
    const READ_SIZE: usize = 1;

    fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), NorError> {
        if self.failing.is_idle() {
            return self.nor.read(offset, bytes);
        }
        self.read_that_may_fail(offset, bytes)
    }

    fn capacity(&self) -> usize {
        self.nor.capacity()
    }
}

impl<const W: usize> NorFlash for Watched<W> {
    const WRITE_SIZE: usize = W;
    const ERASE_SIZE: usize = PAGE;

    fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), NorError> {
        let result = match self.fails(Call::is_write) {
            Some(how) => how.told(self.nor.write(offset, how.part_of(bytes, W))),
            None => {
                self.arm(MemoryWork::Write, bytes.len() as u64 + 1);
                self.nor.write(offset, bytes)
            }
        };
        let (first, end) = (offset as usize / SLOT * SLOT, offset as usize + bytes.len());
        for at in (first..end).step_by(SLOT) {
            let slot = self.nor.bytes().get(at..).and_then(|bytes| bytes.first_chunk());
            if let Some(slot) = slot {
                // what stands there at the call's end can be of a later try
                let slot = Deed::Wrote { address: at as u32, slot: *slot };
                self.deeds.borrow_mut().push(slot);
            }
        }
        self.cut_by(result);
        result
    }

    fn erase(&mut self, from: u32, to: u32) -> Result<(), NorError> {
        let pages = to.saturating_sub(from) / PAGE as u32;
        let result = match self.fails(Call::is_erase) {
            Some(how) => how.told(self.nor.erase(from, from + how.share_of(pages) * PAGE as u32)),
            None => {
                self.arm(MemoryWork::Erase, u64::from(pages) * ERASE_STEPS);
                self.nor.erase(from, to)
            }
        };
        if !matches!(result, Err(NorError::Cut)) {
            // what it left is told, whatever the driver says of it
            let deed = Deed::Erased { address: from, left: self.left(from, to) };
            self.deeds.borrow_mut().push(deed);
        }
        self.cut_by(result);
        result
    }
}

#[cfg(test)]
mod tests;
