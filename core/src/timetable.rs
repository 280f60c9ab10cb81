//! All the entries together, and what makes a timetable acceptable.

mod fullest_day;
mod upcoming;

use crate::calibration::NoRun;
use crate::civil::{DAY_MIN, DAY_MS, Date, MINUTE_MS};
use crate::config::{Head, HeadProblem};
use crate::entry::{Entry, EntryId, Recurrence};
use crate::record::{ClosedList, FAR_DAYS, PackedEntry};
use crate::schedule::WallClock;
use crate::spread::{self, Misfit};
use crate::time::Instant;
use crate::units::{Carry, Flow, Volume};

const DAY: u64 = DAY_MS as u64;
/// Days in the longest stretch of dates whose weekdays all differ.
const WEEK: i32 = 7;

/// All the entries, each on a line of its own. `N`, at most 64, is how many
/// there is room for.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Timetable<const N: usize = 32> {
    lines: [PackedEntry; N],
    /// Dates on which entries marked so do not run.
    pub closed: ClosedList,
    /// The most volume in any 23 hours; `None` for 1.25 times the most that
    /// the timetable asks in any 24. More than [`Self::MOST_CEILING`] counts as that.
    pub ceiling: Option<Volume>,
}

/// Why a timetable or a setting is refused, with the figures that say so.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Refusal {
    /// There are more entries than lines.
    TooManyEntries {
        /// How many there is room for.
        most: usize,
    },
    /// Two entries have the same number.
    SameId {
        /// The number.
        id: EntryId,
    },
    /// The number belonged to an entry that is gone; numbers are never reused.
    RetiredId {
        /// The number.
        id: EntryId,
    },
    /// The limits of the head do not go together.
    Head(HeadProblem),
    /// A field of an entry is out of its range.
    Field {
        /// The entry.
        id: EntryId,
        /// The field.
        field: &'static str,
    },
    /// The entry has no due at all: its dates hold none of its days.
    NeverDue {
        /// The entry.
        id: EntryId,
    },
    /// The dose does not fit its window.
    DoesNotFit {
        /// The entry.
        id: EntryId,
        /// In which way, with the figures.
        misfit: Misfit,
    },
    /// Window and grace are not less than the entry's own gap.
    GapTooShort {
        /// The entry.
        id: EntryId,
        /// Window and grace, in ms.
        window_and_grace_ms: u64,
        /// The shortest gap between two dues, in ms.
        gap_ms: u64,
    },
    /// The windows of two entries overlap.
    Overlap {
        /// The one that stays.
        first: EntryId,
        /// The one to move: what was edited or added; of two such the later in the timetable.
        second: EntryId,
        /// A start for `second` that fits, in minutes of the day: the nearest of those that
        /// touch the window of a weekly entry. `None` where none of them fits, where it is an
        /// interval entry and where neither was edited.
        nearest_min: Option<u16>,
    },
    /// The timetable asks for more than the ceiling.
    OverCeiling {
        /// The most it asks for in any 24 h.
        asked: Volume,
        /// The ceiling.
        ceiling: Volume,
    },
    /// More dues in a day than the logic keeps account of.
    TooManyDues {
        /// The most dues in any 24 h.
        dues: u32,
        /// How many there may be.
        most: u32,
    },
    /// The device cannot do that now: the pump is in use, stopped or at fault, a run lasts
    /// whose volume hangs on the setting, or there is no head.
    Busy,
    /// The container is empty by account.
    ContainerEmpty,
    /// The battery pack cannot finish the dose.
    Battery,
    /// There is no entry of that number.
    NoSuchEntry {
        /// The number.
        id: EntryId,
    },
    /// No dose of that entry is under way.
    NotRunning {
        /// The number.
        id: EntryId,
    },
    /// The ledger could not take it down, so it was not done.
    Ledger,
    /// The ceiling leaves nothing to deliver.
    AtCeiling,
    /// A setting is outside what the device can hold, or hangs on one that was not made: a
    /// timetable or a flow without a head, a new pack on mains.
    OutOfRange,
    /// The settings are locked.
    Locked,
    /// It is not the PIN.
    WrongPin,
    /// There were too many wrong tries: the next is judged after this wait.
    TriedTooOften {
        /// In ms.
        wait_ms: u32,
    },
    /// No calibration run can be proposed for this vessel.
    NoRun(NoRun),
    /// There is no calibration run that a reading could belong to: none was made, or
    /// it was left or cut short.
    NothingMeasured,
    /// The reading is not sure enough: a run of this length would be.
    RunLonger {
        /// In ms.
        least_ms: u32,
    },
    /// The flow is far from the one in force: a second run has to say the same.
    RunTwice {
        /// The flow.
        flow: Flow,
    },
    /// It is no flow that this head can have.
    Implausible {
        /// The flow, where it can be said at all.
        flow: Option<Flow>,
    },
}

