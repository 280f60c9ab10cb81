//! `dosewright check`: everything at once, in three formats.

use std::fmt::Write as _;

use crate::support::{Place, good, nights, wide};

/// Six mistakes, of the reader and of the acceptance check, in one file.
const SIX: &str = r#"schema = 1

[clock]
start = 2026-10-19T00:00:00
zone = "CET-1CEST,M3.5.0,M10.5.0/3"
run_for = "8 days"
colour = "red"

[head]
flow = "26.5 ml/min"

[[entry]]
name = "night"
weekly = { nights = ["mon", "thu"], at = "00:45" }
volume = "120 ml"
window = "3 min"

[[entry]]
name = "late"
weekly = { days = ["tue"], at = "10:00" }
volume = "1,5 l"
window = "45 min"

[[entry]]
name = "day"
weekly = { nights = ["mon"], at = "00:46" }
volume = "60 ml"
window = "45 min"

[[fault]]
at = "friday night"
supply_loss = { lasts = "45 min" }

[[expect]]
outcomes = { entry = "nihgt", dosed = 2 }
"#;

#[test]
fn six_mistakes_in_one_pass() {
    let place = Place::new("six");
    place.write("six.toml", SIX);
    let said = place.call(&["check", "six.toml"]);
    assert_eq!(said.code, 2);
    for (code, at) in [
        ("error[S002]", "six.toml:7:1"),
        ("error[S014]", "six.toml:16:10"),
        ("error[S007]", "six.toml:21:11"),
        ("error[S030]", "six.toml:26:35"),
        ("error[S013]", "six.toml:31:6"),
        ("error[S016]", "six.toml:35:22"),
    ] {
        let found = said.out.find(code).unwrap_or_else(|| panic!("{code} in {}", said.out));
        let next = said.out[found..].lines().nth(1).unwrap();
        assert!(next.trim_start().starts_with(&format!("--> {at}")), "{code}: {next}");
    }
    assert!(said.out.contains("120 ml at 26.5 ml/min is 4 min 32 s of pumping"), "{}", said.out);
    assert!(said.out.contains("help: the nearest start that fits is 00:48"), "{}", said.out);
    assert!(said.out.ends_with("6 errors, 0 warnings; 1 file checked\n"), "{}", said.out);
    assert!(said.out.lines().all(|line| line.chars().count() <= 80), "{}", said.out);
    // and none of it is run
    let run = place.call(&["run", "six.toml"]);
    assert!(
        run.code == 2 && run.out.is_empty() && run.err.ends_with("; nothing was run\n"),
        "{run:?}"
    );
}

#[test]
fn lines_and_sarif_say_the_same() {
    let place = Place::new("formats");
    place.write("six.toml", SIX);
    let lines = place.call(&["check", "six.toml", "--format", "json"]);
    assert_eq!(lines.code, 2);
    let objects: Vec<serde_json::Value> =
        lines.out.lines().map(|line| serde_json::from_str(line).unwrap()).collect();
    assert_eq!(objects.len(), 7);
    assert_eq!(
        (&objects[1]["code"], &objects[1]["line"], &objects[1]["column"]),
        (&"S014".into(), &16.into(), &10.into())
    );
    assert_eq!((&objects[6]["event"], &objects[6]["errors"]), (&"check".into(), &6.into()));
    let sarif = place.call(&["check", "six.toml", "--format", "sarif"]);
    let document: serde_json::Value = serde_json::from_str(&sarif.out).unwrap();
    assert_eq!(document["version"], "2.1.0");
    let results = document["runs"][0]["results"].as_array().unwrap();
    assert_eq!(results.len(), 6);
    assert_eq!(results[1]["locations"][0]["physicalLocation"]["region"]["startLine"], 16);
}

#[test]
fn several_files_are_checked_in_one_go() {
    let place = Place::new("several");
    place.write("a.toml", &good().replace("\"45 min\"", "45"));
    place.write("b.toml", &good());
    place.write("c.toml", &good().replace("26.5 ml/min", "26.5 ml"));
    let said = place.call(&["check", "a.toml", "b.toml", "c.toml"]);
    assert_eq!(said.code, 2);
    assert!(
        said.out.contains("--> a.toml:")
            && said.out.contains("--> c.toml:")
            && !said.out.contains("--> b.toml")
    );
    assert!(said.out.ends_with("2 errors, 0 warnings; 3 files checked\n"), "{}", said.out);
    // one that is not there keeps nobody from seeing what is wrong with the others
    let said = place.call(&["check", "a.toml", "none.toml"]);
    assert!(said.code == 2 && said.out.contains("--> none.toml"), "{said:?}");
    assert!(said.out.contains("--> a.toml:"), "{said:?}");
}

