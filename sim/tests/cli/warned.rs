//! `dosewright check`: what is taken and yet worth knowing.

use std::fmt::Write as _;

use crate::support::{Place, flat, nights, shipped};

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
        let entry = "[[entry]]\nname = \"x\"\nevery = { interval = \"24 h\", from = \"2026-10-05 12:00\" }\nvolume = \"15 ml\"\nwindow = \"20 min\"\n";
        let closed = format!("[[closed]]\nfirst = {first}\nlast = {last}\n");
        place.write("site.toml", &nights(&format!("{closed}{entry}{more}")));
        place.call(&["check", "site.toml"])
    };
    let said = check("", "2026-10-06", "2026-10-07");
    assert!(said.code == 0 && said.out.contains("W010"), "{said:?}");
    // one that is off, or dates that are not in the run, are no matter
    assert!(!check("enabled = false\n", "2026-10-06", "2026-10-07").out.contains("W010"));
    assert!(!check("", "2026-09-20", "2026-09-21").out.contains("W010"));
    // nor is one of which no dose falls on them: noon of 19 October and every 60 d from then on
    let rare = |first: &str, last: &str| {
        let entry = "[[entry]]\nname = \"x\"\nevery = { interval = \"60 d\", from = \"2026-10-19 12:00\" }\nvolume = \"15 ml\"\nwindow = \"20 min\"\n";
        let closed = format!("[[closed]]\nfirst = {first}\nlast = {last}\n");
        place.write("site.toml", &nights(&format!("{closed}{entry}")));
        place.call(&["check", "site.toml"]).out.contains("W010")
    };
    assert!(!rare("2026-10-20", "2026-12-17") && !rare("2026-10-05", "2026-10-18"));
    assert!(rare("2026-10-20", "2026-12-18") && rare("2026-12-18", "2026-12-18"));
    assert!(!rare("2026-12-19", "2026-12-19"));
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
    // and what closes them is named
    let said = check(&closed("2026-10-13")).split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(said.contains("every dose that comes due in 366 d falls on closed dates"), "{said}");
    assert!(said.contains("`last` of [[closed]]") && !said.contains("`enabled`"), "{said}");
    // somebody may enter a timetable
    let act = "[[operator]]\nat = \"+1 h\"\nprime = { volume = \"10 ml\" }\n";
    assert!(!check(&format!("{bare}{act}")).contains("W012"));
}

#[test]
fn an_entry_that_never_comes_due_is_told_by_name() {
    let place = Place::new("check-never");
    let second = |keys: &str| {
        let keys = if keys.starts_with("every") {
            keys.to_owned()
        } else {
            format!("weekly = {{ nights = [\"fri\"], at = \"03:00\" }}\n{keys}")
        };
        nights(&format!(
            "[[entry]]\nname = \"b\"\nvolume = \"60 ml\"\nwindow = \"30 min\"\n{keys}\n"
        ))
    };
    let check = |site: &str| {
        place.write("site.toml", site);
        let said = place.call(&["check", "site.toml"]);
        assert_eq!(said.code, 0, "{said:?}");
        flat(&said.out)
    };
    // a year of 366 days from Monday 5 October 2026, 00:00, ends with that of the next
    let mut told = 0;
    for (keys, why) in [
        ("first = 2072-02-01", "no dose of it comes due in 366 d"),
        ("last = 2026-02-01", "it was over before the start of the run, 2026-10-05"),
        ("every = { interval = \"36 h\", from = \"2028-02-02 13:00\" }", "no dose of it comes"),
        (
            "last = 2037-03-07\n[[closed]]\nfirst = 2026-10-09\nlast = 2037-03-07",
            "every dose of it that comes due in 366 d falls on closed dates",
        ),
    ] {
        let said = check(&second(keys));
        assert!(said.contains("W022]: \"b\" never comes due") && said.contains(why), "{said}");
        assert!(!said.contains("\"night\" never") && !said.contains("W012"), "{said}");
        told += 1;
    }
    assert_eq!(told, 4);
    // what is forecast says so too
    let forecast = |site: &str| {
        place.write("site.toml", site);
        flat(&place.call(&["forecast", "site.toml"]).out)
    };
    let said = forecast(&second("first = 2072-02-01"));
    assert!(said.contains("timetable: \"b\" never comes due: no dose of it comes due"), "{said}");
    assert!(!forecast(&second("")).contains("never comes due"));
    // what does come within the year, however short the run is; what is not to run
    for keys in
        ["", "first = 2027-10-01", "last = 2026-10-09", "enabled = false\nfirst = 2072-02-01"]
    {
        assert!(!check(&second(keys)).contains("W022"), "{keys}");
    }
    assert!(check(&second("first = 2027-10-08")).contains("W022"));
    // somebody changes it, or sets the clock to the year in question
    let with = |act: &str| {
        let act = format!("first = 2072-02-01\n[[operator]]\nat = \"+1 h\"\n{act}");
        check(&second(&act)).contains("W022")
    };
    assert!(!with("edit = { entry = \"b\", first = 2026-11-01 }"));
    assert!(with("edit = { entry = \"night\", volume = \"110 ml\" }"));
    assert!(!with("set_clock = { by = \"400 d\" }") && with("set_clock = { by = \"2 min\" }"));
    assert!(!with("set_clock = { to = \"2072-02-01 10:00\" }"));
    assert!(with("set_clock = { to = \"2026-10-05 01:02\" }"));
}