/// The most dues in any 24 h. An account of a third more deliveries holds them, with what
/// clock settings repeat.
const MOST_DUES_A_DAY: u32 = 96;

impl<const N: usize> Default for Timetable<N> {
    fn default() -> Self {
        Self::EMPTY
    }
}

impl<const N: usize> Timetable<N> {
    /// No entries.
    pub const EMPTY: Self =
        Self { lines: [PackedEntry::NONE; N], closed: ClosedList::EMPTY, ceiling: None };
    /// The most that a ceiling of the operator's own can be: what the ledger holds, 1099 l.
    pub const MOST_CEILING: Volume = Volume::from_nl((1 << 40) - 2);

    /// Puts an entry on the first free line, or in the place of the entry of
    /// the same number.
    pub fn put(&mut self, entry: Entry) -> Result<(), Refusal> {
        let is_put = self.change(entry.id, Some(&entry));
        if is_put { Ok(()) } else { Err(Refusal::TooManyEntries { most: N }) }
    }

    /// Puts an entry on its line, or on the first that is free, or makes its line free;
    /// `false` where there is none.
    pub(crate) fn change(&mut self, id: EntryId, entry: Option<&Entry>) -> bool {
        let at = self.line_of(Some(id)).or_else(|| self.line_of(None));
        if let Some(at) = at {
            self.set_line(at, entry);
        }
        at.is_some()
    }

    /// Puts an entry on a given line, whatever stood there.
    pub(crate) fn set_line(&mut self, line: usize, entry: Option<&Entry>) {
        if let Some(place) = self.lines.get_mut(line) {
            *place = entry.map_or(PackedEntry::NONE, PackedEntry::new);
        }
    }

    /// Takes an entry out; `false` where there was none of that number.
    pub fn remove(&mut self, id: EntryId) -> bool {
        let at = self.line_of(Some(id));
        if let Some(at) = at {
            self.set_line(at, None);
        }
        at.is_some()
    }

    /// The entry of that number.
    pub fn get(&self, id: EntryId) -> Option<Entry> {
        self.line(self.line_of(Some(id))?)
    }

    /// Whether there is an entry of that number.
    pub fn has(&self, id: EntryId) -> bool {
        self.line_of(Some(id)).is_some()
    }

