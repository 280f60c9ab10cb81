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
