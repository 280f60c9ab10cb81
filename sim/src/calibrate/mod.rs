//! What a calibration reading means: the flow, its uncertainty, and what to do
//! with it. The same rules as the device's (O2, O3), on the PC, for readings
//! taken by hand.

mod lines;
mod page;

use std::f64::consts::PI;

pub use lines::{json, planned_json, schema};
pub use page::{page, planned_page};

use crate::trade::repeats::{Odd, Repeats};
use crate::trade::restate::{Restated, restate};
use crate::trade::run_length::{self, Run, Unreachable};
use crate::trade::two_point::{self, Readings, Steady};
use crate::trade::uncertainty::{Budget, COVERAGE, rectangular};
use crate::trade::vessel::{Class, Standard, tolerance_ml};
use crate::trade::water::{STANDARD_HPA, z_ml_per_g};

/// Change against the last flow from which a second run has to confirm it, as a
/// share (common practice, no source).
pub const CONFIRM_FROM: f64 = 0.05;
/// Shares of the nominal flow outside which a result is refused (common
/// practice, no source).
pub const PLAUSIBLE: (f64, f64) = (0.5, 1.5);
/// Expanded uncertainty wanted unless said, as a share (own choice).
pub const TARGET: f64 = 0.02;
/// Standard uncertainty of a run timed by hand unless said, in s (own choice).
pub const TIMING_S: f64 = 0.5;
/// Share of the last flow at which a run that was planned still does (own choice).
pub const WORN: f64 = 0.9;
/// Most readings that are asked for (own choice).
const MOST_READINGS: usize = 20;
/// Longest calibration run where no head says it, in s.
pub const LONGEST_S: f64 = 600.0;

/// What the volume was measured with.
#[derive(Clone, Debug, PartialEq)]
pub enum Gauge {
    /// A cylinder of the tables.
    Cylinder {
        /// Its size in ml.
        size_ml: u32,
        /// Its class.
        class: Class,
        /// Whose tolerances.
        standard: Standard,
    },
    /// Another vessel: what it holds, and the half-width of what it may be off.
    Other {
        /// In ml.
        size_ml: f64,
        /// In ml.
        tolerance_ml: f64,
    },
    /// A balance that shows within a half-width of the mass, and what was
    /// weighed.
    Balance {
        /// In g.
        within_g: f64,
        /// What was weighed.
        liquid: Liquid,
    },
}

/// What was weighed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Liquid {
    /// Water at a temperature in C.
    Water(f64),
    /// A product of a density in g/ml.
    Product(f64),
}

impl Liquid {
    /// Volume in ml of a gram.
    pub fn ml_per_g(self) -> f64 {
        match self {
            Self::Water(celsius) => z_ml_per_g(celsius, STANDARD_HPA),
            Self::Product(density) => 1.0 / density,
        }
    }
}

impl Gauge {
    /// The half-width of its error in ml; `None` where the tables have no such
    /// cylinder.
    pub fn half_width_ml(&self) -> Option<f64> {
        match self {
            Self::Cylinder { size_ml, class, standard } => {
                tolerance_ml(*standard, *size_ml, *class)
            }
            Self::Other { tolerance_ml, .. } => Some(*tolerance_ml),
            Self::Balance { within_g, liquid } => Some(within_g * liquid.ml_per_g()),
        }
    }

    /// What it holds in ml; a balance takes any vessel.
    pub fn holds_ml(&self) -> f64 {
        match self {
            Self::Cylinder { size_ml, .. } => f64::from(*size_ml),
            Self::Other { size_ml, .. } => *size_ml,
            Self::Balance { .. } => f64::INFINITY,
        }
    }
}

/// What is known before the run.
#[derive(Clone, Debug, PartialEq)]
pub struct Setup {
    /// Flow as last calibrated, in ml/min.
    pub last_ml_min: f64,
    /// Nominal flow of the head, in ml/min.
    pub nominal_ml_min: f64,
    /// Volume of a roller pass in ml, 0 where it is not known.
    pub pass_ml: f64,
    /// Rollers.
    pub rollers: u32,
    /// What it is measured with.
    pub gauge: Gauge,
    /// Half-width of the reading itself, in ml, beside the vessel's own error.
    pub reading_ml: f64,
    /// Standard uncertainty of the run's length in s.
    pub timing_s: f64,
    /// Expanded uncertainty wanted, as a share.
    pub target: f64,
    /// Longest calibration run in s.
    pub longest_s: f64,
}

