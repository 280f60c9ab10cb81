//! A timetable from a brief: the label's rate, the hours without water, the head.
//!
//! The label and local rules govern; what is planned is a proposal with its
//! reasons, as a scenario file that the device accepts.

pub mod flow_log;
mod lines;
pub mod passes;
mod placed;
mod spring;
mod water;
mod why_not;
mod write;

pub use flow_log::FlowLog;
pub use lines::{json, schema};
pub use placed::{Placed, of_phase};
pub use spring::Asked;
pub use water::Dry;

use dosewright_core::civil::{Date, Weekday};
use dosewright_core::config::Head;
use dosewright_core::spread::{self, Misfit};
use dosewright_core::units::{Carry, Volume};

use crate::scenario::Brief;
use crate::trade::keep_clear;
use crate::{check, forecast};
use water::NIGHT_MIN;

/// A brief to start from: what `plan --example` prints.
pub fn example() -> &'static str {
    include_str!("example.toml")
}

/// Minutes that starts and windows are multiples of.
const GRID_MIN: u32 = 5;

/// Where a night's dose lies.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Place {
    /// Minutes from the night's noon.
    pub start: u32,
    /// Length of the window in minutes.
    pub window: u32,
}

/// A phase of dosing with one volume.
#[derive(Clone, Debug, PartialEq)]
pub struct Phase {
    /// What it is called in the timetable.
    pub name: &'static str,
    /// The dose.
    pub dose: Volume,
    /// First night.
    pub first: Date,
    /// Last night; `None` for good.
    pub last: Option<Date>,
    /// Where each night's dose lies; `None` for no dose.
    pub nights: [Option<Place>; 7],
    /// The least window of the dose on this head, in minutes.
    pub least_window: u32,
}

/// What does not fit, a sentence each.
pub type Misfits = Vec<String>;

/// A plan.
#[derive(Clone, Debug, PartialEq)]
pub struct Plan {
    /// Start-up, where the label has one, and maintenance.
    pub phases: Vec<Phase>,
    /// The dry stretches of each night.
    pub dry: [Vec<Dry>; 7],
    /// What would not fit.
    pub misfits: Misfits,
    /// Nights without a dose that need none, a sentence each.
    pub notes: Vec<String>,
    /// The file.
    pub text: String,
}

struct Maker<'a> {
    brief: &'a Brief,
    log: Option<&'a FlowLog>,
    dry: [Vec<Dry>; 7],
    /// Cleanings in minutes from a week's first noon, Monday's, with the week
    /// before and the week after.
    cleanings: Vec<(u32, u32, u32)>,
    misfits: Misfits,
    notes: Vec<String>,
}

/// Minutes in a week.
const WEEK_MIN: u32 = 7 * NIGHT_MIN;

fn name(night: usize) -> &'static str {
    const NAMES: [&str; 7] =
        ["Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday"];
    NAMES.get(night).copied().unwrap_or("")
}

fn minutes(length: dosewright_core::time::Duration) -> u32 {
    u32::try_from(length.as_ms().div_ceil(60_000)).unwrap_or(u32::MAX)
}

/// So many minutes; from two hours on hours and days as everywhere.
fn shown(min: u32) -> String {
    if min < 120 {
        format!("{min} min")
    } else {
        crate::scenario::show::length(u64::from(min) * 60_000)
    }
}

const fn up(min: u32) -> u32 {
    min.div_ceil(GRID_MIN) * GRID_MIN
}

/// Cleanings as stretches with their own clear time, on a line of three weeks
/// that begins a week before the first noon of Monday.
fn cleanings(brief: &Brief) -> Vec<(u32, u32, u32)> {
    let mut found = Vec::new();
    for cleaning in &brief.cleaning {
        for day in Weekday::ALL.into_iter().filter(|day| cleaning.days.contains(*day)) {
            for week in 0..3 {
                // a day's midnight is half a day before its noon
                let midnight = week * WEEK_MIN + day.index() * NIGHT_MIN + WEEK_MIN - 720;
                let from = (midnight + u32::from(cleaning.at_min)).checked_sub(WEEK_MIN);
                let to = from.map(|from| from + minutes(cleaning.lasts));
                found.extend(from.zip(to).map(|(from, to)| (from, to, minutes(cleaning.clear))));
            }
        }
    }
    found
}

