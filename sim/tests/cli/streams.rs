//! Standard output is data, standard error is messages; colour and readers that
//! go away.

use std::io::{BufRead as _, BufReader, Read as _};
use std::process::Stdio;

use crate::support::{Place, Said, failing, good, nights};

const ESCAPE: char = '\u{1b}';

#[test]
fn no_colour_off_a_terminal_unless_asked_for() {
    let place = Place::new("colour");
    place.write("week.toml", &failing());
    let plain = place.call(&["run", "week.toml"]);
    assert!(!plain.out.contains(ESCAPE) && !plain.err.contains(ESCAPE), "{plain:?}");
    let bad = place.call(&["check", "week.toml", "--color", "auto"]);
    assert!(!bad.out.contains(ESCAPE));
    let always = place.call(&["run", "week.toml", "--color", "always"]);
    assert!(always.out.contains(ESCAPE), "{always:?}");
    // state is in words as well: without the colour it is the same page
    let bare = |text: &str| {
        let mut out = String::new();
        let mut escaped = false;
        for c in text.chars() {
            escaped = escaped || c == ESCAPE;
            if !escaped {
                out.push(c);
            }
            escaped = escaped && c != 'm';
        }
        let lines = out.lines().filter(|line| !line.starts_with("simulated "));
        lines.map(str::to_owned).collect::<Vec<_>>()
    };
    assert_eq!(bare(&always.out), bare(&plain.out));
}

#[test]
fn colour_can_be_refused_by_the_environment() {
    let place = Place::new("no-color");
    place.write("week.toml", &failing());
    let forced = place.command(&["run", "week.toml"]).env("CLICOLOR_FORCE", "1").output().unwrap();
    assert!(Said::of(&forced).out.contains(ESCAPE));
    let refused = place.command(&["run", "week.toml"]).env("NO_COLOR", "1").output().unwrap();
    assert!(!Said::of(&refused).out.contains(ESCAPE));
    let never = place
        .command(&["run", "week.toml", "--color", "never"])
        .env("CLICOLOR_FORCE", "1")
        .output()
        .unwrap();
    assert!(!Said::of(&never).out.contains(ESCAPE));
}

#[test]
fn a_reader_that_goes_away_is_no_error() {
    let place = Place::new("pipe");
    place.write("long.toml", &nights("").replace("4 days", "3650 days"));
    let args = ["run", "long.toml", "--json", "--progress", "none"];
    let mut child =
        place.command(&args).stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap();
    let mut reader = BufReader::new(child.stdout.take().unwrap());
    let mut line = String::new();
    reader.read_line(&mut line).unwrap();
    assert!(line.starts_with("{\"event\":\"run\""), "{line}");
    drop(reader);
    let mut err = String::new();
    child.stderr.take().unwrap().read_to_string(&mut err).unwrap();
    assert_eq!((child.wait().unwrap().code(), err.as_str()), (Some(0), ""));
}

#[test]
fn standard_output_is_data_alone() {
    let place = Place::new("data");
    place.write("week.toml", &failing());
    for args in [
        &["run", "week.toml", "--json"][..],
        &["run", "week.toml", "--csv", "-"],
        &["run", "week.toml", "--vcd", "-"],
    ] {
        let said = place.call(args);
        assert_eq!(said.code, 1);
        assert!(said.err.contains("replay: "), "{args:?} {}", said.err);
        match args[2] {
            "--json" => assert!(
                said.out
                    .lines()
                    .all(|line| serde_json::from_str::<serde_json::Value>(line).is_ok())
            ),
            "--csv" => {
                assert!(said.out.starts_with("entry,due,outcome,") && !said.out.contains("FAILED"));
            }
            _ => assert!(
                said.out.starts_with("$version") && !said.out.contains("FAILED"),
                "{}",
                said.out
            ),
        }
    }
}

#[test]
fn progress_is_lines_off_a_terminal_and_nothing_when_quiet() {
    let place = Place::new("progress");
    place.write("long.toml", &nights("").replace("4 days", "7300 days"));
    let said = place.call(&["run", "-q", "long.toml"]);
    assert_eq!((said.code, said.err.as_str()), (0, ""));
    let bar = place.call(&["run", "long.toml", "--progress", "bar"]);
    assert!(bar.err.is_empty() || bar.err.starts_with("\r["), "{}", bar.err);
    assert!(!place.call(&["run", "long.toml"]).err.contains('\r'));
}

#[test]
fn a_report_on_standard_output_is_alone_there() {
    let place = Place::new("report-out");
    place.write("week.toml", &good());
    place.write("other.toml", &good());
    for args in [
        &["run", "week.toml", "other.toml"][..],
        &["run", "week.toml", "-q"],
        &["sweep", "week.toml", "--faults", "supply_loss"],
        &["soak", "week.toml", "--seeds", "1..=1", "--days", "3"],
    ] {
        let said = place.call(&[args, &["--junit", "-"]].concat());
        assert_eq!(said.code, 0, "{said:?}");
        assert!(said.out.starts_with("<?xml"), "{args:?}: {}", said.out);
        assert!(said.out.trim_end().ends_with("</testsuites>"), "{args:?}: {}", said.out);
        // what is said of it is still said
        assert!(said.err.contains(" held"), "{args:?}: {}", said.err);
    }
    // the same beside a trace, when quiet too
    let said = place.call(&["run", "week.toml", "--csv", "-", "-q"]);
    assert!(!said.out.contains("held") && said.err.contains("held"), "{said:?}");
}

#[test]
fn standard_output_takes_one_thing() {
    let place = Place::new("one-stream");
    place.write("week.toml", &good());
    for args in [
        &["run", "week.toml", "--csv", "-", "--vcd", "-"][..],
        &["run", "week.toml", "--json", "--csv", "-"],
        &["run", "week.toml", "--json", "--junit", "-"],
        &["pulses", "week.toml", "--json", "--csv", "-"],
        &["sweep", "week.toml", "--faults", "supply_loss", "--json", "--junit", "-"],
        &["soak", "week.toml", "--seeds", "1..=1", "--days", "3", "--json", "--junit", "-"],
    ] {
        let said = place.call(args);
        assert!(said.code == 2 && said.out.is_empty(), "{args:?}: {said:?}");
        assert!(said.err.contains("give one of them a file"), "{args:?}: {said:?}");
    }
    let said = place.call(&["run", "week.toml", "--json", "--csv", "rows.csv"]);
    assert!(said.code == 0 && said.out.starts_with('{'), "{said:?}");
}

/// What nobody can read is no result.
#[cfg(target_os = "linux")]
#[test]
fn an_exploration_whose_result_cannot_be_written_is_no_pass() {
    let place = Place::new("full");
    for args in [&["--json"][..], &[], &["-q"]] {
        let full = std::fs::OpenOptions::new().write(true).open("/dev/full").unwrap();
        let args = [&["explore", "cuts", "--depth", "1", "--word", "8"], args].concat();
        let said = Said::of(&place.command(&args).stdout(full).output().unwrap());
        assert!(said.code == 2 && said.err.contains("cannot write to standard output"), "{said:?}");
    }
}

#[test]
fn a_path_of_no_steps_is_none() {
    let place = Place::new("no-steps");
    let said = place.call(&["explore", "states", "--depth", "0"]);
    assert!(said.code == 2 && said.out.is_empty() && said.err.contains("--depth"), "{said:?}");
}
