//! The ledger's slots: what cannot be read since the last intent, and what was carried on.

use dosewright_core::cause::Cause;
use dosewright_core::entry::{EntryId, Nominal};
use dosewright_core::ledger::{Class, Geometry, Slot};
use dosewright_core::record::{Born, DueKey, Pulse, Record, Reset};
use dosewright_core::time::Instant;
use dosewright_core::units::Flow;

use crate::audit::ledger::{About, LedgerWatch, Seen};

const START: u32 = 8192;
const SECTOR: u32 = 4096;

fn watch() -> LedgerWatch {
    LedgerWatch::new(Geometry { start: START, sector_bytes: SECTOR, sectors: 4 })
}

fn stamp() -> Record {
    Record::Stamp { at: Instant::from_ms(5) }
}

fn boot() -> Record {
    Record::Boot { at: Instant::from_ms(5), feed_kept: true, reset: Reset::PowerOn }
}

fn pulse() -> Record {
    let due = DueKey { id: EntryId(3), revision: 1, epoch: 1, nominal: Nominal(7) };
    Record::Pulse(Pulse {
        line: 0,
        due,
        mark: None,
        at: Instant::from_ms(5),
        due_at: Instant::from_ms(5),
        begun_after_ms: 0,
        on_ms: 400,
        least_ms: 0,
        most_ms: 0,
        dose_ms: 400,
        flow: Flow::from_nl_per_min(1_000_000).unwrap(),
        first: true,
        asked: false,
        cut: Some(Cause::Ceiling),
        restarts: 0,
    })
}

/// Where a slot of a sector lies.
fn at(sector: u32, slot: u32) -> u32 {
    START + sector * SECTOR + slot * 64
}

fn write(watch: &mut LedgerWatch, address: u32, seq: u32, class: Class, record: &Record) -> Seen {
    watch.see(address, &Slot::encode(class, seq, &record.encode()), &mut None)
}

fn seal(watch: &mut LedgerWatch, address: u32, seq: u32) -> Seen {
    watch.see(address, &Slot::encode(Class::Seal, seq, &[0; 56]), &mut None)
}

fn flip(watch: &mut LedgerWatch, address: u32) -> Option<About> {
    match watch.see(address, &[0x5a; 64], &mut None) {
        Seen::Damaged(about) => about,
        other => panic!("{other:?}"),
    }
}

#[test]
fn d4_a_blank_slot_that_a_start_misreads_counts_though_it_is_written_then() {
    let mut ledger = watch();
    write(&mut ledger, at(0, 1), 1, Class::Record, &pulse());
    assert!(matches!(ledger.damage(at(0, 2), true), Seen::Damaged(None)));
    assert_eq!(ledger.unreadable(), 1);
    write(&mut ledger, at(0, 2), 2, Class::Record, &boot());
    assert_eq!(ledger.unreadable(), 1, "the start has taken it for an intent");
    write(&mut ledger, at(0, 3), 3, Class::Record, &pulse());
    assert_eq!(ledger.unreadable(), 0);
}

#[test]
fn d4_slots_that_cannot_be_read_are_counted_from_the_last_intent() {
    let mut ledger = watch();
    assert_eq!((ledger.unreadable(), ledger.tail()), (0, 0));
    write(&mut ledger, at(0, 1), 1, Class::Record, &pulse());
    flip(&mut ledger, at(0, 2));
    flip(&mut ledger, at(0, 3));
    // that after the first intent of a dose is its second slot
    assert_eq!((ledger.unreadable(), ledger.tail()), (2, 1));
    // a record after them: they are behind the last intent, and not at the end
    write(&mut ledger, at(0, 4), 2, Class::Record, &stamp());
    assert_eq!((ledger.unreadable(), ledger.tail()), (2, 0));
    flip(&mut ledger, at(0, 5));
    assert_eq!((ledger.unreadable(), ledger.tail()), (3, 1));
    // a start only tells of what it found
    write(&mut ledger, at(0, 6), 3, Class::Record, &boot());
    assert_eq!((ledger.unreadable(), ledger.tail()), (3, 1));
    // the next intent says what was pumped before it
    write(&mut ledger, at(0, 7), 4, Class::Record, &pulse());
    assert_eq!((ledger.unreadable(), ledger.tail()), (0, 0));
    // one written over again is whole
    flip(&mut ledger, at(0, 8));
    assert_eq!(ledger.unreadable(), 1);
    write(&mut ledger, at(0, 8), 5, Class::Record, &stamp());
    assert_eq!(ledger.unreadable(), 0);
    // and what fails before the last intent is no pulse after it
    assert_eq!(flip(&mut ledger, at(0, 4)), Some(About::Nothing));
    assert_eq!(ledger.unreadable(), 0);
}

