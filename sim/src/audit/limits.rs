//! D7 as the pin shows it: rest after a pulse, and starts in an hour.

use std::collections::VecDeque;

use dosewright_core::config::Head;

use super::dose::TICK_MS;
use super::share::share_up;

const HOUR_MS: i64 = 3_600_000;

/// So much later than its place a pulse may start for the limits, and stays one of its
/// train: how long a device waits for a start before it makes a new train is its own affair,
/// and one that waits for a second is not told by its outcome.
pub(crate) const PUT_OFF_MS: i64 = 1_000;

/// What the pump has done lately, in device ms.
#[derive(Debug, Clone, Default)]
pub(crate) struct Limits {
    /// The last starts of pulses, the oldest first.
    starts: VecDeque<i64>,
    /// When the pump last went off after a pulse, and how long it had been on.
    last_off: Option<(i64, i64)>,
    /// How long that pulse was to be: a device may rest for the whole of it.
    last_meant_ms: i64,
    /// When prime or calibrate last ended, and how long they had run.
    service_off: Option<(i64, i64)>,
    /// A device that started again may think that the pump ran and rests so long.
    unsure_until: Option<i64>,
}

/// How much longer than a pulse the pump runs for it, in ms (O3). Pulses are reckoned from
/// their start by what they count, and this is part of the rest behind them.
pub(crate) fn lead_ms(head: &Head) -> i64 {
    i64::from(head.lead_ms)
}

/// The shortest and the longest pulse that the head's runs allow, in ms.
pub(crate) fn pulse_limits(head: &Head) -> (i64, i64) {
    let of = |run_ms: u32| (i64::from(run_ms) - lead_ms(head)).max(1);
    (of(head.shortest_on_ms), of(head.longest_run_ms))
}

/// The time that a pulse needs behind it, in ms: the rest of its run, and what that is
/// longer than the pulse.
pub(crate) fn rest_ms(head: &Head, on_ms: i64) -> i64 {
    lead_ms(head) + rest_of_run_ms(head, on_ms + lead_ms(head))
}

/// How far the end of a rest may be off, in device ms: the pulse before it is measured to a
/// ms, and each of its ms asks for its share of rest.
pub(crate) fn rest_tick_ms(head: &Head) -> i64 {
    share_up(TICK_MS, i64::from(head.least_rest_ms), i64::from(head.longest_run_ms.max(1)))
        + TICK_MS
}

/// The rest that a run of the pump needs, in ms.
pub(crate) fn rest_of_run_ms(head: &Head, on_ms: i64) -> i64 {
    let (rest, longest) = (i64::from(head.least_rest_ms), i64::from(head.longest_run_ms.max(1)));
    share_up(on_ms.max(0), rest, longest).max(i64::from(head.shortest_off_ms))
}

/// The rest behind the longest run of any kind that the pump may have made, in ms.
pub(crate) fn longest_rest_ms(head: &Head) -> i64 {
    let runs = [head.longest_run_ms, head.longest_prime_ms, head.longest_calibration_ms];
    rest_of_run_ms(head, runs.into_iter().max().map_or(0, i64::from))
}

/// Whether a dose can lie evenly in its window: pulses at least an hour's share of
/// the starts apart, each with its rest, the last one's included (D5, D7).
pub(crate) fn fits_evenly(head: &Head, total_ms: i64, window_ms: i64, pulses: Option<u16>) -> bool {
    // fewer pulses need less rest: the fewest that are short enough decide
    let n = pulses.map_or_else(|| fewest(head, total_ms), |n| i64::from(n).max(1));
    have_room(head, total_ms, window_ms, n) && window_ms / n >= share_of_hour(head)
}

/// The fewest pulses that a dose can be of; nothing is left of one that may have had all.
fn fewest(head: &Head, total_ms: i64) -> i64 {
    share_up(total_ms, 1, pulse_limits(head).1).max(1)
}

/// What a start has of an hour that as many may be in as the head allows.
fn share_of_hour(head: &Head) -> i64 {
    share_up(HOUR_MS, 1, i64::from(head.starts_per_hour.max(1)))
}

/// Whether so many equal pulses are neither too short nor too long, and each has its place
/// with its rest.
fn have_room(head: &Head, total_ms: i64, span_ms: i64, n: i64) -> bool {
    let (shortest, longest) = pulse_limits(head);
    let on = share_up(total_ms, 1, n);
    on <= longest && total_ms / n >= shortest && span_ms / n >= on + rest_ms(head, on)
}

