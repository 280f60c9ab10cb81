//! The one writer of all screens: words and figures from left to right, line by line;
//! what follows a tab goes to the right end of its line.

use super::preferences::{Preferences, Unit};
use super::screen::{COLUMNS, ROWS, Screen};
use super::words::{self, Word};
use crate::cause::Cause;
use crate::record::Alarm;

/// How somebody wants things shown.
#[derive(Clone, Copy)]
pub(super) struct Style {
    /// The words of the language.
    pub(super) words: &'static [u8],
    pub(super) unit: Unit,
    pub(super) twelve_hours: bool,
}

impl Style {
    pub(super) fn of(preferences: Preferences) -> Self {
        let Preferences { language, unit, twelve_hours, .. } = preferences;
        Self { words: language.words(), unit, twelve_hours }
    }
}

/// Writes a screen.
pub(super) struct Pen<'a> {
    screen: &'a mut Screen,
    pub(super) style: Style,
    row: usize,
    column: usize,
    /// Where what belongs to the right begins; nothing does from the end of the line on.
    tab: usize,
}

impl<'a> Pen<'a> {
    pub(super) fn new(screen: &'a mut Screen, style: Style) -> Self {
        Self { screen, style, row: 0, column: 0, tab: COLUMNS }
    }

    /// Begins a line, whatever stood there.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(super) fn begin(&mut self, row: usize) {
        if let Some(row) = self.screen.rows.get_mut(row) {
            row.fill(' ');
        }
        (self.row, self.column, self.tab) = (row, 0, COLUMNS);
    }

    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(super) fn char(&mut self, c: char) {
        let row = self.screen.rows.get_mut(self.row);
        match row.and_then(|row| row.get_mut(self.column)) {
            Some(place) => {
                *place = c;
                self.column += 1;
            }
            None => self.screen.cut = true,
        }
    }

    /// A space, but at the beginning of a line.
    pub(super) fn gap(&mut self) {
        if self.column > 0 {
            self.char(' ');
        }
    }

    /// What follows goes to the right.
    pub(super) fn tab(&mut self) {
        self.tab = self.column;
    }

    /// Columns that are left of the line.
    pub(super) fn left(&self) -> usize {
        COLUMNS.saturating_sub(self.column)
    }

    /// Ends the line and begins the next.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(super) fn end(&mut self) {
        let (from, mut at, mut to) = (self.tab, self.column, COLUMNS);
        // a space apart from what is at the left
        self.screen.cut |= from > 0 && from < at && at == to;
        if let Some(row) = self.screen.rows.get_mut(self.row) {
            while at > from && at < to {
                (at, to) = (at - 1, to - 1);
                let c = row.get_mut(at).map_or(' ', |place| core::mem::replace(place, ' '));
                if let Some(place) = row.get_mut(to) {
                    *place = c;
                }
            }
        }
        self.begin(self.row.saturating_add(1));
    }

    /// A word of a table: characters of one byte, or of two.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(super) fn nth(&mut self, table: &[u8], number: u16) {
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
    }

    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(super) fn say(&mut self, word: Word) {
        self.say_of(word as u16, 0);
    }

    /// A word of a row of them, so many after its first.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(super) fn say_of(&mut self, first: u16, number: u16) {
        self.nth(self.style.words, first.saturating_add(number));
    }

    /// A word and a space.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(super) fn lead(&mut self, word: Word) {
        self.say(word);
        self.char(' ');
    }

    /// A line of one word.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(super) fn line(&mut self, word: Word) {
        self.say(word);
        self.end();
    }

    /// A word at the left of a line; what comes next belongs to it, at the right.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(super) fn pair(&mut self, word: Word) {
        self.say(word);
        self.tab();
    }

    /// The last line: what a press does.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(super) fn action(&mut self, word: Word) {
        self.begin(ROWS - 1);
        self.char('>');
        self.char(' ');
        self.say(word);
    }

    pub(super) fn cause(&mut self, cause: Cause) {
        self.say_of(words::CAUSES, u16::from(cause.code()).saturating_sub(1));
    }

    /// `! low level +1`
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(super) fn alarm(&mut self, alarm: Alarm, more: u32) {
        self.char('!');
        self.char(' ');
        self.say_of(words::ALARMS, (alarm as u16).saturating_sub(1));
        // where there is room for it
        if more > 0 && self.left() > 2 {
            self.tab();
            self.char('+');
            self.number(more.min(9), 1);
        }
    }

    /// A number in at least so many digits, zeros before it.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(super) fn number(&mut self, number: u32, least_digits: u32) {
        let (mut place, mut digits) = (1_000_000_000_u32, 10);
        while place > 0 {
            if number >= place || digits <= least_digits {
                self.char(digit_char(number / place % 10));
            }
            place /= 10;
            digits -= 1;
        }
    }
}

/// The character of a digit.
pub(super) const fn digit_char(digit: u32) -> char {
    b'0'.wrapping_add(digit as u8) as char
}
