//! The plan as a scenario file, with its reasons in words.

use std::fmt::Write as _;

use dosewright_core::civil::Date;

use super::placed::{self, Placed};
use super::spring::Asked;
use super::{Dry, FlowLog, Phase};
use crate::scenario::{Brief, show, write};
use crate::units::Units;
use crate::words::{lines, plural};

/// Cells of a comment's text.
const CELLS: usize = 78;

/// The time of day of minutes from noon.
pub(super) fn clock(after_noon: i32) -> String {
    let min = (after_noon + 720).rem_euclid(1440);
    format!("{:02}:{:02}", min / 60, min % 60)
}

fn comment(out: &mut String, text: &str) {
    for line in lines(text, CELLS) {
        _ = writeln!(out, "# {line}");
    }
}

/// The nights of a week as files name them.
pub(super) const NIGHTS: [&str; 7] = ["mon", "tue", "wed", "thu", "fri", "sat", "sun"];

fn list(nights: &[usize]) -> String {
    let words: Vec<String> = nights.iter().map(|night| format!("\"{}\"", NIGHTS[*night])).collect();
    words.join(", ")
}

/// That all fits, and where the window is not what was wanted.
fn fits(brief: &Brief, phases: &[Phase], dry: &[Vec<Dry>; 7]) -> String {
    let wanted = super::minutes(brief.site.window);
    let windows = phases.iter().flat_map(|phase| phase.nights.iter().flatten());
    let fits = match windows.map(|place| place.window).min().filter(|least| *least < wanted) {
        Some(least) => format!(
            "all fits but the window: {} is the longest there is room for, {} were wanted",
            super::shown(least),
            super::shown(wanted)
        ),
        None => "everything asked for fits".to_owned(),
    };
    let placed = phases.iter().flat_map(|phase| placed::of_phase(brief, dry, phase));
    let short: Vec<Asked> = placed.flat_map(|placed| placed.shortened).collect();
    let words: Vec<&str> = [Asked::Settling, Asked::Contact, Asked::Clear]
        .into_iter()
        .filter(|of| short.contains(of))
        .map(Asked::word)
        .collect();
    if words.is_empty() {
        fits
    } else {
        format!("{fits}, but for {} when the clocks go forward", words.join(" and "))
    }
}

pub(super) fn verdict(
    brief: &Brief,
    phases: &[Phase],
    dry: &[Vec<Dry>; 7],
    misfits: &[String],
) -> String {
    let title = brief.title.as_deref().unwrap_or("this site");
    let of = |phase: &Phase| {
        let count = phase.nights.iter().flatten().count();
        let until = phase.last.map_or(String::new(), |last| format!(" until {}", show::date(last)));
        format!("{} {} a week{until}", show::dose(phase.dose), plural(count as u64, "night"))
    };
    let doses: Vec<String> = phases.iter().map(of).collect();
    let rest = match misfits.len() {
        0 => fits(brief, phases, dry),
        1 => "one thing does NOT fit".to_owned(),
        n => format!("{n} things do NOT fit"),
    };
    format!("Plan for {title}: {}; {rest}.", doses.join(", then "))
}

/// The whole file.
pub(super) fn file(
    brief: &Brief,
    log: Option<&FlowLog>,
    phases: &[Phase],
    dry: &[Vec<Dry>; 7],
    (misfits, notes): (&[String], &[String]),
    lasts: Option<Date>,
) -> String {
    let mut out = String::new();
    comment(&mut out, &verdict(brief, phases, dry, misfits));
    out.push_str("#\n");
    for misfit in misfits {
        comment(&mut out, &format!("Does not fit: {misfit}."));
    }
    for note in notes {
        comment(&mut out, &format!("Note: {note}."));
    }
    if let Some(log) = log {
        comment(
            &mut out,
            &format!(
                "The flow log has {} readings in {}. A dose lies in quiet hours only: never in one whose mean flow is above its day's median.",
                log.readings, log.unit
            ),
        );
    }
    if !brief.cleaning.is_empty() {
        let what: Vec<String> = brief
            .cleaning
            .iter()
            .map(|c| {
                let what = c.what.as_deref().unwrap_or("cleaning");
                match c.clear.as_ms() {
                    0 => what.to_owned(),
                    ms => format!("{what} ({} before and after)", show::length(ms)),
                }
            })
            .collect();
        comment(&mut out, &format!("Kept clear of: {}.", what.join(", ")));
    }
    comment(
        &mut out,
        "A proposal. The product's label and local rules govern, and come before it: many authorities forbid dosing upstream of a separator, surfactants above all. Read the safety data sheet; prevent back-siphoning. The owner of the installation decides.",
    );
    out.push('\n');
    let title = brief.title.as_deref().unwrap_or("A planned timetable");
    let run_days = phases
        .first()
        .and_then(|phase| phase.last)
        .map_or(28, |last| (last.days() - brief.site.first.days()).max(0) + 15);
    _ = writeln!(out, "schema = 1\ntitle = {}", write::text(title));
    if brief.units != Units::Metric {
        _ = writeln!(out, "units = \"{}\"", brief.units.word());
    }
    out.push('\n');
    _ = writeln!(
        out,
        "[clock]\nstart = {}T12:00:00             # the first night's noon\nzone = {}\nrun_for = \"{run_days} days\"\n",
        show::date(brief.site.first),
        write::text(&brief.site.zone.written)
    );
    out.push_str(&write::head(&brief.head));
    for part in [
        brief.motor.as_ref().map(write::motor),
        Some(write::supply(&brief.supply)),
        brief.container.as_ref().map(write::container),
        brief.tube.as_ref().map(write::tube),
        brief.product.as_ref().map(write::product),
        Some(write::limits(&brief.limits)),
    ] {
        let part = part.unwrap_or_default();
        if let Some(date) = lasts.filter(|_| part.starts_with("[container]")) {
            comment(
                &mut out,
                &format!(
                    "By this plan it may be down to its heel on {}; `dosewright forecast` says until when all lasts.",
                    show::date(date)
                ),
            );
        }
        out.push_str(&part);
    }
    for closed in &brief.closed {
        _ = writeln!(
            out,
            "[[closed]]\nfirst = {}\nlast = {}\n",
            show::date(closed.first),
            show::date(closed.last)
        );
    }
    for phase in phases {
        for placed in placed::of_phase(brief, dry, phase) {
            entry(&mut out, &placed, phase);
        }
    }
    out
}

fn entry(out: &mut String, placed: &Placed, phase: &Phase) {
    let Placed { name: label, nights, place, pulses, reasons, .. } = placed;
    for text in reasons {
        comment(out, text);
    }
    _ = writeln!(out, "[[entry]]\nname = {}", write::text(label));
    _ = writeln!(
        out,
        "weekly = {{ nights = [{}], at = \"{}\" }}",
        list(nights),
        clock(place.start as i32)
    );
    _ = writeln!(out, "volume = \"{}\"", show::written(phase.dose));
    _ = writeln!(out, "window = \"{} min\"", place.window);
    _ = writeln!(out, "pulses = {}", pulses.pulses);
    _ = writeln!(out, "first = {}", show::date(phase.first));
    if let Some(last) = phase.last {
        _ = writeln!(out, "last = {}", show::date(last));
    }
    out.push('\n');
}
