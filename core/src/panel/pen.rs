//! The one writer of all screens: words and figures from left to right, line by line;
//! what follows a tab goes to the right end of its line.

use super::figures::{Minute, parted};
use super::preferences::Preferences;
use super::screen::{COLUMNS, ROWS, Screen};
use super::words::{self, Word};
use crate::cause::Cause;
use crate::record::Alarm;

/// Writes a screen.
pub(super) struct Pen<'a> {
    screen: &'a mut Screen,
    /// How somebody likes things shown.
    pub(super) likes: Preferences,
    row: usize,
    column: usize,
    /// Where what belongs to the right begins; nothing does from the end of the line on.
    tab: usize,
    /// The third line has no room for what was done last: that is said already, or
    /// something is wrong, which goes before it.
    pub(super) is_full: bool,
    /// What time it is, where the clock is set.
    pub(super) now: Option<Minute>,
}

impl<'a> Pen<'a> {
    pub(super) fn new(screen: &'a mut Screen, likes: Preferences, now: Option<Minute>) -> Self {
        Self { screen, likes, row: 0, column: 0, tab: COLUMNS, is_full: false, now }
    }

    /// Ends the line, what belongs to the right of it at its place, and begins another,
    /// whatever stood there.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(super) fn begin(&mut self, row: usize) -> &mut Self {
        // a space apart from what is at the left
        let is_parted = self.tab.wrapping_sub(1) < COLUMNS - 1;
        if is_parted && self.column == COLUMNS {
            self.screen.cut = true;
        }
        let ended = self.screen.rows.get_mut(self.row);
        if let Some(right) = ended.and_then(|row| row.get_mut(self.tab..)) {
            // all of it moves by a column, as often as there are columns left
            for _ in self.column..COLUMNS {
                let mut before = ' ';
                for place in &mut *right {
                    core::mem::swap(place, &mut before);
                }
            }
        }
        if let Some(row) = self.screen.rows.get_mut(row) {
            row.fill(' ');
        }
        (self.row, self.column, self.tab) = (row, 0, COLUMNS);
        self
    }

    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(super) fn char(&mut self, c: char) -> &mut Self {
        let row = self.screen.rows.get_mut(self.row);
        match row.and_then(|row| row.get_mut(self.column)) {
            Some(place) => {
                *place = c;
                self.column += 1;
            }
            None => self.screen.cut = true,
        }
        self
    }

    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(super) fn space(&mut self) -> &mut Self {
        self.char(' ')
    }

    /// What follows goes to the right.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(super) fn tab(&mut self) -> &mut Self {
        self.tab = self.column;
        self
    }

    /// Columns that are left of the line.
    pub(super) fn left(&self) -> usize {
        COLUMNS.saturating_sub(self.column)
    }

    /// Ends the line and begins the next.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(super) fn end(&mut self) -> &mut Self {
        self.begin(self.row.wrapping_add(1))
    }

    /// A word of a table: characters of one byte, or of two, a new line and a tab.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(super) fn nth(&mut self, table: &[u8], number: u16) -> &mut Self {
        let mut lead = 0;
        for &byte in words::nth(table, number) {
            let byte = u32::from(byte);
            if byte >= 0xc0 {
                // the first byte of two
                lead = (byte & 0x1f) << 6;
                continue;
            }
            let code = if byte < 0x80 { byte } else { lead | byte & 0x3f };
            match char::from_u32(code) {
                Some('\n') => self.end(),
                Some('\t') => self.tab(),
                c => self.char(c.unwrap_or('?')),
            };
        }
        self
    }

    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(super) fn say(&mut self, word: Word) -> &mut Self {
        self.say_of(word as u16, 0)
    }

    /// A word of a row of them, so many after its first.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(super) fn say_of(&mut self, first: u16, number: u16) -> &mut Self {
        self.nth(self.likes.language.words(), first.wrapping_add(number))
    }

    /// A line of one word.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(super) fn line(&mut self, word: Word) -> &mut Self {
        self.say(word).end()
    }

    /// The last line: what a press does.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(super) fn action(&mut self, word: Word) -> &mut Self {
        self.begin(ROWS - 1).char('>').space().say(word)
    }

    /// A warning: a word of a row of them, so many after its first.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    fn warning(&mut self, first: u16, number: u16) -> &mut Self {
        self.is_full = true;
        self.char('!').space().say_of(first, number)
    }

    pub(super) fn cause(&mut self, cause: Cause) -> &mut Self {
        self.say_of(words::CAUSES - 1, u16::from(cause.code()))
    }

    /// What a dose waits for.
    pub(super) fn hindrance(&mut self, cause: Cause) -> &mut Self {
        self.warning(words::CAUSES - 1, u16::from(cause.code()))
    }

    /// `! low level +1`
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(super) fn alarm(&mut self, alarm: Alarm, more: u32) -> &mut Self {
        self.warning(words::ALARMS - 1, alarm as u16);
        // where there is room for it
        if more > 0 && self.left() > 2 {
            self.tab().char('+').number(more.min(9), 1);
        }
        self
    }

    /// A number in at least so many digits, zeros before it.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(super) fn number(&mut self, number: u32, least_digits: u32) -> &mut Self {
        self.digits(number, least_digits, 0)
    }

    /// A number of so many tenths, hundredths, ...
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(super) fn decimal(&mut self, number: u32, decimals: u32) -> &mut Self {
        self.digits(number, decimals + 1, decimals)
    }

    /// The place of something in a row: `2/8`
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(super) fn part(&mut self, at: u32, of: u32) -> &mut Self {
        self.number(at, 1).char('/').number(of, 1)
    }

    #[cfg_attr(target_pointer_width = "32", inline(never))]
    fn digits(&mut self, number: u32, least_digits: u32, decimals: u32) -> &mut Self {
        let (mut place, mut left, mut digits_left) = (1_000_000_000_u32, number, 10);
        while place > 0 {
            let digit;
            (digit, left) = parted(left, place);
            if number >= place || digits_left <= least_digits {
                // the point goes before the first decimal
                if digits_left == decimals {
                    self.say(Word::Point);
                }
                self.char(digit_char(digit));
            }
            place = parted(place, 10).0;
            digits_left -= 1;
        }
        self
    }
}

