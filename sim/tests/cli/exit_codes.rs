//! Each exit code that `--help` lists, but 70, which only a fault of the program
//! itself has: it is tested where it is made.

use crate::support::{Place, failing, good, nights};

#[test]
fn zero_when_all_held() {
    let place = Place::new("zero");
    place.write("week.toml", &good());
    let said = place.call(&["run", "week.toml"]);
    assert_eq!(said.code, 0, "{said:?}");
    assert!(
        said.out.starts_with("week.toml held. 3 scheduled doses: 3 dosed; 1 expectation held"),
        "{}",
        said.out
    );
    assert!(!place.dir.join("out").exists(), "nothing failed, so nothing is saved");
}

#[test]
fn one_when_an_expectation_failed() {
    let place = Place::new("one");
    place.write("week.toml", &failing());
    let said = place.call(&["run", "week.toml"]);
    assert_eq!(said.code, 1, "{said:?}");
    assert!(said.out.starts_with("week.toml FAILED."), "{}", said.out);
    assert!(said.out.contains("error[R001]: an expectation did not hold"), "{}", said.out);
    assert!(said.out.contains("--> week.toml:19:39"), "{}", said.out);
    assert!(
        said.out.replace(char::is_whitespace, "").contains("expected4dosed;found3of3"),
        "{}",
        said.out
    );
}

#[test]
fn no_output_goes_over_what_was_read() {
    let place = Place::new("over");
    place.write("week.toml", &good());
    for args in [
        &["report", "week.toml", "-o", "week.toml"][..],
        &["run", "week.toml", "--csv", "./week.toml"],
        &["run", "week.toml", "--vcd", "week.toml"],
        &["calendar", "week.toml", "-o", "week.toml"],
        &["pulses", "week.toml", "--csv", "week.toml"],
    ] {
        let said = place.call(args);
        assert!(said.code == 2 && said.err.contains("week.toml is what was read"), "{said:?}");
        assert_eq!(std::fs::read_to_string(place.dir.join("week.toml")).unwrap(), good());
    }
}

#[test]
fn two_on_bad_usage_and_bad_files() {
    let place = Place::new("two");
    place.write("bad.toml", &good().replace("120 ml", "120"));
    place.write("good.toml", &good());
    place.write("latin.toml", "");
    std::fs::write(place.dir.join("latin.toml"), b"title = \"Caf\xe9\"\n").unwrap();
    for args in [
        &["run", "bad.toml"][..],
        &["run", "good.toml", "bad.toml"],
        &["run", "missing.toml"],
        &["run", "latin.toml"],
        &["run", "."],
        &["run", "good.toml", "--shard", "0/4"],
        &["run", "good.toml", "--pace", "fast"],
        &["run", "good.toml", "--until", "3"],
        &["run", "good.toml", "good.toml", "--csv", "a.csv"],
        &["run", "good.toml", "--csv", "good.toml/a.csv"],
        &["check", "bad.toml"],
        &["check"],
        &["replay", "good.toml"],
        &["explain", "S999"],
        &["nonsense"],
        &[],
    ] {
        let said = place.call(args);
        assert_eq!(said.code, 2, "{args:?} {said:?}");
        assert!(!said.err.is_empty() || args[0] == "check", "{args:?}");
    }
    let said = place.call(&["run", "good.toml", "bad.toml"]);
    assert!(
        said.err.ends_with("1 error, 0 warnings; nothing was run\n") && said.out.is_empty(),
        "{said:?}"
    );
}

#[test]
fn three_when_stopped_at_a_limit() {
    let place = Place::new("three");
    // by then 2 of 3 doses are over; what is expected of the whole is not judged
    place.write("week.toml", &good());
    let said = place.call(&["run", "week.toml", "--until", "2 d 12 h"]);
    assert_eq!(said.code, 3, "{said:?}");
    assert!(
        said.out.starts_with(
            "week.toml stopped after 2 d 12 h, before its end; expectations were not judged.\n"
        ),
        "{}",
        said.out
    );
    assert!(said.out.contains("2 scheduled doses: 2 dosed"), "{}", said.out);
    // a limit past the end is none
    assert_eq!(place.call(&["run", "week.toml", "--until", "9 d"]).code, 0);
}

