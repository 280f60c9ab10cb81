//! Entries, lines and deliveries as a device keeps them: the fields that the ledger
//! has, in as many bytes.
//!
//! A small device has a few kilobytes of memory, and most of its state is these
//! three tables. What is asked for often is read without unpacking the rest.

use super::fields::{
    BY_NIGHT, ENABLED, HAS_WAITING, NO_NOMINAL, PACKED_ENTRY, STATE, WEEKLY, get_date,
    get_delivery, get_packed_entry, get_state, get_volume, put_delivery, put_packed_entry,
    put_state,
};
use super::{Delivery, LineState, Mark};
use crate::civil::{Date, Days};
use crate::codec::{Get, Put};
use crate::entry::{Entry, EntryId, Nominal, is_next_day};
use crate::time::Instant;
use crate::units::Volume;

/// Place and bit of what says that there is an entry: the topmost flag.
const FLAGS: usize = 2;
const PRESENT: u8 = 0x80;
/// Flags of an entry that is there, enabled and weekly.
const PLAIN: u8 = PRESENT | ENABLED | WEEKLY;
/// Place of the mark in a line's state: no mark is all ones there, and all zeros
/// here, so that a line that was never used is zeros.
const MARK: core::ops::Range<usize> = 3..7;
/// Bytes of a delivery; the first says that there is one.
const DELIVERY: usize = 26;

/// Days farther off than any date an entry can name.
pub(crate) const FAR_DAYS: i32 = 1_000_000;

/// What a weekly entry doses on the days of the calendar, its nights turned into the
/// days on which their time falls.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(crate) struct PackedWeekly {
    pub(crate) days: Days,
    pub(crate) at_min: u16,
    /// The first day and the last, since 1970-01-01; beyond all dates where it names none.
    pub(crate) first: i32,
    pub(crate) last: i32,
    pub(crate) volume: Volume,
}

/// An entry, or none.
#[derive(Clone, Copy, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(crate) struct PackedEntry([u8; PACKED_ENTRY]);

impl PackedEntry {
    pub(crate) const NONE: Self = Self([0; PACKED_ENTRY]);

    /// A field that is out of its range for good is still out of it afterwards.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(crate) fn new(entry: &Entry) -> Self {
        let mut bytes = [0; PACKED_ENTRY];
        put_packed_entry(&mut Put::new(&mut bytes), entry);
        if let Some(flags) = bytes.get_mut(FLAGS) {
            *flags |= PRESENT;
        }
        Self(bytes)
    }

    pub(crate) fn is_some(&self) -> bool {
        self.0.get(FLAGS).is_some_and(|flags| flags & PRESENT != 0)
    }

    pub(crate) fn id(&self) -> Option<EntryId> {
        self.is_some().then_some(EntryId(self.number()))
    }

    /// The number of the entry that is there.
    pub(crate) const fn number(&self) -> u16 {
        u16::from_le_bytes([self.0[0], self.0[1]])
    }

    /// Calendar days and minute of the day, where that says all about when its dues are:
    /// of an enabled weekly entry without dates. A night's days are those its time falls on.
    pub(crate) const fn plain(&self) -> Option<(u8, u16)> {
        let flags = self.0[FLAGS];
        let dates = u32::from_le_bytes([self.0[19], self.0[20], self.0[21], self.0[22]]);
        if flags & PLAIN != PLAIN || dates != u32::MAX {
            return None;
        }
        let (days, at_min) = (self.0[3], u16::from_le_bytes([self.0[4], self.0[5]]));
        if is_next_day(flags & BY_NIGHT != 0, at_min) {
            return Some((Days::from_bits(days).shifted_to_next_day().bits(), at_min));
        }
        Some((days, at_min))
    }

    /// When and how much it doses, of an enabled weekly entry.
    pub(crate) fn weekly(&self) -> Option<PackedWeekly> {
        let g = &mut Get::new(&self.0);
        let (_, flags) = (g.u16(), g.u8());
        if flags & PLAIN != PLAIN {
            return None;
        }
        let (days, at_min, volume) = (Days::from_bits(g.u8()), g.u16(), get_volume(g));
        let _window_and_grace = g.u64();
        let (first, last) = (get_date(g), get_date(g));
        let is_next_day = is_next_day(flags & BY_NIGHT != 0, at_min);
        let day = |date: Date| date.days() + i32::from(is_next_day);
        Some(PackedWeekly {
            days: if is_next_day { days.shifted_to_next_day() } else { days },
            at_min,
            first: first.map_or(-FAR_DAYS, day),
            last: last.map_or(FAR_DAYS, day),
            volume,
        })
    }

    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(crate) fn get(&self) -> Option<Entry> {
        self.is_some().then(|| get_packed_entry(&mut Get::new(&self.0)))
    }
}

impl core::fmt::Debug for PackedEntry {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        self.get().fmt(f)
    }
}

