//! Pages: of a run, of its saved lines, of a sweep.

use std::fmt::Write as _;

use serde_json::Value;

use crate::support::{Place, failing, flat, good, nights, shipped};

/// The text of every cell of the table with that caption.
fn table(page: &str, caption: &str) -> Vec<Vec<String>> {
    let from = page.find(&format!("<caption class=\"hidden\">{caption}</caption>")).unwrap();
    let body = &page[from..][..page[from..].find("</table>").unwrap()];
    let strip = |html: &str| {
        let mut text = String::new();
        let mut inside = false;
        for c in html.chars() {
            match c {
                '<' => inside = true,
                '>' => inside = false,
                c if !inside => text.push(c),
                _ => {}
            }
        }
        text.replace("&quot;", "\"").replace("&lt;", "<").replace("&gt;", ">").replace("&amp;", "&")
    };
    body.split("<tr>")
        .skip(2)
        .map(|row| {
            row.split("</th>")
                .flat_map(|part| part.split("</td>"))
                .map(strip)
                .filter(|cell| !cell.is_empty())
                .collect()
        })
        .collect()
}

#[test]
fn the_tables_say_what_the_lines_say() {
    let place = Place::new("report-tables");
    place.write("cut.toml", &shipped("03-bakery-cellar-long-cut.toml"));
    let said = place.call(&["report", "cut.toml", "-o", "r.html"]);
    assert!(said.code == 0 && said.out.is_empty() && said.err.starts_with("r.html: "), "{said:?}");
    let page = place.read("r.html");
    let lines: Vec<Value> = place
        .call(&["run", "cut.toml", "--json"])
        .out
        .lines()
        .map(|line| serde_json::from_str(line).unwrap())
        .collect();
    let local = |value: &Value| {
        value.as_str().map_or("-".to_owned(), |text| {
            let (time, ms) = (&text[11..19], text[19..].split(['+', '-']).next().unwrap());
            let time = time.strip_suffix(":00").filter(|_| ms.is_empty()).unwrap_or(time);
            format!("{} {time}{ms}", &text[..10])
        })
    };
    let ml = |value: &Value| (value.as_f64().unwrap() / 1000.0).to_string();
    let rows = table(&page, "All doses");
    let outcomes: Vec<&Value> = lines.iter().filter(|line| line["event"] == "outcome").collect();
    assert_eq!(rows.len(), outcomes.len());
    for (row, line) in rows.iter().zip(outcomes) {
        assert_eq!(row[0], local(&line["due"]));
        assert_eq!(row[1], line["entry"].as_str().unwrap());
        assert_eq!(row[2], line["outcome"].as_str().unwrap());
        let restarts = match line["restarts"].as_u64().unwrap() {
            0 => None,
            1 => Some("1 restart".to_owned()),
            n => Some(format!("{n} restarts")),
        };
        let why: Vec<String> =
            line["cause"].as_str().map(str::to_owned).into_iter().chain(restarts).collect();
        assert_eq!(row[3], if why.is_empty() { "-".to_owned() } else { why.join(", ") });
        assert_eq!(row[4], ml(&line["volume_ul"]));
        assert_eq!(row[5], ml(&line["volume_most_ul"]));
        assert_eq!((&row[6], &row[7]), (&local(&line["started"]), &local(&line["ended"])));
    }
    // the close-up has the pulses of the whole dose
    let pulses = table(&page, "Pulses of one dose, close up");
    let pumps: Vec<u64> = lines
        .iter()
        .filter(|line| line["event"] == "pump")
        .map(|line| line["at_ms"].as_u64().unwrap())
        .collect();
    let whole = &pumps[pumps.len() - 60..];
    assert_eq!(pulses.len(), 30);
    for (row, pair) in pulses.iter().zip(whole.chunks(2)) {
        assert_eq!(row[1], (pair[0] - whole[0]).to_string());
        assert_eq!(row[2], (pair[1] - pair[0]).to_string());
    }
    // the supply that was off
    assert!(page.contains("no supply Tue 00:50 to 05:10"), "{page}");
    // a list is no twin of a picture: paper has it too, behind nothing and whole
    let above = &page[..page.find("<caption class=\"hidden\">All doses</caption>").unwrap()];
    assert!(above.rfind("</details>") > above.rfind("<details>"), "{page}");
    assert!(above.ends_with("role=\"region\" aria-label=\"All doses\"><table>"), "{above}");
    assert!(above.contains(".list{max-height:28rem;overflow:auto}"), "{page}");
    let print = &page[page.find("@media print{").unwrap()..];
    assert!(print.contains(".list{max-height:none}"), "{page}");
}

