//! The ledger on a flash with every fault that a flash can have.

mod acts;
mod classes;
mod cuts;
mod damage;
mod forged;
mod model;
mod once;
mod refusals;

use dosewright_core::ledger::{
    AppendError, Base, Class, Findings, Geometry, Ledger, PAYLOAD, RollError, SEQ_MAX, SLOT, Slot,
};
use dosewright_sim::world::flash::NorMock;

use crate::model::{KEPT, Part, State, after, fold, fresh, record, reopen, step};

fn round_trip<const W: usize>() {
    for sectors in 2..6 {
        let (mut ledger, mut state) = (fresh::<W>(sectors), State::default());
        for _ in 0..60 {
            step(&mut ledger, &mut state).unwrap();
            ledger = reopen(ledger);
            assert_eq!(ledger.base(), Base::Current);
            assert_eq!(ledger.findings(), Findings::default());
            let folded = fold(&mut ledger);
            assert_eq!((folded.state, folded.damaged.len()), (state, 0));
        }
        // every sector but the current one was left full, three records each
        let mut history = ledger.history();
        let mut records = Vec::new();
        while let Some(entry) = ledger.next(&mut history) {
            if entry.class == Class::Record {
                let number = entry.content.unwrap().payload[2..6].try_into().unwrap();
                records.push(u32::from_le_bytes(number));
            }
        }
        let first = state.count + 1 - records.len() as u32;
        assert_eq!(records, (first..=state.count).collect::<Vec<_>>());
        assert!(records.len() >= usize::from(sectors - 1) * 3, "{}", records.len());
    }
}

#[test]
fn a_ledger_comes_back_over_many_rolls() {
    round_trip::<1>();
    round_trip::<4>();
    round_trip::<8>();
}

#[test]
fn rolls_wear_all_sectors_alike() {
    let (mut ledger, mut state) = (fresh::<4>(4), State::default());
    while ledger.counters().rolls < 40 {
        step(&mut ledger, &mut state).unwrap();
    }
    // one each by the format, one more of the first by its first snapshot
    assert_eq!(ledger.flash().counters().erases, [12, 11, 11, 11]);
    assert_eq!(ledger.counters().appended, state.count);
    assert_eq!(ledger.counters().passed_over, 0);
}

#[test]
fn positions_rise_and_can_be_walked_back() {
    let (mut ledger, _) = after::<4>(3, 30);
    let mut scan = ledger.scan();
    let mut entries = Vec::new();
    while let Some(entry) = ledger.next(&mut scan) {
        entries.push(entry);
    }
    assert!(entries.len() > KEPT + 1);
    let mut place = entries.last().unwrap().position;
    let mut walked = vec![place];
    while let Some(before) = ledger.before(place) {
        assert!(before < place);
        place = before;
        walked.push(place);
    }
    for entry in &entries {
        assert!(walked.contains(&entry.position));
        let content = entry.content.unwrap();
        let (seq, payload) = (content.seq, content.payload);
        let found = ledger.read_at(entry.position);
        assert_eq!(found, Slot::Good { seq, class: entry.class, payload });
    }
}

#[test]
fn a_position_of_another_ledger_is_read_as_damage() {
    let wide = Geometry { start: 0, sector_bytes: 2048, sectors: 2 };
    let snapshot = [[7; PAYLOAD]; 12];
    let mut other = Ledger::format(NorMock::<4, 512>::new(8), wide, snapshot).unwrap();
    let (mut ledger, _) = after::<4>(2, 17);
    let mut scan = other.scan();
    while let Some(entry) = other.next(&mut scan) {
        let found = ledger.read_at(entry.position);
        assert_eq!(found == Slot::Damaged, entry.position.index() >= 8, "{:?}", entry.position);
    }
    // nor a sector that there is not
    let (mut other, _) = after::<4>(4, 14);
    let mut scan = other.scan();
    let position = other.next(&mut scan).unwrap().position;
    assert!(position.sector() >= 2);
    assert_eq!(ledger.read_at(position), Slot::Damaged);
}

/// The same ledger with all its numbers so much higher.
fn aged<const W: usize>(ledger: Ledger<Part<W>>, by: u32) -> Ledger<Part<W>> {
    let geometry = ledger.geometry();
    let mut bytes = ledger.into_flash().into_bytes();
    for chunk in bytes.chunks_exact_mut(SLOT) {
        let slot: &mut [u8; SLOT] = chunk.try_into().unwrap();
        if let Slot::Good { seq, class, payload } = Slot::decode(slot) {
            *slot = Slot::encode(class, seq + by, &payload);
        }
    }
    Ledger::open(Part::from_bytes(bytes), geometry).unwrap()
}

#[test]
fn spent_numbers_are_refused_and_nothing_is_lost() {
    // header, snapshot and seal of a fresh ledger take the numbers 1 to 5
    let mut ledger = aged(fresh::<4>(2), SEQ_MAX - 7);
    let mut state = State::default();
    for _ in 0..2 {
        ledger.append(&state.next_record()).unwrap();
        state.push();
    }
    assert_eq!(ledger.append(&state.next_record()), Err(AppendError::Exhausted));
    assert_eq!(ledger.roll(state.snapshot()), Err(RollError::Exhausted));
    let mut ledger = reopen(ledger);
    assert_eq!(fold(&mut ledger).state, state);
    assert_eq!(ledger.append(&state.next_record()), Err(AppendError::Exhausted));
    // a roll whose last number is the last there is
    let mut ledger = aged(fresh::<4>(2), SEQ_MAX - 10);
    ledger.roll(State::default().snapshot()).unwrap();
    assert_eq!(ledger.append(&record(1)), Err(AppendError::Exhausted));
    let mut ledger = aged(fresh::<4>(2), SEQ_MAX - 9);
    assert_eq!(ledger.roll(State::default().snapshot()), Err(RollError::Exhausted));
}

#[test]
fn a_snapshot_that_does_not_fit_erases_nothing() {
    let (mut ledger, state) = after::<4>(2, 17);
    let before = ledger.flash().clone();
    let slots = vec![[7; PAYLOAD]; 6];
    let error = RollError::TooLarge { slots: 6, most: 5 };
    assert_eq!(ledger.roll(slots.iter().copied()), Err(error));
    assert_eq!(ledger.flash(), &before);
    assert_eq!(fold(&mut ledger).state, state);
    ledger.roll(slots.iter().copied().take(5)).unwrap();
    assert_eq!(ledger.free(), 1);
}