    /// Whether an entry stands in it as it is.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    fn has_as_is(&self, entry: &Entry) -> bool {
        self.lines.contains(&PackedEntry::new(entry))
    }

    /// The line of the entry of that number, or the first that is free.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(crate) fn line_of(&self, id: Option<EntryId>) -> Option<usize> {
        self.lines.iter().position(|line| line.id() == id)
    }

    /// The entry on a line.
    pub fn line(&self, line: usize) -> Option<Entry> {
        self.lines.get(line)?.get()
    }

    /// The number of the entry on a line.
    pub fn id_on(&self, line: usize) -> Option<EntryId> {
        self.lines.get(line)?.id()
    }

    /// All entries, in the order of their lines.
    pub fn entries(&self) -> impl Iterator<Item = Entry> + Clone + '_ {
        self.lines.iter().filter_map(PackedEntry::get)
    }

    /// The numbers of all entries, in the same order.
    pub fn ids(&self) -> impl Iterator<Item = EntryId> + Clone + '_ {
        self.lines.iter().filter_map(PackedEntry::id)
    }

    fn enabled(&self) -> impl Iterator<Item = Entry> + Clone + '_ {
        self.entries().filter(|e| e.enabled)
    }

    /// Everything that makes the timetable unacceptable on this head, each
    /// refusal told to `report`. The clock, where it is set, says how interval
    /// entries lie to weekly ones at `now`.
    pub fn check(
        &self,
        head: &Head,
        clock: Option<&WallClock>,
        now: Instant,
        report: &mut impl FnMut(Refusal),
    ) {
        let report = &mut |refusal| {
            report(refusal);
            true
        };
        self.check_change(None, head, clock, now, report);
    }

    /// The same of a timetable that is to follow another, as long as `report` asks for more.
    fn check_change(
        &self,
        before: Option<&Self>,
        head: &Head,
        clock: Option<&WallClock>,
        now: Instant,
        report: &mut impl FnMut(Refusal) -> bool,
    ) {
        if let Some(problem) = head.problem() {
            report(Refusal::Head(problem));
            return;
        }
        let mut sound = true;
        for (i, entry) in self.entries().enumerate() {
            if self.ids().take(i).any(|id| id == entry.id) {
                sound = false;
                if !report(Refusal::SameId { id: entry.id }) {
                    return;
                }
            }
            if let Some(field) = entry.bad_field_or_number() {
                sound = false;
                if !report(Refusal::Field { id: entry.id, field }) {
                    return;
                }
            }
        }
        if !sound {
            return;
        }
        for entry in self.enabled() {
            if !check_alone(&entry, head, report) {
                return;
            }
        }
        let stays = |entry: &Entry| before.is_some_and(|before| before.has_as_is(entry));
        for (i, later) in self.enabled().enumerate() {
            for earlier in self.enabled().take(i) {
                if overlap(&earlier, &later, clock, now) {
                    let (mut first, mut second) = (&earlier, &later);
                    let mut is_second = !stays(second);
                    if !is_second && !stays(first) {
                        (first, second, is_second) = (second, first, true);
                    }
                    let nearest_min =
                        if is_second { self.nearest_start(second, clock, now) } else { None };
                    let (first, second) = (first.id, second.id);
                    if !report(Refusal::Overlap { first, second, nearest_min }) {
                        return;
                    }
                }
            }
        }
        let (asked, dues) = self.most_in_a_day();
        if let Some(ceiling) = self.ceiling.filter(|&ceiling| asked > ceiling)
            && !report(Refusal::OverCeiling { asked, ceiling })
        {
            return;
        }
        if dues > MOST_DUES_A_DAY {
            report(Refusal::TooManyDues { dues, most: MOST_DUES_A_DAY });
        }
    }

    /// The first of the refusals of [`Self::check`].
    pub fn first_refusal(
        &self,
        head: &Head,
        clock: Option<&WallClock>,
        now: Instant,
    ) -> Option<Refusal> {
        self.first_refusal_after(None, head, clock, now)
    }

    /// The same of a timetable that is to follow another: of two entries that overlap the one
    /// to move is the one that the other timetable has not.
    pub fn first_refusal_after(
        &self,
        before: Option<&Self>,
        head: &Head,
        clock: Option<&WallClock>,
        now: Instant,
    ) -> Option<Refusal> {
        let mut first = None;
        // what more there is can take long to look for
        let report = &mut |refusal| {
            first = Some(refusal);
            false
        };
        self.check_change(before, head, clock, now, report);
        first
    }

    /// The ceiling in force: the operator's, else 1.25 times the most that the
    /// timetable asks in any 24 h (D7).
    pub fn ceiling_in_force(&self) -> Volume {
        self.ceiling.unwrap_or_else(|| {
            let asked = self.most_in_a_day().0.as_nl();
            Volume::from_nl(asked.saturating_add(asked / 4))
        })
    }

    /// The start nearest to the one a weekly entry has, on the same day or night,
    /// at which its window overlaps no other, in minutes of the day.
    fn nearest_start(&self, entry: &Entry, clock: Option<&WallClock>, now: Instant) -> Option<u16> {
        let Recurrence::Weekly { days, at_min: own, by_night } = entry.recurrence else {
            return None;
        };
        // a start keeps its day, or its night, which runs from noon to noon: 23:59
        // of the same day is far from 00:00
        let noon = if by_night { i64::from(DAY_MIN) / 2 } else { 0 };
        let into_day = |minute: i64| (minute - noon).rem_euclid(i64::from(DAY_MIN));
        let own_min = into_day(i64::from(own));
        let window_min = i64::from(entry.window_ms.div_ceil(MINUTE_MS as u32));
        let mut best: Option<(u64, u16)> = None;
        for other in self.enabled().filter(|e| e.id != entry.id && e.is_weekly()) {
            let starts = i64::from(at_min(&other));
            let ends = starts + i64::from(other.window_ms.div_ceil(MINUTE_MS as u32));
            for start in [ends, starts - window_min] {
                let minute = start.rem_euclid(i64::from(DAY_MIN));
                let distance = into_day(minute).abs_diff(own_min);
                let Ok(at_min) = u16::try_from(minute) else { continue };
                if best.is_some_and(|(d, _)| d <= distance) {
                    continue;
                }
                let moved =
                    Entry { recurrence: Recurrence::Weekly { days, at_min, by_night }, ..*entry };
                let free = self
                    .enabled()
                    .filter(|e| e.id != entry.id)
                    .all(|e| !overlap(&e, &moved, clock, now));
                if free {
                    best = Some((distance, at_min));
                }
            }
        }
        best.map(|(_, minute)| minute)
    }
}

