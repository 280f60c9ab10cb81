//! Lines of every command against the schema that the program prints for them.

use std::collections::BTreeSet;

use dosewright_core::ledger::{SLOT, Slot};
use dosewright_core::record::Record;
use serde_json::Value;

use crate::support::{Place, failing, good, shipped};

/// What a schema's objects are called, and the fields that they have.
#[derive(Default)]
struct Known {
    events: BTreeSet<String>,
    fields: BTreeSet<String>,
}

fn learn(schema: &Value, root: &Value, known: &mut Known) {
    match schema {
        Value::Object(object) => {
            if let Some(path) = object.get("$ref").and_then(Value::as_str) {
                let name = path.rsplit('/').next().unwrap();
                // a line's type refers to no line: this comes to an end
                learn(&root["$defs"][name], root, known);
            }
            if let Some(Value::Object(fields)) = object.get("properties") {
                known.fields.extend(fields.keys().cloned());
                let event = &fields.get("event").cloned().unwrap_or_default();
                known.events.extend(event["const"].as_str().map(str::to_owned));
            }
            for key in ["anyOf", "oneOf", "allOf"] {
                for part in object.get(key).and_then(Value::as_array).into_iter().flatten() {
                    learn(part, root, known);
                }
            }
        }
        _ => panic!("{schema}"),
    }
}

/// The lines of some calls fit the schema of `of`, all its events but those in
/// `unseen` are among them, and it takes no line with a wrong value.
#[track_caller]
fn fits(place: &Place, of: &str, unseen: &[&str], calls: &[&[&str]]) {
    let text = place.call(&["schema", "--lines", of]).out;
    let schema: Value = serde_json::from_str(&text).unwrap();
    let validator = jsonschema::validator_for(&schema).expect("a schema");
    let mut known = Known::default();
    learn(&schema, &schema, &mut known);
    let mut seen = BTreeSet::new();
    for call in calls {
        let said = place.call(call);
        assert!(!said.out.is_empty(), "{call:?}: {said:?}");
        for line in said.out.lines() {
            let line: Value = serde_json::from_str(line).unwrap();
            let wrong: Vec<String> = validator.iter_errors(&line).map(|e| e.to_string()).collect();
            assert!(wrong.is_empty(), "{of}: {line}: {wrong:?}");
            let object = line.as_object().unwrap();
            for field in object.keys() {
                assert!(known.fields.contains(field), "{of}: {field} is not in the schema");
            }
            seen.insert(object["event"].as_str().unwrap().to_owned());
            for (field, value) in object {
                let mut bad = line.clone();
                bad[field] = match value {
                    Value::String(_) => Value::from(1),
                    _ => Value::from("something else"),
                };
                // null may stand for a string
                if !value.is_null() {
                    assert!(!validator.is_valid(&bad), "{of}: {bad}");
                }
            }
            let mut bad = line.clone();
            bad["event"] = Value::from("nonsense");
            assert!(!validator.is_valid(&bad), "{of}: {bad}");
        }
    }
    let missing: Vec<&String> =
        known.events.iter().filter(|event| !seen.contains(*event)).collect();
    assert_eq!(missing, unseen, "{of}: no line of these was looked at");
}

#[test]
fn runs_checks_and_sweeps_fit_their_schemas() {
    let place = Place::new("schemas-runs");
    place.write("good.toml", &good());
    place.write("bad.toml", "schema = 1\n[head]\nflow = 26.5\n");
    place.write("failing.toml", &failing());
    fits(&place, "check", &[], &[&["check", "good.toml", "bad.toml", "--format", "json"]]);
    let kinds = "supply_loss,squeeze_lost";
    fits(
        &place,
        "sweep",
        &[],
        &[&["sweep", "good.toml", "--faults", kinds, "--moments", "2", "--json"]],
    );
    let run = place.call(&["run", "failing.toml", "--out", "out", "--image", "memory.bin"]);
    assert_eq!(run.code, 1, "{run:?}");
    let saved = std::fs::read_dir(place.dir.join("out")).unwrap();
    let failure = saved
        .filter_map(|entry| entry.unwrap().file_name().into_string().ok())
        .find(|name| name.ends_with(".failure.toml"))
        .unwrap();
    let failure = format!("out/{failure}");
    let validator = {
        let text = place.call(&["schema", "--lines"]).out;
        assert_eq!(text, place.call(&["schema", "--lines", "run"]).out);
        jsonschema::validator_for(&serde_json::from_str(&text).unwrap()).unwrap()
    };
    for line in place.call(&["replay", &failure, "--json"]).out.lines() {
        let line: Value = serde_json::from_str(line).unwrap();
        assert!(validator.is_valid(&line), "{line}");
    }
    // and one in which the settings of each entry are damaged
    let mut memory = std::fs::read(place.dir.join("memory.bin")).unwrap();
    for slot in memory.as_chunks_mut::<SLOT>().0 {
        if let Slot::Good { payload, .. } = Slot::decode(slot)
            && let Some(Record::Staged(_)) = Record::decode(&payload)
        {
            slot[20] ^= 4;
        }
    }
    std::fs::write(place.dir.join("damaged.bin"), memory).unwrap();
    place.write("visit.toml", &shipped("09-service-visit.toml"));
    assert_eq!(place.call(&["run", "visit.toml", "--image", "visit.bin"]).code, 0);
    let images: [&[&str]; 3] = [
        &["replay", "memory.bin", "--json"],
        &["replay", "damaged.bin", "--json"],
        &["replay", "visit.bin", "--json"],
    ];
    fits(&place, "replay-image", &[], &images);
    // an image's rows have their kind for an event, and no other
    let schema = place.call(&["schema", "--lines", "replay-image"]).out;
    assert!(schema.contains("\"calibration\"") && schema.contains("\"waits\""), "{schema}");
}

