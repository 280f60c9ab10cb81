//! The device's clocks, as the world's clock chip and the settings make them.

use std::collections::VecDeque;

use dosewright_core::zone::Zone;
use jiff::tz::TimeZone;

/// The clock chip's count as a function of true time.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Chip {
    since_ms: u64,
    count_ms: i64,
    rate_ppb: i64,
}

impl Chip {
    /// As seen at a moment of true time.
    pub(crate) fn set(&mut self, at_ms: u64, count_ms: i64, rate_ppb: i64) {
        *self = Self { since_ms: at_ms, count_ms, rate_ppb };
    }

    /// Its count at a moment of true time, rounded down.
    pub(crate) fn count(&self, at_ms: u64) -> i64 {
        let gone = at_ms as i64 - self.since_ms as i64;
        let extra = if self.rate_ppb == 0 {
            0
        } else {
            (i128::from(gone) * i128::from(self.rate_ppb)).div_euclid(1_000_000_000) as i64
        };
        self.count_ms + gone + extra
    }

    /// How far a length in ms that the device measured may be off the chip's
    /// count of it: both ends are read in whole ms.
    pub(crate) fn slack_ms(&self) -> i64 {
        i64::from(self.rate_ppb != 0)
    }

    /// The first moment of true time at which the count is at least `count_ms`.
    pub(crate) fn when(&self, count_ms: i64) -> u64 {
        let (mut low, mut high) = (self.since_ms, self.since_ms);
        while self.count(high) < count_ms {
            low = high;
            high += (high - self.since_ms).max(1);
        }
        while low < high {
            let middle = low + (high - low) / 2;
            if self.count(middle) < count_ms {
                low = middle + 1;
            } else {
                high = middle;
            }
        }
        low
    }
}

/// So many settings that were replaced are remembered.
const REPLACED: usize = 8;

/// A setting of the clock that another has replaced.
#[derive(Debug, Clone)]
struct Replaced {
    epoch: u16,
    set_at: i64,
    offset_ms: i64,
    zone: Zone,
    tz: TimeZone,
}

/// What the device's clock says: an offset from the chip's count, and a zone.
#[derive(Debug, Clone)]
pub(crate) struct Clock {
    /// UTC less elapsed time in ms; `None` while the clock is unset.
    pub(crate) offset_ms: Option<i64>,
    /// The zone in force.
    pub(crate) zone: Zone,
    /// The same zone in the independent library.
    pub(crate) tz: TimeZone,
    /// The clock epoch; 0 before the first setting.
    pub(crate) epoch: u16,
    /// The instant of its setting.
    pub(crate) set_at: i64,
    /// How often the chip lost its feed.
    pub(crate) losses: u16,
    /// The last settings before this one, the latest at the end.
    replaced: VecDeque<Replaced>,
}

impl Default for Clock {
    fn default() -> Self {
        Self {
            offset_ms: None,
            zone: Zone::UTC,
            tz: TimeZone::UTC,
            epoch: 0,
            set_at: i64::MIN,
            losses: 0,
            replaced: VecDeque::new(),
        }
    }
}

impl Clock {
    /// A setting is about to replace this one.
    pub(super) fn remember(&mut self) {
        let Some(offset_ms) = self.offset_ms else { return };
        if self.replaced.len() == REPLACED {
            self.replaced.pop_front();
        }
        let (epoch, set_at, zone, tz) = (self.epoch, self.set_at, self.zone, self.tz.clone());
        self.replaced.push_back(Replaced { epoch, set_at, offset_ms, zone, tz });
    }

    /// Goes by the setting of an epoch again, where it is remembered: whether it was.
    pub(super) fn go_back_to(&mut self, epoch: u16) -> bool {
        let Some(index) = self.replaced.iter().rposition(|past| past.epoch == epoch) else {
            return false;
        };
        if let Some(past) = self.replaced.drain(index..).next() {
            self.offset_ms = Some(past.offset_ms);
            (self.epoch, self.set_at) = (past.epoch, past.set_at);
            (self.zone, self.tz) = (past.zone, past.tz);
        }
        true
    }

    /// What the clock says at an instant, in UTC ms.
    pub(crate) fn utc_ms(&self, instant: i64) -> Option<i64> {
        self.offset_ms.map(|offset| instant + offset)
    }

    /// Local time at an instant in ms since 1970.
    pub(crate) fn local_ms(&self, instant: i64) -> Option<i64> {
        self.utc_ms(instant).map(|utc| super::zone::local_ms(&self.tz, utc))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_chip_runs_on_at_its_rate() {
        let mut chip = Chip::default();
        chip.set(1000, 50, 20_000);
        assert_eq!(chip.count(1000), 50);
        // 20 ppm of 86 400 s is 1.728 s (arithmetic)
        assert_eq!(chip.count(1000 + 86_400_000), 50 + 86_400_000 + 1728);
        chip.set(0, 0, -30_000);
        assert_eq!(chip.count(1_000_000), 999_970);
        for count in [0, 1, 33_332, 33_333, 999_970, 999_971, 77_777_777] {
            let at = chip.when(count);
            assert!(chip.count(at) >= count);
            assert!(at == 0 || chip.count(at - 1) < count);
        }
    }

    #[test]
    fn settings_that_were_replaced_are_remembered_as_far_as_they_go() {
        let mut clock = Clock::default();
        for epoch in 1..=10_u16 {
            clock.remember();
            (clock.epoch, clock.offset_ms) = (epoch, Some(i64::from(epoch) * 1000));
        }
        // the tenth is in force: nine were replaced, of which the last eight are kept
        assert!(!clock.clone().go_back_to(1) && !clock.clone().go_back_to(10));
        let mut second = clock.clone();
        assert!(second.go_back_to(2));
        assert_eq!((second.epoch, second.utc_ms(5)), (2, Some(2005)));
        // what came after it is forgotten
        assert!(!second.clone().go_back_to(3));
        assert!(clock.go_back_to(9) && clock.go_back_to(3) && !clock.go_back_to(4));
    }
}
