//! Volumes, lengths, times and dates as they stand on a line.

use super::field::{Field, NO_WHEEL};
use super::pen::{Pen, Style};
use super::preferences::Unit;
use super::words::{self, Word};
use crate::civil::{DAY_MS, Date, Days, Local};
use crate::time::Duration;
use crate::units::{Volume, VolumeUnit, over, over_up};

/// The largest whole number of a unit that is shown.
const MOST_SHOWN: u32 = 99_999;
pub(super) const MINUTE_MS: u32 = 60_000;

impl Style {
    /// The unit of little, or of much.
    pub(super) const fn volume_unit(&self, much: bool) -> Word {
        match self.unit {
            Unit::Metric if much => Word::Litre,
            Unit::Metric => Word::Millilitre,
            _ => Word::FluidOunce,
        }
    }
}

impl Unit {
    /// A unit's size in nanolitres as an exact fraction.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    const fn size_of(self, unit: Word) -> (u32, u32) {
        let (num, den) = match (unit, self) {
            (Word::Litre, _) => VolumeUnit::Litre,
            (Word::Millilitre | Word::MillilitrePerMin, _) => VolumeUnit::Millilitre,
            (_, Self::ImperialFluidOunce) => VolumeUnit::ImperialFluidOunce,
            _ => VolumeUnit::UsFluidOunce,
        }
        .nanolitres();
        (num as u32, den as u32)
    }

    /// A volume in ten to the power of minus `decimals` of a unit, rounded half up.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(super) fn value_of(self, volume: Volume, decimals: u8, unit: Word) -> u32 {
        let (num, den) = self.size_of(unit);
        let scale = u64::from(ten_to(decimals).wrapping_mul(den));
        // a million litres in thousandths of a sixteenth go into 64 bits
        let nl = volume.as_nl().min(1 << 50);
        let value = over(nl.wrapping_mul(scale).wrapping_add(u64::from(num / 2)), u64::from(num));
        u32::try_from(value).unwrap_or(u32::MAX)
    }

    /// The volume that such a number stands for, rounded half up to the nanolitre.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(super) fn volume_of(self, value: u32, decimals: u8, unit: Word) -> Volume {
        let (num, den) = self.size_of(unit);
        let scale = u64::from(ten_to(decimals).wrapping_mul(den));
        let nl = u64::from(value).wrapping_mul(u64::from(num));
        Volume::from_nl(over(nl.wrapping_add(scale / 2), scale))
    }
}

