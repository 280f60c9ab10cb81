//! A calibration, by the rules (O2, O4): a run in full, a reading, and what it is
//! worth; and what the ledger makes of it.

use dosewright_core::calibration::{Amount, Measured, Vessel};
use dosewright_core::cause::Cause;
use dosewright_core::config::Head;
use dosewright_core::tube::{Found, Tube};

use crate::calibrate::{CONFIRM_FROM, PLAUSIBLE, TARGET};
use crate::observe::DeviceAct;
use crate::trade::product::volume_ml;
use crate::trade::run_length::FILL;
use crate::trade::uncertainty::timed_run;
use crate::trade::water::{STANDARD_HPA, z_ml_per_g};

use super::Auditor;
use super::limits::rest_of_run_ms;

/// Expanded uncertainty that a run is planned for, as a share: the head may deliver a tenth less than it did.
const PLANNED: f64 = 0.018;
/// The same of a train: its starts may lose a quarter of it.
const PLANNED_TRAIN: f64 = 0.015;
/// Standard uncertainty of a run that the device times, in s.
const TIMING_S: f64 = 0.1;
/// Starts in a train of calibration pulses.
const TRAIN_STARTS: i64 = 30;
/// Near a limit either side of it is right: the device reckons in integers, and in
/// half degrees.
const MARGIN: f64 = 1e-3;

/// What is known of a calibration under way, and of the tube set.
#[derive(Debug, Clone, Default)]
pub(crate) struct Bench {
    /// How long the last calibration run was, where it ran in full and nobody has
    /// left it since, in ms.
    run_ms: Option<i64>,
    /// The starts in it: 1 but for a train.
    starts: i64,
    /// How long the run was whose reading is in force, where nothing has come between, in
    /// ms: a train is measured against it (O3).
    long_ms: Option<i64>,
    /// The flow in nl/min that has to be found again.
    first: Option<f64>,
    /// The flow that the head was set up with.
    nominal: Option<u32>,
    since: Option<i64>,
    /// The calibrations since then: the first, and those after it.
    found: Vec<Found>,
}

/// What a reading is worth.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Worth {
    /// There is no run that it belongs to.
    NoRun,
    /// It is not sure enough.
    TooCoarse,
    /// No flow of this head.
    Implausible,
    /// It has to be found again: nl/min.
    Twice(f64),
    /// It is good.
    Good,
}

/// A reading as a flow in nl/min and its expanded uncertainty in ppm.
fn flow_of(measured: &Measured, run_ms: i64) -> (f64, f64) {
    let ml = match measured.amount {
        Amount::Volume(volume) => volume.as_nl() as f64 / 1e6,
        Amount::Water { mass_mg, tenths_of_degree } => {
            f64::from(mass_mg) / 1e3 * z_ml_per_g(f64::from(tenths_of_degree) / 10.0, STANDARD_HPA)
        }
        Amount::Product { mass_mg, gravity_per_mille } => {
            volume_ml(f64::from(mass_mg) / 1e3, f64::from(gravity_per_mille) / 1e3)
        }
    };
    let run_s = run_ms as f64 / 1e3;
    let error_ml = measured.reading_error.as_nl() as f64 / 1e6;
    let expanded = timed_run(ml, error_ml, run_s, TIMING_S).expanded();
    (ml * 1e6 / run_s * 60.0, expanded * 1e6)
}

impl Bench {
    /// Somebody set the head up, and said its flow: another than that of the head before, or
    /// the same again.
    pub(crate) fn set_up(&mut self, head: &Head, before: Option<Head>) {
        if before.is_none_or(|before| before.flow != head.flow) {
            self.nominal = Some(head.flow.as_nl_per_min());
        }
        self.long_ms = None;
    }

    /// Whoever calibrated has left, or a restart has forgotten it.
    pub(crate) fn leave(&mut self) {
        (self.run_ms, self.first, self.long_ms) = (None, None, None);
    }

    /// A prime or calibrate has ended.
    pub(crate) fn ran(&mut self, prime: bool, asked_ms: i64, ms: i64, starts: i64) {
        if prime || ms != asked_ms {
            self.leave();
            return;
        }
        // what one kind of run found is not found again by the other
        if (starts > 1) != (self.starts > 1) {
            self.first = None;
        }
        (self.run_ms, self.starts) = (Some(ms), starts);
    }

