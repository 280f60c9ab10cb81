//! M1, M2, M3: a call of the flash that fails, or goes wrong, and does not the next time.

use dosewright_core::ledger::{
    AppendError, Base, Findings, Geometry, Ledger, OpenError, READS, RollError, SLOT, TRIES,
};
use dosewright_sim::world::flash::{EraseFailure, Misread, NorError, NorMock, Wear, WriteFailure};

use crate::model::{
    Folded, NOTHING, PAGE, Part, State, after, current_sector, fold, geometry, record, reopen,
    step, strict,
};

const MISREAD: [Misread; 4] =
    [Misread::Fails, Misread::Ones, Misread::Bit, Misread::Garbage { seed: 3 }];
const NOT_ERASED: [EraseFailure; 3] =
    [EraseFailure::Undone, EraseFailure::Half, EraseFailure::Done];
const NOT_WRITTEN: [WriteFailure; 3] =
    [WriteFailure::Undone, WriteFailure::Silent, WriteFailure::Half];

/// Erases of all sectors so far.
fn erases(ledger: &Ledger<Part<4>>) -> u32 {
    ledger.flash().counters().erases.iter().sum()
}

/// The part is sound again: each step is in the ledger, and a start finds it.
fn goes_on_once_mended(mut ledger: Ledger<Part<4>>, mut state: State) {
    ledger.flash_mut().mend();
    for _ in 0..30 {
        step(&mut ledger, &mut state).unwrap();
        ledger = reopen(ledger);
        let folded = fold(&mut ledger);
        assert_eq!((folded.state, folded.damaged.len()), (state, 0));
    }
}

/// What a start finds in this part, and its readings.
fn found(part: Part<4>, sectors: u16) -> ((Folded, Base, Findings), u64) {
    let before = part.counters().reads;
    let mut ledger = Ledger::open(part, geometry(sectors)).unwrap();
    let folded = fold(&mut ledger);
    let reads = ledger.flash().counters().reads - before;
    ((folded, ledger.base(), ledger.findings()), reads)
}

/// Each reading of a start goes wrong once, in each way.
fn misread_everywhere(part: &Part<4>, sectors: u16) -> u64 {
    let (right, reads) = found(part.clone(), sectors);
    for at in 0..reads {
        for how in MISREAD {
            let mut part = part.clone();
            part.misread(at, 1, how);
            assert_eq!(found(part, sectors).0, right, "reading {at} {how:?}");
        }
    }
    reads
}

#[test]
fn m2_a_reading_that_goes_wrong_once_at_a_start_changes_nothing() {
    let mut runs = 0;
    for sectors in [2, 3] {
        // just rolled, partly filled, full
        for steps in [0, 16, 17, 18, 19] {
            let (ledger, mut state) = after::<4>(sectors, steps);
            let sector = usize::from(current_sector(ledger.clone()));
            let mut passed = ledger.clone();
            let mut part = ledger.into_flash();
            runs += misread_everywhere(&part, sectors);
            // and where the last write left its first slots blank
            passed.flash_mut().fail_writes(0, 3, WriteFailure::Silent);
            step(&mut passed, &mut state).unwrap();
            runs += misread_everywhere(&passed.into_flash(), sectors);
            // and where a slot of the snapshot is damaged, whether or not another stands in
            part.flip_bit((sector * PAGE + 2 * SLOT) as u32, 0);
            runs += misread_everywhere(&part, sectors);
        }
    }
    println!("{runs} readings");
    assert!(runs > 500, "{runs}");
}

#[test]
fn m2_a_slot_counts_as_damaged_once_it_was_read_so_many_times() {
    let (ledger, _) = after::<4>(3, 17);
    let at = u32::from(current_sector(ledger.clone())) * PAGE as u32;
    let (right, reads) = found(ledger.flash().clone(), 3);
    // the last eight readings are the scan's, of the eight slots of its sector
    for (slot, reading) in (reads - 8..reads).enumerate() {
        for how in [Misread::Fails, Misread::Bit] {
            let mut part = ledger.flash().clone();
            part.misread(reading, u64::from(READS) - 1, how);
            assert_eq!(found(part, 3).0, right);
            let mut part = ledger.flash().clone();
            part.misread(reading, u64::from(READS), how);
            let ((folded, ..), _) = found(part, 3);
            let places: Vec<_> = folded.damaged.iter().map(|hit| usize::from(hit.2)).collect();
            assert_eq!(places, [slot]);
        }
    }
    // one that stays so is read no oftener
    let mut part = ledger.into_flash();
    part.flip_bit(at + 2 * SLOT as u32, 0);
    let flipped = found(part, 3);
    // in the survey, and in the scan; the one before it is surveyed and scanned as well
    let more = 2 * (u64::from(READS) - 1) + 2 * 8;
    assert_eq!((flipped.0.1, flipped.1), (Base::Older, reads + more));
}

