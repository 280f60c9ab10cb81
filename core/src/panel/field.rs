//! What is entered by the knob: a value of some wheels, one of which a turn moves and
//! a press leaves for the next.
//!
//! A wheel is a digit of the value: of base 10 in a number, of 24, 6 and 10 in a time,
//! of 2 in a set of days. Wheel 0 stands for the whole value.

use super::figures::parted;
use super::pen::{Pen, digit_char};
use super::words::Word;
use crate::civil::{Date, Days, Year, days_in_month};
use crate::lock::Pin;

/// No wheel is being turned.
pub(super) const NO_WHEEL: u32 = 0xff;
/// A number that nobody has entered yet.
pub(super) const BLANK: u32 = u32::MAX;
/// The place after the last digit of a PIN.
const END: u32 = 10;
/// A PIN of which nothing is entered: four zeros, and no more.
pub(super) const NO_PIN: u32 = END * (1 + 11 + 11 * 11 + 11 * 11 * 11);
/// A set of days that is entered day by day.
const OWN: u32 = 0x80;
/// Before it every day, Monday to Saturday and Monday to Friday are proposed.
const WEEK: u32 = 0x7f;
const WORKWEEK: u32 = 0x1f;
/// The first year of a date, and how many there are.
const FIRST_YEAR: i32 = 2000;
const YEARS: u8 = 179;

/// How many digits the wheels of a time and of a date have.
static TIME: [u8; 3] = [24, 6, 10];
static DATE: [u8; 3] = [YEARS, 12, 31];

/// What the wheels of a value are.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
enum Form {
    /// Digits, of them so many after the point, and a unit.
    Number,
    /// A minute of the day.
    Time,
    /// Year, month and day ([`from_date`]).
    Date,
    /// A set of weekdays; `OWN` where it is entered day by day.
    Days,
    /// One of so many words, from a first one on.
    Choice,
    /// Digits in base 11.
    Pin,
}

/// The kind of a value. All kinds have the same parts, so that none has to be asked for what
/// it has of its own.
#[derive(Clone, Copy, Debug)]
#[repr(C)]
pub(super) struct Field {
    form: Form,
    /// How many wheels it has beside the whole.
    wheels: u8,
    /// Decimals of a number; of a choice, how many words there are.
    count: u8,
    /// The unit; of days the word for all of them, of a choice the first word.
    pub(super) word: Word,
}

/// The next of so many in the round, or the one before.
pub(super) const fn round(digit: u32, count: u32, right: bool) -> u32 {
    let step = if right { 1 } else { count.wrapping_sub(1) };
    parted(digit.wrapping_add(step), count).1
}

impl Field {
    // their word is never said: the first of all makes the shortest constant
    pub(super) const TIME: Self = Self::new(Form::Time, 3, 0, Word::Point);
    pub(super) const DATE: Self = Self::new(Form::Date, 3, 0, Word::Point);
    pub(super) const PIN: Self = Self::new(Form::Pin, 8, 0, Word::Point);
    pub(super) const NIGHTS: Self = Self::new(Form::Days, 7, 0, Word::EveryNight);
    pub(super) const DAYS: Self = Self::new(Form::Days, 7, 0, Word::EveryDay);

    const fn new(form: Form, wheels: u8, count: u8, word: Word) -> Self {
        Self { form, wheels, count, word }
    }

    /// A number of so many digits in all, of them so many after the point, and its unit.
    pub(super) const fn number(digits: u8, decimals: u8, unit: Word) -> Self {
        Self::new(Form::Number, digits, decimals, unit)
    }

    /// One of so many words, from a first one on; 0 where the device tells how many there
    /// are.
    pub(super) const fn choice(first: Word, count: u8) -> Self {
        Self::new(Form::Choice, 0, count, first)
    }

    /// It with so many words where the device is to tell how many there are.
    pub(super) fn or_of(self, count: u8) -> Self {
        if self.is_choice() && self.count == 0 { Self { count, ..self } } else { self }
    }

    pub(super) fn is_choice(self) -> bool {
        self.form == Form::Choice
    }

    pub(super) fn is_number(self) -> bool {
        self.form == Form::Number
    }

    /// Digits of a number.
    pub(super) const fn digits(self) -> u8 {
        self.wheels
    }

    /// Decimals of a number.
    pub(super) const fn decimals(self) -> u8 {
        self.count
    }

