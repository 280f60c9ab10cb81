//! The latest outcomes, read off the ledger when somebody looks.

use embedded_storage::nor_flash::NorFlash;

use crate::entry::EntryId;
use crate::ledger::Ledger;
use crate::record::{Outcome, OutcomeKind, Record};
use crate::time::Instant;
use crate::units::Volume;

/// Outcomes that are kept.
const KEPT: usize = 8;

/// One outcome, as far as it is shown.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Past {
    /// Its number in the ledger; 0 stands for none.
    seq: u32,
    /// The entry.
    pub id: EntryId,
    /// The instant of the due.
    pub due_at: Instant,
    /// How it ended.
    pub kind: OutcomeKind,
    /// What was delivered at least.
    pub least: Volume,
}

impl Past {
    const NONE: Self = Self {
        seq: 0,
        id: EntryId(0),
        due_at: Instant::ZERO,
        kind: OutcomeKind::Dosed,
        least: Volume::ZERO,
    };
}

/// The latest outcomes, the newest first.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Recent {
    items: [Past; KEPT],
}

impl Default for Recent {
    fn default() -> Self {
        Self::NONE
    }
}

impl Recent {
    /// None yet.
    pub const NONE: Self = Self { items: [Past::NONE; KEPT] };

    /// Reads them off the ledger. It takes as long as the ledger is: call it when the
    /// display lights and when a dose has ended under somebody's eyes, not before a
    /// pulse.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub fn read<F: NorFlash>(ledger: &mut Ledger<F>) -> Self {
        let mut recent = Self::NONE;
        ledger.each_record(|seq, payload| {
            if let Some(Record::Outcome(outcome)) = &Record::decode(payload) {
                recent.keep(seq, outcome);
            }
        });
        recent
    }

    /// Takes down one more, newer than all before.
    pub fn note(&mut self, outcome: &Outcome) {
        let [newest, ..] = &self.items;
        self.keep(newest.seq.saturating_add(1), outcome);
    }

    /// Takes one down at its place, if it is among the latest.
    fn keep(&mut self, seq: u32, outcome: &Outcome) {
        let Outcome { due, due_at, kind, least, .. } = *outcome;
        let mut past = Past { seq, id: due.id, due_at, kind, least };
        for item in &mut self.items {
            // of a record there may be two copies
            if item.seq == past.seq {
                return;
            }
            if item.seq < past.seq {
                core::mem::swap(item, &mut past);
            }
        }
    }

    /// The one so many before the newest, which is 0.
    pub fn get(&self, back: usize) -> Option<&Past> {
        self.items.get(back).filter(|past| past.seq > 0)
    }

    /// How many there are, at most eight.
    pub fn len(&self) -> usize {
        self.items.iter().filter(|past| past.seq > 0).count()
    }

    /// Whether there are none.
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }
}
