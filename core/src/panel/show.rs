//! Volumes, lengths, times and dates as they stand on a line.

use super::preferences::{Preferences, Unit};
use super::screen::Text;
use super::words::Words;
use crate::civil::{DAY_MS, Date, Days, Local, Weekday};
use crate::time::Duration;
use crate::units::{Volume, over};

/// The largest whole number of a unit that is shown.
const MOST_SHOWN: u64 = 99_999;
pub(super) const MINUTE_MS: u64 = 60_000;

/// How somebody wants things shown.
#[derive(Clone, Copy)]
pub(super) struct Style {
    pub(super) words: &'static Words,
    pub(super) unit: Unit,
    pub(super) twelve_hours: bool,
}

impl Style {
    pub(super) const fn of(preferences: Preferences) -> Self {
        let Preferences { language, unit, twelve_hours } = preferences;
        Self { words: language.words(), unit, twelve_hours }
    }

    const fn point(&self) -> char {
        if self.words.comma { ',' } else { '.' }
    }

    /// A number of so many tenths, hundredths, ...: its whole part in at least
    /// `digits` digits.
    pub(super) fn decimal(&self, text: &mut Text, value: u32, digits: u32, decimals: u32) {
        let scale = ten_to(decimals);
        text.number(value.checked_div(scale).unwrap_or(0), digits);
        if decimals > 0 {
            text.char(self.point());
            text.number(value.checked_rem(scale).unwrap_or(0), decimals.min(3));
        }
    }

    /// A volume: tenths of a millilitre where they are not nothing, litres from a
    /// litre on; fluid ounces with tenths below a hundred.
    pub(super) fn volume(&self, text: &mut Text, volume: Volume) {
        let much = volume >= Volume::from_ml(1000);
        let unit = self.unit.volume(much);
        let tenths = value_of(volume, 1, self.unit, much);
        let whole = u64::from(tenths) / 10;
        let metric = matches!(self.unit, Unit::Metric);
        let with_tenths =
            if metric { !tenths.is_multiple_of(10) && whole < 1000 } else { whole < 100 };
        if with_tenths {
            self.decimal(text, tenths, 1, 1);
        } else {
            text.number(whole.min(MOST_SHOWN) as u32, 1);
        }
        text.char(' ');
        match unit {
            crate::units::VolumeUnit::Litre => text.say("l"),
            crate::units::VolumeUnit::Millilitre => text.say("ml"),
            _ => text.say("fl oz"),
        }
    }

    /// A length of time in its two largest parts: `3 d 4 h`, `2 h 5 min`, `4 min 32 s`.
    pub(super) fn length(&self, text: &mut Text, length: Duration) {
        let s = length.as_ms().div_ceil(1000);
        let parts = [(86_400, "d"), (3600, "h"), (60, "min"), (1, "s")];
        let largest = parts.iter().position(|&(size, _)| s >= size).unwrap_or(3);
        let mut left = s;
        for (at, &(size, name)) in parts.iter().enumerate() {
            let count = over(left, size);
            left = left.saturating_sub(count.saturating_mul(size));
            let is_second = at == largest.saturating_add(1);
            if at == largest || is_second && count > 0 {
                if is_second {
                    text.char(' ');
                }
                text.number(count.min(9999) as u32, 1);
                text.char(' ');
                text.say(name);
            }
        }
    }

    /// A window: minutes, and hours where there are more than 240 min.
    pub(super) fn window(&self, text: &mut Text, ms: u32) {
        let min = u64::from(ms).div_ceil(MINUTE_MS);
        if min <= 240 {
            text.number(min as u32, 1);
            text.say(" min");
        } else {
            text.number((min / 60) as u32, 1);
            text.say(" h");
        }
    }

    /// A minute of the day.
    pub(super) fn minute(&self, text: &mut Text, minute: u32) {
        let hour = minute / 60 % 24;
        if self.twelve_hours {
            text.number(if hour.is_multiple_of(12) { 12 } else { hour % 12 }, 1);
        } else {
            text.number(hour, 2);
        }
        text.char(':');
        text.number(minute % 60, 2);
        if self.twelve_hours {
            text.say(if hour < 12 { "am" } else { "pm" });
        }
    }

