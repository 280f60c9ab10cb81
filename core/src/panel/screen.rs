//! What a display shows: four lines of twenty characters.

use core::fmt;

/// Characters in a line.
pub const COLUMNS: usize = 20;
/// Lines of a screen.
pub const ROWS: usize = 4;

/// A screen. What of it a display can show, and in which type, is the display's.
#[derive(Clone, Copy, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Screen {
    rows: [[char; COLUMNS]; ROWS],
    cut: bool,
}

impl Screen {
    /// Nothing is shown.
    pub const BLANK: Self = Self { rows: [[' '; COLUMNS]; ROWS], cut: false };

    /// The lines, from the top.
    pub const fn rows(&self) -> &[[char; COLUMNS]; ROWS] {
        &self.rows
    }

    /// Whether something did not fit and was left out. No screen of the panel's is
    /// (the tests look at all of them).
    pub const fn is_cut(&self) -> bool {
        self.cut
    }

    /// Puts a text at the left of a line.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(super) fn left(&mut self, row: usize, text: &Text) {
        self.put(row, 0, text);
    }

    /// Words at the left of a line.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(super) fn say(&mut self, row: usize, words: &str) {
        self.left(row, &Text::of(words));
    }

    /// Puts a text at the right of a line, a space apart from what is there.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(super) fn right(&mut self, row: usize, text: &Text) {
        let from = COLUMNS.saturating_sub(usize::from(text.len));
        let before = from.checked_sub(1).and_then(|at| self.rows.get(row)?.get(at));
        self.cut |= before.is_some_and(|&c| c != ' ') && text.len > 0;
        self.put(row, from, text);
    }

    /// The same where there is room for it.
    pub(super) fn right_if_free(&mut self, row: usize, text: &Text) {
        let from = COLUMNS.saturating_sub(usize::from(text.len)).saturating_sub(1);
        let is_free =
            self.rows.get(row).is_some_and(|row| row.iter().skip(from).all(|&c| c == ' '));
        if is_free {
            self.right(row, text);
        }
    }

    /// The last line: what a press does.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(super) fn action(&mut self, words: &str) {
        let mut text = Text::of("> ");
        text.say(words);
        self.left(ROWS - 1, &text);
    }

    /// Empties a line.
    pub(super) fn clear(&mut self, row: usize) {
        if let Some(row) = self.rows.get_mut(row) {
            *row = [' '; COLUMNS];
        }
    }

    fn put(&mut self, row: usize, from: usize, text: &Text) {
        self.cut |= text.cut;
        let Some(row) = self.rows.get_mut(row) else { return };
        let chars = text.chars.iter().take(usize::from(text.len));
        for (place, &c) in row.iter_mut().skip(from).zip(chars) {
            self.cut |= *place != ' ';
            *place = c;
        }
    }
}

impl fmt::Display for Screen {
    /// Its lines, each ended, spaces at their ends left out.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for row in &self.rows {
            let used = COLUMNS - row.iter().rev().take_while(|&&c| c == ' ').count();
            for c in row.iter().take(used) {
                fmt::Write::write_char(f, *c)?;
            }
            f.write_str("\n")?;
        }
        Ok(())
    }
}

impl fmt::Debug for Screen {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Screen:\n")?;
        fmt::Display::fmt(self, f)
    }
}

/// A line in the making.
#[derive(Clone, Copy)]
pub(super) struct Text {
    chars: [char; COLUMNS],
    len: u8,
    cut: bool,
}

impl Text {
    pub(super) const fn new() -> Self {
        Self { chars: [' '; COLUMNS], len: 0, cut: false }
    }

    /// One that says this.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(super) fn of(words: &str) -> Self {
        let mut text = Self::new();
        text.say(words);
        text
    }

    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(super) fn char(&mut self, c: char) {
        match self.chars.get_mut(usize::from(self.len)) {
            Some(place) => {
                *place = c;
                self.len += 1;
            }
            None => self.cut = true,
        }
    }

    pub(super) fn say(&mut self, words: &str) {
        for c in words.chars() {
            self.char(c);
        }
    }

    /// A number in at least so many digits, zeros before it.
    pub(super) fn number(&mut self, number: u32, least_digits: u32) {
        let mut place = 1_000_000_000_u32;
        let mut digits = 10_u32;
        while place > 0 {
            let digit = number / place % 10;
            if number >= place || digits <= least_digits.max(1) {
                self.char(digit_char(digit));
            }
            place /= 10;
            digits = digits.saturating_sub(1);
        }
    }
}

/// The character of a digit.
pub(super) const fn digit_char(digit: u32) -> char {
    (b'0' + (digit % 10) as u8) as char
}