#[test]
fn four_when_nothing_is_selected() {
    let place = Place::new("four");
    place.write("week.toml", &good());
    let said = place.call(&["run", "week.toml", "--shard", "2/2"]);
    assert_eq!((said.code, said.out.as_str()), (4, ""), "{said:?}");
}

#[test]
fn five_when_a_fault_never_took_effect() {
    let place = Place::new("five");
    let never = "[[fault]]\nat = \"dose 9 pulse 1\"\nsupply_loss = { lasts = \"1 h\" }\n";
    place.write("week.toml", &nights(never));
    let said = place.call(&["run", "week.toml"]);
    assert_eq!(said.code, 5, "{said:?}");
    assert!(
        said.out.starts_with("week.toml is INVALID: 1 fault or act never took effect."),
        "{}",
        said.out
    );
    assert!(
        said.out.contains("error[R003]") && said.out.contains("week.toml:19:6"),
        "{}",
        said.out
    );
    // a failure outweighs it
    place
        .write("both.toml", &nights(&format!("{never}\n[[expect]]\noutcomes = {{ dosed = 4 }}\n")));
    assert_eq!(place.call(&["run", "both.toml"]).code, 1);
    // but not where a failure is what is expected: it may have come of something else
    let meant = "[[expect]]\nheld = false\n\n[[expect]]\noutcomes = { dosed = 4 }\n";
    place.write("meant.toml", &nights(&format!("{never}\n{meant}")));
    let said = place.call(&["run", "meant.toml"]);
    assert_eq!(said.code, 5, "{said:?}");
    assert!(said.out.starts_with("meant.toml is INVALID: 1 fault or act"), "{}", said.out);
    assert!(said.out.contains("failed as meant: "), "{}", said.out);
    // and where the run was stopped before, nobody can say
    assert_eq!(place.call(&["run", "week.toml", "--until", "1 d"]).code, 3);
}

#[cfg(unix)]
#[test]
fn a_hundred_and_thirty_when_interrupted_with_finished_results_kept() {
    use std::io::{BufRead as _, BufReader};
    use std::process::{Command, Stdio};
    let place = Place::new("interrupted");
    place.write("first.toml", &good());
    // two hours to the first dose, at a minute a second
    place.write("second.toml", &good());
    let args = ["run", "first.toml", "second.toml", "--pace", "200000x", "--junit", "report.xml"];
    let mut child =
        place.command(&args).stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap();
    // the first run is over when its speed line is told
    let mut lines = BufReader::new(child.stdout.take().unwrap()).lines();
    while !lines.next().unwrap().unwrap().starts_with("seed 1, ") {}
    let sent = Command::new("kill").args(["-INT", &child.id().to_string()]).status().unwrap();
    assert!(sent.success());
    let rest: Vec<String> = lines.map(Result::unwrap).collect();
    let status = child.wait().unwrap();
    assert_eq!(status.code(), Some(130), "{rest:?}");
    let report = place.read("report.xml");
    assert!(report.contains("<testcase name=\"first.toml\" classname=\"scenario\"/>"), "{report}");
    assert!(
        !report.contains("<testcase name=\"second.toml\" classname=\"scenario\"/>"),
        "{report}"
    );
}

#[test]
fn help_lists_the_codes() {
    let place = Place::new("help");
    let said = place.call(&["--help"]);
    assert_eq!(said.code, 0);
    for line in [
        "0    all held",
        "1    an expectation or a promise failed",
        "2    bad usage or bad file",
        "3    stopped at a limit",
        "4    nothing selected",
        "5    run invalid: a fault asked for never took effect",
        "70   internal fault",
        "130  interrupted, finished results kept",
    ] {
        assert!(said.out.contains(line), "{line}");
    }
}