    /// The mean flow in nl/min that the run is expected to have given, of a head as it is
    /// set: each start has lost its lead.
    pub(crate) fn expected(&self, head: &Head) -> u32 {
        let flow = f64::from(head.flow.as_nl_per_min());
        let lost_ms = self.starts.max(1) * i64::from(head.lead_ms);
        let Some(run_ms) = self.run_ms else { return head.flow.as_nl_per_min() };
        (flow * (run_ms - lost_ms).max(0) as f64 / run_ms.max(1) as f64).round() as u32
    }

    /// Whether the run was a train.
    pub(crate) fn is_train(&self) -> bool {
        self.run_ms.is_some() && self.starts > 1
    }

    /// Steady flow in nl/min and what each start loses in ms, by a train's reading and the
    /// long run before it, both in the flow that this gave: V1 = q (T1 - d) and
    /// V2 = q (T2 - n d). A start that loses nothing has the long run's flow.
    pub(crate) fn two_points(&self, measured: &Measured, head: &Head) -> Option<(f64, f64)> {
        let (t1, t2) = (self.long_ms? as f64, self.run_ms? as f64);
        let n = self.starts as f64;
        let (v1, v2) = (self.long_run(head)?, flow_of(measured, self.run_ms?).0 * t2);
        let q = (n * v1 - v2) / (n * t1 - t2);
        let d = t1 - v1 / q;
        (q > 0.0).then_some(if d > 0.0 { (q, d) } else { (v1 / t1, 0.0) })
    }

    /// What the long run gave, in the unit of a flow times its ms: its start has lost a lead.
    fn long_run(&self, head: &Head) -> Option<f64> {
        let on_ms = (self.long_ms? - i64::from(head.lead_ms)).max(0);
        Some(f64::from(head.flow.as_nl_per_min()) * on_ms as f64)
    }

    /// What a reading says of the head once it runs: flow in nl/min and its uncertainty in
    /// ppm. A train's is that of the difference from the long run, each reading with its
    /// share (JCGM 100:2008, 5.1.3).
    fn steady(&self, measured: &Measured, head: &Head) -> Option<(f64, f64)> {
        let run_ms = self.run_ms?;
        let (mean, ppm) = flow_of(measured, run_ms);
        if !self.is_train() {
            let on_ms = (run_ms - i64::from(head.lead_ms)).max(1);
            return Some((mean * run_ms as f64 / on_ms as f64, ppm));
        }
        let (flow, _) = self.two_points(measured, head)?;
        let of_long = self.starts as f64 * self.long_run(head)?;
        let of_train = mean * run_ms as f64;
        let long_ppm = f64::from(self.found.last()?.uncertainty_ppm);
        let both = (of_long * long_ppm).hypot(of_train * ppm);
        Some((flow, both / (of_long - of_train)))
    }

    /// The longest lead that is believed, in ms: half a pulse of the train.
    fn most_lead_ms(&self) -> f64 {
        self.run_ms.unwrap_or(0) as f64 / (2.0 * self.starts as f64)
    }

    pub(crate) fn tube_changed(&mut self, at: i64) {
        self.leave();
        (self.since, self.found) = (Some(at), Vec::new());
    }

    /// What a reading is worth with this flow in force. A limit is given way by
    /// `slack`, as a share of it; below zero it is drawn tighter.
    pub(crate) fn worth(&self, measured: &Measured, head: &Head, slack: f64) -> Worth {
        let Some(run_ms) = self.run_ms else { return Worth::NoRun };
        let (in_force, set) = (self.expected(head), head.flow.as_nl_per_min());
        let (flow, ppm) = flow_of(measured, run_ms);
        let nominal = f64::from(self.nominal.unwrap_or(set));
        let (least, most) = PLAUSIBLE;
        let plausible = flow >= nominal * least * (1.0 - slack)
            && flow <= nominal * most * (1.0 + slack)
            && flow >= 1.0;
        let agrees = |other: f64| (flow - other).abs() <= other * CONFIRM_FROM * (1.0 + slack);
        if !plausible {
            Worth::Implausible
        } else if ppm > TARGET * 1e6 * (1.0 + slack) {
            Worth::TooCoarse
        } else if measured.as_found || agrees(f64::from(in_force)) || self.first.is_some_and(agrees)
        {
            if self.is_train() && !self.believes(measured, head, slack) {
                return Worth::Implausible;
            }
            Worth::Good
        } else {
            Worth::Twice(flow)
        }
    }

