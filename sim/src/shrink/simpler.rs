//! Values that say less than a value: fewer parts of a length, rounder numbers.

use toml_edit::Value;

/// Simpler ones, the simplest first.
pub(super) fn simpler(value: &Value) -> Vec<Value> {
    match value {
        Value::String(text) => texts(text.value()).into_iter().map(Value::from).collect(),
        Value::Integer(number) => numbers(u64::try_from(*number.value()).unwrap_or(0), 1)
            .into_iter()
            .filter_map(|number| i64::try_from(number).ok())
            .map(Value::from)
            .collect(),
        Value::Datetime(moment) => {
            let plain = *moment.value();
            let Some(time) = plain.time else { return Vec::new() };
            let mut out = Vec::new();
            for (hour, minute) in [(0, 0), (time.hour, 0), (time.hour, time.minute)] {
                let time = toml_edit::Time { hour, minute, second: Some(0), nanosecond: None };
                out.push(toml_edit::Datetime { time: Some(time), ..plain });
            }
            out.into_iter().map(Value::from).collect()
        }
        _ => Vec::new(),
    }
}

/// A number and its unit, as they stand in a quantity.
struct Part<'a> {
    number: &'a str,
    unit: &'a str,
}

/// "+1 d 3 h 20 min" as its sign and parts; `None` where it is something else.
fn parts(text: &str) -> Option<(&str, Vec<Part<'_>>)> {
    let at = text.find(|c: char| c.is_ascii_digit())?;
    let (sign, rest) = text.split_at(at);
    if !matches!(sign, "" | "+" | "-") {
        return None;
    }
    let mut words = rest.split(' ');
    let mut parts = Vec::new();
    while let Some(number) = words.next() {
        let unit = words.next()?;
        let is_number = number.chars().all(|c| c.is_ascii_digit() || c == '.');
        if !is_number || unit.is_empty() || unit.starts_with(|c: char| c.is_ascii_digit()) {
            return None;
        }
        parts.push(Part { number, unit });
    }
    Some((sign, parts))
}

fn joined(sign: &str, parts: &[Part]) -> String {
    let words: Vec<String> =
        parts.iter().map(|part| format!("{} {}", part.number, part.unit)).collect();
    format!("{sign}{}", words.join(" "))
}

fn texts(text: &str) -> Vec<String> {
    if text.contains(',') && !text.contains(' ') {
        // a POSIX zone with its rules
        return vec!["UTC0".to_owned(), "CET-1".to_owned()];
    }
    let Some((sign, mut parts)) = parts(text) else { return Vec::new() };
    let mut out = Vec::new();
    // the small parts of a length off, one more each time
    for kept in 1..parts.len() {
        out.push(joined(sign, &parts[..kept]));
    }
    // the last part rounder
    if let Some(last) = parts.pop() {
        let (whole, tail) = last.number.split_once('.').unwrap_or((last.number, ""));
        let number = whole.parse::<u64>().unwrap_or(0);
        let mut rounder = numbers(number, 0);
        if !tail.is_empty() {
            rounder.push(number);
        }
        let before = joined(sign, &parts);
        let gap = if parts.is_empty() { "" } else { " " };
        for number in rounder {
            out.push(format!("{before}{gap}{number} {}", last.unit));
        }
    }
    out
}

/// Rounder numbers than this one, not below `least`.
fn numbers(number: u64, least: u64) -> Vec<u64> {
    let mut out = vec![least, 1, 10, 100];
    let mut step = 1_u64;
    let mut rounder = Vec::new();
    while let Some(next) = step.checked_mul(10).filter(|next| *next <= number.saturating_mul(10)) {
        step = next;
        rounder.push(number / step * step);
        rounder.push(number.div_ceil(step) * step);
    }
    out.extend(rounder.into_iter().rev());
    let mut seen: Vec<u64> = Vec::new();
    for rounder in out {
        if rounder != number && rounder >= least && !seen.contains(&rounder) {
            seen.push(rounder);
        }
    }
    seen
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lengths_lose_their_small_parts_first() {
        let found = texts("+6 d 23 h 53 min 8 s 590 ms");
        assert_eq!(found[..4], ["+6 d", "+6 d 23 h", "+6 d 23 h 53 min", "+6 d 23 h 53 min 8 s"]);
        assert!(found.contains(&"+6 d 23 h 53 min 8 s 600 ms".to_owned()), "{found:?}");
    }

    #[test]
    fn quantities_become_rounder_and_words_stay() {
        let found = texts("54.5 ml/min");
        for rounder in ["1 ml/min", "10 ml/min", "50 ml/min", "60 ml/min", "54 ml/min"] {
            assert!(found.contains(&rounder.to_owned()), "{rounder} {found:?}");
        }
        assert!(texts("night").is_empty() && texts("fri 00:45").is_empty());
        assert_eq!(texts("CET-1CEST,M3.5.0,M10.5.0/3"), ["UTC0", "CET-1"]);
    }

    #[test]
    fn numbers_keep_above_the_least() {
        assert_eq!(numbers(17, 1), [1, 10, 100, 20]);
        assert!(numbers(0, 0).iter().all(|n| *n > 0));
    }
}
