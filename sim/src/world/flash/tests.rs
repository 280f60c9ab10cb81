//! The flash: writes and erases, what cuts and wear leave of them, and calls that fail.

use super::*;

type Part = NorMock<4, 128>;

#[test]
fn a_write_clears_bits_and_an_erase_sets_them() {
    let mut flash = Part::new(2);
    flash.write(4, &[0xf0; 4]).unwrap();
    flash.write(4, &[0x3c; 4]).unwrap();
    assert_eq!(flash.bytes()[3..9], [0xff, 0x30, 0x30, 0x30, 0x30, 0xff]);
    // and just so while a fault is armed
    flash.cut_after_steps(Some(5));
    flash.write(4, &[0xdf; 4]).unwrap();
    assert_eq!(flash.bytes()[3..9], [0xff, 0x10, 0x10, 0x10, 0x10, 0xff]);
    flash.cut_after_steps(None);
    flash.erase(0, 128).unwrap();
    assert_eq!(flash, Part::new(2));
    assert_eq!(flash.counters().erases, [1, 0]);
    assert_eq!(flash.counters().bytes_written, 12);
    assert_eq!(flash.counters().steps, 3 * 5 + ERASE_STEPS);
}

#[test]
fn what_is_not_aligned_or_out_of_bounds_is_refused() {
    let mut flash = Part::new(2);
    assert_eq!(flash.write(2, &[0; 4]), Err(NorError::NotAligned));
    assert_eq!(flash.write(252, &[0; 8]), Err(NorError::OutOfBounds));
    assert_eq!(flash.erase(0, 64), Err(NorError::NotAligned));
    assert_eq!(flash.erase(128, 512), Err(NorError::OutOfBounds));
    assert_eq!(flash.read(250, &mut [0; 8]), Err(NorError::OutOfBounds));
    assert_eq!(flash, Part::new(2));
}

#[test]
fn a_strict_part_refuses_to_write_a_word_twice() {
    let mut flash = Part::new(1);
    flash.set_strict(true);
    flash.write(0, &[0xfe; 4]).unwrap();
    assert_eq!(flash.write(0, &[0; 4]), Err(NorError::Rewrite));
}

/// The bytes a cut write of twelve zero bytes leaves, and its result.
fn torn(steps: u64, tear: Tear) -> (Vec<u8>, Result<(), NorError>) {
    let mut flash = Part::new(1);
    flash.set_tear(tear);
    flash.cut_after_steps(Some(steps));
    let result = flash.write(0, &[0; 12]);
    assert_eq!(flash.is_off(), result.is_err());
    if result.is_err() {
        assert_eq!(flash.read(0, &mut [0; 4]), Err(NorError::Cut));
        assert_eq!(flash.write(64, &[0; 4]), Err(NorError::Cut));
        assert_eq!(flash.erase(0, 128), Err(NorError::Cut));
        flash.power_on();
        assert_eq!(flash.read(0, &mut [0; 4]), Ok(()));
    }
    (flash.bytes()[..16].to_vec(), result)
}

#[test]
fn a_cut_write_leaves_what_its_tear_says() {
    for steps in 0..=13 {
        let result = if steps <= 12 { Err(NorError::Cut) } else { Ok(()) };
        let taken = steps.min(12) as usize;
        let prefix = |bytes: usize| [vec![0; bytes], vec![0xff; 16 - bytes]].concat();
        assert_eq!(torn(steps, Tear::Bytes), (prefix(taken), result));
        assert_eq!(torn(steps, Tear::Words), (prefix(taken / 4 * 4), result));
        let (bytes, bits_result) = torn(steps, Tear::Bits { seed: 7 });
        let (whole, end) = (taken / 4 * 4, taken.next_multiple_of(4));
        assert_eq!(bits_result, result);
        assert!(bytes[..whole].iter().all(|byte| *byte == 0));
        assert!(bytes[end..].iter().all(|byte| *byte == 0xff));
        let zeros: u32 = bytes[whole..end].iter().map(|byte| byte.count_zeros()).sum();
        assert!(whole == end || (1..32).contains(&zeros), "{steps} {bytes:?}");
    }
}

#[test]
fn a_cut_erase_leaves_each_kind_of_rest() {
    let erased_bytes = |steps| {
        let mut flash = Part::from_bytes(vec![0; 256]);
        flash.cut_after_steps(Some(steps));
        let result = flash.erase(0, 256);
        let erased = flash.bytes().iter().map(|byte| usize::from(*byte == 0xff));
        (erased.sum::<usize>(), flash.bytes()[0] == 0xff, result.is_ok())
    };
    assert_eq!(erased_bytes(0), (0, false, false));
    assert_eq!(erased_bytes(1), (64, true, false));
    assert_eq!(erased_bytes(2), (64, false, false));
    assert_eq!(erased_bytes(3), (64, true, false));
    assert!(erased_bytes(4).0 < 8);
    assert_eq!(erased_bytes(5), (128, true, false));
    assert_eq!(erased_bytes(6), (128, true, false));
    assert_eq!(erased_bytes(7), (192, true, false));
    assert_eq!(erased_bytes(12), (256, true, true));
}

