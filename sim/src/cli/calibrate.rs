//! `dosewright calibrate`.

use std::path::PathBuf;

use clap::{Args, ValueEnum};
use dosewright_sim::calibrate::{self, Gauge, Liquid, Reading, Setup, Verdict};
use dosewright_sim::diagnose::{self, Source};
use dosewright_sim::scenario::{self, HeadFile, measure};
use dosewright_sim::trade::repeats;
use dosewright_sim::trade::vessel::{self, Class, Standard};
use dosewright_sim::trade::water;

use super::exit::Exit;
use super::files;
use super::print;
use super::terminal::Terminal;

#[derive(ValueEnum, Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum ClassArg {
    /// The finer one
    A,
    /// Twice its tolerance
    B,
}

#[derive(ValueEnum, Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum StandardArg {
    /// ASTM E1272
    Astm,
    /// ISO 4788
    Iso,
}

/// Without a run: how long to run. With one: what the reading means.
#[derive(Args, Debug, Clone)]
pub(super) struct CalibrateArgs {
    /// Scenario or head file, for the flow, the rollers and the longest run
    pub(super) file: Option<PathBuf>,
    /// Flow as last calibrated; the file's unless said
    #[arg(long, value_name = "FLOW", value_parser = measure::ml_per_min, allow_hyphen_values = true)]
    pub(super) last: Option<f64>,
    /// Nominal flow of the head; the last unless said
    #[arg(long, value_name = "FLOW", value_parser = measure::ml_per_min, allow_hyphen_values = true)]
    pub(super) nominal: Option<f64>,
    /// Measuring cylinder, such as "100 ml"
    #[arg(long, value_name = "VOLUME", value_parser = measure::ml, allow_hyphen_values = true)]
    pub(super) vessel: Option<f64>,
    /// Class of the cylinder
    #[arg(long, value_enum, ignore_case = true, default_value_t = ClassArg::B, value_name = "CLASS")]
    pub(super) class: ClassArg,
    /// Whose tolerances the cylinder has
    #[arg(long, value_enum, default_value_t = StandardArg::Astm, value_name = "WHOSE")]
    pub(super) standard: StandardArg,
    /// How far the vessel may be off, where no table has it
    #[arg(long, value_name = "VOLUME", value_parser = measure::ml, allow_hyphen_values = true)]
    pub(super) tolerance: Option<f64>,
    /// How far the reading itself may be off, beside the vessel
    #[arg(long, value_name = "VOLUME", value_parser = measure::ml, allow_hyphen_values = true)]
    pub(super) reading: Option<f64>,
    /// Weighed on a balance that shows within so much
    #[arg(long, value_name = "MASS", value_parser = measure::g, allow_hyphen_values = true, conflicts_with_all = ["vessel", "tolerance"])]
    pub(super) balance: Option<f64>,
    /// It is water of this temperature that was weighed
    #[arg(long, value_name = "TEMPERATURE", value_parser = measure::celsius, conflicts_with = "density", allow_hyphen_values = true)]
    pub(super) water: Option<f64>,
    /// It is product of this density that was weighed
    #[arg(long, value_name = "DENSITY", value_parser = measure::g_per_ml, allow_hyphen_values = true)]
    pub(super) density: Option<f64>,
    /// Standard uncertainty of the run's length
    #[arg(long, value_name = "LENGTH", value_parser = measure::seconds, allow_hyphen_values = true)]
    pub(super) timing: Option<f64>,
    /// Expanded uncertainty (k = 2) wanted
    #[arg(long, value_name = "SHARE", value_parser = measure::share, allow_hyphen_values = true)]
    pub(super) target: Option<f64>,
    /// How long the run was
    #[arg(long, value_name = "LENGTH", value_parser = measure::seconds, allow_hyphen_values = true)]
    pub(super) run: Option<f64>,
    /// What came out; once more for each further run of the same length
    #[arg(long, value_name = "VOLUME", value_parser = measure::ml, allow_hyphen_values = true, requires = "run", conflicts_with = "mass")]
    pub(super) measured: Vec<f64>,
    /// What came out, weighed; once more for each further run of the same length
    #[arg(long, value_name = "MASS", value_parser = measure::g, allow_hyphen_values = true, requires = "run")]
    pub(super) mass: Vec<f64>,
    /// A train of so many short pulses was run as well
    #[arg(long, value_name = "COUNT", requires_all = ["pulse", "train"], value_parser = clap::value_parser!(u32).range(1..=10_000))]
    pub(super) pulses: Option<u32>,
    /// Length of each of them
    #[arg(long, value_name = "LENGTH", value_parser = measure::seconds, allow_hyphen_values = true, requires = "pulses")]
    pub(super) pulse: Option<f64>,
    /// What the train gave, as a volume, or as a mass where it was weighed
    #[arg(long, value_name = "AMOUNT", requires = "pulses")]
    pub(super) train: Option<String>,
    /// What the first run gave, where this one is to confirm it
    #[arg(long, value_name = "FLOW", value_parser = measure::ml_per_min, allow_hyphen_values = true)]
    pub(super) first: Option<f64>,
    /// Volume logged since the last calibration, to restate
    #[arg(long, value_name = "VOLUME", value_parser = measure::ml, allow_hyphen_values = true, requires = "run")]
    pub(super) logged: Option<f64>,
    /// Print one JSON object
    #[arg(long)]
    pub(super) json: bool,
}

