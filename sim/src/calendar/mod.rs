//! The dues of a scenario as iCalendar (RFC 5545): what the timetable at its start
//! asks for in the length of its run.
//!
//! A reader is left nothing to guess: nights are real dates, closed dates are
//! EXDATEs, and a series is parted where the clocks skip a due, since section
//! 3.3.10 drops such an instance and section 3.3.5 moves it. The moved dose is an
//! event of its own.

mod text;
mod zone;

use dosewright_core::civil::{Date, Days, Local};
use dosewright_core::entry::{Entry, Nominal, Recurrence};
use dosewright_core::time::Utc;
use dosewright_core::zone::{LocalKind, Zone};

use crate::run::{Frame, Options};
use crate::scenario::{Scenario, show};
use text::{Lines, local_time, utc_time};

const DAY_CODES: [&str; 7] = ["MO", "TU", "WE", "TH", "FR", "SA", "SU"];

/// A calendar, and what it does not say.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Calendar {
    /// The file; lines end with CR and LF.
    pub text: String,
    /// Doses in it.
    pub doses: usize,
    /// What the scenario holds beside its timetable and is not in the calendar.
    pub notes: Vec<String>,
}

/// One due.
#[derive(Clone, Copy)]
struct Due {
    nominal: Local,
    at: Utc,
    closed: bool,
    skipped: bool,
}

struct Writer<'a> {
    lines: Lines,
    zone: Zone,
    tzid: String,
    stamp: String,
    hash: &'a str,
    doses: usize,
    events: usize,
}

/// The calendar of a scenario whose timetable the device accepts; `hash` is the
/// digest of its text, of which the events' names are made.
pub fn calendar(scenario: &Scenario, hash: &str) -> Calendar {
    let frame = Frame::of(scenario, &Options::default());
    let device_zone = scenario.clock.zone_of_device();
    let mut writer = Writer {
        lines: Lines::default(),
        zone: device_zone.zone,
        tzid: zone::id(&device_zone.written),
        stamp: utc_time(Utc::from_ms(frame.start_utc_ms)),
        hash,
        doses: 0,
        events: 0,
    };
    let end_ms = frame.start_utc_ms.saturating_add_unsigned(frame.run_ms);
    writer.lines.put("BEGIN:VCALENDAR");
    writer.lines.put("VERSION:2.0");
    writer.lines.put("PRODID:-//dosewright//dues//EN");
    writer.lines.put("CALSCALE:GREGORIAN");
    if let Some(title) = &scenario.title {
        writer.lines.put(&format!("X-WR-CALNAME:{}", text::escaped(title)));
    }
    zone::write(&mut writer.lines, &writer.tzid, &writer.zone, frame.start_utc_ms, end_ms);
    let timetable = crate::world::first_timetable(scenario, &frame);
    for (plan, entry) in scenario.entries.iter().zip(timetable.entries()) {
        if !plan.enabled {
            continue;
        }
        let window_ms = entry.window_ms;
        let what = Event {
            summary: format!("{}: {}", plan.name, show::dose(plan.volume)),
            description: format!(
                "{} over {}; dosed: pump ran, flow not sensed",
                show::dose(plan.volume),
                show::length(u64::from(window_ms))
            ),
            seconds: window_ms.div_ceil(1000),
        };
        match entry.recurrence {
            Recurrence::Weekly { .. } => {
                let unset = scenario.clock.unset;
                let dues = if unset {
                    Vec::new()
                } else {
                    weekly(scenario, &entry, &frame, end_ms, &writer.zone)
                };
                writer.series(&what, &dues);
            }
            Recurrence::Interval { every_ms, from } => {
                let first = frame.start_utc_ms.saturating_add(from.as_ms());
                writer.interval(&what, first, every_ms.max(1), frame.start_utc_ms, end_ms);
            }
        }
    }
    writer.lines.put("END:VCALENDAR");
    Calendar { text: writer.lines.text, doses: writer.doses, notes: notes(scenario) }
}

fn notes(scenario: &Scenario) -> Vec<String> {
    let mut out = Vec::new();
    let edits = scenario.operator.iter().filter(|act| act.act.moves_dues()).count();
    if edits > 0 {
        out.push(format!(
            "it shows the timetable at the start: {edits} later {} of clock or timetable {} left out",
            if edits == 1 { "change" } else { "changes" },
            if edits == 1 { "is" } else { "are" }
        ));
    }
    let off_ms = scenario.clock.off_by.0;
    if off_ms != 0
        && !scenario.clock.unset
        && scenario.entries.iter().any(|plan| plan.enabled && plan.is_weekly())
    {
        let (is, comes) = if off_ms < 0 { ("slow", "later") } else { ("fast", "earlier") };
        let by = show::length(off_ms.unsigned_abs());
        out.push(format!(
            "the device's clock is {by} {is} at the start: what is weekly comes that much {comes} than shown, until the clock is set"
        ));
    }
    if scenario.clock.unset {
        out.push(
            "the device's clock is unset at the start: weekly entries are left out".to_owned(),
        );
    }
    out
}

