//! A screen and the world beside it, as text.

use std::fmt::Write as _;

use dosewright_core::civil::Local;
use dosewright_core::panel::{COLUMNS, Screen};
use dosewright_core::units::{Volume, VolumeUnit};

use super::Sight;
use crate::scenario::show;
use crate::units::Units;

/// The screen between bars, as a script has it.
pub(super) fn barred(screen: &Screen) -> String {
    let row = |row: &[char; COLUMNS]| format!("|{}|\n", row.iter().collect::<String>());
    screen.rows().iter().map(row).collect()
}

/// The screen in a frame.
pub fn boxed(screen: &Screen) -> String {
    let edge = format!("+{}+\n", "-".repeat(COLUMNS));
    format!("{edge}{}{edge}", barred(screen))
}

/// The world beside it, a fact a line.
pub fn facts(sight: &Sight) -> String {
    let mut text = String::new();
    let second = Local::from_ms(sight.local.as_ms().div_euclid(1000) * 1000);
    _ = writeln!(text, "{} local time", show::local(second));
    let supply = if sight.is_on { "on" } else { "off" };
    let pump = if sight.pump_is_on { "runs" } else { "off" };
    _ = writeln!(text, "supply {supply}, pump {pump}");
    _ = writeln!(text, "label: {}", sight.label);
    _ = writeln!(text, "came out so far {}", volume(sight.delivered_nl));
    if let Some(level) = sight.level_nl {
        _ = writeln!(text, "container {}", volume(level));
    }
    if let Some(left) = sight.pack_left {
        _ = writeln!(text, "battery {:.0} %", left * 100.0);
    }
    if let Some(ms) = sight.next_due_ms {
        _ = writeln!(text, "next dose in {}", show::length(ms / 1000 * 1000));
    }
    for alarm in &sight.alarms {
        _ = writeln!(text, "! {}", alarm.words());
    }
    text
}

fn volume(nl: u64) -> String {
    let volume = Volume::from_nl(nl);
    Units::chosen().ounces(volume, 2).unwrap_or_else(|| {
        let tenths = volume.tenths_of(VolumeUnit::Millilitre);
        format!("{}.{} ml", tenths / 10, tenths % 10)
    })
}
