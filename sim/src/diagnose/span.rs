//! Places in a file, and the places of a table's keys.

/// A stretch of bytes in a file: `start` is in it, `end` is not. An empty span
/// is a place between two characters.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Default)]
pub struct Span {
    /// The first byte.
    pub start: usize,
    /// The byte after the last.
    pub end: usize,
}

impl Span {
    /// From the first byte to the byte after the last.
    pub const fn new(start: usize, end: usize) -> Self {
        Self { start, end }
    }

    /// The empty span at a byte.
    pub const fn at(byte: usize) -> Self {
        Self { start: byte, end: byte }
    }

    /// Whether the two have a byte in common, or one is empty and lies in or
    /// at the edge of the other.
    pub const fn touches(self, other: Self) -> bool {
        if self.start == self.end || other.start == other.end {
            self.start <= other.end && other.start <= self.end
        } else {
            self.start < other.end && other.start < self.end
        }
    }

    /// The span moved into the text and, at both ends, back to the start of a
    /// character.
    #[must_use]
    pub fn clip(self, text: &str) -> Self {
        let back = |byte: usize| {
            let byte = byte.min(text.len());
            (0..=byte).rev().find(|at| text.is_char_boundary(*at)).unwrap_or(0)
        };
        let start = back(self.start);
        Self { start, end: back(self.end).max(start) }
    }

    /// The part of `text` it covers; empty where it covers none.
    pub fn of(self, text: &str) -> &str {
        text.get(self.start..self.end).unwrap_or("")
    }
}

/// Where a table of a scenario file stands and where each of its keys has its
/// value: what a check made later points at.
///
/// Positions take no part in equality: two scenarios that say the same are
/// equal wherever their lines stand.
#[derive(Clone, Debug, Default)]
pub struct Spans {
    whole: Span,
    values: Vec<(&'static str, Span)>,
}

impl Spans {
    /// Of a table whose header, or whose braces, stand at `whole`.
    pub const fn new(whole: Span) -> Self {
        Self { whole, values: Vec::new() }
    }

    /// Notes the place of one value.
    pub(crate) fn put(&mut self, key: &'static str, span: Span) {
        self.values.push((key, span));
    }

    /// The table itself: its header line `[[entry]]`, or its braces.
    pub const fn table(&self) -> Span {
        self.whole
    }

    /// The value of a key; `None` where the file does not give that key.
    pub fn get(&self, key: &str) -> Option<Span> {
        self.values.iter().find(|(name, _)| *name == key).map(|(_, span)| *span)
    }

    /// The value of a key, or the table where the file does not give that key.
    pub fn at(&self, key: &str) -> Span {
        self.get(key).unwrap_or(self.whole)
    }
}

impl PartialEq for Spans {
    fn eq(&self, _: &Self) -> bool {
        true
    }
}

impl Eq for Spans {}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn empty_spans_touch_what_they_stand_at_the_edge_of() {
        assert!(Span::at(3).touches(Span::new(3, 5)));
        assert!(Span::at(5).touches(Span::new(3, 5)));
        assert!(!Span::at(6).touches(Span::new(3, 5)));
        assert!(!Span::new(1, 3).touches(Span::new(3, 5)));
        assert!(Span::new(1, 4).touches(Span::new(3, 5)));
    }

    #[test]
    fn a_key_that_is_not_given_stands_where_its_table_stands() {
        let mut spans = Spans::new(Span::new(10, 19));
        spans.put("window", Span::new(30, 37));
        assert_eq!(spans.at("window"), Span::new(30, 37));
        assert_eq!(spans.at("grace"), Span::new(10, 19));
        assert_eq!(spans.get("grace"), None);
    }
}
