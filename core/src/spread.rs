//! Spreading a dose over its window in pulses (D4 to D7).

use crate::config::Head;
use crate::starts::{HOUR, Starts};
use crate::time::{Duration, Instant};
use crate::units::{over, over_up, times};

/// Milliseconds in an hour.
const HOUR_MS: u64 = HOUR.as_ms();
/// So much later than it was planned a pulse may start for the pump's limits, and its train
/// stays as it is (own choice): a call that comes a ms late puts off, an hour later, the
/// pulse that needs its start.
pub const PUT_OFF: Duration = Duration::from_s(1);

/// Why a dose cannot be spread over a window.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Misfit {
    /// The whole dose is shorter than the shortest pulse.
    BelowShortestPulse {
        /// Pumping that the dose asks for, in ms.
        dose_ms: u64,
    },
    /// No number of pulses is long enough for the shortest and short enough for
    /// the longest.
    Indivisible {
        /// Pumping that the dose asks for, in ms.
        dose_ms: u64,
    },
    /// The window is too short.
    Window {
        /// Pumping that the dose asks for, in ms.
        dose_ms: u64,
        /// The least window that would do, in ms; [`u64::MAX`] stands for more as well.
        least_ms: u64,
    },
    /// The number of pulses asked for does not go.
    Pulses {
        /// The most pulses that would go.
        most: u32,
    },
}

/// How many pulses a dose is made of whose planned number is this, or does not go.
pub fn pulses_or_most(planned: Result<u32, Misfit>) -> u32 {
    match planned {
        Ok(pulses) | Err(Misfit::Pulses { most: pulses }) => pulses.max(1),
        Err(_) => 1,
    }
}

/// The least time from one start to the next so that no hour has too many: what each pulse
/// takes of its window at least, in ms.
pub const fn spacing_ms(head: &Head) -> u64 {
    over_up(HOUR_MS, if head.starts_per_hour == 0 { 1 } else { head.starts_per_hour as u64 })
}

/// The time that one of `pulses` equal pulses takes up with the rest after it, in ms.
pub const fn slot_ms(dose_ms: u64, pulses: u64, head: &Head) -> u64 {
    let run = head.run_of(Duration::from_ms(over_up(dose_ms, pulses)));
    run.as_ms() + head.rest_after(run).as_ms()
}

const fn fits(dose_ms: u64, window_ms: u64, pulses: u64, head: &Head) -> bool {
    over(dose_ms, pulses) >= head.shortest_pulse_ms() as u64
        && over_up(dose_ms, pulses) <= head.longest_pulse_ms() as u64
        && over(window_ms, pulses) >= slot_ms(dose_ms, pulses, head)
        && over(window_ms, pulses) >= spacing_ms(head)
}

/// A pulse is of whole roller passes where it is off by no more than this part of one: a
/// dose is what its label says, and seldom a multiple of a roller pass (own choice).
pub const WHOLE_WITHIN: u64 = 20;
/// How many numbers of pulses are tried for whole passes (own choice): more would cost a
/// device more than they find.
const TRIED: u32 = 16;

/// How many pulses a dose of `dose_ms` of pumping is made of in an undisturbed
/// window: the number asked for, or as many as the head's limits and the least volume
/// of a pulse allow; somewhat fewer, down to half of them, where each is then a whole
/// number of roller passes, and gives the same wherever the rotor stands.
///
/// Starts are at least an hour's share apart all through a window and up to its
/// end, so that no row of windows can break the limit of starts an hour.
pub fn pulses_for(
    dose_ms: u64,
    window_ms: u64,
    head: &Head,
    asked: Option<u16>,
) -> Result<u32, Misfit> {
    let (least, most) = range(dose_ms, window_ms, head, asked.is_some())?;
    match asked.map(u64::from) {
        None => Ok(whole_passes(dose_ms, window_ms, least, most, head)),
        Some(n) if n >= 1 && fits(dose_ms, window_ms, n, head) => Ok(n as u32),
        Some(_) => Err(Misfit::Pulses { most }),
    }
}

