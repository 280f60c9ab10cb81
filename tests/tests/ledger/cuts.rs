//! M1: the supply goes at every step of every write and erase.

use dosewright_core::ledger::{FormatError, Ledger, OpenError, RollError, SLOT, VERSION};
use dosewright_sim::world::flash::{NorError, Tear};

use crate::model::{
    PAGE, Part, State, after, current_sector, fold, folded_state_after, fresh, geometry, reopen,
    step,
};
use crate::refusals;

/// Cuts the next step of this ledger after `steps` and opens it again: the
/// state must be the one before or, of an append, the one after (M1). `None`
/// where the cut came too late to be met, or left the same as `last`.
fn cut<const W: usize>(
    ledger: &Ledger<Part<W>>,
    state: State,
    steps: u64,
    last: &mut Vec<u8>,
) -> Option<(Ledger<Part<W>>, State)> {
    let (mut cut, mut ignored) = (ledger.clone(), state);
    let is_roll = cut.needs_roll();
    cut.flash_mut().cut_after_steps(Some(steps));
    if step(&mut cut, &mut ignored).is_ok() {
        return None;
    }
    if cut.flash().bytes() == last {
        return None;
    }
    last.clear();
    last.extend_from_slice(cut.flash().bytes());
    let mut opened = reopen(cut);
    let folded = fold(&mut opened);
    if is_roll {
        assert_eq!(folded.state, state, "cut after {steps} steps of a roll");
    } else if folded.state != state {
        assert_eq!(folded.state, state.pushed(), "cut after {steps} steps of an append");
    }
    Some((opened, folded.state))
}

/// How many steps the next step of this ledger has.
fn steps_of<const W: usize>(ledger: &Ledger<Part<W>>, state: State) -> u64 {
    let (mut ledger, mut state) = (ledger.clone(), state);
    let before = ledger.flash().counters().steps;
    step(&mut ledger, &mut state).unwrap();
    ledger.flash().counters().steps - before
}

/// Cuts at every step of `outer` appends and rolls, and, after each such cut, at
/// every step of the `inner` ones that follow. Gives the number of runs.
fn cut_everywhere<const W: usize>(sectors: u16, tear: Tear, outer: usize, inner: usize) -> u64 {
    let (mut ledger, mut state) = (fresh::<W>(sectors), State::default());
    ledger.flash_mut().set_tear(tear);
    let (mut runs, mut rolls) = (0, 0);
    let (mut last, mut last_inner) = (Vec::new(), Vec::new());
    for _ in 0..outer {
        for steps in 0..steps_of(&ledger, state) {
            let Some((mut again, mut again_state)) = cut(&ledger, state, steps, &mut last) else {
                continue;
            };
            runs += 1;
            for _ in 0..inner {
                // the same image asks for more once the step before is acknowledged
                last_inner.clear();
                for steps in 0..steps_of(&again, again_state) {
                    runs += u64::from(cut(&again, again_state, steps, &mut last_inner).is_some());
                }
                step(&mut again, &mut again_state).unwrap();
                assert_eq!(fold(&mut again.clone()).state, again_state);
            }
            assert!(inner < 5 || again.counters().rolls > 0, "the second cuts meet a roll");
        }
        step(&mut ledger, &mut state).unwrap();
        rolls = ledger.counters().rolls;
        last.clear();
    }
    assert!(rolls >= 2, "{rolls} rolls");
    runs
}

#[test]
fn m1_two_cuts_at_every_byte_of_a_word_of_one() {
    let runs = cut_everywhere::<1>(2, Tear::Bytes, 10, 5);
    println!("{runs} runs");
    assert!(runs > 700_000, "{runs}");
}

#[test]
fn m1_two_cuts_at_every_word_of_four_and_eight() {
    let of_four = cut_everywhere::<4>(2, Tear::Words, 12, 6);
    let of_eight = cut_everywhere::<8>(3, Tear::Words, 16, 8);
    println!("{of_four} and {of_eight} runs");
    assert!(of_four > 50_000 && of_eight > 30_000, "{of_four} {of_eight}");
}

#[test]
fn m1_one_cut_within_the_bits_of_a_word() {
    let mut runs = 0;
    for seed in 0..12 {
        let tear = Tear::Bits { seed };
        runs += cut_everywhere::<1>(2, tear, 12, 0);
        runs += cut_everywhere::<4>(3, tear, 12, 0);
        runs += cut_everywhere::<8>(2, tear, 12, 0);
    }
    println!("{runs} runs");
    assert!(runs > 30_000, "{runs}");
}

