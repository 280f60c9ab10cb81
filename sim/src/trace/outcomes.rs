//! From the ledger's slots and the pump's pin to what became of each dose.

use dosewright_core::cause::Cause;
use dosewright_core::entry::{Entry, EntryId, Nominal};
use dosewright_core::record::{self, Alarm, DueKey, OutcomeKind, Record};
use dosewright_core::time::{Duration, Instant};
use dosewright_core::units::{Flow, Volume};

use super::account::Moved;
use super::clocks::Clocks;
use super::untold::Untold;
use super::{Changed, ClockChange, Event, Fate, Lost, Names, Outcome, Sink, Stamped, Wait};
use crate::audit::SleptThrough;
use crate::observe::{DeviceAct, Observation, Observer, Records};
use crate::run::Frame;

/// Revisions of an entry kept: a due ends before its entry is edited so often.
const REVISIONS: usize = 4;
/// Doses that wait at most: more do so only where the device loses outcomes.
const MOST_WAITING: usize = 256;

/// The dose that the pump is running for.
#[derive(Debug)]
struct Running {
    key: DueKey,
    asked: bool,
    due_at: Instant,
    due_ms: i64,
    /// What the device took down that it waited for.
    waited_for: Option<Cause>,
    flow: Flow,
    started_ms: Option<u64>,
    ended_ms: Option<u64>,
    on_ms: u64,
    /// How much of it delivered: without what each start takes.
    delivered_ms: u64,
    most_ms: u32,
    least_ms: u32,
}

/// A dose that waits.
#[derive(Debug, Clone, Copy)]
struct Waits {
    born: record::Born,
    /// True ms of its instant, as it was told then: after a loss of the clock chip's feed the
    /// same elapsed time comes again.
    due_ms: i64,
}

/// Reads the stream of observations and tells events to its sinks.
pub struct Tracker<'s> {
    frame: Frame,
    names: Names,
    clocks: Clocks,
    records: Records,
    sinks: Vec<&'s mut dyn Sink>,
    entries: Vec<(EntryId, Vec<(u16, Entry)>)>,
    waiting: Vec<Waits>,
    running: Option<Running>,
    /// The pump's next run, or present one, is for `running`.
    owns: bool,
    on_since: Option<u64>,
    /// What each start takes, by the calibration in force.
    lead_ms: u16,
    moved: Moved,
    /// Stretches of closed dates, which may still grow; one an entry.
    growing: Vec<Outcome>,
    /// The last outcome of each entry that was told, and of its doses asked for.
    ended: Vec<record::Outcome>,
    untold: Untold,
}

impl<'s> Tracker<'s> {
    /// At the start of a run.
    pub fn new(frame: Frame, names: Names, sinks: Vec<&'s mut dyn Sink>) -> Self {
        Self {
            frame,
            names,
            clocks: Clocks::NONE,
            records: Records::default(),
            sinks,
            entries: Vec::new(),
            waiting: Vec::new(),
            running: None,
            owns: false,
            on_since: None,
            lead_ms: 0,
            moved: Moved::default(),
            growing: Vec::new(),
            ended: Vec::new(),
            untold: Untold::default(),
        }
    }

    /// At the end of a run: stretches that can grow no more, then what is open,
    /// dues that the device slept through, or that its memory took no record of, among it.
    pub fn finish(mut self, end_ms: u64, slept_through: &[SleptThrough]) {
        if let Some(since) = self.on_since {
            self.pump_ran(since, end_ms);
        }
        for outcome in std::mem::take(&mut self.growing) {
            self.tell(end_ms, &Event::Outcome(&outcome));
        }
        for Waits { born, due_ms } in std::mem::take(&mut self.waiting) {
            let mut open = self.outcome(
                born.due,
                false,
                born.due_at,
                Fate::Open(Some(born.cause)),
                1,
                born.due.nominal,
            );
            open.due_ms = due_ms;
            self.tell(end_ms, &Event::Outcome(&open));
        }
        if let Some(running) = self.running.take() {
            let (key, asked) = (running.key, running.asked);
            let mut open =
                self.outcome(key, asked, running.due_at, Fate::Open(None), 1, key.nominal);
            open.least = running.flow.volume(Duration::from_ms(u64::from(running.least_ms)));
            open.most = running.flow.volume(Duration::from_ms(u64::from(running.most_ms)));
            self.add_pumping(&mut open, &running);
            self.tell(end_ms, &Event::Outcome(&open));
        }
        let now = self.clocks.count_at(end_ms).unwrap_or(Instant::ZERO);
        let clock = self.clocks.now();
        let passed = self.untold.passed(now, clock);
        let slept =
            slept_through.iter().filter_map(|slept| self.untold.after(&passed, slept, clock));
        let slept: Vec<_> = slept.map(|slept| (slept, None)).collect();
        let passed = passed.into_iter().map(|passed| (passed, Some(Cause::Ledger)));
        for (dues, cause) in passed.chain(slept) {
            let SleptThrough { due, last, count, due_at } = dues;
            let open = self.outcome(due, false, due_at, Fate::Open(cause), count, last);
            self.tell(end_ms, &Event::Outcome(&open));
        }
    }

