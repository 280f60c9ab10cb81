//! Every record as bytes and back, and bytes that no encoder writes.

extern crate std;

mod samples;

use samples::*;

use super::*;
use crate::civil::Date;
use crate::entry::{ClosedDates, Recurrence};

#[test]
fn every_record_comes_back_from_its_bytes() {
    let mut kinds = std::collections::BTreeSet::new();
    for record in samples() {
        let bytes = record.encode();
        assert_eq!(bytes[0], record.kind());
        assert_eq!(Record::decode(&bytes), Some(record), "{bytes:?}");
        kinds.insert(record.kind());
    }
    assert!(kinds.into_iter().eq((1..=19).chain(32..=44)), "a sample of each kind");
}

#[test]
fn m4_what_formats_before_left_out_is_read_as_not_there() {
    let mut bytes = globals().encode();
    // the motor, its bits and its instant in six bytes; then the ceiling that is kept
    let motor = bytes.iter().rposition(|&byte| byte != 0).unwrap() - 13;
    assert_eq!(bytes[motor..motor + 7], [3 | 64, 5, 1, 0, 0, 0, 0]);
    let now = Record::decode(&bytes);
    // a start since the last fault, which went for a retry that had run through
    bytes[motor] |= 128;
    assert_eq!(Record::decode(&bytes), now);
    bytes[motor..].fill(0);
    let Some(Record::SnapGlobals { motor, kept_ceiling, kept_until, .. }) = Record::decode(&bytes)
    else {
        panic!()
    };
    assert_eq!((motor, kept_ceiling, kept_until), (None, Volume::ZERO, Instant::ZERO));
    let stock = Stock { container: CONTAINER, ..Stock::NONE };
    let with_all = Stock { spoken: Volume::from_nl(1), ..stock };
    let mut bytes = Record::SnapStock(with_all).encode();
    let end = bytes.iter().rposition(|&byte| byte != 0).unwrap();
    bytes[end] = 0;
    assert_eq!(Record::decode(&bytes), Some(Record::SnapStock(stock)));
    // what the open dose had pumped when somebody spoke of the container
    let told = |pumped_ms| {
        let level = Volume::from_nl(1 << 32);
        Record::Container { at: at(13), container: CONTAINER, level, pumped_ms }
    };
    let mut bytes = told(Some(0)).encode();
    let end = bytes.iter().rposition(|&byte| byte != 0).unwrap();
    bytes[end] = 0;
    assert_eq!(Record::decode(&bytes), Some(told(None)));
}

#[test]
fn m2_what_is_read_is_written_again_as_the_same_bytes() {
    let (mut read, mut of_before) = (0, 0);
    for record in samples() {
        let bytes = record.encode();
        let mut look = |places: [(usize, u8); 2]| {
            let mut forged = bytes;
            for (place, byte) in places {
                forged[place] ^= byte;
            }
            let Some(again) = Record::decode(&forged) else { return };
            read += 1;
            if again.encode() == forged {
                return;
            }
            // what only devices before wrote
            of_before += 1;
            match again {
                Record::SnapGlobals { motor: Some(_), .. } => {
                    let motor = again.encode().into_iter().zip(forged).filter(|(a, b)| a != b);
                    assert_eq!(motor.map(|(a, b)| a ^ b).collect::<std::vec::Vec<_>>(), [128]);
                }
                _ => panic!("{again:?} is {:?} and was {forged:?}", again.encode()),
            }
        };
        for place in 1..RECORD_BYTES {
            for byte in 1..=u8::MAX {
                look([(place, byte), (0, 0)]);
            }
            // two bits at once: a field that says nothing may hang on a flag elsewhere
            for (other, bit) in (1..place).flat_map(|other| (0..8).map(move |bit| (other, bit))) {
                for own in 0..8 {
                    look([(place, 1 << own), (other, 1 << bit)]);
                }
            }
        }
    }
    assert!(read > 1_000_000 && of_before > 100, "{read} and {of_before}");
}

