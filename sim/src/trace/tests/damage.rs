//! What damage of the memory makes of what is told.

use dosewright_core::cause::Cause;
use dosewright_core::entry::EntryId;
use dosewright_core::record::{Adopted, Alarm, Born, Outcome as Ended, Record, Staged};
use dosewright_core::time::Instant;
use dosewright_core::units::Volume;

use super::super::json::Lines;
use super::super::{Event, Fate, Outcome, Sink};
use super::{Bytes, DAY, Pump, Told, Write, dosed, pulse, skipped, told};

/// The same with a least and a most.
fn least_and_most(record: &Record, least_ml: u64, most_ml: u64) -> Record {
    let Record::Outcome(outcome) = record else { panic!("{record:?}") };
    let (least, most) = (Volume::from_ml(least_ml), Volume::from_ml(most_ml));
    Record::Outcome(Ended { least, most, restarts: 1, ..*outcome })
}

/// The record of an outcome is lost, and the device ends the dose again at its start: one dose.
#[test]
fn a_dose_that_ends_again_is_told_once() {
    let whole = dosed(7, 2);
    let again = told(&[
        (1000, Write(pulse(7, 2000, 0))),
        (1000, Pump(true)),
        (3000, Pump(false)),
        (3000, Write(whole)),
        (9000, Bytes(vec![0x5a; 64])),
        (9001, Write(least_and_most(&whole, 0, 2))),
        // the next is another
        (20_000, Write(dosed(8, 1))),
    ]);
    let told_of = |told: &Told| -> Vec<(u32, u64, u64, u64)> {
        let ml = |volume: Volume| volume.as_nl() / 1_000_000;
        let of = |outcome: &Outcome| {
            (outcome.key.nominal.0, ml(outcome.least), ml(outcome.most), outcome.on_ms)
        };
        told.outcomes.iter().map(|(_, outcome)| of(outcome)).collect()
    };
    assert_eq!(told_of(&again), [(7, 2, 2, 2000), (8, 1, 1, 0)]);
    // one that went on: what came on top
    let on = told(&[
        (1000, Write(pulse(7, 2000, 0))),
        (1000, Pump(true)),
        (3000, Pump(false)),
        (3000, Write(whole)),
        (9001, Write(pulse(7, 1000, 2000))),
        (9001, Pump(true)),
        (10_001, Pump(false)),
        (10_001, Write(least_and_most(&whole, 2, 3))),
    ]);
    assert_eq!(told_of(&on), [(7, 2, 2, 2000), (7, 0, 1, 1000)]);
}

#[test]
fn a_due_that_is_skipped_again_is_told_once_and_does_not_wait() {
    let Record::Outcome(outcome) = skipped(7, 1, Cause::AlreadyDosed) else { unreachable!() };
    let (due, at) = (outcome.due, outcome.due_at);
    let born = Born { line: 0, due, mark: None, at, due_at: at, cause: Cause::Leak };
    for steps in [1, 2, 3] {
        let told = told(
            &[
                (1, Write(skipped(7, 1, Cause::AlreadyDosed))),
                (2, Write(Record::Born(born))),
                (3, Write(skipped(7, 1, Cause::Leak))),
            ]
            .into_iter()
            .take(steps)
            .collect::<Vec<_>>(),
        );
        let fates: Vec<Fate> = told.outcomes.iter().map(|(_, outcome)| outcome.fate).collect();
        assert_eq!(fates, [Fate::Skipped(Cause::AlreadyDosed)], "{steps}");
    }
    // at another instant it is another due
    let later = Record::Outcome(Ended { due_at: Instant::from_ms(DAY + 1), ..outcome });
    let told = told(&[(1, Write(Record::Outcome(outcome))), (2, Write(later))]);
    assert_eq!(told.outcomes.len(), 2);
}

#[test]
fn an_alarm_of_the_memory_says_how_many_slots_and_which_entries() {
    let at = Instant::ZERO;
    let entry = crate::scenario::read("e.toml", ENTRY).unwrap().0.entries[0]
        .to_core(EntryId(5), Instant::ZERO);
    let staged = Record::Staged(Staged { line: 3, entry, revision: 1, mark: None, edited: false });
    let adopted = Record::Adopted(Adopted {
        at,
        ceiling: None,
        written: 1 << 3,
        cleared: 0,
        closed_staged: false,
        kept_ceiling: dosewright_core::units::Volume::ZERO,
    });
    let alarm = |alarm, on, detail| Write(Record::Alarm { at, alarm, on, detail });
    let steps = [
        (1, Write(staged)),
        (1, Write(adopted)),
        (2, alarm(Alarm::MemoryDamaged, true, 2)),
        (2, alarm(Alarm::EntryDamaged, true, 1 << 3 | 1 << 40)),
        (2, alarm(Alarm::EntryDamaged, true, 0)),
        (3, alarm(Alarm::EntryDamaged, false, 0)),
        (3, alarm(Alarm::LowLevel, true, 7)),
        (4, alarm(Alarm::DoesNotFit, true, 1 << 3)),
        (5, alarm(Alarm::DoesNotFit, false, 0)),
    ];
    let lost = told(&steps).lost;
    let words: Vec<String> = lost.iter().map(|lost| lost.after("it")).collect();
    let entries = "it (entry 5, line 41)";
    assert_eq!(
        words,
        ["it (2 slots)", entries, "it (closed dates)", "it", "it", "it (entry 5)", "it"]
    );
    let mut lines = Lines::new(Vec::new());
    for lost in &lost {
        lines.event(7, &Event::Alarm { alarm: Alarm::EntryDamaged, on: true, lost });
    }
    let text = String::from_utf8(lines.finish().unwrap()).unwrap();
    let more: Vec<&str> =
        text.lines().map(|line| line.split_once("\"on\":true").unwrap().1).collect();
    let entries = ",\"entries\":[\"entry 5\",\"line 41\"]}";
    let one = ",\"entries\":[\"entry 5\"]}";
    assert_eq!(more, [",\"slots\":2}", entries, ",\"entries\":[]}", "}", "}", one, "}"]);
}

const ENTRY: &str = "schema = 1\n[clock]\nstart = 2026-10-05T00:00:00\nzone = \"UTC0\"\n\
    run_for = \"2 days\"\n[head]\nflow = \"26.5 ml/min\"\n[[entry]]\nname = \"trap\"\n\
    weekly = { nights = [\"mon\"], at = \"00:45\" }\nvolume = \"30 ml\"\nwindow = \"10 min\"\n";