const fn at_min(entry: &Entry) -> u16 {
    match entry.recurrence {
        Recurrence::Weekly { at_min, .. } => at_min,
        Recurrence::Interval { .. } => 0,
    }
}

/// The first and last calendar day on which a weekly entry can have a due;
/// days beyond all dates where the entry names none.
fn calendar_range(entry: &Entry) -> (i32, i32) {
    let day = |date| entry.calendar_day(date);
    (entry.first.map_or(-FAR_DAYS, day), entry.last.map_or(FAR_DAYS, day))
}

/// What can be wrong with an entry by itself; whether more is asked for.
fn check_alone(entry: &Entry, head: &Head, report: &mut impl FnMut(Refusal) -> bool) -> bool {
    let id = entry.id;
    if entry.is_weekly()
        && entry.next_at_or_after(crate::entry::Nominal(0)).is_none()
        && !report(Refusal::NeverDue { id })
    {
        return false;
    }
    let gap_ms = entry.shortest_gap().as_ms();
    let window_and_grace_ms = entry.window_and_grace().as_ms();
    if window_and_grace_ms >= gap_ms
        && !report(Refusal::GapTooShort { id, window_and_grace_ms, gap_ms })
    {
        return false;
    }
    fit(entry, head).map_or_else(|misfit| report(Refusal::DoesNotFit { id, misfit }), |_| true)
}

/// How many pulses an entry's dose is made of on this head. The ms more that a remainder
/// comes to now and then has to fit as well (D4).
pub fn fit(entry: &Entry, head: &Head) -> Result<u32, Misfit> {
    let (on, left) = head.flow.on_time(entry.volume, Carry(0));
    let of = |on_ms| spread::pulses_for(on_ms, u64::from(entry.window_ms), head, entry.pulses);
    let plain = of(on.as_ms());
    if left == Carry(0) {
        return plain;
    }
    match (plain, of(on.as_ms().saturating_add(1))) {
        (plain, Ok(_)) => plain,
        (Err(Misfit::Window { least_ms: one, .. }), Err(Misfit::Window { dose_ms, least_ms })) => {
            Err(Misfit::Window { dose_ms, least_ms: least_ms.max(one) })
        }
        (_, misfit) => misfit,
    }
}

const fn gcd(mut a: u64, mut b: u64) -> u64 {
    // Euclid's method: at most 93 steps on 64 bits
    while b != 0 {
        (a, b) = (b, a % b);
    }
    a
}

/// Whether two windows overlap that start `apart_ms` from one another on a
/// circle of `round_ms`.
fn meet_on_circle(apart_ms: i64, first_ms: u64, second_ms: u64, round_ms: u64) -> bool {
    let Some(apart) = apart_ms.checked_rem_euclid(round_ms as i64) else { return false };
    (apart as u64) < first_ms || round_ms - (apart as u64) < second_ms
}

/// Whether an interval entry's dues keep their place in the day: its interval
/// divides the day, or is whole days.
const fn keeps_time_of_day(every_ms: u64) -> bool {
    every_ms != 0 && (DAY.is_multiple_of(every_ms) || every_ms.is_multiple_of(DAY))
}

