//! What stands on the site: container, pack, tube.

use dosewright_core::civil::{DAY_MS, Local};
use dosewright_core::time::Duration;
use dosewright_core::units::Volume;

use crate::diagnose::{Diagnostic, codes};
use crate::forecast::{figures, first_dose, over_pack, weak_help, weak_pack};
use crate::run::Frame;
use crate::scenario::{Act, EntryPlan, Scenario, Supply, show};
use crate::trade::cells::COOL_C;
use crate::trade::suction::WARN_LIFT_M;
use crate::units;

/// W009: a container from which nothing can be drawn.
pub(super) fn at_heel(scenario: &Scenario) -> Option<Diagnostic> {
    let container = scenario.container.as_ref()?;
    let spans = &container.spans;
    let key = if spans.get("level").is_some() { "level" } else { "capacity" };
    (container.level <= container.heel && scenario.entries.iter().any(|plan| plan.enabled)).then(
        || {
            Diagnostic::new(
                codes::AT_HEEL,
                spans.at(key),
                "the container is at its heel from the start",
            )
            .label(format!(
                "{} of it, and the suction tube ends at {}",
                show::volume(container.level),
                show::volume(container.heel)
            ))
            .help("no dose runs before it is filled: give a `level` above the heel, or a lower `heel`")
        },
    )
}

/// W017: a product that is out of date at the first dose, and not filled up before.
pub(super) fn out_of_date(scenario: &Scenario, frame: &Frame) -> Option<Diagnostic> {
    let product = scenario.product.as_ref()?;
    let use_by = product.use_by?;
    let (day, ms) = first_dose(scenario)?;
    let midnight = Local::new(scenario.clock.start.date(), Duration::ZERO).as_ms();
    let dosed = Local::from_ms(midnight + day as i64 * DAY_MS + ms);
    // a filling brings product of another date
    let is_filled = scenario.operator.iter().any(|act| {
        let at_ms = matches!(act.act, Act::Refill { .. }).then(|| frame.moment(act.at)).flatten();
        at_ms.is_some_and(|at_ms| frame.local(at_ms) <= dosed)
    });
    if dosed.date() <= use_by || is_filled {
        return None;
    }
    Some(
        Diagnostic::new(
            codes::OUT_OF_DATE,
            product.spans.at("use_by"),
            "the product is out of date at the first dose",
        )
        .label(format!(
            "it may be used until {}, and is dosed from {} on",
            show::date(use_by),
            show::date(dosed.date())
        ))
        .help("fill in product that is in date, and give the `use_by` that stands on it"),
    )
}

/// W023: pulses that are longer for a loss that the pump of a run does not have.
pub(super) fn lead_for_nothing(scenario: &Scenario) -> Option<Diagnostic> {
    let head = &scenario.head;
    if head.head.lead_ms == 0 || head.motion.drive.is_some() {
        return None;
    }
    let flow = head.true_flow.unwrap_or(head.head.flow);
    let more_nl = flow.volume(Duration::from_ms(u64::from(head.head.lead_ms))).as_nl();
    // a digit that nobody measures is left out
    let more = Volume::from_ul(more_nl.saturating_add(500) / 1000);
    let message = "each pulse is longer for a start at which nothing is lost";
    Some(
        Diagnostic::new(codes::LEAD_FOR_NOTHING, head.spans.at("lead"), message)
            .label(format!("every pulse of a run delivers {} too much", show::volume(more)))
            .help("say what turns the rotor, `drive = { on_off = {} }`, and how slowly it starts, `spin_up`; or leave `lead` out: without a drive a run has the mean flow at once"),
    )
}

/// W014: a dose that no filling of the container makes whole.
pub(super) fn too_large(scenario: &Scenario) -> Vec<Diagnostic> {
    let Some(container) = &scenario.container else { return Vec::new() };
    let most = container.capacity.minus(container.heel);
    let told = |plan: &EntryPlan| {
        let message = format!("a dose of \"{}\" is more than the container gives", plan.name);
        Diagnostic::new(codes::OVER_CONTAINER, plan.spans.at("volume"), message)
            .label(format!("a full one gives {} above its heel", show::volume(most)))
            .help("take a larger container, or a smaller dose more often")
    };
    let is_more = |plan: &&EntryPlan| plan.enabled && plan.volume > most;
    scenario.entries.iter().filter(is_more).map(told).collect()
}