    fn tell(&mut self, at_ms: u64, event: &Event<'_>) {
        for sink in &mut self.sinks {
            sink.event(at_ms, event);
        }
    }

    fn truth(&self, at_ms: u64) -> Stamped {
        Stamped::of(&self.frame, at_ms)
    }

    fn truth_of(&self, at: Instant) -> i64 {
        self.clocks.truth_of(at).unwrap_or(at.as_ms())
    }

    fn entry(&self, id: EntryId, revision: u16) -> Option<Entry> {
        let (_, revisions) = self.entries.iter().find(|(known, _)| *known == id)?;
        revisions.iter().find(|(known, _)| *known == revision).map(|(_, entry)| *entry)
    }

    fn learn(&mut self, staged: &record::Staged) {
        let id = staged.entry.id;
        let at = self.entries.iter().position(|(known, _)| *known == id).unwrap_or_else(|| {
            self.entries.push((id, Vec::new()));
            self.entries.len() - 1
        });
        let Some((_, revisions)) = self.entries.get_mut(at) else { return };
        revisions.retain(|(known, _)| *known != staged.revision);
        if revisions.len() == REVISIONS {
            revisions.remove(0);
        }
        revisions.push((staged.revision, staged.entry));
    }

    /// An outcome without any pumping.
    fn outcome(
        &self,
        key: DueKey,
        asked: bool,
        due_at: Instant,
        fate: Fate,
        count: u32,
        last: Nominal,
    ) -> Outcome {
        let entry = self.entry(key.id, key.revision);
        let due = |n: Nominal, at: Instant| {
            self.clocks.due(entry.as_ref(), key.epoch, if asked { None } else { Some(n) }, at)
        };
        let last_at = entry.and_then(|entry| entry.instant_of(last, None)).unwrap_or(due_at);
        Outcome {
            name: self.names.name(key.id),
            key,
            asked,
            entry,
            due: due(key.nominal, due_at),
            due_ms: self.truth_of(due_at),
            due_at,
            fate,
            count,
            last,
            last_due: due(last, last_at),
            zone: self.clocks.zone(entry.as_ref(), key.epoch),
            least: Volume::ZERO,
            most: Volume::ZERO,
            started_ms: None,
            ended_ms: None,
            started: None,
            ended: None,
            on_ms: 0,
            pumped: Volume::ZERO,
            restarts: 0,
            wait: None,
        }
    }

    fn add_pumping(&self, outcome: &mut Outcome, running: &Running) {
        outcome.due_ms = running.due_ms;
        let waited_ms = running.started_ms.map(|at| at as i64 - outcome.due_ms);
        outcome.wait = running.waited_for.zip(waited_ms).and_then(|(cause, ms)| {
            u64::try_from(ms).ok().filter(|ms| *ms > 0).map(|ms| Wait { ms, cause })
        });
        outcome.started_ms = running.started_ms;
        outcome.ended_ms = running.ended_ms;
        outcome.started = running.started_ms.map(|at| self.truth(at));
        outcome.ended = running.ended_ms.map(|at| self.truth(at));
        outcome.on_ms = running.on_ms;
        outcome.pumped = running.flow.volume(Duration::from_ms(running.delivered_ms));
    }

    fn pump(&mut self, at_ms: u64, on: bool) {
        if on == self.on_since.is_some() {
            return;
        }
        let for_dose = self.owns;
        if on {
            self.on_since = Some(at_ms);
            if let Some(running) = self.running.as_mut().filter(|_| for_dose) {
                running.started_ms.get_or_insert(at_ms);
            }
        } else if let Some(since) = self.on_since.take() {
            self.pump_ran(since, at_ms);
        }
        self.tell(at_ms, &Event::Pump { on, for_dose });
    }

    fn pump_ran(&mut self, since: u64, at_ms: u64) {
        if let Some(running) = self.running.as_mut().filter(|_| self.owns) {
            let ran_ms = at_ms.saturating_sub(since);
            running.on_ms += ran_ms;
            running.delivered_ms += ran_ms.saturating_sub(u64::from(self.lead_ms));
            running.ended_ms = Some(at_ms);
        }
    }

