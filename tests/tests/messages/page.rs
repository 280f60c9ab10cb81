//! The page tells the layouts: each field is where it says, as long as it says, and has
//! the range that it says.

use dosewright_core::civil::{Date, Local};
use dosewright_core::config::Head;
use dosewright_core::entry::{ClosedDates, Entry, EntryId, GapRule, Recurrence};
use dosewright_core::message::{Answer, Message, Standing, encode_answer, refusal_code};
use dosewright_core::record::ClosedList;
use dosewright_core::spread::Misfit;
use dosewright_core::time::Instant;
use dosewright_core::timetable::Refusal;
use dosewright_core::units::Volume;
use dosewright_core::zone::Zone;
use dosewright_tests::fuzz::message::{frame, unframe};

use crate::bench::{Bench, bytes};
use crate::{closed, container, entry, flow};

const PAGE: &str = include_str!("../../../docs/src/messages.md");
const ZONE: &str = "CET-1CEST,M3.5.0,J300/3";
/// Days from 2000-01-01 to 2026-12-24: 26 years with 7 leap days, and 357 days.
const CHRISTMAS_EVE: u64 = 26 * 365 + 7 + 357;

/// A row of a layout.
struct Field {
    at: usize,
    bytes: usize,
    what: &'static str,
    values: &'static str,
}

/// The rows of the first table after a line, cell by cell.
fn rows(after: &str) -> Vec<Vec<&'static str>> {
    let mut lines = PAGE.lines().skip_while(|line| *line != after).skip(1);
    let table = lines.by_ref().skip_while(|line| !line.starts_with('|'));
    let rows: Vec<Vec<_>> = table
        .take_while(|line| line.starts_with('|'))
        .skip(2)
        .map(|line| line.trim_matches('|').split('|').map(str::trim).collect())
        .collect();
    assert!(!rows.is_empty(), "the page has a table after {after}");
    rows
}

/// A layout of the page, which has no hole.
fn layout(name: &str) -> Vec<Field> {
    let mut end = 0;
    rows(&format!("### {name}"))
        .into_iter()
        .map(|row| {
            let [at, bytes, what, values] = row[..] else { panic!("{row:?}") };
            let (at, bytes) = (at.parse().unwrap(), bytes.parse().unwrap());
            assert_eq!(at, end, "{name}: {what} follows what is before it");
            end = at + bytes;
            Field { at, bytes, what, values }
        })
        .collect()
}

/// A field's bytes as a number.
fn number(content: &[u8], field: &Field) -> u64 {
    let bytes = &content[field.at..field.at + field.bytes];
    bytes.iter().rev().fold(0, |value, byte| value << 8 | u64::from(*byte))
}

/// Reads some content by the page, and compares it with what it was made from. Fields that
/// are not listed are zero, or do not count.
fn reads(name: &str, content: &[u8], fields: &[(&str, u64)]) {
    let layout = layout(name);
    let end = layout.last().map(|field| field.at + field.bytes);
    assert_eq!(end, Some(content.len()), "{name} has a place for every byte");
    for (what, value) in fields {
        let field = layout.iter().find(|field| field.what == *what);
        let field = field.unwrap_or_else(|| panic!("{name}: the page has no {what}"));
        assert_eq!(number(content, field), *value, "{name}: {what}");
    }
    for field in layout.iter().filter(|field| fields.iter().all(|(what, _)| *what != field.what)) {
        let bytes = &content[field.at..field.at + field.bytes];
        let is_told = match field.values {
            "zero" => bytes.iter().all(|byte| *byte == 0),
            values => values.contains("does not count"),
        };
        assert!(is_told, "{name}: {} is {bytes:?}, {}", field.what, field.values);
    }
}

fn content(message: &Message) -> Vec<u8> {
    unframe(&bytes(9, message)).split_off(3)
}

fn head() -> Head {
    Head {
        rollers: 4,
        roller_pass: Volume::from_nl(290_001),
        shortest_on_ms: 401,
        shortest_off_ms: 602,
        longest_run_ms: 600_003,
        least_rest_ms: 704,
        starts_per_hour: 55,
        least_pulse: Volume::from_nl(4_000_006),
        longest_prime_ms: 600_007,
        longest_calibration_ms: 600_008,
        lead_ms: 109,
        ..Head::with_flow(flow(26_500_001))
    }
}

