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
    pub(super) rows: [[char; COLUMNS]; ROWS],
    pub(super) cut: bool,
}

impl Screen {
    /// Nothing is shown.
    pub const BLANK: Self = Self { rows: [[' '; COLUMNS]; ROWS], cut: false };

    /// Nothing, not even spaces: what a pen begins with. It takes no room in flash.
    pub(super) const VOID: Self = Self { rows: [['\0'; COLUMNS]; ROWS], cut: false };

    /// The lines, from the top.
    pub const fn rows(&self) -> &[[char; COLUMNS]; ROWS] {
        &self.rows
    }

    /// Whether something did not fit and was left out. No screen of the panel's is
    /// (the tests look at all of them).
    pub const fn is_cut(&self) -> bool {
        self.cut
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
