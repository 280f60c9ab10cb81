//! M4: a store of every format version so far is kept as a file. A build reads it
//! as what it was written as, or refuses it by its version; and it writes its own
//! version byte for byte as the file of that version says.
//!
//! A change of the format therefore needs a new version number and a new file
//! (`DOSEWRIGHT_NEW_STORE=1 cargo test -p dosewright-tests --test stores` writes
//! it, never over one that is there).

use std::path::PathBuf;

use dosewright_core::book::Book;
use dosewright_core::cause::Cause;
use dosewright_core::civil::{Date, Days};
use dosewright_core::config::{Container, Head};
use dosewright_core::entry::{ClosedDates, Entry, EntryId, GapRule, Nominal, Recurrence};
use dosewright_core::ledger::{Base, Class, Geometry, Ledger, OpenError, SLOT, Slot, VERSION};
use dosewright_core::lock::{Lock, PinWord};
use dosewright_core::motor::Motor;
use dosewright_core::power::{Gauge, Pack};
use dosewright_core::record::{
    Act, Adopted, Alarm, Born, ClosedList, DueKey, NewPack, Outcome, OutcomeKind, Pulse, Record,
    Reset, Staged,
};
use dosewright_core::recovery::{self, Recovered};
use dosewright_core::time::{Instant, Utc};
use dosewright_core::tube::{Found, Tube};
use dosewright_core::units::{Carry, Flow, Volume};
use dosewright_core::zone::Zone;
use dosewright_sim::world::flash::NorMock;
use dosewright_tests::entries::daily;

const N: usize = 4;
const H: usize = 8;
type Flash = NorMock<4, 1024>;

const GEOMETRY: Geometry = Geometry { start: 0, sector_bytes: 4096, sectors: 3 };
const HOUR: i64 = 3_600_000;

fn file(version: u16) -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join(format!("stores/format-{version}.bin"))
}

fn at(ms: i64) -> Instant {
    Instant::from_ms(ms)
}

fn head() -> Head {
    Head {
        rollers: 4,
        roller_pass: Volume::from_ul(290),
        shortest_on_ms: 450,
        shortest_off_ms: 700,
        longest_run_ms: 90_000,
        least_rest_ms: 30_000,
        starts_per_hour: 50,
        least_pulse: Volume::from_ml(3),
        longest_prime_ms: 200_000,
        longest_calibration_ms: 300_000,
        ..Head::with_flow(Flow::from_nl_per_min(26_500_000).unwrap())
    }
}

fn weekly() -> Entry {
    Entry {
        id: EntryId(3),
        enabled: true,
        recurrence: Recurrence::Weekly { days: Days::ALL, at_min: 45, by_night: true },
        volume: Volume::from_ml(120),
        window_ms: 2_700_000,
        grace_ms: 600_000,
        first: Date::from_ymd(2026, 10, 1),
        last: Date::from_ymd(2031, 12, 31),
        observes_closed: true,
        gap_rule: GapRule::FirstValid,
        pulses: Some(30),
    }
}

fn interval() -> Entry {
    Entry {
        enabled: false,
        recurrence: Recurrence::Interval { every_ms: 21_600_000, from: at(5 * HOUR) },
        window_ms: 600_000,
        ..daily(7, 0, Volume::from_ml(15))
    }
}

fn closed() -> ClosedList {
    let mut list = ClosedList::EMPTY;
    let date = |m, d| Date::from_ymd(2026, m, d).unwrap();
    assert!(list.push(ClosedDates { first: date(12, 24), last: date(12, 31) }));
    assert!(list.push(ClosedDates { first: date(5, 1), last: date(5, 1) }));
    list
}

fn due(nominal: u32) -> DueKey {
    DueKey { id: EntryId(3), revision: 2, epoch: 1, nominal: Nominal(nominal) }
}

fn pulse(nominal: u32, begun: i64, done_ms: u32) -> Pulse {
    Pulse {
        line: 1,
        due: due(nominal),
        mark: Some(Nominal(nominal + 1)),
        at: at(begun + i64::from(done_ms) * 10),
        due_at: at(begun - 2),
        begun_after_ms: 2,
        on_ms: 9_057,
        least_ms: done_ms,
        most_ms: done_ms + done_ms / 9,
        dose_ms: 271_698,
        flow: Flow::from_nl_per_min(26_500_000).unwrap(),
        first: done_ms == 0,
        asked: false,
        cut: None,
        restarts: 0,
    }
}

fn container() -> Container {
    Container {
        capacity: Volume::from_ml(10_000),
        low: Volume::from_ml(500),
        heel: Volume::from_ml(100),
        debounce_ms: 4_000,
    }
}

