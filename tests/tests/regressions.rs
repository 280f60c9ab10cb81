//! Scenarios that once showed a bug, in the logic, the world or the auditor.
//! Each says in its first line what it is about.

use std::path::PathBuf;

use dosewright_sim::check;
use dosewright_sim::judged;
use dosewright_sim::run::Options;

#[test]
fn what_was_mended_stays_mended() {
    let dir = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("regressions");
    let mut files: Vec<PathBuf> =
        std::fs::read_dir(&dir).unwrap().map(|entry| entry.unwrap().path()).collect();
    files.sort();
    assert!(files.len() >= 6, "{}", files.len());
    for path in files {
        let text = std::fs::read_to_string(&path).unwrap();
        let name = path.file_name().unwrap().to_string_lossy().into_owned();
        assert!(text.starts_with("# "), "{name} does not say what it shows");
        let (scenario, problems) = check::read(&name, &text);
        let scenario = scenario.unwrap_or_else(|| panic!("{name}: {problems:?}"));
        let judged = judged::run(&scenario, &Options::default(), Vec::new(), None).unwrap();
        let broken: Vec<String> = judged.audit.violations.iter().map(ToString::to_string).collect();
        assert!(broken.is_empty(), "{name}: {broken:#?}");
        assert!(judged.audit.dues.dues > 0, "{name} judges no outcome");
    }
}
