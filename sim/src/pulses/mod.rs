//! The pulse train of one dose: what the planner makes of it, what would come
//! out of a pulsating head, and how even both are.

mod judge;
mod lines;
pub mod page;
mod tables;

pub use judge::{Turndown, turndown};
pub use lines::{json, no_train, schema};
pub use tables::{csv, vcd};

use dosewright_core::config::Head;
use dosewright_core::spread::{self, Misfit, Plan};
use dosewright_core::time::{Duration, Instant};
use dosewright_core::units::{Carry, Volume};

use crate::observe::PumpEdges;
use crate::plan::passes::{self, Pulses};
use crate::run::{self, Options};
use crate::scenario::{
    EntryPlan, HeadPlan, IntervalStart, RecurrencePlan, Scenario, SignedMs, Supply,
};
use crate::trade::evenness::{self, Error};
use crate::world::head::{Conditions, HeadModel, Rotor};

/// One pulse of a train.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pulse {
    /// From the window's start, in ms.
    pub start_ms: u64,
    /// How long the pump runs for it, in ms: what its volume takes and the head's lead.
    pub on_ms: u64,
    /// What the model gives for it, in ml.
    pub outflow_ml: f64,
}

/// A dose with its train.
#[derive(Clone, Debug, PartialEq)]
pub struct Train {
    /// The dose.
    pub dose: Volume,
    /// Its window, in ms.
    pub window_ms: u64,
    /// Pulses asked for in the file.
    pub asked: Option<u16>,
    /// The head.
    pub head: Head,
    /// The model of its outflow.
    pub model: HeadModel,
    /// The pulses.
    pub pulses: Vec<Pulse>,
}

/// How far the delivered volume is from the straight line, at most.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Line {
    /// Before it, in ml.
    pub lead_ml: f64,
    /// Behind it, in ml.
    pub lag_ml: f64,
    /// The largest pulse, in ml: what D6 allows.
    pub pulse_ml: f64,
}

/// The model of a head from its table; `conditions` against how it was calibrated.
pub fn model(plan: &HeadPlan, conditions: &Conditions) -> HeadModel {
    conditions.of(HeadModel::of(plan))
}

/// The train of a dose as the device plans it, and its outflow from a rotor that
/// stands in the middle of a dip.
pub fn train(
    dose: Volume,
    window_ms: u64,
    asked: Option<u16>,
    head: &Head,
    model: HeadModel,
) -> Result<Train, Misfit> {
    let mut rotor = Rotor { model, angle: 0.0 };
    train_from(dose, window_ms, asked, head, &mut rotor)
}

/// The same from a rotor as it stands; it is left as the dose leaves it.
pub(crate) fn train_from(
    dose: Volume,
    window_ms: u64,
    asked: Option<u16>,
    head: &Head,
    rotor: &mut Rotor,
) -> Result<Train, Misfit> {
    let dose_ms = head.flow.on_time(dose, Carry(0)).0.as_ms();
    let count = spread::pulses_for(dose_ms, window_ms, head, asked)?;
    let mut plan = Plan {
        origin: Instant::ZERO,
        span_ms: window_ms,
        pulses: count,
        total_ms: u32::try_from(dose_ms).unwrap_or(u32::MAX),
        next: 0,
    };
    let mut pulses = Vec::new();
    while let Some(start) = plan.next_start() {
        let on_ms = head.run_of(plan.next_length()).as_ms();
        let start_ms = start.since(Instant::ZERO).as_ms();
        plan.next += 1;
        let next_ms = plan
            .next_start()
            .map_or(window_ms.max(start_ms + on_ms), |next| next.since(Instant::ZERO).as_ms());
        let off_s = (next_ms - start_ms - on_ms) as f64 / 1e3;
        let outflow_ml = rotor.run_ml(on_ms as f64 / 1e3, off_s);
        pulses.push(Pulse { start_ms, on_ms, outflow_ml });
    }
    Ok(Train { dose, window_ms, asked, head: *head, model: rotor.model, pulses })
}

/// The train of an entry.
pub fn of_entry(
    entry: &EntryPlan,
    head: &HeadPlan,
    conditions: &Conditions,
) -> Result<Train, Misfit> {
    let model = model(head, conditions);
    train(entry.volume, u64::from(entry.window_ms), entry.pulses, &head.head, model)
}

impl Train {
    /// The dose in ml.
    pub fn dose_ml(&self) -> f64 {
        self.dose.as_nl() as f64 / 1e6
    }

