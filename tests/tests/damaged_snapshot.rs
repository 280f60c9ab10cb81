//! M2: where a slot of the last snapshot cannot be read and the sector before it cannot
//! stand in, what is whole is kept, and what is lost is known to be lost.

use dosewright_core::book::Book;
use dosewright_core::civil::Date;
use dosewright_core::config::Head;
use dosewright_core::entry::{ClosedDates, Entry};
use dosewright_core::ledger::{Base, Geometry, Ledger, SLOT};
use dosewright_core::record::{Adopted, ClosedList, Record, Staged};
use dosewright_core::recovery;
use dosewright_core::time::Instant;
use dosewright_core::units::{Flow, Volume};
use dosewright_sim::world::flash::NorMock;
use dosewright_tests::entries::daily;
use dosewright_tests::slots::damage;

const N: usize = 4;
const H: usize = 8;
type Flash = NorMock<4, 1024>;

const GEOMETRY: Geometry = Geometry { start: 0, sector_bytes: 3072, sectors: 2 };
/// The lines that have an entry: not the first, and not next to one another.
const LINES: [u8; 2] = [1, 3];

fn entry(line: u8) -> Entry {
    daily(u16::from(line) + 10, 120, Volume::from_ml(40))
}

fn closed() -> ClosedList {
    let mut list = ClosedList::EMPTY;
    let day = Date::from_ymd(2027, 5, 1).unwrap();
    assert!(list.push(ClosedDates { first: day, last: day }));
    list
}

/// A book with two entries and a closed date, made as the controller makes it.
fn book() -> Book<N, H> {
    let mut book = Book::empty();
    book.apply(&Record::SnapHead(Head::with_flow(Flow::from_nl_per_min(30_000_000).unwrap())));
    for line in LINES {
        let staged = Staged { line, entry: entry(line), revision: 1, mark: None, edited: false };
        book.adopt(&staged);
    }
    book.timetable.closed = closed();
    book.adopted(&adopted(), 0, false);
    book
}

fn adopted() -> Adopted {
    let written = LINES.iter().fold(0, |bits, line| bits | 1 << line);
    let (at, ceiling, kept_ceiling) = (Instant::ZERO, None, Volume::ZERO);
    Adopted { at, ceiling, written, cleared: 0, closed_staged: true, kept_ceiling }
}

/// What is found where every record that is picked is damaged, and nothing stands in.
fn found_without(pick: impl Fn(&Record) -> bool) -> recovery::Recovered<N, H> {
    let book = book();
    let snapshot = || book.snapshot().map(|record| record.encode()).collect::<Vec<_>>();
    let flash = Flash::new(6);
    let mut ledger = Ledger::format(flash, GEOMETRY, snapshot()).map_err(|(_, e)| e).unwrap();
    ledger.roll(snapshot()).unwrap();
    let mut flash = ledger.into_flash();
    // the first snapshot lies in the first sector, the one in force in the second
    let per_sector = GEOMETRY.sector_bytes as usize / SLOT;
    damage(&mut flash, |index, _| index < per_sector);
    let hit = damage(&mut flash, |index, record| index >= per_sector && pick(record));
    assert!(hit > 0, "nothing in force was damaged");
    let mut ledger = Ledger::open(flash, GEOMETRY).map_err(|(_, error)| error).unwrap();
    assert_eq!(ledger.base(), Base::Broken);
    recovery::recover(&mut ledger)
}

#[track_caller]
fn assert_lines(found: &recovery::Recovered<N, H>, kept: &[u8], lost: &[u8]) {
    let book = &found.book;
    for line in 0..N as u8 {
        let expected = kept.contains(&line).then(|| entry(line));
        assert_eq!(book.timetable.line(usize::from(line)), expected, "line {line}");
    }
    let bits = lost.iter().fold(0_u64, |bits, line| bits | 1 << line);
    assert_eq!(book.damaged, bits, "lines known to be lost");
}