/// W011: a pack that cannot give what is in it.
pub(super) fn too_weak(scenario: &Scenario) -> Option<Diagnostic> {
    let Supply::Battery { spans, .. } = &scenario.supply else { return None };
    let weak = weak_pack(scenario)?;
    let span = spans.get("cells").unwrap_or_else(|| spans.at("type"));
    let gives = if weak.share > 0.0 {
        format!("it gives {:.0} % of its charge", 100.0 * weak.share)
    } else {
        "it never gives that".to_owned()
    };
    Some(
        Diagnostic::new(codes::WEAK_PACK, span, "the pack is too weak for its motor")
            .label(format!(
                "motor and driver take {:.1} V at {:.2} A of {} cells: {gives}",
                weak.volts, weak.motor_a, weak.cells
            ))
            .help(weak_help(&weak)),
    )
}

/// W021: a dose that not even a fresh pack can be counted on to finish.
pub(super) fn over_the_pack(scenario: &Scenario) -> Option<Diagnostic> {
    let Supply::Battery { pack, spans, .. } = &scenario.supply else { return None };
    let over = over_pack(scenario)?;
    let help = "take larger cells, or a smaller dose more often";
    let help = if pack.temperature_mc.is_some() {
        help.to_owned()
    } else {
        format!("{help}; say the `temperature`, too: a cellar is taken to be at {COOL_C} C")
    };
    let message = format!("{} too large for this pack", over.doses());
    Some(
        Diagnostic::new(codes::OVER_PACK, spans.at("type"), message)
            .label(format!("{}: no dose begins", over.takes()))
            .help(help),
    )
}

/// W013 and W018: a suction line through which nothing comes, or that few heads lift the
/// product up.
pub(super) fn lift(scenario: &Scenario) -> Option<Diagnostic> {
    let tube = scenario.tube.as_ref()?;
    let (lift, limit) = figures(scenario, 0.0).suction_m?;
    let at = tube.spans.at("lift");
    let lifted = format!("{lift:.2} m of lift and friction");
    if lift >= limit {
        let message = "nothing comes up this suction line";
        Some(
            Diagnostic::new(codes::OUT_OF_LIFT, at, message)
                .label(format!("{lifted}; this product can be lifted {limit:.2} m"))
                .help("put the pump lower, or make the line shorter or wider"),
        )
    } else if lift >= WARN_LIFT_M {
        let message = "a head may not bring the product up this suction line";
        Some(
            Diagnostic::new(codes::HIGH_LIFT, at, message)
                .label(format!("{lifted}; from {WARN_LIFT_M} m on heads lose flow or prime badly"))
                .help("put the pump lower, or make the line shorter or wider; else try the head there, and calibrate it at this lift"),
        )
    } else {
        None
    }
}

/// W006: a dose that a failed foot valve would make all air.
pub(super) fn drains_back(scenario: &Scenario, plan: &EntryPlan) -> Option<Diagnostic> {
    let tube = scenario.tube.as_ref()?;
    let lifted = tube.lifted();
    (plan.volume < lifted).then(|| {
        Diagnostic::new(
            codes::DRAINS_BACK,
            plan.spans.at("volume"),
            "the dose is less than what the suction line holds above the product",
        )
        .label(format!(
            "the line holds about {} there",
            units::in_ml(lifted.as_nl() as f64 / 1e6, 0)
        ))
        .note_at(tube.spans.at("lift"), "it is lifted here")
        .help("where the foot valve fails the line drains back between doses, and a dose like this is all air, though the pump runs: flow is not sensed. Look after the foot valve, or lift less")
    })
}

/// W007: a container that runs out by itself when the squeeze is lost.
pub(super) fn siphons(scenario: &Scenario) -> Option<Diagnostic> {
    let tube = scenario.tube.as_ref()?;
    let flow = figures(scenario, 0.0).siphon?;
    Some(
        Diagnostic::new(
            codes::SIPHONS,
            tube.spans.at("outlet_below"),
            "the outlet lies below the product",
        )
        .label(format!(
            "should the rollers lose their squeeze, about {}/min run out",
            units::in_ml(flow.ml_min, 0)
        ))
        .help("fit an anti-siphon valve or an air gap, or put the container lower"),
    )
}
