//! A lock that keeps nothing out, and others that do not do what they are for (O5).

use dosewright_core::lock::Pin;
use dosewright_core::record::{Act, Record};
use dosewright_core::time::Instant;
use dosewright_core::units::Flow;

use super::bench::{
    CET, Ev, HOUR, MIN, Stream, breaks, head, holds, ideal_stream, install, table, weekly,
};
use crate::observe::DeviceAct;

const END: u64 = 12 * HOUR as u64;
/// When the morning's acts begin, in ms.
const MORNING: i64 = 6 * HOUR;

fn pin(digits: &[u8]) -> Pin {
    Pin::from_digits(digits).unwrap()
}

/// The first night; at six the PIN is set, and so many ms later the flow, which the
/// device takes; with these in between.
fn flow_after(ms: i64, between: &[(i64, Ev)]) -> Stream {
    let mut stream = install(head(), CET, "2026-10-19 00:00", table(&[weekly(1, 0x7f, 45)]));
    let flow = Flow::from_nl_per_min(26_000_000).unwrap();
    stream.push(((MORNING + ms) as u64, Ev::Act(DeviceAct::SetFlow(flow))));
    let mut stream = ideal_stream(&stream, END);
    let place = stream.iter().position(|(at, _)| *at >= MORNING as u64).unwrap();
    let set = [
        (0, Ev::Act(DeviceAct::SetPin(Some(pin(b"0417"))))),
        (0, Ev::Record(Record::Pin { at: Instant::from_ms(MORNING), check: 7 })),
    ];
    let events: Vec<_> =
        set.iter().chain(between).map(|(ms, ev)| ((MORNING + ms) as u64, ev.clone())).collect();
    stream.splice(place..place, events);
    stream.sort_by_key(|(ms, _)| *ms);
    stream
}

fn act(ms: i64, act: Act) -> (i64, Ev) {
    (ms, Ev::Record(Record::Act { at: Instant::from_ms(MORNING + ms), act, ms: 0 }))
}

fn tried(ms: i64, digits: &[u8]) -> (i64, Ev) {
    (ms, Ev::Act(DeviceAct::Unlock(pin(digits))))
}

#[test]
fn o5_a_setting_behind_a_closed_lock() {
    holds(&flow_after(5 * MIN - 1, &[]), END);
    breaks(&flow_after(5 * MIN, &[]), END, "O5", "the head was taken, and the settings are locked");
    let closed = (1000, Ev::Act(DeviceAct::Lock));
    breaks(&flow_after(MIN, std::slice::from_ref(&closed)), END, "O5", "the settings are locked");
    let opened = [closed, tried(2000, b"0417"), act(2000, Act::Unlocked)];
    holds(&flow_after(MIN, &opened), END);
}

#[test]
fn o5_a_wrong_pin_that_opens_and_a_right_one_that_does_not() {
    let closed = (1000, Ev::Act(DeviceAct::Lock));
    let wrong = [closed.clone(), tried(2000, b"1111"), act(2000, Act::Unlocked)];
    breaks(&flow_after(MIN, &wrong), END, "O5", "a wrong PIN opens the lock");
    let right = [closed.clone(), tried(2000, b"0417"), act(2000, Act::WrongPin)];
    breaks(&flow_after(MIN, &right), END, "O5", "the right PIN is called wrong");
    breaks(
        &flow_after(MIN, &[closed, tried(2000, b"0417")]),
        END,
        "O5",
        "the right PIN was refused",
    );
    breaks(&flow_after(MIN, &[act(2000, Act::Unlocked)]), END, "O5", "nobody entered");
}

#[test]
fn o5_a_try_that_is_judged_before_its_time() {
    let mut tries = vec![(500, Ev::Act(DeviceAct::Lock))];
    for n in 1..=3 {
        tries.extend([tried(n * 1000, b"1111"), act(n * 1000, Act::WrongPin)]);
    }
    let mut early = tries.clone();
    early.extend([tried(62_999, b"0417"), act(62_999, Act::Unlocked)]);
    breaks(&flow_after(2 * MIN, &early), END, "O5", "before its time");
    tries.extend([tried(63_000, b"0417"), act(63_000, Act::Unlocked)]);
    holds(&flow_after(2 * MIN, &tries), END);
}