impl Setup {
    fn turn_ml(&self) -> f64 {
        self.pass_ml * f64::from(self.rollers)
    }

    /// Standard uncertainty of one measurement in ml.
    fn reading_u_ml(&self) -> f64 {
        let gauge = rectangular(self.gauge.half_width_ml().unwrap_or(0.0));
        gauge.hypot(rectangular(self.reading_ml))
    }

    fn means(&self, flow_ml_min: f64) -> run_length::Means {
        run_length::Means {
            flow_ml_min,
            // the rotor keeps its speed: what has changed is the volume of a turn
            turn_ml: self.turn_ml() * flow_ml_min / self.last_ml_min,
            vessel_ml: self.gauge.holds_ml(),
            reading_ml: self.reading_u_ml(),
            timing_s: self.timing_s,
            target: self.planned_target(),
            longest_s: self.longest_s,
            train: None,
        }
    }

    /// What a run is planned for, less than the target: its reading still meets that where
    /// the head delivers a tenth less than it did, and the reading is as low as it may be.
    pub fn planned_target(&self) -> f64 {
        let worst_ml = self.gauge.half_width_ml().unwrap_or(0.0) + self.reading_ml;
        let doubt_ml = COVERAGE * self.reading_u_ml();
        let low = if doubt_ml > 0.0 { self.target * worst_ml / doubt_ml } else { 0.0 };
        WORN * self.target / (1.0 + low)
    }

    /// The run that the gauge and the target ask for.
    pub fn plan(&self) -> Result<Run, Unreachable> {
        self.shortest(&self.means(self.last_ml_min))
    }

    /// The shortest run for what is planned; where none is so long, one with as much in hand
    /// as vessel and longest run leave, in eighths.
    fn shortest(&self, means: &run_length::Means) -> Result<Run, Unreachable> {
        let targets = self.targets(means);
        targets.fold(run_length::shortest(means), |run, target| {
            run.or_else(|_| run_length::shortest(&run_length::Means { target, ..*means }))
        })
    }

    /// The same of as many readings as there were, which scatter as those did; `None` where
    /// it is the scatter that no run makes up for.
    fn shortest_again(
        &self,
        means: &run_length::Means,
        repeats: &Repeats,
    ) -> Result<Option<Run>, Unreachable> {
        let (scatter, degrees) = (repeats.of_mean(), repeats.degrees());
        self.shortest(means)?;
        let mut all = std::iter::once(means.target).chain(self.targets(means));
        Ok(all.find_map(|target| {
            let means = run_length::Means { target, ..*means };
            run_length::shortest_of_several(&means, scatter, degrees).ok().flatten()
        }))
    }

    /// What else may be planned for, with less and less in hand.
    fn targets(&self, means: &run_length::Means) -> impl Iterator<Item = f64> + use<> {
        let (target, in_hand) = (means.target, self.target - means.target);
        (1..=8).map(move |eighth| target + in_hand * f64::from(eighth) / 8.0)
    }
}

/// What was measured.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reading {
    /// Length of the run in s.
    pub run_s: f64,
    /// What came out, in ml; of several runs of this length the mean.
    pub volume_ml: f64,
    /// What several runs of this length gave.
    pub repeats: Option<Repeats>,
    /// A train of short pulses beside it: pulses, length of each in s, ml.
    pub train: Option<(u32, f64, f64)>,
    /// The flow that an earlier run of this calibration gave, in ml/min.
    pub first_ml_min: Option<f64>,
    /// Volume that was logged since the last calibration, in ml.
    pub logged_ml: Option<f64>,
}

impl Reading {
    /// What the train gave beyond the flow of the run, as a share; nothing where there is none.
    pub fn train_gives_more_by(&self) -> f64 {
        self.train.map_or(0.0, |(pulses, pulse_s, train_ml)| {
            let by_run = self.volume_ml / self.run_s * pulse_s * f64::from(pulses);
            train_ml / by_run - 1.0
        })
    }
}

/// What to do with a result.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Verdict {
    /// Take it.
    Accept,
    /// Its uncertainty is above the target: the run that would do, or why none.
    RunLonger(Result<Run, Unreachable>),
    /// Outside the plausible range.
    Refused,
    /// Far from the last: run again to confirm.
    Confirm,
    /// The second run does not agree with the first, or several not with one another.
    Disagree,
    /// Several readings scatter so much that their mean is in more doubt than the target;
    /// how many would do that scatter alike, if some would.
    Scatter(Option<usize>),
    /// One of several readings is an outlier.
    Outlier(Odd),
    /// The train gave more than its starts can: it does not agree with the run.
    TrainGivesMore,
}

