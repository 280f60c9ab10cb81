//! The entries of a plan, each with its reasons in words.

use std::cmp::Ordering;
use std::fmt::Write as _;

use super::passes::{self, Pulses};
use super::spring::{self, Asked};
use super::write::clock;
use super::{Dry, Phase, Place, minutes, name, shown, up, water};
use crate::scenario::{Brief, LabelDose, show};

/// Nights of a phase that share one place, as one entry.
#[derive(Clone, Debug, PartialEq)]
pub struct Placed {
    /// Its name in the timetable.
    pub name: String,
    /// Its nights, from Monday's, 0.
    pub nights: Vec<usize>,
    /// Where its dose lies.
    pub place: Place,
    /// Its pulses.
    pub pulses: Pulses,
    /// From the last water to the dose, in minutes.
    pub settle_min: u32,
    /// From the end of its window to the first water, in minutes.
    pub contact_min: u32,
    /// The times of which less is left than what is asked for, in a night in which the
    /// clocks go forward.
    pub shortened: Vec<Asked>,
    /// Why all this, a paragraph each.
    pub reasons: Vec<String>,
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

fn rate(brief: &Brief, dose: LabelDose) -> String {
    match dose {
        LabelDose::Dose(_) => "as the label gives it".to_owned(),
        LabelDose::Rate(nl_l) => {
            format!("{} ml/m3 of {}", f64::from(nl_l) / 1000.0, show::volume(brief.label.of))
        }
    }
}

/// When the water rests about a place in all of these nights: the last before, the first
/// after, and what says so.
fn rests<'d>(dry: &'d [Vec<Dry>; 7], nights: &[usize], place: Place) -> (i32, i32, &'d str) {
    let of: Vec<&Dry> =
        nights.iter().filter_map(|night| water::about(&dry[*night], place)).collect();
    let last = of.iter().map(|dry| dry.last).max().unwrap_or(0);
    let first = of.iter().map(|dry| dry.first).min().unwrap_or(0);
    (last, first, of.first().map_or("", |dry| dry.from.as_str()))
}

fn why_here(
    brief: &Brief,
    (last, first, from): (i32, i32, &str),
    place: Place,
    (settle, contact): (u32, u32),
) -> String {
    let end = (place.start + place.window) as i32;
    let settled = if settle < 180 {
        format!("{settle} min")
    } else {
        format!("{} h {:02} min", settle / 60, settle % 60)
    };
    let mut text = format!(
        "{}: {settled} after the last water ({}); over by {}, {} h {:02} min before the first ({}); {} h {:02} min of contact is asked for. By {from}.",
        clock(place.start as i32),
        clock(last),
        clock(end),
        contact / 60,
        contact % 60,
        clock(first),
        minutes(brief.site.contact) / 60,
        minutes(brief.site.contact) % 60,
    );
    let settles = i64::from(last) + i64::from(minutes(brief.site.settle));
    if place.start > up(u32::try_from(settles).unwrap_or(0)) {
        text.push_str(
            " Not earlier: cleaning, busy hours or the other nights' start keep it from that.",
        );
    }
    text
}

fn why_window(brief: &Brief, phase: &Phase, place: Place) -> String {
    let wanted = minutes(brief.site.window);
    let told = shown(wanted);
    let window = match place.window.cmp(&wanted) {
        Ordering::Equal => "the window wanted".to_owned(),
        Ordering::Greater => {
            format!("the least that the head can deliver the dose in; {told} were wanted")
        }
        Ordering::Less => format!("the longest there is room for; {told} were wanted"),
    };
    format!("{}: {window}; the least is {}.", shown(place.window), shown(phase.least_window))
}

/// The rest of the water with more room that a place is not in, in one of these nights.
fn passed<'d>(dry: &'d [Vec<Dry>; 7], nights: &[usize], place: Place) -> Option<&'d Dry> {
    nights.iter().find_map(|night| {
        let first = dry[*night].first()?;
        (water::about(&dry[*night], place)? != first).then_some(first)
    })
}

/// The entries of a phase.
pub fn of_phase(brief: &Brief, dry: &[Vec<Dry>; 7], phase: &Phase) -> Vec<Placed> {
    let head = &brief.head.head;
    let of_label = match (&brief.label.start_up, phase.name) {
        (Some((dose, _)), "start-up") => *dose,
        _ => brief.label.maintenance,
    };
    let groups = groups(phase);
    let many = groups.len() > 1;
    let entry = |(number, (place, nights)): (usize, (Place, Vec<usize>))| {
        let (last, first, from) = rests(dry, &nights, place);
        let (start, window) = (place.start as i32, place.window as i32);
        let settle_min = u32::try_from(start - last).unwrap_or(0);
        let contact_min = u32::try_from(first - start - window).unwrap_or(0);
        // a window that was found for the dose takes it in one pulse at least
        let pulses = passes::choose(phase.dose, u64::from(place.window) * 60_000, head)
            .unwrap_or(Pulses::ONE);
        let first_name = nights.first().map_or("", |night| name(*night));
        let mut here = why_here(brief, (last, first, from), place, (settle_min, contact_min));
        if let Some(passed) = passed(dry, &nights, place) {
            _ = write!(
                here,
                " Not between {} and {}: cleaning or busy hours leave no {window} min there.",
                clock(passed.last),
                clock(passed.first)
            );
        }
        let mut reasons = vec![
            format!("{}: {}, {}.", phase.name, show::dose(phase.dose), rate(brief, of_label)),
            here,
            format!("{} {}", why_window(brief, phase, place), pulses.why(phase.dose)),
            format!(
                "Nights run from noon to noon: {} of the night of {first_name} is {}.",
                clock(start),
                if place.start >= 720 { "on the day after it" } else { "on that day" }
            ),
        ];
        let short = spring::shortened(brief, phase, &nights, place, dry);
        reasons.extend(short.iter().map(|short| short.told()));
        Placed {
            name: if many {
                format!("{} {}", phase.name, number + 1)
            } else {
                phase.name.to_owned()
            },
            settle_min,
            contact_min,
            shortened: short.iter().map(|short| short.of).collect(),
            nights,
            place,
            pulses,
            reasons,
        }
    };
    groups.into_iter().enumerate().map(entry).collect()
}
