//! Settings messages: what a laptop sends is what the device has, and any bytes at
//! all get a clear answer.

mod bench;
mod page;
mod range;
mod standing;

use dosewright_core::civil::{Date, Days, Local};
use dosewright_core::config::{Container, Head};
use dosewright_core::entry::{ClosedDates, Entry, EntryId, Recurrence};
use dosewright_core::event::Event;
use dosewright_core::lock::Pin;
use dosewright_core::message::{
    Answer, Fault, LONGEST, Message, Receiver, VERSION, encode_answer, refusal_code,
};
use dosewright_core::record::ClosedList;
use dosewright_core::time::{Duration, Instant};
use dosewright_core::timetable::{Refusal, Timetable};
use dosewright_core::units::{Flow, Volume};
use dosewright_core::zone::Zone;
use dosewright_tests::entries::daily;
use dosewright_tests::fuzz::message::frame;
use proptest::prelude::*;

use bench::{Bench, N, bytes};

fn flow(nl_per_min: u32) -> Flow {
    Flow::from_nl_per_min(nl_per_min).unwrap()
}

fn entry(id: u16, at_min: u16) -> Entry {
    Entry {
        recurrence: Recurrence::Weekly { days: Days::ALL, at_min, by_night: true },
        window_ms: 2_700_000,
        observes_closed: true,
        pulses: Some(30),
        ..daily(id, at_min, Volume::from_ml(120))
    }
}

fn closed() -> ClosedList {
    let mut list = ClosedList::EMPTY;
    let date = |m, d| Date::from_ymd(2026, m, d).unwrap();
    assert!(list.push(ClosedDates { first: date(12, 24), last: date(12, 31) }));
    list
}

fn container() -> Container {
    Container {
        capacity: Volume::from_ml(10_000),
        low: Volume::from_ml(500),
        heel: Volume::from_ml(100),
        debounce_ms: 4_000,
    }
}

/// One of each kind.
fn messages() -> Vec<Message> {
    let head = Head { roller_pass: Volume::from_ul(290), ..Head::with_flow(flow(26_500_000)) };
    let local = Local::new(Date::from_ymd(2026, 10, 19).unwrap(), Duration::from_h(9));
    vec![
        Message::Hello,
        Message::Unlock(Pin::from_digits(b"0417").unwrap()),
        Message::Lock,
        Message::Clock(local),
        Message::Zone(Zone::parse("CET-1CEST,M3.5.0,M10.5.0/3").unwrap()),
        Message::Head(head),
        Message::Container(container(), Volume::from_ml(7_500)),
        Message::Begin { entries: 2, closed: false, ceiling: Some(Volume::from_ml(400)) },
        Message::Begin { entries: 2, closed: true, ceiling: None },
        Message::Entry(entry(1, 45)),
        Message::Closed(closed()),
        Message::PutInForce,
        Message::Stands,
    ]
}

/// All that a receiver says to some bytes.
fn said(bytes: &[u8]) -> Vec<(u8, Result<Message, Fault>)> {
    let mut receiver = Receiver::NEW;
    bytes.iter().filter_map(|&byte| receiver.push(byte)).collect()
}

#[test]
fn the_published_examples_of_the_stuffing() {
    // CRC-32/ISO-HDLC of "123456789" is cbf43926 (the CRC catalogue's check value,
    // from memory); the stuffing of 11 22 00 33 is 03 11 22 02 33
    assert_eq!(frame(b"123456789")[11..15], [0x26, 0x39, 0xf4, 0xcb]);
    assert_eq!(frame(&[0x11, 0x22, 0x00, 0x33])[..6], [0, 3, 0x11, 0x22, 6, 0x33]);
}

#[test]
fn every_message_comes_back_as_it_went() {
    for (number, message) in (1..).zip(messages()) {
        let out = bytes(number, &message);
        assert!(out.len() <= LONGEST + 2, "{message:?} takes {} bytes", out.len());
        assert!(out[1..out.len() - 1].iter().all(|byte| *byte != 0), "a zero in a frame");
        assert_eq!(said(&out), [(number, Ok(message))]);
    }
    assert_eq!(bytes(9, &Message::PutInForce), frame(&[VERSION, 9, 10]));
    let pin = Message::Unlock(Pin::from_digits(b"0417").unwrap());
    assert_eq!(bytes(3, &pin), frame(&[VERSION, 3, 1, 0xb1, 0x28, 0, 0]));
}