/// A [`LineState`] as [`crate::book::Book`] keeps it: the bytes that the ledger has.
#[derive(Clone, Copy, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct PackedState([u8; STATE]);

impl PackedState {
    /// That of a line that was never used.
    pub(crate) const UNUSED: Self = Self([0; STATE]);

    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(crate) fn new(state: &LineState) -> Self {
        let mut bytes = [0; STATE];
        put_state(&mut Put::new(&mut bytes), state);
        Self(bytes).turned()
    }

    fn turned(mut self) -> Self {
        self.0.get_mut(MARK).unwrap_or_default().iter_mut().for_each(|byte| *byte = !*byte);
        self
    }

    /// In the open.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub fn get(&self) -> LineState {
        get_state(&mut Get::new(&self.turned().0))
    }

    /// The mark, without the rest.
    pub(crate) fn mark(&self) -> Mark {
        let [_, _, _, a, b, c, d, ..] = self.0;
        let n = !u32::from_le_bytes([a, b, c, d]);
        (n != NO_NOMINAL).then_some(Nominal(n))
    }

    /// The revision, without the rest.
    pub(crate) const fn revision(&self) -> u16 {
        u16::from_le_bytes([self.0[1], self.0[2]])
    }

    /// Whether a due waits.
    pub(crate) const fn waits(&self) -> bool {
        self.0[0] & HAS_WAITING != 0
    }
}

impl core::fmt::Debug for PackedState {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        self.get().fmt(f)
    }
}

/// A delivery, or none.
#[derive(Clone, Copy, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(crate) struct PackedDelivery([u8; DELIVERY]);

impl PackedDelivery {
    pub(crate) const NONE: Self = Self([0; DELIVERY]);

    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(crate) fn new(delivery: &Delivery) -> Self {
        let mut bytes = [0; DELIVERY];
        put_delivery(&mut Put::new(&mut bytes), delivery);
        Self(bytes)
    }

    pub(crate) const fn is_some(&self) -> bool {
        self.0[0] != 0
    }

    /// When it began, without the rest; after everything where there is none.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(crate) const fn began(&self) -> Instant {
        if !self.is_some() {
            return Instant::MAX;
        }
        let [_, _, _, a, b, c, d, e, f, ..] = self.0;
        // the sign is in the topmost of six bytes
        Instant::from_ms(i64::from_le_bytes([0, 0, a, b, c, d, e, f]) >> 16)
    }

    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(crate) fn get(&self) -> Option<Delivery> {
        get_delivery(&mut Get::new(&self.0))
    }
}

impl core::fmt::Debug for PackedDelivery {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        self.get().fmt(f)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::cause::Cause;
    use crate::entry::{GapRule, Recurrence};
    use crate::record::{Begin, ClosedRun, DueKey, Waiting};
    use crate::time::Utc;
    use crate::units::Carry;

    fn entry() -> Entry {
        Entry {
            id: EntryId(515),
            enabled: true,
            recurrence: Recurrence::Weekly { days: Days::ALL, at_min: 1439, by_night: true },
            volume: Volume::from_ml(100_000),
            window_ms: 604_800_000,
            grace_ms: 604_799_999,
            first: Some(Date::MIN),
            last: Some(Date::MAX),
            observes_closed: true,
            gap_rule: GapRule::FirstValid,
            pulses: Some(u16::MAX),
        }
    }

    #[test]
    fn an_entry_comes_back_as_it_was_packed() {
        let every = Recurrence::Interval { every_ms: 366 * 86_400_000, from: Instant::from_ms(-7) };
        let plain = Entry { first: None, last: None, pulses: None, enabled: false, ..entry() };
        for entry in [entry(), plain, Entry { recurrence: every, ..plain }] {
            assert_eq!(PackedEntry::new(&entry).get(), Some(entry));
            assert_eq!(PackedEntry::new(&entry).id(), Some(entry.id));
        }
        assert_eq!(PackedEntry::NONE.get(), None);
        assert_eq!(PackedEntry::NONE.id(), None);
    }

    #[test]
    fn a_weekly_entry_says_the_same_packed_and_unpacked() {
        let weekly = |at_min, by_night| Recurrence::Weekly {
            days: Days::from_bits(0b100_0010),
            at_min,
            by_night,
        };
        let dates = [(None, None), (Some(Date::MIN), None), (None, Some(Date::MAX))];
        for (at_min, by_night) in [(0, false), (719, true), (720, true), (719, false)] {
            for (first, last) in dates {
                let recurrence = weekly(at_min, by_night);
                let entry = Entry { recurrence, first, last, ..entry() };
                let day = |date| entry.calendar_day(date);
                let expected = PackedWeekly {
                    days: entry.calendar_days(),
                    at_min,
                    first: first.map_or(-FAR_DAYS, day),
                    last: last.map_or(FAR_DAYS, day),
                    volume: entry.volume,
                };
                assert_eq!(PackedEntry::new(&entry).weekly(), Some(expected), "{entry:?}");
                let is_plain = first.is_none() && last.is_none();
                let plain = is_plain.then(|| (expected.days.bits(), at_min));
                assert_eq!(PackedEntry::new(&entry).plain(), plain, "{entry:?}");
                let disabled = Entry { enabled: false, ..entry };
                assert_eq!(PackedEntry::new(&disabled).weekly(), None);
            }
        }
        let every = Recurrence::Interval { every_ms: 3_600_000, from: Instant::ZERO };
        let interval = Entry { recurrence: every, first: None, last: None, ..entry() };
        assert_eq!(PackedEntry::new(&interval).weekly(), None);
        assert_eq!(PackedEntry::NONE.weekly(), None);
    }

