//! M2: flipped bits, worn pages, unreadable ranges.

use dosewright_core::ledger::{
    AppendError, Base, Class, FormatError, Geometry, Ledger, OpenError, READS, RollError, SLOT,
    TRIES,
};
use dosewright_sim::world::flash::{ERASE_STEPS, Misread, NorError, NorMock, Unreadable, Wear};

use crate::model::{
    KEPT, NOTHING, PAGE, Part, State, after, current_sector, fold, folded_state_after, fresh,
    geometry, pattern, record, reopen, step,
};

/// Flips every bit of this part, one at a time, and judges what opens.
fn flip_every_bit<const W: usize>(ledger: &Ledger<Part<W>>, state: State) -> usize {
    let sectors = ledger.geometry().sectors;
    let clean = fold(&mut ledger.clone());
    let bits = ledger.flash().bytes().len() * 8;
    let current = current_sector(ledger.clone());
    let mut abandoned = 0;
    for bit in 0..bits {
        let mut flash = ledger.flash().clone();
        flash.flip_bit((bit / 8) as u32, (bit % 8) as u8);
        let mut flipped = Ledger::open(flash, geometry(sectors)).unwrap();
        let (sector, index) = ((bit / 8 / PAGE) as u16, (bit / 8 % PAGE / SLOT) as u16);
        let folded = fold(&mut flipped);
        let hits = folded.damaged.iter().any(|hit| (hit.1, hit.2) == (sector, index));
        if sector != current {
            // nothing that the state is folded from
            assert_eq!((folded, flipped.base()), (clean.clone(), Base::Current));
        } else if flipped.findings().abandoned == Some(current) {
            // its seal, and no record after it: the sector before is in force
            assert!(clean.records.is_empty(), "records were dropped");
            assert_eq!((folded.state, flipped.base()), (state, Base::Current));
            abandoned += 1;
        } else {
            assert!(hits, "a flip of bit {bit} went unseen");
            assert_eq!(folded.damaged.len(), 1);
            let lost = clean.records.iter().filter(|number| !folded.records.contains(number));
            let lost: Vec<_> = lost.copied().collect();
            let first_record = (2 + KEPT + 1) as u16;
            if index >= first_record && usize::from(index - first_record) < clean.records.len() {
                assert_eq!(lost, [clean.records[usize::from(index - first_record)]]);
                assert_eq!(folded.damaged[0].0, Class::Record);
            } else {
                assert_eq!((folded.state, lost.len()), (state, 0));
                let is_own = index < first_record;
                assert_eq!(is_own, folded.damaged[0].0 != Class::Record);
            }
            let is_snapshot = (1..=KEPT as u16 + 1).contains(&index);
            assert_eq!(flipped.base(), if is_snapshot { Base::Older } else { Base::Current });
        }
        if sector != current
            && !ledger.flash().bytes()[sector as usize * PAGE..][..PAGE]
                .iter()
                .all(|byte| *byte == 0xff)
        {
            let mut history = flipped.history();
            let seen = std::iter::from_fn(|| flipped.next(&mut history)).any(|entry| {
                let position = entry.position;
                entry.content.is_none() && (position.sector(), position.index()) == (sector, index)
            });
            assert!(seen, "a flip of bit {bit} is not in the history");
        }
        // and it goes on, over the damage
        let on = folded_state_after(&mut flipped, 8);
        assert_eq!(fold(&mut reopen(flipped)).state, on);
    }
    assert!(abandoned == 0 || clean.records.is_empty());
    bits
}

#[test]
fn m2_every_flipped_bit_is_detected_and_the_rest_kept() {
    let mut runs = 0;
    for sectors in [2, 3] {
        // just rolled, partly filled, full
        for steps in [16, 17, 18, 19] {
            let (ledger, state) = after::<4>(sectors, steps);
            runs += flip_every_bit(&ledger, state);
        }
    }
    println!("{runs} runs");
    assert!(runs >= 80_000, "{runs}");
}