#[test]
fn d4_a_new_sector_may_or_may_not_carry_the_last_intent_on() {
    let mut ledger = watch();
    write(&mut ledger, at(0, 1), 1, Class::Record, &pulse());
    flip(&mut ledger, at(0, 2));
    // the next sector: its header, what it carries forward, its seal
    ledger.see(at(1, 0), &Slot::encode(Class::Header, 2, &[0; 56]), &mut None);
    write(&mut ledger, at(1, 1), 3, Class::Snapshot, &stamp());
    flip(&mut ledger, at(1, 2));
    assert_eq!(ledger.unreadable(), 1, "it is not in force yet");
    assert!(matches!(seal(&mut ledger, at(1, 3), 4), Seen::Sealed));
    assert_eq!((ledger.unreadable(), ledger.tail()), (1, 0));
    flip(&mut ledger, at(1, 4));
    assert_eq!((ledger.unreadable(), ledger.tail()), (2, 1));
    // damage of the sector that is left is of no account
    flip(&mut ledger, at(0, 3));
    assert_eq!((ledger.unreadable(), ledger.tail()), (2, 1));
    write(&mut ledger, at(1, 5), 5, Class::Record, &pulse());
    assert_eq!(ledger.unreadable(), 0);
}

#[test]
fn d4_what_an_erase_leaves_is_damaged_in_the_sector_that_begins_there() {
    let header = Slot::encode(Class::Header, 2, &[0; 56]);
    for (erases, unreadable) in [(vec![vec![3, 9]], 2), (vec![vec![3, 9], vec![]], 0)] {
        let mut ledger = watch();
        write(&mut ledger, at(0, 1), 1, Class::Record, &pulse());
        // a bit had flipped in it while nobody wrote there
        flip(&mut ledger, at(1, 9));
        for left in erases {
            let left: Vec<u32> = left.into_iter().map(|slot| at(1, slot)).collect();
            ledger.erased(at(1, 0), &left);
        }
        ledger.see(at(1, 0), &header, &mut None);
        write(&mut ledger, at(1, 1), 3, Class::Snapshot, &stamp());
        assert!(matches!(seal(&mut ledger, at(1, 2), 4), Seen::Sealed));
        assert_eq!(ledger.tail(), unreadable);
        assert_eq!(ledger.is_damaged(at(1, 9)), unreadable > 0);
        // what stands beside it is of another sector
        assert!(!ledger.is_damaged(at(0, 3)));
    }
}

#[test]
fn d4_what_a_start_could_not_write_is_not_lost_to_it() {
    let mut ledger = watch();
    write(&mut ledger, at(0, 1), 1, Class::Record, &pulse());
    write(&mut ledger, at(0, 2), 2, Class::Record, &stamp());
    ledger.stops();
    flip(&mut ledger, at(0, 3));
    ledger.starts();
    // two slots did not take the record of the start: nothing of one, half of the other
    assert!(matches!(ledger.see(at(0, 4), &[0xff; 64], &mut None), Seen::Unwritten));
    flip(&mut ledger, at(0, 5));
    assert_eq!((ledger.unreadable(), ledger.tail()), (1, 1));
    // to the next start they are
    ledger.started();
    assert_eq!((ledger.unreadable(), ledger.tail()), (3, 2));
    ledger.starts();
    assert_eq!((ledger.unreadable(), ledger.tail()), (3, 2));
}