#[test]
fn a_worn_page_keeps_bits_and_the_others_do_not() {
    let written = |wear| {
        let mut flash = NorMock::<4, 1024>::new(2);
        flash.wear_out(1, wear);
        flash.erase(0, 2048).unwrap();
        let erased = flash.bytes().to_vec();
        flash.write(0, &[0; 2048]).unwrap();
        let count = |bytes: &[u8], good| bytes.iter().filter(|byte| **byte != good).count();
        assert_eq!(count(&erased[..1024], 0xff) + count(&flash.bytes()[..1024], 0), 0);
        (count(&erased[1024..], 0xff), count(&flash.bytes()[1024..], 0))
    };
    let (low, none) = written(Wear::StuckLow { bytes: 16, seed: 1 });
    assert!((32..128).contains(&low) && none == 0, "{low} {none}");
    let (none, high) = written(Wear::StuckHigh { bytes: 16, seed: 1 });
    assert!((32..128).contains(&high) && none == 0, "{none} {high}");
    assert_eq!(written(Wear::Dead), (0, 1024));
}

/// A dead memory is tried again every minute.
#[test]
fn many_worn_pages_take_no_longer_than_one() {
    let erased_in = |worn: u32| {
        let mut flash = NorMock::<4, 16_384>::new(97);
        (0..worn).for_each(|page| flash.wear_out(page, Wear::Dead));
        let from = std::time::Instant::now();
        (0..16).for_each(|_| flash.erase(96 * 16_384, 97 * 16_384).unwrap());
        from.elapsed()
    };
    // the quickest of some: others may want the processor too
    let quickest = |worn| (0..20).map(|_| erased_in(worn)).min().unwrap();
    let (one, many) = (quickest(1), quickest(96));
    assert!(many < one * 4, "{many:?} with 96 worn pages, {one:?} with one");
}

#[test]
fn an_unreadable_range_fails_or_lies_and_can_be_mended() {
    let mut flash = Part::new(2);
    let mut bytes = [0; 16];
    flash.make_unreadable(8, 12, Unreadable::Fails);
    assert_eq!(flash.read(0, &mut bytes), Err(NorError::Unreadable));
    assert_eq!(flash.read(12, &mut bytes), Ok(()));
    flash.mend();
    flash.make_unreadable(8, 12, Unreadable::Garbage { seed: 3 });
    flash.read(0, &mut bytes).unwrap();
    assert!(bytes[..8].iter().chain(&bytes[12..]).all(|byte| *byte == 0xff));
    assert!(bytes[8..12].iter().any(|byte| *byte != 0xff));
    flash.mend();
    assert_eq!(flash, Part::new(2));
}

#[test]
fn so_many_calls_fail_after_so_many_others_each_in_its_way() {
    let fails = Err(NorError::Failed);
    for (how, said, written) in [
        (WriteFailure::Undone, fails, 0),
        (WriteFailure::Silent, Ok(()), 0),
        (WriteFailure::Half, fails, 8),
    ] {
        let mut flash = Part::new(1);
        flash.fail_writes(2, 2, how);
        let told = [0, 16, 32, 48, 64].map(|at| flash.write(at, &[0; 16]));
        assert_eq!(told, [Ok(()), Ok(()), said, said, Ok(())], "{how:?}");
        let zeros = |slot: &[u8]| slot.iter().map(|byte| usize::from(*byte == 0)).sum::<usize>();
        let done: Vec<_> = flash.bytes().chunks(16).take(5).map(zeros).collect();
        assert_eq!(done, [16, 16, written, written, 16], "{how:?}");
    }
    for (how, erased) in
        [(EraseFailure::Undone, 0), (EraseFailure::Half, 64), (EraseFailure::Done, 128)]
    {
        let mut flash = Part::from_bytes(vec![0; 4 * 128]);
        flash.fail_erases(1, 2, how);
        let told = [0, 128, 256, 384].map(|at| flash.erase(at, at + 128));
        assert_eq!(told, [Ok(()), fails, fails, Ok(())], "{how:?}");
        let ones = |page: &[u8]| page.iter().map(|byte| usize::from(*byte == 0xff)).sum::<usize>();
        let done: Vec<_> = flash.bytes().chunks(128).map(ones).collect();
        assert_eq!(done, [128, erased, erased, 128], "{how:?}");
    }
    let mut flash = Part::from_bytes(vec![0; 128]);
    flash.misread(1, 2, Misread::Bit);
    let firsts = [(); 4].map(|()| {
        let mut bytes = [0xff; 4];
        flash.read(0, &mut bytes).map(|()| bytes[0])
    });
    assert_eq!(firsts, [Ok(0), Ok(0x10), Ok(0x10), Ok(0)]);
    // what was not met by then is taken away
    flash.misread(0, 1, Misread::Fails);
    flash.mend();
    assert_eq!(flash.read(0, &mut [0; 4]), Ok(()));
}
