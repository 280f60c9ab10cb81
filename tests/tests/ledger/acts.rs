//! Random acts and random bytes.

use dosewright_core::ledger::{Ledger, SLOT};
use dosewright_sim::world::flash::Tear;
use proptest::prelude::*;

use crate::model::{
    PAGE, Part, State, after, fold, folded_state_after, fresh, geometry, reopen, step,
};

#[derive(Clone, Copy, Debug)]
enum Act {
    Step,
    Roll,
    Reopen,
    Cut {
        steps: u64,
        tear: Tear,
    },
    /// Flips a bit of a slot that is still blank.
    FlipBlank {
        bit: usize,
    },
}

fn any_act() -> impl Strategy<Value = Act> {
    let tear = prop_oneof![
        Just(Tear::Bytes),
        Just(Tear::Words),
        any::<u64>().prop_map(|seed| Tear::Bits { seed }),
    ];
    prop_oneof![
        8 => Just(Act::Step),
        1 => Just(Act::Roll),
        1 => Just(Act::Reopen),
        4 => (0..420_u64, tear).prop_map(|(steps, tear)| Act::Cut { steps, tear }),
        1 => (0..4 * PAGE * 8).prop_map(|bit| Act::FlipBlank { bit }),
    ]
}

fn run_acts<const W: usize>(sectors: u16, acts: &[Act]) {
    let (mut ledger, mut state) = (fresh::<W>(sectors), State::default());
    for act in acts {
        match *act {
            Act::Step => step(&mut ledger, &mut state).unwrap(),
            Act::Roll => ledger.roll(state.snapshot()).unwrap(),
            Act::Reopen => ledger = reopen(ledger),
            Act::Cut { steps, tear } => {
                ledger.flash_mut().set_tear(tear);
                ledger.flash_mut().cut_after_steps(Some(steps));
                let mut in_flight = state;
                while !ledger.flash().is_off() {
                    state = in_flight;
                    let _ = step(&mut ledger, &mut in_flight);
                }
                ledger = reopen(ledger);
                let found = fold(&mut ledger).state;
                assert!(found == state || found == state.pushed(), "{found:?} of {state:?}");
                state = found;
            }
            Act::FlipBlank { bit } => {
                let at = bit / 8;
                let slot = at / SLOT * SLOT;
                let bytes = ledger.flash().bytes();
                if bytes.get(slot..slot + SLOT).is_some_and(|slot| slot == [0xff; SLOT]) {
                    ledger.flash_mut().flip_bit(at as u32, (bit % 8) as u8);
                }
            }
        }
        assert_eq!(fold(&mut ledger).state, state);
    }
    assert_eq!(fold(&mut reopen(ledger)).state, state);
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 400, ..ProptestConfig::default() })]

    #[test]
    fn any_acts_keep_every_acknowledged_record(
        acts in prop::collection::vec(any_act(), 1..60),
        sectors in 2..5_u16,
    ) {
        run_acts::<1>(sectors, &acts);
        run_acts::<4>(sectors, &acts);
        run_acts::<8>(sectors, &acts);
    }

    #[test]
    fn any_bytes_at_all_are_opened_or_refused(
        bytes in prop::collection::vec(any::<u8>(), 0..3 * PAGE),
        patches in prop::collection::vec((0..3 * PAGE, any::<u8>()), 0..40),
    ) {
        let _ = Ledger::open(Part::<4>::from_bytes(bytes), geometry(2)).map_err(drop);
        let (ledger, _) = after::<4>(3, 17);
        let mut image = ledger.into_flash().into_bytes();
        for (at, byte) in patches {
            image[at] = byte;
        }
        if let Ok(mut ledger) = Ledger::open(Part::<4>::from_bytes(image), geometry(3)) {
            fold(&mut ledger);
            folded_state_after(&mut ledger, 9);
        }
    }
}
