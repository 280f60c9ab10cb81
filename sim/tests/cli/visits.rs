//! What people do at the device in a run, and what of it is told where.

use serde_json::Value;

use crate::support::{Place, flat, lines, nights, shipped};

const ACTS: &str = r#"
[container]
capacity = "20 l"
level = "9 l"
[[operator]]
at = "2026-10-05 10:00"
edit = { entry = "night", volume = "150 ml", window = "1 h" }
[[operator]]
at = "2026-10-05 11:00"
add = { name = "tea", weekly = { days = ["wed"], at = "15:00" }, volume = "20 ml", window = "20 min" }
[[operator]]
at = "2026-10-06 10:00"
disable = { entry = "tea" }
[[operator]]
at = "2026-10-07 09:00"
refill = { level = "15 l" }
[[operator]]
at = "2026-10-07 09:30"
calibrate = { flow = "25 ml/min" }
[[operator]]
at = "2026-10-07 10:00"
change_tube = {}
[[operator]]
at = "2026-10-07 11:00"
remove = { entry = "tea" }
[[fault]]
at = "2026-10-07 12:00"
remote_stop = { lasts = "2 h" }
"#;

#[test]
fn what_a_visit_changed_is_told_in_text_lines_and_page() {
    let place = Place::new("visits-told");
    place.write("site.toml", &nights(ACTS));
    let changes = [
        "timetable: \"night\": dose 120 ml to 150 ml, window 45 min to 1 h",
        "timetable: \"tea\" added: 20 ml over 20 min, days wed at 15:00",
        "timetable: \"tea\": disabled",
        "timetable: \"tea\" removed",
    ];
    let said = place.call(&["run", "site.toml", "-v"]);
    let text = flat(&said.out);
    for change in changes {
        assert!(text.contains(change), "{change}: {}", said.out);
    }
    place.call(&["report", "site.toml", "-o", "r.html", "-q"]);
    let page = place.read("r.html").replace("&quot;", "\"");
    let happened = &page[page.find("What happened to it").unwrap()..];
    let happened = &happened[..happened.find("</section>").unwrap()];
    let others = [
        "container filled to 15 l",
        "asked to set the flow to 25 ml/min",
        "new tube set",
        "remote stop on",
        "remote stop off",
    ];
    for what in changes.iter().chain(&others) {
        assert_eq!(happened.matches(what).count(), 1, "{what}: {happened}");
    }
    // what is set up at the start is no visit
    assert!(!happened.contains("\"night\" added"), "{happened}");
    let told = lines(&place, &["run", "site.toml", "--json"]);
    let changed: Vec<&Value> = told.iter().filter(|line| line["event"] == "timetable").collect();
    assert_eq!(changed.len(), changes.len(), "{changed:?}");
    assert_eq!(changed[0]["entry"], "night");
    assert_eq!(changed[0]["before"]["volume_ul"], 120_000);
    assert_eq!(changed[0]["after"]["volume_ul"], 150_000);
    assert!(changed[1]["before"].is_null() && changed[3]["after"].is_null(), "{changed:?}");
    // and the saved lines make the same of it
    place.write("run.jsonl", &place.call(&["run", "site.toml", "--json"]).out);
    place.call(&["report", "run.jsonl", "-o", "s.html", "-q"]);
    assert!(place.read("s.html") == place.read("r.html"), "{}", place.read("s.html"));
}

#[test]
fn an_edit_that_the_device_refuses_changed_nothing() {
    let place = Place::new("visits-refused");
    let edit = "[[operator]]\nat = \"2026-10-05 10:00\"\n\
                edit = { entry = \"night\", window = \"1 min\" }\n";
    place.write("site.toml", &nights(edit));
    let said = place.call(&["run", "site.toml", "-v"]);
    assert!(said.out.contains("refused: "), "{said:?}");
    assert!(!said.out.contains("timetable: \"night\""), "{said:?}");
}

