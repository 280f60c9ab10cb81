//! Ctrl-C: what is finished is kept, and the exit code says so.
#![cfg(unix)]

use std::io::{BufRead as _, BufReader, Read as _};
use std::process::{Command, Stdio};
use std::thread::sleep;
use std::time::Duration;

use crate::support::{Place, good};

fn interrupt(id: u32) {
    let signal = Command::new("kill").args(["-INT", &id.to_string()]).status().unwrap();
    assert!(signal.success());
}

/// One wish to end may come as several signals close together: a wrapper that passes on
/// what it gets has its whole group signalled, too.
const SIGNALS: usize = 3;

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
    for _ in 0..SIGNALS {
        interrupt(child.id());
    }
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

/// A second wish ends a program that does not come to its end. Nobody reads its lines
/// here, so that it waits for room in the pipe.
#[test]
fn a_second_interrupt_ends_the_program() {
    let place = Place::new("int-twice");
    place.write("years.toml", &good().replace("4 days", "3000 days"));
    let args = ["run", "years.toml", "--json", "--junit", "s.xml"];
    let mut child =
        place.command(&args).stdout(Stdio::piped()).stderr(Stdio::null()).spawn().unwrap();
    let mut out = BufReader::new(child.stdout.take().unwrap());
    out.read_line(&mut String::new()).unwrap();
    // the pipe fills up meanwhile
    sleep(Duration::from_secs(3));
    interrupt(child.id());
    sleep(Duration::from_millis(900));
    assert!(child.try_wait().unwrap().is_none(), "it found room for all its lines");
    interrupt(child.id());
    for _ in 0..100 {
        if child.try_wait().unwrap().is_some() {
            break;
        }
        sleep(Duration::from_millis(100));
    }
    let ended = child.try_wait().unwrap();
    _ = child.kill();
    assert_eq!(ended.and_then(|status| status.code()), Some(130));
    assert!(!place.dir.join("s.xml").exists());
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
    assert!(out.contains("\"runs\":4000,\"interrupted\":true,"), "{err}");
    // the page of these lines says so
    place.write("cut.jsonl", &out);
    let page = place.call(&["report", "cut.jsonl", "-o", "cut.html"]);
    assert!(page.code != 2, "{page:?}");
    let left = 4000 - cells;
    let told = format!("It was interrupted: {left} of its runs were not made.");
    assert!(place.read("cut.html").contains(&told), "{told}");
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

/// It says nothing on standard output before its end, so its bar is waited for.
#[test]
fn an_exploration_of_states_keeps_what_it_has_seen() {
    let place = Place::new("int-states");
    let args = ["--progress", "bar", "explore", "states", "--disturbances", "2", "--json"];
    let mut child =
        place.command(&args).stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap();
    let mut err = BufReader::new(child.stderr.take().unwrap());
    let mut bar = Vec::new();
    // a bar ends by clearing the rest of its line
    err.read_until(b'K', &mut bar).unwrap();
    assert!(bar.ends_with(b"\x1b[K"), "it ended by itself: {bar:?}");
    let bar = String::from_utf8(bar).unwrap();
    interrupt(child.id());
    let rest = std::thread::spawn(move || std::io::copy(&mut err, &mut std::io::sink()));
    let output = child.wait_with_output().unwrap();
    rest.join().unwrap().unwrap();
    assert_eq!(output.status.code(), Some(130), "{bar}");
    let out = String::from_utf8(output.stdout).unwrap();
    assert_eq!((out.lines().count(), events(&out, "summary")), (1, 1), "{out}");
    // of the rest nothing is known
    assert!(out.contains("\"ended\":\"interrupted\"") && out.contains("\"held\":false"), "{out}");
    assert!(out.contains("\"fixed_point\":false"), "{out}");
    // all that the bar had counted is still in the summary
    let number = |text: &str| -> u64 {
        let digits: String = text.chars().take_while(char::is_ascii_digit).collect();
        digits.parse().unwrap_or_else(|_| panic!("no number in {text}"))
    };
    let shown = number(bar.split_once(", ").unwrap().1);
    let kept = number(out.split_once("\"states\":").unwrap().1);
    assert!(0 < shown && shown <= kept, "{shown} of {kept}: {bar}");
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
