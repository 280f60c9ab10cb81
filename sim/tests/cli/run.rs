//! `dosewright run`: what it takes, and where it writes.

use crate::support::{Place, failing, good, nights};

#[test]
fn without_a_file_the_example_runs_and_holds() {
    let place = Place::new("example");
    let said = place.call(&["run"]);
    assert_eq!(said.code, 0, "{said:?}");
    assert!(said.out.starts_with("example.toml held."), "{}", said.out);
    assert!(
        said.out.contains("supply off for 13 min") && said.out.contains("clock set from"),
        "{}",
        said.out
    );
    assert!(said.out.lines().all(|line| line.chars().count() <= 80), "{}", said.out);
}

#[test]
fn equal_runs_give_equal_pages_but_for_the_speed() {
    let place = Place::new("equal");
    place.write("week.toml", &good());
    let page = || {
        let out = place.call(&["run", "week.toml"]).out;
        out.lines()
            .filter(|line| !line.starts_with("simulated "))
            .map(str::to_owned)
            .collect::<Vec<_>>()
    };
    assert_eq!(page(), page());
}

#[test]
fn shards_share_the_files_out() {
    let place = Place::new("shards");
    let names = ["a.toml", "b.toml", "c.toml"];
    for name in names {
        place.write(name, &good());
    }
    let run = |shard: &str| {
        let mut args = vec!["run", "-q", "--shard", shard];
        args.extend(names);
        place.call(&args).out
    };
    assert!(
        run("1/2").contains("a.toml held")
            && run("1/2").contains("c.toml held")
            && !run("1/2").contains("b.toml")
    );
    assert!(run("2/2").contains("b.toml held") && !run("2/2").contains("a.toml"));
    assert!(run("3/3").starts_with("c.toml held"));
}

#[test]
fn junit_has_a_case_a_scenario() {
    let place = Place::new("junit");
    place.write("good.toml", &good());
    place.write("bad.toml", &failing());
    place.write(
        "never.toml",
        &nights("[[fault]]\nat = \"dose 9 pulse 1\"\nsupply_loss = { lasts = \"1 h\" }\n"),
    );
    let said = place.call(&[
        "run",
        "-q",
        "good.toml",
        "bad.toml",
        "never.toml",
        "--junit",
        "reports/junit.xml",
    ]);
    assert_eq!(said.code, 1);
    let report = place.read("reports/junit.xml");
    assert!(report.contains("tests=\"3\" failures=\"1\" errors=\"1\" skipped=\"0\""), "{report}");
    assert!(report.contains("<testcase name=\"good.toml\" classname=\"scenario\"/>"), "{report}");
    assert!(report.contains("<failure message=\"R001 at bad.toml:19:39: an expectation did not hold: expected 4 dosed; found 3"), "{report}");
    assert!(!report.contains("timestamp") && !report.contains("time="), "{report}");
}

#[test]
fn a_directory_takes_everything_that_is_written() {
    let place = Place::new("out");
    place.write("week.toml", &failing());
    let said = place.call(&["run", "-q", "week.toml", "--out", "results"]);
    assert_eq!(said.code, 1);
    let mut names: Vec<String> = std::fs::read_dir(place.dir.join("results"))
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .collect();
    names.sort();
    assert_eq!(names, ["week-1.failure.toml", "week.csv", "week.jsonl", "week.vcd"]);
}

#[test]
fn quiet_says_the_verdict_and_no_warning() {
    let place = Place::new("quiet");
    let said = place.call(&["run", "-q"]);
    assert_eq!(said.out.lines().count(), 2, "{}", said.out);
    assert_eq!(said.err, "");
}

