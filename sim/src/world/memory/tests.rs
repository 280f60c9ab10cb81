//! Tears, call by call: in which one the supply goes, and what is done of it.

use super::*;

type Part = Watched<4>;

/// A flash of four pages that are written all over, but for the first, with these tears.
fn part(tears: &[Waiting]) -> Part {
    let mut bytes = vec![0; 4 * PAGE];
    bytes[..PAGE].fill(0xff);
    let mut part = Part::new(NorMock::from_bytes(bytes), Deeds::default());
    part.tears.waiting = tears.to_vec();
    part
}

/// A slot is written, or a page erased.
fn begin(part: &mut Part, work: MemoryWork) -> Result<(), NorError> {
    match work {
        MemoryWork::Write => part.write(0, &[0; SLOT]),
        MemoryWork::Erase => part.erase(PAGE as u32, 2 * PAGE as u32),
    }
}

/// How many cuts it told of.
fn cuts(part: &Part) -> usize {
    part.deeds.borrow().iter().filter(|deed| **deed == Deed::Cut).count()
}

#[test]
fn a_tear_is_not_spent_on_what_is_tried_with_the_supply_gone() {
    for work in [MemoryWork::Write, MemoryWork::Erase] {
        let mut part = part(&[3, 5].map(|fault| Waiting { fault, work, after: 0 }));
        for (fault, left) in [(3, 1), (5, 0)] {
            for tried in 1..4 {
                assert_eq!(begin(&mut part, work), Err(NorError::Cut));
                let tears = &part.tears;
                assert_eq!((tears.torn_by, tears.waiting.len()), (Some(fault), left), "{tried}");
            }
            part.nor.power_on();
        }
        assert_eq!(begin(&mut part, work), Ok(()));
        assert_eq!(cuts(&part), 6);
    }
}

#[test]
fn a_tear_waits_for_its_own_work_and_takes_the_supply_at_the_end_of_it_at_the_latest() {
    use MemoryWork::{Erase, Write};
    for (work, other, after, done) in [
        (Write, Erase, 0, 0),
        (Write, Erase, 3, 3),
        (Write, Erase, 63, 63),
        (Write, Erase, 64, 64),
        (Write, Erase, 20_000, 64),
        (Erase, Write, 0, 0),
        (Erase, Write, 1, PAGE / 2),
        (Erase, Write, 5, PAGE),
        (Erase, Write, 20_000, PAGE),
    ] {
        let mut part = part(&[Waiting { fault: 7, work, after }]);
        assert_eq!(begin(&mut part, other), Ok(()));
        assert_eq!((part.tears.torn_by, cuts(&part)), (None, 0));
        let before = part.nor.bytes().to_vec();
        assert_eq!(begin(&mut part, work), Err(NorError::Cut), "{work:?} {after}");
        assert_eq!((part.tears.torn_by, cuts(&part)), (Some(7), 1));
        let changed = part.nor.bytes().iter().zip(&before).filter(|(now, then)| now != then);
        assert_eq!(changed.count(), done, "{work:?} {after}");
    }
}
