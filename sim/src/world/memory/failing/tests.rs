use std::cell::RefCell;
use std::rc::Rc;

use dosewright_core::ledger::SLOT;
use embedded_storage::nor_flash::{NorFlash, ReadNorFlash};

use super::super::{Deeds, PAGE};
use super::*;
use crate::world::flash::NorMock;

type Part = Watched<4>;

/// A flash of four pages that are written all over, and what is done with it.
fn part() -> (Part, Deeds) {
    let deeds: Deeds = Rc::new(RefCell::new(Vec::new()));
    (Part::new(NorMock::from_bytes(vec![0; 4 * PAGE]), deeds.clone()), deeds)
}

fn wait(part: &mut Part, call: Call, after: u32, times: u32) {
    part.failing.wait(Waits { fault: 7, call, after, times });
}

fn read(part: &mut Part, address: u32) -> (Result<(), NorError>, [u8; SLOT]) {
    let mut slot = [0x55; SLOT];
    (part.read(address, &mut slot), slot)
}

#[test]
fn so_many_readings_go_wrong_after_so_many_others() {
    let mut one_bit = [0; SLOT];
    one_bit[0] = 0x10;
    for (how, wrong) in [
        (Misread::Bit, (Ok(()), one_bit)),
        (Misread::Error, (Err(NorError::Unreadable), [0; SLOT])),
        (Misread::Blank, (Ok(()), [0xff; SLOT])),
    ] {
        let (mut part, deeds) = part();
        wait(&mut part, Call::Read(how), 2, 2);
        let right = (Ok(()), [0; SLOT]);
        let found: Vec<_> = (0..6).map(|at| read(&mut part, at * 64)).collect();
        assert_eq!(found, [right, right, wrong, wrong, right, right], "{how:?}");
        assert_eq!(*deeds.borrow(), [Deed::Failed(7), Deed::Failed(7)], "{how:?}");
        // what is in it is right
        assert!(part.nor.bytes().iter().all(|byte| *byte == 0));
    }
}

#[test]
fn what_is_blank_and_reads_blank_is_not_misread() {
    let (mut part, deeds) = part();
    part.erase(0, PAGE as u32).unwrap();
    deeds.borrow_mut().clear();
    wait(&mut part, Call::Read(Misread::Blank), 0, 1);
    assert_eq!(read(&mut part, 0), (Ok(()), [0xff; SLOT]));
    assert!(deeds.borrow().is_empty());
    assert_eq!(read(&mut part, PAGE as u32), (Ok(()), [0xff; SLOT]));
    assert_eq!(*deeds.borrow(), [Deed::Failed(7)]);
}

/// As often as the device reads a slot, and twice where it reads blank.
#[test]
fn a_slot_that_is_misread_as_often_as_it_is_read_is_told() {
    let told = |how, times: u32, reads: &[u32]| {
        let (mut part, deeds) = part();
        wait(&mut part, Call::Read(how), 0, times);
        for address in reads {
            _ = read(&mut part, *address);
        }
        let deeds = deeds.borrow();
        deeds.iter().filter(|deed| **deed == Deed::Unread { address: 64 }).count()
    };
    for how in [Misread::Bit, Misread::Error] {
        assert_eq!(told(how, 2, &[64; 6]), 0, "{how:?}");
        assert_eq!(told(how, 3, &[64; 6]), 1, "{how:?}");
        assert_eq!(told(how, 6, &[64; 6]), 2, "{how:?}");
        // the slot after it is another one
        assert_eq!(told(how, 4, &[64, 64, 128, 64]), 0, "{how:?}");
    }
    assert_eq!(told(Misread::Blank, 1, &[64; 6]), 0);
    assert_eq!(told(Misread::Blank, 2, &[64; 6]), 1);
}

#[test]
fn a_reading_that_is_right_in_between_ends_the_row() {
    let failed = |deeds: &Deeds| deeds.borrow().iter().all(|deed| *deed == Deed::Failed(7));
    // of two faults the second lets one reading go by
    let (mut twice, deeds) = part();
    wait(&mut twice, Call::Read(Misread::Bit), 0, 2);
    wait(&mut twice, Call::Read(Misread::Bit), 1, 1);
    for _ in 0..4 {
        _ = read(&mut twice, 64);
    }
    assert!(failed(&deeds) && deeds.borrow().len() == 3, "{deeds:?}");
    // or comes when none waits any more
    let (mut later, deeds) = part();
    for times in [2, 1] {
        wait(&mut later, Call::Read(Misread::Bit), 0, times);
        for _ in 0..=times {
            _ = read(&mut later, 64);
        }
    }
    assert!(failed(&deeds) && deeds.borrow().len() == 3, "{deeds:?}");
}