#[test]
fn the_table_counts_what_a_dose_open_at_the_end_has_pumped() {
    let place = Place::new("open");
    place.call(&["new", "week.toml"]);
    let page = place.call(&["run", "week.toml"]).out;
    assert!(page.contains("open at the end"), "{page}");
    let all = page.lines().find(|line| line.starts_with("all ")).unwrap();
    let lines = place.call(&["run", "week.toml", "--json"]).out;
    let summary: serde_json::Value = serde_json::from_str(lines.lines().last().unwrap()).unwrap();
    let pumped_ml = summary["commanded_ul"].as_f64().unwrap() / 1000.0;
    assert!(all.contains(&format!("  {pumped_ml:.0} ml ")), "{pumped_ml} ml, {all}");
}

#[test]
fn a_scenario_that_is_meant_to_fail_holds_when_it_fails() {
    let place = Place::new("meant");
    place.write("meant.toml", &format!("{}held = false\n", failing()));
    let said = place.call(&["run", "meant.toml"]);
    assert!(said.code == 0 && said.out.contains("a failure is what it expects"), "{said:?}");
    place.write("wrong.toml", &format!("{}held = false\n", good()));
    let said = place.call(&["run", "wrong.toml"]);
    assert_eq!(said.code, 1, "{said:?}");
    assert!(
        said.out
            .split_whitespace()
            .collect::<Vec<_>>()
            .join(" ")
            .contains("expected something to fail"),
        "{}",
        said.out
    );
}

#[test]
fn ten_years_are_told_on_a_page() {
    let place = Place::new("ten-years");
    place.write("long.toml", &nights("").replace("4 days", "3650 days"));
    let said = place.call(&["run", "long.toml", "--progress", "none"]);
    assert_eq!(said.code, 0, "{said:?}");
    // 2026-10-05 to 2036-10-02: 521 weeks with three nights each, and of the
    // last, from Monday on, the nights of Monday and Tuesday
    assert!(said.out.contains("1565 doses"), "{}", said.out);
    assert!(said.out.lines().count() < 25, "{}", said.out);
    // every one of them when that is asked for
    let all = place.call(&["run", "-v", "long.toml", "--progress", "none"]);
    assert_eq!(all.out.matches("  night  dosed ").count(), 1565, "{}", all.out.len());
}

#[test]
fn a_pace_takes_its_time_and_tells_as_it_goes() {
    let place = Place::new("pace");
    place.write("week.toml", &good());
    let began = std::time::Instant::now();
    // 4 days at 400 000 times real time: 0.864 s, less the quiet end after the
    // last dose, which is at 2 d 24 h 45 min
    let said = place.call(&["run", "week.toml", "--pace", "400000x"]);
    assert!(began.elapsed().as_secs_f64() > 0.6, "{:?}", began.elapsed());
    assert_eq!(said.code, 0);
    let (timeline, verdict) =
        (said.out.find("tue 6 oct 2026").unwrap(), said.out.find("week.toml held").unwrap());
    assert!(timeline < verdict, "{}", said.out);
}

/// Called all the time the device does the same as when it sleeps until the call that
/// it asks for, and it asks for no call without need: one for each edge of the pump,
/// each record of an outcome and each hourly stamp, and one to begin with.
#[test]
fn p1_sleeping_until_the_next_call_loses_nothing_and_no_call_is_without_need() {
    let place = Place::new("p1");
    place.write("week.toml", &good());
    let called: String = ["+1 d", "+2 d"]
        .map(|at| {
            format!(
                "[[fault]]\nat = \"{at}\"\nspurious_wake = {{ times = 10000, over = \"1 d\" }}\n\n"
            )
        })
        .concat();
    place.write("called.toml", &good().replace("[[expect]]", &format!("{called}[[expect]]")));
    let lines = |file: &str| -> Vec<serde_json::Value> {
        let said = place.call(&["run", file, "--json"]);
        assert_eq!(said.code, 0, "{said:?}");
        said.out.lines().map(|line| serde_json::from_str(line).unwrap()).collect()
    };
    let (sleeping, called) = (lines("week.toml"), lines("called.toml"));
    let done = |lines: &[serde_json::Value]| -> Vec<serde_json::Value> {
        let of = ["pump", "outcome", "open", "alarm"];
        lines
            .iter()
            .filter(|line| of.iter().any(|event| line["event"] == *event))
            .cloned()
            .collect()
    };
    assert_eq!(done(&sleeping), done(&called));
    let wakes = |lines: &[serde_json::Value]| lines.last().unwrap()["wakes"].as_u64().unwrap();
    assert!(wakes(&called) >= 20_000, "{}", wakes(&called));
    let edges = done(&sleeping).iter().filter(|line| line["event"] == "pump").count() as u64;
    let (outcomes, hours) = (3, 4 * 24);
    let needed = edges + outcomes + hours + 1;
    assert!(wakes(&sleeping) <= needed, "{} calls, {needed} needed", wakes(&sleeping));
}

