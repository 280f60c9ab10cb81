//! The ledger's records, folded into the state at boot.

use embedded_storage::nor_flash::NorFlash;

use crate::book::{Book, bit};
use crate::ledger::{Base, Class, Ledger, Position, Slot};
use crate::record::{Adopted, Record};
use crate::time::Instant;

/// What a ledger says at boot.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Recovered<const N: usize, const H: usize> {
    /// The durable state.
    pub book: Book<N, H>,
    /// Slots after the last good one that cannot be read and may have been pulses of a dose
    /// (D4): all but one of them, since its first intent stands in two.
    pub unreadable_tail: u32,
    /// Slots that cannot be read.
    pub unreadable: u32,
    /// One of those may have been the latest pulse: the pump may have run by it.
    pub run_lost: bool,
}

/// Folds the ledger into the state it stands for. What is damaged is dropped,
/// what is whole is kept; nothing is invented in its place (M2).
pub fn recover<F: NorFlash, const N: usize, const H: usize>(
    ledger: &mut Ledger<F>,
) -> Recovered<N, H> {
    let mut book = Book::empty();
    let (unreadable_tail, unreadable, run_lost) = recover_into(&mut book, ledger);
    Recovered { book, unreadable_tail, unreadable, run_lost }
}

/// The same into an empty book where it lies. What cannot be read comes back as
/// [`Recovered::unreadable_tail`], [`Recovered::unreadable`] and [`Recovered::run_lost`].
#[cfg_attr(target_pointer_width = "32", inline(never))]
pub(crate) fn recover_into<F: NorFlash, const N: usize, const H: usize>(
    book: &mut Book<N, H>,
    ledger: &mut Ledger<F>,
) -> (u32, u32, bool) {
    let (mut unreadable_tail, mut unreadable) = (0_u32, 0_u32);
    // unreadable slots since the last intent: each may have been one more (D4)
    let mut since_intent = 0_u32;
    let mut staged_from: Option<Position> = None;
    // the lines staged since, the closed dates, and unreadable slots after the last of them
    let (mut staged_lines, mut staged_closed, mut since_staged) = (0, false, 0_u32);
    let mut snapshot = (ledger.base() == Base::Broken).then(Parts::default);
    // of the one sector that is gone through, where some records go twice: the slot of which
    // nothing is lost, since the record before it is whole, and the one after the last loss
    let twice = ledger.writes_twice();
    let (mut second, mut after_loss) = (0, 0);
    let mut scan = ledger.scan();
    let mut record = Record::Stamp { at: Instant::ZERO };
    while let Some(slot) = ledger.next(&mut scan) {
        let next = slot.position.index().saturating_add(1);
        let is_read = slot.content.is_some_and(|content| record.read(&content.payload));
        if slot.class == Class::Record
            && let Some(parts) = snapshot.take()
        {
            parts.judge(book);
        }
        if !is_read {
            unreadable = unreadable.saturating_add(1);
            after_loss = next;
            if second == slot.position.index() {
                continue;
            }
            if slot.class == Class::Record {
                unreadable_tail = unreadable_tail.saturating_add(1);
                since_intent = since_intent.saturating_add(1);
                since_staged = since_staged.saturating_add(1);
            } else {
                // another sector, and an adoption is in one
                staged_from = None;
            }
            continue;
        }
        unreadable_tail = 0;
        // after a slot that cannot be read it may be the second one itself
        let is_first = after_loss != slot.position.index();
        second = if twice && is_first && record.goes_twice() { next } else { 0 };
        if let Some(parts) = &mut snapshot {
            parts.note(&record);
        }
        if let Record::Staged(_) | Record::StagedClosed(_) = record {
            if staged_from.is_none() {
                (staged_from, staged_lines, staged_closed) = (Some(slot.position), 0, false);
            }
            match &record {
                Record::Staged(staged) => staged_lines |= bit(usize::from(staged.line)),
                _ => staged_closed = true,
            }
            since_staged = 0;
            continue;
        }
        // the logic ran on after two slots that cannot be read, or the one of an older ledger:
        // the adoption was in them, and what stood on those lines before is not in force any
        // more. A cut would have been before a start, and more slots are a memory that did not
        // take it.
        let runs_on = !matches!(record, Record::Boot { .. } | Record::Adopted(_));
        if staged_from.is_some() && matches!(since_staged, 1 | 2) && runs_on {
            book.damage(staged_lines, staged_closed);
        }
        match &record {
            Record::Adopted(adopted) => {
                let from = staged_from.unwrap_or(slot.position);
                adopt(book, ledger, from, slot.position, adopted);
            }
            Record::Pulse(_) => {
                doubt(book, since_intent);
                book.apply(&record);
                since_intent = 0;
            }
            _ => {
                book.apply(&record);
                if book.open.is_none() {
                    since_intent = 0;
                }
            }
        }
        staged_from = None;
    }
    if let Some(parts) = snapshot {
        parts.judge(book);
    }
    doubt(book, since_intent);
    // the pump starts for a dose once both slots of its first intent have taken: one that
    // cannot be read is no pulse
    let tail = unreadable_tail.saturating_sub(u32::from(ledger.ends_in_pairs()));
    let pulses = if book.open.is_some() { since_intent } else { tail };
    (tail, unreadable, pulses > 0)
}

