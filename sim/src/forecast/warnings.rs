//! Suction, siphon, drain-back, discharge, drift of the clock: the figures that
//! go with a site.

use super::pack::low_from_the_start;
use super::{WeakPack, over_pack, weak_pack};
use crate::scenario::{Act, Product, Scenario, Supply, Tube, show};
use crate::trade::crystal;
use crate::trade::discharge::Discharge;
use crate::trade::hydraulics::{LAMINAR_UP_TO, drop_any_pa, reynolds, suction_limit_m};
use crate::trade::product::flush_ml;
use crate::trade::siphon::{self, Regime};
use crate::trade::suction::{WARN_LIFT_M, drains_back, tube_ml};
use crate::trade::water::{GRAVITY, RANGE_C, density_kg_m3, vapour_pressure_pa, viscosity_pa_s};
use crate::units;
use crate::words::plural;

/// Temperature of the product where the clock's is not given, in C.
const USUAL_C: f64 = 20.0;

/// Figures of the lines and the product; `None` where the file does not say
/// enough.
#[derive(Clone, Debug, PartialEq)]
pub struct Figures {
    /// Volume of suction and discharge line together, in ml: what a prime takes.
    pub prime_ml: Option<f64>,
    /// Reynolds number in the lines.
    pub reynolds: Option<f64>,
    /// Lift and friction of the suction line together, in m of the product, and
    /// the limit.
    pub suction_m: Option<(f64, f64)>,
    /// What to flush through at a change of product, in ml.
    pub flush_ml: Option<f64>,
    /// What runs out if the squeeze is lost.
    pub siphon: Option<siphon::Flow>,
    /// What a day's dose puts down the drain.
    pub discharge: Option<Discharge>,
    /// Rate of the clock in ppm.
    pub clock_ppm: f64,
}

fn metres(um: u32) -> f64 {
    f64::from(um) / 1e6
}

/// Water at a temperature in C, or at the nearest that its formulas are for.
fn water(celsius: f64) -> Product {
    let celsius = celsius.clamp(RANGE_C.0, RANGE_C.1);
    Product {
        density_mg_l: (density_kg_m3(celsius) * 1e3).round() as u32,
        viscosity_upa_s: (viscosity_pa_s(celsius) * 1e6).round() as u32,
        active_ppm: None,
        cod_mg_l: None,
        water_a_day: None,
        use_by: None,
        spans: crate::diagnose::Spans::default(),
    }
}

/// Reckons them; `dose_ml` is the largest day's.
pub fn figures(scenario: &Scenario, dose_ml: f64) -> Figures {
    let clock = &scenario.clock;
    let celsius = clock.temperature_mc.map_or(USUAL_C, |mc| f64::from(mc) / 1e3);
    let curve = clock.crystal.map_or(0.0, |crystal| {
        crystal::rate_ppm(
            f64::from(crystal.coefficient_ppb_per_k2) / 1e3,
            f64::from(crystal.turnover_mc) / 1e3,
            celsius,
        )
    });
    let clock_ppm = f64::from(clock.drift_ppb) / 1e3 + curve;
    let product = scenario.product.clone().unwrap_or_else(|| water(celsius));
    let density = f64::from(product.density_mg_l) / 1e3;
    let viscosity = f64::from(product.viscosity_upa_s) / 1e6;
    let q = f64::from(scenario.head.head.flow.as_nl_per_min()) / 1e6 / 60e6;
    let lines = scenario.tube.as_ref().map(|tube: &Tube| {
        let bore = metres(tube.bore_um);
        let length = metres(tube.suction_um) + metres(tube.discharge_um);
        let friction = drop_any_pa(bore, metres(tube.suction_um), q, density, viscosity);
        let lift = f64::from(tube.lift_um) / 1e6 + friction / (density * GRAVITY);
        let limit = suction_limit_m(vapour_pressure_pa(celsius), density);
        let flow = tube.siphon(Some(&product));
        (bore * 1e3, length, lift, limit, reynolds(bore, q, density, viscosity), flow)
    });
    let discharge = product.active_ppm.zip(product.water_a_day).map(|(active, water)| Discharge {
        dose_ml,
        specific_gravity: density / 1e3,
        active: f64::from(active) / 1e6,
        cod_g_l: product.cod_mg_l.map_or(0.0, |cod| f64::from(cod) / 1e3),
        water_m3: water.as_nl() as f64 / 1e12,
    });
    Figures {
        prime_ml: lines.map(|(bore, length, ..)| tube_ml(bore, length)),
        reynolds: lines.map(|(.., re, _)| re),
        suction_m: lines.map(|(_, _, lift, limit, ..)| (lift, limit)),
        flush_ml: lines.map(|(bore, length, ..)| flush_ml(bore, length)),
        siphon: lines.and_then(|(.., flow)| flow),
        discharge,
        clock_ppm,
    }
}

/// What would mend a pack that is too weak.
pub(crate) fn weak_help(weak: &WeakPack) -> String {
    if weak.cells < weak.wanted {
        format!("it takes {} in series until each is empty", weak.wanted)
    } else {
        "take larger cells, or a motor of less current".to_owned()
    }
}

