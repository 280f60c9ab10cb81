//! Streams that can be held, changed and shown to the auditor; and a device that
//! makes them, the ideal one.

use dosewright_core::civil::{Date, Days, Local};
use dosewright_core::config::Head;
use dosewright_core::entry::{Entry, EntryId, GapRule, Nominal, Recurrence};
use dosewright_core::ledger::{Class, Geometry, Slot};
use dosewright_core::record::{Outcome, Pulse, Record};
use dosewright_core::time::Instant;
use dosewright_core::timetable::Timetable;
use dosewright_core::units::{Flow, Volume};
use dosewright_core::zone::Zone;

use super::toy::Toy;
use crate::audit::{AuditReport, Auditor, Facts, Violation};
use crate::observe::{DeviceAct, LINES, Observation, Observer};

pub(super) const MIN: i64 = 60_000;
pub(super) const HOUR: i64 = 60 * MIN;
pub(super) const DAY: i64 = 24 * HOUR;

/// One observation, owned; a record stands for the slot it is written to.
#[derive(Debug, Clone, PartialEq)]
#[allow(clippy::large_enum_variant)]
pub(super) enum Ev {
    Supply(bool),
    Reset,
    Chip(i64, i64, bool),
    Pump(bool),
    Record(Record),
    /// A slot of nonsense.
    Torn,
    /// The slot of that record, so many before the last, becomes unreadable.
    Flip(usize),
    Act(DeviceAct),
    Late(u64),
    NotStarted,
}

pub(super) type Stream = Vec<(u64, Ev)>;

/// Shows events to an auditor as observations.
pub(super) struct Show {
    pub(super) auditor: Auditor,
    seq: u32,
    address: u32,
}

pub(super) fn geometry() -> Geometry {
    Geometry { start: 0, sector_bytes: 4096, sectors: 16 }
}

pub(super) fn facts() -> Facts {
    let mut facts = Facts::new(0, geometry());
    for (id, name) in [(1, "night"), (2, "trickle"), (3, "third")] {
        facts.names.insert(EntryId(id), name.to_owned());
    }
    facts
}

impl Show {
    pub(super) fn new(facts: Facts) -> Self {
        Self { auditor: Auditor::new(facts), seq: 0, address: 64 }
    }

    /// The address and the bytes of the next record's slot.
    pub(super) fn encode(&mut self, record: &Record) -> (u32, [u8; 64]) {
        self.seq += 1;
        (self.next_address(), Slot::encode(Class::Record, self.seq, &record.encode()))
    }

    pub(super) fn slot_at(&mut self, ms: u64, address: u32, bytes: &[u8; 64]) {
        self.auditor.see(ms, &Observation::Slot { address, bytes });
    }

    fn slot(&mut self, ms: u64, bytes: &[u8; 64]) {
        let address = self.next_address();
        self.slot_at(ms, address, bytes);
    }

    fn next_address(&mut self) -> u32 {
        let address = self.address;
        self.address += 64;
        if self.address >= 65_536 {
            self.address = 64;
        } else if self.address.is_multiple_of(4096) {
            self.address += 64;
        }
        address
    }

    pub(super) fn record(&mut self, ms: u64, record: &Record) {
        self.seq += 1;
        self.slot(ms, &Slot::encode(Class::Record, self.seq, &record.encode()));
    }

    pub(super) fn snapshot(&mut self, ms: u64, records: &[Record]) {
        for record in records {
            self.seq += 1;
            self.slot(ms, &Slot::encode(Class::Snapshot, self.seq, &record.encode()));
        }
        self.seq += 1;
        self.slot(ms, &Slot::encode(Class::Seal, self.seq, &[0; 56]));
    }

    pub(super) fn see(&mut self, ms: u64, ev: &Ev) {
        let what = match ev {
            Ev::Record(record) => return self.record(ms, record),
            Ev::Torn => return self.slot(ms, &[0x5a; 64]),
            Ev::Flip(back) => {
                let address = self.address - 64 * (*back as u32 + 1);
                self.auditor.see(ms, &Observation::Slot { address, bytes: &[0x5a; 64] });
                return;
            }
            Ev::Supply(on) => Observation::Supply { on: *on },
            Ev::Reset => Observation::Reset,
            Ev::Chip(count_ms, rate_ppb, feed_kept) => Observation::Chip {
                count_ms: *count_ms,
                rate_ppb: *rate_ppb,
                feed_kept: *feed_kept,
            },
            Ev::Pump(on) => Observation::Pump { on: *on },
            Ev::Act(act) => Observation::Act(act),
            Ev::Late(by_ms) => Observation::LateWake { by_ms: *by_ms },
            Ev::NotStarted => Observation::NotStarted,
        };
        self.auditor.see(ms, &what);
    }
}