#[test]
fn a_file_that_cannot_be_read_is_an_error_in_every_format() {
    let place = Place::new("check-unread");
    place.write("good.toml", &good());
    std::fs::write(place.dir.join("latin.toml"), b"title = \"Caf\xe9\"\n").unwrap();
    for (file, why) in [
        ("latin.toml", "is not UTF-8 text: byte 12"),
        ("none.toml", "cannot read none.toml"),
        (".", "is a directory"),
    ] {
        let call = |more: &[&str]| {
            let said = place.call(&[&["check", "good.toml", file], more].concat());
            assert!(said.code == 2 && said.err.is_empty(), "{said:?}");
            said.out
        };
        let text = call(&[]);
        assert!(text.contains("error[S044]") && text.contains(why), "{text}");
        let end = "1 error, 0 warnings; 1 file checked, 1 not read\n";
        assert!(text.ends_with(end), "{text}");
        assert!(call(&["--quiet"]).contains("error[S044]"));
        wide(&text);
        let lines: Vec<serde_json::Value> = call(&["--format", "json"])
            .lines()
            .map(|line| serde_json::from_str(line).unwrap())
            .collect();
        assert_eq!((&lines[0]["code"], &lines[0]["file"]), (&"S044".into(), &file.into()));
        assert!(lines[0]["message"].as_str().unwrap().contains(why), "{}", lines[0]);
        let close = &lines[1];
        assert_eq!(
            (&close["files"], &close["unread"], &close["errors"]),
            (&1.into(), &1.into(), &1.into())
        );
        let sarif: serde_json::Value = serde_json::from_str(&call(&["--format", "sarif"])).unwrap();
        let results = sarif["runs"][0]["results"].as_array().unwrap();
        assert!(results.len() == 1 && results[0]["ruleId"] == "S044", "{sarif}");
        let place = &results[0]["locations"][0]["physicalLocation"];
        assert_eq!(place["artifactLocation"]["uri"], file);
    }
}

#[test]
fn a_tube_set_that_cannot_be_is_refused() {
    let place = Place::new("check-tube");
    let check = |keys: &str| {
        place.write(
            "site.toml",
            &crate::support::nights(&format!("[tube]\nbore = \"3.2 mm\"\n{keys}\n")),
        );
        place.call(&["check", "site.toml"])
    };
    let said = check("suction = \"1 m\"\nlift = \"1.5 m\"");
    assert!(said.code == 2 && said.out.contains("`suction` is shorter than the lift"), "{said:?}");
    assert!(said.out.contains("1.5 m at least"), "{said:?}");
    let said = check("fitted = 2026-10-06");
    assert!(said.code == 2 && said.out.contains("`fitted` lies after the start"), "{said:?}");
    for good in ["suction = \"1.5 m\"\nlift = \"1.5 m\"", "lift = \"1 m\"", "fitted = 2026-10-05"] {
        assert_eq!(check(good).code, 0, "{good}");
    }
}

#[test]
fn what_no_head_or_interval_can_be_names_its_range() {
    let place = Place::new("check-range");
    let pass = nights("").replace("[head]\n", "[head]\nvolume_per_roller_pass = \"900 ml\"\n");
    place.write("site.toml", &pass);
    let said = place.call(&["check", "site.toml"]);
    assert!(said.code == 2 && said.out.contains("`volume_per_roller_pass` is above"), "{said:?}");
    let entry = "[[entry]]\nname = \"x\"\nevery = { interval = \"400 d\" }\nvolume = \"9 ml\"\nwindow = \"9 min\"\n";
    place.write("site.toml", &nights(entry));
    let said = place.call(&["check", "site.toml"]);
    assert!(said.code == 2 && said.out.contains("from 1 min to 366 d"), "{said:?}");
}