#[test]
fn what_is_no_message_says_why() {
    let of = |body: &[u8]| said(&frame(body));
    assert_eq!(of(&[VERSION + 1, 7, 0]), [(7, Err(Fault::Version))]);
    assert_eq!(of(&[VERSION, 7, 12]), [(7, Err(Fault::Kind))]);
    assert_eq!(of(&[VERSION, 7, 0, 1]), [(7, Err(Fault::Content))], "a byte too many");
    assert_eq!(of(&[VERSION, 7, 1, 1, 2, 3]), [(7, Err(Fault::Content))], "a byte too few");
    assert_eq!(of(&[VERSION, 7, 1, 0, 0, 0, 0]), [(7, Err(Fault::Content))], "no PIN");
    assert_eq!(of(&[VERSION, 7]), [(0, Err(Fault::Frame))], "too short");
    assert_eq!(said(&[0, 5, 1, 1, 0]), [(0, Err(Fault::Frame))], "stuffed wrongly");
    assert_eq!(said(&[0, 255, 1, 0]), [(0, Err(Fault::Frame))]);
    let mut bad = bytes(7, &Message::Hello);
    bad[2] ^= 4;
    assert_eq!(said(&bad), [(0, Err(Fault::Checksum))]);
    let mut long = vec![1; LONGEST + 1];
    long.push(0);
    // and the frame after it is read
    long.extend(bytes(8, &Message::Hello));
    assert_eq!(said(&long), [(0, Err(Fault::Frame)), (8, Ok(Message::Hello))]);
}

#[test]
fn a_reader_that_comes_in_the_middle_finds_the_next_frame() {
    let out = bytes(1, &messages()[5]);
    for from in 2..out.len() - 1 {
        let mut stream = out[from..].to_vec();
        stream.extend(bytes(2, &Message::Hello));
        let heard = said(&stream);
        assert_eq!(heard.last(), Some(&(2, Ok(Message::Hello))), "from byte {from}");
        assert!(heard[..heard.len() - 1].iter().all(|(_, m)| m.is_err()));
    }
}

#[test]
fn every_answer_is_a_frame_of_its_own() {
    for (answer, body) in [
        (Answer::Taken, vec![VERSION, 5, 128]),
        (Answer::Refused { code: 18, entry: 0x0201 }, vec![VERSION, 5, 129, 18, 1, 2]),
        (Answer::Unreadable(Fault::Checksum), vec![VERSION, 5, 130, 2]),
    ] {
        let mut out = Vec::new();
        encode_answer(5, &answer, &mut |byte| out.push(byte));
        assert_eq!(out, frame(&body));
    }
    let id = EntryId(9);
    assert_eq!(refusal_code(&Refusal::NeverDue { id }), (6, 9));
    assert_eq!(Answer::to(Some(&Refusal::Locked)), Answer::Refused { code: 18, entry: 0 });
    assert_eq!(Answer::to(None), Answer::Taken);
}

fn refused(refusal: &Refusal) -> Answer {
    Answer::to(Some(refusal))
}

#[test]
fn a_laptop_loads_all_the_settings_of_a_site() {
    let mut bench = Bench::new();
    for message in messages() {
        let announced = matches!(message, Message::Begin { ceiling: Some(_), .. });
        if matches!(message, Message::PutInForce) {
            assert_eq!(bench.say(&Message::Entry(entry(2, 300))), Answer::Taken);
            assert_eq!(bench.timetable(), Timetable::EMPTY, "nothing is in force by halves");
        }
        if message == Message::Stands {
            continue;
        }
        assert_eq!(bench.say(&message), Answer::Taken, "{message:?} {announced}");
    }
    let book = bench.device.controller().book();
    assert_eq!(
        book.head.map(|h| (h.flow, h.roller_pass)),
        Some((flow(26_500_000), Volume::from_ul(290)))
    );
    assert_eq!(book.zone, Zone::parse("CET-1CEST,M3.5.0,M10.5.0/3").unwrap());
    assert!(book.clock.is_some());
    assert_eq!(book.stock.container(), Some(&container()));
    assert_eq!(book.timetable.get(EntryId(1)), Some(entry(1, 45)));
    assert_eq!(book.timetable.get(EntryId(2)), Some(entry(2, 300)));
    assert_eq!(book.timetable.entries().count(), 2);
    assert!(book.timetable.closed.contains(Date::from_ymd(2026, 12, 25).unwrap()));
}

