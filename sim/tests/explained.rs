//! The examples of the acceptance codes: the wrong one gets its code, the right
//! one does not.

use dosewright_sim::check;
use dosewright_sim::diagnose::codes::{self, Origin};

/// The lines of an example in a whole scenario: tables that it does not give are
/// given for it.
fn whole(example: &str) -> String {
    let mut text = String::from("schema = 1\n");
    for (header, lines) in [
        (
            "[clock]",
            "start = 2026-10-19T00:00:00\nzone = \"CET-1CEST,M3.5.0,M10.5.0/3\"\nrun_for = \"200 days\"\n",
        ),
        ("[head]", "flow = \"26.5 ml/min\"\n"),
    ] {
        if !example.contains(header) {
            text.extend([header, "\n", lines]);
        }
    }
    text.push_str(example);
    text
}

#[test]
fn each_example_of_the_acceptance_check_says_what_it_shows() {
    let mut slips = Vec::new();
    for info in codes::all().filter(|info| info.origin == Origin::Acceptance) {
        let found = |example: &str| -> Vec<&'static str> {
            check::read("example.toml", &whole(example)).1.iter().map(|found| found.code).collect()
        };
        let shows = info.wrong.is_empty()
            || info.code == codes::TOO_MANY_ENTRIES
            || found(info.wrong).contains(&info.code);
        let mends =
            !found(info.right).iter().any(|code| code.starts_with('S') || *code == info.code);
        if !shows || !mends {
            slips.push((info.code, found(info.wrong), found(info.right)));
        }
    }
    assert!(slips.is_empty(), "{slips:?}");
}

#[test]
fn more_entries_or_closed_dates_than_the_device_holds_are_refused() {
    let entry = |i: u32| {
        format!(
            "[[entry]]\nname = \"e{i}\"\nweekly = {{ days = [\"mon\"], at = \"{:02}:{:02}\" }}\nvolume = \"5 ml\"\nwindow = \"10 min\"\n",
            8 + i / 6,
            i % 6 * 10
        )
    };
    let closed = |i: u32| format!("[[closed]]\nfirst = 2026-11-{:02}\n", i + 1);
    for (most, code, table) in [
        (64, codes::TOO_MANY_ENTRIES, &entry as &dyn Fn(u32) -> String),
        (12, codes::TOO_MANY_CLOSED, &closed),
    ] {
        let file = |count: u32| whole(&(0..count).map(table).collect::<String>());
        let codes_of = |count| {
            check::read("many.toml", &file(count))
                .1
                .iter()
                .map(|found| found.code)
                // closed dates alone dose nothing
                .filter(|code| *code != codes::NOTHING_DUE)
                .collect::<Vec<_>>()
        };
        assert_eq!(codes_of(most), Vec::<&str>::new());
        assert_eq!(codes_of(most + 1), [code]);
        // and keeps nobody from seeing what else is wrong
        let wrong = file(most + 1).replace("26.5 ml/min", "26.5 ul/min");
        let wrong = format!(
            "{wrong}{}",
            if code == codes::TOO_MANY_CLOSED { entry(0) } else { String::new() }
        );
        let found: Vec<&str> =
            check::read("many.toml", &wrong).1.iter().map(|found| found.code).collect();
        assert!(found.contains(&code) && found.contains(&codes::DOSE_DOES_NOT_FIT), "{found:?}");
    }
}