#[test]
fn m2_a_damaged_snapshot_is_kept_until_the_next_is_sealed() {
    let mut runs = 0;
    for slot in 1..=KEPT + 1 {
        // just rolled: no record covers for what the damaged slot held
        let (mut ledger, state) = after::<4>(3, 16);
        let at = usize::from(current_sector(ledger.clone())) * PAGE + slot * SLOT;
        ledger.flash_mut().flip_bit(at as u32 + 20, 5);
        ledger = reopen(ledger);
        assert_eq!((ledger.base(), fold(&mut ledger).state), (Base::Older, state));
        let total = {
            let mut rolled = ledger.clone();
            rolled.roll(state.snapshot()).unwrap();
            assert_eq!(rolled.base(), Base::Current);
            let folded = fold(&mut rolled);
            assert_eq!((folded.state, folded.records.len()), (state, 0));
            rolled.flash().counters().steps - ledger.flash().counters().steps
        };
        for steps in 0..total {
            let mut cut = ledger.clone();
            cut.flash_mut().cut_after_steps(Some(steps));
            cut.roll(state.snapshot()).unwrap_err();
            assert_eq!(fold(&mut reopen(cut)).state, state, "cut after {steps} steps");
            runs += 1;
        }
    }
    println!("{runs} runs");
    assert!(runs > 900, "{runs}");
}

#[test]
fn m2_an_older_sector_that_changed_does_not_stand_in() {
    let (ledger, state) = after::<4>(2, 18);
    let current = usize::from(current_sector(ledger.clone())) * PAGE;
    let older = PAGE - current;
    let mut flash = ledger.into_flash();
    flash.flip_bit((current + SLOT + 8) as u32, 0);
    let whole = Ledger::open(flash.clone(), geometry(2)).unwrap();
    assert_eq!(whole.base(), Base::Older);
    // its last record is gone: what came after the snapshot is all there is
    flash.flip_bit((older + 7 * SLOT) as u32, 0);
    let mut broken = Ledger::open(flash, geometry(2)).unwrap();
    assert_eq!(broken.base(), Base::Broken);
    let folded = fold(&mut broken);
    assert_eq!(folded.records.last(), Some(&state.count));
    assert!(folded.damaged.iter().all(|hit| usize::from(hit.1) * PAGE == current));
    assert_eq!(folded.damaged.len(), 1);
    // nor does one of another age in its place
    let (ledger, _) = after::<4>(2, 10);
    let mut flash = broken.into_flash();
    flash.flip_bit((older + 7 * SLOT) as u32, 0);
    let mut bytes = flash.into_bytes();
    bytes[older..older + PAGE].copy_from_slice(&ledger.flash().bytes()[older..older + PAGE]);
    let replaced = Ledger::open(Part::<4>::from_bytes(bytes), geometry(2)).unwrap();
    assert_eq!(replaced.base(), Base::Broken);
}

/// After a roll of three sectors that failed on the second and was then made
/// to the third, all in one session; the second holds half a snapshot.
fn skipped() -> (Ledger<Part<4>>, State) {
    let (mut ledger, mut state) = after::<4>(3, 3);
    ledger.flash_mut().cut_after_steps(Some(ERASE_STEPS + 2 * 65 + 9));
    assert_eq!(step(&mut ledger, &mut state), Err(NorError::Cut));
    ledger.flash_mut().power_on();
    // the second takes nothing more
    ledger.flash_mut().wear_out(1, Wear::Dead);
    step(&mut ledger, &mut state).unwrap();
    ledger.flash_mut().mend();
    assert_eq!(current_sector(ledger.clone()), 2);
    (ledger, state)
}

#[test]
fn m2_what_stands_in_is_erased_last_of_all() {
    let (ledger, state) = skipped();
    let mut flash = ledger.into_flash();
    flash.flip_bit((2 * PAGE + 2 * SLOT) as u32, 0);
    let ledger = Ledger::open(flash, geometry(3)).unwrap();
    assert_eq!(ledger.base(), Base::Older);
    // the next of the ring is the first sector, which stands in
    for steps in 0..ERASE_STEPS + 5 * 65 {
        let mut cut = ledger.clone();
        cut.flash_mut().cut_after_steps(Some(steps));
        cut.roll(state.snapshot()).unwrap_err();
        assert_eq!(fold(&mut reopen(cut)).state, state, "cut after {steps} steps");
    }
    // it goes where nothing else is left
    let mut worn = ledger;
    worn.flash_mut().wear_out(1, Wear::Dead);
    worn.roll(state.snapshot()).unwrap();
    let mut worn = reopen(worn);
    assert_eq!((current_sector(worn.clone()), fold(&mut worn).state), (0, state));
}

