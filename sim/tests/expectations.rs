//! Each key of each claim: once as it is, once as it is not. The run behind them
//! all is a cut of four hours in one of two nights.

use dosewright_sim::attempt;
use dosewright_sim::audit::Violation;
use dosewright_sim::check;
use dosewright_sim::diagnose::Source;
use dosewright_sim::judged::{self, Judged, Verdict};
use dosewright_sim::run::Options;

const RUN: &str = r#"schema = 1

[clock]
start = 2026-10-05T00:00:00
zone = "CET-1CEST,M3.5.0,M10.5.0/3"
run_for = "2 days 12 h"

[head]
flow = "26.5 ml/min"

[[closed]]
first = 2026-10-04

[[entry]]
name = "night"
weekly = { nights = ["sun", "mon", "tue"], at = "00:45" }
volume = "120 ml"
window = "45 min"
pulses = 30

[[entry]]
name = "trap"
every = { interval = "12 h", from = "2026-10-05 11:55" }
volume = "15 ml"
window = "10 min"

[[fault]]
at = "2026-10-06 00:50"
supply_loss = { lasts = "4 h 20 min" }

"#;

fn judge(claims: &str) -> (String, Judged) {
    let text = format!("{RUN}{claims}\n");
    let (scenario, problems) = check::read("claims.toml", &text);
    let scenario = scenario.unwrap_or_else(|| panic!("{claims}: {problems:?}"));
    let judged = judged::run(&scenario, &Options::default(), Vec::new(), None).unwrap();
    assert!(judged.audit.held(), "{:?}", judged.audit.violations);
    (text, judged)
}

