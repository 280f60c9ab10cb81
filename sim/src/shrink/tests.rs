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
    let healthy = Plain::read(&found.text).unwrap().without(&["fault", "operator"]);
    assert!(holds(&healthy, 1), "{}", found.text);
    assert_eq!(found.text.matches("[[fault]]").count(), 1, "{}", found.text);
}

fn shrunk(text: &str) -> Shrunk {
    shrink(text, None, limits(), &mut |_, _| true).unwrap()
}

/// A run of so long, with a container or acts, and what is expected of it.
fn weekly(run_for: &str, more: &str) -> String {
    format!(
        r#"schema = 1
[clock]
start = 2026-10-05T00:00:00
zone = "UTC0"
run_for = "{run_for}"
[head]
flow = "60 ml/min"
[[entry]]
name = "a"
weekly = {{ days = ["mon", "thu"], at = "08:00" }}
volume = "150 ml"
window = "5 min"
{more}"#
    )
}

#[test]
fn too_few_doses_stay_too_few_in_a_run_that_gets_no_longer() {
    // the container is empty after six
    let expect = "[[expect]]\noutcomes = { entry = \"a\", dosed = 8 }";
    let found = shrunk(&weekly("28 days", &format!("[container]\ncapacity = \"1 l\"\n{expect}")));
    let small = Plain::read(&found.text).unwrap();
    assert!(small.run_ms() == Some(28 * 86_400_000), "{}", found.text);
    assert!(found.text.contains(expect), "{}", found.text);
    let first = &found.findings[0];
    assert!(first.contains("expected 8 dosed; found ") && first.contains(" of 8 ("), "{first}");
    assert!(found.way.ends_with(", too few"), "{}", found.way);
}

#[test]
fn what_did_it_stays_where_nothing_else_is_to_blame() {
    // with or without the act there are not 200
    let act = "[[operator]]\nat = \"+3 d\"\ndisable = { entry = \"a\" }\n";
    let expect = "[[expect]]\noutcomes = { dosed = 200 }";
    let found = shrunk(&weekly("1461 days", &format!("{act}{expect}")));
    assert!(found.text.contains(expect) && found.text.contains("disable ="), "{}", found.text);
    assert!(found.findings[0].contains("expected 200 dosed; found 1 of 1"), "{:?}", found.findings);
}

#[test]
fn a_fault_among_acts_that_the_run_needs_stays_with_them() {
    // without the fillings the container runs dry, so it is the faults alone that it holds
    // without
    let fill = |day: u32| format!("[[operator]]\nat = \"+{day} d 9 h\"\nrefill = {{}}\n");
    let fills: String = (1..=8).map(|month| fill(month * 20)).collect();
    let fault = "[[fault]]\nat = \"+100 d 2 h\"\nsupply_loss = { lasts = \"8 d\" }\n";
    let text = weekly(
        "170 days",
        &format!(
            "[container]\ncapacity = \"1 l\"\n{fills}{fault}[[expect]]\noutcomes = {{ skipped = 0 }}"
        ),
    );
    let found = shrunk(&text);
    assert!(found.text.contains("supply_loss"), "{}", found.text);
    let small = Plain::read(&found.text).unwrap();
    assert!(holds(&small.without(&["fault"]), 1), "{}", found.text);
    assert!(small.run_ms() <= Some(170 * 86_400_000), "{}", found.text);
    assert!(!found.findings[0].contains("container"), "{:?}", found.findings);
}
