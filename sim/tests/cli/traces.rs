//! What the traces of a run say, read back.

use std::collections::BTreeMap;

use serde_json::Value;

use crate::support::{Place, shipped};

fn lines(place: &Place, args: &[&str]) -> Vec<Value> {
    let said = place.call(args);
    said.out
        .lines()
        .map(|line| serde_json::from_str(line).unwrap_or_else(|error| panic!("{line}: {error}")))
        .collect()
}

fn of<'a>(lines: &'a [Value], event: &str) -> Vec<&'a Value> {
    lines.iter().filter(|line| line["event"] == event).collect()
}

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

/// By name the changes of a signal: time in ms, value.
type Changes = BTreeMap<String, Vec<(u64, f64)>>;

/// A value change dump as a viewer reads it: by name the changes as time, value.
fn read_vcd(text: &str) -> (String, Changes, u64) {
    let (mut names, mut changes) = (BTreeMap::new(), Changes::new());
    let (mut at, mut timescale) = (0, String::new());
    for line in text.lines() {
        let words: Vec<&str> = line.split_whitespace().collect();
        match words.as_slice() {
            ["$timescale", scale @ .., "$end"] => timescale = scale.concat(),
            ["$var", kind, width, id, name, "$end"] => {
                assert!(matches!((*kind, *width), ("wire", "1") | ("real", "64")), "{line}");
                names.insert((*id).to_owned(), (*name).to_owned());
            }
            [time] if time.starts_with('#') => {
                let next = time[1..].parse().unwrap();
                assert!(next >= at, "time goes back at {line}");
                at = next;
            }
            [bit] if bit.starts_with(['0', '1']) => {
                let name = names[&bit[1..]].clone();
                changes.entry(name).or_default().push((at, bit[..1].parse().unwrap()));
            }
            [real, id] if real.starts_with('r') => {
                changes
                    .entry(names[*id].clone())
                    .or_default()
                    .push((at, real[1..].parse().unwrap()));
            }
            ["dosewright"] => {}
            _ => assert!(line.starts_with('$'), "{line}"),
        }
    }
    (timescale, changes, at)
}

#[test]
fn the_waveform_reads_back_as_the_lines_say() {
    let place = Place::new("vcd");
    place.write("cut.toml", &shipped("03-bakery-cellar-long-cut.toml"));
    let lines = lines(&place, &["run", "cut.toml", "--json", "--vcd", "wave.vcd"]);
    let (timescale, changes, end) = read_vcd(&place.read("wave.vcd"));
    assert_eq!((timescale.as_str(), end), ("1ms", 259_200_000));
    let pump: Vec<(u64, f64)> = of(&lines, "pump")
        .iter()
        .map(|line| (line["at_ms"].as_u64().unwrap(), f64::from(u8::from(line["on"] == true))))
        .collect();
    assert_eq!(changes["pump"][0], (0, 0.0));
    assert_eq!(changes["pump"][1..], pump);
    assert_eq!(changes["supply"], [(0, 0.0), (0, 1.0), (89_400_000, 0.0), (105_000_000, 1.0)]);
    // a dose is open from its first pulse to its outcome
    let dose = &changes["dose_open"];
    assert_eq!(dose.len(), 1 + 4);
    assert_eq!((dose[1], dose[2]), ((89_100_000, 1.0), (105_000_000, 0.0)));
    let delivered = changes["delivered_ml"].last().unwrap().1;
    let summary = lines.last().unwrap()["volume_ul"].as_u64().unwrap();
    assert!((delivered * 1000.0 - summary as f64).abs() < 1.5, "{delivered} {summary}");
}

/// By an independent reader: what a signal is at each of its changes.
fn by_wellen(path: &std::path::Path) -> (wellen::Timescale, BTreeMap<String, Vec<(u64, f64)>>) {
    let mut wave = wellen::simple::read(path).expect("a waveform");
    let vars: Vec<(String, wellen::SignalRef)> = wave
        .hierarchy()
        .iter_vars()
        .map(|var| (var.full_name(wave.hierarchy()), var.signal_ref()))
        .collect();
    let refs: Vec<_> = vars.iter().map(|(_, signal)| *signal).collect();
    wave.load_signals(&refs);
    let times = wave.time_table().to_vec();
    let mut out = BTreeMap::new();
    for (name, signal) in vars {
        let changes = wave
            .get_signal(signal)
            .expect("its signal")
            .iter_changes()
            .map(|(at, value)| {
                let value = match value {
                    wellen::SignalValue::Real(value) => value,
                    bit => bit.to_bit_string().unwrap().parse().unwrap(),
                };
                (times[at as usize], value)
            })
            .collect();
        out.insert(name, changes);
    }
    (wave.hierarchy().timescale().unwrap(), out)
}

