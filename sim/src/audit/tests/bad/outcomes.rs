//! D1: every due has one outcome, of the right kind and cause.

use dosewright_core::cause::Cause;
use dosewright_core::entry::{EntryId, Nominal};
use dosewright_core::record::{DueKey, OutcomeKind, Record};
use dosewright_core::time::Instant;
use dosewright_core::units::{Carry, Volume};

use super::{END, night, with_inputs};
use crate::audit::tests::bench::{
    Ev, HOUR, MIN, Stream, breaks, holds, is_outcome, is_pulse, local, nominal, places,
    with_outcome, with_pulse, without,
};
use crate::observe::DeviceAct;

#[test]
fn d1_an_outcome_that_is_missing() {
    let stream = night();
    breaks(&without(&stream, &places(&stream, is_outcome)), END, "D1", "no outcome");
}

#[test]
fn d1_an_outcome_twice() {
    let mut stream = night();
    let at = places(&stream, is_outcome)[0];
    stream.insert(at + 1, stream[at].clone());
    breaks(&stream, END, "D1", "without a dose that was open");
    let mut skip = night();
    let mut again = skip[at].clone();
    if let Ev::Record(Record::Outcome(o)) = &mut again.1 {
        o.kind = OutcomeKind::Skipped(Cause::SupplyLost);
        (o.least, o.most) = (Volume::ZERO, Volume::ZERO);
    }
    skip.insert(at + 1, again);
    breaks(&skip, END, "D1", "has one already");
}

#[test]
fn d1_keys_that_do_not_match() {
    let stream = night();
    for change in [0, 1, 2, 3] {
        let spoil = |key: &mut DueKey| match change {
            0 => key.nominal = Nominal(key.nominal.0 + 1440),
            1 => key.epoch += 1,
            2 => key.revision += 1,
            _ => key.id = EntryId(7),
        };
        let spoilt = with_pulse(&stream, 0, |p| spoil(&mut p.due));
        breaks(&spoilt, END, "D1", "does not exist");
    }
}

#[test]
fn d1_skipped_for_another_cause() {
    let lost = [(30 * MIN, Ev::Supply(false)), (3 * HOUR, Ev::Supply(true))];
    let stream = with_inputs(&lost, END);
    holds(&stream, END);
    let wrong = with_outcome(&stream, 0, |o| o.kind = OutcomeKind::Skipped(Cause::WokenLate));
    breaks(&wrong, END, "D1", "expected skipped, \"supply lost\"");
    let delivered = with_outcome(&stream, 0, |o| o.most = Volume::from_ml(1));
    breaks(&delivered, END, "D4", "something is said to be delivered");
    let marked = with_outcome(&stream, 0, |o| o.mark = Some(Nominal(5)));
    breaks(&marked, END, "D1", "the mark");
    let late = with_outcome(&stream, 0, |o| o.due_at = Instant::from_ms(1));
    breaks(&late, END, "D9", "its instant is noted");
}

#[test]
fn d1_skipped_though_it_could_run() {
    let stream = night();
    let first = places(&stream, is_pulse)[0];
    let outcome = places(&stream, is_outcome)[0];
    let (ms, mut ev) = stream[outcome].clone();
    let Ev::Record(Record::Outcome(o)) = &mut ev else {
        panic!("an outcome is an outcome, not at {ms}")
    };
    (o.kind, o.at) = (OutcomeKind::Skipped(Cause::AlreadyDosed), Instant::from_ms(45 * MIN));
    (o.least, o.most, o.carry) = (Volume::ZERO, Volume::ZERO, Carry(0));
    let mut spoilt: Stream = stream[..first].to_vec();
    spoilt.push((45 * MIN as u64, ev));
    breaks(&spoilt, 50 * MIN as u64, "D2", "expected the dose to begin");
}

#[test]
fn d1_a_dose_for_a_due_that_was_to_be_skipped() {
    let cut = [(30 * MIN, Ev::Supply(false)), (3 * HOUR, Ev::Supply(true))];
    let stream = with_inputs(&cut, END);
    let outcome = places(&stream, is_outcome)[0];
    let at = stream[outcome].0;
    let mut all_the_same: Stream = stream[..outcome].to_vec();
    let Ev::Record(Record::Pulse(mut p)) = night()[places(&night(), is_pulse)[0]].1.clone() else {
        panic!("a pulse")
    };
    (p.at, p.begun_after_ms) = (Instant::from_ms(at as i64), at as u32 - 45 * MIN as u32);
    all_the_same.push((at, Ev::Record(Record::Pulse(p))));
    breaks(&all_the_same, at, "D1", "a dose begins whose due was to be skipped");
    // nor for one that the ledger does not owe
    for by in [-1440, 1440] {
        let other = with_pulse(&all_the_same, 0, |p| {
            p.due.nominal = Nominal(p.due.nominal.0.saturating_add_signed(by));
        });
        breaks(&other, at, "D1", "a dose begins for a due that does not exist");
    }
}

#[test]
fn d1_d9_each_cause_has_its_promise() {
    let forward = [(10 * MIN, Ev::Act(DeviceAct::SetClock(local("2026-10-19 02:00"))))];
    let stream = with_inputs(&forward, END);
    holds(&stream, END);
    let skipped = |cause| with_outcome(&stream, 0, move |o| o.kind = OutcomeKind::Skipped(cause));
    let words = "expected skipped, \"clock set\"";
    for (cause, promise) in [
        (Cause::SupplyLost, "D9"),
        (Cause::AlreadyDosed, "D2"),
        (Cause::Ceiling, "D7"),
        (Cause::ClockUnset, "D9"),
    ] {
        breaks(&skipped(cause), END, promise, words);
    }
    let lost = [(30 * MIN, Ev::Supply(false)), (3 * HOUR, Ev::Supply(true))];
    let stream = with_inputs(&lost, END);
    let skipped = |cause| with_outcome(&stream, 0, move |o| o.kind = OutcomeKind::Skipped(cause));
    let words = "expected skipped, \"supply lost\"";
    for (cause, promise) in [
        (Cause::ClockSet, "D9"),
        (Cause::ClockUnset, "D9"),
        (Cause::OlderWaiting, "D3"),
        (Cause::Leak, "D1"),
    ] {
        breaks(&skipped(cause), END, promise, words);
    }
}

#[test]
fn d1_the_mark_stands_behind_the_due() {
    let stream = night();
    let mark = |n: u32| {
        let first = nominal("2026-10-19 00:45").0;
        with_pulse(&stream, 9, move |p| p.mark = Some(Nominal(first + n)))
    };
    let words = "the mark written with the intent is not the entry's";
    breaks(&mark(0), END, "D1", words);
    holds(&mark(1), END);
    holds(&mark(1440), END);
    breaks(&mark(1441), END, "D1", words);
}

#[test]
fn d1_d5_a_device_that_falls_silent() {
    let stream = night();
    let pulses = places(&stream, is_pulse);
    // after its first pulse, and after its last
    let until = |place: usize| -> Stream { stream[..place + 3].to_vec() };
    let first = until(pulses[0]);
    breaks(&first, 91 * MIN as u64, "D1", "the dose has no outcome by device ms 5400000");
    let last = until(pulses[29]);
    breaks(&last, 89 * MIN as u64, "D1", "the dose has no outcome by device ms 5319057");
    // before it, and after it
    let before = stream[..pulses[0]].to_vec();
    breaks(&before, 46 * MIN as u64, "D5", "did not begin at device ms 2700000");
    let outcome = places(&stream, is_outcome)[0];
    breaks(&stream[..=outcome].to_vec(), END, "D9", "no record with an instant");
}