/// Records of every kind that a version appends, as a device could have written
/// them.
fn records(version: u16) -> Vec<Record> {
    let mut records = records_of_1(version);
    if version >= 2 {
        let level = Volume::from_ml(7_500);
        records.extend([
            Record::Container {
                at: at(26 * HOUR + 6),
                container: container(),
                level,
                pumped_ms: (version >= 5).then_some(4_000),
            },
            Record::Act { at: at(26 * HOUR + 7), act: Act::Acknowledged, ms: 0 },
            Record::Alarm { at: at(26 * HOUR + 8), alarm: Alarm::MotorFault, on: false, detail: 0 },
            Record::Motor { at: at(26 * HOUR + 9), faults: 2 },
            Record::Alarm {
                at: at(26 * HOUR + 10),
                alarm: Alarm::LowLevel,
                on: true,
                detail: 7_500_000_000,
            },
        ]);
    }
    if version >= 3 {
        let (first, second) = (calibrations()[0], calibrations()[1]);
        let lead_ms = lead_ms(version);
        records.push(Record::Act { at: at(26 * HOUR + 11), act: Act::TubeChanged, ms: 0 });
        if version >= 4 {
            // one that was stopped before it drew anything
            let train = |act, ms| Record::Act { at: at(26 * HOUR + 11), act, ms };
            records.extend([train(Act::TrainBegun, 99_990), train(Act::TrainEnded, 0)]);
        }
        records.extend([
            Record::Calibration { found: first, in_force: true, lead_ms },
            Record::Calibration { found: second, in_force: false, lead_ms },
            Record::Pin { at: at(26 * HOUR + 14), check: PinWord(0x1234_5678) },
            Record::Act { at: at(26 * HOUR + 15), act: Act::WrongPin, ms: 0 },
            Record::Pack { at: at(26 * HOUR + 16), pack: pack(), how: NewPack::Set },
            Record::PackMeans { at: at(26 * HOUR + 17), rest_mv: 10_512, load_mv: 9_487 },
            Record::Lit { at: at(26 * HOUR + 18), ms: 61_003 },
        ]);
    }
    records
}

/// The ceiling that goes on counting for 23 h after the adoption.
const fn kept_ceiling(version: u16) -> Volume {
    if version < 8 { Volume::ZERO } else { Volume::from_ml(470) }
}

/// The lead of each start that a calibration of a version can put in force.
const fn lead_ms(version: u16) -> u16 {
    if version < 4 { 0 } else { 120 }
}

fn pack() -> Pack {
    Pack {
        capacity_mah: 6_081,
        motor_ma: 352,
        start_ma: 1_203,
        start_ms: 31,
        sleep_ua: 78,
        display_ua: 12_005,
        low_mv: 7_007,
        exhausted_mv: 6_511,
        hysteresis_mv: 349,
        jump_mv: 1_051,
        warn_days: 13,
    }
}

fn calibrations() -> [Found; 2] {
    let found = |ms, nl_per_min, uncertainty_ppm| Found {
        at: at(26 * HOUR + ms),
        flow: Flow::from_nl_per_min(nl_per_min).unwrap(),
        uncertainty_ppm,
    };
    [found(12, 26_812_345, 17_421), found(13, 26_500_000, 19_818)]
}

