//! What `calibrate` prints.

use std::fmt::Write as _;

use super::{
    CONFIRM_FROM, Gauge, Liquid, Outcome, PLAUSIBLE, Reading, Run, Setup, Unreachable, Verdict,
};
use crate::trade::repeats::Odd;
use crate::trade::vessel::{Class, Standard};
use crate::units::{self, Units};
use crate::words::{CELLS, lines, paragraph, tagged};

fn percent(share: f64) -> String {
    format!("{:.2} %", 100.0 * share)
}

/// What is as it was given: in ml with the digits that it has.
fn exact(ml: f64) -> String {
    match Units::chosen() {
        Units::Metric => format!("{ml} ml"),
        _ => units::in_ml(ml, 3),
    }
}

/// A figure in ml and how far it may be off.
fn apart_by(ml: f64, off_ml: f64, decimals: usize) -> String {
    let [value, off] = [ml, off_ml].map(|ml| units::in_ml(ml, decimals));
    format!("{} +-{off}", units::bare(value))
}

/// To the tenth of a second, as a stopwatch shows it.
fn time(s: f64) -> String {
    let tenths = (s * 10.0).round() as u64;
    let (min, s) = (tenths / 600, tenths % 600);
    if min == 0 {
        format!("{}.{} s", s / 10, s % 10)
    } else {
        format!("{min} min {}.{} s", s / 10, s % 10)
    }
}

impl Gauge {
    /// In words: what it is and how far it may be off.
    pub fn words(&self) -> String {
        let off = self.half_width_ml().unwrap_or(0.0);
        match self {
            Self::Cylinder { size_ml, class, standard } => {
                let class = if *class == Class::A { "A" } else { "B" };
                let of = if *standard == Standard::Astm { "ASTM E1272" } else { "ISO 4788" };
                // named by what stands on it, whatever else is shown in
                format!("{size_ml} ml cylinder, class {class}, +-{off} ml ({of})")
            }
            Self::Other { size_ml, .. } => {
                format!("vessel of {}, +-{}", exact(*size_ml), exact(off))
            }
            Self::Balance { within_g, liquid } => match liquid {
                Liquid::Water(t) => format!(
                    "balance, +-{within_g} g; water at {t} C, Z {:.4} ml/g (ISO 8655-6)",
                    liquid.ml_per_g()
                ),
                Liquid::Product(density) => {
                    format!("balance, +-{within_g} g; product of {density} kg/l")
                }
            },
        }
    }
}

fn run_words(run: &Run) -> String {
    let turns = if run.turns > 0 {
        format!("{} whole rotor turns, {}", run.turns, time(run.run_s))
    } else {
        time(run.run_s)
    };
    format!(
        "{turns}, about {}, expanded uncertainty {}",
        units::in_ml(run.volume_ml, 1),
        percent(run.expanded)
    )
}

pub(super) fn unreachable(why: &Unreachable) -> String {
    match why {
        Unreachable::Vessel { needed_ml, best } => format!(
            "this vessel is too small for the target: the best it can do is {}; one of about {} with the same reading error would do, or a finer one",
            percent(*best),
            units::in_ml(needed_ml.ceil(), 0)
        ),
        Unreachable::Longest { needed_s, best } => format!(
            "the head may not run for so long: {} would be needed; the best within its longest calibration run is {}",
            time(*needed_s),
            percent(*best)
        ),
        Unreachable::NoTurn => "not one rotor turn fits the vessel or the longest run".to_owned(),
    }
}

const CAUTIONS: &str = "Read the product's safety data sheet and wear what it asks for; isolate the supply before you open the head. The reading is never pre-filled: write down what the vessel shows before you look at what it should.";

