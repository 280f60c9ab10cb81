//! Every scenario of the book, the example and the template hold, and are as
//! demanding as they look.

use std::path::PathBuf;

use dosewright_core::time::Duration;
use dosewright_sim::judged::{self, Verdict};
use dosewright_sim::run::Options;
use dosewright_sim::scenario::{self, Claim};
use dosewright_sim::{builtin, check};

fn shipped() -> Vec<(String, String)> {
    let dir = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../docs/scenarios");
    let mut all: Vec<(String, String)> = std::fs::read_dir(&dir)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|path| path.extension().is_some_and(|ext| ext == "toml"))
        .map(|path| {
            (
                path.file_name().unwrap().to_string_lossy().into_owned(),
                std::fs::read_to_string(&path).unwrap(),
            )
        })
        .collect();
    all.sort();
    assert!(all.len() >= 9, "{}", all.len());
    all.push((builtin::NAME.to_owned(), builtin::EXAMPLE.to_owned()));
    all.push(("template".to_owned(), scenario::template().to_owned()));
    all
}

#[test]
fn every_shipped_scenario_holds() {
    for (name, text) in shipped() {
        let (scenario, problems) = check::read(&name, &text);
        let scenario = scenario.unwrap_or_else(|| panic!("{name}: {problems:?}"));
        for seed in [1, 2, 3] {
            let options = Options { seed, ..Options::default() };
            let judged = judged::run(&scenario, &options, Vec::new(), None).unwrap();
            let failures: Vec<_> = judged
                .failures
                .iter()
                .chain(&judged.invalid)
                .map(|f| (f.span.of(&text), &f.label))
                .collect();
            let broken: Vec<String> =
                judged.audit.violations.iter().map(ToString::to_string).collect();
            assert_eq!(judged.verdict, Verdict::Held, "{name}: {failures:?} {broken:?}");
            assert!(judged.judged > 0, "{name} expects nothing");
        }
    }
}

/// An expectation that cannot fail is none: with each entry's dose made half as
/// large every scenario has to fail.
#[test]
fn every_shipped_scenario_notices_half_a_dose() {
    for (name, text) in shipped() {
        let (scenario, _) = check::read(&name, &text);
        let scenario = scenario.unwrap();
        let mut halved = scenario.clone();
        for entry in &mut halved.entries {
            entry.volume = dosewright_core::units::Volume::from_nl(entry.volume.as_nl() / 2);
        }
        let judged = judged::run(&halved, &Options::default(), Vec::new(), None).unwrap();
        // the template and the example state volumes in percent of what is asked
        let own = scenario.expect.iter().any(|e| match &e.claim {
            Claim::Volume { of, .. } => of.is_some(),
            Claim::Due(due) => due.volume_from.is_some(),
            Claim::PumpOn { least, .. } => least.is_some(),
            _ => false,
        });
        assert_eq!(judged.verdict == Verdict::Failed, own, "{name}");
        assert!(judged.audit.held(), "{name}: the device is not at fault");
    }
}

/// With the doses a week later than they are expected, the claims about single
/// doses have nothing to be about.
#[test]
fn every_claim_about_one_dose_notices_that_it_is_missing() {
    for (name, text) in shipped() {
        let (scenario, _) = check::read(&name, &text);
        let scenario = scenario.unwrap();
        let dues = scenario.expect.iter().filter(|e| matches!(e.claim, Claim::Due(_))).count();
        let mut moved = scenario.clone();
        for entry in &mut moved.entries {
            entry.enabled = false;
        }
        let judged = judged::run(&moved, &Options::default(), Vec::new(), None).unwrap();
        let missing =
            judged.failures.iter().filter(|f| f.label.contains("none at that time")).count();
        // an edit of the run enables nothing, so all of them are missing
        assert_eq!(missing, dues, "{name}");
    }
}

#[test]
fn a_run_that_is_stopped_judges_no_expectation() {
    let (scenario, _) = check::read(builtin::NAME, builtin::EXAMPLE);
    let options = Options { until: Some(Duration::from_h(30)), ..Options::default() };
    let judged = judged::run(&scenario.unwrap(), &options, Vec::new(), None).unwrap();
    assert_eq!(
        (judged.verdict, judged.judged, judged.end.end_ms),
        (Verdict::Stopped, 0, 108_000_000)
    );
}
