//! What a calibration run is worth: how long it must be, what flow a reading
//! gives, how sure that is, and whether it is to be believed (O2 to O4).
//!
//! The uncertainty is that of JCGM 100:2008 for a volume over a time: the reading
//! error of the vessel counts as a rectangular distribution (4.3.7), timing as a
//! standard uncertainty, the two combine in relative squares (5.1.6), and the
//! coverage factor is 2.

use crate::time::Duration;
use crate::units::{Flow, Volume, over, over_up, times};

/// Relative figures here count parts in a thousand million.
const PPB: u64 = 1_000_000_000;
/// The same in parts per million.
const PPB_A_PPM: u64 = 1000;
/// A flow below half or above one and a half of the nominal is a mistake, of the
/// reading or of the tube: common practice, no source.
const PLAUSIBLE_PER_MILLE: (u64, u64) = (500, 1500);
/// A flow that differs by more than this from the one in force wants a second
/// run, in thousandths: common practice, no source.
const CONFIRM_PER_MILLE: u64 = 50;
/// The most that an uncertainty is said to be, in ppm.
const MOST_PPM: u64 = 4_000_000;
/// Pumping that a run may last at most: a day.
const LONGEST_MS: u64 = 86_400_000;

/// Starts in a train of calibration pulses: what one start loses shows in so many (own
/// choice).
pub const TRAIN_STARTS: u8 = 30;

/// What is measured with.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Vessel {
    /// What it holds up to its topmost mark.
    pub capacity: Volume,
    /// Half the width of what its reading may be off by.
    pub reading_error: Volume,
}

/// What was measured after a run.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Amount {
    /// A volume, read off the vessel.
    Volume(Volume),
    /// A mass of water.
    Water {
        /// In mg.
        mass_mg: u32,
        /// Its temperature in tenths of a degree, 3 to 402; the nearest half degree counts.
        tenths_of_degree: u16,
    },
    /// A mass of the product.
    Product {
        /// In mg.
        mass_mg: u32,
        /// Its specific gravity in thousandths, 500 to 2000.
        gravity_per_mille: u16,
    },
}

impl Amount {
    /// It as a volume; `None` where temperature or gravity are out of their range.
    pub fn volume(&self) -> Option<Volume> {
        match *self {
            Self::Volume(volume) => Some(volume),
            Self::Water { mass_mg, tenths_of_degree } => water(mass_mg, tenths_of_degree),
            Self::Product { mass_mg, gravity_per_mille } => product(mass_mg, gravity_per_mille),
        }
    }
}

/// A reading after a calibration run, as an operator enters it.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Measured {
    /// What was measured.
    pub amount: Amount,
    /// Half the width of what the reading may be off by.
    pub reading_error: Volume,
    /// It says how the head was found, before anything is changed at it: it is
    /// taken down, the container's account is restated by it, and the flow in force
    /// stays.
    pub as_found: bool,
}

/// How good a calibration is to be.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Target {
    /// Standard uncertainty of the run's length, in ms: what start and stop of
    /// the motor are off by.
    pub timing_ms: u32,
    /// The largest expanded uncertainty (k = 2) that is accepted, in parts per
    /// million of the flow.
    pub most_ppm: u32,
}

impl Target {
    /// 2 % at 100 ms of timing: this project's own.
    pub const DEFAULT: Self = Self { timing_ms: 100, most_ppm: 20_000 };
    /// What a run is planned for, so that its reading still meets the default where
    /// the head delivers a tenth less than it did.
    pub const PLANNED: Self = Self { most_ppm: 18_000, ..Self::DEFAULT };
    /// What a train of short pulses is planned for: its reading still meets the default
    /// where its starts lose a quarter of it.
    pub const TRAIN: Self = Self { most_ppm: 15_000, ..Self::DEFAULT };
}

