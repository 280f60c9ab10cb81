//! Hatched hours of a week: those in which nothing can be due, and those that the clocks
//! skip or repeat.

use std::fmt::Write as _;

use dosewright_core::civil::Local;
use dosewright_core::time::Utc;
use maud::{Markup, html};

use super::super::facts::Facts;
use super::super::figure::{c, rect};
use super::{WEEKDAYS, days_of};
use crate::trace::stamp::hour_minute;

/// Changes of the clocks looked at.
const MOST_CHANGES: usize = 256;

/// A hatched stretch of local time.
pub(super) struct Shade {
    pub(super) from: i64,
    pub(super) to: i64,
    pub(super) kind: Kind,
}

#[derive(Clone, Copy, PartialEq, Eq)]
pub(super) enum Kind {
    NoSupply,
    Unset,
    Skipped,
    Repeated,
}

impl Kind {
    pub(super) const ALL: [Self; 4] = [Self::NoSupply, Self::Unset, Self::Skipped, Self::Repeated];

    pub(super) const fn word(self) -> &'static str {
        match self {
            Self::NoSupply => "no supply",
            Self::Unset => "clock unset",
            Self::Skipped => "hour that the clocks skip",
            Self::Repeated => "hour that the clocks repeat",
        }
    }

    /// From one line of its hatching to the next.
    const fn step(self) -> f64 {
        match self {
            Self::NoSupply => 5.0,
            Self::Unset => 6.6,
            Self::Skipped | Self::Repeated => 8.0,
        }
    }
}

/// All of a run.
pub(super) fn shades(facts: &Facts) -> Vec<Shade> {
    let local = |ms: u64| facts.frame.local(ms).as_ms();
    let of = |stretches: Vec<(u64, u64)>, kind: Kind| {
        stretches.into_iter().map(move |(from, to)| Shade {
            from: local(from),
            to: local(to),
            kind,
        })
    };
    let mut out: Vec<Shade> = of(facts.without_supply(), Kind::NoSupply)
        .chain(of(facts.without_clock(), Kind::Unset))
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

/// Lines through a box: at a slant one way for a supply that is off, the other for hours
/// that the clocks change; upright for a clock that is unset.
pub(super) fn hatched(kind: Kind, x: f64, y: f64, w: f64, h: f64) -> Markup {
    let mut d = String::new();
    let lean = if kind == Kind::Unset { 0.0 } else { h };
    let mut at = if kind == Kind::Unset { kind.step() / 2.0 } else { -h };
    while at < w {
        // from (at, 0) to (at + lean, h), clipped at the sides
        let (a, b) = (at.max(0.0), (at + lean).min(w));
        if kind == Kind::Unset {
            _ = write!(d, "M{} {}v{}", c(x + a), c(y), c(h));
        } else if b > a {
            let (ya, yb) = (a - at, b - at);
            let (y1, y2) = if kind == Kind::NoSupply { (ya, yb) } else { (h - ya, h - yb) };
            _ = write!(d, "M{} {}L{} {}", c(x + a), c(y + y1), c(x + b), c(y + y2));
        }
        at += kind.step();
    }
    html! { (rect("hatchbox", x, y, w, h)) path class="hatch" d=(d) {} }
}

/// When there were hours of a kind in a week, in words: the first stretch, and how many
/// there are besides.
pub(super) fn when(kind: Kind, shades: &[Shade], week: (i64, i64)) -> Option<String> {
    let mine = || {
        shades.iter().filter(|shade| shade.kind == kind && shade.from < week.1 && shade.to > week.0)
    };
    let first = mine().next()?;
    let (begins, ends) = (first.from >= week.0, first.to < week.1);
    let local = |ms: i64| {
        let at = Local::from_ms(ms);
        let day = WEEKDAYS.get(at.date().weekday().index() as usize).copied().unwrap_or_default();
        format!("{day} {}", hour_minute(at))
    };
    let from = local(first.from);
    let to = if days_of(Local::from_ms(first.from)) == days_of(Local::from_ms(first.to)) {
        hour_minute(Local::from_ms(first.to))
    } else {
        local(first.to)
    };
    let stretch = match (begins, ends) {
        (true, true) => format!("{from} to {to}"),
        (true, false) => format!("from {from} on"),
        (false, true) => format!("until {to}"),
        (false, false) => "all the week".to_owned(),
    };
    let more = match mine().count() {
        1 => String::new(),
        count => format!(" and {} more", count - 1),
    };
    Some(format!("{} {stretch}{more}", kind.word()))
}
