//! Failure files: saved at once, and run again exactly.

use crate::support::{Place, failing, good};

#[test]
fn a_failure_is_saved_and_replays() {
    let place = Place::new("replay");
    place.write("week.toml", &failing());
    let said = place.call(&["run", "week.toml", "--seed", "7"]);
    let line = said.err.lines().find(|line| line.starts_with("replay: ")).unwrap();
    assert!(
        line.starts_with(
            "replay: dosewright replay out/week-7.failure.toml  (seed 7, scenario fnv1a64:"
        ),
        "{line}"
    );
    assert!(line.contains(", build 0."), "{line}");
    let saved = place.read("out/week-7.failure.toml");
    assert!(saved.ends_with(&failing()), "the scenario is in it as it was");
    assert!(
        saved.contains("#! seed = 7\n") && saved.contains("#! finding = \"R001 at week.toml:19:39"),
        "{saved}"
    );

    let again = place.call(&["replay", "out/week-7.failure.toml"]);
    assert_eq!(again.code, 1, "{again:?}");
    assert!(again.err.contains("replayed week.toml with seed 7: it fails again"), "{}", again.err);
    assert!(!again.err.contains("note:"), "same build, same scenario: {}", again.err);
    // places are those of the failure file, which can be opened there
    let header = saved.lines().count() - failing().lines().count();
    assert!(again.out.contains(&format!("failure.toml:{}:39", 19 + header)), "{}", again.out);
    // it is a scenario like any other
    assert_eq!(place.call(&["run", "out/week-7.failure.toml"]).code, 1);
    // and no memory's image, whatever is said of the layout of one
    let said = place.call(&["replay", "out/week-7.failure.toml", "--word", "4"]);
    assert!(said.code == 2 && said.err.contains("is a failure file: --sector-bytes"), "{said:?}");
}

#[test]
fn another_build_and_a_changed_scenario_are_told() {
    let place = Place::new("other-build");
    place.write("week.toml", &failing());
    place.call(&["run", "week.toml"]);
    let saved = place.read("out/week-1.failure.toml");
    let build = saved.lines().find_map(|line| line.strip_prefix("#! build = ")).unwrap();
    place.write("old.toml", &saved.replace(build, "\"0.0.9+00000000\""));
    let said = place.call(&["replay", "old.toml"]);
    assert!(
        said.code == 1 && said.err.contains("the failure was seen with build 0.0.9+00000000"),
        "{said:?}"
    );
    place.write("mended.toml", &saved.replace("dosed = 4", "dosed = 3"));
    let said = place.call(&["replay", "mended.toml"]);
    assert!(
        said.code == 0 && said.err.contains("the scenario was changed since it failed"),
        "{said:?}"
    );
    assert!(said.err.contains("the failure does not show again"), "{}", said.err);
}

#[test]
fn what_is_no_failure_file_is_refused() {
    let place = Place::new("no-failure");
    place.write("week.toml", &good());
    let said = place.call(&["replay", "week.toml"]);
    assert!(
        said.code == 2 && said.err.contains("week.toml:1: this is no failure file"),
        "{said:?}"
    );
}