    fn record(&mut self, at_ms: u64, record: &Record) {
        self.moved.record(at_ms, record);
        let before = matches!(record, Record::Adopted(_)).then(|| self.untold.in_force().to_vec());
        self.untold.record(record);
        // what is set up at the start is the scenario's own text
        if let Some(before) = before.filter(|_| at_ms > 0) {
            let (after, clock) = (self.untold.in_force(), self.clocks.now());
            for changed in Changed::between(&before, after, &self.names, clock) {
                self.tell(at_ms, &Event::Changed(&changed));
            }
        }
        match record {
            Record::Boot { at, feed_kept, .. } => {
                self.owns = false;
                if !feed_kept {
                    self.clocks.lost(*at);
                    self.tell(at_ms, &Event::FeedLost);
                }
            }
            Record::Clock { at, epoch, utc, zone } => {
                let (before, after) = self.clocks.set(*at, *epoch, *utc, *zone);
                let change = ClockChange {
                    epoch: *epoch,
                    before: before.map(|clock| Clocks::show(&clock, *at)),
                    after: after.map(|clock| Clocks::show(&clock, *at)),
                    truth: self.truth(at_ms),
                };
                self.tell(at_ms, &Event::Clock(&change));
            }
            Record::Head { head, .. } => self.lead_ms = head.lead_ms,
            Record::Staged(staged) => self.learn(staged),
            // it waits again where the record of its outcome was lost, which is told
            Record::Born(born) if self.has_ended(born) => {}
            Record::Born(born) => {
                self.waiting.retain(|waiting| waiting.born.due != born.due);
                if self.waiting.len() == MOST_WAITING {
                    self.waiting.remove(0);
                }
                self.waiting.push(Waits { born: *born, due_ms: self.truth_of(born.due_at) });
                self.tell(at_ms, &Event::Opened { key: born.due, asked: false });
            }
            Record::Pulse(pulse) => self.pulse(at_ms, pulse),
            Record::Outcome(outcome) => self.ended(at_ms, outcome),
            Record::Act { act, ms, .. } => {
                // the pump's next run is that act's, and no dose's; what is acknowledged, entered
                // or put in while a pulse runs takes no run from it
                self.owns &= !act.begins_a_run();
                self.tell(at_ms, &Event::Done { act: *act, ms: *ms });
            }
            Record::Calibration { found, in_force, lead_ms } => {
                let (found, in_force, lead_ms) = (*found, *in_force, *lead_ms);
                if in_force {
                    self.lead_ms = lead_ms;
                }
                self.tell(at_ms, &Event::Calibrated { found, in_force, lead_ms });
            }
            Record::Alarm { alarm, on, detail, .. } => {
                let lost = Lost::of(*alarm, *on, *detail, &self.untold, &self.names);
                self.tell(at_ms, &Event::Alarm { alarm: *alarm, on: *on, lost: &lost });
            }
            _ => {}
        }
    }

    fn pulse(&mut self, at_ms: u64, pulse: &record::Pulse) {
        let waits = |waiting: &Waits| !pulse.asked && waiting.born.due == pulse.due;
        let waited = self.waiting.iter().find(|waiting| waits(waiting)).copied();
        self.waiting.retain(|waiting| !waits(waiting));
        let same =
            self.running.as_ref().is_some_and(|r| r.key == pulse.due && r.asked == pulse.asked);
        if !same {
            self.running = Some(Running {
                key: pulse.due,
                asked: pulse.asked,
                due_at: pulse.due_at,
                due_ms: waited.map_or_else(|| self.truth_of(pulse.due_at), |waits| waits.due_ms),
                waited_for: waited.map(|waits| waits.born.cause),
                flow: pulse.flow,
                started_ms: None,
                ended_ms: None,
                on_ms: 0,
                delivered_ms: 0,
                most_ms: 0,
                least_ms: 0,
            });
            self.tell(at_ms, &Event::Opened { key: pulse.due, asked: pulse.asked });
        }
        if let Some(running) = &mut self.running {
            running.least_ms = pulse.least_ms;
            running.most_ms = pulse.most_ms.saturating_add(pulse.on_ms);
        }
        self.owns = true;
    }

    fn untold_stops(&mut self, at_ms: u64) {
        self.untold.stops(self.clocks.count_at(at_ms).unwrap_or(Instant::ZERO));
    }

    fn has_ended(&self, born: &record::Born) -> bool {
        let is_its = |known: &record::Outcome| {
            (known.due, known.asked, known.due_at) == (born.due, false, born.due_at)
        };
        self.ended.iter().any(is_its)
    }

