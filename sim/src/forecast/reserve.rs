//! How far above the device's least voltage a pack has to read for a dose to be begun.
//!
//! The device goes by one threshold, whatever the dose. It is told the one that the largest
//! work needs which may come between two looks at the pack.

use std::iter;

use dosewright_core::entry::{Entry, EntryId};
use dosewright_core::power::TEST_AHEAD;
use dosewright_core::time::Instant;
use dosewright_core::timetable::{self, overlap};
use dosewright_core::units::Carry;

use crate::scenario::{Act, Calibration, EntryPlan, Scenario, Supply};
use crate::trace::stamp;
use crate::trade::cells::COOL_C;
use crate::world::battery::{Battery, Work};

/// A pack counts on so many times what the work takes by its model: an estimate of the
/// remaining battery is held to 25 % (PCA R7.3.0(3)). It covers a head that was calibrated
/// a fifth lower since, and a display that is lit meanwhile.
pub(super) const TIMES: f64 = 1.25;

/// Doses that a fresh pack cannot be counted on to finish.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct OverPack {
    /// Names of the entries; several where one dose may follow the other.
    pub names: Vec<String>,
    /// Their pump-on time, in ms.
    pub on_ms: u64,
}

impl OverPack {
    /// Whose doses, as the beginning of a sentence.
    pub(crate) fn doses(&self) -> String {
        let quoted: Vec<String> = self.names.iter().map(|name| format!("\"{name}\"")).collect();
        match quoted.split_last() {
            Some((last, others)) if !others.is_empty() => {
                format!("doses of {} and {last}, one after the other, are", others.join(", "))
            }
            _ => format!("a dose of {} is", quoted.concat()),
        }
    }

    /// What they take, beside what the pack gives.
    pub(crate) fn takes(&self) -> String {
        format!(
            "{} of pumping, and a quarter more, is more than a fresh one can be counted on for",
            stamp::about(self.on_ms)
        )
    }
}

/// What the pack of a scenario has to read for its doses to be finished.
pub(super) struct Reserve {
    /// Above this voltage under load, in V, any of them can be.
    pub(super) volts: f64,
    /// What a fresh pack reads, in V.
    pub(super) fresh_v: f64,
    /// The work of most pumping among them.
    pub(super) most: Work,
    /// Those that even a fresh pack is too small for: it reads no more than `volts`.
    pub(super) over: Option<OverPack>,
}

/// The doses of a timetable that are too large for its pack; `None` where there are none,
/// on mains, and where the pack does not move the motor anyway.
pub fn over_pack(scenario: &Scenario) -> Option<OverPack> {
    reserve(scenario)?.over
}

/// `None` on mains, and where even a fresh pack does not move the motor.
pub(super) fn reserve(scenario: &Scenario) -> Option<Reserve> {
    let Supply::Battery { pack, .. } = &scenario.supply else { return None };
    let room = Battery::of(scenario)?;
    // where nothing is said of it, it may stand in a room or in a cool cellar
    let cool = pack.temperature_mc.is_none().then(|| room.at(COOL_C));
    let packs = || iter::once(&room).chain(&cool).filter(|pack| pack.moves_motor());
    let fresh_v = packs().map(Battery::fresh_v).reduce(f64::max)?;
    let (mut volts, mut most) = (0.0_f64, Work::default());
    for (names, work) in timetables(scenario).iter().flat_map(|plans| works(scenario, plans)) {
        for pack in packs() {
            let Some(begins_v) = pack.begins_v(&work, TIMES) else {
                let over = Some(OverPack { names, on_ms: work.on_ms });
                return Some(Reserve { volts: fresh_v, fresh_v, most: work, over });
            };
            volts = volts.max(begins_v);
        }
        if work.on_ms > most.on_ms {
            most = work;
        }
    }
    Some(Reserve { volts, fresh_v, most, over: None })
}

/// The timetable of the start, and what each later act makes of it.
fn timetables(scenario: &Scenario) -> Vec<Vec<EntryPlan>> {
    let mut all = vec![scenario.entries.clone()];
    for act in &scenario.operator {
        let mut plans = all.last().cloned().unwrap_or_default();
        let mut of = |name: &str, change: &dyn Fn(&mut EntryPlan)| {
            plans.iter_mut().filter(|plan| plan.name == name).for_each(change);
        };
        match &act.act {
            Act::Edit { entry, edit, .. } => of(&entry.name, &|plan| *plan = edit.apply(plan)),
            Act::Enable(entry) => of(&entry.name, &|plan| plan.enabled = true),
            Act::Disable(entry) => of(&entry.name, &|plan| plan.enabled = false),
            Act::Remove(entry) => plans.retain(|plan| plan.name != entry.name),
            Act::Add(plan) => plans.push((**plan).clone()),
            Act::Timetable(entries) => plans.clone_from(entries),
            _ => continue,
        }
        all.push(plans);
    }
    all
}

/// What may come between two looks at the pack: a dose of each entry of those that may
/// have to wait for one another.
fn works(scenario: &Scenario, plans: &[EntryPlan]) -> Vec<(Vec<String>, Work)> {
    let mut left: Vec<&EntryPlan> = plans.iter().filter(|plan| plan.enabled).collect();
    let mut found = Vec::new();
    while let Some(first) = left.pop() {
        let mut chain = vec![first];
        while let Some(at) = left.iter().position(|plan| chain.iter().any(|of| follow(of, plan))) {
            chain.push(left.swap_remove(at));
        }
        let mut sum = Work::default();
        for work in chain.iter().map(|plan| work(scenario, plan)) {
            sum.on_ms += work.on_ms;
            sum.starts += work.starts;
            sum.lasts_ms += work.lasts_ms;
        }
        found.push((chain.iter().map(|plan| plan.name.clone()).collect(), sum));
    }
    found
}

/// Whether a dose of one may be due while one of the other is under way, or waits. An
/// interval is taken to meet every other entry.
fn follow(a: &EntryPlan, b: &EntryPlan) -> bool {
    let waits = |plan: &EntryPlan| {
        let entry = plan.to_core(EntryId(1), Instant::ZERO);
        // the device looks at the pack so long before a due
        let ahead_ms = u32::try_from(TEST_AHEAD.as_ms()).unwrap_or(u32::MAX);
        let window_ms = entry.window_ms.saturating_add(entry.grace_ms).saturating_add(ahead_ms);
        Entry { window_ms, ..entry }
    };
    !(a.is_weekly() && b.is_weekly()) || overlap(&waits(a), &waits(b), None, Instant::ZERO)
}

/// One dose, at the least flow that the head is said to be set to.
fn work(scenario: &Scenario, plan: &EntryPlan) -> Work {
    let mut head = scenario.head.head;
    let entered = scenario.operator.iter().filter_map(|act| match act.act {
        Act::Calibrate { result: Calibration::Flow(flow), .. } => Some(flow),
        _ => None,
    });
    head.flow = entered.fold(head.flow, |least, flow| {
        if flow.as_nl_per_min() < least.as_nl_per_min() { flow } else { least }
    });
    let (on, _) = head.flow.on_time(plan.volume, Carry(0));
    let entry = plan.to_core(EntryId(1), Instant::ZERO);
    let starts = u64::from(timetable::fit(&entry, &head).unwrap_or(1));
    Work {
        on_ms: on.as_ms() + starts * u64::from(head.lead_ms),
        starts,
        lasts_ms: u64::from(plan.window_ms) + u64::from(plan.grace_ms),
    }
}
