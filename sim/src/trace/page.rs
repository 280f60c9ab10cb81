//! The page that `run` prints: the verdict first, what failed, the timeline, the
//! totals.

use std::fmt::Write as _;

use super::Stamped;
use super::cut::padded;
use super::stamp::{about, clock_time, day, which};
use super::summary::name_of;
use super::timeline::{volume, volume_cells};
use crate::check;
use crate::diagnose::text::{Paint, render};
use crate::diagnose::{Diagnostic, Source, display};
use crate::expect::EntryFigures;
use crate::judged::{Judged, Verdict};
use crate::run::{ActEnd, Frame, RunEnd};
use crate::scenario::{Scenario, show};
use crate::trade::cells::ROOM_C;
use crate::words::{faults_or_acts, lines, plural};
use dosewright_core::entry::EntryId;
use dosewright_core::units::Volume;

/// Cells on a line.
const CELLS: usize = 80;
/// Broken promises told one by one.
const MOST_BROKEN: usize = 20;

/// What a verdict is called at the start of a line.
pub const fn word(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Held => "held",
        Verdict::Stopped => "stopped",
        Verdict::Invalid => "INVALID",
        Verdict::Failed => "FAILED",
    }
}

/// The promises that were broken, each once.
fn broken(judged: &Judged) -> String {
    let mut promises: Vec<&str> = Vec::new();
    for violation in &judged.audit.violations {
        if !promises.contains(&violation.promise) {
            promises.push(violation.promise);
        }
    }
    promises.join(", ")
}

/// How many doses were asked for outside the timetable.
pub(crate) fn asked_for(asked: u64, open: u64) -> String {
    let open = match (asked, open) {
        (0, _) => return String::new(),
        (_, 0) => String::new(),
        (1, _) => ", open at the end".to_owned(),
        (_, open) => format!(", {open} open at the end"),
    };
    format!(", and {} asked for{open}", plural(asked, "dose"))
}

/// One sentence: what was run, what came of it, what held.
pub fn verdict(name: &str, scenario: &Scenario, judged: &Judged) -> String {
    let all = judged.figures.all();
    let mut doses = vec![format!("{} dosed", all.dosed)];
    for (count, word) in
        [(all.part, "part"), (all.skipped, "skipped"), (all.open, "open at the end")]
    {
        if count > 0 {
            doses.push(format!("{count} {word}"));
        }
    }
    let asked = asked_for(all.asked, all.asked_open);
    let ran = format!("{}: {}{asked}", plural(all.dues(), "scheduled dose"), doses.join(", "));
    let failed = judged.failed;
    let broken = if judged.audit.held() {
        "every promise was kept".to_owned()
    } else {
        let times = plural(judged.audit.violations_in_all, "time");
        format!("promises were broken {times} ({})", broken(judged))
    };
    let meant = if scenario.meant_to_hold() { "" } else { " (a failure is what it expects)" };
    let expected = match (judged.judged as u64, failed) {
        (0, 0) => String::new(),
        (n, 0) => format!("{} held, ", plural(n, "expectation")),
        (n, failed) => format!("{failed} of {} did not hold, ", plural(n, "expectation")),
    };
    match judged.verdict {
        Verdict::Held => format!("{name} held{meant}. {ran}; {expected}{broken}."),
        Verdict::Failed => format!("{name} FAILED. {ran}; {expected}{broken}."),
        Verdict::Invalid => format!(
            "{name} is INVALID: {} never took effect. {ran}; {expected}{broken}.",
            faults_or_acts(judged.invalid.len() as u64)
        ),
        Verdict::Stopped => format!(
            "{name} stopped after {}, before its end; expectations were not judged. {ran}; {broken}.",
            about(judged.end.end_ms)
        ),
    }
}

