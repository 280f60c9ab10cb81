//! What is accepted and yet worth knowing.

mod meetings;

use dosewright_core::civil::{DAY_MIN, Local};
use dosewright_core::entry::{Entry, GapRule, Nominal, Recurrence};
use dosewright_core::schedule::WallClock;
use dosewright_core::time::{Duration, Instant, Utc};
use dosewright_core::timetable::{Timetable, meet_at_times};
use dosewright_core::zone::{Change, LocalKind};

use crate::diagnose::{Diagnostic, Span, codes};
use crate::forecast::{figures, weak_help, weak_pack};
use crate::observe::LINES;
use crate::run::Frame;
use crate::scenario::{EntryPlan, IntervalStart, RecurrencePlan, Scenario, Supply, show};
use crate::trace::stamp;

/// Before this minute of the day a calendar day's time is most likely meant for
/// the night before: common practice, no source.
const SMALL_HOURS_END_MIN: u16 = 6 * 60;
/// Changes of the clock looked at in one run; a run is a hundred years at most.
const MOST_CHANGES: usize = 256;
const DAYS: [&str; 7] = ["mon", "tue", "wed", "thu", "fri", "sat", "sun"];
const DAY_NAMES: [&str; 7] =
    ["Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday"];

/// All warnings of a scenario.
pub(super) fn find(
    scenario: &Scenario,
    timetable: &Timetable<LINES>,
    frame: &Frame,
    clock: Option<&WallClock>,
    accepted: bool,
) -> Vec<Diagnostic> {
    let entries: Vec<Entry> = timetable.entries().collect();
    let plans: Vec<(&EntryPlan, &Entry)> = scenario.entries.iter().zip(&entries).collect();
    let mut found: Vec<Diagnostic> =
        plans.iter().filter_map(|(plan, entry)| plain_night(plan, entry)).collect();
    for (plan, entry) in plans.iter().filter(|(plan, _)| plan.enabled) {
        if let Some(clock) = clock {
            found.extend(at_changes(scenario, plan, entry, frame, clock));
        }
    }
    found.extend(plans.iter().filter_map(|(plan, _)| drains_back(scenario, plan)));
    found.extend(siphons(scenario));
    for (i, (second, b)) in plans.iter().enumerate() {
        for (first, a) in plans.iter().take(i) {
            let meet = clock.is_some_and(|clock| meet_at_times(a, b, clock, Instant::ZERO));
            if first.enabled && second.enabled && meet {
                found.push(meets(first, second, a));
            }
        }
    }
    // what the device takes has few doses a day; of anything else this could be long work
    if let Some(clock) = clock.filter(|_| accepted) {
        found.extend(meetings::find(scenario, &plans, frame, clock));
    }
    found.extend(plans.iter().filter_map(|(plan, _)| begins_in_skipped(scenario, plan)));
    found.extend(at_heel(scenario));
    found.extend(on_closed(scenario, frame));
    found.extend(too_weak(scenario));
    found.extend(too_large(scenario));
    found.extend(out_of_lift(scenario));
    found.extend(nothing_due(scenario, &plans, frame, clock));
    found
}

/// W013: a suction line through which nothing comes.
fn out_of_lift(scenario: &Scenario) -> Option<Diagnostic> {
    let tube = scenario.tube.as_ref()?;
    let (lift, limit) = figures(scenario, 0.0).suction_m.filter(|(lift, limit)| lift >= limit)?;
    Some(
        Diagnostic::new(
            codes::OUT_OF_LIFT,
            tube.spans.at("lift"),
            "nothing comes up this suction line",
        )
        .label(format!("{lift:.2} m of lift and friction; this product can be lifted {limit:.2} m"))
        .help("put the pump lower, or make the line shorter or wider"),
    )
}