#[test]
fn the_train_and_the_courses_are_those_of_pulses_and_forecast() {
    let place = Place::new("report-courses");
    place.write("site.toml", &shipped("harbour-kitchen.toml"));
    assert_eq!(place.call(&["report", "site.toml", "-o", "r.html", "-q"]).code, 0);
    let page = place.read("r.html");
    let train: Value =
        serde_json::from_str(&place.call(&["pulses", "site.toml", "--json"]).out).unwrap();
    for (row, (a, b)) in table(&page, "Flow error by observation window").iter().zip(
        train["commanded_error"]
            .as_array()
            .unwrap()
            .iter()
            .zip(train["outflow_error"].as_array().unwrap()),
    ) {
        let found: Vec<f64> = row.iter().map(|cell| cell.parse().unwrap()).collect();
        let expected = [
            a["window_min"].as_f64().unwrap(),
            a["least_percent"].as_f64().unwrap(),
            a["most_percent"].as_f64().unwrap(),
            b["least_percent"].as_f64().unwrap(),
            b["most_percent"].as_f64().unwrap(),
        ];
        assert!(
            found.iter().zip(expected).all(|(a, b)| (a - b).abs() < 1e-4),
            "{found:?} {expected:?}"
        );
    }
    let forecast: Value =
        serde_json::from_str(&place.call(&["forecast", "site.toml", "--json"]).out).unwrap();
    for (what, date) in [
        ("is exhausted on ", &forecast["battery"]["until"]["date"]),
        ("with a quarter less, on ", &forecast["battery"]["until"]["least"]),
        ("down to the heel on ", &forecast["container"]["until"]["date"]),
        ("Order by ", &forecast["container"]["order_by"]),
        ("contact closes on ", &forecast["container"]["low_contact"]),
    ] {
        let text = format!("{what}{}", date.as_str().unwrap());
        assert!(page.contains(&text), "{text}");
    }
    // the course ends where the forecast ends: the last day of the table is on it
    let level = table(&page, "Level of the container by the timetable");
    let end = forecast["container"]["until"]["days"].as_f64().unwrap().ceil() as usize;
    assert_eq!(level.last().unwrap()[0], {
        let until = forecast["container"]["until"]["date"].as_str().unwrap();
        assert_eq!(end, 63);
        // the heel is reached in the course of that day
        let day: u32 = until[8..].parse().unwrap();
        format!("{}{:02}", &until[..8], day + 1)
    });
    assert_eq!(level[0][1..], ["8100"]);
}

/// What a visit draws and fills is in the course of the container, by the account of
/// the lines.
#[test]
fn the_container_shows_prime_calibration_and_refill() {
    let place = Place::new("report-container");
    let refill = "\n[[operator]]\nat = \"2026-10-07 12:00\"\nrefill = { level = \"25 l\" }\n";
    place.write("visit.toml", &format!("{}{refill}", shipped("09-service-visit.toml")));
    place.call(&["report", "visit.toml", "-o", "r.html", "-q"]);
    let page = place.read("r.html");
    let lines: Vec<Value> = place
        .call(&["run", "visit.toml", "--json"])
        .out
        .lines()
        .map(|line| serde_json::from_str(line).unwrap())
        .collect();
    let account: Vec<&Value> = lines.iter().filter(|line| line["event"] == "account").collect();
    let mut besides = Vec::new();
    for pair in account.windows(2) {
        let (before, after) = (&pair[0]["level_ul"], &pair[1]["level_ul"]);
        let ml = (after.as_f64().unwrap() - before.as_f64().unwrap()) / 1000.0;
        let word = match pair[1]["by"].as_str().unwrap() {
            "dose" => continue,
            "told" => "filled",
            word => word,
        };
        let change = if ml > 0.0 { "more" } else { "less" };
        let ul = (ml.abs() * 1000.0).round() / 1000.0;
        besides.push([
            (after.as_f64().unwrap() / 1000.0).to_string(),
            "-".to_owned(),
            format!("{word}, {ul} ml {change}"),
        ]);
    }
    let rows = table(&page, "Level of the container in the run");
    let found: Vec<&[String]> =
        rows.iter().filter(|row| row[3].contains(',')).map(|row| &row[1..]).collect();
    assert_eq!(found, besides, "{rows:?}");
    for word in ["prime", "calibrate", "filled"] {
        assert!(besides.iter().any(|row| row[2].starts_with(word)), "{word}: {besides:?}");
    }
    assert!(page.contains("and it was filled once."), "{page}");
    // and what is left at the end
    let last = account.last().unwrap()["level_ul"].as_f64().unwrap() / 1000.0;
    assert_eq!(rows.last().unwrap()[1..], [&last.to_string(), "-", "end of the run"]);
}

