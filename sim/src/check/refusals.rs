//! What the device refuses, at its place in the file and with its arithmetic.

mod misfits;

use dosewright_core::civil::{DAY_MIN, Local};
use dosewright_core::config::HeadProblem;
use dosewright_core::entry::{Entry, EntryId, Recurrence};
use dosewright_core::schedule::WallClock;
use dosewright_core::time::Instant;
use dosewright_core::timetable::{self, Refusal, Timetable};
use dosewright_core::units::Volume;

use crate::diagnose::{Diagnostic, Span, codes};
use crate::observe::LINES;
use crate::scenario::{EntryPlan, IntervalStart, RecurrencePlan, Scenario, show};

/// The entry of a number: numbers count from 1 in the order of the file.
pub(super) fn plan(scenario: &Scenario, id: EntryId) -> Option<&EntryPlan> {
    scenario.entries.get(usize::from(id.0).wrapping_sub(1))
}

fn place(scenario: &Scenario, id: EntryId, key: &str) -> Span {
    plan(scenario, id).map_or_else(Span::default, |plan| {
        plan.recurrence_spans.get(key).unwrap_or_else(|| plan.spans.at(key))
    })
}

fn name(scenario: &Scenario, id: EntryId) -> &str {
    plan(scenario, id).map_or("", |plan| plan.name.as_str())
}

fn time(minutes: u16) -> String {
    format!("{:02}:{:02}", minutes / 60, minutes % 60)
}

/// The starts that were found for entries that meet others: each is looked for once.
#[derive(Default)]
pub(super) struct Starts(Vec<(EntryId, Option<String>)>);

impl Starts {
    fn of(&mut self, id: EntryId, find: impl FnOnce() -> Option<String>) -> Option<String> {
        if let Some((_, known)) = self.0.iter().find(|(known, _)| *known == id) {
            return known.clone();
        }
        let found = find();
        self.0.push((id, found.clone()));
        found
    }
}

/// What else is wrong with the entry of a refusal, which the device does not come to.
pub(super) fn beside(
    scenario: &Scenario,
    timetable: &Timetable<LINES>,
    refusal: &Refusal,
) -> Option<Diagnostic> {
    match *refusal {
        Refusal::DoesNotFit { id, misfit } => {
            misfits::in_no_window(scenario, timetable, id, misfit)
        }
        _ => None,
    }
}

