//! One offline page of a run: a verdict first, then pictures, each with what it
//! shows in words and the same data as a table. No script, nothing to fetch.

mod container;
mod courses;
mod daily;
mod doses;
mod facts;
mod figure;
mod glyph;
mod happened;
mod lines;
mod matrix;
pub mod sheet;
mod train;
mod unusual;
mod visits;
mod week;

pub use facts::{Dose, Facts, Fate};
pub use lines::{Saved, are_lines, read};
pub use matrix::{Cell, Sweep};

use maud::{Markup, html};

use crate::diagnose::Source;
use crate::forecast;
use crate::judged::{self, Verdict};
use crate::run::Options;
use crate::scenario::{Scenario, show};
use crate::trace::Sink;
use crate::trace::page::asked_for;
use crate::trace::stamp::about;
use crate::trace::summary::{End, Opening, Summary, became};
use crate::trade::cells::ROOM_C;
use crate::words::{faults_or_acts, plural};
use crate::world::WorldError;

const STYLE: &str = include_str!("style.css");

/// What a page is made of; at least one of them is there.
#[derive(Debug, Clone, Default)]
pub struct Input<'a> {
    /// A run.
    pub run: Option<&'a Facts>,
    /// The scenario of the run: limits, windows, container, supply.
    pub scenario: Option<&'a Scenario>,
    /// A sweep.
    pub sweep: Option<&'a Sweep>,
}

/// Runs a scenario, judges it and gathers what a page tells of it.
///
/// # Errors
///
/// Where there is no world for it.
pub fn gather(
    scenario: &Scenario,
    source: &Source,
    options: &Options,
    hash: &str,
    build: &str,
) -> Result<(Facts, Verdict), WorldError> {
    let opening = End::Run(Opening::new(source.name(), scenario, hash, build, options.seed));
    let mut facts = Facts::opened(&value(&opening))
        .ok_or_else(|| WorldError::Memory("the run's first line cannot be read".to_owned()))?;
    let judged = judged::run(scenario, options, vec![&mut facts as &mut dyn Sink], None)?;
    for line in became(scenario, source, &judged) {
        facts.line(&value(&line));
    }
    let summary = Summary::new(scenario, source, &judged, hash, build, options.seed);
    facts.line(&value(&End::Summary(summary)));
    Ok((facts, judged.verdict))
}

/// As it is written on a line.
fn value(line: &impl serde::Serialize) -> serde_json::Value {
    serde_json::to_value(line).unwrap_or_default()
}

/// The sentence that stands first.
fn verdict(facts: &Facts) -> Markup {
    let totals = &facts.totals;
    let (class, word) = match totals.verdict {
        Some(Verdict::Held) => ("held", "held"),
        Some(Verdict::Failed) => ("failed", "FAILED"),
        Some(Verdict::Invalid) => ("invalid", "is INVALID"),
        Some(Verdict::Stopped) | None => ("stopped", "stopped before its end"),
    };
    let mut parts = vec![format!("{} dosed", totals.dosed)];
    for (count, word) in
        [(totals.part, "part"), (totals.skipped, "skipped"), (totals.open, "open at the end")]
    {
        if count > 0 {
            parts.push(format!("{count} {word}"));
        }
    }
    let asked = asked_for(totals.asked, totals.asked_open);
    let expected = match (totals.expectations, totals.failures) {
        (0, 0) => String::new(),
        (count, 0) => format!("{} held, ", plural(count, "expectation")),
        (count, failed) => format!("{failed} of {} did not hold, ", plural(count, "expectation")),
    };
    let broken = if totals.broken == 0 {
        "every promise was kept".to_owned()
    } else {
        format!(
            "promises were broken {}",
            if totals.broken == 1 { "once".to_owned() } else { format!("{} times", totals.broken) }
        )
    };
    let effect = if totals.invalid > 0 {
        format!("; {} never took effect", faults_or_acts(totals.invalid))
    } else {
        String::new()
    };
    let as_meant = totals.failure_expected && totals.verdict == Some(Verdict::Held);
    let meant = if as_meant { " (a failure is what it expects)" } else { "" };
    html! {
        h1 {
            (facts.file) " " span class=(class) { (word) } (meant) ". "
            (plural(totals.dues, "scheduled dose")) ": " (parts.join(", ")) (asked) "; "
            (expected) (broken) (effect) "."
        }
    }
}

/// What came of the runs of a sweep. One that tested nothing where it was to is no pass.
fn sweep_verdict(sweep: &Sweep) -> Markup {
    let cells = &sweep.cells[..];
    let count = |is: fn(&Cell) -> bool| cells.iter().filter(|cell| is(cell)).count();
    let (failed, none) = (count(Cell::failed), count(Cell::without_effect));
    let stopped = cells.len() - failed - none - count(Cell::held);
    let (class, word) = match (failed, none, stopped as u64 + sweep.left_out) {
        (1.., ..) => ("failed", "FAILED"),
        (_, 1.., _) => ("invalid", "is INVALID"),
        (_, _, 1..) => ("stopped", "stopped before its end"),
        _ => ("held", "held"),
    };
    html! {
        h1 {
            "The sweep " span class=(class) { (word) } ". "
            @if failed == 0 { "No promise was broken in " } @else { "Promises were broken in " (failed) " of " }
            (plural(cells.len() as u64, "run")) (without_effect(none, cells.len())) "." (matrix::cut_short(sweep))
        }
    }
}

