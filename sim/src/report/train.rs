//! A dose's pulses close up, against the head's limits; and its flow error by the
//! length of the observation window.

use maud::{Markup, html};

use super::facts::{Facts, Seen};
use super::figure::{Figure, Table, W, c, cell, label, line, n, path, rect, sample, ticks};
use crate::pulses::{self, Train};
use crate::scenario::{Scenario, show};
use crate::trade::evenness::Error;
use crate::words::plural;
use crate::world::head::Conditions;
use dosewright_core::config::Head;
use dosewright_core::time::Duration;

/// Pulses that are drawn.
const DRAWN: usize = 4;

fn seconds(ms: u64) -> String {
    if ms < 10_000 { format!("{ms} ms") } else { format!("{} s", n(ms as f64 / 1000.0, 1)) }
}

/// A range on a scale by tenfold steps, with the room that the limits leave.
fn scale(y: f64, name: &str, found: (u64, u64), room: (u64, Option<u64>)) -> Markup {
    const LEFT: f64 = 12.0;
    let x = |ms: u64| {
        let decades = ((ms.max(100) as f64).log10() - 2.0) / 4.6;
        LEFT + decades.clamp(0.0, 1.0) * (W - 2.0 * LEFT)
    };
    let marks: [(u64, &str); 5] = [
        (100, "0.1 s"),
        (1_000, "1 s"),
        (10_000, "10 s"),
        (100_000, "100 s"),
        (1_000_000, "1000 s"),
    ];
    let end = room.1.map_or(W - LEFT, x);
    html! {
        (label(LEFT, y, "start", name))
        (rect("room", x(room.0), y + 6.0, end - x(room.0), 14.0))
        (line("limit", x(room.0), y + 4.0, x(room.0), y + 22.0))
        @if room.1.is_some() { (line("limit", end, y + 4.0, end, y + 22.0)) }
        (line("axis", LEFT, y + 22.0, W - LEFT, y + 22.0))
        @for (ms, text) in marks {
            (line("axis", x(ms), y + 22.0, x(ms), y + 25.0))
            (label(x(ms), y + 36.0, if ms == 100 { "start" } else { "middle" }, text))
        }
        (rect("bar", x(found.0) - 2.0, y + 9.0, x(found.1) - x(found.0) + 4.0, 8.0))
    }
}

fn range(values: &[u64]) -> (u64, u64) {
    (values.iter().copied().min().unwrap_or(0), values.iter().copied().max().unwrap_or(0))
}

fn said((low, high): (u64, u64)) -> String {
    let (low, high) = (seconds(low), seconds(high));
    if low == high { low } else { format!("{low} to {high}") }
}