    /// Pumping in ms.
    pub fn on_ms(&self) -> u64 {
        self.pulses.iter().map(|pulse| pulse.on_ms).sum()
    }

    /// Calibrated flow, in ml a millisecond.
    fn flow_ml_ms(&self) -> f64 {
        f64::from(self.head.flow.as_nl_per_min()) / 6e10
    }

    /// On-time times calibrated flow, the lead of each start left out, in ml.
    pub fn commanded_ml(&self) -> f64 {
        self.pulses.iter().map(|pulse| self.pulse_ml(pulse)).sum()
    }

    /// What a pulse is commanded to give, in ml: its lead is left out.
    fn pulse_ml(&self, pulse: &Pulse) -> f64 {
        pulse.on_ms.saturating_sub(u64::from(self.head.lead_ms)) as f64 * self.flow_ml_ms()
    }

    /// What the model gives, in ml.
    pub fn outflow_ml(&self) -> f64 {
        self.pulses.iter().map(|pulse| pulse.outflow_ml).sum()
    }

    /// Roller passes in a pulse, and how many whole ones they are, if they are; `None` where
    /// the volume of one is not known.
    pub fn passes(&self) -> Option<(f64, Option<u32>)> {
        let pulses = u32::try_from(self.pulses.len()).unwrap_or(u32::MAX);
        let found = Pulses::of(self.dose, pulses, pulses, &self.head);
        Some((found.passes?, found.whole()))
    }

    /// A number of pulses of whole roller passes, where these are not whole and such a
    /// number fits dose, window and head.
    pub fn whole_instead(&self) -> Option<Pulses> {
        let (_, None) = self.passes()? else { return None };
        let other = passes::choose(self.dose, self.window_ms, &self.head).ok()?;
        other.whole().map(|_| other)
    }

    /// Gaps between one pulse's end and the next one's start, in ms.
    pub fn gaps_ms(&self) -> Vec<u64> {
        self.pulses
            .windows(2)
            .map(|pair| pair[1].start_ms - pair[0].start_ms - pair[0].on_ms)
            .collect()
    }

    /// What the head's limits are broken by, in words; nothing where they hold.
    pub fn broken_limits(&self) -> Vec<String> {
        let head = &self.head;
        let mut broken = Vec::new();
        for (pulse, number) in self.pulses.iter().zip(1..) {
            let (least, most) = (u64::from(head.shortest_on_ms), u64::from(head.longest_run_ms));
            if pulse.on_ms < least || pulse.on_ms > most {
                broken.push(format!("pulse {number} is {} ms; {least} to {most} ms", pulse.on_ms));
            }
        }
        for ((gap, pulse), number) in self.gaps_ms().iter().zip(&self.pulses).zip(1..) {
            let rest = head.rest_after(Duration::from_ms(pulse.on_ms)).as_ms();
            if *gap < rest {
                broken.push(format!("the gap after pulse {number} is {gap} ms; least {rest} ms"));
            }
        }
        let limit = usize::from(head.starts_per_hour);
        for pair in self.pulses.windows(limit + 1) {
            if pair[limit].start_ms - pair[0].start_ms < 3_600_000 {
                broken.push(format!("more than {limit} starts in an hour"));
                break;
            }
        }
        broken
    }

    /// The commanded volume against the straight line (D6).
    pub fn line(&self) -> Line {
        let slope = self.dose_ml() / self.window_ms as f64;
        let (mut sum, mut line) = (0.0, Line { lead_ml: 0.0, lag_ml: 0.0, pulse_ml: 0.0 });
        for pulse in &self.pulses {
            let ml = self.pulse_ml(pulse);
            line.lag_ml = line.lag_ml.max(pulse.start_ms as f64 * slope - sum);
            sum += ml;
            line.lead_ml = line.lead_ml.max(sum - (pulse.start_ms + pulse.on_ms) as f64 * slope);
            line.pulse_ml = line.pulse_ml.max(ml);
        }
        line.lag_ml = line.lag_ml.max(self.window_ms as f64 * slope - sum);
        line
    }