fn weekly() -> Entry {
    let (first, last) = (Date::from_ymd(2026, 12, 24), Date::from_ymd(2026, 12, 31));
    Entry { first, last, grace_ms: 1_000_001, gap_rule: GapRule::FirstValid, ..entry(258, 45) }
}

fn interval() -> Entry {
    let recurrence = Recurrence::Interval { every_ms: 3_600_001, from: Instant::from_ms(-2) };
    let (first, last, pulses) = (None, None, None);
    Entry { recurrence, first, last, pulses, gap_rule: GapRule::Shift, ..weekly() }
}

#[test]
fn a_peer_reads_what_is_sent_by_the_page_alone() {
    reads(
        "Head (5)",
        &content(&Message::Head(head())),
        &[
            ("flow", 26_500_001),
            ("rollers", 4),
            ("roller pass", 290_001),
            ("shortest run", 401),
            ("shortest gap", 602),
            ("longest run", 600_003),
            ("least rest", 704),
            ("starts per hour", 55),
            ("least pulse", 4_000_006),
            ("longest prime", 600_007),
            ("longest calibration", 600_008),
            ("lead", 109),
        ],
    );
    reads(
        "Container (6)",
        &content(&Message::Container(container(), Volume::from_ml(7_500))),
        &[
            ("capacity", 10_000_000_000),
            ("low contact", 500_000_000),
            ("heel", 100_000_000),
            ("debounce", 4_000),
            ("level", 7_500_000_000),
        ],
    );
    for (closed, ceiling, nl) in
        [(false, Some(Volume::from_nl(7)), 7), (true, None, 0xff_ffff_ffff)]
    {
        let begin = Message::Begin { entries: 3, closed, ceiling };
        let closed = u64::from(closed);
        let fields = [("entries", 3), ("closed dates", closed), ("ceiling", nl)];
        reads("Announcement (7)", &content(&begin), &fields);
    }
    let of_both = |flags, volume, window, grace| {
        [
            ("number", 258),
            ("flags", flags),
            ("volume", volume),
            ("window", window),
            ("grace", grace),
        ]
    };
    let both = |flags| of_both(flags, 120_000_000, 2_700_000, 1_000_001);
    let none = 0xffff;
    let mut fields = vec![("days", 127), ("time of day", 45), ("interval", 0), ("from", 0)];
    fields.extend([("first date", CHRISTMAS_EVE), ("last date", CHRISTMAS_EVE + 7)]);
    fields.extend([("pulses", 30)]);
    fields.extend(both(1 + 2 + 4 + 8 + 16));
    reads("Entry (8)", &content(&Message::Entry(weekly())), &fields);
    let mut fields = vec![("days", 0), ("time of day", 0), ("interval", 3_600_001)];
    fields.extend([("from", (1 << 48) - 2), ("first date", none), ("last date", none)]);
    fields.extend([("pulses", 0)]);
    fields.extend(both(1 + 8));
    reads("Entry (8)", &content(&Message::Entry(interval())), &fields);
}

