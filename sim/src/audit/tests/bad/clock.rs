//! D9 and D10: the clock that is lost, and instants that are noted.

use dosewright_core::record::Record;
use dosewright_core::time::Instant;

use super::{END, night, with_inputs};
use crate::audit::tests::bench::{
    DAY, Ev, HOUR, breaks, holds, local, places, with_outcome, without,
};
use crate::observe::DeviceAct;

#[test]
fn d9_a_weekly_dose_with_the_clock_unset() {
    let inputs = [
        (2 * HOUR, Ev::Supply(false)),
        (3 * HOUR, Ev::Supply(true)),
        (3 * HOUR, Ev::Chip(2 * HOUR, 0, false)),
    ];
    let stream = with_inputs(&inputs, 2 * DAY as u64);
    holds(&stream, 2 * DAY as u64);
    let alarm = places(&stream, |ev| matches!(ev, Ev::Record(Record::Alarm { .. })));
    breaks(&without(&stream, &alarm), 2 * DAY as u64, "D9", "no alarm was raised");
    let boot = *places(&stream, |ev| matches!(ev, Ev::Record(Record::Boot { .. }))).last().unwrap();
    let mut kept = stream.clone();
    if let Ev::Record(Record::Boot { feed_kept, .. }) = &mut kept[boot].1 {
        *feed_kept = true;
    }
    breaks(&kept, 2 * DAY as u64, "D9", "feed as kept");
    let mut jumped = stream;
    if let Ev::Record(Record::Boot { at, .. }) = &mut jumped[boot].1 {
        *at = Instant::from_ms(3 * HOUR);
    }
    breaks(&jumped, 2 * DAY as u64, "D9", "the ledger's last instant");
}

#[test]
fn d9_the_instant_of_a_due_that_is_judged() {
    let back = [(2 * HOUR, Ev::Act(DeviceAct::SetClock(local("2026-10-19 00:30"))))];
    let stream = with_inputs(&back, END);
    let wrong = with_outcome(&stream, 1, |o| o.due_at = Instant::from_ms(3));
    breaks(&wrong, END, "D9", "its instant is noted as 3, not 8100000 ms");
    let several = with_outcome(&stream, 1, |o| o.count = 2);
    breaks(&several, END, "D1", "an outcome of one due stands for several");
    // nor is it hidden by a record that is lost
    let mut lost = wrong;
    let boot = places(&lost, |ev| matches!(ev, Ev::Record(Record::Boot { .. })))[0];
    lost.insert(boot + 1, (0, Ev::Flip(0)));
    breaks(&lost, END, "D9", "its instant is noted as 3, not 8100000 ms");
}

#[test]
fn d10_a_record_at_a_wrong_time_and_no_stamps() {
    let stream = night();
    let stamps = places(&stream, |ev| matches!(ev, Ev::Record(Record::Stamp { .. })));
    assert!(stamps.len() > 5);
    let mut wrong = stream.clone();
    wrong[stamps[2]].1 = Ev::Record(Record::Stamp { at: Instant::from_ms(1) });
    breaks(&wrong, END, "D10", "the clock chip stands at");
    breaks(&without(&stream, &stamps[2..4]), END, "D9", "no record with an instant");
}
