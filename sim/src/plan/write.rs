//! The plan as a scenario file, with its reasons in words.

use std::cmp::Ordering;
use std::fmt::Write as _;

use dosewright_core::spread;
use dosewright_core::units::Carry;

use super::{Dry, FlowLog, Phase, Place, name};
use crate::scenario::{Brief, LabelDose, show, write};
use crate::words::lines;

/// Cells of a comment's text.
const CELLS: usize = 78;

/// The time of day of minutes from noon.
pub(super) fn clock(after_noon: u32) -> String {
    let min = (after_noon + 720) % 1440;
    format!("{:02}:{:02}", min / 60, min % 60)
}

fn comment(out: &mut String, text: &str) {
    for line in lines(text, CELLS) {
        _ = writeln!(out, "# {line}");
    }
}

/// Nights that share a place.
fn groups(phase: &Phase) -> Vec<(Place, Vec<usize>)> {
    let mut found: Vec<(Place, Vec<usize>)> = Vec::new();
    for (night, place) in phase.nights.iter().enumerate() {
        let Some(place) = place else { continue };
        match found.iter_mut().find(|(known, _)| known == place) {
            Some((_, nights)) => nights.push(night),
            None => found.push((*place, vec![night])),
        }
    }
    found
}

fn list(nights: &[usize]) -> String {
    const WORDS: [&str; 7] = ["mon", "tue", "wed", "thu", "fri", "sat", "sun"];
    let words: Vec<String> = nights.iter().map(|night| format!("\"{}\"", WORDS[*night])).collect();
    words.join(", ")
}

fn verdict(brief: &Brief, phases: &[Phase], misfits: &[String]) -> String {
    let title = brief.title.as_deref().unwrap_or("this site");
    let of = |phase: &Phase| {
        let count = phase.nights.iter().flatten().count();
        let until = phase.last.map_or(String::new(), |last| format!(" until {}", show::date(last)));
        format!("{} {count} nights a week{until}", show::volume(phase.dose))
    };
    let doses: Vec<String> = phases.iter().map(of).collect();
    let rest = match misfits.len() {
        0 => "everything asked for fits".to_owned(),
        1 => "one thing does NOT fit".to_owned(),
        n => format!("{n} things do NOT fit"),
    };
    format!("Plan for {title}: {}; {rest}.", doses.join(", then "))
}

fn rate(brief: &Brief, dose: LabelDose) -> String {
    match dose {
        LabelDose::Dose(_) => "as the label gives it".to_owned(),
        LabelDose::Rate(nl_l) => {
            format!("{} ml/m3 of {}", f64::from(nl_l) / 1000.0, show::volume(brief.label.of))
        }
    }
}

fn why_here(brief: &Brief, dry: &[Option<Dry>; 7], place: Place, nights: &[usize]) -> String {
    let of: Vec<&Dry> = nights.iter().filter_map(|night| dry[*night].as_ref()).collect();
    let last = of.iter().map(|dry| dry.last).max().unwrap_or(0);
    let first = of.iter().map(|dry| dry.first).min().unwrap_or(0);
    let settle = place.start - last.min(place.start);
    let end = place.start + place.window;
    let contact = first.saturating_sub(end);
    let from = of.first().map_or("", |dry| dry.from.as_str());
    let mut text = format!(
        "{}: {settle} min after the last water ({}); over by {}, {} h {:02} min before the first ({}); {} h {:02} min of contact is asked for. By {from}.",
        clock(place.start),
        clock(last),
        clock(end),
        contact / 60,
        contact % 60,
        clock(first),
        super::minutes(brief.site.contact) / 60,
        super::minutes(brief.site.contact) % 60,
    );
    if place.start > super::up(last + super::minutes(brief.site.settle)) {
        text.push_str(
            " Not earlier: cleaning, busy hours or the other nights' start keep it from that.",
        );
    }
    text
}

/// The whole file.
pub(super) fn file(
    brief: &Brief,
    log: Option<&FlowLog>,
    phases: &[Phase],
    dry: &[Option<Dry>; 7],
    misfits: &[String],
) -> String {
    let mut out = String::new();
    comment(&mut out, &verdict(brief, phases, misfits));
    out.push_str("#\n");
    for misfit in misfits {
        comment(&mut out, &format!("Does not fit: {misfit}."));
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
                format!(
                    "{} ({} before and after)",
                    c.what.as_deref().unwrap_or("cleaning"),
                    show::length(c.clear.as_ms())
                )
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
    _ = writeln!(out, "schema = 1\ntitle = {}\n", write::text(title));
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
        out.push_str(&part.unwrap_or_default());
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
        entries(&mut out, brief, dry, phase);
    }
    out
}

fn entries(out: &mut String, brief: &Brief, dry: &[Option<Dry>; 7], phase: &Phase) {
    let head = &brief.head.head;
    let of_label = match (&brief.label.start_up, phase.name) {
        (Some((dose, _)), "start-up") => *dose,
        _ => brief.label.maintenance,
    };
    let groups = groups(phase);
    let many = groups.len() > 1;
    for (number, (place, nights)) in groups.iter().enumerate() {
        let window_ms = u64::from(place.window) * 60_000;
        let dose_ms = head.flow.on_time(phase.dose, Carry(0)).0.as_ms();
        let pulses = spread::pulses_for(dose_ms, window_ms, head, None).unwrap_or(1);
        comment(
            out,
            &format!("{}: {}, {}.", phase.name, show::volume(phase.dose), rate(brief, of_label)),
        );
        comment(out, &why_here(brief, dry, *place, nights));
        let each = phase.dose.as_nl() as f64 / 1e6 / f64::from(pulses);
        let wanted = super::minutes(brief.site.window);
        let window = match place.window.cmp(&wanted) {
            Ordering::Equal => "the window wanted".to_owned(),
            Ordering::Greater => {
                format!("the least that the head can deliver the dose in; {wanted} min were wanted")
            }
            Ordering::Less => format!("the longest there is room for; {wanted} min were wanted"),
        };
        comment(
            out,
            &format!(
                "{} min: {window}; the least is {} min. {pulses} pulses of {each:.2} ml: as even as the head's limits and its least pulse allow.",
                place.window, phase.least_window
            ),
        );
        let label =
            if many { format!("{} {}", phase.name, number + 1) } else { phase.name.to_owned() };
        let first_name = nights.first().map_or("", |night| name(*night));
        comment(
            out,
            &format!(
                "Nights run from noon to noon: {} of the night of {first_name} is {}.",
                clock(place.start),
                if place.start >= 720 { "on the day after it" } else { "on that day" }
            ),
        );
        _ = writeln!(out, "[[entry]]\nname = {}", write::text(&label));
        _ = writeln!(
            out,
            "weekly = {{ nights = [{}], at = \"{}\" }}",
            list(nights),
            clock(place.start)
        );
        _ = writeln!(out, "volume = \"{}\"", show::volume(phase.dose));
        _ = writeln!(out, "window = \"{} min\"", place.window);
        _ = writeln!(out, "pulses = {pulses}");
        _ = writeln!(out, "first = {}", show::date(phase.first));
        if let Some(last) = phase.last {
            _ = writeln!(out, "last = {}", show::date(last));
        }
        out.push('\n');
    }
}
