//! What a change of the timetable made of an entry.

use std::fmt::Write as _;

use dosewright_core::civil::Days;
use dosewright_core::entry::{Entry, EntryId, GapRule, Recurrence};
use dosewright_core::record::Staged;
use dosewright_core::schedule::WallClock;
use dosewright_core::time::Instant;
use dosewright_core::units::Volume;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::Names;
use crate::image::words;
use crate::scenario::show;
use crate::words::plural;

/// The settings of an entry.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Settings {
    /// Whether it runs.
    pub enabled: bool,
    /// When its doses are due, in words.
    pub when: String,
    /// Of a weekly entry, its days or nights.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub weekly: Option<Weekly>,
    /// Of an interval, from one due to the next.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub every_ms: Option<u64>,
    /// The dose.
    pub volume_ul: u64,
    /// Over how long it is spread.
    pub window_ms: u32,
    /// How long a disturbed dose may still finish after its window.
    pub grace_ms: u32,
    /// The first date with a dose.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub first: Option<String>,
    /// The last date with a dose.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub last: Option<String>,
    /// Pulses of a dose, where they are given.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub pulses: Option<u16>,
    /// Whether closed dates keep it from running.
    pub observes_closed: bool,
    /// A time that spring skips runs at the first valid instant, and is not moved.
    pub first_valid: bool,
}

/// When a weekly entry is due.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Weekly {
    /// The weekdays, a bit a day: Monday is 1, Sunday 64.
    pub days: u8,
    /// Minute of the day.
    pub at_min: u16,
    /// The days are nights, from noon to noon.
    pub by_night: bool,
}

impl Settings {
    /// The entry as far as its dues and its window go: an interval is counted from nowhere.
    /// `None` in lines of a build that did not say when it is due.
    pub fn entry(&self) -> Option<Entry> {
        let interval = |every_ms| Recurrence::Interval { every_ms, from: Instant::ZERO };
        let weekly = |weekly: &Weekly| Recurrence::Weekly {
            days: Days::from_bits(weekly.days),
            at_min: weekly.at_min,
            by_night: weekly.by_night,
        };
        Some(Entry {
            id: EntryId(1),
            enabled: self.enabled,
            recurrence: self.weekly.as_ref().map(weekly).or_else(|| self.every_ms.map(interval))?,
            volume: Volume::from_ul(self.volume_ul),
            window_ms: self.window_ms,
            grace_ms: self.grace_ms,
            first: None,
            last: None,
            observes_closed: self.observes_closed,
            gap_rule: if self.first_valid { GapRule::FirstValid } else { GapRule::Shift },
            pulses: self.pulses,
        })
    }

    /// Of an entry; the start of an interval is told by the clock in force.
    pub(crate) fn of(entry: &Entry, clock: Option<&WallClock>) -> Self {
        let (weekly, every_ms) = match entry.recurrence {
            Recurrence::Weekly { days, at_min, by_night } => {
                (Some(Weekly { days: days.bits(), at_min, by_night }), None)
            }
            Recurrence::Interval { every_ms, .. } => (None, Some(every_ms)),
        };
        Self {
            weekly,
            every_ms,
            enabled: entry.enabled,
            when: words::when(entry, clock),
            volume_ul: entry.volume.as_ul(),
            window_ms: entry.window_ms,
            grace_ms: entry.grace_ms,
            first: entry.first.map(show::date),
            last: entry.last.map(show::date),
            pulses: entry.pulses,
            observes_closed: entry.observes_closed,
            first_valid: entry.gap_rule == GapRule::FirstValid,
        }
    }

    fn dose(&self) -> String {
        show::volume(Volume::from_ul(self.volume_ul))
    }

    fn window(&self) -> String {
        show::length(u64::from(self.window_ms))
    }

    /// What they are changed to.
    pub(crate) fn to(&self, after: &Self) -> String {
        let mut parts = Vec::new();
        let mut put = |name: &str, before: String, after: String| {
            if before != after {
                parts.push(format!("{name} {before} to {after}"));
            }
        };
        put("dose", self.dose(), after.dose());
        put("window", self.window(), after.window());
        let length = |ms: u32| show::length(u64::from(ms));
        put("grace", length(self.grace_ms), length(after.grace_ms));
        put("due", self.when.clone(), after.when.clone());
        let date = |date: &Option<String>| date.clone().unwrap_or_else(|| "none".to_owned());
        put("first", date(&self.first), date(&after.first));
        put("last", date(&self.last), date(&after.last));
        let pulses = |n: Option<u16>| n.map_or_else(|| "as planned".to_owned(), |n| n.to_string());
        put("pulses", pulses(self.pulses), pulses(after.pulses));
        if self.observes_closed != after.observes_closed {
            let not = if after.observes_closed { "not " } else { "" };
            parts.push(format!("runs {not}on closed dates"));
        }
        if self.first_valid != after.first_valid {
            let how = if after.first_valid { "at the first valid time" } else { "moved" };
            parts.push(format!("a time that spring skips is {how}"));
        }
        if self.enabled != after.enabled {
            parts.push(if after.enabled { "enabled" } else { "disabled" }.to_owned());
        }
        parts.join(", ")
    }
}

