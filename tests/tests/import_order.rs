//! Imports go one way, and the judge shares no schedule code with the judged.

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

/// The rooms of `core`, each of which may use those before it only. A room is a
/// file of `core/src` with the folder of its name.
const ORDER: [&str; 34] = [
    "notice",
    "time",
    "codec",
    "units",
    "civil",
    "cause",
    "ledger",
    "entry",
    "zone",
    "config",
    "stock",
    "motor",
    "tube",
    "lock",
    "power",
    "display",
    "timers",
    "record",
    "schedule",
    "starts",
    "spread",
    "calibration",
    "timetable",
    "limits",
    "event",
    "effect",
    "book",
    "controller",
    "message",
    "recovery",
    "device",
    "panel",
    "shell",
    "lib",
];

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("..")
}

fn rust_files(dir: &Path) -> Vec<PathBuf> {
    let mut found = Vec::new();
    for entry in fs::read_dir(dir).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            found.extend(rust_files(&path));
        } else if path.extension().is_some_and(|e| e == "rs") {
            found.push(path);
        }
    }
    found.sort();
    found
}

/// The names that follow `prefix` in a file's code, comments left out.
fn names_after(text: &str, prefix: &str) -> BTreeSet<String> {
    let code: String = text
        .lines()
        .filter(|line| !line.trim_start().starts_with("//"))
        .flat_map(|line| [line, "\n"])
        .collect();
    let mut names = BTreeSet::new();
    for (at, _) in code.match_indices(prefix) {
        let rest = &code[at + prefix.len()..];
        let list = match rest.strip_prefix('{') {
            Some(inner) => inner.split('}').next().unwrap_or(""),
            None => rest,
        };
        let many = rest.starts_with('{');
        for part in list.split(',') {
            let name: String =
                part.trim().chars().take_while(|c| c.is_alphanumeric() || *c == '_').collect();
            if !name.is_empty() {
                names.insert(name);
            }
            if !many {
                break;
            }
        }
    }
    names
}

fn room_of(file: &Path, src: &Path) -> String {
    let first = file.strip_prefix(src).unwrap().components().next().unwrap();
    first.as_os_str().to_str().unwrap().trim_end_matches(".rs").to_owned()
}

#[test]
fn the_rooms_of_core_import_one_way() {
    let src = root().join("core/src");
    let rank = |room: &str| {
        ORDER.iter().position(|r| *r == room).unwrap_or_else(|| panic!("{room} has no place"))
    };
    let mut seen = 0;
    for file in rust_files(&src) {
        let room = room_of(&file, &src);
        for used in names_after(&fs::read_to_string(&file).unwrap(), "crate::") {
            if used == room {
                continue;
            }
            seen += 1;
            assert!(
                rank(&used) < rank(&room),
                "{} imports {used}, which comes after {room}",
                file.display()
            );
        }
    }
    assert!(seen > 60, "only {seen} imports were found: the test looks past them");
}

#[test]
fn the_auditor_shares_no_schedule_code() {
    const DATA: [&str; 15] = [
        "time",
        "units",
        "civil",
        "entry",
        "cause",
        "config",
        "calibration",
        "tube",
        "lock",
        "power",
        "record",
        "zone",
        "ledger",
        "timetable",
        "observe",
    ];
    // what is seen, the arithmetic of the trade, and the figures that a reading is held to
    const OWN: [&str; 4] = ["audit", "observe", "trade", "calibrate"];
    let audit = root().join("sim/src/audit");
    let mut seen = 0;
    for file in rust_files(&audit) {
        let text = fs::read_to_string(&file).unwrap();
        for used in names_after(&text, "dosewright_core::") {
            seen += 1;
            assert!(DATA.contains(&used.as_str()), "{} uses {used}", file.display());
        }
        // and nothing of the simulator that could go by the logic
        for used in names_after(&text, "crate::") {
            assert!(OWN.contains(&used.as_str()), "{} uses {used}", file.display());
        }
        // of packs, zones and timetables only the data, none of the arithmetic
        for method in [
            ".is_exhausted(",
            ".cannot_give(",
            ".is_another(",
            ".to_utc(",
            ".offset_at(",
            ".to_local(",
            ".kind_of(",
            ".next_change_after(",
            ".instant_of(",
            ".next_at_or_after(",
            ".ceiling_in_force(",
            ".most_in_a_day(",
            "timetable::overlap",
            "timetable::fit",
            ".rest_after(",
            ".on_time(",
            ".guard()",
            ".shortest_gap(",
            // and of calibrations none of theirs
            "calibration::judge",
            "run_for(",
            "uncertainty_ppm(",
            "amount.volume()",
            ".due_at()",
        ] {
            let used = text
                .lines()
                .filter(|line| !line.trim_start().starts_with("//"))
                .any(|line| line.contains(method));
            assert!(!used, "{} calls {method}", file.display());
        }
    }
    assert!(seen > 20, "only {seen} imports were found: the test looks past them");
}

/// A firmware's log shows whatever the logic's own types say, so each of them can
/// be formatted there.
#[test]
fn every_type_of_core_that_formats_does_so_on_a_device_too() {
    const DEVICE: &str = r#"#[cfg_attr(feature = "defmt", derive(defmt::Format))]"#;
    let mut seen = 0;
    for file in rust_files(&root().join("core/src")) {
        let text = fs::read_to_string(&file).unwrap();
        let code = text.split("\n#[cfg(test)]").next().unwrap();
        let mut attributes: Vec<&str> = Vec::new();
        for line in code.lines().map(str::trim_start) {
            if line.starts_with("#[") {
                attributes.push(line);
            } else if line.starts_with("pub struct ") || line.starts_with("pub enum ") {
                seen += 1;
                let formats = attributes.iter().any(|a| a.contains("Debug"));
                // a scan, a queue and a loop are no values to look at
                let is_value = attributes.iter().any(|a| a.contains("PartialEq"));
                assert!(
                    !formats || !is_value || attributes.contains(&DEVICE),
                    "{}: {line} does not format on a device",
                    file.display()
                );
            } else if !line.starts_with("//") {
                attributes.clear();
            }
        }
    }
    assert!(seen > 60, "only {seen} types were found: the test looks past them");
}
