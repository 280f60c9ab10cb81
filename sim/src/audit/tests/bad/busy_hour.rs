//! D6 and D7: the starts of the hour before a dose, and the even train that they leave to it.
//!
//! A millilitre a second.

use dosewright_core::config::Head;
use dosewright_core::entry::{Entry, EntryId};
use dosewright_core::record::Record;
use dosewright_core::time::Instant;
use dosewright_core::units::Volume;

use super::END;
use crate::audit::tests::bench::{
    CET, Ev, HOUR, MIN, Stream, breaks, every, holds, ideal_stream, install, is_pulse, places,
    round_head, table, weekly,
};
use crate::observe::DeviceAct;

/// So many pulses of a second from `from_ms` on, in ten minutes; then the night's dose.
fn after(head: Head, before: u16, from_ms: i64, night: Entry) -> Stream {
    let first = Entry {
        volume: Volume::from_ml(u64::from(before)),
        pulses: Some(before),
        ..every(2, 6 * HOUR, from_ms)
    };
    let timetable = table(&[night, first]);
    ideal_stream(&install(head, CET, "2026-10-19 00:00", timetable), END)
}

/// The eighth pulse of the night's dose two milliseconds late.
fn late(stream: &Stream) -> Stream {
    let of_night = |ev: &Ev| matches!(ev, Ev::Record(Record::Pulse(p)) if p.due.id == EntryId(1));
    let place = places(stream, of_night)[7];
    let mut stream = stream.clone();
    for (ms, ev) in &mut stream[place..place + 3] {
        *ms += 2;
        if let Ev::Record(Record::Pulse(p)) = ev {
            p.at = Instant::from_ms(p.at.as_ms() + 2);
        }
    }
    stream
}

#[test]
fn d6_a_busy_hour_that_leaves_the_train_its_starts_excuses_nothing() {
    // 40 starts from 00:05 on: the 21st of the night, at 01:15, comes an hour after the first
    let night = weekly(1, 0x7f, 45);
    for (before, pulses) in [(40, Some(30)), (40, None), (1, Some(30)), (1, None)] {
        let stream = after(round_head(), before, 5 * MIN, Entry { pulses, ..night });
        holds(&stream, END);
        breaks(&late(&stream), END, "D6", "pulse 8 of 30");
    }
}

#[test]
fn d7_a_train_that_lacks_starts_may_be_another() {
    // fifteen starts from 00:20 on, and 27 an hour: the thirteenth of the night would come at
    // 01:12, before 01:20; the device makes ten of it
    let head = Head { starts_per_hour: 27, ..round_head() };
    let of = |pulses| Entry { pulses: Some(pulses), ..weekly(1, 0x7f, 45) };
    let mut stream = after(head, 15, 20 * MIN, of(10));
    holds(&stream, END);
    for (_, ev) in &mut stream {
        match ev {
            Ev::Act(DeviceAct::SetTimetable(timetable)) => timetable.put(of(20)).unwrap(),
            Ev::Record(Record::Staged(staged)) if staged.entry.id == EntryId(1) => {
                staged.entry = of(20);
            }
            _ => {}
        }
    }
    holds(&stream, END);
    // without those starts the entry's own number is kept to
    let first = places(&stream, is_pulse)[0];
    let until = places(
        &stream,
        |ev| matches!(ev, Ev::Record(Record::Outcome(o)) if o.due.id == EntryId(2)),
    )[0];
    let mut alone = stream[..first].to_vec();
    alone.extend_from_slice(&stream[until + 1..]);
    breaks(&alone, END, "D6", "pulse 1 of 20");
}