#[test]
fn two_outputs_do_not_go_into_one_file() {
    let place = Place::new("one-name");
    place.write("week.toml", &good());
    // whether it is there already or not; what is there stays as it is
    let said = place.call(&["run", "week.toml", "--csv", "same", "--vcd", "./same"]);
    assert!(said.code == 2 && said.err.contains("same is given to two outputs"), "{said:?}");
    assert!(!place.dir.join("same").exists());
    place.write("train", "kept");
    let said = place.call(&["pulses", "week.toml", "--csv", "train", "--vcd", "train"]);
    assert!(said.code == 2 && said.err.contains("a name of its own"), "{said:?}");
    assert_eq!(place.read("train"), "kept");
    // what takes any number is no file
    let said = place.call(&["run", "week.toml", "--csv", "/dev/null", "--vcd", "/dev/null"]);
    assert!(cfg!(windows) || said.code == 0, "{said:?}");
}

#[test]
fn a_pulse_that_no_dose_has_is_told_as_such() {
    let place = Place::new("no-pulse");
    place.write("week.toml", &nights("[[fault]]\nat = \"dose 2 pulse 31\"\nleak = {}\n"));
    let said = place.call(&["run", "week.toml"]);
    assert_eq!(said.code, 5, "{said:?}");
    let flat = said.out.replace('|', "").split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(flat.contains("no dose 2 with a pulse 31 began in 4 d"), "{}", said.out);
}

#[test]
fn a_scenario_that_is_meant_to_fail_counts_what_held() {
    let place = Place::new("meant-count");
    let run = |more: &str| {
        place.write("week.toml", &nights(&format!("[[expect]]\nheld = false\n\n{more}")));
        let out = place.call(&["run", "week.toml", "-q"]).out;
        out.split_whitespace().collect::<Vec<_>>().join(" ")
    };
    let alone = run("");
    assert!(
        alone.contains("FAILED") && alone.contains("1 of 1 expectation did not hold"),
        "{alone}"
    );
    // the claim itself holds, and so does one of the two others
    let dosed = |count| format!("[[expect]]\noutcomes = {{ dosed = {count} }}\n\n");
    let other = run(&(dosed(3) + &dosed(99)));
    assert!(other.contains("week.toml held (a failure is what it expects)"), "{other}");
    assert!(other.contains("2 expectations held"), "{other}");
}

#[test]
fn an_expectation_with_two_other_figures_is_one_that_did_not_hold() {
    let place = Place::new("expectation-count");
    let expect = |counts: &str| format!("[[expect]]\noutcomes = {{ {counts} }}\n\n");
    place.write("week.toml", &nights(&(expect("dosed = 98, skipped = 99") + &expect("dosed = 3"))));
    let flat = |text: &str| text.split_whitespace().collect::<Vec<_>>().join(" ");
    let wanted = "1 of 2 expectations did not hold";
    let said = place.call(&["run", "week.toml", "-q"]);
    assert!(said.code == 1 && flat(&said.out).contains(wanted), "{said:?}");
    let lines = place.call(&["run", "week.toml", "--json"]).out;
    let summary: serde_json::Value = serde_json::from_str(lines.lines().last().unwrap()).unwrap();
    assert_eq!(summary["failures"].as_array().map(Vec::len), Some(2));
    assert_eq!((&summary["expectations"], &summary["expectations_failed"]), (&2.into(), &1.into()));
    place.write("lines.jsonl", &lines);
    place.call(&["report", "lines.jsonl", "-o", "r.html"]);
    assert!(flat(&place.read("r.html")).contains(wanted));
    // a verdict that is none is no verdict
    place.write("odd.jsonl", &lines.replace("\"failed\"", "\"lost\""));
    let said = place.call(&["report", "odd.jsonl", "-o", "r.html"]);
    assert!(said.code != 0 && said.err.contains("the verdict is none of"), "{said:?}");
}