#[test]
fn a_dose_that_no_window_is_long_enough_for_is_told_so() {
    let place = Place::new("check-no-window");
    let check = |volume: &str, window: &str| {
        let site = nights("")
            .replace("26.5 ml/min\"", "10 ml/min\"\nlongest_run = \"5 s\"\nleast_rest = \"60 s\"")
            .replace("pulses = 30\n", "")
            .replace("\"120 ml\"", &format!("\"{volume}\""))
            .replace("\"45 min\"", &format!("\"{window}\""));
        place.write("site.toml", &site);
        let said = place.call(&["check", "site.toml"]);
        assert_eq!(said.code, 2, "{said:?}");
        said.out.split_whitespace().collect::<Vec<_>>().join(" ")
    };
    let said = check("9 l", "10 h");
    assert!(said.contains("no window is longer than 7 d: make the dose smaller"), "{said}");
    assert!(!said.contains("the least window is"), "{said}");
    assert!(check("900 ml", "10 h").contains("the least window is"));
    // and the reader's range is the device's
    assert!(check("900 ml", "8 d").contains("from 1 ms to 7 d"));
}

#[test]
fn a_pack_that_the_device_cannot_read_is_refused() {
    let place = Place::new("check-volts");
    let check = |cells: u32| {
        let pack = format!("[supply]\nbattery = {{ type = \"LR20\", cells = {cells} }}\n");
        place.write("site.toml", &nights(&pack));
        place.call(&["check", "site.toml"])
    };
    assert_eq!(check(40).code, 0);
    let said = check(41);
    assert!(said.code == 2 && said.out.contains("more volts than the device reads"), "{said:?}");
}

#[test]
fn another_pack_on_mains_is_found_before_the_run() {
    let place = Place::new("check-mains");
    let act = "[[operator]]\nat = \"+1 d\"\nchange_pack = {}\n";
    place.write("site.toml", &nights(act));
    let said = place.call(&["check", "site.toml"]);
    assert!(said.code == 2 && said.out.contains("`change_pack` on mains"), "{said:?}");
    place.write(
        "site.toml",
        &nights(&format!("[supply]\nbattery = {{ type = \"LR20\" }}\n\n{act}")),
    );
    assert_eq!(place.call(&["check", "site.toml"]).code, 0);
}

#[test]
fn a_clock_off_by_centuries_is_refused() {
    let place = Place::new("check-off");
    let check = |off_by: &str| {
        let clock = format!("run_for = \"4 days\"\noff_by = \"{off_by}\"");
        place.write("site.toml", &nights("").replace("run_for = \"4 days\"", &clock));
        place.call(&["check", "site.toml"])
    };
    let said = check("-10000 d");
    assert!(said.code == 2 && said.out.contains("1999-05-20"), "{said:?}");
    assert_eq!(check("-9000 d").code, 0);
}

#[test]
fn a_last_date_before_the_first_is_told_once() {
    let place = Place::new("check-dates");
    place.write("site.toml", &nights("first = 2026-10-08\nlast = 2026-10-07\n"));
    let said = place.call(&["check", "site.toml"]);
    assert!(said.code == 2 && said.out.contains("S022"), "{said:?}");
    assert!(said.out.contains("1 error, 0 warnings") && !said.out.contains("S008"), "{said:?}");
}

#[test]
fn a_sector_that_the_device_cannot_use_is_found_before_the_run() {
    let place = Place::new("check-sector");
    let check = |sector: &str| {
        place.write("site.toml", &nights(&format!("[memory]\nsector = \"{sector}\"\n")));
        (place.call(&["check", "site.toml"]), place.call(&["run", "site.toml"]))
    };
    // the range that is told is the one that is taken, and told once
    for sector in ["512 B", "3 KiB", "16 KiB", "32767 B"] {
        let (said, ran) = check(sector);
        assert!(said.code == 2 && said.out.contains("from 32 KiB to 1 MiB"), "{said:?}");
        assert!(said.out.contains("1 error, 0 warnings"), "{said:?}");
        assert!(ran.code == 2 && ran.err.contains("site.toml:"), "{ran:?}");
    }
    let (said, ran) = check("32 KiB");
    assert!(said.code == 0 && ran.code == 0, "{said:?} {ran:?}");
}

