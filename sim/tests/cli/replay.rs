//! Failure files: saved at once, and run again exactly.

use std::io::Write as _;
use std::process::Stdio;

use crate::support::{Place, Said, failing, good};

/// Calls the program with something on its standard input.
fn fed(place: &Place, args: &[&str], input: &[u8]) -> Said {
    let mut child = place
        .command(args)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    // a program that does not read it closes it
    _ = child.stdin.take().unwrap().write_all(input);
    Said::of(&child.wait_with_output().unwrap())
}

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

#[test]
fn a_failure_or_an_image_may_come_by_standard_input() {
    let place = Place::new("replay-in");
    place.write("week.toml", &failing());
    // what shrink puts on standard output is what replay takes
    let small = place.call(&["shrink", "week.toml", "-o", "-"]);
    assert!(small.code == 0 && small.err.contains("replay: dosewright replay -\n"), "{small:?}");
    let said = fed(&place, &["replay", "-"], small.out.as_bytes());
    assert!(said.code == 1 && said.err.contains("it fails again"), "{said:?}");
    assert!(said.out.contains("standard input"), "{said:?}");
    place.call(&["run", "week.toml", "--image", "week.bin"]);
    let image = std::fs::read(place.dir.join("week.bin")).unwrap();
    let (named, said) = (
        place.call(&["replay", "week.bin", "--json"]),
        fed(&place, &["replay", "-", "--json"], &image),
    );
    assert_eq!((said.code, said.out), (0, named.out));
    let said = fed(&place, &["replay", "-"], b"");
    assert!(said.code == 2 && said.err.contains("standard input: it is empty"), "{said:?}");
}

#[test]
fn the_failure_of_a_file_with_a_byte_order_mark_runs_again() {
    let place = Place::new("replay-mark");
    place.write("week.toml", &format!("\u{feff}{}", failing()));
    let said = place.call(&["run", "week.toml"]);
    assert!(
        said.code == 1 && said.err.contains("replay: dosewright replay out/week-1"),
        "{said:?}"
    );
    let again = place.call(&["replay", "out/week-1.failure.toml"]);
    assert!(again.code == 1 && again.err.contains("it fails again"), "{again:?}");
    assert!(!again.err.contains("note:"), "the same scenario: {}", again.err);
    assert_eq!(place.call(&["run", "out/week-1.failure.toml"]).code, 1);
    assert_eq!(place.call(&["shrink", "out/week-1.failure.toml", "-o", "small.toml"]).code, 0);
}

#[test]
fn a_failure_of_another_file_is_kept() {
    let place = Place::new("replay-two");
    for dir in ["a", "b"] {
        std::fs::create_dir(place.dir.join(dir)).unwrap();
    }
    place.write("a/x.toml", &failing());
    place.write("b/x.toml", &failing().replace("120 ml", "110 ml"));
    let saved = |file: &str, seed: &str| {
        let said = place.call(&["run", file, "--seed", seed]);
        let line = said.err.lines().find(|line| line.starts_with("replay: ")).unwrap();
        line.split_whitespace().nth(3).unwrap().to_owned()
    };
    assert_eq!(saved("a/x.toml", "1"), "out/x-1.failure.toml");
    assert_eq!(saved("b/x.toml", "1"), "out/x-1-2.failure.toml");
    assert!(place.read("out/x-1.failure.toml").contains("120 ml"));
    assert!(place.read("out/x-1-2.failure.toml").contains("110 ml"));
    // the same again takes its own place
    assert_eq!(saved("a/x.toml", "1"), "out/x-1.failure.toml");
    assert_eq!(saved("b/x.toml", "1"), "out/x-1-2.failure.toml");
    // and what is no failure is not written over
    place.write("out/x-7.failure.toml", "# mine\n");
    assert_eq!(saved("a/x.toml", "7"), "out/x-7-2.failure.toml");
    assert_eq!(place.read("out/x-7.failure.toml"), "# mine\n");
}

#[test]
fn a_failure_of_explore_cuts_is_told_as_what_it_is() {
    let place = Place::new("replay-cuts");
    let file = "explore = \"cuts\"\nscript = \"evening 3\"\nword = 4\n";
    place.write("cut.toml", file);
    let told = place.call(&["replay", "cut.toml"]);
    assert!(told.code == 0 && told.out.lines().count() > 5, "{told:?}");
    // quiet leaves the verdict
    let quiet = place.call(&["replay", "cut.toml", "-q"]);
    assert_eq!((quiet.code, quiet.out.as_str()), (0, "held: no promise is broken\n"));
    for more in [&["--json"][..], &["--csv", "x.csv"], &["--vcd", "x.vcd"], &["--image", "x.bin"]] {
        let said = place.call(&[&["replay", "cut.toml"], more].concat());
        assert!(said.code == 2 && said.out.is_empty(), "{more:?}: {said:?}");
        assert!(said.err.contains("told step by step: there is no"), "{said:?}");
    }
    for command in [&["run"][..], &["shrink", "-o", "s.toml"], &["report", "-o", "r.html"]] {
        let said = place.call(&[command, &["cut.toml"]].concat());
        let why = "cut.toml is a failure of explore cuts, and no scenario; dosewright replay \
                   cut.toml tells it step by step";
        assert!(said.code == 2 && said.err.contains(why), "{command:?}: {said:?}");
        assert!(!said.err.contains("unknown key"), "{said:?}");
    }
}