/// Records of the kinds that format 1 had.
fn records_of_1(version: u16) -> Vec<Record> {
    let zone = Zone::parse("CET-1CEST,M3.5.0,M10.5.0/3").unwrap();
    let outcome = Outcome {
        line: 1,
        due: due(29_867_085),
        last: Nominal(29_867_085),
        count: 1,
        at: at(4 * HOUR),
        due_at: at(2 * HOUR - 2),
        begun_after_ms: 2,
        least: Volume::from_nl(116_000_123),
        most: Volume::from_nl(119_999_950),
        kind: OutcomeKind::Part(Cause::SupplyLost),
        asked: false,
        restarts: 1,
        mark: Some(Nominal(29_867_086)),
        carry: Carry(13_000_000),
    };
    let staged =
        |line, entry, revision, mark| Staged { line, entry, revision, mark, edited: revision > 1 };
    vec![
        Record::Boot { at: at(1), feed_kept: true, reset: Reset::PowerOn },
        Record::Alarm { at: at(1), alarm: Alarm::ClockUnset, on: true, detail: 0 },
        Record::Head { at: at(2), head: head() },
        Record::Clock { at: at(3), epoch: 1, utc: Some(Utc::from_ms(1_792_000_000_003)), zone },
        Record::Alarm { at: at(3), alarm: Alarm::ClockUnset, on: false, detail: 0 },
        Record::Staged(staged(1, weekly(), 2, Some(Nominal(29_867_085)))),
        Record::Staged(staged(2, interval(), 1, Some(Nominal(0)))),
        Record::StagedClosed(closed()),
        Record::Adopted(Adopted {
            at: at(4),
            ceiling: Some(Volume::from_ml(400)),
            written: 0b110,
            cleared: 0b1000,
            closed_staged: true,
            kept_ceiling: kept_ceiling(version),
        }),
        Record::Stamp { at: at(HOUR) },
        Record::Act { at: at(HOUR + 1), act: Act::PrimeBegun, ms: 150_000 },
        Record::Act { at: at(HOUR + 90_001), act: Act::PrimeEnded, ms: 90_000 },
        Record::Pulse(pulse(29_867_085, 2 * HOUR, 0)),
        Record::Boot { at: at(3 * HOUR), feed_kept: true, reset: Reset::Watchdog },
        Record::Outcome(outcome),
        Record::Born(Born {
            line: 1,
            due: due(29_868_525),
            mark: Some(Nominal(29_868_526)),
            at: at(26 * HOUR),
            due_at: at(26 * HOUR - 2),
            cause: Cause::RemoteStop,
        }),
        Record::Alarm { at: at(26 * HOUR + 5), alarm: Alarm::MotorFault, on: true, detail: 0 },
    ]
}

/// Records after the sector has changed.
fn later_records() -> Vec<Record> {
    vec![Record::Pulse(pulse(29_869_965, 50 * HOUR, 27_171)), Record::Stamp { at: at(51 * HOUR) }]
}

fn recovered(ledger: &mut Ledger<Flash>) -> Recovered<N, H> {
    recovery::recover(ledger)
}

/// A store in the format of this build.
fn made() -> Vec<u8> {
    let empty = Book::<N, H>::empty();
    let snapshot = empty.snapshot().map(|record| record.encode());
    let Ok(mut ledger) = Ledger::format(Flash::new(12), GEOMETRY, snapshot) else { panic!() };
    for record in records(VERSION) {
        ledger.append(&record.encode()).unwrap();
    }
    ledger.append(&Record::Pulse(pulse(29_869_965, 50 * HOUR, 0)).encode()).unwrap();
    let book = recovered(&mut ledger).book;
    ledger.roll(book.snapshot().map(|record| record.encode())).unwrap();
    for record in later_records() {
        ledger.append(&record.encode()).unwrap();
    }
    ledger.into_flash().into_bytes()
}

#[test]
fn m4_every_version_so_far_has_its_store_and_this_one_is_written_like_it() {
    if std::env::var_os("DOSEWRIGHT_NEW_STORE").is_some() && !file(VERSION).exists() {
        std::fs::write(file(VERSION), made()).unwrap();
    }
    for version in 1..=VERSION {
        let bytes = std::fs::read(file(version));
        let bytes = bytes.unwrap_or_else(|e| panic!("no store of format {version} is kept: {e}"));
        assert_eq!(bytes.len(), 3 * 4096, "format {version}");
    }
    assert!(
        made() == std::fs::read(file(VERSION)).unwrap(),
        "the format has changed, and its version is still {VERSION}"
    );
}