/// The most pulses that the head's limits and the least volume of a pulse allow.
pub fn most_pulses(dose_ms: u64, window_ms: u64, head: &Head) -> Result<u32, Misfit> {
    range(dose_ms, window_ms, head, false).map(|(_, most)| most)
}

/// The largest number, from the most on down, of which each pulse is whole roller
/// passes; the most where there is none among those tried. Not all that is between the
/// least and the most fits: a number that does not go into the dose or the window without a
/// rest can ask for some milliseconds more than one above it.
fn whole_passes(dose_ms: u64, window_ms: u64, least: u32, most: u32, head: &Head) -> u32 {
    // both in sixty-thousandths of a nanolitre
    let dose = times(dose_ms, u64::from(head.flow.as_nl_per_min()));
    let pass = times(head.roller_pass.as_nl(), 60_000);
    if pass == 0 {
        return most;
    }
    let fewest = most.saturating_sub(TRIED).max(most.div_ceil(2)).max(least);
    let mut pulses = most;
    while pulses >= fewest {
        // all of them are off by less than all of them may be
        let passes = times(pass, u64::from(pulses));
        let over_whole = dose.wrapping_sub(over(dose, passes).wrapping_mul(passes));
        let off = over_whole.min(passes.wrapping_sub(over_whole));
        if off <= over(passes, WHOLE_WITHIN)
            && dose >= over(passes, 2)
            && fits(dose_ms, window_ms, u64::from(pulses), head)
        {
            return pulses;
        }
        pulses -= 1;
    }
    most
}

/// The least and the most pulses that there can be; by their length alone where a number
/// is asked for.
fn range(dose_ms: u64, window_ms: u64, head: &Head, is_asked: bool) -> Result<(u32, u32), Misfit> {
    let shortest = u64::from(head.shortest_pulse_ms());
    if dose_ms < shortest {
        return Err(Misfit::BelowShortestPulse { dose_ms });
    }
    let least = over_up(dose_ms, u64::from(head.longest_pulse_ms().max(1))).max(1);
    if over(dose_ms, least) < shortest {
        return Err(Misfit::Indivisible { dose_ms });
    }
    if !fits(dose_ms, window_ms, least, head) {
        let least_ms = times(least, slot_ms(dose_ms, least, head).max(spacing_ms(head)));
        return Err(Misfit::Window { dose_ms, least_ms });
    }
    let (least_pulse, _) = head.flow.on_time(head.least_pulse, crate::units::Carry(0));
    let by_length = over(dose_ms, shortest);
    let by_volume =
        if is_asked { by_length } else { over(dose_ms, least_pulse.as_ms().max(1)).max(least) };
    // fewer pulses need less rest, so fitting is a matter of a largest number, but for what
    // is lost to rounding: the one that is found fits
    let (mut low, mut high) =
        (least, by_length.min(by_volume).min(over(window_ms, spacing_ms(head))));
    while low < high {
        let middle = u64::midpoint(low, high + 1);
        if fits(dose_ms, window_ms, middle, head) {
            low = middle;
        } else {
            high = middle - 1;
        }
    }
    Ok((u32::try_from(least).unwrap_or(u32::MAX), u32::try_from(low).unwrap_or(u32::MAX)))
}

/// A train of equal pulses, evenly spread. Pulse `i` of `n` starts at
/// `origin + span i / n` and runs from the `i / n`-th to the `(i + 1) / n`-th
/// part of the whole, so that nothing is lost to rounding and the delivered
/// volume leads the straight line by one pulse at most (D4, D6).
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Plan {
    /// Where the train begins.
    pub origin: Instant,
    /// Time from the first start to the end of the last pulse's rest, in ms.
    pub span_ms: u64,
    /// Pulses in the train, at least 1.
    pub pulses: u32,
    /// Pumping in the train, in ms.
    pub total_ms: u32,
    /// The pulse to come, from 0; `pulses` when the train is over.
    pub next: u32,
}