/// In a run in which nothing went wrong it is as the timetable has it, at whatever time of
/// day the run starts.
#[test]
fn the_container_by_account_and_by_the_timetable_are_one() {
    let place = Place::new("report-container-start");
    let container = "[container]\ncapacity = \"2 l\"\n";
    for start in ["00:00", "01:00", "08:00", "23:00"] {
        let from = format!("2026-10-05T{start}:00");
        let text = nights(container).replace("2026-10-05T00:00:00", &from);
        place.write("site.toml", &text.replace("4 days", "6 days"));
        place.call(&["report", "site.toml", "-o", "r.html", "-q"]);
        let rows = table(&place.read("r.html"), "Level of the container in the run");
        let days = &rows[..rows.len() - 1];
        assert!(days.len() == 6 && days.iter().all(|row| row[1] == row[2]), "{start}: {rows:?}");
        assert_eq!(days[5][1], "1640", "{start}: {rows:?}");
    }
}

#[test]
fn saved_lines_give_the_same_page() {
    let place = Place::new("report-lines");
    for name in ["09-service-visit.toml", "04-school-kitchen-holidays.toml"] {
        place.write(name, &shipped(name));
        place.write("run.jsonl", &place.call(&["run", name, "--json"]).out);
        assert_eq!(place.call(&["report", name, "-o", "a.html"]).code, 0);
        let said = place.call(&["report", "run.jsonl", "-o", "b.html"]);
        assert!(said.code == 0 && said.err.starts_with("b.html: "), "{said:?}");
        assert!(place.read("a.html") == place.read("b.html"), "{name}");
    }
    // a scenario that is not the one that was run any more is not used
    place.write("04-school-kitchen-holidays.toml", "schema = 1\n");
    let said = place.call(&["report", "run.jsonl", "-o", "c.html"]);
    assert!(said.code == 0 && said.err.contains("is not there as it was run"), "{said:?}");
    let page = place.read("c.html");
    assert!(
        page.contains("The scenario is not at hand") && !page.contains("Level of the container")
    );
}

#[test]
fn a_sweep_is_a_matrix_with_replay_lines() {
    let place = Place::new("report-sweep");
    place.write("week.toml", &good());
    let sweep = ["sweep", "week.toml", "--faults", "supply_loss,leak,squeeze_lost", "--json"];
    let said = place.call(&sweep);
    place.write("sweep.jsonl", &said.out);
    let made = place.call(&["report", "week.toml", "sweep.jsonl", "-o", "r.html"]);
    assert_eq!(made.code, 5, "some faults found nothing to hit: {made:?}");
    let page = place.read("r.html");
    let rows = table(&page, "Faults by moment");
    let cells: Vec<Value> = said
        .out
        .lines()
        .map(|line| serde_json::from_str(line).unwrap())
        .filter(|line: &Value| line["event"] == "cell")
        .collect();
    assert_eq!(rows.len(), cells.len());
    for (row, cell) in rows.iter().zip(&cells) {
        // as it was put: how long, which address
        assert_eq!(row[0], cell["put"].as_str().unwrap());
        assert_eq!(
            (&row[2], &row[3]),
            (
                &cell["at"].as_str().unwrap().to_owned(),
                &cell["verdict"].as_str().unwrap().to_owned()
            )
        );
        assert_eq!(row[5], cell["replay"].as_str().unwrap());
    }
    assert_eq!(place.call(&["report", "sweep.jsonl", "-o", "s.html"]).code, 5);
    // a test that did not test is no pass
    let invalid = "The sweep <span class=\"invalid\">is INVALID</span>. No promise was broken in \
                   24 runs, and in 8 the fault never took effect.";
    assert!(place.read("s.html").contains(invalid));
    assert!(page.contains("Sweep: 24 runs, 0 failed, and in 8 the fault never took effect"));
    // not beside the run of another scenario, and no two sweeps as one
    place.write("other.toml", &good().replace("120 ml", "121 ml"));
    let strange = place.call(&["report", "other.toml", "sweep.jsonl", "-o", "t.html"]);
    assert!(strange.code == 2 && strange.err.contains("of another scenario"), "{strange:?}");
    let more = place.call(&["sweep", "other.toml", "--faults", "leak", "--json"]);
    place.write("both.jsonl", &(said.out + &more.out));
    let both = place.call(&["report", "both.jsonl", "-o", "t.html"]);
    assert!(both.code == 2 && both.err.contains("several scenarios"), "{both:?}");
    assert!(!place.dir.join("t.html").exists());
}

