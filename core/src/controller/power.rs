//! The battery pack and the display: tests before a dose, readings in its pulses,
//! the gauge's records and alarms, the pack that cannot finish a dose (P2, P3).

use super::Controller;
use crate::cause::Cause;
use crate::civil::{DAY_MS, Date};
use crate::effect::{Effect, Effects};
use crate::entry::{Entry, Recurrence};
use crate::power::{Mean, Pack, TEST_AHEAD};
use crate::record::{Alarm, NewPack, Record};
use crate::time::{Duration, Instant};
use crate::timers::Reason;
use crate::timetable::{self, Refusal};
use crate::units::{self, Carry, Volume, over};

/// No day that a clock shows.
const NEVER: i32 = i32::MAX;
/// The day of a clock that is not set.
const UNSET: i32 = -1;
/// So many days of UTC after its last date an entry can still be due: a night goes on past
/// midnight, and west of Greenwich it is over later.
const AFTER: i32 = 2;

/// What is known of the pack beyond the ledger.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(super) struct Readings {
    rest: Mean,
    load: Mean,
    /// Means that the ledger does not have yet, in mV; 0 for none.
    rest_mv: u16,
    load_mv: u16,
    /// A test is wanted now.
    wanted: bool,
    /// The due that the pack was last tested for, or had no need to be.
    tested_for: Instant,
    /// Charge that the days of warning need, in uC.
    need_uc: u64,
    /// The day that this was worked out on; [`NEVER`] where it has to be worked out again.
    need_day: i32,
    /// How long the display was lit that the ledger does not have yet, in ms.
    lit_ms: u32,
}

impl Readings {
    pub(super) const NONE: Self = Self {
        rest: Mean::NONE,
        load: Mean::NONE,
        rest_mv: 0,
        load_mv: 0,
        wanted: false,
        tested_for: Instant::MIN,
        need_uc: 0,
        need_day: NEVER,
        lit_ms: 0,
    };
}

impl<const N: usize, const H: usize> Controller<N, H> {
    /// Whether a key that comes now means anything, or only wakes the display (P2).
    pub fn takes_keys(&self) -> bool {
        self.display.takes_keys(self.now)
    }

    /// Whether the display is lit.
    pub const fn display_is_lit(&self) -> bool {
        self.display.is_lit()
    }

    /// A key: the display lights or stays lit.
    pub(super) fn key(&mut self, held: bool, effects: &mut Effects) {
        if self.display.key(self.now, held) {
            effects.push(Effect::Light(true));
        }
    }

    /// The display goes dark when its time is over.
    pub(super) fn darken(&mut self, effects: &mut Effects) {
        if self.now < self.display.until {
            return;
        }
        let lit = self.display.go_dark();
        effects.push(Effect::Light(false));
        if self.book.gauge.pack.display_ua > 0 {
            let ms = u32::try_from(lit.as_ms()).unwrap_or(u32::MAX);
            self.readings.lit_ms = self.readings.lit_ms.saturating_add(ms);
        }
    }

    /// One reading of the pack.
    pub(super) fn pack_reading(&mut self, mv: u16, loaded: bool) {
        if self.book.gauge.pack.is_mains() {
            return;
        }
        let readings = &mut self.readings;
        let mean = if loaded { &mut readings.load } else { &mut readings.rest };
        if let Some(mv) = mean.take(self.now, mv) {
            // 0 stands for none
            *(if loaded { &mut readings.load_mv } else { &mut readings.rest_mv }) = mv.max(1);
        }
    }

    /// What the pack wants written: another one recognised, the means of a test, or a
    /// mean of the pulses that changes how the pack is judged; how long the display
    /// was lit.
    pub(super) fn pack_record(&mut self) -> bool {
        let (gauge, at) = (self.book.gauge, self.now);
        let (rest_mv, load_mv) = (self.readings.rest_mv, self.readings.load_mv);
        if gauge.is_another(rest_mv) {
            let (pack, how) = (gauge.pack, NewPack::Recognised);
            return self.want(&Record::Pack { at, pack, how });
        }
        if load_mv != 0 && (rest_mv != 0 || self.judges_anew(load_mv)) {
            let rest_mv = if rest_mv == 0 { gauge.rest_mv } else { rest_mv };
            return self.want(&Record::PackMeans { at, rest_mv, load_mv });
        }
        let ms = self.readings.lit_ms;
        ms > 0 && self.want(&Record::Lit { at, ms })
    }