/// What is wrong with the arguments, and how to mend it.
fn setup(args: &CalibrateArgs, head: Option<&HeadFile>) -> Result<Setup, String> {
    let of_file = head.map(|file| &file.head);
    let flow = of_file.map(|plan| f64::from(plan.head.flow.as_nl_per_min()) / 1e6);
    let last_ml_min = args.last.or(flow).ok_or(
        "the flow so far is not known; give --last \"26.5 ml/min\", or a file with a [head]",
    )?;
    Ok(Setup {
        last_ml_min,
        nominal_ml_min: args.nominal.unwrap_or(last_ml_min),
        pass_ml: of_file.map_or(0.0, |plan| plan.head.roller_pass.as_nl() as f64 / 1e6),
        rollers: of_file.map_or(1, |plan| u32::from(plan.head.rollers)),
        gauge: gauge(args)?,
        reading_ml: args.reading.unwrap_or(0.0),
        timing_s: args.timing.unwrap_or(calibrate::TIMING_S),
        target: args.target.unwrap_or(calibrate::TARGET),
        longest_s: of_file
            .map_or(calibrate::LONGEST_S, |plan| f64::from(plan.head.longest_calibration_ms) / 1e3),
    })
}

fn gauge(args: &CalibrateArgs) -> Result<Gauge, String> {
    if let Some(within_g) = args.balance {
        let liquid = match (args.water, args.density) {
            (Some(t), _) if (water::RANGE_C.0..=water::RANGE_C.1).contains(&t) => Liquid::Water(t),
            (Some(t), _) => {
                return Err(format!(
                    "--water {t} C: the density of water is known here from {} to {} C",
                    water::RANGE_C.0,
                    water::RANGE_C.1
                ));
            }
            (None, Some(density)) => Liquid::Product(density),
            (None, None) => {
                return Err("a mass says no volume by itself; give --water \"20 C\", or --density \"1.03 kg/l\" of the product".to_owned());
            }
        };
        return Ok(Gauge::Balance { within_g, liquid });
    }
    if !args.mass.is_empty() {
        return Err("--mass needs --balance \"0.1 g\": how far the balance may be off".to_owned());
    }
    if args.water.is_some() || args.density.is_some() {
        return Err("--water and --density are for weighing; give --balance and --mass".to_owned());
    }
    let size_ml = args.vessel.ok_or(
        "how it is measured is not said; give --vessel \"100 ml\", or --balance \"0.1 g\"",
    )?;
    if args.reading.is_some_and(|reading_ml| reading_ml >= size_ml) {
        return Err("--reading is not less than the vessel".to_owned());
    }
    if let Some(tolerance_ml) = args.tolerance {
        if tolerance_ml >= size_ml {
            return Err("--tolerance is not less than the vessel".to_owned());
        }
        return Ok(Gauge::Other { size_ml, tolerance_ml });
    }
    let known =
        vessel::SIZES_ML.into_iter().find(|known| (f64::from(*known) - size_ml).abs() < 1e-6);
    let size_ml = known.ok_or_else(|| {
        format!(
            "no table here has a cylinder of {size_ml} ml (they have {} ml); give what is marked on it, such as --tolerance \"0.5 ml\"",
            vessel::SIZES_ML.map(|size| size.to_string()).join(", ")
        )
    })?;
    Ok(Gauge::Cylinder {
        size_ml,
        class: if args.class == ClassArg::A { Class::A } else { Class::B },
        standard: if args.standard == StandardArg::Astm { Standard::Astm } else { Standard::Iso },
    })
}

/// What a pulse of a train can give of what the long run's flow would: a start that takes
/// more than half of it, or gives a fifth more, is a wrong count (own choice).
const PULSE_SHARE: std::ops::RangeInclusive<f64> = 0.5..=1.2;

