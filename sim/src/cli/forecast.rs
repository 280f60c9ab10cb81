//! `dosewright forecast`.

use std::path::PathBuf;

use clap::Args;
use dosewright_sim::diagnose::{self, Diagnostic, Severity, Source, codes};
use dosewright_sim::scenario::measure;
use dosewright_sim::trade::restate::drawdown;
use dosewright_sim::{check, forecast};

use super::exit::Exit;
use super::files;
use super::print;
use super::terminal::Terminal;

/// Until when things last.
#[derive(Args, Debug, Clone)]
pub(super) struct ForecastArgs {
    /// Scenario file
    pub(super) file: PathBuf,
    /// Mass that the container lost since the last visit, for a drawdown
    #[arg(long, value_name = "MASS", value_parser = measure::g_or_none, allow_hyphen_values = true, requires = "logged")]
    pub(super) drawn: Option<f64>,
    /// How far that mass may be off
    #[arg(long, value_name = "MASS", value_parser = measure::g, allow_hyphen_values = true, default_value = "20 g")]
    pub(super) within: f64,
    /// Volume that was logged in the same time
    #[arg(long, value_name = "VOLUME", value_parser = measure::ml, allow_hyphen_values = true, requires = "drawn")]
    pub(super) logged: Option<f64>,
    /// Print JSON, one object a line
    #[arg(long)]
    pub(super) json: bool,
    /// Print the courses of container and battery too, a line a day
    #[arg(long, requires = "json")]
    pub(super) courses: bool,
}

/// The device would refuse it; else it is the file that cannot be read.
fn is_refusal(error: &Diagnostic) -> bool {
    codes::find(error.code).is_some_and(|info| info.origin == codes::Origin::Acceptance)
}

/// Entries that take no part in what is forecast, a sentence each.
fn never_due(problems: &[Diagnostic]) -> impl Iterator<Item = String> {
    problems
        .iter()
        .filter(|problem| problem.code == diagnose::codes::NOT_DUE)
        .map(|problem| format!("timetable: {}: {}", problem.message, problem.label))
}

/// Forecasts a scenario.
pub(super) fn forecast(terminal: Terminal, args: &ForecastArgs) -> Exit {
    let Some(file) = files::read_all(terminal, &[&args.file]).and_then(|mut all| all.pop()) else {
        return Exit::Usage;
    };
    files::show_as(&file.text);
    let (scenario, problems) = check::read_ahead(&file.name, &file.text);
    let Some(scenario) = scenario else {
        let errors: Vec<Diagnostic> =
            problems.into_iter().filter(|p| p.severity == Severity::Error).collect();
        let sources = [Source::new(&file.name, &file.text)];
        terminal.message(&diagnose::text::report(
            &errors,
            &sources,
            "nothing was forecast",
            terminal.paint_err(),
        ));
        let verdict = if args.json {
            forecast::not(&file.name)
        } else if errors.iter().any(is_refusal) {
            format!("{} does not fit.\n", file.name)
        } else {
            format!("{} cannot be read.\n", file.name)
        };
        print(terminal, &verdict);
        return Exit::Usage;
    };
    let found = forecast::forecast(&scenario);
    let changes = forecast::changes(&scenario, &found);
    let largest =
        forecast::days(&scenario, 365).iter().map(|day| day.volume_ml).fold(0.0, f64::max);
    let figures = forecast::figures(&scenario, largest);
    let mut warnings = forecast::warnings(&scenario, &figures);
    warnings.extend(never_due(&problems));
    let density =
        scenario.product.as_ref().map_or(1.0, |product| f64::from(product.density_mg_l) / 1e6);
    let drawn = args
        .drawn
        .zip(args.logged)
        .map(|(mass, logged)| drawdown(mass, args.within, density, logged));
    let text = if args.json {
        let mut text = forecast::json(&file.name, &found, &changes, &figures, &warnings);
        if args.courses {
            text += &forecast::courses(&scenario, &found);
        }
        if let Some(drawn) = &drawn {
            text += &forecast::drawdown_json(drawn);
        }
        text
    } else {
        let mut text = forecast::page(&file.name, &found, &changes, &figures, &warnings);
        if let Some(drawn) = &drawn {
            text.push('\n');
            text.push_str(&forecast::drawdown_page(drawn, density));
        }
        text
    };
    print(terminal, &text)
}
