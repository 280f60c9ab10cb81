//! Ctrl-C: what is finished is kept, and the exit code says so.
#![cfg(unix)]

use std::io::{BufRead as _, BufReader, Read as _};
use std::process::{Command, Stdio};

use crate::support::{Place, good};

/// Interrupts the program once `ready` finds what it waits for in its output; gives
/// the code and all of standard output.
fn interrupted(
    place: &Place,
    args: &[&str],
    ready: impl Fn(&str) -> bool,
) -> (i32, String, String) {
    let mut child =
        place.command(args).stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap();
    let mut out = BufReader::new(child.stdout.take().unwrap());
    let mut text = String::new();
    loop {
        let mut line = String::new();
        assert!(out.read_line(&mut line).unwrap() > 0, "{args:?} ended by itself: {text}");
        text += &line;
        if ready(&text) {
            break;
        }
    }
    let signal = Command::new("kill").args(["-INT", &child.id().to_string()]).status().unwrap();
    assert!(signal.success());
    out.read_to_string(&mut text).unwrap();
    let mut err = String::new();
    child.stderr.take().unwrap().read_to_string(&mut err).unwrap();
    (child.wait().unwrap().code().unwrap_or(-1), text, err)
}

fn events(text: &str, event: &str) -> usize {
    text.lines().filter(|line| line.contains(&format!("\"event\":\"{event}\""))).count()
}

#[test]
fn a_soak_keeps_its_finished_runs() {
    let place = Place::new("int-soak");
    let args = ["soak", "--years", "100000", "--days", "20", "--json", "--junit", "s.xml"];
    let (code, out, err) = interrupted(&place, &args, |text| events(text, "run") >= 3);
    assert_eq!(code, 130, "{err}");
    assert!(err.contains("interrupted; what was finished is kept"), "{err}");
    let runs = events(&out, "run");
    assert!(runs >= 3 && events(&out, "summary") == 1, "{out}");
    let junit = place.read("s.xml");
    assert!(junit.contains(&format!("tests=\"{runs}\"")), "{junit}");
}

#[test]
fn a_sweep_keeps_its_finished_cells() {
    let place = Place::new("int-sweep");
    place.write("week.toml", &good());
    let args = [
        "sweep",
        "week.toml",
        "--faults",
        "supply_loss,late_wake,bit_flip,memory_tear",
        "--moments",
        "1000",
        "--json",
        "--junit",
        "s.xml",
    ];
    let (code, out, err) = interrupted(&place, &args, |text| events(text, "cell") >= 2);
    assert_eq!(code, 130, "{err}");
    let cells = events(&out, "cell");
    assert!((2..4000).contains(&cells) && out.contains(&format!("\"cells\":{cells},")), "{err}");
    assert!(place.read("s.xml").contains(&format!("tests=\"{cells}\"")));
}

#[test]
fn an_exploration_says_how_far_it_came() {
    let place = Place::new("int-cuts");
    let (code, out, err) =
        interrupted(&place, &["explore", "cuts", "--word", "1"], |text| text.contains("words of"));
    assert_eq!(code, 130, "{err}");
    assert!(out.contains("held as far as it was explored"), "{out}");
}

#[test]
fn a_run_keeps_its_lines() {
    let place = Place::new("int-run");
    place.write("week.toml", &good());
    let args = ["run", "week.toml", "--pace", "20000x", "--json"];
    let (code, out, err) = interrupted(&place, &args, |text| events(text, "run") == 1);
    assert_eq!(code, 130, "{err}");
    assert!(out.contains("\"verdict\":\"stopped\""), "{out}");
}
