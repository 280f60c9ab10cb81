//! What can happen between one call of the logic and the next.

use std::fmt;

use super::node::Node;
use super::setup::Setup;
use crate::scenario::show;

/// When something happens, against the call that the logic has asked for.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub(super) enum When {
    /// 1 ms after the last thing that happened: a moment of its own, so that a
    /// scenario file can name it.
    After,
    /// Half way to the call.
    Middle,
    /// 1 ms before the call.
    Before,
    /// The call did not come: this brings it, [`MISSED_MS`] late.
    Missed,
}

/// Lateness of a call that something else brings.
pub(super) const MISSED_MS: u64 = 5_000;

/// What happens.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub(super) enum What {
    /// The call that the logic asked for, on time.
    Wake,
    /// That call, late by so many ms.
    Late(u32),
    /// A call that nothing asked for.
    Spurious,
    /// The clock is set by so many ms.
    SetClock(i64),
    /// The clock, which is unset, is set to the true time.
    RestoreClock,
    RemoteStop(bool),
    Leak(bool),
    MotorFault,
    Acknowledge,
    RunAgain(u8),
    /// The dose of an entry is stopped by hand.
    StopDose(u8),
    /// Prime up to so many ml.
    Prime(u8),
    /// A calibration run of so many ms.
    Calibrate(u32),
    Release,
    /// An entry takes another form.
    Edit(u8, u8),
    Enable(u8, bool),
    /// The call comes on time, and the ledger takes nothing for so many ms.
    LedgerFails(u32),
    /// The call comes on time, and the supply goes while its first record is
    /// written, which is then whole or not there; it is off for a minute.
    Tear {
        whole: bool,
    },
    Watchdog,
    /// The supply is off for so many ms.
    SupplyLoss(u32),
    /// Supply and the clock chip's feed are gone for so many ms.
    ClockLost(u32),
}

/// One step of a path.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub(super) struct Action {
    pub(super) when: When,
    pub(super) what: What,
}

impl What {
    /// Whether it counts against the number of disturbances of a path. What
    /// ends a disturbance, or is asked for by one, does not.
    pub(super) const fn is_disturbance(self) -> bool {
        !matches!(
            self,
            Self::Wake
                | Self::RestoreClock
                | Self::RemoteStop(false)
                | Self::Leak(false)
                | Self::Acknowledge
                | Self::Release
                | Self::Enable(_, true)
        )
    }

    /// Whether it stands in the place of the call that was asked for.
    const fn is_the_call(self) -> bool {
        matches!(self, Self::Wake | Self::Late(_) | Self::LedgerFails(_) | Self::Tear { .. })
    }
}

const MIN: u32 = 60_000;

/// The disturbances, each kind with the sizes that make a difference: shorter and
/// longer than a window, than a guard, than a day.
const DISTURBANCES: [What; 28] = [
    What::Late(2),
    What::Late(17 * MIN),
    What::Late(45 * MIN),
    What::LedgerFails(1),
    What::LedgerFails(45 * MIN),
    What::Tear { whole: false },
    What::Tear { whole: true },
    What::Spurious,
    What::SetClock(-3_600_000),
    What::SetClock(1_500_000),
    What::SetClock(-1_000),
    What::SetClock(86_400_000),
    What::RemoteStop(true),
    What::Leak(true),
    What::MotorFault,
    What::RunAgain(0),
    What::RunAgain(1),
    What::StopDose(0),
    What::Prime(50),
    What::Calibrate(20_000),
    What::Edit(0, 1),
    What::Edit(0, 2),
    What::Edit(1, 1),
    What::Enable(0, false),
    What::Watchdog,
    What::SupplyLoss(3 * MIN),
    What::SupplyLoss(45 * MIN),
    What::ClockLost(20 * MIN),
];

