//! The battery pack: what was drawn from it by account, what its voltage says, and
//! how long it lasts this timetable (P3).
//!
//! Voltage alone does not tell days ahead: it says whether the pack can turn the
//! motor now. The charge drawn by account does, for a pack that began full. So the
//! account gives the days and the voltage has the last word on a dose.

use crate::time::{Duration, Instant};
use crate::units::times;

/// Readings that make a mean (GIP 5.1.1 to 5.1.6).
pub const READINGS: u8 = 10;
/// Readings further apart than this are no longer of one mean (GIP 5.1.1 to 5.1.6).
pub const READINGS_APART: Duration = Duration::from_min(3);
/// How long before a dose is due the pack is tested (own choice).
pub const TEST_AHEAD: Duration = Duration::from_min(1);
/// Share of the capacity that the low alarm counts on, as a fraction: an estimate of
/// the remaining battery is within 25 % (PCA R7.3.0(3)), and a full pack may have a
/// quarter less than it says.
const COUNTED_ON: (u64, u64) = (3, 4);
/// Microcoulombs, which are mA times ms, in a mAh.
const UC_A_MAH: u64 = 3_600_000;
/// Milliseconds in a day.
const DAY_MS: u64 = 86_400_000;

/// The pack and what draws from it, as an installer sets them up.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Pack {
    /// What can be used of a full pack at the motor's current, in mAh; 0 for a
    /// device on mains, which asks for no readings.
    pub capacity_mah: u16,
    /// Current of the running motor, in mA.
    pub motor_ma: u16,
    /// Current of a start beside it, in mA.
    pub start_ma: u16,
    /// How long a start lasts, in ms.
    pub start_ms: u16,
    /// Current that never stops, in uA: sleep, and what the pack loses by itself.
    pub sleep_ua: u16,
    /// Current of the lit display, in uA.
    pub display_ua: u16,
    /// At this voltage under load or below it the pack is low, in mV.
    pub low_mv: u16,
    /// At this voltage under load or below it no dose is begun, in mV. It is to be so
    /// far above the least voltage of the device that a dose can be finished.
    pub exhausted_mv: u16,
    /// How far above a threshold the voltage has to come to be above it again, in mV.
    pub hysteresis_mv: u16,
    /// A voltage at rest that is higher by so much than the last one is another
    /// pack's, in mV; 0 for never.
    pub jump_mv: u16,
    /// How many days of this timetable ahead the low alarm has to come.
    pub warn_days: u8,
}

impl Pack {
    /// A device on mains.
    pub const MAINS: Self = Self {
        capacity_mah: 0,
        motor_ma: 0,
        start_ma: 0,
        start_ms: 0,
        sleep_ua: 0,
        display_ua: 0,
        low_mv: 0,
        exhausted_mv: 0,
        hysteresis_mv: 0,
        jump_mv: 0,
        warn_days: 0,
    };
    /// How many days ahead the low alarm comes unless said (own choice).
    pub const WARN_DAYS: u8 = 14;
    /// The most that may be set.
    pub const MOST_WARN_DAYS: u8 = 120;

    /// Whether there is none.
    pub const fn is_mains(&self) -> bool {
        self.capacity_mah == 0
    }

    /// Whether its figures go together.
    pub const fn is_sound(&self) -> bool {
        self.is_mains()
            || self.motor_ma > 0
                && self.low_mv >= self.exhausted_mv
                && self.warn_days <= Self::MOST_WARN_DAYS
    }

    /// Charge of so much pumping in so many starts, in uC.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub const fn pumping_uc(&self, on_ms: u64, starts: u64) -> u64 {
        let start = self.start_ma as u64 * self.start_ms as u64;
        times(on_ms, self.motor_ma as u64).saturating_add(times(starts, start))
    }

    /// Charge of so much time asleep, in uC.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    const fn sleep_uc(&self, ms: u64) -> u64 {
        times(ms, self.sleep_ua as u64) / 1000
    }

    /// Charge of so much time with the display lit, in uC.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub const fn display_uc(&self, ms: u64) -> u64 {
        times(ms, self.display_ua as u64) / 1000
    }

    /// Charge of so many days asleep, in uC.
    pub const fn asleep_uc(&self, days: u64) -> u64 {
        self.sleep_uc(times(days, DAY_MS))
    }

    const fn capacity_uc(&self) -> u64 {
        self.capacity_mah as u64 * UC_A_MAH
    }

    const fn counted_on_uc(&self) -> u64 {
        self.capacity_uc() / COUNTED_ON.1 * COUNTED_ON.0
    }
}

