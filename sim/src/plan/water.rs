//! When the water runs, night by night.

use std::cmp::Reverse;

use dosewright_core::civil::Weekday;

use super::flow_log::FlowLog;
use super::{Place, minutes};
use crate::scenario::Brief;

/// Minutes from noon to noon.
pub(super) const NIGHT_MIN: u32 = 1440;
pub(super) const NIGHT: i32 = NIGHT_MIN as i32;
const NOON: i32 = 720;
const WEEK: i32 = 7 * NIGHT;

/// A stretch without water, in minutes from a night's noon. It can begin before that
/// noon and end after the next: a night is only what its dose is named after.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Dry {
    /// Last water.
    pub last: i32,
    /// First water.
    pub first: i32,
    /// Where it is known from, in words.
    pub from: String,
}

/// The stretches between trading, in minutes from Monday's noon: of that week, with the
/// weeks before and after.
fn between_trading(brief: &Brief) -> Vec<(i32, i32)> {
    let mut wet: Vec<(i32, i32)> = Vec::new();
    for trading in &brief.trading {
        let (opens, closes) = (i32::from(trading.opens_min), i32::from(trading.closes_min));
        // a close at or before the opening is on the day after
        let lasts = if closes <= opens { closes + NIGHT - opens } else { closes - opens };
        for day in Weekday::ALL.into_iter().filter(|day| trading.days.contains(*day)) {
            let midnight = i32::from(day.index() as u8) * NIGHT - NOON;
            for week in [-WEEK, 0, WEEK, 2 * WEEK] {
                let from = week + midnight + opens;
                wet.push((from, from + lasts));
            }
        }
    }
    wet.sort_unstable();
    let mut dry = Vec::new();
    let mut until = wet.first().map_or(0, |(_, to)| *to);
    for (from, to) in wet {
        if from > until {
            dry.push((until, from));
        }
        until = until.max(to);
    }
    dry
}

/// The stretches that touch a night, from its noon.
fn of_night(week: &[(i32, i32)], night: usize) -> Vec<(i32, i32)> {
    let noon = night as i32 * NIGHT;
    let from_noon = week.iter().map(|(last, first)| (last - noon, first - noon));
    from_noon.filter(|(last, first)| *last < NIGHT && *first > 0).collect()
}

/// What several sources say holds all together.
fn meet(found: Option<Vec<Dry>>, with: &[Dry]) -> Vec<Dry> {
    let Some(found) = found else { return with.to_vec() };
    let pairs = found.iter().flat_map(|a| with.iter().map(move |b| (a, b)));
    pairs
        .map(|(a, b)| Dry {
            last: a.last.max(b.last),
            first: a.first.min(b.first),
            from: format!("{} and {}", a.from, b.from),
        })
        .filter(|dry| dry.last < dry.first)
        .collect()
}

/// Minutes in which a dose of a night may lie; less than none where there is no room.
fn room(brief: &Brief, dry: &Dry) -> i32 {
    let (from, to) = slot(brief, dry);
    to - from
}

/// From when and until when a dose of a night may lie, in minutes from its noon: within
/// that night, after the water has settled, with its contact time before the first water.
pub(super) fn slot(brief: &Brief, dry: &Dry) -> (i32, i32) {
    let length = |of| i32::try_from(minutes(of)).unwrap_or(i32::MAX / 4);
    let from = dry.last.saturating_add(length(brief.site.settle)).max(0);
    (from, dry.first.saturating_sub(length(brief.site.contact)).min(NIGHT))
}

/// The dry stretch of a night about a place.
pub(super) fn about(dry: &[Dry], place: Place) -> Option<&Dry> {
    let (start, end) = (place.start as i32, (place.start + place.window) as i32);
    dry.iter().find(|dry| dry.last <= start && end <= dry.first)
}

/// The dry stretches of each night, that in which a dose has the most room first; none
/// where nothing is known of it, or it has none.
pub(super) fn dry(brief: &Brief, log: Option<&FlowLog>) -> [Vec<Dry>; 7] {
    let week = between_trading(brief);
    std::array::from_fn(|night| {
        let mut found: Option<Vec<Dry>> = None;
        let of = |stretches: &[(i32, i32)], from: &str| -> Vec<Dry> {
            let dry = |(last, first): &(i32, i32)| Dry {
                last: *last,
                first: *first,
                from: from.to_owned(),
            };
            stretches.iter().map(dry).collect()
        };
        if !brief.trading.is_empty() {
            found = Some(meet(found, &of(&of_night(&week, night), "trading hours")));
        }
        for quiet in brief.quiet.iter().filter(|q| q.nights.contains(Weekday::ALL[night])) {
            let at = |min: u16| (i32::from(min) + NOON) % NIGHT;
            let (from, to) = (at(quiet.from_min), at(quiet.to_min));
            let to = if to < from || to == 0 { to + NIGHT } else { to };
            found = Some(meet(found, &of(&[(from, to)], "the quiet period given")));
        }
        if let Some(log) = log {
            let still = |mean: f64| {
                if mean > 0.0 {
                    format!("the flow log, with {mean:.1} {} still running", log.unit)
                } else {
                    "the flow log".to_owned()
                }
            };
            let rests: Vec<Dry> = log
                .rests(night)
                .iter()
                .map(|rest| Dry { last: rest.from, first: rest.to, from: still(rest.mean) })
                .collect();
            found = Some(meet(found, &rests));
        }
        // of two with as much room the later one: it begins in that night
        let mut found = found.unwrap_or_default();
        found.sort_by_key(|dry| Reverse((room(brief, dry), dry.last)));
        found
    })
}
