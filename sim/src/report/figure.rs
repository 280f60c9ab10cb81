//! A figure: a picture with its name, what it shows in words, and the same data as
//! a table.

use dosewright_core::zone::Zone;
use maud::{Markup, PreEscaped, html};

use crate::trace::Stamped;
use crate::trace::stamp::{rfc3339, which};
use crate::units;

/// Width of every picture, in its own units; some 300 pixels of a small screen.
pub(super) const W: f64 = 380.0;

/// A picture of more than this is drawn smaller on paper, so that two go on a page.
const TALL: f64 = 300.0;

/// Rows of cells under a head; the first cell of a row names it.
#[derive(Clone, Debug, Default)]
pub(super) struct Table {
    /// Names of the columns; `, ml` at the end is the unit that was chosen.
    pub(super) head: Vec<&'static str>,
    /// Rows.
    pub(super) rows: Vec<Vec<Markup>>,
    /// What the table leaves out, in a sentence.
    pub(super) note: Option<String>,
}

/// A figure.
#[derive(Clone, Debug)]
pub(super) struct Figure {
    /// An id, unique in its page.
    pub(super) id: String,
    /// Its name.
    pub(super) title: String,
    /// What it shows, in a sentence or two.
    pub(super) finding: String,
    /// Height in the units of its width.
    pub(super) height: f64,
    /// What is drawn.
    pub(super) svg: Markup,
    /// What the marks mean.
    pub(super) legend: Vec<(Markup, &'static str)>,
    /// The data.
    pub(super) table: Table,
}

/// A number of at most so many decimals.
pub(super) fn n(value: f64, decimals: usize) -> String {
    let text = format!("{value:.decimals$}");
    let text = if text.contains('.') {
        text.trim_end_matches('0').trim_end_matches('.').to_owned()
    } else {
        text
    };
    if text == "-0" { "0".to_owned() } else { text }
}

/// A coordinate.
pub(super) fn c(value: f64) -> String {
    n(value, 1)
}

/// Microlitres as the number of millilitres, exactly, or of ounces.
pub(super) fn ml(ul: u64) -> String {
    n(units::little(ul as f64 / 1000.0), 3)
}

/// A cell of text.
pub(super) fn cell(text: impl AsRef<str>) -> Markup {
    html! { (text.as_ref()) }
}

/// A sentence whose dates stay in one piece at the end of a line.
pub(super) fn dated(text: &str) -> Markup {
    let is_date = |part: &str| {
        part.bytes().enumerate().all(|(i, b)| match i {
            4 | 7 => b == b'-',
            _ => b.is_ascii_digit(),
        })
    };
    let mut parts = Vec::new();
    let mut from = 0;
    let mut at = 0;
    while at + 10 <= text.len() {
        match text.get(at..at + 10) {
            Some(part) if is_date(part) => {
                parts.push((&text[from..at], part));
                at += 10;
                from = at;
            }
            _ => at += 1,
        }
    }
    html! {
        @for (before, date) in &parts { (before) span class="date" { (date) } }
        (&text[from..])
    }
}

/// A local time, with its offset where it happens twice.
pub(super) fn moment(zone: &Zone, at: Stamped) -> String {
    format!("{}{}", crate::scenario::show::local(at.local), which(zone, at))
}

/// The same as a cell, with its offset for machines; a dash where there is none.
pub(super) fn time(zone: &Zone, at: Option<Stamped>) -> Markup {
    match at {
        Some(at) => html! { time datetime=(rfc3339(at)) { (moment(zone, at)) } },
        None => cell("-"),
    }
}

/// Text in a picture; `anchor` is start, middle or end.
pub(super) fn label(x: f64, y: f64, anchor: &str, text: &str) -> Markup {
    html! { text x=(c(x)) y=(c(y)) text-anchor=(anchor) { (text) } }
}

/// The unit of a picture's numbers at its left edge, once above them: an ounce has a name
/// that is too long to stand beside each.
pub(super) fn unit(name: &str) -> Markup {
    label(2.0, 11.0, "start", name)
}

/// A line in a picture.
pub(super) fn line(class: &str, x1: f64, y1: f64, x2: f64, y2: f64) -> Markup {
    html! { line class=(class) x1=(c(x1)) y1=(c(y1)) x2=(c(x2)) y2=(c(y2)) {} }
}

/// A rectangle in a picture.
pub(super) fn rect(class: &str, x: f64, y: f64, w: f64, h: f64) -> Markup {
    html! { rect class=(class) x=(c(x)) y=(c(y)) width=(c(w.max(0.0))) height=(c(h.max(0.0))) {} }
}

/// A line through points.
pub(super) fn path(class: &str, points: &[(f64, f64)]) -> Markup {
    let mut d = String::new();
    for (i, (x, y)) in points.iter().enumerate() {
        d.push_str(if i == 0 { "M" } else { "L" });
        d.push_str(&c(*x));
        d.push(' ');
        d.push_str(&c(*y));
    }
    html! { path class=(class) d=(d) {} }
}

/// A sample of how something is drawn, for a legend.
pub(super) fn sample(svg: Markup) -> Markup {
    html! { svg class="sample" viewBox="0 0 24 14" aria-hidden="true" { (svg) } }
}

/// Round steps that divide a range into some four parts.
pub(super) fn ticks(most: f64) -> Vec<f64> {
    if most <= 0.0 || !most.is_finite() {
        return vec![0.0];
    }
    let raw = most / 4.0;
    let power = 10_f64.powf(raw.log10().floor());
    let step = [1.0, 2.0, 2.5, 5.0, 10.0]
        .into_iter()
        .map(|by| by * power)
        .find(|step| *step >= raw * 0.999)
        .unwrap_or(power);
    let mut out = Vec::new();
    let mut at = 0.0;
    while at <= most * 1.001 {
        out.push(at);
        at += step;
    }
    out
}

impl Table {
    /// As HTML.
    pub(super) fn html(&self, caption: &str) -> Markup {
        self.in_box("scroll", caption)
    }

