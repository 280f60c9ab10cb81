//! Lengths of time: `2 min 30 s`, `8 days`, `1.5 h`.

use super::{Problem, TIME, number, unit};
use crate::diagnose::codes;

/// Reads a length of time in milliseconds: parts from large to small, each unit
/// once. A sign at the front holds for all of it.
pub(in crate::scenario) fn duration(text: &str) -> Result<i128, Problem> {
    let mut rest = text;
    let (mut total, mut smaller_than) = (0, i128::MAX);
    let mut negative = false;
    let mut first = true;
    loop {
        let begin = text.len() - rest.len();
        let shift = |mut problem: Problem| {
            problem.at = problem.at.start + begin..problem.at.end + begin;
            problem
        };
        let (decimal, after, _) = number(rest, &TIME).map_err(shift)?;
        let signed = rest.trim_start().starts_with(['-', '+']);
        let after_at = text.len() - after.len();
        let name_from = after.len() - after.trim_start().len();
        let name = after.trim_start();
        let length =
            name.find(|c: char| c.is_whitespace() || c.is_ascii_digit()).unwrap_or(name.len());
        let (name, next) = name.split_at(length);
        let name_at = after_at + name_from;
        let found = unit(text, name, name_at, &TIME)?;
        let part = begin..name_at + name.len();
        if first {
            negative = decimal.negative;
        } else if signed {
            return Err(Problem::new(codes::BAD_NUMBER, part, "has a sign inside it")
                .help("one sign at the front holds for all of it"));
        }
        let size = i128::from(found.num);
        if size >= smaller_than {
            return Err(Problem::new(codes::BAD_NUMBER, part, "has its parts in a wrong order")
                .label("not smaller than the part before")
                .help("from large to small, each unit once: \"1 h 30 min\""));
        }
        let Some(ms) = decimal.exact(found) else {
            return Err(Problem::new(codes::OUT_OF_RANGE, part, "is finer than a millisecond")
                .label("times are whole milliseconds"));
        };
        total += ms.abs();
        smaller_than = size;
        first = false;
        rest = next;
        if rest.trim().is_empty() {
            return Ok(if negative { -total } else { total });
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn parts_add_up() {
        for (text, ms) in [
            ("400 ms", 400),
            ("2 min 30 s", 150_000),
            ("2min30s", 150_000),
            ("6 h", 21_600_000),
            ("8 days", 691_200_000),
            ("2 weeks", 1_209_600_000),
            ("1 week 1 day", 691_200_000),
            ("3 d 4 h", 273_600_000),
            ("1.5 h", 5_400_000),
            ("-1 h", -3_600_000),
            ("-1 h 30 min", -5_400_000),
            ("+4 min", 240_000),
            (" 0 s ", 0),
        ] {
            assert_eq!(duration(text), Ok(ms), "{text}");
        }
    }

    #[test]
    fn problems_stand_where_they_are() {
        let at = |text: &str| {
            let problem = duration(text).unwrap_err();
            (problem.code, text[problem.at].to_owned())
        };
        assert_eq!(at("45"), (codes::NO_UNIT, "45".to_owned()));
        assert_eq!(at("1 h 30"), (codes::NO_UNIT, "1 h 30".to_owned()));
        assert_eq!(at("2 mins"), (codes::UNKNOWN_UNIT, "mins".to_owned()));
        assert_eq!(at("1 h 5 fortnights"), (codes::UNKNOWN_UNIT, "fortnights".to_owned()));
        assert_eq!(at("30 s 1 h"), (codes::BAD_NUMBER, " 1 h".to_owned()));
        assert_eq!(at("1 h 1 h"), (codes::BAD_NUMBER, " 1 h".to_owned()));
        assert_eq!(at("1 h -5 min"), (codes::BAD_NUMBER, " -5 min".to_owned()));
        assert_eq!(at("1 h 1,5 min"), (codes::BAD_NUMBER, "1,5".to_owned()));
        assert_eq!(at("0.1 ms"), (codes::OUT_OF_RANGE, "0.1 ms".to_owned()));
    }
}