/// The gauge: the account of a pack and its last means.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Gauge {
    /// The pack.
    pub pack: Pack,
    /// When it was put in, full.
    pub since: Instant,
    /// What was drawn from it since beside sleep, in uC.
    pub used_uc: u64,
    /// The last mean at rest, in mV; 0 where there is none.
    pub rest_mv: u16,
    /// The last mean under load, in mV; 0 where there is none.
    pub load_mv: u16,
}

impl Gauge {
    /// A device on mains.
    pub const MAINS: Self =
        Self { pack: Pack::MAINS, since: Instant::ZERO, used_uc: 0, rest_mv: 0, load_mv: 0 };

    /// The pack, on a device that has one.
    pub const fn pack(&self) -> Option<&Pack> {
        if self.pack.is_mains() { None } else { Some(&self.pack) }
    }

    /// The figures of the pack are set. The account goes on, unless there was none; on
    /// mains there is none, and no figures.
    pub const fn set(&mut self, at: Instant, pack: Pack) {
        if pack.is_mains() {
            *self = Self::MAINS;
            return;
        }
        if self.pack.is_mains() {
            self.since = at;
        }
        self.pack = pack;
    }

    /// Another pack is in: it is taken for full, and its voltage is yet to be read.
    pub const fn reset(&mut self, at: Instant) {
        *self = Self { pack: self.pack, since: at, ..Self::MAINS };
    }

    /// So much was drawn, in uC.
    pub const fn draw(&mut self, uc: u64) {
        self.used_uc = self.used_uc.saturating_add(uc);
    }

    /// What was drawn by now, in uC.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub const fn drawn_uc(&self, now: Instant) -> u64 {
        let asleep = self.pack.sleep_uc(now.since(self.since).as_ms());
        self.used_uc.saturating_add(asleep)
    }

    /// What is left by now, in uC.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub const fn left_uc(&self, now: Instant) -> u64 {
        self.pack.capacity_uc().saturating_sub(self.drawn_uc(now))
    }

    /// What of it can still be counted on by now, in uC.
    #[cfg(feature = "panel")]
    pub const fn counted_on_uc(&self, now: Instant) -> u64 {
        self.pack.counted_on_uc().saturating_sub(self.drawn_uc(now))
    }

    /// Whether the pack is low: by its voltage under load, or because what can be
    /// counted on is no more than the days of warning need, in uC. `was`: it was low
    /// before.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub const fn is_low(&self, now: Instant, need_uc: u64, was: bool) -> bool {
        if self.pack.is_mains() {
            return false;
        }
        let counted_on = self.pack.counted_on_uc();
        let by_account = counted_on <= self.drawn_uc(now).saturating_add(need_uc);
        by_account || self.is_under(self.pack.low_mv, was)
    }

    /// Whether the pack can turn the motor no more, by its voltage under load; by
    /// account where nobody reads its voltage.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub const fn is_exhausted(&self, now: Instant, was: bool) -> bool {
        if self.pack.is_mains() {
            return false;
        }
        if self.load_mv == 0 {
            return self.left_uc(now) == 0;
        }
        self.is_under(self.pack.exhausted_mv, was)
    }

    /// Whether it cannot finish a dose that draws so much, in uC.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub const fn cannot_give(&self, now: Instant, dose_uc: u64, exhausted: bool) -> bool {
        !self.pack.is_mains() && (exhausted || self.load_mv == 0 && self.left_uc(now) < dose_uc)
    }

    #[cfg_attr(target_pointer_width = "32", inline(never))]
    const fn is_under(&self, threshold_mv: u16, was: bool) -> bool {
        let hysteresis_mv = if was { self.pack.hysteresis_mv } else { 0 };
        self.load_mv != 0 && self.load_mv <= threshold_mv.saturating_add(hysteresis_mv)
    }

    /// Whether a mean at rest is so far above the last that another pack is in.
    pub const fn is_another(&self, rest_mv: u16) -> bool {
        let jump_mv = self.pack.jump_mv;
        jump_mv != 0 && self.rest_mv != 0 && rest_mv >= self.rest_mv.saturating_add(jump_mv)
    }
}

/// A mean in the making.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Mean {
    /// Readings that were taken, in [`Self::ONE`], and the sum of them in mV below that: the
    /// state has two of these, and lies in RAM.
    taken: u32,
    least_mv: u16,
    most_mv: u16,
    last: Instant,
}