#[test]
fn soaks_and_explorations_fit_their_schemas() {
    let place = Place::new("schemas-many");
    fits(&place, "soak", &[], &[&["soak", "--seeds", "1..4", "--days", "5", "--json", "-q"]]);
    fits(
        &place,
        "explore-cuts",
        &[],
        &[&["explore", "cuts", "--depth", "1", "--word", "4", "--json", "-q"]],
    );
    fits(
        &place,
        "explore-states",
        // nothing is broken
        &["violation"],
        &[&["explore", "states", "--disturbances", "0", "--depth", "6", "--json", "-q"]],
    );
}

#[test]
fn the_arithmetic_fits_its_schemas() {
    let place = Place::new("schemas-sums");
    place.write("site.toml", &shipped("harbour-kitchen.toml"));
    place.write("visit.toml", &shipped("09-service-visit.toml"));
    place.write("slow.toml", "schema = 1\n[head]\nflow = \"2 ml/min\"\n");
    place.write("quick.toml", "schema = 1\n[head]\nflow = \"30 ml/min\"\n");
    place.write("bad.toml", "schema = 1\n");
    fits(
        &place,
        "pulses",
        &[],
        &[
            &["pulses", "site.toml", "--json"],
            &["pulses", "site.toml", "--head", "slow.toml", "--head", "quick.toml", "--json"],
        ],
    );
    let calibrate = ["calibrate", "quick.toml", "--vessel", "100 ml", "--json"];
    let with = |more: &[&'static str]| [&calibrate[..], more].concat();
    fits(
        &place,
        "calibrate",
        &[],
        &[
            &calibrate,
            &with(&["--target", "0.01 %"]),
            &with(&["--run", "3 min", "--measured", "89 ml"]),
            &with(&["--run", "3 min", "--measured", "89 ml", "--measured", "89.4 ml"]),
            &with(&["--run", "1 min", "--measured", "29 ml", "--logged", "18 l"]),
        ],
    );
    fits(
        &place,
        "forecast",
        &[],
        &[
            &["forecast", "bad.toml", "--json"],
            &["forecast", "visit.toml", "--json"],
            &["forecast", "site.toml", "--json", "--courses", "--drawn", "1 kg", "--logged", "1 l"],
        ],
    );
    // the course begins with what is in it and ends at the heel
    let said = place.call(&["forecast", "site.toml", "--json", "--courses"]);
    let levels: Vec<Value> = said
        .out
        .lines()
        .map(|line| serde_json::from_str::<Value>(line).unwrap())
        .filter(|line| line["event"] == "level")
        .collect();
    assert_eq!((&levels[0]["day"], &levels[0]["level_ml"]), (&"2026-11-02".into(), &8100.0.into()));
    assert_eq!(levels.last().unwrap()["level_ml"], 400.0);
    let said = place.call(&["forecast", "site.toml", "--courses"]);
    assert!(said.code == 2 && said.err.contains("--json"), "{said:?}");
    let brief = place.call(&["plan", "--example"]).out;
    place.write("brief.toml", &brief);
    place.write("long.toml", &brief.replace("contact = \"5 h\"", "contact = \"9 h\""));
    let calls: [&[&str]; 2] = [&["plan", "brief.toml", "--json"], &["plan", "long.toml", "--json"]];
    fits(&place, "plan", &[], &calls);
    let said = place.call(&["schema", "--lines", "operate"]);
    assert!(said.code == 2 && said.err.contains("replay-image"), "{said:?}");
}
