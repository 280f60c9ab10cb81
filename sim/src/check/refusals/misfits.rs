//! Doses that do not fit: their window, the shortest pulse, or the pulses asked for.

use dosewright_core::config::Head;
use dosewright_core::entry::{Entry, EntryId};
use dosewright_core::spread::{Misfit, slot_ms, spacing_ms};
use dosewright_core::time::Duration;
use dosewright_core::timetable::{self, Timetable};
use dosewright_core::units::{Carry, Volume};

use super::{place, plan};
use crate::diagnose::{Diagnostic, codes};
use crate::observe::LINES;
use crate::scenario::{Scenario, show};
use crate::words::plural;

/// `120 ml at 26.5 ml/min is 4 min 32 s of pumping`, rounded up to the second
/// where it is longer than one.
fn pumping(scenario: &Scenario, id: EntryId, dose_ms: u64) -> String {
    let volume = plan(scenario, id).map_or(Volume::ZERO, |plan| plan.volume);
    let flow = scenario.head.head.flow;
    format!("{} at {} is {} of pumping", show::dose(volume), show::flow(flow), rounded_up(dose_ms))
}

/// A length that is at least the given one, to the second where it is long.
fn rounded_up(ms: u64) -> String {
    show::length(if ms < 10_000 { ms } else { ms.div_ceil(1000) * 1000 })
}

fn starts(head: &Head) -> String {
    format!("{} an hour", plural(head.starts_per_hour, "start"))
}

/// The refusal of a dose that does not fit its window or its pulses.
pub(super) fn misfits(
    scenario: &Scenario,
    timetable: &Timetable<LINES>,
    id: EntryId,
    misfit: Misfit,
) -> Diagnostic {
    let head = &scenario.head.head;
    match misfit {
        Misfit::Window { dose_ms, least_ms } => {
            // what binds: the pumping with its rests, or each pulse's share of an hour's starts
            let window_ms = plan(scenario, id).map_or(0, |plan| u64::from(plan.window_ms));
            let pulses = dose_ms.div_ceil(u64::from(head.longest_pulse_ms().max(1))).max(1);
            let slot_ms = slot_ms(dose_ms, pulses, head);
            let share_ms = spacing_ms(head);
            let span = place(scenario, id, "window");
            let (code, message) = if window_ms / pulses >= slot_ms {
                let message = "the head allows too few starts an hour for this window";
                (codes::STARTS_PER_HOUR, message)
            } else {
                (codes::DOSE_DOES_NOT_FIT, "the dose does not fit its window")
            };
            let of_starts = if share_ms > slot_ms {
                format!(
                    ", {} at least; with {} each pulse takes {} of its own window",
                    plural(pulses, "pulse"),
                    starts(head),
                    show::length(share_ms)
                )
            } else {
                String::new()
            };
            let label = format!("{}{of_starts}", pumping(scenario, id, dose_ms));
            let found = Diagnostic::new(code, span, message).label(label);
            if least_ms > u64::from(Entry::LONGEST_WINDOW_MS) {
                return found.help(format!(
                    "it would take {}, and no window is longer than 7 d: make the dose smaller, or the head faster",
                    rounded_up(least_ms)
                ));
            }
            found.help(least_window(timetable.get(id), head, least_ms))
        }
        Misfit::BelowShortestPulse { dose_ms } => {
            let least = head.flow.volume(Duration::from_ms(u64::from(head.shortest_on_ms)));
            let least = Volume::from_nl(least.as_nl().div_ceil(1000) * 1000);
            Diagnostic::new(
                codes::BELOW_SHORTEST_PULSE,
                place(scenario, id, "volume"),
                "the dose is below what the shortest pulse delivers",
            )
            .label(format!(
                "{}; the shortest pulse is {}",
                pumping(scenario, id, dose_ms),
                show::length(u64::from(head.shortest_on_ms))
            ))
            .help(format!("the least dose of this head is {}", show::volume(least)))
        }
        Misfit::Indivisible { dose_ms } => Diagnostic::new(
            codes::BELOW_SHORTEST_PULSE,
            place(scenario, id, "volume"),
            "the dose cannot be made of pulses this head can run",
        )
        .label(format!(
            "{}; a pulse is {} to {}",
            pumping(scenario, id, dose_ms),
            show::length(u64::from(head.shortest_on_ms)),
            show::length(u64::from(head.longest_run_ms))
        ))
        .help("a longer longest run, a shorter shortest pulse or another dose would do"),
        Misfit::Pulses { most } => pulses(scenario, timetable.get(id), id, most),
    }
}

