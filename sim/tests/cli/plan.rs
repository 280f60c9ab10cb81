//! `plan`.

use std::fmt::Write as _;

use crate::support::{Place, wide};

#[test]
fn the_example_is_planned_and_passes_check() {
    let place = Place::new("plan");
    let example = place.call(&["plan", "--example"]);
    assert_eq!(example.code, 0, "{example:?}");
    place.write("brief.toml", &example.out);
    let said = place.call(&["plan", "brief.toml"]);
    assert!(
        said.code == 0 && said.out.starts_with("# Plan for Harbour kitchen: 450 ml 6 nights"),
        "{said:?}"
    );
    wide(&said.out);
    let said = place.call(&["plan", "brief.toml", "-o", "plan.toml"]);
    assert!(said.code == 0 && said.out.is_empty() && said.err == "wrote plan.toml\n", "{said:?}");
    assert!(place.call(&["check", "plan.toml"]).out.starts_with("0 errors, 0 warnings"));
    let run = place.call(&["run", "plan.toml", "--quiet"]);
    assert!(run.code == 0 && run.out.contains("every promise was kept"), "{run:?}");
}

#[test]
fn a_flow_log_finds_the_quiet_hours() {
    let place = Place::new("plan-log");
    let example = place.call(&["plan", "--example"]).out;
    let from = example.find("[[trading]]").unwrap();
    let to = example.find("[[cleaning]]").unwrap();
    place.write("brief.toml", &format!("{}{}", &example[..from], &example[to..]));
    let mut log = String::from("time,flow l/min\n");
    for day in 5..19 {
        for hour in 0..24 {
            let flow = if (1..8).contains(&hour) { 0.0 } else { 4.0 };
            _ = writeln!(log, "2026-10-{day:02} {hour:02}:15,{flow}");
        }
    }
    place.write("log.csv", &log);
    let said = place.call(&["plan", "brief.toml", "--flow-log", "log.csv"]);
    assert_eq!(said.code, 0, "{said:?}");
    // quiet from 01:00 to 08:00: half an hour on, 5 h of contact
    assert!(
        said.out.contains("at = \"01:30\"") && said.out.contains("the flow log"),
        "{}",
        said.out
    );
    place.write("log.csv", &log.replace("2026-10-07 03:15,0", "2026-10-07 03:15,zero"));
    let said = place.call(&["plan", "brief.toml", "--flow-log", "log.csv"]);
    assert!(said.code == 2 && said.err.contains("log.csv: line 53: \"zero\""), "{said:?}");
}

#[test]
fn what_does_not_fit_is_said_and_changes_the_exit_code() {
    let place = Place::new("plan-misfit");
    let example = place.call(&["plan", "--example"]).out;
    place.write("brief.toml", &example.replace("\"26.5 ml/min\"", "\"8 ml/min\""));
    let said = place.call(&["plan", "brief.toml"]);
    assert!(said.code == 1 && said.err.starts_with("does not fit: start-up"), "{said:?}");
    assert!(
        said.out.contains("do NOT fit") && !said.out.contains("name = \"start-up\""),
        "{}",
        said.out
    );
    place.write("brief.toml", &example.replace("\"5 h\"", "\"9 h\""));
    let said = place.call(&["plan", "brief.toml"]);
    assert!(said.code == 1 && said.out.is_empty() && said.err.contains("no dose fits"), "{said:?}");
    place.write("brief.toml", &example.replace("\"1800 l\"", "\"1.8 m3\"").replace("\"5 h\"", "5"));
    let said = place.call(&["plan", "brief.toml"]);
    assert!(
        said.code == 2 && said.err.contains("1000 l") && said.err.contains("bare number"),
        "{said:?}"
    );
    assert_eq!(place.call(&["plan"]).code, 2);
}