/// What the claim says, and what is found where it says something else: the place
/// that is marked and part of what is said there.
#[test]
fn each_key_of_a_claim_is_judged() {
    let night = |claim: &str| {
        format!("[[expect]]\ndue = {{ entry = \"night\", at = \"2026-10-06 00:45\", {claim} }}")
    };
    let second = |claim: &str| {
        format!("[[expect]]\ndue = {{ entry = \"night\", at = \"2026-10-07 00:45\", {claim} }}")
    };
    let of_night = |claim: &str| format!("[[expect]]\noutcomes = {{ entry = \"night\", {claim} }}");
    let plain = |claim: &str| format!("[[expect]]\n{claim}");
    for (holds, fails, marked, said) in [
        (of_night("dosed = 1"), of_night("dosed = 2"), "2", "expected 2 dosed; found 1 of 3"),
        (of_night("part = 1"), of_night("part = 0"), "0", "expected 0 part; found 1 of 3"),
        (of_night("skipped = 1"), of_night("skipped = 2"), "2", "expected 2 skipped; found 1 of 3"),
        (of_night("open = 0"), of_night("open = 1"), "1", "expected 1 open; found 0 of 3"),
        (
            plain("outcomes = { entry = \"trap\", open = 1, dosed = 4 }"),
            plain("outcomes = { entry = \"trap\", open = 0 }"),
            "0",
            "expected 0 open; found 1 of 5",
        ),
        (
            plain("outcomes = { dosed = 5 }"),
            plain("outcomes = { dosed = 4 }"),
            "4",
            "expected 4 dosed; found 5 of 8",
        ),
        (
            plain("outcomes = { entry = \"trap\", cause = \"closed\" }"),
            of_night("cause = \"closed\""),
            "\"closed\"",
            "1 with \"supply lost\"",
        ),
        (
            night("outcome = \"part\""),
            night("outcome = \"dosed\""),
            "\"dosed\"",
            "expected dosed; found part, \"supply lost\"",
        ),
        (
            night("cause = \"supply lost\""),
            night("cause = \"closed\""),
            "\"closed\"",
            "expected \"closed\"; found \"supply lost\"",
        ),
        (
            night("started_from = \"2026-10-06 00:45\""),
            night("started_from = \"2026-10-06 00:45:01\""),
            "\"2026-10-06 00:45:01\"",
            "or later; found 2026-10-06 00:45",
        ),
        (
            night("started_by = \"2026-10-06 00:45\""),
            night("started_by = \"2026-10-06 00:44:59\""),
            "\"2026-10-06 00:44:59\"",
            "or earlier; found 2026-10-06 00:45",
        ),
        (
            night("ended_from = \"2026-10-06 00:49:39\""),
            night("ended_from = \"2026-10-06 00:50\""),
            "\"2026-10-06 00:50\"",
            "or later; found 2026-10-06 00:49:39",
        ),
        (
            night("ended_by = \"2026-10-06 00:49:40\""),
            night("ended_by = \"2026-10-06 00:49:39\""),
            "\"2026-10-06 00:49:39\"",
            "or earlier; found 2026-10-06 00:49:39.0",
        ),
        (
            night("volume_from = \"11.9 ml\""),
            night("volume_from = \"12.1 ml\""),
            "\"12.1 ml\"",
            "expected 12.1 ml at least; found 11.999",
        ),
        // a dose is as near to its volume as a millisecond of flow, 0.44 ul of it
        (
            second("volume_from = \"120 ml\""),
            second("volume_from = \"120.001 ml\""),
            "\"120.001 ml\"",
            "expected 120.001 ml at least; found",
        ),
        (
            night("volume_to = \"16.1 ml\""),
            night("volume_to = \"15.9 ml\""),
            "\"15.9 ml\"",
            "which may have been delivered",
        ),
        (
            second("volume_to = \"120 ml\""),
            second("started_by = \"2026-10-06 23:00\""),
            "\"2026-10-06 23:00\"",
            "or earlier; found 2026-10-07 00:45",
        ),
        (
            night("outcome = \"part\""),
            plain("due = { entry = \"night\", at = \"2026-10-06 00:46\", outcome = \"part\" }"),
            "\"2026-10-06 00:46\"",
            "none at that time",
        ),
        (
            plain(
                "due = { entry = \"night\", at = \"2026-10-05 00:45\", outcome = \"skipped\", cause = \"closed\" }",
            ),
            plain(
                "due = { entry = \"night\", at = \"2026-10-05 00:45\", started_by = \"2026-10-05 00:46\" }",
            ),
            "\"2026-10-05 00:46\"",
            "the pump never ran for it",
        ),
        // by the pump 136 of the 240 ml that the two nights that are not closed ask for
        (
            plain("volume = { entry = \"night\", within = \"43.4 %\" }"),
            plain("volume = { entry = \"night\", within = \"43.2 %\" }"),
            "\"43.2 %\"",
            "expected 240 ml within 43.2 %; found 13",
        ),
        (
            plain("volume = { entry = \"trap\", of = \"60 ml\", within = \"0.01 %\" }"),
            plain("volume = { entry = \"trap\", of = \"60.1 ml\", within = \"0.01 %\" }"),
            "\"0.01 %\"",
            "expected 60.1 ml within 0.01 %; found 59.99",
        ),
        (
            plain("pump_on = { least = \"7 min 20 s\" }"),
            plain("pump_on = { least = \"8 min\" }"),
            "\"8 min\"",
            "expected the pump on for 8 min at least; found 7 min",
        ),
        (
            plain("pump_on = { most = \"8 min\" }"),
            plain("pump_on = { most = \"7 min\" }"),
            "\"7 min\"",
            "expected the pump on for 7 min at most; found 7 min",
        ),
        (
            plain("alarms = { count = 0 }"),
            plain("alarms = { count = 1 }"),
            "1",
            "expected 1 alarms; found 0",
        ),
        (
            plain("alarms = { kind = \"leak\", most = 0 }"),
            plain("alarms = { kind = \"leak\", least = 1 }"),
            "1",
            "expected 1 alarms \"leak\" at least; found 0",
        ),
    ] {
        let (_, judged) = judge(&holds);
        assert_eq!(judged.verdict, Verdict::Held, "{holds}: {:?}", judged.failures);
        let (text, judged) = judge(&fails);
        assert_eq!(
            (judged.verdict, judged.failures.len()),
            (Verdict::Failed, 1),
            "{fails}: {:?}",
            judged.failures
        );
        let failure = &judged.failures[0];
        assert_eq!(failure.span.of(&text), marked, "{fails}");
        assert!(failure.label.contains(said), "{fails}: {}", failure.label);
    }
}

