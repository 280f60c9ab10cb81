//! What the traces of a run say, read back.

use serde_json::Value;

use crate::support::{Place, lines, nights, of, shipped};

#[test]
fn the_lines_keep_their_contract() {
    let place = Place::new("contract");
    place.write("cut.toml", &shipped("03-bakery-cellar-long-cut.toml"));
    let lines = lines(&place, &["run", "cut.toml", "--json"]);
    let outcomes = of(&lines, "outcome");
    assert_eq!(outcomes.len(), 2);
    let part = outcomes[0];
    assert_eq!(part["entry"], "drain line");
    assert_eq!(part["due"], "2026-10-06T00:45:00+02:00");
    assert_eq!((&part["outcome"], &part["cause"]), (&"part".into(), &"supply lost".into()));
    assert_eq!((&part["epoch"], &part["revision"]), (&1.into(), &1.into()));
    // four pulses of 4 ml began, and nothing tells how much of the last one ran
    let (least, most) =
        (part["volume_ul"].as_u64().unwrap(), part["volume_most_ul"].as_u64().unwrap());
    assert!(
        (11_990..=12_010).contains(&least) && (15_990..=16_010).contains(&most),
        "{least} {most}"
    );
    assert_eq!(part["started"], "2026-10-06T00:45:00+02:00");
    assert!(part["ended"].as_str().unwrap().starts_with("2026-10-06T00:49:39."), "{part}");
    assert_eq!(outcomes[1]["cause"], Value::Null);

    // 1 d 45 min after the start: true time of the first pulse
    let pumps = of(&lines, "pump");
    assert_eq!((&pumps[0]["at_ms"], &pumps[0]["on"]), (&89_100_000.into(), &true.into()));
    assert_eq!(pumps.len(), 2 * (4 + 30));

    let supply: Vec<_> = of(&lines, "supply")
        .iter()
        .map(|line| (line["at_ms"].as_u64(), line["on"].as_bool()))
        .collect();
    assert_eq!(
        supply,
        [(Some(0), Some(true)), (Some(89_400_000), Some(false)), (Some(105_000_000), Some(true))]
    );

    let summary = lines.last().unwrap();
    assert_eq!(summary["event"], "summary");
    for (field, value) in [
        ("dues", 2),
        ("dosed", 1),
        ("part", 1),
        ("skipped", 0),
        ("open", 0),
        ("seed", 1),
        ("simulated_ms", 259_200_000),
    ] {
        assert_eq!(summary[field], value, "{field}");
    }
    assert_eq!(
        (&summary["held"], &summary["violations"]),
        (&true.into(), &Value::Array(Vec::new()))
    );
    // 120 ml and four pulses of 9057 ms at most
    let on_ms = summary["pump_on_ms"].as_u64().unwrap();
    let pin: i64 = pumps
        .iter()
        .map(|line| {
            if line["on"] == true {
                -line["at_ms"].as_i64().unwrap()
            } else {
                line["at_ms"].as_i64().unwrap()
            }
        })
        .sum();
    assert_eq!(on_ms, pin as u64);
    assert_eq!(
        summary["volume_ul"].as_u64(),
        Some(least + outcomes[1]["volume_ul"].as_u64().unwrap())
    );
}

#[test]
fn a_stretch_of_closed_dates_is_one_line() {
    let place = Place::new("closed");
    place.write("holidays.toml", &shipped("04-school-kitchen-holidays.toml"));
    let lines = lines(&place, &["run", "holidays.toml", "--json"]);
    let skipped: Vec<_> =
        of(&lines, "outcome").into_iter().filter(|line| line["outcome"] == "skipped").collect();
    assert_eq!(skipped.len(), 1, "{skipped:?}");
    assert_eq!((&skipped[0]["count"], &skipped[0]["cause"]), (&7.into(), &"closed".into()));
    assert_eq!(skipped[0]["due"], "2026-12-25T00:45:00+01:00");
    assert_eq!(skipped[0]["last_due"], "2027-01-02T00:45:00+01:00");
    // others carry neither
    assert!(
        of(&lines, "outcome")
            .iter()
            .filter(|line| line["outcome"] == "dosed")
            .all(|line| line.get("count").is_none())
    );
    assert_eq!(
        (&lines.last().unwrap()["dues"], &lines.last().unwrap()["skipped"]),
        (&14.into(), &7.into())
    );
}