    /// Volumes in samples of the method's interval: commanded and outflow.
    pub fn samples(&self) -> (Vec<f64>, Vec<f64>) {
        let each_ms = (evenness::SAMPLE_S * 1000.0) as u64;
        let count = self.window_ms / each_ms;
        let lead_ms = u64::from(self.head.lead_ms);
        let (mut commanded, mut outflow) = (Vec::new(), Vec::new());
        let (mut before, mut done) = ((0.0, 0.0), 0);
        let (mut sum_ms, mut sum_ml, mut angle) = (0_u64, 0.0, 0.0);
        for sample in 1..=count {
            let at_ms = sample * each_ms;
            // pulses that are over, coast and all, are summed up once
            while let Some(pulse) = self.pulses.get(done) {
                let next = self.pulses.get(done + 1).map_or(u64::MAX, |next| next.start_ms);
                if next > at_ms {
                    break;
                }
                sum_ms += pulse.on_ms - lead_ms.min(pulse.on_ms);
                sum_ml += pulse.outflow_ml;
                let (on_s, until_s) =
                    (pulse.on_ms as f64 / 1e3, (next - pulse.start_ms) as f64 / 1e3);
                angle = f64::fract(angle + self.model.turned(on_s, until_s));
                done += 1;
            }
            let (mut now_ms, mut now_ml) = (sum_ms as f64, sum_ml);
            if let Some(pulse) = self.pulses.get(done).filter(|pulse| pulse.start_ms < at_ms) {
                let into = at_ms - pulse.start_ms;
                now_ms += into.min(pulse.on_ms).saturating_sub(lead_ms) as f64;
                let rotor = Rotor { model: self.model, angle };
                now_ml += rotor.peek_ml(pulse.on_ms as f64 / 1e3, into as f64 / 1e3);
            }
            let now = (now_ms * self.flow_ml_ms(), now_ml);
            commanded.push(now.0 - before.0);
            outflow.push(now.1 - before.1);
            before = now;
        }
        (commanded, outflow)
    }

    /// Flow error by the length of the observation window: commanded and outflow.
    pub fn evenness(&self) -> (Vec<Error>, Vec<Error>) {
        let (commanded, outflow) = self.samples();
        let rate = self.dose_ml() / self.window_ms as f64 * evenness::SAMPLE_S * 1000.0;
        (
            evenness::all(&commanded, evenness::SAMPLE_S, rate),
            evenness::all(&outflow, evenness::SAMPLE_S, rate),
        )
    }
}

/// What the device itself does with the dose, run in the simulated world.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Ran {
    /// The same pulses, to the millisecond.
    Same,
    /// The first pulse that differs, from 1.
    Differs(usize),
    /// It could not be run, and why.
    NotRun(String),
}

/// Runs one dose of an entry, alone and undisturbed, through the real controller,
/// and compares what the pump did with the train.
pub fn ran(scenario: &Scenario, entry: &EntryPlan, train: &Train) -> Ran {
    let mut alone = scenario.clone();
    alone.faults.clear();
    alone.operator.clear();
    alone.expect.clear();
    alone.closed.clear();
    alone.closed_spans.clear();
    alone.clock.drift_ppb = 0;
    alone.clock.crystal = None;
    alone.clock.off_by = SignedMs(0);
    alone.clock.unset = false;
    alone.supply = Supply::Mains;
    alone.limits.daily_ceiling = None;
    alone.clock.run_for = Duration::from_ms(train.window_ms + 60_000);
    let interval_ms = train.window_ms + u64::from(entry.grace_ms) + 86_400_000;
    alone.entries = vec![EntryPlan {
        enabled: true,
        recurrence: RecurrencePlan::Every { interval_ms, from: IntervalStart::Accepted },
        first: None,
        last: None,
        ..entry.clone()
    }];
    let mut edges = PumpEdges::default();
    match run::run(&alone, &Options::default(), &mut edges) {
        Err(error) => Ran::NotRun(error.to_string()),
        Ok(end) if end.install_refused.is_some() => Ran::NotRun("the device refused it".to_owned()),
        Ok(_) => {
            let found: Vec<(u64, u64)> =
                edges.0.chunks_exact(2).map(|pair| (pair[0].0, pair[1].0 - pair[0].0)).collect();
            let planned = train.pulses.iter().map(|pulse| (pulse.start_ms, pulse.on_ms));
            match found.iter().copied().zip(planned).position(|(a, b)| a != b) {
                Some(at) => Ran::Differs(at + 1),
                None if found.len() != train.pulses.len() => {
                    Ran::Differs(found.len().min(train.pulses.len()) + 1)
                }
                None => Ran::Same,
            }
        }
    }
}
