//! All weeks of a run in one grid.

use dosewright_core::civil::Date;
use maud::html;

use super::super::facts::Fate;
use super::super::figure::{Figure, Table, cell, label, sample};
use super::super::glyph;
use super::{DAY_W, HEIGHT, HOUR_H, LEFT, Mark, TOP, WEEKDAYS, counted, days_of, grid, is_due};

/// All weeks in one grid, as counts.
pub(super) fn all(marks: &[Mark<'_>], weeks: usize) -> Figure {
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
            counted(marks.iter(), true)
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
