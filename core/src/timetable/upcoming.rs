//! The first due of all: the one question that goes through the whole timetable.
//!
//! Most entries are weekly and without dates. Of those, days and minute are read where
//! they lie, and the first in local time is the first of all where the zone's offset
//! stays what it is until then; only about a change of the clocks is one entry after
//! the other turned into an instant.

use super::Timetable;
use crate::civil::{DAY_MIN, Date, MINUTE_MS};
use crate::entry::{EntryId, Nominal};
use crate::schedule::WallClock;
use crate::time::{Instant, Utc};

/// A place in local time, taken apart once for all entries.
struct From {
    day: u32,
    minute: u32,
    weekday: u32,
}

impl From {
    fn new(n: Nominal) -> Self {
        let (day, minute) = (n.0 / DAY_MIN, n.0 % DAY_MIN);
        Self { day, minute, weekday: Date::from_days(day as i32).weekday().index() }
    }

    /// On which day after its own the first due is, at or after the place, of an entry on
    /// some calendar days (bits, Monday first) at a minute; [`DAYS_AHEAD`] or more for one
    /// on no day.
    const fn ahead(&self, days: u8, at_min: u32) -> u32 {
        let passed = (self.minute > at_min) as u32;
        // the week twice over, so that it can be looked through from any day
        let twice = (days as u32) << 7 | days as u32;
        (twice >> self.weekday & !passed).trailing_zeros()
    }

    const fn nominal(&self, ahead: u32, at_min: u32) -> Nominal {
        Nominal(self.day.saturating_add(ahead).saturating_mul(DAY_MIN).saturating_add(at_min))
    }
}

/// What [`From::ahead`] stays under where there is a day.
const DAYS_AHEAD: u32 = 14;

impl<const N: usize> Timetable<N> {
    /// The first due of all at or after an instant, and its entry; of two at one instant
    /// the entry with the lower number. `None` where nothing is ever due, or where the
    /// clock is unset and no interval entry is there.
    pub fn next_due(&self, from: Instant, clock: Option<&WallClock>) -> Option<(Instant, EntryId)> {
        let Some(clock) = clock else {
            return self.first_of(from, None, |_| true);
        };
        let Some((plain, others)) = self.first_plain(from, clock) else {
            return self.first_of(from, Some(clock), |_| true);
        };
        if !others {
            return plain;
        }
        let other = self.first_of(from, Some(clock), |line| {
            self.lines.get(line).is_some_and(|line| line.plain().is_none())
        });
        [plain, other].into_iter().flatten().min()
    }

    /// The first due of the plain entries, and whether there are others. `None` where a
    /// change of the clocks is too near for local time to tell the order.
    #[allow(clippy::type_complexity)]
    fn first_plain(
        &self,
        from: Instant,
        clock: &WallClock,
    ) -> Option<(Option<(Instant, EntryId)>, bool)> {
        let utc_ms = clock.utc(from).as_ms();
        let (offset_ms, steady) = clock.zone.steady(Utc::from_ms(utc_ms));
        // so long after clocks were put back a local time is there a second time
        let (least, most) = clock.zone.offsets_ms();
        let local_ms = utc_ms.saturating_add(offset_ms);
        if utc_ms < steady.start.saturating_add(most - least) {
            return None;
        }
        let minute = local_ms.checked_add(MINUTE_MS - 1)? / MINUTE_MS;
        let place = From::new(Nominal(u32::try_from(minute).ok()?));
        let (mut first, mut others) = (u64::MAX, false);
        for line in &self.lines {
            match line.plain() {
                Some((days, at_min)) => {
                    // day, minute, number: their order is that of the dues
                    let ahead = place.ahead(days, u32::from(at_min));
                    let at = u32::from(at_min) << 16 | u32::from(line.number());
                    first = first.min(u64::from(ahead) << 32 | u64::from(at));
                }
                None => others |= line.is_some(),
            }
        }
        let (ahead, id) = ((first >> 32) as u32, EntryId(first as u16));
        if ahead >= DAYS_AHEAD {
            return Some((None, others));
        }
        let nominal = place.nominal(ahead, u32::from((first >> 16) as u16));
        let due_ms = i64::from(nominal.0) * MINUTE_MS - offset_ms;
        let is_steady = due_ms < steady.end;
        is_steady.then(|| (Some((clock.instant(Utc::from_ms(due_ms)), id)), others))
    }

