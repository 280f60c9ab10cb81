//! The entries of a plan, each with its reasons in words.

use std::cmp::Ordering;

use dosewright_core::civil::{DAY_MS, Date, Local};
use dosewright_core::entry::GapRule;
use dosewright_core::time::Duration;

use super::passes::{self, Pulses};
use super::write::clock;
use super::{Dry, Phase, Place, minutes, name, up};
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
    /// In a night in which the clocks go forward it is less than what is asked for.
    pub is_shortened: bool,
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

/// When the water rests about all of these nights: the last before, the first after, and
/// what says so.
fn rests<'d>(dry: &'d [Option<Dry>; 7], nights: &[usize]) -> (i32, i32, &'d str) {
    let of: Vec<&Dry> = nights.iter().filter_map(|night| dry[*night].as_ref()).collect();
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
    let window = match place.window.cmp(&wanted) {
        Ordering::Equal => "the window wanted".to_owned(),
        Ordering::Greater => {
            format!("the least that the head can deliver the dose in; {wanted} min were wanted")
        }
        Ordering::Less => format!("the longest there is room for; {wanted} min were wanted"),
    };
    format!("{} min: {window}; the least is {} min.", place.window, phase.least_window)
}

/// A night whose contact time is less than what is asked for.
#[derive(Clone, Copy)]
struct Short {
    night: Date,
    left_min: u32,
}

/// The first night of a year in which the clocks go forward between a dose and the first
/// water, so that too little of its contact time is left.
fn shortened(
    brief: &Brief,
    phase: &Phase,
    nights: &[usize],
    place: Place,
    dry: &[Option<Dry>; 7],
) -> Option<Short> {
    let zone = &brief.site.zone.zone;
    let noon = |date: Date| Local::new(date, Duration::from_h(12));
    let year = phase.first.plus_days(366);
    let last = phase.last.map_or(year, |last| last.min(year));
    let mut from = zone.to_utc(noon(phase.first), GapRule::Shift);
    while let Some(change) = zone.next_change_after(from) {
        from = change.at;
        let local_ms = change.at.as_ms() + i64::from(change.offset_before_s) * 1000;
        let night = Local::from_ms(local_ms - DAY_MS / 2).date();
        if night > last {
            break;
        }
        let gap_min = i64::from(change.offset_after_s - change.offset_before_s) / 60;
        let at_min = (local_ms - noon(night).as_ms()) / 60_000;
        let end_min = i64::from(place.start + place.window);
        // of that night: the others of the entry can have less
        let of_week = night.weekday().index() as usize;
        let first = dry.get(of_week).and_then(|dry| dry.as_ref()).map(|dry| dry.first);
        let water_min = first.map_or(end_min, i64::from);
        // a dose in the hour that is skipped is moved by as much
        let is_between = at_min + gap_min > i64::from(place.start) && at_min < water_min;
        let left_min = u32::try_from(water_min - end_min - gap_min).unwrap_or(0);
        let has_dose = nights.contains(&of_week)
            && !brief.closed.iter().any(|c| c.first <= night && night <= c.last);
        if gap_min > 0 && is_between && has_dose && left_min < minutes(brief.site.contact) {
            return Some(Short { night, left_min });
        }
    }
    None
}

/// The entries of a phase.
pub fn of_phase(brief: &Brief, dry: &[Option<Dry>; 7], phase: &Phase) -> Vec<Placed> {
    let head = &brief.head.head;
    let of_label = match (&brief.label.start_up, phase.name) {
        (Some((dose, _)), "start-up") => *dose,
        _ => brief.label.maintenance,
    };
    let groups = groups(phase);
    let many = groups.len() > 1;
    let entry = |(number, (place, nights)): (usize, (Place, Vec<usize>))| {
        let (last, first, from) = rests(dry, &nights);
        let (start, window) = (place.start as i32, place.window as i32);
        let settle_min = u32::try_from(start - last).unwrap_or(0);
        let contact_min = u32::try_from(first - start - window).unwrap_or(0);
        // a window that was found for the dose takes it in one pulse at least
        let pulses = passes::choose(phase.dose, u64::from(place.window) * 60_000, head)
            .unwrap_or(Pulses::ONE);
        let first_name = nights.first().map_or("", |night| name(*night));
        let mut reasons = vec![
            format!("{}: {}, {}.", phase.name, show::dose(phase.dose), rate(brief, of_label)),
            why_here(brief, (last, first, from), place, (settle_min, contact_min)),
            format!("{} {}", why_window(brief, phase, place), pulses.why(phase.dose)),
            format!(
                "Nights run from noon to noon: {} of the night of {first_name} is {}.",
                clock(start),
                if place.start >= 720 { "on the day after it" } else { "on that day" }
            ),
        ];
        let short = shortened(brief, phase, &nights, place, dry);
        reasons.extend(short.map(|short| {
            format!(
                "In the night of {} the clocks go forward before the first water: {} h {:02} min of contact are left.",
                show::date(short.night),
                short.left_min / 60,
                short.left_min % 60
            )
        }));
        Placed {
            name: if many {
                format!("{} {}", phase.name, number + 1)
            } else {
                phase.name.to_owned()
            },
            settle_min,
            contact_min,
            is_shortened: short.is_some(),
            nights,
            place,
            pulses,
            reasons,
        }
    };
    groups.into_iter().enumerate().map(entry).collect()
}
