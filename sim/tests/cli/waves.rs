//! The waveform of a run, read back: by hand, by an independent reader, against the lines.

use std::collections::BTreeMap;

use serde_json::Value;

use crate::support::{Place, lines, of, shipped};

/// Three contacts that go off while the device is without supply, and one that comes on.
const CONTACTS: &str = r#"
schema = 1
[clock]
start = 2026-06-01T00:00:00
zone = "UTC"
run_for = "12 h"
[head]
flow = "24 ml/min"
[container]
capacity = "5 l"
low_contact = "1 l"
[[entry]]
name = "n"
every = { interval = "4 h", from = "+1 h" }
volume = "120 ml"
window = "2 h"
[[fault]]
at = "+3 h 30 min"
remote_stop = { lasts = "30 min" }
[[fault]]
at = "+3 h 30 min"
leak = { lasts = "30 min" }
[[fault]]
at = "+3 h 30 min"
container_low = { lasts = "30 min" }
[[fault]]
at = "+3 h 50 min"
supply_loss = { lasts = "20 min" }
[[fault]]
at = "+7 h 20 min"
supply_loss = { lasts = "20 min" }
[[fault]]
at = "+7 h 30 min"
remote_stop = { lasts = "30 min" }
"#;

#[test]
fn a_contact_that_goes_off_without_supply_is_seen_at_the_start() {
    let place = Place::new("contacts");
    place.write("contacts.toml", CONTACTS);
    let lines = lines(&place, &["run", "contacts.toml", "--json", "--vcd", "contacts.vcd"]);
    let min = |line: &Value| line["at_ms"].as_u64().unwrap() / 60_000;
    let contact = |act: &Value, on: &Value| match act.as_str().unwrap() {
        "level_low_on" => Some(("level", true)),
        "level_low_off" => Some(("level", false)),
        "remote_stop" => Some(("stop", on.as_bool().unwrap())),
        "leak" => Some(("leak", on.as_bool().unwrap())),
        _ => None,
    };
    let told: Vec<_> = of(&lines, "act")
        .iter()
        .filter_map(|line| Some((min(line), contact(&line["act"], &line["on"])?)))
        .collect();
    let expected = [
        (210, ("stop", true)),
        (210, ("leak", true)),
        (210, ("level", true)),
        (250, ("stop", false)),
        (250, ("leak", false)),
        (250, ("level", false)),
        (460, ("stop", true)),
        (480, ("stop", false)),
    ];
    assert_eq!(told, expected);
    let (_, changes, _) = read_vcd(&place.read("contacts.vcd"));
    let stop: Vec<_> = changes["remote_stop"].iter().map(|(at, on)| (at / 60_000, *on)).collect();
    assert_eq!(stop, [(0, 0.0), (210, 1.0), (250, 0.0), (460, 1.0), (480, 0.0)]);
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
                assert!(matches!((*kind, *width), ("wire", "1" | "3") | ("real", "64")), "{line}");
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
            [bus, id] if bus.starts_with('b') => {
                let value = u8::from_str_radix(&bus[1..], 2).unwrap();
                changes.entry(names[*id].clone()).or_default().push((at, f64::from(value)));
            }
            [real, id] if real.starts_with('r') => {
                changes
                    .entry(names[*id].clone())
                    .or_default()
                    .push((at, real[1..].parse().unwrap()));
            }
            ["dosewright"] | ["state:", ..] => {}
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
    // off, idle, the dose, off in it, idle, the next night's dose, idle
    let ended = dose[4].0;
    let state = &changes["state"];
    assert_eq!(
        state[..],
        [
            (0, 0.0),
            (0, 1.0),
            (89_100_000, 2.0),
            (89_400_000, 0.0),
            (105_000_000, 2.0),
            (105_000_000, 1.0),
            (dose[3].0, 2.0),
            (ended, 1.0),
        ]
    );
    assert_eq!(changes["display"], [(0, 0.0)]);
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
                    bits => {
                        let bits = bits.to_bit_string().unwrap();
                        f64::from(u8::from_str_radix(&bits, 2).unwrap())
                    }
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
    assert_eq!(edges("device.state", 3.0), service("prime_begun"));
    assert_eq!(edges("device.state", 4.0), service("calibration_begun"));
    // the level is the device's account: doses, the prime and what came of the
    // calibration have been taken off
    let account: Vec<(u64, f64)> = of(&lines, "account")
        .iter()
        .map(|line| {
            let ul = line["level_ul"].as_f64().unwrap();
            (line["at_ms"].as_u64().unwrap(), ul / 1000.0)
        })
        .collect();
    let level = &changes["device.level_ml"];
    assert_eq!(level.len(), account.len());
    for ((at, ml), (told_at, told_ml)) in level.iter().zip(&account) {
        assert!(at == told_at && (ml - told_ml).abs() < 0.001, "{at} {ml} {told_at} {told_ml}");
    }
    let by: Vec<&str> =
        of(&lines, "account").iter().map(|line| line["by"].as_str().unwrap()).collect();
    assert!(by.contains(&"prime") && by.contains(&"calibrate"), "{by:?}");
    assert_eq!(
        of(&lines, "account").last().unwrap()["level_ul"],
        lines.last().unwrap()["account_ul"]
    );
    assert_eq!(edges("device.prime", 1.0), service("prime_begun"));
    assert_eq!(edges("device.prime", 0.0), service("prime_ended"));
    assert_eq!(edges("device.calibrate", 1.0), service("calibration_begun"));
    assert!(!service("prime_begun").is_empty() && !service("calibration_begun").is_empty());
    assert!(changes["device.clock_set"].last().unwrap().1 > 0.5);
}