    fn judges_anew(&mut self, load_mv: u16) -> bool {
        let (low, exhausted) =
            (self.book.alarm_is_on(Alarm::PackLow), self.book.alarm_is_on(Alarm::PackExhausted));
        let mut gauge = self.book.gauge;
        gauge.load_mv = load_mv;
        gauge.is_low(self.now, self.need_uc(), low) != low
            || gauge.is_exhausted(self.now, exhausted) != exhausted
    }

    /// A record of the pack is in the ledger.
    pub(super) fn pack_noted(&mut self, record: &Record) {
        match record {
            Record::PackMeans { .. } => (self.readings.rest_mv, self.readings.load_mv) = (0, 0),
            Record::Lit { .. } => self.readings.lit_ms = 0,
            Record::Pack { how, .. } => {
                // a pack that was put in is looked at; one that was found by its
                // voltage has its means at hand
                if *how != NewPack::Recognised {
                    self.readings = Readings { wanted: true, ..Readings::NONE };
                }
                self.refit();
            }
            _ => {}
        }
        self.stale = true;
    }

    /// The start is in the ledger: the pack may be another one.
    pub(super) const fn pack_at_start(&mut self) {
        self.readings.wanted = true;
    }

    /// Asks for a test that is due or wanted, where the pump is not in use.
    pub(super) fn test_pack(&mut self, effects: &mut Effects) {
        let due = self.pack_test_at().is_some_and(|at| at <= self.now);
        if !(due || self.readings.wanted) || self.book.gauge.pack.is_mains() || !self.is_idle() {
            return;
        }
        self.readings.wanted = false;
        if due {
            self.readings.tested_for = self.timers.at(Reason::Due);
        }
        effects.push(Effect::TestPack);
    }

    /// When the pack is to be tested: before the next due, unless a dose is open, whose
    /// pulses read it anyway.
    pub(super) fn pack_test_at(&self) -> Option<Instant> {
        if self.book.gauge.pack.is_mains() || !self.is_idle() {
            return None;
        }
        let due_at = self.timers.at(Reason::Due);
        let due_lies_ahead = due_at > self.now && due_at != self.readings.tested_for;
        (due_lies_ahead && due_at != Instant::MAX).then(|| due_at.minus(TEST_AHEAD).max(self.now))
    }

    /// Whether the pack is low, or exhausted.
    pub(super) fn pack_is_low(&mut self) -> bool {
        let was = self.book.alarm_is_on(Alarm::PackLow);
        !self.book.gauge.pack.is_mains() && {
            let need_uc = self.need_uc();
            self.book.gauge.is_low(self.now, need_uc, was)
        }
    }

    pub(super) fn pack_is_exhausted(&self) -> bool {
        let was = self.book.alarm_is_on(Alarm::PackExhausted);
        self.book.gauge.is_exhausted(self.now, was)
    }

    /// Whether the pack cannot finish a dose of an entry.
    pub(super) fn pack_hinders(&self, entry: &Entry) -> Option<Cause> {
        let gauge = &self.book.gauge;
        let pack = gauge.pack()?;
        let dose_uc = self.dose_uc(pack, entry);
        gauge.cannot_give(self.now, dose_uc, self.pack_is_exhausted()).then_some(Cause::Battery)
    }

    pub(super) fn dose_uc(&self, pack: &Pack, entry: &Entry) -> u64 {
        let Some(head) = &self.book.head else { return 0 };
        let on = head.flow.on_time(entry.volume, Carry(0)).0;
        let pulses = timetable::fit(entry, head).unwrap_or(1);
        let lead_ms = units::times(u64::from(head.lead_ms), u64::from(pulses));
        pack.pumping_uc(on.as_ms().saturating_add(lead_ms), u64::from(pulses))
    }