/// What the auditor finds in a stream that ends at `end_ms`.
pub(super) fn audit_with(facts: Facts, stream: &Stream, end_ms: u64) -> AuditReport {
    let mut show = Show::new(facts);
    for (ms, ev) in stream {
        show.see(*ms, ev);
    }
    show.auditor.finish(end_ms)
}

pub(super) fn audit(stream: &Stream, end_ms: u64) -> AuditReport {
    audit_with(facts(), stream, end_ms)
}

/// Fails unless the auditor finds nothing.
pub(super) fn holds(stream: &Stream, end_ms: u64) -> AuditReport {
    let report = audit(stream, end_ms);
    assert!(report.held(), "{}", list(&report.violations));
    report
}

pub(super) fn list(violations: &[Violation]) -> String {
    violations.iter().take(12).map(|v| format!("{v}\n")).collect()
}

/// Fails unless the auditor names this promise, with these words.
pub(super) fn breaks(stream: &Stream, end_ms: u64, promise: &str, words: &str) {
    let report = audit(stream, end_ms);
    let found = report.violations.iter().any(|v| v.promise == promise && v.what.contains(words));
    assert!(found, "no {promise} with {words:?}, but:\n{}", list(&report.violations));
}

/// Fails if the auditor names this promise with these words, whatever else it names.
pub(super) fn lacks(stream: &Stream, end_ms: u64, promise: &str, words: &str) {
    let report = audit(stream, end_ms);
    let found = report.violations.iter().any(|v| v.promise == promise && v.what.contains(words));
    assert!(!found, "{promise} with {words:?}:\n{}", list(&report.violations));
}

/// 26.5 ml/min and the customary limits.
pub(super) fn head() -> Head {
    Head::with_flow(Flow::from_nl_per_min(26_500_000).unwrap())
}

/// 60 ml/min: a millilitre is a second.
pub(super) fn round_head() -> Head {
    Head::with_flow(Flow::from_nl_per_min(60_000_000).unwrap())
}

pub(super) const CET: &str = "CET-1CEST,M3.5.0,M10.5.0/3";

pub(super) fn zone(text: &str) -> Zone {
    Zone::parse(text).unwrap()
}

/// A local time from text like `2026-10-19 00:45`.
pub(super) fn local(text: &str) -> Local {
    let t: jiff::civil::DateTime = text.replace(' ', "T").parse().unwrap();
    let ms = jiff::tz::TimeZone::UTC.to_timestamp(t).unwrap().as_millisecond();
    Local::from_ms(ms)
}

pub(super) fn date(text: &str) -> Date {
    local(&format!("{text} 00:00")).date()
}

/// The nominal of a weekly due.
pub(super) fn nominal(text: &str) -> Nominal {
    Nominal((local(text).as_ms() / MIN) as u32)
}

/// 120 ml over 45 min in 30 pulses.
pub(super) fn weekly(id: u16, days: u8, at_min: u16) -> Entry {
    Entry {
        id: EntryId(id),
        enabled: true,
        recurrence: Recurrence::Weekly { days: Days::from_bits(days), at_min, by_night: false },
        volume: Volume::from_ml(120),
        window_ms: 45 * MIN as u32,
        grace_ms: 0,
        first: None,
        last: None,
        observes_closed: false,
        gap_rule: GapRule::Shift,
        pulses: Some(30),
    }
}

/// 15 ml over 10 min in 5 pulses.
pub(super) fn every(id: u16, every_ms: i64, from_ms: i64) -> Entry {
    Entry {
        recurrence: Recurrence::Interval {
            every_ms: every_ms as u64,
            from: Instant::from_ms(from_ms),
        },
        volume: Volume::from_ml(15),
        window_ms: 10 * MIN as u32,
        pulses: Some(5),
        ..weekly(id, 0, 0)
    }
}

pub(super) fn table(entries: &[Entry]) -> Timetable<LINES> {
    let mut timetable = Timetable::EMPTY;
    for entry in entries {
        timetable.put(*entry).unwrap();
    }
    timetable
}