#[test]
fn m1_a_seal_that_stands_twice_seals_once() {
    let mut ledger = watch();
    write(&mut ledger, at(0, 1), 1, Class::Record, &pulse());
    ledger.see(at(1, 0), &Slot::encode(Class::Header, 2, &[0; 56]), &mut None);
    write(&mut ledger, at(1, 1), 3, Class::Snapshot, &stamp());
    assert!(matches!(seal(&mut ledger, at(1, 2), 4), Seen::Sealed));
    // what was read back of it was wrong, and it was written again: the snapshot is the same
    assert!(matches!(seal(&mut ledger, at(1, 3), 4), Seen::Nothing));
    // and it is from the second that slots count which cannot be read
    flip(&mut ledger, at(1, 4));
    assert_eq!(ledger.tail(), 1);
}

#[test]
fn m1_what_stood_in_a_slot_is_lost_with_it_while_it_is_in_force() {
    let mut ledger = watch();
    let of = Some(About::Entry(EntryId(3)));
    write(&mut ledger, at(0, 1), 1, Class::Record, &pulse());
    write(&mut ledger, at(0, 2), 2, Class::Record, &pulse());
    assert_eq!((flip(&mut ledger, at(0, 1)), flip(&mut ledger, at(0, 1))), (of, None));
    // what the seal has put out of force is not missed
    ledger.see(at(1, 0), &Slot::encode(Class::Header, 3, &[0; 56]), &mut None);
    write(&mut ledger, at(1, 1), 4, Class::Snapshot, &pulse());
    seal(&mut ledger, at(1, 2), 5);
    assert_eq!((flip(&mut ledger, at(0, 2)), flip(&mut ledger, at(1, 1))), (None, of));
    // an erase takes all of its sector, and that alone
    write(&mut ledger, at(1, 63), 6, Class::Record, &pulse());
    write(&mut ledger, at(2, 1), 7, Class::Record, &pulse());
    write(&mut ledger, at(3, 1), 8, Class::Record, &pulse());
    flip(&mut ledger, at(2, 2));
    ledger.see(at(2, 0), &Slot::encode(Class::Header, 9, &[0; 56]), &mut None);
    assert_eq!((flip(&mut ledger, at(2, 1)), flip(&mut ledger, at(1, 63))), (None, of));
    assert_eq!(flip(&mut ledger, at(3, 1)), of);
    // a start that found the feed lost is what unset the clock
    let at_start =
        |feed_kept| Record::Boot { at: Instant::from_ms(5), feed_kept, reset: Reset::PowerOn };
    write(&mut ledger, at(3, 2), 10, Class::Record, &at_start(true));
    write(&mut ledger, at(3, 3), 11, Class::Record, &at_start(false));
    let about = [flip(&mut ledger, at(3, 2)), flip(&mut ledger, at(3, 3))];
    assert_eq!(about, [Some(About::Nothing), Some(About::Clock)]);
    // and one that waits is one entry's
    let due = DueKey { id: EntryId(3), revision: 1, epoch: 1, nominal: Nominal(7) };
    let (at_ms, cause) = (Instant::from_ms(5), Cause::Leak);
    let born = Born { line: 0, due, mark: None, at: at_ms, due_at: at_ms, cause };
    write(&mut ledger, at(3, 4), 12, Class::Record, &Record::Born(born));
    assert_eq!(flip(&mut ledger, at(3, 4)), of);
    // and no slot lies beyond the ring, or before it
    for outside in [at(4, 1), START - 64] {
        write(&mut ledger, outside, 20 + outside, Class::Record, &pulse());
        assert_eq!(flip(&mut ledger, outside), None);
    }
}

#[test]
fn m1_a_header_in_force_that_cannot_be_read_takes_nothing_with_it() {
    let mut ledger = watch();
    ledger.see(at(0, 0), &Slot::encode(Class::Header, 1, &[0; 56]), &mut None);
    write(&mut ledger, at(0, 1), 2, Class::Record, &pulse());
    flip(&mut ledger, at(0, 5));
    // no device erases the sector in force: its header has flipped
    assert_eq!(flip(&mut ledger, at(0, 0)), None);
    assert_eq!((ledger.unreadable(), ledger.tail()), (1, 1));
    assert_eq!(flip(&mut ledger, at(0, 1)), Some(About::Entry(EntryId(3))));
    // of another sector it is what a cut has left of the header after the erase
    write(&mut ledger, at(0, 6), 3, Class::Record, &pulse());
    write(&mut ledger, at(1, 1), 4, Class::Record, &stamp());
    flip(&mut ledger, at(0, 0));
    assert_eq!(flip(&mut ledger, at(0, 6)), None);
}