#[test]
fn a_dose_that_was_cut_to_the_end_of_the_run_is_open() {
    let off = RUN
        .replace("supply_loss = { lasts = \"4 h 20 min\" }", "supply_loss = { lasts = \"4 d\" }");
    let verdict = |claims: &str| {
        let text = format!("{off}[[expect]]\n{claims}\n");
        let (scenario, problems) = check::read("off.toml", &text);
        let scenario = scenario.unwrap_or_else(|| panic!("{claims}: {problems:?}"));
        let judged = judged::run(&scenario, &Options::default(), Vec::new(), None).unwrap();
        assert!(judged.audit.held(), "{:?}", judged.audit.violations);
        judged.verdict
    };
    // the dose that was cut, and that of the night after, for which nobody was awake
    assert_eq!(verdict("outcomes = { entry = \"night\", open = 2, skipped = 1 }"), Verdict::Held);
    assert_eq!(
        verdict("due = { entry = \"night\", at = \"2026-10-06 00:45\", outcome = \"open\" }"),
        Verdict::Held
    );
    assert_eq!(
        verdict("due = { entry = \"night\", at = \"2026-10-06 00:45\", outcome = \"part\" }"),
        Verdict::Failed
    );
    assert_eq!(
        verdict("due = { entry = \"night\", at = \"2026-10-07 00:45\", outcome = \"open\" }"),
        Verdict::Held
    );
}

/// A row of skipped doses stands for each of them at the time that it has, in spring after
/// the move.
#[test]
fn a_row_over_a_change_of_the_clock_stands_for_each_of_its_doses() {
    let run = r#"schema = 1

[clock]
start = 2026-03-26T00:00:00
zone = "CET-1CEST,M3.5.0,M10.5.0/3"
run_for = "8 d"

[head]
flow = "30 ml/min"

[[closed]]
first = 2026-03-27
last = 2026-03-31

[[entry]]
name = "n"
weekly = { days = ["mon", "wed", "thu", "fri", "sat", "sun"], at = "02:30" }
volume = "60 ml"
window = "20 min"

[[entry]]
name = "every"
every = { interval = "24 h", from = "2026-03-26 12:00" }
volume = "20 ml"
window = "20 min"

[[fault]]
at = "2026-03-27 11:00"
supply_loss = { lasts = "4 d" }

"#;
    let found = |entry: &str, at: &str| {
        let text = format!(
            "{run}[[expect]]\ndue = {{ entry = \"{entry}\", at = \"{at}\", outcome = \"skipped\" }}\n"
        );
        let (scenario, problems) = check::read("row.toml", &text);
        let scenario = scenario.unwrap_or_else(|| panic!("{problems:?}"));
        let judged = judged::run(&scenario, &Options::default(), Vec::new(), None).unwrap();
        judged.failures.is_empty()
    };
    for (at, is_due) in [
        ("2026-03-27 02:30", true),
        ("2026-03-28 02:30", true),
        ("2026-03-29 02:30", false),
        ("2026-03-29 03:30", true),
        ("2026-03-30 02:30", true),
        ("2026-03-31 02:30", false),
    ] {
        assert_eq!(found("n", at), is_due, "{at}");
    }
    // elapsed time: an hour later by the clock from the 29th on
    for (at, is_due) in [
        ("2026-03-28 12:00", true),
        ("2026-03-29 13:00", true),
        ("2026-03-29 12:00", false),
        ("2026-03-30 13:00", true),
    ] {
        assert_eq!(found("every", at), is_due, "{at}");
    }
}

