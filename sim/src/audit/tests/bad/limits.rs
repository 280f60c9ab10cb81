//! D2 and D7: the guard against repeats, the ceiling, and what a head stands.

use dosewright_core::cause::Cause;
use dosewright_core::config::Head;
use dosewright_core::entry::EntryId;
use dosewright_core::record::{OutcomeKind, Record};
use dosewright_core::time::{Duration, Instant};

use super::{END, night, with_inputs};
use crate::audit::tests::bench::{
    CET, Ev, HOUR, Stream, breaks, head, holds, ideal_stream, install, is_outcome, is_pulse, local,
    places, round_head, table, weekly, with_outcome, without,
};
use crate::observe::DeviceAct;

#[test]
fn d2_a_dose_inside_the_guard() {
    let back = [(2 * HOUR, Ev::Act(DeviceAct::SetClock(local("2026-10-19 00:30"))))];
    let stream = with_inputs(&back, END);
    holds(&stream, END);
    // the second due runs like the first, an hour and a half later
    let skip = places(&stream, is_outcome)[1];
    let (from, to) = (places(&stream, is_pulse)[0], places(&stream, is_outcome)[0]);
    let shift = stream[skip].0 - stream[from].0;
    let mut doubled: Stream = stream[..skip].to_vec();
    for (ms, ev) in &stream[from..=to] {
        let mut ev = ev.clone();
        let later = |at: &mut Instant| *at = at.plus(Duration::from_ms(shift));
        match &mut ev {
            Ev::Record(Record::Pulse(p)) => {
                p.due.epoch = 2;
                later(&mut p.at);
                later(&mut p.due_at);
            }
            Ev::Record(Record::Outcome(o)) => {
                o.due.epoch = 2;
                later(&mut o.at);
                later(&mut o.due_at);
            }
            _ => {}
        }
        doubled.push((ms + shift, ev));
    }
    breaks(&doubled, 4 * HOUR as u64, "D2", "to be skipped, \"already dosed\"");
    // and one that says skipped for another reason
    let wrong = with_outcome(&stream, 1, |o| o.kind = OutcomeKind::Skipped(Cause::Ceiling));
    breaks(&wrong, END, "D2", "expected skipped, \"already dosed\"");
}

#[test]
fn d7_longest_run_rest_and_starts() {
    let stream = night();
    let run = |head| {
        let mut spoilt = stream.clone();
        for (_, ev) in &mut spoilt {
            match ev {
                Ev::Act(DeviceAct::SetHead(h)) | Ev::Record(Record::Head { head: h, .. }) => {
                    *h = head;
                }
                _ => {}
            }
        }
        spoilt
    };
    breaks(&run(Head { longest_run_ms: 9_000, ..head() }), END, "D7", "the longest run is 9000");
    breaks(&run(Head { least_rest_ms: 86_000_000, ..head() }), END, "D7", "allow it from");
    breaks(&run(Head { starts_per_hour: 20, ..head() }), END, "D7", "allow it from");
    breaks(&run(Head { shortest_on_ms: 10_000, ..head() }), END, "D7", "the shortest is");
    // and such a timetable is not to be accepted
    breaks(
        &run(Head { longest_run_ms: 9_000, least_rest_ms: 86_000, ..head() }),
        END,
        "D5",
        "fit its window",
    );
}

#[test]
fn d7_more_than_the_ceiling_and_a_wrong_cut() {
    let mut inputs = install(round_head(), CET, "2026-10-19 00:00", table(&[weekly(1, 0x7f, 45)]));
    inputs.push((2 * HOUR as u64, Ev::Act(DeviceAct::RunAgain(EntryId(1)))));
    let stream = ideal_stream(&inputs, END);
    holds(&stream, END);
    let asked = places(&stream, |ev| matches!(ev, Ev::Record(Record::Pulse(p)) if p.asked));
    let mut more = stream.clone();
    for &at in &asked {
        if let Ev::Record(Record::Pulse(p)) = &mut more[at].1 {
            p.dose_ms += 1000;
        }
    }
    breaks(&more, END, "D4", "the dose is to pump 31000 ms, not 30000");
    let mut less = stream.clone();
    for &at in &asked {
        if let Ev::Record(Record::Pulse(p)) = &mut less[at].1 {
            p.dose_ms -= 1000;
        }
    }
    breaks(&less, END, "D4", "the dose is to pump 29000 ms, not 30000");
    let full = with_outcome(&stream, 1, |o| o.kind = OutcomeKind::Dosed);
    breaks(&full, END, "D1", "expected part, \"daily ceiling\"");
    // nobody asked
    let act = places(&stream, |ev| matches!(ev, Ev::Act(DeviceAct::RunAgain(_))));
    breaks(&without(&stream, &act), END, "D1", "nobody asked for");
    // asked, and not done
    let mut refused: Stream = stream[..asked[0]].to_vec();
    refused.push((3 * HOUR as u64, Ev::Record(Record::Stamp { at: Instant::from_ms(3 * HOUR) })));
    breaks(&refused, 3 * HOUR as u64, "D2", "run again was refused");
}