/// A blank slot where more was to be there is read again, and two wrong readings after the
/// right one are the last; two right ones are enough, and after a write it is another row.
#[test]
fn a_right_reading_of_a_blank_slot_is_one_of_the_row() {
    let given_up = |row: &str| {
        let (mut part, deeds) = part();
        part.erase(0, PAGE as u32).unwrap();
        // a row is as long as anything waits
        let never = Failure { done: Done::All, reported: true };
        part.failing.wait(Waits { fault: 8, call: Call::Erase(never), after: 9, times: 1 });
        for step in row.chars() {
            match step {
                'w' => part.write(128, &[0; SLOT]).unwrap(),
                wrong => {
                    let after = u32::from(wrong == '.');
                    wait(&mut part, Call::Read(Misread::Bit), after, 1);
                    _ = read(&mut part, 64);
                }
            }
            part.failing.give_up(7);
        }
        deeds.borrow().contains(&Deed::Unread { address: 64 })
    };
    for (row, told) in [(".xx", true), ("x.x", true), ("..xx", false), (".wxx", false)] {
        assert_eq!(given_up(row), told, "{row}");
    }
    // with two right ones the row is over, and another begins
    for (row, told) in [("xx.", false), ("xx.xx", false), ("xx.xxx", true), ("...xx", true)] {
        assert_eq!(given_up(row), told, "{row}");
    }
}

#[test]
fn a_write_that_fails_has_done_what_it_is_to_have() {
    for (done, written) in [(Done::Nothing, 0), (Done::Half, 32), (Done::All, 64)] {
        for reported in [true, false] {
            let (mut part, deeds) = part();
            part.erase(0, PAGE as u32).unwrap();
            wait(&mut part, Call::Write(Failure { done, reported }), 1, 1);
            assert_eq!(part.write(0, &[0; SLOT]), Ok(()));
            let said = part.write(64, &[0; SLOT]);
            assert_eq!(said, if reported { Err(NorError::Failed) } else { Ok(()) }, "{done:?}");
            let slot = &part.nor.bytes()[64..128];
            assert!(slot[..written].iter().all(|byte| *byte == 0), "{done:?}");
            assert!(slot[written..].iter().all(|byte| *byte != 0), "{done:?}");
            assert_eq!(part.write(128, &[0; SLOT]), Ok(()));
            let failed = deeds.borrow().iter().filter(|deed| **deed == Deed::Failed(7)).count();
            assert_eq!(failed, 1);
        }
    }
}

#[test]
fn an_erase_that_fails_has_done_what_it_is_to_have() {
    for (done, erased) in [(Done::Nothing, 0), (Done::Half, 1), (Done::All, 2)] {
        for reported in [true, false] {
            let (mut part, deeds) = part();
            wait(&mut part, Call::Erase(Failure { done, reported }), 0, 1);
            let said = part.erase(0, 2 * PAGE as u32);
            assert_eq!(said, if reported { Err(NorError::Failed) } else { Ok(()) }, "{done:?}");
            let blank = |page: usize| part.nor.bytes()[page * PAGE] == 0xff;
            assert_eq!((0..4).filter(|page| blank(*page)).count(), erased, "{done:?}");
            assert!((0..erased).all(blank), "{done:?}");
            // what it left is told, whatever the driver says
            let left = (erased * PAGE..2 * PAGE).step_by(SLOT).map(|at| at as u32).collect();
            assert!(deeds.borrow().contains(&Deed::Erased { address: 0, left }), "{done:?}");
            assert_eq!(part.erase(0, 2 * PAGE as u32), Ok(()));
            let whole = Deed::Erased { address: 0, left: Vec::new() };
            assert_eq!(deeds.borrow().last(), Some(&whole));
        }
    }
}

/// Two of a kind: the second waits for the first; with the supply gone none is spent.
#[test]
fn of_a_kind_the_first_counts_and_none_is_spent_without_a_supply() {
    let (mut part, deeds) = part();
    wait(&mut part, Call::Read(Misread::Error), 0, 1);
    part.failing.wait(Waits { fault: 8, call: Call::Read(Misread::Bit), after: 0, times: 1 });
    part.nor.power_off();
    assert_eq!(read(&mut part, 0).0, Err(NorError::Cut));
    part.nor.power_on();
    assert_eq!(read(&mut part, 0).0, Err(NorError::Unreadable));
    assert_eq!(read(&mut part, 0).1[0], 0x10);
    assert_eq!(*deeds.borrow(), [Deed::Failed(7), Deed::Failed(8)]);
    // nor is one of the others
    let all = Failure { done: Done::All, reported: true };
    for call in [Call::Write(all), Call::Erase(all)] {
        let begin = |part: &mut Part| match call {
            Call::Write(_) => part.write(0, &[0; SLOT]),
            _ => part.erase(0, PAGE as u32),
        };
        wait(&mut part, call, 0, 1);
        part.nor.power_off();
        assert_eq!(begin(&mut part), Err(NorError::Cut), "{call:?}");
        part.nor.power_on();
        assert_eq!(begin(&mut part), Err(NorError::Failed), "{call:?}");
    }
    // and one that nobody waits for any more is over
    wait(&mut part, Call::Read(Misread::Error), 0, 1);
    part.failing.give_up(7);
    assert_eq!(read(&mut part, 0).0, Ok(()));
}