#[test]
fn a_sweep_of_many_moments_tells_of_each_part_its_own() {
    let place = Place::new("report-sweep-parts");
    place.write("week.toml", &good());
    let page = |faults: &str, moments: &str| {
        let sweep = ["sweep", "week.toml", "--faults", faults, "--moments", moments, "--json"];
        place.write("sweep.jsonl", &place.call(&sweep).out);
        let code = place.call(&["report", "sweep.jsonl", "-o", "r.html"]).code;
        (code, place.read("r.html"))
    };
    let (code, held) = page("leak", "11");
    assert!(code == 0 && held.contains("The sweep <span class=\"held\">held</span>"), "{held}");
    let found: Vec<&str> = held
        .split(" of ")
        .filter_map(|part| part.split_once(" runs held, 0 failed, in 0 the fault never"))
        .map(|(runs, _)| runs)
        .collect();
    // each under its picture and in it
    assert_eq!(found, ["9", "9", "2", "2"], "{held}");
    // the second part is told by its own moments, and those by their times
    assert!(held.contains("Moments: 10 +3 d 8 h, 11 +3 d 16 h."), "{held}");
    let (code, none) = page("squeeze_lost", "3");
    let verdict = "The sweep <span class=\"invalid\">is INVALID</span>. No promise was broken in \
                   3 runs, and in none of them did the fault take effect.";
    assert!(code == 5 && none.contains(verdict), "{none}");
}

#[test]
fn a_failure_is_told_first_and_names_stay_text() {
    let place = Place::new("report-failed");
    place.write("fails.toml", &failing());
    let said = place.call(&["report", "fails.toml", "-o", "r.html"]);
    assert_eq!(said.code, 1, "{said:?}");
    let page = place.read("r.html");
    assert!(page.contains("<span class=\"failed\">FAILED</span>"), "{page}");
    assert!(page.find("What failed").unwrap() < page.find("What each entry came to").unwrap());
    let name = "<script>alert(1)</script>";
    place.write("odd.toml", &nights("").replace("\"night\"", &format!("'{name}'")));
    assert_eq!(place.call(&["report", "odd.toml", "-o", "odd.html"]).code, 0);
    let page = place.read("odd.html");
    assert!(!page.contains("<script") && page.contains("&lt;script&gt;alert(1)"));
}

#[test]
fn what_is_no_run_is_said() {
    let place = Place::new("report-bad");
    place.write("week.toml", &good());
    place.write("bad.jsonl", "{\"event\":\"run\"}\n");
    place.write(
        "cut.jsonl",
        &place
            .call(&["run", "week.toml", "--json"])
            .out
            .lines()
            .take(5)
            .fold(String::new(), |text, line| text + line + "\n"),
    );
    place.write("other.jsonl", "{\"event\":\"forecast\"}\n");
    for (args, why) in [
        (&["bad.jsonl"][..], "bad.jsonl:1: the line does not say when and where the run starts"),
        (&["cut.jsonl"], "the summary, is missing"),
        (&["other.jsonl"], "no lines of `run --json`"),
        (&["week.toml", "week.toml"], "two runs were given"),
        (&["missing.toml"], "cannot read missing.toml"),
    ] {
        let said = place.call(&[&["report"], args, &["-o", "r.html"]].concat());
        assert!(said.code == 2 && said.err.contains(why), "{args:?} {said:?}");
    }
}

