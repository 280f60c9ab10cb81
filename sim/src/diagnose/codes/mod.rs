//! The registry of codes: every code that is ever reported is a constant of
//! this module, with a title, an explanation and an example.

mod acceptance;
mod reader;
mod run;
mod warnings;

pub use acceptance::*;
pub use reader::*;
pub use run::*;
pub use warnings::*;

/// Who finds what a code stands for.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub enum Origin {
    /// The reader of scenario files.
    Reader,
    /// The check of the timetable as the device would accept it.
    Acceptance,
    /// A run.
    Run,
}

/// What is known of a code.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct CodeInfo {
    /// `S...` for an error, `W...` for a warning, `R...` for what a run shows.
    pub code: &'static str,
    /// One line without a full stop.
    pub title: &'static str,
    /// Who finds it.
    pub origin: Origin,
    /// A paragraph: what it means, why it is refused, what to do.
    pub text: &'static str,
    /// Lines of a scenario that get the code.
    pub wrong: &'static str,
    /// The same lines mended.
    pub right: &'static str,
}

impl CodeInfo {
    /// What `explain CODE` prints: title, paragraph, example wrong and right.
    pub fn explain(&self) -> String {
        use std::fmt::Write as _;
        let mut out = format!("{}: {}\n\n", self.code, self.title);
        for line in super::width::wrap(self.text, 78) {
            _ = writeln!(out, "{line}");
        }
        for (head, example) in [("Wrong:", self.wrong), ("Right:", self.right)] {
            if !example.is_empty() {
                _ = writeln!(out, "\n{head}\n");
                for line in example.trim_matches('\n').lines() {
                    _ = writeln!(out, "{}", format!("    {line}").trim_end());
                }
            }
        }
        out
    }
}

/// Defines constants and their table from one list, so that neither can be
/// without the other.
macro_rules! codes {
    ($table:ident, $origin:ident: $(
        $name:ident = $code:literal, $title:literal, $text:literal, wrong $wrong:literal, right $right:literal;
    )*) => {
        $(
            #[doc = concat!("`", $code, "`: ", $title, ".")]
            pub const $name: &str = $code;
        )*
        /// The codes of this file in their order.
        pub(super) const $table: &[crate::diagnose::CodeInfo] = &[$(
            crate::diagnose::CodeInfo {
                code: $code,
                title: $title,
                origin: crate::diagnose::codes::Origin::$origin,
                text: $text,
                wrong: $wrong,
                right: $right,
            },
        )*];
    };
}
use codes;

/// All codes: those of the reader, of the acceptance check, of runs.
pub fn all() -> impl Iterator<Item = &'static CodeInfo> {
    READER.iter().chain(ACCEPTANCE).chain(WARNINGS).chain(RUN)
}

use acceptance::ACCEPTANCE;
use reader::READER;
use run::RUN;
use warnings::WARNINGS;

/// What is known of a code; letters may be small.
pub fn find(code: &str) -> Option<&'static CodeInfo> {
    all().find(|info| info.code.eq_ignore_ascii_case(code))
}

/// What `explain CODE` prints; `None` for a code that does not exist.
pub fn explain(code: &str) -> Option<String> {
    find(code).map(CodeInfo::explain)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn codes_are_unique_and_well_formed_and_say_something() {
        let mut seen: Vec<&str> = Vec::new();
        for info in all() {
            assert!(!seen.contains(&info.code), "{} twice", info.code);
            seen.push(info.code);
            let (letter, number) = info.code.split_at(1);
            assert!(
                matches!(letter, "S" | "W" | "R")
                    && number.len() == 3
                    && number.parse::<u16>().is_ok()
            );
            assert!(!info.title.ends_with('.') && info.title.len() < 72, "{}", info.title);
            assert!(info.text.len() > 80 && info.text.ends_with('.'), "{}", info.code);
            assert_ne!(info.wrong, info.right, "{}", info.code);
        }
        assert!(seen.len() > 30);
    }

    #[test]
    fn explain_knows_its_codes_and_no_others() {
        assert!(explain("s014").unwrap().starts_with("S014: the dose does not fit its window\n\n"));
        assert_eq!(explain("S999"), None);
    }
}