impl Verdict {
    /// One word for machines.
    pub const fn word(&self) -> &'static str {
        match self {
            Self::Accept => "accept",
            Self::RunLonger(_) => "run longer",
            Self::Refused => "refused",
            Self::Confirm => "confirm",
            Self::Disagree | Self::TrainGivesMore => "disagree",
            Self::Scatter(_) => "scatter",
            Self::Outlier(_) => "outlier",
        }
    }
}

/// The result of a calibration.
#[derive(Clone, Debug, PartialEq)]
pub struct Outcome {
    /// What to do.
    pub verdict: Verdict,
    /// The flow, in ml/min.
    pub flow_ml_min: f64,
    /// Its uncertainty and what it is made of.
    pub budget: Budget,
    /// Change against the last, as a share.
    pub change: f64,
    /// Rotor turns of the run; `None` where a turn is not known.
    pub turns: Option<f64>,
    /// Steady flow and loss per start with their expanded uncertainties, where a
    /// train was run.
    pub steady: Option<(Steady, f64, f64)>,
    /// The account restated, where a volume was logged.
    pub restated: Option<Restated>,
    /// One of several readings that stands apart, by more than a reading is in doubt.
    pub odd: Option<Odd>,
}

/// The part of the uncertainty that several readings show.
const SCATTER: &str = "scatter";

/// Share of the flow from which the part of a pass is worth a line.
const WORTH: f64 = 1e-6;

/// The budget of a run of `run_s` that gave `volume_ml`.
fn budget(setup: &Setup, run_s: f64, volume_ml: f64) -> (Budget, Option<f64>) {
    let gauge = rectangular(setup.gauge.half_width_ml().unwrap_or(0.0));
    let name = if matches!(setup.gauge, Gauge::Balance { .. }) { "balance" } else { "vessel" };
    let mut budget = Budget::default().with(name, gauge / volume_ml);
    if setup.reading_ml > 0.0 {
        budget = budget.with("reading", rectangular(setup.reading_ml) / volume_ml);
    }
    budget = budget.with("timing", setup.timing_s / run_s);
    // by the time and the rotor's speed; the volume of a pass may have drifted
    let passes = (setup.pass_ml > 0.0).then(|| run_s * setup.last_ml_min / 60.0 / setup.pass_ml);
    if let Some(passes) = passes {
        // a flow that swings to nothing and back is off by so much over a part of
        // a pass, at the worst angle to begin at
        let off_ml = setup.pass_ml / PI * (PI * passes.fract()).sin();
        let share = rectangular(off_ml) / volume_ml;
        if share > WORTH {
            budget = budget.with("part of a pass", share);
        }
    }
    (budget, passes.map(|passes| passes / f64::from(setup.rollers.max(1))))
}