#[test]
fn d11_a_timetable_is_in_force_whole_or_not_at_all() {
    let mut bench = Bench::new();
    let head = Message::Head(Head::with_flow(flow(26_500_000)));
    assert_eq!(bench.say(&head), Answer::Taken);
    let turn = Answer::Unreadable(Fault::OutOfTurn);
    // parts of nothing
    assert_eq!(bench.say(&Message::Entry(entry(1, 45))), turn);
    assert_eq!(bench.say(&Message::Closed(closed())), turn);
    assert_eq!(bench.say(&Message::PutInForce), turn);
    // closed dates that were not announced; announced, and not sent
    let begin = |closed| Message::Begin { entries: 0, closed, ceiling: None };
    assert_eq!(bench.say(&begin(false)), Answer::Taken);
    assert_eq!(bench.say(&Message::Closed(closed())), turn);
    assert_eq!(bench.say(&begin(true)), Answer::Taken);
    assert_eq!(bench.say(&Message::PutInForce), turn);
    for _ in 0..2 {
        assert_eq!(bench.say(&Message::Closed(closed())), Answer::Taken);
        assert_eq!(bench.say(&Message::PutInForce), Answer::Taken);
    }
    assert_eq!(bench.timetable().closed, closed());
    // and there are none where none are sent
    assert_eq!(bench.say(&begin(false)), Answer::Taken);
    assert_eq!(bench.say(&Message::PutInForce), Answer::Taken);
    assert_eq!(bench.timetable(), Timetable::EMPTY);
    // an entry short
    assert_eq!(
        bench.say(&Message::Begin { entries: 2, closed: false, ceiling: None }),
        Answer::Taken
    );
    assert_eq!(bench.say(&Message::Entry(entry(1, 45))), Answer::Taken);
    assert_eq!(bench.say(&Message::PutInForce), turn);
    // sent once more, because its answer was lost; and another one under its number
    assert_eq!(bench.say(&Message::Entry(entry(1, 45))), Answer::Taken);
    let other = Message::Entry(entry(1, 300));
    assert_eq!(bench.say(&other), Answer::Unreadable(Fault::Content));
    assert_eq!(bench.say(&Message::PutInForce), turn);
    // what the logic refuses by hand it refuses by line, and names the entry
    assert_eq!(bench.say(&Message::Entry(entry(2, 50))), Answer::Taken);
    assert_eq!(bench.say(&Message::PutInForce), Answer::Refused { code: 9, entry: 2 });
    assert_eq!(bench.timetable(), Timetable::EMPTY);
    // more than were announced, and more than there is room for
    assert_eq!(bench.say(&Message::Entry(entry(3, 600))), turn);
    let many = Message::Begin { entries: N as u8 + 1, closed: false, ceiling: None };
    assert_eq!(bench.say(&many), Answer::Unreadable(Fault::TooMany));
    // its entries are no part of what was gathered before
    assert_eq!(bench.say(&Message::Entry(entry(1, 45))), turn);
    assert_eq!(bench.say(&Message::PutInForce), turn);
    // whole
    assert_eq!(
        bench.say(&Message::Begin { entries: 1, closed: false, ceiling: None }),
        Answer::Taken
    );
    assert_eq!(bench.say(&Message::Entry(entry(3, 600))), Answer::Taken);
    assert_eq!(bench.say(&Message::PutInForce), Answer::Taken);
    assert_eq!(bench.timetable().entries().collect::<Vec<_>>(), [entry(3, 600)]);
    // and once more changes nothing
    assert_eq!(bench.say(&Message::PutInForce), Answer::Taken);
    assert_eq!(bench.device.controller().book().state(0).revision, 1);
}

#[test]
fn o5_a_line_is_behind_the_same_lock() {
    let mut bench = Bench::new();
    let pin = |digits: &[u8]| Pin::from_digits(digits).unwrap();
    let now = Instant::from_ms(1000);
    bench.device.handle(now, Event::SetPin(Some(pin(b"0417"))), &mut bench.out);
    bench.device.handle(now, Event::Lock, &mut bench.out);
    let head = Message::Head(Head::with_flow(flow(26_500_000)));
    assert_eq!(bench.say(&Message::Hello), Answer::Taken);
    assert_eq!(bench.say(&head), refused(&Refusal::Locked));
    assert_eq!(bench.say(&Message::Unlock(pin(b"1111"))), refused(&Refusal::WrongPin));
    assert_eq!(bench.say(&head), refused(&Refusal::Locked));
    assert_eq!(bench.say(&Message::Unlock(pin(b"0417"))), Answer::Taken);
    assert_eq!(bench.say(&head), Answer::Taken);
    assert_eq!(bench.say(&Message::Lock), Answer::Taken);
    assert_eq!(bench.say(&head), refused(&Refusal::Locked));
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn any_bytes_at_all_get_an_answer_for_each_frame_and_change_nothing(
        bytes in proptest::collection::vec(prop_oneof![3 => any::<u8>(), 1 => Just(0)], 0..400)
    ) {
        let mut bench = Bench::new();
        let before = *bench.device.controller().book();
        let answers = bench.send(&bytes);
        let frames = bytes.split(|byte| *byte == 0).rev().skip(1).filter(|f| !f.is_empty()).count();
        prop_assert_eq!(answers.len(), frames);
        prop_assert!(answers.iter().all(|(_, a)| matches!(a, Answer::Unreadable(_))));
        prop_assert_eq!(before, *bench.device.controller().book());
    }

    #[test]
    fn a_changed_byte_never_passes_for_another_message(
        which in 0..13_usize, at in 0..LONGEST, to in 1..=255_u8
    ) {
        let message = messages()[which];
        let mut out = bytes(5, &message);
        let at = 1 + at % (out.len() - 2);
        prop_assume!(out[at] != to);
        out[at] = to;
        let heard = said(&out);
        prop_assert!(heard.iter().all(|(_, m)| m.is_err()), "{:?}", heard);
    }
}