#[test]
fn a_scenario_that_is_meant_to_fail_says_what_failed() {
    let place = Place::new("meant-what");
    let held = "[[expect]]\nheld = false\n\n[[expect]]\noutcomes = { dosed = 99 }\n";
    place.write("week.toml", &nights(held));
    let said = place.call(&["run", "week.toml"]);
    let wanted = "\nfailed as meant: line 22: expected 99 dosed; found 3 of 3 (3 dosed, 0 part, 0\n                 skipped, 0 open)\n";
    assert!(said.code == 0 && said.out.contains(wanted), "{said:?}");
    let lines = place.call(&["run", "week.toml", "--json"]).out;
    let summary: serde_json::Value = serde_json::from_str(lines.lines().last().unwrap()).unwrap();
    assert_eq!((&summary["verdict"], &summary["failure_expected"]), (&"held".into(), &true.into()));
    assert_eq!(summary["failures"].as_array().map(Vec::len), Some(0));
    assert_eq!(summary["expected_failures"][0]["line"], 22);
    place.write("lines.jsonl", &lines);
    for from in ["week.toml", "lines.jsonl"] {
        place.call(&["report", from, "-o", "r.html"]);
        let page = place.read("r.html");
        assert!(page.contains("held</span> (a failure is what it expects)."), "{page}");
        assert!(page.contains("What failed, as it was meant to"), "{page}");
        assert!(page.contains("R001 at line 22: "), "{page}");
    }
    // both at once cannot be
    place.write("both.toml", &nights(&format!("{held}\n[[expect]]\nheld = true\n")));
    let said = place.call(&["check", "both.toml"]);
    assert!(said.code == 2 && said.out.contains("S022"), "{said:?}");
    assert!(said.out.contains("`held` is false and true"), "{said:?}");
}

#[test]
fn a_flood_that_the_queue_takes_in_is_told_as_such() {
    let place = Place::new("flood");
    place.write("week.toml", &nights("[[fault]]\nat = \"+1 d\"\nqueue_flood = { events = 2 }\n"));
    let said = place.call(&["run", "week.toml"]);
    assert!(said.code == 5 && said.out.contains("the queue took them all in"), "{said:?}");
}

#[test]
fn a_scenario_comes_by_standard_input_too() {
    use std::io::Write as _;
    use std::process::Stdio;
    let place = Place::new("stdin");
    for (text, code) in [(good(), 0), (good().replace("45 min", "45"), 2)] {
        let mut child = place
            .command(&["run", "-"])
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        child.stdin.take().unwrap().write_all(text.as_bytes()).unwrap();
        let said = crate::support::Said::of(&child.wait_with_output().unwrap());
        assert_eq!(said.code, code, "{said:?}");
        assert!(format!("{}{}", said.out, said.err).contains("standard input"), "{said:?}");
    }
}

