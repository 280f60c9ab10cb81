//! The draft of an entry: from the job to the entry, and from an entry back.

use super::{Draft, Kind, Step};
use crate::civil::DAY_MIN;
use crate::entry::{Entry, EntryId, GapRule, Recurrence};
use crate::panel::field::{days_of, days_value};
use crate::panel::figures::{MINUTE_MS, parts};
use crate::panel::view::View;
use crate::spread::Misfit;
use crate::time::{Duration, Instant};
use crate::timetable;
use crate::units::{Volume, over_up};

/// A dose for a drain line: a parameter (common practice, no source).
const DOSE: Volume = Volume::from_ml(120);
/// First water in the morning: a parameter.
const FIRST_WATER_MIN: u32 = 390;
/// From the end of a dose to the first water, in minutes: a parameter (common
/// practice, no source).
const CONTACT_MIN: u32 = 300;
/// A window, in minutes: a parameter (common practice, no source).
pub(super) const WINDOW_MIN: u32 = 45;
/// Windows are proposed in steps of so many minutes.
pub(in crate::panel) const WINDOW_STEP_MIN: u32 = 5;
const HOUR_MS: u64 = 3_600_000;
/// An entry before anything of it is said.
pub(super) const NEW: Entry = Entry {
    id: EntryId(0),
    enabled: true,
    recurrence: Recurrence::Interval { every_ms: 0, from: Instant::ZERO },
    volume: Volume::ZERO,
    window_ms: 0,
    grace_ms: 0,
    first: None,
    last: None,
    observes_closed: true,
    gap_rule: GapRule::Shift,
    pulses: None,
};

impl Draft {
    pub(super) fn begin_entry(&mut self) {
        self.set_volume(Step::Dose, DOSE);
        self.set(Step::FirstWater, FIRST_WATER_MIN);
        self.set(Step::Days, 0x7f);
        self.set(Step::Window, WINDOW_MIN);
        self.set(Step::Every, 24);
        self.propose_start();
    }

    /// A start that leaves the dose its time until the first water.
    pub(in crate::panel) fn propose_start(&mut self) {
        let before = self.get(Step::Window).wrapping_add(CONTACT_MIN) % DAY_MIN;
        let start = self.get(Step::FirstWater).wrapping_add(DAY_MIN).wrapping_sub(before);
        self.set(Step::Start, start % DAY_MIN);
    }

    /// The least window that the dose fits on this head, in minutes and in steps of
    /// some, from so many on; `None` where it fits none.
    pub(in crate::panel) fn window_that_fits<const N: usize, const H: usize>(
        &self,
        from_min: u32,
        view: &View<'_, N, H>,
    ) -> Option<u32> {
        let book = view.controller.book();
        let head = book.head.as_ref()?;
        let mut entry = book.timetable.get(self.id).unwrap_or(NEW);
        entry.volume = self.volume(Step::Dose);
        let mut min = from_min;
        while min < 999 {
            entry.window_ms = min.wrapping_mul(MINUTE_MS);
            match timetable::fit(&entry, head) {
                Ok(_) => return Some(min),
                Err(Misfit::Window { .. } | Misfit::Pulses { .. }) => min += WINDOW_STEP_MIN,
                // no window helps
                Err(_) => return None,
            }
        }
        None
    }

    /// The answers that an entry stands for.
    pub(super) fn fill(&mut self, entry: &Entry) {
        self.set_volume(Step::Dose, entry.volume);
        self.set(Step::Window, entry.window_ms.div_ceil(MINUTE_MS).min(999));
        self.set(Step::State, u32::from(!entry.enabled));
        match entry.recurrence {
            Recurrence::Weekly { days, at_min, by_night } => {
                self.set(Step::Repeat, u32::from(!by_night));
                self.set(Step::Days, days_value(days));
                self.set(Step::Start, u32::from(at_min));
            }
            Recurrence::Interval { every_ms, .. } => {
                self.set(Step::Repeat, 2);
                self.set(Step::Every, over_up(every_ms, HOUR_MS).min(999) as u32);
            }
        }
    }

    /// Makes an entry what the draft says. What is not asked, and what was left as it is
    /// shown (`was`), stays as it was to the last digit.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(super) fn enter<const N: usize, const H: usize>(
        &self,
        entry: &mut Entry,
        was: &Self,
        view: &View<'_, N, H>,
    ) {
        let is_new = self.kind == Kind::NewEntry;
        let changed = |step| is_new || self.get(step) != was.get(step);
        if changed(Step::Dose) {
            entry.volume = self.volume(Step::Dose);
        }
        if changed(Step::Window) {
            entry.window_ms = self.get(Step::Window).wrapping_mul(MINUTE_MS);
        }
        entry.enabled = self.get(Step::State) == 0;
        let repeat = self.get(Step::Repeat);
        if repeat < 2 {
            entry.recurrence = Recurrence::Weekly {
                days: days_of(self.get(Step::Days)),
                at_min: self.get(Step::Start) as u16,
                by_night: repeat == 0,
            };
        } else if changed(Step::Every) {
            let from = match entry.recurrence {
                Recurrence::Interval { from, .. } if !is_new => from,
                _ => self.first_start(view),
            };
            let every_ms = u64::from(self.get(Step::Every)).wrapping_mul(HOUR_MS);
            entry.recurrence = Recurrence::Interval { every_ms, from };
        }
    }

    /// When the first of the doses comes that come every so many hours: at the start that
    /// was entered, where the clock is set.
    fn first_start<const N: usize, const H: usize>(&self, view: &View<'_, N, H>) -> Instant {
        let Some(local) = view.local() else { return view.now };
        let minute = parts(local).1;
        let wait_min = self.get(Step::Begin).wrapping_add(DAY_MIN).wrapping_sub(minute) % DAY_MIN;
        view.now.plus(Duration::from_min(u64::from(wait_min)))
    }
}
