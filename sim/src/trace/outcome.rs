//! What became of a dose.

use dosewright_core::cause::Cause;
use dosewright_core::civil::{DAY_MS, Local};
use dosewright_core::entry::{Entry, GapRule, Nominal};
use dosewright_core::record::DueKey;
use dosewright_core::time::{Instant, Utc};
use dosewright_core::units::Volume;
use dosewright_core::zone::Zone;

use super::Stamped;
use super::stamp::about;

/// How a dose ended, or that it did not.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub enum Fate {
    /// The pump ran for the whole dose.
    Dosed,
    /// The pump ran for some of it.
    Part(Cause),
    /// The pump did not run for it.
    Skipped(Cause),
    /// It was waiting or running at the end of the run; the cause of its wait.
    Open(Option<Cause>),
}

impl Fate {
    /// `dosed`, `part`, `skipped` or `open`.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Dosed => "dosed",
            Self::Part(_) => "part",
            Self::Skipped(_) => "skipped",
            Self::Open(_) => "open",
        }
    }

    /// Why it is not dosed.
    pub const fn cause(self) -> Option<Cause> {
        match self {
            Self::Dosed => None,
            Self::Part(cause) | Self::Skipped(cause) => Some(cause),
            Self::Open(cause) => cause,
        }
    }
}

/// What became of a scheduled dose, of a stretch of skipped ones, or of a dose
/// that an operator asked for.
#[derive(Clone, Debug, PartialEq)]
pub struct Outcome {
    /// The entry's name.
    pub name: String,
    /// Its name in the ledger.
    pub key: DueKey,
    /// An operator asked for it, outside the timetable.
    pub asked: bool,
    /// The entry as it was in that revision, where its record was seen.
    pub entry: Option<Entry>,
    /// Device local time at which it was nominally due, after a move by D8;
    /// `None` while the clock is unset.
    pub due: Option<Stamped>,
    /// True ms of its instant by the clock chip's rate; may be before the run.
    pub due_ms: i64,
    /// Its instant by the device's elapsed time, which the ceiling goes by (D7).
    pub due_at: Instant,
    /// How it ended.
    pub fate: Fate,
    /// How many dues it stands for.
    pub count: u32,
    /// The last of them; the due itself where there is one.
    pub last: Nominal,
    /// As `due`, of the last of them.
    pub last_due: Option<Stamped>,
    /// The zone by which they are told.
    pub zone: Option<Zone>,
    /// The least that can have been delivered, by the ledger.
    pub least: Volume,
    /// The most that can have been delivered, by the ledger.
    pub most: Volume,
    /// True ms at which the pump first ran for it.
    pub started_ms: Option<u64>,
    /// True ms at which the pump last stopped for it.
    pub ended_ms: Option<u64>,
    /// `started_ms` as true local time.
    pub started: Option<Stamped>,
    /// `ended_ms` as true local time.
    pub ended: Option<Stamped>,
    /// How long the pump ran for it, by the pin, in ms.
    pub on_ms: u64,
    /// That time at the flow the dose began with.
    pub pumped: Volume,
    /// Restarts while it was open.
    pub restarts: u8,
    /// What it waited for before the pump first ran for it; `None` where the device took
    /// down no wait.
    pub wait: Option<Wait>,
}

/// How long a dose waited, and for what, in words.
pub fn waited(ms: u64, cause: &str) -> String {
    format!("waited {} ({cause})", about(ms))
}

/// A dose that did not begin when it was due.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Wait {
    /// From its due to the pump's first run, in ms.
    pub ms: u64,
    /// What kept it waiting first.
    pub cause: Cause,
}

impl Wait {
    /// In words.
    pub fn words(self) -> String {
        waited(self.ms, self.cause.words())
    }
}

impl Outcome {
    /// Whether it stands for the due at this device local time, and with this offset where
    /// there is one. A stretch of skipped dues stands for each of its dues.
    pub fn is_due_at(&self, at: Local, offset_s: Option<i32>) -> bool {
        let is_meant = |found_s: i32| offset_s.is_none_or(|offset_s| offset_s == found_s);
        if self.due.is_some_and(|due| due.local == at && is_meant(due.offset_s)) {
            return true;
        }
        let (Some(first), Some(last), Some(zone)) = (self.due, self.last_due, self.zone) else {
            return false;
        };
        if self.count < 2 || at < first.local || at > last.local {
            return false;
        }
        let Some(entry) = self.entry.filter(Entry::is_weekly) else {
            // elapsed time goes on through a change of the clock
            let every_ms = (last.utc_ms() - first.utc_ms()) / i64::from(self.count - 1);
            let passed_ms = zone.to_utc(at, GapRule::Shift).as_ms() - first.utc_ms();
            let is_one = |utc_ms: i64| {
                let utc = Utc::from_ms(utc_ms);
                zone.to_local(utc) == at && is_meant(zone.offset_at(utc))
            };
            // the nearest below and the next: a time may come twice
            let below = passed_ms.div_euclid(every_ms.max(1)) * every_ms;
            return every_ms > 0
                && [below, below + every_ms].iter().any(|by| is_one(first.utc_ms() + by));
        };
        // a change moves a due by a day at most
        let minute = |ms: i64| u32::try_from(ms.div_euclid(60_000)).unwrap_or(0);
        let mut from = Nominal(minute(at.as_ms() - DAY_MS));
        while let Some(due) = entry.next_at_or_after(from) {
            if i64::from(due.0) * 60_000 > at.as_ms() {
                break;
            }
            let local = Local::from_ms(i64::from(due.0) * 60_000);
            let utc = zone.to_utc(local, entry.gap_rule);
            if zone.to_local(utc) == at && is_meant(zone.offset_at(utc)) {
                return (self.key.nominal..=self.last).contains(&due);
            }
            from = due.next();
        }
        false
    }

    pub(super) fn continues(&self, earlier: &Self) -> bool {
        self.key == earlier.key && self.fate == earlier.fate && self.count >= earlier.count
    }
}
