//! Every screen of every card and draft, in every language and unit: all of them fit,
//! and those of metric units are in tables that a person can read through.

use std::collections::HashSet;
use std::fmt::Write as _;
use std::path::Path;

use dosewright_core::book::Book;
use dosewright_core::calibration::NoRun;
use dosewright_core::cause::Cause;
use dosewright_core::config::HeadProblem;
use dosewright_core::entry::EntryId;
use dosewright_core::event::Event;
use dosewright_core::panel::Input::{Hold, Left, Press, Right};
use dosewright_core::panel::{Card, Language, Panel, Preferences, Screen, Unit};
use dosewright_core::record::{Alarm, OutcomeKind};
use dosewright_core::spread::Misfit;
use dosewright_core::time::Duration;
use dosewright_core::timetable::Refusal;
use dosewright_core::units::Volume;

use crate::forged::{self, H, Looking, N, book, flow};

/// Screens as they were met, each once.
#[derive(Default)]
struct Table {
    title: String,
    text: String,
    met: HashSet<Screen>,
    count: usize,
}

impl Table {
    fn section(&mut self, title: &str) {
        title.clone_into(&mut self.title);
    }

    fn take(&mut self, screen: Screen) {
        assert!(!screen.is_cut(), "something does not fit:\n{screen}\n{}", self.text);
        if self.met.insert(screen) {
            self.count += 1;
            let title = std::mem::take(&mut self.title);
            if !title.is_empty() {
                _ = write!(self.text, "== {title} ==\n\n");
            }
            for row in screen.rows() {
                _ = writeln!(self.text, "|{}|", row.iter().collect::<String>());
            }
            self.text.push('\n');
        }
    }
}

/// Walks a draft that is open to its end: a turn at each wheel, so that digits are
/// nines, and then a look at what was entered.
fn walk_draft(looking: &mut Looking, table: &mut Table, turns: u32) {
    for _ in 0..60 {
        table.take(looking.screen());
        if !looking.panel.has_draft() {
            return;
        }
        if looking.screen().to_string().lines().nth(2).is_some_and(|line| line.contains('[')) {
            for _ in 0..turns {
                looking.touch(Left);
                table.take(looking.screen());
            }
            looking.touch(Press);
        } else {
            break;
        }
    }
    let end = looking.panel;
    for _ in 0..9 {
        looking.touch(Left);
        table.take(looking.screen());
    }
    looking.panel = end;
    // in force, as if it had been taken
    if looking.touch(Press) {
        let view = forged::view(&looking.logic, &looking.recent);
        looking.panel.answer(None, &view);
    }
    table.take(looking.screen());
    looking.touch(Hold);
}

/// The ring, each card with the draft that it opens.
fn walk_ring(state: Book<N, H>, preferences: Preferences, title: &str, table: &mut Table) {
    for turns in [0, 1] {
        let mut looking = Looking::at(state, preferences);
        for (at, card) in Card::ALL.into_iter().enumerate() {
            for _ in 0..at {
                looking.touch(Right);
            }
            assert_eq!(looking.panel.card(), card);
            if turns == 0 {
                table.section(&format!("{title}: {card:?}"));
            } else {
                table.section(&format!("{title}: {card:?}, turned"));
            }
            table.take(looking.screen());
            looking.touch(Press);
            if looking.panel.has_draft() {
                // behind a choice there is another draft: each of them
                let choice = looking.panel;
                walk_draft(&mut looking, table, turns);
                for at in 1..8 {
                    looking.panel = choice;
                    if matches!(card, Card::Supply | Card::Timetable | Card::SetUp) {
                        for _ in 0..at {
                            looking.touch(Right);
                        }
                        table.take(looking.screen());
                        looking.touch(Press);
                        walk_draft(&mut looking, table, turns);
                    }
                }
            }
            table.take(looking.screen());
            looking.touch(Hold);
            looking.touch(Hold);
            assert!(looking.panel.is_home());
        }
    }
}

/// The reading of a calibration run, from its card.
fn walk_reading(preferences: Preferences, table: &mut Table) {
    table.section("a reading");
    let mut looking = Looking::at(book(), preferences);
    let end = forged::NOW.plus(Duration::from_ms(1000));
    for (at, event) in [
        (forged::NOW, Event::Calibrate { run_ms: 1000 }),
        (forged::NOW, Event::Appended),
        (end, Event::Wake),
        (end, Event::Appended),
    ] {
        let _ = looking.logic.step(at, event);
    }
    assert!(looking.logic.waits_for_reading());
    for _ in 0..5 {
        looking.touch(Right);
    }
    table.take(looking.screen());
    looking.touch(Press);
    walk_draft(&mut looking, table, 1);
}

