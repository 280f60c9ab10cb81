//! A report on an image, for people and for machines.

use std::fmt::Write as _;

use dosewright_core::record::Alarm;

use super::dues::Dues;
use super::found::SectorState;
use super::{Report, Started, told, words};
use crate::audit::posix_string;
use crate::scenario::show;
use crate::words::plural;

const WIDTH: usize = 79;

pub(super) const fn state_word(state: SectorState) -> &'static str {
    match state {
        SectorState::Blank => "blank",
        SectorState::Sealed => "sealed",
        SectorState::Unsealed => "no whole snapshot",
    }
}

/// A text in lines that fit, those after the first one indented; the gaps in it
/// stay.
pub(super) fn wrap(text: &str, indent: usize) -> String {
    let mut out = String::new();
    let mut line = String::new();
    for word in text.split_inclusive(' ') {
        let wide = line.chars().count() + word.trim_end().chars().count();
        if wide > WIDTH && line.chars().count() > indent {
            out.push_str(line.trim_end());
            out.push('\n');
            line = " ".repeat(indent);
        }
        line.push_str(word);
    }
    out.push_str(line.trim_end());
    out.push('\n');
    out
}

pub(super) fn text(report: &Report, all: bool) -> String {
    let found = &report.found;
    let mut out = match &report.started {
        Ok(_) => "this build starts from it\n".to_owned(),
        Err(why) => wrap(&format!("this build does not start from it: {why}"), 2),
    };
    let version = found.version.map_or("no readable header".to_owned(), |version| {
        format!("ledger of format version {version}")
    });
    let said = if found.is_said { "" } else { " (as given)" };
    _ = writeln!(
        out,
        "\n{} bytes, {version}\n{} of {} bytes{said}, from byte {}",
        report.bytes,
        plural(found.geometry.sectors, "sector"),
        found.geometry.sector_bytes,
        found.offset
    );
    let missing = found.missing(report.bytes);
    if missing > 0 {
        _ = writeln!(out, "{missing} bytes of it are missing and taken as blank");
    }
    out.push_str("\nsector  state                good   blank   damaged\n");
    for (at, sector) in found.sectors.iter().enumerate() {
        let force =
            if found.in_force() == Some(at) { "in force" } else { state_word(sector.state) };
        _ = writeln!(
            out,
            "{at:>6}  {force:<18} {:>6}  {:>6}  {:>8}",
            sector.good, sector.blank, sector.damaged
        );
    }
    if let Ok(started) = &report.started {
        out.push_str(&settings(started, &report.dues));
    }
    out.push_str(&told::sums(report));
    out.push_str(&told::history(report, all));
    if let Ok(started) = &report.started {
        out.push_str(&next(started, &report.dues));
    }
    out
}

fn settings(started: &Started, dues: &Dues) -> String {
    let state = &started.state;
    let clock = state.clock.as_ref();
    let mut out = "\nsettings in force\n".to_owned();
    let set = match clock {
        Some(_) => format!("set, epoch {}", state.epoch),
        None => "unset".to_owned(),
    };
    out.push_str(&wrap(&format!("  clock    {set}; zone {}", posix_string(&state.zone)), 11));
    let head = state.head.as_ref().map_or("none".to_owned(), words::head);
    out.push_str(&wrap(&format!("  head     {head}"), 11));
    let lasts = &started.lasts;
    for (name, what) in [
        ("tube", words::tube(&state.tube, dues)),
        ("", lasts.tube_words(started)),
        ("product", words::product(state)),
        ("", lasts.product_words(started)),
        ("pack", words::pack(&state.gauge.pack)),
        ("", lasts.pack_words(started, dues)),
    ] {
        if let Some(what) = what {
            out.push_str(&wrap(&format!("  {name:<8} {what}"), 11));
        }
    }
    for entry in state.timetable.entries() {
        let text = format!("  entry {:<2} {}", entry.id.0, words::entry(&entry, clock));
        out.push_str(&wrap(&text, 11));
    }
    for (line, id) in dues.lost(state.damaged) {
        let which = match id {
            Some(_) => "",
            None => "; counted from 1, and no whole record tells the number of its entry",
        };
        let lost = words::lost_entry(line, id);
        let text = format!("  {lost:<8} its settings are lost: it does not run{which}");
        out.push_str(&wrap(&text, 11));
    }
    if state.timetable.entries().next().is_none() && state.damaged == 0 {
        out.push_str("  no entries\n");
    } else {
        out.push_str(&wrap(&format!("  ceiling  {}", words::ceiling(state, started.at)), 11));
    }
    if state.lock.is_set() {
        out.push_str("  lock     a PIN is set\n");
    }
    if state.closed_damaged {
        out.push_str("  closed   lost: entries that observe closed dates do not run\n");
    }
    for closed in state.timetable.closed.iter() {
        _ = writeln!(out, "  closed   {} to {}", show::date(closed.first), show::date(closed.last));
    }
    out
}

pub(super) fn open(started: &Started, dues: &Dues) -> String {
    started.open.as_ref().map_or("none".to_owned(), |open| {
        let pulse = &open.pulse;
        format!(
            "entry {}, due {}: {} to {} of {} pumped",
            pulse.due.id.0,
            dues.due(&pulse.due, pulse.asked, pulse.due_at)
                .map_or_else(|| words::moment(pulse.due_at, None), |due| due.words),
            show::length(u64::from(pulse.least_ms)),
            show::length(u64::from(open.most_ms())),
            show::length(u64::from(pulse.dose_ms))
        )
    })
}

fn waits(started: &Started, dues: &Dues) -> String {
    let each = started.waits.iter().map(|waits| {
        let due = dues.due(&waits.key(), false, waits.due_at);
        let due = due.map_or_else(|| words::moment(waits.due_at, None), |due| due.words);
        format!("entry {}, due {due}: {}", waits.id.0, waits.cause.words())
    });
    let each: Vec<String> = each.collect();
    if each.is_empty() { "none".to_owned() } else { each.join("; ") }
}

fn alarms(alarms: &[Alarm]) -> String {
    let words: Vec<&str> = alarms.iter().map(|alarm| alarm.words()).collect();
    if words.is_empty() { "none".to_owned() } else { words.join(", ") }
}

fn next(started: &Started, dues: &Dues) -> String {
    let clock = started.state.clock.as_ref();
    let mut out = "\n".to_owned();
    let at = words::moment(started.at, clock);
    out.push_str(&wrap(
        &format!(
            "if the supply came back at {at}, the clock chip fed all along and no contact \
             closed (what contacts say is in no memory)"
        ),
        2,
    ));
    out.push_str(&wrap(&format!("  open dose  {}", open(started, dues)), 13));
    out.push_str(&wrap(&format!("  waits      {}", waits(started, dues)), 13));
    out.push_str(&wrap(&format!("  alarms     {}", alarms(&started.alarms)), 13));
    if started.alarms_before != started.alarms {
        let text = format!("  on before  {}", alarms(&started.alarms_before));
        out.push_str(&wrap(&text, 13));
    }
    let pump = match started.pump_on {
        Some(length) => format!("on at once, for {}", show::length(length.as_ms())),
        None => "off".to_owned(),
    };
    _ = writeln!(out, "  pump       {pump}");
    let call = match started.next {
        Some((at, reason)) => {
            format!("{}: {}", words::moment(at, clock), words::reason(reason))
        }
        None => "never".to_owned(),
    };
    out.push_str(&wrap(&format!("  next call  {call}"), 13));
    out
}
