//! The durable state: the fold of the ledger's records.
//!
//! [`Book::apply`] is the only way durable state changes, on a live device as at
//! a restart, so what a restart finds is what the device had before it.

mod doses;
mod snapshot;

use crate::calibration::TRAIN_STARTS;
use crate::config::{Container, Head};
use crate::entry::{Entry, EntryId};
use crate::limits::{CEILING_SPAN, History};
use crate::lock::Lock;
use crate::motor::Motor;
use crate::power::Gauge;
use crate::record::{
    Act, Adopted, Alarm, DueKey, LineState, Mark, NewPack, PackedState, Pulse, Record, Staged,
};
use crate::schedule::WallClock;
use crate::starts::Starts;
use crate::stock::Stock;
use crate::time::{Duration, Instant, Utc};
use crate::timetable::Timetable;
use crate::tube::{Found, Tube};
use crate::units::Volume;
use crate::zone::Zone;

/// The dose that has begun and has no outcome yet, as the ledger knows it.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct OpenDose {
    /// The last intent.
    pub pulse: Pulse,
    /// Whether that pulse may not have run in full: the device started again since.
    pub in_doubt: bool,
    /// Whether the clock chip lost its feed since.
    pub lost: bool,
}

impl OpenDose {
    /// Whether it is the dose of a due.
    fn is_of(&self, due: DueKey, asked: bool) -> bool {
        self.pulse.due == due && self.pulse.asked == asked
    }

    /// Its last pulse was off by an instant: it has run no longer than until then.
    fn off_by(&mut self, at: Instant) {
        let ran = u32::try_from(at.since(self.pulse.at).as_ms()).unwrap_or(u32::MAX);
        self.pulse.on_ms = self.pulse.on_ms.min(ran);
    }

    /// The most pumping there can have been, the last intent included.
    pub const fn most_ms(&self) -> u32 {
        let most = self.pulse.most_ms.saturating_add(self.pulse.on_ms);
        if most < self.pulse.dose_ms { most } else { self.pulse.dose_ms }
    }

    /// That pumping as a volume.
    pub fn most(&self) -> Volume {
        self.volume(self.most_ms())
    }

    /// So much pumping as a volume.
    fn volume(&self, ms: u32) -> Volume {
        self.pulse.flow.volume(Duration::from_ms(u64::from(ms)))
    }

    /// The most by an instant, where its last pulse runs and delivers from so long after its
    /// start on.
    fn most_by(&self, at: Instant, lead_ms: u16) -> Volume {
        let ran = at.since(self.pulse.at).as_ms().saturating_sub(u64::from(lead_ms));
        // what a start broke off does not run on
        let left = if self.in_doubt { 0 } else { u64::from(self.pulse.on_ms).saturating_sub(ran) };
        let ms = u64::from(self.most_ms()).saturating_sub(left);
        self.pulse.flow.volume(Duration::from_ms(ms))
    }
}

// each has its bit in `Book::alarms`
const _: () = {
    let mut at = 0;
    while at < Alarm::ALL.len() {
        assert!((Alarm::ALL[at] as u32) < u16::BITS);
        at += 1;
    }
};

/// The durable state of a controller: `N` lines of timetable, an account of `H`
/// deliveries.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
// in this order, so that the large tables put nothing out of reach of short instructions
#[repr(C)]
pub struct Book<const N: usize, const H: usize> {
    /// Alarms that are on, a bit each.
    pub alarms: u16,
    /// The least entry number never used.
    pub next_id: u16,
    /// The clock epoch; 0 before the first setting.
    pub epoch: u16,
    /// How often the clock chip lost its feed.
    pub losses: u16,
    /// Doses that operators have asked for.
    pub asks: u32,
    /// Whether the closed dates were damaged in memory.
    pub closed_damaged: bool,
    /// The latest instant that a record carries.
    pub at: Instant,
    /// The head; `None` until one is set.
    pub head: Option<Head>,
    /// The container and its account.
    pub stock: Stock,
    /// The dose that is open.
    pub open: Option<OpenDose>,
    /// Until when the pump rests after its last run, had that run its full length.
    pub rest_until: Instant,
    /// The ceiling that was in force when the timetable was last changed, where it followed
    /// from the timetable before that and after: what was dosed under it still counts, and so
    /// does it (D7).
    pub kept_ceiling: Volume,
    /// It counts for dues before this instant.
    pub kept_until: Instant,
    /// Weekly dues up to this instant are not caught up: it is the instant of
    /// the first setting after the clock was unset (D9).
    pub not_before: Instant,
    /// Lines whose settings were damaged in memory, a bit a line.
    pub damaged: u64,
    /// The lock on the settings.
    pub lock: Lock,
    /// The motor's faults in a row.
    pub motor: Motor,
    /// The battery pack's gauge.
    pub gauge: Gauge,
    /// The tube set and its calibrations.
    pub tube: Tube,
    /// What the clock says; `None` while it is unset.
    pub clock: Option<WallClock>,
    /// The zone in force, kept while the clock is unset.
    pub zone: Zone,
    /// When the pump started lately.
    pub starts: Starts,
    /// The timetable in force.
    pub timetable: Timetable<N>,
    /// The state of each line.
    pub lines: [PackedState; N],
    /// What was delivered lately.
    pub history: History<H>,
}