#[test]
fn a_snapshot_never_sealed_is_not_in_the_history() {
    let (mut ledger, state) = skipped();
    let mut history = ledger.history();
    let mut records = Vec::new();
    while let Some(entry) = ledger.next(&mut history) {
        assert_ne!(entry.position.sector(), 1);
        assert!(entry.content.is_some());
        records.extend(entry.content.filter(|_| entry.class == Class::Record));
    }
    assert_eq!(records.len() as u32, state.count);
}

#[test]
fn m1_a_number_of_a_cut_roll_is_not_given_again() {
    let (mut ledger, _) = after::<4>(2, 1);
    // header, two of the snapshot: numbers 7 to 9
    ledger.flash_mut().cut_after_steps(Some(ERASE_STEPS + 3 * 65));
    ledger.roll(State::default().snapshot()).unwrap_err();
    let mut ledger = reopen(ledger);
    assert_eq!(ledger.findings().abandoned, Some(1));
    assert_eq!(ledger.append(&record(2)), Ok(10));
}

#[test]
fn m2_a_sector_with_passed_over_slots_can_stand_in() {
    let (mut ledger, mut state) = (fresh::<4>(2), State::default());
    // the blank check lies: a slot stays blank before the first record
    ledger.flash_mut().misread(0, u64::from(READS), Misread::Bit);
    for _ in 0..2 {
        ledger.append(&state.next_record()).unwrap();
        state.push();
    }
    assert_eq!((ledger.counters().passed_over, ledger.free()), (1, 0));
    let mut ledger = reopen(ledger);
    ledger.roll(state.snapshot()).unwrap();
    ledger.flash_mut().flip_bit((PAGE + SLOT) as u32, 0);
    let mut ledger = reopen(ledger);
    assert_eq!((ledger.base(), fold(&mut ledger).state), (Base::Older, state));
}

/// Rolls on from a ledger, damages the new snapshot, and says whether the sector before it
/// stands in with all that it held.
fn stands_in_after_a_roll(mut ledger: Ledger<Part<4>>) -> bool {
    let state = fold(&mut ledger).state;
    ledger.roll(state.snapshot()).unwrap();
    let at = usize::from(current_sector(ledger.clone())) * PAGE + SLOT;
    ledger.flash_mut().flip_bit(at as u32, 0);
    let mut ledger = reopen(ledger);
    ledger.base() == Base::Older && fold(&mut ledger).state == state
}

#[test]
fn m2_a_sector_with_damaged_records_can_stand_in() {
    // its last record cannot be read
    let (mut ledger, _) = after::<4>(2, 2);
    let sector = u32::from(current_sector(ledger.clone())) * PAGE as u32;
    ledger.flash_mut().flip_bit(sector + 6 * SLOT as u32, 0);
    assert!(stands_in_after_a_roll(reopen(ledger)));
    // a slot that stayed blank and one that was not blank were passed over before a record
    let mut ledger = fresh::<4>(2);
    ledger.flash_mut().flip_bit(6 * SLOT as u32, 0);
    let mut ledger = reopen(ledger);
    ledger.flash_mut().misread(0, u64::from(READS), Misread::Bit);
    ledger.append(&State::default().next_record()).unwrap();
    assert_eq!((ledger.counters().passed_over, ledger.free()), (2, 0));
    assert!(stands_in_after_a_roll(reopen(ledger)));
}

#[test]
fn m2_a_slot_that_is_not_blank_or_does_not_take_is_passed_over() {
    let mut ledger = fresh::<4>(2);
    let base = current_sector(ledger.clone()) as u32 * PAGE as u32;
    ledger.flash_mut().flip_bit(base + 5 * SLOT as u32 + 63, 7);
    assert_eq!(ledger.append(&record(1)), Ok(6));
    assert_eq!(ledger.counters().passed_over, 1);
    let mut ledger = reopen(ledger);
    let folded = fold(&mut ledger);
    assert_eq!(folded.records, [1]);
    assert_eq!(folded.damaged, [(Class::Record, base as u16 / PAGE as u16, 5)]);
    // a bit that cannot be written to zero shows only when it is read back
    let mut passed_over = 0;
    for seed in 0..50 {
        let (mut ledger, mut state) = (fresh::<4>(3), State::default());
        for page in 0..3 {
            let wear = [Wear::StuckHigh { bytes: 300, seed }, Wear::StuckLow { bytes: 300, seed }];
            ledger.flash_mut().wear_out(page, wear[(seed % 2) as usize]);
        }
        for _ in 0..60 {
            if ledger.needs_roll() {
                // there may be no sector left that takes the snapshot
                if ledger.roll(state.snapshot()).is_err() {
                    break;
                }
            } else if ledger.append(&state.next_record()).is_ok() {
                state.push();
            }
            passed_over += ledger.counters().passed_over;
            ledger = reopen(ledger);
            assert_eq!(fold(&mut ledger).state, state);
        }
    }
    println!("{passed_over} slots passed over");
    assert!(passed_over > 300, "{passed_over}");
}