/// Each slot that cannot be read may have been one pulse more of the open dose (D4).
#[cfg_attr(target_pointer_width = "32", inline(never))]
fn doubt<const N: usize, const H: usize>(book: &mut Book<N, H>, slots: u32) {
    if let Some(open) = &mut book.open {
        let more = open.pulse.on_ms.saturating_mul(slots);
        let most = open.pulse.most_ms.saturating_add(more).min(open.pulse.dose_ms);
        open.pulse.most_ms = most;
    }
}

/// Which parts of a damaged snapshot could be read.
#[derive(Default)]
struct Parts {
    occupied: u64,
    entries: u64,
    states: u64,
    closed: bool,
}

impl Parts {
    fn note(&mut self, record: &Record) {
        match record {
            Record::SnapGlobals { occupied, .. } => self.occupied = *occupied,
            Record::SnapEntry(staged) => self.entries |= bit(usize::from(staged.line)),
            Record::SnapLine { line, .. } => self.states |= bit(usize::from(*line)),
            Record::SnapClosed(_) => self.closed = true,
            _ => {}
        }
    }

    /// A line runs only if both its entry and its state are there.
    fn judge<const N: usize, const H: usize>(&self, book: &mut Book<N, H>) {
        let lost = (self.occupied | self.entries) & !(self.entries & self.states);
        book.damage(lost, !self.closed);
    }
}

/// Puts in force what was staged before a record of adoption. A staged record
/// that cannot be read leaves its line without settings, and known for it.
fn adopt<F: NorFlash, const N: usize, const H: usize>(
    book: &mut Book<N, H>,
    ledger: &mut Ledger<F>,
    from: Position,
    to: Position,
    adopted: &Adopted,
) {
    let (mut present, mut closed) = (0, None);
    let mut at = to;
    // back to the first staged record: a step a slot
    while let Some(before) = ledger.before(at).filter(|&before| before >= from) {
        at = before;
        let Slot::Good { class: Class::Record, payload, .. } = ledger.read_at(at) else { continue };
        match Record::decode(&payload) {
            // the later of two copies is the one that was read back whole
            Some(Record::Staged(staged)) if present & bit(usize::from(staged.line)) == 0 => {
                present |= bit(usize::from(staged.line));
                if adopted.written & bit(usize::from(staged.line)) != 0 {
                    book.adopt(&staged);
                }
            }
            Some(Record::StagedClosed(list)) if closed.is_none() => closed = Some(list),
            _ => {}
        }
    }
    let missing = adopted.written & !present;
    if adopted.closed_staged
        && let Some(list) = closed
    {
        book.timetable.closed = list;
    }
    book.adopted(adopted, missing, closed.is_none());
}