    /// Takes down that a dose ended. What was told of it before, where its record was lost
    /// since and the device ends it again; a stretch of closed dates grows.
    fn ended_before(&mut self, record: &record::Outcome) -> Option<record::Outcome> {
        let of = |known: &record::Outcome| (known.due, known.asked, known.due_at);
        let is_its =
            |known: &record::Outcome| (known.due.id, known.asked) == (record.due.id, record.asked);
        let at = self.ended.iter().position(is_its);
        let earlier = at.map(|at| self.ended.swap_remove(at));
        self.ended.push(*record);
        let grows = record.kind == OutcomeKind::Skipped(Cause::Closed);
        earlier.filter(|earlier| !grows && of(earlier) == of(record))
    }

    fn ended(&mut self, at_ms: u64, record: &record::Outcome) {
        let fate = match record.kind {
            OutcomeKind::Dosed => Fate::Dosed,
            OutcomeKind::Part(cause) => Fate::Part(cause),
            OutcomeKind::Skipped(cause) => Fate::Skipped(cause),
        };
        let mut outcome =
            self.outcome(record.due, record.asked, record.due_at, fate, record.count, record.last);
        let is_its = |waiting: &Waits| !record.asked && waiting.born.due == record.due;
        if let Some(waited) = self.waiting.iter().find(|waiting| is_its(waiting)) {
            outcome.due_ms = waited.due_ms;
        }
        self.waiting.retain(|waiting| !is_its(waiting));
        outcome.least = record.least;
        outcome.most = record.most;
        outcome.restarts = record.restarts;
        let own = |running: &Running| running.key == record.due && running.asked == record.asked;
        if self.running.as_ref().is_some_and(own)
            && let Some(running) = self.running.take()
        {
            self.owns = false;
            self.add_pumping(&mut outcome, &running);
        }
        if let Some(earlier) = self.ended_before(record) {
            if outcome.started.is_none() {
                // what was told of it stays
                self.ended.pop();
                self.ended.push(earlier);
                return;
            }
            // it went on: what came on top is told
            outcome.least = outcome.least.minus(earlier.least);
            outcome.most = outcome.most.minus(earlier.most);
        }
        if let Some(at) = self.growing.iter().position(|earlier| earlier.key.id == record.due.id) {
            let earlier = self.growing.remove(at);
            if !outcome.continues(&earlier) {
                self.tell(at_ms, &Event::Outcome(&earlier));
            }
        }
        if fate == Fate::Skipped(Cause::Closed) {
            self.tell(at_ms, &Event::Opened { key: record.due, asked: record.asked });
            self.growing.push(outcome);
        } else {
            self.tell(at_ms, &Event::Outcome(&outcome));
        }
    }
}

impl Observer for Tracker<'_> {
    fn see(&mut self, at_ms: u64, what: &Observation<'_>) {
        match what {
            Observation::Slot { bytes, .. } => {
                if let Some(record) = self.records.see(bytes) {
                    self.record(at_ms, &record);
                }
            }
            Observation::Chip { count_ms, rate_ppb, .. } => {
                self.clocks.chip(at_ms, *count_ms, *rate_ppb);
            }
            Observation::Pump { on } => self.pump(at_ms, *on),
            Observation::Supply { on } => {
                self.untold_stops(at_ms);
                self.tell(at_ms, &Event::Supply { on: *on });
            }
            Observation::MemoryFault { on } => {
                self.untold.fault(*on);
                let (alarm, lost) = (Alarm::LedgerFault, &Lost::Nothing);
                self.tell(at_ms, &Event::Alarm { alarm, on: *on, lost });
            }
            Observation::Display { lit } => self.tell(at_ms, &Event::Display { lit: *lit }),
            Observation::Account { level } => {
                let by = self.moved.by();
                self.tell(at_ms, &Event::Account { level: *level, by });
            }
            Observation::Reset => {
                self.untold_stops(at_ms);
                self.tell(at_ms, &Event::Reset);
            }
            Observation::LateWake { by_ms } => self.tell(at_ms, &Event::LateWake { by_ms: *by_ms }),
            Observation::Named { id, name } => {
                self.names.learn(*id, name);
                self.tell(at_ms, &Event::Named { id: *id, name });
            }
            Observation::Act(act) => {
                let id = match act {
                    DeviceAct::RunAgain(id) | DeviceAct::StopDose(id) => Some(*id),
                    _ => None,
                };
                let entry = id.map(|id| self.names.name(id));
                self.tell(at_ms, &Event::Asked { act, entry: entry.as_deref() });
            }
            Observation::Unread { .. }
            | Observation::Erased { .. }
            | Observation::NotStarted
            | Observation::Wake => {}
        }
    }
}
