//! Streams that can be held, changed and shown to the auditor; and a device that
//! makes them, the ideal one.

use dosewright_core::cause::Cause;
use dosewright_core::civil::{Date, Days, Local};
use dosewright_core::config::Head;
use dosewright_core::entry::{Entry, EntryId, GapRule, Nominal, Recurrence};
use dosewright_core::ledger::{Class, Geometry, Slot};
use dosewright_core::record::{
    Act, Adopted, Alarm, Born, DueKey, Outcome, Pulse, Record, Reset, Staged,
};
use dosewright_core::time::{Instant, Utc};
use dosewright_core::timetable::Timetable;
use dosewright_core::units::{Carry, Flow, Volume};
use dosewright_core::zone::Zone;

use crate::audit::ideal::Running;
use crate::audit::model::{Due, Model};
use crate::audit::predict::{Hand, Ideal};
use crate::audit::{AuditReport, Auditor, Facts, Predicted, Violation};
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

    fn slot(&mut self, ms: u64, bytes: &[u8; 64]) {
        let address = self.address;
        self.auditor.see(ms, &Observation::Slot { address, bytes });
        self.address += 64;
        if self.address >= 65_536 {
            self.address = 64;
        } else if self.address.is_multiple_of(4096) {
            self.address += 64;
        }
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

/// Where the ideal device's doings go.
pub(super) trait Take {
    fn take(&mut self, ms: u64, ev: Ev);
}

impl Take for Stream {
    fn take(&mut self, ms: u64, ev: Ev) {
        self.push((ms, ev));
    }
}

impl Take for Show {
    fn take(&mut self, ms: u64, ev: Ev) {
        self.see(ms, &ev);
    }
}

/// Writes a ledger of what the ideal device does.
pub(super) struct Scribe<T> {
    pub(super) to: T,
    lines: Vec<Option<(Entry, u16)>>,
    closed_runs: Vec<(DueKey, i64, u32)>,
    asked: bool,
    stamped_at: i64,
}

impl<T: Take> Scribe<T> {
    fn write(&mut self, ms: u64, record: Record) {
        self.to.take(ms, Ev::Record(record));
        self.stamped_at = record.at().map_or(self.stamped_at, |at| at.as_ms().max(self.stamped_at));
    }

    fn line_of(&self, id: EntryId) -> u8 {
        self.lines.iter().position(|l| l.is_some_and(|(e, _)| e.id == id)).unwrap_or(0) as u8
    }

    fn adopt(&mut self, model: &Model, ms: u64, at: i64, t: &Timetable<LINES>) {
        let (mut written, mut cleared) = (0, 0);
        for line in 0..LINES {
            let gone = self.lines[line].is_some_and(|(e, _)| t.get(e.id).is_none());
            if gone {
                self.lines[line] = None;
                cleared |= 1 << line;
            }
        }
        for entry in t.entries() {
            let (revision, mark) = model.line(entry.id).map_or((1, None), |l| (l.revision, l.next));
            let new = (*entry, revision);
            if self.lines.contains(&Some(new)) {
                continue;
            }
            let old = self.lines.iter().position(|l| l.is_some_and(|(e, _)| e.id == entry.id));
            let line = old.or_else(|| self.lines.iter().position(Option::is_none)).unwrap();
            self.lines[line] = Some(new);
            written |= 1 << line;
            let mark = mark.map(|n| Nominal(n as u32));
            let edited = old.is_some();
            self.write(
                ms,
                Record::Staged(Staged { line: line as u8, entry: *entry, revision, mark, edited }),
            );
        }
        self.write(ms, Record::StagedClosed(t.closed));
        let at = Instant::from_ms(at);
        self.write(
            ms,
            Record::Adopted(Adopted {
                at,
                ceiling: t.ceiling,
                written,
                cleared,
                closed_staged: true,
            }),
        );
    }
}

fn due_key(key: crate::audit::model::Key) -> DueKey {
    DueKey {
        id: key.id,
        revision: key.revision,
        epoch: key.epoch,
        nominal: Nominal(key.nominal as u32),
    }
}

fn mark_of(model: &Model, id: EntryId) -> Option<Nominal> {
    model
        .line(id)
        .and_then(|l| l.next)
        .filter(|&n| n < i64::from(u32::MAX))
        .map(|n| Nominal(n as u32))
}

impl<T: Take> Hand for Scribe<T> {
    fn booted(&mut self, model: &Model, ms: u64, at: i64, feed_kept: bool) {
        let at = Instant::from_ms(at);
        self.write(ms, Record::Boot { at, feed_kept, reset: Reset::PowerOn });
        self.stamped_at = at.as_ms();
        if !feed_kept && model.clock.offset_ms.is_none() {
            let alarm = Alarm::ClockUnset;
            self.write(ms, Record::Alarm { at, alarm, on: true, detail: 0 });
        }
    }

    fn set(&mut self, model: &Model, ms: u64, at: i64, act: &DeviceAct) {
        let instant = Instant::from_ms(at);
        match act {
            DeviceAct::SetHead(_) | DeviceAct::SetFlow(_) => {
                self.write(ms, Record::Head { at: instant, head: model.head.unwrap() });
            }
            DeviceAct::SetZone(_) | DeviceAct::SetClock(_) => {
                let utc = model.clock.utc_ms(at).map(Utc::from_ms);
                let (epoch, zone) = (model.clock.epoch, model.clock.zone);
                self.write(ms, Record::Clock { at: instant, epoch, utc, zone });
            }
            DeviceAct::SetTimetable(t) => self.adopt(model, ms, at, t),
            _ => {}
        }
    }

    fn waits(&mut self, model: &Model, ms: u64, due: &Due, cause: Cause, at: i64) {
        self.write(
            ms,
            Record::Born(Born {
                line: self.line_of(due.key.id),
                due: due_key(due.key),
                mark: mark_of(model, due.key.id),
                at: Instant::from_ms(at),
                due_at: Instant::from_ms(due.due_at),
                cause,
            }),
        );
    }

    fn intends(&mut self, model: &Model, ms: u64, dose: &Running, at: i64, on_ms: i64) {
        let (least, most) = dose.before();
        let due = &dose.due;
        self.write(
            ms,
            Record::Pulse(Pulse {
                line: self.line_of(due.key.id),
                due: due_key(due.key),
                mark: mark_of(model, due.key.id),
                at: Instant::from_ms(at),
                due_at: Instant::from_ms(due.due_at),
                begun_after_ms: (dose.begin.at - due.due_at) as u32,
                on_ms: on_ms as u32,
                least_ms: least as u32,
                most_ms: most as u32,
                dose_ms: dose.total_ms as u32,
                flow: Flow::from_nl_per_min(dose.flow).unwrap(),
                first: at == dose.begin.at,
                asked: due.key.asked,
                cut: dose.cut,
                restarts: dose.restarts,
            }),
        );
    }

    fn pump(&mut self, ms: u64, on: bool) {
        self.to.take(ms, Ev::Pump(on));
    }

    fn ended(&mut self, model: &Model, ms: u64, what: &Predicted, dose: Option<&Running>) {
        let kind = what.kind.unwrap();
        let mut due = DueKey {
            id: what.id,
            revision: what.revision,
            epoch: what.epoch,
            nominal: Nominal(what.nominal),
        };
        let (mut count, mut due_at) = (what.count as u32, what.due_at);
        if kind.cause() == Some(Cause::Closed) {
            let same = |(k, _, _): &&mut (DueKey, i64, u32)| {
                (k.id, k.revision, k.epoch) == (due.id, due.revision, due.epoch)
            };
            if let Some(run) = self.closed_runs.iter_mut().find(same) {
                run.2 += count;
                (due, due_at, count) = *run;
            } else {
                self.closed_runs.push((due, due_at, count));
            }
        } else {
            self.closed_runs.retain(|(k, _, _)| k.id != what.id);
        }
        self.write(
            ms,
            Record::Outcome(Outcome {
                line: self.line_of(what.id),
                due,
                last: Nominal(what.last),
                count,
                at: Instant::from_ms(what.ended_at),
                due_at: Instant::from_ms(due_at),
                begun_after_ms: what.begun_at.map_or(0, |at| (at - what.due_at) as u32),
                least: Volume::from_nl(what.least_nl),
                most: Volume::from_nl(what.most_nl),
                kind,
                asked: what.asked,
                restarts: dose.map_or(0, |d| d.restarts),
                mark: mark_of(model, what.id),
                carry: Carry(model.line(what.id).map_or(0, |l| l.carry)),
            }),
        );
    }

    fn service(&mut self, ms: u64, at: i64, act: Option<&DeviceAct>, length_ms: i64) {
        let act = match act {
            Some(DeviceAct::Prime(_)) => {
                self.asked = true;
                Act::PrimeBegun
            }
            Some(_) => Act::CalibrationBegun,
            None if std::mem::take(&mut self.asked) => Act::PrimeEnded,
            None => Act::CalibrationEnded,
        };
        let at = Instant::from_ms(at);
        self.write(ms, Record::Act { at, act, ms: length_ms as u32 });
    }
}

/// Runs the ideal device through `inputs` and hands everything to `to`.
pub(super) struct Toy<T> {
    pub(super) ideal: Ideal<Scribe<T>>,
}

impl<T: Take> Toy<T> {
    pub(super) fn new(facts: &Facts, to: T) -> Self {
        let scribe = Scribe {
            to,
            lines: vec![None; LINES],
            closed_runs: Vec::new(),
            asked: false,
            stamped_at: 0,
        };
        Self { ideal: Ideal::new(facts, scribe) }
    }

    /// Lets time go on to `ms`, with a stamp at least hourly.
    pub(super) fn run_until(&mut self, ms: u64) {
        self.ideal.boot_if_due();
        if let Some(late_ms) = self.ideal.held_at().filter(|&late| late < ms) {
            self.ideal.release();
            let at = self.ideal.chip.count(late_ms);
            if self.ideal.hand.stamped_at + HOUR <= at {
                self.ideal.hand.write(late_ms, Record::Stamp { at: Instant::from_ms(at) });
            }
        }
        loop {
            let next = self.ideal.hand.stamped_at + HOUR;
            if !self.ideal.is_awake()
                || self.ideal.held_at().is_some()
                || next > self.ideal.chip.count(ms)
            {
                break;
            }
            let at_ms = self.ideal.chip.when(next);
            self.ideal.run_until(at_ms);
            if self.ideal.hand.stamped_at + HOUR <= next {
                let at = Instant::from_ms(self.ideal.chip.count(at_ms));
                self.ideal.hand.write(at_ms, Record::Stamp { at });
            }
        }
        self.ideal.run_until(ms);
    }

    pub(super) fn input(&mut self, ms: u64, ev: &Ev) {
        let asleep = match ev {
            Ev::Late(by) => by + 1,
            _ => 0,
        };
        let lost = matches!(ev, Ev::Chip(_, _, false));
        // the device sets a chip that lost its feed to what its ledger says last
        let set = match ev {
            Ev::Chip(_, rate, false) => Some(Ev::Chip(self.ideal.hand.stamped_at, *rate, false)),
            _ => None,
        };
        let ev = set.as_ref().unwrap_or(ev);
        if !lost && !matches!(ev, Ev::Chip(..)) {
            self.run_until(ms.saturating_sub(asleep));
        }
        let what = match ev {
            Ev::Supply(on) => Observation::Supply { on: *on },
            Ev::Reset => Observation::Reset,
            Ev::Chip(count_ms, rate_ppb, feed_kept) => Observation::Chip {
                count_ms: *count_ms,
                rate_ppb: *rate_ppb,
                feed_kept: *feed_kept,
            },
            Ev::Act(act) => Observation::Act(act),
            Ev::Late(by_ms) => Observation::LateWake { by_ms: *by_ms },
            _ => return,
        };
        let is_act = matches!(ev, Ev::Act(_) | Ev::Late(_) | Ev::Supply(true) | Ev::Chip(..));
        if is_act {
            // what the device does at this moment it does because of it
            self.ideal.hand.to.take(ms, ev.clone());
            self.ideal.see(ms, &what);
        } else {
            self.ideal.see(ms, &what);
            self.ideal.hand.to.take(ms, ev.clone());
        }
    }
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
