//! The week: seven days by 24 hours, with each dose at its due time. Of a long run
//! the first week and those in which something was not as usual, and a week that
//! counts all of them.

mod boxes;
mod left;
mod odd;
mod plans;
mod rows;
mod shades;
mod together;

use std::collections::BTreeSet;

use dosewright_core::civil::{Date, Local};
use dosewright_core::zone::Zone;
use maud::{Markup, html};

use super::doses::{due_time, outcome};
use super::facts::{Dose, Facts, Fate};
use super::figure::{Figure, Table, c, cell, label, line, ml, rect, sample, time};
use super::glyph;
use crate::scenario::{Scenario, show};
use crate::trace::Stamped;
use crate::words::plural;
use plans::Plans;
use shades::{Kind, Shade, hatched, shades, when};

/// Weeks that are drawn one by one.
const MOST_WEEKS: usize = 5;

const LEFT: f64 = 34.0;
const TOP: f64 = 34.0;
const DAY_W: f64 = 48.0;
const HOUR_H: f64 = 15.0;
const HEIGHT: f64 = TOP + 24.0 * HOUR_H + 6.0;
const DAY_MS: i64 = 86_400_000;
const WEEKDAYS: [&str; 7] = ["Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"];

/// One dose on the grid.
struct Mark<'a> {
    at: Stamped,
    lane: usize,
    window_ms: u32,
    fate: Fate,
    dose: &'a Dose,
    /// How many of its row are drawn nowhere: it cannot be told on which days they were due.
    undrawn: u32,
    /// Whether they were due in its week all the same.
    in_week: bool,
    /// The last of its row that is drawn.
    is_last: bool,
}

fn days_of(at: Local) -> i64 {
    at.as_ms().div_euclid(DAY_MS)
}

/// The Monday on or before a day.
fn monday(day: i64) -> i64 {
    day - i64::from(Date::from_days(day as i32).weekday().index())
}

fn marks<'a>(facts: &'a Facts, scenario: Option<&Scenario>) -> Vec<Mark<'a>> {
    let names = facts.entries();
    let frame = &facts.frame;
    let zone = scenario.map_or(&facts.device_zone, |s| &s.clock.zone_of_device().zone);
    let plans = Plans::of(facts, scenario);
    let mut out = Vec::new();
    for dose in &facts.doses {
        let plan = plans.plan(dose);
        let lane = names.iter().position(|name| *name == dose.entry).unwrap_or(0) % 4;
        let window_ms = plan.as_ref().map_or(0, |plan| plan.window_ms);
        let times = if dose.count > 1 {
            rows::row(frame, dose, plan.as_ref(), zone)
        } else {
            dose.at(frame).into_iter().collect()
        };
        let drawn = u32::try_from(times.len()).unwrap_or(u32::MAX);
        let week = |at: Option<&Stamped>| at.map(|at| monday(days_of(at.local)));
        let in_week = dose.last_due.is_some() && week(times.first()) == week(times.last());
        out.extend(times.into_iter().enumerate().map(|(i, at)| Mark {
            at,
            lane,
            window_ms,
            fate: dose.fate,
            dose,
            undrawn: dose.count.saturating_sub(drawn),
            in_week,
            is_last: i + 1 == drawn as usize,
        }));
    }
    out.sort_by_key(|mark| mark.at.utc_ms());
    out
}

fn grid(head: &[(String, String)]) -> Markup {
    html! {
        @for hour in 0..=24_u32 {
            @let y = TOP + f64::from(hour) * HOUR_H;
            (line(if hour % 6 == 0 { "axis" } else { "grid" }, LEFT, y, LEFT + 7.0 * DAY_W, y))
            @if hour % 3 == 0 && hour < 24 {
                (label(LEFT - 4.0, y + 11.0, "end", &format!("{hour:02}")))
            }
        }
        @for day in 0..=7_u32 {
            @let x = LEFT + f64::from(day) * DAY_W;
            (line("axis", x, TOP, x, TOP + 24.0 * HOUR_H))
        }
        @for (day, (name, date)) in head.iter().enumerate() {
            @let x = LEFT + (day as f64 + 0.5) * DAY_W;
            (label(x, 13.0, "middle", name))
            (label(x, 27.0, "middle", date))
        }
    }
}

/// Of the timetable. What an operator asks for is no dose that was due.
const fn is_due(mark: &Mark<'_>) -> bool {
    !mark.dose.asked
}

