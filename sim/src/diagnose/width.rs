//! How wide a text is on a terminal, and wrapping it.

use unicode_width::UnicodeWidthChar;

/// Columns a tab is shown as.
const TAB: usize = 4;

/// A character as it may be shown: nothing that moves the cursor, starts an
/// escape sequence or turns the direction of writing goes out as it is.
pub(crate) fn shown(c: char) -> char {
    let turns =
        matches!(c, '\u{200e}' | '\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}');
    // What cannot be seen is shown, for it may be what is wrong.
    let hides = matches!(c, '\u{ad}' | '\u{200b}'..='\u{200d}' | '\u{2060}' | '\u{feff}');
    if hides || c.is_control() || turns || c == '\u{2028}' || c == '\u{2029}' {
        '\u{fffd}'
    } else {
        c
    }
}

/// The text as it may be shown, tabs as blanks, and its width in cells.
pub(crate) fn display(text: &str) -> (String, usize) {
    let (mut out, mut cells) = (String::with_capacity(text.len()), 0);
    for c in text.chars() {
        if c == '\t' {
            out.extend(std::iter::repeat_n(' ', TAB));
            cells += TAB;
        } else {
            let c = shown(c);
            cells += c.width().unwrap_or(0);
            out.push(c);
        }
    }
    (out, cells)
}

/// Words put on lines of at most `cells` cells; a word longer than a line is
/// broken. There is always one line at least.
pub(crate) fn wrap(text: &str, cells: usize) -> Vec<String> {
    let cells = cells.max(8);
    let (mut lines, mut line, mut used) = (Vec::new(), String::new(), 0);
    for word in text.split_whitespace() {
        let (word, width) = display(word);
        if used > 0 && used + 1 + width > cells {
            lines.push(std::mem::take(&mut line));
            used = 0;
        }
        if used > 0 {
            line.push(' ');
            used += 1;
        }
        for c in word.chars() {
            let width = c.width().unwrap_or(0);
            if used + width > cells {
                lines.push(std::mem::take(&mut line));
                used = 0;
            }
            line.push(c);
            used += width;
        }
    }
    if !line.is_empty() || lines.is_empty() {
        lines.push(line);
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn wide_characters_take_two_cells_and_controls_are_not_let_through() {
        assert_eq!(display("\u{6c34}\t1").1, 7);
        assert_eq!(display("a\u{1b}[31m\u{202e}b").0, "a\u{fffd}[31m\u{fffd}b");
    }

    #[test]
    fn no_line_is_wider_than_asked_for() {
        let text = "one two \u{6c34}\u{6c34}\u{6c34}\u{6c34}\u{6c34}\u{6c34} abcdefghijklmnopqrstuvwxyz end";
        let lines = wrap(text, 10);
        assert!(lines.iter().all(|line| display(line).1 <= 10), "{lines:?}");
        let together: String = lines.concat().chars().filter(|c| *c != ' ').collect();
        assert_eq!(together, text.replace(' ', ""));
        assert_eq!(wrap("", 10), [""]);
        // Words that fit on a line of their own are not broken.
        assert_eq!(wrap("aaaa bbbbb", 9), ["aaaa", "bbbbb"]);
        assert_eq!(wrap("aaaa bbbbb", 10), ["aaaa bbbbb"]);
    }
}
