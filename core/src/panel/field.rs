//! What is entered by the knob: a value of some wheels, one of which a turn moves and
//! a press leaves for the next.

use super::screen::{Text, digit_char};
use super::show::Style;
use crate::civil::{Date, Days, days_in_month};

/// A number that nobody has entered yet.
pub(super) const BLANK: u32 = u32::MAX;
/// The place after the last digit of a PIN.
const END: u32 = 10;
/// A PIN of which nothing is entered: four zeros, and no more.
pub(super) const NO_PIN: u32 = {
    let (mut value, mut place, mut at) = (0, 1, 0);
    while at < 8 {
        value += if at < 4 { 0 } else { END * place };
        place *= 11;
        at += 1;
    }
    value
};
/// A set of days that is entered day by day.
const OWN: u32 = 0x80;
const PRESETS: [u32; 4] = [0x7f, 0x3f, 0x1f, OWN];

/// The kind of a value.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Field {
    /// Digits in all, of them so many after the point, and a unit.
    Number { digits: u8, decimals: u8, unit: &'static str },
    /// A minute of the day.
    Time,
    /// Days since 1970-01-01.
    Date,
    /// A set of weekdays; `OWN` where it is entered day by day.
    Days { by_night: bool },
    /// One of so many words.
    Choice(u8),
    /// Digits in base 11, the first in the lowest place.
    Pin,
}

const fn power(base: u32, exponent: u8) -> u32 {
    base.saturating_pow(exponent as u32)
}

/// The digit of a base at a place, without a way to panic: 0 where there is no place.
fn digit_of(value: u32, place: u32, base: u32) -> u32 {
    value.checked_div(place).and_then(|left| left.checked_rem(base)).unwrap_or(0)
}

const fn rest(value: u32, of: u32) -> u32 {
    match value.checked_rem(of) {
        Some(rest) => rest,
        None => 0,
    }
}

/// The one after or before in a circle of so many from `first`.
const fn round(value: u32, first: u32, count: u32, right: bool) -> u32 {
    let at = value.saturating_sub(first);
    let count = if count == 0 { 1 } else { count };
    let next = if right { at.saturating_add(1) } else { at.saturating_add(count - 1) };
    first.saturating_add(rest(next, count))
}

impl Field {
    /// Whether the first wheel stands for the whole value: a press takes it as it is, a
    /// turn goes into its digits.
    const fn is_whole(&self, wheel: u8) -> bool {
        matches!(self, Self::Number { .. } | Self::Time | Self::Date) && wheel == 0
    }

    /// The wheel to begin with.
    pub(super) const fn first(&self, value: u32) -> u8 {
        matches!(self, Self::Number { .. }) as u8 & (value == BLANK) as u8
    }

    /// A turn: the value and the wheel after it.
    pub(super) fn turn(&self, value: u32, wheel: u8, right: bool) -> (u32, u8) {
        if self.is_whole(wheel) {
            return (value, 1);
        }
        (self.turned(value, wheel, right), wheel)
    }

    /// The value after a turn of a wheel.
    fn turned(&self, value: u32, wheel: u8, right: bool) -> u32 {
        match *self {
            Self::Number { digits, .. } => {
                let value = if value == BLANK { 0 } else { value };
                let place = power(10, digits.saturating_sub(wheel)).max(1);
                let digit = digit_of(value, place, 10);
                let without = value.saturating_sub(digit.saturating_mul(place));
                without.saturating_add(round(digit, 0, 10, right).saturating_mul(place))
            }
            Self::Time => {
                let (hour, tens, ones) = (value / 60 % 24, value % 60 / 10, value % 10);
                match wheel {
                    1 => round(hour, 0, 24, right) * 60 + tens * 10 + ones,
                    2 => hour * 60 + round(tens, 0, 6, right) * 10 + ones,
                    _ => hour * 60 + tens * 10 + round(ones, 0, 10, right),
                }
            }
            Self::Date => turned_date(value, wheel, right),
            Self::Days { .. } => {
                if let Some(day) = wheel.checked_sub(1) {
                    return value ^ (1 << day.min(6));
                }
                let at = PRESETS.iter().position(|&preset| preset == value).unwrap_or(3) as u32;
                let at = round(at, 0, 4, right) as usize;
                match PRESETS.get(at) {
                    Some(&OWN) | None => value & 0x7f | OWN,
                    Some(&preset) => preset,
                }
            }
            Self::Choice(count) => round(value, 0, u32::from(count), right),
            Self::Pin => {
                let place = power(11, wheel);
                let digit = digit_of(value, place, 11);
                let count = if wheel < 4 { 10 } else { 11 };
                let without = value.saturating_sub(digit.saturating_mul(place));
                without.saturating_add(round(digit, 0, count, right).saturating_mul(place))
            }
        }
    }

    /// The wheel after this one; `None` after the last.
    pub(super) fn next(&self, value: u32, wheel: u8) -> Option<u8> {
        let next = wheel.saturating_add(1);
        let count = match *self {
            _ if self.is_whole(wheel) => 1,
            Self::Number { digits, .. } => digits.saturating_add(1),
            Self::Time | Self::Date => 4,
            Self::Days { .. } => {
                if value & OWN == 0 {
                    1
                } else {
                    8
                }
            }
            Self::Choice(_) => 1,
            Self::Pin if self.ends_at(value, wheel) => wheel,
            Self::Pin => 8,
        };
        (next < count).then_some(next)
    }