impl Plan {
    fn share(whole: u64, part: u32, of: u32) -> u64 {
        // whole * part / of, with nothing lost and nothing beyond 64 bits
        let (part, of) = (u64::from(part), u64::from(of));
        let quotient = over(whole, of);
        let rest = whole.wrapping_sub(quotient.wrapping_mul(of));
        times(quotient, part).saturating_add(over(times(rest, part), of))
    }

    /// When the next pulse starts; `None` when the train is over.
    pub fn next_start(&self) -> Option<Instant> {
        (self.next < self.pulses).then(|| {
            let into = Self::share(self.span_ms, self.next, self.pulses);
            self.origin.plus(Duration::from_ms(into))
        })
    }

    /// Whether starts there have been and a limit of so many an hour let every pulse start
    /// when it is planned, or so little later that the train stays as it is (D7).
    pub fn is_allowed(&self, starts: &Starts, limit: u16) -> bool {
        let limit = usize::from(limit.clamp(1, Head::MOST_STARTS));
        let mut train = *self;
        // a train keeps the limit by itself: only its first starts meet older ones
        for back in (1..=limit).rev() {
            let Some(start) = train.next_start() else { break };
            if starts.back(back).is_some_and(|at| at.plus(HOUR) > start.plus(PUT_OFF)) {
                return false;
            }
            train.next = train.next.saturating_add(1);
        }
        true
    }

    /// How long the next pulse is.
    pub fn next_length(&self) -> Duration {
        let whole = u64::from(self.total_ms);
        let from = Self::share(whole, self.next, self.pulses);
        Duration::from_ms(Self::share(whole, self.next.saturating_add(1), self.pulses) - from)
    }
}

/// What a re-spread train must keep to.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Bounds<'a> {
    /// The first instant at which the pump may start.
    pub from: Instant,
    /// Where the window ends.
    pub window_end: Instant,
    /// By when every pulse must have ended.
    pub deadline: Instant,
    /// The starts there have been, which count for the limit of an hour.
    pub starts: &'a Starts,
    /// Whether to finish as fast as the limits allow, because another waits (D3).
    pub hurry: bool,
}

/// Spreads the rest of a disturbed dose: over what is left of the window; where
/// the pump cannot do that, to the deadline; and where that is too short as
/// well, as much as can still be delivered (D5). `None` where nothing can.
///
/// `pulse_ms` is the length of the pulses the dose was planned with: the rest is
/// made of pulses no longer than that where the limits allow, since the doubt a
/// restart leaves is one pulse. The head is one in which [`Head::problem`] finds nothing.
pub fn respread(rest_ms: u32, pulse_ms: u32, head: &Head, bounds: &Bounds<'_>) -> Option<Plan> {
    let shortest = u64::from(head.shortest_pulse_ms());
    let rest = u64::from(rest_ms);
    let free_starts = bounds.starts.free(bounds.from, head.starts_per_hour);
    if rest < shortest || rest == 0 || free_starts == 0 {
        return None;
    }
    if bounds.hurry {
        let fastest = train_of(rest, pulse_ms, head, bounds);
        let plan = Plan {
            span_ms: times(
                u64::from(fastest.pulses),
                slot_ms(rest, u64::from(fastest.pulses), head),
            ),
            ..fastest
        };
        if ends_by(&plan, head, bounds.deadline) {
            // where starts are scarce the longest pulses come first, and what is left waits
            // for the next start alone
            let longest = u64::from(head.longest_pulse_ms().max(1));
            let full = over(rest, longest);
            let scarce = fastest.pulses > free_starts && rest - full * longest >= shortest;
            return if scarce {
                Some(Plan {
                    span_ms: times(full, slot_ms(longest, 1, head)),
                    pulses: full as u32,
                    total_ms: (full * longest) as u32,
                    ..plan
                })
            } else {
                Some(plan)
            };
        }
    }
    for end in [bounds.window_end.min(bounds.deadline), bounds.deadline] {
        if let Some(plan) = even(rest, pulse_ms, head, bounds, end) {
            return Some(plan);
        }
    }
    most_by_deadline(rest, head, bounds, free_starts)
}

