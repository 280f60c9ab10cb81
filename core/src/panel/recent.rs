//! The latest outcomes, read off the ledger when somebody looks.

use core::num::NonZeroU32;

use embedded_storage::nor_flash::NorFlash;

use super::figures::Minute;
use crate::cause::Cause;
use crate::civil::{DAY_MIN, Date};
use crate::entry::EntryId;
use crate::ledger::Ledger;
use crate::record::{Outcome, OutcomeKind, Record};
use crate::time::Instant;
use crate::units::Volume;

/// Outcomes that are kept.
const KEPT: usize = 8;

/// The largest number of a row of them.
const MOST_SHOWN: u32 = u16::MAX as u32;
/// The least local time, in minutes, that names a due: no clock shows an earlier one. What
/// is less is a count, of intervals or of doses that were asked for.
const FIRST_MINUTE: u32 = Date::MIN.days() as u32 * DAY_MIN;

/// One outcome, as far as it is shown.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Past {
    /// Its number in the ledger; 0 stands for none.
    seq: u32,
    /// The entry.
    pub id: EntryId,
    /// The local time of the due, of a row the last one's, as its record names it; none of
    /// what comes by elapsed time or was asked for.
    pub(super) last: Option<Minute>,
    /// How many dues it stands for, as far as there is room to say: more than one where a
    /// row of them was skipped.
    pub count: u16,
    /// The instant of the due, or of the first of a row.
    pub due_at: Instant,
    /// How it ended.
    pub kind: OutcomeKind,
    /// What was delivered at least.
    pub least: Volume,
}

impl Past {
    const NONE: Self = Self {
        seq: 0,
        id: EntryId::NONE,
        last: None,
        // all of it zeros, which take no room in flash
        count: 0,
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

    /// Takes one down at its place, if it is among the latest. What a row of closed dates
    /// was before it grew is none of them.
    fn keep(&mut self, seq: u32, outcome: &Outcome) {
        let Outcome { due, due_at, kind, least, .. } = *outcome;
        let count = outcome.count.min(MOST_SHOWN) as u16;
        let grows = kind == OutcomeKind::Skipped(Cause::Closed);
        let named = NonZeroU32::new(outcome.last.0).filter(|last| last.get() >= FIRST_MINUTE);
        let last = named.map(Minute);
        let mut past = Past { seq, id: due.id, last, count, due_at, kind, least };
        for item in &mut self.items {
            // of a record there may be two copies
            if item.seq == past.seq {
                return;
            }
            #[allow(clippy::needless_bitwise_bool, reason = "asked at once it takes less room")]
            let is_of_row = grows & (item.id == due.id) & (item.due_at == due_at);
            if item.seq < past.seq {
                core::mem::swap(item, &mut past);
            }
            if is_of_row {
                return;
            }
        }
    }

    /// The one so many before the newest, which is 0.
    pub fn get(&self, back: usize) -> Option<&Past> {
        self.items.get(back).filter(|past| past.seq > 0)
    }
}

#[cfg(test)]
mod tests {
    extern crate std;

    use std::vec::Vec;

    use super::*;
    use crate::entry::Nominal;
    use crate::record::DueKey;
    use crate::units::Carry;

    /// A day of 2024, which days are counted from.
    const DAY_0: u32 = 20_000;

    /// A skipped row of an entry: its first and its last due, in days.
    fn row(id: u16, first: u32, last: u32, cause: Cause) -> Outcome {
        let at = |days: u32| Instant::from_ms(i64::from(days) * 86_400_000);
        let nominal = |days: u32| Nominal((DAY_0 + days) * 1440);
        Outcome {
            line: 0,
            due: DueKey { id: EntryId(id), revision: 1, epoch: 1, nominal: nominal(first) },
            last: nominal(last),
            count: last - first + 1,
            at: at(last),
            due_at: at(first),
            begun_after_ms: 0,
            least: Volume::ZERO,
            most: Volume::ZERO,
            kind: OutcomeKind::Skipped(cause),
            asked: false,
            restarts: 0,
            mark: None,
            carry: Carry::default(),
        }
    }

    #[test]
    fn d1_a_row_of_closed_dates_is_one_line_with_its_last_date_in_whatever_order_it_is_read() {
        let closed = |id, first, last| row(id, first, last, Cause::Closed);
        let records = [
            (1, row(1, 1, 1, Cause::Leak)),
            (2, closed(1, 2, 2)),
            (3, closed(2, 2, 2)),
            (4, closed(1, 2, 3)),
            (5, row(3, 3, 3, Cause::Leak)),
            (6, closed(2, 2, 3)),
            (7, closed(1, 2, 4)),
            // another row of the same entry
            (8, row(1, 5, 5, Cause::Leak)),
            (9, closed(1, 6, 6)),
        ];
        // the number of each line, its entry, and the day of the last of its row
        let expected = [
            (9, 1, Some(6)),
            (8, 1, Some(5)),
            (7, 1, Some(4)),
            (6, 2, Some(3)),
            (5, 3, Some(3)),
            (1, 1, Some(1)),
        ];
        for turn in 0..records.len() {
            for step in [1, 2, 4, 5, 7, 8] {
                let mut recent = Recent::NONE;
                for at in 0..records.len() {
                    let (seq, outcome) = &records[(at * step + turn) % records.len()];
                    recent.keep(*seq, outcome);
                }
                let day = |past: &Past| past.last.map(|minute| minute.0.get() / 1440 - DAY_0);
                let lines = recent.items.iter().filter(|past| past.seq > 0);
                let lines: Vec<_> = lines.map(|past| (past.seq, past.id.0, day(past))).collect();
                assert_eq!(lines, expected, "from {turn} on in steps of {step}");
            }
        }
    }
}