/// A time in the hour that spring skips means the moved one, as it does for faults and acts.
#[test]
fn what_is_expected_in_the_skipped_hour_is_expected_after_it() {
    let run =
        RUN.replace("2026-10-05", "2026-03-28").replace("2026-10-06 00:50", "2026-03-30 12:00");
    let run = run
        .replace("2026-10-04", "2026-03-01")
        .replace("\"sun\", \"mon\"", "\"sat\"")
        .replace("00:45", "02:30");
    let holds = |claim: &str| {
        let due = "entry = \"night\", at = \"2026-03-29 03:30\"";
        let text = format!("{run}[[expect]]\ndue = {{ {due}, outcome = \"dosed\", {claim} }}\n");
        let (scenario, problems) = check::read("spring.toml", &text);
        let scenario = scenario.unwrap_or_else(|| panic!("{problems:?}"));
        let judged = judged::run(&scenario, &Options::default(), Vec::new(), None).unwrap();
        judged.failures.is_empty()
    };
    // from 03:30 to 04:14: 02:40 is 03:40
    assert!(holds("started_by = \"2026-03-29 02:40\", ended_by = \"2026-03-29 04:15\""));
    assert!(!holds("started_from = \"2026-03-29 02:40\""));
    assert!(!holds("ended_by = \"2026-03-29 02:59\""));
    assert!(holds("ended_from = \"2026-03-29 02:59\""));
}

/// In the hour that autumn repeats a time is told from the other by its offset.
#[test]
fn a_time_that_comes_twice_is_meant_by_its_offset() {
    let text = |claim: &str| {
        format!(
            r#"schema = 1
[clock]
start = 2026-10-24T12:00:00
zone = "CET-1CEST,M3.5.0,M10.5.0/3"
run_for = "1 day"
[head]
flow = "26.5 ml/min"
[[entry]]
name = "hourly"
every = {{ interval = "1 h", from = "2026-10-24 12:20" }}
volume = "30 ml"
window = "30 min"
[[fault]]
at = "+14 h 10 min"
remote_stop = {{ lasts = "20 min" }}
[[expect]]
due = {{ entry = "hourly", {claim} }}
"#
        )
    };
    let holds = |claim: &str| {
        let (scenario, problems) = check::read("autumn.toml", &text(claim));
        let scenario = scenario.unwrap_or_else(|| panic!("{problems:?}"));
        let judged = judged::run(&scenario, &Options::default(), Vec::new(), None).unwrap();
        judged.failures.is_empty()
    };
    // the first pass's waits for the stop to end, the second's does not
    for (claim, is_so) in [
        ("at = \"2026-10-25 02:20 +02:00\", started_from = \"2026-10-25 02:30\"", true),
        ("at = \"2026-10-25 02:20 +01:00\", started_from = \"2026-10-25 02:30\"", false),
        ("at = \"2026-10-25T02:20:00+01:00\", started_by = 2026-10-25T02:20:00+01:00", true),
        ("at = 2026-10-25T02:20:00+01:00, ended_by = \"2026-10-25 02:55+02:00\"", false),
        ("at = 2026-10-25T02:20:00+02:00, ended_by = \"2026-10-25 02:05+01:00\"", true),
        ("at = 2026-10-25T02:20:00+02:00, started_from = \"2026-10-25 02:05+01:00\"", false),
        ("at = \"2026-10-25 02:20 +03:00\", outcome = \"dosed\"", false),
        ("at = \"2026-10-25T01:20:00Z\", outcome = \"dosed\"", false),
        // 02:20 and 02:55 of the second pass in the order of their moments
        (
            "at = 2026-10-25T02:20:00+01:00, started_from = \"2026-10-25 02:20 +01:00\", ended_by = \"2026-10-25 02:50 +01:00\"",
            true,
        ),
    ] {
        assert_eq!(holds(claim), is_so, "{claim}");
    }
    for (times, part) in [
        ("ended_by = \"2026-10-25 04:00 +02:00\"", "+01:00 is in force then"),
        ("ended_by = \"2026-10-25 02:50 +1\"", "hours and minutes from UTC"),
        ("ended_by = \"2026-10-25 02:50 +01:75\"", "hours and minutes from UTC"),
        (
            "started_from = \"2026-10-25 02:10 +01:00\", ended_by = \"2026-10-25 02:50 +02:00\"",
            "`ended_by` is below `started_from`",
        ),
    ] {
        let (_, problems) =
            check::read("autumn.toml", &text(&format!("at = \"2026-10-25 02:20\", {times}")));
        assert!(format!("{problems:?}").contains(part), "{times}: {problems:?}");
    }
}

