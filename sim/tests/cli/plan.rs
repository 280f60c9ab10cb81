//! `plan`.

use std::fmt::Write as _;

use crate::support::{Place, flat, wide};

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
fn a_window_that_there_is_no_room_for_is_told_in_the_first_line() {
    let place = Place::new("plan-window");
    let example = place.call(&["plan", "--example"]).out;
    let plan = |window: &str| {
        let wanted = "window = \"45 min\"";
        assert!(example.contains(wanted), "{example}");
        let brief = example.replace(wanted, &format!("window = \"{window}\""));
        place.write("brief.toml", &brief);
        let said = place.call(&["plan", "brief.toml"]);
        assert_eq!(said.code, 0, "{said:?}");
        wide(&said.out);
        let first: String = said.out.lines().take_while(|line| line.starts_with('#')).collect();
        first.replace("# ", " ").replace("  ", " ")
    };
    let long = plan("12 h");
    assert!(long.contains("12 h were wanted") && !long.contains("everything"), "{long}");
    assert!(plan("30 min").contains("everything asked for fits"));
}

#[test]
fn contact_time_that_spring_takes_is_told() {
    let place = Place::new("plan-spring");
    let brief = |zone: &str, contact: &str| {
        let text = format!(
            "schema = 1\ntitle = \"spring\"\n[site]\nfirst = 2026-03-23\nzone = \"{zone}\"\nnights = [\"fri\", \"sat\"]\ncontact = \"{contact}\"\nsettle = \"30 min\"\nwindow = \"45 min\"\n[label]\ndose = \"120 ml\"\n[[trading]]\ndays = [\"mon\", \"tue\", \"wed\", \"thu\", \"fri\", \"sat\", \"sun\"]\nopens = \"06:30\"\ncloses = \"00:15\"\n[head]\nflow = \"26.5 ml/min\"\nrollers = 3\n"
        );
        place.write("brief.toml", &text);
        let said = place.call(&["plan", "brief.toml"]);
        assert_eq!(said.code, 0, "{said:?}");
        wide(&said.out);
        said.out.replace("\n# ", " ")
    };
    let zone = "CET-1CEST,M3.5.0,M10.5.0/3";
    // over by 01:30; from 02:00 on the 29th it is 03:00, and 06:30 comes after 4 h
    let short = brief(zone, "5 h");
    assert!(short.contains("fits, but for the contact time when the clocks go forward"), "{short}");
    let wanted =
        "In the night of 2026-03-28 the clocks go forward before the first water: 4 h 00 min";
    assert!(short.contains(wanted), "{short}");
    // where enough is left, or nothing changes, there is nothing to tell
    for plan in [brief(zone, "4 h"), brief("CET-1", "5 h")] {
        assert!(plan.contains("everything asked for fits.") && !plan.contains("forward"), "{plan}");
    }
}

