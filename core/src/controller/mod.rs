//! The state machine: all the branching of the life of a dose.
//!
//! The contract of [`Controller::step`]: hand in every event with its instant;
//! do the effects in their order; where the last one is an append or an
//! adoption, answer it before any other event; then call again at
//! [`Controller::next_wake`]. Calling early or for no reason changes nothing
//! (D10). [`crate::device::Device`] keeps this contract for firmware and
//! simulator alike.
//!
//! Durable state changes only when a record has been acknowledged
//! ([`Book::apply`]). What is decided here is therefore always decided from what
//! a restart would find too: each call looks for the first thing that is still
//! to be done, asks for its record, and is called again when that is written.

mod adoption;
mod alarms;
mod calibrate;
mod calm;
mod dose;
mod dues;
#[cfg(feature = "panel")]
mod glance;
mod inputs;
mod judge;
mod locked;
mod power;
mod request;
mod service;
mod written;

use core::mem::MaybeUninit;

use crate::book::Book;
use crate::cause::Cause;
use crate::display::Display;
use crate::effect::{Effect, Effects};
use crate::event::Event;
use crate::record::{RECORD_BYTES, Record, Reset};
use crate::time::{Duration, Instant};
use crate::timers::{Reason, TimerTable};
use crate::units::Volume;

#[cfg(feature = "panel")]
pub use glance::{NextDose, ServiceRun};

use calibrate::Bench;
use dose::Running;
use power::Readings;
use service::Service;

/// A stamp of elapsed time is written when nothing else was for so long.
const STAMP_EVERY: Duration = Duration::from_h(1);
/// How long a ledger that failed is left alone.
const RETRY_AFTER: Duration = Duration::from_min(1);
/// So far behind the ledger's last instant a clock chip's count may be at a start (own
/// choice): one that is read coarsely begins anew somewhat earlier.
const MAY_LAG: Duration = Duration::from_min(1);
/// Lateness that still counts as in time: a wake comes on the millisecond.
const ON_TIME: Duration = Duration::from_ms(1);

/// What the pump's output is doing.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
enum Pump {
    /// Off, and resting until then.
    Off { rest_until: Instant },
    /// On since then, until then.
    On { since: Instant, until: Instant },
}

/// What a restart is told.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Start {
    /// The instant by the clock chip; after a loss of its feed, the last
    /// instant in the ledger ([`Book::at`]).
    pub now: Instant,
    /// Whether the clock chip was fed all along. A count that lies more than a minute
    /// before the last instant in the ledger, or after [`Instant::LAST`], is of none
    /// that was.
    pub feed_kept: bool,
    /// Why the logic starts.
    pub reset: Reset,
    /// Slots of the ledger after its last good record that cannot be read and may have been
    /// pulses of a dose (D4).
    pub unreadable_tail: u32,
    /// Slots of the ledger that cannot be read.
    pub unreadable: u32,
    /// One of them may have been the latest pulse: the pump may have run by it until now.
    pub run_lost: bool,
}

