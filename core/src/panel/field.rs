//! What is entered by the knob: a value of some wheels, one of which a turn moves and
//! a press leaves for the next.
//!
//! A wheel is a digit of the value: of base 10 in a number, of 24, 6 and 10 in a time,
//! of 2 in a set of days. Wheel 0 stands for the whole value.

use super::pen::{Pen, digit_char};
use super::words::Word;
use crate::civil::{Date, Days, days_in_month};
use crate::lock::Pin;

/// No wheel is being turned.
pub(super) const NO_WHEEL: u8 = u8::MAX;
/// A number that nobody has entered yet.
pub(super) const BLANK: u32 = u32::MAX;
/// The place after the last digit of a PIN.
const END: u32 = 10;
/// A PIN of which nothing is entered: four zeros, and no more.
pub(super) const NO_PIN: u32 = END * (1 + 11 + 11 * 11 + 11 * 11 * 11);
/// A set of days that is entered day by day.
const OWN: u32 = 0x80;
/// Before it every day, Monday to Saturday and Monday to Friday are proposed.
const OWN_AT: u32 = 3;
/// The first year of a date, and how many there are.
const FIRST_YEAR: i32 = 2000;
const FIRST_DATE: Date = Date::MIN;
const YEARS: u8 = 179;

/// How many digits the wheels of a time and of a date have.
static TIME: [u8; 3] = [24, 6, 10];
static DATE: [u8; 3] = [YEARS, 12, 31];

/// The kind of a value.
#[derive(Clone, Copy, Debug)]
#[repr(u8)]
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
    /// Digits in base 11.
    Pin,
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

    /// How many digits a wheel has, counted from 1.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    fn base(self, at: u8) -> u32 {
        let bases = match self {
            Self::Number { .. } => return 10,
            Self::Days { .. } => return 2,
            Self::Pin => return 11,
            Self::Choice { count, .. } => return u32::from(count),
            Self::Time => &TIME,
            Self::Date => &DATE,
        };
        bases.get(usize::from(at).wrapping_sub(1)).map_or(1, |&base| u32::from(base))
    }

    /// What a step of a wheel is in the value.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    fn place(self, at: u8) -> u32 {
        if let Self::Days { .. } = self {
            return 1 << (at.wrapping_sub(1) & 7);
        }
        let (mut place, mut wheel) = (1_u32, self.wheels());
        while wheel > at {
            place = place.wrapping_mul(self.base(wheel));
            wheel -= 1;
        }
        place
    }

    /// The digit of a wheel, without a way to panic.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    fn digit(self, value: u32, at: u8) -> u32 {
        let left = value.checked_div(self.place(at)).unwrap_or(0);
        left.checked_rem(self.base(at)).unwrap_or(0)
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
        let digit = self.digit(value, wheel);
        let count = match self {
            Self::Date if wheel == 3 => month_len(value),
            // a PIN has four digits at least
            Self::Pin if wheel < 5 => 10,
            _ => self.base(wheel),
        };
        let step = round(digit, count, right).wrapping_sub(digit);
        let mut value = value.wrapping_add(step.wrapping_mul(self.place(wheel)));
        if matches!(self, Self::Date) {
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

    /// Whether the wheel stands after the last digit of a PIN: none of the first four does.
    pub(super) fn ends_at(self, value: u32, wheel: u8) -> bool {
        matches!(self, Self::Pin) && self.digit(value, wheel) == END
    }
}