/// The number of pulses of a re-spread train, before its span is known.
fn train_of(rest: u64, pulse_ms: u32, head: &Head, bounds: &Bounds<'_>) -> Plan {
    // in a hurry the fewest, longest pulses lose the least time to rests
    let wanted = if bounds.hurry { 1 } else { over_up(rest, u64::from(pulse_ms.max(1))) };
    let most = over(rest, u64::from(head.shortest_pulse_ms()));
    let least = over_up(rest, u64::from(head.longest_pulse_ms().max(1)));
    let pulses = wanted.min(most).max(least).max(1);
    Plan {
        origin: bounds.from,
        span_ms: 0,
        pulses: u32::try_from(pulses).unwrap_or(u32::MAX),
        total_ms: rest as u32,
        next: 0,
    }
}

/// Whether every pulse of a train has ended by an instant. The rest of the last
/// pulse may lie after it.
fn ends_by(plan: &Plan, head: &Head, end: Instant) -> bool {
    let on = over_up(u64::from(plan.total_ms), u64::from(plan.pulses.max(1)));
    let rest = head.rest_after(head.run_of(Duration::from_ms(on)));
    plan.origin.plus(Duration::from_ms(plan.span_ms)).minus(rest) <= end
}

/// The rest evenly to an end, if the pump can do that: in pulses of the planned length, or in
/// as many as there can be where those need too much rest or too many starts.
fn even(rest: u64, pulse_ms: u32, head: &Head, bounds: &Bounds<'_>, end: Instant) -> Option<Plan> {
    if end <= bounds.from {
        return None;
    }
    let left = end.since(bounds.from).as_ms();
    let planned = train_of(rest, pulse_ms, head, bounds);
    let of = |pulses: u32| {
        let n = u64::from(pulses);
        let on = over_up(rest, n);
        let span_ms = left + head.rest_after(head.run_of(Duration::from_ms(on))).as_ms();
        let plan = Plan { span_ms, pulses, ..planned };
        let apart = over(span_ms, n);
        // a train of more than an hour's starts keeps the limit by itself where they are an
        // hour's share apart; the first of them need older ones to be an hour old
        let fits = on <= u64::from(head.longest_pulse_ms())
            && over(rest, n) >= u64::from(head.shortest_pulse_ms())
            && apart >= slot_ms(rest, n, head)
            && (n <= u64::from(head.starts_per_hour) || apart >= spacing_ms(head))
            && plan.is_allowed(bounds.starts, head.starts_per_hour);
        fits.then_some(plan)
    };
    // fewer, longer pulses fit where more do, but for what is lost to rounding
    let fewest = over_up(rest, u64::from(head.longest_pulse_ms().max(1))).max(1);
    let (mut low, mut high) = (u32::try_from(fewest).unwrap_or(u32::MAX), planned.pulses);
    let mut found = of(low)?;
    while low < high {
        let middle = low + (high - low).div_ceil(2);
        match of(middle) {
            Some(plan) => (low, found) = (middle, plan),
            None => high = middle - 1,
        }
    }
    Some(found)
}

