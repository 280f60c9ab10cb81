//! What cargo-mutants lists.

use serde::Deserialize;

/// One mutant, as `cargo mutants --list --json` prints it.
#[derive(Deserialize)]
pub struct Mutant {
    pub file: String,
    pub genre: Genre,
    pub replacement: String,
    pub span: Span,
}

#[derive(Deserialize, Clone, Copy, PartialEq, Eq, Debug)]
pub enum Genre {
    FnValue,
    BinaryOperator,
    UnaryOperator,
    MatchArm,
    MatchArmGuard,
    StructField,
}

/// Lines and columns from 1; the end is after the last character.
#[derive(Deserialize)]
pub struct Span {
    pub start: Place,
}

#[derive(Deserialize)]
pub struct Place {
    pub line: usize,
    pub column: usize,
}

impl Place {
    /// The place as a byte of the text; `None` past its end.
    pub fn byte_of(&self, text: &str) -> Option<usize> {
        let mut start = 0;
        for (line, words) in text.split_inclusive('\n').enumerate() {
            if line + 1 == self.line {
                let (at, _) = words.char_indices().nth(self.column - 1)?;
                return Some(start + at);
            }
            start += words.len();
        }
        None
    }
}