const fn is_entry(record: &Record, of: u8) -> bool {
    matches!(record, Record::SnapEntry(staged) if staged.line == of)
}

const fn is_state(record: &Record, of: u8) -> bool {
    matches!(record, Record::SnapLine { line, .. } if *line == of)
}

const fn is_globals(record: &Record) -> bool {
    matches!(record, Record::SnapGlobals { .. })
}

#[test]
fn m2_a_line_without_its_entry_or_its_state_is_lost_and_the_other_kept() {
    for [line, other] in [[1, 3], [3, 1]] {
        for found in [
            found_without(|record| is_entry(record, line)),
            found_without(|record| is_state(record, line)),
            found_without(|record| is_entry(record, line) || is_state(record, line)),
        ] {
            assert_lines(&found, &[other], &[line]);
            assert!(!found.book.closed_damaged);
            assert_eq!(found.book.timetable.closed, closed());
            assert_eq!(found.unreadable_tail, 0);
        }
    }
}

#[test]
fn m2_closed_dates_that_are_lost_take_no_line_with_them() {
    let found = found_without(|record| matches!(record, Record::SnapClosed(_)));
    assert_lines(&found, &LINES, &[]);
    assert!(found.book.closed_damaged);
    assert_eq!(found.book.timetable.closed, ClosedList::EMPTY);
}

#[test]
fn m2_without_the_list_of_lines_each_is_judged_by_its_own_records() {
    let found = found_without(is_globals);
    assert_lines(&found, &LINES, &[]);
    assert!(!found.book.closed_damaged);
    // the entry alone says that there was a line
    let found = found_without(|record| is_globals(record) || is_state(record, 3));
    assert_lines(&found, &[1], &[3]);
}

#[test]
fn d11_of_two_lists_of_closed_dates_that_were_staged_the_later_counts() {
    let snapshot = || book().snapshot().map(|record| record.encode()).collect::<Vec<_>>();
    let ledger = Ledger::format(Flash::new(6), GEOMETRY, snapshot());
    let mut ledger = ledger.map_err(|(_, error)| error).unwrap();
    // the first was staged by an adoption that the memory did not take to its end
    let mut later = ClosedList::EMPTY;
    let day = Date::from_ymd(2027, 12, 24).unwrap();
    assert!(later.push(ClosedDates { first: day, last: day }));
    let adopted = Adopted { written: 0, ..adopted() };
    for record in
        [Record::StagedClosed(closed()), Record::StagedClosed(later), Record::Adopted(adopted)]
    {
        ledger.append(&record.encode()).unwrap();
    }
    let found: recovery::Recovered<N, H> = recovery::recover(&mut ledger);
    assert_eq!(found.book.timetable.closed, later);
    assert!(!found.book.closed_damaged);
}

#[test]
fn d11_of_two_entries_that_were_staged_on_a_line_the_later_counts() {
    let snapshot = || book().snapshot().map(|record| record.encode()).collect::<Vec<_>>();
    let ledger = Ledger::format(Flash::new(6), GEOMETRY, snapshot());
    let mut ledger = ledger.map_err(|(_, error)| error).unwrap();
    let staged = |line: u8, ml: u64| {
        let entry = Entry { volume: Volume::from_ml(ml), ..entry(line) };
        Record::Staged(Staged { line, entry, revision: 2, mark: None, edited: true })
    };
    let adopted = Adopted { written: 1 << 1, closed_staged: false, ..adopted() };
    // the adoption that the memory did not take to its end would have changed a line more
    for record in [staged(3, 50), staged(1, 50), staged(1, 60), Record::Adopted(adopted)] {
        ledger.append(&record.encode()).unwrap();
    }
    let found: recovery::Recovered<N, H> = recovery::recover(&mut ledger);
    assert_eq!(found.book.timetable.line(1).unwrap().volume, Volume::from_ml(60));
    assert_eq!((found.book.state(1).revision, found.book.damaged), (2, 0));
    assert_eq!(found.book.timetable.line(3), Some(entry(3)));
}
