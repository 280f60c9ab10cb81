//! What a page, its lines and its text make of doses that are not like the others.

use std::fmt::Write as _;

use serde_json::Value;

use crate::support::{Place, flat, lines, nights};

/// The page of a scenario. The saved lines of its run make the same.
fn page(place: &Place, text: &str) -> String {
    place.write("site.toml", text);
    place.call(&["report", "site.toml", "-o", "r.html", "-q"]);
    place.write("run.jsonl", &place.call(&["run", "site.toml", "--json"]).out);
    place.call(&["report", "run.jsonl", "-o", "s.html", "-q"]);
    let page = place.read("r.html");
    assert!(page == place.read("s.html"), "{}", place.read("s.html"));
    page
}

/// The parts of a page that stand between two words.
fn between<'p>(page: &'p str, from: &str, to: &str) -> &'p str {
    let at = page.find(from).unwrap_or_else(|| panic!("{from:?} is not in {page}")) + from.len();
    &page[at..][..page[at..].find(to).unwrap()]
}

/// Two dues of the night in which the clocks go forward are 23 h apart by the device's own
/// time, which is what the ceiling goes by (D7); of a fast clock a little less in true time.
#[test]
fn d7_the_night_of_spring_is_no_fuller_on_the_page() {
    let place = Place::new("page-spring");
    for drift in ["20 ppm", "-20 ppm"] {
        let text = nights("")
            .replace("2026-10-05", "2027-03-26")
            .replace("run_for", &format!("drift = \"{drift}\"\nrun_for"))
            .replace("nights = [\"mon\", \"tue\", \"wed\"]", "days = [\"fri\", \"sat\", \"sun\"]")
            .replace("00:45", "22:45");
        let page = page(&place, &text);
        let found = "The most in any 23 hours is 120 ml, first on <span class=\"date\">2027-03-26</span>, and stays under the ceiling of 150 ml.";
        assert!(page.contains(found), "{drift}: {page}");
    }
}

/// A row of closed doses is told when the next dose of its entry ends: it stands by its due.
#[test]
fn the_list_of_a_page_is_in_the_order_of_dues() {
    let place = Place::new("page-order");
    let more = "[[entry]]\nname = \"rinse\"\nweekly = { days = [\"sat\"], at = \"06:00\" }\n\
                volume = \"100 ml\"\nwindow = \"40 min\"\n[[closed]]\nfirst = 2026-10-17\n\
                last = 2026-10-31\n";
    let text = nights(more)
        .replace("\"4 days\"", "\"40 days\"")
        .replace("pulses = 30", "pulses = 30\nobserves_closed = false");
    let page = page(&place, &text);
    let list = between(&page, "All doses</caption>", "</table>");
    let dues: Vec<&str> =
        list.match_indices("<tr><th scope=\"row\">").map(|(at, _)| &list[at..]).collect();
    let first = |row: &&str| between(row, "<time datetime=\"", "\"").to_owned();
    let dates: Vec<String> = dues.iter().map(first).collect();
    assert!(dates.len() > 15 && dates.is_sorted(), "{dates:?}");
    assert!(list.contains("skipped x 3"), "{list}");
}

/// What is asked for is none of those that were due, also where it is open at the end.
#[test]
fn a_dose_asked_for_that_is_open_at_the_end_was_not_due() {
    let place = Place::new("page-asked");
    let more = "[[operator]]\nat = \"2026-10-08 23:50\"\nrun_again = { entry = \"night\" }\n";
    let page = page(&place, &nights(more));
    let verdict = "3 scheduled doses: 3 dosed, and 1 dose asked for, open at the end;";
    assert!(flat(&page).contains(verdict), "{page}");
    assert!(page.contains("to Sunday, 3 doses were due: 3 dosed, and 1 was asked for."), "{page}");
    let said = place.call(&["run", "site.toml"]).out;
    assert!(flat(&said).contains(verdict), "{said}");
    let told = lines(&place, &["run", "site.toml", "--json"]);
    let summary = told.last().unwrap();
    let number = |name: &str| summary[name].as_u64();
    assert_eq!([number("dues"), number("open")], [Some(3), Some(0)], "{summary}");
    assert_eq!([number("asked"), number("asked_open")], [Some(1), Some(1)], "{summary}");
    let open: Vec<&Value> = told.iter().filter(|line| line["event"] == "open").collect();
    assert!(open.len() == 1 && open[0]["asked"] == true, "{open:?}");
}