/// The controller of a pump: `N` lines of timetable (64 at most), an account of
/// `H` deliveries, a third more than the timetable's fullest day has dues.
///
/// Where the account is full its two oldest deliveries become one, which counts as long as
/// the later of them: doses are then cut or skipped by the ceiling, or after an edit by the
/// repeat guard, that need not be.
#[derive(Clone, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
// in this order, so that the book's tables put nothing out of reach of short instructions
#[repr(C)]
pub struct Controller<const N: usize = 32, const H: usize = 64> {
    remote_stop: bool,
    leak: bool,
    /// The motor stalled or drew too much, and the ledger does not have it yet.
    motor_failed: bool,
    /// The low-level contact, as it was last told.
    contact_low: bool,
    /// It was closed for as long as it may bounce, since the container was last
    /// spoken of.
    low: bool,
    /// An operator has acknowledged what the memory had lost.
    acknowledged: bool,
    /// The last prime ended before all of it had run.
    prime_cut: bool,
    /// Whether an operator's request hangs on the record that waits.
    asked: bool,
    /// Whether that record goes into two slots.
    twice: bool,
    /// An adoption waits for its acknowledgement.
    adopting: bool,
    /// The clock says less than it has said: the device's time stands still until it has
    /// caught up.
    behind: bool,
    /// The dues or what hangs on them changed since the timers were set.
    stale: bool,
    /// A due waits, so that the lines are worth looking through.
    any_waiting: bool,
    /// The line of the next due.
    due_line: u8,
    /// What dues whose deadline is over when they are first seen were missed by.
    passing: Cause,
    /// What kept the due that waits on a line last; of no meaning where none does.
    kept: [Cause; N],
    /// Unreadable slots that may have been the first intents of a dose (D4).
    doubt: u32,
    now: Instant,
    pump: Pump,
    display: Display,
    /// Until when the settings stay unlocked, where there is a PIN.
    unlocked_until: Instant,
    /// Until when only the open dose can have anything to do, as long as nothing happens.
    calm_until: Instant,
    /// When another line has its next due, which can be at the same instant.
    other_due_at: Instant,
    /// When the start came into the ledger: a due after it is none that the start has passed,
    /// and no slot that was lost before can have been its pulse.
    started_at: Instant,
    /// The ceiling of the timetable in force.
    ceiling: Volume,
    /// Lines whose dose does not fit the flow in force, a bit a line.
    misfits: u64,
    service: Option<Service>,
    /// What is known of the open dose beyond the ledger.
    running: Option<Running>,
    /// A calibration that waits for its reading, or for its second run.
    bench: Bench,
    /// The slots of the ledger that could not be read at start.
    unreadable: u32,
    /// The start that has still to be taken down.
    start: Option<Start>,
    /// What is known of the battery pack beyond the ledger.
    readings: Readings,
    timers: TimerTable,
    /// The record that waits for its acknowledgement, as the ledger is to have it;
    /// no record is of the kind 0.
    pending: [u8; RECORD_BYTES],
    book: Book<N, H>,
}

impl<const N: usize, const H: usize> Controller<N, H> {
    /// A controller that starts from what its ledger says. Its pump is off.
    pub fn start(book: Book<N, H>, start: Start) -> Self {
        let mut controller = Self::with_book(book);
        controller.begin_with(start);
        controller
    }

    /// A controller that has not started, for [`crate::device::Device::start_in`] to
    /// fill in where it lies: the state is the largest thing there is, and each copy
    /// of it would cost its size in stack.
    #[cfg_attr(target_pointer_width = "32", inline(always))]
    pub const fn blank() -> Self {
        Self::with_book(Book::empty())
    }

    /// The same in the place that a firmware keeps for it. What copies this may make
    /// are gone from the stack when it comes back.
    #[inline(never)]
    pub const fn blank_in(place: &mut MaybeUninit<Self>) -> &mut Self {
        place.write(Self::blank())
    }

    #[cfg_attr(target_pointer_width = "32", inline(always))]
    const fn with_book(book: Book<N, H>) -> Self {
        // a bit a line
        const { assert!(N <= 64, "a controller has 64 lines at most") };
        Self {
            book,
            now: Instant::ZERO,
            start: None,
            pending: [0; RECORD_BYTES],
            twice: false,
            asked: false,
            adopting: false,
            behind: false,
            pump: Pump::Off { rest_until: Instant::MIN },
            running: None,
            service: None,
            unlocked_until: Instant::MIN,
            bench: Bench::EMPTY,
            readings: Readings::NONE,
            display: Display::DARK,
            remote_stop: false,
            leak: false,
            motor_failed: false,
            contact_low: false,
            low: false,
            acknowledged: false,
            prime_cut: false,
            passing: Cause::SupplyLost,
            kept: [Cause::SupplyLost; N],
            doubt: 0,
            started_at: Instant::MIN,
            unreadable: 0,
            timers: TimerTable::UNSET,
            calm_until: Instant::MIN,
            stale: true,
            due_line: 0,
            other_due_at: Instant::MAX,
            any_waiting: false,
            ceiling: Volume::ZERO,
            misfits: 0,
        }
    }

    /// The book, to fill it in before [`Self::begin_with`].
    pub(crate) const fn book_mut(&mut self) -> &mut Book<N, H> {
        &mut self.book
    }

    /// The book is filled in: the logic starts.
    pub(crate) fn begin_with(&mut self, mut start: Start) {
        // no count of the clock that the ledger was written by: that one lost its feed (D9)
        let at = self.book.at;
        if start.now > Instant::LAST || start.now < at.minus(MAY_LAG) {
            (start.now, start.feed_kept) = (at, false);
        }
        self.now = start.now.max(at);
        self.start = Some(start);
        self.unreadable = start.unreadable;
        self.refit();
        self.set_timers(false);
    }

    /// The durable state.
    pub const fn book(&self) -> &Book<N, H> {
        &self.book
    }