impl Vessel {
    /// It as far as a run is planned to fill it: nine tenths, for the head may deliver
    /// more than it did (common practice, no source).
    #[must_use]
    pub const fn to_fill(&self) -> Self {
        Self {
            capacity: Volume::from_nl(over(self.capacity.as_nl(), 10).saturating_mul(9)),
            ..*self
        }
    }
}

/// A run that is proposed.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Run {
    /// Its length in ms.
    pub run_ms: u32,
    /// Whole turns of the rotor in it; 0 where the volume of a roller pass is
    /// not known.
    pub turns: u32,
    /// What it is expected to deliver.
    pub volume: Volume,
    /// The expanded uncertainty it is expected to have, in ppm.
    pub uncertainty_ppm: u32,
}

/// Why no run can be proposed.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum NoRun {
    /// Filled to its mark, the vessel is still too coarse for the target.
    VesselTooCoarse {
        /// The uncertainty a full vessel gives, in ppm.
        best_ppm: u32,
    },
    /// Not a single turn of the rotor goes into the vessel.
    VesselTooSmall,
}

/// What a reading gives.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Reading {
    /// The flow.
    pub flow: Flow,
    /// Its expanded uncertainty (k = 2), in ppm.
    pub uncertainty_ppm: u32,
}

/// What is to become of a reading.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Judgement {
    /// It is good.
    Accept(Reading),
    /// It is not sure enough: a run of this length would be.
    RunLonger {
        /// What it gives all the same.
        reading: Reading,
        /// Length that would do, in ms.
        least_ms: u32,
    },
    /// It is far from the flow in force: a second run has to say the same.
    Confirm(Reading),
    /// It is no flow that this head can have.
    Implausible {
        /// The flow, where it can be said at all.
        flow: Option<Flow>,
    },
}

/// The square root, rounded down, bit by bit: the library's own brings half a
/// kilobyte of table with it.
const fn root(square: u64) -> u64 {
    let (mut left, mut root, mut bit) = (square, 0, 1_u64 << 62);
    while bit != 0 {
        if left >= root + bit {
            left -= root + bit;
            root = root >> 1 | bit;
        } else {
            root >>= 1;
        }
        bit >>= 2;
    }
    root
}

/// `part` of `whole` in ppb, at most all of it twice over.
const fn ppb(part: u64, whole: u64) -> u64 {
    // below 18 l of error, and below 5 h of timing, nothing is cut off here
    let relative = over(times(part, PPB), whole);
    if whole == 0 || relative > 2 * PPB { 2 * PPB } else { relative }
}

/// The expanded uncertainty (k = 2) of a flow from a volume read off a vessel
/// and the length of the run, in ppm of the flow. Never more than 4 000 000.
pub const fn uncertainty_ppm(
    volume: Volume,
    reading_error: Volume,
    run_ms: u32,
    timing_ms: u32,
) -> u32 {
    let reading = ppb(reading_error.as_nl(), volume.as_nl());
    let timing = ppb(timing_ms as u64, run_ms as u64);
    let square = reading * reading / 3 + timing * timing;
    let expanded = 2 * root(square);
    over_up(expanded, PPB_A_PPM) as u32
}