/// Why there is a doubt about a dose, and of which entry it was that somebody asked.
#[test]
fn a_page_tells_restarts_motor_squeeze_and_whose_dose_was_asked_for() {
    let place = Place::new("page-happened");
    let more = "[[fault]]\nat = \"2026-10-06 01:00\"\nwatchdog_reset = {}\n\
                [[fault]]\nat = \"2026-10-07 01:00\"\nmotor_stall = { lasts = \"1 min\" }\n\
                [[fault]]\nat = \"2026-10-07 12:00\"\nsqueeze_lost = { flow = \"50 ml/min\", lasts = \"30 min\" }\n\
                [[operator]]\nat = \"2026-10-07 14:00\"\nrun_again = { entry = \"night\" }\n\
                [[operator]]\nat = \"2026-10-07 14:10\"\nstop_dose = { entry = \"night\" }\n\
                [[operator]]\nat = \"2026-10-07 15:00\"\nset_pin = { pin = \"1234\" }\n\
                [container]\ncapacity = \"10 l\"\n";
    let page = page(&place, &nights(more));
    let happened = between(&page, "What happened to it", "</section>").replace("&quot;", "\"");
    for what in [
        "the processor restarts",
        "the motor stalls or draws too much",
        "squeeze_lost (line ",
        "asked to run \"night\" again",
        "asked to stop \"night\"",
    ] {
        assert_eq!(happened.matches(what).count(), 1, "{what}: {happened}");
    }
    let list = between(&page, "All doses</caption>", "</table>");
    assert_eq!(list.matches("1 restart").count(), 1, "{list}");
    let told = lines(&place, &["run", "site.toml", "--json"]);
    let asked: Vec<&Value> = told
        .iter()
        .filter(|line| line["act"] == "run_again" || line["act"] == "stop_dose")
        .collect();
    assert!(asked.len() == 2 && asked.iter().all(|line| line["entry"] == "night"), "{asked:?}");
}

/// Of very many that happened the oldest and the newest are shown, and every alarm.
#[test]
fn no_alarm_is_lost_among_very_many_that_happened() {
    let place = Place::new("page-many");
    let mut more = "[container]\ncapacity = \"10 l\"\nlevel = \"7.2 l\"\n".to_owned();
    for hour in 0..90 {
        _ = write!(
            more,
            "[[fault]]\nat = \"+{} h\"\nremote_stop = {{ lasts = \"10 min\" }}\n",
            10 + hour * 24
        );
    }
    let page = page(&place, &nights(&more).replace("\"4 days\"", "\"140 days\""));
    let happened = between(&page, "What happened to it", "</section>");
    assert!(happened.contains("container empty"), "{happened}");
    assert!(happened.contains("2026-10-05"), "{happened}");
    assert!(happened.contains("more"), "{happened}");
}

/// A dose about which there is a doubt is none like the others: it has its own row.
#[test]
fn a_dose_with_a_restart_is_not_folded_away() {
    let place = Place::new("page-fold");
    let more = "[[fault]]\nat = \"2026-10-27 01:00\"\nsupply_loss = { lasts = \"5 min\" }\n\
                [container]\ncapacity = \"20 l\"\n";
    place.write("site.toml", &nights(more).replace("\"4 days\"", "\"40 days\""));
    let said = place.call(&["run", "site.toml"]).out;
    let text = flat(&said);
    assert!(!text.contains("up to 120 ml,") && text.contains("120 ml 9 doses,"), "{said}");
    assert!(text.contains("1 restart"), "{said}");
    assert!(said.lines().any(|line| line.contains(" doses") && line.contains("120 ml")), "{said}");
}