impl Maker<'_> {
    fn is_clear(&self, night: usize, place: Place) -> bool {
        let start = WEEK_MIN + night as u32 * NIGHT_MIN + place.start;
        self.cleanings.iter().all(|(from, to, clear)| {
            keep_clear::is_clear(start, place.window, (*from, *to), *clear)
        })
    }

    fn is_quiet(&self, night: usize, place: Place) -> bool {
        let Some(log) = self.log else { return true };
        let last = place.start + place.window.max(1) - 1;
        (place.start / 60..=last / 60).all(|hour| log.allows(night, hour as usize))
    }

    /// The stretches in which a night's dose may lie, in minutes from noon: that with the
    /// most room first.
    fn slots(&self, night: usize) -> impl Iterator<Item = (u32, u32)> {
        self.dry[night].iter().filter_map(|dry| {
            let (from, to) = water::slot(self.brief, dry);
            let (from, to) = (up(u32::try_from(from).ok()?), u32::try_from(to).ok()?);
            (from < to).then_some((from, to))
        })
    }

    /// The first start of a night for a window in one of its stretches.
    fn start_in(&self, night: usize, (from, to): (u32, u32), window: u32) -> Option<u32> {
        let starts = (from..=to.checked_sub(window)?).step_by(GRID_MIN as usize);
        starts.map(|start| Place { start, window }).find_map(|place| {
            (self.is_clear(night, place) && self.is_quiet(night, place)).then_some(place.start)
        })
    }

    /// The stretch of a night in which a window lies, and its first start there: the first
    /// that has room for it between cleanings and busy hours.
    fn chosen(&self, night: usize, window: u32) -> Option<((u32, u32), u32)> {
        self.slots(night).find_map(|slot| Some((slot, self.start_in(night, slot, window)?)))
    }

    fn is_free(&self, night: usize, place: Place) -> bool {
        self.chosen(night, place.window)
            .is_some_and(|((from, to), _)| place.start >= from && place.start + place.window <= to)
            && self.is_clear(night, place)
            && self.is_quiet(night, place)
    }

    /// The place that the most of these nights have in common, and those nights.
    fn common(&self, open: &[usize], window: u32) -> Option<(Place, Vec<usize>)> {
        let starts = open.iter().filter_map(|night| self.chosen(*night, window));
        starts
            .map(|(_, start)| {
                let place = Place { start, window };
                let nights: Vec<usize> =
                    open.iter().copied().filter(|night| self.is_free(*night, place)).collect();
                (place, nights)
            })
            .max_by_key(|(place, nights)| (nights.len(), u32::MAX - place.start))
    }

    /// A place for each night that may have a dose and has room for it: at the
    /// window wanted, else at the longest that there is room for.
    fn places(&self, least: u32) -> [Option<Place>; 7] {
        let mut places = [None; 7];
        let mut open: Vec<usize> =
            (0..7).filter(|night| self.brief.site.nights.contains(Weekday::ALL[*night])).collect();
        let mut window = minutes(self.brief.site.window).max(least);
        loop {
            while let Some((place, nights)) = self.common(&open, window) {
                for night in nights {
                    places[night] = Some(place);
                    open.retain(|n| *n != night);
                }
            }
            if open.is_empty() || window <= least {
                return places;
            }
            window = window.saturating_sub(GRID_MIN).max(least);
        }
    }

    /// The nights of a week that are farthest apart, `count` of them.
    fn spread(places: &mut [Option<Place>; 7], count: usize) {
        let free: u8 = (0..7).filter(|n| places[*n].is_some()).fold(0, |bits, n| bits | 1 << n);
        let gap = |bits: u8| {
            let nights: Vec<u32> = (0..7).filter(|n| bits >> n & 1 == 1).collect();
            nights
                .iter()
                .zip(nights.iter().cycle().skip(1))
                .map(|(a, b)| (b + 7 - a - 1) % 7 + 1)
                .min()
                .unwrap_or(0)
        };
        let best = (1..=free)
            .filter(|bits| bits & free == *bits && bits.count_ones() as usize == count)
            .max_by_key(|bits| (gap(*bits), u8::MAX - bits));
        if let Some(bits) = best {
            for (night, place) in places.iter_mut().enumerate() {
                if bits >> night & 1 == 0 {
                    *place = None;
                }
            }
        }
    }

    fn is_closed(&self, date: Date) -> bool {
        self.brief.closed.iter().any(|c| c.first <= date && date <= c.last)
    }

    /// The date of the `count`-th night with a dose, from a date on.
    fn nth_night(&self, first: Date, places: &[Option<Place>; 7], count: u32) -> Option<Date> {
        let mut left = count;
        for ahead in 0..4000 {
            let date = first.plus_days(ahead);
            if places[date.weekday().index() as usize].is_some() && !self.is_closed(date) {
                left -= 1;
                if left == 0 {
                    return Some(date);
                }
            }
        }
        None
    }

    fn phase(
        &mut self,
        title: &'static str,
        dose: Volume,
        first: Date,
        nights: Option<u32>,
    ) -> Option<Phase> {
        let head = &self.brief.head.head;
        let least = match least_window(dose, head) {
            Ok(least) => least,
            Err(why) => {
                self.misfits.push(format!("{title}: {why}"));
                return None;
            }
        };
        let mut places = self.places(least);
        let why_not = self.why_not(&places, least);
        let free = places.iter().flatten().count();
        let asked = self.brief.site.doses_a_week.map(usize::from);
        match asked.filter(|count| free >= *count) {
            // the doses asked for have their nights, and nobody asked for these
            Some(count) => {
                let doses = if count == 1 { "dose is" } else { "doses are" };
                self.notes.extend(
                    why_not
                        .iter()
                        .map(|why| format!("{title}, {why}. All {count} {doses} in other nights")),
                );
            }
            None => self.misfits.extend(why_not.iter().map(|why| format!("{title}, {why}"))),
        }
        if let Some(count) = asked {
            if free < count && free > 0 {
                self.misfits.push(format!(
                    "{title}: {count} doses a week were asked for, {free} nights have room"
                ));
            } else {
                Self::spread(&mut places, count);
            }
        }
        if free == 0 {
            return None;
        }
        let last = match nights {
            None => None,
            Some(count) => match self.nth_night(first, &places, count) {
                Some(last) => Some(last),
                None => {
                    self.misfits
                        .push(format!("{title}: {count} nights do not come within ten years"));
                    return None;
                }
            },
        };
        if let Some(last) = last {
            // a night of the week that does not come in a short phase has no entry
            for (night, place) in places.iter_mut().enumerate() {
                let comes = (0..7)
                    .map(|day| first.plus_days(day))
                    .any(|date| date <= last && date.weekday() == Weekday::ALL[night]);
                if !comes {
                    *place = None;
                }
            }
        }
        Some(Phase { name: title, dose, first, last, nights: places, least_window: least })
    }
}