/// The ways of a first set-up, step by step.
fn walk_set_up(preferences: Preferences, table: &mut Table) {
    table.section("first set-up");
    let mut looking = Looking::at(Book::empty(), preferences);
    let full = book();
    for step in 0..9 {
        table.take(looking.screen());
        looking.touch(Press);
        walk_draft(&mut looking, table, 0);
        // what the step would have set
        let mut now = Book::empty();
        if step >= 1 {
            (now.clock, now.zone) = (full.clock, full.zone);
        }
        if step >= 2 {
            now.head = full.head;
        }
        looking.logic = forged::start(now);
    }
}

fn refusals() -> Vec<Refusal> {
    let id = EntryId(12);
    let fit = |misfit| Refusal::DoesNotFit { id, misfit };
    vec![
        Refusal::TooManyEntries { most: 32 },
        Refusal::SameId { id },
        Refusal::RetiredId { id },
        Refusal::NoSuchEntry { id },
        Refusal::NotRunning { id },
        Refusal::Head(HeadProblem::Rollers),
        Refusal::Field { id, field: "days" },
        Refusal::Field { id, field: "volume" },
        Refusal::NeverDue { id },
        fit(Misfit::Window { dose_ms: 1, least_ms: 272_000 }),
        fit(Misfit::Window { dose_ms: 1, least_ms: 59_940_000 }),
        fit(Misfit::Window { dose_ms: 1, least_ms: 640_000_000 }),
        fit(Misfit::BelowShortestPulse { dose_ms: 1 }),
        fit(Misfit::Indivisible { dose_ms: 1 }),
        fit(Misfit::Pulses { most: 3 }),
        Refusal::GapTooShort { id, window_and_grace_ms: 1, gap_ms: 1 },
        Refusal::Overlap { first: EntryId(65_535), second: id, nearest_min: Some(1439) },
        Refusal::Overlap { first: id, second: id, nearest_min: None },
        Refusal::OverCeiling { asked: Volume::ZERO, ceiling: Volume::ZERO },
        Refusal::TooManyDues { dues: 99, most: 96 },
        Refusal::Busy,
        Refusal::ContainerEmpty,
        Refusal::Battery,
        Refusal::Ledger,
        Refusal::AtCeiling,
        Refusal::OutOfRange,
        Refusal::Locked,
        Refusal::WrongPin,
        Refusal::TriedTooOften { wait_ms: 3_540_000 },
        Refusal::NoRun(NoRun::VesselTooCoarse { best_ppm: 1 }),
        Refusal::NoRun(NoRun::VesselTooSmall),
        Refusal::NothingMeasured,
        Refusal::RunLonger { least_ms: 599_000 },
        Refusal::RunLonger { least_ms: 600_001 },
        Refusal::RunTwice { flow: flow(1) },
        Refusal::Implausible { flow: None },
    ]
}

fn walk_refusals(preferences: Preferences, table: &mut Table) {
    table.section("not taken");
    for refusal in refusals() {
        let mut looking = Looking::at(book(), preferences);
        looking.touch(Right);
        looking.touch(Press);
        let draft = looking.screen();
        let view = forged::view(&looking.logic, &looking.recent);
        looking.panel.answer(Some(refusal), &view);
        table.take(looking.screen());
        // what is offered leads on, a turn back to the draft: to the PIN where it is asked for
        let told = looking.panel;
        looking.touch(Press);
        let offered = looking.screen();
        table.take(offered);
        looking.panel = told;
        looking.touch(Left);
        let asks_pin =
            matches!(refusal, Refusal::Locked | Refusal::WrongPin | Refusal::TriedTooOften { .. });
        assert_eq!(looking.screen(), if asks_pin { offered } else { draft }, "{refusal:?}");
        assert_eq!(looking.screen().to_string().lines().count(), 4);
        assert!(looking.panel.has_draft(), "{refusal:?}");
    }
}