/// The run to make.
pub fn planned_page(setup: &Setup, plan: &Result<Run, Unreachable>) -> String {
    let mut out = String::new();
    match plan {
        Ok(run) => paragraph(&mut out, &format!("Run {}.", run_words(run))),
        Err(why) => paragraph(&mut out, &format!("No run does: {}.", unreachable(why))),
    }
    _ = writeln!(out, "\ntarget     {} expanded (k = 2, JCGM 100)", percent(setup.target));
    let wanted = setup.planned_target();
    let planned = match plan {
        Ok(run) if run.expanded > wanted => format!(
            "{}: less in hand than the {} for a tenth less flow",
            percent(run.expanded),
            percent(wanted)
        ),
        _ => {
            format!("{}, which does for a tenth less flow and the lowest reading", percent(wanted))
        }
    };
    _ = writeln!(out, "planned    {planned}");
    _ = writeln!(out, "measure    {}", setup.gauge.words());
    _ = writeln!(out, "timing     {} s standard uncertainty", setup.timing_s);
    _ = writeln!(out, "flow       {}/min as last calibrated", exact(setup.last_ml_min));
    if setup.pass_ml > 0.0 {
        _ = writeln!(
            out,
            "turn       {}, {} rollers",
            units::in_ml(setup.turn_ml(), 3),
            setup.rollers
        );
    } else {
        _ = writeln!(out, "turn       not known: the run may end within a roller pass");
    }
    out.push('\n');
    paragraph(&mut out, "Measure before you touch anything: that is the as-found flow.");
    paragraph(&mut out, CAUTIONS);
    out
}

/// How far a second run is from the first, as a share of it, where that is more than the
/// doubt of both makes it: two of the same uncertainty differ by its root of two at most.
fn apart(reading: &Reading, found: &Outcome) -> Option<f64> {
    let first = reading.first_ml_min?;
    let off = (found.flow_ml_min - first).abs();
    (off > 2.0_f64.sqrt() * found.expanded_ml_min()).then(|| off / first)
}

fn sentence(setup: &Setup, reading: &Reading, found: &Outcome) -> String {
    let flow = format!(
        "{}/min +-{}/min (k = {})",
        units::in_ml(found.flow_ml_min, 2),
        units::in_ml(found.expanded_ml_min(), 2),
        factor(found.budget.coverage())
    );
    match &found.verdict {
        Verdict::Accept => match apart(reading, found) {
            None => format!("Accept {flow}."),
            Some(apart) => format!(
                "Accept {flow}. It is {:.1} % from the first run, more than the doubt of the two: look for air before you leave.",
                100.0 * apart
            ),
        },
        Verdict::RunLonger(Ok(run)) => format!(
            "Run longer: {flow} is more doubt than the target of {}. Run {}{}.",
            percent(setup.target),
            run_words(run),
            reading.repeats.map_or(String::new(), |repeats| format!(
                " of {} readings that scatter as these do",
                repeats.readings
            ))
        ),
        Verdict::RunLonger(Err(why)) => format!(
            "Not good enough: {flow} is more doubt than the target of {}; {}.",
            percent(setup.target),
            unreachable(why)
        ),
        Verdict::Refused => format!(
            "Refused: {flow} is outside {:.2} to {}/min, the plausible range of this head. Look for air, a kinked or unclipped tube, a failed foot valve, the wrong tube set, a misread vessel.",
            units::little(PLAUSIBLE.0 * setup.nominal_ml_min),
            units::in_ml(PLAUSIBLE.1 * setup.nominal_ml_min, 2)
        ),
        Verdict::Confirm => format!(
            "Confirm by a second run: {flow} is {:+.1} % from the last flow, more than {:.0} %. Run again and give this result with --first \"{}/min\".",
            100.0 * found.change,
            100.0 * CONFIRM_FROM,
            units::in_ml(found.flow_ml_min, 2)
        ),
        Verdict::TrainGivesMore => format!(
            "Not accepted: the train gave {:.1} % more than the flow of the run, {flow}. A start does not give so much: check the count of pulses, their length and both readings, and look for a valve that leaks. Then run again.",
            100.0 * reading.train_gives_more_by()
        ),
        Verdict::Scatter(enough) => format!(
            "Not good enough: {flow} is more doubt than the target of {}, and it is the readings that scatter. Look for air, a failed foot valve, a reading that is off; then measure again{}.",
            percent(setup.target),
            enough.map_or(String::new(), |enough| format!(
                ": {enough} readings that scatter alike would do"
            ))
        ),
        Verdict::Outlier(odd) => format!(
            "Not accepted: {flow} has an outlier in it. {} Find out why it is off; leave it out only for a reason that you write down, else measure again.",
            apart_words(odd)
        ),
        Verdict::Disagree if reading.repeats.is_some() && reading.first_ml_min.is_none() => {
            format!(
                "Not accepted: the readings of {flow} do not agree with one another. Find out why before another."
            )
        }
        Verdict::Disagree => format!(
            "Not accepted: {flow} does not agree with the first run. Find out why before a third."
        ),
    }
}

