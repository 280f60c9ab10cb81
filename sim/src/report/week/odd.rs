//! What was not as usual in each week of a run.

use super::super::facts::{Facts, Fate};
use super::super::unusual::Unusual;
use super::Mark;
use super::shades::{Kind, Shade};

/// All of it; the week of a local time is one of so many.
pub(super) fn odd<'a>(
    facts: &'a Facts,
    marks: &[Mark<'a>],
    shades: &[Shade],
    weeks: usize,
    week_of: impl Fn(i64) -> usize,
) -> Unusual<'a> {
    let mut odd = Unusual::of(weeks);
    for mark in marks {
        let week = week_of(mark.at.local.as_ms());
        let cause = mark.dose.cause.as_deref().unwrap_or_default();
        let by = match mark.fate {
            Fate::Dosed => 0,
            Fate::Skipped if cause == "closed" => 1,
            Fate::Skipped | Fate::Part | Fate::Open => 100,
        };
        odd.add(week, (mark.fate.word(), cause), by);
        odd.add(week, ("dose that was asked for", ""), if mark.dose.asked { 20 } else { 0 });
        odd.add(week, ("dose with a restart", ""), if mark.dose.restarts > 0 { 20 } else { 0 });
    }
    for shade in shades {
        let by = match shade.kind {
            Kind::Unset => 100,
            Kind::NoSupply => 20,
            Kind::Skipped | Kind::Repeated => 10,
        };
        for week in week_of(shade.from)..=week_of(shade.to - 1) {
            odd.add(week, (shade.kind.word(), ""), by);
        }
    }
    let week_at = |at_ms: u64| week_of(facts.frame.local(at_ms).as_ms());
    for (at, ..) in &facts.clock {
        odd.add(week_at(*at), ("clock set", ""), 20);
    }
    for at in &facts.resets {
        odd.add(week_at(*at), ("restart of the processor", ""), 20);
    }
    for visit in facts.visits.iter().filter(|visit| visit.changed().is_some()) {
        odd.add(week_at(visit.at_ms), ("timetable changed", ""), 20);
    }
    for (at, alarm, _) in facts.alarms.iter().filter(|(.., on)| *on) {
        odd.add(week_at(*at), ("alarm", alarm), 20);
    }
    odd
}