    /// What the days of warning need at the most, of this timetable (P3). It is worked out
    /// once on each day.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    fn need_uc(&mut self) -> u64 {
        let clock = self.book.clock.as_ref();
        let today = clock.map_or(UNSET, |clock| {
            over(clock.utc(self.now).as_ms().max(0) as u64, DAY_MS as u64) as i32
        });
        if self.readings.need_day != today {
            self.readings.need_day = today;
            let pack = &self.book.gauge.pack;
            // a stretch of time has a due of an interval at both of its ends
            self.readings.need_uc =
                self.taken_in(u32::from(pack.warn_days), Some(pack), today, None);
        }
        self.readings.need_uc
    }

    /// The need has to be worked out again.
    pub(super) const fn refit_pack(&mut self) {
        self.readings.need_day = NEVER;
    }

    /// What so many days take: in uC of the pack, or else in nl of the product. From the
    /// day on, of the entries that can be due in them, where the clock is set: whatever the
    /// zone, and of each interval one due more than the days have room for. Where it is asked
    /// until when that holds, of the entries that are in force on the day.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(super) fn taken_in(
        &self,
        days: u32,
        pack: Option<&Pack>,
        day: i32,
        mut until: Option<&mut i32>,
    ) -> u64 {
        let (from, to, spare) = match until {
            Some(_) => (day, day, 0),
            None => (day.wrapping_sub(AFTER), day.wrapping_add(days as i32 + 1), 1),
        };
        let mut sum = pack.map_or(0, |pack| pack.asleep_uc(u64::from(days)));
        for line in 0..N {
            let entry = self.book.timetable.line(line);
            let Some(entry) = entry.as_ref().filter(|entry| entry.enabled) else { continue };
            let is_over = entry.last.is_some_and(|last| last.days() < from);
            let begins = entry.first.map(Date::days).filter(|first| *first > to);
            if let Some(until) = &mut until {
                let ends = || entry.last.map(|last| last.days().wrapping_add(1));
                if let Some(change) = begins.or_else(ends).filter(|_| !is_over) {
                    **until = change.min(**until);
                }
            }
            if day >= 0 && (is_over || begins.is_some()) {
                continue;
            }
            let each = match pack {
                Some(pack) => self.dose_uc(pack, entry),
                None => entry.volume.as_nl(),
            };
            let times = u64::from(most_dues(entry, days, spare));
            sum = sum.saturating_add(units::times(each, times));
        }
        sum
    }

    /// Whether a volume that an operator asks for is more than the pack can give.
    pub(super) fn pack_refuses(&self, entry: &Entry, volume: Volume) -> Result<(), Refusal> {
        let asked = Entry { volume, ..*entry };
        match self.pack_hinders(&asked) {
            Some(_) => Err(Refusal::Battery),
            None => Ok(()),
        }
    }
}

/// The most dues that an entry can have in so many days; of an interval what they have
/// room for, and so many more.
fn most_dues(entry: &Entry, days: u32, spare: u64) -> u32 {
    match entry.recurrence {
        Recurrence::Weekly { days: of_week, .. } => {
            let a_week = u32::from(of_week.bits()).count_ones();
            (days / 7).saturating_mul(a_week).saturating_add(a_week.min(days % 7))
        }
        Recurrence::Interval { every_ms, .. } => {
            let span = Duration::from_h(24).as_ms().saturating_mul(u64::from(days));
            let times = (span / every_ms.max(1)).saturating_add(spare);
            u32::try_from(times).unwrap_or(u32::MAX)
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::civil::Days;
    use crate::entry::plain;

    #[test]
    fn p3_no_stretch_of_days_has_more_dues_than_are_counted_on() {
        let entry = |recurrence| plain(1, recurrence, Volume::from_ml(40));
        let weekly = |bits| {
            let days = Days::from_bits(bits);
            entry(Recurrence::Weekly { days, at_min: 120, by_night: false })
        };
        // Monday, Tuesday and Saturday: over any two weeks 6, over 16 days 8, over 20 days 9
        for (days, most) in [(0, 0), (2, 2), (7, 3), (14, 6), (15, 7), (16, 8), (17, 9), (20, 9)] {
            assert_eq!(most_dues(&weekly(0b10_0011), days, 1), most, "{days}");
        }
        let every = |h| {
            let every_ms = Duration::from_h(h).as_ms();
            entry(Recurrence::Interval { every_ms, from: Instant::ZERO })
        };
        // both ends of the stretch may have one
        assert_eq!(most_dues(&every(6), 2, 1), 9);
        assert_eq!(most_dues(&every(7), 2, 1), 7);
        assert_eq!(most_dues(&every(72), 2, 1), 1);
    }
}
