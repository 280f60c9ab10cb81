//! What a scan says of slots that cannot be read, and the way back through two sectors.

use dosewright_core::ledger::{
    AppendError, Base, Class, FormatError, GeometryError, Ledger, OpenError, RollError, SLOT,
};

use crate::model::{KEPT, PAGE, Part, State, after, current_sector, fold, geometry, reopen, step};

/// The slots of the snapshot with header and seal.
const OWN: usize = KEPT + 3;

fn damaged(
    ledger: Ledger<Part<4>>,
    sector: u16,
    slots: impl Iterator<Item = usize>,
) -> Ledger<Part<4>> {
    let mut flash = ledger.into_flash();
    for slot in slots {
        flash.flip_bit((usize::from(sector) * PAGE + slot * SLOT + 8) as u32, 2);
    }
    Ledger::open(flash, geometry(2)).unwrap()
}

#[test]
fn m2_a_damaged_slot_is_told_by_what_should_be_there() {
    let (ledger, _) = after::<4>(2, 18);
    let current = current_sector(ledger.clone());
    let class_of = |slot: usize| {
        let mut ledger = damaged(ledger.clone(), current, [slot].into_iter());
        let folded = fold(&mut ledger);
        let here = folded.damaged.iter().find(|hit| hit.1 == current && usize::from(hit.2) == slot);
        here.unwrap().0
    };
    assert_eq!(class_of(0), Class::Header);
    // a seal counts as snapshot
    assert!((1..OWN).all(|slot| class_of(slot) == Class::Snapshot));
    assert_eq!(class_of(OWN), Class::Record);
    // without header, snapshot and seal nothing says where the records begin
    let mut bare = damaged(ledger, current, 0..OWN);
    assert_eq!(bare.base(), Base::Broken);
    let folded = fold(&mut bare);
    assert_eq!(folded.damaged.len(), OWN);
    assert!(folded.damaged.iter().all(|hit| hit.0 == Class::Record), "{:?}", folded.damaged);
    assert!(!folded.records.is_empty());
}

#[test]
fn m2_the_way_back_goes_on_through_what_stands_in() {
    let (ledger, _) = after::<4>(2, 18);
    let current = current_sector(ledger.clone());
    let mut ledger = damaged(ledger, current, [1].into_iter());
    assert_eq!(ledger.base(), Base::Older);
    let mut scan = ledger.scan();
    let seen: Vec<_> = std::iter::from_fn(|| ledger.next(&mut scan)).map(|e| e.position).collect();
    assert!(seen.iter().any(|place| place.sector() != current));
    let mut place = *seen.last().unwrap();
    let mut walked = vec![place];
    while let Some(before) = ledger.before(place) {
        assert!(before < place, "{before:?} is not before {place:?}");
        place = before;
        walked.push(place);
    }
    assert!(seen.iter().all(|place| walked.contains(place)));
    // two sectors in full, less what the one in force has free
    assert_eq!(walked.len(), 2 * PAGE / SLOT - usize::from(ledger.free()));
}

#[test]
fn m2_a_sector_left_before_it_was_full_can_stand_in() {
    let (mut ledger, mut state) = after::<4>(2, 16);
    step(&mut ledger, &mut state).unwrap();
    assert!(ledger.free() > 0);
    ledger.roll(state.snapshot()).unwrap();
    let current = current_sector(ledger.clone());
    let mut opened = damaged(ledger, current, [1].into_iter());
    assert_eq!((opened.base(), fold(&mut opened).state), (Base::Older, state));
}

#[test]
fn m2_the_history_keeps_its_order_where_a_header_is_gone() {
    let (ledger, _): (_, State) = after::<4>(2, 18);
    let current = current_sector(ledger.clone());
    let mut ledger = reopen(damaged(ledger, 1 - current, [0].into_iter()));
    let mut history = ledger.history();
    let seen: Vec<_> =
        std::iter::from_fn(|| ledger.next(&mut history)).map(|e| e.position).collect();
    assert!(seen.is_sorted() && seen.first().unwrap().sector() != current, "{seen:?}");
    assert_eq!(seen.last().unwrap().sector(), current);
}

#[test]
fn m2_each_record_that_is_still_there_is_given_with_its_number() {
    let (ledger, _) = after::<4>(3, 40);
    let current = current_sector(ledger.clone());
    // one of them damaged, in whichever sector
    for (sector, slot) in [(current, OWN), ((current + 2) % 3, OWN + 2)] {
        let mut flash = ledger.clone().into_flash();
        flash.flip_bit((usize::from(sector) * PAGE + slot * SLOT + 8) as u32, 2);
        let mut ledger = Ledger::open(flash, geometry(3)).unwrap();
        let mut history = ledger.history();
        let expected: Vec<_> = std::iter::from_fn(|| ledger.next(&mut history))
            .filter(|entry| entry.class == Class::Record)
            .filter_map(|entry| Some((entry.content?.seq, entry.content?.payload)))
            .collect();
        let mut seen = Vec::new();
        ledger.each_record(|seq, payload| seen.push((seq, *payload)));
        assert!(!seen.is_sorted_by_key(|record| record.0), "a ring begins anywhere");
        seen.sort_by_key(|record| record.0);
        assert!(expected.len() > 4, "{expected:?}");
        assert_eq!(seen, expected, "without {slot} of {sector}");
    }
}

#[test]
fn every_error_says_what_to_do() {
    let numbers = "all 1073741822 sequence numbers are spent: erase the memory and format it";
    assert_eq!(AppendError::<()>::Exhausted.to_string(), numbers);
    assert_eq!(RollError::<()>::Exhausted.to_string(), numbers);
    assert_eq!(AppendError::<()>::Full.to_string(), "the sector is full: roll first");
    let error = FormatError::<()>::Roll(RollError::TooLarge { slots: 9, most: 5 });
    assert_eq!(error.to_string(), "a snapshot of 9 slots does not fit, 5 do: give larger sectors");
    let error = OpenError::<()>::Geometry(GeometryError::Sectors(1));
    assert_eq!(error.to_string(), "1 sectors: give 2 to 65534");
}