/// What was measured; `None` where nothing was run.
fn reading(args: &CalibrateArgs, setup: &Setup) -> Result<Option<Reading>, String> {
    let Some(run_s) = args.run else { return Ok(None) };
    let per_g = match &setup.gauge {
        Gauge::Balance { liquid, .. } => Some(liquid.ml_per_g()),
        _ => None,
    };
    let volumes_ml: Vec<f64> = match (&args.measured[..], &args.mass[..], per_g) {
        ([], [_, ..], Some(per_g)) => args.mass.iter().map(|mass| mass * per_g).collect(),
        ([_, ..], [], None) => args.measured.clone(),
        ([_, ..], _, Some(_)) => {
            return Err(
                "--measured is read from a vessel, --balance weighs; give --mass".to_owned()
            );
        }
        _ => {
            return Err(
                "what came out is not said; give --measured \"78.2 ml\", or --mass".to_owned()
            );
        }
    };
    if let Some(over_ml) = volumes_ml.iter().find(|ml| **ml > setup.gauge.holds_ml()) {
        return Err(format!(
            "{over_ml} ml is more than the vessel holds, {} ml; was it emptied in between?",
            setup.gauge.holds_ml()
        ));
    }
    let repeats = repeats::judge(&volumes_ml, setup.last_ml_min * run_s / 60.0);
    if repeats.is_some() && args.pulses.is_some() {
        return Err(
            "the loss per start comes from one run and one train; leave --pulses out, or give one reading"
                .to_owned(),
        );
    }
    let volume_ml = volumes_ml.iter().sum::<f64>() / volumes_ml.len() as f64;
    let train = match (args.pulses, args.pulse, &args.train) {
        (Some(pulses), Some(pulse_s), Some(amount)) => {
            let ml = match per_g {
                Some(per_g) => measure::g(amount).map(|g| g * per_g),
                None => measure::ml(amount),
            };
            let ml = ml.map_err(|why| format!("--train {amount}: {why}"))?;
            if pulse_s * 4.0 > run_s {
                return Err("the pulses of the train are too long to tell the loss per start; a quarter of the run at most".to_owned());
            }
            if ml > setup.gauge.holds_ml() {
                return Err(format!(
                    "--train: {ml} ml is more than the vessel holds, {} ml; run fewer pulses",
                    setup.gauge.holds_ml()
                ));
            }
            let (each, steady) = (ml / f64::from(pulses), volume_ml / run_s * pulse_s);
            if !PULSE_SHARE.contains(&(each / steady)) {
                return Err(format!(
                    "the train gave {each:.3} ml a pulse, by the flow of the long run it would be {steady:.3} ml; check the count, the pulses' length and the reading"
                ));
            }
            Some((pulses, pulse_s, ml))
        }
        _ => None,
    };
    let (first_ml_min, logged_ml) = (args.first, args.logged);
    Ok(Some(Reading { run_s, volume_ml, repeats, train, first_ml_min, logged_ml }))
}

/// Says what to run, or what a run means.
pub(super) fn calibrate(terminal: Terminal, args: &CalibrateArgs) -> Exit {
    let head = match &args.file {
        None => None,
        Some(path) => {
            let Some(named) = files::read_all(terminal, &[path]).and_then(|mut all| all.pop())
            else {
                return Exit::Usage;
            };
            files::show_as(&named.text);
            match scenario::read_head(&named.name, &named.text) {
                Ok(head) => Some(head),
                Err(problems) => {
                    let sources = [Source::new(&named.name, &named.text)];
                    terminal.message(&diagnose::text::report(
                        &problems,
                        &sources,
                        "nothing was reckoned",
                        terminal.paint_err(),
                    ));
                    return Exit::Usage;
                }
            }
        }
    };
    let made = setup(args, head.as_ref()).and_then(|s| Ok((reading(args, &s)?, s)));
    let (text, accepted) = match made {
        Err(why) => {
            terminal.error(&why);
            return Exit::Usage;
        }
        Ok((None, setup)) => {
            let plan = setup.plan();
            let text = if args.json {
                calibrate::planned_json(&setup, &plan)
            } else {
                calibrate::planned_page(&setup, &plan)
            };
            (text, plan.is_ok())
        }
        Ok((Some(reading), setup)) => {
            let found = calibrate::judge(&setup, &reading);
            let text = if args.json {
                calibrate::json(&setup, &reading, &found)
            } else {
                calibrate::page(&setup, &reading, &found)
            };
            (text, found.verdict == Verdict::Accept)
        }
    };
    match print(terminal, &text) {
        Exit::Held if !accepted => Exit::Failed,
        exit => exit,
    }
}
