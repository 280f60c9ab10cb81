//! Bad scenario files: everything in one pass, each at its place, each with a
//! code that `explain` knows.

#[path = "scenario/bad_cases.rs"]
mod bad_cases;

use std::fmt::Write as _;

use dosewright_sim::diagnose::codes::{self, Origin};
use dosewright_sim::diagnose::{Diagnostic, Severity, Source, text};
use dosewright_sim::scenario;

use bad_cases::CASES;

const BASE: &str = r#"schema = 1

[clock]
start = 2026-10-19T00:00:00
zone = "UTC0"
run_for = "8 days"

[head]
flow = "26.5 ml/min"

[[entry]]
name = "night"
weekly = { nights = ["mon", "thu"], at = "00:45" }
volume = "120 ml"
window = "45 min"
"#;

/// A file's sections: what stands before its first header is under "".
fn sections(text: &str) -> Vec<(String, String)> {
    let mut out = vec![(String::new(), String::new())];
    for line in text.lines() {
        if line.starts_with('[') {
            out.push((line.to_owned(), String::new()));
        }
        let (_, body) = out.last_mut().unwrap();
        _ = writeln!(body, "{line}");
    }
    out.retain(|(header, body)| header.is_empty() || !body.is_empty());
    out
}

/// The base file with those of its sections that a fragment has replaced by
/// the fragment's, and the fragment's others added.
fn overlay(fragment: &str) -> String {
    let new = sections(fragment.trim_start_matches('\n'));
    let given = |header: &str| new.iter().any(|(h, body)| h == header && !body.trim().is_empty());
    let kept = sections(BASE).into_iter().filter(|(header, _)| !given(header));
    let all: Vec<(String, String)> = kept.chain(new.iter().cloned()).collect();
    // What has no header goes first.
    let (first, rest): (Vec<_>, Vec<_>) =
        all.into_iter().partition(|(header, _)| header.is_empty());
    first.into_iter().chain(rest).map(|(_, body)| body).collect()
}

fn read(text: &str) -> Vec<Diagnostic> {
    match scenario::read("week.toml", text) {
        Ok((_, warnings)) => {
            assert!(warnings.iter().all(|w| w.severity == Severity::Warning));
            warnings
        }
        Err(problems) => {
            assert!(problems.iter().any(|p| p.severity == Severity::Error));
            problems
        }
    }
}

fn codes_of(text: &str) -> Vec<&'static str> {
    read(text).iter().map(|found| found.code).collect()
}

#[test]
fn the_base_is_good() {
    assert_eq!(codes_of(BASE), [""; 0]);
    assert_eq!(codes_of(&overlay("")), [""; 0]);
}

#[test]
fn the_wrong_example_of_each_code_gets_it_and_the_right_one_does_not() {
    for info in codes::all().filter(|info| info.origin != Origin::Run) {
        if info.wrong.is_empty() {
            // A file over the limit, or with hundreds of problems: tests of their own below.
            // The acceptance check's own: more than a page of lines would be needed.
            // What cannot be read has no lines: a test of the command line's.
            let bare = [
                codes::FILE_TOO_LARGE,
                codes::TOO_MANY_PROBLEMS,
                codes::TOO_MANY_CLOSED,
                codes::UNREADABLE,
            ];
            assert!(bare.contains(&info.code), "{}", info.code);
            continue;
        }
        let (wrong, right) = (overlay(info.wrong), overlay(info.right));
        assert_eq!(codes_of(&right), [""; 0], "{}: the right example\n{right}", info.code);
        match info.origin {
            Origin::Reader => {
                let found = codes_of(&wrong);
                assert!(
                    !found.is_empty() && found.iter().all(|code| *code == info.code),
                    "{}: {found:?}",
                    info.code
                );
            }
            // The reader takes it; the acceptance check is what refuses it.
            Origin::Acceptance if info.code == codes::BAD_HEAD => {}
            Origin::Acceptance | Origin::Run => {
                assert_eq!(codes_of(&wrong), [""; 0], "{}", info.code);
            }
        }
    }
}

