//! No input makes the reader panic, hang or point outside the file.

use dosewright_sim::diagnose::{Severity, Source, json, sarif, text};
use dosewright_sim::scenario;
use proptest::prelude::*;

const GOOD: [&str; 2] = [
    include_str!("../../sim/src/scenario/template.toml"),
    include_str!("../../sim/src/scenario/everything.toml"),
];

/// What holds of any text.
fn holds(text: &str) {
    match scenario::read("f.toml", text) {
        Ok((_, warnings)) => assert!(warnings.iter().all(|w| w.severity == Severity::Warning)),
        Err(problems) => {
            assert!(problems.iter().any(|p| p.severity == Severity::Error));
            for problem in &problems {
                let span = problem.span;
                assert!(span.start <= span.end && span.end <= text.len(), "{problem:?}");
                assert!(
                    text.is_char_boundary(span.start) && text.is_char_boundary(span.end),
                    "{problem:?}"
                );
            }
            let sources = [Source::new("f.toml", text)];
            let report = text::report(&problems, &sources, "nothing was run", text::Paint::Plain);
            for line in report.lines() {
                let cells: usize = line.chars().map(cells_of).sum();
                assert!(cells <= 80, "{cells}: {line}");
            }
            assert!(json::render(&problems, &sources).lines().count() > problems.len());
            assert!(sarif::render(&problems, &sources).contains("2.1.0"));
        }
    }
}

/// Cells of a character.
fn cells_of(c: char) -> usize {
    unicode_width::UnicodeWidthChar::width(c).unwrap_or(0)
}

/// A change to a text that leaves it valid UTF-8.
#[derive(Debug, Clone)]
enum Change {
    Flip { at: usize, bit: u8 },
    Delete { at: usize, length: usize },
    Insert { at: usize, text: String },
    Repeat { at: usize, length: usize, times: usize },
    Truncate { at: usize },
}

fn change() -> impl Strategy<Value = Change> {
    let piece = prop_oneof![
        "[ -~\\n\\t]{1,12}",
        "\\PC{1,4}",
        prop::sample::select(vec![
            "[",
            "]",
            "[[",
            "]]",
            "{",
            "}",
            "=",
            "\"",
            "'",
            "\"\"\"",
            "'''",
            ",",
            ".",
            "#",
            "\n",
            "\r",
            "\u{feff}",
            "\0",
            "inf",
            "nan",
            "0x",
            "1e999",
            "-",
            "2026-02-30",
            "99999999999999999999999999999999999999999",
            "\\",
            "\u{202e}",
        ])
        .prop_map(str::to_owned),
    ];
    prop_oneof![
        (any::<usize>(), 0..8u8).prop_map(|(at, bit)| Change::Flip { at, bit }),
        (any::<usize>(), 1..40usize).prop_map(|(at, length)| Change::Delete { at, length }),
        (any::<usize>(), piece).prop_map(|(at, text)| Change::Insert { at, text }),
        (any::<usize>(), 1..80usize, 1..4usize).prop_map(|(at, length, times)| Change::Repeat {
            at,
            length,
            times
        }),
        any::<usize>().prop_map(|at| Change::Truncate { at }),
    ]
}