/// Judges a reading. Refusal comes before confirmation, that before a longer run:
/// a reading that cannot be right is not made right by a longer one.
pub fn judge(setup: &Setup, reading: &Reading) -> Outcome {
    let one_run = reading.volume_ml / reading.run_s * 60.0;
    let (of_one, turns) = budget(setup, reading.run_s, reading.volume_ml);
    // vessel and timing stay as of one run: the same vessel is off the same way each time
    let one_expanded = of_one.expanded();
    let budget = match &reading.repeats {
        Some(repeats) => of_one.clone().seen(SCATTER, repeats.of_mean(), repeats.degrees()),
        None => of_one.clone(),
    };
    // a cylinder shows steps: readings that differ by less than one may be off say nothing
    let odd = reading.repeats.and_then(|repeats| repeats.odd);
    let odd = odd.filter(|odd| odd.off().abs() > one_expanded);
    // limits that are met to the last digit are met
    let most = setup.target * (1.0 + 1e-9);
    // how many readings would do that scatter as these do
    let enough = |repeats: &Repeats| {
        (repeats.readings + 1..=MOST_READINGS).find(|&n| {
            let of_mean = repeats.of_mean_of(n);
            of_one.clone().seen(SCATTER, of_mean, (n - 1) as f64).expanded() <= most
        })
    };
    let steady = reading.train.and_then(|(pulses, pulse_s, train_ml)| {
        let readings = Readings {
            long_s: reading.run_s,
            long_ml: reading.volume_ml,
            pulses,
            pulse_s,
            train_ml,
        };
        let steady = two_point::solve(&readings)?;
        let (flow, loss) = two_point::uncertainty(&readings, setup.reading_u_ml(), setup.timing_s);
        if steady.loss_ml < 0.0 {
            // as on the device a start that loses nothing leaves the flow to the run
            let steady = Steady { flow_ml_min: one_run, ..steady };
            return Some((steady, budget.expanded() * one_run, COVERAGE * loss));
        }
        Some((steady, COVERAGE * flow, COVERAGE * loss))
    });
    let flow_ml_min = steady.map_or(one_run, |(steady, _, _)| steady.flow_ml_min);
    let expanded =
        steady.map_or_else(|| budget.expanded(), |(_, expanded, _)| expanded / flow_ml_min);
    let change = flow_ml_min / setup.last_ml_min - 1.0;
    let share = flow_ml_min / setup.nominal_ml_min;
    let verdict = if share < PLAUSIBLE.0 || share > PLAUSIBLE.1 {
        Verdict::Refused
    } else if steady.is_some_and(|(steady, _, doubt_ml)| {
        reading.train_gives_more_by() > CONFIRM_FROM && -steady.loss_ml > doubt_ml
    }) {
        Verdict::TrainGivesMore
    } else if let Some(odd) = odd.filter(|odd| odd.is_outlier) {
        Verdict::Outlier(odd)
    } else if expanded > most {
        // where the flow comes from two points, the run has to do for both
        let train = steady.and(reading.train).map(|(pulses, pulse_s, _)| (pulses, pulse_s));
        let means = run_length::Means { train, ..setup.means(flow_ml_min) };
        match &reading.repeats {
            None => Verdict::RunLonger(setup.shortest(&means)),
            Some(repeats) if one_expanded <= most => Verdict::Scatter(enough(repeats)),
            Some(repeats) => match setup.shortest_again(&means, repeats) {
                Ok(None) => Verdict::Scatter(None),
                Ok(Some(run)) => Verdict::RunLonger(Ok(run)),
                Err(why) => Verdict::RunLonger(Err(why)),
            },
        }
    } else if change.abs() <= CONFIRM_FROM {
        Verdict::Accept
    } else {
        match (reading.first_ml_min, &reading.repeats) {
            (None, None) => Verdict::Confirm,
            // several runs of one visit confirm one another
            (None, Some(repeats)) => {
                if repeats.most / repeats.least - 1.0 <= CONFIRM_FROM {
                    Verdict::Accept
                } else {
                    Verdict::Disagree
                }
            }
            // as the device does
            (Some(first), _) if (flow_ml_min / first - 1.0).abs() <= CONFIRM_FROM => {
                Verdict::Accept
            }
            (Some(_), _) => Verdict::Disagree,
        }
    };
    Outcome {
        verdict,
        flow_ml_min,
        budget,
        change,
        turns,
        steady,
        restated: reading.logged_ml.map(|logged| restate(setup.last_ml_min, flow_ml_min, logged)),
        odd,
    }
}