/// What the device is at, by an independent reader: stopped, a leak, a fault that is
/// latched, and a display that goes dark after its minute or with the supply.
#[test]
fn the_waveform_says_what_the_device_is_at_and_when_its_display_is_lit() {
    let place = Place::new("state");
    let more = "[container]\ncapacity = \"5 l\"\n\n\
                [[fault]]\nat = \"+1 h\"\nremote_stop = { lasts = \"1 min\" }\n\n\
                [[fault]]\nat = \"+2 h\"\nleak = { lasts = \"2 min\" }\n\n\
                [[fault]]\nat = \"+1 d 50 min\"\nmotor_stall = { lasts = \"8 h\" }\n\n\
                [[fault]]\nat = \"+3 h 30 s\"\nsupply_loss = { lasts = \"1 min\" }\n\n\
                [[operator]]\nat = \"+2 h 30 min\"\npress = { key = \"ok\" }\n\n\
                [[operator]]\nat = \"+3 h\"\npress = { key = \"ok\" }\n\n\
                [[operator]]\nat = \"+3 h 10 min\"\nprime = { volume = \"100 ml\" }\n\n\
                [[fault]]\nat = \"+3 h 11 min\"\nwatchdog_reset = {}\n\n\
                [[operator]]\nat = \"+1 d 10 h\"\nacknowledge = {}\n";
    place.write("state.toml", &crate::support::nights(more));
    let lines = lines(&place, &["run", "state.toml", "--json", "--vcd", "state.vcd"]);
    let (_, changes) = by_wellen(&place.dir.join("state.vcd"));
    let (min, h) = (60_000, 3_600_000);
    assert_eq!(
        changes["device.display"],
        [
            (0, 0.0),
            (2 * h + 30 * min, 1.0),
            (2 * h + 31 * min, 0.0),
            (3 * h, 1.0),
            (3 * h + min / 2, 0.0)
        ]
    );
    let lit = of(&lines, "display");
    assert_eq!(lit.len(), 4);
    let (off, idle, dose, prime, stopped, fault) = (0.0, 1.0, 2.0, 3.0, 5.0, 6.0);
    let state = &changes["device.state"];
    let alarm = |on: bool| {
        let lines = of(&lines, "alarm");
        let found = lines.iter().find(|line| line["alarm"] == "fault" && line["on"] == on);
        found.unwrap_or_else(|| panic!("{lines:?}"))["at_ms"].as_u64().unwrap()
    };
    // latched by the fourth stall, and until it is acknowledged
    assert!(alarm(true) > 24 * h + 55 * min && alarm(false) == 34 * h, "{lines:?}");
    let until_first_dose = state.iter().position(|(_, value)| (*value - dose).abs() < 0.5).unwrap();
    assert_eq!(
        state[..until_first_dose],
        [
            (0, off),
            (0, idle),
            (h, stopped),
            (h + min, idle),
            (2 * h, fault),
            (2 * h + 2 * min, idle),
            (3 * h + min / 2, off),
            (3 * h + 3 * min / 2, idle),
            (3 * h + 10 * min, prime),
            // a device that starts again does not go on priming
            (3 * h + 11 * min, idle),
        ]
    );
    assert!(state.contains(&(alarm(true), fault)), "{state:?}");
    assert!(state.contains(&(34 * h, idle)), "{state:?}");
    assert!(state.iter().all(|(_, value)| (0.0..=6.0).contains(value)));
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
        (&["--vcd", "x.vcd", "--window", "400 d..401 d"], "400 d after the start"),
    ] {
        let said = place.call(&[&["run", "cut.toml"], args].concat());
        assert!(said.code == 2 && said.err.contains(why), "{said:?}");
        assert!(!place.dir.join("x.vcd").exists(), "{args:?}");
    }
}