/// A refusal as a diagnostic.
pub(super) fn diagnostic(
    scenario: &Scenario,
    timetable: &Timetable<LINES>,
    clock: Option<&WallClock>,
    refusal: &Refusal,
    starts: &mut Starts,
) -> Diagnostic {
    match *refusal {
        Refusal::DoesNotFit { id, misfit } => misfits::misfits(scenario, timetable, id, misfit),
        Refusal::Overlap { first, second, nearest_min } => {
            // the device looks beside the windows of weekly entries alone
            let weekly = scenario.entries.iter().all(|plan| !plan.enabled || plan.is_weekly());
            let nearest = nearest_min
                .filter(|_| weekly)
                .map(time)
                .or_else(|| starts.of(second, || nearest(scenario, timetable, clock, second)));
            overlap(scenario, first, second, nearest)
        }
        Refusal::GapTooShort { id, window_and_grace_ms, gap_ms } => {
            let has_grace = plan(scenario, id).is_some_and(|plan| plan.grace_ms > 0);
            let what = if has_grace { "window and grace are" } else { "the window is" };
            Diagnostic::new(
                codes::WINDOW_OVER_GAP,
                place(scenario, id, "window"),
                format!("{what} not less than the entry's own gap"),
            )
            .label(format!(
                "{} of {}; the gap is {}",
                show::length(window_and_grace_ms),
                if has_grace { "window and grace" } else { "window" },
                show::length(gap_ms)
            ))
            .help(format!("they have to be less than {} together", show::length(gap_ms)))
        }
        Refusal::NeverDue { id } => {
            let key = if plan(scenario, id).is_some_and(|plan| plan.last.is_some()) {
                "last"
            } else {
                "first"
            };
            Diagnostic::new(
                codes::NEVER_DUE,
                place(scenario, id, key),
                format!("\"{}\" never comes due", name(scenario, id)),
            )
            .label("none of its days lies between its first and last date")
            .help("move a date, or name another day")
        }
        Refusal::OverCeiling { asked, ceiling } => {
            let span = scenario.limits.spans.at("daily_ceiling");
            Diagnostic::new(
                codes::CEILING,
                span,
                "the timetable asks for more than the daily ceiling",
            )
            .label(format!(
                "it asks for {} in 24 h; the ceiling is {}",
                show::volume(asked),
                show::volume(ceiling)
            ))
            .help(format!(
                "a ceiling of {} at least would do; unless one is given it is {}",
                show::volume(asked),
                show::volume(Volume::from_nl(asked.as_nl() + asked.as_nl() / 4))
            ))
        }
        Refusal::TooManyDues { dues, most } => {
            let busiest = scenario.entries.iter().min_by_key(|plan| {
                match plan.to_core(EntryId(0), Instant::ZERO).recurrence {
                    Recurrence::Interval { every_ms, .. } => every_ms,
                    Recurrence::Weekly { .. } => u64::MAX,
                }
            });
            let span = busiest.map_or_else(Span::default, |plan| {
                plan.recurrence_spans.get("interval").unwrap_or_else(|| plan.spans.table())
            });
            Diagnostic::new(
                codes::TOO_MANY_DOSES,
                span,
                "more scheduled doses in a day than the device keeps account of",
            )
            .label(format!("{dues} doses in 24 h; at most {most}"))
            .help("a longer interval with a larger dose delivers the same volume a day")
        }
        Refusal::TooManyEntries { most } => {
            let span =
                scenario.entries.get(most).map_or_else(Span::default, |plan| plan.spans.table());
            Diagnostic::new(
                codes::TOO_MANY_ENTRIES,
                span,
                "the timetable has more entries than the device holds",
            )
            .label(format!("{} entries; at most {most}", scenario.entries.len()))
            .help("one weekly entry can name several days")
        }
        Refusal::Head(problem) => head(scenario, problem),
        Refusal::Field { id, field } => {
            let key = match field {
                "first and last" => "last",
                other => other,
            };
            Diagnostic::new(
                codes::OUT_OF_RANGE,
                place(scenario, id, key),
                format!("the device does not take this {field}"),
            )
            .label(range(field))
        }
        // what only a running device can say
        Refusal::SameId { .. }
        | Refusal::RetiredId { .. }
        | Refusal::Busy
        | Refusal::ContainerEmpty
        | Refusal::Battery
        | Refusal::NoSuchEntry { .. }
        | Refusal::NotRunning { .. }
        | Refusal::Ledger
        | Refusal::AtCeiling
        | Refusal::Locked
        | Refusal::WrongPin
        | Refusal::TriedTooOften { .. }
        | Refusal::NoRun(_)
        | Refusal::NothingMeasured
        | Refusal::RunLonger { .. }
        | Refusal::RunTwice { .. }
        | Refusal::Implausible { .. }
        | Refusal::OutOfRange => {
            debug_assert!(false, "a check of a timetable does not end in {refusal:?}");
            Diagnostic::new(
                codes::OUT_OF_RANGE,
                Span::default(),
                "the device does not take this timetable",
            )
        }
    }
}

const fn range(field: &str) -> &'static str {
    match field.as_bytes() {
        b"interval" => "an interval is 1 min to 366 d",
        b"volume" => "a dose is more than nothing and at most 100 l",
        b"window" => "a window is more than nothing and at most 7 d",
        b"grace" => "grace is at most 7 d",
        b"first and last" => "dates are those of weekly entries, from 2000-01-01 to 2179-01-01",
        _ => "it is out of the device's range",
    }
}