#[test]
fn the_page_tells_zone_closed_dates_and_how_a_device_stands() {
    let zone = Zone::parse(ZONE).unwrap();
    let day = |bytes: [u64; 3]| bytes[0] | bytes[1] << 8 | bytes[2] << 16;
    let fields = [
        ("form", 2),
        ("standard offset", 3_600),
        ("summer offset", 7_200),
        ("start kind", 1),
        ("start day", day([3, 5, 0])),
        ("start time", 7_200),
        ("end kind", 2),
        ("end day", 300),
        ("end time", 10_800),
    ];
    let in_zone = content(&Message::Zone(zone));
    reads("Zone (4)", &in_zone, &fields);
    // stretches: read by hand, they are more than a number
    let in_closed = content(&Message::Closed(closed()));
    let [stretches, rest] = &layout("Closed dates (9)")[..] else { panic!("two rows") };
    assert_eq!((stretches.at, stretches.bytes, rest.values), (0, 12 * 4, "zero"));
    let pairs: Vec<_> =
        in_closed[..48].chunks(2).map(|two| two[0] as u64 | (two[1] as u64) << 8).collect();
    assert_eq!(pairs[..2], [CHRISTMAS_EVE, CHRISTMAS_EVE + 7]);
    assert_eq!((&pairs[2..], &in_closed[48..]), (&[0xffff; 22][..], &[0; 7][..]));
    let standing = Standing {
        now: Instant::from_ms(0x0102_0304_0506),
        local: Some(Local::from_ms(0x0202_0304_0506)),
        zone,
        next_id: EntryId(258),
        entries: 3,
        room: 64,
        has_head: true,
        has_pin: false,
        is_locked: false,
        wait_ms: 59_999,
        announced: Some(5),
        gathered: 4,
    };
    let answer = |standing| {
        let mut out = Vec::new();
        encode_answer(5, &Answer::Stands(standing), &mut |byte| out.push(byte));
        let body = unframe(&out);
        assert_eq!(body[..3], [2, 5, 131]);
        body[3..].to_vec()
    };
    // the zone is more than a number, and looked at below
    let looks = |standing: Standing, local, state, announced| {
        let content = answer(standing);
        let layout = layout("Standing (131)");
        let place = layout.iter().find(|field| field.what == "zone").unwrap();
        assert_eq!(content[place.at..place.at + place.bytes], in_zone);
        let fields = [
            ("device's time", 0x0102_0304_0506),
            ("local time", local),
            ("zone", number(&content, place)),
            ("new number", 258),
            ("entries", 3),
            ("room", 64),
            ("state", state),
            ("wait", 59_999),
            ("announced", announced),
            ("gathered", 4),
        ];
        reads("Standing (131)", &content, &fields);
    };
    looks(standing, 0x0202_0304_0506, 1, 5);
    let unset = Standing { local: None, announced: None, ..standing };
    looks(unset, 0x7fff_ffff_ffff, 1, 255);
    let pin = Standing { has_head: false, has_pin: true, ..standing };
    looks(pin, 0x0202_0304_0506, 2, 5);
    looks(Standing { is_locked: true, ..pin }, 0x0202_0304_0506, 2 + 4, 5);
}

/// What a device answers to a message with another number in one of its fields, an entry's
/// being announced before.
fn answer_to(message: &Message, field: &Field, value: u64) -> Answer {
    let mut body = unframe(&bytes(9, message));
    let from = 3 + field.at;
    body[from..from + field.bytes].copy_from_slice(&value.to_le_bytes()[..field.bytes]);
    let mut bench = Bench::new();
    bench.say(&Message::Begin { entries: 1, closed: true, ceiling: None });
    let answers = bench.send(&frame(&body));
    let [(9, answer)] = answers[..] else { panic!("{answers:?}") };
    answer
}

#[test]
fn each_range_of_the_page_is_the_one_that_a_device_has() {
    let spaceless = |text: &str| text.replace(' ', "").parse::<u64>().ok();
    let mut ranges = 0;
    for (name, message) in [
        ("Head (5)", Message::Head(head())),
        ("Container (6)", Message::Container(container(), Volume::ZERO)),
        ("Entry (8)", Message::Entry(weekly())),
        ("Entry (8)", Message::Entry(interval())),
    ] {
        let is_interval = message == Message::Entry(interval());
        for field in layout(name) {
            let other = if is_interval { "interval: zero" } else { "weekly: zero" };
            let Some((least, most)) = field.values.split(';').next().unwrap().split_once(" to ")
            else {
                continue;
            };
            let (Some(least), Some(most)) = (spaceless(least), spaceless(most)) else { continue };
            let is_taken = |value| answer_to(&message, &field, value) == Answer::Taken;
            ranges += 1;
            if field.values.contains(other) {
                assert!(!is_taken(least.max(1)), "{name}: {} has to be zero", field.what);
                continue;
            }
            assert!(is_taken(least) && is_taken(most), "{name}: {}", field.what);
            let beyond = u32::try_from(field.bytes * 8).unwrap();
            if u64::BITS - most.leading_zeros() < beyond || most + 1 < 1 << beyond {
                assert!(!is_taken(most + 1), "{name}: {} over {most}", field.what);
            }
            if least > 0 {
                assert!(!is_taken(least - 1), "{name}: {} under {least}", field.what);
            }
        }
    }
    assert_eq!(ranges, 5 + 1 + 2 * 7, "rows with a range");
}