impl<const N: usize, const H: usize> Book<N, H> {
    /// A device that has never been set up.
    ///
    /// It is made by a call and not a constant: the tables are zeros, which a device
    /// need not keep a picture of in its flash.
    pub const fn empty() -> Self {
        Self {
            at: Instant::ZERO,
            clock: None,
            zone: Zone::UTC,
            epoch: 0,
            losses: 0,
            not_before: Instant::MIN,
            head: None,
            timetable: Timetable::EMPTY,
            lines: [PackedState::UNUSED; N],
            history: History::EMPTY,
            starts: Starts::NONE,
            open: None,
            next_id: 0,
            asks: 0,
            damaged: 0,
            closed_damaged: false,
            alarms: 0,
            rest_until: Instant::MIN,
            kept_ceiling: Volume::ZERO,
            kept_until: Instant::ZERO,
            stock: Stock::NONE,
            motor: Motor::SOUND,
            tube: Tube::UNKNOWN,
            lock: Lock::OPEN,
            gauge: Gauge::MAINS,
        }
    }

    /// The ceiling that counts for a due of an instant, beside the one in force by itself: of
    /// before the last change of the timetable, until what was dosed then counts no more.
    pub(crate) fn ceiling_kept_for(&self, due_at: Instant) -> Volume {
        if due_at < self.kept_until { self.kept_ceiling } else { Volume::ZERO }
    }

    /// The ceiling in force for a due of an instant (D7).
    pub fn ceiling_for(&self, due_at: Instant) -> Volume {
        self.timetable.ceiling_in_force().max(self.ceiling_kept_for(due_at))
    }

    /// Whether an alarm is on.
    pub const fn alarm_is_on(&self, alarm: Alarm) -> bool {
        self.alarms >> alarm as u16 & 1 == 1
    }

    /// The line an entry is on.
    pub fn line_of(&self, id: EntryId) -> Option<usize> {
        self.timetable.line_of(Some(id))
    }

    /// The lines that an entry is on, a bit a line.
    pub fn occupied(&self) -> u64 {
        (0..N)
            .filter(|&line| self.timetable.id_on(line).is_some())
            .fold(0, |bits, line| bits | bit(line))
    }

    /// Takes lines out of use whose settings were damaged in memory, a bit a
    /// line; where the closed dates were, no entry that observes them runs (M2).
    pub fn damage(&mut self, lines: u64, closed: bool) {
        self.lose(lines);
        self.closed_damaged |= closed;
        for line in 0..N {
            if lines & bit(line) != 0 {
                self.clear_line(line);
            }
        }
    }

    /// Lines whose settings are lost: an alarm that does not name them yet is told again.
    fn lose(&mut self, lines: u64) {
        if lines & !self.damaged != 0 {
            self.alarms &= !(1 << Alarm::EntryDamaged as u16);
        }
        self.damaged |= lines;
    }

    /// Takes the entry off a line. A due that waits there has still to be told the
    /// end of.
    fn clear_line(&mut self, line: usize) {
        self.timetable.set_line(line, None);
        self.change(line, |state| {
            *state = LineState { waiting: state.waiting, ..LineState::default() };
        });
    }

    /// The state of a line; that of an empty line where there is none.
    pub fn state(&self, line: usize) -> LineState {
        self.lines.get(line).map(PackedState::get).unwrap_or_default()
    }

    /// The mark of a line.
    pub(crate) fn mark(&self, line: usize) -> Mark {
        self.lines.get(line).and_then(PackedState::mark)
    }

    /// The revision of the entry on a line.
    pub(crate) fn revision(&self, line: usize) -> u16 {
        self.lines.get(line).map_or(0, PackedState::revision)
    }

    /// Changes the state of a line.
    fn change(&mut self, line: usize, change: impl FnOnce(&mut LineState)) {
        if let Some(place) = self.lines.get_mut(line) {
            let mut state = place.get();
            change(&mut state);
            *place = PackedState::new(&state);
        }
    }