/// The start nearest to the one that an entry has, at which it meets no other entry as a
/// matter of course: of a weekly one on the same day or night, of an interval the first
/// dose within half a day.
fn nearest(
    scenario: &Scenario,
    timetable: &Timetable<LINES>,
    clock: Option<&WallClock>,
    id: EntryId,
) -> Option<String> {
    const MINUTE_MS: i64 = 60_000;
    let entry = timetable.get(id)?;
    let is_free = |recurrence: Recurrence| {
        let moved = Entry { recurrence, ..entry };
        let mut others = timetable
            .entries()
            .filter(|other| other.id != id && plan(scenario, other.id).is_some_and(|p| p.enabled));
        !others.any(|other| timetable::overlap(&moved, &other, clock, Instant::ZERO))
    };
    let day_min = i64::from(DAY_MIN);
    let near = |most: i64| (1..=most).flat_map(|minutes| [-minutes, minutes]);
    match (entry.recurrence, plan(scenario, id)?.recurrence) {
        (Recurrence::Weekly { days, at_min: own, by_night }, _) => {
            // a night runs from noon to noon
            let begin = if by_night { day_min / 2 } else { 0 };
            let own = (i64::from(own) - begin).rem_euclid(day_min);
            near(day_min)
                .map(|by| own + by)
                .filter(|minute| (0..day_min).contains(minute))
                .filter_map(|minute| u16::try_from((minute + begin) % day_min).ok())
                .find(|at_min| is_free(Recurrence::Weekly { days, at_min: *at_min, by_night }))
                .map(time)
        }
        (
            Recurrence::Interval { every_ms, from },
            RecurrencePlan::Every { from: IntervalStart::Local(local), .. },
        ) => near(day_min / 2)
            .map(|by| by * MINUTE_MS)
            .find(|by_ms| {
                let from = Instant::from_ms(from.as_ms().saturating_add(*by_ms));
                is_free(Recurrence::Interval { every_ms, from })
            })
            .map(|by_ms| Local::from_ms(local.as_ms() + by_ms))
            .map(|local| format!("from = \"{}\"", show::local(local))),
        _ => None,
    }
}

fn overlap(
    scenario: &Scenario,
    first: EntryId,
    second: EntryId,
    nearest: Option<String>,
) -> Diagnostic {
    let (one, two) = (name(scenario, first), name(scenario, second));
    let key =
        match plan(scenario, second).map(|plan| plan.to_core(second, Instant::ZERO).recurrence) {
            Some(Recurrence::Weekly { .. }) => "at",
            _ => "from",
        };
    let other = plan(scenario, first).map_or_else(Span::default, |plan| plan.spans.at("window"));
    let found = Diagnostic::new(
        codes::WINDOWS_OVERLAP,
        place(scenario, second, key),
        format!("the windows of \"{one}\" and \"{two}\" overlap"),
    )
    .label("two doses never own the pump at once")
    .note_at(other, format!("the window of \"{one}\" is here"));
    match nearest {
        Some(start) => found.help(format!("the nearest start that fits is {start}")),
        None if key == "from" => found.help(format!(
            "begin \"{two}\" at another time (\"from\"), make a window shorter, or change the interval"
        )),
        None => found.help(format!(
            "no start on its days fits \"{two}\"; make a window shorter, or change its days"
        )),
    }
}

fn head(scenario: &Scenario, problem: HeadProblem) -> Diagnostic {
    let head = &scenario.head.head;
    let (key, label) = match problem {
        HeadProblem::Rollers => ("rollers", "1 to 16".to_owned()),
        HeadProblem::ShortestOverLongest => (
            "shortest_on",
            format!("the longest run is {}", show::length(u64::from(head.longest_run_ms))),
        ),
        HeadProblem::NoOffTime => {
            ("shortest_off", "a gap between pulses cannot be nothing".to_owned())
        }
        HeadProblem::Starts => ("starts_per_hour", "1 to 60".to_owned()),
        HeadProblem::OverADay => {
            ("longest_run", "longest run and least rest are a day at most".to_owned())
        }
        HeadProblem::ServiceRun => (
            "longest_prime",
            "longest prime and calibration are more than nothing and a day at most".to_owned(),
        ),
    };
    Diagnostic::new(
        codes::BAD_HEAD,
        scenario.head.spans.at(key),
        "the head's limits contradict each other",
    )
    .label(label)
}