    /// The latest instant that the controller was told.
    pub const fn now(&self) -> Instant {
        self.now
    }

    /// The record that waits for its acknowledgement, in the ledger's bytes.
    pub fn pending(&self) -> Option<&[u8; RECORD_BYTES]> {
        self.pending.first().is_some_and(|&kind| kind != 0).then_some(&self.pending)
    }

    /// Whether that record is to go into two slots ([`Record::goes_twice`]).
    pub const fn goes_twice(&self) -> bool {
        self.twice
    }

    /// Whether the pump is on.
    pub const fn pump_is_on(&self) -> bool {
        matches!(self.pump, Pump::On { .. })
    }

    /// Whether the start is in the ledger. Until then a loss of the clock chip's
    /// feed is to be kept in mind: a start that a cut takes back has to be told
    /// of it again (D9).
    pub const fn has_started(&self) -> bool {
        self.start.is_none()
    }

    /// A ledger that failed is not left alone any longer: the next call tries it.
    /// What an operator asks for is worth a try.
    pub fn try_ledger_again(&mut self) {
        if self.ledger_failed() {
            self.timers.set(Reason::Retry, self.now);
        }
    }

    /// Whether the ledger failed: it is left alone until its timer is over.
    fn ledger_failed(&self) -> bool {
        self.timers.is_set(Reason::Retry)
    }

    /// When to call again, and which timer asks for it. It goes stale with the
    /// next step.
    pub fn next_wake(&self) -> Option<(Instant, Reason)> {
        self.timers.next()
    }

    /// Takes in an event at its instant. Where the effects ask for an append or an adoption,
    /// the next event is the answer to it, and it is answered once.
    ///
    /// An instant before an earlier one counts as that earlier one: elapsed time does not
    /// run back. So does one after [`Instant::LAST`], which no clock counts.
    pub fn step(&mut self, now: Instant, event: Event<'_, N>) -> Effects {
        #[cfg(debug_assertions)]
        return self.step_proved(now, event);
        #[cfg(not(debug_assertions))]
        self.take_step(now, event)
    }

    fn take_step(&mut self, now: Instant, event: Event<'_, N>) -> Effects {
        if let Event::Adopted(timetable) = event {
            // as of the instant at which it was asked for, which the records have: a due that
            // came while they were written is one of its own
            self.adopted(timetable);
        }
        self.behind = now < self.now;
        if now <= Instant::LAST && now > self.now {
            self.now = now;
        }
        let mut effects = Effects::NONE;
        self.end_run(&mut effects);
        if !matches!(event, Event::Wake | Event::Appended) {
            self.stir();
        }
        match event {
            Event::Wake | Event::Adopted(_) => {}
            Event::Appended => self.appended(&mut effects),
            Event::AppendFailed => self.append_failed(&mut effects),
            other => self.take(other, &mut effects),
        }
        self.govern(&mut effects);
        let calm = self.is_calm();
        if !calm {
            self.debounce();
            self.darken(&mut effects);
            self.train_pulse(&mut effects);
        }
        self.settle(calm, &mut effects);
        // the answer to a record comes before any other call
        if self.pending().is_none() {
            self.set_timers(calm);
        }
        effects
    }

    /// Asks for a record. Nothing else is decided until it is acknowledged. It
    /// says `true`, for whoever asks in turn whether a record was asked for.
    fn want(&mut self, record: &Record) -> bool {
        debug_assert!(self.pending().is_none(), "two appends at once");
        record.write(&mut self.pending);
        self.twice = record.goes_twice();
        true
    }

    const fn drop_pending(&mut self) {
        (self.pending, self.twice, self.asked) = ([0; RECORD_BYTES], false, false);
    }

    /// Does the first thing that is still to be done, if it is anything that
    /// needs a record. Where all is `calm`, the open dose alone can have something.
    fn settle(&mut self, calm: bool, effects: &mut Effects) {
        if self.pending().is_some() || self.adopting {
            return;
        }
        if self.ledger_failed() && !self.timers.is_over(Reason::Retry, self.now) {
            return;
        }
        if let Some(start) = self.start {
            let Start { feed_kept, reset, .. } = start;
            self.want(&Record::Boot { at: self.now, feed_kept, reset });
            return effects.push(Effect::Append);
        }
        if self.stale {
            self.refresh();
        }
        let all = !calm;
        let wrote = all && self.motor_record()
            || self.dose_end(effects)
            || all
                && (self.service_record()
                    || self.level_record()
                    || self.pack_record()
                    || self.next_due_record())
            || self.dose_pulse()
            || all && (self.begin_waiting() || self.alarm_record() || self.stamp_record());
        if wrote {
            return effects.push(Effect::Append);
        }
        if !all {
            return;
        }
        self.test_pack(effects);
        // nothing is left to be passed: what passes from now on is late
        self.passing = Cause::WokenLate;
    }

