//! The draft of an entry: from the job to the entry, and from an entry back.

use super::{Draft, Kind, Step};
use crate::book::Book;
use crate::civil::{DAY_MIN, DAY_MS, Days};
use crate::entry::{Entry, EntryId, GapRule, Recurrence};
use crate::panel::field::{days_of, days_value};
use crate::panel::figures::{MINUTE_MS, parts};
use crate::spread::Misfit;
use crate::time::Instant;
use crate::timetable::{self, Timetable};
use crate::units::{Volume, over_up};

/// First water in the morning: a parameter.
const FIRST_WATER_MIN: u32 = 390;
/// From the end of a dose to the first water, in minutes: a parameter (common
/// practice, no source).
const CONTACT_MIN: u32 = 300;
/// A window, in minutes: a parameter (common practice, no source).
pub(super) const WINDOW_MIN: u32 = 45;
/// A window is proposed in steps of so many minutes, for somebody who has asked for none.
pub(super) const WINDOW_STEP_MIN: u32 = 5;
const HOUR_MS: u64 = 3_600_000;
/// An entry before anything of it is said: it leaves its dose to work until the first
/// water. A dose for a drain line is a parameter (common practice, no source).
static NEW: Entry = Entry {
    id: EntryId::NONE,
    enabled: true,
    recurrence: Recurrence::Weekly {
        days: Days::ALL,
        at_min: (FIRST_WATER_MIN - CONTACT_MIN - WINDOW_MIN) as u16,
        by_night: true,
    },
    volume: Volume::from_ml(120),
    window_ms: WINDOW_MIN * MINUTE_MS,
    grace_ms: 0,
    first: None,
    last: None,
    observes_closed: true,
    gap_rule: GapRule::Shift,
    pulses: None,
};

impl Draft {
    /// A start that leaves the dose its time until the first water: of a new entry by
    /// night, until somebody gives another.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(in crate::panel) fn propose_start(&mut self) {
        if self.kind != Kind::NewEntry || self.get(Step::Repeat) > 0 || !self.is_left(Step::Start) {
            return;
        }
        // a window has three digits
        let before = self.get(Step::Window).wrapping_add(CONTACT_MIN);
        let start = self.get(Step::FirstWater).wrapping_add(DAY_MIN).wrapping_sub(before);
        self.set(Step::Start, parts(start).1);
    }

    /// The least window that the dose fits on this head, in minutes, from so many on in
    /// steps; `None` where it fits none.
    pub(in crate::panel) fn window_that_fits<const N: usize, const H: usize>(
        &self,
        from_min: u32,
        step_min: u32,
        book: &Book<N, H>,
    ) -> Option<u32> {
        let head = book.head.as_ref()?;
        let mut entry = self.entry(book);
        entry.volume = self.volume(Step::Dose);
        let mut min = from_min;
        while min < 999 {
            entry.window_ms = min.wrapping_mul(MINUTE_MS);
            match timetable::fit(&entry, head) {
                Ok(_) => return Some(min),
                Err(Misfit::Window { .. } | Misfit::Pulses { .. }) => {
                    min = min.wrapping_add(step_min);
                }
                // no window helps
                Err(_) => return None,
            }
        }
        None
    }

    /// Makes in a timetable the change of one entry that the draft says; whether it could:
    /// for a new one there may be no line, and one that is changed may be gone.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(super) fn enter_in<const N: usize, const H: usize>(
        &self,
        timetable: &mut Timetable<N>,
        book: &Book<N, H>,
        now: Instant,
    ) -> bool {
        let mut entry = self.entry(book);
        if self.kind == Kind::NewEntry {
            entry.id = EntryId(book.next_id.max(1));
        } else if entry.id != self.id {
            return false;
        }
        self.enter(&mut entry, book, now);
        let stays = self.get(Step::State) < 2;
        timetable.change(entry.id, stays.then_some(&entry))
    }

    /// The entry that it is of; a new one where there is none.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(super) fn entry<const N: usize, const H: usize>(&self, book: &Book<N, H>) -> Entry {
        book.timetable.get(self.id).unwrap_or(NEW)
    }

    /// Makes an entry what the draft says. What is not asked, and what was left as it is
    /// shown, stays as it was to the last digit.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(super) fn enter<const N: usize, const H: usize>(
        &self,
        entry: &mut Entry,
        book: &Book<N, H>,
        now: Instant,
    ) {
        entry.volume = self.taken(Step::Dose, book);
        if !self.is_left(Step::Window) {
            entry.window_ms = self.get(Step::Window).wrapping_mul(MINUTE_MS);
        }
        entry.enabled = self.get(Step::State) == 0;
        let every_ms = u64::from(self.get(Step::Every)).wrapping_mul(HOUR_MS);
        if let Recurrence::Interval { from, .. } = entry.recurrence {
            if !self.is_left(Step::Every) {
                entry.recurrence = Recurrence::Interval { every_ms, from };
            }
            return;
        }
        let repeat = self.get(Step::Repeat);
        let is_weekly = repeat < 2;
        let days = if is_weekly { days_of(self.get(Step::Days)) } else { Days::ALL };
        let at_min = self.get(Step::Start) as u16;
        entry.recurrence = Recurrence::Weekly { days, at_min, by_night: repeat == 0 };
        if !is_weekly {
            // from when it is next that time of day (D8), where the clock is set
            let clock = book.clock.as_ref();
            let first = entry.first_from(now, clock);
            let from = first.and_then(|first| entry.instant_of(first, clock)).unwrap_or(now);
            entry.recurrence = Recurrence::Interval { every_ms, from };
        }
    }
}

/// What an entry answers to a question.
#[cfg_attr(target_pointer_width = "32", inline(never))]
pub(super) fn answer_of(step: Step, entry: &Entry) -> u64 {
    let (days, at_min, every_ms, repeat) = match entry.recurrence {
        Recurrence::Weekly { days, at_min, by_night } => {
            (days, at_min, DAY_MS as u64, u64::from(!by_night))
        }
        Recurrence::Interval { every_ms, .. } => (Days::ALL, 0, every_ms, 2),
    };
    match step {
        Step::Dose => entry.volume.as_nl(),
        Step::Repeat => repeat,
        Step::FirstWater => u64::from(FIRST_WATER_MIN),
        Step::Nights | Step::Days => u64::from(days_value(days)),
        Step::Start | Step::Begin => u64::from(at_min),
        Step::Window => over_up(u64::from(entry.window_ms), u64::from(MINUTE_MS)),
        Step::Every => over_up(every_ms, HOUR_MS),
        _ => u64::from(!entry.enabled),
    }
}
