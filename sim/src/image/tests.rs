use dosewright_core::ledger::{Class, MAGIC, SLOT, Slot, VERSION};

use super::*;
use crate::run::Options;
use crate::{builtin, check, judged};

/// The memory at the end of the built-in example.
fn example() -> Vec<u8> {
    memory_after(builtin::EXAMPLE)
}

/// The memory at the end of a scenario.
fn memory_after(text: &str) -> Vec<u8> {
    let (scenario, notes) = check::read("site.toml", text);
    assert!(scenario.is_some(), "{notes:?}");
    let options = Options { seed: 1, ..Options::default() };
    judged::run(&scenario.unwrap(), &options, Vec::new(), None).unwrap().end.image
}

fn fits(text: &str) {
    for line in text.lines() {
        assert!(line.chars().count() <= 80, "{line}");
    }
}

#[test]
fn a_whole_image_is_told() {
    let bytes = example();
    let report = read(&bytes, Hints::default()).unwrap();
    assert!(report.found.is_said && report.found.version == Some(VERSION));
    assert_eq!(report.found.geometry.sectors, 4);
    assert_eq!(report.found.in_force(), Some(0));
    let started = report.started.as_ref().unwrap();
    assert!(started.alarms.is_empty() && started.open.is_none() && !started.unreadable);
    assert!(started.next.is_some_and(|(at, _)| at > started.at));
    let (scenario, _) = check::read(builtin::NAME, builtin::EXAMPLE);
    assert_eq!(started.state.timetable.entries().count(), scenario.unwrap().entries.len());
    assert!(report.history.iter().any(|row| row.kind == Kind::Outcome), "{:?}", report.history);
    let text = report.text(true);
    fits(&text);
    for part in ["this build starts from it", "settings in force", "next call", "dosed"] {
        assert!(text.contains(part), "{part}\n{text}");
    }
    for line in report.json().lines() {
        assert!(serde_json::from_str::<serde_json::Value>(line).unwrap()["event"].is_string());
    }
}

#[test]
fn a_ledger_inside_a_larger_dump_is_found() {
    let bytes = example();
    let mut dump = vec![0xa5; 4096];
    dump.extend_from_slice(&bytes);
    let report = read(&dump, Hints::default()).unwrap();
    assert_eq!(report.found.offset, 4096);
    let plain = read(&bytes, Hints::default()).unwrap();
    assert_eq!(report.history, plain.history);
    assert!(report.started.is_ok());
}

#[test]
fn a_time_that_happens_twice_comes_with_its_distance_from_utc() {
    let night = r#"schema = 1
[clock]
start = 2026-10-24T12:00:00
zone = "CET-1CEST,M3.5.0,M10.5.0/3"
run_for = "1 d"
[head]
flow = "60 ml/min"
[[entry]]
name = "every"
every = { interval = "30 min", from = "2026-10-24 12:00" }
window = "9 min"
volume = "8 ml"
pulses = 1
[[entry]]
name = "nightly"
weekly = { nights = ["sat"], at = "02:15" }
window = "9 min"
volume = "8 ml"
pulses = 1
[[operator]]
at = "+15 h 10 min"
acknowledge = {}
"#;
    let report = read(&memory_after(night), Hints::default()).unwrap();
    let told = |begin: &str| -> Vec<String> {
        let rows = report.history.iter().filter(|row| row.when.starts_with(begin));
        rows.map(|row| format!("{}; {}", row.when, row.what)).collect()
    };
    let dosed = "dosed 8 ml; due 2026-10-25";
    let wanted = [
        format!("2026-10-25 02:00:08 (+02:00); {dosed} 02:00 (+02:00)"),
        format!("2026-10-25 02:15:08 (+02:00); {dosed} 02:15 (+02:00)"),
        format!("2026-10-25 02:30:08 (+02:00); {dosed} 02:30 (+02:00)"),
        format!("2026-10-25 02:00:08 (+01:00); {dosed} 02:00 (+01:00)"),
        "2026-10-25 02:10 (+01:00); alarms acknowledged".to_owned(),
        format!("2026-10-25 02:30:08 (+01:00); {dosed} 02:30 (+01:00)"),
    ];
    assert_eq!(told("2026-10-25 02"), wanted);
    // any other is clear
    assert_eq!(
        told("2026-10-25 03"),
        [
            format!("2026-10-25 03:00:08; {dosed} 03:00"),
            format!("2026-10-25 03:30:08; {dosed} 03:30")
        ]
    );
    fits(&report.text(true));
    assert!(report.json().contains("02:10 (+01:00)"));
}