/// Whether the windows of two entries overlap as a matter of course. Two that
/// meet only now and then, because an interval wanders through the day, are
/// not refused: there one waits for the other (D3). Both are entries in which
/// [`Entry::bad_field`] finds nothing.
pub fn overlap(a: &Entry, b: &Entry, clock: Option<&WallClock>, now: Instant) -> bool {
    let (wa, wb) = (u64::from(a.window_ms), u64::from(b.window_ms));
    match (a.recurrence, b.recurrence) {
        (Recurrence::Weekly { .. }, Recurrence::Weekly { .. }) => weekly_overlap(a, b),
        (
            Recurrence::Interval { every_ms: ea, from: fa },
            Recurrence::Interval { every_ms: eb, from: fb },
        ) => meet_on_circle(fb.as_ms().saturating_sub(fa.as_ms()), wa, wb, gcd(ea, eb)),
        (Recurrence::Interval { every_ms, .. }, Recurrence::Weekly { .. }) => {
            keeps_time_of_day(every_ms) && wall_overlap(a, b, clock, now)
        }
        (Recurrence::Weekly { .. }, Recurrence::Interval { every_ms, .. }) => {
            keeps_time_of_day(every_ms) && wall_overlap(b, a, clock, now)
        }
    }
}

/// Whether a dose of an interval entry ever meets one of a weekly entry, by the offset
/// in force at `now`: on the circle of a week, since an interval of whole weeks keeps
/// its weekday too. One that is over before the other begins meets nothing.
fn wall_overlap(interval: &Entry, weekly: &Entry, clock: Option<&WallClock>, now: Instant) -> bool {
    let (Some(clock), Recurrence::Interval { every_ms, from }) = (clock, interval.recurrence)
    else {
        return false;
    };
    let offset = i64::from(clock.zone.offset_at(clock.utc(now))) * 1000;
    let local = |at| clock.utc(at).as_ms().saturating_add(offset);
    let interval_local = local(from);
    let (interval_window, weekly_window) =
        (u64::from(interval.window_ms), u64::from(weekly.window_ms));
    let round_ms = gcd(every_ms, WEEK as u64 * DAY);
    let into_day_ms = i64::from(at_min(weekly)) * MINUTE_MS;
    let last_ms = i64::from(calendar_range(weekly).1) * DAY_MS + into_day_ms;
    if last_ms + weekly_window as i64 <= local(from.max(now)) {
        return false;
    }
    let days = weekly.calendar_days();
    // any week will do: the first days of all count from 1970-01-01
    (0..WEEK).filter(|&day| days.contains(Date::from_days(day).weekday())).any(|day| {
        let weekly_local = i64::from(day) * DAY_MS + into_day_ms;
        let apart = weekly_local.saturating_sub(interval_local);
        meet_on_circle(apart, interval_window, weekly_window, round_ms)
    })
}

/// Whether an interval entry and a weekly one will meet now and then, by the offset in
/// force at `now`: what [`overlap`] leaves to be waited for.
pub fn meet_at_times(a: &Entry, b: &Entry, clock: &WallClock, now: Instant) -> bool {
    let (interval, weekly) = match (a.recurrence, b.recurrence) {
        (Recurrence::Interval { .. }, Recurrence::Weekly { .. }) => (a, b),
        (Recurrence::Weekly { .. }, Recurrence::Interval { .. }) => (b, a),
        _ => return false,
    };
    let Recurrence::Interval { every_ms, .. } = interval.recurrence else { return false };
    !keeps_time_of_day(every_ms) && wall_overlap(interval, weekly, Some(clock), now)
}

fn weekly_overlap(a: &Entry, b: &Entry) -> bool {
    let (wa, wb) = (i64::from(a.window_ms), i64::from(b.window_ms));
    let (first_a, last_a) = calendar_range(a);
    let (first_b, last_b) = calendar_range(b);
    // a window is a week at most, so a due a week off is the farthest that can meet
    (-WEEK..=WEEK).any(|off| {
        let apart = (i64::from(off) * i64::from(DAY_MIN) + i64::from(at_min(b))
            - i64::from(at_min(a)))
            * MINUTE_MS;
        if apart >= wa || apart <= -wb {
            return false;
        }
        let from = first_a.max(first_b - off);
        let to = last_a.min(last_b - off);
        (from..from + WEEK).take_while(|&day| day <= to).any(|day| {
            a.calendar_days().contains(Date::from_days(day).weekday())
                && b.calendar_days().contains(Date::from_days(day + off).weekday())
        })
    })
}