#[test]
fn all_that_fails_is_told() {
    let (_, judged) = judge(
        "[[expect]]\noutcomes = { entry = \"night\", dosed = 7, part = 7, skipped = 7 }\nvolume = { within = \"1 %\" }\nalarms = { count = 3 }",
    );
    assert_eq!((judged.failures.len(), judged.judged), (5, 3));
}

#[test]
fn an_alarm_that_is_raised_is_counted() {
    let unset = RUN
        .replace("run_for = \"2 days 12 h\"", "run_for = \"2 days 12 h\"\nunset = true")
        .split("[[fault]]")
        .next()
        .unwrap()
        .to_owned();
    let text = format!(
        "{unset}[[expect]]\nalarms = {{ kind = \"clock unset\", count = 1 }}\noutcomes = {{ entry = \"night\", dosed = 0, skipped = 0 }}\n"
    );
    let (scenario, problems) = check::read("unset.toml", &text);
    let judged = judged::run(
        &scenario.unwrap_or_else(|| panic!("{problems:?}")),
        &Options::default(),
        Vec::new(),
        None,
    )
    .unwrap();
    assert_eq!(
        judged.verdict,
        Verdict::Held,
        "{:?} {:?}",
        judged.failures,
        judged.audit.violations
    );
}

/// D1: a due that comes while the device is off, to the end of the run, is open.
#[test]
fn what_came_while_the_device_was_off_is_open() {
    let cut = "[[fault]]\nat = \"2026-10-07 00:10\"\nsupply_loss = { lasts = \"9 days\" }\n";
    let kept = "[[expect]]\noutcomes = { entry = \"night\", open = 1 }\n";
    let (_, judged) = judge(&format!("{cut}\n{kept}"));
    assert_eq!(judged.verdict, Verdict::Held, "{:?}", judged.failures);
    let figures = judged.figures.entry("night").unwrap();
    assert_eq!((figures.dues(), figures.open), (3, 1));
    let slept_through: Vec<u16> =
        judged.audit.slept_through.iter().map(|slept| slept.due.id.0).collect();
    assert_eq!(slept_through, [1, 2]);
}

#[test]
fn what_failed_is_told_before_a_fault_that_missed() {
    let missed = "[[fault]]\nat = \"dose 99 pulse 1\"\nsupply_loss = { lasts = \"1 h\" }\n";
    let wrong = "[[expect]]\noutcomes = { dosed = 99 }\n";
    let text = format!("{RUN}\n{missed}\n{wrong}");
    let (scenario, problems) = check::read("run.toml", &text);
    let scenario = scenario.unwrap_or_else(|| panic!("{problems:?}"));
    let mut judged = judged::run(&scenario, &Options::default(), Vec::new(), None).unwrap();
    let what = "begun twice".to_owned();
    judged.audit.violations.push(Violation { promise: "D2", at_ms: 5, due: None, what });
    let found = attempt::findings(&Source::new("run.toml", &text), &judged);
    let codes: Vec<&str> = found.iter().map(|line| &line[..4]).collect();
    assert_eq!(codes, ["D2 a", "R001", "R003"], "{found:?}");
}
