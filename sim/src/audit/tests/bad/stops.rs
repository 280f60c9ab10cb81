//! D11, P4 and O1: what has to stop the pump.

use dosewright_core::cause::Cause;
use dosewright_core::record::{OutcomeKind, Record};
use dosewright_core::units::Volume;

use super::{END, with_inputs};
use crate::audit::tests::bench::{
    CET, Ev, HOUR, MIN, Stream, breaks, holds, ideal_stream, install, is_outcome, places,
    round_head, set_table, table, weekly, with, with_outcome, without,
};
use crate::observe::DeviceAct;

#[test]
fn d11_a_dose_that_an_edit_should_have_ended() {
    let mut inputs = install(round_head(), CET, "2026-10-19 00:00", table(&[weekly(1, 0x7f, 45)]));
    inputs.push((60 * MIN as u64 + 1000, Ev::Act(set_table(&[weekly(1, 0x7f, 120)]))));
    let stream = ideal_stream(&inputs, END);
    holds(&stream, END);
    let outcome = places(&stream, is_outcome)[0];
    breaks(&without(&stream, &[outcome]), END, "D1", "no outcome by");
    let wrong = with_outcome(&stream, 0, |o| o.kind = OutcomeKind::Part(Cause::Disabled));
    breaks(&wrong, END, "D1", "expected part, \"edited\"");
    let off =
        places(&stream, |ev| *ev == Ev::Pump(false)).into_iter().rfind(|&i| i < outcome).unwrap();
    let mut on = without(&stream, &[outcome]);
    on[off].0 += 500;
    on.sort_by_key(|(ms, _)| *ms);
    breaks(&on, END, "D11", "has to end");
}

#[test]
fn p4_the_pump_on_when_it_must_not_be() {
    let stops = [(60 * MIN + 2000, Ev::Act(DeviceAct::RemoteStop(true)))];
    let stream = with_inputs(&stops, END);
    holds(&stream, END);
    let act = places(&stream, |ev| matches!(ev, Ev::Act(DeviceAct::RemoteStop(_))))[0];
    assert_eq!(stream[act + 1].1, Ev::Pump(false));
    let mut on = stream.clone();
    on[act + 1].0 += 100;
    breaks(&on, END, "P4", "in spite of \"remote stop\"");
    // the supply goes in a pulse and the pin stays on
    let cut = [(60 * MIN + 2000, Ev::Supply(false)), (80 * MIN, Ev::Supply(true))];
    let stream = with_inputs(&cut, END);
    let off = places(&stream, |ev| *ev == Ev::Supply(false))[0];
    assert_eq!(stream[off - 1].1, Ev::Pump(false));
    let mut on = stream.clone();
    on[off - 1].0 += 100;
    on.swap(off - 1, off);
    breaks(&on, END, "P4", "the supply off");
    // a reset
    let reset = [(60 * MIN + 2000, Ev::Reset)];
    let stream = with_inputs(&reset, END);
    holds(&stream, END);
    let at = places(&stream, |ev| *ev == Ev::Reset)[0];
    assert_eq!(stream[at - 1].1, Ev::Pump(false));
    let mut on = without(&stream, &[at - 1]);
    let next =
        places(&on, |ev| matches!(ev, Ev::Pump(true))).into_iter().find(|&i| i > at - 1).unwrap();
    let late = on[at - 1].0 + 50;
    on.insert(next, (late, Ev::Pump(false)));
    on.sort_by_key(|(ms, _)| *ms);
    breaks(&on, END, "P4", "after a reset");
}

#[test]
fn o1_prime_longer_than_asked() {
    let prime = [(4 * HOUR, Ev::Act(DeviceAct::Prime(Volume::from_ml(53))))];
    let stream = with_inputs(&prime, END);
    holds(&stream, END);
    let acts = places(&stream, |ev| matches!(ev, Ev::Record(Record::Act { .. })));
    let ms_of = |stream: &mut Stream, i: usize, by: u32| {
        if let Ev::Record(Record::Act { ms, .. }) = &mut stream[i].1 {
            *ms += by;
        }
    };
    let mut long = stream.clone();
    ms_of(&mut long, acts[0], 100);
    breaks(&long, END, "O1", "nobody asked for so much");
    let mut wrong = stream.clone();
    ms_of(&mut wrong, acts[1], 100);
    breaks(&wrong, END, "O1", "the pump ran for");
    let mut on = stream.clone();
    let off =
        places(&stream, |ev| *ev == Ev::Pump(false)).into_iter().find(|&i| i > acts[0]).unwrap();
    on[off].0 += 100;
    on.sort_by_key(|(ms, _)| *ms);
    breaks(&on, END, "O1", "it was to stop by itself");
    breaks(&on, END, "D4", "what it ran for has ended");
}

#[test]
fn o1_a_prime_that_is_let_go_of_stops() {
    let prime = [
        (4 * HOUR, Ev::Act(DeviceAct::Prime(Volume::from_ml(53)))),
        (4 * HOUR + 30_000, Ev::Act(DeviceAct::Release)),
    ];
    let stream = with_inputs(&prime, END);
    holds(&stream, END);
    let release = places(&stream, |ev| *ev == Ev::Act(DeviceAct::Release))[0];
    assert_eq!(stream[release + 1].1, Ev::Pump(false));
    let mut on = stream;
    on[release + 1].0 += 5;
    on[release + 2].0 += 5;
    breaks(&on, END, "O1", "prime or calibrate was let go of, and the pump is on");
    // a key that is let go of in a dose stops nothing
    let dose = [(45 * MIN + 2_000, Ev::Act(DeviceAct::Release))];
    holds(&with_inputs(&dose, END), END);
}

#[test]
fn d4_what_the_pump_runs_for_behind_a_reset_counts() {
    // stopped from the reset on for two minutes, in which the pump runs for 20 s. Of a pulse
    // of 9056 ms two seconds had run: 284 642 ms in all, less two for the cut and the reading
    let stop = |on| Ev::Act(DeviceAct::RemoteStop(on));
    let reset = 60 * MIN + 2000;
    let stream = with_inputs(
        &[(reset, Ev::Reset), (reset, stop(true)), (reset + 2 * MIN, stop(false))],
        END,
    );
    holds(&stream, END);
    let runs = [(reset + 10_000, Ev::Pump(true)), (reset + 30_000, Ev::Pump(false))];
    let on = with(&stream, &runs);
    breaks(&on, END, "D4", "the pump goes on without an intent in the ledger");
    breaks(&on, END, "D4", "at most 119999950 nl, and the pump ran for 125716000 nl");
}