#[test]
fn it_is_told_from_when_on_there_are_records() {
    let site = |days: u32| {
        let text = format!(
            r#"schema = 1
[clock]
start = 2026-08-01T12:00:00
zone = "UTC0"
run_for = "{days} d"
[head]
flow = "60 ml/min"
[memory]
sectors = 2
[[entry]]
name = "rare"
every = {{ interval = "91 d", from = "2026-08-02 12:00" }}
window = "9 min"
volume = "8 ml"
"#
        );
        read(&memory_after(&text), Hints::default()).unwrap()
    };
    let words = "older records were overwritten";
    let young = site(20);
    let since = young.since.as_ref().unwrap();
    assert_eq!((since.at_ms, since.when.as_str()), (0, "+0 s"), "the clock was not set yet");
    assert!(!since.overwritten && !young.text(false).contains(words));
    assert_eq!(young.history.iter().filter(|row| row.kind == Kind::Outcome).count(), 1);
    // a sector takes three weeks of a stamp an hour; two hold the last three to six
    let old = site(80);
    let since = old.since.as_ref().unwrap();
    let days = 80.0 - since.at_ms as f64 / 86.4e6;
    assert!(since.overwritten && (20.0..43.0).contains(&days), "{days}");
    assert!(old.text(false).contains(&format!("  from {} on: {words}\n", since.when)));
    assert!(old.history.iter().all(|row| row.kind != Kind::Outcome));
    let line: serde_json::Value = serde_json::from_str(old.json().lines().next().unwrap()).unwrap();
    assert_eq!(line["records_from_ms"], since.at_ms);
    assert_eq!(line["older_overwritten"], true);
}

/// An image whose headers and seals say another format version.
fn relabelled(bytes: &[u8], version: u16) -> Vec<u8> {
    let slots = bytes.as_chunks::<SLOT>().0.iter();
    let relabel = |slot: &[u8; SLOT]| match Slot::decode(slot) {
        Slot::Good { seq, class: class @ (Class::Header | Class::Seal), mut payload } => {
            assert!(payload.starts_with(&MAGIC));
            payload[4..6].copy_from_slice(&version.to_le_bytes());
            Slot::encode(class, seq, &payload)
        }
        _ => *slot,
    };
    slots.flat_map(relabel).collect()
}

#[test]
fn m4_an_older_store_is_read_and_a_later_one_refused_with_its_version() {
    let bytes = example();
    for version in 1..=VERSION {
        let report = read(&relabelled(&bytes, version), Hints::default()).unwrap();
        assert_eq!((report.found.version, report.found.is_said), (Some(version), true));
        assert!(report.started.is_ok(), "{version}: {:?}", report.started);
    }
    for version in [0, VERSION + 1] {
        let why = read(&relabelled(&bytes, version), Hints::default()).unwrap_err().0;
        assert!(
            why.contains(&format!("version {version}; this build reads 1 to {VERSION}")),
            "{why}"
        );
    }
    // stores that builds of then wrote, in sectors too small for a device of the simulator's
    for version in 1..=VERSION {
        let path = format!("{}/../tests/stores/format-{version}.bin", env!("CARGO_MANIFEST_DIR"));
        let report = read(&std::fs::read(path).unwrap(), Hints::default()).unwrap();
        assert!(report.found.is_said && report.found.geometry.sector_bytes == 4096);
        assert!(report.history.iter().any(|row| row.kind == Kind::Outcome));
    }
}