/// A run of whole rotor turns that is sure enough and goes into the vessel, to a millisecond
/// of flow (O2).
///
/// `turn` is what one turn of the rotor gave when the head was set up for its `nominal` flow;
/// zero where it is not known: the run is then of whole seconds. The rotor keeps its speed: a
/// worn tube gives less a turn, not fewer turns. The shortest run that meets the target is
/// proposed.
pub fn run_for(
    vessel: &Vessel,
    target: &Target,
    flow: Flow,
    turn: Volume,
    nominal: Flow,
) -> Result<Run, NoRun> {
    let nominal = u64::from(nominal.as_nl_per_min());
    // how long a turn is, in ms of which there are so many to one: none is rounded by itself
    let step = if turn.as_nl() == 0 { times(nominal, 1000) } else { times(turn.as_nl(), 60_000) };
    let of = |steps: u64| {
        // a whole turn is never cut short: the run is rounded up to the ms
        let ms = over_up(times(step, steps), nominal).min(LONGEST_MS);
        let volume = flow.volume(Duration::from_ms(ms));
        let run_ms = ms as u32;
        let uncertainty_ppm =
            uncertainty_ppm(volume, vessel.reading_error, run_ms, target.timing_ms);
        let turns = if turn.as_nl() == 0 { 0 } else { u32::try_from(steps).unwrap_or(u32::MAX) };
        Run { run_ms, turns, volume, uncertainty_ppm }
    };
    let full_ms = over_up(times(vessel.capacity.as_nl(), 60_000), u64::from(flow.as_nl_per_min()));
    let most = over(times(full_ms.min(LONGEST_MS), nominal), step);
    if most == 0 {
        return Err(NoRun::VesselTooSmall);
    }
    let full = of(most);
    if full.uncertainty_ppm > target.most_ppm {
        return Err(NoRun::VesselTooCoarse { best_ppm: full.uncertainty_ppm });
    }
    // a longer run is never less sure: the first that is sure enough, by halving
    let (mut below, mut enough) = (0, most);
    for _ in 0..u64::BITS {
        if enough - below <= 1 {
            break;
        }
        let middle = below + (enough - below) / 2;
        if of(middle).uncertainty_ppm > target.most_ppm {
            below = middle;
        } else {
            enough = middle;
        }
    }
    Ok(of(enough))
}

/// The flow that a measured volume gives, and how sure it is.
pub fn reading(
    volume: Volume,
    reading_error: Volume,
    run_ms: u32,
    timing_ms: u32,
) -> Option<Reading> {
    let nl_per_min = over(
        times(volume.as_nl(), 60_000).saturating_add(u64::from(run_ms) / 2),
        u64::from(run_ms),
    );
    let flow = Flow::from_nl_per_min(u32::try_from(nl_per_min).ok()?)?;
    let uncertainty_ppm = uncertainty_ppm(volume, reading_error, run_ms, timing_ms);
    Some(Reading { flow, uncertainty_ppm })
}

/// Judges a reading against the target, the head's nominal flow and the flow in
/// force. `before` is the reading of the run before it, where that one asked for
/// a second.
pub fn judge(
    reading: Option<Reading>,
    run_ms: u32,
    target: &Target,
    nominal: Flow,
    in_force: Flow,
    before: Option<Flow>,
) -> Judgement {
    let Some(reading) = reading else { return Judgement::Implausible { flow: None } };
    let flow = u64::from(reading.flow.as_nl_per_min());
    let nominal = u64::from(nominal.as_nl_per_min());
    let (least, most) = PLAUSIBLE_PER_MILLE;
    if flow * 1000 < nominal * least || flow * 1000 > nominal * most {
        return Judgement::Implausible { flow: Some(reading.flow) };
    }
    if reading.uncertainty_ppm > target.most_ppm {
        // both terms fall with the length of the run, so that it scales
        let longer = times(u64::from(run_ms), u64::from(reading.uncertainty_ppm));
        let least_ms = over_up(longer, u64::from(target.most_ppm)).min(LONGEST_MS);
        return Judgement::RunLonger { reading, least_ms: least_ms as u32 };
    }
    let agrees = |other: Flow| {
        let other = u64::from(other.as_nl_per_min());
        flow.abs_diff(other) * 1000 <= other * CONFIRM_PER_MILLE
    };
    if agrees(in_force) || before.is_some_and(agrees) {
        Judgement::Accept(reading)
    } else {
        Judgement::Confirm(reading)
    }
}

/// Steady flow and loss per start from two runs: a long one, and a train of
/// short pulses of the same pumping time or another (O3).
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct TwoPoint {
    /// The flow once the pump runs.
    pub steady: Flow,
    /// What every start loses; zero where the train delivered no less.
    pub loss_per_start: Volume,
}

