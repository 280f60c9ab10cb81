//! `dosewright sheet` and `dosewright calendar`: what a site is given.

use std::path::{Path, PathBuf};

use clap::{Args, ValueEnum};
use dosewright_core::civil::Date;
use dosewright_sim::digest::digest;
use dosewright_sim::report::sheet::{self, Site};
use dosewright_sim::scenario::{Scenario, measure};
use dosewright_sim::trace::stamp::day;

use super::exit::Exit;
use super::files::{self, Named};
use super::run::checked;
use super::terminal::Terminal;

/// One page to leave on site.
#[derive(Args, Debug, Clone)]
pub(super) struct SheetArgs {
    /// Scenario file
    pub(super) file: PathBuf,
    /// Where to write the sheet; - is standard output
    #[arg(long, short, value_name = "FILE")]
    pub(super) output: PathBuf,
    /// Paper that it is printed on
    #[arg(long, value_enum, default_value_t = Paper::A4)]
    pub(super) paper: Paper,
    /// Where the product goes in, instead of the scenario's `[site]`; a blank and a
    /// warning where neither says it
    #[arg(long, value_name = "TEXT", value_parser = words)]
    pub(super) dosing_point: Option<String>,
    /// Class of product, likewise
    #[arg(long, value_name = "TEXT", value_parser = words)]
    pub(super) product_class: Option<String>,
    /// Reference of the discharge permit, likewise
    #[arg(long, value_name = "TEXT", value_parser = words)]
    pub(super) permit: Option<String>,
    /// Serial number of the pump; a blank without it
    #[arg(long, value_name = "TEXT", value_parser = words)]
    pub(super) serial: Option<String>,
    /// Date of the calibration; a blank without it
    #[arg(long, value_name = "DATE", value_parser = measure::date)]
    pub(super) calibrated: Option<Date>,
    /// Expanded uncertainty of the flow, k = 2, as `calibrate` gives it; a blank
    /// without it
    #[arg(long, value_name = "FLOW", value_parser = measure::uncertainty)]
    pub(super) uncertainty: Option<String>,
}

#[derive(ValueEnum, Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Paper {
    /// 210 x 297 mm
    A4,
    /// 8.5 x 11 in
    Letter,
}

/// The dues as iCalendar.
#[derive(Args, Debug, Clone)]
pub(super) struct CalendarArgs {
    /// Scenario file
    pub(super) file: PathBuf,
    /// Where to write the calendar; standard output unless said
    #[arg(long, short, value_name = "FILE", default_value = "-")]
    pub(super) output: PathBuf,
}

/// What has room on a line of the sheet.
fn words(text: &str) -> Result<String, String> {
    let text = text.trim();
    match text.chars().count() {
        0 => Err("it is empty; leave it out for a blank to fill in".to_owned()),
        1..=60 => Ok(text.to_owned()),
        _ => Err("a line of the sheet has room for 60 characters".to_owned()),
    }
}

fn read(terminal: Terminal, path: &Path) -> Result<(Named, Scenario), Exit> {
    let named = files::read(path).map_err(|why| {
        terminal.error(&why);
        Exit::Usage
    })?;
    let scenario = checked(terminal.without_warnings(), std::slice::from_ref(&named))
        .and_then(|all| all.into_iter().next())
        .ok_or(Exit::Usage)?;
    Ok((named, scenario))
}

fn write(terminal: Terminal, path: &Path, text: &str) -> Exit {
    match files::write(terminal, path, text) {
        Ok(()) => Exit::Held,
        Err(why) => {
            terminal.error(&why);
            Exit::Usage
        }
    }
}

/// Writes the sheet.
pub(super) fn sheet(terminal: Terminal, args: &SheetArgs) -> Exit {
    let (named, scenario) = match read(terminal, &args.file) {
        Ok(found) => found,
        Err(exit) => return exit,
    };
    let site = Site {
        dosing_point: args.dosing_point.clone().or_else(|| scenario.site.dosing_point.clone()),
        product_class: args.product_class.clone().or_else(|| scenario.site.product_class.clone()),
        permit: args.permit.clone().or_else(|| scenario.site.permit.clone()),
        serial: args.serial.clone(),
        calibrated: args.calibrated,
        uncertainty: args.uncertainty.clone(),
    };
    let start = scenario.clock.start.date();
    if let Some(date) = args.calibrated.filter(|date| *date > start) {
        terminal.error(&format!(
            "--calibrated {} lies after the start of the scenario, {}",
            day(date),
            day(start)
        ));
        return Exit::Usage;
    }
    let paper = match args.paper {
        Paper::A4 => sheet::Paper::A4,
        Paper::Letter => sheet::Paper::Letter,
    };
    for (name, known) in [
        ("dosing point", &site.dosing_point),
        ("product class", &site.product_class),
        ("permit", &site.permit),
    ] {
        if known.is_none() && !terminal.quiet {
            terminal.message(&format!(
                "warning: no {name} in [site] or as an option: the sheet has a blank\n"
            ));
        }
    }
    let hash = digest(named.text.as_bytes());
    write(terminal, &args.output, &sheet::sheet(&named.name, &hash, &scenario, &site, paper))
}

/// Writes the calendar.
pub(super) fn calendar(terminal: Terminal, args: &CalendarArgs) -> Exit {
    let (named, scenario) = match read(terminal, &args.file) {
        Ok(found) => found,
        Err(exit) => return exit,
    };
    let hash = digest(named.text.as_bytes());
    let made = dosewright_sim::calendar::calendar(&scenario, &hash);
    if !terminal.quiet {
        for note in &made.notes {
            terminal.message(&format!("note: {note}\n"));
        }
    }
    match write(terminal, &args.output, &made.text) {
        Exit::Held if made.doses == 0 => {
            terminal.error("no dose is due in the length of the run: the calendar is empty");
            Exit::Nothing
        }
        exit => exit,
    }
}
