//! Faults and acts from a seed, one after the other.

use std::fmt::Write as _;

use super::Shape;
use super::chance::Chance;
use super::site::Site;

/// What can be done to the device; each kind is wholly on or off for a seed, so
/// that rare combinations are as likely as the usual mixture.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Kind {
    SupplyLoss,
    ClockLost,
    MemoryTear,
    LateWake,
    SpuriousWake,
    WatchdogReset,
    RemoteStop,
    Leak,
    SetClock,
    SetZone,
    Edit,
    Disable,
    RunAgain,
    Prime,
    Calibrate,
}

const KINDS: [Kind; 15] = [
    Kind::SupplyLoss,
    Kind::ClockLost,
    Kind::MemoryTear,
    Kind::LateWake,
    Kind::SpuriousWake,
    Kind::WatchdogReset,
    Kind::RemoteStop,
    Kind::Leak,
    Kind::SetClock,
    Kind::SetZone,
    Kind::Edit,
    Kind::Disable,
    Kind::RunAgain,
    Kind::Prime,
    Kind::Calibrate,
];

/// A length written so that a person can read it: `1 d 3 h 20 s`.
fn length(ms: u64) -> String {
    let parts = [
        (ms / 86_400_000, "d"),
        (ms / 3_600_000 % 24, "h"),
        (ms / 60_000 % 60, "min"),
        (ms / 1000 % 60, "s"),
        (ms % 1000, "ms"),
    ];
    let words: Vec<String> = parts
        .iter()
        .filter(|(value, _)| *value > 0)
        .map(|(value, unit)| format!("{value} {unit}"))
        .collect();
    if words.is_empty() { "0 s".to_owned() } else { words.join(" ") }
}

/// A length that is short, middling or long, each about as often.
fn some_length(chance: &mut Chance) -> u64 {
    match chance.number(0, 3) {
        0 => chance.number(1, 5_000),
        1 => chance.number(5_000, 600_000),
        2 => chance.number(600_000, 7_200_000),
        _ => chance.number(7_200_000, 40 * 3_600_000),
    }
}

