//! Where the windows of doses lie on the grid: each day is a column of its own, so that
//! a window across midnight goes on at the top of the next one.

use maud::{Markup, html};

use super::super::figure::rect;
use super::super::glyph;
use super::{DAY_MS, DAY_W, HOUR_H, LEFT, Mark, TOP};

/// Half the width of a mark of the outcome.
const RADIUS: f64 = 3.8;
/// Height of the box of a window that is next to nothing.
const LEAST_H: f64 = 2.0;
const BOTTOM: f64 = TOP + 24.0 * HOUR_H;

/// A stretch of local time, cut at midnight and at the ends of a week.
pub(super) fn by_day(a: i64, b: i64, week: (i64, i64)) -> Vec<(i64, i64)> {
    let (mut a, b) = (a.max(week.0), b.min(week.1));
    let mut days = Vec::new();
    while a < b {
        let end = ((a.div_euclid(DAY_MS) + 1) * DAY_MS).min(b);
        days.push((a, end));
        a = end;
    }
    days
}

/// Column and height of a local time in the week that begins at `from`.
pub(super) fn place(from: i64, ms: i64) -> (f64, f64) {
    let day = (ms - from).div_euclid(DAY_MS);
    let in_day = (ms - from).rem_euclid(DAY_MS);
    (LEFT + day as f64 * DAY_W, TOP + in_day as f64 / 3.6e6 * HOUR_H)
}

/// The boxes of a dose's window, and the mark of its outcome on the day it was due. Of one
/// that was due in the week before there is the rest of the window alone.
pub(super) fn of(mark: &Mark<'_>, week: (i64, i64)) -> Markup {
    let due = mark.at.local.as_ms();
    let end = due.saturating_add(i64::from(mark.window_ms).max(1));
    let lane = 8.0 + mark.lane as f64 * 11.0;
    html! {
        @for (a, b) in by_day(due, end, week) {
            @let (x, y) = place(week.0, a);
            @let h = ((b - a) as f64 / 3.6e6 * HOUR_H).max(LEAST_H);
            (rect("due", x + lane - 5.0, y.min(BOTTOM - h), 10.0, h))
            @if a == due {
                @let middle = (y + h / 2.0).clamp(TOP + RADIUS, BOTTOM - RADIUS);
                (glyph::glyph(mark.fate, x + lane, middle, RADIUS))
            }
        }
    }
}