    /// The same, entry by entry, of the lines that are asked for.
    fn first_of(
        &self,
        from: Instant,
        clock: Option<&WallClock>,
        is_asked: impl Fn(usize) -> bool,
    ) -> Option<(Instant, EntryId)> {
        let mut first: Option<(Instant, EntryId)> = None;
        for line in (0..N).filter(|&line| is_asked(line)) {
            let Some(entry) = self.line(line).filter(|entry| entry.enabled) else { continue };
            let Some(n) = entry.first_from(from, clock) else { continue };
            let best = first.map_or(Instant::MAX, |(at, _)| at);
            let Some(at) = entry.instant_by(n, clock, best) else { continue };
            if first.is_none_or(|best| (at, entry.id) < best) {
                first = Some((at, entry.id));
            }
        }
        first
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::civil::Days;
    use crate::entry::{Entry, GapRule, Recurrence, plain};
    use crate::units::Volume;
    use crate::zone::Zone;

    #[test]
    fn the_first_due_is_that_of_the_entries_one_by_one() {
        let mut seed = 7_u64;
        let mut draw = |most: u64| {
            seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
            (seed >> 33) % most
        };
        let zones = [
            "UTC0",
            "CET-1CEST,M3.5.0,M10.5.0/3",
            "<+1030>-10:30<+11>-11,M10.1.0,M4.1.0",
            "EST5EDT,M3.2.0,M11.1.0",
        ];
        for round in 0..3_000_u32 {
            let zone = Zone::parse(zones[draw(4) as usize]).unwrap();
            let clock = WallClock { offset_ms: draw(86_400_000) as i64, zone };
            let mut timetable = Timetable::<12>::EMPTY;
            for id in 0..draw(13) {
                let day = |n: u64| Date::MIN.plus_days(9_000 + n as i32);
                let recurrence = if draw(9) == 0 {
                    let every_ms = 3_600_000 * (1 + draw(100));
                    Recurrence::Interval { every_ms, from: Instant::from_ms(5) }
                } else {
                    Recurrence::Weekly {
                        days: Days::from_bits(draw(128) as u8),
                        at_min: if draw(2) == 0 { draw(1440) as u16 } else { 90 + draw(90) as u16 },
                        by_night: draw(2) == 0,
                    }
                };
                let weekly = matches!(recurrence, Recurrence::Weekly { .. });
                let entry = Entry {
                    id: EntryId(100 - id as u16),
                    enabled: draw(6) != 0,
                    recurrence,
                    volume: Volume::from_ml(60),
                    window_ms: 600_000,
                    grace_ms: 0,
                    first: (weekly && draw(6) == 0).then(|| day(draw(900))),
                    last: (weekly && draw(6) == 0).then(|| day(draw(900))),
                    observes_closed: true,
                    gap_rule: if draw(2) == 0 { GapRule::Shift } else { GapRule::FirstValid },
                    pulses: None,
                };
                timetable.put(entry).unwrap();
            }
            // half of the instants lie about a change of the clocks, 2026-03-29, 10-25 or 11-01
            let near = [1_774_746_000_000, 1_792_890_000_000, 1_774_713_600_000, 1_793_512_800_000]
                [draw(4) as usize];
            let spread = if draw(2) == 0 { 4 * 3_600_000 } else { 300 * 86_400_000 };
            let at = near + draw(spread) as i64 - spread as i64 / 2;
            let from = clock.instant(crate::time::Utc::from_ms(at / 60_000 * 60_000));
            let entries = timetable.entries().filter(|entry| entry.enabled);
            let plain = entries
                .filter_map(|entry| {
                    let n = entry.first_from(from, Some(&clock))?;
                    Some((entry.instant_of(n, Some(&clock))?, entry.id))
                })
                .min();
            assert_eq!(timetable.next_due(from, Some(&clock)), plain, "{round} {zone:?}");
        }
    }

    #[test]
    fn d8_a_due_at_the_end_of_the_repeated_hour_comes_after_it() {
        // 2026-10-25 00:30 UTC is 02:30 for the first time; 03:00 is there once, at 02:00 UTC
        let zone = Zone::parse("CET-1CEST,M3.5.0,M10.5.0/3").unwrap();
        let clock = WallClock { offset_ms: 0, zone };
        let mut timetable = Timetable::<2>::EMPTY;
        let recurrence = Recurrence::Weekly { days: Days::ALL, at_min: 180, by_night: false };
        timetable.put(plain(1, recurrence, Volume::from_ml(60))).unwrap();
        let at = |ms: i64| Instant::from_ms(1_792_890_000_000 + ms);
        let due = timetable.next_due(at(-1_800_000), Some(&clock));
        assert_eq!(due, Some((at(3_600_000), EntryId(1))));
    }
}