/// The most that fits before the deadline: one pulse where it may be that long,
/// else the longest pulses with the rests they need between.
fn most_by_deadline(rest: u64, head: &Head, bounds: &Bounds<'_>, free_starts: u32) -> Option<Plan> {
    if bounds.deadline <= bounds.from {
        return None;
    }
    let to_deadline = bounds.deadline.since(bounds.from).as_ms();
    let left = to_deadline.saturating_sub(u64::from(head.lead_ms));
    let longest = u64::from(head.longest_pulse_ms().max(1));
    let slot = slot_ms(longest, 1, head);
    let whole = over(to_deadline, slot).min(u64::from(free_starts));
    let (pulses, total) = if whole == 0 || left <= longest {
        (1, left.min(longest).min(rest))
    } else {
        (whole, (whole * longest).min(rest))
    };
    // what is left over after the longest pulses may be too little for one more
    let (pulses, total) = if over(total, pulses) < u64::from(head.shortest_pulse_ms()) {
        let full = over(total, longest);
        (full, full * longest)
    } else {
        (pulses, total)
    };
    if pulses == 0 {
        return None;
    }
    Some(Plan {
        origin: bounds.from,
        span_ms: pulses * slot_ms(total, pulses, head),
        pulses: u32::try_from(pulses).ok()?,
        total_ms: u32::try_from(total).ok()?,
        next: 0,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::{Flow, Volume};

    fn head() -> Head {
        Head::with_flow(Flow::from_nl_per_min(26_500_000).unwrap())
    }

    #[test]
    fn a_quarter_of_an_hour_of_trouble_shortens_the_gaps_not_the_dose() {
        // 83 ml at 26.5 ml/min in 18 min
        let bounds = Bounds {
            from: Instant::ZERO,
            window_end: Instant::from_ms(18 * 60_000),
            deadline: Instant::from_ms(18 * 60_000),
            starts: &Starts::NONE,
            hurry: false,
        };
        let mut plan = respread(187_924, 9057, &head(), &bounds).unwrap();
        assert_eq!((plan.pulses, plan.total_ms), (21, 187_924));
        let (mut sum, mut end) = (0, Instant::ZERO);
        while let Some(start) = plan.next_start() {
            assert!(start >= end, "pulses overlap");
            end = start.plus(plan.next_length());
            sum += plan.next_length().as_ms();
            plan.next += 1;
        }
        assert_eq!(sum, 187_924);
        assert!(end <= bounds.window_end && end > Instant::from_ms(17 * 60_000));
    }

    #[test]
    fn pulses_are_whole_roller_passes_where_the_dose_allows_it() {
        let pass = |ul| Head { roller_pass: Volume::from_ul(ul), ..head() };
        let of = |ul: u64, head: &Head| {
            let dose_ms = head.flow.on_time(Volume::from_ul(ul), crate::units::Carry(0)).0.as_ms();
            let most = most_pulses(dose_ms, 2_700_000, head).unwrap();
            (pulses_for(dose_ms, 2_700_000, head, None).unwrap(), most)
        };
        // 26.1 ml are 90 passes of 0.29 ml: six pulses of 15
        assert_eq!(of(26_100, &pass(290)), (6, 6));
        // 120 ml are 413.8 of them: 23 pulses of 17.99, and nothing nearer above
        assert_eq!(of(120_000, &pass(290)), (23, 30));
        // 103 passes, a prime: none of 4 to 7 pulses
        assert_eq!(of(29_870, &pass(290)), (7, 7));
        // 47 pulses of 44 passes need a rest of half a millisecond more each than there is;
        // 45 of the longest have it
        let flow = Flow::from_nl_per_min(2_300_000).unwrap();
        let tight = Head {
            roller_pass: Volume::from_ul(50),
            shortest_off_ms: 1,
            longest_run_ms: 60_000,
            least_rest_ms: 60_000,
            least_pulse: Volume::ZERO,
            ..Head::with_flow(flow)
        };
        assert_eq!(pulses_for(2_700_000, 5_400_000, &tight, None), Ok(45));
        let asked = |window_ms| pulses_for(2_700_000, window_ms, &tight, Some(47)).is_ok();
        assert_eq!([asked(47 * 114_894 - 1), asked(47 * 114_894)], [false, true]);
        // not known, or more than a pulse can be
        assert_eq!(of(120_000, &head()), (30, 30));
        assert_eq!(of(120_000, &pass(900_000)), (30, 30));
    }

    #[test]
    fn the_least_window_that_is_named_does() {
        for dose_ms in [400, 401, 9000, 271_698, 600_000, 600_001, 5_000_000] {
            let Err(Misfit::Window { least_ms, .. }) = pulses_for(dose_ms, 1, &head(), None) else {
                panic!("{dose_ms} fits a window of 1 ms")
            };
            assert!(pulses_for(dose_ms, least_ms, &head(), None).is_ok(), "{dose_ms} {least_ms}");
            assert!(
                pulses_for(dose_ms, least_ms - 1, &head(), None).is_err(),
                "{dose_ms} {least_ms}"
            );
        }
    }

    #[test]
    fn a_least_window_that_no_number_holds_is_the_longest_there_is() {
        // 100 l at a nanolitre a minute in pulses of a second, 46 days apart
        let slow = Head {
            longest_run_ms: 1000,
            shortest_off_ms: 4_000_000_000,
            ..Head::with_flow(Flow::from_nl_per_min(1).unwrap())
        };
        let dose_ms = slow.flow.on_time(Volume::from_ml(100_000), crate::units::Carry(0)).0.as_ms();
        let least_ms = u64::MAX;
        for asked in [None, Some(1)] {
            let planned = pulses_for(dose_ms, 3_600_000, &slow, asked);
            assert_eq!(planned, Err(Misfit::Window { dose_ms, least_ms }));
        }
        // 2^32 - 1 pulses of a millisecond with a lead of two, each 2^32 + 2 from the next
        let head = Head {
            shortest_on_ms: 1,
            longest_run_ms: 3,
            lead_ms: 2,
            shortest_off_ms: u32::MAX,
            ..head()
        };
        let bounds = Bounds {
            from: Instant::ZERO,
            window_end: Instant::LAST,
            deadline: Instant::LAST,
            starts: &Starts::NONE,
            hurry: true,
        };
        let plan = respread(u32::MAX, 1, &head, &bounds).unwrap();
        assert!(plan.pulses <= u32::from(head.starts_per_hour), "{plan:?}");
    }

    #[test]
    fn a_train_that_is_over_has_no_next_pulse() {
        let over = Plan {
            origin: Instant::ZERO,
            span_ms: 1,
            pulses: u32::MAX,
            total_ms: 1,
            next: u32::MAX,
        };
        assert_eq!((over.next_start(), over.next_length()), (None, Duration::ZERO));
    }

    fn at(ms: i64) -> Instant {
        Instant::from_ms(ms)
    }

    #[test]
    fn d7_a_train_keeps_the_starts_before_it_in_mind() {
        let mut starts = Starts::NONE;
        for minute in [0, 10] {
            starts.push(at(minute * 60_000));
        }
        // a train of three, ten minutes apart
        let plan = |minute: i64| Plan {
            origin: at(minute * 60_000),
            span_ms: 1_800_000,
            pulses: 3,
            total_ms: 30_000,
            next: 0,
        };
        // five an hour are all of them
        assert!(plan(20).is_allowed(&starts, 5));
        // of three an hour the second may come an hour after the one at 0, to the instant
        assert!(plan(50).is_allowed(&starts, 3));
        // it may be put off by a second and no more
        let early = |ms: i64| Plan { origin: at(50 * 60_000 - ms), ..plan(50) };
        assert!(early(1_000).is_allowed(&starts, 3));
        assert!(!early(1_001).is_allowed(&starts, 3) && !plan(20).is_allowed(&starts, 3));
        // of four the third
        assert!(plan(40).is_allowed(&starts, 4) && !plan(39).is_allowed(&starts, 4));
        // one that is under way asks for what is left of it
        assert!(Plan { next: 2, ..plan(20) }.is_allowed(&starts, 3));
        assert!(plan(0).is_allowed(&Starts::NONE, 3), "nothing was before it");
    }
}