/// The character of a digit.
pub(super) const fn digit_char(digit: u32) -> char {
    b'0'.wrapping_add(digit as u8) as char
}

#[cfg(test)]
mod tests {
    extern crate std;

    use std::format;
    use std::string::String;

    use super::*;

    /// What a line comes to of what is at its left and at its right, and whether it is cut.
    fn line(left: &str, right: Option<&str>) -> (String, bool) {
        let mut screen = Screen::BLANK;
        let mut pen = Pen::new(&mut screen, Preferences::NEW, None);
        for c in left.chars() {
            pen.char(c);
        }
        if let Some(right) = right {
            pen.tab();
            for c in right.chars() {
                pen.char(c);
            }
        }
        pen.end();
        (screen.rows()[0].iter().collect(), screen.is_cut())
    }

    #[test]
    fn left_and_right_stand_a_space_apart_or_something_is_cut() {
        let whole = "abcdefghijklmnopqrst";
        assert_eq!(line("abc", Some("de")), (format!("abc{}de", " ".repeat(15)), false));
        assert_eq!(line("abcdefghijklmnop", Some("rst")), ("abcdefghijklmnop rst".into(), false));
        assert_eq!(line("abcdefghijklmnop", Some("qrst")), (whole.into(), true));
        // one of them alone may fill the line
        assert_eq!(line(whole, None), (whole.into(), false));
        assert_eq!(line(whole, Some("")), (whole.into(), false));
        assert_eq!(line("", Some(whole)), (whole.into(), false));
        assert_eq!(line(whole, Some("u")), (whole.into(), true));
    }
}
