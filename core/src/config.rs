//! What the pump can do and the limits it must be kept in.

use crate::time::Duration;
use crate::units::{Flow, Volume, over_up, times};

/// The pump head and tube set, and the limits that hold for every run.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Head {
    /// Calibrated flow while the pump runs.
    pub flow: Flow,
    /// Rollers on the rotor, 1 to 16.
    pub rollers: u8,
    /// Volume of one roller pass; zero where it is not known. The ledger holds up to 4.29 l.
    pub roller_pass: Volume,
    /// Shortest pulse, in ms: 1 to the longest.
    pub shortest_on_ms: u32,
    /// Shortest gap between two pulses, in ms: 1 or more.
    pub shortest_off_ms: u32,
    /// Longest pulse, in ms, up to a day.
    pub longest_run_ms: u32,
    /// Rest that a pulse of `longest_run_ms` needs, in ms; a shorter pulse
    /// needs its share of it, and never less than `shortest_off_ms`. Up to a day.
    pub least_rest_ms: u32,
    /// Most starts of pulses in any hour, 1 to [`Head::MOST_STARTS`].
    pub starts_per_hour: u16,
    /// Volume a pulse should have at least, where the dose allows it.
    pub least_pulse: Volume,
    /// Longest prime run, in ms: 1 to a day.
    pub longest_prime_ms: u32,
    /// Longest calibration run, in ms: 1 to a day.
    pub longest_calibration_ms: u32,
    /// How much longer than a pulse the pump runs for it, in ms: what a start loses
    /// beyond what the coast after it gives back, as a time at this flow (O3). The limits
    /// hold for the run, volumes are reckoned by the pulse.
    pub lead_ms: u16,
}

impl Head {
    /// The most starts an hour that the logic keeps count of.
    pub const MOST_STARTS: u16 = 60;

    /// A head with this flow and the trade's customary limits.
    ///
    /// Pulses of 4 ml and more, 400 ms on, 600 ms off and 60 starts an hour at
    /// most: common practice, no source. The other limits are this project's own.
    pub const fn with_flow(flow: Flow) -> Self {
        Self {
            flow,
            rollers: 3,
            roller_pass: Volume::ZERO,
            shortest_on_ms: 400,
            shortest_off_ms: 600,
            longest_run_ms: 600_000,
            least_rest_ms: 600,
            starts_per_hour: 60,
            least_pulse: Volume::from_ml(4),
            longest_prime_ms: 600_000,
            longest_calibration_ms: 600_000,
            lead_ms: 0,
        }
    }

    /// How long the pump runs for a pulse.
    pub const fn run_of(&self, on: Duration) -> Duration {
        Duration::from_ms(on.as_ms().saturating_add(self.lead_ms as u64))
    }

    /// The shortest pulse that the shortest run allows, in ms.
    pub const fn shortest_pulse_ms(&self) -> u32 {
        let left = self.shortest_on_ms.saturating_sub(self.lead_ms as u32);
        if left == 0 { 1 } else { left }
    }

    /// The longest pulse that the longest run allows, in ms.
    pub const fn longest_pulse_ms(&self) -> u32 {
        self.longest_run_ms.saturating_sub(self.lead_ms as u32)
    }

    /// The rest a run of this length needs before the next may start (D7).
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub const fn rest_after(&self, on: Duration) -> Duration {
        let longest = if self.longest_run_ms == 0 { 1 } else { self.longest_run_ms };
        let share = over_up(times(on.as_ms(), self.least_rest_ms as u64), longest as u64);
        let floor = self.shortest_off_ms as u64;
        Duration::from_ms(if share > floor { share } else { floor })
    }

