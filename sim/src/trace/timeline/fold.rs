//! Nights that go as the nights before, told in one line.

use dosewright_core::cause::Cause;
use dosewright_core::civil::Local;
use dosewright_core::units::Volume;

use super::super::stamp::{about, hour_minute};
use super::super::{Outcome, Wait};
use super::words;
use crate::words::plural;

/// Outcomes that are told one by one before they are counted.
pub(super) const TOLD: usize = 6;

/// Outcomes of one entry that end alike.
#[derive(Debug)]
struct Group {
    name: String,
    word: &'static str,
    cause: Option<Cause>,
    count: u64,
    volume: (Volume, Volume),
    on_ms: (u64, u64),
    /// The time of day all of them are due; `None` where they differ.
    time: Option<String>,
    /// How many waited, and the longest wait.
    waits: (u64, Option<Wait>),
}

/// What happened since anything out of the ordinary did.
#[derive(Debug, Default)]
pub(super) struct Block {
    groups: Vec<Group>,
    /// The first of them, until there are too many.
    pub(super) told: Vec<(u64, Outcome)>,
    pub(super) count: usize,
    pub(super) span: Option<(Local, Local)>,
}

/// Whether an outcome is one of many. A row of skipped doses is told with its count and
/// its last, a dose that was asked for is none of the timetable's, and of one with a restart
/// it is not known how much it was: each stands alone.
pub(super) fn can_be_counted(outcome: &Outcome) -> bool {
    outcome.count == 1
        && !outcome.asked
        && outcome.restarts == 0
        && words::volume(outcome.least) == words::volume(outcome.most)
}

fn class(outcome: &Outcome) -> (&str, &'static str, Option<Cause>) {
    (&outcome.name, outcome.fate.word(), outcome.fate.cause())
}

impl Block {
    /// Whether the outcome ends as the last one of its entry did, so that it can
    /// be counted with it. An entry's first one can.
    pub(super) fn takes(&self, outcome: &Outcome) -> bool {
        self.groups
            .iter()
            .filter(|group| group.name == outcome.name)
            .all(|group| (group.name.as_str(), group.word, group.cause) == class(outcome))
    }

    /// Counts an outcome; `local` is the true local time it is shown under.
    pub(super) fn put(&mut self, at_ms: u64, local: Local, outcome: &Outcome) {
        let time = outcome.due.map(|due| hour_minute(due.local));
        let (least, on_ms) = (outcome.least, outcome.on_ms);
        match self.groups.iter_mut().find(|group| group.name == outcome.name) {
            Some(group) => {
                group.count += 1;
                group.waits.0 += u64::from(outcome.wait.is_some());
                group.waits.1 =
                    [group.waits.1, outcome.wait].into_iter().flatten().max_by_key(|wait| wait.ms);
                group.volume = (
                    group.volume.0.min(least),
                    if least > group.volume.1 { least } else { group.volume.1 },
                );
                group.on_ms = (group.on_ms.0.min(on_ms), group.on_ms.1.max(on_ms));
                if group.time != time {
                    group.time = None;
                }
            }
            None => self.groups.push(Group {
                name: outcome.name.clone(),
                word: outcome.fate.word(),
                cause: outcome.fate.cause(),
                count: 1,
                volume: (least, least),
                on_ms: (on_ms, on_ms),
                time,
                waits: (u64::from(outcome.wait.is_some()), outcome.wait),
            }),
        }
        if self.count < TOLD {
            self.told.push((at_ms, outcome.clone()));
        }
        self.count += 1;
        self.span = Some((self.span.map_or(local, |(first, _)| first), local));
    }

    /// One row an entry: time, entry, outcome, volume, remark.
    pub(super) fn rows(&self) -> impl Iterator<Item = [String; 5]> + '_ {
        self.groups.iter().map(|group| {
            let (least, most) = (words::volume(group.volume.0), words::volume(group.volume.1));
            let mut parts = vec![plural(group.count, "dose")];
            parts.extend(group.cause.map(|cause| cause.words().to_owned()));
            if least != most {
                parts.push(format!("up to {most}"));
            }
            if group.on_ms.1 > 0 {
                parts.push(format!("pump {} each", about(group.on_ms.1)));
            }
            if let (count, Some(longest)) = group.waits {
                let (up_to, why) = (about(longest.ms), longest.cause.words());
                parts.push(format!("{count} waited, up to {up_to} ({why})"));
            }
            let time = group.time.clone().unwrap_or_else(|| "  -  ".to_owned());
            [time, group.name.clone(), group.word.to_owned(), least, parts.join(", ")]
        })
    }
}