#[test]
fn m2_a_dead_sector_is_passed_over_where_there_is_a_third() {
    let (mut ledger, mut state) = after::<4>(3, 3);
    assert!(ledger.needs_roll());
    ledger.flash_mut().wear_out(1, Wear::Dead);
    for _ in 0..30 {
        step(&mut ledger, &mut state).unwrap();
        assert_ne!(current_sector(ledger.clone()), 1);
        ledger = reopen(ledger);
        assert_eq!(fold(&mut ledger).state, state);
    }
    // with two, the current sector stays in force and says so
    let (mut ledger, state) = after::<4>(2, 3);
    ledger.flash_mut().wear_out(1, Wear::Dead);
    assert_eq!(ledger.roll(state.snapshot()), Err(RollError::Worn));
    assert_eq!(ledger.append(&state.next_record()), Err(AppendError::Full));
    assert_eq!(fold(&mut reopen(ledger)).state, state);
}

#[test]
fn m2_a_sector_with_too_many_bad_slots_is_given_up() {
    let wide = Geometry { start: 0, sector_bytes: 2048, sectors: 2 };
    let part = NorMock::<4, 2048>::new(2);
    let mut ledger = Ledger::format(part, wide, NOTHING).unwrap();
    let first = ledger.append(&record(1)).unwrap();
    for slot in 0..u32::from(TRIES) {
        ledger.flash_mut().flip_bit((3 + slot) * SLOT as u32, 0);
    }
    assert_eq!(ledger.append(&record(2)), Err(AppendError::Worn));
    assert!(ledger.needs_roll() && ledger.free() > 0);
    assert_eq!(ledger.append(&record(2)), Err(AppendError::Full));
    ledger.roll([pattern(b'c', 0, 1)]).unwrap();
    assert!(ledger.append(&record(2)).unwrap() > first);
}

#[test]
fn m2_a_sector_whose_second_slots_do_not_take_is_given_up_after_the_first() {
    let wide = Geometry { start: 0, sector_bytes: 2048, sectors: 2 };
    let part = NorMock::<4, 2048>::new(2);
    let mut ledger = Ledger::format(part, wide, NOTHING).unwrap();
    for slot in 0..u32::from(TRIES) {
        ledger.flash_mut().flip_bit((3 + slot) * SLOT as u32, 0);
    }
    // header and seal are before it: one slot takes it, and the record is in force
    assert_eq!(ledger.append_twice(&record(1)), Ok(3));
    assert!(ledger.needs_roll() && ledger.free() > 0);
    let mut again = Ledger::open(ledger.into_flash(), wide).unwrap();
    let (mut scan, mut whole) = (again.scan(), 0);
    while let Some(slot) = again.next(&mut scan) {
        whole += u32::from(slot.class == Class::Record && slot.content.is_some());
    }
    assert_eq!(whole, 1);
}