/// Formats this part with a cut at every step. Until the format is done the
/// part must not open, or hold what it held; then it holds the new state.
fn cut_format<const W: usize>(part: &Part<W>, sectors: u16, held: Option<State>) -> u64 {
    let new = State { count: 900, recent: [8, 9] };
    let mut steps = 0;
    loop {
        let mut flash = part.clone();
        flash.cut_after_steps(Some(steps));
        let (mut flash, error) = match Ledger::format(flash, geometry(sectors), new.snapshot()) {
            Ok(ledger) => {
                assert_eq!(fold(&mut reopen(ledger)).state, new);
                return steps;
            }
            Err(error) => error,
        };
        assert_eq!(error, FormatError::Roll(RollError::Flash(NorError::Cut)));
        flash.power_on();
        let flash = match (Ledger::open(flash, geometry(sectors)), held) {
            (Ok(mut ledger), held) => {
                let found = fold(&mut ledger).state;
                assert!(held == Some(found) || found == new, "{found:?} after {steps} steps");
                ledger.into_flash()
            }
            (Err((flash, _)), None) => flash,
            (Err((_, error)), Some(_)) => panic!("{error} after {steps} steps"),
        };
        let mut ledger = Ledger::format(flash, geometry(sectors), new.snapshot()).unwrap();
        assert_eq!(fold(&mut ledger).state, new);
        steps += 1;
    }
}

/// Cuts the first format of a fresh part at every step: it is never taken for anything else.
fn cut_first_format<const W: usize>(tear: Tear) -> u64 {
    let mut fresh = Part::<W>::new(3);
    fresh.set_tear(tear);
    let state = State { count: 900, recent: [8, 9] };
    let mut steps = 0;
    loop {
        let mut cut = fresh.clone();
        cut.cut_after_steps(Some(steps));
        let Err((mut cut, _)) = Ledger::format(cut, geometry(3), state.snapshot()) else {
            return steps;
        };
        cut.power_on();
        match Ledger::open(cut, geometry(3)) {
            Ok(mut ledger) => assert_eq!(fold(&mut ledger).state, state),
            Err((_, error)) => assert!(
                matches!(error, OpenError::Blank | OpenError::Unfinished),
                "{error} after {steps} steps"
            ),
        }
        steps += 1;
    }
}

#[test]
fn m1_a_first_format_is_known_wherever_it_was_cut() {
    let mut runs = 0;
    for tear in (0..20).map(|seed| Tear::Bits { seed }).chain([Tear::Bytes, Tear::Words]) {
        runs += cut_first_format::<1>(tear) + cut_first_format::<4>(tear);
        runs += cut_first_format::<8>(tear);
    }
    println!("{runs} runs");
    assert!(runs > 20_000, "{runs}");
}

#[test]
fn m1_a_cut_format_is_done_again() {
    let garbage: Vec<u8> = (0..PAGE * 3).map(|at| ((at * at) >> 3) as u8).collect();
    let (ledger, state) = after::<4>(3, 14);
    let of_ours = ledger.into_flash();
    let mut runs = cut_format(&Part::<4>::new(3), 3, None);
    runs += cut_format(&Part::<4>::from_bytes(garbage), 3, None);
    runs += cut_format(&of_ours, 3, Some(state));
    // the sector between a header of another version and one of ours may be
    // half erased, with nothing but good records left
    runs += cut_format(&refusals::with_version(&of_ours, VERSION + 1), 3, None);
    runs += cut_format(&of_ours, 2, None);
    println!("{runs} runs");
    assert!(runs > 1500, "{runs}");
}

#[test]
fn a_half_erased_sector_is_never_in_force() {
    // all ways in which the old contents can survive in part, on the sector that
    // the next roll takes; then the same with the roll never tried again
    for sectors in [2_u16, 3] {
        let (ledger, state) = after::<4>(sectors, 19);
        let current = current_sector(ledger.clone());
        let target = usize::from((current + 1) % sectors) * PAGE;
        for mask in 0..256_u32 {
            let mut bytes = ledger.flash().bytes().to_vec();
            for slot in 0..8 {
                if mask >> slot & 1 == 1 {
                    bytes[target + slot * SLOT..][..SLOT].fill(0xff);
                }
            }
            let mut opened = Ledger::open(Part::<4>::from_bytes(bytes), geometry(sectors)).unwrap();
            assert_eq!(current_sector(opened.clone()), current);
            assert_eq!(fold(&mut opened).state, state);
            let mut history = opened.history();
            let mut last = 0;
            while let Some(entry) = opened.next(&mut history) {
                if let Some(content) = entry.content {
                    assert!(content.seq > last);
                    last = content.seq;
                }
            }
            let on = folded_state_after(&mut opened, 9);
            assert_eq!(fold(&mut reopen(opened)).state, on);
        }
    }
}