/// What the store of a version says, fact by fact.
fn says_what_it_said(version: u16, found: &Recovered<N, H>) {
    assert_eq!((found.unreadable, found.unreadable_tail), (0, 0));
    let book = &found.book;
    let clock = book.clock.expect("the clock is set");
    assert_eq!(clock.utc(at(3)), Utc::from_ms(1_792_000_000_003));
    assert_eq!(clock.zone, Zone::parse("CET-1CEST,M3.5.0,M10.5.0/3").unwrap());
    assert_eq!((book.epoch, book.losses, book.at), (1, 0, at(51 * HOUR)));
    let flow = if version < 3 { head().flow } else { calibrations()[0].flow };
    let lead_ms = lead_ms(version);
    assert_eq!(book.head, Some(Head { flow, lead_ms, ..head() }));
    assert_eq!(book.timetable.line(1), Some(weekly()));
    assert_eq!(book.timetable.line(2), Some(interval()));
    assert_eq!(book.timetable.entries().count(), 2);
    assert_eq!(book.timetable.ceiling, Some(Volume::from_ml(400)));
    assert_eq!(book.kept_ceiling, kept_ceiling(version));
    assert_eq!(book.kept_until, if version < 8 { at(0) } else { at(23 * HOUR + 4) });
    let dates = |list: &ClosedList| list.iter().map(|d| (d.first, d.last)).collect::<Vec<_>>();
    assert_eq!(dates(&book.timetable.closed), dates(&closed()));
    assert_eq!((book.next_id, book.damaged, book.closed_damaged), (8, 0, false));
    let line = book.state(1);
    assert_eq!((line.revision, line.carry), (2, Carry(13_000_000)));
    assert_eq!(line.mark, Some(Nominal(29_869_966)));
    assert_eq!(line.last.map(|last| last.at), Some(at(50 * HOUR)));
    assert_eq!(book.alarm_is_on(Alarm::MotorFault), version == 1);
    assert!(!book.alarm_is_on(Alarm::ClockUnset));
    if version == 1 {
        // what format 1 had of the motor was its alarm; of a container, nothing
        assert!(book.motor.is_latched() && book.stock.container().is_none());
    } else {
        // two pulses since its faults: the first was a retry that went well
        assert_eq!(book.motor, Motor::SOUND);
        assert_eq!(book.stock.container(), Some(&container()));
        assert!(book.alarm_is_on(Alarm::LowLevel));
        // the contact's 500 ml, less the open dose as far as it can have gone:
        // 30 190 ms before the last intent of 9 057 ms, at 26.5 ml/min
        assert_eq!(book.account(), Volume::from_nl(500_000_000 - 17_334_092));
    }
    if version < 3 {
        // none of them kept a history of calibrations; what the head was set up with
        // is known while its record is there
        assert_eq!((book.tube, book.lock), (Tube::UNKNOWN, Lock::OPEN));
        assert_eq!(book.gauge, Gauge::MAINS);
    } else {
        assert!(book.lock.is_set());
        let gauge = book.gauge;
        assert_eq!((gauge.pack, gauge.since), (pack(), at(26 * HOUR + 16)));
        assert_eq!((gauge.rest_mv, gauge.load_mv), (10_512, 9_487));
        // a test, 61 s of display, and the pulses after them: 9 057 ms each, and the lead
        let pulses = gauge.used_uc - pack().pumping_uc(0, 1) - pack().display_uc(61_003);
        assert_eq!(pulses % pack().pumping_uc(9_057 + u64::from(lead_ms), 1), 0);
        assert_eq!((book.lock.wrong, book.lock.at), (1, at(26 * HOUR + 15)));
        let [first, second] = calibrations().map(Some);
        let since = Some(at(26 * HOUR + 11));
        let found = [first, second, None];
        assert_eq!(book.tube, Tube { since, nominal: Some(head().flow), found });
    }
    let open = book.open.expect("a dose is open");
    assert_eq!(open.pulse, pulse(29_869_965, 50 * HOUR, 27_171));
    let delivered: Vec<_> = book.history.iter().map(|d| (d.id, d.begin.at, d.volume)).collect();
    assert_eq!(delivered, [(EntryId(3), at(2 * HOUR), Volume::from_nl(119_999_950))]);
}

#[test]
fn m4_an_older_store_is_read_as_what_it_is_or_refused_by_its_version() {
    for version in 1..=VERSION {
        let flash = Flash::from_bytes(std::fs::read(file(version)).unwrap());
        match Ledger::open(flash, GEOMETRY) {
            Ok(mut ledger) => says_what_it_said(version, &recovered(&mut ledger)),
            Err((_, OpenError::Version(named))) => {
                assert!(named == version && version < VERSION, "format {version} is named {named}");
            }
            Err((_, error)) => panic!("format {version}: {error}"),
        }
    }
}

#[test]
fn m4_every_record_of_the_store_is_what_was_written() {
    for (version, most) in [(1, 12), (2, 14), (3, 19), (4, 19), (5, 19)] {
        let bytes = std::fs::read(file(version)).unwrap();
        let mut found = Vec::new();
        for slot in bytes.chunks_exact(SLOT) {
            if let Slot::Good { class: Class::Record, payload, .. } =
                Slot::decode(slot.try_into().unwrap())
            {
                found.push(Record::decode(&payload).expect("a record of a known kind"));
            }
        }
        let mut wanted = records(version);
        wanted.push(Record::Pulse(pulse(29_869_965, 50 * HOUR, 0)));
        wanted.extend(later_records());
        assert_eq!(found, wanted, "format {version}");
        let kinds: std::collections::BTreeSet<u8> = wanted.iter().map(Record::kind).collect();
        assert_eq!(kinds.into_iter().collect::<Vec<_>>(), (1..=most).collect::<Vec<_>>());
    }
}

