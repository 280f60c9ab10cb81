//! What a run tells beside the outcomes: waits, and why an act was refused.

use crate::support::{Place, flat};

const START: &str = "schema = 1\n[clock]\nstart = 2026-10-23T00:00:00\nzone = \"Europe/Berlin\"\n\
    run_for = \"30 d\"\n";

/// From 25 October on the second meets the first, which makes haste.
fn meeting() -> String {
    let entry = |name: &str, when: &str| {
        format!("[[entry]]\nname = \"{name}\"\n{when}\nvolume = \"30 ml\"\nwindow = \"20 min\"\n")
    };
    let days = "[\"mon\", \"tue\", \"wed\", \"thu\", \"fri\", \"sat\", \"sun\"]";
    format!(
        "{START}[head]\nflow = \"26.5 ml/min\"\n{}{}",
        entry("first", &format!("weekly = {{ days = {days}, at = \"12:00\" }}")),
        entry("second", "every = { interval = \"24 h\", from = \"2026-10-23 13:10\" }"),
    )
}

#[test]
fn a_dose_that_waited_is_told_with_how_long_and_for_what() {
    let place = Place::new("told-wait");
    place.write("site.toml", &meeting());
    let run = |more: &[&str]| {
        let said = place.call(&[&["run", "site.toml"], more].concat());
        assert_eq!(said.code, 0, "{said:?}");
        said.out
    };
    let page = flat(&run(&[]));
    let counted = "30 doses, pump 68 s each, 28 waited, up to 30 s (pump in use)";
    assert!(page.contains(counted), "{page}");
    let told = run(&["-v"]);
    assert_eq!(told.matches("12:10 to 12:27, waited 30 s (pump in use)").count(), 28, "{told}");
    let lines = run(&["--json"]);
    let waits: Vec<serde_json::Value> = lines
        .lines()
        .map(|line| serde_json::from_str(line).unwrap())
        .filter(|line: &serde_json::Value| line.get("waited_ms").is_some())
        .collect();
    assert_eq!(waits.len(), 28);
    for line in &waits {
        assert_eq!(
            (&line["entry"], &line["waited_for"]),
            (&"second".into(), &"pump in use".into())
        );
        let ms = line["waited_ms"].as_u64().unwrap();
        assert!((29_000..31_000).contains(&ms), "{line}");
    }
    let table = run(&["-q", "--csv", "-"]);
    assert!(table.lines().next().unwrap().ends_with(",restarts,waited_ms,waited_for"), "{table}");
    assert_eq!(table.lines().filter(|row| row.ends_with(",pump in use")).count(), 28, "{table}");
    assert_eq!(place.call(&["report", "site.toml", "-o", "page.html"]).code, 0);
    let page = place.read("page.html");
    assert_eq!(page.matches("waited 30 s (pump in use)").count(), 28);
}

#[test]
fn a_calibration_that_does_not_go_is_told_why() {
    let place = Place::new("told-refused");
    let site = format!(
        "{START}[head]\nflow = \"6 ml/min\"\n[[operator]]\nat = \"2026-10-24 08:00\"\n\
         calibrate = {{ vessel = \"100 ml\", as_delivered = true }}\n"
    );
    place.write("site.toml", &site);
    let said = place.call(&["run", "site.toml"]);
    let why = "the run would be longer than the head's longest calibration run";
    assert!(
        flat(&said.out).contains(&format!("refused: `calibrate` (line 10): {why}")),
        "{said:?}"
    );
    assert_eq!(place.call(&["report", "site.toml", "-o", "page.html"]).code, 0);
    let page = place.read("page.html");
    assert!(
        page.contains("(line 10): refused: ") && page.contains("longest_calibration"),
        "{page}"
    );
}
