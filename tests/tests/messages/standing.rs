//! The one question: how do you stand?

use dosewright_core::civil::{Date, Local};
use dosewright_core::config::Head;
use dosewright_core::entry::{EntryId, GapRule};
use dosewright_core::event::Event;
use dosewright_core::lock::Pin;
use dosewright_core::message::{Answer, Message, Standing};
use dosewright_core::time::{Duration, Instant};
use dosewright_core::zone::Zone;

use crate::bench::{Bench, N};
use crate::{entry, flow};

fn ask(bench: &mut Bench) -> Standing {
    let before = *bench.device.controller().book();
    let Answer::Stands(standing) = bench.say(&Message::Stands) else { panic!("no answer") };
    assert_eq!(before, *bench.device.controller().book(), "a question changes nothing");
    standing
}

#[test]
fn a_device_tells_how_it_stands() {
    let mut bench = Bench::new();
    let blank = Standing {
        now: Instant::from_ms(1000),
        local: None,
        zone: Zone::UTC,
        next_id: EntryId(1),
        entries: 0,
        room: N as u8,
        has_head: false,
        has_pin: false,
        is_locked: false,
        wait_ms: 0,
        announced: None,
        gathered: 0,
    };
    assert_eq!(ask(&mut bench), blank);
    let zone = Zone::parse("CET-1CEST,M3.5.0,M10.5.0/3").unwrap();
    let nine = Local::new(Date::from_ymd(2026, 10, 19).unwrap(), Duration::from_h(9));
    for message in [
        Message::Zone(zone),
        Message::Clock(nine),
        Message::Head(Head::with_flow(flow(26_500_000))),
        Message::Begin { entries: 2, closed: false, ceiling: None },
        Message::Entry(entry(5, 45)),
    ] {
        assert_eq!(bench.say(&message), Answer::Taken, "{message:?}");
    }
    let half = Standing {
        local: Some(nine),
        zone,
        has_head: true,
        announced: Some(2),
        gathered: 1,
        ..blank
    };
    assert_eq!(ask(&mut bench), half);
    bench.say(&Message::Entry(entry(3, 600)));
    assert_eq!(bench.say(&Message::PutInForce), Answer::Taken);
    let whole = Standing { next_id: EntryId(6), entries: 2, gathered: 2, ..half };
    assert_eq!(ask(&mut bench), whole);
    // an hour later, though nothing called the device since
    bench.now = Instant::from_ms(3_601_000);
    let ten = Local::from_ms(nine.as_ms() + 3_600_000);
    assert_eq!(ask(&mut bench), Standing { now: bench.now, local: Some(ten), ..whole });
}

/// As the page has it of an interval entry's first due: the way from what the clock says to the
/// time that is wanted is one in UTC, by the zone of the same answer.
#[test]
fn a_first_due_at_six_is_reckoned_in_utc_over_a_change_of_the_clocks() {
    let zone = Zone::parse("CET-1CEST,M3.5.0,M10.5.0/3").unwrap();
    let at = |(year, month, day): (i32, u8, u8), hour: u64| {
        Local::new(Date::from_ymd(year, month, day).unwrap(), Duration::from_h(hour))
    };
    // no change, the end of summer time, its beginning: off by the clock's face, in hours
    for (evening, morning, off_h) in [
        ((2026, 10, 20), (2026, 10, 21), 0),
        ((2026, 10, 24), (2026, 10, 25), -1),
        ((2027, 3, 27), (2027, 3, 28), 1),
    ] {
        let mut bench = Bench::new();
        for message in [Message::Zone(zone), Message::Clock(at(evening, 18))] {
            assert_eq!(bench.say(&message), Answer::Taken);
        }
        let told = ask(&mut bench);
        let (clock, six) = (told.local.unwrap(), at(morning, 6));
        let utc = |local: Local| told.zone.to_utc(local, GapRule::Shift).as_ms();
        let missing = Duration::from_ms((utc(six) - utc(clock)) as u64);
        bench.now = told.now.plus(missing);
        assert_eq!(ask(&mut bench).local, Some(six), "{morning:?}");
        // and by the clock's own face it would be another hour
        bench.now = told.now.plus(Duration::from_ms((six.as_ms() - clock.as_ms()) as u64));
        let shown = ask(&mut bench).local.unwrap();
        assert_eq!(shown.as_ms() - six.as_ms(), off_h * 3_600_000, "{morning:?}");
    }
}

#[test]
fn o5_a_question_needs_no_pin_and_tells_the_lock_and_its_wait() {
    let mut bench = Bench::new();
    let pin = |digits: &[u8]| Pin::from_digits(digits).unwrap();
    bench.device.handle(bench.now, Event::SetPin(Some(pin(b"0417"))), &mut bench.out);
    let lock = |bench: &mut Bench| {
        let standing = ask(bench);
        (standing.has_pin, standing.is_locked, standing.wait_ms)
    };
    assert_eq!(lock(&mut bench), (true, false, 0));
    // it returns five minutes later, though nothing called the device since
    let set = bench.now;
    for (after_ms, is_locked) in [(299_999, false), (300_000, true)] {
        bench.now = set.plus(Duration::from_ms(after_ms));
        assert_eq!(lock(&mut bench), (true, is_locked, 0));
    }
    for _ in 0..3 {
        bench.say(&Message::Unlock(pin(b"1111")));
    }
    assert_eq!(lock(&mut bench), (true, true, 60_000));
    bench.now = bench.now.plus(Duration::from_ms(59_999));
    assert_eq!(lock(&mut bench), (true, true, 1));
    bench.now = bench.now.plus(Duration::from_ms(1));
    assert_eq!(lock(&mut bench), (true, true, 0));
    assert_eq!(bench.say(&Message::Unlock(pin(b"0417"))), Answer::Taken);
    assert_eq!(lock(&mut bench), (true, false, 0));
}