/// The close-up of what the pin showed.
pub(super) fn close_up(seen: &Seen, head: Option<&Head>) -> Figure {
    let widths: Vec<u64> = seen.pulses.iter().map(|(_, long)| *long).collect();
    let gaps: Vec<u64> = seen
        .pulses
        .windows(2)
        .map(|pair| pair[1].0.saturating_sub(pair[0].0 + pair[0].1))
        .collect();
    let drawn = &seen.pulses[..seen.pulses.len().min(DRAWN)];
    let end = drawn.last().map_or(1, |(at, long)| at + long).max(1);
    let x = |ms: u64| 12.0 + ms as f64 / end as f64 * (W - 24.0);
    let (width, gap) = (range(&widths), range(&gaps));
    let rest = |head: &Head, ms: u64| head.rest_after(Duration::from_ms(ms)).as_ms();
    let broken = head.is_some_and(|head| {
        let (least, most) = (u64::from(head.shortest_on_ms), u64::from(head.longest_run_ms));
        widths.iter().any(|ms| *ms < least || *ms > most)
            || gaps.iter().zip(&widths).any(|(gap, on)| *gap < rest(head, *on))
    });
    let due = seen.due.map(|due| format!(" due {}", show::local(due.local))).unwrap_or_default();
    let count = widths.len();
    let limits = head.map(|head| {
        let word = if broken { "outside" } else { "within" };
        let gaps = if gaps.is_empty() {
            String::new()
        } else {
            format!(", gaps of {} ({} at least)", said(gap), seconds(rest(head, width.1)))
        };
        format!(
            "{word} the head's limits: {} to {} on{gaps}",
            seconds(u64::from(head.shortest_on_ms)),
            seconds(u64::from(head.longest_run_ms))
        )
    });
    let finding = format!(
        "The dose of \"{}\"{due} ran in {} of {}{}.",
        seen.entry,
        plural(count as u64, "pulse"),
        said(width),
        limits.map_or_else(|| format!(", gaps of {}", said(gap)), |limits| format!(", {limits}")),
    );
    let svg = html! {
        (line("axis", 12.0, 62.0, W - 12.0, 62.0))
        @for (i, (at, long)) in drawn.iter().enumerate() {
            (rect("bar", x(*at), 26.0, (x(at + long) - x(*at)).max(1.5), 36.0))
            @if i == 0 || i + 1 == drawn.len() {
                @let anchor = if i == 0 { "start" } else { "end" };
                (label(if i == 0 { x(*at) } else { x(at + long) }, 20.0, anchor, &seconds(*long)))
            }
            @if let Some((next, _)) = drawn.get(i + 1) {
                @let from = at + long;
                (label(f64::midpoint(x(from), x(*next)), 48.0, "middle", &seconds(next.saturating_sub(from))))
            }
        }
        (label(12.0, 78.0, "start", &format!("first {} of {count}; time from the first start", drawn.len())))
        @if let Some(head) = head {
            (scale(102.0, "pulses, on", width, (u64::from(head.shortest_on_ms), Some(u64::from(head.longest_run_ms)))))
            @if !gaps.is_empty() {
                (scale(160.0, "gaps, off", gap, (rest(head, width.1), None)))
            }
        }
    };
    let height = match (head, gaps.is_empty()) {
        (None, _) => 88.0,
        (Some(_), true) => 148.0,
        (Some(_), false) => 206.0,
    };
    let mut legend = vec![(
        sample(rect("bar", 4.0, 3.0, 16.0, 8.0)),
        "pump on; on the scales: from least to most",
    )];
    if head.is_some() {
        legend.push((sample(rect("room", 2.0, 3.0, 20.0, 8.0)), "allowed"));
        legend.push((sample(line("limit", 12.0, 0.0, 12.0, 14.0)), "a limit"));
    }
    let rows = seen
        .pulses
        .iter()
        .enumerate()
        .map(|(i, (at, long))| {
            vec![
                cell((i + 1).to_string()),
                cell(at.to_string()),
                cell(long.to_string()),
                cell(gaps.get(i).map_or_else(|| "-".to_owned(), u64::to_string)),
            ]
        })
        .collect();
    Figure {
        id: "pulses".to_owned(),
        title: "Pulses of one dose, close up".to_owned(),
        finding,
        height,
        svg,
        legend,
        table: Table {
            head: vec!["pulse", "start, ms", "on, ms", "gap after, ms"],
            rows,
            note: None,
        },
    }
}

/// The train that is planned for the dose of the close-up, or of the first entry.
pub(super) fn planned(facts: &Facts, scenario: &Scenario) -> Option<(String, Train)> {
    let seen = facts.seen.as_ref().and_then(|seen| scenario.entry(&seen.entry));
    let entry = seen.or_else(|| scenario.entries.iter().find(|entry| entry.enabled))?;
    let density = scenario
        .product
        .as_ref()
        .map_or(Conditions::CALIBRATED.density, |product| f64::from(product.density_mg_l) / 1e3);
    let conditions = Conditions { density, ..Conditions::CALIBRATED };
    let train = pulses::of_entry(entry, &scenario.head, &conditions).ok()?;
    Some((entry.name.clone(), train))
}

