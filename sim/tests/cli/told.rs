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

/// A pack of which nothing says what it is kept at: a run and a forecast of one file take two
/// temperatures, and the run says so.
#[test]
fn a_run_says_at_what_the_pack_was_kept_where_nothing_else_does() {
    let place = Place::new("told-pack");
    let told = |supply: &str| {
        place.write("site.toml", &crate::support::nights(supply));
        let text = flat(&place.call(&["run", "site.toml"]).out);
        place.call(&["report", "site.toml", "-o", "page.html"]);
        let saved = place.call(&["run", "site.toml", "--json"]).out;
        let page = place.read("page.html");
        place.write("saved.jsonl", &saved);
        place.call(&["report", "saved.jsonl", "-o", "again.html"]);
        assert_eq!(page, place.read("again.html"));
        let of_page = "In the run the pack was kept at 20 C, for want of its temperature";
        let of_text = "the pack is kept at 20 C, for want of its temperature";
        (text.contains(of_text), page.contains(of_page), page.contains("in a cool cellar"))
    };
    let pack = |more: &str| format!("[supply]\nbattery = {{ type = \"LR20\"{more} }}\n");
    assert_eq!(told(&pack("")), (true, true, true));
    assert_eq!(told(&pack(", usable = \"60 %\"")), (true, true, false));
    assert_eq!(told(&pack(", temperature = \"20 C\"")), (false, false, false));
    assert_eq!(told(""), (false, false, false));
}

/// The clock is lost in the middle of a dose of an interval, in which some time counts for
/// nothing: the dose was due when the clock, that was set then, showed its time.
#[test]
fn a_due_from_before_the_clock_was_lost_has_its_time() {
    let place = Place::new("told-lost");
    let site = format!(
        "{START}[head]\nflow = \"26.5 ml/min\"\n[[entry]]\nname = \"trickle\"\n\
         every = {{ interval = \"4 h\", from = \"2026-10-23 00:00\" }}\nvolume = \"30 ml\"\n\
         window = \"20 min\"\n[[fault]]\nat = \"2026-10-24 12:03\"\n\
         clock_lost = {{ lasts = \"20 min\" }}\n"
    )
    .replace("30 d", "3 d");
    place.write("site.toml", &site);
    let all = crate::support::lines(&place, &["run", "site.toml", "--json"]);
    let outcomes = crate::support::of(&all, "outcome");
    let cut = outcomes.iter().position(|line| line["cause"] == "clock lost").unwrap();
    let (cut, later) = (outcomes[cut], outcomes[cut + 1]);
    assert_eq!(cut["due"], "2026-10-24T12:00:00+02:00");
    assert_eq!(cut["due_ms"], 36 * 3_600_000);
    // what comes by elapsed time after that has none
    assert_eq!((&later["due"], &later["outcome"]), (&serde_json::Value::Null, &"dosed".into()));
    let text = place.call(&["run", "site.toml", "-v"]).out;
    assert!(text.contains("12:00  trickle  part"), "{text}");
    place.call(&["report", "site.toml", "-o", "page.html"]);
    let page = flat(&place.read("page.html"));
    assert!(page.contains("2026-10-24 12:00<") && !page.contains("2026-10-24 12:2"), "{page}");
}