    /// Whether a due waits on a line.
    pub fn waits(&self, line: usize) -> bool {
        self.lines.get(line).is_some_and(PackedState::waits)
    }

    /// The moment the clock says at an instant.
    pub fn utc(&self, at: Instant) -> Option<Utc> {
        self.clock.map(|clock| clock.utc(at))
    }

    fn entry_is(&self, line: u8, id: EntryId) -> bool {
        self.timetable.id_on(usize::from(line)) == Some(id)
    }

    /// Folds in one record. Staged records wait for the record that puts them in
    /// force: for those see [`Self::adopt`].
    pub fn apply(&mut self, record: &Record) {
        if let Some(at) = record.at() {
            self.at = self.at.max(at);
        }
        match record {
            Record::Boot { feed_kept, .. } => self.boot(*feed_kept),
            Record::Clock { at, epoch, utc, zone } => self.set_clock(*at, *epoch, *utc, *zone),
            Record::Head { at, head } => {
                // the flow in force, said again, is none that it is set up with anew
                if self.head.as_ref().is_none_or(|before| before.flow != head.flow) {
                    self.tube.nominal = Some(head.flow);
                }
                self.stock.service_lost();
                // what was drawn by another flow says nothing of this one
                self.speak(*at);
                self.head = Some(*head);
            }
            Record::SnapHead(head) => self.head = Some(*head),
            Record::Calibration { found, in_force, lead_ms } => {
                self.calibrated(found, *in_force, *lead_ms);
            }
            Record::Born(born) => self.wait(born),
            Record::Pulse(pulse) => self.begin_pulse(pulse),
            Record::Outcome(outcome) => self.end(outcome),
            Record::Act { at, act, ms } => self.act(*at, *act, *ms),
            Record::Alarm { at, alarm, on, detail } => self.alarm(*at, *alarm, *on, *detail),
            Record::Container { at, container, level, pumped_ms } => {
                let drawn = match (&self.open, pumped_ms) {
                    (Some(open), Some(ms)) => open.volume(*ms),
                    _ => self.drawn_by(*at),
                };
                let (container, spoken) = (*container, *level);
                let level = spoken.plus(drawn);
                self.stock = Stock { container, level, spoken, ..self.stock };
            }
            Record::Pin { check, .. } => self.lock = Lock::with(*check),
            Record::Motor { at, faults } => {
                self.motor.failed(*at, *faults);
                if let Some(open) = &mut self.open {
                    open.off_by(*at);
                }
            }
            Record::SnapClock { at, epoch, utc, losses, not_before, zone } => {
                self.zone = *zone;
                self.clock = utc.map(|utc| WallClock::at(*at, utc, *zone));
                (self.epoch, self.losses, self.not_before) = (*epoch, *losses, *not_before);
                // a snapshot says everything: what it does not say is not there
                self.history = History::EMPTY;
                self.starts = Starts::NONE;
                self.open = None;
                self.stock = Stock::NONE;
                self.tube = Tube::UNKNOWN;
                self.lock = Lock::OPEN;
                self.gauge = Gauge::MAINS;
            }
            Record::SnapGlobals {
                ceiling,
                next_id,
                asks,
                damaged,
                closed_damaged,
                alarms,
                rest_until,
                occupied: _,
                motor,
                kept_ceiling,
                kept_until,
            } => {
                (self.kept_ceiling, self.kept_until) = (*kept_ceiling, *kept_until);
                self.timetable.ceiling = *ceiling;
                (self.next_id, self.asks) = (*next_id, *asks);
                (self.damaged, self.closed_damaged) = (*damaged, *closed_damaged);
                self.alarms = *alarms;
                self.rest_until = *rest_until;
                // format 1 had the alarm alone
                let latched = self.alarm_is_on(Alarm::MotorFault);
                let faults = if latched { Motor::LATCHED } else { 0 };
                self.motor = motor.unwrap_or(Motor { faults, ..Motor::SOUND });
            }
            Record::SnapClosed(list) => self.timetable.closed = *list,
            Record::SnapEntry(staged) => {
                self.timetable.set_line(usize::from(staged.line), Some(&staged.entry));
            }
            Record::SnapLine { line, state, .. } => {
                self.change(usize::from(*line), |place| *place = *state);
            }
            Record::SnapDeliveries(items) => {
                for delivery in items.iter().flatten() {
                    self.history.push(*delivery);
                }
            }
            Record::SnapStarts(items) => {
                for &at in items.iter().flatten() {
                    self.starts.push(at);
                }
            }
            Record::SnapOpen { pulse, lost, in_doubt } => {
                self.open = Some(OpenDose { pulse: *pulse, lost: *lost, in_doubt: *in_doubt });
            }
            Record::SnapStock(stock) => self.stock = *stock,
            Record::SnapTube(tube) => self.tube = *tube,
            Record::SnapLock(lock) => self.lock = *lock,
            Record::Pack { at, pack, how: NewPack::Set } => self.gauge.set(*at, *pack),
            Record::Pack { at, .. } => self.gauge.reset(*at),
            Record::PackMeans { rest_mv, load_mv, .. } => {
                (self.gauge.rest_mv, self.gauge.load_mv) = (*rest_mv, *load_mv);
                self.gauge.draw(self.gauge.pack.pumping_uc(0, 1));
            }
            Record::Lit { ms, .. } => self.gauge.draw(self.gauge.pack.display_uc(u64::from(*ms))),
            Record::SnapGauge(gauge) => self.gauge = *gauge,
            // a stamp is its instant; what is staged waits for its adoption
            Record::Staged(_)
            | Record::StagedClosed(_)
            | Record::Adopted(_)
            | Record::Stamp { .. } => {}
        }
    }

