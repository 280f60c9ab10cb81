//! `dosewright check`: everything at once, in three formats.

use std::fmt::Write as _;

use crate::support::{Place, good, nights, shipped, wide};

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
fn a_plain_friday_night_is_warned_about() {
    let place = Place::new("friday");
    let plain =
        shipped("01-quayside-canteen.toml").replace("nights = [\"fri\"]", "days = [\"fri\"]");
    place.write("plain.toml", &plain);
    let said = place.call(&["check", "plain.toml"]);
    assert_eq!(said.code, 0);
    let flat = said.out.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(flat.contains("warning[W001]"), "{flat}");
    assert!(
        flat.contains("nights = [\"fri\", ...]") && flat.contains("nights = [\"thu\", ...]"),
        "{flat}"
    );
    assert!(said.out.ends_with("0 errors, 1 warning; 1 file checked\n"), "{}", said.out);
    // as nights it is what is meant
    place.write("night.toml", &shipped("01-quayside-canteen.toml"));
    assert!(!place.call(&["check", "night.toml"]).out.contains("W001"));
    // quiet leaves it out, and still counts it
    let said = place.call(&["check", "plain.toml", "-q"]);
    assert_eq!(said.out, "0 errors, 1 warning; 1 file checked\n");
    let said = place.call(&["check", "plain.toml", "-q", "--format", "json"]);
    assert!(said.out.lines().count() == 1 && said.out.contains("\"warnings\":1"), "{said:?}");
}

#[test]
fn the_skipped_and_the_repeated_hour_are_warned_about() {
    let place = Place::new("spring");
    place.write("spring.toml", &shipped("02-mill-refectory-spring.toml"));
    place.write("autumn.toml", &shipped("02-mill-refectory-autumn.toml"));
    let flat = |text: &str| {
        let words = text.lines().map(|line| line.trim_start().trim_start_matches('|'));
        words.flat_map(str::split_whitespace).collect::<Vec<_>>().join(" ")
    };
    let spring = flat(&place.call(&["check", "spring.toml"]).out);
    assert!(spring.contains("warning[W002]"), "{spring}");
    assert!(
        spring.contains("on sun 29 mar 2026 02:30 does not exist: it runs 03:30 to 04:15"),
        "{spring}"
    );
    assert!(
        spring.contains("contact time before the next use of water is 1 h shorter"),
        "{spring}"
    );
    let autumn = flat(&place.call(&["check", "autumn.toml"]).out);
    assert!(
        autumn.contains("warning[W004]")
            && autumn.contains("on sun 25 oct 2026 02:30 comes twice, 1 h apart"),
        "{autumn}"
    );
    // it looks a year ahead, however short the run is; the run looks at itself
    assert!(autumn.contains("on sun 28 mar 2027 02:30 does not exist"), "{autumn}");
    assert!(autumn.contains("0 errors, 2 warnings"), "{autumn}");
    let ran = flat(&place.call(&["run", "autumn.toml"]).err);
    assert!(ran.contains("W004") && !ran.contains("W002"), "{ran}");
}