/// An entry that came, went or was changed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Changed {
    /// Its name.
    pub entry: String,
    /// What it was; `None` where it was not there.
    pub before: Option<Settings>,
    /// What it is; `None` where it is gone.
    pub after: Option<Settings>,
    /// The revision that it has from then on, as its outcomes have it.
    pub revision: Option<u16>,
}

impl Changed {
    /// From what was in force to what is.
    pub(super) fn between(
        before: &[Staged],
        after: &[Staged],
        names: &Names,
        clock: Option<&WallClock>,
    ) -> Vec<Self> {
        let settings = |list: &[Staged], of: &Staged| {
            let found = list.iter().find(|staged| staged.entry.id == of.entry.id);
            found.map(|staged| Settings::of(&staged.entry, clock))
        };
        let gone = |old: &&Staged| after.iter().all(|staged| staged.entry.id != old.entry.id);
        let all = before.iter().filter(gone).chain(after);
        let mut out: Vec<(u16, Self)> = all
            .map(|staged| {
                let entry = names.name(staged.entry.id);
                let (before, after) = (settings(before, staged), settings(after, staged));
                let revision = after.is_some().then_some(staged.revision);
                (staged.entry.id.0, Self { entry, before, after, revision })
            })
            .filter(|(_, changed)| changed.before != changed.after)
            .collect();
        out.sort_by_key(|(id, _)| *id);
        out.into_iter().map(|(_, changed)| changed).collect()
    }

    /// In words.
    pub fn words(&self) -> String {
        let mut out = format!("\"{}\"", self.entry);
        match (&self.before, &self.after) {
            (None, Some(after)) => {
                _ = write!(out, " added: {} over {}, {}", after.dose(), after.window(), after.when);
                if let Some(pulses) = after.pulses {
                    _ = write!(out, ", {}", plural(pulses, "pulse"));
                }
                for (word, date) in [("from", &after.first), ("to", &after.last)] {
                    if let Some(date) = date {
                        _ = write!(out, ", {word} {date}");
                    }
                }
                if !after.enabled {
                    out.push_str(", disabled");
                }
            }
            (Some(before), Some(after)) => _ = write!(out, ": {}", before.to(after)),
            (_, None) => out.push_str(" removed"),
        }
        out
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use dosewright_core::civil::Date;

    fn staged(id: u16, ml: u64) -> Staged {
        let days = Days::from_bits(0b1);
        let entry = Entry {
            id: EntryId(id),
            enabled: true,
            recurrence: Recurrence::Weekly { days, at_min: 150, by_night: true },
            volume: Volume::from_ml(ml),
            window_ms: 1_800_000,
            grace_ms: 0,
            first: None,
            last: None,
            observes_closed: true,
            gap_rule: GapRule::Shift,
            pulses: None,
        };
        Staged { line: id as u8, entry, revision: 1, mark: None, edited: false }
    }

    fn told(before: &[Staged], after: &[Staged]) -> Vec<String> {
        let found = Changed::between(before, after, &Names::default(), None);
        found.iter().map(Changed::words).collect()
    }

    #[test]
    fn what_came_went_and_was_changed_is_told() {
        let (a, b) = (staged(1, 60), staged(2, 30));
        assert_eq!(told(&[a], &[a]), [""; 0]);
        let added = "\"entry 2\" added: 30 ml over 30 min, nights mon at 02:30";
        assert_eq!(told(&[a], &[a, b]), [added]);
        assert_eq!(told(&[a, b], &[b]), ["\"entry 1\" removed"]);
        // a new revision of the same is none
        assert_eq!(told(&[a], &[Staged { revision: 2, ..a }]), [""; 0]);
        let mut c = staged(1, 72);
        c.entry.window_ms = 3_600_000;
        c.entry.first = Date::from_ymd(2027, 3, 1);
        c.entry.enabled = false;
        assert_eq!(
            told(&[a, b], &[c, b]),
            [
                "\"entry 1\": dose 60 ml to 72 ml, window 30 min to 1 h, first none to 2027-03-01, disabled"
            ]
        );
    }
}