/// A year of 16 entries, and ten: summed up, not drawn dot by dot.
#[test]
fn long_runs_are_summed_up() {
    let place = Place::new("report-long");
    let mut text = String::from(
        "schema = 1\n[clock]\nstart = 2026-01-01T00:00:00\nzone = \"CET-1CEST,M3.5.0,M10.5.0/3\"\nrun_for = \"3650 days\"\n[head]\nflow = \"26.5 ml/min\"\n[container]\ncapacity = \"10 l\"\nlevel = \"10 l\"\n[supply]\nbattery = { type = \"LR20\" }\n[[fault]]\nat = \"2027-05-05 00:10\"\nsupply_loss = { lasts = \"3 d\" }\n",
    );
    for i in 0..16 {
        _ = write!(
            text,
            "[[entry]]\nname = \"line {i}\"\nweekly = {{ days = [\"mon\", \"tue\", \"wed\", \"thu\", \"fri\", \"sat\", \"sun\"], at = \"{:02}:{:02}\" }}\nvolume = \"20 ml\"\nwindow = \"30 min\"\npulses = 5\n",
            i * 80 / 60,
            i * 80 % 60
        );
    }
    place.write("ten.toml", &text);
    let said = place.call(&["report", "ten.toml", "-o", "r.html"]);
    assert_eq!(said.code, 0, "{said:?}");
    let page = place.read("r.html");
    assert!(page.len() < 2_000_000, "{}", page.len());
    assert!(page.contains("All 522 weeks in one") || page.contains("All 523 weeks in one"));
    // the week of the cut is among those that are drawn
    assert!(
        page.contains("Week of Monday 2027-05-03")
            && page.contains("no supply Wed 00:10 to Sat 00:10")
    );
    assert!(page.contains("Doses that were not dosed") && !page.contains("All doses"));
}

#[test]
fn the_doses_of_a_row_stand_at_the_times_that_they_have() {
    let place = Place::new("report-row");
    let more = "[[closed]]\nfirst = 2026-03-27\nlast = 2026-03-30\n[[entry]]\nname = \"every\"\nevery = { interval = \"24 h\", from = \"+12 h\" }\nvolume = \"20 ml\"\nwindow = \"20 min\"\n[[fault]]\nat = \"2026-03-27 11:00\"\nsupply_loss = { lasts = \"4 d\" }\n";
    let text = nights(more)
        .replace("2026-10-05", "2026-03-26")
        .replace(
            "nights = [\"mon\", \"tue\", \"wed\"]",
            "days = [\"fri\", \"sat\", \"sun\", \"mon\"]",
        )
        .replace("00:45", "02:30")
        .replace("4 days", "7 days");
    place.write("site.toml", &text);
    place.call(&["report", "site.toml", "-o", "r.html"]);
    let page = place.read("r.html");
    let mut dues: Vec<(String, String)> = Vec::new();
    for week in ["Week of Monday 2026-03-23", "Week of Monday 2026-03-30"] {
        let rows = table(&page, week).into_iter().filter(|row| row[2] == "skipped");
        dues.extend(rows.map(|row| (row[1].clone(), row[0].clone())));
    }
    let of = |name: &str| -> Vec<&str> {
        dues.iter().filter(|(entry, _)| entry == name).map(|(_, due)| due.as_str()).collect()
    };
    // spring is on the 29th: 02:30 is moved, and 24 h later it is 13:00
    let nights = ["2026-03-27 02:30", "2026-03-28 02:30", "2026-03-29 03:30", "2026-03-30 02:30"];
    assert_eq!(of("night"), nights, "{dues:?}");
    let every = ["2026-03-27 12:00", "2026-03-28 12:00", "2026-03-29 13:00", "2026-03-30 13:00"];
    assert_eq!(of("every"), every, "{dues:?}");
}

