//! What became of doses, as the record names them.

use dosewright_core::book::Book;
use dosewright_core::cause::Cause;
use dosewright_core::civil::{Date, Local};
use dosewright_core::entry::{Entry, EntryId, GapRule, Nominal};
use dosewright_core::panel::{Preferences, Recent};
use dosewright_core::record::{Outcome, OutcomeKind};
use dosewright_core::schedule::WallClock;
use dosewright_core::time::Duration;

use crate::forged::{H, Looking, N, NOW, book, outcome};

/// The first two lines of the home card of a state, with one outcome.
fn home(state: Book<N, H>, outcome: &Outcome) -> [String; 2] {
    let mut looking = Looking::at(state, Preferences::NEW);
    looking.recent = Recent::NONE;
    looking.recent.note(outcome);
    let lines = looking.lines();
    [lines[0].clone(), lines[1].clone()]
}

/// The clock lost its feed, and is set to so many days more than it would have been.
fn after_a_loss(days: i64) -> Book<N, H> {
    let mut state = book();
    let clock =
        |clock: WallClock| WallClock { offset_ms: clock.offset_ms + days * 86_400_000, ..clock };
    (state.losses, state.clock, state.not_before) = (1, state.clock.map(clock), NOW);
    state
}

#[test]
fn an_outcome_keeps_the_time_of_the_clock_that_its_due_was_of() {
    let dosed = outcome(OutcomeKind::Dosed, 1200, 0);
    assert_eq!(home(book(), &dosed)[0], "Last dose   Tu 00:45");
    // twenty days without feed, which no count knows of
    assert_eq!(home(after_a_loss(20), &dosed)[0], "Last dose  20 Oct 26");
    // minutes of it, and a clock that was set back
    let mut state = book();
    for minutes in [10, -60] {
        state.clock = book()
            .clock
            .map(|clock| WallClock { offset_ms: clock.offset_ms + minutes * 60_000, ..clock });
        assert_eq!(home(state, &dosed)[0], "Last dose   Tu 00:45");
    }
    // a clock that is not set takes nothing from what the record says
    state.clock = None;
    assert_eq!(home(state, &dosed)[0], "Last dose  20 Oct 26");
}

/// The home card at noon of a Sunday in Berlin, of the dose that was due at 02:30 in the
/// night before, of an entry with a rule for the night of the spring change.
fn at_noon_of(month: u8, day: u8, gap_rule: GapRule) -> String {
    let mut state = book();
    let entry = state.timetable.get(EntryId(1)).unwrap();
    assert!(state.timetable.remove(entry.id));
    state.timetable.put(Entry { gap_rule, ..entry }).unwrap();
    let date = Date::from_ymd(2026, month, day).unwrap();
    let utc = state.zone.to_utc(Local::new(date, Duration::from_min(720)), GapRule::Shift);
    let clock = |clock| WallClock { offset_ms: utc.as_ms() - NOW.as_ms(), ..clock };
    state.clock = state.clock.map(clock);
    let nominal = Nominal(date.days() as u32 * 1440 + 150);
    let mut dosed = outcome(OutcomeKind::Dosed, 1200, 0);
    (dosed.due.nominal, dosed.last) = (nominal, nominal);
    home(state, &dosed)[0].clone()
}

#[test]
fn d8_a_dose_that_the_spring_change_moved_has_the_time_that_it_came_at() {
    assert_eq!(at_noon_of(3, 29, GapRule::Shift), "Last dose   Su 03:30");
    assert_eq!(at_noon_of(3, 29, GapRule::FirstValid), "Last dose   Su 03:00");
    for rule in [GapRule::Shift, GapRule::FirstValid] {
        assert_eq!(at_noon_of(3, 22, rule), "Last dose   Su 02:30");
        assert_eq!(at_noon_of(10, 25, rule), "Last dose   Su 02:30");
    }
}

#[test]
fn what_comes_by_elapsed_time_or_was_asked_for_is_of_no_day_that_is_not_known() {
    let mut third = outcome(OutcomeKind::Dosed, 1200, 0);
    (third.due.nominal, third.last) = (Nominal(3), Nominal(3));
    assert_eq!(home(book(), &third)[0], "Last dose   Tu 00:45");
    assert_eq!(home(after_a_loss(20), &third), ["Last dose", "Dosed         120 ml"]);
    // it came after the clock was set again
    third.due_at = NOW;
    assert_eq!(home(after_a_loss(20), &third)[0], "Last dose   Mo 09:05");
}

#[test]
fn d1_a_row_of_skipped_doses_is_its_last_due_and_how_many_they_are() {
    let first = outcome(OutcomeKind::Skipped(Cause::SupplyLost), 0, 17);
    let row = |count| Outcome { last: Nominal(first.last.0 + 16 * 1440), count, ..first };
    let shown = |count| home(book(), &row(count));
    assert_eq!(shown(1), ["Last dose   Mo 00:45", "Skipped"]);
    assert_eq!(shown(17), ["Last dose   Mo 00:45", "Skipped          ×17"]);
    assert_eq!(shown(14_399), ["Last dose   Mo 00:45", "Skipped       ×14399"]);
    assert_eq!(shown(70_000), ["Last dose   Mo 00:45", "Skipped       ×65535"]);
}
