//! The conformance table (conformance/README.md): what becomes of every
//! scheduled dose of its cases, worked out by hand from the promises.

#[path = "conformance/adapters.rs"]
mod adapters;
#[path = "conformance/cases.rs"]
mod cases;
#[path = "conformance/compare.rs"]
mod compare;
#[path = "conformance/plausible.rs"]
mod plausible;
#[path = "conformance/table.rs"]
mod table;

use adapters::Run;
use cases::Case;
use compare::{Got, differences};
use dosewright_sim::audit::Reading;
use table::{Kind, Row};

/// The table has at least so many cases.
const FEWEST: usize = 60;

fn all() -> Vec<Case> {
    cases::all()
        .unwrap_or_else(|problems| panic!("{} problems:\n{}", problems.len(), problems.join("\n")))
}

#[test]
fn the_cases_read_and_are_plausible() {
    let cases = all();
    assert!(cases.len() >= FEWEST, "{} cases", cases.len());
    let found: Vec<String> = cases
        .iter()
        .flat_map(|case| {
            plausible::problems(case).into_iter().map(|what| format!("{}.dues: {what}", case.name))
        })
        .collect();
    assert!(found.is_empty(), "{} problems:\n{}", found.len(), found.join("\n"));
}

/// The cases with their runs.
fn runs() -> Vec<(Case, Run)> {
    let mut failed = Vec::new();
    let mut runs = Vec::new();
    for case in all() {
        match adapters::run(&case.scenario) {
            Ok(run) => runs.push((case, run)),
            Err(error) => failed.push(format!("{}: {error}", case.name)),
        }
    }
    assert!(failed.is_empty(), "{} runs are invalid:\n{}", failed.len(), failed.join("\n"));
    runs
}

/// Every disagreement of a program with the table, case by case.
fn disagreements(program: impl Fn(&Case, &Run) -> Vec<String>) -> Vec<String> {
    let named = |(case, run): &(Case, Run)| -> Vec<String> {
        program(case, run).into_iter().map(|what| format!("{}: {what}", case.name)).collect()
    };
    runs().iter().flat_map(named).collect()
}

#[test]
fn the_controller_agrees_with_the_table() {
    let found = disagreements(|case, run| differences(&case.table.rows, run.controller.clone()));
    assert!(found.is_empty(), "{} disagreements:\n{}", found.len(), found.join("\n"));
}

#[test]
fn the_auditors_prediction_agrees_with_the_table() {
    let found = disagreements(|case, run| {
        if adapters::is_foreseeable(&case.scenario) {
            differences(&case.table.rows, run.prediction(None))
        } else {
            Vec::new()
        }
    });
    assert!(found.is_empty(), "{} disagreements:\n{}", found.len(), found.join("\n"));
}

#[test]
fn the_auditor_finds_nothing_wrong_with_the_controllers_runs() {
    let found = disagreements(|_, run| run.violations(None));
    assert!(found.is_empty(), "{} violations:\n{}", found.len(), found.join("\n"));
}

/// For each wrong reading, the cases that show it; a reading that none shows is
/// a failure.
fn shown_up(what: &str, differs: impl Fn(&Case, &Run, Reading) -> bool) {
    let runs = runs();
    let mut missed = Vec::new();
    for reading in Reading::ALL {
        let names: Vec<&str> = runs
            .iter()
            .filter(|(case, run)| differs(case, run, reading))
            .map(|(case, _)| case.name.as_str())
            .collect();
        println!("{what}: {reading:?}: {} cases: {}", names.len(), names.join(", "));
        if names.is_empty() {
            missed.push(format!("{reading:?}"));
        }
    }
    assert!(missed.is_empty(), "no case shows up {}", missed.join(", "));
}

#[test]
fn every_wrong_reading_changes_a_prediction() {
    // A case that is not right without it shows nothing.
    shown_up("prediction", |case, run, reading| {
        let rows = &case.table.rows;
        adapters::is_foreseeable(&case.scenario)
            && differences(rows, run.prediction(None)).is_empty()
            && !differences(rows, run.prediction(Some(reading))).is_empty()
    });
}

#[test]
fn every_wrong_reading_of_the_judge_contradicts_the_controller() {
    shown_up("judgement", |_, run, reading| {
        run.violations(None).is_empty() && !run.violations(Some(reading)).is_empty()
    });
}

#[test]
fn every_outcome_and_most_causes_are_in_the_table() {
    let cases = all();
    let rows = || cases.iter().flat_map(|case| &case.table.rows);
    for kind in Kind::ALL {
        assert!(rows().any(|row| row.kind == kind), "no row is {}", kind.word());
    }
    for cause in [
        "closed",
        "clock unset",
        "clock lost",
        "clock set",
        "supply lost",
        "woken late",
        "already dosed",
        "daily ceiling",
        "older dose waiting",
        "pump in use",
        "remote stop",
        "edited",
        "disabled",
        "removed",
        "restarts",
    ] {
        assert!(
            rows().any(|row| row.causes.iter().any(|one| one == cause)),
            "no row has the cause {cause:?}"
        );
    }
}