#[test]
fn an_interval_that_wanders_is_warned_about() {
    let place = Place::new("wanders");
    let entry = "[[entry]]\nname = \"trickle\"\nevery = { interval = \"5 h\", from = \"2026-10-05 06:00\" }\nvolume = \"15 ml\"\nwindow = \"10 min\"\n";
    place.write("week.toml", &nights(entry));
    let said = place.call(&["check", "week.toml"]);
    assert!(
        said.code == 0
            && said.out.contains("warning[W003]: \"trickle\" will at times meet \"night\""),
        "{}",
        said.out
    );
    // one that divides the day does not, where its windows are clear
    place.write("day.toml", &nights(&entry.replace("5 h", "6 h")));
    assert!(!place.call(&["check", "day.toml"]).out.contains("W003"));
    // nor one that divides the week, and passes the others by in each: dues of every 84 h
    // are at 06:00 on Mondays and at 18:00 on Thursdays
    place.write("half.toml", &nights(&entry.replace("5 h", "84 h")));
    assert!(!place.call(&["check", "half.toml"]).out.contains("W003"));
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
fn a_run_that_starts_in_the_skipped_hour_starts_after_it() {
    let place = Place::new("check-skipped-start");
    let file = |start: &str| {
        let late = "[[fault]]\nat = \"2026-04-08 02:00\"\nsupply_loss = { lasts = \"1 h\" }\n";
        nights(late).replace("2026-10-05T00:00:00", start).replace("4 days", "8 days")
    };
    place.write("site.toml", &file("2026-03-29T02:30:00"));
    let said = place.call(&["check", "site.toml"]).out;
    assert!(said.contains("W002") && said.contains("it starts at 2026-03-29 03:30"), "{said}");
    assert!(said.contains("the run ends at 2026-04-06 03:30"), "{said}");
    let ran = place.call(&["run", "site.toml"]).out;
    assert!(ran.contains("from sun 29 mar 2026 03:30"), "{ran}");
    let lines = place.call(&["run", "site.toml", "--json"]).out;
    assert!(lines.contains("\"start\":\"2026-03-29T03:30:00+02:00\""), "{lines}");
    // and where the clock changes later in the run, its end is on the changed clock
    place.write("site.toml", &file("2026-03-28T12:00:00"));
    let said = place.call(&["check", "site.toml"]).out;
    assert!(said.contains("the run ends at 2026-04-05 13:00") && !said.contains("W002"), "{said}");
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
fn doses_that_meet_when_the_clock_changes_are_warned_about() {
    let place = Place::new("check-meet");
    let of = |start: &str, entries: &[(&str, &str, &str)]| {
        let mut text = nights("");
        text.truncate(text.find("[[entry]]").unwrap());
        text = text.replace("2026-10-05T00:00:00", start).replace("4 days", "20 days");
        for (name, when, window) in entries {
            _ = write!(
                text,
                "[[entry]]\nname = \"{name}\"\n{when}\nvolume = \"60 ml\"\nwindow = \"{window}\"\n\n"
            );
        }
        place.write("site.toml", &text);
        let said = place.call(&["check", "site.toml"]);
        assert_eq!(said.code, 0, "{said:?}");
        crate::support::wide(&said.out);
        let flat = said.out.replace(['|', '^'], "");
        flat.split_whitespace().collect::<Vec<_>>().join(" ")
    };
    let night = |at: &str| format!("weekly = {{ nights = [\"sat\"], at = \"{at}\" }}");
    let (spring, summer) = ("2026-03-20T00:00:00", "2026-06-19T00:00:00");
    // a window that reaches over the skipped hour
    let said = of(spring, &[("a", &night("01:30"), "60 min"), ("b", &night("03:00"), "30 min")]);
    assert!(
        said.contains("W008")
            && said
                .contains("on sun 29 mar 2026 \"a\" runs 01:30 to 03:30, and \"b\" 03:00 to 03:30"),
        "{said}"
    );
    // a dose that is moved onto another
    let said = of(spring, &[("b", &night("03:10"), "30 min"), ("a", &night("02:20"), "30 min")]);
    assert!(said.contains("\"a\" meets \"b\" when the clock has changed"), "{said}");
    // an interval does not follow the clock
    let every = "every = { interval = \"24 h\", from = \"2026-03-20 13:00\" }";
    let noon = "weekly = { days = [\"mon\", \"wed\"], at = \"14:10\" }";
    let said = of(spring, &[("a", every, "30 min"), ("b", noon, "30 min")]);
    assert!(
        said.contains("on mon 30 mar 2026") && said.contains("until it changes back"),
        "{said}"
    );
    // an hour further off nothing meets
    let said = of(spring, &[("a", &night("00:30"), "60 min"), ("b", &night("03:00"), "30 min")]);
    assert!(!said.contains("W008"), "{said}");
    // a year ahead; the run itself has no change
    let said = of(summer, &[("a", &night("01:30"), "60 min"), ("b", &night("03:00"), "30 min")]);
    assert!(said.contains("W008") && said.contains("on sun 28 mar 2027"), "{said}");
    assert!(!place.call(&["run", "site.toml"]).err.contains("W008"));
    let closed = of(
        spring,
        &[
            ("a", &night("01:30"), "60 min\"\nlast = 2026-03-27\npulses = 10\n#"),
            ("b", &night("03:00"), "30 min"),
        ],
    );
    assert!(!closed.contains("W008"), "{closed}");
}

#[test]
fn a_container_at_its_heel_is_warned_about() {
    let place = Place::new("check-heel");
    let check = |level: &str| {
        let more = format!("[container]\ncapacity = \"10 l\"\nlevel = \"{level}\"\n");
        place.write("site.toml", &nights(&more));
        place.call(&["check", "site.toml"])
    };
    let said = check("400 ml");
    assert!(said.code == 0 && said.out.contains("W009"), "{said:?}");
    assert!(!check("401 ml").out.contains("W009"));
}

#[test]
fn closed_dates_that_do_not_hold_an_interval_are_warned_about() {
    let place = Place::new("check-closed");
    let check = |more: &str, first: &str, last: &str| {
        let entry = "[[entry]]\nname = \"x\"\nevery = { interval = \"24 h\", from = \"2026-10-19 12:00\" }\nvolume = \"15 ml\"\nwindow = \"20 min\"\n";
        let closed = format!("[[closed]]\nfirst = {first}\nlast = {last}\n");
        place.write("site.toml", &nights(&format!("{closed}{entry}{more}")));
        place.call(&["check", "site.toml"])
    };
    let said = check("", "2026-10-06", "2026-10-07");
    assert!(said.code == 0 && said.out.contains("W010"), "{said:?}");
    // one that is off, or dates that are not in the run, are no matter
    assert!(!check("enabled = false\n", "2026-10-06", "2026-10-07").out.contains("W010"));
    assert!(!check("", "2026-09-20", "2026-09-21").out.contains("W010"));
    // nobody is left to think that it observes them
    let said = check("observes_closed = true\n", "2026-10-06", "2026-10-07");
    assert!(said.code == 2 && said.out.contains("for weekly entries only"), "{said:?}");
}

#[test]
fn a_timetable_that_doses_nothing_is_warned_about() {
    let place = Place::new("check-nothing");
    let check = |site: &str| {
        place.write("site.toml", site);
        let said = place.call(&["check", "site.toml"]);
        assert_eq!(said.code, 0, "{said:?}");
        said.out
    };
    let site = nights("");
    let bare = &site[..site.find("[[entry]]").unwrap()];
    assert!(check(bare).contains("there is no [[entry]]"));
    assert!(check(&format!("{site}enabled = false\n")).contains("every entry is disabled"));
    assert!(check(&format!("{site}first = 2027-10-07\n")).contains("comes due in 366 d"));
    assert!(!check(&format!("{site}first = 2027-10-04\n")).contains("W012"));
    // nights that are all closed, and one that is not
    let closed = |last: &str| {
        format!("{site}last = {last}\n\n[[closed]]\nfirst = 2026-10-05\nlast = 2026-10-13\n")
    };
    assert!(check(&closed("2026-10-13")).contains("W012"));
    assert!(!check(&closed("2026-10-14")).contains("W012"));
    // somebody may enter a timetable
    let act = "[[operator]]\nat = \"+1 h\"\nprime = { volume = \"10 ml\" }\n";
    assert!(!check(&format!("{bare}{act}")).contains("W012"));
}

#[test]
fn weekly_entries_on_a_clock_that_is_never_set_are_warned_about() {
    let place = Place::new("check-unset");
    let check = |more: &str| {
        place.write("site.toml", &nights(more).replace("[head]", "unset = true\n[head]"));
        let said = place.call(&["check", "site.toml"]);
        assert_eq!(said.code, 0, "{said:?}");
        said.out.split_whitespace().collect::<Vec<_>>().join(" ")
    };
    let said = check("");
    assert!(said.contains("W012]: nothing is dosed by this timetable"), "{said}");
    assert!(said.contains("leave `unset` out") && !said.contains("look at the years"), "{said}");
    let every = "[[entry]]\nname = \"x\"\nevery = { interval = \"24 h\", from = \"+12 h\" }\nvolume = \"15 ml\"\nwindow = \"20 min\"\n";
    assert!(check(every).contains("nothing is dosed by the weekly entries"), "{}", check(every));
    let act = "[[operator]]\nat = \"+1 h\"\nset_clock = { to = \"2026-10-05 01:00\" }\n";
    assert!(!check(act).contains("W012"));
    // what is reckoned of it all the same says as what
    let said = place.call(&["forecast", "site.toml"]);
    let flat = said.out.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(flat.contains("are reckoned here as if it were"), "{said:?}");
}

#[test]
fn what_no_line_can_lift_is_warned_about() {
    let place = Place::new("check-lift");
    let check = |lift: &str| {
        let tube = format!("[tube]\nbore = \"4.8 mm\"\nsuction = \"12 m\"\nlift = \"{lift}\"\n");
        place.write("site.toml", &nights(&tube));
        let said = place.call(&["check", "site.toml"]);
        assert_eq!(said.code, 0, "{said:?}");
        said.out.contains("W013")
    };
    // 10.11 m is what water can be lifted at 20 C
    assert!(check("10.2 m") && !check("9.9 m"));
}

#[test]
fn a_dose_that_no_filling_makes_whole_is_warned_about() {
    let place = Place::new("check-large");
    let check = |capacity: &str| {
        place.write("site.toml", &nights(&format!("[container]\ncapacity = \"{capacity}\"\n")));
        let said = place.call(&["check", "site.toml"]);
        assert_eq!(said.code, 0, "{said:?}");
        said.out.contains("W014")
    };
    // 120 ml above a heel of 4 %
    assert!(check("124 ml") && !check("125 ml"));
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
fn an_interval_counted_from_a_time_that_does_not_exist_is_warned_about() {
    let place = Place::new("check-skipped");
    let check = |from: &str| {
        let entry = format!(
            "[[entry]]\nname = \"x\"\nevery = {{ interval = \"24 h\", from = \"{from}\" }}\nvolume = \"15 ml\"\nwindow = \"20 min\"\n"
        );
        place.write("site.toml", &nights(&entry));
        place.call(&["check", "site.toml"]).out
    };
    let said = check("2027-03-28 02:30");
    assert!(said.contains("W002") && said.contains("there is no 02:30:"), "{said}");
    assert!(said.contains("it begins at 03:30"), "{said}");
    assert!(!check("2027-03-28 03:30").contains("W002"));
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
    let check = |kib: u32| {
        place.write("site.toml", &nights(&format!("[memory]\nsector = \"{kib} KiB\"\n")));
        (place.call(&["check", "site.toml"]), place.call(&["run", "site.toml"]))
    };
    let (said, ran) = check(16);
    assert!(said.code == 2 && said.out.contains("S043") && said.out.contains("32 KiB"), "{said:?}");
    assert!(ran.code == 2 && ran.err.contains("site.toml:"), "{ran:?}");
    let (said, ran) = check(32);
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