fn walk_states(preferences: Preferences, table: &mut Table) {
    table.section("outcomes");
    for cause in Cause::ALL {
        for kind in [OutcomeKind::Part(cause), OutcomeKind::Skipped(cause)] {
            let mut looking = Looking::at(book(), preferences);
            looking.recent = forged::recent(kind);
            table.take(looking.screen());
        }
    }
    table.section("outcomes before");
    let mut looking = Looking::at(book(), preferences);
    looking.touch(Left);
    looking.touch(Left);
    for _ in 0..4 {
        table.take(looking.screen());
        looking.touch(Press);
    }
    table.section("alarms");
    for alarm in Alarm::ALL {
        for more in [false, true] {
            let mut state = forged::with_alarm(alarm);
            if more {
                state.alarms |= 1 << Alarm::PackLow as u16 | 1 << Alarm::LowLevel as u16;
            }
            let mut looking = Looking::at(state, preferences);
            table.take(looking.screen());
            looking.touch(Press);
            table.take(looking.screen());
        }
    }
    table.section("a dose");
    table.take(Looking::at(forged::dosing(), preferences).screen());
    let mut state = forged::dosing();
    for alarm in Alarm::ALL {
        state.alarms = 1 << alarm as u16;
        table.take(Looking::at(state, preferences).screen());
    }
    table.section("keys that are locked");
    let mut looking = Looking::at(book(), preferences);
    for at in 0..9 {
        let mut now = looking.view().now;
        now = dosewright_core::time::Instant::from_ms(now.as_ms() + at);
        assert_eq!(now.as_ms(), forged::NOW.as_ms() + at);
        looking.touch(Right);
        let mut dark = dosewright_core::controller::Controller::<N, H>::clone(&looking.logic);
        // two minutes on the keys are locked, and a short touch lights
        let later = dosewright_core::time::Instant::from_ms(forged::NOW.as_ms() + 200_000);
        let _ = dark.step(later, Event::Key { held: false });
        let _ = dark.step(later, Event::Key { held: false });
        let view =
            dosewright_core::panel::View { controller: &dark, recent: &looking.recent, now: later };
        table.take(looking.panel.screen(&view));
    }
}

fn walk_all(preferences: Preferences) -> Table {
    let mut table = Table::default();
    walk_set_up(preferences, &mut table);
    walk_ring(book(), preferences, "set up", &mut table);
    walk_ring(forged::locked(), preferences, "locked", &mut table);
    let mut bare = Book::empty();
    bare.head = book().head;
    walk_ring(bare, preferences, "bare", &mut table);
    walk_states(preferences, &mut table);
    walk_reading(preferences, &mut table);
    walk_refusals(preferences, &mut table);
    table
}

fn all_preferences() -> Vec<Preferences> {
    let mut all = Vec::new();
    for &language in Language::ALL {
        for unit in Unit::ALL {
            for twelve_hours in [false, true] {
                all.push(Preferences { language, unit, twelve_hours, ..Preferences::NEW });
            }
        }
    }
    all
}

#[test]
fn every_screen_fits_in_every_language_unit_and_form_of_the_clock() {
    assert_eq!(Language::ALL.len(), 5);
    let mut count = 0;
    for preferences in all_preferences() {
        count += walk_all(preferences).count;
    }
    assert!(count > 10_000, "only {count} screens were looked at");
}

/// Run with `DOSEWRIGHT_UPDATE_SCREENS=1` after a change that is meant, then read the
/// difference.
#[test]
fn the_screens_are_those_of_the_tables() {
    let place = Path::new(env!("CARGO_MANIFEST_DIR")).join("panel/screens");
    for &language in Language::ALL {
        let preferences = Preferences { language, ..Preferences::default() };
        let table = walk_all(preferences);
        let path = place.join(format!("{language:?}.txt").to_lowercase());
        if std::env::var_os("DOSEWRIGHT_UPDATE_SCREENS").is_some() {
            std::fs::create_dir_all(&place).unwrap();
            std::fs::write(&path, &table.text).unwrap();
        }
        let kept = std::fs::read_to_string(&path)
            .unwrap_or_else(|error| panic!("{}: {error}", path.display()));
        for (at, (kept, now)) in kept.lines().zip(table.text.lines()).enumerate() {
            assert_eq!(kept, now, "{}: line {}", path.display(), at + 1);
        }
        assert_eq!(kept.len(), table.text.len(), "{}", path.display());
    }
}

#[test]
fn preferences_come_back_from_their_bytes() {
    for preferences in all_preferences() {
        for (tube_dm, bore) in [(0, 0), (1, 0), (70, 2), (999, 3)] {
            let preferences = Preferences { tube_dm, bore, ..preferences };
            assert_eq!(Preferences::from_bytes(preferences.to_bytes()), preferences);
            assert_eq!(Panel::new(preferences).preferences(), preferences);
        }
    }
    assert_eq!(Preferences::NEW, Preferences::default());
    // a blank part of flash, zeros, another's bytes, a language and a tube that are not
    let others = [[b'P', 1, 1, 1], [b'Q', 15, 0, 0], [b'Q', 0, 0xff, 3], [b'Q', 0, 0, 0x80]];
    for bytes in [[0xff; 4], [0; 4]].into_iter().chain(others) {
        assert_eq!(Preferences::from_bytes(bytes), Preferences::default());
    }
}
