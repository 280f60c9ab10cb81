//! What the night in which the clocks go forward takes off the times that a dose asks for.

use dosewright_core::civil::{DAY_MS, Date, Local};
use dosewright_core::entry::GapRule;
use dosewright_core::time::Duration;

use super::water::NIGHT_MIN;
use super::{Dry, Phase, Place, WEEK_MIN, cleanings, minutes, water};
use crate::scenario::{Brief, show};

/// A time that a dose asks for beside it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Asked {
    /// From the last water to the dose.
    Settling,
    /// From the dose's end to the first water.
    Contact,
    /// From a cleaning to the dose, and from the dose to one.
    Clear,
}

/// A night in which less of a time is left than is asked for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Short {
    /// Of what.
    pub(super) of: Asked,
    night: Date,
    /// Less than nothing where the dose runs into what comes after it.
    left_min: i64,
}

impl Asked {
    /// What it is called.
    pub(super) const fn word(self) -> &'static str {
        match self {
            Self::Settling => "the settling time",
            Self::Contact => "the contact time",
            Self::Clear => "the time clear of cleaning",
        }
    }
}

impl Short {
    /// In a sentence.
    pub(super) fn told(self) -> String {
        let night = show::date(self.night);
        let left = self.left_min.max(0);
        match self.of {
            Asked::Contact if self.left_min < 0 => format!(
                "In the night of {night} the clocks go forward before the first water: the window runs {} min into it.",
                -self.left_min
            ),
            Asked::Contact => format!(
                "In the night of {night} the clocks go forward before the first water: {} h {:02} min of contact are left.",
                left / 60,
                left % 60
            ),
            Asked::Settling => format!(
                "In the night of {night} the clocks go forward after the last water: the dose begins {left} min after it."
            ),
            Asked::Clear => format!(
                "In the night of {night} the clocks go forward between the dose and cleaning: {left} min are left between them."
            ),
        }
    }
}

/// A night with the clocks going forward in it, and a dose: minutes from its noon.
struct Night {
    /// From when on clocks show another time.
    at_min: i64,
    /// By so much.
    gap_min: i64,
    start_min: i64,
    end_min: i64,
}

impl Night {
    /// What is left after the dose until a time; `None` where the change is not between.
    fn after(&self, until_min: i64) -> Option<i64> {
        // a dose in the hour that is skipped is moved by as much
        let is_between = self.at_min + self.gap_min > self.start_min && self.at_min < until_min;
        is_between.then_some(until_min - self.end_min - self.gap_min)
    }

    /// What is left before the dose since a time; `None` where the change is not between.
    fn before(&self, since_min: i64) -> Option<i64> {
        let then_min = self.at_min + self.gap_min;
        let is_between = self.start_min >= then_min && since_min < then_min;
        is_between.then_some(self.start_min - since_min - self.gap_min)
    }

    /// The times of which too little is left.
    fn short(&self, brief: &Brief, night: usize, dry: &[Dry], place: Place) -> Vec<(Asked, i64)> {
        let asked = |of: Asked, left: Option<i64>, wanted: u32| {
            left.filter(|left| *left < i64::from(wanted)).map(|left| (of, left))
        };
        let mut found = Vec::new();
        if let Some(dry) = water::about(dry, place) {
            let settle = minutes(brief.site.settle);
            found.extend(asked(Asked::Settling, self.before(dry.last.into()), settle));
            let contact = minutes(brief.site.contact);
            found.extend(asked(Asked::Contact, self.after(dry.first.into()), contact));
        }
        let noon = i64::from(WEEK_MIN + night as u32 * NIGHT_MIN);
        let clear = cleanings(brief).into_iter().flat_map(|(from, to, clear)| {
            let (from, to) = (i64::from(from) - noon, i64::from(to) - noon);
            let before = Some(to).filter(|to| *to <= self.start_min).and_then(|to| self.before(to));
            let after =
                Some(from).filter(|from| *from >= self.end_min).and_then(|from| self.after(from));
            [asked(Asked::Clear, before, clear), asked(Asked::Clear, after, clear)]
        });
        found.extend(clear.flatten().min_by_key(|(_, left)| *left));
        found
    }
}

/// The first night of a year for each time of which the clocks take so much that too little
/// of it is left.
pub(super) fn shortened(
    brief: &Brief,
    phase: &Phase,
    nights: &[usize],
    place: Place,
    dry: &[Vec<Dry>; 7],
) -> Vec<Short> {
    let zone = &brief.site.zone.zone;
    let noon = |date: Date| Local::new(date, Duration::from_h(12));
    let year = phase.first.plus_days(366);
    let last = phase.last.map_or(year, |last| last.min(year));
    let mut from = zone.to_utc(noon(phase.first), GapRule::Shift);
    let mut found: Vec<Short> = Vec::new();
    while let Some(change) = zone.next_change_after(from) {
        from = change.at;
        let local_ms = change.at.as_ms() + i64::from(change.offset_before_s) * 1000;
        let date = Local::from_ms(local_ms - DAY_MS / 2).date();
        if date > last {
            break;
        }
        // of that night: the others of the entry can have more
        let night = date.weekday().index() as usize;
        let has_dose = nights.contains(&night)
            && !brief.closed.iter().any(|c| c.first <= date && date <= c.last);
        let gap_min = i64::from(change.offset_after_s - change.offset_before_s) / 60;
        let Some(dry) = dry.get(night).filter(|_| has_dose && gap_min > 0) else { continue };
        let change = Night {
            at_min: (local_ms - noon(date).as_ms()) / 60_000,
            gap_min,
            start_min: place.start.into(),
            end_min: (place.start + place.window).into(),
        };
        for (of, left_min) in change.short(brief, night, dry, place) {
            if !found.iter().any(|known| known.of == of) {
                found.push(Short { of, night: date, left_min });
            }
        }
    }
    found
}