#[test]
fn m4_an_older_store_goes_on_in_a_sector_of_this_version() {
    let flash = Flash::from_bytes(std::fs::read(file(1)).unwrap());
    let Ok(mut ledger) = Ledger::open(flash, GEOMETRY) else { panic!() };
    let stamp = Record::Stamp { at: at(52 * HOUR) }.encode();
    // nothing of this version goes beside what an older build would read
    assert!(ledger.needs_roll() && ledger.append(&stamp).is_err());
    let before = recovered(&mut ledger).book;
    ledger.roll(before.snapshot().map(|record| record.encode())).unwrap();
    ledger.append(&stamp).unwrap();
    let Ok(mut again) = Ledger::open(ledger.into_flash(), GEOMETRY) else { panic!() };
    assert!(!again.needs_roll());
    let after = recovered(&mut again).book;
    // starts of more than an hour ago are left out, as at any roll
    assert_eq!(after, Book { at: at(52 * HOUR), starts: after.starts, ..before });
}

/// A store whose sectors up to here are of a version: headers and seals say so.
fn of_version(flash: &Flash, version: u16) -> Flash {
    let mut bytes = flash.bytes().to_vec();
    for slot in bytes.as_chunks_mut::<SLOT>().0 {
        if let Slot::Good { seq, class: class @ (Class::Header | Class::Seal), mut payload } =
            Slot::decode(slot)
        {
            payload[4..6].copy_from_slice(&version.to_le_bytes());
            *slot = Slot::encode(class, seq, &payload);
        }
    }
    Flash::from_bytes(bytes)
}

/// Flips a bit of a slot, counted from the first of a sector.
fn flip(flash: &mut Flash, sector: u16, slot: u16) {
    flash.flip_bit(u32::from(sector) * 4096 + u32::from(slot) * SLOT as u32 + 9, 2);
}

/// A ledger of a version with these records, of which the last cannot be read.
fn torn_after(records: &[Record], version: u16) -> Ledger<Flash> {
    let empty = Book::<N, H>::empty();
    let snapshot = empty.snapshot().map(|record| record.encode());
    let Ok(mut ledger) = Ledger::format(Flash::new(12), GEOMETRY, snapshot) else { panic!() };
    for record in records {
        ledger.append(&record.encode()).unwrap();
    }
    let used = GEOMETRY.slots() - ledger.free();
    let mut flash = of_version(ledger.flash(), version);
    flip(&mut flash, 0, used - 1);
    let Ok(ledger) = Ledger::open(flash, GEOMETRY) else { panic!() };
    ledger
}

#[test]
fn m4_d4_of_an_older_store_each_slot_that_cannot_be_read_may_have_been_a_pulse() {
    let begun = [records(1)[2], Record::Pulse(pulse(29_867_085, 2 * HOUR, 0))];
    let Record::Outcome(outcome) = records(1)[14] else { panic!() };
    let lost = Record::Stamp { at: at(5 * HOUR) };
    let on_ms = 9_057;
    for version in [1, VERSION - 1, VERSION] {
        let may_be_one = version < VERSION;
        let once = u32::from(may_be_one);
        // behind a first intent: this version has that in two slots, and the other is lost
        let mut ledger = torn_after(&[&begun[..], &[lost]].concat(), version);
        let found = recovered(&mut ledger);
        let counts = (found.unreadable, found.unreadable_tail, found.run_lost);
        assert_eq!(counts, (1, once, may_be_one), "format {version}");
        let most_ms = |found: &Recovered<N, H>| found.book.open.unwrap().pulse.most_ms;
        assert_eq!(most_ms(&found), once * on_ms, "format {version}");
        // behind an outcome: a first intent whose other slot was never written moved no pump
        let ended = [&begun[..], &[Record::Outcome(outcome), lost]].concat();
        let found = recovered(&mut torn_after(&ended, version));
        let counts = (found.unreadable, found.unreadable_tail, found.run_lost);
        assert_eq!(counts, (1, once, may_be_one), "format {version}");
        // and where that sector stands in for a snapshot of this version
        let book = recovered(&mut ledger).book;
        ledger.roll(book.snapshot().map(|record| record.encode())).unwrap();
        let mut flash = ledger.into_flash();
        flip(&mut flash, 1, 1);
        let Ok(mut ledger) = Ledger::open(flash, GEOMETRY) else { panic!() };
        assert_eq!(ledger.base(), Base::Older);
        // of which version it is, is not known any more
        assert_eq!(most_ms(&recovered(&mut ledger)), on_ms, "format {version}");
    }
}