#[test]
fn what_lasts_longer_than_is_reckoned_has_no_date() {
    let place = Place::new("report-ten-years");
    let container = |ml: &str| {
        let more = "[container]\ncapacity = \"90 l\"\nlow_contact = \"9 l\"\n";
        place.write("site.toml", &nights(more).replace("\"120 ml\"", &format!("\"{ml}\"")));
        place.call(&["report", "site.toml", "-o", "r.html"]);
        place.read("r.html")
    };
    let long = container("30 ml");
    let wanted = "at the start are down to the heel after 10 years. The low-level contact closes after 10 years.";
    assert!(long.contains(wanted), "{long}");
    assert!(container("300 ml").contains("are down to the heel on <span class=\"date\">20"));
}

#[test]
fn any_23_hours_are_elapsed_ones_whatever_the_clock_is_set_to() {
    let place = Place::new("report-daily");
    let more = "[[entry]]\nname = \"every\"\nevery = { interval = \"12 h\", from = \"+8 h\" }\nvolume = \"120 ml\"\nwindow = \"40 min\"\n[[operator]]\nat = \"2026-10-06 12:00\"\n";
    let page = |act: &str| {
        let text = nights(&format!("{more}{act}\n"))
            .replace("nights = [\"mon\", \"tue\", \"wed\"]", "days = [\"mon\", \"tue\", \"wed\"]")
            .replace("00:45", "06:00");
        place.write("site.toml", &text);
        place.call(&["report", "site.toml", "-o", "r.html"]);
        let page = place.read("r.html");
        place.write("lines.jsonl", &place.call(&["run", "site.toml", "--json"]).out);
        place.call(&["report", "lines.jsonl", "-o", "s.html"]);
        assert!(page == place.read("s.html"));
        page
    };
    // a weekly dose and two of the interval in any 23 h, whatever the clock says of them
    let page_of_setting = page("set_clock = { by = \"-3 h\" }");
    let wanted = "The most in any 23 hours is 360 ml, first on <span class=\"date\">2026-10-05</span>, and stays under the ceiling of 450 ml.";
    assert!(page_of_setting.contains(wanted), "{page_of_setting}");
    // a ceiling that goes by the timetable is another one after a change of it
    let changed = page("edit = { entry = \"every\", volume = \"20 ml\" }");
    assert!(changed.contains("that of the start is 450 ml"), "{changed}");
    assert!(changed.contains("ceiling at the start, ml") && !changed.contains("stays under"));
}

#[test]
fn a_dose_that_was_asked_for_is_none_that_was_due() {
    let place = Place::new("report-asked");
    let again = "[[operator]]\nat = \"2026-10-08 12:00\"\nrun_again = { entry = \"night\" }\n";
    place.write("site.toml", &nights(again));
    place.call(&["report", "site.toml", "-o", "r.html"]);
    let page = place.read("r.html");
    assert!(page.contains("3 scheduled doses: 3 dosed, and 1 dose asked for;"), "{page}");
    assert!(page.contains("to Sunday, 3 doses were due: 3 dosed, and 1 was asked for."), "{page}");
    let outcomes = |caption: &str| -> Vec<String> {
        table(&page, caption).into_iter().map(|row| row[2].clone()).collect()
    };
    assert_eq!(outcomes("Week of Monday 2026-10-05"), outcomes("All doses"));
    assert!(outcomes("All doses")[3].ends_with(", asked for"), "{page}");
    // the same where the weeks are summed up
    place.write("site.toml", &nights(again).replace("4 days", "60 days"));
    place.call(&["report", "site.toml", "-o", "r.html"]);
    let page = place.read("r.html");
    let due = page.split(" scheduled doses:").next().unwrap().rsplit(' ').next().unwrap();
    assert!(
        page.contains(&format!("weeks {due} doses were due: {due} dosed, and 1 was")),
        "{page}"
    );
    let counts = table(&page, "All 9 weeks in one");
    let sum: u32 = counts.iter().map(|row| row[1].parse::<u32>().unwrap()).sum();
    assert_eq!(sum.to_string(), due, "{counts:?}");
}