#[test]
fn a_bad_table_is_refused_with_its_line() {
    let header = table::COLUMNS.join(" | ");
    let good =
        "daily | 2026-10-19 03:00 | 1 | 1 | dosed | - | 120 | 120 ±4 | 1 | 2026-10-19T03:00:00Z";
    let read = |row: &str| table::read(&format!("# why\n{header}\n{row}\n"));
    let row = read(good).expect("it is good").rows.remove(0);
    // 2026-10-19 is day 20745 (date -u -d 2026-10-19 +%s: 1792368000).
    assert_eq!(row.first, table::Which::Weekly(20_745 * 1440 + 180));
    assert_eq!(row.first.to_string(), "2026-10-19 03:00");
    assert_eq!(row.most, Some(table::Delivered { nl: 120_000_000, off_by_nl: 4_000_000 }));
    assert_eq!(row.began.map(|began| began.utc_ms), Some((1_792_368_000 + 3 * 3600) * 1000));

    for (cell, worse, says) in [
        ("daily", "", "entry"),
        ("2026-10-19 03:00", "2026-02-30 03:00", "due"),
        ("2026-10-19 03:00", "2026-10-19 3:00", "due"),
        ("2026-10-19 03:00", "#x", "due"),
        ("| 1 | 1 | dosed", "| x | 1 | dosed", "epoch"),
        ("| 1 | 1 | dosed", "| 1 | 70000 | dosed", "rev"),
        ("dosed", "done", "outcome"),
        ("| 120 |", "| 120 ml |", "least"),
        ("120 ±4", "120 ±", "most"),
        ("| 1 | 2026-10-19T", "| -1 | 2026-10-19T", "count"),
        ("2026-10-19T03:00:00Z", "2026-10-19T03:00:00", "began"),
        (" | 1 | 2026-10-19T03:00:00Z", "", "columns"),
    ] {
        assert!(good.contains(cell), "{cell}");
        let error = read(&good.replacen(cell, worse, 1)).expect_err(worse);
        assert!(error.starts_with("line 3: ") && error.contains(says), "{worse}: {error}");
    }
    assert!(table::read("# why\n").is_err());
    assert!(table::read("entry | due\n").is_err());
}

/// A program that says of a row exactly what the table has.
fn as_told(row: &Row) -> Got {
    Got {
        entry: row.entry.clone(),
        first: row.first,
        last: row.last,
        epoch: row.epoch,
        revision: row.revision,
        kind: row.kind,
        causes: row.causes.clone(),
        least_nl: row.least.map_or(0, |least| least.nl),
        most_nl: row.most.map_or(0, |most| most.nl),
        slack_nl: 0,
        count: row.count,
        began_utc_ms: row.began.map(|began| began.utc_ms),
    }
}

/// Makes one column wrong.
type Spoil = Box<dyn Fn(&mut Got)>;

#[test]
fn every_wrong_column_is_a_difference() {
    for case in all() {
        let rows = &case.table.rows;
        let told: Vec<Got> = rows.iter().map(as_told).collect();
        assert_eq!(differences(rows, told.clone()), Vec::<String>::new(), "{}", case.name);
        for (at, row) in rows.iter().enumerate() {
            let mut wrong: Vec<Spoil> = vec![
                Box::new(|got| got.epoch += 1),
                Box::new(|got| got.revision += 1),
                Box::new(|got| got.entry.push('x')),
                Box::new(|got| got.count += 1),
                Box::new(|got| {
                    got.kind = if got.kind == Kind::Part { Kind::Dosed } else { Kind::Part };
                }),
            ];
            if let (Some(least), Some(most)) = (row.least, row.most) {
                wrong.push(Box::new(move |got| got.least_nl += least.off_by_nl + 1));
                wrong.push(Box::new(move |got| got.most_nl += most.off_by_nl + 1));
            }
            if !row.causes.is_empty() {
                wrong.push(Box::new(|got| got.causes = vec!["battery".to_owned()]));
            }
            if let Some(began) = row.began {
                let off = i64::try_from(began.off_by_ms).expect("it is short") + 1;
                wrong.push(Box::new(move |got| got.began_utc_ms = Some(began.utc_ms - off)));
            }
            for spoil in wrong {
                let mut told = told.clone();
                spoil(&mut told[at]);
                assert!(!differences(rows, told).is_empty(), "{} line {}", case.name, row.line);
            }
            let mut less = told.clone();
            less.remove(at);
            assert!(!differences(rows, less).is_empty(), "{} without line {}", case.name, row.line);
        }
        let mut more = told;
        more.extend(rows.first().map(|row| Got { epoch: 9, ..as_told(row) }));
        assert!(!differences(rows, more).is_empty(), "{} with a row too many", case.name);
    }
}