/// W012: a timetable by which nothing is dosed, and nobody who changes it.
fn nothing_due(
    scenario: &Scenario,
    plans: &[(&EntryPlan, &Entry)],
    frame: &Frame,
    clock: Option<&WallClock>,
) -> Option<Diagnostic> {
    let last = Instant::ZERO.plus(Duration::from_ms(frame.run_ms));
    let comes = |entry: &Entry| {
        let mut next = entry.first_from(Instant::ZERO, clock);
        while let Some(due) = next {
            let Some(at) = entry.instant_of(due, clock).filter(|at| *at <= last) else { break };
            let closed = entry.is_weekly() && scenario.closes(entry, entry.date_of(due));
            if at >= Instant::ZERO && !closed {
                return true;
            }
            next = entry.next_at_or_after(due.next());
        }
        false
    };
    if !scenario.operator.is_empty()
        || plans.iter().any(|(plan, entry)| plan.enabled && comes(entry))
    {
        return None;
    }
    let (span, label) = match plans.first() {
        None => (scenario.head.spans.table(), "there is no [[entry]]".to_owned()),
        Some((plan, _)) if plans.iter().all(|(plan, _)| !plan.enabled) => {
            (plan.spans.at("enabled"), "every entry is disabled".to_owned())
        }
        Some((plan, _)) => {
            (plan.spans.table(), format!("no entry comes due in {}", show::length(frame.run_ms)))
        }
    };
    Some(
        Diagnostic::new(codes::NOTHING_DUE, span, "nothing is dosed by this timetable")
            .label(label)
            .help("look at the years of `from`, `first` and `last`, and at `enabled`"),
    )
}

/// W011: a pack that cannot give what is in it.
fn too_weak(scenario: &Scenario) -> Option<Diagnostic> {
    let Supply::Battery { spans, .. } = &scenario.supply else { return None };
    let weak = weak_pack(scenario)?;
    let span = spans.get("cells").unwrap_or_else(|| spans.at("type"));
    let gives = if weak.share > 0.0 {
        format!("it gives {:.0} % of its charge", 100.0 * weak.share)
    } else {
        "it never gives that".to_owned()
    };
    Some(
        Diagnostic::new(codes::WEAK_PACK, span, "the pack is too weak for its motor")
            .label(format!(
                "motor and driver take {:.1} V at {:.2} A of {} cells: {gives}",
                weak.volts, weak.motor_a, weak.cells
            ))
            .help(weak_help(&weak)),
    )
}

/// W014: a dose that no filling of the container makes whole.
fn too_large(scenario: &Scenario) -> Vec<Diagnostic> {
    let Some(container) = &scenario.container else { return Vec::new() };
    let most = container.capacity.minus(container.heel);
    let told = |plan: &EntryPlan| {
        let message = format!("a dose of \"{}\" is more than the container gives", plan.name);
        Diagnostic::new(codes::OVER_CONTAINER, plan.spans.at("volume"), message)
            .label(format!("a full one gives {} above its heel", show::volume(most)))
            .help("take a larger container, or a smaller dose more often")
    };
    let is_more = |plan: &&EntryPlan| plan.enabled && plan.volume > most;
    scenario.entries.iter().filter(is_more).map(told).collect()
}

/// W010: an entry that closed dates in the run do not hold.
fn on_closed(scenario: &Scenario, frame: &Frame) -> Vec<Diagnostic> {
    let zone = scenario.clock.zone_of_device().zone;
    let day = |run_ms: u64| {
        zone.to_local(Utc::from_ms(frame.start_utc_ms.saturating_add_unsigned(run_ms))).date()
    };
    let (from, to) = (day(0), day(frame.run_ms));
    let Some(closed) = scenario.closed.iter().find(|c| c.last >= from && c.first <= to) else {
        return Vec::new();
    };
    let goes_on =
        |plan: &&EntryPlan| plan.enabled && matches!(plan.recurrence, RecurrencePlan::Every { .. });
    let told = |plan: &EntryPlan| {
        let span = plan.recurrence_spans.get("interval").unwrap_or_else(|| plan.spans.table());
        let message = format!("closed dates do not hold \"{}\"", plan.name);
        Diagnostic::new(codes::INTERVAL_ON_CLOSED, span, message)
            .label(format!(
                "it runs from {} to {} too, blind to the calendar",
                stamp::day(closed.first),
                stamp::day(closed.last)
            ))
            .help("make the entry `weekly` if it is not to")
    };
    scenario.entries.iter().filter(goes_on).map(told).collect()
}

/// W002: an interval that is counted from a time which does not exist.
fn begins_in_skipped(scenario: &Scenario, plan: &EntryPlan) -> Option<Diagnostic> {
    let RecurrencePlan::Every { from: IntervalStart::Local(from), .. } = plan.recurrence else {
        return None;
    };
    let zone = scenario.clock.zone.zone;
    let utc = match zone.kind_of(from) {
        LocalKind::Skipped => zone.to_utc(from, GapRule::Shift),
        _ => return None,
    };
    Some(
        Diagnostic::new(
            codes::IN_SKIPPED_HOUR,
            plan.recurrence_spans.at("from"),
            format!("\"{}\" begins in the hour that spring skips", plan.name),
        )
        .label(format!(
            "on {} there is no {}: it begins at {}",
            stamp::day(from.date()),
            stamp::hour_minute(from),
            stamp::hour_minute(zone.to_local(utc))
        ))
        .help("its doses come at the times that are counted from there"),
    )
}

