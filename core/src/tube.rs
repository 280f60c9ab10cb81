//! The tube set: what calibrations have said of it since it was put in, and when
//! it is due to be changed (O4).

use crate::time::{Duration, Instant};
use crate::units::{Flow, over, times};

/// A tube set is due when it delivers so much less than at its first calibration, a
/// tenth: common practice, no source.
const DUE_BELOW_BY: u32 = 10;

/// What one calibration found.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Found {
    /// When.
    pub at: Instant,
    /// The flow.
    pub flow: Flow,
    /// Its expanded uncertainty (k = 2), in ppm.
    pub uncertainty_ppm: u32,
}

/// What is known of the tube set. The ledger has every calibration; what is kept
/// here is what its trend is reckoned from.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Tube {
    /// When it was put in; `None` where nobody said so.
    pub since: Option<Instant>,
    /// The flow that the head was set up with, by which a reading is plausible.
    pub nominal: Option<Flow>,
    /// The first calibration, the last, and the one before that, as far as there
    /// were so many.
    pub found: [Option<Found>; 3],
}

impl Tube {
    /// Nothing is known of it.
    pub const UNKNOWN: Self = Self { since: None, nominal: None, found: [None; 3] };

    /// A new one is in: its history begins.
    pub const fn change(&mut self, at: Instant) {
        (self.since, self.found) = (Some(at), [None; 3]);
    }

    /// A calibration has found a flow.
    pub const fn note(&mut self, found: Found) {
        let [first, before, last] = self.found;
        self.found = match (first, before, last) {
            (None, ..) => [Some(found), None, None],
            (_, None, _) => [first, Some(found), None],
            (_, _, None) => [first, before, Some(found)],
            _ => [first, last, Some(found)],
        };
    }

    /// The last calibration.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub fn last(&self) -> Option<&Found> {
        self.found.iter().rev().flatten().next()
    }

    /// The calibrations that are known, in their order.
    pub fn calibrations(&self) -> impl Iterator<Item = Found> + '_ {
        self.found.iter().filter_map(|found| *found)
    }

    /// When its flow is a tenth below that of its first calibration, by the
    /// straight line from there to the last. `None` with fewer than two of them, or
    /// where it has not fallen.
    #[inline]
    pub fn due_at(&self) -> Option<Instant> {
        let [first, ..] = &self.found;
        let (first, last) = (first.as_ref()?, self.last()?);
        let (base, now) = (first.flow.as_nl_per_min(), last.flow.as_nl_per_min());
        if now >= base {
            return None;
        }
        // seconds, so that a century and a tenth of a flow go into 64 bits together
        let span_s = over(last.at.since(first.at).as_ms(), 1000) as u32;
        // rounded up: it is more than another flow
        let may_lose = base.wrapping_sub(1) / DUE_BELOW_BY + 1;
        let until_s = over(u64::from(span_s) * u64::from(may_lose), u64::from(base - now));
        Some(first.at.plus(Duration::from_ms(times(until_s, 1000))))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const DAY_MS: i64 = 86_400_000;

    fn found(day: i64, ul_per_min: u32) -> Found {
        Found {
            at: Instant::from_ms(day * DAY_MS),
            flow: Flow::from_nl_per_min(ul_per_min * 1000).unwrap(),
            uncertainty_ppm: 10_000,
        }
    }

    #[test]
    fn o4_the_trend_says_when_a_tenth_is_lost_and_a_new_tube_forgets_it() {
        let mut tube = Tube::UNKNOWN;
        assert_eq!(tube.due_at(), None);
        tube.note(found(0, 30_000));
        assert_eq!(tube.due_at(), None, "one reading has no trend");
        tube.note(found(30, 30_100));
        assert_eq!(tube.due_at(), None, "it has not fallen");
        // 1 ml/min of 30 in 100 days: 3 ml/min in 300
        tube.note(found(100, 29_000));
        assert_eq!(tube.due_at(), Some(Instant::from_ms(300 * DAY_MS)));
        // the last counts, the ones between do not
        tube.note(found(200, 28_000));
        assert_eq!(tube.due_at(), Some(Instant::from_ms(300 * DAY_MS)));
        let kept = [found(0, 30_000), found(100, 29_000), found(200, 28_000)];
        assert_eq!(tube.found, kept.map(Some));
        tube.change(Instant::from_ms(250 * DAY_MS));
        assert_eq!((tube.due_at(), tube.calibrations().count()), (None, 0));
        assert_eq!(tube.since, Some(Instant::from_ms(250 * DAY_MS)));
    }

    #[test]
    fn o4_a_second_calibration_follows_the_first() {
        let mut tube = Tube::UNKNOWN;
        for day in [0, 30] {
            tube.note(found(day, 30_000));
        }
        assert_eq!(tube.found, [Some(found(0, 30_000)), Some(found(30, 30_000)), None]);
        assert_eq!(tube.last(), Some(&found(30, 30_000)));
    }
}