#[test]
fn an_independent_reader_finds_the_same_waveform() {
    let place = Place::new("wellen");
    place.write("visit.toml", &shipped("09-service-visit.toml"));
    let lines = lines(&place, &["run", "visit.toml", "--json", "--vcd", "wave.vcd"]);
    let (scale, changes) = by_wellen(&place.dir.join("wave.vcd"));
    assert_eq!((scale.factor, scale.unit), (1, wellen::TimescaleUnit::MilliSeconds));
    let told = |event: &str| -> Vec<(u64, f64)> {
        of(&lines, event)
            .iter()
            .map(|line| (line["at_ms"].as_u64().unwrap(), f64::from(u8::from(line["on"] == true))))
            .collect()
    };
    assert_eq!(changes["device.pump"][1..], told("pump"));
    assert_eq!(changes["device.pump"][0], (0, 0.0));
    // the visit primes and calibrates, and the clock is set from the start on
    let service = |act: &str| -> Vec<u64> {
        of(&lines, "service")
            .iter()
            .filter(|line| line["act"] == act)
            .map(|line| line["at_ms"].as_u64().unwrap())
            .collect()
    };
    let edges = |name: &str, to: f64| -> Vec<u64> {
        changes[name][1..]
            .iter()
            .filter(|(_, value)| (value - to).abs() < 0.5)
            .map(|(at, _)| *at)
            .collect()
    };
    assert_eq!(edges("device.prime", 1.0), service("prime_begun"));
    assert_eq!(edges("device.prime", 0.0), service("prime_ended"));
    assert_eq!(edges("device.calibrate", 1.0), service("calibration_begun"));
    assert!(!service("prime_begun").is_empty() && !service("calibration_begun").is_empty());
    assert!(changes["device.clock_set"].last().unwrap().1 > 0.5);
}

#[test]
fn a_window_is_that_stretch_in_microseconds() {
    let place = Place::new("window");
    place.write("cut.toml", &shipped("03-bakery-cellar-long-cut.toml"));
    let all = ["run", "cut.toml", "--json", "--vcd", "all.vcd"];
    place.call(&all);
    let said = place.call(&[
        "run",
        "cut.toml",
        "--vcd",
        "part.vcd",
        "--window",
        "1 d 46 min..1 d 5 h 20 min",
        "-q",
    ]);
    assert_eq!(said.code, 0, "{said:?}");
    let (from, to) = (89_160_000_u64, 105_600_000_u64);
    let (_, whole) = by_wellen(&place.dir.join("all.vcd"));
    let (scale, part) = by_wellen(&place.dir.join("part.vcd"));
    assert_eq!((scale.factor, scale.unit), (1, wellen::TimescaleUnit::MicroSeconds));
    for (name, changes) in &whole {
        let before = changes.iter().rfind(|(at, _)| *at < from).map(|(_, value)| *value);
        let inside = changes.iter().filter(|(at, _)| (from..=to).contains(at));
        let expected: Vec<(u64, f64)> = before
            .map(|value| (0, value))
            .into_iter()
            .chain(inside.map(|(at, value)| ((at - from) * 1000, *value)))
            .collect();
        assert_eq!(part[name], expected, "{name}");
    }
    // pulses, the cut and the return of the supply are in it
    assert!(part["device.pump"].len() > 4 && part["device.supply"].len() == 3, "{part:?}");
    for (args, why) in [
        (&["--window", "1 d..2 d"][..], "--vcd"),
        (&["--vcd", "x.vcd", "--window", "2 d..1 d"], "a window ends after it begins"),
    ] {
        let said = place.call(&[&["run", "cut.toml"], args].concat());
        assert!(said.code == 2 && said.err.contains(why), "{said:?}");
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