/// A train's or run's length in ms, its starts, and what was measured.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Train {
    /// Pumping in all, in ms.
    pub on_ms: u32,
    /// Starts in it, at least 1.
    pub starts: u32,
    /// What came out.
    pub volume: Volume,
}

/// Solves `volume = steady on - loss starts` for the two unknowns. `None` where
/// the two trains have the same share of starts, or give no flow. Volumes times on-times
/// beyond 64 bits (200 l in a day's run) count as the most there is: no small pump comes to
/// that.
pub fn two_point(long: &Train, short: &Train) -> Option<TwoPoint> {
    let of_run = |on_ms: u32, by: u64| times(u64::from(on_ms), by);
    let starts = of_run(long.on_ms, u64::from(short.starts));
    let starts = starts.saturating_sub(of_run(short.on_ms, u64::from(long.starts)));
    if starts == 0 || long.starts == 0 {
        return None;
    }
    // what the train gave less; one that gave more has lost nothing
    let less = of_run(short.on_ms, long.volume.as_nl());
    let less = less.saturating_sub(of_run(long.on_ms, short.volume.as_nl()));
    let loss = over(less, starts);
    // with the loss as it is taken on, so that the long run comes out exactly
    let steady = long.volume.plus(Volume::from_nl(times(loss, u64::from(long.starts))));
    let steady = reading(steady, Volume::ZERO, long.on_ms, 0)?.flow;
    Some(TwoPoint { steady, loss_per_start: Volume::from_nl(loss) })
}

/// The expanded uncertainty of the steady flow in ppm, by those of the two readings: that of
/// a difference of two volumes, each in its share (JCGM 100:2008, 5.1.3).
pub fn two_point_ppm(long: &Train, long_ppm: u32, short: &Train, short_ppm: u32) -> u32 {
    let share = |train: &Train, starts: u32| times(train.volume.as_nl(), u64::from(starts));
    let (of_long, of_short) = (share(long, short.starts), share(short, long.starts));
    let left = of_long.saturating_sub(of_short);
    let part = |share: u64, ppm: u32| over(times(share, u64::from(ppm)), left).min(MOST_PPM);
    let (long, short) = (part(of_long, long_ppm), part(of_short, short_ppm));
    root(long * long + short * short).saturating_add(1) as u32
}

/// Volume of one milligram of water at 1013 hPa by temperature, from 0.5 to 40 degrees in
/// half degrees, in tenths of a nanolitre more than 10 000. From 15 to 30 degrees it is the
/// table of ISO 8655-6; beside it the same by the density of water (Kell 1975) and the
/// buoyancy of air, which agree with the table to its last digit.
#[rustfmt::skip]
const Z: [u8; 80] = [
    13, 12, 12, 12, 12, 12, 11, 11, 11, 11, 12, 12, 12, 12, 12, 12, 13, 13, 14, 14,
    14, 15, 15, 16, 16, 17, 18, 18, 19, 20, 20, 21, 22, 23, 24, 25, 26, 27, 28, 29,
    30, 31, 32, 33, 34, 35, 36, 38, 39, 40, 41, 43, 44, 45, 47, 48, 50, 51, 52, 54,
    55, 57, 59, 60, 62, 63, 65, 67, 68, 70, 72, 74, 75, 77, 79, 81, 83, 85, 86, 88,
];

/// The volume of a mass of water at a temperature in tenths of a degree. The nearest half
/// degree counts, of 0.5 to 40 degrees; `None` outside.
pub fn water(mass_mg: u32, tenths_of_degree: u16) -> Option<Volume> {
    let z = Z.get(usize::from(tenths_of_degree.wrapping_sub(3) / 5))?;
    // 32 bits times 14 go into 64
    let tenths = u64::from(mass_mg).wrapping_mul(10_000 + u64::from(*z));
    Some(Volume::from_nl(over(tenths, 10)))
}

