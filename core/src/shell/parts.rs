//! A board made of its parts.

use super::board::{Board, Levels};
use crate::device::Outputs;
use crate::record::Alarm;
use crate::time::{Duration, Instant};
use crate::timetable::Refusal;

/// The clock chip and the sleep that its alarm ends.
pub trait Clock {
    /// What it counts, in ms, up to [`Instant::LAST`]. It never goes back.
    fn now(&mut self) -> Instant;
    /// As [`Board::sleep`].
    fn sleep(&mut self, until: Option<Instant>);
}

/// The pump's drive.
pub trait Drive {
    /// What can go wrong with it.
    type Error;
    /// Turns the pump on.
    fn start(&mut self) -> Result<(), Self::Error>;
    /// Turns the pump off.
    fn stop(&mut self) -> Result<(), Self::Error>;
}

/// The timer that turns the pump off whatever the logic does (D4): its interrupt
/// handler, or better the timer's own output, acts on the drive without the logic.
pub trait OneShot {
    /// Ends the run after this length, whatever was armed before. `false` where it
    /// cannot: a run that nothing would end is not begun.
    fn arm(&mut self, length: Duration) -> bool;
    /// The run is over.
    fn disarm(&mut self);
}

/// The contacts.
pub trait Inputs {
    /// Reads them.
    fn levels(&mut self) -> Levels;
}

/// Where the operator sees what the device has to say. Everything but alarms may
/// be left out.
pub trait Report {
    /// An alarm came or went.
    fn alarm(&mut self, alarm: Alarm, on: bool);
    /// A request was refused.
    fn refused(&mut self, refusal: &Refusal) {
        let _ = refusal;
    }
    /// Signals were lost.
    fn lost(&mut self, count: u32) {
        let _ = count;
    }
    /// The pump was to stop, and its drive says that it does not (`true`), or has stopped it
    /// since (`false`). Nothing else tells of it at once, and what it pumps meanwhile is in no
    /// account: a board with a lamp or a relay of its own uses them here.
    fn runs_on(&mut self, runs_on: bool) {
        let _ = runs_on;
    }
}

/// So often in a row is a drive asked to stop before that counts as a fault (own choice): what
/// goes wrong for a moment, as a bus that is busy, is none.
const STOP_TRIES: u8 = 8;
/// How long the board sleeps at most while the drive has still to stop.
const STOP_AGAIN: Duration = Duration::from_ms(100);

/// A board made of its parts.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug, Default)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Parts<C, D, T, I, R> {
    /// The clock.
    pub clock: C,
    /// The pump's drive.
    pub drive: D,
    /// The timer that ends a run.
    pub one_shot: T,
    /// The contacts.
    pub inputs: I,
    /// What the operator sees.
    pub report: R,
    /// The drive failed and the loop does not know yet; `false` at the start.
    pub drive_failed: bool,
    /// The drive was to stop and did not: it is asked again in every call until it does, and
    /// begins no run before; `false` at the start.
    pub off_owed: bool,
}

impl<C: Clock, D: Drive, T: OneShot, I, R: Report> Parts<C, D, T, I, R> {
    /// What the clock counts. It is read three times, and the middle holds: a reading that is
    /// ahead for once would put the device's time ahead, where it then stands, and by one that
    /// is behind what is asked for would count from the last call.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    fn count(&mut self) -> Instant {
        let (first, second) = (self.clock.now(), self.clock.now());
        let (early, late) = (first.min(second), first.max(second));
        self.clock.now().clamp(early, late)
    }

    /// Asks the drive to stop.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    fn stop(&mut self) {
        let runs_on = (0..STOP_TRIES).all(|_| self.drive.stop().is_err());
        if core::mem::replace(&mut self.off_owed, runs_on) != runs_on {
            self.report.runs_on(runs_on);
        }
        // a drive that does not stop leaves the one-shot armed: it tries as well
        if !self.off_owed {
            self.one_shot.disarm();
        }
    }

    /// Asks it once more, where it did not stop when it was to.
    fn stop_again(&mut self) {
        if self.off_owed {
            self.stop();
        }
    }
}

impl<C: Clock, D: Drive, T: OneShot, I: Inputs, R: Report> Outputs for Parts<C, D, T, I, R> {
    fn pump_on(&mut self, length: Duration) {
        // the end of the run is sure before it begins
        if self.off_owed || !self.one_shot.arm(length) || self.drive.start().is_err() {
            self.drive_failed = true;
            self.stop();
        }
    }

    fn pump_off(&mut self) {
        self.stop();
        self.drive_failed |= self.off_owed;
    }

    fn refused(&mut self, refusal: &Refusal) {
        self.report.refused(refusal);
    }

    fn alarm(&mut self, alarm: Alarm, on: bool) {
        self.report.alarm(alarm, on);
    }

    fn now(&mut self, before: Instant) -> Instant {
        // until the loop knows of it no run is over: one that failed would count as whole
        if self.drive_failed { before } else { self.count().max(before) }
    }
}

impl<C: Clock, D: Drive, T: OneShot, I: Inputs, R: Report> Board for Parts<C, D, T, I, R> {
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    fn clock(&mut self) -> Instant {
        self.stop_again();
        self.count()
    }

    fn sleep(&mut self, until: Option<Instant>) {
        self.stop_again();
        let mut until = until;
        if self.off_owed {
            let soon = self.count().plus(STOP_AGAIN);
            until = Some(until.map_or(soon, |until| until.min(soon)));
        }
        self.clock.sleep(until);
    }

    fn levels(&mut self) -> Levels {
        self.inputs.levels()
    }

    fn drive_failed(&mut self) -> bool {
        core::mem::take(&mut self.drive_failed)
    }

    fn lost(&mut self, count: u32) {
        self.report.lost(count);
    }
}
