//! M2: headers that say what no header of this ledger says, with checksums that hold.

use dosewright_core::ledger::{Base, Class, Ledger, OpenError, SLOT, Slot, VERSION};

use crate::model::{
    KEPT, PAGE, Part, State, after, current_sector, fold, fresh, geometry, record, refusal, reopen,
};

/// The slot at a place, and the bytes of another put there.
fn slot(bytes: &[u8], sector: usize, index: usize) -> Slot {
    Slot::decode(bytes[sector * PAGE + index * SLOT..][..SLOT].try_into().unwrap())
}

fn put(bytes: &mut [u8], sector: usize, index: usize, slot: [u8; SLOT]) {
    bytes[sector * PAGE + index * SLOT..][..SLOT].copy_from_slice(&slot);
}

/// The sequence number of the header of a sector, which is the sector's age.
fn age(bytes: &[u8], sector: usize) -> u32 {
    match slot(bytes, sector, 0) {
        Slot::Good { seq, .. } => seq,
        other => panic!("{other:?}"),
    }
}

/// Changes what header and seal of a sector say, from a byte on.
fn forge(bytes: &mut [u8], sector: usize, at: usize, field: &[u8]) {
    for index in [0, KEPT + 2] {
        let Slot::Good { seq, class, mut payload } = slot(bytes, sector, index) else {
            panic!("slot {index} of sector {sector}");
        };
        payload[at..at + field.len()].copy_from_slice(field);
        put(bytes, sector, index, Slot::encode(class, seq, &payload));
    }
}

/// Numbers all slots of a sector so much higher.
fn age_by(bytes: &mut [u8], sector: usize, by: u32) {
    for index in 0..PAGE / SLOT {
        if let Slot::Good { seq, class, payload } = slot(bytes, sector, index) {
            put(bytes, sector, index, Slot::encode(class, seq + by, &payload));
        }
    }
}

/// A ledger of two sectors that has just rolled from the second to the first, with a
/// slot of its snapshot damaged: the second stands in.
fn stood_in() -> (Vec<u8>, State) {
    let (ledger, state) = after::<4>(2, 16);
    assert_eq!(current_sector(ledger.clone()), 0);
    let mut flash = ledger.into_flash();
    flash.flip_bit((SLOT + 8) as u32, 0);
    let opened = Ledger::open(flash.clone(), geometry(2)).unwrap();
    assert_eq!(opened.base(), Base::Older);
    (flash.into_bytes(), state)
}

fn base(bytes: Vec<u8>) -> Base {
    Ledger::open(Part::<4>::from_bytes(bytes), geometry(2)).unwrap().base()
}

#[test]
fn m2_what_lies_beyond_the_ring_does_not_stand_in() {
    let (mut bytes, _) = stood_in();
    // the sector that stands in, once more after the ring's end, as its third
    let older = bytes[PAGE..2 * PAGE].to_vec();
    bytes.extend(older);
    forge(&mut bytes, 2, 14, &2_u16.to_le_bytes());
    assert_eq!(base(bytes.clone()), Base::Older);
    forge(&mut bytes, 0, 18, &2_u16.to_le_bytes());
    assert_eq!(base(bytes), Base::Broken);
}

#[test]
fn m2_what_is_no_older_does_not_stand_in() {
    let (mut bytes, _) = stood_in();
    let own = age(&bytes, 0);
    let by = own - age(&bytes, 1);
    // one number younger than the sector in force it may be
    age_by(&mut bytes, 1, by - 1);
    forge(&mut bytes, 0, 20, &(own - 1).to_le_bytes());
    assert_eq!(base(bytes.clone()), Base::Older);
    age_by(&mut bytes, 1, 1);
    forge(&mut bytes, 0, 20, &own.to_le_bytes());
    assert_eq!(base(bytes), Base::Broken);
}

#[test]
fn m2_what_was_damaged_itself_does_not_stand_in() {
    let (bytes, mut state) = stood_in();
    let mut ledger = Ledger::open(Part::<4>::from_bytes(bytes), geometry(2)).unwrap();
    // fold what there is and go on for a sector
    assert_eq!(fold(&mut ledger).state, state);
    ledger.roll(state.snapshot()).unwrap();
    while !ledger.needs_roll() {
        crate::model::step(&mut ledger, &mut state).unwrap();
    }
    let at = usize::from(current_sector(ledger.clone())) * PAGE + SLOT;
    ledger.flash_mut().flip_bit(at as u32, 5);
    // rolled on from a sector whose snapshot is damaged, known only after a start
    let mut ledger = reopen(ledger);
    ledger.roll(state.snapshot()).unwrap();
    let at = usize::from(current_sector(ledger.clone())) * PAGE + SLOT;
    ledger.flash_mut().flip_bit(at as u32, 5);
    assert_eq!(reopen(ledger).base(), Base::Broken);
}

#[test]
fn m2_a_slot_of_a_lower_number_is_damage() {
    // what an erase left, and which reads as a slot only now
    let (ledger, state) = after::<4>(2, 17);
    let sector = current_sector(ledger.clone());
    let mut bytes = ledger.into_flash().into_bytes();
    let Slot::Good { seq, .. } = slot(&bytes, usize::from(sector), 5) else { panic!() };
    let left = Slot::encode(Class::Record, 3, &record(99));
    put(&mut bytes, usize::from(sector), 6, left);
    let mut ledger = Ledger::open(Part::<4>::from_bytes(bytes), geometry(2)).unwrap();
    let folded = fold(&mut ledger);
    assert_eq!((folded.state, folded.damaged), (state, vec![(Class::Record, sector, 6)]));
    // no number is given again, and the one that the slot may have had is not either
    assert_eq!(ledger.append(&state.next_record()), Ok(seq + 2));
}

#[test]
fn m4_an_unfinished_ledger_beside_one_of_a_later_version_is_not_formatted_over() {
    let mut bytes = fresh::<4>(2).into_flash().into_bytes();
    let Slot::Good { seq, mut payload, .. } = slot(&bytes, 0, 0) else { panic!() };
    // the first has its header, and no seal
    bytes[(KEPT + 2) * SLOT + 9] ^= 1;
    let error = refusal(Part::<4>::from_bytes(bytes.clone()), geometry(2));
    assert_eq!(error, OpenError::Unfinished);
    // a header of a later version in the second sector
    payload[4..6].copy_from_slice(&900_u16.to_le_bytes());
    put(&mut bytes, 1, 0, Slot::encode(Class::Header, seq + 40, &payload));
    for _ in 0..2 {
        let error = refusal(Part::<4>::from_bytes(bytes.clone()), geometry(2));
        assert_eq!(error, OpenError::Version(900));
        // nor with the header gone
        bytes[9] ^= 1;
    }
}

#[test]
fn m4_a_sector_of_a_later_format_refuses_the_store_whatever_the_others_are() {
    // what an upgrade leaves: its first record opens a sector, and the others stay as they are
    for sectors in [2, 3] {
        let (ledger, _) = after::<4>(sectors, 16);
        let current = usize::from(current_sector(ledger.clone()));
        let bytes = ledger.into_flash().into_bytes();
        for sector in 0..usize::from(sectors) {
            let mut bytes = bytes.clone();
            if slot(&bytes, sector, 0) == Slot::Blank {
                continue;
            }
            forge(&mut bytes, sector, 4, &(VERSION + 1).to_le_bytes());
            let found = refusal(Part::<4>::from_bytes(bytes), geometry(sectors));
            assert_eq!(
                found,
                OpenError::Version(VERSION + 1),
                "sector {sector}, {current} in force"
            );
        }
    }
}