/// What failed, as lines under the verdict: expectations, faults without effect,
/// promises, acts that the device refused.
pub fn findings(scenario: &Scenario, source: &Source, judged: &Judged, paint: Paint) -> String {
    let mut out = String::new();
    let shown =
        |found: &Diagnostic| render(&found.clone().in_file(source.name()), Some(source), paint);
    for found in judged.failures.iter().chain(&judged.invalid) {
        out.push('\n');
        out.push_str(&shown(found));
    }
    // what made it fail: it may be something else than was meant
    for found in &judged.meant {
        let line = source.position(found.span.start).line;
        out.push('\n');
        put(&mut out, "failed as meant: ", &format!("line {line}: {}", found.label));
    }
    let name = |id: EntryId| name_of(&judged.end.names, None, id);
    if !judged.audit.violations.is_empty() {
        out.push('\n');
        for violation in judged.audit.violations.iter().take(MOST_BROKEN) {
            let at = Stamped::of(&judged.frame, violation.at_ms);
            let due = violation.due.as_ref().map(|due| format!("{due}: ")).unwrap_or_default();
            let text = format!("{}: {due}{}", day_and_time(&judged.frame, at), violation.what);
            put(&mut out, &format!("broken[{}]: ", violation.promise), &text);
        }
        let more = judged.audit.violations_in_all.saturating_sub(MOST_BROKEN as u64);
        if more > 0 {
            _ = writeln!(out, "and {more} more");
        }
    }
    let mut refused = Vec::new();
    for (act, end) in scenario.operator.iter().zip(&judged.end.acts) {
        let word = act.act.word();
        let line = source.position(act.spans.at(word).start).line;
        match end {
            ActEnd::Refused(refusal) => {
                let why = check::refusal_of(&act.act, refusal, |id| {
                    name_of(&judged.end.names, Some(&act.act), id)
                });
                refused.push(format!("`{word}` (line {line}): {why}"));
            }
            ActEnd::DeviceOff => {
                refused.push(format!("`{word}` (line {line}): the device was off"));
            }
            ActEnd::Overflowed { came, holds } => {
                refused.push(format!("`{word}` (line {line}): {}", overflowed(*came, *holds)));
            }
            ActEnd::Taken | ActEnd::NotReached | ActEnd::NoSuchPart(_) => {}
        }
    }
    if let Some(refusal) = &judged.end.install_refused {
        refused.push(format!("what is set up at the start: {}", check::refusal(refusal, name)));
    }
    if !refused.is_empty() {
        out.push('\n');
        for text in refused {
            put(&mut out, "refused: ", &text);
        }
    }
    if let Some(at_ms) = judged.end.memory_fault {
        let at = day_and_time(&judged.frame, Stamped::of(&judged.frame, at_ms));
        let text =
            format!("from {at} on it took nothing: no dose runs, and no record tells of one");
        out.push('\n');
        put(&mut out, "memory: ", &text);
    }
    if let Some((at_ms, why)) = &judged.end.refused_memory {
        let at = Stamped::of(&judged.frame, *at_ms);
        let text =
            format!("the device does not start on {}: {why}", day_and_time(&judged.frame, at));
        out.push('\n');
        put(&mut out, "memory: ", &text);
    }
    out
}

/// Why nothing was read off a vessel.
pub(super) fn overflowed(came: Volume, holds: Volume) -> String {
    format!(
        "the vessel overflowed, nothing is read: {} came out, it holds {}",
        volume(came),
        volume(holds)
    )
}

/// `sun 25 oct 2026 02:30 (+02:00)`.
fn day_and_time(frame: &Frame, at: Stamped) -> String {
    format!("{} {}{}", day(at.local.date()), clock_time(at.local), which(&frame.zone, at))
}

fn put(out: &mut String, tag: &str, text: &str) {
    let indent = tag.len();
    for (i, line) in lines(text, CELLS - indent).iter().enumerate() {
        if i == 0 {
            _ = writeln!(out, "{tag}{line}");
        } else {
            _ = writeln!(out, "{:indent$}{line}", "");
        }
    }
}

