//! The latest outcomes, read off the ledger when somebody looks.

use embedded_storage::nor_flash::NorFlash;

use crate::entry::EntryId;
use crate::ledger::{Class, Ledger};
use crate::record::{Outcome, OutcomeKind, Record};
use crate::time::Instant;
use crate::units::Volume;

/// Outcomes that are kept.
const KEPT: usize = 8;

/// One outcome, as far as it is shown.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Past {
    /// The entry.
    pub id: EntryId,
    /// The instant of the due.
    pub due_at: Instant,
    /// How it ended.
    pub kind: OutcomeKind,
    /// What was delivered at least.
    pub least: Volume,
}

/// The latest outcomes, the newest first.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Recent {
    /// In a round; the newest stands before `next`.
    items: [Option<Past>; KEPT],
    next: u8,
}

impl Default for Recent {
    fn default() -> Self {
        Self::NONE
    }
}

impl Recent {
    /// None yet.
    pub const NONE: Self = Self { items: [None; KEPT], next: 0 };

    /// Reads them off the ledger. It takes as long as the ledger is: call it when the
    /// display lights and when a dose has ended under somebody's eyes, not before a
    /// pulse.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub fn read<F: NorFlash>(ledger: &mut Ledger<F>) -> Self {
        let mut recent = Self::NONE;
        let mut scan = ledger.history();
        while let Some(slot) = ledger.next(&mut scan) {
            if slot.class == Class::Record
                && let Some(content) = &slot.content
                && let Some(Record::Outcome(outcome)) = &Record::decode(&content.payload)
            {
                recent.note(outcome);
            }
        }
        recent
    }

    /// Takes down one more.
    pub fn note(&mut self, outcome: &Outcome) {
        if let Some(item) = self.items.get_mut(usize::from(self.next) % KEPT) {
            let Outcome { due, due_at, kind, least, .. } = *outcome;
            *item = Some(Past { id: due.id, due_at, kind, least });
        }
        self.next = (self.next + 1) % KEPT as u8;
    }

    /// The one so many before the newest, which is 0.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub fn get(&self, back: usize) -> Option<&Past> {
        // the item at `next` is the oldest
        let at = (usize::from(self.next) + KEPT).checked_sub(back.checked_add(1)?)?;
        self.items.get(at % KEPT).filter(|_| back < KEPT)?.as_ref()
    }

    /// How many there are, at most eight.
    pub fn len(&self) -> usize {
        self.items.iter().flatten().count()
    }

    /// Whether there are none.
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }
}