#[test]
fn six_mistakes_get_six_diagnostics_in_one_pass() {
    let text = r#"schema = 1

[clock]
start = 2026-02-30T00:00:00
zone = "CET-1CEST,M3.5.0,M10.5.0/3"
run_for = 8 days

[head]
flow = "26,5 ml/min"
roller = 3

[[entry]]
name = "night"
weekly = { nights = ["mon", "thr"], at = "00:45" }
volume = "4 fl oz"
window = "45 min"
"#;
    let found = read(text);
    let source = Source::new("week.toml", text);
    let seen: Vec<(&str, usize, usize, &str)> = found
        .iter()
        .map(|d| {
            let at = source.position(d.span.start);
            (d.code, at.line, at.column, d.span.of(text))
        })
        .collect();
    assert_eq!(
        seen,
        [
            ("S009", 4, 9, "2026-02-30"),
            ("S001", 6, 11, "8 days"),
            ("S007", 9, 9, "26,5"),
            ("S002", 10, 1, "roller"),
            ("S018", 14, 29, "\"thr\""),
            ("S006", 15, 13, "fl oz"),
        ]
    );
    let report = text::report(&found, &[source], "nothing was run", text::Paint::Plain);
    assert!(report.ends_with("6 errors, 0 warnings; nothing was run\n"), "{report}");
    assert!(report.contains(
        "error[S007]: `flow` has a number that cannot be read
 --> week.toml:9:9
9 | flow = \"26,5 ml/min\"
  |         ^^^^ a comma is not read
  help: write \"26.5 ml/min\"
"
    ));
}

#[test]
fn each_bad_input_gets_one_diagnostic_at_its_place() {
    for (fragment, code, marked, word) in CASES {
        let text = overlay(fragment);
        let found = read(&text);
        let source = Source::new("week.toml", &text);
        let report = text::report(&found, &[source], "", text::Paint::Plain);
        assert_eq!(found.len(), 1, "{fragment}\n{report}");
        assert_eq!(found[0].code, *code, "{fragment}\n{report}");
        assert_eq!(found[0].span.of(&text), *marked, "{fragment}\n{report}");
        let said = format!(
            "{} {} {} {}",
            found[0].message,
            found[0].label,
            found[0].help.as_deref().unwrap_or(""),
            found[0].notes.iter().map(|note| note.text.as_str()).collect::<String>()
        );
        assert!(said.contains(word), "{fragment}\n{word}\n{report}");
        assert!(report.lines().all(|line| line.chars().count() <= 80), "{report}");
    }
}

#[test]
fn every_code_of_the_reader_has_a_case() {
    let own =
        [codes::FILE_TOO_LARGE, codes::TOO_MANY_PROBLEMS, codes::IRREGULAR_ZONE, codes::UNREADABLE];
    for info in
        codes::all().filter(|info| info.origin == Origin::Reader && !own.contains(&info.code))
    {
        assert!(CASES.iter().any(|(_, code, ..)| *code == info.code), "{}", info.code);
    }
}

#[test]
fn every_diagnostic_has_words_a_place_and_its_file() {
    for (fragment, ..) in CASES {
        let text = overlay(fragment);
        for found in read(&text) {
            assert_eq!(found.file, "week.toml");
            assert!(
                !found.message.is_empty() && !found.message.ends_with('.'),
                "{}",
                found.message
            );
            assert!(found.span.start <= found.span.end && found.span.end <= text.len());
            assert!(
                !found.label.is_empty() || found.help.is_some(),
                "{fragment}: no reason and no way out"
            );
        }
    }
}

#[test]
fn a_place_in_a_string_with_escapes_is_the_whole_string() {
    let text = overlay("[limits]\ndaily_ceiling = \"1 \\u0070int\"");
    let found = read(&text);
    assert_eq!((found[0].code, found[0].span.of(&text)), ("S006", "\"1 \\u0070int\""));
}

#[test]
fn a_line_that_cannot_be_read_does_not_make_its_key_missing() {
    let text = overlay("[clock]\nstart = 2026-10-19T00:00:00\nzone = \"UTC0\"\nrun_for \"8 days\"");
    assert_eq!(codes_of(&text), ["S001"]);
}

#[test]
fn a_line_whose_key_is_lost_does_not_make_it_missing_either() {
    let text =
        overlay("[clock]\nstart = 2026-10-19T00:00:00\nzone = \"UTC0\"\n= run_for \"8 days\"");
    assert_eq!(codes_of(&text), ["S001"]);
}