/// A record's bytes with one of them changed.
fn forged(record: &Record, place: usize, byte: u8) -> Option<Record> {
    let mut bytes = record.encode();
    assert_ne!(bytes[place], byte, "{record:?} has that at {place}");
    bytes[place] = byte;
    Record::decode(&bytes)
}

#[test]
fn m2_what_a_record_does_not_fill_is_zero() {
    for record in samples() {
        // an outcome fills all of it
        if record.kind() != 9 {
            assert_eq!(forged(&record, RECORD_BYTES - 1, 1), None, "{record:?}");
        }
    }
    for kind in (0..=u8::MAX).filter(|kind| !matches!(kind, 1..=19 | 32..=44)) {
        let mut bytes = [0; RECORD_BYTES];
        bytes[0] = kind;
        assert_eq!(Record::decode(&bytes), None, "kind {kind}");
    }
}

#[test]
fn m2_a_field_that_no_encoder_writes_is_no_record() {
    // byte 0 is the kind, an instant has six bytes, a due's name ten
    let stamp = |on| Record::Alarm { at: at(12), alarm: Alarm::Leak, on, detail: 1 };
    let boot = Record::Boot { at: at(1), feed_kept: true, reset: Reset::Watchdog };
    let born = |line| {
        let (mark, due_at, cause) = (None, at(12), Cause::Service);
        Record::Born(Born { line, due: DUE, mark, at: at(11), due_at, cause })
    };
    let motor = Record::Motor { at: at(14), faults: 1 };
    let act = Record::Act { at: at(11), act: Act::PrimeBegun, ms: 12 };
    let pack = Record::Pack { at: at(17), pack: PACK, how: NewPack::Set };
    let calibration = Record::Calibration { found: found(15), in_force: true, lead_ms: 16 };
    let open = Record::SnapOpen { pulse: pulse(), lost: true, in_doubt: true };
    let part = Record::Outcome(Outcome { kind: OutcomeKind::Part(Cause::Leak), ..outcome() });
    let tube = Record::SnapTube(Tube { found: [Some(found(1)), None, None], ..Tube::UNKNOWN });
    let clock = Record::Clock { at: at(2), epoch: 3, utc: None, zone: zone() };
    let line = Record::SnapLine { line: 7, id: EntryId(8), state: LineState::default() };
    let weekly_entry = Record::SnapEntry(staged(weekly()));
    let interval_entry = Record::Staged(staged(every()));
    let motor_at = 37;
    let beyond_causes = Cause::ALL.len() as u8 + 1;
    for (record, place, bad) in [
        (line, 4, 16), // a line's state that is none of those there are
        (line, 4, 128),
        (boot, 7, 2), // the feed, yes or no
        (boot, 8, 0), // why it started
        (boot, 8, 3),
        (clock, 15, 3),      // the zone's form
        (stamp(true), 7, 0), // no alarm of that number
        (stamp(true), 7, 13),
        (stamp(false), 8, 2),
        (act, 7, 0),
        (act, 7, 11),
        (born(7), 28, 0), // a cause has to be there
        (born(7), 28, beyond_causes),
        (motor, 7, 5),
        (pack, 28, 0),
        (pack, 28, 4),
        (calibration, 15, 2),
        (part, 45, 3), // part, with no number for it
        (part, 46, 0), // and no cause
        (part, 46, beyond_causes),
        (Record::Outcome(outcome()), 46, 1), // a cause for a dose that has none
        (Record::Pulse(pulse()), 52, 8 | 2), // what only a snapshot says
        (Record::Pulse(pulse()), 52, 8 | 16),
        (open, 52, 8 | 6 | 16),
        (globals(), motor_at, 3), // faults of no motor
        (with_motor(None), motor_at, 128),
        (with_motor(None), motor_at + 1, 1),
        (Record::StagedClosed(closed()), 1, 1), // a stretch that ends before it begins
        (weekly_entry, 4, 31 | 64),             // flags of an entry that say nothing
        (weekly_entry, 4, 31 | 128),
        (weekly_entry, 4, 31 | 32),    // no pulses, and so many
        (weekly_entry, 5, 0x55 | 128), // an eighth day
        (weekly_entry, 8, 1),          // an interval, of a weekly entry
        (weekly_entry, 14, 1),
        (interval_entry, 4, 4), // nights, days and a time of day, of an interval
        (interval_entry, 5, 1),
        (interval_entry, 6, 1),
        (tube, 1, 8), // calibrations one after another
        (tube, 1, 20),
    ] {
        assert_eq!(forged(&record, place, bad), None, "{record:?}: {bad} at {place}");
    }
    // a due that waits, and a row of closed dates
    for record in samples().into_iter().filter(|record| record.kind() == line.kind()) {
        let flags = record.encode()[4];
        if flags & 6 != 0 {
            assert_eq!(forged(&record, 4, flags | 6), None, "{record:?}");
        }
    }
    // a hole in a list: of closed dates, of deliveries, of starts
    let starts = Record::SnapStarts(core::array::from_fn(|n| (n < 6).then_some(at(n as i64))));
    let two = Record::SnapDeliveries([Some(delivery()); 2]);
    for (record, from, len, none) in
        [(Record::SnapClosed(closed()), 5, 4, 0xff), (two, 1, 26, 0), (starts, 1, 6, 0xff)]
    {
        let mut bytes = record.encode();
        bytes[from..from + len].fill(none);
        if record == starts {
            bytes[from + len - 1] = 0x7f;
        }
        assert_eq!(Record::decode(&bytes), None, "{record:?}");
    }
    // the last of a stretch of closed dates is not there, or beyond all dates
    for last in [[0xff, 0xff], [0xfe, 0xff]] {
        let mut bytes = Record::SnapClosed(closed()).encode();
        bytes[3..5].copy_from_slice(&last);
        assert_eq!(Record::decode(&bytes), None);
    }
}

