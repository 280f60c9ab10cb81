//! Paragraphs for pages of 80 cells.

use std::fmt::Write as _;

use crate::diagnose::wrap;

/// Cells on a line.
pub(crate) const CELLS: usize = 80;
/// Stands for a blank that is not to be broken at, while a text is wrapped; it is
/// of the private use area, and no text of a user is glued.
const GLUE: char = '\u{e000}';
/// Units that stay with their number.
const UNITS: [&str; 14] =
    ["%", "ml", "l", "ml/min", "g", "g/l", "mg/l", "ms", "s", "min", "h", "m", "days", "weeks"];

/// Names of units of several words.
const OUNCES: [&str; 2] = ["US fl oz", "imp fl oz"];

fn is_unit(word: &str) -> bool {
    let name = word.strip_suffix("/min").unwrap_or(word).replace(GLUE, " ");
    UNITS.contains(&word) || OUNCES.contains(&name.as_str())
}

/// Numbers and their units glued together.
fn glued(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    let mut after_number = false;
    // the name of a unit is one word
    let whole = OUNCES.into_iter().fold(text.to_owned(), |text, name| {
        text.replace(name, &name.replace(' ', &GLUE.to_string()))
    });
    for (i, word) in whole.split(' ').enumerate() {
        let bare = word.trim_end_matches(['.', ',', ';', ':', ')']);
        if i > 0 {
            out.push(if after_number && is_unit(bare) { GLUE } else { ' ' });
        }
        out.push_str(word);
        after_number = word.ends_with(|c: char| c.is_ascii_digit());
    }
    out
}

/// So many of them: `1 dose`, `2 doses`.
pub(crate) fn plural(count: impl Into<u64>, one: &str) -> String {
    let count = count.into();
    if count == 1 { format!("1 {one}") } else { format!("{count} {one}s") }
}

/// So many of them, of either.
pub(crate) fn faults_or_acts(count: u64) -> String {
    if count == 1 { "1 fault or act".to_owned() } else { format!("{count} faults or acts") }
}

/// Lines of at most `cells`, no number without its unit.
pub(crate) fn lines(text: &str, cells: usize) -> Vec<String> {
    wrap(&glued(text), cells).into_iter().map(|line| line.replace(GLUE, " ")).collect()
}

/// A paragraph behind a tag; what follows its first line is indented to it.
pub(crate) fn tagged(out: &mut String, tag: &str, text: &str) {
    let indent = tag.chars().count();
    for (i, line) in lines(text, CELLS - indent).iter().enumerate() {
        let tag = if i == 0 { tag } else { "" };
        _ = writeln!(out, "{}", format!("{tag:indent$}{line}").trim_end());
    }
}

/// A paragraph.
pub(crate) fn paragraph(out: &mut String, text: &str) {
    tagged(out, "", text);
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_number_keeps_its_unit() {
        let mut out = String::new();
        tagged(&mut out, "tag: ", &format!("{} 1.97 %, 24.0 ml/min).", "x".repeat(70)));
        assert_eq!(out, format!("tag: {}\n     1.97 %, 24.0 ml/min).\n", "x".repeat(70)));
        assert_eq!(lines("aaaa 12 words", 9), ["aaaa 12", "words"]);
        assert_eq!(lines("aaaa 4 US fl oz/min, up", 19), ["aaaa", "4 US fl oz/min, up"]);
    }
}
