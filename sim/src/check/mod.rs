//! Whether the device would take the timetable of a scenario, and what somebody
//! who takes it should know beforehand.
//!
//! What operators change later is for the device to take or refuse in the run.

mod closed;
mod refusals;
mod room;
mod warnings;
mod words;

pub(crate) use closed::dosed_on;
pub use words::{refusal, refusal_of};

use dosewright_core::entry::GapRule;
use dosewright_core::schedule::WallClock;
use dosewright_core::time::Instant;
use dosewright_core::timetable::Refusal;

use crate::diagnose::{self, Diagnostic, codes};
use crate::run::{Frame, Options};
use crate::scenario::{self, Scenario};
use crate::words::{CELLS, lines, plural};
use crate::world;

/// A year that may be a leap year.
const YEAR_MS: u64 = 366 * 86_400_000;

/// Reads a file and checks the timetable in it: everything that is wrong, or
/// worth knowing, in the order of the file. The scenario is there where nothing
/// is an error.
///
/// What the calendar brings is looked for in the length of the run.
pub fn read(file: &str, text: &str) -> (Option<Scenario>, Vec<Diagnostic>) {
    read_for(file, text, 0)
}

/// As [`read`], for somebody who takes the timetable to a site: what the calendar brings
/// is looked for in a year at least, however short the run is.
pub fn read_ahead(file: &str, text: &str) -> (Option<Scenario>, Vec<Diagnostic>) {
    read_for(file, text, YEAR_MS)
}

/// Changes of clock or timetable in the run of a scenario: a check is of the timetable at the
/// start.
pub fn later_changes(scenario: &Scenario) -> usize {
    scenario.operator.iter().filter(|act| act.act.moves_dues()).count()
}

/// The same as a line or two under a report.
pub fn not_looked_at(name: &str, later: usize) -> String {
    let are = if later == 1 { "is" } else { "are" };
    let text = format!(
        "{name}: {} of clock or timetable {are} not looked at: this is of the timetable at the start",
        plural(later as u64, "later change")
    );
    lines(&text, CELLS).join("\n") + "\n"
}

fn read_for(file: &str, text: &str, least_ms: u64) -> (Option<Scenario>, Vec<Diagnostic>) {
    let (scenario, mut problems) = scenario::read_what_there_is(file, text);
    if let Some(scenario) = &scenario {
        // an entry that cannot be read is left out, and may be what is due
        let (unread, _) = diagnose::count(&problems);
        let found = timetable(file, scenario, least_ms).into_iter();
        problems.extend(found.filter(|p| unread == 0 || p.code != codes::NOTHING_DUE));
    }
    diagnose::sort(&mut problems);
    scenario::cap(&mut problems);
    let (errors, _) = diagnose::count(&problems);
    (scenario.filter(|_| errors == 0), problems)
}

/// What the device would refuse of a scenario's timetable, and warnings of its run, or
/// of so many ms where it is shorter.
fn timetable(file: &str, scenario: &Scenario, least_ms: u64) -> Vec<Diagnostic> {
    if let Some((found, rest)) = room::too_many(scenario) {
        let others = timetable(file, &rest, least_ms);
        return found.into_iter().map(|found| found.in_file(file)).chain(others).collect();
    }
    let frame = Frame::of(scenario, &Options::default());
    let clock = clock(scenario, &frame);
    let timetable = world::first_timetable(scenario, &frame);
    let mut problems = Vec::new();
    let mut starts = refusals::Starts::default();
    timetable.check(&scenario.head.head, clock.as_ref(), Instant::ZERO, &mut |refusal| {
        if !is_told(scenario, &refusal) {
            let clock = clock.as_ref();
            problems.push(refusals::diagnostic(scenario, &timetable, clock, &refusal, &mut starts));
            problems.extend(refusals::beside(scenario, &timetable, &refusal));
        }
    });
    let accepted = problems.is_empty();
    let frame = Frame { run_ms: frame.run_ms.max(least_ms), ..frame };
    problems.extend(room::over_meter(scenario));
    problems.extend(room::off_the_calendar(scenario));
    problems.extend(warnings::find(scenario, &timetable, &frame, clock.as_ref(), accepted));
    problems.into_iter().map(|problem| problem.in_file(file)).collect()
}

/// A last date before the first, or dates of an interval, which the reader has told of.
fn is_told(scenario: &Scenario, refusal: &Refusal) -> bool {
    let Refusal::Field { id, field: "first and last" } = *refusal else { return false };
    refusals::plan(scenario, id).is_some_and(|plan| {
        !plan.is_weekly() || plan.first.zip(plan.last).is_some_and(|(first, last)| last < first)
    })
}

/// The device's clock as the installer sets it; `None` where it is left unset.
fn clock(scenario: &Scenario, frame: &Frame) -> Option<WallClock> {
    let zone = scenario.clock.zone_of_device().zone;
    let shows = frame.start_utc_ms.saturating_add(scenario.clock.off_by.0);
    let local = zone.to_local(dosewright_core::time::Utc::from_ms(shows));
    (!scenario.clock.unset)
        .then(|| WallClock { offset_ms: zone.to_utc(local, GapRule::Shift).as_ms(), zone })
}