/// The volume of a mass of a product whose specific gravity is known, in
/// thousandths (of water at its densest, 1 g/ml). `None` for one below 0.5 or
/// above 2.
pub fn product(mass_mg: u32, gravity_per_mille: u16) -> Option<Volume> {
    if !(500..=2000).contains(&gravity_per_mille) {
        return None;
    }
    // 1 mg at 1.000 is 1000 nl
    Some(Volume::from_nl(over(u64::from(mass_mg) * 1_000_000, u64::from(gravity_per_mille))))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn o2_the_root_is_that_of_the_library() {
        for square in (0..70_000).chain([u64::MAX, u64::MAX - 1, 1 << 62, (1 << 62) - 1, 40 << 57])
        {
            assert_eq!(root(square), square.isqrt(), "{square}");
        }
    }

    #[test]
    fn o2_an_error_counts_up_to_twice_what_it_is_of() {
        let ul = Volume::from_ul;
        let of = |error_ul, timing_ms| uncertainty_ppm(ul(100), ul(error_ul), 1_000, timing_ms);
        // 2 x 1.5 / sqrt 3, and 2 x 2 / sqrt 3 (JCGM 100, 4.3.7)
        assert_eq!([of(150, 0), of(200, 0), of(201, 0)], [1_732_051, 2_309_402, 2_309_402]);
        // and of the time, 2 x 1.5 and 2 x 2
        assert_eq!([of(0, 1_500), of(0, 2_000), of(0, 2_001)], [3_000_000, 4_000_000, 4_000_000]);
        assert_eq!(uncertainty_ppm(Volume::ZERO, ul(1), 1_000, 0), 2_309_402);
    }

    #[test]
    fn o3_what_is_planned_is_sure_enough_though_the_pump_delivers_less() {
        let vessel = Vessel { capacity: Volume::from_ml(250), reading_error: Volume::from_ml(1) };
        let flow = Flow::from_nl_per_min(26_500_000).unwrap();
        // a head that delivers a tenth less, and starts that lose a quarter
        for (target, left_per_mille) in [(Target::PLANNED, 900), (Target::TRAIN, 750)] {
            let run = run_for(&vessel, &target, flow, Volume::from_ul(870), flow).unwrap();
            let came = Volume::from_nl(run.volume.as_nl() / 1000 * left_per_mille);
            let timing_ms = Target::DEFAULT.timing_ms;
            let found = uncertainty_ppm(came, vessel.reading_error, run.run_ms, timing_ms);
            assert!(found <= Target::DEFAULT.most_ppm, "{target:?}: {found}");
        }
    }

    #[test]
    fn o2_a_run_that_is_just_sure_enough_is_the_one() {
        let flow = Flow::from_nl_per_min(26_500_000).unwrap();
        let turn = Volume::from_ul(870);
        let vessel = Vessel { capacity: Volume::from_ml(50), reading_error: Volume::from_ul(500) };
        for turns in 20..=57_u64 {
            let run_ms = (turns * 870_000 * 60_000).div_ceil(26_500_000) as u32;
            let volume = flow.volume(Duration::from_ms(u64::from(run_ms)));
            let most_ppm = uncertainty_ppm(volume, vessel.reading_error, run_ms, 100);
            let target = Target { timing_ms: 100, most_ppm };
            let run = run_for(&vessel, &target, flow, turn, flow).unwrap();
            assert_eq!((u64::from(run.turns), run.run_ms), (turns, run_ms));
            assert_eq!((run.volume, run.uncertainty_ppm), (volume, most_ppm));
        }
    }

    #[test]
    fn o2_many_turns_are_whole_to_a_millisecond_whatever_one_is() {
        let vessel = Vessel { capacity: Volume::from_ml(225), reading_error: Volume::from_ml(2) };
        let flow = |nl| Flow::from_nl_per_min(nl).unwrap();
        // a second of 11.2711 ml/min is no whole number of nanolitres
        let run = |flow, turn, nominal| run_for(&vessel, &Target::PLANNED, flow, turn, nominal);
        let seconds = run(flow(11_271_100), Volume::ZERO, flow(11_271_100)).unwrap();
        assert_eq!((seconds.run_ms, seconds.turns), (684_000, 0));
        // 0.2 ml a turn at 13 ml/min take 923 1/13 ms, worn to 11.61 ml/min as well
        let worn = run(flow(11_610_000), Volume::from_ul(200), flow(13_000_000)).unwrap();
        assert_eq!(u64::from(worn.run_ms), (u64::from(worn.turns) * 12_000).div_ceil(13));
        assert!(worn.turns > 600, "{worn:?}");
        assert_eq!(worn.volume, flow(11_610_000).volume(Duration::from_ms(worn.run_ms.into())));
        // a vessel that holds just so many
        let five = Vessel { capacity: Volume::from_ml(1), reading_error: Volume::ZERO };
        let any = Target { timing_ms: 0, most_ppm: 0 };
        let held = |nl| {
            let vessel = Vessel { capacity: Volume::from_nl(nl), ..five };
            run_for(&vessel, &any, flow(13_000_000), Volume::from_ul(200), flow(13_000_000))
        };
        assert_eq!(held(200_000).map(|run| run.turns), Ok(1));
        assert_eq!(held(199_000), Err(NoRun::VesselTooSmall));
    }

    #[test]
    fn o3_the_steady_flow_is_as_sure_as_the_two_readings_make_it() {
        // 64.5 ml within 1.80 % in one start and 75 ml within 1.545 % in thirty: the difference
        // of 30 x 64.5 and 75 ml, JCGM 100:2008, 5.1.3; a Monte Carlo of both gives 1.873 %
        let train = |ul, starts| Train { on_ms: 1, starts, volume: Volume::from_ul(ul) };
        let ppm = two_point_ppm(&train(64_500, 1), 18_000, &train(75_000, 30), 15_450);
        let by_hand = (1935.0 * 0.018_f64).hypot(75.0 * 0.015_45) / (1935.0 - 75.0);
        assert!((f64::from(ppm) - by_hand * 1e6).abs() <= 2.0, "{ppm}");
        assert!((18_720..18_740).contains(&ppm), "{ppm}");
        // where the train gives nearly all that thirty runs would there is nothing to be sure of
        let near = two_point_ppm(&train(64_500, 1), 18_000, &train(1_934_000, 30), 15_450);
        assert_eq!(near, 5_656_855);
    }

    #[test]
    fn o2_a_flow_is_rounded_half_up_and_one_of_nothing_is_none() {
        let flow = |nl, run_ms| {
            let found = reading(Volume::from_nl(nl), Volume::ZERO, run_ms, 0);
            found.map(|reading| reading.flow.as_nl_per_min())
        };
        assert_eq!(
            [flow(1, 120_000), flow(1, 120_001), flow(3, 120_000)],
            [Some(1), None, Some(2)]
        );
        assert_eq!([flow(0, 60_000), flow(1, 0)], [None, None]);
        assert_eq!(flow(u64::from(u32::MAX) + 1, 60_000), None, "more than can be said");
    }

    #[test]
    fn o2_half_and_one_and_a_half_of_the_nominal_are_plausible_still() {
        let flow = |nl| Flow::from_nl_per_min(nl).unwrap();
        let judged = |nl, uncertainty_ppm| {
            let reading = Some(Reading { flow: flow(nl), uncertainty_ppm });
            judge(reading, 60_000, &Target::DEFAULT, flow(20_000_000), flow(20_000_000), None)
        };
        for nl in [10_000_000, 30_000_000] {
            assert!(matches!(judged(nl, 20_000), Judgement::Confirm(_)), "{nl}");
            assert!(matches!(judged(nl, 20_001), Judgement::RunLonger { .. }), "{nl}");
        }
        for nl in [9_999_999, 30_000_001] {
            assert_eq!(judged(nl, 20_000), Judgement::Implausible { flow: Some(flow(nl)) });
        }
    }
}