#[test]
fn a_new_scenario_goes_to_standard_output_too() {
    let place = Place::new("new-dash");
    let said = place.call(&["new", "-"]);
    assert!(said.code == 0 && said.out.contains("schema = 1") && said.err.is_empty(), "{said:?}");
    assert!(!place.dir.join("-").exists());
}

#[test]
fn an_interval_that_meets_another_entry_is_told_the_nearest_start() {
    let place = Place::new("check-from");
    let every = |from: &str| {
        let more = format!(
            "[[entry]]\nname = \"x\"\nevery = {{ interval = \"12 h\", from = \"{from}\" }}\nvolume = \"15 ml\"\nwindow = \"20 min\"\n"
        );
        place.write("site.toml", &nights(&more));
        place.call(&["check", "site.toml"])
    };
    // the nights' windows are 00:45 to 01:30
    for (from, nearest) in [
        ("2026-10-05 00:50", "from = \"2026-10-05 00:25\""),
        ("2026-10-05 13:20", "from = \"2026-10-05 13:30\""),
    ] {
        let said = every(from);
        let help = format!("help: the nearest start that fits is {nearest}");
        assert!(said.code == 2 && said.out.contains(&help), "{said:?}");
        let start = nearest.trim_start_matches("from = ").trim_matches('"');
        assert_eq!(every(start).code, 0, "{start}");
    }
}

#[test]
fn a_weekly_entry_that_meets_an_interval_is_told_the_nearest_start() {
    let place = Place::new("check-at");
    let file = |at: &str, more: &str| {
        let text = nights("").replace(
            "[[entry]]",
            "[[entry]]\nname = \"x\"\nevery = { interval = \"24 h\", from = \"+24 h 30 min\" }\nvolume = \"60 ml\"\nwindow = \"40 min\"\n[[entry]]",
        );
        place.write("site.toml", &format!("{}{more}", text.replace("00:45", at)));
        place.call(&["check", "site.toml"])
    };
    // x runs from 00:30 to 01:10 each day, the nights' window is 45 min
    for (at, nearest) in [("00:45", "01:10"), ("00:15", "23:45"), ("00:30", "01:10")] {
        let said = file(at, "");
        let help = format!("help: the nearest start that fits is {nearest}");
        assert!(said.code == 2 && said.out.contains(&help), "{at}: {said:?}");
        assert_eq!(file(nearest, "").code, 0, "{nearest}");
    }
    // one that is free of the interval, but not of another entry, is none
    let other = "[[entry]]\nname = \"y\"\nweekly = { days = [\"mon\"], at = \"23:40\" }\nvolume = \"15 ml\"\nwindow = \"20 min\"\n";
    let said = file("00:15", other);
    assert!(said.out.contains("that fits is 01:10"), "{said:?}");
    // and where there is none that is said
    let full = "[[entry]]\nname = \"y\"\nevery = { interval = \"30 min\", from = \"+12 h 20 min\" }\nvolume = \"5 ml\"\nwindow = \"2 min\"\n";
    let said = file("00:45", full);
    assert!(said.out.contains("no start on its days fits \"night\""), "{said:?}");
}

#[test]
fn a_timetable_that_is_refused_is_not_looked_at_for_long() {
    let place = Place::new("check-long");
    let mut text = nights("").replace("4 days", "36500 days");
    for i in 0..60 {
        _ = write!(
            text,
            "[[entry]]\nname = \"e{i}\"\nevery = {{ interval = \"{} min\" }}\nvolume = \"1 ml\"\nwindow = \"5 s\"\n\n",
            i % 7 + 1
        );
    }
    place.write("site.toml", &text);
    let before = std::time::Instant::now();
    let said = place.call(&["check", "site.toml"]);
    assert!(said.code == 2 && said.out.contains("S039"), "{said:?}");
    // a hundred years of changes against every minute would take minutes
    assert!(before.elapsed().as_secs() < 20, "{:?}", before.elapsed());
}