/// W009: a container from which nothing can be drawn.
fn at_heel(scenario: &Scenario) -> Option<Diagnostic> {
    let container = scenario.container.as_ref()?;
    let spans = &container.spans;
    let key = if spans.get("level").is_some() { "level" } else { "capacity" };
    (container.level <= container.heel && scenario.entries.iter().any(|plan| plan.enabled)).then(
        || {
            Diagnostic::new(
                codes::AT_HEEL,
                spans.at(key),
                "the container is at its heel from the start",
            )
            .label(format!(
                "{} of it, and the suction tube ends at {}",
                show::volume(container.level),
                show::volume(container.heel)
            ))
            .help("no dose runs before it is filled: give a `level` above the heel, or a lower `heel`")
        },
    )
}

fn at_span(plan: &EntryPlan) -> Span {
    plan.recurrence_spans.get("at").unwrap_or_else(|| plan.spans.table())
}

fn hour_minute(at_min: u16) -> String {
    format!("{:02}:{:02}", at_min / 60, at_min % 60)
}

/// W001: `fri 00:45` is in the night that people call Thursday's.
fn plain_night(plan: &EntryPlan, entry: &Entry) -> Option<Diagnostic> {
    let Recurrence::Weekly { days, at_min, by_night: false } = entry.recurrence else {
        return None;
    };
    let index = days.bits().trailing_zeros() as usize;
    if at_min >= SMALL_HOURS_END_MIN || days.bits() == 0x7f {
        return None;
    }
    let (day, word) = (DAY_NAMES.get(index)?, DAYS.get(index)?);
    let (before, word_before) = (DAY_NAMES.get((index + 6) % 7)?, DAYS.get((index + 6) % 7)?);
    let at = hour_minute(at_min);
    Some(
        Diagnostic::new(codes::PLAIN_NIGHT, at_span(plan), "a time after midnight is given with calendar days")
            .label(format!("{word} {at} is {day} just after midnight, in the night of {before}"))
            .help(format!("for the night of {day}, which ends on the morning after it, write nights = [\"{word}\", ...]; if this is meant, nights = [\"{word_before}\", ...] says the same and is not warned about")),
    )
}

/// W002 and W004: dues in the hours that the clock changes skip or repeat.
fn at_changes(
    scenario: &Scenario,
    plan: &EntryPlan,
    entry: &Entry,
    frame: &Frame,
    clock: &WallClock,
) -> Vec<Diagnostic> {
    let Recurrence::Weekly { at_min, .. } = entry.recurrence else { return Vec::new() };
    let end = frame.start_utc_ms.saturating_add_unsigned(frame.run_ms);
    let mut found = Vec::new();
    let (mut skipped, mut repeated) = (0_usize, 0_usize);
    let mut from = Utc::from_ms(frame.start_utc_ms);
    for _ in 0..MOST_CHANGES {
        let Some(change) =
            clock.zone.next_change_after(from).filter(|change| change.at.as_ms() <= end)
        else {
            break;
        };
        from = change.at;
        let Some(due) = due_in(entry, &change) else { continue };
        if entry.observes_closed
            && scenario
                .closed
                .iter()
                .any(|c| c.first <= entry.date_of(due) && entry.date_of(due) <= c.last)
        {
            continue;
        }
        let local = Local::from_ms(i64::from(due.0) * 60_000);
        let date = stamp::day(local.date());
        let by =
            show::length(u64::from(change.offset_after_s.abs_diff(change.offset_before_s)) * 1000);
        if change.offset_after_s > change.offset_before_s {
            skipped += 1;
            if skipped == 1 {
                found.push(in_skipped_hour(plan, entry, clock, local, &date, at_min));
            }
        } else {
            repeated += 1;
            if repeated == 1 {
                found.push(
                    Diagnostic::new(codes::IN_REPEATED_HOUR, at_span(plan), "a scheduled dose falls in the hour that autumn repeats")
                        .label(format!("on {date} {} comes twice, {by} apart", hour_minute(at_min)))
                        .help("it is delivered once, in the first pass; the time to the next use of water is longer by as much"),
                );
            }
        }
    }
    for (code, count) in [(codes::IN_SKIPPED_HOUR, skipped), (codes::IN_REPEATED_HOUR, repeated)] {
        if let Some(first) = found.iter_mut().find(|d| d.code == code && count > 1) {
            let dates = if count == 2 { "date" } else { "dates" };
            *first = first.clone().note(format!("the same on {} more {dates}", count - 1));
        }
    }
    found
}