/// What may happen next at a node, the undisturbed first. `left` is how many
/// disturbances the path may still have.
pub(super) fn possible(node: &Node, setup: &Setup, left: u8, into: &mut Vec<Action>) {
    into.clear();
    into.push(Action { when: When::Before, what: What::Wake });
    let mut everywhere = |what: What, moments: &[When]| {
        into.extend(moments.iter().map(|&when| Action { when, what }));
    };
    let calm = [When::After, When::Middle];
    if node.world.remote_stop {
        everywhere(What::RemoteStop(false), &calm);
    }
    if node.world.leak {
        everywhere(What::Leak(false), &calm);
    }
    if node.ghost.motor.faults > 0 {
        everywhere(What::Acknowledge, &calm);
    }
    if node.ghost.clock_ms.is_none() {
        everywhere(What::RestoreClock, &calm);
    }
    // once it is over there is nothing to let go of
    if node.ghost.service.is_some() && node.ghost.pin.is_on() {
        everywhere(What::Release, &calm);
    }
    for (index, form) in node.world.forms.iter().enumerate() {
        if !form.enabled {
            everywhere(What::Enable(index as u8, true), &calm);
        }
    }
    if left == 0 {
        return;
    }
    let all = [When::After, When::Middle, When::Before, When::Missed];
    for what in DISTURBANCES {
        match what {
            _ if what.is_the_call() => everywhere(what, &[When::Before]),
            What::Spurious => everywhere(what, &[When::Middle]),
            What::RemoteStop(true) if node.world.remote_stop => {}
            What::Leak(true) if node.world.leak => {}
            What::SetClock(_) if node.ghost.clock_ms.is_none() => {}
            What::RunAgain(entry) | What::Edit(entry, _) | What::Enable(entry, _)
                if usize::from(entry) >= setup.entries.len() => {}
            What::StopDose(entry) if !node.ghost.has_open(usize::from(entry)) => {}
            What::Edit(entry, 2) if !setup.entries[usize::from(entry)].is_weekly() => {}
            What::Edit(entry, variant)
                if node.world.forms[usize::from(entry)].variant == variant
                    || !node.world.forms[usize::from(entry)].enabled => {}
            What::Enable(entry, false) if !node.world.forms[usize::from(entry)].enabled => {}
            _ => everywhere(what, &all),
        }
    }
}

impl fmt::Display for What {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let length = |ms: u32| show::length(u64::from(ms));
        match *self {
            Self::Wake => f.write_str("the logic is called"),
            Self::Late(ms) => write!(f, "the logic is called {} late", length(ms)),
            Self::Spurious => f.write_str("the logic is called for no reason"),
            Self::SetClock(by) => {
                let sign = if by < 0 { "back" } else { "forward" };
                write!(f, "the clock is set {sign} by {}", show::length(by.unsigned_abs()))
            }
            Self::RestoreClock => f.write_str("the clock is set to the true time"),
            Self::RemoteStop(true) => f.write_str("the remote stop comes on"),
            Self::RemoteStop(false) => f.write_str("the remote stop goes off"),
            Self::Leak(true) => f.write_str("the leak detector comes on"),
            Self::Leak(false) => f.write_str("the leak detector goes off"),
            Self::MotorFault => f.write_str("the motor stalls"),
            Self::Acknowledge => f.write_str("the fault is acknowledged"),
            Self::RunAgain(entry) => write!(f, "entry {} is run again", entry + 1),
            Self::StopDose(entry) => {
                write!(f, "the dose of entry {} is stopped by hand", entry + 1)
            }
            Self::Prime(ml) => write!(f, "prime is asked for, {ml} ml"),
            Self::Calibrate(ms) => write!(f, "a calibration run of {}", length(ms)),
            Self::Release => f.write_str("the operator lets go"),
            Self::Edit(entry, 2) => write!(f, "entry {} is moved an hour later", entry + 1),
            Self::Edit(entry, _) => write!(f, "entry {} gets three quarters", entry + 1),
            Self::Enable(entry, false) => write!(f, "entry {} is disabled", entry + 1),
            Self::Enable(entry, true) => write!(f, "entry {} is enabled", entry + 1),
            Self::LedgerFails(ms) => {
                write!(f, "the logic is called; the ledger takes nothing for {}", length(ms))
            }
            Self::Tear { whole: true } => {
                f.write_str("the logic is called; the supply goes just after its first record")
            }
            Self::Tear { whole: false } => {
                f.write_str("the logic is called; the supply goes just before its first record")
            }
            Self::Watchdog => f.write_str("the watchdog resets the processor"),
            Self::SupplyLoss(ms) => write!(f, "the supply is off for {}", length(ms)),
            Self::ClockLost(ms) => write!(f, "supply and clock feed are off for {}", length(ms)),
        }
    }
}