#[test]
fn settling_and_clear_time_that_spring_takes_are_told() {
    let place = Place::new("plan-spring-settle");
    let plan = |zone: &str, times: &str, opens: &str, closes: &str, more: &str| {
        let text = format!(
            "schema = 1\n[site]\nfirst = 2027-03-01\nzone = \"{zone}\"\n{times}\n[label]\ndose = \"144 ml\"\n[[trading]]\ndays = [\"mon\", \"tue\", \"wed\", \"thu\", \"fri\", \"sat\", \"sun\"]\nopens = \"{opens}\"\ncloses = \"{closes}\"\n{more}[head]\nflow = \"26.5 ml/min\"\nrollers = 3\n"
        );
        place.write("brief.toml", &text);
        let said = place.call(&["plan", "brief.toml"]);
        assert_eq!(said.code, 0, "{said:?}");
        flat(&said.out.replace("\n# ", " "))
    };
    let berlin = "CET-1CEST,M3.5.0,M10.5.0/3";
    // water until 01:45, dose at 03:15: at 02:00 it is 03:00
    let late = |settle: &str, zone: &str| {
        plan(zone, &format!("contact = \"3 h\"\nsettle = \"{settle}\""), "11:00", "01:45", "")
    };
    let short = late("90 min", berlin);
    assert!(
        short.contains("fits, but for the settling time when the clocks go forward"),
        "{short}"
    );
    let wanted = "In the night of 2027-03-27 the clocks go forward after the last water: the dose begins 30 min after it.";
    assert!(short.contains(wanted), "{short}");
    // a dose in the hour that is skipped is moved, and has what it asks for
    for enough in [late("90 min", "CET-1"), late("30 min", berlin)] {
        assert!(enough.contains("everything asked for fits."), "{enough}");
    }
    // cleaning until 01:30 with an hour to keep clear
    let cleaning =
        "[[cleaning]]\ndays = [\"sun\"]\nat = \"01:00\"\nlasts = \"30 min\"\nclear = \"2 h\"\n";
    let times = "nights = [\"sat\"]\nsettle = \"2 h\"\ncontact = \"3 h\"";
    let clear = plan(berlin, times, "11:00", "00:15", cleaning);
    assert!(clear.contains("at = \"03:30\""), "{clear}");
    assert!(clear.contains("but for the time clear of cleaning when"), "{clear}");
    assert!(clear.contains("60 min are left between them."), "{clear}");
    // two hours at once, of which 65 min were left
    let troll = "<+00>0<+02>-2,M3.5.0/1,M10.5.0/3";
    let times = "contact = \"60 min\"\nsettle = \"0 min\"\nwindow = \"700 min\"";
    let into = plan(troll, times, "06:30", "17:45", "");
    assert!(into.contains("before the first water: the window runs 55 min into it."), "{into}");
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
fn a_site_whose_water_never_rests_is_told_so() {
    let place = Place::new("plan-no-rest");
    let example = place.call(&["plan", "--example"]).out;
    let from = example.find("[[trading]]").unwrap();
    let to = example.find("[[cleaning]]").unwrap();
    place.write("brief.toml", &format!("{}{}", &example[..from], &example[to..]));
    let mut log = String::from("time,flow l/min\n");
    for (day, hour) in (5..19).flat_map(|day| (0..24).map(move |hour| (day, hour))) {
        _ = writeln!(log, "2026-10-{day:02} {hour:02}:15,3");
    }
    place.write("log.csv", &log);
    let said = place.call(&["plan", "brief.toml", "--flow-log", "log.csv"]);
    assert!(said.code == 1 && said.err.contains("the flow log has no rest"), "{said:?}");
    assert!(!said.out.contains("last water"), "{said:?}");
}

#[test]
fn what_does_not_fit_is_said_and_changes_the_exit_code() {
    let place = Place::new("plan-misfit");
    let example = place.call(&["plan", "--example"]).out;
    place.write("brief.toml", &example.replace("\"26.5 ml/min\"", "\"8 ml/min\""));
    let said = place.call(&["plan", "brief.toml"]);
    assert!(said.code == 1 && said.err.starts_with("does not fit: start-up"), "{said:?}");
    assert!(
        said.out.contains("one thing does NOT fit") && !said.out.contains("name = \"start-up\""),
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

#[test]
fn nights_that_no_dose_was_asked_for_in_are_no_misfit() {
    let place = Place::new("plan-fewer");
    let brief = |doses: u32| {
        format!(
            "schema = 1\n[site]\nfirst = 2026-11-19\nzone = \"Europe/Berlin\"\n\
             nights = [\"mon\", \"tue\", \"wed\", \"thu\", \"fri\", \"sat\", \"sun\"]\n\
             contact = \"7 h\"\nwindow = \"45 min\"\ndoses_a_week = {doses}\n\
             [label]\ndose = \"60 ml\"\n\
             [[trading]]\ndays = [\"tue\", \"wed\", \"fri\", \"sun\"]\nopens = \"06:30\"\ncloses = \"21:00\"\n\
             [[trading]]\ndays = [\"mon\", \"thu\", \"sat\"]\nopens = \"06:30\"\ncloses = \"02:00\"\n\
             [head]\nflow = \"26.5 ml/min\"\n"
        )
    };
    let plan = |doses: u32, more: &[&str]| {
        place.write("brief.toml", &brief(doses));
        place.call(&[&["plan", "brief.toml"], more].concat())
    };
    // three nights are too short for any dose, and four doses need four nights
    let said = plan(4, &[]);
    assert!(said.code == 0 && said.out.contains("everything asked for fits"), "{said:?}");
    let short = "note: maintenance, nights of Monday, Thursday, Saturday: no water for";
    assert!(said.err.starts_with(short), "{said:?}");
    assert!(flat(&said.err).ends_with("All 4 doses are in other nights"), "{said:?}");
    assert!(said.out.contains("# Note: maintenance, nights of Monday"), "{}", said.out);
    assert_eq!(plan(4, &["-q"]).err, "");
    let said = plan(4, &["--json"]);
    let line: serde_json::Value = serde_json::from_str(said.out.lines().next().unwrap()).unwrap();
    assert_eq!(
        (said.code, &line["fits"], &line["misfits"]),
        (0, &true.into(), &serde_json::json!([]))
    );
    assert_eq!(line["notes"].as_array().unwrap().len(), 1, "{said:?}");
    // a fifth has no night
    let said = plan(5, &[]);
    assert!(said.code == 1 && said.out.contains("2 things do NOT fit"), "{said:?}");
    assert!(said.err.contains("5 doses a week were asked for, 4 nights have room"), "{said:?}");
}

#[test]
fn a_file_that_is_there_is_left_alone_unless_it_is_said_otherwise() {
    let place = Place::new("plan-there");
    let example = place.call(&["plan", "--example"]).out;
    place.write("brief.toml", &example);
    place.write("site.toml", "# somebody's work\n");
    for call in
        [&["plan", "brief.toml", "-o", "site.toml"][..], &["plan", "--example", "-o", "site.toml"]]
    {
        let said = place.call(call);
        assert!(said.code == 2 && said.out.is_empty(), "{said:?}");
        assert_eq!(
            said.err.lines().last().unwrap(),
            "error: site.toml exists already and is left as it is; give another name, or --force to write over it"
        );
        assert_eq!(place.read("site.toml"), "# somebody's work\n");
    }
    let said = place.call(&["plan", "brief.toml", "-o", "site.toml", "--force"]);
    assert!(said.code == 0 && said.err == "wrote site.toml\n", "{said:?}");
    assert!(place.read("site.toml").starts_with("# Plan for Harbour kitchen"));
    let said = place.call(&["plan", "brief.toml", "--force"]);
    assert!(said.code == 2 && said.err.contains("--output"), "{said:?}");
    // a folder that is not there yet is made, as elsewhere
    let said = place.call(&["plan", "brief.toml", "-o", "sites/new.toml"]);
    assert!(said.code == 0 && place.read("sites/new.toml").starts_with("# Plan"), "{said:?}");
}

#[test]
fn lines_for_machines_have_the_scenario_and_every_reason() {
    let place = Place::new("plan-json");
    let example = place.call(&["plan", "--example"]).out;
    place.write("brief.toml", &example);
    let text = place.call(&["plan", "brief.toml"]).out;
    let said = place.call(&["plan", "brief.toml", "--json"]);
    assert_eq!(said.code, 0, "{said:?}");
    let lines: Vec<serde_json::Value> =
        said.out.lines().map(|line| serde_json::from_str(line).unwrap()).collect();
    let of = |event: &str| -> Vec<&serde_json::Value> {
        lines.iter().filter(|line| line["event"] == event).collect()
    };
    assert_eq!(lines[0]["event"], "plan");
    assert_eq!((&lines[0]["fits"], &lines[0]["scenario"]), (&true.into(), &text.into()));
    let phases = of("phase");
    assert_eq!(phases.len(), 2);
    assert_eq!(
        (&phases[0]["volume_ul"], &phases[0]["last"]),
        (&450_000.into(), &"2026-11-17".into())
    );
    assert_eq!((&phases[1]["volume_ul"], &phases[1]["last"]), (&144_000.into(), &().into()));
    let entries = of("entry");
    assert_eq!(entries[1]["at"], "00:45");
    // every reason stands in the file too, broken into lines
    let words = |text: &str| text.split_whitespace().collect::<Vec<_>>().join(" ");
    let file = words(&lines[0]["scenario"].as_str().unwrap().replace("\n# ", " "));
    for entry in entries {
        for reason in entry["reasons"].as_array().unwrap() {
            assert!(file.contains(&words(reason.as_str().unwrap())), "{reason}\n{file}");
        }
    }
    // with a file as well the lines are the same
    let both = place.call(&["plan", "brief.toml", "--json", "-o", "planned.toml"]);
    assert_eq!(both.out, said.out);
    assert_eq!(lines[0]["scenario"].as_str().unwrap(), place.read("planned.toml"));
    let said = place.call(&["plan", "brief.toml", "--json", "-o", "-"]);
    assert!(said.code == 2 && said.err.contains("standard output"), "{said:?}");
    // nothing that has a place is said in a line too
    place.write("brief.toml", &example.replace("\"5 h\"", "\"9 h\""));
    let said = place.call(&["plan", "brief.toml", "--json"]);
    assert!(said.code == 1, "{said:?}");
    let line: serde_json::Value = serde_json::from_str(said.out.trim()).unwrap();
    assert_eq!((&line["fits"], &line["scenario"]), (&false.into(), &"".into()));
    // nights alike in one sentence each phase, and the contact that has room
    let misfits: Vec<&str> =
        line["misfits"].as_array().unwrap().iter().map(|m| m.as_str().unwrap()).collect();
    assert_eq!(misfits.len(), 2, "{misfits:#?}");
    for misfit in misfits {
        let alike = "nights of Monday, Tuesday, Wednesday, Thursday, Friday, Saturday: no water";
        assert!(misfit.contains(alike), "{misfit}");
        let room = misfit.rsplit_once("; ").unwrap().1.strip_suffix(" min of contact would fit");
        let contact = format!("\"{} min\"", room.unwrap());
        place.write("brief.toml", &example.replace("\"5 h\"", &contact));
        let said = place.call(&["plan", "brief.toml", "--json"]);
        let line: serde_json::Value =
            serde_json::from_str(said.out.lines().next().unwrap()).unwrap();
        let left = line["misfits"].as_array().unwrap().len();
        assert!(left < 2, "{contact} does not do either: {said:?}");
    }
}

#[test]
fn the_plan_says_until_when_the_container_lasts_and_keeps_to_80_cells() {
    let place = Place::new("plan-lasts");
    let brief = place.call(&["plan", "--example"]).out;
    let lasts = |capacity: &str| {
        place.write("brief.toml", &brief.replace("\"10 l\"", capacity));
        let said = place.call(&["plan", "brief.toml"]);
        assert_eq!(said.code, 0, "{said:?}");
        crate::support::wide(&said.out);
        said.out
    };
    // 960 ml above the heel: two nights of 450 ml, the third takes the rest
    let text = lasts("\"1 l\"");
    assert!(text.contains("# By this plan it may be down to its heel on 2026-11-0"), "{text}");
    assert!(!lasts("\"990 l\"").contains("down to its heel"));
    place.write("brief.toml", &brief.replace("contact = \"5 h\"", "contact = \"9 h\""));
    let said = place.call(&["plan", "brief.toml"]);
    assert!(said.code == 1 && said.err.contains("does not fit: start-up"), "{said:?}");
    crate::support::wide(&said.err);
    place.write("brief.toml", &brief);
    place.write("log.csv", "time,flow l/min\n2026-10-05 14:30,1e99\n");
    let said = place.call(&["plan", "brief.toml", "--flow-log", "log.csv"]);
    assert!(said.code == 2 && said.err.contains("line 2: a flow of 1e99 cannot be"), "{said:?}");
}

#[test]
fn a_cleaning_may_need_no_time_clear() {
    let place = Place::new("plan-clear");
    let brief = place.call(&["plan", "--example"]).out;
    place.write("brief.toml", &brief.replace("clear = \"2 h\"", "clear = \"0 min\""));
    let said = place.call(&["plan", "brief.toml"]);
    assert_eq!(said.code, 0, "{said:?}");
}

#[test]
fn a_plan_that_the_device_refuses_is_told_at_the_brief_and_does_not_fit() {
    let place = Place::new("plan-zone");
    // what its year of 2026 is has one change of the clock more than its rule
    let brief = place.call(&["plan", "--example"]).out;
    let zone = "\"CET-1CEST,M3.5.0,M10.5.0/3\"";
    let line = brief.lines().position(|line| line.contains(zone)).unwrap() + 1;
    let brief = brief.replace(zone, "\"America/Havana\"").replace("2026-11-02", "2026-12-14");
    place.write("brief.toml", &brief);
    let said = place.call(&["plan", "brief.toml", "--json"]);
    assert_eq!(said.code, 1, "{said:?}");
    assert!(said.err.contains(&format!("brief.toml:{line}:8\n")), "{said:?}");
    let first: serde_json::Value = serde_json::from_str(said.out.lines().next().unwrap()).unwrap();
    assert_eq!((&first["fits"], &first["scenario"]), (&false.into(), &"".into()));
    let misfit = first["misfits"][0].as_str().unwrap();
    assert!(misfit.contains("America/Havana") && misfit.contains("S012"), "{first}");
    let verdict = first["verdict"].as_str().unwrap();
    assert!(verdict.ends_with("one thing does NOT fit."), "{verdict}");
}
