//! Calls of the memory that fail, as faults of a file.

use crate::support::{Place, Said, nights};

/// The example of the page of faults.
fn example() -> String {
    let page = include_str!("../../../docs/src/faults.md");
    let (_, block) = page.split_once("```toml\n").expect("an example");
    block.split("```").next().unwrap().to_owned()
}

#[test]
fn the_example_of_the_page_holds_and_each_of_its_faults_takes_effect() {
    let place = Place::new("calls-example");
    place.write("calls.toml", &example());
    assert_eq!(place.call(&["check", "calls.toml"]).code, 0);
    let said = place.call(&["run", "calls.toml", "-v"]);
    assert_eq!(said.code, 0, "{said:?}");
    for part in ["36 dosed", "alarm: memory fault", "alarm over: memory fault"] {
        assert!(said.out.contains(part), "{part:?} is not in\n{}", said.out);
    }
    let run = place.call(&["run", "calls.toml", "--json"]);
    place.write("calls.jsonl", &run.out);
    place.call(&["report", "calls.jsonl", "-o", "calls.html"]);
    let page = place.read("calls.html");
    assert!(
        page.contains("misread (line 21), write_failure (line 30), write_failure (line 35)"),
        "{page}"
    );
}

/// A week's nights with a restart, in which these faults come first: what the run says, and
/// what its memory then holds.
fn restarted(place: &Place, faults: &str) -> (Said, Vec<u8>) {
    let restart = "[[fault]]\nat = \"dose 1 pulse 3\"\nwatchdog_reset = {}\n";
    place.write("week.toml", &nights(&format!("{faults}{restart}")));
    let said = place.call(&["run", "week.toml", "--image", "week.bin"]);
    (said, std::fs::read(place.dir.join("week.bin")).unwrap())
}

#[test]
fn m2_a_slot_misread_once_at_a_start_changes_nothing_at_all() {
    let place = Place::new("misread-once");
    let (said, image) = restarted(&place, "");
    assert_eq!(said.code, 0, "{said:?}");
    for how in ["bit", "error", "blank"] {
        for after in (0..40).map(|step| step * 31) {
            let misread = format!(
                "[[fault]]\nat = \"dose 1 pulse 3\"\nmisread = {{ how = \"{how}\", after = {after} }}\n"
            );
            let (now, image_now) = restarted(&place, &misread);
            assert_eq!(now.code, 0, "{how} {after} {now:?}");
            assert!(image_now == image, "{how}, after {after} readings");
        }
    }
}

#[test]
fn what_takes_no_effect_says_what_did_not_come() {
    let place = Place::new("calls-in-vain");
    for (fault, part) in [
        ("misread = { after = 1_000_000 }", "the memory was not read so often"),
        ("write_failure = { after = 1_000_000 }", "the memory was not written so often"),
        ("erase_failure = {}", "no sector was erased so often"),
        ("misread = { within = \"1 ms\" }", "or more `within`"),
    ] {
        place.write("week.toml", &nights(&format!("[[fault]]\nat = \"+2 h 1 s\"\n{fault}\n")));
        let said = place.call(&["run", "week.toml"]);
        assert!(said.code == 5 && said.out.contains("R003"), "{said:?}");
        let flat = said.out.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(flat.contains(part), "{part:?} is not in\n{}", said.out);
    }
}

#[test]
fn a_sweep_and_a_soak_know_them() {
    let place = Place::new("calls-sweep");
    place.write("week.toml", &nights(""));
    let kinds = "misread,write_failure";
    let said = place.call(&["sweep", "week.toml", "--faults", kinds]);
    assert_eq!(said.code, 0, "{said:?}");
    for kind in ["misread ", "write_failure "] {
        let row = said.out.lines().find(|line| line.starts_with(kind)).expect(kind);
        assert!(row.contains("held") && !row.contains("FAILED"), "{row}");
    }
    let soak = ["soak", "--seeds", "1..=6", "--days", "20", "--faults", kinds];
    let said = place.call(&soak);
    assert!(said.code == 0 && said.out.contains("write_failure"), "{said:?}");
}