/// A reading that stands apart.
fn apart_words(odd: &Odd) -> String {
    format!(
        "Reading {}, {}, is {:+.1} % from the mean of the others, {} (Grubbs' test at {}, ISO 5725-2).",
        odd.reading,
        units::in_ml(odd.value, 2),
        100.0 * odd.off(),
        if odd.is_outlier { "an outlier" } else { "a straggler" },
        if odd.is_outlier { "1 %" } else { "5 %" },
    )
}

/// A coverage factor.
fn factor(k: f64) -> String {
    if k < 2.005 { "2".to_owned() } else { format!("{k:.*}", if k < 10.0 { 2 } else { 1 }) }
}

/// The result of a reading.
pub fn page(setup: &Setup, reading: &Reading, found: &Outcome) -> String {
    let mut out = String::new();
    paragraph(&mut out, &sentence(setup, reading, found));
    let turns = found.turns.map_or(String::new(), |turns| format!(", {turns:.2} rotor turns"));
    _ = writeln!(
        out,
        "\nrun        {}, {}{turns}",
        time(reading.run_s),
        units::in_ml(reading.volume_ml, 2)
    );
    for line in lines(&setup.gauge.words(), CELLS - 11).iter().zip(["measure", ""]) {
        _ = writeln!(out, "{:<11}{}", line.1, line.0);
    }
    _ = writeln!(
        out,
        "change     {:+.2} % from {}/min",
        100.0 * found.change,
        exact(setup.last_ml_min)
    );
    if let Some(repeats) = &reading.repeats {
        let set = setup.last_ml_min * reading.run_s / 60.0;
        tagged(
            &mut out,
            "repeats    ",
            &format!(
                "{} readings, mean {}: systematic error {:+.2} % of the {} that the flow in force would give, CV {:.2} % (ISO 8655-6)",
                repeats.readings,
                units::in_ml(repeats.mean, 2),
                repeats.systematic_percent,
                units::in_ml(set, 2),
                repeats.spread_percent
            ),
        );
    }
    if let Some(odd) = found.odd.filter(|odd| !odd.is_outlier) {
        tagged(&mut out, "apart      ", &apart_words(&odd));
    }
    let of = if reading.repeats.is_some() { "mean" } else { "one run" };
    _ = writeln!(out, "\nuncertainty of the {of} (JCGM 100), as shares of the flow");
    for part in &found.budget.parts {
        _ = writeln!(out, "  {:<18}{:>9}", part.name, percent(part.share));
    }
    _ = writeln!(out, "  {:<18}{:>9}", "combined", percent(found.budget.combined()));
    _ = writeln!(
        out,
        "  {:<18}{:>9}   target {}",
        format!("expanded, k = {}", factor(found.budget.coverage())),
        percent(found.budget.expanded()),
        percent(setup.target)
    );
    if let Some((steady, flow_u, loss_u)) = &found.steady {
        _ = writeln!(out, "\ntwo points");
        _ = writeln!(out, "  steady flow       {}/min", apart_by(steady.flow_ml_min, *flow_u, 3));
        _ = writeln!(out, "  loss per start    {}", apart_by(steady.loss_ml, *loss_u, 4));
        let lead_ms = steady.lead_ms();
        if lead_ms > 0.0 {
            _ = writeln!(
                out,
                "  lead per start    {lead_ms:.0} ms: lead = \"{lead_ms:.0} ms\" in [head]"
            );
        }
        if steady.loss_ml.abs() < *loss_u {
            _ = writeln!(out, "  the loss is within its doubt: it may be nothing");
        } else if steady.loss_ml < 0.0 {
            _ = writeln!(out, "  a pulse gave more than the run does: the lead is nothing");
        }
    }
    if let Some(restated) = &found.restated {
        _ = writeln!(out, "\naccount since the last calibration, linear drift (common practice)");
        _ = writeln!(
            out,
            "  best {}, bounds {} to {}; the flow changed {:+.1} %",
            units::in_l(restated.best, 2),
            units::bare(units::in_l(restated.least, 2)),
            units::in_l(restated.most, 2),
            restated.change_percent
        );
    }
    if !matches!(found.verdict, Verdict::Accept) {
        out.push('\n');
        paragraph(&mut out, "The old flow stays in force.");
    }
    out.push('\n');
    paragraph(&mut out, CAUTIONS);
    out
}
