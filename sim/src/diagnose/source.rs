//! A file's text with its lines counted.

use super::Span;

/// A line and a column, both counted from 1; columns count characters (Unicode
/// scalar values), not bytes and not cells of a terminal.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub struct Position {
    /// From 1.
    pub line: usize,
    /// From 1.
    pub column: usize,
}

/// A named text.
#[derive(Clone, Debug)]
pub struct Source<'a> {
    name: &'a str,
    text: &'a str,
    line_starts: Vec<usize>,
}

impl<'a> Source<'a> {
    /// Counts the lines of a text.
    pub fn new(name: &'a str, text: &'a str) -> Self {
        let newlines = text.bytes().enumerate().filter(|(_, b)| *b == b'\n');
        let line_starts = std::iter::once(0).chain(newlines.map(|(at, _)| at + 1)).collect();
        Self { name, text, line_starts }
    }

    /// Its name.
    pub const fn name(&self) -> &'a str {
        self.name
    }

    /// Its text.
    pub const fn text(&self) -> &'a str {
        self.text
    }

    /// The index of the line (from 0) that a byte is in.
    fn line_of(&self, byte: usize) -> usize {
        self.line_starts.partition_point(|start| *start <= byte).saturating_sub(1)
    }

    /// Line and column of a byte; a byte past the end is at the end.
    pub fn position(&self, byte: usize) -> Position {
        let byte = Span::at(byte).clip(self.text).start;
        let line = self.line_of(byte);
        let start = self.line_starts.get(line).copied().unwrap_or(0);
        Position {
            line: line + 1,
            column: Span::new(start, byte).of(self.text).chars().count() + 1,
        }
    }

    /// The line (counted from 1) as it is in the text, without its end, and
    /// the byte it starts at.
    pub fn line(&self, line: usize) -> (&'a str, usize) {
        let index = line.saturating_sub(1);
        let start = self.line_starts.get(index).copied().unwrap_or(self.text.len());
        let end = self.line_starts.get(index + 1).map_or(self.text.len(), |next| next - 1);
        let line = self.text.get(start..end).unwrap_or("");
        (line.strip_suffix('\r').unwrap_or(line), start)
    }

    /// The span, kept inside the text and on whole characters.
    pub fn clip(&self, span: Span) -> Span {
        span.clip(self.text)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn columns_count_characters_and_lines_may_end_in_either_way() {
        let source = Source::new("a", "title = \"Caf\u{e9} \u{fc}\"\r\nb = 1\n");
        let quote = source.text().rfind('"').unwrap();
        assert_eq!(source.position(quote), Position { line: 1, column: 16 });
        assert_eq!(source.line(1).0, "title = \"Caf\u{e9} \u{fc}\"");
        assert_eq!(source.line(2), ("b = 1", 20));
        assert_eq!(source.position(20), Position { line: 2, column: 1 });
    }

    #[test]
    fn a_place_inside_a_character_or_past_the_end_is_moved_into_the_text() {
        let source = Source::new("a", "\u{e9}");
        assert_eq!(source.clip(Span::new(1, 9)), Span::new(0, 2));
        assert_eq!(source.position(99), Position { line: 1, column: 2 });
        assert_eq!(Source::new("a", "").position(5), Position { line: 1, column: 1 });
        assert_eq!(Source::new("a", "").line(7), ("", 0));
    }
}
