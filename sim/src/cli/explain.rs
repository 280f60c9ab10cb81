//! `dosewright explain`.

use std::fmt::Write as _;

use dosewright_sim::diagnose::{self, codes};
use dosewright_sim::trace::page::wrapped;

use super::exit::Exit;
use super::print;
use super::terminal::Terminal;

/// The promises, as the book has them.
const PROMISES: &str = include_str!("../../../docs/src/promises.md");

/// What a code or a promise means; without one, the list of all codes.
pub(super) fn explain(terminal: Terminal, code: Option<&str>) -> Exit {
    let Some(code) = code else {
        let mut list = String::new();
        for info in codes::all() {
            _ = writeln!(list, "{}  {}", info.code, info.title);
        }
        return print(terminal, &list);
    };
    match diagnose::explain(code).or_else(|| promise(code)) {
        Some(text) => print(terminal, &text),
        None => {
            terminal.error(&format!("there is no code {code}; dosewright explain lists them all"));
            Exit::Usage
        }
    }
}

/// A promise of the controller, by its letter and number.
fn promise(code: &str) -> Option<String> {
    let code = code.to_uppercase();
    let row = PROMISES.lines().find_map(|line| line.strip_prefix(&format!("| {code} | ")))?;
    let text = wrapped(row.trim_end_matches(" |").replace('*', "").trim());
    Some(format!("{code}: a promise of the controller\n\n{text}\n"))
}