#[test]
fn d5_the_alarm_names_the_doses_that_do_not_fit() {
    let place = Place::new("visits-misfit");
    let acts = "[[entry]]\nname = \"small\"\nweekly = { days = [\"thu\"], at = \"12:00\" }\n\
                volume = \"10 ml\"\nwindow = \"2 h\"\n[[operator]]\nat = \"2026-10-05 10:00\"\n\
                calibrate = { flow = \"2 ml/min\" }\n";
    place.write("site.toml", &nights(acts));
    let said = place.call(&["run", "site.toml", "-v", "--image", "image.bin"]);
    assert!(said.out.contains("alarm: dose does not fit (night)"), "{said:?}");
    let told = lines(&place, &["run", "site.toml", "--json"]);
    let alarm = told.iter().find(|line| line["alarm"] == "dose does not fit").unwrap();
    assert_eq!(alarm["entries"], serde_json::json!(["night"]));
    let replayed = place.call(&["replay", "image.bin"]).out;
    assert!(flat(&replayed).contains("alarm on: dose does not fit; entry 1"), "{replayed}");
    place.call(&["report", "site.toml", "-o", "r.html", "-q"]);
    assert!(place.read("r.html").contains("alarm on: dose does not fit (night)"));
}

/// The dose that is under way comes off the level when it ends; what is told is what is there.
#[test]
fn a_level_told_in_mid_dose_is_less_what_the_dose_draws() {
    let place = Place::new("visits-mid-dose");
    let refill = "[container]\ncapacity = \"10 l\"\nlevel = \"5 l\"\n[[operator]]\n\
                  at = \"tue 01:10\"\nrefill = { level = \"10 l\" }\n";
    place.write("site.toml", &nights(refill));
    let told = lines(&place, &["run", "site.toml", "--json"]);
    let account: Vec<u64> = told
        .iter()
        .filter(|line| line["event"] == "account")
        .map(|line| line["level_ul"].as_u64().unwrap())
        .collect();
    // a pulse that runs, of 4 ml, is off already
    assert_eq!(account[0], 5_000_000);
    assert!((9_995_999..=10_000_000).contains(&account[1]), "{account:?}");
    assert!(account[1..].is_sorted_by(|a, b| a >= b), "{account:?}");
}

#[test]
fn a_check_says_that_it_is_of_the_timetable_at_the_start() {
    let place = Place::new("visits-check");
    place.write("site.toml", &nights(ACTS));
    let text = "site.toml: 4 later changes of clock or timetable are not looked at: this is of \
                the timetable at the start";
    let said = place.call(&["check", "site.toml"]);
    assert!(said.code == 0 && flat(&said.out).contains(text), "{said:?}");
    assert!(said.out.ends_with("; 1 file checked\n"), "{said:?}");
    let json = lines(&place, &["check", "site.toml", "--format", "json"]);
    assert_eq!(json.last().unwrap()["later_changes"], 4);
    place.write("still.toml", &nights(""));
    assert!(!place.call(&["check", "still.toml"]).out.contains("later"));
}

#[test]
fn names_of_one_site_stay_apart_in_the_text() {
    let place = Place::new("visits-names");
    let entry = |line: u32, at: u32| {
        format!(
            "[[entry]]\nname = \"banqueting kitchen line {line}\"\nvolume = \"20 ml\"\n\
             window = \"20 min\"\nweekly = {{ days = [\"tue\"], at = \"{at:02}:00\" }}\n"
        )
    };
    place.write("site.toml", &nights(&(entry(1, 9) + &entry(10, 11) + &entry(4, 13))));
    let out = place.call(&["run", "site.toml", "-v"]).out;
    crate::support::wide(&out);
    for end in ["line 1 ", "line 10 ", "line 4 "] {
        assert_eq!(
            out.matches(&format!("~{}", &end[1..])).count() + out.matches(end).count(),
            2,
            "{end}: {out}"
        );
    }
}

