//! What the weeks of a page say of hours without a clock, of weeks that are not drawn, and
//! of rows of which the lines do not tell the days; and the end of a run.

use std::fmt::Write as _;

use crate::support::{Place, lines, nights};

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

/// The page of the lines of a run that do not say the timetable at the start, as those of
/// older builds, where its scenario is not at hand.
fn page_of_lines(place: &Place, text: &str) -> String {
    place.write("site.toml", text);
    let mut told = lines(place, &["run", "site.toml", "--json"]);
    assert!(told[0].as_object_mut().unwrap().remove("entries").is_some(), "{}", told[0]);
    let text: Vec<String> = told.iter().map(ToString::to_string).collect();
    place.write("run.jsonl", &text.join("\n"));
    place.write("site.toml", "schema = 1\n");
    place.call(&["report", "run.jsonl", "-o", "r.html", "-q"]);
    place.read("r.html")
}

/// The section of the week of a Monday.
fn week<'p>(page: &'p str, monday: &str) -> &'p str {
    let name = format!("<h2>Week of Monday {monday}</h2>");
    let from = page.find(&name).unwrap_or_else(|| panic!("{monday} is not in {page}"));
    &page[from..][..page[from..].find("</section>").unwrap()]
}

/// A text without its marks.
fn plain(html: &str) -> String {
    let mut text = String::new();
    for part in html.split('<') {
        text.push_str(part.split_once('>').map_or(part, |(_, after)| after));
    }
    text
}

/// Height in hours of the hatched boxes of a picture.
fn hatched_hours(section: &str) -> f64 {
    let picture = &section[..section.find("</svg>").unwrap()];
    let heights = picture.split("<rect class=\"hatchbox\"").skip(1).map(|tag| {
        let from = tag.find(" height=\"").unwrap() + 9;
        tag[from..][..tag[from..].find('"').unwrap()].parse::<f64>().unwrap()
    });
    heights.sum::<f64>() / 15.0
}

/// While the clock is unset nothing is due: an empty picture has to say why.
#[test]
fn hours_with_the_clock_unset_are_hatched_and_are_not_as_usual() {
    let place = Place::new("page-unset");
    let lost = "[[fault]]\nat = \"2026-11-10 10:00\"\nclock_lost = { lasts = \"2 d\" }\n";
    let page_of = |more: &str, days: u32| {
        page(&place, &nights(more).replace("\"4 days\"", &format!("\"{days} days\"")))
    };
    let whole = page_of(lost, 70);
    let first = week(&whole, "2026-11-09");
    let said =
        "Hatched or marked: no supply Tue 10:00 to Thu 10:00; clock unset from Thu 10:00 on.";
    assert!(first.contains(said), "{first}");
    // to the end of Sunday, with the cut before it
    assert!((hatched_hours(first) - 48.0 - 86.0).abs() < 0.5, "{first}");
    // and so are all the weeks after it
    let second = week(&whole, "2026-11-16");
    assert!(second.contains("no dose was due. Hatched or marked: clock unset all the week."));
    assert!((hatched_hours(second) - 168.0).abs() < 0.5, "{second}");
    let legend = &second[second.find("</svg>").unwrap()..];
    assert!(legend.contains("clock unset</li>"), "{legend}");
    assert!(plain(&whole).contains(
        "5 weeks are not drawn: in 3 everything went as usual, 2 show nothing that those above do not show."
    ), "{whole}");
    // somebody sets it again
    let set =
        "[[operator]]\nat = \"2026-11-13 06:30\"\nset_clock = { to = \"2026-11-13 06:30\" }\n";
    let again = page_of(&format!("{lost}{set}"), 70);
    let first = week(&again, "2026-11-09");
    assert!(first.contains("clock unset Thu 10:00 to Fri 06:30; clock set once."), "{first}");
    assert!((hatched_hours(first) - 48.0 - 20.5).abs() < 0.5, "{first}");
    // one that was never set, in a short run and in a long one
    for days in [4, 70] {
        place.write(
            "site.toml",
            &nights("").replace(
                "run_for = \"4 days\"",
                &format!("run_for = \"{days} days\"\nunset = true"),
            ),
        );
        place.call(&["report", "site.toml", "-o", "r.html", "-q"]);
        let page = place.read("r.html");
        let first = week(&page, "2026-10-05");
        assert!(first.contains("Hatched or marked: clock unset "), "{first}");
    }
    // and one that is set all the time has none of it
    assert!(!page_of("", 4).contains("clock unset"));
}