#[test]
fn times_that_happen_twice_say_which_and_stand_in_their_order() {
    let place = Place::new("report-twice");
    let more = "[[entry]]\nname = \"second\"\nevery = { interval = \"12 h\", from = \"+15 h\" }\nvolume = \"15 ml\"\nwindow = \"15 min\"\n[[operator]]\nat = \"+27 h 30 min\"\nacknowledge = {}\n[[fault]]\nat = \"2026-10-25 02:40\"\nsupply_loss = { lasts = \"5 min\" }\n";
    let text = nights(more)
        .replace("2026-10-05", "2026-10-24")
        .replace("\"mon\", \"tue\", \"wed\"", "\"sat\"")
        .replace("00:45", "02:15")
        .replace("4 days", "2 days");
    place.write("site.toml", &text);
    place.call(&["report", "site.toml", "-o", "r.html"]);
    let page = place.read("r.html");
    let dues: Vec<String> =
        table(&page, "Week of Monday 2026-10-19").into_iter().map(|row| row[0].clone()).collect();
    // 15:00 and 12 h are 02:00 in the second pass, after 02:15 in the first
    let wanted = ["2026-10-24 15:00", "2026-10-25 02:15 (+02:00)", "2026-10-25 02:00 (+01:00)"];
    assert_eq!(dues[..3], wanted, "{dues:?}");
    assert!(page.contains("02:40 (+02:00): no supply"), "{page}");
    let ran = place.call(&["run", "site.toml"]).out;
    assert!(ran.contains("  02:40 (+02:00)  supply off for 5 min"), "{ran}");
    assert!(ran.contains("  02:30 (+01:00)  alarms acknowledged"), "{ran}");
}

/// Doses that were due by the findings of the weeks, all of them drawn.
fn due_in_weeks(page: &str) -> usize {
    let number = |part: &str| {
        let words: Vec<&str> = part.split_whitespace().take(3).collect();
        let said = matches!(words.get(1), Some(&"dose" | &"doses"));
        words.first().filter(|_| said).and_then(|n| n.parse::<usize>().ok())
    };
    let mut weeks: Vec<(&str, usize)> = page
        .split("From Monday ")
        .skip(1)
        .filter_map(|part| {
            let (date, rest) = part.split_once(" to Sunday, ")?;
            Some((date, number(rest).unwrap_or(0)))
        })
        .filter(|(date, _)| date.len() == 10)
        .collect();
    weeks.dedup();
    assert!(!weeks.is_empty());
    weeks.into_iter().map(|(_, count)| count).sum()
}

#[test]
fn every_dose_is_in_a_week_whatever_the_clock_shows() {
    let every = |more: &str| {
        let entry = "[[entry]]\nname = \"every\"\nevery = { interval = \"6 h\", from = \"+100 min\" }\nvolume = \"20 ml\"\nwindow = \"10 min\"\n";
        nights(&format!("{entry}{more}"))
            .replace("2026-10-05", "2026-10-07")
            .replace("\"4 days\"", "\"9 d\"")
    };
    let lost = "[container]\ncapacity = \"10 l\"\nlevel = \"600 ml\"\n[[fault]]\nat = \"fri 11:06\"\nclock_lost = { lasts = \"10 min\" }\n";
    let set =
        |to: &str| format!("[[operator]]\nat = \"thu 12:00\"\nset_clock = {{ to = \"{to}\" }}\n");
    let mut all = Vec::new();
    for (name, more) in [
        ("unset.toml", lost.to_owned()),
        ("ahead.toml", set("2026-10-11 18:00")),
        ("behind.toml", set("2026-09-29 12:00")),
    ] {
        let place = Place::new(&format!("report-weeks-{name}"));
        place.write(name, &every(&more));
        let said = place.call(&["report", name, "-o", "r.html"]);
        assert_eq!(said.code, 0, "{said:?}");
        let lines = place.call(&["run", name, "--json"]).out;
        let summary: Value = serde_json::from_str(lines.lines().last().unwrap()).unwrap();
        let page = place.read("r.html");
        let dues = summary["dues"].as_u64().unwrap() as usize;
        assert_eq!(due_in_weeks(&page), dues, "{name}");
        // and its volume in a day
        let volume: f64 = table(&page, "Daily volume against the ceiling")
            .iter()
            .map(|row| row[1].parse::<f64>().unwrap())
            .sum();
        let of_run = summary["volume_ul"].as_f64().unwrap() / 1000.0;
        assert!((volume - of_run).abs() < 0.1, "{name}: {volume} of {of_run}");
        all.push(page);
    }
    // what had no local time says so
    let rows = table(&all[0], "All doses");
    let unset: Vec<_> = rows.iter().filter(|row| row[0].ends_with(", clock unset")).collect();
    assert!(unset.len() > 20, "{rows:?}");
    assert!(unset[0][0].starts_with("2026-10-09 14:0"), "{:?}", unset[0]);
    assert!(!all[1].contains("clock unset"));
}

