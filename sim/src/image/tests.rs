use dosewright_core::ledger::VERSION;

use super::*;
use crate::run::Options;
use crate::{builtin, check, judged};

/// The memory at the end of the built-in example.
fn example() -> Vec<u8> {
    let (scenario, _) = check::read(builtin::NAME, builtin::EXAMPLE);
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
