//! When an entry's dues are: the order of their nominals and their instants.

use crate::civil::{DAY_MIN, Date, Days, Local, MINUTE_MS};
use crate::entry::{Entry, Nominal, Recurrence, is_next_day};
use crate::time::{Duration, Instant, Utc};
use crate::units::{over, over_up};
use crate::zone::Zone;

/// What the device's clock says: its distance from elapsed time, and its zone.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct WallClock {
    /// UTC less elapsed time, in ms.
    pub offset_ms: i64,
    /// The zone in force.
    pub zone: Zone,
}

impl WallClock {
    /// The clock that says a moment at an instant.
    pub const fn at(at: Instant, utc: Utc, zone: Zone) -> Self {
        Self { offset_ms: utc.as_ms().saturating_sub(at.as_ms()), zone }
    }

    /// The moment that the clock says at an instant.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub const fn utc(&self, at: Instant) -> Utc {
        Utc::from_ms(at.as_ms().saturating_add(self.offset_ms))
    }

    /// The instant at which the clock says a moment.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub const fn instant(&self, utc: Utc) -> Instant {
        Instant::from_ms(utc.as_ms().saturating_sub(self.offset_ms))
    }

    /// The local time that the clock shows at an instant.
    pub fn local(&self, at: Instant) -> Local {
        self.zone.to_local(self.utc(at))
    }

    /// The instant before which no due of that place can be, whichever of the zone's
    /// offsets its local time is read by: the larger one gives the earlier moment, and
    /// of a skipped time every reading lies after it.
    pub(crate) fn earliest(&self, n: Nominal) -> Instant {
        let local = i64::from(n.0) * MINUTE_MS;
        self.instant(Utc::from_ms(local.saturating_sub(self.zone.offsets_ms().1)))
    }

    /// The first whole minute that a clock with the smaller of the zone's offsets shows at
    /// or after an instant: no due before it can be at or after that.
    fn shown(&self, at: Instant) -> Nominal {
        let local = self.utc(at).as_ms().saturating_add(self.zone.offsets_ms().0);
        let local = u64::try_from(local.saturating_add(MINUTE_MS - 1)).unwrap_or(0);
        Nominal(u32::try_from(over(local, MINUTE_MS as u64)).unwrap_or(u32::MAX))
    }
}

/// The most nominals that lie between the earliest that can be at or after an
/// instant and the first that is: two offsets are a few days apart at most.
const NEAR: usize = 8;

/// Dues of an entry in which [`Entry::bad_field`] finds nothing, by a clock whose zone a TZ
/// string can give: no other is taken in. Of another they can be anything, and a build that
/// looks for overflows can panic.
impl Entry {
    /// Whether the times of a by-night entry fall on the day after the night's name.
    const fn is_after_midnight(&self) -> bool {
        matches!(self.recurrence, Recurrence::Weekly { by_night, at_min, .. } if is_next_day(by_night, at_min))
    }

    /// The calendar days of a weekly entry, nights turned into the days on which
    /// their time falls.
    pub const fn calendar_days(&self) -> Days {
        match self.recurrence {
            Recurrence::Weekly { days, .. } if self.is_after_midnight() => {
                days.shifted_to_next_day()
            }
            Recurrence::Weekly { days, .. } => days,
            Recurrence::Interval { .. } => Days::NONE,
        }
    }

    /// The date, or for an entry by night the trading night, of a weekly due.
    pub const fn date_of(&self, n: Nominal) -> Date {
        let day = Date::from_days((n.0 / DAY_MIN) as i32);
        if self.is_after_midnight() { day.plus_days(-1) } else { day }
    }

    /// The first calendar day on which a date or night of that name has its due.
    pub(crate) const fn calendar_day(&self, date: Date) -> i32 {
        date.days() + if self.is_after_midnight() { 1 } else { 0 }
    }

    /// The first due at or after `n` in the entry's order; `None` where there is
    /// none. A disabled entry has none.
    pub fn next_at_or_after(&self, n: Nominal) -> Option<Nominal> {
        if !self.enabled {
            return None;
        }
        let Recurrence::Weekly { at_min, .. } = self.recurrence else {
            return Some(n);
        };
        let days = self.calendar_days();
        if days.is_empty() {
            return None;
        }
        let at_min = u32::from(at_min);
        let mut day = n.0 / DAY_MIN + u32::from(n.0 % DAY_MIN > at_min);
        if let Some(first) = self.first {
            day = day.max(u32::try_from(self.calendar_day(first)).unwrap_or(0));
        }
        // rotate the week so that `day` is in bit 0, then take the first day set
        let weekday = Date::from_days(day as i32).weekday().index();
        let bits = u16::from(days.bits());
        let from_day = bits >> weekday | bits << (7 - weekday);
        day = day.checked_add(from_day.trailing_zeros())?;
        if self.last.is_some_and(|last| i64::from(day) > i64::from(self.calendar_day(last))) {
            return None;
        }
        day.checked_mul(DAY_MIN)?.checked_add(at_min).map(Nominal)
    }