#[test]
fn a_refused_edit_is_told_a_start_for_the_entry_that_was_edited() {
    let place = Place::new("run-refused-edit");
    let edit = |at: &str, day: &str| {
        format!(
            "[[operator]]\nat = \"+{at}\"\nedit = {{ entry = \"night\", weekly = {{ days = [\"mon\"], at = \"{day}\" }} }}\n\n"
        )
    };
    let second = "[[entry]]\nname = \"noon\"\nweekly = { days = [\"mon\"], at = \"12:00\" }\nvolume = \"60 ml\"\nwindow = \"30 min\"\n\n";
    // 45 min from 11:30 on run into noon; what is told is taken
    let acts = edit("1 h", "11:30") + &edit("2 h", "11:15");
    place.write("site.toml", &nights(&format!("{second}{acts}")));
    let said = place.call(&["run", "site.toml", "--json"]);
    let told = r#"the windows of \"noon\" and \"night\" overlap; \"night\" fits at 11:15"#;
    assert_eq!(said.out.matches(told).count(), 1, "{}", said.out);
    assert_eq!(said.out.matches("overlap").count(), 1, "{}", said.out);
}

#[test]
fn o1_a_prime_by_time_lasts_so_long_by_the_flow_in_force() {
    let place = Place::new("run-prime-time");
    let acts = "[[operator]]\nat = \"+1 h\"\ncalibrate = { flow = \"20 ml/min\" }\n\n[[operator]]\nat = \"+2 h\"\nprime = { lasts = \"1 min\" }\n";
    place.write("site.toml", &nights(acts));
    let said = place.call(&["run", "site.toml", "-v"]);
    assert_eq!(said.code, 0, "{said:?}");
    for part in ["asked to prime, up to 20 ml\n", "prime ended after 1 min\n"] {
        assert!(said.out.contains(part), "{part:?} is not in\n{}", said.out);
    }
}

#[test]
fn d1_dues_that_pass_while_the_memory_takes_nothing_are_open() {
    let place = Place::new("run-worn");
    let worn = |sector: u32| {
        format!("[[fault]]\nat = \"+90 min\"\npage_worn = {{ sector = {sector} }}\n\n")
    };
    let site = format!(
        "schema = 1\n\n[clock]\nstart = 2026-11-02T00:00:00\nzone = \"UTC0\"\nrun_for = \"1 day\"\n\n[head]\nflow = \"30 ml/min\"\n\n[[entry]]\nname = \"a\"\nevery = {{ interval = \"2 h\" }}\nvolume = \"40 ml\"\nwindow = \"60 min\"\n\n[[entry]]\nname = \"b\"\nweekly = {{ days = [\"mon\"], at = \"23:15\" }}\nvolume = \"10 ml\"\nwindow = \"10 min\"\n\n{}",
        (0..4).map(worn).collect::<String>()
    );
    // as many as there are where the memory takes everything, the one at the end among them
    place.write("sound.toml", site.split("[[fault]]").next().unwrap());
    let sound = place.call(&["run", "sound.toml"]);
    assert!(sound.out.contains("14 scheduled doses: 13 dosed, 1 open"), "{}", sound.out);
    place.write("site.toml", &site);
    let said = place.call(&["run", "site.toml", "-v"]);
    let flat = said.out.split_whitespace().collect::<Vec<_>>().join(" ");
    for part in [
        "14 scheduled doses: 1 dosed, 13 open at the end; every promise was kept.",
        "memory: from mon 2 nov 2026 01:54:08 on it took nothing: no dose runs,",
        "01:54 alarm: memory fault",
        "02:00 a open 0 ml memory fault, 12 doses, the last tue 3 nov 2026 00:00",
        "23:15 b open 0 ml memory fault",
    ] {
        assert!(flat.contains(part), "{part:?} is not in\n{}", said.out);
    }
    crate::support::wide(&said.out);
    let lines = place.call(&["run", "site.toml", "--json"]).out;
    for part in [
        "\"alarm\":\"memory fault\",\"on\":true",
        "\"dues\":14,\"dosed\":1,\"part\":0,\"skipped\":0,\"open\":13",
        "\"memory_fault_ms\":",
    ] {
        assert!(lines.contains(part), "{part:?} is not in\n{lines}");
    }
}
