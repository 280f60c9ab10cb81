//! The week: seven days by 24 hours, with each dose at its due time. Of a long run
//! the first week and those in which something was not as usual, and a week that
//! counts all of them.

mod boxes;
mod plans;
mod rows;

use std::collections::BTreeSet;
use std::fmt::Write as _;

use dosewright_core::civil::{Date, Local};
use dosewright_core::time::Utc;
use dosewright_core::zone::Zone;
use maud::{Markup, html};

use super::doses::{due_time, outcome};
use super::facts::{Dose, Facts, Fate};
use super::figure::{Figure, Table, c, cell, label, line, ml, rect, sample, time};
use super::glyph;
use super::unusual::Unusual;
use crate::scenario::{Scenario, show};
use crate::trace::Stamped;
use crate::trace::stamp::hour_minute;
use crate::words::plural;
use plans::Plans;

/// Weeks that are drawn one by one.
const MOST_WEEKS: usize = 5;
/// Changes of the clocks looked at.
const MOST_CHANGES: usize = 256;

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
}

/// A hatched stretch of local time.
struct Shade {
    from: i64,
    to: i64,
    kind: Kind,
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum Kind {
    NoSupply,
    Skipped,
    Repeated,
}

impl Kind {
    const fn word(self) -> &'static str {
        match self {
            Self::NoSupply => "no supply",
            Self::Skipped => "hour that the clocks skip",
            Self::Repeated => "hour that the clocks repeat",
        }
    }
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
        out.extend(times.into_iter().map(|at| Mark { at, lane, window_ms, fate: dose.fate, dose }));
    }
    out.sort_by_key(|mark| mark.at.utc_ms());
    out
}

fn shades(facts: &Facts) -> Vec<Shade> {
    let local = |ms: u64| facts.frame.local(ms).as_ms();
    let mut out: Vec<Shade> = facts
        .without_supply()
        .into_iter()
        .map(|(from, to)| Shade { from: local(from), to: local(to), kind: Kind::NoSupply })
        .collect();
    let mut from = Utc::from_ms(facts.frame.start_utc_ms);
    let end = facts.frame.start_utc_ms.saturating_add_unsigned(facts.totals.simulated_ms);
    for _ in 0..MOST_CHANGES {
        let change = facts.frame.zone.next_change_after(from);
        let Some(change) = change.filter(|change| change.at.as_ms() <= end) else { break };
        from = change.at;
        let at = |offset_s: i32| change.at.as_ms() + i64::from(offset_s) * 1000;
        let (low, high) = (
            at(change.offset_before_s.min(change.offset_after_s)),
            at(change.offset_before_s.max(change.offset_after_s)),
        );
        let kind = if change.offset_after_s > change.offset_before_s {
            Kind::Skipped
        } else {
            Kind::Repeated
        };
        out.push(Shade { from: low, to: high, kind });
    }
    out
}

