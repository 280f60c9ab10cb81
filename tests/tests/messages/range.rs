//! What can be read and is out of its range has the logic's own answer; what means
//! nothing cannot be read.

use dosewright_core::civil::Local;
use dosewright_core::config::{Container, Head};
use dosewright_core::entry::{Entry, EntryId, Recurrence};
use dosewright_core::message::{Answer, Fault, Message};
use dosewright_core::time::Instant;
use dosewright_core::timetable::Refusal;
use dosewright_core::units::Volume;
use dosewright_core::zone::Zone;
use dosewright_tests::entries::daily;
use dosewright_tests::fuzz::message::{frame, unframe};

use crate::bench::{Bench, bytes};
use crate::{closed, container, entry, flow, refused};

const OUT_OF_RANGE: Answer = Answer::Refused { code: 17, entry: 0 };
const HEAD: Answer = Answer::Refused { code: 4, entry: 0 };
const FIELD: Answer = Answer::Refused { code: 5, entry: 1 };

#[test]
fn what_is_out_of_its_range_has_the_answer_that_it_has_by_hand() {
    let head = Head::with_flow(flow(26_500_000));
    let weekly = entry(1, 45);
    let every = |every_ms| {
        let recurrence = Recurrence::Interval { every_ms, from: Instant::ZERO };
        Message::Entry(Entry { recurrence, ..daily(1, 45, Volume::from_ml(120)) })
    };
    let at = |at_min| match weekly.recurrence {
        Recurrence::Weekly { days, by_night, .. } => Recurrence::Weekly { days, at_min, by_night },
        Recurrence::Interval { .. } => panic!("weekly"),
    };
    let zone = |offset_s| Message::Zone(Zone { offset_s, ..Zone::UTC });
    let mut bench = Bench::new();
    bench.say(&Message::Head(head));
    let before = *bench.device.controller().book();
    bench.say(&Message::Begin { entries: 2, closed: true, ceiling: None });
    for (message, answer) in [
        (Message::Head(Head { rollers: 17, ..head }), HEAD),
        (Message::Head(Head { starts_per_hour: 61, ..head }), HEAD),
        (
            Message::Container(Container { low: Volume::from_ml(50), ..container() }, Volume::ZERO),
            OUT_OF_RANGE,
        ),
        (Message::Container(container(), Volume::from_ml(10_001)), OUT_OF_RANGE),
        (Message::Container(Container::NONE, Volume::ZERO), OUT_OF_RANGE),
        (zone(25 * 3600), OUT_OF_RANGE),
        (Message::Clock(Local::from_ms(0)), OUT_OF_RANGE),
        (Message::Entry(Entry { volume: Volume::ZERO, ..weekly }), FIELD),
        (Message::Entry(Entry { volume: Volume::from_ml(100_001), ..weekly }), FIELD),
        (Message::Entry(Entry { window_ms: 0, ..weekly }), FIELD),
        (Message::Entry(Entry { pulses: Some(0), ..weekly }), FIELD),
        (Message::Entry(Entry { recurrence: at(1440), ..weekly }), FIELD),
        (every(59_999), FIELD),
        (every(u64::MAX), FIELD),
    ] {
        assert_eq!(bench.say(&message), answer, "{message:?}");
        assert_eq!(before, *bench.device.controller().book(), "{message:?}");
    }
    let field = Refusal::Field { id: EntryId(1), field: "volume" };
    assert_eq!(refused(&field), FIELD);
    // none of them is gathered
    assert_eq!(bench.say(&Message::Entry(weekly)), Answer::Taken);
}

#[test]
fn bits_and_fields_that_mean_nothing_cannot_be_read() {
    let weekly = Message::Entry(entry(1, 45));
    let recurrence = Recurrence::Interval { every_ms: 3_600_000, from: Instant::from_ms(7) };
    let interval = Message::Entry(Entry { recurrence, ..daily(1, 45, Volume::from_ml(120)) });
    let mut bench = Bench::new();
    bench.say(&Message::Begin { entries: 2, closed: true, ceiling: None });
    // places in the content; the head of a message is three bytes
    for (message, place, bits) in [
        (weekly, 3, 64), // flags
        (weekly, 3, 128),
        (weekly, 3, 32),  // no pulses, beside 30
        (weekly, 4, 128), // days
        (weekly, 7, 1),   // the interval, and its start
        (weekly, 13, 1),
        (interval, 3, 4), // by night
        (interval, 4, 1),
        (interval, 5, 1),
        (weekly, 44, 2), // edited is 0 or 1
        (weekly, 45, 1), // and nothing comes after it
    ] {
        let mut body = unframe(&bytes(9, &message));
        body[3 + place] ^= bits;
        let answers = bench.send(&frame(&body));
        let unreadable = Answer::Unreadable(Fault::Content);
        assert_eq!(answers, [(9, unreadable)], "{message:?}, {bits} at {place}");
    }
    // closed dates: no first one, no last one, and a hole before a stretch
    let body = unframe(&bytes(9, &Message::Closed(closed())));
    let stretch = 3..7;
    let mut hole = body.clone();
    hole.copy_within(stretch.clone(), stretch.end);
    for (mut body, none) in [(body.clone(), 3..5), (body, 5..7), (hole, stretch)] {
        body[none].fill(0xff);
        assert_eq!(bench.send(&frame(&body)), [(9, Answer::Unreadable(Fault::Content))]);
    }
}