#[test]
fn a_due_is_device_local_time_after_a_move() {
    let place = Place::new("moved");
    place.write("spring.toml", &shipped("02-mill-refectory-spring.toml"));
    place.write("autumn.toml", &shipped("02-mill-refectory-autumn.toml"));
    let dues = |file: &str| -> Vec<String> {
        let lines = lines(&place, &["run", file, "--json"]);
        of(&lines, "outcome").iter().map(|line| line["due"].as_str().unwrap().to_owned()).collect()
    };
    assert_eq!(dues("spring.toml")[1], "2026-03-29T03:30:00+02:00");
    assert_eq!(dues("autumn.toml")[1], "2026-10-25T02:30:00+02:00");
}

#[test]
fn a_device_clock_that_is_off_shows_in_the_times() {
    let place = Place::new("off-by");
    place.write("visit.toml", &shipped("09-service-visit.toml"));
    let lines = lines(&place, &["run", "visit.toml", "--json"]);
    let outcomes = of(&lines, "outcome");
    assert_eq!(
        (&outcomes[0]["due"], &outcomes[0]["started"]),
        (&"2026-10-06T00:45:00+02:00".into(), &"2026-10-06T00:49:00+02:00".into())
    );
    assert_eq!(
        (&outcomes[1]["due"], &outcomes[1]["revision"], &outcomes[1]["epoch"]),
        (&"2026-10-07T01:00:00+02:00".into(), &2.into(), &2.into())
    );
    let clock =
        of(&lines, "clock").into_iter().find(|line| line["at_ms"].as_u64() > Some(0)).unwrap();
    assert_eq!(
        (&clock["before"], &clock["after"]),
        (&"2026-10-06T10:26:00+02:00".into(), &"2026-10-06T10:30:00+02:00".into())
    );
}

#[test]
fn the_table_has_a_row_an_outcome() {
    let place = Place::new("csv");
    place.write("holidays.toml", &shipped("04-school-kitchen-holidays.toml"));
    let said = place.call(&["run", "holidays.toml", "--csv", "rows.csv", "--json"]);
    let rows = place.read("rows.csv");
    let mut rows = rows
        .split("\r\n")
        .filter(|row| !row.is_empty())
        .map(|row| row.split(',').collect::<Vec<_>>());
    let head = rows.next().unwrap();
    let column = |name: &str| head.iter().position(|cell| *cell == name).unwrap();
    let outcomes: Vec<Value> = said
        .out
        .lines()
        .map(|line| serde_json::from_str(line).unwrap())
        .filter(|line: &Value| line["event"] == "outcome")
        .collect();
    let rows: Vec<_> = rows.collect();
    assert_eq!(rows.len(), outcomes.len());
    for (row, line) in rows.iter().zip(&outcomes) {
        assert_eq!(row.len(), head.len());
        for name in ["entry", "due", "outcome"] {
            assert_eq!(row[column(name)], line[name].as_str().unwrap());
        }
        assert_eq!(row[column("volume_ul")], line["volume_ul"].to_string());
        assert_eq!(
            row[column("count")],
            line.get("count").map_or("1".to_owned(), ToString::to_string)
        );
        assert_eq!(row[column("cause")], line["cause"].as_str().unwrap_or(""));
    }
}

