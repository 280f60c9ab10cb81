//! Scenarios that once showed a bug, in the logic, the world or the auditor.
//! Each says in its first line what it is about.

use std::path::PathBuf;

use dosewright_sim::check;
use dosewright_sim::judged;
use dosewright_sim::run::Options;

/// So many tests share them.
const PARTS: usize = 8;

/// Every file whose place in the order of the names is this in its part.
fn what_was_mended_stays_mended(part: usize) {
    let dir = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("regressions");
    let mut files: Vec<PathBuf> =
        std::fs::read_dir(&dir).unwrap().map(|entry| entry.unwrap().path()).collect();
    files.sort();
    assert!(files.len() >= 6 * PARTS, "{}", files.len());
    for path in files.into_iter().skip(part).step_by(PARTS) {
        let text = std::fs::read_to_string(&path).unwrap();
        let name = path.file_name().unwrap().to_string_lossy().into_owned();
        assert!(text.starts_with("# "), "{name} does not say what it shows");
        let (scenario, problems) = check::read(&name, &text);
        let scenario = scenario.unwrap_or_else(|| panic!("{name}: {problems:?}"));
        let judged = judged::run(&scenario, &Options::default(), Vec::new(), None).unwrap();
        let broken: Vec<String> = judged.audit.violations.iter().map(ToString::to_string).collect();
        assert!(broken.is_empty(), "{name}: {broken:#?}");
        assert!(judged.failures.is_empty(), "{name}: {:#?}", judged.failures);
        assert!(judged.audit.dues.dues > 0, "{name} judges no outcome");
    }
}

macro_rules! parts {
    ($($name:ident $part:literal)*) => {
        $(#[test]
        fn $name() {
            what_was_mended_stays_mended($part);
        })*
        const _: () = assert!([$($part),*].len() == PARTS);
    };
}

parts! {
    what_was_mended_stays_mended_0 0
    what_was_mended_stays_mended_1 1
    what_was_mended_stays_mended_2 2
    what_was_mended_stays_mended_3 3
    what_was_mended_stays_mended_4 4
    what_was_mended_stays_mended_5 5
    what_was_mended_stays_mended_6 6
    what_was_mended_stays_mended_7 7
}