/// What is renewed in the run, as a sentence: the dates are of what is there at the start.
fn left_out(scenario: &Scenario) -> Option<String> {
    let count = |is: fn(&Act) -> bool| scenario.operator.iter().filter(|act| is(&act.act)).count();
    let kinds = [
        ("filling", count(|act| matches!(act, Act::Refill { .. }))),
        ("new pack", count(|act| matches!(act, Act::ChangePack { .. }))),
        ("new tube set", count(|act| matches!(act, Act::ChangeTube { .. }))),
        ("calibration", count(|act| matches!(act, Act::Calibrate { .. }))),
        ("prime", count(|act| matches!(act, Act::Prime { .. }))),
    ];
    let all: usize = kinds.iter().map(|(_, count)| count).sum();
    let words: Vec<String> = kinds
        .iter()
        .filter(|(_, count)| *count > 0)
        .map(|(what, count)| plural(*count as u64, what))
        .collect();
    let (last, others) = words.split_last()?;
    let list =
        if others.is_empty() { last.clone() } else { format!("{} and {last}", others.join(", ")) };
    let are = if all == 1 { "is" } else { "are" };
    Some(format!(
        "visits: {list} later in the run {are} left out: the dates are of what is in place at the start"
    ))
}

/// What to warn about, a sentence each.
pub fn warnings(scenario: &Scenario, figures: &Figures) -> Vec<String> {
    let mut found = Vec::new();
    let mut put = |text: String| found.push(text);
    let later = scenario.operator.iter().filter(|act| act.act.moves_dues()).count();
    if later > 0 {
        let (s, are) = if later == 1 { ("", "is") } else { ("s", "are") };
        put(format!(
            "timetable: {later} later change{s} of clock or timetable {are} left out: this is of the timetable at the start"
        ));
    }
    if let Some(text) = left_out(scenario) {
        put(text);
    }
    if scenario.clock.unset && scenario.entries.iter().any(|plan| plan.enabled && plan.is_weekly())
    {
        put("clock: it is unset at the start; weekly entries do not run until it is set, and are reckoned here as if it were".to_owned());
    }
    if let Some(weak) = weak_pack(scenario) {
        put(format!(
            "pack: motor and driver take {:.1} V at {:.2} A, and {} cells in series {}: {}",
            weak.volts,
            weak.motor_a,
            weak.cells,
            if weak.share > 0.0 {
                format!("have that for {:.0} % of their charge only", 100.0 * weak.share)
            } else {
                "never have that".to_owned()
            },
            weak_help(&weak)
        ));
    }
    if let Some(over) = over_pack(scenario) {
        put(format!("pack: {} too large for it: {}; no dose begins", over.doses(), over.takes()));
    }
    if let Some((lasts, ahead)) = low_from_the_start(scenario) {
        put(format!(
            "pack: *battery low* is on from the start, for it is to come {ahead} d ahead, and what can be counted on of a full pack lasts {lasts:.0} d: take larger cells, or a smaller `warn_days`"
        ));
    }
    if let Supply::Battery { pack, .. } = &scenario.supply
        && let Some(mc) = pack.temperature_mc.filter(|mc| *mc <= 0)
    {
        put(format!(
            "pack: kept at {} C; that its cells sag the more the colder they are is not reckoned, and one that is not full may end long before these dates",
            f64::from(mc) / 1e3
        ));
    }
    if let Some((lift, limit)) = figures.suction_m {
        if lift >= limit {
            put(format!(
                "suction: {lift:.2} m of lift and friction are more than {limit:.2} m, the most that this product can be lifted at all: nothing will come"
            ));
        } else if lift >= WARN_LIFT_M {
            put(format!(
                "suction: {lift:.2} m of lift and friction; from {WARN_LIFT_M} m on heads lose flow or prime badly (common practice, no source)"
            ));
        }
    }
    if let Some(re) = figures.reynolds.filter(|re| *re > LAMINAR_UP_TO) {
        put(format!("lines: Reynolds number {re:.0}, not laminar: friction is by Blasius"));
    }
    if let Some(flow) = &figures.siphon {
        let regime = match flow.regime {
            Regime::Laminar => "laminar",
            Regime::Transitional => "transitional",
            Regime::Turbulent => "turbulent",
        };
        let empty = scenario.container.as_ref().map(|container| {
            let ml = container.level.minus(container.heel).as_nl() as f64 / 1e6;
            let ms = (ml / flow.ml_min * 60_000.0).clamp(0.0, 1e15) as u64;
            format!(", the container is empty in about {}", crate::trace::stamp::about(ms))
        });
        put(format!(
            "siphon: the outlet lies below the product. If the squeeze is lost about {}/min run out ({regime}){}: fit an anti-siphon valve or an air gap",
            units::in_ml(flow.ml_min, 0),
            empty.unwrap_or_default()
        ));
    }
    if let Some(tube) = &scenario.tube {
        let (bore, suction) = (f64::from(tube.bore_um) / 1e3, metres(tube.suction_um));
        let lift = (f64::from(tube.lift_um) / 1e6).max(0.0).min(suction);
        for plan in &scenario.entries {
            let ml = plan.volume.as_nl() as f64 / 1e6;
            if lift > 0.0 && drains_back(bore, lift, ml) {
                put(format!(
                    "drain-back: a dose of \"{}\" is {} and the suction line above the product holds {}: with a failed foot valve such a dose is all air",
                    plan.name,
                    show::volume(plan.volume),
                    units::in_ml(tube_ml(bore, lift), 0)
                ));
            }
        }
    }
    found
}