/// The most pulses that a device may have planned a dose with: as many as the
/// least volume of one allows, and as lie evenly in the window (D5, D7).
pub(crate) fn most_even(head: &Head, total_ms: i64, window_ms: i64, volume_nl: u64) -> i64 {
    let by_volume = volume_nl / head.least_pulse.as_nl().max(1);
    (1..=by_volume.clamp(1, 10_000) as i64)
        .rev()
        .find(|&n| fits_evenly(head, total_ms, window_ms, u16::try_from(n).ok()))
        .unwrap_or(1)
}

impl Limits {
    /// A pulse has started.
    pub(crate) fn started(&mut self, at: i64) {
        if self.starts.len() >= usize::from(Head::MOST_STARTS) {
            self.starts.pop_front();
        }
        self.starts.push_back(at);
    }

    /// A pulse has ended.
    pub(crate) fn ended(&mut self, at: i64, on_ms: i64) {
        self.last_off = Some((at, on_ms));
        self.last_meant_ms = on_ms;
    }

    /// The pulse that has ended was to be longer.
    pub(crate) fn was_meant(&mut self, on_ms: i64) {
        self.last_meant_ms = self.last_meant_ms.max(on_ms);
    }

    /// The device started again, and does not know that the pump has rested.
    pub(crate) fn unsure_until(&mut self, at: i64) {
        self.unsure_until = Some(at);
    }

    /// The device starts at this instant of its own time, its pump off: a clock
    /// that lost its feed may say an earlier instant than the pump stopped at.
    pub(crate) fn booted(&mut self, at: i64, lead_ms: i64) {
        // a pulse ends by what it counts, its run a lead later
        for (off, lead_ms) in [(&mut self.last_off, lead_ms), (&mut self.service_off, 0)] {
            if let Some((end, _)) = off {
                *end = (*end).min(at - lead_ms);
            }
        }
    }

    /// Prime or calibrate has ended.
    pub(crate) fn service_ended(&mut self, at: i64, on_ms: i64) {
        self.service_off = Some((at, on_ms));
    }

    /// Whether the pulses of a train may all start when they are planned, or little later,
    /// as far as the starts before it go.
    pub(crate) fn allow_train(&self, head: &Head, starts: impl Iterator<Item = i64>) -> bool {
        let most = usize::from(head.starts_per_hour.max(1));
        let Some(first) = self.starts.len().checked_sub(most) else {
            let missing = most - self.starts.len();
            let older = self.starts.iter();
            return older
                .zip(starts.skip(missing))
                .all(|(&old, new)| new + PUT_OFF_MS >= old + HOUR_MS);
        };
        self.starts
            .iter()
            .skip(first)
            .zip(starts)
            .all(|(&old, new)| new + PUT_OFF_MS >= old + HOUR_MS)
    }

    /// The longest pulse of an even train of `wanted` ms from `from` on over `span_ms`, of
    /// pulses as near `pulse_ms` as there can be; `None` where there can be no such train.
    pub(crate) fn longest_even(
        &self,
        head: &Head,
        from: i64,
        span_ms: i64,
        wanted: i64,
        pulse_ms: i64,
    ) -> Option<i64> {
        let starts = i64::from(head.starts_per_hour.max(1));
        let most = (wanted / pulse_ms.max(1)).clamp(1, 10_000);
        let n = (fewest(head, wanted)..=most).rev().find(|&n| {
            have_room(head, wanted, span_ms, n)
                && (n <= starts || span_ms / n >= share_of_hour(head))
                && self.allow_train(head, (0..n).map(|i| from + span_ms * i / n))
        })?;
        Some(share_up(wanted, 1, n))
    }

    /// How many starts fall in the hour before `at`.
    pub(crate) fn starts_in_hour_before(&self, at: i64) -> usize {
        self.starts.iter().filter(|&&s| s > at - HOUR_MS).count()
    }

    fn starts_allow_from(&self, head: &Head) -> Option<i64> {
        let most = usize::from(head.starts_per_hour);
        let earlier = self.starts.len().checked_sub(most)?;
        self.starts.get(earlier).map(|s| s + HOUR_MS)
    }

    /// When the pump has rested after its last pulse.
    pub(crate) fn rested_from(&self, head: &Head) -> Option<i64> {
        self.last_off.map(|(off, on)| off + rest_ms(head, on))
    }

    /// The first instant from which on a pulse may start; in the past, if it may by now.
    pub(crate) fn free_at(&self, head: &Head) -> i64 {
        let rested = self.rested_from(head).unwrap_or(i64::MIN);
        rested.max(self.starts_allow_from(head).unwrap_or(i64::MIN))
    }

