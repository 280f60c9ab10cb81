//! Quantities as people write them, with the fewest digits that are exact
//! where that is possible: `120 ml`, `26.5 ml/min`, `4 min 32 s`. What is written into a file
//! is metric; volumes and flows that are shown are in the units that were chosen.

use std::fmt::Write as _;

use dosewright_core::civil::{Date, Local};
use dosewright_core::tube::Found;
use dosewright_core::units::{Flow, Volume};

use crate::units::Units;

/// A whole number of millionths, without trailing zeros.
fn millionths(value: u64) -> String {
    let text = format!("{}.{:06}", value / 1_000_000, value % 1_000_000);
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// For a person: exact in ml and l, to a thousandth of an ounce or finer.
pub fn volume(volume: Volume) -> String {
    Units::chosen().ounces(volume, 3).unwrap_or_else(|| written(volume))
}

/// For a file: in ml, or in l from one litre on, exactly.
pub fn written(volume: Volume) -> String {
    let nl = volume.as_nl();
    if nl >= 1_000_000_000 {
        let text = format!("{}.{:09}", nl / 1_000_000_000, nl % 1_000_000_000);
        format!("{} l", text.trim_end_matches('0').trim_end_matches('.'))
    } else {
        format!("{} ml", millionths(nl))
    }
}

/// For a person.
pub fn flow(flow: Flow) -> String {
    Units::chosen().ounces_per_min(flow).unwrap_or_else(|| written_flow(flow))
}

/// For a file: in ml/min, exactly.
pub fn written_flow(flow: Flow) -> String {
    format!("{} ml/min", millionths(u64::from(flow.as_nl_per_min())))
}

/// To the nearest hundredth: what is read off a vessel, or reckoned from it, is good to
/// no more.
const fn hundredths(millionths: u64) -> u64 {
    (millionths + 5_000) / 10_000 * 10_000
}

/// A volume that was measured.
pub fn measured(volume: Volume) -> String {
    let metric = || format!("{} ml", millionths(hundredths(volume.as_nl())));
    Units::chosen().ounces(volume, 3).unwrap_or_else(metric)
}

/// A dose as people are told of it: one that was given in ounces is told to a hundredth of
/// a millilitre.
pub fn dose(dose: Volume) -> String {
    let nl = dose.as_nl();
    volume(if nl < 1_000_000 { dose } else { Volume::from_nl(hundredths(nl)) })
}

/// A flow that was reckoned from what was measured.
pub fn measured_flow(flow: Flow) -> String {
    let metric = || format!("{} ml/min", millionths(hundredths(u64::from(flow.as_nl_per_min()))));
    Units::chosen().ounces_per_min(flow).unwrap_or_else(metric)
}

/// A share in parts per million, as a percentage.
pub fn percent(ppm: u32) -> String {
    format!("{} %", millionths(u64::from(ppm) * 100))
}

/// What a calibration found, and what was made of it.
pub fn calibration(found: &Found, in_force: bool, lead_ms: u16) -> String {
    let what = if in_force { "calibrated" } else { "as found" };
    // no digit that the uncertainty leaves nothing of
    let ppm = (found.uncertainty_ppm + 50) / 100 * 100;
    let lead = match lead_ms {
        0 => String::new(),
        ms => format!(", and each start takes {ms} ms more"),
    };
    format!("{what}: {} within {} (k = 2){lead}", measured_flow(found.flow), percent(ppm))
}

/// Weeks are not used: days, hours, minutes, seconds, milliseconds.
pub fn length(ms: u64) -> String {
    let days = ms / 86_400_000;
    let rest = dosewright_core::time::Duration::from_ms(ms % 86_400_000);
    match (days, rest.as_ms()) {
        (0, _) => rest.to_string(),
        (days, 0) => format!("{days} d"),
        (days, _) => format!("{days} d {rest}"),
    }
}

/// `2026-10-25`.
pub fn date(date: Date) -> String {
    let (year, month, day) = date.ymd();
    format!("{year:04}-{month:02}-{day:02}")
}

/// `+01:00`: so many seconds east of UTC.
pub fn offset(offset_s: i32) -> String {
    let (sign, minutes) = (if offset_s < 0 { '-' } else { '+' }, offset_s.abs() / 60);
    format!("{sign}{:02}:{:02}", minutes / 60, minutes % 60)
}

/// `2026-10-25 02:30`, with seconds and milliseconds where there are any.
pub fn local(local: Local) -> String {
    let ms = local.time_of_day().as_ms();
    let mut text = format!("{} {:02}:{:02}", date(local.date()), ms / 3_600_000, ms / 60_000 % 60);
    if !ms.is_multiple_of(60_000) {
        _ = write!(text, ":{:02}", ms / 1000 % 60);
    }
    if !ms.is_multiple_of(1000) {
        _ = write!(text, ".{:03}", ms % 1000);
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_digit_more_than_is_needed() {
        assert_eq!(volume(Volume::from_ml(120)), "120 ml");
        assert_eq!(volume(Volume::from_nl(290_000)), "0.29 ml");
        assert_eq!(volume(Volume::from_ml(7500)), "7.5 l");
        assert_eq!(volume(Volume::ZERO), "0 ml");
        assert_eq!(flow(Flow::from_nl_per_min(26_500_000).unwrap()), "26.5 ml/min");
        assert_eq!((percent(20_000), percent(8_819)), ("2 %".to_owned(), "0.8819 %".to_owned()));
        // what was measured has no more than it is good to
        assert_eq!(measured(Volume::from_nl(62_727_661)), "62.73 ml");
        assert_eq!(measured(Volume::from_nl(68_304_999)), "68.3 ml");
        assert_eq!(measured_flow(Flow::from_nl_per_min(14_615_019).unwrap()), "14.62 ml/min");
        // half a US fluid ounce, and what has few digits anyhow
        assert_eq!(dose(Volume::from_nl(14_786_765)), "14.79 ml");
        assert_eq!(dose(Volume::from_nl(1_300_000_000)), "1.3 l");
        assert_eq!(dose(Volume::from_nl(4_500)), "0.0045 ml");
        assert_eq!(length(272_000), "4 min 32 s");
        assert_eq!(length(691_200_000), "8 d");
        assert_eq!(length(86_400_001), "1 d 1 ms");
        let start = Local::new(
            Date::from_ymd(2026, 10, 25).unwrap(),
            dosewright_core::time::Duration::from_ms(9_000_250),
        );
        assert_eq!(local(start), "2026-10-25 02:30:00.250");
    }
}
