//! Next due over 32 weekly entries: the question, and this project's answer.

use dosewright_core::civil::Days;
use dosewright_core::entry::{Entry, EntryId, GapRule, Recurrence};
use dosewright_core::schedule::WallClock;
use dosewright_core::time::Instant;
use dosewright_core::timetable::Timetable;
use dosewright_core::units::Volume;
use dosewright_core::zone::Zone;

/// Entries, and instants in the year 2026 at which each is asked; a prime distance in
/// minutes apart, so that they fall on every time of the week.
pub const ENTRIES: usize = 32;
const QUERIES: i64 = 1024;
const APART_MIN: i64 = 509;
const START_S: i64 = 1_767_225_600;

/// 32 weekly entries, 44 min apart, each on two to five days.
pub struct Question {
    pub(crate) entries: Vec<(u8, u16)>,
}

impl Default for Question {
    fn default() -> Self {
        let days = |i: usize| [0x15, 0x2a, 0x7c, 0x41, 0x1f, 0x60, 0x09, 0x36][i % 8];
        Self { entries: (0..ENTRIES).map(|i| (days(i), (i * 44) as u16)).collect() }
    }
}

/// The instants, in s since 1970.
pub fn instants() -> impl Iterator<Item = i64> {
    (0..QUERIES).map(|i| START_S + i * APART_MIN * 60)
}

/// One who answers: the next due at or after an instant, both in s since 1970.
pub type Answer<'a> = Box<dyn Fn(i64) -> i64 + 'a>;

impl Question {
    /// dosewright's own, in a zone.
    pub fn ours(&self, zone: &str) -> Answer<'_> {
        let clock = WallClock { offset_ms: 0, zone: Zone::parse(zone).expect("a zone") };
        let mut timetable = Timetable::<ENTRIES>::EMPTY;
        for (i, &(days, at_min)) in self.entries.iter().enumerate() {
            let recurrence =
                Recurrence::Weekly { days: Days::from_bits(days), at_min, by_night: false };
            let entry = Entry {
                id: EntryId(i as u16 + 1),
                enabled: true,
                recurrence,
                volume: Volume::from_ml(120),
                window_ms: 2_400_000,
                grace_ms: 0,
                first: None,
                last: None,
                observes_closed: true,
                gap_rule: GapRule::Shift,
                pulses: Some(30),
            };
            timetable.put(entry).expect("a line is free");
        }
        Box::new(move |at_s| {
            let from = Instant::from_ms(at_s * 1000);
            timetable.next_due(from, Some(&clock)).expect("one is due").0.as_ms() / 1000
        })
    }
}

/// All answers of one, summed up.
pub fn sum(answer: &Answer<'_>) -> i64 {
    instants().map(answer).sum()
}

/// How many answers that is.
pub const fn queries() -> u32 {
    QUERIES as u32
}