#[test]
fn each_flag_of_the_page_is_one() {
    let off =
        Entry { enabled: false, observes_closed: false, gap_rule: GapRule::Shift, ..interval() };
    let on = |change: fn(&mut Entry)| {
        let mut entry = off;
        change(&mut entry);
        entry
    };
    let nights = |by_night| {
        let Recurrence::Weekly { days, at_min, .. } = weekly().recurrence else { panic!() };
        Entry { recurrence: Recurrence::Weekly { days, at_min, by_night }, ..off }
    };
    let flags = |entry| content(&Message::Entry(entry))[3];
    let rows = rows("| 45 | 10 | rest | zero |");
    let told: Vec<u8> = rows.iter().map(|row| row[0].parse().unwrap()).collect();
    let found = [
        flags(on(|e| e.enabled = true)),
        flags(nights(false)),
        flags(nights(true)) - flags(nights(false)),
        flags(on(|e| e.observes_closed = true)),
        flags(on(|e| e.gap_rule = GapRule::FirstValid)),
    ];
    assert_eq!((told, flags(off)), (found.to_vec(), 0));
}

#[test]
fn the_page_has_the_numbers_of_the_refusals_that_come_by_line() {
    let id = EntryId(7);
    let by_line = [
        Refusal::RetiredId { id },
        Refusal::Head(Head { rollers: 0, ..head() }.problem().unwrap()),
        Refusal::Field { id, field: "window" },
        Refusal::NeverDue { id },
        Refusal::DoesNotFit { id, misfit: Misfit::Indivisible { dose_ms: 1 } },
        Refusal::GapTooShort { id, window_and_grace_ms: 2, gap_ms: 1 },
        Refusal::Overlap { first: id, second: id, nearest_min: None },
        Refusal::OverCeiling { asked: Volume::ZERO, ceiling: Volume::ZERO },
        Refusal::TooManyDues { dues: 97, most: 96 },
        Refusal::Busy,
        Refusal::Ledger,
        Refusal::OutOfRange,
        Refusal::Locked,
        Refusal::WrongPin,
        Refusal::TriedTooOften { wait_ms: 1 },
    ];
    let after =
        "These numbers can come by line (`refusal_code` in `core/src/message/answer.rs` has all):";
    let told: Vec<(u8, bool)> = rows(after)
        .iter()
        .map(|row| (row[0].parse().unwrap(), row[1].starts_with("the entry")))
        .collect();
    let found = by_line.map(|refusal| refusal_code(&refusal)).map(|(code, id)| (code, id != 0));
    let of_a_field = |&(code, is)| (code, is || code == 5);
    assert_eq!(told.iter().map(of_a_field).collect::<Vec<_>>(), found);
}

#[test]
fn the_example_of_the_page_is_a_frame() {
    let text = PAGE.split("```").nth(1).unwrap().trim_start_matches("text").trim();
    let lines: Vec<Vec<u8>> = text
        .lines()
        .map(|line| line.split(' ').map(|hex| u8::from_str_radix(hex, 16).unwrap()).collect())
        .collect();
    let pin = Message::Unlock(dosewright_core::lock::Pin::from_digits(b"0417").unwrap());
    let [plain, framed] = &lines[..] else { panic!("two lines") };
    let sent = bytes(3, &pin);
    assert_eq!((&sent, &unframe(&sent)[..]), (framed, &plain[..plain.len() - 4]));
    assert_eq!(frame(&plain[..plain.len() - 4]), *framed);
    // no byte of the checksum is zero, so that it stands in the frame as it is
    assert!(framed.ends_with(&[&plain[plain.len() - 4..], &[0]].concat()));
}

#[test]
fn the_last_date_of_the_page_is_the_last() {
    let last = Date::MIN.plus_days(65_379);
    assert!(last == Date::MAX && Date::from_ymd(2179, 1, 1) == Some(last));
    assert!(PAGE.contains("2179-01-01 (65 379)"));
    let mut list = ClosedList::EMPTY;
    assert!(list.push(ClosedDates { first: last, last }));
    let said = content(&Message::Closed(list));
    assert_eq!(said[..4], [99, 255, 99, 255]);
}