    /// Whether the wheel stands after the last digit of a PIN.
    pub(super) fn ends_at(&self, value: u32, wheel: u8) -> bool {
        matches!(self, Self::Pin) && wheel >= 4 && digit_of(value, power(11, wheel), 11) == END
    }

    /// The value, with brackets round the wheel that is being turned. What a choice
    /// stands for is given with it.
    pub(super) fn show(
        &self,
        style: &Style,
        text: &mut Text,
        value: u32,
        wheel: Option<u8>,
        choice: &str,
    ) {
        if wheel.is_some_and(|wheel| self.is_whole(wheel)) {
            text.char('[');
            self.show_parts(style, text, value, None, choice);
            return text.char(']');
        }
        self.show_parts(style, text, value, wheel, choice);
    }

    fn show_parts(
        &self,
        style: &Style,
        text: &mut Text,
        value: u32,
        wheel: Option<u8>,
        choice: &str,
    ) {
        match *self {
            Self::Number { decimals, unit, .. } if wheel.is_none() && value != BLANK => {
                style.decimal(text, value, 1, u32::from(decimals));
                text.char(' ');
                text.say(unit);
            }
            Self::Number { digits, decimals, unit } => {
                for at in 0..digits {
                    if decimals > 0 && at == digits.saturating_sub(decimals) {
                        text.char(if style.words.comma { ',' } else { '.' });
                    }
                    let place = power(10, digits.saturating_sub(at).saturating_sub(1)).max(1);
                    let c =
                        if value == BLANK { '_' } else { digit_char(digit_of(value, place, 10)) };
                    part(text, wheel, at.saturating_add(1), |text| text.char(c));
                }
                text.char(' ');
                text.say(unit);
            }
            Self::Time => {
                let hour = value / 60 % 24;
                part(text, wheel, 1, |text| {
                    if style.twelve_hours {
                        text.number(if hour.is_multiple_of(12) { 12 } else { hour % 12 }, 1);
                    } else {
                        text.number(hour, 2);
                    }
                });
                text.char(':');
                part(text, wheel, 2, |text| text.number(value % 60 / 10, 1));
                part(text, wheel, 3, |text| text.number(value % 10, 1));
                if style.twelve_hours {
                    text.say(if hour < 12 { "am" } else { "pm" });
                }
            }
            Self::Date => {
                let date = Date::from_days(value as i32);
                let (year, month, day) = date.ymd();
                part(text, wheel, 1, |text| text.number(year.unsigned_abs(), 4));
                text.char(' ');
                let from = usize::from(month).saturating_sub(1) * 3;
                part(text, wheel, 2, |text| {
                    for c in style.words.months.chars().skip(from).take(3) {
                        text.char(c);
                    }
                });
                text.char(' ');
                part(text, wheel, 3, |text| text.number(u32::from(day), 2));
            }
            Self::Days { by_night } => {
                let days = Days::from_bits((value & 0x7f) as u8);
                match wheel {
                    Some(0) if value & OWN != 0 => {
                        part(text, wheel, 0, |text| text.say(style.words.one_by_one));
                    }
                    None | Some(0) => part(text, wheel, 0, |text| style.days(text, days, by_night)),
                    Some(_) => {
                        for day in 0..7_u8 {
                            let on = value >> day & 1 == 1;
                            part(text, wheel, day.saturating_add(1), |text| {
                                if on {
                                    style.weekday(text, u32::from(day));
                                } else {
                                    text.say("--");
                                }
                            });
                        }
                    }
                }
            }
            Self::Choice(_) => part(text, wheel, 0, |text| text.say(choice)),
            Self::Pin => {
                for at in 0..8_u8 {
                    let digit = digit_of(value, power(11, at), 11);
                    let shown = match wheel {
                        Some(wheel) if at == wheel && digit == END => ' ',
                        Some(wheel) if at == wheel => digit_char(digit),
                        Some(wheel) if at > wheel => break,
                        None if digit == END => break,
                        _ => '*',
                    };
                    part(text, wheel, at, |text| text.char(shown));
                }
            }
        }
    }
}

/// One wheel, in brackets where it is the one that is turned.
fn part(text: &mut Text, wheel: Option<u8>, at: u8, say: impl FnOnce(&mut Text)) {
    let on = wheel == Some(at);
    if on {
        text.char('[');
    }
    say(text);
    if on {
        text.char(']');
    }
}

/// The digits of a PIN, as far as there are any.
pub(super) fn digits_of(value: u32) -> ([u8; 8], usize) {
    let mut digits = [0; 8];
    let mut len = 0;
    for (at, place) in digits.iter_mut().enumerate() {
        let digit = digit_of(value, power(11, at as u8), 11);
        if digit == END {
            break;
        }
        *place = b'0'.saturating_add(digit as u8);
        len = at.saturating_add(1);
    }
    (digits, len)
}

fn turned_date(value: u32, wheel: u8, right: bool) -> u32 {
    let (year, month, day) = Date::from_days(value as i32).ymd();
    let (year, month, day) = match wheel {
        1 => (round(year.unsigned_abs(), 2000, 179, right) as i32, month, day),
        2 => (year, round(u32::from(month), 1, 12, right) as u8, day),
        _ => {
            let most = u32::from(days_in_month(year, month));
            (year, month, round(u32::from(day), 1, most, right) as u8)
        }
    };
    let day = day.min(days_in_month(year, month));
    Date::from_ymd(year, month, day).map_or(value, |date| date.days().unsigned_abs())
}

/// The value of a set of days.
pub(super) fn days_value(days: Days) -> u32 {
    let bits = u32::from(days.bits());
    if PRESETS.contains(&bits) { bits } else { bits | OWN }
}