    /// What is wrong with the limits themselves, if anything.
    pub const fn problem(&self) -> Option<HeadProblem> {
        if self.rollers == 0 || self.rollers > 16 {
            return Some(HeadProblem::Rollers);
        }
        let no_pulse = self.lead_ms as u32 >= self.longest_run_ms;
        if self.shortest_on_ms == 0 || self.shortest_on_ms > self.longest_run_ms || no_pulse {
            return Some(HeadProblem::ShortestOverLongest);
        }
        if self.shortest_off_ms == 0 {
            return Some(HeadProblem::NoOffTime);
        }
        if self.starts_per_hour == 0 || self.starts_per_hour > Self::MOST_STARTS {
            return Some(HeadProblem::Starts);
        }
        if self.longest_run_ms > 86_400_000 || self.least_rest_ms > 86_400_000 {
            return Some(HeadProblem::OverADay);
        }
        if self.longest_prime_ms == 0
            || self.longest_prime_ms > 86_400_000
            || self.longest_calibration_ms == 0
            || self.longest_calibration_ms > 86_400_000
        {
            return Some(HeadProblem::ServiceRun);
        }
        None
    }
}

/// What the product is drawn from.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Container {
    /// What it holds when full; zero for no container.
    pub capacity: Volume,
    /// Level at which the low-level contact closes; zero for no contact.
    pub low: Volume,
    /// What the suction tube cannot reach at its bottom: it is not dosed.
    pub heel: Volume,
    /// How long the contact must be closed before it counts, in ms.
    pub debounce_ms: u32,
}

impl Container {
    /// No container.
    pub const NONE: Self = Self {
        capacity: Volume::ZERO,
        low: Volume::ZERO,
        heel: Volume::ZERO,
        debounce_ms: Self::DEBOUNCE_MS,
    };
    /// The largest container there is account of: 1000 l.
    pub const LARGEST: Volume = Volume::from_ml(1_000_000);
    /// How long a contact bounces at most, unless it is said: a float settles in
    /// some seconds (common practice, no source).
    pub const DEBOUNCE_MS: u32 = 5_000;
    /// The longest that may be set.
    pub const LONGEST_DEBOUNCE_MS: u32 = 600_000;

    /// Whether it is no container.
    pub const fn is_none(&self) -> bool {
        self.capacity.as_nl() == 0
    }

    /// How far the account may be above the contact's level when that closes: a
    /// tenth of the capacity, as much as a tube set worn by a tenth delivers too
    /// little of it (common practice, no source). Beyond it the level disagrees.
    pub const fn tolerance(&self) -> Volume {
        Volume::from_nl(self.capacity.as_nl() / 10)
    }

    /// Whether its figures go together.
    pub const fn is_sound(&self) -> bool {
        let (capacity, low, heel) = (self.capacity.as_nl(), self.low.as_nl(), self.heel.as_nl());
        // so there is a capacity
        capacity <= Self::LARGEST.as_nl()
            && heel < capacity
            && (low == 0 || low > heel && low < capacity)
            && self.debounce_ms <= Self::LONGEST_DEBOUNCE_MS
    }
}

/// Why a set of head limits is refused.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum HeadProblem {
    /// Rollers are not 1 to 16.
    Rollers,
    /// The shortest pulse is zero or longer than the longest, or what a start takes is.
    ShortestOverLongest,
    /// The shortest gap is zero.
    NoOffTime,
    /// Starts an hour are not 1 to 60.
    Starts,
    /// The longest run or the least rest is over a day.
    OverADay,
    /// The limit of prime or calibration is zero or over a day.
    ServiceRun,
}

#[cfg(test)]
mod tests {
    use super::*;

    const DAY_MS: u32 = 86_400_000;

    fn head() -> Head {
        Head::with_flow(Flow::from_nl_per_min(26_500_000).unwrap())
    }