fn apply(text: &str, change: &Change) -> String {
    let floor = |at: usize| {
        let at = at % (text.len() + 1);
        (0..=at).rev().find(|at| text.is_char_boundary(*at)).unwrap_or(0)
    };
    let cut = |at: usize, length: usize| {
        let start = floor(at);
        (start, floor((start + length).min(text.len())).max(start))
    };
    match change {
        Change::Flip { at, bit } => {
            let at = floor(*at);
            let mut bytes = text.as_bytes().to_vec();
            if let Some(byte) = bytes.get_mut(at) {
                *byte ^= 1 << bit;
            }
            String::from_utf8(bytes).unwrap_or_else(|_| text.to_owned())
        }
        Change::Delete { at, length } => {
            let (start, end) = cut(*at, *length);
            format!("{}{}", &text[..start], &text[end..])
        }
        Change::Insert { at, text: piece } => {
            let at = floor(*at);
            format!("{}{piece}{}", &text[..at], &text[at..])
        }
        Change::Repeat { at, length, times } => {
            let (start, end) = cut(*at, *length);
            format!("{}{}{}", &text[..end], text[start..end].repeat(*times), &text[end..])
        }
        Change::Truncate { at } => text[..floor(*at)].to_owned(),
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 4000, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn a_changed_good_file_is_read_or_refused(which in 0..GOOD.len(), changes in prop::collection::vec(change(), 1..6)) {
        let text = changes.iter().fold(GOOD[which].to_owned(), |text, change| apply(&text, change));
        holds(&text);
    }

    #[test]
    fn any_text_is_read_or_refused(text in "\\PC{0,200}") {
        holds(&text);
    }

    #[test]
    fn any_value_in_any_place_is_read_or_refused(which in 0..GOOD.len(), line in any::<usize>(), value in "[ -~]{0,24}|\\PC{0,8}", quoted: bool) {
        let lines: Vec<&str> = GOOD[which].lines().collect();
        let at = line % lines.len();
        let text: String = lines.iter().enumerate().map(|(i, line)| match line.split_once(" = ") {
            Some((key, _)) if i == at && quoted => format!("{key} = \"{value}\"\n"),
            Some((key, _)) if i == at => format!("{key} = {value}\n"),
            _ => format!("{line}\n"),
        }).collect();
        holds(&text);
    }
}

#[test]
fn numbers_of_any_size_are_refused_or_read() {
    for digits in [1, 18, 19, 20, 38, 39, 40, 400, 100_000] {
        let number = "9".repeat(digits);
        for value in [
            number.clone(),
            format!("-{number}"),
            format!("{number}.{number}"),
            format!("\"{number} ml\""),
            format!("\"0.{number} ml\""),
            format!("\"{number} weeks {number} days\""),
            format!("\"{number} l/s\""),
            format!("\"{number} %\""),
            format!("\"+{number} d\""),
            format!("\"dose {number} pulse {number}\""),
            format!("{number}-01-01"),
            format!("0x{number}"),
            format!("1e{number}"),
        ] {
            for key in ["volume", "window", "pulses", "name", "first"] {
                holds(&format!("{}\n[[entry]]\n{key} = {value}\n", GOOD[0]));
            }
            holds(&format!("{}\n[[fault]]\nat = {value}\nleak = {{}}\n", GOOD[0]));
        }
    }
}

#[test]
fn nesting_of_any_depth_is_refused_or_read() {
    for depth in [10, 100, 1_000, 100_000] {
        for text in [
            format!("a = {}{}", "[".repeat(depth), "]".repeat(depth)),
            format!("a = {}", "[".repeat(depth)),
            format!("a = {}1{}", "{ b = ".repeat(depth), " }".repeat(depth)),
            format!("a = {}", "{ b = ".repeat(depth)),
            format!("{}a = 1", "b.".repeat(depth)),
            format!("[{}a]\nc = 1", "b.".repeat(depth)),
            format!("[[{}a]]\nc = 1", "b.".repeat(depth)),
            "[[a]]\n[a.b]\n[[a.b.c]]\n".repeat(depth.min(10_000)),
        ] {
            holds(&text);
            holds(&format!("{}\n{text}\n", GOOD[0]));
        }
    }
}

#[test]
fn a_large_file_of_any_kind_is_read_in_no_great_time() {
    let entry = "[[entry]]\nname = \"n\"\nweekly = { days = [\"mon\"], at = \"01:00\" }\nvolume = \"1 ml\"\nwindow = \"1 min\"\n";
    for piece in [
        entry,
        "a = 1\n",
        "a = {\n",
        "a = [1\n",
        "a = \"\"\"\n",
        "[a]\n",
        "[[a]]\nb = 1 2\n",
        "=\n",
        "x",
        "\n",
        "a.b = 1\n",
    ] {
        let text = piece.repeat(scenario::MOST_BYTES / piece.len());
        let start = std::time::Instant::now();
        holds(&text);
        let took = start.elapsed();
        println!("{piece:?} took {took:?}");
        assert!(took.as_secs() < 60, "{piece:?} took {took:?}");
    }
}
