//! What a reading comes to, and what to do with it.

use std::f64::consts::PI;

use crate::trade::repeats::{Odd, Repeats};
use crate::trade::restate::restate;
use crate::trade::run_length;
use crate::trade::two_point::{self, Readings, Steady};
use crate::trade::uncertainty::{Budget, COVERAGE, rectangular};

use super::{CONFIRM_FROM, Gauge, Outcome, PLAUSIBLE, Reading, Setup, Verdict};

/// The part of the uncertainty that several readings show.
const SCATTER: &str = "scatter";
/// Share of the flow from which the part of a pass is worth a line.
const WORTH: f64 = 1e-6;
/// Most readings that are asked for (own choice).
const MOST_READINGS: usize = 20;

/// Judges a reading.
pub fn judge(setup: &Setup, reading: &Reading) -> Outcome {
    let found = Found::of(setup, reading);
    Outcome {
        verdict: found.verdict(),
        flow_ml_min: found.flow_ml_min,
        change: found.change(),
        turns: found.turns,
        steady: found.steady,
        restated: reading
            .logged_ml
            .map(|logged| restate(setup.last_ml_min, found.flow_ml_min, logged)),
        odd: found.odd,
        budget: found.budget,
    }
}

/// What a reading comes to.
struct Found<'a> {
    setup: &'a Setup,
    reading: &'a Reading,
    /// Of one run, without the scatter of several.
    of_one: Budget,
    budget: Budget,
    turns: Option<f64>,
    steady: Option<(Steady, f64, f64)>,
    flow_ml_min: f64,
    odd: Option<Odd>,
}

impl<'a> Found<'a> {
    fn of(setup: &'a Setup, reading: &'a Reading) -> Self {
        let one_run = reading.volume_ml / reading.run_s * 60.0;
        let (of_one, turns) = budget(setup, reading.run_s, reading.volume_ml);
        // vessel and timing stay as of one run: the same vessel is off the same way each time
        let budget = match &reading.repeats {
            Some(repeats) => of_one.clone().seen(SCATTER, repeats.of_mean(), repeats.degrees()),
            None => of_one.clone(),
        };
        // a cylinder shows steps: readings that differ by less than one may be off say nothing
        let odd = reading.repeats.and_then(|repeats| repeats.odd);
        let odd = odd.filter(|odd| odd.off().abs() > of_one.expanded());
        let steady = steady(setup, reading, one_run, budget.expanded());
        let flow_ml_min = steady.map_or(one_run, |(steady, _, _)| steady.flow_ml_min);
        Self { setup, reading, of_one, budget, turns, steady, flow_ml_min, odd }
    }

    /// Change against the last flow, as a share.
    fn change(&self) -> f64 {
        self.flow_ml_min / self.setup.last_ml_min - 1.0
    }

    /// Expanded uncertainty of the flow, as a share.
    fn expanded(&self) -> f64 {
        self.steady
            .map_or_else(|| self.budget.expanded(), |(_, expanded, _)| expanded / self.flow_ml_min)
    }

    /// The most that an expanded uncertainty may be, as a share: a limit that is met to the
    /// last digit is met.
    fn most(&self) -> f64 {
        self.setup.target * (1.0 + 1e-9)
    }

    /// Refusal comes before confirmation, that before a longer run: a reading that cannot
    /// be right is not made right by a longer one.
    fn verdict(&self) -> Verdict {
        let share = self.flow_ml_min / self.setup.nominal_ml_min;
        if share < PLAUSIBLE.0 || share > PLAUSIBLE.1 {
            Verdict::Refused
        } else if self.train_gives_more() {
            Verdict::TrainGivesMore
        } else if let Some(odd) = self.odd.filter(|odd| odd.is_outlier) {
            Verdict::Outlier(odd)
        } else if self.expanded() > self.most() {
            self.too_unsure()
        } else if self.change().abs() <= CONFIRM_FROM {
            Verdict::Accept
        } else {
            self.confirmed()
        }
    }

    /// The train gave more than the run says, by more than the two are in doubt.
    fn train_gives_more(&self) -> bool {
        self.steady.is_some_and(|(steady, _, doubt_ml)| {
            self.reading.train_gives_more_by() > CONFIRM_FROM && -steady.loss_ml > doubt_ml
        })
    }

    /// A longer run, or more of them, where the scatter is what leaves the doubt.
    fn too_unsure(&self) -> Verdict {
        // where the flow comes from two points, the run has to do for both
        let train = self.steady.and(self.reading.train);
        let train = train.map(|(pulses, pulse_s, _)| (pulses, pulse_s));
        let means = run_length::Means { train, ..self.setup.means(self.flow_ml_min) };
        let Some(repeats) = &self.reading.repeats else {
            return Verdict::RunLonger(self.setup.shortest(&means));
        };
        if self.of_one.expanded() <= self.most() {
            return Verdict::Scatter(self.enough(repeats));
        }
        match self.setup.shortest_again(&means, repeats) {
            Ok(None) => Verdict::Scatter(None),
            Ok(Some(run)) => Verdict::RunLonger(Ok(run)),
            Err(why) => Verdict::RunLonger(Err(why)),
        }
    }

    /// How many readings would do that scatter as these do.
    fn enough(&self, repeats: &Repeats) -> Option<usize> {
        (repeats.readings + 1..=MOST_READINGS).find(|&n| {
            let of_mean = repeats.of_mean_of(n);
            let all = self.of_one.clone().seen(SCATTER, of_mean, (n - 1) as f64);
            all.expanded() <= self.most()
        })
    }

    /// A flow far from the last: whether another run says the same.
    fn confirmed(&self) -> Verdict {
        let apart = match (self.reading.first_ml_min, &self.reading.repeats) {
            (None, None) => return Verdict::Confirm,
            // several runs of one visit confirm one another
            (None, Some(repeats)) => repeats.most / repeats.least - 1.0,
            // as the device does
            (Some(first), _) => (self.flow_ml_min / first - 1.0).abs(),
        };
        if apart <= CONFIRM_FROM { Verdict::Accept } else { Verdict::Disagree }
    }
}

/// Steady flow and loss per start with their expanded uncertainties in ml/min and ml, from
/// a run and a train; `None` where there is no train, or the two have no solution.
fn steady(
    setup: &Setup,
    reading: &Reading,
    one_run: f64,
    expanded: f64,
) -> Option<(Steady, f64, f64)> {
    let (pulses, pulse_s, train_ml) = reading.train?;
    let (long_s, long_ml) = (reading.run_s, reading.volume_ml);
    let readings = Readings { long_s, long_ml, pulses, pulse_s, train_ml };
    let steady = two_point::solve(&readings)?;
    let (flow, loss) = two_point::uncertainty(&readings, setup.reading_u_ml(), setup.timing_s);
    if steady.loss_ml < 0.0 {
        // as on the device a start that loses nothing leaves the flow to the run
        let steady = Steady { flow_ml_min: one_run, ..steady };
        return Some((steady, expanded * one_run, COVERAGE * loss));
    }
    Some((steady, COVERAGE * flow, COVERAGE * loss))
}

/// The budget of a run of `run_s` that gave `volume_ml`, and the turns that it took;
/// `None` where a turn is not known.
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