    /// A stamp that is due, or by which a memory that took nothing is tried again.
    fn stamp_record(&mut self) -> bool {
        let is_due = self.ledger_failed() || self.now >= self.book.at.plus(STAMP_EVERY);
        is_due && self.want(&Record::Stamp { at: self.now })
    }

    /// What keeps any dose from running now, the pump's own limits apart.
    pub fn stopped_by(&self) -> Option<Cause> {
        if self.remote_stop {
            Some(Cause::RemoteStop)
        } else if self.leak {
            Some(Cause::Leak)
        } else {
            self.motor_stops().then_some(Cause::MotorFault)
        }
    }

    /// Whether the motor's fault keeps the pump off: while it rests, and for good
    /// once it is latched.
    fn motor_stops(&self) -> bool {
        let motor = &self.book.motor;
        self.motor_failed || motor.is_latched() || self.now < motor.rests_until()
    }

    /// Whether the pump is kept off until something comes from outside.
    const fn is_halted(&self) -> bool {
        self.remote_stop || self.leak || self.motor_failed || self.book.motor.is_latched()
    }

    /// When the pump may start again by its own limits.
    fn next_start_allowed(&self) -> Instant {
        self.start_allowed_from(self.now)
    }

    /// The first instant from `from` on at which the pump's limits allow a start.
    fn start_allowed_from(&self, from: Instant) -> Instant {
        let Pump::Off { rest_until } = self.pump else { return Instant::MAX };
        let limit = self.book.head.map_or(1, |head| head.starts_per_hour);
        let rest_until = rest_until.max(self.book.motor.rests_until());
        self.book.starts.next_free(from, limit).max(rest_until).max(from)
    }

    /// Sets every timer from the state as it is after a step; after one that asked the
    /// dose alone, those that it can have moved.
    fn set_timers(&mut self, calm: bool) {
        if self.stale {
            self.refresh();
        }
        let (mut governor, mut run_end) = (Instant::MAX, Instant::MAX);
        if let Pump::On { since, until } = self.pump {
            (governor, run_end) = (since.plus(self.longest_run()), until);
        }
        self.timers.set(Reason::Governor, governor);
        self.timers.set(Reason::RunEnd, run_end);
        let failed = self.ledger_failed();
        if failed || self.start.is_some() {
            let quiet = [
                Reason::PulseStart,
                Reason::DoseDeadline,
                Reason::Stamp,
                Reason::PackTest,
                Reason::Due,
                Reason::Deadline,
            ];
            for reason in quiet {
                self.timers.set(reason, Instant::MAX);
            }
            self.stale = true;
        } else {
            self.timers.set(Reason::PulseStart, self.pulse_start().unwrap_or(Instant::MAX));
            self.timers.set(Reason::DoseDeadline, self.blocked_deadline().unwrap_or(Instant::MAX));
            self.timers.set(Reason::Stamp, self.book.at.plus(STAMP_EVERY));
            if calm {
                return;
            }
            self.timers.set(Reason::PackTest, self.pack_test_at().unwrap_or(Instant::MAX));
        }
        let starts_at = if self.start.is_some() && !failed { self.now } else { Instant::MAX };
        self.timers.set(Reason::Boot, starts_at);
        self.timers.set(Reason::Display, self.display.until);
        self.calm_down();
    }

    /// Works out afresh what only a setting or the passing of a due can change.
    fn refresh(&mut self) {
        self.stale = false;
        self.look_ahead();
        self.any_waiting = (0..N).any(|line| self.book.waits(line));
        let deadline = if self.any_waiting { self.next_waiting_deadline() } else { None };
        self.timers.set(Reason::Deadline, deadline.unwrap_or(Instant::MAX));
    }
}

/// The start of a controller that unit tests are made with: the power was off, and nothing
/// is lost.
#[cfg(test)]
fn boot<const N: usize, const H: usize>(book: Book<N, H>, now: Instant) -> Controller<N, H> {
    let reset = crate::record::Reset::PowerOn;
    let start =
        Start { now, feed_kept: true, reset, unreadable_tail: 0, run_lost: false, unreadable: 0 };
    Controller::start(book, start)
}