    /// The first instant from `at` on at which a pulse may start.
    pub(crate) fn free_from(&self, head: &Head, at: i64) -> i64 {
        self.free_at(head).max(at)
    }

    /// As [`Self::free_from`], for a device that also rests after prime and
    /// calibrate, and for the whole of a pulse that was stopped: the rules do not
    /// say whether it has to.
    pub(crate) fn free_at_latest(&self, head: &Head, at: i64) -> i64 {
        let serviced = self.service_off.map(|(off, on)| off + rest_ms(head, on));
        let rested = self.last_off.map(|(off, _)| off + rest_ms(head, self.last_meant_ms));
        [serviced, rested, self.unsure_until]
            .into_iter()
            .flatten()
            .fold(self.free_from(head, at), i64::max)
    }

    /// The most of `wanted` ms of pumping that fits between two instants: the
    /// longest pulses at the shortest rests.
    pub(crate) fn fit(&self, head: &Head, from: i64, until: i64, wanted: i64) -> Fit {
        let mut run = self.clone();
        let (shortest, longest) = pulse_limits(head);
        let until = until - lead_ms(head);
        let (mut done, mut now) = (0, from);
        while done < wanted {
            now = run.free_at_latest(head, now);
            let mut on = (wanted - done).min(longest).min(until - now);
            // never leave less than the shortest pulse for the last one
            let left = wanted - done - on;
            if left > 0 && left < shortest && on - (shortest - left) >= shortest {
                on -= shortest - left;
            }
            if on < shortest.min(wanted - done) || on <= 0 {
                break;
            }
            run.started(now);
            now += on;
            done += on;
            run.ended(now, on);
        }
        let free_at = run.free_from(head, now);
        Fit { done_ms: done, end_at: now, free_at }
    }
}

/// What fits into a stretch of time.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Fit {
    pub(crate) done_ms: i64,
    pub(crate) end_at: i64,
    /// When the pump has rested after it.
    pub(crate) free_at: i64,
}

#[cfg(test)]
mod tests {
    use super::*;
    use dosewright_core::units::Flow;

    fn head() -> Head {
        let flow = Flow::from_nl_per_min(26_500_000).unwrap();
        Head {
            longest_run_ms: 10_000,
            least_rest_ms: 5_000,
            starts_per_hour: 3,
            ..Head::with_flow(flow)
        }
    }

    #[test]
    fn d7_rest_is_a_share_of_the_longest_runs_rest() {
        assert_eq!(rest_ms(&head(), 10_000), 5_000);
        assert_eq!(rest_ms(&head(), 5_001), 2_501);
        assert_eq!(rest_ms(&head(), 400), 600);
    }

    #[test]
    fn d7_the_fourth_start_waits_for_the_hour() {
        let mut limits = Limits::default();
        for start in [0, 20_000, 40_000] {
            limits.started(start);
            limits.ended(start + 1000, 1000);
        }
        assert_eq!(limits.free_from(&head(), 41_100), 3_600_000);
        assert_eq!(limits.free_from(&head(), 3_620_000), 3_620_000);
    }

    #[test]
    fn d7_o3_limits_hold_for_the_run_of_a_pulse_lead_and_all() {
        let head = Head { lead_ms: 100, ..head() };
        assert_eq!(pulse_limits(&head), (300, 9_900));
        assert_eq!(rest_ms(&head, 9_900), 100 + 5_000);
        // 9.9 s, and 5.1 s behind it, twice, and 9.9 s: the pump is on from 30.0 to 40.0 s
        let fit = |until| Limits::default().fit(&head, 0, until, 40_000).done_ms;
        assert_eq!((fit(40_000), fit(39_999)), (29_700, 29_699));
        assert!(fits_evenly(&head, 29_700, 3_600_000, Some(3)));
        assert!(!fits_evenly(&head, 29_703, 3_600_000, Some(3)));
    }

    #[test]
    fn d7_what_fits_is_pulses_and_rests() {
        // 10 s, rest 5 s, 10 s, rest 5 s, 10 s: three starts, then the hour
        let fit = |until, wanted| Limits::default().fit(&head(), 0, until, wanted);
        assert_eq!(fit(3_000_000, 40_000).done_ms, 30_000);
        let rested = 17_000 + 1000;
        assert_eq!(
            fit(3_000_000, 12_000),
            Fit { done_ms: 12_000, end_at: 17_000, free_at: rested }
        );
        assert_eq!(fit(16_000, 12_000).done_ms, 11_000);
    }
}
