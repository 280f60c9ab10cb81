//! The one writer of all screens: words and figures from left to right, line by line;
//! what follows a tab goes to the right end of its line.

use super::figures::Minute;
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
    /// What time it is, where the clock is set.
    pub(super) now: Option<Minute>,
}

impl<'a> Pen<'a> {
    pub(super) fn new(screen: &'a mut Screen, likes: Preferences, now: Option<Minute>) -> Self {
        Self { screen, likes, row: 0, column: 0, tab: COLUMNS, now }
    }

    /// Begins a line, whatever stood there.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(super) fn begin(&mut self, row: usize) -> &mut Self {
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

    /// A space, but at the beginning of a line.
    pub(super) fn gap(&mut self) -> &mut Self {
        if self.column > 0 { self.space() } else { self }
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
        // a space apart from what is at the left
        let is_full = self.column == COLUMNS;
        self.screen.cut |= is_full && self.tab > 0 && self.tab < COLUMNS;
        if let Some(row) = self.screen.rows.get_mut(self.row) {
            let (mut at, mut to) = (self.column, COLUMNS);
            while at > self.tab {
                (at, to) = (at - 1, to - 1);
                let c = row.get_mut(at).map_or(' ', |place| core::mem::replace(place, ' '));
                if let Some(place) = row.get_mut(to) {
                    *place = c;
                }
            }
        }
        self.begin(self.row.saturating_add(1))
    }

    /// A word of a table: characters of one byte, or of two.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(super) fn nth(&mut self, table: &[u8], number: u16) -> &mut Self {
        let mut lead = 0;
        for &byte in words::nth(table, number) {
            let byte = u32::from(byte);
            match byte {
                0..0x80 => lead = byte,
                0x80..0xc0 => lead |= byte & 0x3f,
                _ => {
                    lead = (byte & 0x1f) << 6;
                    continue;
                }
            }
            self.char(char::from_u32(lead).unwrap_or('?'));
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
        self.nth(self.likes.language.words(), first.saturating_add(number))
    }

    /// A word and a space.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(super) fn lead(&mut self, word: Word) -> &mut Self {
        self.say(word).space()
    }

    /// A line of one word.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(super) fn line(&mut self, word: Word) -> &mut Self {
        self.say(word).end()
    }

    /// A word at the left of a line; what comes next belongs to it, at the right.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(super) fn pair(&mut self, word: Word) -> &mut Self {
        self.say(word).tab()
    }

    /// The last line: what a press does.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(super) fn action(&mut self, word: Word) -> &mut Self {
        self.begin(ROWS - 1).char('>').space().say(word)
    }

    /// A warning: a word of a row of them, so many after its first.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    fn warning(&mut self, first: u16, number: u16) -> &mut Self {
        self.char('!').space().say_of(first, number)
    }

    pub(super) fn cause(&mut self, cause: Cause) -> &mut Self {
        self.say_of(words::CAUSES, u16::from(cause.code()).saturating_sub(1))
    }

    /// What a dose waits for.
    pub(super) fn hindrance(&mut self, cause: Cause) -> &mut Self {
        self.warning(words::CAUSES, u16::from(cause.code()).saturating_sub(1))
    }

    /// `! low level +1`
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(super) fn alarm(&mut self, alarm: Alarm, more: u32) -> &mut Self {
        self.warning(words::ALARMS, (alarm as u16).saturating_sub(1));
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
        let (mut place, mut left) = (1_000_000_000_u32, 10);
        while place > 0 {
            if number >= place || left <= least_digits {
                // the point goes before the first decimal
                if left == decimals {
                    self.say(Word::Point);
                }
                self.char(digit_char(number / place % 10));
            }
            place /= 10;
            left -= 1;
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
