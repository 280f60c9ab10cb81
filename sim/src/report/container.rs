//! The container's level: by the device's account of the run, with what was drawn
//! and filled besides doses, and by the timetable.

use maud::{Markup, html};

use super::courses::{LEFT, LOW, RIGHT, TOP, dates, day, sampled};
use super::facts::Facts;
use super::figure::{Figure, Table, W, cell, label, line, ml, n, path, sample, ticks, time, unit};
use crate::forecast::{self, Forecast};
use crate::scenario::{Scenario, show};
use crate::trace::{Mover, Stamped};
use crate::units;

/// Changes of the account that are drawn one by one.
const MOST_STEPS: usize = 400;
/// What happened besides doses and is told one by one.
const MOST_BESIDES: usize = 200;
/// Room that a word in the picture takes.
const WORD: f64 = 76.0;
const DAY_MS: u64 = 86_400_000;

/// Something besides a dose that changed the account.
struct Besides {
    at_ms: u64,
    before_ul: u64,
    after_ul: u64,
    by: Mover,
}

impl Besides {
    /// What it is called in a picture.
    const fn word(&self) -> &'static str {
        match self.by {
            Mover::Told if self.after_ul >= self.before_ul => "filled",
            Mover::Told => "level set",
            Mover::Dose => "dose",
            Mover::Prime => "prime",
            Mover::Calibrate => "calibrate",
            Mover::Restated => "restated",
            Mover::Contact => "low level",
            Mover::Restart => "restart",
        }
    }

    /// The same with what it came to.
    fn words(&self) -> String {
        let (more, less) = (
            self.after_ul.saturating_sub(self.before_ul),
            self.before_ul.saturating_sub(self.after_ul),
        );
        if more > 0 {
            format!("{}, {} {} more", self.word(), ml(more), units::of_little())
        } else {
            format!("{}, {} {} less", self.word(), ml(less), units::of_little())
        }
    }
}

/// All of them, but what the device is told when it is set up.
fn besides(facts: &Facts) -> Vec<Besides> {
    let pairs = facts.account.windows(2).filter_map(|pair| match *pair {
        [(_, before_ul, _), (at_ms, after_ul, by)] if by != Mover::Dose => {
            Some(Besides { at_ms, before_ul, after_ul, by })
        }
        _ => None,
    });
    pairs.collect()
}

/// The account at a moment; `None` before the device was told of a container.
fn level_at(facts: &Facts, at_ms: u64) -> Option<u64> {
    let after = facts.account.partition_point(|(at, _, _)| *at <= at_ms);
    after.checked_sub(1).and_then(|last| facts.account.get(last)).map(|(_, ul, _)| *ul)
}

/// The account as steps: true ms and litres, or ounces. Of many only the last in each small
/// stretch, and all that are no doses.
fn steps(facts: &Facts) -> Vec<(u64, f64)> {
    let end = facts.totals.simulated_ms.max(1);
    let stretch = |at: u64| at.saturating_mul(MOST_STEPS as u64) / end;
    let mut out: Vec<(u64, f64)> = Vec::new();
    let all = &facts.account;
    let mut shown = None;
    for (i, &(at, ul, by)) in all.iter().enumerate() {
        let last = all.get(i + 1).is_none_or(|&(next, _, _)| stretch(next) != stretch(at));
        if all.len() > MOST_STEPS && by == Mover::Dose && !last {
            shown = Some(ul);
            continue;
        }
        let litres = |ul: u64| units::much(ul as f64 / 1e3);
        if let Some(before) = shown {
            out.push((at, litres(before)));
        }
        out.push((at, litres(ul)));
        shown = Some(ul);
    }
    // what an open dose has drawn comes off at the end
    let last =
        shown.into_iter().chain(at_end(facts).filter(|left| shown.is_some_and(|ul| ul != *left)));
    out.extend(last.map(|ul| (end, units::much(ul as f64 / 1e3))));
    out
}

