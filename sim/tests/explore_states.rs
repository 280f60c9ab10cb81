//! `explore states`: that it finds nothing, and how far it looks.

use dosewright_sim::explore::states::{BUILT_IN, Ended, Options, Report, Setup, explore};

fn run(options: &Options) -> Report {
    let setup = Setup::read("built-in", BUILT_IN).unwrap();
    let report = explore(&setup, options, &mut |_| true);
    for found in &report.found {
        println!("{} {}\n  {:#?}", found.finding.promise, found.finding.what, found.path);
        if let Ok(text) = &found.scenario {
            println!("{}", text.split_once("found by").unwrap().1);
        }
    }
    println!(
        "{} states, {} transitions, depth {}, {:?}",
        report.states, report.transitions, report.depth, report.ended
    );
    report
}

#[test]
fn every_state_with_one_disturbance_keeps_the_promises() {
    let report = run(&Options { disturbances: 1, findings: 20, ..Options::default() });
    assert_eq!((report.ended, &report.found), (Ended::FixedPoint, &Vec::new()));
}

/// Without a ceiling of its own a timetable has one that hangs on the entries in force: of a
/// dose of 20 ml that is disabled, and run again, 6.25 ml are let go.
#[test]
fn d7_the_ceiling_of_entries_that_are_disabled_and_run_again_is_that_in_force() {
    let text = "schema = 1\n[clock]\nstart = 2026-10-19T00:00:00\nzone = \"UTC0\"\nrun_for = \"2 d\"\n[head]\nflow = \"26.5 ml/min\"\n[[entry]]\nname = \"a\"\nweekly = { days = [\"mon\"], at = \"08:00\" }\nvolume = \"20 ml\"\nwindow = \"20 min\"\n[[entry]]\nname = \"b\"\nevery = { interval = \"31 h\", from = \"2026-10-19 01:00\" }\nvolume = \"5 ml\"\nwindow = \"5 min\"\n";
    let setup = Setup::read("site", text).unwrap();
    let options = Options { disturbances: 2, states: 60_000, findings: 20, ..Options::default() };
    let report = explore(&setup, &options, &mut |_| true);
    assert!(report.states > 50_000, "{}", report.states);
    assert_eq!(report.found, Vec::new());
}

/// A prime does not wait for the rest of the pulse before it, and a dose after it does.
#[test]
fn d7_a_prime_takes_nothing_of_the_rest_before_it() {
    let options = Options { disturbances: 2, states: 200_000, findings: 20, ..Options::default() };
    let report = run(&options);
    assert_eq!(report.found, Vec::new());
    assert_eq!(report.ended, Ended::States);
}

/// The supply goes with the first record of all that a pump is to run by: the start counts
/// that pulse, which the pump never ran, and the other entry waits for its rest of nine seconds.
#[test]
fn d7_the_rest_of_a_first_pulse_that_a_cut_kept_from_running_is_waited_for() {
    let text = "schema = 1\n[clock]\nstart = 2026-10-19T15:00:00\nzone = \"UTC0\"\nrun_for = \"2 h\"\n[head]\nflow = \"10 ml/min\"\nshortest_off = \"9000 ms\"\n[[entry]]\nname = \"a\"\nweekly = { days = [\"mon\"], at = \"16:00\" }\nvolume = \"40 ml\"\nwindow = \"30 min\"\npulses = 1\n[[entry]]\nname = \"b\"\nevery = { interval = \"7 h\", from = \"2026-10-19 16:00\" }\nvolume = \"1 ml\"\nwindow = \"10 min\"\n";
    let setup = Setup::read("site", text).unwrap();
    let options = Options { disturbances: 1, findings: 20, ..Options::default() };
    let report = explore(&setup, &options, &mut |_| true);
    assert_eq!((report.ended, &report.found), (Ended::FixedPoint, &Vec::new()));
}