#[test]
fn a_blank_part_that_is_misread_once_is_blank() {
    let part = Part::<4>::new(3);
    for at in 0..3 * 8 {
        for how in MISREAD {
            let mut part = part.clone();
            part.misread(at, 1, how);
            let Err((part, error)) = Ledger::open(part, geometry(3)) else { panic!() };
            // all ones are what is to be expected here
            let reads = 24 + u64::from(how != Misread::Ones);
            assert_eq!((error, part.counters().reads), (OpenError::Blank, reads));
        }
    }
}

#[test]
fn m2_a_write_that_is_misread_once_stands_in_one_slot() {
    let mut runs = 0;
    for how in MISREAD {
        for at in 0..24 {
            let (mut ledger, mut state) = after::<4>(4, 17);
            let from = state.count;
            ledger.flash_mut().misread(at, 1, how);
            for _ in 0..6 {
                step(&mut ledger, &mut state).unwrap();
            }
            ledger.flash_mut().mend();
            assert_eq!(ledger.counters().passed_over, 0, "reading {at} {how:?}");
            // the last slot of a sector is among them: nothing is told twice, by another number
            let mut numbers = Vec::new();
            ledger.each_record(|_, payload| numbers.push(payload[2..6].try_into().unwrap()));
            let mut numbers: Vec<_> = numbers.into_iter().map(u32::from_le_bytes).collect();
            numbers.retain(|number| *number > from);
            assert_eq!(numbers, (from + 1..=state.count).collect::<Vec<_>>());
            assert_eq!(fold(&mut reopen(ledger)).state, state);
            runs += 1;
        }
    }
    assert_eq!(runs, 96);
}

#[test]
fn m2_an_erase_that_reports_an_error_once_costs_nothing() {
    for sectors in 2..6 {
        for how in NOT_ERASED {
            for at in 0..=u64::from(sectors) {
                let (mut ledger, mut state) = after::<4>(sectors, 16);
                ledger.flash_mut().fail_erases(at, 1, how);
                let before = erases(&ledger);
                for _ in 0..4 * (at + 2) {
                    step(&mut ledger, &mut state).unwrap();
                    ledger = reopen(ledger);
                    assert_eq!(fold(&mut ledger).state, state);
                }
                // it was met
                let erases = erases(&ledger) - before;
                assert!(u64::from(erases) > at, "{erases}");
            }
        }
    }
}

#[test]
fn m2_a_sector_whose_erases_report_an_error_is_passed_over() {
    for how in [EraseFailure::Undone, EraseFailure::Half] {
        let (mut ledger, mut state) = after::<4>(3, 16);
        for _ in 0..40 {
            let from = current_sector(ledger.clone());
            // the next sector of the ring does not erase, each time
            ledger.flash_mut().fail_erases(0, 1, how);
            let rolls = ledger.needs_roll();
            step(&mut ledger, &mut state).unwrap();
            let passed = (from + if rolls { 2 } else { 0 }) % 3;
            assert_eq!(current_sector(ledger.clone()), passed);
            ledger = reopen(ledger);
            assert_eq!(fold(&mut ledger).state, state);
        }
    }
    // where none does, the one in force stays, and the error is told
    let (mut ledger, mut state) = after::<4>(3, 19);
    assert!(ledger.needs_roll());
    ledger.flash_mut().fail_erases(0, u64::MAX, EraseFailure::Undone);
    let error = RollError::Flash(NorError::Failed);
    assert_eq!(ledger.roll(state.snapshot()), Err(error));
    assert_eq!(fold(&mut ledger).state, state);
    ledger.flash_mut().mend();
    step(&mut ledger, &mut state).unwrap();
    assert_eq!(fold(&mut reopen(ledger)).state, state);
}

#[test]
fn m1_a_first_format_in_which_an_erase_reports_an_error_is_done() {
    let garbage: Vec<u8> = (0..PAGE * 3).map(|at| ((at * at) >> 3) as u8).collect();
    let state = State { count: 900, recent: [8, 9] };
    for part in [strict::<4>(3), Part::from_bytes(garbage)] {
        for how in NOT_ERASED {
            for at in 0..4 {
                for times in 1..3 {
                    let mut part = part.clone();
                    part.fail_erases(at, times, how);
                    let ledger = Ledger::format(part, geometry(3), state.snapshot()).unwrap();
                    assert_eq!(fold(&mut reopen(ledger)).state, state);
                }
            }
        }
    }
    // what keeps slots of another store is not gone by, and is told
    let mut part = Part::<4>::from_bytes(after::<4>(2, 17).0.into_flash().into_bytes());
    part.fail_erases(1, 2, EraseFailure::Undone);
    let (part, _) = Ledger::format(part, geometry(3), state.snapshot()).unwrap_err();
    let ledger = Ledger::format(part, geometry(3), state.snapshot());
    assert!(ledger.is_err());
}