    #[test]
    fn what_is_out_of_range_stays_so_for_the_check_to_find() {
        let pulses = Entry { pulses: Some(0), ..entry() };
        assert_eq!(PackedEntry::new(&pulses).get(), Some(pulses));
        let far = |date| PackedEntry::new(&Entry { first: date, ..entry() }).get().unwrap().first;
        for date in [Date::MIN.plus_days(-1), Date::MAX.plus_days(1), Date::from_days(i32::MAX)] {
            assert!(far(Some(date)).unwrap() > Date::MAX, "{date:?}");
        }
        let every = Recurrence::Interval { every_ms: u64::MAX, from: Instant::MIN };
        for (first, last) in [(Some(Date::MIN), None), (None, Some(Date::MAX))] {
            let dated = Entry { recurrence: every, first, last, ..entry() };
            assert!(PackedEntry::new(&dated).get().unwrap().first.is_some());
        }
        let interval = Entry { recurrence: every, volume: Volume::from_nl(u64::MAX), ..entry() };
        let found = PackedEntry::new(&interval).get().unwrap();
        assert!(found.volume > Volume::from_ml(100_000));
        assert!(found.first.is_some(), "an interval entry with dates is refused for them");
        let Recurrence::Interval { every_ms, .. } = found.recurrence else { panic!("{found:?}") };
        assert!(every_ms > 366 * 86_400_000);
    }

    #[test]
    fn an_entry_with_dates_is_not_plain_whatever_they_are() {
        let undated = Entry { first: None, last: None, ..entry() };
        assert_eq!(PackedEntry::new(&undated).plain(), Some((0x7f, 1439)));
        for days in [0, 0x55aa, 0xaa55, 0x00ff, 0xff00, 0xfefe] {
            let date = Some(Date::MIN.plus_days(days));
            for dated in [Entry { first: date, ..undated }, Entry { last: date, ..undated }] {
                assert_eq!(PackedEntry::new(&dated).plain(), None, "{days:#x}");
            }
        }
        let off = Entry { enabled: false, ..undated };
        assert_eq!(PackedEntry::new(&off).plain(), None);
        assert_eq!(PackedEntry::NONE.plain(), None);
    }

    #[test]
    fn a_line_and_a_delivery_come_back_too() {
        let begin = Begin { at: Instant::from_ms(5), utc: Some(Utc::from_ms(1 << 45)), losses: 3 };
        let due = DueKey { id: EntryId(7), revision: 2, epoch: 9, nominal: Nominal(u32::MAX - 1) };
        let run = ClosedRun { first: due, due_at: Instant::from_ms(-1), count: 0xff_ffff };
        let waiting = Waiting {
            id: EntryId(8),
            revision: 1,
            epoch: 2,
            nominal: Nominal(3),
            due_at: Instant::from_ms(4),
            cause: Cause::Damaged,
        };
        let plain =
            LineState { mark: Some(Nominal(0)), carry: Carry(u32::MAX), ..Default::default() };
        let full = LineState { revision: 65535, edited: true, last: Some(begin), ..plain };
        for state in [
            LineState::default(),
            plain,
            LineState { closed_run: Some(run), ..full },
            LineState { waiting: Some(waiting), ..full },
        ] {
            let packed = PackedState::new(&state);
            assert_eq!(packed.get(), state);
            assert_eq!(packed.waits(), state.waiting.is_some());
            assert_eq!((packed.mark(), packed.revision()), (state.mark, state.revision));
        }
        assert_eq!(PackedState::UNUSED, PackedState::new(&LineState::default()));
        let delivery = Delivery {
            id: EntryId(65535),
            begin: Begin { utc: None, ..begin },
            begun_after_ms: u32::MAX,
            volume: Volume::from_ml(1_000_000),
        };
        assert_eq!(PackedDelivery::new(&delivery).get(), Some(delivery));
        for at in [5, -5, (1 << 47) - 2, -(1 << 47)].map(Instant::from_ms) {
            let begun = Delivery { begin: Begin { at, ..begin }, ..delivery };
            assert_eq!(PackedDelivery::new(&begun).began(), at);
        }
        assert_eq!(PackedDelivery::NONE.began(), Instant::MAX);
        assert_eq!(PackedDelivery::NONE.get(), None);
    }
}