#[test]
fn a_lead_where_no_start_loses_anything_is_warned_about() {
    let place = Place::new("check-lead");
    let check = |keys: &str| {
        let head = format!("flow = \"26.5 ml/min\"\n{keys}");
        place.write("site.toml", &nights("").replace("flow = \"26.5 ml/min\"", &head));
        let said = place.call(&["check", "site.toml"]);
        assert_eq!(said.code, 0, "{said:?}");
        flat(&said.out)
    };
    // 26.5 ml/min for 0.4 s
    let said = check("lead = \"400 ms\"");
    assert!(said.contains("W023") && said.contains("delivers 0.177 ml too much"), "{said}");
    // a run without a drive does not turn by the model, whatever is said of its start
    assert!(check("lead = \"400 ms\"\nspin_up = \"1 s\"").contains("W023"));
    for keys in ["", "lead = \"0 ms\"", "lead = \"400 ms\"\ndrive = { on_off = {} }"] {
        assert!(!check(keys).contains("W023"), "{keys}");
    }
}

#[test]
fn weekly_entries_on_a_clock_that_is_never_set_are_warned_about() {
    let place = Place::new("check-unset");
    let check = |more: &str| {
        place.write("site.toml", &nights(more).replace("[head]", "unset = true\n[head]"));
        let said = place.call(&["check", "site.toml"]);
        assert_eq!(said.code, 0, "{said:?}");
        flat(&said.out)
    };
    let said = check("");
    assert!(said.contains("W012]: nothing is dosed by this timetable"), "{said}");
    assert!(said.contains("leave `unset` out") && !said.contains("look at the years"), "{said}");
    let every = "[[entry]]\nname = \"x\"\nevery = { interval = \"24 h\", from = \"+12 h\" }\nvolume = \"15 ml\"\nwindow = \"20 min\"\n";
    assert!(check(every).contains("nothing is dosed by the weekly entries"), "{}", check(every));
    let act = "[[operator]]\nat = \"+1 h\"\nset_clock = { to = \"2026-10-05 01:00\" }\n";
    assert!(!check(act).contains("W012"));
    // a touch of the knob lights the display, and sets no clock
    let touch = "[[operator]]\nat = \"tue 10:00\"\npress = { key = \"ok\" }\n";
    assert!(check(touch).contains("W012"));
    // a clock that is unset cannot be moved
    let moved = "[[operator]]\nat = \"+1 h\"\nset_clock = { by = \"1 h\" }\n";
    assert!(
        check(moved).contains("W012") && check(moved).contains("`by` moves a clock that is set")
    );
    let ran = place.call(&["run", "site.toml"]).out;
    let flat = ran.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        flat.contains("refused: `set_clock` (line 21): `by` moves a clock that is set"),
        "{ran}"
    );
    let lines = place.call(&["run", "site.toml", "--json"]).out;
    assert!(lines.contains("\"reason\":\"`by` moves a clock that is set, "), "{lines}");
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
        (said.out.contains("W013"), said.out.contains("W018"))
    };
    // 10.11 m is what water can be lifted at 20 C
    assert_eq!(check("10.2 m"), (true, false));
    assert_eq!(check("9.9 m"), (false, true));
    // from 2 m on, with its friction, a head may not do it
    assert_eq!((check("2 m"), check("1.9 m")), ((false, true), (false, false)));
}

#[test]
fn a_run_that_starts_in_the_repeated_hour_starts_in_its_first_pass() {
    let place = Place::new("start-repeated");
    let check = |start: &str| {
        let site = nights("").replace("2026-10-05T00:00:00", start);
        place.write("site.toml", &site);
        let said = place.call(&["check", "site.toml"]);
        assert_eq!(said.code, 0, "{said:?}");
        flat(&said.out)
    };
    let said = check("2026-10-25T02:30:00");
    assert!(said.contains("W004]: the run starts in the hour that autumn repeats"), "{said}");
    assert!(said.contains("2026-10-25 02:30 comes twice: it starts at the first"), "{said}");
    for once in ["2026-10-25T01:59:59", "2026-10-25T03:00:00", "2026-10-24T02:30:00"] {
        assert!(!check(once).contains("W004"), "{once}");
    }
}