pub(super) fn set_table(entries: &[Entry]) -> DeviceAct {
    DeviceAct::SetTimetable(Box::new(table(entries)))
}

/// What an installer does at the start of every run.
pub(super) fn install(
    head: Head,
    zone_text: &str,
    at: &str,
    timetable: Timetable<LINES>,
) -> Stream {
    let acts = [
        DeviceAct::SetHead(head),
        DeviceAct::SetZone(zone(zone_text)),
        DeviceAct::SetClock(local(at)),
        DeviceAct::SetTimetable(Box::new(timetable)),
    ];
    let mut stream = vec![(0, Ev::Supply(true)), (0, Ev::Chip(0, 0, true))];
    stream.extend(acts.map(|act| (0, Ev::Act(act))));
    stream
}

/// The whole stream of an ideal device's run.
pub(super) fn ideal_stream(inputs: &Stream, end_ms: u64) -> Stream {
    let mut toy = Toy::new(&facts(), Stream::new());
    for (ms, ev) in inputs {
        toy.input(*ms, ev);
    }
    toy.run_until(end_ms);
    toy.ideal.hand.to
}

/// 120 ml at 00:45 every day from 2026-10-19 00:00, with these inputs.
pub(super) fn nights(head: Head, inputs: &[(i64, Ev)], end_ms: u64) -> Stream {
    let mut stream = install(head, CET, "2026-10-19 00:00", table(&[weekly(1, 0x7f, 45)]));
    stream.extend(inputs.iter().map(|(ms, ev)| (*ms as u64, ev.clone())));
    ideal_stream(&stream, end_ms)
}

/// The stream with the events at these places taken out.
pub(super) fn without(stream: &Stream, out: &[usize]) -> Stream {
    let keep = stream.iter().enumerate().filter(|(i, _)| !out.contains(i));
    keep.map(|(_, ev)| ev.clone()).collect()
}

/// The stream with one event so many ms later or earlier.
pub(super) fn moved(stream: &Stream, place: usize, by: i64) -> Stream {
    let mut stream = stream.clone();
    stream[place].0 = stream[place].0.saturating_add_signed(by);
    stream.sort_by_key(|(ms, _)| *ms);
    stream
}

/// The stream with more events, each after those of its ms.
pub(super) fn with(stream: &Stream, more: &[(i64, Ev)]) -> Stream {
    let mut stream = stream.clone();
    stream.extend(more.iter().map(|(ms, ev)| (*ms as u64, ev.clone())));
    stream.sort_by_key(|(ms, _)| *ms);
    stream
}

/// The stream with a record changed.
pub(super) fn changed(stream: &Stream, place: usize, change: impl Fn(&mut Record)) -> Stream {
    let mut stream = stream.clone();
    if let Ev::Record(record) = &mut stream[place].1 {
        change(record);
    }
    stream
}

/// The positions of the events that match.
pub(super) fn places(stream: &Stream, is: impl Fn(&Ev) -> bool) -> Vec<usize> {
    stream.iter().enumerate().filter(|(_, (_, ev))| is(ev)).map(|(i, _)| i).collect()
}

pub(super) fn is_pulse(ev: &Ev) -> bool {
    matches!(ev, Ev::Record(Record::Pulse(_)))
}

pub(super) fn is_outcome(ev: &Ev) -> bool {
    matches!(ev, Ev::Record(Record::Outcome(_)))
}

/// The outcomes of a stream, in order.
pub(super) fn outcomes(stream: &Stream) -> Vec<Outcome> {
    stream
        .iter()
        .filter_map(|(_, ev)| match ev {
            Ev::Record(Record::Outcome(o)) => Some(*o),
            _ => None,
        })
        .collect()
}

/// Changes the `n`th pulse record.
pub(super) fn with_pulse(stream: &Stream, n: usize, change: impl Fn(&mut Pulse)) -> Stream {
    let mut stream = stream.clone();
    let at = places(&stream, is_pulse)[n];
    if let Ev::Record(Record::Pulse(p)) = &mut stream[at].1 {
        change(p);
    }
    stream
}

/// Changes the `n`th outcome record.
pub(super) fn with_outcome(stream: &Stream, n: usize, change: impl Fn(&mut Outcome)) -> Stream {
    let mut stream = stream.clone();
    let at = places(&stream, is_outcome)[n];
    if let Ev::Record(Record::Outcome(o)) = &mut stream[at].1 {
        change(o);
    }
    stream
}