impl Outcome {
    /// Expanded uncertainty of the flow in ml/min.
    pub fn expanded_ml_min(&self) -> f64 {
        self.steady
            .map_or_else(|| self.budget.expanded() * self.flow_ml_min, |(_, expanded, _)| expanded)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn setup() -> Setup {
        Setup {
            last_ml_min: 26.5,
            nominal_ml_min: 26.5,
            pass_ml: 0.29,
            rollers: 3,
            gauge: Gauge::Cylinder { size_ml: 100, class: Class::B, standard: Standard::Astm },
            reading_ml: 0.0,
            timing_s: 0.5,
            target: TARGET,
            longest_s: LONGEST_S,
        }
    }

    fn reading(run_s: f64, volume_ml: f64) -> Reading {
        Reading {
            run_s,
            volume_ml,
            repeats: None,
            train: None,
            first_ml_min: None,
            logged_ml: None,
        }
    }

    #[test]
    fn the_run_that_is_planned_is_accepted_when_it_is_run() {
        let run = setup().plan().unwrap();
        let found = judge(&setup(), &reading(run.run_s, run.volume_ml));
        assert_eq!(found.verdict, Verdict::Accept);
        assert!((found.flow_ml_min - 26.5).abs() < 1e-9);
        assert!((found.turns.unwrap() - f64::from(run.turns)).abs() < 1e-6);
        assert_eq!(found.budget.parts.len(), 2, "whole turns have no part of a pass");
    }

    #[test]
    fn what_is_planned_does_for_a_worn_head_and_the_lowest_reading() {
        for (reading_ml, target) in [(0.0, 0.02), (0.5, 0.02), (0.0, 0.05), (1.0, 0.04)] {
            let setup = Setup { reading_ml, target, ..setup() };
            let run = setup.plan().unwrap();
            let lowest = |share: f64| run.volume_ml * share - 1.0 - reading_ml;
            let found = judge(&setup, &reading(run.run_s, lowest(0.901)));
            assert_eq!(found.verdict, Verdict::Confirm, "{setup:?}");
            // and no longer than that needs, by a turn or the timing
            let found = judge(&setup, &reading(run.run_s, lowest(0.85)));
            let Verdict::RunLonger(Ok(longer)) = found.verdict else { panic!("{setup:?}") };
            // the run that is asked for does in its turn
            let flow = found.flow_ml_min / 60.0;
            let again = reading(longer.run_s, flow * longer.run_s * 0.95 - 1.0 - reading_ml);
            assert_eq!(judge(&setup, &again).verdict, Verdict::Confirm, "{setup:?}");
        }
    }

    #[test]
    fn a_run_that_leaves_less_in_hand_is_better_than_none() {
        // 6 ml/min for ten minutes at most: 60 ml, read to a millilitre
        let slow = Setup { last_ml_min: 6.0, pass_ml: 0.0, longest_s: 600.0, ..setup() };
        let run = slow.plan().unwrap();
        assert!(run.expanded > slow.planned_target() && run.expanded <= slow.target, "{run:?}");
        assert!(run.run_s <= 600.0);
        // slower still, and none meets the target itself
        let plan = Setup { last_ml_min: 5.0, ..slow }.plan();
        let Err(Unreachable::Longest { best, .. }) = plan else { panic!("{plan:?}") };
        assert!(best > slow.target);
    }

    #[test]
    fn too_short_a_run_asks_for_a_longer_one_and_names_one_that_does() {
        let run = setup().plan().unwrap();
        // a turn less is still within what is kept in hand
        let less = |turns: u32| {
            let share = f64::from(turns) / f64::from(run.turns);
            judge(&setup(), &reading(run.run_s * share, run.volume_ml * share))
        };
        assert_eq!(less(run.turns - 1).verdict, Verdict::Accept);
        let found = less(run.turns * 4 / 5);
        let Verdict::RunLonger(Ok(longer)) = found.verdict else { panic!("{:?}", found.verdict) };
        assert_eq!(longer.turns, run.turns);
        // in a small vessel no run does
        let small = Setup { gauge: Gauge::Other { size_ml: 10.0, tolerance_ml: 1.0 }, ..setup() };
        let found = judge(&small, &reading(20.0, 8.8));
        assert!(matches!(found.verdict, Verdict::RunLonger(Err(Unreachable::Vessel { .. }))));
    }

    #[test]
    fn a_longer_run_beside_a_train_is_one_that_does_for_both() {
        let run = setup().plan().unwrap();
        let train = |run: &Run| {
            let each = |s: f64| 26.5 / 60.0 * s - 0.005;
            Reading {
                train: Some((60, 2.0, 60.0 * each(2.0))),
                ..reading(run.run_s, each(run.run_s))
            }
        };
        // what just does for the run alone leaves too much doubt to the two of them
        let turns = run.turns * 9 / 10;
        let share = f64::from(turns) / f64::from(run.turns);
        let alone = Run { turns, run_s: run.run_s * share, ..run };
        let one = judge(&setup(), &reading(alone.run_s, run.volume_ml * share));
        assert_eq!(one.verdict, Verdict::Accept);
        let found = judge(&setup(), &train(&alone));
        let Verdict::RunLonger(Ok(longer)) = found.verdict else { panic!("{:?}", found.verdict) };
        assert!(longer.turns > run.turns, "{longer:?}");
        let found = judge(&setup(), &train(&longer));
        assert_eq!(found.verdict, Verdict::Accept, "{longer:?}");
        let (steady, expanded, _) = found.steady.unwrap();
        assert!((expanded / steady.flow_ml_min - longer.expanded).abs() < 1e-5);
    }

    #[test]
    fn far_from_the_last_needs_a_second_run_that_agrees() {
        let far = reading(180.0, 23.9 * 3.0);
        assert_eq!(judge(&setup(), &far).verdict, Verdict::Confirm);
        let confirmed = Reading { first_ml_min: Some(24.1), ..far };
        assert_eq!(judge(&setup(), &confirmed).verdict, Verdict::Accept);
        let other = Reading { first_ml_min: Some(26.4), ..far };
        assert_eq!(judge(&setup(), &other).verdict, Verdict::Disagree);
        // 5 % is not over 5 %
        let edge = reading(180.0, 26.5 * 0.9501 * 3.0);
        assert_eq!(judge(&setup(), &edge).verdict, Verdict::Accept);
    }

    #[test]
    fn outside_the_plausible_range_nothing_helps() {
        for share in [0.49, 1.51] {
            let wrong =
                Reading { first_ml_min: Some(26.5 * share), ..reading(600.0, 265.0 * share) };
            assert_eq!(judge(&setup(), &wrong).verdict, Verdict::Refused, "{share}");
        }
        for share in [0.51, 1.49] {
            let far = judge(&setup(), &reading(600.0, 265.0 * share));
            assert_eq!(far.verdict, Verdict::Confirm, "{share}");
        }
    }

    #[test]
    fn a_worn_tube_turns_as_fast_as_a_new_one() {
        let run = setup().plan().unwrap();
        let found = judge(&setup(), &reading(run.run_s, run.volume_ml * 0.8));
        assert!((found.turns.unwrap() - f64::from(run.turns)).abs() < 1e-6, "{found:?}");
        assert_eq!(found.budget.parts.len(), 2, "it still is whole turns");
        let Verdict::RunLonger(Ok(longer)) = found.verdict else { panic!("{:?}", found.verdict) };
        let turn_s = |run: &Run| run.run_s / f64::from(run.turns);
        assert!((turn_s(&longer) - turn_s(&run)).abs() < 1e-9, "{longer:?}");
    }

    #[test]
    fn a_part_of_a_pass_is_in_the_budget_of_an_odd_run() {
        let odd = judge(&setup(), &reading(180.0, 79.5));
        let part = odd.budget.parts.iter().find(|part| part.name == "part of a pass");
        assert!(part.is_some_and(|part| part.share > 0.0), "{:?}", odd.budget);
    }

    #[test]
    fn by_mass_water_and_product_differ_by_their_density() {
        let gauge = |liquid| Gauge::Balance { within_g: 0.1, liquid };
        let water = gauge(Liquid::Water(20.0)).half_width_ml().unwrap();
        let product = gauge(Liquid::Product(1.03)).half_width_ml().unwrap();
        assert!((water - 0.100_29).abs() < 1e-5 && (product - 0.097_087).abs() < 1e-5);
    }

    #[test]
    fn two_points_give_the_steady_flow_and_the_account_is_restated_with_it() {
        let volume = |pulses: f64, each_s: f64| pulses * (26.0 / 60.0 * each_s - 0.02);
        let setup = Setup { gauge: Gauge::Other { size_ml: 250.0, tolerance_ml: 0.5 }, ..setup() };
        let both = Reading {
            train: Some((60, 2.0, volume(60.0, 2.0))),
            logged_ml: Some(18_700.0),
            ..reading(180.0, volume(1.0, 180.0))
        };
        let found = judge(&setup, &both);
        assert_eq!(found.verdict, Verdict::Accept);
        let (steady, _, loss_u) = found.steady.unwrap();
        assert!((steady.flow_ml_min - 26.0).abs() < 1e-9 && (steady.loss_ml - 0.02).abs() < 1e-9);
        assert!(loss_u > 0.0 && loss_u < 0.02, "{loss_u}");
        // a start that gives more than it takes has no lead, and the flow is the run's
        let train = |share: f64| {
            let train_ml = 60.0 * 26.0 / 60.0 * 2.0 * share;
            let found = judge(
                &setup,
                &Reading { train: Some((60, 2.0, train_ml)), ..reading(180.0, 26.0 * 3.0) },
            );
            assert!((found.flow_ml_min - 26.0).abs() < 1e-9, "{found:?}");
            assert!(found.steady.unwrap().0.lead_ms() <= 0.0);
            found.verdict
        };
        assert_eq!([train(1.01), train(1.049)], [Verdict::Accept, Verdict::Accept]);
        assert_eq!([train(1.06), train(1.15)], [Verdict::TrainGivesMore, Verdict::TrainGivesMore]);
        let restated = found.restated.unwrap();
        assert!((restated.least - 18_700.0 * 26.0 / 26.5).abs() < 1e-6);
    }
}