/// A week that is left out and shows what no drawn one shows is named.
#[test]
fn what_weeks_that_are_not_drawn_show_is_told() {
    let place = Place::new("page-left");
    let mut more = String::new();
    for (at, what) in [
        ("2026-10-20 00:50", "leak = { lasts = \"10 h\" }"),
        ("2026-11-03 00:50", "remote_stop = { lasts = \"10 h\" }"),
        ("2026-11-17 00:50", "supply_loss = { lasts = \"10 h\" }"),
        ("2026-12-01 01:00", "motor_stall = { lasts = \"1 min\" }"),
        ("2026-12-15 01:00", "watchdog_reset = {}"),
        ("2027-01-05 01:00", "watchdog_reset = {}"),
    ] {
        _ = write!(more, "[[fault]]\nat = \"{at}\"\n{what}\n");
    }
    more += "[[operator]]\nat = \"2026-12-30 01:10\"\nstop_dose = { entry = \"night\" }\n";
    more += "[[operator]]\nat = \"2027-01-12 12:00\"\nedit = { entry = \"night\", volume = \"100 ml\" }\n";
    let page = page(&place, &nights(&more).replace("\"4 days\"", "\"200 days\""));
    let from = page.find(" are not drawn: ").unwrap();
    let from = page[..from].rfind("<p class=\"note\">").unwrap();
    let note = plain(
        &page[from..][..page[from..].find("</ul>").unwrap() + 5]
            .replace("</li>", "; ")
            .replace(":</p>", ": "),
    );
    for what in [
        "hour that the clocks repeat: week of Monday 2026-10-19",
        "hour that the clocks skip: week of Monday 2027-03-22",
        "restart of the processor: week of Monday 2026-12-14 and 1 more",
        "timetable changed: week of Monday 2027-01-11",
    ] {
        let (_, date) = what.split_at(what.find("20").unwrap());
        let drawn = page.contains(&format!("<h2>Week of Monday {}</h2>", &date[..10]));
        assert!(drawn || note.contains(what), "{what}: {note}");
    }
    // each week is counted once, and what is named is in no week that is drawn
    let numbers = |text: &str| -> Vec<usize> {
        text.split_whitespace().filter_map(|word| word.parse().ok()).collect()
    };
    let (all, parts) = note.split_once(" weeks are not drawn: ").unwrap();
    let (parts, _) = parts.split_once(" something else:").unwrap();
    let drawn = page.matches("<h2>Week of Monday ").count();
    assert_eq!(numbers(all)[0] + drawn, 29, "{note}");
    assert_eq!(numbers(parts).iter().sum::<usize>(), numbers(all)[0], "{note}");
    assert!(drawn == 5 && !note.contains("alarm: leak"), "{note}");
}

/// A row has its ends and how many it stands for, which is what has to be counted where the
/// days between cannot be told.
#[test]
fn lines_count_all_doses_of_a_row() {
    let place = Place::new("page-rows");
    let closed = |last: &str| format!("[[closed]]\nfirst = 2026-10-12\nlast = {last}\n");
    let every = |last: &str| {
        nights(&closed(last))
            .replace(
                "nights = [\"mon\", \"tue\", \"wed\"]",
                "days = [\"mon\", \"tue\", \"wed\", \"thu\", \"fri\", \"sat\", \"sun\"]",
            )
            .replace("00:45", "07:00")
            .replace("\"4 days\"", "\"21 days\"")
    };
    // it is known that they are in the week, and no more
    let some = |last: &str| {
        page_of_lines(
            &place,
            &every(last).replace("\"mon\", \"tue\", \"wed\", \"thu\"", "\"mon\", \"wed\""),
        )
    };
    let of_week = some("2026-10-18");
    let section = week(&of_week, "2026-10-12");
    let said = "to Sunday, 5 doses were due: 5 skipped. Of a row of 5 skipped doses the first and the last are drawn: the lines do not tell on which days the others were due.";
    assert!(section.contains(said), "{section}");
    // of two weeks not even that
    let of_two = some("2026-10-25");
    for monday in ["2026-10-12", "2026-10-19"] {
        let section = week(&of_two, monday);
        let row = "Of a row of 10 skipped doses the first and the last are drawn: the lines do not tell on which days, and in which weeks, the others were due.";
        let due = "to Sunday, 1 dose was due: 1 skipped.";
        assert!(section.contains(due) && section.contains(row), "{section}");
    }
    // all other lines say it
    let whole = page(&place, &every("2026-10-18"));
    assert!(week(&whole, "2026-10-12").contains("7 doses were due: 7 skipped."));
    assert!(!whole.contains("do not tell"));
}

/// A dose that is open has drawn on the container, and one that is due with the run's last
/// millisecond is of the day after.
#[test]
fn the_end_of_a_run_has_its_open_dose() {
    let place = Place::new("page-end");
    let more = "[container]\ncapacity = \"5 l\"\n[[entry]]\nname = \"often\"\n\
                every = { interval = \"4 h\", from = \"2026-10-05 00:00\" }\nvolume = \"8 ml\"\n\
                window = \"9 min\"\n";
    let page = page(&place, &nights(more).replace("\"4 days\"", "\"2 days\""));
    let lines = place.call(&["run", "site.toml", "--json"]).out;
    let summary: serde_json::Value = serde_json::from_str(lines.lines().last().unwrap()).unwrap();
    assert_eq!(summary["open"], 1, "{summary}");
    let left = summary["account_ul"].as_u64().unwrap();
    let account = lines.lines().rev().find(|line| line.contains("\"event\":\"account\"")).unwrap();
    assert!(!account.contains(&left.to_string()), "{account}");
    let said = format!("and {} ml at the end.", left as f64 / 1000.0);
    assert!(plain(&page).contains(&said), "{said}: {page}");
    let from = page.find("<caption class=\"hidden\">Daily volume").unwrap();
    let table =
        plain(&page[from..][..page[from..].find("</table>").unwrap()].replace("</t", " </t"));
    let days: Vec<&str> =
        table.split("2026-10-").skip(1).map(|row| row.split(' ').next().unwrap()).collect();
    assert_eq!(days, ["05", "06", "07"], "{table}");
    // six doses of 8 ml are due on each day, and no part of a seventh
    assert!(table.contains("2026-10-05 48 "), "{table}");
}