    fn act(&mut self, at: Instant, act: Act, ms: u32) {
        let run = Duration::from_ms(u64::from(ms));
        let drawn = self.head.map_or(Volume::ZERO, |head| head.flow.volume(run));
        match act {
            Act::PrimeBegun | Act::CalibrationBegun | Act::TrainBegun => {
                self.rest_after_run(at, run);
                if act == Act::TrainBegun {
                    // its rests lie between its pulses: each its share of this one, or the
                    // shortest off time, and a part of a ms
                    let shortest_ms = self.head.map_or(0, |head| head.shortest_off_ms);
                    let floors_ms = u64::from(TRAIN_STARTS) * (u64::from(shortest_ms) + 1);
                    let rests = self.rest_of(run).plus(Duration::from_ms(floors_ms));
                    self.rest_until = self.rest_until.plus(rests);
                }
                // where the end of the one before is lost: all that that can have drawn
                self.stock.service_lost();
                self.stock.service = self.stock.level.min(drawn);
            }
            Act::PrimeEnded | Act::CalibrationEnded | Act::TrainEnded => {
                let rest_until = at.plus(self.rest_of(run));
                if rest_until >= self.rest_until && at.minus(run) > self.motor.at {
                    // all that was asked for: a train may have had more rest than it took;
                    // and no fault since it began, though it may come with its very end
                    self.motor.ran_through();
                }
                if act == Act::TrainEnded {
                    self.rest_until = rest_until;
                }
                self.stock.service_ends(drawn);
                self.gauge.draw(self.gauge.pack.pumping_uc(run.as_ms(), 1));
            }
            Act::Acknowledged => self.motor = Motor::SOUND,
            Act::Unlocked => self.lock.was_right(),
            Act::WrongPin => self.lock.was_wrong(at),
            Act::TubeChanged => {
                self.tube.change(at);
                // what the old one drew says nothing of the new one
                self.speak(at);
            }
        }
    }

    fn calibrated(&mut self, found: &Found, in_force: bool, lead_ms: u16) {
        self.tube.note(*found);
        let drawn = self.drawn_by(found.at);
        let Some(head) = &mut self.head else { return };
        self.stock.restate(head.flow, found.flow, drawn);
        if in_force {
            (head.flow, head.lead_ms) = (found.flow, lead_ms);
        }
    }

    fn alarm(&mut self, at: Instant, alarm: Alarm, on: bool, detail: u64) {
        let bit = 1 << alarm as u16;
        // one that leaves lines out which are lost since is told again, with them
        let is_all = alarm != Alarm::EntryDamaged || self.damaged & !detail == 0;
        self.alarms = if on && is_all { self.alarms | bit } else { self.alarms & !bit };
        match alarm {
            Alarm::MotorFault if on => self.motor.faults = Motor::LATCHED,
            // the contact is right: the account goes down to it, and never up; it was
            // there when the contact closed, for as long ago as it may bounce
            Alarm::LowLevel if on => {
                let Container { low, debounce_ms, .. } = self.stock.container;
                let closed_at = at.minus(Duration::from_ms(u64::from(debounce_ms)));
                self.stock.put_down(low, self.drawn_by(closed_at));
            }
            Alarm::LevelDisagrees if on => self.stock.put_down(Volume::ZERO, Volume::ZERO),
            _ => {}
        }
    }

