//! Volumes, lengths, times and dates as they stand on a line.

use core::num::NonZeroU32;

use super::field::{Field, NO_WHEEL};
use super::pen::Pen;
use super::preferences::Unit;
use super::words::{self, Word};
use crate::civil::{DAY_MIN, Date, Days};
use crate::units::{Volume, VolumeUnit, over, over_up};

/// The largest whole number of a unit that is shown.
const MOST_SHOWN: u32 = 99_999;
pub(super) const MINUTE_MS: u32 = crate::civil::MINUTE_MS as u32;

/// Sizes of a millilitre, a litre, a US and an imperial fluid ounce.
static SIZES: [(u32, u32); 4] = {
    const fn size(unit: VolumeUnit) -> (u32, u32) {
        let (num, den) = unit.nanolitres();
        (num as u32, den as u32)
    }
    [
        size(VolumeUnit::Millilitre),
        size(VolumeUnit::Litre),
        size(VolumeUnit::UsFluidOunce),
        size(VolumeUnit::ImperialFluidOunce),
    ]
};

impl Unit {
    /// The unit of little, or of much.
    const fn of_volume(self, much: bool) -> Word {
        match self {
            Self::Metric if much => Word::Litre,
            Self::Metric => Word::Millilitre,
            _ => Word::FluidOunce,
        }
    }

    /// A unit's size in nanolitres as an exact fraction.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    fn size_of(self, unit: Word) -> (u32, u32) {
        let at = match unit {
            Word::Millilitre | Word::MillilitrePerMin => 0,
            // the litre of metric units, or an ounce
            _ => 1 + self as usize,
        };
        SIZES.get(at).copied().unwrap_or((1, 1))
    }

    /// A volume as a number of a field's unit with its decimals, rounded half up.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(super) fn value_of(self, field: Field, volume: Volume) -> u32 {
        let (num, den) = self.size_of(field.word);
        let scale = u64::from(ten_to(field.decimals()).wrapping_mul(den));
        // a million litres in thousandths of a sixteenth go into 64 bits
        let nl = volume.as_nl().min(1 << 50);
        let value = over(nl.wrapping_mul(scale).wrapping_add(u64::from(num / 2)), u64::from(num));
        u32::try_from(value).unwrap_or(u32::MAX)
    }

    /// The volume that such a number stands for, rounded half up to the nanolitre.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(super) fn volume_of(self, value: u32, field: Field) -> Volume {
        let (num, den) = self.size_of(field.word);
        let scale = u64::from(ten_to(field.decimals()).wrapping_mul(den));
        let nl = u64::from(value).wrapping_mul(u64::from(num));
        Volume::from_nl(over(nl.wrapping_add(scale / 2), scale))
    }
}

