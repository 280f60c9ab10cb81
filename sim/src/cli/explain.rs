//! `dosewright explain`.

use std::fmt::Write as _;

use dosewright_sim::diagnose::{self, codes};

use super::exit::Exit;
use super::print;
use super::terminal::Terminal;

/// What a code means; without one, the list of all codes.
pub(super) fn explain(terminal: Terminal, code: Option<&str>) -> Exit {
    let Some(code) = code else {
        let mut list = String::new();
        for info in codes::all() {
            _ = writeln!(list, "{}  {}", info.code, info.title);
        }
        return print(terminal, &list);
    };
    match diagnose::explain(code) {
        Some(text) => print(terminal, &text),
        None => {
            let is_promise = code.strip_prefix(['D', 'M', 'O', 'P', 'd', 'm', 'o', 'p']);
            let is_promise = is_promise.is_some_and(|number| number.parse::<u8>().is_ok());
            terminal.error(&if is_promise {
                format!("{code} is a promise, no code; docs/src/promises.md says what it is")
            } else {
                format!("there is no code {code}; dosewright explain lists them all")
            });
            Exit::Usage
        }
    }
}