#[test]
fn a_dump_that_lacks_the_front_is_told_what_is_missing() {
    let mut bytes = example();
    // the second sector has a header as well
    let (first, rest) = bytes.split_at_mut(32_768);
    let Slot::Good { seq, class, mut payload } = Slot::decode(first.first_chunk().unwrap()) else {
        panic!("no header");
    };
    payload[14] = 1;
    rest[..SLOT].copy_from_slice(&Slot::encode(class, seq + 1000, &payload));
    for missing in [64, 32_768] {
        let why = read(&bytes[missing..], Hints::default()).unwrap_err().0;
        assert!(why.contains(&format!("the first {missing} bytes of its ledger")), "{why}");
    }
}

#[test]
fn a_layout_that_no_ledger_has_is_refused_in_words() {
    let bytes = example();
    for (bytes, sector_bytes) in [(&bytes[..20_000], 20_032), (&bytes[..], 131_072)] {
        let hints = Hints { sector_bytes: Some(sector_bytes), ..Hints::default() };
        let why = read(bytes, hints).unwrap().started.unwrap_err();
        assert!(why.contains("give 2 to 65534"), "{why}");
    }
}

#[test]
fn a_flipped_bit_is_counted_where_it_is() {
    let mut bytes = example();
    bytes[64 + 20] ^= 4;
    let report = read(&bytes, Hints::default()).unwrap();
    assert_eq!(report.found.sectors[0].damaged, 1);
    assert!(report.started.as_ref().is_ok_and(|started| started.unreadable));
    assert!(report.text(false).contains("memory damaged"));
}

#[test]
fn what_is_no_ledger_is_said_to_be_none() {
    assert!(read(&[], Hints::default()).is_err());
    let blank = vec![0xff; 65_536];
    let why = read(&blank, Hints::default()).unwrap_err().0;
    assert!(why.contains("no header") && why.contains("--sector-bytes"), "{why}");
    let hints = Hints { sector_bytes: Some(32_768), ..Hints::default() };
    let report = read(&blank, hints).unwrap();
    assert!(report.started.is_err() && report.text(false).contains("does not start"));
    fits(&report.text(false));
    for sector_bytes in [0, 1, 63, 64, 1000, u32::MAX] {
        let hints = Hints { sector_bytes: Some(sector_bytes), word_bytes: Some(8) };
        if let Ok(report) = read(&blank, hints) {
            fits(&report.text(true));
        }
    }
    let hints = Hints { word_bytes: Some(3), ..hints };
    assert!(read(&blank, hints).is_err());
}

#[test]
fn any_bytes_give_an_answer() {
    use rand_pcg::rand_core::{RngCore, SeedableRng};
    let whole = example();
    let mut dice = rand_pcg::Pcg64Mcg::seed_from_u64(9);
    let (mut starts, mut refused) = (0, 0);
    for round in 0..300 {
        let mut bytes = whole.clone();
        if round % 3 == 0 {
            bytes.truncate(16_384 * (1 + dice.next_u64() as usize % 4));
            dice.fill_bytes(&mut bytes);
        } else {
            // the part that is written, in whole slots or bit by bit
            for _ in 0..=dice.next_u64() % 40 {
                let at = dice.next_u64() as usize % 12_288;
                match dice.next_u64() % 3 {
                    0 => bytes[at] ^= 1 << (dice.next_u64() % 8),
                    1 => bytes[at / 64 * 64..][..64].fill(0xff),
                    _ => bytes.copy_within(at / 64 * 64..at / 64 * 64 + 64, at / 128 * 64),
                }
            }
            if round % 7 == 0 {
                bytes.truncate(dice.next_u64() as usize % bytes.len());
            }
        }
        for hints in [Hints::default(), Hints { sector_bytes: Some(32_768), word_bytes: Some(1) }] {
            match read(&bytes, hints) {
                Ok(report) => {
                    fits(&report.text(true));
                    assert!(!report.json().is_empty());
                    starts += u32::from(report.started.is_ok());
                    refused += u32::from(report.started.is_err());
                }
                Err(why) => assert!(!why.0.is_empty()),
            }
        }
    }
    assert!(starts > 50 && refused > 50, "{starts} {refused}");
}

