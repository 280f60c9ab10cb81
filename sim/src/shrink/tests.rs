use super::*;

/// A site with more in it than its failure needs.
const LARGE: &str = r#"
schema = 1
title = "More than needed"

[clock]
start = 2026-10-05T07:31:00
zone = "CET-1CEST,M3.5.0,M10.5.0/3"
run_for = "12 days"
drift = "20 ppm"

[head]
flow = "26.5 ml/min"
longest_run = "120 s"
least_rest = "600 ms"

[memory]
word = 8

[[entry]]
name = "night"
weekly = { nights = ["mon", "tue", "wed", "thu"], at = "00:45" }
volume = "123 ml"
window = "45 min"

[[entry]]
name = "noon"
weekly = { days = ["mon", "sat"], at = "12:10" }
volume = "57 ml"
window = "35 min"
grace = "15 min"

[[fault]]
at = "+2 d 16 h 53 min 7 s"
supply_loss = { lasts = "3 h 12 min 9 s" }

[[fault]]
at = "+5 d 20 h 13 min 7 s"
remote_stop = { lasts = "1 h 2 min" }

[[operator]]
at = "+4 d 1 h"
prime = { volume = "33 ml" }

[[expect]]
outcomes = { entry = "noon", part = 0 }

[[expect]]
outcomes = { entry = "night", skipped = 0, cause = "supply lost" }
"#;

fn limits() -> Limits {
    Limits { seed: 1, runs: 5_000 }
}

#[test]
fn a_failing_expectation_shrinks_to_what_it_needs() {
    let found = shrink(LARGE, None, limits(), &mut |_, _| true).unwrap();
    assert!(!found.stopped);
    assert!(found.way.starts_with("R001: "), "{}", found.way);
    // the skipped dose stays, and with it the one cut that it needs
    assert_eq!(found.text.matches("[[fault]]").count(), 1, "{}", found.text);
    assert!(found.text.contains("supply_loss"), "{}", found.text);
    for gone in ["remote_stop", "prime", "memory", "title", "noon", "drift", "longest_run"] {
        assert!(!found.text.contains(gone), "{gone} is still in\n{}", found.text);
    }
    assert!(found.lines.0 > 30 && found.lines.1 <= 22, "{:?}\n{}", found.lines, found.text);
    // it fails in the same way, and is as small as it gets
    let again = shrink(&found.text, None, limits(), &mut |_, _| true).unwrap();
    assert_eq!((&again.way, &again.text), (&found.way, &found.text));
}

#[test]
fn shrinking_goes_the_same_way_every_time() {
    let one = shrink(LARGE, None, limits(), &mut |_, _| true).unwrap();
    let two = shrink(LARGE, None, limits(), &mut |_, _| true).unwrap();
    assert_eq!(one, two);
}

#[test]
fn a_limit_ends_it_with_the_best_so_far() {
    let limits = Limits { runs: 12, ..limits() };
    let found = shrink(LARGE, None, limits, &mut |_, _| true).unwrap();
    assert!(found.stopped && found.runs <= 12);
    let options = Options { seed: 1, ..Options::default() };
    let attempt = attempt_text("small", &found.text, &options, None).unwrap();
    assert_eq!(attempt.way().as_ref(), Some(&found.way));
}

#[test]
fn what_holds_is_not_shrunk() {
    let good = LARGE.replace("skipped = 0, cause = \"supply lost\"", "skipped = 1");
    let found = shrink(&good, None, limits(), &mut |_, _| true);
    assert!(matches!(found, Err(NotShrunk::DoesNotFail(_))), "{found:?}");
    assert_eq!(shrink("x", None, limits(), &mut |_, _| true), Err(NotShrunk::NoScenario));
}

#[test]
fn what_failed_by_its_fault_alone_still_does() {
    // three nights, of which the cut takes one: with a night left out `dosed = 3` would
    // fail whatever the device did
    let text = r#"
schema = 1
[clock]
start = 2026-10-05T00:00:00
zone = "UTC0"
run_for = "4 days"
[head]
flow = "26.5 ml/min"
[[entry]]
name = "night"
weekly = { nights = ["mon", "tue", "wed"], at = "00:45" }
volume = "120 ml"
window = "45 min"
[[fault]]
at = "2026-10-07 00:50"
supply_loss = { lasts = "4 h" }
[[expect]]
outcomes = { entry = "night", dosed = 3 }
"#;
    let found = shrink(text, None, limits(), &mut |_, _| true).unwrap();
    let healthy = Plain::read(&found.text).unwrap().untroubled();
    assert!(holds(&healthy, 1), "{}", found.text);
    assert_eq!(found.text.matches("[[fault]]").count(), 1, "{}", found.text);
}