impl Pen<'_> {
    /// A number of a unit.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(super) fn count(&mut self, number: u32, unit: Word) -> &mut Self {
        self.number(number, 1).say(unit)
    }

    /// A volume: tenths of a millilitre where they are not nothing, litres from a
    /// litre on; fluid ounces with tenths below a hundred.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(super) fn volume(&mut self, volume: Volume) -> &mut Self {
        let unit = self.likes.unit.of_volume(volume >= Volume::from_ml(1000));
        let tenths = self.likes.unit.value_of(Field::number(0, 1, unit), volume);
        let (whole, tenth) = parted(tenths, 10);
        let with_tenths = match self.likes.unit {
            Unit::Metric => whole < 1000 && tenth > 0,
            _ => whole < 100,
        };
        if with_tenths { self.decimal(tenths, 1) } else { self.number(whole.min(MOST_SHOWN), 1) }
            .say(unit)
    }

    /// A length of time in its two largest parts: `3 d 4 h`, `2 h 5 min`, `4 min 32 s`.
    pub(super) fn length(&mut self, ms: u64) -> &mut Self {
        self.span(Word::D, ms)
    }

    /// The same of larger parts than a unit only where there are a thousand of that:
    /// `45 min`, `90 min`, `16 h 45 min`; the second part as far as there is room.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(super) fn span(&mut self, unit: Word, ms: u64) -> &mut Self {
        static PARTS: [(u32, Word); 4] =
            [(86_400, Word::D), (3600, Word::H), (60, Word::Min), (1, Word::S)];
        let mut left = u32::try_from(over_up(ms, 1000)).unwrap_or(u32::MAX);
        let mut shown = false;
        // a thousand hours, then a thousand minutes
        let mut most = 3_600_000;
        for &(size, part) in &PARTS {
            if (part as u8) < unit as u8 && left < most {
                most = parted(most, 60).0;
                continue;
            }
            let count;
            (count, left) = parted(left, size);
            if count > 0 || part == Word::S && !shown {
                // ` 59 min` or ` 59 s`, and a space before what is at the right
                if shown && self.left() < (if part == Word::Min { 8 } else { 6 }) {
                    break;
                }
                self.bracket(shown, ' ').count(count, part);
            }
            if shown {
                break;
            }
            shown = count > 0;
        }
        self
    }

    /// A window, in minutes as it is entered.
    pub(super) fn window(&mut self, ms: u32) -> &mut Self {
        self.span(Word::Min, u64::from(ms))
    }

    /// A minute of the day.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(super) fn minute(&mut self, minute: u32) -> &mut Self {
        self.field(Field::TIME, minute, NO_WHEEL)
    }

    pub(super) fn hour(&mut self, hour: u32) -> &mut Self {
        if self.likes.twelve_hours {
            let hour = if hour == 0 { 12 } else { hour };
            self.number(if hour > 12 { hour - 12 } else { hour }, 1)
        } else {
            self.number(hour, 2)
        }
    }

    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(super) fn weekday(&mut self, day: u32) -> &mut Self {
        self.say_of(words::WEEKDAYS, day as u16)
    }

    /// The weekday of a date, and a space.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    fn weekday_of(&mut self, date: Date) -> &mut Self {
        self.weekday(date.weekday().index()).space()
    }

    /// A month, counted from 1.
    pub(super) fn month(&mut self, month: u32) -> &mut Self {
        self.say_of(words::MONTHS - 1, month as u16)
    }

    /// `20 Oct 26`, or `20 Oct 2026`.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(super) fn date(&mut self, date: Date, whole_year: bool) -> &mut Self {
        let (year, month, day) = date.ymd();
        let year = year.unsigned_abs();
        let year = if whole_year { year } else { parted(year, 100).1 };
        self.number(u32::from(day), 1).space().month(u32::from(month)).space().number(year, 2)
    }

    /// `Tu 20 Oct 2026`.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(super) fn long_date(&mut self, date: Date) -> &mut Self {
        self.weekday_of(date).date(date, true)
    }

    /// At the right a time near by as weekday and time, else as its date, which it is too
    /// while the clock is not set.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(super) fn when(&mut self, at: Option<Minute>) -> &mut Self {
        self.tab();
        let Some(at) = at else { return self };
        let (date, minute) = at.parts();
        let today = self.now.map_or(0, |now| now.parts().0.days());
        if date.days().abs_diff(today) <= 6 {
            self.weekday_of(date).minute(minute)
        } else {
            self.date(date, false)
        }
    }

    /// The set of days, in one word where it is all of them.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(super) fn days(&mut self, days: Days, all: Word) -> &mut Self {
        let bits = u32::from(days.bits());
        if days == Days::ALL {
            return self.say(all);
        }
        if bits == 0 {
            return self.char('-');
        }
        // a row of three or more as its ends
        let first = bits & bits.wrapping_neg();
        let is_row = bits > 3 * first && bits & (bits + first) == 0;
        let mut day = 0;
        while bits >> day != 0 {
            // whether it is among them, with the days before and after
            let (is_on, is_inner) =
                (bits << 1 >> day & 0b10 != 0, bits << 1 >> day & 0b111 == 0b111);
            if is_on && !(is_row && is_inner) {
                let is_end = is_row && bits >> day == 1;
                self.bracket(is_end, '-').weekday(day);
            }
            day += 1;
        }
        self
    }
}

/// A minute by the device's clock, counted from 1970-01-01; never the first of all, so
/// that a clock that is not set takes no more room.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(super) struct Minute(pub(super) NonZeroU32);

impl Minute {
    /// Its date, and the minute of the day.
    pub(super) const fn parts(self) -> (Date, u32) {
        parts(self.0.get())
    }
}

/// The date of minutes from 1970-01-01 on, and the minute of the day.
#[cfg_attr(target_pointer_width = "32", inline(never))]
pub(super) const fn parts(minutes: u32) -> (Date, u32) {
    let (days, minute) = parted(minutes, DAY_MIN);
    (Date::from_days(days as i32), minute)
}

/// How often a number goes into another, and what is left; never, where it is 0. Called, it
/// takes less room than most divisions by a constant.
#[cfg_attr(target_pointer_width = "32", inline(never))]
pub(super) const fn parted(number: u32, by: u32) -> (u32, u32) {
    match number.checked_div(by) {
        Some(times) => (times, number.wrapping_sub(times.wrapping_mul(by))),
        None => (0, number),
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_volume_comes_back_from_what_is_shown_of_it() {
        for unit in Unit::ALL {
            for much in [false, true] {
                for (value, decimals) in [(0, 0), (1, 2), (144, 0), (265, 1), (99_999, 1)] {
                    let word = unit.of_volume(much);
                    let field = Field::number(5, decimals, word);
                    let volume = unit.volume_of(value, field);
                    let exact = Volume::from_decimal(
                        u64::from(value),
                        u32::from(decimals),
                        unit.volume(much),
                    );
                    assert_eq!(Some(volume), exact, "{value} {decimals} {unit:?}");
                    assert_eq!(unit.value_of(field, volume), value);
                }
            }
        }
    }
}