#[test]
fn m2_what_is_out_of_its_range_is_no_record() {
    let head = |head| Record::SnapHead(head);
    for record in [
        head(Head { rollers: 0, ..self::head() }),
        Record::Head { at: at(3), head: Head { starts_per_hour: 61, ..self::head() } },
        Record::Staged(staged(Entry { window_ms: 0, ..weekly() })),
        Record::SnapEntry(staged(Entry { pulses: Some(0), ..every() })),
        Record::Staged(staged(Entry { last: Some(Date::MIN.plus_days(65_535)), ..weekly() })),
        Record::Staged(staged(Entry {
            recurrence: Recurrence::Interval { every_ms: u64::MAX, from: at(0) },
            ..every()
        })),
        with_motor(Some(Motor { faults: Motor::LATCHED + 1, ..Motor::SOUND })),
        Record::Container {
            at: at(13),
            container: Container { heel: CONTAINER.low, ..CONTAINER },
            level: Volume::ZERO,
            pumped_ms: None,
        },
        Record::Pack { at: at(17), pack: Pack { motor_ma: 0, ..PACK }, how: NewPack::Set },
        Record::SnapGauge(Gauge { pack: Pack { warn_days: 121, ..PACK }, ..Gauge::MAINS }),
        Record::Motor { at: at(14), faults: Motor::LATCHED + 1 },
        Record::Pulse(Pulse { least_ms: 15, ..pulse() }),
        Record::Pulse(Pulse { most_ms: 16, ..pulse() }),
        Record::Pulse(Pulse { on_ms: 16, ..pulse() }),
        Record::Outcome(Outcome { least: Volume::from_nl(16), ..outcome() }),
    ] {
        assert_eq!(Record::decode(&record.encode()), None, "{record:?}");
    }
    // all that a dose asks for in one pulse, nothing in doubt, is one
    let whole = Record::Pulse(Pulse { on_ms: 15, least_ms: 15, most_ms: 15, ..pulse() });
    assert_eq!(Record::decode(&whole.encode()), Some(whole));
    let sure = Record::Outcome(Outcome { least: outcome().most, ..outcome() });
    assert_eq!(Record::decode(&sure.encode()), Some(sure));
}