/// In how many runs the fault never took effect, as the end of a sentence.
fn without_effect(none: usize, of: usize) -> String {
    match none {
        0 => String::new(),
        all if all == of => ", and in none of them did the fault take effect".to_owned(),
        some => format!(", and in {some} the fault never took effect"),
    }
}

fn about_run(facts: &Facts) -> Markup {
    html! {
        @if let Some(title) = &facts.title { p { (title) } }
        p class="small" {
            "From " (show::local(facts.frame.start)) ", for " (about(facts.totals.simulated_ms))
            ", true local time. Dosed: pump ran, flow not sensed. Seed " (facts.seed)
            ", scenario " code { (facts.hash) } ", build " code { (facts.build) } "."
        }
        @if !facts.totals.findings.is_empty() {
            div class="finding" {
                h2 {
                    @if facts.totals.failure_expected && facts.totals.verdict == Some(Verdict::Held) { "What failed, as it was meant to" }
                    @else if facts.totals.broken + facts.totals.failures > 0 { "What failed" }
                    @else { "What never took effect" }
                }
                ul {
                    @for found in facts.totals.findings.iter().take(MOST_FINDINGS) { li { (found) } }
                }
                @if let Some(more) = facts.totals.findings.len().checked_sub(MOST_FINDINGS).filter(|more| *more > 0) {
                    p class="note" { "and " (more) " more" }
                }
            }
        }
    }
}

/// Findings told one by one.
const MOST_FINDINGS: usize = 50;

const CAUTIONS: &str = "A simulation shows what the logic does in a modelled world; it does not show that a pump, a tube or a battery is sound. Read the product's safety data sheet and wear what it asks for; never mix products; isolate the supply before you open a pump head; prevent back-siphoning into drinking water. The label, local codes, discharge rules and licensed trades come first. Not certified for any use: the owner of the installation decides.";

/// The page.
pub fn page(input: &Input<'_>) -> String {
    let title = match input.run {
        Some(facts) => {
            let verdict = facts.totals.verdict.unwrap_or(Verdict::Stopped);
            format!("{}: {}", facts.file, verdict.word())
        }
        None => "A sweep of faults".to_owned(),
    };
    let body = html! {
        main {
            @if let Some(facts) = input.run { (verdict(facts)) (about_run(facts)) }
            @else if let Some(sweep) = input.sweep { (sweep_verdict(sweep)) }
            @if let Some(facts) = input.run { (of_run(facts, input.scenario)) }
            @if let Some(sweep) = input.sweep {
                @if input.run.is_some() { (sweep_verdict_as_h2(&sweep.cells)) }
                @for figure in matrix::figures(sweep) { (figure.html()) }
            }
            section { h2 { "Cautions" } p class="caution" { (CAUTIONS) } }
        }
    };
    figure::page(&title, STYLE, &body)
}

fn sweep_verdict_as_h2(cells: &[Cell]) -> Markup {
    let failed = cells.iter().filter(|cell| cell.failed()).count();
    let none = cells.iter().filter(|cell| cell.without_effect()).count();
    html! {
        h2 {
            "Sweep: " (plural(cells.len() as u64, "run")) ", " (failed) " failed"
            (without_effect(none, cells.len()))
        }
    }
}

fn of_run(facts: &Facts, scenario: Option<&Scenario>) -> Markup {
    let (weeks, left_out) = week::figures(facts, scenario);
    let train = scenario.and_then(|scenario| train::planned(facts, scenario));
    let forecast = scenario.map(forecast::forecast);
    let (name, list) = doses::list(facts);
    html! {
        section {
            h2 { "What each entry came to" }
            (doses::entries(facts).html("What each entry came to"))
        }
        @if let Some(what) = happened::section(facts) { (what) }
        @for figure in weeks { (figure.html()) }
        (left_out)
        @if let Some(seen) = &facts.seen {
            (train::close_up(seen, scenario.map(|scenario| &scenario.head.head)).html())
        }
        @if let Some(figure) = train.and_then(|(entry, train)| train::evenness(&entry, &train)) { (figure.html()) }
        (daily::figure(facts, scenario).html())
        @if let (Some(scenario), Some(forecast)) = (scenario, &forecast) {
            @if let Some(figure) = container::in_run(facts, scenario) { (figure.html()) }
            @if let Some(figure) = container::planned(scenario, forecast) { (figure.html()) }
            @if let Some(figure) = courses::battery(scenario, forecast) {
                (figure.html())
                @if scenario.supply.is_pack_somewhere() {
                    p class="note" {
                        "In the run the pack was kept at " (ROOM_C) " C, for want of its temperature. The picture is of the forecast"
                        @if forecast.pack.as_ref().is_some_and(|pack| pack.is_cool) { ", in a cool cellar" }
                        "."
                    }
                }
            }
            @else { p class="note" { "The supply is mains: there is no battery to show." } }
        } @else {
            p class="note" { "The scenario is not at hand: the head's limits, the ceiling, container and battery are left out." }
        }
        // no twin of a picture: it is not behind anything, and whole on paper
        section class="long" {
            h2 { (name) }
            (list.list(name))
        }
    }
}
