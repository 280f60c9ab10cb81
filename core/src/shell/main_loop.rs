//! The main loop, the only one there is.

use core::borrow::BorrowMut;

use embedded_storage::nor_flash::NorFlash;

use super::board::{Board, Signal};
use super::inbox::{Inbox, Taken};
use crate::controller::Controller;
use crate::device::{Device, StartError};
use crate::event::Event;
use crate::ledger::{Geometry, Ledger};
use crate::notice::notice;
use crate::record::Reset;
use crate::time::Instant;

/// A device on its board, with the queue that interrupt handlers post into.
#[derive(Debug)]
pub struct MainLoop<'a, F, B, const N: usize, const H: usize, const Q: usize, C = Controller<N, H>>
{
    device: Device<F, N, H, C>,
    board: B,
    inbox: &'a Inbox<Signal, Q>,
}

impl<'a, F: NorFlash, B: Board, const N: usize, const H: usize, const Q: usize>
    MainLoop<'a, F, B, N, H, Q>
{
    /// Starts the device from its memory. The pump is turned off before anything
    /// else (P4), and contacts are read before anything is decided.
    ///
    /// `count` is what the clock chip counts, `None` where it lost its feed. A clock
    /// that is not at [`Device::now`] or after it has to be set to that before the first
    /// turn: its feed was lost, whether the board knew or not.
    pub fn start(
        flash: F,
        geometry: Geometry,
        count: Option<Instant>,
        reset: Reset,
        board: B,
        inbox: &'a Inbox<Signal, Q>,
    ) -> Result<Self, (B, F, StartError<F::Error>)> {
        Self::start_in(Controller::blank(), flash, geometry, count, reset, board, inbox)
    }
}

impl<'a, F, B, const N: usize, const H: usize, const Q: usize, C> MainLoop<'a, F, B, N, H, Q, C>
where
    F: NorFlash,
    B: Board,
    C: BorrowMut<Controller<N, H>>,
{
    /// The same in a controller that is [`Controller::blank`], which a firmware keeps
    /// in a place of its own: then nothing large goes over the stack.
    pub fn start_in(
        controller: C,
        flash: F,
        geometry: Geometry,
        count: Option<Instant>,
        reset: Reset,
        mut board: B,
        inbox: &'a Inbox<Signal, Q>,
    ) -> Result<Self, (B, F, StartError<F::Error>)> {
        board.pump_off();
        let device = match Device::start_in(controller, flash, geometry, count, reset) {
            Ok(device) => device,
            Err((flash, error)) => return Err((board, flash, error)),
        };
        let mut started = Self { device, board, inbox };
        let now = started.device.now();
        // only those that are on: nothing is decided while one of them is not known
        started.read_contacts(now, true);
        started.take(now, Event::Wake);
        Ok(started)
    }

    /// Turns without end.
    pub fn run(&mut self) -> ! {
        loop {
            self.turn();
        }
    }

    /// One turn: takes in what interrupt handlers had to say, calls the logic if
    /// one of its timers is over, and sleeps until the next one.
    ///
    /// For a firmware that has more to do, such as a panel: between two turns it
    /// may [`Self::hand_in`] what an operator asks for.
    pub fn turn(&mut self) {
        // each message once; what comes meanwhile waits for the next turn
        for _ in 0..=Q {
            match self.inbox.take() {
                Some(Taken::Item(signal)) => {
                    // what it stops has run until now
                    let now = self.board.clock();
                    self.take(now, signal.event());
                }
                Some(Taken::Lost(count)) => self.lost(count),
                None => break,
            }
        }
        let now = self.board.clock();
        if self.board.drive_failed() {
            self.take(now, Event::MotorFault);
        } else if self.device.next_wake().is_some_and(|(at, _)| at <= now) {
            self.take(now, Event::Wake);
        }
        let until = self.device.next_wake().map(|(at, _)| at);
        let Self { board, inbox, .. } = self;
        critical_section::with(|_| {
            if inbox.is_empty() {
                board.sleep(until);
            }
        });
    }

    /// Hands in an event at the present instant.
    pub fn hand_in(&mut self, event: Event<'_, N>) {
        let now = self.board.clock();
        self.take(now, event);
    }

    /// The device.
    pub const fn device(&self) -> &Device<F, N, H, C> {
        &self.device
    }

    /// The ledger, to read from it: for a panel, which shows the latest outcomes.
    pub const fn ledger(&mut self) -> &mut Ledger<F> {
        self.device.ledger_mut()
    }

    /// The board.
    pub const fn board(&mut self) -> &mut B {
        &mut self.board
    }

    /// The memory and the board, as they stand.
    pub fn into_parts(self) -> (F, B) {
        (self.device.into_flash(), self.board)
    }

    /// Hands in an event, and after it what became of the start that it may have asked for:
    /// before anything sleeps, and at its instant, so that a run that never was is not
    /// counted (D4).
    fn take(&mut self, now: Instant, event: Event<'_, N>) {
        let (mut now, mut event) = (now, event);
        for _ in 0..2 {
            self.device.handle(now, event, &mut self.board);
            if !self.board.drive_failed() {
                break;
            }
            (now, event) = (self.device.now(), Event::MotorFault);
        }
    }

    /// Signals found no room: what can be read again is read again.
    fn lost(&mut self, count: u32) {
        notice!(warn, "{:?} signals were lost, contacts are read again", count);
        let now = self.board.clock();
        self.read_contacts(now, true);
        self.read_contacts(now, false);
        self.board.lost(count);
    }

    /// Hands in those contacts that are on, or those that are off.
    fn read_contacts(&mut self, now: Instant, on: bool) {
        for signal in self.board.levels().signals(on) {
            self.take(now, signal.event());
        }
    }
}