    pub(super) fn weekday(&self, text: &mut Text, index: u32) {
        some_of(text, self.words.weekdays, index as usize * 2, 2);
    }

    /// Day and month.
    fn day(&self, text: &mut Text, date: Date) {
        let (_, month, day) = date.ymd();
        text.number(u32::from(day), 1);
        text.char(' ');
        some_of(text, self.words.months, usize::from(month).saturating_sub(1) * 3, 3);
    }

    /// `20 Oct 26`.
    pub(super) fn date(&self, text: &mut Text, date: Date) {
        self.day(text, date);
        text.char(' ');
        text.number(date.ymd().0.unsigned_abs() % 100, 2);
    }

    /// `Tu 20 Oct 2026`.
    pub(super) fn long_date(&self, text: &mut Text, date: Date) {
        self.weekday(text, date.weekday().index());
        text.char(' ');
        self.day(text, date);
        text.char(' ');
        text.number(date.ymd().0.unsigned_abs(), 4);
    }

    /// A time near by as weekday and time, else as its date.
    pub(super) fn when(&self, text: &mut Text, at: Local, now: Local) {
        let days = at.date().days().saturating_sub(now.date().days());
        if (-6..=6).contains(&days) {
            self.weekday(text, at.date().weekday().index());
            text.char(' ');
            self.minute(text, minute_of(at));
        } else {
            self.date(text, at.date());
        }
    }

    /// The set of days, `every day` where it is all of them.
    pub(super) fn days(&self, text: &mut Text, days: Days, by_night: bool) {
        let Words { every_day, every_night, .. } = self.words;
        if days == Days::ALL {
            return text.say(if by_night { every_night } else { every_day });
        }
        if days.is_empty() {
            return text.char('-');
        }
        // a row of three or more as its ends
        let bits = days.bits();
        let first = bits.trailing_zeros();
        let row = u32::from(bits) >> first;
        if days.len() > 2 && (row & row.wrapping_add(1)) == 0 {
            self.weekday(text, first);
            text.char('-');
            self.weekday(text, first.saturating_add(days.len()).saturating_sub(1));
            return;
        }
        for day in Weekday::ALL {
            if days.contains(day) {
                self.weekday(text, day.index());
            }
        }
    }
}

/// Ten to the power of so many decimals, at most three.
const fn ten_to(decimals: u32) -> u32 {
    match decimals {
        0 => 1,
        1 => 10,
        2 => 100,
        _ => 1000,
    }
}

/// The minute of the day of a local time.
pub(super) const fn minute_of(local: Local) -> u32 {
    (local.as_ms().rem_euclid(DAY_MS) / MINUTE_MS as i64) as u32
}

fn some_of(text: &mut Text, of: &str, from: usize, count: usize) {
    for c in of.chars().skip(from).take(count) {
        text.char(c);
    }
}

/// A volume in ten to the power of minus `decimals` of a unit, rounded half up.
pub(super) fn value_of(volume: Volume, decimals: u32, unit: Unit, much: bool) -> u32 {
    let (num, den) = unit.volume(much).nanolitres();
    let scale = u64::from(ten_to(decimals)).saturating_mul(den);
    let value = over(volume.as_nl().saturating_mul(scale).saturating_add(num / 2), num);
    u32::try_from(value).unwrap_or(u32::MAX)
}

/// The volume that such a number stands for, rounded half up to the nanolitre.
pub(super) fn volume_of(value: u32, decimals: u32, unit: Unit, much: bool) -> Volume {
    let (num, den) = unit.volume(much).nanolitres();
    let scale = u64::from(ten_to(decimals)).saturating_mul(den);
    Volume::from_nl(over(u64::from(value).saturating_mul(num).saturating_add(scale / 2), scale))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_volume_comes_back_from_what_is_shown_of_it() {
        for unit in Unit::ALL {
            for much in [false, true] {
                for (value, decimals) in [(0, 0), (1, 2), (144, 0), (265, 1), (99_999, 1)] {
                    let volume = volume_of(value, decimals, unit, much);
                    let exact = Volume::from_decimal(u64::from(value), decimals, unit.volume(much));
                    assert_eq!(Some(volume), exact, "{value} {decimals} {unit:?}");
                    assert_eq!(value_of(volume, decimals, unit, much), value);
                }
            }
        }
    }
}