/// Dues by a clock of another zone than the place's: the forecast has as many as the run.
#[test]
fn a_forecast_of_a_device_in_another_zone_has_the_doses_of_the_run() {
    let place = Place::new("visits-zone");
    for (zone, own) in [("<+13>-13", "UTC0"), ("UTC0", "<+13>-13"), ("<-08>8", "<+09>-9")] {
        let site = nights("[container]\ncapacity = \"20 l\"\n")
            .replace(
                "\"CET-1CEST,M3.5.0,M10.5.0/3\"",
                &format!("\"{zone}\"\ndevice_zone = \"{own}\""),
            )
            .replace("T00:00:00", "T12:00:00")
            .replace("\"4 days\"", "\"365 days\"")
            // a due lies between the start by one clock and by the other
            .replace("[\"mon\", \"tue\"", "[\"sun\", \"mon\", \"tue\"")
            .replace("00:45", "02:30");
        place.write("site.toml", &site);
        let summary = lines(&place, &["run", "site.toml", "--json"]).pop().unwrap();
        let forecast = place.call(&["forecast", "site.toml", "--json"]).out;
        let forecast: Value = serde_json::from_str(&forecast).unwrap();
        assert_eq!(forecast["doses_a_year"], summary["dues"], "{zone} {own}");
    }
}

#[test]
fn a_replay_has_pin_ceiling_closed_dates_and_tube_set() {
    let place = Place::new("visits-replay");
    let acts = "[limits]\ndaily_ceiling = \"400 ml\"\n[[closed]]\nfirst = 2026-10-20\n\
                last = 2026-10-22\n[[operator]]\nat = \"2026-10-05 09:00\"\nset_pin = { pin = \"0417\" }\n\
                [[operator]]\nat = \"2026-10-05 09:01\"\nunlock = { pin = \"0417\" }\n\
                [[operator]]\nat = \"2026-10-05 09:02\"\nchange_tube = {}\n";
    place.write("site.toml", &nights(acts));
    place.call(&["run", "site.toml", "--image", "image.bin"]);
    let said = place.call(&["replay", "image.bin"]).out;
    assert!(said.contains("  tube     put in 2026-10-05 09:02"), "{said}");
    let json = lines(&place, &["replay", "image.bin", "--json"]);
    let started = json.iter().find(|line| line["event"] == "started").unwrap();
    assert_eq!(started["pin_set"], true);
    assert_eq!(started["ceiling_ul"], 400_000);
    assert_eq!(started["closed"], serde_json::json!([["2026-10-20", "2026-10-22"]]));
    let tube = started["tube"].as_str().unwrap();
    assert!(tube.starts_with("put in 2026-10-05 09:02"), "{tube}");
    // of a device that has none of it
    place.write("plain.toml", &shipped("01-quayside-canteen.toml"));
    place.call(&["run", "plain.toml", "--image", "plain.bin"]);
    let json = lines(&place, &["replay", "plain.bin", "--json"]);
    let started = json.iter().find(|line| line["event"] == "started").unwrap();
    assert_eq!((&started["pin_set"], &started["closed"]), (&false.into(), &serde_json::json!([])));
}

#[test]
fn an_uncertainty_of_a_sheet_has_a_unit() {
    let place = Place::new("visits-uncertainty");
    place.write("site.toml", &nights(""));
    let sheet = |uncertainty: &str| {
        place.call(&["sheet", "site.toml", "-o", "s.html", "-q", "--uncertainty", uncertainty])
    };
    for good in ["0.43 ml/min", "1.4 %"] {
        assert_eq!(sheet(good).code, 0, "{good}");
    }
    for bad in ["0.43", "abc", "0 ml/min"] {
        let said = sheet(bad);
        assert!(said.code == 2 && said.err.contains("0.43 ml/min"), "{bad}: {said:?}");
    }
}
