//! Which clock was in force when: from the device's own counts to local times.

use dosewright_core::civil::Local;
use dosewright_core::entry::{Entry, Nominal, Recurrence};
use dosewright_core::schedule::WallClock;
use dosewright_core::time::{Instant, Utc};
use dosewright_core::zone::Zone;

use super::Stamped;

/// Epochs kept; a due is named by the clock of its epoch, and a due of an older
/// epoch than these is over by far.
const KEPT: usize = 64;
const MINUTE_MS: i64 = 60_000;

/// A setting of the clock.
#[derive(Debug)]
struct Epoch {
    number: u16,
    clock: WallClock,
    /// When a start found it lost.
    lost: Option<Instant>,
}

/// The device's clocks, epoch by epoch, and its elapsed time against the truth.
#[derive(Debug)]
pub(super) struct Clocks {
    epochs: Vec<Epoch>,
    /// The clock in force; `None` while it is unset.
    now: Option<WallClock>,
    /// True ms, count and rate in ppb of the chip as last seen.
    chip: Option<(u64, i64, i64)>,
}

impl Clocks {
    /// Never set, nothing counted.
    pub(super) const NONE: Self = Self { epochs: Vec::new(), now: None, chip: None };

    pub(super) fn chip(&mut self, at_ms: u64, count_ms: i64, rate_ppb: i64) {
        self.chip = Some((at_ms, count_ms, rate_ppb));
    }

    /// A setting takes effect at an instant; gives the clock before and after.
    pub(super) fn set(
        &mut self,
        at: Instant,
        epoch: u16,
        utc: Option<Utc>,
        zone: Zone,
    ) -> (Option<WallClock>, Option<WallClock>) {
        let before = self.now;
        let after = utc.map(|utc| WallClock::at(at, utc, zone));
        self.now = after;
        if let Some(clock) = after {
            self.epochs.retain(|kept| kept.number != epoch);
            if self.epochs.len() == KEPT {
                self.epochs.remove(0);
            }
            self.epochs.push(Epoch { number: epoch, clock, lost: None });
        }
        (before, after)
    }

    /// The chip lost its feed, which a start at that instant has found.
    pub(super) fn lost(&mut self, at: Instant) {
        if self.now.take().is_some()
            && let Some(last) = self.epochs.last_mut()
        {
            last.lost = Some(at);
        }
    }

    fn epoch(&self, number: u16) -> Option<&Epoch> {
        self.epochs.iter().find(|epoch| epoch.number == number)
    }

    /// What a clock shows at an instant.
    pub(super) fn show(clock: &WallClock, at: Instant) -> Stamped {
        let utc = clock.utc(at);
        Stamped { local: clock.zone.to_local(utc), offset_s: clock.zone.offset_at(utc) }
    }

    /// The clock in force; `None` while it is unset.
    pub(super) const fn now(&self) -> Option<&WallClock> {
        self.now.as_ref()
    }

    /// What the chip counts at a true ms, by its present rate.
    pub(super) fn count_at(&self, at_ms: u64) -> Option<Instant> {
        let (then, count, rate_ppb) = self.chip?;
        let passed = i128::from(at_ms) - i128::from(then);
        let counted = passed * (1_000_000_000 + i128::from(rate_ppb)) / 1_000_000_000;
        i64::try_from(i128::from(count) + counted).ok().map(Instant::from_ms)
    }

    /// The true ms at which the chip counts an instant, by its present rate;
    /// before the run for one that lies before it.
    pub(super) fn truth_of(&self, at: Instant) -> Option<i64> {
        let (then, count, rate_ppb) = self.chip?;
        let counted = i128::from(at.as_ms()) - i128::from(count);
        let elapsed = counted * 1_000_000_000 / (1_000_000_000 + i128::from(rate_ppb)).max(1);
        i64::try_from(i128::from(then) + elapsed).ok()
    }

    /// The zone by which a due of that epoch is told.
    pub(super) fn zone(&self, entry: Option<&Entry>, epoch: u16) -> Option<Zone> {
        let weekly = self.epoch(epoch).filter(|_| entry.is_some_and(Entry::is_weekly));
        weekly.map(|epoch| epoch.clock.zone).or_else(|| self.now.map(|clock| clock.zone))
    }

    /// The device local time at which a due is nominally meant: of a weekly due
    /// its own time after a move by D8, of an interval's what the clock shows at
    /// its instant. `None` where the clock is unset.
    pub(super) fn due(
        &self,
        entry: Option<&Entry>,
        epoch: u16,
        nominal: Option<Nominal>,
        at: Instant,
    ) -> Option<Stamped> {
        let of_epoch = self.epoch(epoch);
        let weekly = entry.filter(|entry| matches!(entry.recurrence, Recurrence::Weekly { .. }));
        match (weekly, nominal, of_epoch) {
            (Some(entry), Some(n), Some(Epoch { clock, .. })) => {
                let local = Local::from_ms(i64::from(n.0) * MINUTE_MS);
                let utc = clock.zone.to_utc(local, entry.gap_rule);
                Some(Stamped {
                    local: clock.zone.to_local(utc),
                    offset_s: clock.zone.offset_at(utc),
                })
            }
            // a clock that was set, or lost, since then does not tell what it was
            _ => {
                let still_set = of_epoch.filter(|epoch| epoch.lost.is_none_or(|lost| lost >= at));
                Some(Self::show(still_set.map(|epoch| &epoch.clock).or(self.now.as_ref())?, at))
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_count_is_brought_back_to_the_truth() {
        let mut clocks = Clocks::NONE;
        assert_eq!(clocks.truth_of(Instant::from_ms(5)), None);
        assert_eq!(clocks.count_at(5), None);
        // 20 ppm of a day are 1.728 s
        clocks.chip(0, 0, 20_000);
        assert_eq!(clocks.truth_of(Instant::from_ms(86_401_728)), Some(86_400_000));
        clocks.chip(86_400_000, 86_401_728, -13_600);
        assert_eq!(
            clocks.truth_of(Instant::from_ms(86_401_728 + 86_400_000 - 1_175)),
            Some(2 * 86_400_000)
        );
        assert_eq!(
            clocks.count_at(2 * 86_400_000),
            Some(Instant::from_ms(86_401_728 + 86_400_000 - 1_176))
        );
        // and backwards, to before the run
        clocks.chip(0, 0, 0);
        assert_eq!(clocks.truth_of(Instant::from_ms(-7)), Some(-7));
    }
}