#[test]
fn one_day_alone_can_be_closed_and_be_an_entrys_only_date() {
    let text = overlay(
        "[[closed]]\nfirst = 2026-12-24\n[[closed]]\nfirst = 2026-12-26\nlast = 2026-12-26",
    );
    let (scenario, _) = scenario::read("w.toml", &text).unwrap();
    assert!(scenario.closed.iter().all(|closed| closed.first == closed.last));
    let text = BASE.replace("window", "first = 2026-10-19\nlast = 2026-10-19\nwindow");
    assert_eq!(codes_of(&text), [""; 0]);
}

#[test]
fn the_start_itself_and_the_end_itself_are_in_the_run() {
    for at in ["2026-10-19 00:00", "mon 00:00", "+0 s", "+8 d", "2026-10-27 00:00"] {
        let text = overlay(&format!("[[fault]]\nat = \"{at}\"\nleak = {{}}"));
        assert_eq!(codes_of(&text), [""; 0], "{at}");
    }
    // An hour more than the end by the wall is left for clocks that are put forward.
    for at in ["+8 d 1 ms", "2026-10-27 01:00:00.001"] {
        let text = overlay(&format!("[[fault]]\nat = \"{at}\"\nleak = {{}}"));
        assert_eq!(codes_of(&text), ["W005"], "{at}");
    }
}

#[test]
fn an_unknown_zone_reports_nothing_that_follows_from_it() {
    let text = overlay(
        "[clock]\nstart = 2026-10-19T00:00:00\nzone = \"Nowhere\"\nrun_for = \"8 days\"\n[[fault]]\nat = \"fri 01:00\"\nleak = {}",
    );
    assert_eq!(codes_of(&text), ["S011"]);
}

#[test]
fn a_device_zone_is_checked_like_the_zone() {
    let text = overlay(
        "[clock]\nstart = 2026-01-10T00:00:00\nzone = \"UTC0\"\ndevice_zone = \"America/Vancouver\"\nrun_for = \"90 days\"",
    );
    let found = read(&text);
    assert_eq!((found[0].code, found[0].span.of(&text)), ("S012", "\"America/Vancouver\""));
    assert_eq!(
        found[0].label,
        "at 2026-01-09 16:00 it is UTC-8, by the rule MST7 it would be UTC-7"
    );
}

#[test]
fn a_file_over_the_limit_is_refused_unread() {
    let text = format!("{BASE}# {}\n", "x".repeat(scenario::MOST_BYTES));
    let found = read(&text);
    assert_eq!(found.iter().map(|d| d.code).collect::<Vec<_>>(), [codes::FILE_TOO_LARGE]);
    let short = format!("{BASE}#{}", "x".repeat(scenario::MOST_BYTES - BASE.len() - 1));
    assert_eq!(short.len(), scenario::MOST_BYTES);
    assert_eq!(codes_of(&short), [""; 0]);
}

#[test]
fn hundreds_of_problems_are_cut_and_counted() {
    let text = format!(
        "{BASE}{}",
        (0..1000).fold(String::new(), |mut out, i| {
            _ = writeln!(out, "unknown_{i} = 1");
            out
        })
    );
    let found = read(&text);
    assert_eq!(found.len(), scenario::MOST_PROBLEMS + 1);
    let last = found.last().unwrap();
    assert_eq!(
        (last.code, last.message.as_str()),
        (codes::TOO_MANY_PROBLEMS, "800 more problems follow this one")
    );
}

#[test]
fn an_error_behind_thousands_of_warnings_is_still_an_error() {
    let warning = "[[fault]]\nat = \"+30 d\"\nleak = {}\n";
    let text = format!("{BASE}{}[[fault]]\nat = \"+1 d\"\n", warning.repeat(3_000));
    let found = read(&text);
    assert!(found.iter().any(|d| d.code == codes::WRONG_VARIANT));
    assert!(found.len() <= scenario::MOST_PROBLEMS + 1);
}

#[test]
fn warnings_come_with_a_good_file() {
    let text = overlay("[[fault]]\nat = \"+30 d\"\nleak = {}");
    let (scenario, warnings) = scenario::read("w.toml", &text).unwrap();
    assert_eq!(scenario.faults.len(), 1);
    assert_eq!((warnings.len(), warnings[0].severity), (1, Severity::Warning));
    let report = text::report(&warnings, &[Source::new("w.toml", &text)], "", text::Paint::Plain);
    assert!(report.starts_with("warning[W005]: `at` lies after the end of the run\n"), "{report}");
    assert!(report.ends_with("0 errors, 1 warning\n"));
}