impl Pen<'_> {
    /// A number of so many tenths, hundredths, ...
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(super) fn decimal(&mut self, value: u32, decimals: u8) {
        let scale = ten_to(decimals);
        let whole = value.checked_div(scale).unwrap_or(0);
        self.number(whole, 1);
        if decimals > 0 {
            self.say(Word::Point);
            self.number(value.wrapping_sub(whole.wrapping_mul(scale)), u32::from(decimals));
        }
    }

    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(super) fn unit(&mut self, unit: Word) {
        self.char(' ');
        self.say(unit);
    }

    /// A volume: tenths of a millilitre where they are not nothing, litres from a
    /// litre on; fluid ounces with tenths below a hundred.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(super) fn volume(&mut self, volume: Volume) {
        let unit = self.style.volume_unit(volume >= Volume::from_ml(1000));
        let tenths = self.style.unit.value_of(volume, 1, unit);
        let whole = tenths / 10;
        let with_tenths = match self.style.unit {
            Unit::Metric => whole < 1000 && tenths != whole * 10,
            _ => whole < 100,
        };
        if with_tenths {
            self.decimal(tenths, 1);
        } else {
            self.number(whole.min(MOST_SHOWN), 1);
        }
        self.unit(unit);
    }

    /// A length of time in its two largest parts: `3 d 4 h`, `2 h 5 min`, `4 min 32 s`.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(super) fn length(&mut self, length: Duration) {
        const PARTS: [(u32, Word); 4] =
            [(86_400, Word::D), (3600, Word::H), (60, Word::Min), (1, Word::S)];
        let mut left = u32::try_from(over_up(length.as_ms(), 1000)).unwrap_or(u32::MAX);
        let mut shown = false;
        for &(size, unit) in &PARTS {
            let count = left.checked_div(size).unwrap_or(0);
            left = left.wrapping_sub(count.wrapping_mul(size));
            let is_nothing = count == 0 && (shown || size > 1);
            if shown && !is_nothing {
                self.char(' ');
            }
            if !is_nothing {
                self.number(count.min(9999), 1);
                self.unit(unit);
            }
            if shown {
                return;
            }
            shown = !is_nothing;
        }
    }

    /// A window: minutes, and hours where there are more than 240 min.
    pub(super) fn window(&mut self, ms: u32) {
        let min = over_up(u64::from(ms), u64::from(MINUTE_MS)) as u32;
        let (count, unit) = if min <= 240 { (min, Word::Min) } else { (min / 60, Word::H) };
        self.number(count, 1);
        self.unit(unit);
    }

    /// A minute of the day.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(super) fn minute(&mut self, minute: u32) {
        Field::Time.show(self, minute, NO_WHEEL);
    }

    pub(super) fn hour(&mut self, hour: u32) {
        if self.style.twelve_hours {
            let hour = if hour == 0 { 12 } else { hour };
            self.number(if hour > 12 { hour - 12 } else { hour }, 1);
        } else {
            self.number(hour, 2);
        }
    }

    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(super) fn weekday(&mut self, day: u32) {
        self.say_of(words::WEEKDAYS, day as u16);
    }

    /// The weekday of a date, and a space.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    fn weekday_of(&mut self, date: Date) {
        self.weekday(date.weekday().index());
        self.char(' ');
    }

    /// A month, counted from 1.
    pub(super) fn month(&mut self, month: u32) {
        self.say_of(words::MONTHS, (month as u16).saturating_sub(1));
    }

    /// `20 Oct 26`, or `20 Oct 2026`.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(super) fn date(&mut self, date: Date, whole_year: bool) {
        let (year, month, day) = date.ymd();
        let year = year.unsigned_abs();
        self.number(u32::from(day), 1);
        self.char(' ');
        self.month(u32::from(month));
        self.char(' ');
        self.number(if whole_year { year } else { year % 100 }, 2);
    }

    /// `Tu 20 Oct 2026`.
    pub(super) fn long_date(&mut self, date: Date) {
        self.weekday_of(date);
        self.date(date, true);
    }

    /// A time near by as weekday and time, else as its date.
    pub(super) fn when(&mut self, at: Local, now: Local) {
        let ((date, minute), (today, _)) = (parts(at), parts(now));
        if date.days().abs_diff(today.days()) <= 6 {
            self.weekday_of(date);
            self.minute(minute);
        } else {
            self.date(date, false);
        }
    }

    /// The set of days, `every day` where it is all of them.
    pub(super) fn days(&mut self, days: Days, by_night: bool) {
        let bits = u32::from(days.bits());
        if days == Days::ALL {
            return self.say(if by_night { Word::EveryNight } else { Word::EveryDay });
        }
        if bits == 0 {
            return self.char('-');
        }
        let (first, after) = (bits.trailing_zeros(), 32 - bits.leading_zeros());
        // a row of three or more as its ends
        let row = bits >> first;
        let is_row = row > 0b11 && row & (row + 1) == 0;
        for day in first..after {
            let is_end = day == first || day + 1 == after;
            if is_row && day == first + 1 {
                self.char('-');
            }
            if bits >> day & 1 == 1 && (is_end || !is_row) {
                self.weekday(day);
            }
        }
    }
}

/// Ten to the power of so many decimals, at most three.
const fn ten_to(decimals: u8) -> u32 {
    power(10, decimals)
}

/// A power, at most the ninth.
#[cfg_attr(target_pointer_width = "32", inline(never))]
pub(super) const fn power(base: u32, exponent: u8) -> u32 {
    let (mut product, mut left) = (1_u32, exponent);
    while left > 0 {
        product = product.wrapping_mul(base);
        left -= 1;
    }
    product
}

/// The date of a local time, and its minute of the day. None is before 1970.
#[cfg_attr(target_pointer_width = "32", inline(never))]
pub(super) fn parts(local: Local) -> (Date, u32) {
    let ms = local.as_ms().max(0) as u64;
    let days = over(ms, DAY_MS as u64);
    let rest_ms = ms.wrapping_sub(days.wrapping_mul(DAY_MS as u64)) as u32;
    (Date::from_days(days as i32), rest_ms / MINUTE_MS)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::panel::Preferences;

    #[test]
    fn a_volume_comes_back_from_what_is_shown_of_it() {
        for unit in Unit::ALL {
            let style = Style::of(Preferences { unit, ..Preferences::default() });
            for much in [false, true] {
                for (value, decimals) in [(0, 0), (1, 2), (144, 0), (265, 1), (99_999, 1)] {
                    let word = style.volume_unit(much);
                    let volume = unit.volume_of(value, decimals, word);
                    let exact = Volume::from_decimal(
                        u64::from(value),
                        u32::from(decimals),
                        unit.volume(much),
                    );
                    assert_eq!(Some(volume), exact, "{value} {decimals} {unit:?}");
                    assert_eq!(unit.value_of(volume, decimals, word), value);
                }
            }
        }
    }
}