#[test]
fn m2_what_cannot_be_read_is_damaged_and_the_rest_is_kept() {
    let (mut ledger, state) = after::<4>(3, 18);
    let current = u32::from(current_sector(ledger.clone())) * PAGE as u32;
    let clean = fold(&mut ledger);
    for how in [Unreadable::Fails, Unreadable::Garbage { seed: 5 }] {
        for index in 0..8 {
            let mut flash = ledger.flash().clone();
            let at = current + index * SLOT as u32;
            flash.make_unreadable(at + 3, at + 40, how);
            let mut opened = Ledger::open(flash, geometry(3)).unwrap();
            let folded = fold(&mut opened);
            assert_eq!(folded.damaged.len(), 1);
            let is_record = index >= 5 && (index as usize - 5) < clean.records.len();
            let lost = clean.records.iter().filter(|number| !folded.records.contains(number));
            assert_eq!(lost.count(), usize::from(is_record));
            assert!(is_record || folded.state == state);
        }
        // the whole sector: an older one opens, and it is said
        let mut flash = ledger.flash().clone();
        flash.make_unreadable(current, current + PAGE as u32, how);
        let opened = Ledger::open(flash, geometry(3)).unwrap();
        assert_eq!(opened.findings().unidentified, 1);
    }
    let mut flash = ledger.into_flash();
    flash.make_unreadable(0, 3 * PAGE as u32, Unreadable::Fails);
    let (flash, error) = Ledger::open(flash, geometry(3)).unwrap_err();
    assert_eq!(error, OpenError::Flash(NorError::Unreadable));
    // what may only be unreadable for now is not formatted over
    let (_, error) = Ledger::format(flash, geometry(3), NOTHING).unwrap_err();
    assert_eq!(error, FormatError::Roll(RollError::Flash(NorError::Unreadable)));
}

#[test]
fn m2_what_may_have_been_a_record_keeps_its_number() {
    // a record whose slot is damaged later, at the tail: the next one must not
    // take its number, in case the slot is read again one day
    let mut ledger = fresh::<4>(2);
    assert_eq!(ledger.append(&record(1)), Ok(6));
    assert_eq!(ledger.append(&record(2)), Ok(7));
    let at = u32::from(current_sector(ledger.clone())) * PAGE as u32 + 6 * SLOT as u32;
    ledger.flash_mut().flip_bit(at, 4);
    let mut ledger = reopen(ledger);
    assert_eq!(ledger.append(&record(3)), Ok(8));
    ledger.flash_mut().flip_bit(at, 4);
    assert_eq!(fold(&mut reopen(ledger)).records, [1, 2, 3]);
}

#[test]
fn m2_a_sector_that_keeps_old_slots_through_an_erase_is_not_used() {
    // two pages a sector, the second of which no longer erases: its old records
    // would stand behind the new snapshot
    let wide = |sectors| Geometry { start: 0, sector_bytes: 2 * PAGE as u32, sectors };
    for sectors in [2, 3] {
        let part = NorMock::<4, PAGE>::new(usize::from(sectors) * 2);
        let mut ledger = Ledger::format(part, wide(sectors), State::default().snapshot()).unwrap();
        let mut state = State::default();
        while ledger.counters().rolls < 2 {
            step(&mut ledger, &mut state).unwrap();
        }
        let current = current_sector(ledger.clone());
        let next = (current + 1) % sectors;
        // what is there already has records in its second page, or never had
        let had = ledger.flash().bytes()[(usize::from(next) * 2 + 1) * PAGE] != 0xff;
        ledger.flash_mut().wear_out(u32::from(next) * 2 + 1, Wear::Dead);
        let rolled = ledger.roll(state.snapshot());
        assert_eq!(rolled.is_err(), sectors == 2);
        assert!(had);
        let mut ledger = reopen(ledger);
        assert_ne!(current_sector(ledger.clone()), next);
        assert_eq!(fold(&mut ledger).state, state);
    }
}

#[test]
fn m2_a_slot_misread_each_time_leaves_a_copy_that_counts_once() {
    let state = State { count: 40, recent: [3, 4] };
    let mut copies = 0;
    // the erase check reads eight slots, then each of six slots is read twice
    for lie in 0..20 {
        let mut ledger = fresh::<4>(2);
        ledger.flash_mut().misread(lie, u64::from(READS), Misread::Bit);
        ledger.roll(state.snapshot()).unwrap();
        ledger.append(&state.next_record()).unwrap();
        let passed_over = ledger.counters().passed_over;
        assert_eq!(passed_over, u32::from(lie >= 8), "lie at read {lie}");
        let mut honest = reopen(ledger);
        assert_eq!(honest.base(), Base::Current);
        let folded = fold(&mut honest);
        assert_eq!((folded.state, folded.records), (state.pushed(), vec![41]));
        // a lie at the blank check leaves a blank slot, one at the reading
        // back a whole copy: only the first is damage
        assert_eq!(folded.damaged.len(), usize::from(lie >= 8 && lie % 2 == 0));
        copies += usize::from(lie >= 8 && lie % 2 == 1);
    }
    assert_eq!(copies, 6);
}