    /// What was drawn by an instant is accounted for, of the open dose too.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    fn speak(&mut self, at: Instant) {
        self.stock.speak(self.drawn_by(at));
    }

    /// What the open dose has drawn by an instant.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    fn drawn_by(&self, at: Instant) -> Volume {
        let lead_ms = self.head.as_ref().map_or(0, |head| head.lead_ms);
        self.open.map_or(Volume::ZERO, |open| open.most_by(at, lead_ms))
    }

    /// What the container holds by account; the open dose, and all that a run can draw that
    /// has begun, are taken off.
    pub fn account(&self) -> Volume {
        let left = self.stock.level.minus(self.stock.service);
        left.minus(self.open.map_or(Volume::ZERO, |open| open.most()))
    }

    fn boot(&mut self, feed_kept: bool) {
        if let Some(open) = &mut self.open {
            // the last intent counts as delivered from here on, but is not sure (D4)
            open.in_doubt = true;
            open.pulse.restarts = open.pulse.restarts.saturating_add(1);
            open.lost |= !feed_kept;
        }
        // what a prime had begun it may have drawn
        self.stock.service_lost();
        if !feed_kept {
            self.clock = None;
            self.losses = self.losses.saturating_add(1);
        }
    }

    fn set_clock(&mut self, at: Instant, epoch: u16, utc: Option<Utc>, zone: Zone) {
        let was_unset = self.clock.is_none();
        (self.zone, self.epoch) = (zone, epoch);
        self.clock = utc.map(|utc| WallClock::at(at, utc, zone));
        let Some(clock) = self.clock else { return };
        if was_unset && self.losses > 0 {
            self.not_before = at;
        }
        for line in 0..N {
            let Some(entry) = self.timetable.line(line).filter(Entry::is_weekly) else { continue };
            self.change(line, |state| reckon_by(&clock, at, &entry, state));
        }
    }

    /// How many lines lost their settings to damage.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub const fn lost_lines(&self) -> u32 {
        self.damaged.count_ones()
    }

    /// Puts one staged line in force. Called for every staged record of an
    /// adoption, before [`Self::adopted`].
    pub fn adopt(&mut self, staged: &Staged) {
        let line = usize::from(staged.line);
        let same = self.timetable.id_on(line) == Some(staged.entry.id);
        self.timetable.set_line(line, Some(&staged.entry));
        self.damaged &= !bit(line);
        self.next_id = self.next_id.max(staged.entry.id.0.saturating_add(1));
        // an id keeps its last delivery, its remainder and what it owes (D2); one that
        // comes back after its line was damaged, what the account says
        let last = if same { None } else { self.history.last_of(staged.entry.id) };
        self.change(line, |state| {
            let kept = if same { *state } else { LineState { last, ..LineState::default() } };
            *state = LineState {
                revision: staged.revision,
                mark: staged.mark,
                edited: staged.edited,
                closed_run: None,
                ..kept
            };
        });
    }

    /// Ends an adoption: lines cleared are empty, and lines that the record says
    /// were written but whose staged record was `missing` (a bit a line) have
    /// lost their settings and do not run (M2).
    pub fn adopted(&mut self, adopted: &Adopted, missing: u64, closed_missing: bool) {
        self.at = self.at.max(adopted.at);
        self.timetable.ceiling = adopted.ceiling;
        self.kept_ceiling = adopted.kept_ceiling;
        self.kept_until = adopted.at.plus(CEILING_SPAN);
        for line in 0..N {
            if (adopted.cleared | missing) & bit(line) != 0 {
                self.clear_line(line);
            }
        }
        self.damaged &= !adopted.cleared;
        self.lose(missing);
        if adopted.closed_staged {
            self.closed_damaged = closed_missing;
        }
    }
}

/// A bit a line; lines beyond the 64th have none.
pub(crate) const fn bit(line: usize) -> u64 {
    if line < 64 { 1 << line } else { 0 }
}

/// What a setting of the clock does to a weekly entry's line.
fn reckon_by(clock: &WallClock, at: Instant, entry: &Entry, state: &mut LineState) {
    state.mark = match state.mark {
        // never raised, lowered to the last that has passed (spec: marks)
        Some(mark) => match entry.first_after(at, Some(clock)) {
            Some(first) => Some(mark.min(first)),
            None => Some(mark),
        },
        None => entry.first_from(at, Some(clock)),
    };
    if let Some(waiting) = &mut state.waiting
        && waiting.revision == state.revision
        && let Some(due_at) = entry.instant_of(waiting.nominal, Some(clock))
        && due_at <= at
    {
        // one that is put ahead again keeps the instant that it had
        waiting.due_at = due_at;
    }
}

#[cfg(test)]
mod tests;