/// How many of what there were; `whole` is all the run and no week of it.
fn counted<'m>(marks: impl Iterator<Item = &'m Mark<'m>>, whole: bool) -> String {
    let (mut counts, mut asked) = ([0_usize; 4], 0_usize);
    for mark in marks {
        if is_due(mark) {
            let beside = if mark.is_last && (whole || mark.in_week) { mark.undrawn } else { 0 };
            counts[mark.fate as usize] += 1 + beside as usize;
        } else {
            asked += 1;
        }
    }
    let asked = match asked {
        0 => String::new(),
        1 => ", and 1 was asked for".to_owned(),
        many => format!(", and {many} were asked for"),
    };
    let all: usize = counts.iter().sum();
    let parts: Vec<String> = Fate::ALL
        .into_iter()
        .zip(counts)
        .filter(|(_, count)| *count > 0)
        .map(|(fate, count)| format!("{count} {}", fate.word()))
        .collect();
    if all == 0 {
        format!("no dose was due{asked}")
    } else {
        let verb = if all == 1 { "was" } else { "were" };
        format!("{} {verb} due: {}{asked}", plural(all as u64, "dose"), parts.join(", "))
    }
}

/// One week: its doses, and those of the week before whose windows reach into it.
fn one(
    facts: &Facts,
    first: i64,
    (marks, before): (&[&Mark<'_>], &[&Mark<'_>]),
    shades: &[Shade],
    number: usize,
) -> Figure {
    let head: Vec<(String, String)> = (0..7)
        .map(|day| {
            let (_, month, date) = Date::from_days((first + day) as i32).ymd();
            let name = WEEKDAYS.get(day as usize).copied().unwrap_or_default();
            (name.to_owned(), format!("{date}.{month}."))
        })
        .collect();
    let (from, to) = (first * DAY_MS, (first + 7) * DAY_MS);
    let place = |ms: i64| boxes::place(from, ms);
    let mut drawn: Vec<(i64, i64, Kind)> = Vec::new();
    for shade in shades {
        let days = boxes::by_day(shade.from, shade.to, (from, to)).into_iter();
        drawn.extend(days.map(|(a, b)| (a, b, shade.kind)));
    }
    let settings: Vec<i64> = facts
        .clock
        .iter()
        .map(|(at, ..)| facts.frame.local(*at).as_ms())
        .filter(|at| (from..to).contains(at))
        .collect();
    let svg = html! {
        (grid(&head))
        @for (a, b, kind) in &drawn {
            @let (x, y) = place(*a);
            (hatched(*kind, x + 1.0, y, DAY_W - 2.0, ((b - a) as f64 / 3.6e6 * HOUR_H).max(2.0)))
        }
        @for at in &settings {
            @let (x, y) = place(*at);
            path class="mark" d=(format!("M{} {}h{}m-6 -4l6 4l-6 4", c(x + 2.0), c(y), c(DAY_W - 4.0))) {}
        }
        @for mark in before.iter().chain(marks) { (boxes::of(mark, (from, to))) }
    };
    let what = counted(marks.iter().copied(), false);
    let mut notes = Vec::new();
    for kind in Kind::ALL {
        notes.extend(when(kind, shades, (from, to)));
    }
    if !settings.is_empty() {
        notes.push(format!("clock set {}", times(settings.len())));
    }
    let notes = if notes.is_empty() {
        String::new()
    } else {
        format!(" Hatched or marked: {}.", notes.join("; "))
    };
    let start = show::date(Date::from_days(first as i32));
    let mut legend = glyph::legend();
    legend.push((sample(rect("due", 7.0, 1.0, 10.0, 12.0)), "due, and the window of the dose"));
    for kind in Kind::ALL {
        if drawn.iter().any(|d| d.2 == kind) {
            legend.push((sample(hatched(kind, 1.0, 1.0, 22.0, 12.0)), kind.word()));
        }
    }
    if !settings.is_empty() {
        let arrow = html! { path class="mark" d="M2 7h20m-6 -4l6 4l-6 4" {} };
        legend.push((sample(arrow), "clock set"));
    }
    Figure {
        id: format!("week-{number}"),
        title: format!("Week of Monday {start}"),
        finding: format!("From Monday {start} to Sunday, {what}.{notes}{}", undrawn(marks)),
        height: HEIGHT,
        svg,
        legend,
        table: table(&facts.frame.zone, marks),
    }
}