/// Every line of real runs fits the schema, every field of the schema is written by
/// one of them, and a line with a wrong value does not fit.
#[test]
fn the_lines_fit_their_schema() {
    let place = Place::new("line-schema");
    let schema: Value = serde_json::from_str(&place.call(&["schema", "--lines"]).out).unwrap();
    let validator = jsonschema::validator_for(&schema).expect("a schema");
    let mut seen = std::collections::BTreeSet::new();
    let mut all = Vec::new();
    for name in [
        "03-bakery-cellar-long-cut.toml",
        "04-school-kitchen-holidays.toml",
        "09-service-visit.toml",
        "09-service-visit-second-edit.toml",
    ] {
        place.write(name, &shipped(name));
        all.extend(lines(&place, &["run", name, "--json"]));
    }
    let more = "[[fault]]\nat = \"+1 d 46 min\"\nwatchdog_reset = {}\n\n\
                [[fault]]\nat = \"+1 d 6 h\"\nclock_lost = { lasts = \"1 h\" }\n\n\
                [[fault]]\nat = \"+1 d 5 h\"\nleak = { lasts = \"1 min\" }\n\n\
                [[fault]]\nat = \"+1 d 47 min\"\nlate_wake = { by = \"1 min\" }\n\n\
                [[operator]]\nat = \"+1 d 9 h\"\npress = { key = \"ok\" }\n\n\
                [[operator]]\nat = \"+1 d 5 h 30 min\"\nrun_again = { entry = \"night\" }\n\n\
                [[expect]]\noutcomes = { entry = \"night\", dosed = 9 }\n";
    place.write("more.toml", &crate::support::nights(more));
    all.extend(lines(&place, &["run", "more.toml", "--json"]));
    all.extend(lines(&place, &["run", "more.toml", "--json", "--until", "1 d 50 min"]));
    for line in &all {
        let wrong: Vec<String> = validator.iter_errors(line).map(|e| e.to_string()).collect();
        assert!(wrong.is_empty(), "{line}: {wrong:?}");
        for name in line.as_object().unwrap().keys() {
            seen.insert(format!("{}.{name}", line["event"].as_str().unwrap()));
        }
    }
    let events: std::collections::BTreeSet<&str> =
        all.iter().map(|line| line["event"].as_str().unwrap()).collect();
    let text = schema.to_string();
    for event in [
        "run",
        "outcome",
        "open",
        "pump",
        "supply",
        "display",
        "account",
        "reset",
        "clock_lost",
        "late_wake",
        "alarm",
        "clock",
        "act",
        "service",
        "fault",
        "operator",
        "summary",
    ] {
        assert!(events.contains(event), "no line of {event} was looked at");
        assert!(text.contains(&format!("\"const\":\"{event}\"")), "{event} is not in the schema");
    }
    for field in ["outcome.count", "outcome.last_due", "outcome.asked", "act.on", "run.start"] {
        assert!(seen.contains(field), "{field} is never written");
    }
    let outcome = of(&all, "outcome")[0].clone();
    for (field, value) in [
        ("outcome", Value::from("half")),
        ("volume_ul", Value::from("120")),
        ("epoch", Value::from(-1)),
        ("event", Value::from("outcomes")),
    ] {
        let mut bad = outcome.clone();
        bad[field] = value;
        assert!(!validator.is_valid(&bad), "{bad}");
    }
}

#[test]
fn a_change_of_the_clocks_at_midnight_ends_its_day() {
    let place = Place::new("traces-midnight");
    let told = |start: &str, zone: &str| {
        let text = nights("")
            .replace("2026-10-05T00", &format!("{start}T12"))
            .replace("CET-1CEST,M3.5.0,M10.5.0/3", zone)
            .replace("[\"mon\", \"tue\", \"wed\"]", "[\"fri\", \"sat\", \"sun\"]")
            .replace("4 days", "3 d");
        place.write("site.toml", &text);
        let said = place.call(&["run", "site.toml", "-v"]);
        said.out.lines().filter(|line| line.contains("clocks go")).collect::<Vec<_>>().join("|")
    };
    // spring: Saturday 24:00 is Sunday 01:00; autumn: it is Saturday 23:00
    let chile = "<-04>4<-03>,M9.1.6/24,M4.1.6/24";
    assert_eq!(told("2026-09-04", chile), "sat 5 sep 2026 (at 24:00 clocks go forward 1 h)");
    assert_eq!(told("2026-04-03", chile), "sat 4 apr 2026 (at 24:00 clocks go back 1 h)");
    let cet = "CET-1CEST,M3.5.0,M10.5.0/3";
    assert_eq!(told("2026-10-23", cet), "sun 25 oct 2026 (at 03:00 clocks go back 1 h)");
}