/// The due of an entry whose local time a change skips or repeats.
fn due_in(entry: &Entry, change: &Change) -> Option<Nominal> {
    let (low, high) = (
        change.offset_before_s.min(change.offset_after_s),
        change.offset_before_s.max(change.offset_after_s),
    );
    let first_ms = change.at.as_ms() + i64::from(low) * 1000;
    let end_ms = change.at.as_ms() + i64::from(high) * 1000;
    let first = Nominal(
        u32::try_from(first_ms.div_euclid(60_000) + i64::from(first_ms.rem_euclid(60_000) > 0))
            .ok()?,
    );
    entry.next_at_or_after(first).filter(|due| i64::from(due.0) * 60_000 < end_ms)
}

fn in_skipped_hour(
    plan: &EntryPlan,
    entry: &Entry,
    clock: &WallClock,
    local: Local,
    date: &str,
    at_min: u16,
) -> Diagnostic {
    let moved = clock.zone.to_local(clock.zone.to_utc(local, entry.gap_rule));
    let end = Local::from_ms(moved.as_ms() + i64::from(entry.window_ms));
    let usual_end = u32::from(at_min) * 60_000 + entry.window_ms;
    let later_ms = (end.time_of_day().as_ms() as i64 - i64::from(usual_end % (DAY_MIN * 60_000)))
        .rem_euclid(86_400_000);
    let by = show::length(later_ms as u64);
    let found = Diagnostic::new(codes::IN_SKIPPED_HOUR, at_span(plan), "a scheduled dose falls in the hour that spring skips")
        .label(format!("on {date} {} does not exist: it runs {} to {}", hour_minute(at_min), stamp::hour_minute(moved), stamp::hour_minute(end)))
        .help(format!("the contact time before the next use of water is {by} shorter that day; an earlier time, outside the hour that is skipped, keeps it"));
    match entry.gap_rule {
        GapRule::Shift => found.note("gap = \"first valid\" runs it at the first time that exists"),
        GapRule::FirstValid => found,
    }
}

/// W006: a dose that a failed foot valve would make all air.
fn drains_back(scenario: &Scenario, plan: &EntryPlan) -> Option<Diagnostic> {
    let tube = scenario.tube.as_ref()?;
    let lifted = tube.lifted();
    (plan.volume < lifted).then(|| {
        Diagnostic::new(
            codes::DRAINS_BACK,
            plan.spans.at("volume"),
            "the dose is less than what the suction line holds above the product",
        )
        .label(format!("the line holds about {:.0} ml there", lifted.as_nl() as f64 / 1e6))
        .note_at(tube.spans.at("lift"), "it is lifted here")
        .help("where the foot valve fails the line drains back between doses, and a dose like this is all air, though the pump runs: flow is not sensed. Look after the foot valve, or lift less")
    })
}

/// W007: a container that runs out by itself when the squeeze is lost.
fn siphons(scenario: &Scenario) -> Option<Diagnostic> {
    let tube = scenario.tube.as_ref()?;
    let flow = tube.siphon(scenario.product.as_ref())?;
    Some(
        Diagnostic::new(
            codes::SIPHONS,
            tube.spans.at("outlet_below"),
            "the outlet lies below the product",
        )
        .label(format!(
            "should the rollers lose their squeeze, about {:.0} ml/min run out",
            flow.ml_min
        ))
        .help("fit an anti-siphon valve or an air gap, or put the container lower"),
    )
}

/// W003: an interval that wanders through the day meets a weekly entry.
fn meets(first: &EntryPlan, second: &EntryPlan, a: &Entry) -> Diagnostic {
    let interval = if a.is_weekly() { second } else { first };
    let other = if a.is_weekly() { first } else { second };
    let span = interval.recurrence_spans.get("interval").unwrap_or_else(|| interval.spans.table());
    Diagnostic::new(
        codes::MEETS_INTERVAL,
        span,
        format!("\"{}\" will at times meet \"{}\"", interval.name, other.name),
    )
    .label("its doses wander through the week")
    .help("where two meet one waits for the other; the wait is in the outcome")
}
