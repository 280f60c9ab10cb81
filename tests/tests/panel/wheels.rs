//! Every wheel of every question: a turn shows something else, the turn back undoes it,
//! and turned on and on it comes round.

use dosewright_core::book::Book;
use dosewright_core::civil::Days;
use dosewright_core::entry::{Entry, Recurrence};
use dosewright_core::panel::Input::{self, Hold, Left, Press, Right};
use dosewright_core::panel::{Card, Panel, Preferences};

use crate::forged::{ENTRY, H, Looking, N, book};

/// The line of a question, where one is asked.
fn asked(looking: &Looking) -> Option<String> {
    let screen = looking.screen().to_string();
    screen.lines().nth(2).filter(|line| line.contains('[')).map(str::to_owned)
}

/// Turns a wheel round, and gives the number of its places.
fn turn_round(looking: &mut Looking) -> usize {
    let mut met = vec![asked(looking).unwrap()];
    loop {
        looking.touch(Right);
        let next = asked(looking).unwrap();
        if next == met[0] {
            break;
        }
        assert!(!met.contains(&next), "{next} comes again after {met:?}");
        met.push(next);
    }
    assert!(met.len() > 1, "a turn of {met:?} shows nothing");
    // and the other way round the same, backwards
    for wanted in met.iter().rev() {
        looking.touch(Left);
        assert_eq!(asked(looking).as_ref(), Some(wanted));
    }
    met.len()
}

/// Goes through the questions that follow wheel by wheel, each turned once or taken as it is
/// proposed; how many places each had.
fn wheels(looking: &mut Looking, turn: Option<Input>, places: &mut Vec<usize>) {
    for _ in 0..200 {
        let Some(line) = asked(looking) else { return };
        if turn.is_some() || line.contains('_') {
            // the whole of a number goes into its digits
            looking.touch(turn.unwrap_or(Right));
        }
        let here: Panel = looking.panel;
        looking.touch(Right);
        looking.touch(Left);
        let is_whole = asked(looking) != Some(line);
        looking.panel = here;
        if turn.is_none() && is_whole && !asked(looking).unwrap().contains('_') {
            looking.touch(Press);
            continue;
        }
        places.push(turn_round(looking));
        looking.panel = here;
        looking.touch(Press);
    }
    panic!("a draft without an end: {}", looking.screen());
}

/// Goes through an open draft, and at its end through each question that can be asked anew.
fn walk(looking: &mut Looking, turn: Option<Input>, places: &mut Vec<usize>) {
    wheels(looking, turn, places);
    let end = looking.panel;
    for at in 1..10 {
        looking.panel = end;
        if !looking.panel.has_draft() {
            return;
        }
        for _ in 0..at {
            looking.touch(Left);
        }
        looking.touch(Press);
        wheels(looking, turn, places);
    }
    looking.panel = end;
}

/// A device whose first entry is of days that have no name together.
fn of_days() -> Book<N, H> {
    let mut book = book();
    let (days, at_min, by_night) = (Days::from_bits(0b001_0101), 45, false);
    let recurrence = Recurrence::Weekly { days, at_min, by_night };
    assert!(book.timetable.remove(ENTRY.id));
    book.timetable.put(Entry { recurrence, ..ENTRY }).unwrap();
    book
}

#[test]
fn each_wheel_of_each_question_comes_round_both_ways() {
    let mut places = Vec::new();
    for (state, turn) in [
        (book(), Some(Right)),
        (book(), Some(Left)),
        (Book::empty(), Some(Right)),
        (of_days(), None),
    ] {
        for (at, card) in Card::ALL.into_iter().enumerate() {
            for choice in 0..8 {
                let mut looking = Looking::at(state, Preferences::default());
                for _ in 0..at {
                    looking.touch(Right);
                }
                looking.touch(Press);
                if !looking.panel.has_draft() {
                    break;
                }
                if choice > 0 {
                    // behind a choice there is another draft: each of them
                    if !matches!(card, Card::Supply | Card::Timetable | Card::SetUp) {
                        break;
                    }
                    for _ in 1..choice {
                        looking.touch(Right);
                    }
                    looking.touch(Press);
                }
                walk(&mut looking, turn, &mut places);
                looking.touch(Hold);
                looking.touch(Hold);
                assert!(looking.panel.is_home());
            }
        }
    }
    // on or off, tens of minutes, digits, those of a PIN or its end, months, hours, days of
    // a month, years
    for wheel in [2, 6, 10, 11, 12, 24, 30, 179] {
        assert!(places.contains(&wheel), "no wheel of {wheel} places: {places:?}");
    }
    assert!(places.len() > 200, "only {} wheels", places.len());
}