fn weekly(scenario: &Scenario, entry: &Entry, frame: &Frame, end_ms: i64, zone: &Zone) -> Vec<Due> {
    // a day earlier than the start: the device's zone need not be the place's
    let from = frame.start.as_ms().div_euclid(60_000) - 2 * 24 * 60;
    let mut at = Nominal(u32::try_from(from).unwrap_or(0));
    let mut out = Vec::new();
    while let Some(due) = entry.next_at_or_after(at) {
        at = due.next();
        let nominal = Local::from_ms(i64::from(due.0) * 60_000);
        let utc = zone.to_utc(nominal, entry.gap_rule);
        if utc.as_ms() < frame.start_utc_ms {
            continue;
        }
        if utc.as_ms() > end_ms {
            break;
        }
        let date = entry.date_of(due);
        let closed = scenario.closes(entry, date);
        let skipped = zone.kind_of(nominal) == LocalKind::Skipped;
        out.push(Due { nominal, at: utc, closed, skipped });
    }
    out
}

/// What all events of an entry say.
struct Event {
    summary: String,
    description: String,
    seconds: u32,
}

impl Writer<'_> {
    fn begin(&mut self, what: &Event) {
        self.events += 1;
        self.lines.put("BEGIN:VEVENT");
        self.lines.put(&format!("UID:{}-{}@dosewright.invalid", self.hash, self.events));
        self.lines.put(&format!("DTSTAMP:{}", self.stamp));
        self.lines.put(&format!("SUMMARY:{}", text::escaped(&what.summary)));
        self.lines.put(&format!("DESCRIPTION:{}", text::escaped(&what.description)));
        self.lines.put(&format!("DURATION:PT{}S", what.seconds));
        self.lines.put("TRANSP:TRANSPARENT");
    }

    /// A weekly entry: parted at the dues that the clocks skip.
    fn series(&mut self, what: &Event, dues: &[Due]) {
        let mut rest = dues;
        while let Some(at) = rest.iter().position(|due| due.skipped) {
            self.stretch(what, &rest[..at]);
            let moved = rest[at];
            if !moved.closed {
                self.begin(what);
                let local = self.zone.to_local(moved.at);
                self.lines.put(&format!("DTSTART;TZID={}:{}", self.tzid, local_time(local)));
                self.lines.put(&format!(
                    "COMMENT:moved from {}\\, which the clocks skip",
                    show::local(moved.nominal)
                ));
                self.lines.put("END:VEVENT");
                self.doses += 1;
            }
            rest = &rest[at + 1..];
        }
        self.stretch(what, rest);
    }

    /// Dues that happen at their nominal times.
    fn stretch(&mut self, what: &Event, dues: &[Due]) {
        let Some(first) = dues.iter().position(|due| !due.closed) else { return };
        let Some(last) = dues.iter().rposition(|due| !due.closed) else { return };
        let dues = &dues[first..=last];
        let days = dues
            .iter()
            .fold(Days::from_bits(0), |days, due| days.with(due.nominal.date().weekday()));
        self.begin(what);
        let start = local_time(dues[0].nominal);
        self.lines.put(&format!("DTSTART;TZID={}:{start}", self.tzid));
        if dues.len() > 1 {
            let codes: Vec<&str> = DAY_CODES
                .into_iter()
                .enumerate()
                .filter(|(i, _)| days.bits() & (1 << i) != 0)
                .map(|(_, code)| code)
                .collect();
            let until = dues.last().map_or_else(String::new, |due| utc_time(due.at));
            self.lines.put(&format!("RRULE:FREQ=WEEKLY;BYDAY={};UNTIL={until}", codes.join(",")));
        }
        let closed: Vec<String> =
            dues.iter().filter(|due| due.closed).map(|due| local_time(due.nominal)).collect();
        if !closed.is_empty() {
            self.lines.put(&format!("EXDATE;TZID={}:{}", self.tzid, closed.join(",")));
        }
        self.lines.put("END:VEVENT");
        self.doses += dues.len() - closed.len();
    }

    /// An interval entry, blind to the wall clock: in UTC, by a clock that keeps time.
    fn interval(&mut self, what: &Event, first: i64, every_ms: u64, start: i64, end: i64) {
        let every = i64::try_from(every_ms).unwrap_or(i64::MAX);
        let behind = (start - first).max(0);
        let first = first.saturating_add((behind + every - 1) / every * every);
        if first > end {
            return;
        }
        let count = (end - first) / every + 1;
        self.begin(what);
        self.lines.put(&format!("DTSTART:{}", utc_time(Utc::from_ms(first))));
        if count > 1 {
            let rule = match every_ms {
                ms if ms % 3_600_000 == 0 => format!("HOURLY;INTERVAL={}", ms / 3_600_000),
                ms if ms % 60_000 == 0 => format!("MINUTELY;INTERVAL={}", ms / 60_000),
                ms => format!("SECONDLY;INTERVAL={}", ms.div_ceil(1000)),
            };
            if every_ms.is_multiple_of(1000) {
                self.lines.put(&format!("RRULE:FREQ={rule};COUNT={count}"));
            } else {
                // no rule has parts of a second: one by one, rounded down
                let dates: Vec<String> = (1..count)
                    .map(|k| utc_time(Utc::from_ms(first.saturating_add(k * every))))
                    .collect();
                self.lines.put(&format!("RDATE:{}", dates.join(",")));
            }
        }
        self.lines.put("END:VEVENT");
        self.doses += usize::try_from(count).unwrap_or(usize::MAX);
    }
}

/// The date `Local` of midnight; used by the zone's observances.
fn midnight(year: i32) -> Option<Local> {
    Some(Local::new(Date::from_ymd(year, 1, 1)?, dosewright_core::time::Duration::from_ms(0)))
}

#[cfg(test)]
mod tests;