#[test]
fn m2_a_sector_whose_last_slots_do_not_take_is_left() {
    for how in NOT_WRITTEN {
        // the last slot of a sector, and the first one after the seal
        for (steps, tries) in [(18, 1), (16, 3)] {
            let (mut ledger, mut state) = after::<4>(2, steps);
            ledger.flash_mut().fail_writes(0, tries, how);
            let error = ledger.append(&state.next_record()).unwrap_err();
            assert_eq!(error == AppendError::Full, how == WriteFailure::Silent, "{error}");
            assert!(ledger.needs_roll());
            ledger.roll(state.snapshot()).unwrap();
            step(&mut ledger, &mut state).unwrap();
            let mut ledger = reopen(ledger);
            let folded = fold(&mut ledger);
            assert_eq!((folded.state, folded.damaged.len()), (state, 0));
        }
    }
}

#[test]
fn m3_a_memory_that_takes_nothing_for_a_while_is_neither_worn_nor_emptied() {
    for (how, sectors) in
        [(WriteFailure::Undone, 5), (WriteFailure::Silent, 5), (WriteFailure::Undone, 2)]
    {
        let (mut ledger, state) = after::<4>(sectors, 67);
        assert!(ledger.needs_roll());
        let records = |ledger: &Ledger<Part<4>>| {
            let mut count = 0;
            ledger.clone().each_record(|_, _| count += 1);
            count
        };
        let (had, worn) = (records(&ledger), erases(&ledger));
        assert_eq!(had, usize::from(sectors) * 3);
        ledger.flash_mut().fail_writes(0, u64::MAX, how);
        for _ in 0..120 {
            assert!(ledger.roll(state.snapshot()).is_err());
            assert_eq!(fold(&mut ledger).state, state);
        }
        // two sectors were tried, so that one that takes nothing is passed over; or the only one
        let tried = 2.min(sectors - 1);
        assert_eq!(erases(&ledger) - worn, u32::from(tried));
        assert_eq!(records(&ledger), had - usize::from(tried) * 3);
        goes_on_once_mended(ledger, state);
    }
}

#[test]
fn m2_two_worn_neighbours_are_passed_over_in_the_end() {
    // they stay blank, as those of a memory do that takes nothing for a while
    let (mut ledger, state) = after::<4>(5, 1);
    let worn = erases(&ledger);
    assert_eq!(current_sector(ledger.clone()), 0);
    for page in 1..=2 {
        ledger.flash_mut().wear_out(page, Wear::Dead);
    }
    let mut rolls = 0;
    while ledger.roll(state.snapshot()).is_err() {
        rolls += 1;
        assert!(rolls < 200, "two of five sectors are worn, and no other is tried");
    }
    // not before a memory that takes nothing for a while may take again
    assert!(rolls > 120, "{rolls}");
    // of those that can be erased none but the one that took it
    assert_eq!(erases(&ledger) - worn, 1);
    goes_on_once_mended(ledger, state);
}

#[test]
fn m3_a_memory_that_does_not_answer_for_a_while_loses_one_sector_and_is_not_worn() {
    for (how, sectors) in [
        (Misread::Fails, 5),
        (Misread::Garbage { seed: 7 }, 5),
        (Misread::Fails, 2),
        (Misread::Garbage { seed: 7 }, 2),
    ] {
        let (mut ledger, state) = after::<4>(sectors, 67);
        let worn = erases(&ledger);
        ledger.flash_mut().misread(0, u64::MAX, how);
        for _ in 0..200 {
            assert!(ledger.roll(state.snapshot()).is_err());
        }
        assert_eq!(erases(&ledger) - worn, 1, "{how:?}");
        goes_on_once_mended(ledger, state);
    }
}

#[test]
fn m2_a_part_that_is_written_only_in_part_is_erased_again() {
    let (mut ledger, mut state) = after::<4>(2, 19);
    ledger.flash_mut().fail_writes(0, u64::MAX, WriteFailure::Half);
    let error = RollError::Flash(NorError::Failed);
    assert_eq!(ledger.roll(state.snapshot()), Err(error));
    ledger.flash_mut().mend();
    step(&mut ledger, &mut state).unwrap();
    let folded = fold(&mut reopen(ledger));
    assert_eq!((folded.state, folded.damaged.len()), (state, 0));
}

#[test]
fn m2_a_sector_whose_writes_report_errors_is_given_up() {
    let wide = Geometry { start: 0, sector_bytes: 2048, sectors: 2 };
    let part = NorMock::<4, 2048>::new(2);
    let mut ledger = Ledger::format(part, wide, NOTHING).unwrap();
    ledger.flash_mut().fail_writes(0, u64::from(TRIES), WriteFailure::Undone);
    assert_eq!(ledger.append(&record(1)), Err(AppendError::Flash(NorError::Failed)));
    assert!(ledger.needs_roll() && ledger.free() > 0);
    ledger.roll(NOTHING).unwrap();
    // nor is it gone on with after a second slot that none of so many took
    ledger.flash_mut().fail_writes(1, u64::from(TRIES), WriteFailure::Undone);
    ledger.append_twice(&record(2)).unwrap();
    assert!(ledger.needs_roll() && ledger.free() > 0);
}
