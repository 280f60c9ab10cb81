//! The lock on the settings, by the rules (O5): what is entered while it is closed
//! leaves no trace, and a wrong PIN costs a growing wait.

use dosewright_core::lock::Pin;
use dosewright_core::record::{Act, NewPack, Record};

use crate::observe::DeviceAct;

use super::Auditor;

const MIN_MS: i64 = 60_000;
/// How long the settings stay open after the last thing that was taken.
const OPEN_MS: i64 = 5 * MIN_MS;

/// The lock as it must be.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Lock {
    pin: Option<Pin>,
    /// Until when it is open for sure, and at most: a request that was refused for
    /// another reason may have kept it open, or not.
    open_until: (i64, i64),
    wrong: u32,
    wrong_at: i64,
}

impl Default for Lock {
    fn default() -> Self {
        Self { pin: None, open_until: (i64::MIN, i64::MIN), wrong: 0, wrong_at: 0 }
    }
}

impl Lock {
    /// It closes: somebody locked up, or the device started again.
    pub(crate) fn close(&mut self) {
        self.open_until = (i64::MIN, i64::MIN);
    }

    fn open(&mut self, at: i64) {
        self.open_until = (at + OPEN_MS, at + OPEN_MS);
    }

    /// Something was asked for that it keeps out while it is closed; the device's time of
    /// it is so many ms off.
    fn asked(&mut self, at: i64, slack_ms: i64) {
        if at - slack_ms < self.open_until.1 {
            self.open_until.1 = at + slack_ms + OPEN_MS;
        }
    }

    /// Such a thing was taken.
    fn taken(&mut self, at: i64) {
        if at < self.open_until.1 {
            self.open(at);
        }
    }

    /// A calibration run came to its end: whoever began it is still in, unless the lock was
    /// closed by hand since.
    pub(crate) fn ran(&mut self, at: i64) {
        for until in [&mut self.open_until.0, &mut self.open_until.1] {
            if *until > i64::MIN {
                *until = at + OPEN_MS;
            }
        }
    }

    /// Whether it is closed for sure.
    fn is_closed(&self, at: i64) -> bool {
        self.pin.is_some() && at >= self.open_until.1
    }

    /// Whether it may be closed.
    fn may_be_closed(&self, at: i64) -> bool {
        self.pin.is_some() && at >= self.open_until.0
    }

    /// When the next try is judged.
    fn next_try(&self) -> i64 {
        match self.wrong {
            0..=2 => i64::MIN,
            wrong => self.wrong_at + (MIN_MS << (wrong - 3).min(6)).min(60 * MIN_MS),
        }
    }
}

impl Auditor {
    /// Whether the settings may be locked now.
    pub(super) fn lock_may_be_closed(&self, now: i64) -> bool {
        self.taint.ever || self.lock.may_be_closed(now + self.chip.slack_ms())
    }

    /// Something was done to the device that the lock may keep out.
    pub(super) fn note_for_lock(&mut self, act: &DeviceAct, now: i64) {
        let slack_ms = self.chip.slack_ms();
        match act {
            DeviceAct::SetHead(_)
            | DeviceAct::SetFlow(_)
            | DeviceAct::SetContainer(..)
            | DeviceAct::SetZone(_)
            | DeviceAct::SetClock(_)
            | DeviceAct::SetTimetable(_)
            | DeviceAct::RunAgain(_)
            | DeviceAct::Prime(_)
            | DeviceAct::Calibrate(_)
            | DeviceAct::CalibrateInto(_)
            | DeviceAct::CalibrateTrain(_)
            | DeviceAct::Measured(_)
            | DeviceAct::SetPack(_)
            | DeviceAct::TubeChanged => self.lock.asked(now, slack_ms),
            DeviceAct::SetPin(_) => {
                self.lock.asked(now, slack_ms);
                self.pending.pin = Some(act.clone());
            }
            DeviceAct::Unlock(_) => self.pending.pin = Some(act.clone()),
            DeviceAct::Lock => self.lock.close(),
            DeviceAct::Release
            | DeviceAct::StopDose(_)
            | DeviceAct::RemoteStop(_)
            | DeviceAct::Leak(_)
            | DeviceAct::Refill(_)
            | DeviceAct::LevelLow(_)
            | DeviceAct::MotorFault
            | DeviceAct::PackChanged
            | DeviceAct::PackRead { .. }
            | DeviceAct::Key { .. }
            | DeviceAct::Acknowledge => {}
        }
    }

