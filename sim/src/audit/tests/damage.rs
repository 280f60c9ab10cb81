//! What damage of the memory hides, and what it must not: only what the lost record may
//! have been about is left open, until it is set anew (M2).

use dosewright_core::entry::EntryId;
use dosewright_core::record::{OutcomeKind, Record};
use dosewright_core::time::Instant;
use dosewright_core::units::Volume;

use super::bench::{
    CET, DAY, Ev, HOUR, MIN, Stream, audit, breaks, every, head, holds, ideal_stream, install,
    is_outcome, list, local, places, set_table, table, weekly, with_outcome,
};
use crate::observe::DeviceAct;

const END: u64 = 3 * DAY as u64;

fn night_of(id: u16) -> impl Fn(&Ev) -> bool {
    move |ev| matches!(ev, Ev::Record(Record::Outcome(o)) if o.due.id == EntryId(id))
}

/// Three nights with another entry at three and every day since, the supply off from six to
/// seven on the first morning; and these inputs.
fn days(inputs: &[(i64, DeviceAct)]) -> Stream {
    let entries = [weekly(1, 0x7f, 45), every(2, DAY, 3 * HOUR)];
    let mut stream = install(head(), CET, "2026-10-19 00:00", table(&entries));
    stream.push((6 * HOUR as u64, Ev::Supply(false)));
    stream.push((7 * HOUR as u64, Ev::Supply(true)));
    stream.extend(inputs.iter().map(|(ms, act)| (*ms as u64, Ev::Act(act.clone()))));
    ideal_stream(&stream, END)
}

/// The stream in which the slot of one record becomes unreadable while the supply is off.
fn lost(stream: &Stream, is: impl Fn(&Ev) -> bool) -> Stream {
    let off = places(stream, |ev| *ev == Ev::Supply(false))[0];
    let place = places(stream, is).into_iter().rfind(|&place| place < off).unwrap();
    let since = places(stream, |ev| matches!(ev, Ev::Record(_)))
        .iter()
        .filter(|&&at| place < at && at < off)
        .count();
    let mut stream = stream.clone();
    stream.insert(off + 1, (6 * HOUR as u64, Ev::Flip(since)));
    stream
}

/// The stream whose second night of an entry says a millilitre too little.
fn wrong(stream: &Stream, id: u16) -> Stream {
    let of = places(stream, night_of(id))[1];
    let n = places(stream, is_outcome).iter().position(|&at| at == of).unwrap();
    with_outcome(stream, n, |o| {
        assert_eq!(o.kind, OutcomeKind::Dosed);
        o.least = Volume::from_nl(o.least.as_nl() - 1_000_000);
    })
}

const WORDS: &str = "least delivered is given as";

fn is_found(stream: &Stream) -> bool {
    audit(stream, END).violations.iter().any(|v| v.promise == "D4" && v.what.contains(WORDS))
}

fn is_line(id: u16) -> impl Fn(&Ev) -> bool {
    move |ev| matches!(ev, Ev::Record(Record::Staged(s)) if s.entry.id == EntryId(id))
}

#[test]
fn m2_a_lost_record_of_one_entry_hides_nothing_of_another() {
    let stream = days(&[]);
    holds(&stream, END);
    assert!(is_found(&wrong(&stream, 1)) && is_found(&wrong(&stream, 2)));
    type Is = Box<dyn Fn(&Ev) -> bool>;
    let of_second: [Is; 3] = [
        Box::new(night_of(2)),
        Box::new(is_line(2)),
        Box::new(|ev| matches!(ev, Ev::Record(Record::Pulse(p)) if p.due.id == EntryId(2))),
    ];
    for is in of_second {
        let lost = lost(&stream, is);
        holds(&lost, END);
        assert!(is_found(&wrong(&lost, 1)));
    }
}

#[test]
fn m2_what_is_left_open_is_counted_and_judged_again_after_it() {
    let stream = days(&[]);
    // an outcome of the entry is lost: its next dose is left open, the one after is judged
    let lost = lost(&stream, night_of(1));
    holds(&lost, END);
    let report = audit(&wrong(&lost, 1), END);
    assert_eq!((report.held(), report.unjudged), (true, 1), "{}", list(&report.violations));
    let third = places(&lost, night_of(1))[2];
    let n = places(&lost, is_outcome).iter().position(|&at| at == third).unwrap();
    let both = with_outcome(&wrong(&lost, 1), n, |o| o.least = Volume::from_ml(1));
    breaks(&both, END, "D4", WORDS);
}

#[test]
fn m2_records_of_no_consequence_hide_nothing() {
    type Is = fn(&Ev) -> bool;
    let none: [Is; 2] = [
        |ev| matches!(ev, Ev::Record(Record::Stamp { .. })),
        |ev| matches!(ev, Ev::Record(Record::Boot { .. })),
    ];
    for is in none {
        let lost = lost(&days(&[]), is);
        holds(&lost, END);
        assert!(is_found(&wrong(&lost, 1)) && is_found(&wrong(&lost, 2)));
    }
}

#[test]
fn m2_what_concerns_all_is_open_until_it_is_set_again() {
    type Is = fn(&Ev) -> bool;
    let noon = 12 * HOUR;
    let flow = dosewright_core::units::Flow::from_nl_per_min(26_500_000).unwrap();
    let mut other = weekly(1, 0x7f, 45);
    other.pulses = Some(20);
    let wide: [(Is, DeviceAct); 3] = [
        (
            |ev| matches!(ev, Ev::Record(Record::Clock { .. })),
            DeviceAct::SetClock(local("2026-10-19 12:00")),
        ),
        (|ev| matches!(ev, Ev::Record(Record::Head { .. })), DeviceAct::SetFlow(flow)),
        (
            |ev| matches!(ev, Ev::Record(Record::Adopted(_))),
            set_table(&[other, every(2, DAY, 3 * HOUR)]),
        ),
    ];
    for (n, (is, again)) in wide.into_iter().enumerate() {
        let open = lost(&days(&[]), is);
        let report = audit(&wrong(&open, 1), END);
        assert!(report.held(), "{n}: {}", list(&report.violations));
        assert!(report.unjudged > 0, "{n}");
        // set anew after the start: the second night is judged, or by a dose that shows the
        // mark the third
        let set = lost(&days(&[(noon, again)]), is);
        let third = places(&set, night_of(1))[2];
        let at = places(&set, is_outcome).iter().position(|&at| at == third).unwrap();
        let late = with_outcome(&set, at, |o| o.least = Volume::from_ml(1));
        assert!(is_found(&late), "{n}");
    }
    // before the device has started it cannot know of the damage, and nothing mends it
    assert!(MIN > 0 && Instant::ZERO.as_ms() == 0);
}