/// Flow error by observation window; `None` where the dose's window is shorter than
/// the shortest of them.
pub(super) fn evenness(entry: &str, train: &Train) -> Option<Figure> {
    let (commanded, outflow) = train.evenness();
    let longest = commanded.last()?;
    let most = commanded
        .iter()
        .chain(&outflow)
        .flat_map(|e| [e.most_percent.abs(), e.least_percent.abs()])
        .fold(1.0, f64::max);
    let steps = ticks(most);
    let top = steps.last().copied().unwrap_or(1.0).max(most);
    let (left, right, high, low) = (56.0, W - 12.0, 14.0, 190.0);
    let x = |min: u32| {
        let share = (f64::from(min).ln() - 2_f64.ln()) / (31_f64.ln() - 2_f64.ln());
        left + 10.0 + share * (right - left - 24.0)
    };
    let y = |percent: f64| f64::midpoint(high, low) - percent / top * (low - high) / 2.0;
    let course = |errors: &[Error], of: fn(&Error) -> f64| {
        errors.iter().map(|e| (x(e.window_min), y(of(e)))).collect::<Vec<_>>()
    };
    let up: fn(&Error) -> f64 = |e| e.most_percent;
    let down: fn(&Error) -> f64 = |e| e.least_percent;
    let svg = html! {
        @for step in &steps {
            @for sign in [1.0, -1.0] {
                @if *step > 0.0 || sign > 0.0 {
                    (line(if *step == 0.0 { "axis" } else { "grid" }, left, y(sign * step), right, y(sign * step)))
                    (label(left - 4.0, y(sign * step) + 4.0, "end", &format!("{}{} %", if *step > 0.0 && sign > 0.0 { "+" } else { "" }, n(sign * step, 1))))
                }
            }
        }
        @for e in &commanded {
            (label(x(e.window_min), 204.0, "middle", &e.window_min.to_string()))
        }
        (label(f64::midpoint(left, right), 218.0, "middle", "observation window, minutes"))
        @for of in [up, down] {
            (path("one", &course(&commanded, of)))
            (path("two", &course(&outflow, of)))
        }
        @for of in [up, down] {
            @for (px, py) in course(&outflow, of) {
                rect class="dot two" x=(c(px - 3.0)) y=(c(py - 3.0)) width="6" height="6" {}
            }
            @for (px, py) in course(&commanded, of) {
                circle class="dot one" cx=(c(px)) cy=(c(py)) r="3.5" {}
            }
        }
    };
    let rows = commanded
        .iter()
        .zip(&outflow)
        .map(|(a, b)| {
            let mut row = vec![cell(a.window_min.to_string())];
            for value in [a.least_percent, a.most_percent, b.least_percent, b.most_percent] {
                row.push(cell(n(value, 4)));
            }
            row
        })
        .collect();
    let first = commanded.first().unwrap_or(longest);
    Some(Figure {
        id: "evenness".to_owned(),
        title: "Flow error by observation window".to_owned(),
        finding: format!(
            "Over any {} min of the dose of \"{entry}\" the commanded flow is {} % to {} % off the even line, over any {} min {} % to {} %. The outflow is of a model. Method of IEC 60601-2-24, another trade's, as a yardstick; no conformity is claimed.",
            first.window_min,
            n(first.least_percent, 1),
            n(first.most_percent, 1),
            longest.window_min,
            n(longest.least_percent, 1),
            n(longest.most_percent, 1),
        ),
        height: 226.0,
        svg,
        legend: vec![
            (
                sample(
                    html! { (path("one", &[(0.0, 7.0), (24.0, 7.0)])) circle class="dot one" cx="12" cy="7" r="3.5" {} },
                ),
                "commanded: on-time times calibrated flow",
            ),
            (
                sample(
                    html! { (path("two", &[(0.0, 7.0), (24.0, 7.0)])) rect class="dot two" x="9" y="4" width="6" height="6" {} },
                ),
                "outflow, by a model of the head",
            ),
        ],
        table: Table {
            head: vec![
                "window, min",
                "commanded, least %",
                "commanded, most %",
                "outflow (model), least %",
                "outflow (model), most %",
            ],
            rows,
            note: None,
        },
    })
}