    /// Whether a train's reading makes a lead that a start can have.
    fn believes(&self, measured: &Measured, head: &Head, slack: f64) -> bool {
        // a ms more or less by the device's own rounding
        let most = self.most_lead_ms() + 1.5_f64.copysign(slack);
        let found = self.two_points(measured, head);
        !measured.as_found && found.is_some_and(|(_, lead_ms)| lead_ms < most + 1.0)
    }

    /// A reading was refused that has to be found again.
    pub(crate) fn again(&mut self, flow: f64) {
        (self.run_ms, self.first) = (None, Some(flow));
    }

    pub(crate) fn note(&mut self, found: Found, in_force: bool) {
        let long_ms = self.run_ms.filter(|_| in_force && self.starts <= 1);
        self.leave();
        self.long_ms = long_ms;
        self.found.push(found);
        // what is kept: the first and the last two
        if self.found.len() > 3 {
            self.found.remove(1);
        }
    }

    /// A good reading as the device notes it.
    pub(crate) fn found(&self, measured: &Measured, head: &Head, at: i64) -> Option<Found> {
        let (flow, ppm) = self.steady(measured, head)?;
        Some(Found {
            at: dosewright_core::time::Instant::from_ms(at),
            flow: dosewright_core::units::Flow::from_nl_per_min(flow.round() as u32)?,
            uncertainty_ppm: ppm.ceil() as u32,
        })
    }

    fn means(&self, vessel: &Vessel, head: &Head) -> Means {
        Means::of(vessel, head, self.nominal.unwrap_or(head.flow.as_nl_per_min()))
    }

    /// Why a run of so many ms is not the one that this vessel asks for, if it is not:
    /// the shortest of whole turns that is sure enough and goes in.
    pub(crate) fn wrong_run(&self, vessel: &Vessel, head: &Head, ms: i64) -> Option<String> {
        self.wrong_length(vessel, head, ms, PLANNED)
    }

    fn wrong_length(&self, vessel: &Vessel, head: &Head, ms: i64, planned: f64) -> Option<String> {
        let means = self.means(vessel, head);
        let (run, step) = (ms as f64, means.turn_ml / means.flow_ms);
        let (ml, a_ms) = (means.flow_ms * run, means.flow_ms);
        let turns = ml / means.turn_ml;
        if ml > means.capacity_ml + a_ms {
            Some(format!("{ml:.1} ml do not go into a vessel of {:.1} ml", means.capacity_ml))
        } else if (ml - turns.round() * means.turn_ml).abs() > 1.5 * a_ms {
            Some(format!("{turns:.3} turns of the rotor are not whole"))
        } else if means.share(run) > planned * (1.0 + MARGIN) {
            Some(format!("it leaves an uncertainty of {:.2} %", means.share(run) * 100.0))
        } else if run > 1.5 * step && means.share(run - step) < planned * (1.0 - MARGIN) {
            Some(String::from("a turn less would do"))
        } else {
            None
        }
    }

    /// Why a train of so many ms is not the one that this vessel asks for, if it is not:
    /// equal pulses, together as long as the run, each rounded up to a whole ms.
    pub(crate) fn wrong_train(&self, vessel: &Vessel, head: &Head, ms: i64) -> Option<String> {
        let starts = train_starts(head, ms);
        let means = self.means(vessel, head);
        let step = means.turn_ml / means.flow_ms;
        let turns = (ms as f64 / step + 1e-6).floor();
        let run_ms = (turns * step).ceil() as i64;
        if self.long_ms.is_none() {
            Some(String::from("the reading of no long run is in force"))
        } else if starts < 2 || ms % starts != 0 || ms / starts > i64::from(head.longest_run_ms) {
            Some(format!("it does not go in {starts} equal pulses"))
        } else if ms - run_ms > starts {
            Some(format!("{} ms more than a run of whole turns", ms - run_ms))
        } else {
            self.wrong_length(vessel, head, run_ms, PLANNED_TRAIN)
        }
    }