/// 120 ml every day at 00:45 for eight days from a Monday, and more.
fn daily(more: &str) -> Report {
    let text = format!(
        r#"schema = 1

[clock]
start = 2026-11-02T00:00:00
zone = "UTC0"
run_for = "8 days"

[head]
flow = "30 ml/min"

[supply]
mains = {{}}

[[entry]]
name = "a"
weekly = {{ days = ["mon", "tue", "wed", "thu", "fri", "sat", "sun"], at = "00:45" }}
volume = "120 ml"
window = "45 min"

{more}"#
    );
    read(&memory_after(&text), Hints::default()).unwrap()
}

fn outcomes(report: &Report) -> Vec<&str> {
    let rows = report.history.iter().filter(|row| row.kind == Kind::Outcome);
    rows.map(|row| row.what.as_str()).collect()
}

#[test]
fn a_due_is_told_by_the_clock_it_was_born_under() {
    // an hour back in the middle of the first dose
    let back = daily("[[operator]]\nat = \"mon 00:50\"\nset_clock = { by = \"-1 h\" }\n");
    assert_eq!(
        outcomes(&back)[..2],
        ["dosed 120 ml; due 2026-11-02 00:45", "skipped, already dosed; due 2026-11-02 00:45"]
    );
    // five hours east in it
    let east = daily("[[operator]]\nat = \"mon 00:50\"\nset_zone = { zone = \"XXX-5\" }\n");
    assert_eq!(outcomes(&east)[0], "dosed 120 ml; due 2026-11-02 00:45");
    // the chip loses its feed in the second
    let lost = daily("[[fault]]\nat = \"tue 00:50\"\nclock_lost = { lasts = \"10 h\" }\n");
    assert_eq!(
        outcomes(&lost),
        [
            "dosed 120 ml; due 2026-11-02 00:45",
            "part 12 ml to 16 ml, clock lost, 1 restart; due 2026-11-03 00:45"
        ]
    );
    // a dose that is open is told alike
    let open = daily(
        "[[operator]]\nat = \"+7 d 50 min\"\nset_clock = { by = \"-1 h\" }\n\
         [[fault]]\nat = \"+7 d 51 min\"\nsupply_loss = { lasts = \"2 d\" }\n",
    );
    assert!(open.text(true).contains("  open dose  entry 1, due 2026-11-09 00:45: "));
    assert!(open.json().contains("\"open_dose\":\"entry 1, due 2026-11-09 00:45: "));
}

#[test]
fn a_row_of_closed_doses_is_told_once() {
    let report = daily("[[closed]]\nfirst = 2026-11-03\nlast = 2026-11-07\n");
    assert_eq!(
        outcomes(&report),
        [
            "dosed 120 ml; due 2026-11-02 00:45",
            "skipped (5 of them), closed; due 2026-11-03 00:45, the last 2026-11-07 00:45",
            "dosed 120 ml; due 2026-11-08 00:45",
            "dosed 120 ml; due 2026-11-09 00:45"
        ]
    );
    assert_eq!(report.json().matches("\"event\":\"outcome\"").count(), 4);
}