    /// I(n): the instant of a due by the clock in force (D8). `None` for a
    /// weekly due while the clock is unset.
    pub fn instant_of(&self, n: Nominal, clock: Option<&WallClock>) -> Option<Instant> {
        match self.recurrence {
            Recurrence::Weekly { .. } => {
                let clock = clock?;
                let local = Local::from_ms(i64::from(n.0) * MINUTE_MS);
                Some(clock.instant(clock.zone.to_utc(local, self.gap_rule)))
            }
            Recurrence::Interval { every_ms, from } => {
                Some(from.plus(Duration::from_ms(every_ms.saturating_mul(u64::from(n.0)))))
            }
        }
    }

    /// I(n), if it can be `by` then at the latest: what cannot needs no offset looked
    /// up, which is most of the work.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(crate) fn instant_by(
        &self,
        n: Nominal,
        clock: Option<&WallClock>,
        by: Instant,
    ) -> Option<Instant> {
        match clock {
            Some(clock) if self.is_weekly() && clock.earliest(n) > by => None,
            _ => self.instant_of(n, clock),
        }
    }

    /// The first due in the entry's order whose instant is `at` or later.
    pub fn first_from(&self, at: Instant, clock: Option<&WallClock>) -> Option<Nominal> {
        match self.recurrence {
            Recurrence::Weekly { .. } => {
                let clock = clock?;
                let mut n = self.next_at_or_after(clock.shown(at))?;
                for _ in 0..NEAR {
                    if self.instant_of(n, Some(clock))? >= at {
                        return Some(n);
                    }
                    n = self.next_at_or_after(n.next())?;
                }
                debug_assert!(false, "offsets of a zone lie over a week apart");
                None
            }
            Recurrence::Interval { every_ms, from } => {
                let passed = over_up(at.since(from).as_ms(), every_ms);
                u32::try_from(passed).ok().map(Nominal)
            }
        }
    }

    /// The first due after which all instants are later than `at`.
    pub fn first_after(&self, at: Instant, clock: Option<&WallClock>) -> Option<Nominal> {
        self.first_from(at.plus(Duration::from_ms(1)), clock)
    }

    /// How many dues there are from `a` to before `b`.
    pub fn count(&self, a: Nominal, b: Nominal) -> u32 {
        if b <= a || !self.enabled {
            return 0;
        }
        let Recurrence::Weekly { at_min, .. } = self.recurrence else {
            return b.0 - a.0;
        };
        let (Some(first), at_min) = (self.next_at_or_after(a), u32::from(at_min)) else {
            return 0;
        };
        let first_day = first.0 / DAY_MIN;
        let mut end_day = b.0 / DAY_MIN + u32::from(b.0 % DAY_MIN > at_min);
        if let Some(last) = self.last {
            end_day = end_day.min(u32::try_from(self.calendar_day(last) + 1).unwrap_or(0));
        }
        let span = end_day.saturating_sub(first_day);
        let days = self.calendar_days();
        let weekday = Date::from_days(first_day as i32).weekday().index();
        let bits = u32::from(days.bits());
        let from_day = (bits >> weekday | bits << (7 - weekday)) & 0x7f;
        let part = from_day & ((1 << (span % 7)) - 1);
        span / 7 * days.len() + part.count_ones()
    }

    /// The last due before `n` that is not before `floor`.
    pub fn last_before(&self, n: Nominal, floor: Nominal) -> Option<Nominal> {
        let Recurrence::Weekly { .. } = self.recurrence else {
            return n.0.checked_sub(1).map(Nominal).filter(|&m| m >= floor);
        };
        // a week back there is one, or none since the entry's first date
        let mut best = None;
        let mut m = self.next_at_or_after(Nominal(n.0.saturating_sub(8 * DAY_MIN)).max(floor));
        for _ in 0..=NEAR {
            match m {
                Some(found) if found < n => {
                    best = Some(found);
                    m = self.next_at_or_after(found.next());
                }
                _ => break,
            }
        }
        best
    }

    /// The shortest nominal gap between two dues: of a weekly entry in minutes
    /// of local time, whatever summer time does to it.
    pub fn shortest_gap(&self) -> Duration {
        match self.recurrence {
            Recurrence::Weekly { .. } => {
                let bits = u32::from(self.calendar_days().bits());
                // the week twice over, so that the gap round its end counts too
                let twice = bits | bits << 7;
                let gap = (1..7).find(|&days| twice >> days & bits != 0).unwrap_or(7);
                Duration::from_h(24 * gap)
            }
            Recurrence::Interval { every_ms, .. } => Duration::from_ms(every_ms),
        }
    }

    /// The repeat guard: half the shortest nominal gap (D2).
    pub fn guard(&self) -> Duration {
        Duration::from_ms(self.shortest_gap().as_ms() / 2)
    }

    /// The window, as a length.
    pub const fn window(&self) -> Duration {
        Duration::from_ms(self.window_ms as u64)
    }

    /// Window and grace: how long after its instant a due's deadline is.
    pub const fn window_and_grace(&self) -> Duration {
        Duration::from_ms(self.window_ms as u64 + self.grace_ms as u64)
    }

    /// Whether the entry follows the wall clock.
    pub const fn is_weekly(&self) -> bool {
        matches!(self.recurrence, Recurrence::Weekly { .. })
    }
}

#[cfg(test)]
mod tests;