fn nl(volume_nl: u128) -> String {
    volume(Volume::from_nl(u64::try_from(volume_nl).unwrap_or(u64::MAX)))
}

/// The table at the end: a row an entry.
pub fn totals(judged: &Judged) -> String {
    let entries = judged.figures.entries();
    let cells = entries.iter().map(|entry| display(&entry.name).1).max().unwrap_or(0).clamp(5, 18);
    let names: Vec<String> = entries.iter().map(|entry| entry.name.clone()).collect();
    let wide = volume_cells();
    let mut out = format!(
        "\n{:cells$}  {:>6} {:>6} {:>8} {:>6} {:>6}  {:>wide$}  {:>9}\n",
        "entry", "dosed", "part", "skipped", "open", "asked", "pumped", "pump on"
    );
    let mut row = |entry: &EntryFigures, name: &str| {
        _ = writeln!(
            out,
            "{}  {:>6} {:>6} {:>8} {:>6} {:>6}  {:>wide$}  {:>9}",
            padded(name, cells, &names),
            entry.dosed,
            entry.part,
            entry.skipped,
            entry.open,
            entry.asked,
            nl(entry.pumped_nl + entry.open_nl),
            about(entry.on_ms)
        );
    };
    for entry in entries {
        row(entry, &entry.name);
    }
    if entries.len() > 1 {
        row(&judged.figures.all(), "all");
    }
    let service = Volume::from_nl(judged.audit.service_nl);
    if service > Volume::ZERO {
        _ = writeln!(out, "prime and calibrate: {}", volume(service));
    }
    outflow(&mut out, &judged.end);
    let raised = judged.end.alarms.iter().filter(|(_, _, on)| *on).count() as u64;
    if raised > 0 {
        let mut words: Vec<&str> = judged
            .end
            .alarms
            .iter()
            .filter(|(_, _, on)| *on)
            .map(|(_, alarm, _)| alarm.words())
            .collect();
        words.sort_unstable();
        words.dedup();
        put(&mut out, "alarms: ", &format!("{raised} ({})", words.join(", ")));
    }
    out
}

/// What really came out, where that is not what the pump was on for; what ran out
/// by itself; and the container against its account. The device knows none of it.
fn outflow(out: &mut String, end: &RunEnd) {
    let ml = |nl: u64| volume(Volume::from_nl(nl));
    let (commanded, came) = (end.commanded_nl, end.delivered_nl);
    // a hundredth: what the tolerance of a calibration would hide
    if commanded.abs_diff(came) > commanded / 100 {
        let text =
            format!("{} came out at the outlet, {} were pumped for", ml(came), ml(commanded));
        put(out, "outflow: ", &text);
    }
    if end.spilled_nl > 0 {
        put(out, "siphon: ", &format!("{} ran out by itself", ml(end.spilled_nl)));
    }
    if let (Some(level), Some(account)) = (end.level_nl, end.account_nl)
        && level.abs_diff(account) > level.max(account) / 20
    {
        let text = format!("{} in it, {} by account", ml(level), ml(account));
        put(out, "container: ", &text);
    }
}

/// The line under the title, with what `dosed` says and what it does not.
pub fn heading(scenario: &Scenario) -> String {
    let mut out = String::from("\n");
    if let Some(title) = &scenario.title {
        put(&mut out, "", title);
    }
    put(
        &mut out,
        "",
        &format!(
            "from {} {}, for {}; true local time, dues by the device's clock; dosed: pump ran, flow not sensed",
            day(scenario.clock.start.date()),
            clock_time(scenario.clock.start),
            show::length(scenario.clock.run_for.as_ms())
        ),
    );
    if scenario.supply.is_pack_somewhere() {
        let text = format!("the pack is kept at {ROOM_C} C, for want of its temperature");
        put(&mut out, "", &text);
    }
    out
}

/// A sentence on lines of the page's width, without a newline at the end.
pub fn wrapped(sentence: &str) -> String {
    lines(sentence, CELLS).join("\n")
}
