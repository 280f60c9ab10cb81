use super::*;

fn held(plan: Plan) -> Counts {
    let report = explore(plan, &Watch::default());
    if let Some(failure) = &report.failure {
        panic!("{}", failure.write());
    }
    assert!(report.is_complete);
    report.counts
}

const fn plan(depth: usize, word: usize) -> Plan {
    Plan { depth, word, threads: 2, merge_first: true }
}

#[test]
fn the_evening_holds_without_a_cut() {
    assert_eq!(held(plan(0, 4)).runs(), 0);
    let told = tell(4, &[]).unwrap();
    assert_eq!(told.violation, None);
    // what the script is for: doses, edits, a calibration and a change of sector
    let count = |what: &str| told.lines.iter().filter(|line| line.contains(what)).count();
    assert_eq!((count("Outcome("), count("Adopted("), count("erase of sector")), (4, 2, 1));
    assert_eq!((count("CalibrationBegun"), count("CalibrationEnded")), (1, 1));
    assert_eq!(count("Calibration { found"), 1);
}

#[test]
fn m1_the_sector_changes_in_the_middle_of_a_dose() {
    for word in [1, 4, 8] {
        let lines = tell(word, &[]).unwrap().lines;
        let roll = lines.iter().position(|line| line.contains("erase of sector")).unwrap();
        // doses in turn: each pulse, and each end
        let of_a_dose = |line: &&String| line.contains("Pulse(") || line.contains("Outcome(");
        let before: Vec<_> = lines[..roll].iter().filter(of_a_dose).collect();
        let after: Vec<_> = lines[roll..].iter().filter(of_a_dose).collect();
        // a pulse was delivered, and a further one of the same dose comes behind the roll
        assert!(before.last().unwrap().contains("first: true"), "{word}: {before:#?}");
        assert!(after[0].contains("first: false"), "{word}: {after:#?}");
        // between the two another entry was edited, and the roll carries that forward too
        let first = lines.iter().rposition(|line| line == *before.last().unwrap()).unwrap();
        let edits = lines[first..roll].iter().filter(|line| line.contains("Adopted(")).count();
        assert_eq!(edits, 1, "{word}");
    }
}

#[test]
fn m1_one_cut_everywhere_with_words_of_1_4_and_8() {
    // a run for every byte or word, every bit that changes and every moment
    for (word, least) in [(1, 34_000), (4, 29_000), (8, 28_000)] {
        let counts = held(Plan { merge_first: false, ..plan(1, word) });
        assert!(counts.one_cut > least, "{counts:?}");
        // an erase, a header, a snapshot and a seal with a dose to carry over
        assert!(counts.in_open_rolls > least / 4, "{counts:?}");
    }
}

#[test]
fn d4_two_cuts_from_every_state_that_a_first_cut_leaves() {
    for (word, least) in [(4, 200_000), (8, 100_000)] {
        let counts = held(plan(2, word));
        assert!(counts.two_cuts > least, "{counts:?}");
    }
}

#[test]
fn the_result_is_the_same_for_any_number_of_workers() {
    let alone = held(Plan { threads: 1, ..plan(1, 8) });
    assert_eq!(held(Plan { threads: 3, ..plan(1, 8) }), alone);
}

#[test]
fn what_is_stopped_says_that_it_is_not_complete() {
    let watch = Watch::default();
    watch.stop();
    let report = explore(plan(2, 8), &watch);
    assert!(!report.is_complete);
    assert_eq!(report.counts.runs(), 0);
}

#[test]
fn a_run_is_told_cut_by_cut() {
    let first =
        Cut { call: 2, at_ms: 180_000_000, work: Some((0, Tear::Bytes(20))), lost_intent: false };
    let second = Cut { call: 2, at_ms: 180_004_000, work: None, lost_intent: false };
    let told = tell(1, &[first, second]).unwrap();
    assert_eq!(told.violation, None);
    let goes: Vec<_> = told.lines.iter().filter(|line| line.contains("the supply goes")).collect();
    assert_eq!(
        goes,
        ["20:00:00.000    the supply goes in it: bytes 20", "20:00:04.000  the supply goes"]
    );
    assert_eq!(told.lines.iter().filter(|line| line.contains("the supply comes on")).count(), 3);
    let never = Cut { call: 900, ..second };
    assert!(tell(1, &[first, never]).unwrap_err().contains("does not come to the cut"));
}