/// Lines at a slant through a box, one way for a supply that is off, the other for
/// hours that the clocks change.
fn hatched(kind: Kind, x: f64, y: f64, w: f64, h: f64) -> Markup {
    let mut d = String::new();
    let step = if kind == Kind::NoSupply { 5.0 } else { 8.0 };
    let mut at = -h;
    while at < w {
        // from (at, 0) to (at + h, h), clipped at the sides
        let (a, b) = (at.max(0.0), (at + h).min(w));
        if b > a {
            let (ya, yb) = (a - at, b - at);
            let (y1, y2) = if kind == Kind::NoSupply { (ya, yb) } else { (h - ya, h - yb) };
            _ = write!(d, "M{} {}L{} {}", c(x + a), c(y + y1), c(x + b), c(y + y2));
        }
        at += step;
    }
    html! { (rect("hatchbox", x, y, w, h)) path class="hatch" d=(d) {} }
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

fn counted<'m>(marks: impl Iterator<Item = &'m Mark<'m>>) -> String {
    let (mut counts, mut asked) = ([0_usize; 4], 0_usize);
    for mark in marks {
        if is_due(mark) {
            counts[mark.fate as usize] += 1;
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
    let what = counted(marks.iter().copied());
    let mut notes = Vec::new();
    for kind in [Kind::NoSupply, Kind::Skipped, Kind::Repeated] {
        let stretches: Vec<(i64, i64)> = shades
            .iter()
            .filter(|shade| shade.kind == kind && shade.from < to && shade.to > from)
            .map(|shade| (shade.from, shade.to))
            .collect();
        if let Some((a, b)) = stretches.first() {
            let local = |ms: i64| {
                let at = Local::from_ms(ms);
                let day = WEEKDAYS.get(at.date().weekday().index() as usize).copied();
                (day.unwrap_or_default(), hour_minute(at))
            };
            let ((day, begin), (last, end)) = (local(*a), local(*b));
            let last = if days_of(Local::from_ms(*a)) == days_of(Local::from_ms(*b)) {
                String::new()
            } else {
                format!("{last} ")
            };
            let more = match stretches.len() {
                1 => String::new(),
                count => format!(" and {} more", count - 1),
            };
            notes.push(format!("{} {day} {begin} to {last}{end}{more}", kind.word()));
        }
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
    for kind in [Kind::NoSupply, Kind::Skipped, Kind::Repeated] {
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
        finding: format!("From Monday {start} to Sunday, {what}.{notes}"),
        height: HEIGHT,
        svg,
        legend,
        table: table(&facts.frame.zone, marks),
    }
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

/// All weeks in one grid, as counts.
fn all(marks: &[Mark<'_>], weeks: usize) -> Figure {
    let mut counts = [[[0_usize; 4]; 24]; 7];
    for mark in marks.iter().filter(|mark| is_due(mark)) {
        let day = Date::from_days(days_of(mark.at.local) as i32).weekday().index() as usize;
        let hour = (mark.at.local.time_of_day().as_ms() / 3_600_000) as usize;
        if let Some(count) = counts.get_mut(day).and_then(|hours| hours.get_mut(hour)) {
            count[mark.fate as usize] += 1;
        }
    }
    let head: Vec<(String, String)> =
        WEEKDAYS.iter().map(|day| ((*day).to_owned(), String::new())).collect();
    let mut rows = Vec::new();
    let svg = html! {
        (grid(&head))
        @for (day, hours) in counts.iter().enumerate() {
            @for (hour, count) in hours.iter().enumerate() {
                @let others = count[1] + count[2] + count[3];
                @if count[0] + others > 0 {
                    @let (x, y) = (LEFT + day as f64 * DAY_W, TOP + (hour as f64 + 0.5) * HOUR_H);
                    @let number = |count: usize, most: usize| {
                        if count > most { format!("{most}+") } else { count.to_string() }
                    };
                    (label(x + 2.0, y + 4.0, "start", &number(count[0], 999)))
                    @if others > 0 {
                        @let worst = if count[2] > 0 {
                            Fate::Skipped
                        } else if count[1] > 0 {
                            Fate::Part
                        } else {
                            Fate::Open
                        };
                        (glyph::glyph(worst, x + 32.0, y, 2.6))
                        (label(x + 36.0, y + 4.0, "start", &if others > 9 { "+".to_owned() } else { others.to_string() }))
                    }
                }
            }
        }
    };
    for (day, hours) in counts.iter().enumerate() {
        for (hour, count) in hours.iter().enumerate() {
            if count.iter().sum::<usize>() > 0 {
                let name = WEEKDAYS.get(day).copied().unwrap_or_default();
                let mut row = vec![cell(format!("{name} {hour:02}:00"))];
                row.extend(count.iter().map(|count| cell(count.to_string())));
                rows.push(row);
            }
        }
    }
    Figure {
        id: "week-all".to_owned(),
        title: format!("All {weeks} weeks in one"),
        finding: format!(
            "In {weeks} weeks {}. Each cell counts the doses that were due in its hour: dosed, and beside it those that were not (+ is more than nine).",
            counted(marks.iter())
        ),
        height: HEIGHT,
        svg,
        legend: {
            let mut legend = glyph::legend();
            legend[0] =
                (sample(label(4.0, 12.0, "start", "12")), "number of doses that were dosed");
            legend
        },
        table: Table { head: vec!["hour", "dosed", "part", "skipped", "open"], rows, note: None },
    }
}

/// The weeks of a run, and how many were left out.
pub(super) fn figures(facts: &Facts, scenario: Option<&Scenario>) -> (Vec<Figure>, usize) {
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
    let mut shown: Vec<usize> = (0..weeks).collect();
    if weeks > MOST_WEEKS {
        // the first, then those in which most was not as usual
        let mut odd = Unusual::of(weeks);
        for mark in &marks {
            let cause = mark.dose.cause.as_deref().unwrap_or_default();
            let by = match mark.fate {
                Fate::Dosed => continue,
                Fate::Skipped if cause == "closed" => 1,
                Fate::Skipped | Fate::Part | Fate::Open => 100,
            };
            odd.add(week_of(mark.at.local.as_ms()), (mark.fate.word(), cause), by);
        }
        for shade in &shades {
            let by = if shade.kind == Kind::NoSupply { 20 } else { 10 };
            odd.add(week_of(shade.from), (shade.kind.word(), ""), by);
        }
        for (at, ..) in &facts.clock {
            odd.add(week_of(facts.frame.local(*at).as_ms()), ("clock set", ""), 20);
        }
        for (at, alarm, _) in facts.alarms.iter().filter(|(.., on)| *on) {
            odd.add(week_of(facts.frame.local(*at).as_ms()), ("alarm", alarm), 20);
        }
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
        out.push(all(&marks, weeks));
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
    (out, weeks - shown.len())
}
