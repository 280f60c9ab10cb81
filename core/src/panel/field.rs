//! What is entered by the knob: a value of some wheels, one of which a turn moves and
//! a press leaves for the next.
//!
//! A wheel is a digit of the value: of base 10 in a number, of 24, 6 and 10 in a time,
//! of 2 in a set of days. Wheel 0 stands for the whole value.

use super::figures::power;
use super::pen::{Pen, digit_char};
use super::words::Word;
use crate::civil::{Date, Days, days_in_month};

/// No wheel is being turned.
pub(super) const NO_WHEEL: u8 = u8::MAX;
/// A number that nobody has entered yet.
pub(super) const BLANK: u32 = u32::MAX;
/// The place after the last digit of a PIN.
const END: u32 = 10;
/// A PIN of which nothing is entered: four zeros, and no more.
pub(super) const NO_PIN: u32 = {
    let (mut value, mut at) = (0, 4);
    while at < 8 {
        value += END * power(11, at);
        at += 1;
    }
    value
};
/// A set of days that is entered day by day.
const OWN: u32 = 0x80;
const PRESETS: [u32; 4] = [0x7f, 0x3f, 0x1f, OWN];
/// The first year of a date, and how many there are.
const FIRST_YEAR: i32 = 2000;
const YEARS: u32 = 179;

/// The kind of a value.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Field {
    /// Digits in all, of them so many after the point, and a unit.
    Number { digits: u8, decimals: u8, unit: Word },
    /// A minute of the day.
    Time,
    /// Year, month and day ([`from_date`]).
    Date,
    /// A set of weekdays; `OWN` where it is entered day by day.
    Days { by_night: bool },
    /// One of so many words, from a first one on.
    Choice { first: Word, count: u8 },
    /// Digits in base 11, the first in the lowest place.
    Pin,
}

/// A digit of a value, without a way to panic: 0 where there is no place.
#[cfg_attr(target_pointer_width = "32", inline(never))]
const fn digit(value: u32, place: u32, base: u32) -> u32 {
    match value.checked_div(place) {
        Some(left) => match left.checked_rem(base) {
            Some(digit) => digit,
            None => 0,
        },
        None => 0,
    }
}

/// The next of so many in the round, or the one before.
const fn round(digit: u32, count: u32, right: bool) -> u32 {
    let last = count.saturating_sub(1);
    match right {
        true if digit >= last => 0,
        true => digit + 1,
        false if digit == 0 => last,
        false => digit - 1,
    }
}

impl Field {
    /// How many wheels it has beside the whole.
    const fn wheels(self) -> u8 {
        match self {
            Self::Number { digits, .. } => digits,
            Self::Time | Self::Date => 3,
            Self::Days { .. } => 7,
            Self::Choice { .. } => 0,
            Self::Pin => 8,
        }
    }