/// A page of lines of which some are lost, doubled or from elsewhere would contradict itself.
#[test]
fn lines_that_do_not_belong_together_make_no_page() {
    let place = Place::new("report-lost-lines");
    place.write("week.toml", &good());
    let lines = place.call(&["run", "week.toml", "--json"]).out;
    let all: Vec<&str> = lines.lines().collect();
    let at = |event: &str| {
        let wanted = format!("{{\"event\":\"{event}\"");
        all.iter().position(|line| line.starts_with(&wanted)).unwrap()
    };
    let page = |lines: &[&str]| {
        place.write("saved.jsonl", &lines.join("\n"));
        place.call(&["report", "saved.jsonl", "-o", "r.html"])
    };
    assert_eq!(page(&all).code, 0);
    let outcome = at("outcome");
    let lost = [&all[..outcome], &all[outcome + 1..]].concat();
    let doubled = [&all[..=outcome], &all[outcome..]].concat();
    // two pulses in each other's place
    let (pulse, next) = (at("pump"), at("pump") + 2);
    let turned =
        [&all[..pulse], &all[next..next + 2], &all[pulse..next], &all[next + 2..]].concat();
    let behind = [&all[..], &all[outcome..=outcome]].concat();
    let last_first = [&all[1..=outcome], &all[..1], &all[outcome + 1..]].concat();
    let less = all[outcome].replace("\"volume_ul\":", "\"volume_ul\":-");
    assert_ne!(less, all[outcome]);
    let negative = [&all[..outcome], &[less.as_str()], &all[outcome + 1..]].concat();
    for (lines, why) in [
        (lost, "it tells of 3 dosed, the lines before it of 2"),
        (doubled, "it tells of 3 dosed, the lines before it of 4"),
        (turned, "the lines are out of order"),
        (behind, "the summary before this line ends the run"),
        (last_first, "the line of the run has to come first"),
        (negative, "the outcome cannot be read"),
    ] {
        let said = page(&lines);
        assert!(said.code == 2 && flat(&said.err).contains(why), "{why}: {said:?}");
    }
    // each line of any kind, once less and once more
    for at in 1..all.len() - 1 {
        for lines in [[&all[..at], &all[at + 1..]].concat(), [&all[..=at], &all[at..]].concat()] {
            let said = page(&lines);
            let is_why = |why: &&str| flat(&said.err).contains(*why);
            let why = [
                "it tells of 3 dosed",
                "the pump is turned",
                "it has the pump on for",
                "it comes after",
                "the lines are out of order",
            ];
            assert!(said.code == 2 && why.iter().any(is_why), "{at} {}: {said:?}", all[at]);
        }
    }
    // a whole pulse
    assert!(all[pulse + 1].contains("\"on\":false"), "{}", all[pulse + 1]);
    let less = [&all[..pulse], &all[pulse + 2..]].concat();
    let said = page(&less);
    assert!(said.code == 2 && flat(&said.err).contains("it has the pump on for"), "{said:?}");
    // lines of a build that did not count them
    let (last, before) = all.split_last().unwrap();
    let mut summary: serde_json::Value = serde_json::from_str(last).unwrap();
    assert_eq!(summary["lines"].take(), before.len());
    let summary = summary.to_string();
    assert_eq!(page(&[before, &[summary.as_str()]].concat()).code, 0);
    assert_eq!(page(&[&less[..less.len() - 1], &[summary.as_str()]].concat()).code, 2);

    let sweep = place.call(&["sweep", "week.toml", "--faults", "leak", "--json"]).out;
    let cut = sweep.lines().take(3).collect::<Vec<_>>();
    let said = page(&cut);
    assert!(said.code == 2 && said.err.contains("the sweep was cut short"), "{said:?}");
}