#[test]
fn what_no_field_can_hold_is_stored_as_the_most_it_can() {
    let level = Volume::from_nl(u64::MAX);
    let record =
        Record::Container { at: Instant::MAX, container: CONTAINER, level, pumped_ms: None };
    let (at, level) = (at((1 << 47) - 1), Volume::from_nl(0xff_ffff_ffff));
    let stored = Record::Container { at, container: CONTAINER, level, pumped_ms: None };
    assert_eq!(Record::decode(&record.encode()), Some(stored));
    let stamp = Record::Stamp { at: Instant::MIN };
    assert_eq!(Record::decode(&stamp.encode()), Some(Record::Stamp { at: self::at(-(1 << 47)) }));
    let adopted = |ceiling| {
        let (written, cleared, closed_staged) = (0, 0, false);
        let at = self::at(6);
        let kept_ceiling = Volume::from_nl(0xff_ffff_ffff);
        Record::Adopted(Adopted { at, ceiling, written, cleared, closed_staged, kept_ceiling })
    };
    let most = Some(Volume::from_nl(0xff_ffff_fffe));
    let record = adopted(Some(Volume::from_nl(u64::MAX))).encode();
    assert_eq!(Record::decode(&record), Some(adopted(most)), "never that there is none");
    let many = Record::Outcome(Outcome { count: u32::MAX, ..outcome() });
    let most = Record::Outcome(Outcome { count: 0xff_ffff, ..outcome() });
    assert_eq!(Record::decode(&many.encode()), Some(most));
}

#[test]
fn a_list_of_closed_dates_has_its_ends_and_its_room() {
    let (day, mut list) = (Date::MIN.plus_days(1000), ClosedList::EMPTY);
    assert!(!list.contains(Date::MIN), "none, whatever an empty place holds");
    let put = |list: &mut ClosedList, first: Date, last| list.push(ClosedDates { first, last });
    assert!(!put(&mut list, day, day.plus_days(-1)), "it ends before it begins");
    assert!(!put(&mut list, Date::MIN.plus_days(-1), day));
    assert!(!put(&mut list, day, Date::MAX.plus_days(1)));
    assert_eq!(list, ClosedList::EMPTY);
    assert!(put(&mut list, day, day) && put(&mut list, Date::MIN, Date::MIN));
    assert!(put(&mut list, day.plus_days(7), Date::MAX));
    let has = [-1, 0, 1, 6, 7, 8].map(|n| list.contains(day.plus_days(n)));
    assert_eq!(has, [false, true, false, false, true, true]);
    assert!(list.contains(Date::MIN) && list.contains(Date::MAX));
    assert!(!list.contains(Date::MAX.plus_days(1)));
    assert_eq!(list.iter().count(), 3);
    let mut full = closed();
    assert!(!put(&mut full, day, day), "no room");
    assert_eq!(full, closed());
}

#[test]
fn m2_what_nothing_later_would_show_goes_into_two_slots() {
    let at = Instant::ZERO;
    let boot = |feed_kept| Record::Boot { at, feed_kept, reset: Reset::PowerOn };
    let alarm = |alarm, on| Record::Alarm { at, alarm, on, detail: 0 };
    // the clock is unset from it on; the account is put down by it; the motor may be latched
    assert!(boot(false).goes_twice() && !boot(true).goes_twice());
    assert!(alarm(Alarm::LowLevel, true).goes_twice());
    assert!(Record::Motor { at, faults: 4 }.goes_twice());
    // the pump runs from it on, draws, and rests behind it; what ends that is told by its begin
    let twice = Act::ALL.map(|act| Record::Act { at, act, ms: 9 }.goes_twice());
    let begins = [Act::PrimeBegun, Act::CalibrationBegun, Act::TrainBegun];
    assert_eq!(twice, Act::ALL.map(|act| begins.contains(&act)));
    // it ends nothing but itself, and comes again where it is so
    assert!(!alarm(Alarm::LowLevel, false).goes_twice());
    assert!(!alarm(Alarm::LevelDisagrees, true).goes_twice());
    assert!(!Record::Stamp { at }.goes_twice());
}
