//! Settings and records in words.

use std::fmt::Write as _;

use dosewright_core::civil::Weekday;
use dosewright_core::config::Head;
use dosewright_core::entry::{Entry, EntryId, GapRule, Recurrence};
use dosewright_core::power::Pack;
use dosewright_core::schedule::WallClock;
use dosewright_core::time::{Instant, Utc};
use dosewright_core::timers::Reason;
use dosewright_core::tube::Tube;
use dosewright_core::units::Volume;
use dosewright_core::zone::Zone;

use super::State;
use super::dues::Dues;
use crate::scenario::show;
use crate::trace::Stamped;
use crate::trace::stamp::which;
use crate::words::plural;

/// A moment by the device's clock, or its elapsed time where that is unset.
pub(super) fn moment(at: Instant, clock: Option<&WallClock>) -> String {
    match clock {
        Some(clock) => by_zone(&clock.zone, clock.utc(at)),
        None => elapsed(at.as_ms()),
    }
}

/// The device's elapsed time.
pub(super) fn elapsed(ms: i64) -> String {
    format!("+{}", show::length(u64::try_from(ms).unwrap_or(0)))
}

/// A local time; one that happens twice with its distance from UTC.
pub(super) fn by_zone(zone: &Zone, utc: Utc) -> String {
    let at = Stamped { local: zone.to_local(utc), offset_s: zone.offset_at(utc) };
    format!("{}{}", show::local(at.local), which(zone, at))
}

/// An entry whose settings are lost, by its number, or by its line, counted from 1 as
/// entries are, where no whole record tells of it.
pub(super) fn lost_entry(line: u8, id: Option<EntryId>) -> String {
    id.map_or_else(|| format!("line {}", line + 1), |id| format!("entry {}", id.0))
}

/// When the doses of an entry are due.
pub(crate) fn when(entry: &Entry, clock: Option<&WallClock>) -> String {
    match entry.recurrence {
        Recurrence::Weekly { days, at_min, by_night } => {
            let names: Vec<&str> = Weekday::ALL
                .into_iter()
                .zip(["mon", "tue", "wed", "thu", "fri", "sat", "sun"])
                .filter(|(day, _)| days.contains(*day))
                .map(|(_, name)| name)
                .collect();
            let kind = if by_night { "nights" } else { "days" };
            format!("{kind} {} at {:02}:{:02}", names.join(" "), at_min / 60, at_min % 60)
        }
        Recurrence::Interval { every_ms, from } => {
            format!("every {} from {}", show::length(every_ms), moment(from, clock))
        }
    }
}

pub(super) fn entry(entry: &Entry, clock: Option<&WallClock>) -> String {
    let when = when(entry, clock);
    let mut out = format!(
        "{} over {}, {when}",
        show::volume(entry.volume),
        show::length(u64::from(entry.window_ms))
    );
    if entry.grace_ms > 0 {
        _ = write!(out, ", grace {}", show::length(u64::from(entry.grace_ms)));
    }
    if let Some(pulses) = entry.pulses {
        _ = write!(out, ", {}", plural(pulses, "pulse"));
    }
    if entry.is_weekly() {
        if entry.gap_rule == GapRule::FirstValid {
            out.push_str(", in spring's gap at the first valid time");
        }
        if !entry.observes_closed {
            out.push_str(", on closed dates too");
        }
    }
    if let Some(first) = entry.first {
        _ = write!(out, ", from {}", show::date(first));
    }
    if let Some(last) = entry.last {
        _ = write!(out, ", to {}", show::date(last));
    }
    if !entry.enabled {
        out.push_str(", disabled");
    }
    out
}

