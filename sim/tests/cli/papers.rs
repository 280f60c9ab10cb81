//! `new`, `explain`, `schema`, `completions`, `man`.

use crate::support::Place;

#[test]
fn what_new_writes_is_good_and_runs() {
    let place = Place::new("new");
    let said = place.call(&["new", "site"]);
    assert_eq!(said.code, 0, "{said:?}");
    assert!(
        place
            .call(&["check", "site/scenario.toml"])
            .out
            .ends_with("0 errors, 0 warnings; 1 file checked\n")
    );
    let run = place.call(&["run", "site/scenario.toml"]);
    assert_eq!(run.code, 0, "{run:?}");
    assert_eq!(place.call(&["new", "other/week.toml"]).code, 0);
    assert_eq!(place.read("other/week.toml"), place.read("site/scenario.toml"));
}

#[test]
fn new_never_writes_over_a_file() {
    let place = Place::new("papers-over");
    place.write("week.toml", "mine");
    let said = place.call(&["new", "week.toml"]);
    assert!(said.code == 2 && said.err.contains("exists already"), "{said:?}");
    assert_eq!(place.read("week.toml"), "mine");
}

#[test]
fn every_code_is_listed_and_explained() {
    let place = Place::new("explain");
    let list = place.call(&["explain"]);
    let codes: Vec<&str> = list.out.lines().map(|line| &line[..4]).collect();
    assert!(
        list.code == 0 && codes.len() > 40 && codes.contains(&"S014") && codes.contains(&"R001")
    );
    for code in ["S014", "w001", "R003"] {
        let said = place.call(&["explain", code]);
        assert!(said.code == 0 && said.out.starts_with(&code.to_uppercase()), "{said:?}");
        assert!(said.out.contains("Right:"));
    }
}

#[test]
fn every_promise_is_explained() {
    let place = Place::new("explain-promise");
    for promise in ["D1", "d11", "O6", "P4", "M1"] {
        let said = place.call(&["explain", promise]);
        let first = format!("{}: a promise of the controller\n\n", promise.to_uppercase());
        assert!(said.code == 0 && said.out.starts_with(&first), "{said:?}");
        assert!(said.out.ends_with(".\n") && !said.out.contains('|'), "{said:?}");
        crate::support::wide(&said.out);
    }
    assert_eq!(place.call(&["explain", "D12"]).code, 2);
}

#[test]
fn the_schema_is_json() {
    let place = Place::new("schema");
    let said = place.call(&["schema"]);
    let schema: serde_json::Value = serde_json::from_str(&said.out).unwrap();
    assert_eq!(schema["type"], "object");
    assert!(schema["properties"]["entry"].is_object());
}

#[test]
fn completions_and_the_manual_know_the_commands() {
    let place = Place::new("papers");
    for shell in ["bash", "zsh", "fish", "elvish", "powershell"] {
        let said = place.call(&["completions", shell]);
        assert!(
            said.code == 0 && said.out.contains("replay") && said.out.contains("shard"),
            "{shell}"
        );
    }
    let man = place.call(&["man"]);
    assert!(
        man.code == 0 && man.out.contains(".TH") && man.out.contains("\\-\\-shard"),
        "{}",
        man.out
    );
    assert!(!man.out.contains("202"), "a manual page carries no date");
}