#[test]
fn every_setting_that_is_in_force_is_told() {
    let text = r#"schema = 1

[clock]
start = 2026-11-02T00:00:00
zone = "UTC0"
run_for = "1 h"

[head]
flow = "26.5 ml/min"
rollers = 4
volume_per_roller_pass = "0.2 ml"
longest_prime = "3 min"
longest_calibration = "7 min"

[supply]
battery = { type = "LR20", warn_days = 21 }

[container]
capacity = "10 l"
low_contact = "1 l"
debounce = "7 s"

[[entry]]
name = "n"
weekly = { nights = ["mon"], at = "00:45" }
volume = "2 ml"
window = "45 min"
pulses = 1
gap = "first valid"
observes_closed = false
"#;
    let report = read(&memory_after(text), Hints::default()).unwrap();
    let page = report.text(true);
    fits(&page);
    let flat = page.split_whitespace().collect::<Vec<_>>().join(" ");
    for part in [
        "at 00:45, 1 pulse, in spring's gap at the first valid time, on closed dates too",
        "pulses 400 ms to 10 min, of 4 ml or more where a dose allows,",
        "; 4 rollers, 0.2 ml a pass; prime of 3 min at most, calibration run of 7 min at most",
        "contact at 1 l, counts when closed for 7 s",
        "low at 7.00 V or 21 d ahead, exhausted at 6.51 V",
    ] {
        assert!(flat.contains(part), "{part:?} is not in\n{page}");
    }
    let json = report.json();
    for part in ["in spring's gap", "4 rollers", "21 d ahead", "closed for 7 s"] {
        assert!(json.contains(part), "{json}");
    }
}

/// Two entries; a line's slot is damaged after a new timetable was set, and the watchdog fires.
#[test]
fn m2_damage_is_told_with_its_slots_and_its_entries() {
    let head = "schema = 1\n[clock]\nstart = 2026-11-02T00:00:00\nzone = \"UTC0\"\n\
        run_for = \"2 d\"\n[head]\nflow = \"60 ml/min\"\n";
    let entry = |name: &str, at: &str| {
        format!(
            "[[entry]]\nname = \"{name}\"\nweekly = {{ nights = [\"mon\", \"tue\"], at = \
             \"{at}\" }}\nwindow = \"10 min\"\nvolume = \"60 ml\"\n"
        )
    };
    let text = format!("{head}{}{}", entry("a", "06:00"), entry("b", "08:00"));
    // the slot of the second entry's settings
    let bytes = memory_after(&text);
    let is_second = |slot: &[u8; SLOT]| {
        let Slot::Good { class: Class::Record, payload, .. } = Slot::decode(slot) else {
            return false;
        };
        let record = dosewright_core::record::Record::decode(&payload);
        matches!(record, Some(dosewright_core::record::Record::Staged(s)) if s.entry.id.0 == 2)
    };
    let at = bytes.as_chunks::<SLOT>().0.iter().position(is_second).unwrap() * SLOT;
    let fault = |at: &str| format!("[[fault]]\nat = \"+1 d {at}\"\n");
    let flip = format!("bit_flip = {{ address = {}, bit = 2 }}\n", at + 20);
    let after = |at: &str| {
        let (bit, reset) = (fault(at), fault(at));
        memory_after(&format!("{text}{bit}{flip}{reset}watchdog_reset = {{}}\n"))
    };
    // before its first dose nothing that is whole tells which entry stood there
    let early = read(&after("1 h"), Hints::default()).unwrap().text(true);
    assert!(early.contains("alarm on: settings damaged; line 2\n"), "{early}");
    let row = "  line 2   its settings are lost: it does not run; counted from 1, and no whole\n           record tells the number of its entry\n";
    assert!(early.contains(row), "{early}");
    let bytes = after("12 h");
    let report = read(&bytes, Hints::default()).unwrap();
    let told = report.text(true);
    fits(&told);
    for part in [
        "alarm on: memory damaged; 1 slot\n",
        "alarm on: settings damaged; entry 2\n",
        "  entry 2  its settings are lost: it does not run\n",
    ] {
        assert!(told.contains(part), "{part}\n{told}");
    }
    let json = report.json();
    assert!(json.contains(r#"{"event":"lost","entry":2,"line":2}"#), "{json}");
    assert!(json.contains(r#""closed_lost":false"#), "{json}");
}