/// An entry's own number of pulses takes more of a window than the dose by itself.
#[test]
fn the_least_window_that_is_named_is_one_for_the_pulses_asked_for() {
    let place = Place::new("check-own-pulses");
    let check = |window: &str, pulses: &str| {
        let site = format!(
            "schema = 1\n[clock]\nstart = 2026-10-26T00:00:00\nzone = \"UTC0\"\nrun_for = \"9 d\"\n\
             [head]\nflow = \"60 ml/min\"\nstarts_per_hour = 3\n[[entry]]\nname = \"a\"\n\
             weekly = {{ days = [\"tue\"], at = \"06:00\" }}\nvolume = \"60 ml\"\n\
             window = \"{window}\"\n{pulses}"
        );
        place.write("site.toml", &site);
        place.call(&["check", "site.toml"]).out
    };
    assert!(check("30 s", "").contains("the least window is 20 min\n"));
    assert!(check("30 s", "pulses = 1\n").contains("the least window is 20 min\n"));
    let said = check("30 s", "pulses = 5\n");
    let help = "the least window is 1 h 40 min for 5 pulses; without `pulses` 20 min";
    assert!(said.contains(help), "{said}");
    assert!(check("100 min", "pulses = 5\n").contains("0 errors"));
    assert!(check("99 min", "pulses = 5\n").contains("4 pulses at most would do"));
    assert!(check("20 min", "pulses = 5\n").contains("1 pulse at most would do"));
    // two hundred of them are too short for the head, whatever the window: both are told
    let said = check("30 s", "pulses = 200\n");
    assert!(said.contains("20 min, for a number of pulses that goes"), "{said}");
    assert!(said.contains("300 ms each; the shortest pulse is 400 ms"), "{said}");
    assert!(said.contains("help: 150 pulses at most would do"), "{said}");
    assert!(said.contains("2 errors"), "{said}");
    // and so is one that is longer than the longest run
    place.write(
        "site.toml",
        &nights("")
            .replace("[head]\n", "[head]\nlongest_run = \"1 min\"\n")
            .replace("45 min", "1 min")
            .replace("pulses = 30", "pulses = 1"),
    );
    let said = place.call(&["check", "site.toml"]).out;
    assert!(said.contains("error[S014]") && said.contains("error[S036]"), "{said}");
    assert!(said.contains("so few pulses are longer than the longest run"), "{said}");
}

/// Where a window is too short for each pulse's share of an hour's starts, that is what is told,
/// however seldom the dose comes.
#[test]
fn a_window_below_the_share_of_an_hours_starts_is_told_as_such() {
    let place = Place::new("check-share");
    let check = |starts: u32, window: &str, more: &str| {
        let site = format!(
            "schema = 1\n[clock]\nstart = 2026-10-26T00:00:00\nzone = \"UTC0\"\nrun_for = \"9 d\"\n\
             [head]\nflow = \"26.5 ml/min\"\nstarts_per_hour = {starts}\n{more}[[entry]]\n\
             name = \"a\"\nevery = {{ interval = \"6 h\" }}\nvolume = \"1 ml\"\n\
             window = \"{window}\"\n"
        );
        place.write("site.toml", &site);
        let said = place.call(&["check", "site.toml"]);
        said.out
            .split(['|', ' ', '\n'])
            .filter(|word| !word.is_empty())
            .collect::<Vec<_>>()
            .join(" ")
    };
    for (starts, share, short) in [
        (60, "1 min", "59 s"),
        (30, "2 min", "119 s"),
        (6, "10 min", "9 min"),
        (1, "1 h", "59 min"),
    ] {
        let said = check(starts, short, "");
        let s = if starts == 1 { "" } else { "s" };
        let why = format!(
            "1 ml at 26.5 ml/min is 2 s 265 ms of pumping, 1 pulse at least; with {starts} start{s} an \
             hour each pulse takes {share} of its own window"
        );
        assert!(said.contains(&why), "{why}\n{said}");
        assert!(
            said.contains("error[S034]: the head allows too few starts an hour for this"),
            "{said}"
        );
        assert!(said.contains(&format!("the least window is {share}")), "{said}");
        assert!(check(starts, share, "").contains("0 errors"), "{starts}");
    }
    // too short for the pumping as well
    let said = check(60, "2 s", "");
    assert!(said.contains("error[S014]") && said.contains("each pulse takes 1 min"), "{said}");
    // and where the rests take more than that share, it is none of the reason
    let said = check(60, "65 s", "shortest_off = \"70 s\"\n");
    assert!(said.contains("error[S014]") && !said.contains("each pulse takes"), "{said}");
}