    #[test]
    fn d7_each_limit_of_a_head_has_its_range() {
        type Put = fn(&mut Head, u32);
        use HeadProblem::*;
        let rows: [(Put, [u32; 2], &[u32], HeadProblem); 9] = [
            (|h, v| h.rollers = v as u8, [1, 16], &[0, 17], Rollers),
            (|h, v| h.shortest_on_ms = v, [1, 600_000], &[0, 600_001], ShortestOverLongest),
            (|h, v| h.lead_ms = v as u16, [0, 65_535], &[], ShortestOverLongest),
            (|h, v| h.shortest_off_ms = v, [1, u32::MAX], &[0], NoOffTime),
            (|h, v| h.starts_per_hour = v as u16, [1, 60], &[0, 61], Starts),
            (|h, v| h.longest_run_ms = v, [400, DAY_MS], &[DAY_MS + 1], OverADay),
            (|h, v| h.least_rest_ms = v, [0, DAY_MS], &[DAY_MS + 1], OverADay),
            (|h, v| h.longest_prime_ms = v, [1, DAY_MS], &[0, DAY_MS + 1], ServiceRun),
            (|h, v| h.longest_calibration_ms = v, [1, DAY_MS], &[0, DAY_MS + 1], ServiceRun),
        ];
        for (row, (put, good, bad, problem)) in rows.into_iter().enumerate() {
            let with = |value| {
                let mut head = head();
                put(&mut head, value);
                head.problem()
            };
            assert_eq!(good.map(with), [None; 2], "row {row}");
            for &value in bad {
                assert_eq!(with(value), Some(problem), "row {row}, {value}");
            }
        }
        // a start that takes as long as the longest run leaves no pulse
        let short = Head { longest_run_ms: 500, lead_ms: 499, ..head() };
        assert_eq!(short.problem(), None);
        assert_eq!(Head { lead_ms: 500, ..short }.problem(), Some(ShortestOverLongest));
    }

    #[test]
    fn o3_a_pulse_is_a_run_without_what_its_start_takes() {
        let head = Head { lead_ms: 150, ..head() };
        assert_eq!(head.run_of(Duration::from_ms(1000)), Duration::from_ms(1150));
        assert_eq!((head.shortest_pulse_ms(), head.longest_pulse_ms()), (250, 599_850));
        // a start alone is longer than the shortest run: any pulse will do
        assert_eq!(Head { lead_ms: 400, ..head }.shortest_pulse_ms(), 1);
    }

    #[test]
    fn d7_a_run_is_followed_by_its_share_of_the_rest_and_never_less_than_the_least() {
        let head = Head { longest_run_ms: 10_000, least_rest_ms: 30_000, ..head() };
        let rest = |ms| head.rest_after(Duration::from_ms(ms)).as_ms();
        // three times as long as the run, rounded up, and 600 ms at least
        assert_eq!([rest(10_000), rest(1), rest(200), rest(201)], [30_000, 600, 600, 603]);
        let uneven = Head { longest_run_ms: 7_000, ..head };
        assert_eq!(uneven.rest_after(Duration::from_ms(1_000)).as_ms(), 4_286);
    }

    #[test]
    fn the_figures_of_a_container_go_together() {
        let ml = Volume::from_ml;
        let sound = Container { capacity: ml(1000), low: ml(200), heel: ml(50), debounce_ms: 0 };
        let is = |change: fn(&mut Container)| {
            let mut container = sound;
            change(&mut container);
            container.is_sound()
        };
        assert!(is(|_| ()));
        assert!(is(|c| c.capacity = Container::LARGEST));
        assert!(!is(|c| c.capacity = Container::LARGEST.plus(Volume::from_nl(1))));
        assert!(is(|c| c.low = Volume::ZERO), "no contact");
        assert!(
            is(|c| c.low = Volume::from_nl(50_000_001)) && !is(|c| c.low = Volume::from_ml(50))
        );
        assert!(is(|c| c.low = Volume::from_ml(999)) && !is(|c| c.low = Volume::from_ml(1000)));
        assert!(is(|c| (c.low, c.heel) = (Volume::ZERO, Volume::from_ml(999))));
        assert!(!is(|c| (c.low, c.heel) = (Volume::ZERO, Volume::from_ml(1000))));
        assert!(is(|c| c.debounce_ms = 600_000) && !is(|c| c.debounce_ms = 600_001));
        // no container at all is not one with figures
        assert!(Container::NONE.is_none() && !Container::NONE.is_sound() && !sound.is_none());
        assert_eq!(sound.tolerance(), ml(100));
    }
}
