//! A path to a violation, as a scenario file where it can be one, and as text.

use std::fmt::Write as _;

use dosewright_core::civil::Local;

use super::action::{Action, MISSED_MS, What, When};
use super::node::TEAR_OFF_MS;
use super::setup::Setup;
use crate::scenario::show;

/// One action of a path with its true time.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) struct Step {
    pub(super) at_ms: u64,
    /// When the step before it was.
    pub(super) from_ms: u64,
    pub(super) action: Action,
}

/// A path in words: the calls that came on time are told as a number.
pub(super) fn words(setup: &Setup, steps: &[Step]) -> Vec<String> {
    let mut out = Vec::new();
    let mut calls = 0;
    let flush = |calls: &mut u32, out: &mut Vec<String>| match std::mem::take(calls) {
        0 => {}
        1 => out.push("1 call on time".to_owned()),
        n => out.push(format!("{n} calls on time")),
    };
    for step in steps {
        if step.action.what == What::Wake {
            calls += 1;
            continue;
        }
        flush(&mut calls, &mut out);
        let missed = if step.action.when == When::Missed {
            format!("; it is called {} late by it", show::length(MISSED_MS))
        } else {
            String::new()
        };
        let at = show::local(Local::from_ms(setup.start_ms + step.at_ms as i64));
        out.push(format!("{at}  {}{missed}", step.action.what));
    }
    flush(&mut calls, &mut out);
    out
}

/// The scenario file of a path; an error says what a file cannot say.
pub(super) fn scenario(setup: &Setup, promise: &str, steps: &[Step]) -> Result<String, String> {
    let mut text = setup.text.trim_end().to_owned();
    _ = writeln!(text, "\n\n# The shortest path to a violation of {promise}, found by");
    _ = writeln!(text, "# `dosewright explore states`.");
    for (index, step) in steps.iter().enumerate() {
        let when = format!("\"+{}\"", show::length(step.at_ms));
        // what is armed comes 1 ms after the step before it
        let armed = format!("\"+{}\"", show::length(step.from_ms + 1));
        if step.action.when == When::Missed {
            let by = show::length(2 * MISSED_MS);
            table(
                &mut text,
                "fault",
                &armed,
                &format!("late_wake = {{ by = \"{by}\", times = 1 }}"),
            );
        }
        let lasts = |off: What| {
            let end = steps[index..].iter().find(|later| later.action.what == off);
            end.map_or_else(String::new, |end| {
                format!(" lasts = \"{}\" ", show::length(end.at_ms - step.at_ms))
            })
        };
        let name = |entry: u8| &setup.names[usize::from(entry)];
        let (kind, at, line) = match step.action.what {
            What::Wake | What::RemoteStop(false) | What::Leak(false) => continue,
            What::Late(by) => {
                let by = show::length(u64::from(by));
                ("fault", armed, format!("late_wake = {{ by = \"{by}\", times = 1 }}"))
            }
            What::Spurious => {
                ("fault", when, "spurious_wake = { times = 1, over = \"1 ms\" }".to_owned())
            }
            What::SetClock(by) => {
                let sign = if by < 0 { "-" } else { "" };
                let by = show::length(by.unsigned_abs());
                ("operator", when, format!("set_clock = {{ by = \"{sign}{by}\" }}"))
            }
            What::RestoreClock => {
                let to = show::local(Local::from_ms(setup.start_ms + step.at_ms as i64));
                ("operator", when, format!("set_clock = {{ to = \"{to}\" }}"))
            }
            What::RemoteStop(true) => {
                let lasts = lasts(What::RemoteStop(false));
                ("fault", when, format!("remote_stop = {{{lasts}}}"))
            }
            What::Leak(true) => ("fault", when, format!("leak = {{{}}}", lasts(What::Leak(false)))),
            What::RunAgain(entry) => {
                ("operator", when, format!("run_again = {{ entry = \"{}\" }}", name(entry)))
            }
            What::StopDose(entry) => {
                ("operator", when, format!("stop_dose = {{ entry = \"{}\" }}", name(entry)))
            }
            What::Prime(ml) => ("operator", when, format!("prime = {{ volume = \"{ml} ml\" }}")),
            What::Edit(entry, variant) => {
                let change = setup.edit_words(usize::from(entry), variant);
                ("operator", when, format!("edit = {{ entry = \"{}\", {change} }}", name(entry)))
            }
            What::Enable(entry, on) => {
                let word = if on { "enable" } else { "disable" };
                ("operator", when, format!("{word} = {{ entry = \"{}\" }}", name(entry)))
            }
            What::Tear { whole } => {
                let (after, lasts) = (if whole { 64 } else { 0 }, show::length(TEAR_OFF_MS));
                let line = format!("memory_tear = {{ after = {after}, lasts = \"{lasts}\" }}");
                ("fault", armed, line)
            }
            What::Watchdog => ("fault", when, "watchdog_reset = {}".to_owned()),
            What::SupplyLoss(ms) => {
                let lasts = show::length(u64::from(ms));
                ("fault", when, format!("supply_loss = {{ lasts = \"{lasts}\" }}"))
            }
            What::ClockLost(ms) => {
                let lasts = show::length(u64::from(ms));
                ("fault", when, format!("clock_lost = {{ lasts = \"{lasts}\" }}"))
            }
            What::LedgerFails(_) => return Err("a ledger that takes nothing for a while".into()),
            What::MotorFault | What::Acknowledge => return Err("a motor that stalls".into()),
            What::Calibrate(_) => return Err("a calibration run without a result".into()),
            What::Release => return Err("an operator who lets go".into()),
        };
        table(&mut text, kind, &at, &line);
    }
    Ok(text)
}

fn table(text: &mut String, kind: &str, at: &str, line: &str) {
    _ = write!(text, "\n[[{kind}]]\nat = {at}\n{line}\n");
}