/// The least window in words: with the entry's own number of pulses, where it takes more
/// than the dose by itself.
fn least_window(entry: Option<Entry>, head: &Head, least_ms: u64) -> String {
    let least = rounded_up(least_ms);
    let Some((entry, asked)) = entry.and_then(|entry| Some((entry, entry.pulses?))) else {
        return format!("the least window is {least}");
    };
    let goes = |window_ms: u32| timetable::fit(&Entry { window_ms, ..entry }, head).is_ok();
    let (mut short, mut long) = (0, Entry::LONGEST_WINDOW_MS);
    if !goes(long) {
        // told of beside it
        return format!("the least window is {least}, for a number of pulses that goes");
    }
    // a window that is longer than one that does does as well
    while short < long {
        let middle = short.midpoint(long);
        if goes(middle) { long = middle } else { short = middle + 1 }
    }
    match rounded_up(u64::from(long)) {
        with_them if with_them == least => format!("the least window is {least}"),
        with_them => {
            format!("the least window is {with_them} for {asked} pulses; without `pulses` {least}")
        }
    }
}

/// The refusal of pulses that go in no window, of a dose that its own window is too short
/// for: the device tells of the window alone.
pub(super) fn in_no_window(
    scenario: &Scenario,
    timetable: &Timetable<LINES>,
    id: EntryId,
    misfit: Misfit,
) -> Option<Diagnostic> {
    if !matches!(misfit, Misfit::Window { .. }) {
        return None;
    }
    let longest = Entry { window_ms: Entry::LONGEST_WINDOW_MS, ..timetable.get(id)? };
    match timetable::fit(&longest, &scenario.head.head) {
        Err(Misfit::Pulses { most }) => Some(pulses(scenario, Some(longest), id, most)),
        _ => None,
    }
}

fn pulses(scenario: &Scenario, entry: Option<Entry>, id: EntryId, most: u32) -> Diagnostic {
    let head = &scenario.head.head;
    let asked = plan(scenario, id).and_then(|plan| plan.pulses).unwrap_or(1);
    let span = place(scenario, id, "pulses");
    let help = format!("{} at most would do", plural(most, "pulse"));
    let window_ms = entry.map_or(0, |entry| u64::from(entry.window_ms));
    let dose_ms = entry.map_or(0, |entry| head.flow.on_time(entry.volume, Carry(0)).0.as_ms());
    // starts are an hour's share apart all through the window
    let room = window_ms / spacing_ms(head);
    if u64::from(asked) > room && u64::from(most) == room {
        return Diagnostic::new(
            codes::STARTS_PER_HOUR,
            span,
            "the pulses need more starts an hour than the head allows",
        )
        .label(format!("{} are {room} in {}", starts(head), show::length(window_ms)))
        .help(help);
    }
    if u64::from(asked) < u64::from(most) {
        let longest = u64::from(head.longest_run_ms);
        let least = dose_ms.div_ceil(u64::from(head.longest_pulse_ms().max(1)));
        return Diagnostic::new(
            codes::PULSES_DO_NOT_FIT,
            span,
            "so few pulses are longer than the longest run",
        )
        .label(format!(
            "{}; the longest run is {}",
            pumping(scenario, id, dose_ms),
            show::length(longest)
        ))
        .help(format!("{least} to {most} pulses would do"));
    }
    let each = dose_ms / u64::from(asked.max(1));
    let found = Diagnostic::new(codes::PULSES_DO_NOT_FIT, span, "so many pulses do not fit");
    if each < u64::from(head.shortest_pulse_ms()) {
        let shortest = show::length(u64::from(head.shortest_on_ms));
        return found.label(format!("{each} ms each; the shortest pulse is {shortest}")).help(help);
    }
    found
        .label(format!(
            "{each} ms each in {}; the shortest pulse is {}, the shortest gap {}",
            show::length(window_ms),
            show::length(u64::from(head.shortest_on_ms)),
            show::length(u64::from(head.shortest_off_ms))
        ))
        .help(help)
}