pub(super) fn head(head: &Head) -> String {
    let ms = |ms: u32| show::length(u64::from(ms));
    let lead = match head.lead_ms {
        0 => String::new(),
        lead_ms => format!(", {} longer for each start", ms(u32::from(lead_ms))),
    };
    let rollers = match head.rollers {
        1 => "1 roller".to_owned(),
        rollers => format!("{rollers} rollers"),
    };
    let pass = match head.roller_pass {
        Volume::ZERO => "what a pass gives not said".to_owned(),
        pass => format!("{} a pass", show::volume(pass)),
    };
    format!(
        "{}, pulses {} to {}{lead}, of {} or more where a dose allows, off {} at least, rest {} \
         after the longest, {} starts an hour; {rollers}, {pass}; prime of {} at most, calibration run \
         of {} at most",
        show::flow(head.flow),
        ms(head.shortest_on_ms),
        ms(head.longest_run_ms),
        show::volume(head.least_pulse),
        ms(head.shortest_off_ms),
        ms(head.least_rest_ms),
        head.starts_per_hour,
        ms(head.longest_prime_ms),
        ms(head.longest_calibration_ms)
    )
}

/// The container and what is in it; `None` where there is none.
pub(super) fn product(state: &State) -> Option<String> {
    let container = state.stock.container()?;
    let contact = match container.low {
        Volume::ZERO => String::new(),
        low => {
            let closed = show::length(u64::from(container.debounce_ms));
            format!(", contact at {}, counts when closed for {closed}", show::dose(low))
        }
    };
    Some(format!(
        "container of {}, {} in it by the account; heel {}{contact}",
        show::dose(container.capacity),
        show::dose(state.account()),
        show::dose(container.heel)
    ))
}

/// The ceiling at an instant, and what it will be where one of before still counts.
pub(super) fn ceiling(state: &State, at: Instant) -> String {
    let (now, then) = (state.ceiling_for(at), state.timetable.ceiling_in_force());
    let ceiling = format!("{} in any 23 h", show::volume(now));
    if now == then {
        return ceiling;
    }
    let until = moment(state.kept_until, state.clock.as_ref());
    format!("{ceiling} until {until}, {} from then on", show::volume(then))
}

/// What is known of the tube set; `None` where nothing is.
pub(super) fn tube(tube: &Tube, dues: &Dues) -> Option<String> {
    let since = tube.since.map(|since| format!("put in {}", dues.moment(since)));
    let nominal = tube.nominal.map(|flow| format!("nominal {}", show::flow(flow)));
    let found = tube.calibrations().map(|found| {
        let flow = show::calibration(&found, true, 0);
        format!("{flow}, {}", dues.moment(found.at))
    });
    let parts: Vec<String> = since.into_iter().chain(nominal).chain(found).collect();
    (!parts.is_empty()).then(|| parts.join("; "))
}

/// The battery pack's settings; `None` for a device on mains.
pub(super) fn pack(pack: &Pack) -> Option<String> {
    (!pack.is_mains()).then(|| {
        let ahead = match pack.warn_days {
            0 => String::new(),
            days => format!(" or {days} d ahead"),
        };
        format!(
            "{:.2} Ah; low at {:.2} V{ahead}, exhausted at {:.2} V",
            f64::from(pack.capacity_mah) / 1e3,
            f64::from(pack.low_mv) / 1e3,
            f64::from(pack.exhausted_mv) / 1e3
        )
    })
}

/// Why the logic wants to be called.
pub(super) const fn reason(reason: Reason) -> &'static str {
    match reason {
        Reason::Boot => "the start is still to be taken down",
        Reason::RunEnd => "the pump's run ends",
        Reason::Governor => "the longest run is over",
        Reason::PulseStart => "a pulse starts",
        Reason::Due => "a dose is due",
        Reason::Deadline => "the deadline of a dose that waits",
        Reason::DoseDeadline => "the deadline of the open dose",
        Reason::Level => "the low-level contact has settled",
        Reason::PackTest => "the battery pack is tested",
        Reason::Display => "the display goes dark",
        Reason::Retry => "the memory is tried again",
        Reason::Stamp => "the hourly stamp",
    }
}

/// What a pack was read at.
pub(super) fn volts(rest_mv: u16, load_mv: u16) -> String {
    let v = |mv: u16| f64::from(mv) / 1e3;
    format!("{:.2} V at rest, {:.2} V under load", v(rest_mv), v(load_mv))
}