    /// Where a wheel is in the value: its place and its base.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    fn wheel(self, at: u8) -> (u32, u32) {
        let before = at.saturating_sub(1);
        let (base, exponent) = match self {
            Self::Number { digits, .. } => (10, digits.saturating_sub(at)),
            Self::Days { .. } => (2, before),
            Self::Pin => (11, before),
            Self::Choice { count, .. } => (u32::from(count), 0),
            Self::Time => match at {
                1 => return (60, 24),
                2 => return (10, 6),
                _ => (10, 0),
            },
            Self::Date => match at {
                1 => return (372, YEARS),
                2 => return (31, 12),
                _ => (31, 0),
            },
        };
        (power(base, exponent), base)
    }

    #[cfg_attr(target_pointer_width = "32", inline(never))]
    fn digit(self, value: u32, at: u8) -> u32 {
        let (place, base) = self.wheel(at);
        digit(value, place, base)
    }

    /// The wheel to begin with: the whole, where there is one to take as it is.
    pub(super) const fn first(self, value: u32) -> u8 {
        (value == BLANK || matches!(self, Self::Pin)) as u8
    }

    /// A turn: the value and the wheel after it. The whole of a number, a time or a
    /// date goes into its digits.
    pub(super) fn turn(self, value: u32, wheel: u8, right: bool) -> (u32, u8) {
        let value = match (self, wheel) {
            (Self::Number { .. } | Self::Time | Self::Date, 0) => return (value, 1),
            (Self::Days { .. }, 0) => return (next_preset(value, right), 0),
            _ if value == BLANK => 0,
            _ => value,
        };
        let (place, base) = self.wheel(wheel);
        let digit = digit(value, place, base);
        let count = match self {
            Self::Date if wheel == 3 => month_len(value),
            // a PIN has four digits at least
            Self::Pin if wheel < 5 => 10,
            _ => base,
        };
        let next = round(digit, count, right);
        let mut value = value.wrapping_add(next.wrapping_sub(digit).wrapping_mul(place));
        if self == Self::Date {
            // 31 January and a month on is its last day
            value -= (value % 31 + 1).saturating_sub(month_len(value));
        }
        (value, wheel)
    }

    /// The wheel after this one; `None` after the last.
    pub(super) fn next(self, value: u32, wheel: u8) -> Option<u8> {
        let has_digits = matches!(self, Self::Days { .. }) && value & OWN != 0;
        let is_last = match wheel {
            0 => !has_digits,
            _ => wheel >= self.wheels() || self.ends_at(value, wheel),
        };
        (!is_last).then_some(wheel.saturating_add(1))
    }

    /// Whether the wheel stands after the last digit of a PIN.
    pub(super) fn ends_at(self, value: u32, wheel: u8) -> bool {
        self == Self::Pin && wheel > 4 && self.digit(value, wheel) == END
    }

    /// The value, with brackets round the wheel that is being turned; those round the
    /// whole, and the words of a choice, are the caller's.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(super) fn show(self, pen: &mut Pen<'_>, value: u32, wheel: u8) {
        let is_turned = wheel != 0 && wheel != NO_WHEEL;
        match self {
            Self::Number { decimals, unit, .. } if !is_turned && value != BLANK => {
                pen.decimal(value, decimals);
                if unit != Word::Bare {
                    pen.unit(unit);
                }
                return;
            }
            Self::Days { .. } if wheel == 0 && value & OWN != 0 => {
                return pen.say(Word::OneByOne);
            }
            Self::Days { by_night } if !is_turned => {
                return pen.days(days_of(value), by_night);
            }
            _ => {}
        }
        for at in 1..=self.wheels() {
            let digit = self.digit(value, at);
            match self {
                Self::Number { digits, decimals, .. }
                    if decimals > 0 && at + decimals == digits + 1 =>
                {
                    pen.say(Word::Point);
                }
                Self::Time if at == 2 => pen.char(':'),
                Self::Date if at > 1 => pen.char(' '),
                Self::Pin if at > wheel || wheel == NO_WHEEL && digit == END => break,
                _ => {}
            }
            if at == wheel {
                pen.char('[');
            }
            if value == BLANK {
                pen.char('_');
            } else {
                self.figure(pen, digit, at, at == wheel);
            }
            if at == wheel {
                pen.char(']');
            }
        }
        match self {
            Self::Number { unit, .. } if unit != Word::Bare => pen.unit(unit),
            Self::Time if pen.style.twelve_hours => {
                pen.say(if value < 720 { Word::Am } else { Word::Pm });
            }
            _ => {}
        }
    }

    /// What a wheel shows. A PIN shows the digit that is being turned alone.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    fn figure(self, pen: &mut Pen<'_>, digit: u32, at: u8, is_turned: bool) {
        match (self, at) {
            (Self::Time, 1) => pen.hour(digit),
            (Self::Date, 1) => pen.number(digit.wrapping_add(FIRST_YEAR as u32), 4),
            (Self::Date, 2) => pen.month(digit + 1),
            (Self::Date, _) => pen.number(digit + 1, 2),
            (Self::Days { .. }, _) if digit == 1 => pen.weekday(u32::from(at - 1)),
            (Self::Days { .. }, _) => {
                pen.char('-');
                pen.char('-');
            }
            (Self::Pin, _) if !is_turned => pen.char('*'),
            (Self::Pin, _) if digit == END => pen.char(' '),
            _ => pen.char(digit_char(digit)),
        }
    }
}

/// Days of the month of a date: from its first to that of the next.
#[cfg_attr(target_pointer_width = "32", inline(never))]
fn month_len(value: u32) -> u32 {
    let first = value - value % 31;
    to_date(first + 31).days().abs_diff(to_date(first).days())
}

/// A date as it is entered.
pub(super) fn from_date(date: Date) -> u32 {
    let (year, month, day) = date.ymd();
    let years = year.saturating_sub(FIRST_YEAR).unsigned_abs();
    let months = years.wrapping_mul(12).wrapping_add(u32::from(month)).wrapping_sub(1);
    months.wrapping_mul(31).wrapping_add(u32::from(day)).wrapping_sub(1)
}

/// The date that was entered.
#[cfg_attr(target_pointer_width = "32", inline(never))]
pub(super) fn to_date(value: u32) -> Date {
    let [year, month, day] = [1, 2, 3].map(|wheel| Field::Date.digit(value, wheel));
    let year = FIRST_YEAR + year as i32;
    let before = (1..=month).map(|month| u32::from(days_in_month(year, month as u8)));
    Date::first_of(year).plus_days((before.sum::<u32>() + day) as i32)
}

/// The digits of a PIN, as far as there are any.
pub(super) fn digits_of(value: u32) -> ([u8; 8], usize) {
    let mut digits = [0; 8];
    let mut len = 0;
    let mut left = value;
    for place in &mut digits {
        let digit = left % 11;
        if digit == END {
            break;
        }
        *place = b'0' + digit as u8;
        (left, len) = (left / 11, len + 1);
    }
    (digits, len)
}

/// The value of a set of days.
pub(super) fn days_value(days: Days) -> u32 {
    let bits = u32::from(days.bits());
    if PRESETS.contains(&bits) { bits } else { bits | OWN }
}

/// The set of days that was entered.
pub(super) const fn days_of(value: u32) -> Days {
    Days::from_bits((value & 0x7f) as u8)
}

/// The set of days that a turn proposes; the days one by one keep those of before.
fn next_preset(value: u32, right: bool) -> u32 {
    let at = PRESETS.iter().position(|&preset| preset == value).unwrap_or(3) as u32;
    match PRESETS.get(round(at, 4, right) as usize) {
        Some(&preset) if preset != OWN => preset,
        _ => value & 0x7f | OWN,
    }
}