    /// The run that this vessel asks for, in ms; `None` where there is none.
    pub(crate) fn shortest_run(&self, vessel: &Vessel, head: &Head) -> Option<i64> {
        let means = self.means(vessel, head);
        let step = means.turn_ml / means.flow_ms;
        let most = (means.capacity_ml / means.turn_ml).floor() as u32;
        let enough = |turns: &u32| means.share(f64::from(*turns) * step) <= PLANNED;
        let turns = (1..=most).find(enough)?;
        Some((f64::from(turns) * step).ceil() as i64)
    }

    /// The tube set as a snapshot has to carry it.
    pub(crate) fn tube(&self) -> Tube {
        let mut tube = Tube {
            since: self.since.map(dosewright_core::time::Instant::from_ms),
            nominal: self.nominal.and_then(dosewright_core::units::Flow::from_nl_per_min),
            ..Tube::UNKNOWN
        };
        for (place, found) in tube.found.iter_mut().zip(&self.found) {
            *place = Some(*found);
        }
        tube
    }
}

/// A vessel and a head, as a run is planned from them.
struct Means {
    /// ml in a ms.
    flow_ms: f64,
    capacity_ml: f64,
    error_ml: f64,
    turn_ml: f64,
}

impl Means {
    fn of(vessel: &Vessel, head: &Head, nominal: u32) -> Self {
        let flow_ms = f64::from(head.flow.as_nl_per_min()) / 6e10;
        // a worn tube gives less a turn, and the rotor turns as it did
        let worn = f64::from(head.flow.as_nl_per_min()) / f64::from(nominal);
        let turn_ml = head.roller_pass.as_nl() as f64 / 1e6 * f64::from(head.rollers) * worn;
        Self {
            flow_ms,
            capacity_ml: vessel.capacity.as_nl() as f64 / 1e6 * FILL,
            error_ml: vessel.reading_error.as_nl() as f64 / 1e6,
            // where the turn is not known the run is of whole seconds
            turn_ml: if turn_ml > 0.0 { turn_ml } else { flow_ms * 1000.0 },
        }
    }

    /// Expanded uncertainty of a run, as a share.
    fn share(&self, ms: f64) -> f64 {
        timed_run(self.flow_ms * ms, self.error_ml, ms / 1e3, TIMING_S).expanded()
    }
}

/// The starts of a train of so many ms: thirty, or as many as an hour and the shortest run
/// allow.
pub(crate) fn train_starts(head: &Head, ms: i64) -> i64 {
    let shortest = i64::from(head.shortest_on_ms.max(1));
    let most = TRAIN_STARTS.min(i64::from(head.starts_per_hour)).min(ms / shortest).max(1);
    // what is short of it by the shortest run has been rounded up to whole ms of each
    (1..=most).rev().find(|starts| ms % starts == 0).unwrap_or(1)
}

/// By when the pump has rested behind a train of so many ms that began at an instant, for
/// who knows neither how many starts it had nor how far it came: all of them rest as one
/// would, or for the shortest off time each, and part of a ms; and once more behind it.
pub(crate) fn train_rested_by(head: &Head, at: i64, ms: i64) -> i64 {
    let floors = TRAIN_STARTS * (i64::from(head.shortest_off_ms) + 1);
    at + ms + 2 * rest_of_run_ms(head, ms) + floors
}