#[test]
fn a_product_that_is_out_of_date_at_the_first_dose_is_warned_about() {
    let place = Place::new("check-date");
    let check = |date: &str, more: &str, first: &str| {
        let product = format!("[product]\nuse_by = {date}\n[container]\ncapacity = \"9 l\"\n");
        let site =
            nights(&format!("{product}{more}")).replace("window =", &format!("{first}window ="));
        place.write("site.toml", &site);
        let said = place.call(&["check", "site.toml"]);
        assert_eq!(said.code, 0, "{said:?}");
        flat(&said.out)
    };
    // it is dosed from 6 October on, and can be used on the last day that is given
    assert!(!check("2026-10-06", "", "").contains("W017"));
    let said = check("2026-10-05", "", "");
    assert!(said.contains("W017"), "{said}");
    assert!(said.contains("until 2026-10-05, and is dosed from 2026-10-06 on"), "{said}");
    // what is filled in before is another product; what is filled in afterwards comes too late
    let filled =
        |at: &str| format!("[[operator]]\nat = \"{at}\"\nrefill = {{ level = \"9 l\" }}\n");
    assert!(!check("2026-10-04", &filled("2026-10-05 12:00"), "").contains("W017"));
    assert!(check("2026-10-04", &filled("2026-10-06 12:00"), "").contains("W017"));
    // an entry that begins later
    let first = "first = 2026-10-07\n";
    assert!(!check("2026-10-08", "", first).contains("W017"));
    assert!(!check("2026-10-04", &filled("2026-10-06 12:00"), first).contains("W017"));
    assert!(check("2026-10-04", "", first).contains("dosed from 2026-10-08 on"));
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
fn a_vessel_that_overflows_is_warned_about_and_never_read() {
    let place = Place::new("check-vessel");
    let site = |vessel: &str, more: &str| {
        let act = format!("calibrate = {{ vessel = \"{vessel}\", run = \"5 min\", {more} }}");
        place.write("site.toml", &nights(&format!("[[operator]]\nat = \"+1 h\"\n{act}\n")));
        let said = place.call(&["check", "site.toml"]);
        (said.code, said.out.split_whitespace().collect::<Vec<_>>().join(" "))
    };
    // five minutes at 26.5 ml/min
    let (code, said) = site("100 ml", "as_delivered = true");
    assert!(code == 0 && said.contains("W019]"), "{said}");
    assert!(said.contains("about 132.5 ml come, it holds 100 ml"), "{said}");
    let ran = place.call(&["run", "site.toml", "-v"]).out;
    let flat = ran.split_whitespace().collect::<Vec<_>>().join(" ");
    let why = "the vessel overflowed, nothing is read: 132.5 ml came out, it holds 100 ml";
    assert!(flat.contains(why) && !flat.contains("calibrated:"), "{ran}");
    let lines = place.call(&["run", "site.toml", "--json"]).out;
    assert!(lines.contains("\"became\":\"vessel overflowed\"") && lines.contains(why), "{lines}");
    // one that holds it is read
    let (code, said) = site("250 ml", "as_delivered = true");
    assert!(code == 0 && !said.contains("W019"), "{said}");
    let ran = place.call(&["run", "site.toml", "-v"]).out;
    assert!(ran.contains("calibrated:") && !ran.contains("overflowed"), "{ran}");
    // nobody can read more than is there to be read
    let (code, said) = site("100 ml", "measured = \"101 ml\"");
    assert!(code == 2 && said.contains("`measured` is more than the vessel holds"), "{said}");
    assert_eq!(site("100 ml", "measured = \"100 ml\"").0, 0);
}

#[test]
fn cells_of_another_type_are_warned_about() {
    let place = Place::new("check-cells");
    let check = |cells: &str| {
        let act = format!("change_pack = {{ {cells} }}");
        let more = format!(
            "[supply]\nbattery = {{ type = \"LR20\" }}\n[[operator]]\nat = \"+1 h\"\n{act}\n"
        );
        place.write("site.toml", &nights(&more));
        let said = place.call(&["check", "site.toml"]);
        assert_eq!(said.code, 0, "{said:?}");
        said.out.split_whitespace().collect::<Vec<_>>().join(" ")
    };
    let said = check("type = \"LR6\"");
    assert!(said.contains("W020]: the device is set up for cells of another type"), "{said}");
    assert!(said.contains("goes on with charge and voltages of LR20"), "{said}");
    assert!(!check("type = \"LR20\"").contains("W020") && !check("").contains("W020"));
}
