//! Shrinking: from a failure file to a small scenario that fails in the same way.

use crate::support::{Place, failing, good, nights};

#[test]
fn a_failure_shrinks_to_a_small_scenario_that_replays() {
    let place = Place::new("shrink");
    let more = "[[fault]]\nat = \"+1 d 0 h 50 min 20 s\"\nsupply_loss = { lasts = \"1 h 7 min\" }\n\n\
                [[fault]]\nat = \"+2 d 3 h\"\nleak = { lasts = \"1 h\" }\n\n\
                [[operator]]\nat = \"+2 d 9 h\"\nprime = { volume = \"20 ml\" }\n\n\
                [[expect]]\noutcomes = { entry = \"night\", dosed = 3, part = 0 }\n\n\
                [[expect]]\noutcomes = { cause = \"leak\" }\n";
    place.write("week.toml", &nights(more));
    assert_eq!(place.call(&["run", "week.toml"]).code, 1);
    let said = place.call(&["shrink", "out/week-1.failure.toml", "-o", "small.toml"]);
    assert_eq!(said.code, 0, "{said:?}");
    assert!(said.out.is_empty() && said.err.contains(" lines to "), "{said:?}");
    let small = place.read("small.toml");
    assert!(small.lines().filter(|line| !line.starts_with("#!")).count() < 30, "{small}");
    assert!(!small.contains("leak =") && !small.contains("prime"), "{small}");
    let again = place.call(&["replay", "small.toml"]);
    assert_eq!(again.code, 1, "{again:?}");
    assert!(again.err.contains("it fails again"), "{}", again.err);
    // a scenario that fails will do as well, and gives the same
    let said = place.call(&["shrink", "week.toml", "-o", "-"]);
    assert_eq!(
        (said.code, said.out.replace("week.toml", "F")),
        (0, small.replace("week.toml", "F"))
    );
    // a limit stops it
    let said = place.call(&["shrink", "week.toml", "-o", "less.toml", "--limit", "5"]);
    assert!(said.code == 3 && said.err.contains("--limit"), "{said:?}");
    assert_eq!(place.call(&["replay", "less.toml"]).code, 1);
}

#[test]
fn a_file_that_is_there_is_not_written_over() {
    let place = Place::new("shrink-over");
    place.write("week.toml", &failing());
    place.write("mine.toml", "# written by hand\n");
    let said = place.call(&["shrink", "week.toml", "-o", "mine.toml"]);
    assert!(said.code == 2 && said.err.contains("mine.toml exists already"), "{said:?}");
    assert_eq!(place.read("mine.toml"), "# written by hand\n");
    let said = place.call(&["shrink", "week.toml", "-o", "mine.toml", "--force"]);
    assert!(said.code == 0 && place.read("mine.toml").contains("schema = 1"), "{said:?}");
    // what was read is spared whatever is said
    let said = place.call(&["shrink", "week.toml", "-o", "week.toml", "--force"]);
    assert!(said.code == 2 && said.err.contains("is what was read"), "{said:?}");
    assert_eq!(place.read("week.toml"), failing());
}

#[test]
fn what_does_not_fail_is_not_shrunk() {
    let place = Place::new("shrink-good");
    place.write("week.toml", &good());
    let said = place.call(&["shrink", "week.toml", "-o", "small.toml"]);
    assert!(said.code == 2 && said.err.contains("there is nothing to shrink"), "{said:?}");
    assert!(!place.dir.join("small.toml").exists());
    place.write("bad.toml", "schema = 1\n");
    assert_eq!(place.call(&["shrink", "bad.toml", "-o", "small.toml"]).code, 2);
}