impl Auditor {
    /// The ledger holds a calibration.
    pub(super) fn on_calibration(&mut self, found: &Found, in_force: bool, lead_ms: u16) {
        let at = found.at.as_ms();
        let measured = match self.pending.setting.take() {
            Some(DeviceAct::Measured(measured)) => Some(measured),
            other => {
                self.pending.setting = other;
                None
            }
        };
        let flow = self.model.head.map_or(1, |head| head.flow.as_nl_per_min());
        if let Some(measured) = measured {
            self.check_calibration(&measured, found, in_force, lead_ms);
        } else {
            let what = "a calibration is noted, and nobody entered a reading";
            self.fail("O6", None, String::from(what));
        }
        self.bench.note(*found, in_force);
        // by a flow that the memory has lost it is another account
        let lost = self.taint.all() && self.model.stock.container.is_some();
        self.model.stock.unsure |= lost;
        let drawn = self.drawn_by_nl(at).1;
        self.model.stock.restate(flow, found.flow.as_nl_per_min(), drawn);
        if in_force {
            let other = self.model.head.is_some_and(|head| head.lead_ms != lead_ms);
            if let Some(open) = self.open.as_mut().filter(|_| other) {
                // the pulses that are left run longer, or shorter
                open.disturb(Cause::PumpLimits);
            }
            let set = |head| Head { flow: found.flow, lead_ms, ..head };
            self.model.head = self.model.head.map(set);
            self.fastest = self.fastest.max(found.flow.as_nl_per_min());
        }
        self.cap_open(at);
        self.refresh(at);
        self.rearm();
    }

    fn check_calibration(&mut self, m: &Measured, found: &Found, in_force: bool, lead_ms: u16) {
        let Some(head) = self.model.head else { return };
        if in_force == m.as_found {
            let what = if in_force {
                "what was read as found is put in force"
            } else {
                "a reading is not put in force"
            };
            self.fail("O2", None, String::from(what));
        }
        if self.taint.ever {
            return;
        }
        let worth = self.bench.worth(m, &head, MARGIN);
        if worth != Worth::Good {
            let what = format!("a reading is taken that is none to take: {worth:?}");
            self.fail("O2", None, what);
        }
        let Some((wanted, ppm)) = self.bench.steady(m, &head) else { return };
        let mut lead = f64::from(head.lead_ms);
        let mut is_lead = lead_ms == head.lead_ms;
        if self.bench.is_train()
            && let Some(found) = self.bench.two_points(m, &head)
        {
            lead = found.1;
            // rounded down to a whole ms
            is_lead = (f64::from(lead_ms) + 0.5 - lead).abs() <= 1.5;
        }
        if !is_lead {
            let what = format!("a lead of {lead:.1} ms is noted as {lead_ms} ms");
            self.fail("O3", None, what);
        }
        let got = f64::from(found.flow.as_nl_per_min());
        // a nanolitre a minute, and half a degree of water
        if (got - wanted).abs() > 1.0 + wanted * 1e-4 {
            let what = format!("a reading of {wanted:.0} nl/min is noted as {got:.0} nl/min");
            self.fail("O2", None, what);
        }
        if (f64::from(found.uncertainty_ppm) - ppm).abs() > 3.0 + ppm * MARGIN {
            let noted = found.uncertainty_ppm;
            let what = format!("an uncertainty of {ppm:.0} ppm is noted as {noted} ppm");
            self.fail("O2", None, what);
        }
    }

    /// A reading that left no trace in the ledger was refused.
    pub(super) fn reading_refused(&mut self, measured: &Measured) {
        let Some(head) = self.model.head else { return };
        let known = !self.taint.ever && !self.pin.ms.damaged;
        let able = self.supply.awake && !self.hinder.ledger_bad && !self.pending.locked;
        let worth = self.bench.worth(measured, &head, -MARGIN);
        if worth == Worth::Good && known && able {
            let what = "a good reading was refused, and nothing spoke against it";
            self.fail("O2", None, String::from(what));
        }
        if let (Worth::Twice(flow), true) = (self.bench.worth(measured, &head, 0.0), able) {
            self.bench.again(flow);
        }
    }

    pub(super) fn on_tube_changed(&mut self, at: i64) {
        let said = matches!(self.pending.setting.take(), Some(DeviceAct::TubeChanged));
        if !said {
            self.fail("O6", None, String::from("a new tube set is noted that nobody put in"));
        }
        self.bench.tube_changed(at);
        let drawn = self.drawn_by_nl(at).1;
        self.model.stock.settle(drawn);
    }
}