#[test]
fn m1_a_bit_that_flips_back_writes_no_record() {
    let mut ledger = watch();
    write(&mut ledger, at(0, 1), 1, Class::Record, &pulse());
    write(&mut ledger, at(0, 2), 2, Class::Record, &stamp());
    flip(&mut ledger, at(0, 2));
    assert_eq!(ledger.unreadable(), 1);
    assert!(matches!(write(&mut ledger, at(0, 2), 2, Class::Record, &stamp()), Seen::Nothing));
    assert_eq!(ledger.unreadable(), 0);
    // with a number of its own it is a record
    flip(&mut ledger, at(0, 3));
    assert!(matches!(write(&mut ledger, at(0, 3), 3, Class::Record, &stamp()), Seen::Record));
    // what was whole all the time is not written over
    let again = write(&mut ledger, at(0, 2), 2, Class::Record, &stamp());
    assert!(matches!(again, Seen::OutOfOrder { seq: 2, after: 3 }));
}

#[test]
fn m2_what_stands_in_two_slots_is_lost_with_both() {
    for slots in [[1, 2], [2, 1]] {
        let mut ledger = watch();
        for slot in [1, 2] {
            write(&mut ledger, at(0, slot), 1, Class::Record, &pulse());
        }
        assert_eq!(flip(&mut ledger, at(0, slots[0])), None);
        assert!(matches!(flip(&mut ledger, at(0, slots[1])), Some(About::Entry(_))));
    }
}

#[test]
fn m1_numbers_rise_and_slots_speak() {
    let mut ledger = watch();
    assert!(matches!(write(&mut ledger, at(0, 1), 5, Class::Record, &stamp()), Seen::Record));
    // the same again is its second slot, and another of that number is no record
    assert!(matches!(write(&mut ledger, at(0, 2), 5, Class::Record, &stamp()), Seen::Again));
    for seq in [5, 4] {
        let seen = write(&mut ledger, at(0, 3), seq, Class::Record, &boot());
        assert!(matches!(seen, Seen::OutOfOrder { seq: s, after: 5 } if s == seq));
    }
    assert!(matches!(write(&mut ledger, at(0, 3), 6, Class::Record, &stamp()), Seen::Record));
    assert!(matches!(ledger.see(at(0, 4), &[0xff; 64], &mut None), Seen::Unwritten));
    assert!(matches!(ledger.see(at(0, 4), &[0xff; 63], &mut None), Seen::Damaged(None)));
    let nonsense = Slot::encode(Class::Record, 9, &[0xee; 56]);
    assert!(matches!(ledger.see(at(0, 5), &nonsense, &mut None), Seen::Unreadable));
}

#[test]
fn m2_the_last_instant_that_can_be_read_is_an_hour_off_for_each_lost_slot() {
    let hour = 3_600_000;
    let mut ledger = watch();
    write(&mut ledger, at(0, 1), 1, Class::Record, &stamp());
    ledger.last_at = 10 * hour;
    let may_end = |ledger: &LedgerWatch, off_ms| ledger.may_end_at(10 * hour + off_ms);
    assert!([-1, 0, 1].iter().all(|&ms| may_end(&ledger, ms)));
    assert!(!may_end(&ledger, -2) && !may_end(&ledger, 2));
    for (lost, slot) in (1..4).zip(2..) {
        flip(&mut ledger, at(0, slot));
        let first = -lost * hour - 1;
        assert!(may_end(&ledger, first) && !may_end(&ledger, first - 1), "{lost}");
        assert!(may_end(&ledger, 1) && !may_end(&ledger, 2), "{lost}");
    }
}