impl Pen<'_> {
    /// A value, with brackets round the wheel that is being turned; those round the
    /// whole, and the words of a choice, are the caller's.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(super) fn field(&mut self, field: Field, value: u32, wheel: u8) -> &mut Self {
        let is_turned = wheel != 0 && wheel != NO_WHEEL;
        match field {
            Field::Days { .. } if wheel == 0 && value & OWN != 0 => {
                return self.say(Word::OneByOne);
            }
            Field::Days { by_night } if !is_turned => {
                return self.days(days_of(value), by_night);
            }
            Field::Number { decimals, .. } if !is_turned && value != BLANK => {
                self.decimal(value, u32::from(decimals));
            }
            _ => self.wheels(field, value, wheel),
        }
        match field {
            Field::Number { unit, .. } => self.unit(unit),
            Field::Time if self.likes.twelve_hours => {
                self.say(if value < 720 { Word::Am } else { Word::Pm })
            }
            _ => self,
        }
    }

    /// A value wheel by wheel.
    fn wheels(&mut self, field: Field, value: u32, wheel: u8) {
        let mut at = 0;
        while at < field.wheels() {
            at += 1;
            let digit = field.digit(value, at);
            let is_beyond = at > wheel || wheel == NO_WHEEL && digit == END;
            if matches!(field, Field::Pin) && is_beyond {
                break;
            }
            let is_turned = at == wheel;
            self.part_at(field, at);
            self.bracket(is_turned, '[');
            if value == BLANK {
                self.char('_');
            } else {
                self.figure(field, digit, at, is_turned);
            }
            self.bracket(is_turned, ']');
        }
    }

    /// What parts a wheel from the one before.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    fn part_at(&mut self, field: Field, at: u8) {
        match field {
            // there is no wheel after the last
            Field::Number { digits, decimals, .. } if at + decimals == digits + 1 => {
                self.say(Word::Point);
            }
            Field::Time if at == 2 => {
                self.char(':');
            }
            Field::Date if at > 1 => {
                self.space();
            }
            _ => {}
        }
    }

    /// What a wheel shows. Of a PIN the digit that is being turned is shown alone.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    fn figure(&mut self, field: Field, digit: u32, at: u8, is_turned: bool) -> &mut Self {
        match (field, at) {
            (Field::Time, 1) => self.hour(digit),
            (Field::Date, 1) => self.number(digit.wrapping_add(FIRST_YEAR as u32), 4),
            (Field::Date, 2) => self.month(digit + 1),
            (Field::Date, _) => self.number(digit + 1, 2),
            (Field::Days { .. }, _) if digit == 1 => self.weekday(u32::from(at - 1)),
            (Field::Days { .. }, _) => self.char('-').char('-'),
            (Field::Pin, _) if !is_turned => self.char('*'),
            (Field::Pin, _) if digit == END => self.space(),
            _ => self.char(digit_char(digit)),
        }
    }

    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(super) fn bracket(&mut self, is_there: bool, bracket: char) -> &mut Self {
        if is_there { self.char(bracket) } else { self }
    }
}

/// Days of the month of a date.
#[cfg_attr(target_pointer_width = "32", inline(never))]
fn month_len(value: u32) -> u32 {
    let (year, month) = (Field::Date.digit(value, 1), Field::Date.digit(value, 2));
    u32::from(days_in_month(FIRST_YEAR + year as i32, month as u8 + 1))
}

/// A date as it is entered.
pub(super) fn from_date(date: Date) -> u32 {
    let (year, month, day) = date.max(Date::MIN).ymd();
    let months = (year - FIRST_YEAR) as u32 * 12 + u32::from(month) - 1;
    months * 31 + u32::from(day) - 1
}

/// The date that was entered.
#[cfg_attr(target_pointer_width = "32", inline(never))]
pub(super) fn to_date(value: u32) -> Date {
    let (years, months) = (Field::Date.digit(value, 1), Field::Date.digit(value, 2));
    // of the years that can be entered each fourth from 2000 on has a day more, but 2100
    let mut days = years * 365 + years.div_ceil(4) - u32::from(years > 100);
    let mut month = 0;
    while month < months {
        month += 1;
        days += u32::from(days_in_month(FIRST_YEAR + years as i32, month as u8));
    }
    FIRST_DATE.plus_days((days + Field::Date.digit(value, 3)) as i32)
}

/// The PIN that was entered: it has four digits at least, and places for eight.
#[cfg_attr(target_pointer_width = "32", inline(never))]
pub(super) fn pin(value: u32) -> Pin {
    // with a one before the digits, so that zeros in front count
    let mut word = 1_u32;
    let mut at = 1;
    while at <= 8 {
        let digit = Field::Pin.digit(value, at);
        if digit == END {
            break;
        }
        word = word.wrapping_mul(10).wrapping_add(digit);
        at += 1;
    }
    Pin::with_a_one_before(word)
}

/// The value of a set of days.
pub(super) fn days_value(days: Days) -> u32 {
    let bits = u32::from(days.bits());
    // a row from Monday on, to Friday at least
    if bits & (bits + 1) == 0 && bits >= 0x1f { bits } else { bits | OWN }
}

/// The set of days that was entered.
pub(super) const fn days_of(value: u32) -> Days {
    Days::from_bits((value & 0x7f) as u8)
}

/// The set of days that a turn proposes; the days one by one keep those of before.
fn next_preset(value: u32, right: bool) -> u32 {
    // the more zeros before them, the fewer days; one less than for all of them is OWN
    let at = value.leading_zeros().wrapping_sub(25) & OWN_AT;
    let next = round(at, OWN_AT + 1, right);
    if next < OWN_AT { 0x7f >> next } else { value | OWN }
}
