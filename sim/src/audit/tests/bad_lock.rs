//! A lock that keeps nothing out, and others that do not do what they are for (O5).

use dosewright_core::config::Container;
use dosewright_core::entry::EntryId;
use dosewright_core::lock::{Pin, PinWord};
use dosewright_core::record::{Act, Record};
use dosewright_core::time::Instant;
use dosewright_core::units::{Flow, Volume};

use super::bench::{
    CET, Ev, HOUR, MIN, Stream, breaks, head, holds, ideal_stream, install, lacks, table, weekly,
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
        (0, Ev::Record(Record::Pin { at: Instant::from_ms(MORNING), check: PinWord(7) })),
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
    // one that could not be noted is not held against the device
    let closed = (1000, Ev::Act(DeviceAct::Lock));
    let torn = [closed, tried(2000, b"0417"), (2000, Ev::Torn)];
    lacks(&flow_after(MIN, &torn), END, "O5", "the right PIN was refused");
}

#[test]
fn o5_another_pin_behind_a_closed_lock() {
    let closed = (1000, Ev::Act(DeviceAct::Lock));
    let other = (2000, Ev::Act(DeviceAct::SetPin(Some(pin(b"2222")))));
    let noted =
        (2000, Ev::Record(Record::Pin { at: Instant::from_ms(MORNING + 2000), check: PinWord(8) }));
    let words = "another PIN was taken, and the settings are locked";
    let events = [closed, other.clone(), noted.clone()];
    breaks(&flow_after(MIN, &events), END, "O5", words);
    holds(&flow_after(MIN, &[other, noted]), END);
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

#[test]
fn o5_a_refill_needs_no_pin_and_a_container_does() {
    let container = Container { capacity: Volume::from_ml(1000), ..Container::NONE };
    let noted = |ms, ml| {
        let (at, level) = (Instant::from_ms(MORNING + ms), Volume::from_ml(ml));
        (ms, Ev::Record(Record::Container { at, container, level, pumped_ms: None }))
    };
    let set = |ms, ml| (ms, Ev::Act(DeviceAct::SetContainer(container, Volume::from_ml(ml))));
    let closed = (20, Ev::Act(DeviceAct::Lock));
    let refill = (40_000, Ev::Act(DeviceAct::Refill(Volume::from_ml(800))));
    let opened = [set(10, 900), noted(10, 900), closed.clone(), refill, noted(40_000, 800)];
    let again = [tried(50_000, b"0417"), act(50_000, Act::Unlocked)];
    holds(&flow_after(MIN, &[&opened[..], &again].concat()), END);
    let other = [closed, set(40_000, 800), noted(40_000, 800)];
    let words = "the container was taken, and the settings are locked";
    breaks(&flow_after(MIN, &[&other[..], &again].concat()), END, "O5", words);
}

#[test]
fn o5_what_a_closed_lock_keeps_out_is_no_refusal_to_answer_for() {
    let again = |ms| (ms, Ev::Act(DeviceAct::RunAgain(EntryId(1))));
    // the night's dose took four fifths of the ceiling: a fifth of it would run
    let closed = [(20, Ev::Act(DeviceAct::Lock)), again(40_000)];
    let opened = [tried(50_000, b"0417"), act(50_000, Act::Unlocked)];
    holds(&flow_after(MIN, &[&closed[..], &opened].concat()), END);
    let open = [again(40_000)];
    breaks(&flow_after(MIN, &open), END, "D2", "run again was refused");
}

#[test]
fn o5_each_wrong_try_waits_longer() {
    // a minute after the third, then 2, 4, 8, 16, 32, and an hour at most
    let mut tries = vec![(500, Ev::Act(DeviceAct::Lock))];
    let mut at = 1_000;
    for wait_min in [0, 0, 0, 1, 2, 4, 8, 16, 32, 60, 60] {
        at += wait_min * MIN + i64::from(wait_min == 0);
        tries.extend([tried(at, b"1111"), act(at, Act::WrongPin)]);
    }
    let last = at + 60 * MIN;
    let then = |ms| {
        let mut all = tries.clone();
        all.extend([tried(ms, b"0417"), act(ms, Act::Unlocked)]);
        flow_after(last + 2_000, &all)
    };
    holds(&then(last), END);
    breaks(&then(last - 1), END, "O5", "a try is judged before its time");
    // each by itself: one try a millisecond sooner
    for n in 3..11 {
        let mut early = tries.clone();
        let ms = early[1 + 2 * n].0 - 1;
        early[1 + 2 * n] = tried(ms, b"1111");
        early[2 + 2 * n] = act(ms, Act::WrongPin);
        early.truncate(3 + 2 * n);
        breaks(&flow_after(last, &early), END, "O5", "a try is judged before its time");
    }
    // a right one is refused before its time, and not after it
    let mut refused = tries.clone();
    refused.push(tried(last - 1, b"0417"));
    lacks(&flow_after(last + 2_000, &refused), END, "O5", "the right PIN was refused");
    let mut refused = tries;
    refused.push(tried(last, b"0417"));
    breaks(&flow_after(last + 2_000, &refused), END, "O5", "the right PIN was refused");
}

#[test]
fn o5_what_is_taken_keeps_the_lock_open() {
    // five minutes after the last thing that was taken, or asked for and refused
    let flow = |ms| Flow::from_nl_per_min(26_000_000 + ms as u32).unwrap();
    let taken = |ms| {
        let head = dosewright_core::config::Head { flow: flow(ms), ..head() };
        let at = Instant::from_ms(MORNING + ms);
        [(ms, Ev::Act(DeviceAct::SetFlow(flow(ms)))), (ms, Ev::Record(Record::Head { at, head }))]
    };
    holds(&flow_after(9 * MIN - 1, &taken(4 * MIN)), END);
    breaks(&flow_after(9 * MIN, &taken(4 * MIN)), END, "O5", "the settings are locked");
    breaks(&flow_after(12 * MIN, &taken(5 * MIN)), END, "O5", "the settings are locked");
    // one that left no trace may have
    let asked = [(4 * MIN, Ev::Act(DeviceAct::SetFlow(flow(1))))];
    holds(&flow_after(9 * MIN - 1, &asked), END);
    breaks(&flow_after(9 * MIN, &asked), END, "O5", "the settings are locked");
}

#[test]
fn o5_nothing_that_needs_the_pin_is_taken_behind_a_closed_lock() {
    use super::bench::{DAY, every, nights, set_table, with, zone};
    use dosewright_core::calibration::{Amount, Measured, Vessel};
    let vessel = Vessel { capacity: Volume::from_ml(100), reading_error: Volume::from_ul(500) };
    let container = Container { capacity: Volume::from_ml(1000), ..Container::NONE };
    let measured = Measured {
        amount: Amount::Volume(Volume::from_nl(33_000_000)),
        reading_error: vessel.reading_error,
        as_found: false,
    };
    let run = (0, DeviceAct::CalibrateInto(vessel));
    let one = |act| vec![(0, act)];
    let acts = [
        (one(DeviceAct::SetZone(zone("GMT0"))), "the clock or the zone"),
        (
            one(DeviceAct::SetClock(super::bench::local("2026-10-19 06:10"))),
            "the clock or the zone",
        ),
        (one(DeviceAct::SetHead(super::bench::round_head())), "the head"),
        (one(set_table(&[every(2, DAY, 3 * HOUR)])), "a timetable"),
        (one(DeviceAct::SetContainer(container, Volume::from_ml(900))), "the container"),
        (one(DeviceAct::Prime(Volume::from_ml(10))), "prime"),
        (vec![run.clone()], "calibrate"),
        (vec![run, (3 * MIN, DeviceAct::Measured(measured))], "a reading"),
        (one(DeviceAct::TubeChanged), "a tube set"),
        (one(DeviceAct::RunAgain(EntryId(1))), "a dose that was asked for"),
    ];
    for (acts, what) in acts {
        let last = acts.last().unwrap().0;
        let inputs: Vec<_> =
            acts.into_iter().map(|(ms, act)| (MORNING + ms, Ev::Act(act))).collect();
        let stream = nights(head(), &inputs, END);
        holds(&stream, END);
        // open until the very moment, or closed a millisecond before it
        let pin_set = |ms, and: &[Ev]| {
            let at = Instant::from_ms(ms);
            let mut more = vec![
                (ms, Ev::Act(DeviceAct::SetPin(Some(pin(b"0417"))))),
                (ms, Ev::Record(Record::Pin { at, check: PinWord(7) })),
            ];
            more.extend(and.iter().map(|ev| (ms, ev.clone())));
            with(&stream, &more)
        };
        let before = MORNING + last - 1;
        holds(&pin_set(before, &[]), END);
        let words = format!("{what} was taken, and the settings are locked");
        breaks(&pin_set(before, &[Ev::Act(DeviceAct::Lock)]), END, "O5", &words);
    }
}

#[test]
fn o5_a_lock_that_is_open_for_sure_is_no_excuse() {
    // the flow is taken at four minutes: the lock is open until nine
    let at = 4 * MIN;
    let flow = Flow::from_nl_per_min(26_500_000).unwrap();
    let again = |ms| {
        let head = dosewright_core::config::Head { flow, ..head() };
        let taken = Record::Head { at: Instant::from_ms(MORNING + at), head };
        vec![
            (at, Ev::Act(DeviceAct::SetFlow(flow))),
            (at, Ev::Record(taken)),
            (ms, Ev::Act(DeviceAct::RunAgain(EntryId(1)))),
        ]
    };
    breaks(&flow_after(8 * MIN, &again(6 * MIN)), END, "D2", "run again was refused");
    // refused at six, it may be open until eleven: for sure it is until nine
    let mut twice = again(6 * MIN);
    twice.push((9 * MIN + 1, Ev::Act(DeviceAct::RunAgain(EntryId(1)))));
    let report = super::bench::audit(&flow_after(10 * MIN, &twice), END);
    assert_eq!(report.violations.len(), 1, "{}", super::bench::list(&report.violations));
}