/// What is not drawn of rows, as a sentence.
fn undrawn(marks: &[&Mark<'_>]) -> String {
    let rows = || marks.iter().filter(|mark| mark.undrawn > 0);
    let Some(first) = rows().next() else { return String::new() };
    let of = if rows().all(|mark| std::ptr::eq(mark.dose, first.dose)) {
        format!("a row of {} {} doses", first.dose.count, first.fate.word())
    } else {
        "rows of doses".to_owned()
    };
    let what = if rows().all(|mark| mark.in_week) { "days" } else { "days, and in which weeks," };
    format!(
        " Of {of} the first and the last are drawn: the lines do not tell on which {what} the others were due."
    )
}

fn times(count: usize) -> String {
    if count == 1 { "once".to_owned() } else { format!("{count} times") }
}

fn table(zone: &Zone, marks: &[&Mark<'_>]) -> Table {
    let rows = marks
        .iter()
        .map(|mark| {
            let dose = mark.dose;
            vec![
                due_time(zone, dose, Some(mark.at)),
                cell(&dose.entry),
                cell(if dose.count > 1 { dose.fate.word().to_owned() } else { outcome(dose) }),
                cell(dose.cause.as_deref().unwrap_or("-")),
                cell(if dose.count > 1 { "0".to_owned() } else { ml(dose.least_ul) }),
                time(zone, dose.started),
                time(zone, dose.ended),
            ]
        })
        .collect();
    Table {
        head: vec!["due", "entry", "outcome", "cause", "at least, ml", "started", "ended"],
        rows,
        note: None,
    }
}

/// The weeks of a run, and what is said of those that were left out.
pub(super) fn figures(facts: &Facts, scenario: Option<&Scenario>) -> (Vec<Figure>, Markup) {
    let marks = marks(facts, scenario);
    let shades = shades(facts);
    let first = monday(days_of(facts.frame.start));
    let end = facts.frame.local(facts.totals.simulated_ms.saturating_sub(1));
    // those of the run, and those in which the device's clock put a due
    let mut mondays: BTreeSet<i64> = (first..=days_of(end).max(first)).step_by(7).collect();
    mondays.extend(marks.iter().map(|mark| monday(days_of(mark.at.local))));
    let mondays: Vec<i64> = mondays.into_iter().collect();
    let weeks = mondays.len();
    let week_of = |ms: i64| {
        let day = ms.div_euclid(DAY_MS);
        mondays.partition_point(|monday| *monday <= day).saturating_sub(1)
    };
    let first_week = week_of(first * DAY_MS);
    let odd = odd::odd(facts, &marks, &shades, weeks, week_of);
    let mut shown: Vec<usize> = (0..weeks).collect();
    if weeks > MOST_WEEKS {
        // the first, then those in which most was not as usual
        shown = odd.most(first_week, MOST_WEEKS);
        shown.sort_unstable();
    }
    // a last week of a few hours without a dose shows nothing
    shown.retain(|week| {
        *week == first_week
            || marks.iter().any(|mark| week_of(mark.at.local.as_ms()) == *week)
            || shades.iter().any(|shade| (week_of(shade.from)..=week_of(shade.to)).contains(week))
    });
    let mut out = Vec::new();
    if weeks > MOST_WEEKS {
        out.push(together::all(&marks, weeks));
    }
    for (number, week) in shown.iter().enumerate() {
        let start = mondays.get(*week).copied().unwrap_or(first);
        let (low, high) = (start * DAY_MS, (start + 7) * DAY_MS);
        let mine: Vec<&Mark<'_>> =
            marks.iter().filter(|mark| (low..high).contains(&mark.at.local.as_ms())).collect();
        let reaches = |mark: &&Mark<'_>| {
            let due = mark.at.local.as_ms();
            due < low && due.saturating_add(i64::from(mark.window_ms)) > low
        };
        let before: Vec<&Mark<'_>> = marks.iter().filter(reaches).collect();
        out.push(one(facts, start, (&mine, &before), &shades, number + 1));
    }
    let date = |week: usize| {
        let monday = mondays.get(week).copied().unwrap_or(first);
        show::date(Date::from_days(monday as i32))
    };
    (out, left::words(&odd.left(&shown), date))
}
