//! What the main loop needs of a board.

use crate::device::Outputs;
use crate::event::Event;
use crate::time::Instant;

/// What an interrupt handler can have to say. It counts from when the main loop takes it
/// out of the inbox: a handler needs no clock, and none that is wrong is believed.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Signal {
    /// The alarm that was set for the next call went off.
    Timer,
    /// The remote stop changed.
    RemoteStop(bool),
    /// The leak or tube-burst detector changed.
    Leak(bool),
    /// The low-level contact changed; it may bounce.
    LevelLow(bool),
    /// The motor stalled or drew too much.
    MotorFault,
    /// The operator let go of the key.
    Release,
    /// The operator acknowledges what is latched.
    Acknowledge,
}

impl Signal {
    /// As the logic takes it in.
    pub const fn event<const N: usize>(self) -> Event<'static, N> {
        match self {
            Self::Timer => Event::Wake,
            Self::RemoteStop(on) => Event::RemoteStop(on),
            Self::Leak(on) => Event::Leak(on),
            Self::LevelLow(low) => Event::LevelLow(low),
            Self::MotorFault => Event::MotorFault,
            Self::Release => Event::Release,
            Self::Acknowledge => Event::Acknowledge,
        }
    }
}

/// The contacts as they stand: what can be read again after a signal was lost.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug, Default)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Levels {
    /// The remote stop is on.
    pub remote_stop: bool,
    /// The leak or tube-burst detector is on.
    pub leak: bool,
    /// The low-level contact says low.
    pub level_low: bool,
    /// The motor's driver reports a stall or too much current.
    pub motor_fault: bool,
}

impl Levels {
    /// What the logic is told of the contacts that are on, or of those that are off, in
    /// this order. A driver without trouble has nothing to say.
    pub fn signals(self, on: bool) -> impl Iterator<Item = Signal> {
        let told = [
            (self.remote_stop == on, Signal::RemoteStop(on)),
            (self.leak == on, Signal::Leak(on)),
            (self.level_low == on, Signal::LevelLow(on)),
            (self.motor_fault && on, Signal::MotorFault),
        ];
        told.into_iter().filter_map(|(is_told, signal)| is_told.then_some(signal))
    }
}

/// A board: the outputs that the logic acts on, a clock, contacts, and sleep.
pub trait Board: Outputs {
    /// What the clock chip counts.
    fn clock(&mut self) -> Instant;
    /// Sleeps until an instant, `None` for without end, or until an interrupt.
    ///
    /// It is called inside a critical section, so that no signal can slip in
    /// between the last look at the inbox and the sleep. It must come back when
    /// an interrupt is pending (on Cortex-M `wfi` does), and may always come back
    /// early.
    fn sleep(&mut self, until: Option<Instant>);
    /// Reads the contacts.
    fn levels(&mut self) -> Levels;
    /// Whether the pump's drive failed since this was last asked. It is asked after each
    /// call of the logic: a pump that did not go on is known before anything sleeps.
    fn drive_failed(&mut self) -> bool;
    /// So many signals of interrupt handlers were lost. The contacts have been
    /// read again; what a key said is gone.
    fn lost(&mut self, count: u32);
}