impl Mean {
    /// No reading yet.
    pub const NONE: Self = Self { taken: 0, least_mv: u16::MAX, most_mv: 0, last: Instant::MIN };
    /// One reading; ten are less in mV.
    const ONE: u32 = 1 << 24;

    /// Takes in a reading; the mean of the last ten, once there are ten that came no
    /// more than [`READINGS_APART`] after one another. The highest and the lowest of them
    /// are left out, so that one wrong reading is no other pack. The next ten make the
    /// next one.
    pub fn take(&mut self, at: Instant, mv: u16) -> Option<u16> {
        // the first is far from none
        if at.since(self.last).as_ms() > READINGS_APART.as_ms() {
            *self = Self::NONE;
        }
        self.taken += Self::ONE + u32::from(mv);
        self.least_mv = self.least_mv.min(mv);
        self.most_mv = self.most_mv.max(mv);
        self.last = at;
        if self.taken < u32::from(READINGS) * Self::ONE {
            return None;
        }
        let sum_mv = self.taken % Self::ONE - u32::from(self.least_mv) - u32::from(self.most_mv);
        let mean = sum_mv / u32::from(READINGS - 2);
        *self = Self::NONE;
        Some(mean as u16)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(ms: i64) -> Instant {
        Instant::from_ms(ms)
    }

    const PACK: Pack = Pack {
        capacity_mah: 6000,
        motor_ma: 350,
        start_ma: 1200,
        start_ms: 30,
        sleep_ua: 60,
        display_ua: 12_000,
        low_mv: 7000,
        exhausted_mv: 6300,
        hysteresis_mv: 200,
        jump_mv: 700,
        warn_days: 14,
    };

    #[test]
    fn p3_a_mean_is_of_ten_readings_at_most_three_minutes_apart() {
        // GIP 5.1.1 to 5.1.6
        let mut mean = Mean::NONE;
        let three_min = READINGS_APART.as_ms() as i64;
        for i in 0..9 {
            assert_eq!(mean.take(at(i * three_min), 6000 + i as u16), None);
        }
        assert_eq!(mean.take(at(9 * three_min), 6009), Some(6004));
        // one that comes later begins anew
        for i in 0..9 {
            assert_eq!(mean.take(at(i), 5000), None);
        }
        assert_eq!(mean.take(at(9 + three_min), 7000), None);
        for i in 0..8 {
            assert_eq!(mean.take(at(10 + three_min + i), 7000), None);
        }
        assert_eq!(mean.take(at(20 + three_min), 7000), Some(7000));
    }

    #[test]
    fn p3_a_mean_leaves_out_the_highest_and_the_lowest() {
        for wrong in [0, 5999, 6009, u16::MAX] {
            for place in 0..READINGS {
                let mut mean = Mean::NONE;
                let mut made = None;
                for i in 0..READINGS {
                    let mv = if i == place { wrong } else { 6000 + u16::from(i) % 2 };
                    made = mean.take(at(0), mv);
                }
                assert_eq!(made, Some(6000), "{wrong} mV as reading {place}");
            }
        }
        // all ten as low and as high as can be read
        let mut mean = Mean::NONE;
        for all in [0, u16::MAX] {
            let made = (0..READINGS).filter_map(|_| mean.take(at(0), all)).last();
            assert_eq!(made, Some(all));
        }
        // the next mean knows nothing of this one's
        let made = (0..READINGS).filter_map(|_| mean.take(at(0), 3)).last();
        assert_eq!(made, Some(3));
    }

    #[test]
    fn p3_a_week_of_the_trade_s_worked_example_is_203_mah() {
        // 144 ml x 6 a week at 26.5 ml/min, 350 mA, 90 starts a dose, 60 uA, 12 mA for
        // 3 min (common practice, no source)
        let mut gauge = Gauge::MAINS;
        gauge.set(at(0), PACK);
        gauge.draw(PACK.pumping_uc(6 * 326_038, 6 * 90));
        gauge.draw(PACK.display_uc(180_000));
        let week = at(7 * DAY_MS as i64);
        // with starts of 30 ms at 1.2 A: 190.2 + 5.4 + 10.1 + 0.6 mAh
        assert_eq!(gauge.drawn_uc(week) / (UC_A_MAH / 10), 2062);
        assert_eq!(gauge.left_uc(week), 6000 * UC_A_MAH - gauge.drawn_uc(week));
    }

    #[test]
    fn p3_thresholds_have_hysteresis() {
        let mut gauge = Gauge::MAINS;
        gauge.set(at(0), PACK);
        let judge = |mv: u16, was: bool| {
            let gauge = Gauge { load_mv: mv, ..gauge };
            (gauge.is_low(at(0), 0, was), gauge.is_exhausted(at(0), was))
        };
        assert_eq!(judge(7001, false), (false, false));
        assert_eq!(judge(7000, false), (true, false));
        assert_eq!(judge(7200, true), (true, false));
        assert_eq!(judge(7201, true), (false, false));
        assert_eq!(judge(6300, false), (true, true));
        assert_eq!(judge(6500, true), (true, true));
        assert_eq!(judge(6501, true), (true, false));
    }

    #[test]
    fn p3_low_by_account_counts_on_three_quarters_of_the_pack() {
        let mut gauge = Gauge::MAINS;
        gauge.set(at(0), PACK);
        gauge.draw(4000 * UC_A_MAH);
        assert!(!gauge.is_low(at(0), 499 * UC_A_MAH, false));
        assert!(gauge.is_low(at(0), 500 * UC_A_MAH, false));
        gauge.reset(at(5));
        assert_eq!(gauge.drawn_uc(at(5)), 0);
        assert_eq!(gauge.pack, PACK);
    }

    #[test]
    fn p3_without_readings_the_account_says_what_a_dose_can_have() {
        let mut gauge = Gauge::MAINS;
        assert!(!gauge.cannot_give(at(0), u64::MAX, false), "mains give what is asked for");
        gauge.set(at(0), PACK);
        gauge.draw(5990 * UC_A_MAH);
        assert!(gauge.cannot_give(at(0), 11 * UC_A_MAH, false));
        assert!(!gauge.cannot_give(at(0), 9 * UC_A_MAH, false));
        gauge.load_mv = 7500;
        assert!(!gauge.cannot_give(at(0), 11 * UC_A_MAH, false), "the voltage has the last word");
    }

    #[test]
    fn p3_a_jump_at_rest_is_another_pack() {
        let mut gauge = Gauge::MAINS;
        gauge.set(at(0), PACK);
        assert!(!gauge.is_another(9000), "nothing to judge the first one by");
        gauge.rest_mv = 8000;
        assert!(!gauge.is_another(8699));
        assert!(gauge.is_another(8700));
        gauge.pack.jump_mv = 0;
        assert!(!gauge.is_another(9999));
    }

    #[test]
    fn p3_the_figures_of_a_pack_go_together() {
        assert!(Pack::MAINS.is_sound() && PACK.is_sound());
        for (pack, is_sound) in [
            (Pack { motor_ma: 0, ..PACK }, false),
            (Pack { motor_ma: 1, ..PACK }, true),
            (Pack { low_mv: 6299, ..PACK }, false),
            (Pack { low_mv: 6300, ..PACK }, true),
            (Pack { warn_days: 120, ..PACK }, true),
            (Pack { warn_days: 121, ..PACK }, false),
        ] {
            assert_eq!(pack.is_sound(), is_sound, "{pack:?}");
        }
        assert_eq!(PACK.asleep_uc(2), 2 * 86_400 * 60);
    }

    #[test]
    fn p3_another_pack_is_full_from_when_it_was_put_in() {
        let mut gauge = Gauge::MAINS;
        assert_eq!(gauge.pack(), None);
        gauge.set(at(0), PACK);
        gauge.draw(7);
        gauge.reset(at(1_000_000));
        assert_eq!(gauge.pack(), Some(&PACK));
        // 60 uA for 1000 s since then
        assert_eq!(gauge.drawn_uc(at(2_000_000)), 60_000);
        // figures set anew leave the account as it is; on mains there is none
        gauge.set(at(3_000_000), Pack { motor_ma: 400, ..PACK });
        assert_eq!((gauge.pack.motor_ma, gauge.drawn_uc(at(2_000_000))), (400, 60_000));
        gauge.set(at(4_000_000), Pack { motor_ma: 400, ..Pack::MAINS });
        assert_eq!(gauge, Gauge::MAINS);
    }

    #[test]
    fn p3_by_account_a_pack_is_exhausted_when_nothing_is_left() {
        let mut gauge = Gauge::MAINS;
        gauge.set(at(0), PACK);
        gauge.draw(6000 * UC_A_MAH - 5);
        assert!(!gauge.is_exhausted(at(0), false));
        // what a dose draws may be all there is
        assert!(!gauge.cannot_give(at(0), 5, false) && gauge.cannot_give(at(0), 6, false));
        gauge.draw(5);
        assert!(gauge.is_exhausted(at(0), false));
    }
}
