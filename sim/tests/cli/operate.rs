//! `dosewright operate`: scripts as tests, what is typed, and the way of a first set-up.

use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::process::Stdio;

use crate::support::{Place, Said};

fn docs() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../docs")
}

fn script(place: &Place, site: &str, name: &str, more: &[&str]) -> Said {
    let file = |name: &str| docs().join("scripts").join(name).display().to_string();
    let (site, script) = (file(site), file(name));
    let mut args = vec!["operate", site.as_str(), "--script", script.as_str()];
    args.extend(more);
    place.call(&args)
}

#[test]
fn the_books_scripts_hold() {
    let place = Place::new("operate-scripts");
    let mut count = 0;
    for file in std::fs::read_dir(docs().join("scripts")).unwrap() {
        let name = file.unwrap().file_name().into_string().unwrap();
        if !name.ends_with(".script") {
            continue;
        }
        count += 1;
        let said = match name.as_str() {
            "first-set-up.script" => script(&place, "first-set-up.toml", &name, &["--factory"]),
            _ => script(&place, "canteen.toml", &name, &[]),
        };
        assert_eq!(said.code, 0, "{name}: {}", said.err);
        assert!(said.err.contains("screens as expected"), "{name}: {}", said.err);
    }
    assert!(count >= 3, "only {count} scripts");
}

#[test]
fn the_way_of_a_first_set_up_is_as_long_as_the_book_says() {
    let place = Place::new("operate-first");
    let path = docs().join("scripts/first-set-up.script");
    let text = std::fs::read_to_string(path).unwrap();
    // up to where the entry is in force; what comes after it is a look at the result
    let (way, _) = text.split_once("# it is set up").expect("the script says where the way ends");
    place.write("way.script", way);
    let site = docs().join("scripts/first-set-up.toml").display().to_string();
    let said = place.call(&["operate", "--factory", &site, "--script", "way.script"]);
    assert_eq!(said.code, 0, "{}", said.err);
    let figure = |word: &str| {
        let before = said.err.split(&format!(" {word}")).next().unwrap();
        before.rsplit(' ').next().unwrap().to_owned()
    };
    let (turns, presses, holds) = (figure("turns"), figure("presses"), figure("holds"));
    let book = std::fs::read_to_string(docs().join("src/panel.md")).unwrap();
    let sentence = format!("**{turns} notches, {presses} presses and {holds} holds**");
    assert!(book.contains(&sentence), "the book does not say {sentence}");
}

#[test]
fn a_screen_that_differs_is_told_beside_what_was_expected() {
    let place = Place::new("operate-differs");
    place.write("look.script", "press\nhold\n|Last dose\n|some\n|\n|\n");
    let said = place.call(&["operate", "--script", "look.script"]);
    assert_eq!(said.code, 1);
    assert_eq!(
        said.err,
        "error: look.script:3: the display shows something else\n  \
         expected               found\n  \
         |Last dose           | |Last dose\n\
         ! |some                | |none yet\n  \
         |                    | |\n  \
         |                    | |\n\n"
    );
    let said = place.call(&["operate", "--script", "look.script", "--record"]);
    assert_eq!(said.code, 0, "{}", said.err);
    assert!(said.out.contains("|none yet            |"), "{}", said.out);
    place.write("found.script", &said.out);
    assert_eq!(place.call(&["operate", "--script", "found.script"]).code, 0);
}

#[test]
fn a_bad_script_is_told_line_by_line_and_nothing_is_run() {
    let place = Place::new("operate-bad");
    place.write("bad.script", "push\npress\nright 0\n|only one line\n");
    let said = place.call(&["operate", "--script", "bad.script"]);
    assert_eq!(said.code, 2);
    for line in ["bad.script:1:", "bad.script:3:", "bad.script:4:"] {
        assert!(said.err.contains(line), "{}", said.err);
    }
    assert_eq!(said.out, "");
}

#[test]
fn a_script_longer_than_its_run_says_so() {
    let place = Place::new("operate-long");
    place.write("long.script", "press\nwait 4000 d\npress\n");
    let said = place.call(&["operate", "--script", "long.script"]);
    assert_eq!(said.code, 3);
    assert!(said.err.contains("run_for"), "{}", said.err);
}

#[test]
fn what_is_typed_off_a_terminal_shows_each_screen() {
    let place = Place::new("operate-typed");
    let mut child = place
        .command(&["operate"])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    child.stdin.take().unwrap().write_all(b"press\nhold\nright\n").unwrap();
    let said = Said::of(&child.wait_with_output().unwrap());
    assert_eq!(said.code, 0, "{}", said.err);
    assert_eq!(said.out.matches("+--------------------+").count(), 6, "{}", said.out);
    assert!(said.out.contains("|Next dose"), "{}", said.out);
    assert!(said.out.contains("supply on, pump off"), "{}", said.out);
    assert!(!said.out.contains('\x1b'), "plain text");
}