    /// As HTML that scrolls in a box on a screen and is whole on paper.
    pub(super) fn list(&self, caption: &str) -> Markup {
        self.in_box("scroll list", caption)
    }

    fn in_box(&self, class: &str, caption: &str) -> Markup {
        html! {
            div class=(class) tabindex="0" role="region" aria-label=(caption) {
                table {
                    caption class="hidden" { (caption) }
                    thead { tr { @for name in &self.head { th scope="col" { (units::headed(name)) } } } }
                    tbody {
                        @for row in &self.rows {
                            tr {
                                @for (i, cell) in row.iter().enumerate() {
                                    @if i == 0 { th scope="row" { (cell) } } @else { td { (cell) } }
                                }
                            }
                        }
                    }
                }
            }
            @if let Some(note) = &self.note { p class="note" { (note) } }
        }
    }
}

impl Figure {
    /// As HTML.
    pub(super) fn html(&self) -> Markup {
        let (name, what) = (format!("{}-name", self.id), format!("{}-what", self.id));
        html! {
            section {
                h2 { (self.title) }
                figure id=(self.id) {
                    svg class=(if self.height > TALL { "picture tall" } else { "picture" }) role="img" viewBox=(format!("0 0 {} {}", c(W), c(self.height)))
                        aria-labelledby=(name) aria-describedby=(what) {
                        title id=(name) { (self.title) }
                        desc id=(what) { (self.finding) }
                        (self.svg)
                    }
                    @if !self.legend.is_empty() {
                        ul class="legend" {
                            @for (mark, word) in &self.legend { li { (mark) " " (word) } }
                        }
                    }
                    figcaption { (dated(&self.finding)) }
                }
                details {
                    summary { "The same as a table" }
                    (self.table.html(&self.title))
                }
            }
        }
    }
}

/// A whole page.
pub(super) fn page(title: &str, style: &str, body: &Markup) -> String {
    let page = html! {
        (PreEscaped("<!DOCTYPE html>\n"))
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="color-scheme" content="light dark";
                title { (title) }
                style { (PreEscaped(style)) }
            }
            body { (body) }
        }
    };
    let mut text = page.into_string();
    text.push('\n');
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_have_no_needless_digits() {
        assert_eq!(
            (n(12.50, 2).as_str(), n(-0.001, 1).as_str(), ml(119_998).as_str()),
            ("12.5", "0", "119.998")
        );
        assert_eq!((n(100.0, 0).as_str(), c(0.04).as_str()), ("100", "0"));
    }

    #[test]
    fn a_date_is_kept_together_and_nothing_else_is_changed() {
        let of = |text: &str| dated(text).into_string();
        let date = "<span class=\"date\">2026-10-06</span>";
        assert_eq!(of("2026-10-06"), date);
        assert_eq!(
            of("due 2026-10-06 00:45, \u{fc}ber 2026-10-06"),
            format!("due {date} 00:45, \u{fc}ber {date}")
        );
        for text in ["", "2026-10-0", "20261006 <b>", "a-b-c 2026/10/06"] {
            assert_eq!(of(text), text.replace('<', "&lt;").replace('>', "&gt;"));
        }
    }

    #[test]
    fn ticks_are_round_and_few() {
        for most in [0.7, 1.0, 3.0, 9.9, 144.0, 1000.0, 12_345.0] {
            let found = ticks(most);
            assert!((3..=6).contains(&found.len()), "{most}: {found:?}");
        }
        assert_eq!(ticks(0.0), [0.0]);
    }
}