    /// How many digits a wheel has, counted from 1.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    fn base(self, at: u32) -> u32 {
        let bases = match self.form {
            Form::Number => return 10,
            Form::Days => return 2,
            Form::Pin => return 11,
            Form::Choice => return u32::from(self.count),
            Form::Time => &TIME,
            Form::Date => &DATE,
        };
        bases.get((at as usize).wrapping_sub(1)).map_or(1, |&base| u32::from(base))
    }

    /// What a step of a wheel is in the value.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    fn place(self, at: u32) -> u32 {
        if self.form == Form::Days {
            return 1 << (at.wrapping_sub(1) & 7);
        }
        let (mut place, mut wheel) = (1_u32, u32::from(self.wheels));
        while wheel > at {
            place = place.wrapping_mul(self.base(wheel));
            wheel -= 1;
        }
        place
    }

    /// The digit of a wheel.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    fn digit(self, value: u32, at: u32) -> u32 {
        parted(parted(value, self.place(at)).0, self.base(at)).1
    }

    /// The wheel to begin with: the whole, where there is one to take as it is.
    pub(super) fn first(self, value: u32) -> u32 {
        u32::from(value == BLANK || self.form == Form::Pin)
    }

    /// A turn: the value and the wheel after it. The whole of a number, a time or a
    /// date goes into its digits.
    pub(super) fn turn(self, value: u32, wheel: u32, right: bool) -> (u32, u32) {
        if wheel == 0 {
            match self.form {
                Form::Number | Form::Time | Form::Date => return (value, 1),
                Form::Days => return (next_preset(value, right), 0),
                Form::Choice | Form::Pin => {}
            }
        }
        let value = if value == BLANK { 0 } else { value };
        let digit = self.digit(value, wheel);
        let count = match self.form {
            Form::Date if wheel == 3 => month_len(value),
            // a PIN has four digits at least
            Form::Pin if wheel < 5 => 10,
            _ => self.base(wheel),
        };
        let step = round(digit, count, right).wrapping_sub(digit);
        let mut value = value.wrapping_add(step.wrapping_mul(self.place(wheel)));
        if self.form == Form::Date {
            // 31 January and a month on is its last day
            value -= (self.digit(value, 3) + 1).saturating_sub(month_len(value));
        }
        (value, wheel)
    }

    /// The wheel after this one; 0 after the last.
    pub(super) fn next(self, value: u32, wheel: u32) -> u32 {
        let is_last = match wheel {
            // days that are entered one by one have a wheel each
            0 => self.form != Form::Days || value & OWN == 0,
            _ => wheel >= u32::from(self.wheels) || self.ends_at(value, wheel),
        };
        if is_last { 0 } else { wheel + 1 }
    }

    /// Whether the wheel stands after the last digit of a PIN: none of the first four does.
    pub(super) fn ends_at(self, value: u32, wheel: u32) -> bool {
        self.form == Form::Pin && self.digit(value, wheel) == END
    }
}

impl Pen<'_> {
    /// A value, with brackets round the wheel that is being turned; those round the
    /// whole, and the words of a choice, are the caller's.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(super) fn field(&mut self, field: Field, value: u32, wheel: u32) -> &mut Self {
        let is_turned = wheel != 0 && wheel != NO_WHEEL;
        if field.form == Form::Days && !is_turned {
            return if wheel == 0 && value & OWN != 0 {
                self.say(Word::OneByOne)
            } else {
                self.days(days_of(value), field.word)
            };
        }
        if field.form == Form::Number && !is_turned && value != BLANK {
            self.decimal(value, u32::from(field.count));
        } else {
            self.wheels(field, value, wheel);
        }
        match field.form {
            Form::Number => self.say(field.word),
            Form::Time if self.likes.twelve_hours => {
                self.say(if value < 720 { Word::Am } else { Word::Pm })
            }
            _ => self,
        }
    }

    /// A value wheel by wheel.
    fn wheels(&mut self, field: Field, value: u32, wheel: u32) {
        let mut at = 0;
        while at < u32::from(field.wheels) {
            at += 1;
            let digit = field.digit(value, at);
            let is_beyond = at > wheel || wheel == NO_WHEEL && digit == END;
            if field.form == Form::Pin && is_beyond {
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
    fn part_at(&mut self, field: Field, at: u32) {
        match field.form {
            // there is no wheel after the last
            Form::Number if at + u32::from(field.count) == u32::from(field.wheels) + 1 => {
                self.say(Word::Point);
            }
            Form::Time if at == 2 => {
                self.char(':');
            }
            Form::Date if at > 1 => {
                self.space();
            }
            _ => {}
        }
    }

    /// What a wheel shows. Of a PIN the digit that is being turned is shown alone.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    fn figure(&mut self, field: Field, digit: u32, at: u32, is_turned: bool) -> &mut Self {
        match (field.form, at) {
            (Form::Time, 1) => self.hour(digit),
            (Form::Date, 1) => self.number(digit.wrapping_add(FIRST_YEAR as u32), 4),
            (Form::Date, 2) => self.month(digit + 1),
            (Form::Date, _) => self.number(digit + 1, 2),
            (Form::Days, _) if digit == 1 => self.weekday(at - 1),
            (Form::Days, _) => self.char('-').char('-'),
            (Form::Pin, _) if !is_turned => self.char('*'),
            (Form::Pin, _) if digit == END => self.space(),
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
    let (year, month) = (Field::DATE.digit(value, 1), Field::DATE.digit(value, 2));
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
    let (years, months) = (Field::DATE.digit(value, 1), Field::DATE.digit(value, 2));
    let mut days = Year::new(FIRST_YEAR + years as i32).jan1;
    let mut month = 0;
    while month < months {
        month += 1;
        days += i32::from(days_in_month(FIRST_YEAR + years as i32, month as u8));
    }
    Date::from_days(days + Field::DATE.digit(value, 3) as i32)
}

/// The PIN that was entered: it has four digits at least, and places for eight.
#[cfg_attr(target_pointer_width = "32", inline(never))]
pub(super) fn pin(value: u32) -> Pin {
    // with a one before the digits, so that zeros in front count
    let mut word = 1_u32;
    let mut at = 1;
    while at <= 8 {
        let digit = Field::PIN.digit(value, at);
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
    if bits & (bits + 1) == 0 && bits >= WORKWEEK { bits } else { bits | OWN }
}

/// The set of days that was entered.
pub(super) const fn days_of(value: u32) -> Days {
    Days::from_bits((value & 0x7f) as u8)
}

/// The set of days that a turn proposes; the days one by one keep those of before.
fn next_preset(value: u32, right: bool) -> u32 {
    // a day less than before, or more
    let (first, last, next) =
        if right { (WEEK, WORKWEEK, value >> 1) } else { (WORKWEEK, WEEK, value << 1 | 1) };
    match value {
        OWN.. => first,
        _ if value == last => value | OWN,
        _ => next,
    }
}
