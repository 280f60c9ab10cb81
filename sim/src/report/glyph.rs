//! Marks for outcomes: a shape of its own each, so that no colour is needed.

use maud::{Markup, html};

use super::facts::Fate;
use super::figure::{c, sample};

/// The mark of an outcome about a point.
pub(super) fn glyph(fate: Fate, x: f64, y: f64, r: f64) -> Markup {
    let (left, right, top, bottom) = (c(x - r), c(x + r), c(y - r), c(y + r));
    match fate {
        // a full disc
        Fate::Dosed => html! { circle class="dosed" cx=(c(x)) cy=(c(y)) r=(c(r)) {} },
        // a disc of which the left half is full
        Fate::Part => html! {
            circle class="part ring" cx=(c(x)) cy=(c(y)) r=(c(r)) {}
            path class="part" d=(format!("M{} {top}A{} {} 0 0 0 {} {bottom}Z", c(x), c(r), c(r), c(x))) {}
        },
        // a cross
        Fate::Skipped => html! {
            path class="skipped" d=(format!("M{left} {top}L{right} {bottom}M{right} {top}L{left} {bottom}")) {}
        },
        // an empty diamond
        Fate::Open => html! {
            path class="open" d=(format!("M{} {top}L{right} {}L{} {bottom}L{left} {}Z", c(x), c(y), c(x), c(y))) {}
        },
    }
}

/// The legend of all outcomes.
pub(super) fn legend() -> Vec<(Markup, &'static str)> {
    Fate::ALL
        .into_iter()
        .map(|fate| {
            let word = match fate {
                Fate::Dosed => "dosed: pump ran, flow not sensed",
                Fate::Part => "part: some of it, the table says why",
                Fate::Skipped => "skipped: nothing, the table says why",
                Fate::Open => "open at the end of the run",
            };
            (sample(glyph(fate, 12.0, 7.0, 5.0)), word)
        })
        .collect()
}