    /// A record of something that an operator asked for must not come of a closed
    /// lock.
    pub(super) fn check_lock(&mut self, at: i64, record: &Record) {
        let refill = matches!(self.pending.setting, Some(DeviceAct::Refill(_)));
        let what = match record {
            Record::Clock { .. } => "the clock or the zone",
            Record::Head { .. } => "the head",
            Record::Adopted(_) => "a timetable",
            Record::Container { .. } if !refill => "the container",
            Record::Calibration { .. } => "a reading",
            Record::Pin { .. } => "another PIN",
            Record::Pack { how: NewPack::Set, .. } => "the battery pack",
            Record::Act { act: Act::PrimeBegun, .. } => "prime",
            Record::Act { act: Act::CalibrationBegun | Act::TrainBegun, .. } => "calibrate",
            Record::Act { act: Act::TubeChanged, .. } => "a tube set",
            Record::Pulse(pulse) if pulse.asked && pulse.first => "a dose that was asked for",
            Record::Act {
                act:
                    Act::PrimeEnded
                    | Act::CalibrationEnded
                    | Act::TrainEnded
                    | Act::Unlocked
                    | Act::WrongPin
                    | Act::Acknowledged,
                ..
            }
            | Record::Container { .. }
            | Record::Pack { how: NewPack::Changed | NewPack::Recognised, .. }
            | Record::Pulse(_)
            | Record::Boot { .. }
            | Record::Staged(_)
            | Record::StagedClosed(_)
            | Record::Born(_)
            | Record::Outcome(_)
            | Record::Stamp { .. }
            | Record::Alarm { .. }
            | Record::Motor { .. }
            | Record::PackMeans { .. }
            | Record::Lit { .. }
            | Record::SnapClock { .. }
            | Record::SnapGlobals { .. }
            | Record::SnapHead(_)
            | Record::SnapClosed(_)
            | Record::SnapEntry(_)
            | Record::SnapLine { .. }
            | Record::SnapDeliveries(_)
            | Record::SnapStarts(_)
            | Record::SnapOpen { .. }
            | Record::SnapStock(_)
            | Record::SnapTube(_)
            | Record::SnapLock(_)
            | Record::SnapGauge(_) => return,
        };
        if self.lock.is_closed(at) && !self.taint.ever {
            self.fail("O5", None, format!("{what} was taken, and the settings are locked"));
        }
        self.lock.taken(at);
    }

    /// The ledger has a try, or a new PIN.
    pub(super) fn on_pin(&mut self, at: i64, record: &Record) {
        let pending = self.pending.pin.take();
        let early = at < self.lock.next_try();
        let wrong = match (record, pending) {
            (Record::Pin { .. }, Some(DeviceAct::SetPin(pin))) => {
                self.lock = Lock { pin, ..Lock::default() };
                self.lock.open(at);
                None
            }
            (Record::Act { act: Act::Unlocked, .. }, Some(DeviceAct::Unlock(pin))) => {
                let right = self.lock.pin == Some(pin);
                self.lock.wrong = 0;
                self.lock.open(at);
                if !right {
                    Some("a wrong PIN opens the lock")
                } else if early {
                    Some("a try is judged before its time")
                } else {
                    None
                }
            }
            (Record::Act { act: Act::WrongPin, .. }, Some(DeviceAct::Unlock(pin))) => {
                let right = self.lock.pin == Some(pin);
                (self.lock.wrong, self.lock.wrong_at) = (self.lock.wrong + 1, at);
                if right {
                    Some("the right PIN is called wrong")
                } else if early {
                    Some("a try is judged before its time")
                } else {
                    None
                }
            }
            _ => Some("a try or a PIN is noted that nobody entered"),
        };
        if let Some(what) = wrong.filter(|_| !self.taint.ever) {
            self.fail("O5", None, String::from(what));
        }
    }

    /// A try, or a new PIN, that left no trace in the ledger.
    pub(super) fn settle_pin(&mut self) {
        let Some(DeviceAct::Unlock(pin)) = self.pending.pin.take() else { return };
        let now = self.chip.count(self.ms);
        let able = self.supply.awake && !self.hinder.ledger_bad && !self.pin.ms.damaged;
        let right = self.lock.pin == Some(pin) && now >= self.lock.next_try();
        if right && able && !self.taint.ever {
            self.fail("O5", None, String::from("the right PIN was refused"));
        }
    }
}