/// The least window of a dose in whole minutes.
fn least_window(dose: Volume, head: &Head) -> Result<u32, String> {
    if head.problem().is_some() {
        return Err("the head's limits contradict each other".to_owned());
    }
    let dose_ms = head.flow.on_time(dose, Carry(0)).0.as_ms();
    // of a window of one ms the answer is the least that does
    match spread::pulses_for(dose_ms, 1, head, None) {
        Ok(_) => Ok(1),
        Err(Misfit::Window { least_ms, .. }) => {
            Ok(u32::try_from(least_ms.div_ceil(60_000)).unwrap_or(u32::MAX))
        }
        Err(_) => Err("the head cannot make pulses of this dose".to_owned()),
    }
}

/// A misfit as it is told, 80 cells wide.
pub fn misfit(what: &str) -> String {
    let mut out = String::new();
    crate::words::tagged(&mut out, "does not fit: ", what);
    out
}

/// A note as it is told, 80 cells wide.
pub fn note(what: &str) -> String {
    let mut out = String::new();
    crate::words::tagged(&mut out, "note: ", what);
    out
}

/// When the container of a scenario is down to its heel; `None` without one, or where
/// the device would not take the scenario.
fn heel_date(text: &str) -> Option<Date> {
    let scenario = check::read("the plan", text).0?;
    let found = forecast::forecast(&scenario);
    found.date(found.stock.as_ref()?.until.least)
}

/// Plans. Where nothing at all fits there is no text, and the misfits say why.
pub fn plan(brief: &Brief, log: Option<&FlowLog>) -> Plan {
    let mut maker = Maker {
        brief,
        log,
        dry: water::dry(brief, log),
        cleanings: cleanings(brief),
        misfits: Vec::new(),
        notes: Vec::new(),
    };
    if brief.trading.is_empty() && brief.quiet.is_empty() && log.is_none() {
        maker.misfits.push(
            "nothing says when the water rests: give [[trading]], [[quiet]] or --flow-log"
                .to_owned(),
        );
        return Plan {
            phases: Vec::new(),
            dry: maker.dry,
            misfits: maker.misfits,
            notes: maker.notes,
            text: String::new(),
        };
    }
    let mut phases = Vec::new();
    let mut first = brief.site.first;
    if let Some((dose, nights)) = brief.label.start_up {
        let phase = maker.phase("start-up", dose.volume(brief.label.of), first, Some(nights));
        if let Some(phase) = phase {
            first = phase.last.map_or(first, |last| last.plus_days(1));
            phases.push(phase);
        }
    }
    let dose = brief.label.maintenance.volume(brief.label.of);
    phases.extend(maker.phase("maintenance", dose, first, None));
    let text = if phases.is_empty() {
        String::new()
    } else {
        let text = |lasts| {
            let told = (&maker.misfits[..], &maker.notes[..]);
            write::file(brief, log, &phases, &maker.dry, told, lasts)
        };
        let without = text(None);
        match heel_date(&without) {
            Some(date) => text(Some(date)),
            None => without,
        }
    };
    Plan { phases, dry: maker.dry, misfits: maker.misfits, notes: maker.notes, text }
}