pub(super) fn make(
    chance: &mut Chance,
    site: &Site,
    busy_ms: u64,
    shape: Shape,
    text: &mut String,
) {
    let enabled: Vec<Kind> = KINDS.into_iter().filter(|_| chance.percent(45)).collect();
    if enabled.is_empty() || site.entries.is_empty() {
        return;
    }
    let gap_ms = 2 * 864_000_000 / u64::from(shape.events_per_day_tenths.max(1));
    let mut at = chance.number(0, gap_ms);
    let mut disabled: Option<&str> = None;
    while at < busy_ms {
        let kind = chance.pick(&enabled);
        let (table, line, lasts) = match kind {
            Kind::SupplyLoss => fault_for(chance, "supply_loss"),
            Kind::ClockLost => fault_for(chance, "clock_lost"),
            Kind::RemoteStop => fault_for(chance, "remote_stop"),
            Kind::Leak => fault_for(chance, "leak"),
            Kind::MemoryTear => {
                let lasts = some_length(chance);
                let bytes = chance.number(0, 63);
                let line =
                    format!("memory_tear = {{ after = {bytes}, lasts = \"{}\" }}", length(lasts));
                // the write that it waits for comes within the hour
                ("fault", line, lasts + 3_700_000)
            }
            Kind::LateWake => {
                let (by, times) = (some_length(chance).min(7_200_000), chance.number(1, 3));
                let line = format!("late_wake = {{ by = \"{}\", times = {times} }}", length(by));
                ("fault", line, (by + 3_700_000) * times)
            }
            Kind::SpuriousWake => {
                let (times, over) = (chance.number(1, 50), chance.number(1_000, 3_600_000));
                let line =
                    format!("spurious_wake = {{ times = {times}, over = \"{}\" }}", length(over));
                ("fault", line, over)
            }
            Kind::WatchdogReset => ("fault", "watchdog_reset = {}".to_owned(), 0),
            Kind::SetClock => {
                let sign = chance.pick(&["", "-"]);
                let by = some_length(chance);
                ("operator", format!("set_clock = {{ by = \"{sign}{}\" }}", length(by)), 0)
            }
            Kind::SetZone => {
                let zone =
                    chance.pick(&["UTC0", "EST5EDT,M3.2.0,M11.1.0", "CET-1CEST,M3.5.0,M10.5.0/3"]);
                ("operator", format!("set_zone = {{ zone = \"{zone}\" }}"), 0)
            }
            Kind::Edit => {
                let made = &site.entries[chance.number(0, site.entries.len() as u64 - 1) as usize];
                let ml = chance.number(5, 150);
                let line = format!("edit = {{ entry = \"{}\", volume = \"{ml} ml\" }}", made.name);
                ("operator", line, 0)
            }
            Kind::Disable => match disabled.take() {
                Some(name) => ("operator", format!("enable = {{ entry = \"{name}\" }}"), 0),
                None => {
                    let made =
                        &site.entries[chance.number(0, site.entries.len() as u64 - 1) as usize];
                    disabled = Some(&made.name);
                    ("operator", format!("disable = {{ entry = \"{}\" }}", made.name), 0)
                }
            },
            Kind::RunAgain => {
                let made = &site.entries[chance.number(0, site.entries.len() as u64 - 1) as usize];
                ("operator", format!("run_again = {{ entry = \"{}\" }}", made.name), 0)
            }
            Kind::Prime => {
                let ml = chance.number(1, 200);
                ("operator", format!("prime = {{ volume = \"{ml} ml\" }}"), 600_000)
            }
            Kind::Calibrate => {
                let run_s = chance.number(10, 300);
                let tenths = site.head().flow.as_nl_per_min() / 100_000;
                let line = format!(
                    "calibrate = {{ run = \"{run_s} s\", flow = \"{}.{} ml/min\" }}",
                    tenths / 10,
                    tenths % 10
                );
                ("operator", line, run_s * 1000)
            }
        };
        let at_due = near_a_due(chance, site, at).filter(|&near| near >= at && near < busy_ms);
        let when = at_due.unwrap_or(at);
        let _ = write!(text, "\n[[{table}]]\nat = \"+{}\"\n{line}\n", length(when));
        at = when + lasts + 1 + chance.number(0, gap_ms);
    }
}

fn fault_for(chance: &mut Chance, word: &str) -> (&'static str, String, u64) {
    let lasts = some_length(chance);
    ("fault", format!("{word} = {{ lasts = \"{}\" }}", length(lasts)), lasts)
}

/// A moment within the window of the next dose of some entry after `at`, more
/// often than not: that is where things can go wrong.
fn near_a_due(chance: &mut Chance, site: &Site, at: u64) -> Option<u64> {
    if chance.percent(35) {
        return None;
    }
    let made = &site.entries[chance.number(0, site.entries.len() as u64 - 1) as usize];
    let entry = &made.entry;
    let into = chance.number(0, u64::from(entry.window_ms) * 5 / 4);
    match entry.recurrence {
        dosewright_core::entry::Recurrence::Weekly { at_min, .. } => {
            let start_of_day = site.start.time_of_day().as_ms();
            let of_day = u64::from(at_min) * 60_000;
            let day = (at + start_of_day) / 86_400_000;
            let due = (day * 86_400_000 + of_day).checked_sub(start_of_day)?;
            Some(if due >= at { due } else { due + 86_400_000 } + into)
        }
        dosewright_core::entry::Recurrence::Interval { every_ms, from } => {
            let from = u64::try_from(from.as_ms()).ok()?;
            let count = at.saturating_sub(from).div_ceil(every_ms);
            Some(from + count * every_ms + into)
        }
    }
}