/// A word at each of them, those that stand close together in one.
fn marks(besides: &[Besides], x: &dyn Fn(u64) -> f64) -> Markup {
    let mut groups: Vec<(f64, Vec<&'static str>)> = Vec::new();
    for one in besides {
        let (at, word) = (x(one.at_ms), one.word());
        match groups.last_mut() {
            Some((from, words)) if at - *from < WORD => {
                if !words.contains(&word) {
                    words.push(word);
                }
            }
            _ => groups.push((at, vec![word])),
        }
    }
    html! {
        @for one in besides.iter().take(MOST_BESIDES) {
            @let at = x(one.at_ms);
            (path("tick", &[(at - 4.0, TOP + 18.0), (at + 4.0, TOP + 18.0), (at, TOP + 25.0), (at - 4.0, TOP + 18.0)]))
        }
        @for (i, (at, words)) in groups.iter().enumerate() {
            @let text = words.join(", ");
            // a word that would run into the next one stays out: the table has it
            @let room = groups.get(i + 1).map_or(f64::INFINITY, |(next, _)| next - at);
            @let wide = 7.0 * text.len() as f64;
            @if wide < room {
                @if at + wide > W { (label(*at + 4.0, TOP + 14.0, "end", &text)) }
                @else { (label(*at - 4.0, TOP + 14.0, "start", &text)) }
            }
        }
    }
}

/// What the run drew and filled besides doses, as a sentence.
fn told(besides: &[Besides]) -> String {
    let drawn: u64 = besides
        .iter()
        .filter(|one| matches!(one.by, Mover::Prime | Mover::Calibrate))
        .map(|one| one.before_ul.saturating_sub(one.after_ul))
        .sum();
    let filled = besides.iter().filter(|one| one.word() == "filled").count();
    let mut parts = Vec::new();
    if drawn > 0 {
        parts.push(format!("prime and calibration runs drew {} {}", ml(drawn), units::of_little()));
    }
    match filled {
        0 => {}
        1 => parts.push("it was filled once".to_owned()),
        times => parts.push(format!("it was filled {times} times")),
    }
    if parts.is_empty() { String::new() } else { format!(" In the run {}.", parts.join(" and ")) }
}

/// What is in it at the end by account: what an open dose has drawn is off it.
fn at_end(facts: &Facts) -> Option<u64> {
    let last = facts.account.last()?.1;
    Some(facts.totals.account_ul.unwrap_or(last))
}

/// Rows of the run: days, what changed besides doses, and the end.
fn table(facts: &Facts, besides: &[Besides], planned: &[f64], days: usize) -> Table {
    let end_ms = facts.totals.simulated_ms;
    // true ms, what is shown
    let mut rows: Vec<(u64, Vec<Markup>)> = Vec::new();
    for (at, _) in sampled(&vec![0.0; days + 1]) {
        let at_ms = days_after(facts, at);
        if at_ms < end_ms {
            let by_run = level_at(facts, at_ms).map_or_else(|| "-".to_owned(), ml);
            let by_plan =
                planned.get(at).map_or_else(|| "-".to_owned(), |ml| n(units::little(*ml), 3));
            rows.push((at_ms, vec![moment(facts, at_ms), cell(by_run), cell(by_plan), cell("-")]));
        }
    }
    for one in besides.iter().take(MOST_BESIDES) {
        let (when, level) = (moment(facts, one.at_ms), ml(one.after_ul));
        rows.push((one.at_ms, vec![when, cell(level), cell("-"), cell(one.words())]));
    }
    rows.sort_by_key(|(at, _)| *at);
    let last = at_end(facts).map_or_else(|| "-".to_owned(), ml);
    let row = vec![moment(facts, end_ms), cell(last), cell("-"), cell("end of the run")];
    rows.push((end_ms, row));
    let more = besides.len().saturating_sub(MOST_BESIDES);
    Table {
        head: vec!["when", "by account, ml", "by the timetable, ml", "besides doses"],
        rows: rows.into_iter().map(|(_, row)| row).collect(),
        note: (more > 0).then(|| format!("{more} more changes besides doses are not shown.")),
    }
}

/// True ms of the local time of the start so many days later, whatever the clocks did
/// in between.
fn days_after(facts: &Facts, days: usize) -> u64 {
    let frame = &facts.frame;
    let wanted = frame.start.as_ms().saturating_add_unsigned(days as u64 * DAY_MS);
    let mut at_ms = days as u64 * DAY_MS;
    // the second time where the first step went over a change
    for _ in 0..2 {
        at_ms = at_ms.saturating_add_signed(wanted - frame.local(at_ms).as_ms());
    }
    at_ms
}

fn moment(facts: &Facts, at_ms: u64) -> Markup {
    let frame = &facts.frame;
    time(&frame.zone, Some(Stamped::of(frame, at_ms)))
}

/// Round steps over a range that need not begin at nothing.
fn steps_over(low: f64, high: f64) -> Vec<f64> {
    // a course over less than half of its height is looked at more closely
    let low = if low * 2.0 < high { 0.0 } else { low };
    let step = ticks((high - low).max(high / 100.0)).get(1).copied().unwrap_or(high.max(1.0));
    let first = (low / step).floor() as u64;
    let last = (high / step - 1e-9).ceil().max(first as f64 + 1.0) as u64;
    (first..=last).map(|i| i as f64 * step).collect()
}

/// The container in the run; `None` where the device was told of none.
pub(super) fn in_run(facts: &Facts, scenario: &Scenario) -> Option<Figure> {
    let container = scenario.container.as_ref()?;
    let end_ms = facts.totals.simulated_ms.max(1);
    let days = end_ms.div_ceil(DAY_MS) as usize;
    let planned = &forecast::levels_from_start_ml(scenario, days)?;
    let ran = steps(facts);
    let (first, last) = (facts.account.first()?.1, at_end(facts)?);
    let besides = besides(facts);
    let levels = || ran.iter().map(|(_, l)| *l).chain(planned.iter().map(|ml| units::much(*ml)));
    let scale = steps_over(levels().fold(f64::INFINITY, f64::min), levels().fold(0.001, f64::max));
    let (low_l, high_l) = (scale.first().copied()?, scale.last().copied()?);
    let x = |ms: u64| LEFT + ms as f64 / (days as u64 * DAY_MS) as f64 * (RIGHT - LEFT);
    // room above for words
    let high = TOP + 26.0;
    let y = |l: f64| LOW - (l - low_l) / (high_l - low_l) * (LOW - high);
    let shown = |l: f64| (low_l..=high_l).contains(&l);
    let plan: Vec<(f64, f64)> = sampled(planned)
        .into_iter()
        .map(|(day, ml)| (x(day as u64 * DAY_MS), y(units::much(ml))))
        .collect();
    let run: Vec<(f64, f64)> = ran.iter().map(|(ms, l)| (x(*ms), y(*l))).collect();
    let (heel, low) = (litres(container.heel), container.low_contact.map(litres));
    let low = low.filter(|low| shown(*low));
    let svg = html! {
        @for step in &scale {
            (line("grid", LEFT, y(*step), RIGHT, y(*step)))
            (label(LEFT - 4.0, y(*step) + 4.0, "end", &n(*step, 3)))
        }
        (unit(units::of_much()))
        @if shown(heel) { (line("limit", LEFT, y(heel), RIGHT, y(heel))) }
        @if let Some(low) = low { (line("due", LEFT, y(low), RIGHT, y(low))) }
        (path("two", &plan))
        (path("one", &run))
        (marks(&besides, &x))
        (dates(scenario.clock.start.date(), days))
    };
    let mut legend = vec![
        (sample(path("one", &[(0.0, 7.0), (24.0, 7.0)])), "by the device's account, at most drawn"),
        (sample(path("two", &[(0.0, 7.0), (24.0, 7.0)])), "by the timetable at the start"),
    ];
    if !besides.is_empty() {
        let tick = path("tick", &[(8.0, 4.0), (16.0, 4.0), (12.0, 11.0), (8.0, 4.0)]);
        legend.push((sample(tick), "changed by something besides a dose"));
    }
    if shown(heel) {
        legend.push((sample(line("limit", 0.0, 7.0, 24.0, 7.0)), HEEL));
    }
    if low.is_some() {
        legend.push((sample(line("due", 0.0, 7.0, 24.0, 7.0)), "low-level contact"));
    }
    let of = units::of_little();
    Some(Figure {
        id: "container-run".to_owned(),
        title: "Level of the container in the run".to_owned(),
        finding: format!(
            "By the device's account there are {} {of} at the start and {} {of} at the end.{}",
            ml(first),
            ml(last),
            told(&besides)
        ),
        height: 210.0,
        svg,
        legend,
        table: table(facts, &besides, planned, days),
    })
}

const HEEL: &str = "heel: the suction tube ends here";

fn litres(volume: dosewright_core::units::Volume) -> f64 {
    units::much(volume.as_nl() as f64 / 1e6)
}

/// The container by the timetable, until it is down to its heel; `None` without one.
pub(super) fn planned(scenario: &Scenario, forecast: &Forecast) -> Option<Figure> {
    let container = scenario.container.as_ref()?;
    let stock = forecast.stock.as_ref()?;
    let planned = forecast::levels_ml(scenario)?;
    let most_days = planned.len().saturating_sub(1).max(1);
    let most_days = if stock.until.days.is_finite() { most_days } else { most_days.min(2 * 365) };
    let planned = &planned[..planned.len().min(most_days + 1)];
    let top_l = litres(container.level).max(0.001);
    let scale = ticks(top_l);
    let most_l = scale.last().copied().unwrap_or(top_l).max(top_l);
    let x = |day: f64| LEFT + day / most_days as f64 * (RIGHT - LEFT);
    let y = |l: f64| LOW - l / most_l * (LOW - TOP);
    let course: Vec<(f64, f64)> =
        sampled(planned).into_iter().map(|(day, ml)| (x(day as f64), y(units::much(ml)))).collect();
    let date =
        |days: f64| forecast.date(days).map_or_else(|| "after 10 years".to_owned(), show::date);
    // what lasts longer than is reckoned has no date
    let when = |what: &str, days: f64| {
        let on = if forecast.date(days).is_some() { "on " } else { "" };
        format!("{what} {on}{}", date(days))
    };
    let heel = litres(container.heel);
    let low = container.low_contact.map(litres);
    let reorder = stock.reorder_days.is_finite().then_some(stock.reorder_days);
    let svg = html! {
        @for step in &scale {
            (line("grid", LEFT, y(*step), RIGHT, y(*step)))
            (label(LEFT - 4.0, y(*step) + 4.0, "end", &n(*step, 3)))
        }
        (unit(units::of_much()))
        (line("limit", LEFT, y(heel), RIGHT, y(heel)))
        @if let Some(low) = low { (line("due", LEFT, y(low), RIGHT, y(low))) }
        (path("two", &course))
        @if let Some(days) = reorder.filter(|days| *days <= most_days as f64) {
            (line("mark", x(days), TOP, x(days), LOW))
            @let near = x(days) > W - 90.0;
            (label(if near { x(days) - 4.0 } else { x(days) + 4.0 }, TOP + 10.0, if near { "end" } else { "start" }, "order by"))
        }
        (dates(forecast.start, most_days))
    };
    let order = match reorder {
        Some(_) if stock.is_order_late() => " Order now.".to_owned(),
        Some(days) => format!(" Order by {}.", date(days)),
        None => String::new(),
    };
    let until = if let Some(past) = stock.out_of_date {
        format!("are out of date since {}", show::date(past))
    } else if stock.shelf_governs {
        format!("are used until {}, the product's date", date(stock.until.days))
    } else {
        when("are down to the heel", stock.until.days)
    };
    let contact = stock
        .low_days
        .map(|days| format!(" The low-level contact {}.", when("closes", days)))
        .unwrap_or_default();
    let mut legend = vec![
        (sample(path("two", &[(0.0, 7.0), (24.0, 7.0)])), "by the timetable"),
        (sample(line("limit", 0.0, 7.0, 24.0, 7.0)), HEEL),
    ];
    if low.is_some() {
        legend.push((sample(line("due", 0.0, 7.0, 24.0, 7.0)), "low-level contact"));
    }
    if reorder.is_some() {
        legend.push((sample(line("mark", 12.0, 0.0, 12.0, 14.0)), "order by"));
    }
    let rows = sampled(planned)
        .into_iter()
        .map(|(at, ml)| vec![cell(day(forecast.start, at)), cell(n(units::little(ml), 3))])
        .collect();
    Some(Figure {
        id: "container".to_owned(),
        title: "Level of the container by the timetable".to_owned(),
        finding: format!(
            "{} {} at the start {until}.{contact}{order}",
            n(top_l, 3),
            units::of_much()
        ),
        height: 210.0,
        svg,
        legend,
        table: Table { head: vec!["day", "by the timetable, ml"], rows, note: None },
    })
}

#[cfg(test)]
mod tests {
    use super::steps_over;

    #[test]
    fn the_scale_takes_in_the_whole_course() {
        for (low, high) in [(0.0, 0.001), (4.9, 5.0), (1.0, 7.5), (19.52, 25.0), (20.0, 20.0)] {
            let found = steps_over(low, high);
            let (first, last) = (found[0], found[found.len() - 1]);
            assert!(first <= low && last >= high - 1e-9 && first < last, "{low} {high}: {found:?}");
            assert!((2..=8).contains(&found.len()), "{low} {high}: {found:?}");
        }
    }
}
