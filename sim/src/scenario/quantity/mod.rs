//! Quantities: a decimal number and a unit, read exactly.
//!
//! Nothing here is floating point: a number is its digits and how many of them
//! are decimals, a unit is a fraction of the base unit, and what is rounded is
//! rounded once.

mod duration;
pub mod show;
mod units;

use std::ops::Range;

pub(super) use duration::duration;
pub(super) use units::{
    BYTES, CURRENT, CURVE, DENSITY, DISTANCE, DRIFT, Dimension, FLOW_TIMES, MASS, PERCENT, RATE,
    TEMPERATURE, TIME, Unit, VISCOSITY, VOLTAGE, VOLUME,
};

use crate::diagnose::codes;

/// What is wrong with a quantity, and where in its string.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Problem {
    pub(super) code: &'static str,
    /// What is wrong; the key's name is put before it.
    pub(super) what: String,
    /// Bytes of the string.
    pub(super) at: Range<usize>,
    pub(super) label: String,
    pub(super) help: Option<String>,
}

impl Problem {
    pub(super) fn new(code: &'static str, at: Range<usize>, what: impl Into<String>) -> Self {
        Self { code, what: what.into(), at, label: String::new(), help: None }
    }

    pub(super) fn label(mut self, label: impl Into<String>) -> Self {
        self.label = label.into();
        self
    }

    pub(super) fn help(mut self, help: impl Into<String>) -> Self {
        self.help = Some(help.into());
        self
    }
}

/// A decimal number: `digits` divided by ten to the power of `decimals`.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Decimal {
    pub(super) negative: bool,
    pub(super) digits: u64,
    pub(super) decimals: u32,
}

impl Decimal {
    /// The number times a fraction, as a fraction.
    fn times(self, num: u64, den: u64) -> (i128, i128) {
        let sign = if self.negative { -1 } else { 1 };
        (
            sign * i128::from(self.digits) * i128::from(num),
            i128::from(den) * 10_i128.pow(self.decimals),
        )
    }

    /// The number of a unit's base units, rounded half away from zero.
    pub(super) fn rounded(self, unit: &Unit) -> i128 {
        let (num, den) = self.times(unit.num, unit.den);
        let half = if num < 0 { -den } else { den };
        (num * 2 + half) / (den * 2)
    }

    /// The number of a unit's base units, where it is a whole one.
    pub(super) fn exact(self, unit: &Unit) -> Option<i128> {
        let (num, den) = self.times(unit.num, unit.den);
        (num % den == 0).then(|| num / den)
    }
}

/// Reads a number at the start of `text`; what is left and where it begins.
/// `dimension` words the hints.
pub(super) fn number<'t>(
    text: &'t str,
    dimension: &Dimension,
) -> Result<(Decimal, &'t str, usize), Problem> {
    let trimmed = text.trim_start();
    let start = text.len() - trimmed.len();
    let negative = trimmed.starts_with('-');
    let body = trimmed.strip_prefix(['-', '+']).unwrap_or(trimmed);
    let digits_at = text.len() - body.len();
    let whole: usize = body.bytes().take_while(u8::is_ascii_digit).count();
    let after = body.get(whole..).unwrap_or("");
    let fraction = match after.strip_prefix('.') {
        Some(rest) => rest.bytes().take_while(u8::is_ascii_digit).count(),
        None => 0,
    };
    let used = if fraction > 0 { whole + 1 + fraction } else { whole };
    let rest = body.get(used..).unwrap_or("");
    let end = digits_at + used;
    let bad = |at: Range<usize>, label: &str| {
        Problem::new(codes::BAD_NUMBER, at, "has a number that cannot be read").label(label)
    };
    if trimmed.is_empty() {
        let what = format!("is empty where {} is wanted", dimension.what);
        return Err(Problem::new(codes::BAD_NUMBER, 0..text.len(), what)
            .help(format!("write it like \"{}\"", dimension.example)));
    }
    if let Some(mended) = comma(body, whole) {
        let sign = if negative { "-" } else { "" };
        let unit =
            body.trim_start_matches(|c: char| c.is_ascii_digit() || matches!(c, ',' | '.')).trim();
        let mended: Vec<String> =
            mended.iter().map(|m| format!("\"{sign}{m} {unit}\"").replace(" \"", "\"")).collect();
        let length =
            body.bytes().take_while(|b| b.is_ascii_digit() || matches!(b, b',' | b'.')).count();
        let help = if mended.is_empty() {
            format!("write it like \"{}\"", dimension.example)
        } else {
            format!("write {}", mended.join(" or "))
        };
        return Err(bad(start..digits_at + length, "a comma is not read").help(help));
    }
    if whole == 0 && body.starts_with('.') {
        let help = format!("write \"0{body}\"");
        return Err(bad(start..text.len(), "no digit before the point").help(help));
    }
    if whole == 0 {
        let sign = trimmed.chars().next().is_some_and(|c| matches!(c, '\u{2212}' | '\u{2013}'));
        let label = if sign { "the minus sign is another character" } else { "no number" };
        let help = if sign {
            "use the plain hyphen -".to_owned()
        } else {
            format!("write it like \"{}\"", dimension.example)
        };
        return Err(bad(start..text.len(), label).help(help));
    }
    if rest.starts_with(['.', '_', '\''])
        || (rest.starts_with(['e', 'E'])
            && rest[1..].starts_with(|c: char| c.is_ascii_digit() || matches!(c, '+' | '-')))
    {
        return Err(bad(end..text.len(), "a number is digits and one point")
            .help(format!("write it like \"{}\"", dimension.example)));
    }
    let written = body.get(..whole).unwrap_or("").trim_start_matches('0');
    let decimals = body.get(whole + 1..used).unwrap_or("").trim_end_matches('0');
    let digits: String = written.chars().chain(decimals.chars()).collect();
    if digits.len() > 18 {
        return Err(Problem::new(codes::OUT_OF_RANGE, start..end, "has more digits than are read")
            .label("at most 18 digits count"));
    }
    let digits = if digits.is_empty() { Ok(0) } else { digits.parse() };
    let Ok(digits) = digits else { return Err(bad(start..end, "not a number")) };
    Ok((Decimal { negative, digits, decimals: decimals.len() as u32 }, rest, end))
}

/// How a number with a comma may have been meant; nothing where it is none that anybody
/// writes. Of two different separators the last is the decimal one.
fn comma(body: &str, whole: usize) -> Option<Vec<String>> {
    let run: &str = body.split(|c: char| !c.is_ascii_digit() && !matches!(c, ',' | '.')).next()?;
    if whole == 0 || !run.contains(',') {
        return None;
    }
    let is_number = |digits: &str| !digits.is_empty() && digits.bytes().all(|b| b.is_ascii_digit());
    // 1 to 3 digits, then threes
    let joined = |text: &str, mark: char| {
        let groups: Vec<&str> = text.split(mark).collect();
        let first = groups.first().is_some_and(|first| (1..=3).contains(&first.len()));
        let threes = groups.iter().skip(1).all(|group| group.len() == 3);
        // nobody writes a thousand with a nought before it
        let nought = groups.len() > 1 && groups.first().is_some_and(|first| first.starts_with('0'));
        let whole = groups.concat();
        (first && threes && !nought && is_number(&whole)).then_some(whole)
    };
    let decimal = |whole: Option<String>, decimals: &str| {
        whole.filter(|_| is_number(decimals)).map(|whole| format!("{whole}.{decimals}"))
    };
    let (before, after) = run.rsplit_once([',', '.'])?;
    let last = run.as_bytes().get(before.len());
    let readings = match (last, run.contains('.')) {
        (Some(b'.'), _) => [decimal(joined(before, ','), after), None],
        (_, true) => [decimal(joined(before, '.'), after), None],
        (_, false) if is_number(before) => {
            [joined(run, ','), decimal(Some(before.to_owned()), after)]
        }
        (_, false) => [joined(run, ','), None],
    };
    Some(readings.into_iter().flatten().collect())
}

/// Finds the unit that `rest` names; `at` is where `rest` begins in `text`.
pub(super) fn unit<'d>(
    text: &str,
    rest: &str,
    at: usize,
    dimension: &'d Dimension,
) -> Result<&'d Unit, Problem> {
    let name = rest.trim();
    let begin = at + rest.len() - rest.trim_start().len();
    if name.is_empty() {
        let help = format!("write it like \"{}\"; units: {}", dimension.example, dimension.list());
        return Err(Problem::new(codes::NO_UNIT, 0..text.len(), "has no unit")
            .label("no unit")
            .help(help));
    }
    if let Some(unit) = dimension.find(name) {
        return Ok(unit);
    }
    let at = begin..begin + name.len();
    let hint = dimension.hints.iter().find(|(word, _)| *word == name).map(|(_, hint)| *hint);
    let label = format!("not a unit of {}", dimension.of);
    let problem = Problem::new(codes::UNKNOWN_UNIT, at, "has an unknown unit").label(label);
    Err(match hint {
        Some(hint) => problem.help(hint),
        None => problem.help(format!("units of {}: {}", dimension.of, dimension.list())),
    })
}

/// Reads a number and a unit.
pub(super) fn number_and_unit<'d>(
    text: &str,
    dimension: &'d Dimension,
) -> Result<(Decimal, &'d Unit), Problem> {
    let (decimal, rest, at) = number(text, dimension)?;
    Ok((decimal, unit(text, rest, at, dimension)?))
}

/// Reads a quantity in its dimension's base unit, rounded half away from zero
/// where the dimension allows it.
pub(super) fn quantity(text: &str, dimension: &Dimension) -> Result<i128, Problem> {
    let (decimal, unit) = number_and_unit(text, dimension)?;
    if !dimension.whole {
        return Ok(decimal.rounded(unit));
    }
    decimal.exact(unit).ok_or_else(|| {
        let what = format!("is not a whole number of {}", dimension.base);
        Problem::new(codes::OUT_OF_RANGE, 0..text.len(), what)
            .help(format!("only whole {} are read", dimension.base))
    })
}

/// Reads a flow in nanolitres a minute, rounded half up.
pub(super) fn flow(text: &str) -> Result<i128, Problem> {
    const EXAMPLE: Dimension = Dimension { what: "a flow", example: "26.5 ml/min", ..VOLUME };
    let (decimal, rest, at) = number(text, &EXAMPLE)?;
    let name = rest.trim();
    let begin = at + rest.len() - rest.trim_start().len();
    let help = || {
        format!(
            "a flow is a volume ({}) by a time ({}), as in \"26.5 ml/min\"",
            VOLUME.list(),
            FLOW_TIMES.list()
        )
    };
    if name.is_empty() {
        return Err(Problem::new(codes::NO_UNIT, 0..text.len(), "has no unit")
            .label("no unit")
            .help(help()));
    }
    let Some((volume, time)) = name.rsplit_once('/') else {
        return Err(Problem::new(
            codes::UNKNOWN_UNIT,
            begin..begin + name.len(),
            "has an unknown unit",
        )
        .label("not a unit of flow")
        .help(help()));
    };
    let slash = begin + volume.len();
    if volume.trim().is_empty() || time.trim().is_empty() {
        return Err(Problem::new(
            codes::UNKNOWN_UNIT,
            begin..begin + name.len(),
            "has half a unit",
        )
        .help(help()));
    }
    let volume = unit(text, volume, begin, &VOLUME)?;
    let time = unit(text, time, slash + 1, &FLOW_TIMES)?;
    // nl a minute: the volume's nanolitres over the time's minutes
    let (num, den) =
        (i128::from(decimal.digits) * i128::from(volume.num), 10_i128.pow(decimal.decimals));
    let den = den * i128::from(volume.den);
    let (num, den) = (num * i128::from(time.den) * 60_000, den * i128::from(time.num));
    let rounded = (num * 2 + den) / (den * 2);
    Ok(if decimal.negative { -rounded } else { rounded })
}

#[cfg(test)]
mod tests {
    use dosewright_core::units::{Volume, VolumeUnit};

    use super::*;

    #[test]
    fn volumes_are_those_of_the_logic_exactly() {
        for (text, digits, decimals, unit) in [
            ("26.5 ml", 265, 1, VolumeUnit::Millilitre),
            ("1 US fl oz", 1, 0, VolumeUnit::UsFluidOunce),
            ("0.0625 US fl oz", 625, 4, VolumeUnit::UsFluidOunce),
            ("3 imp fl oz", 3, 0, VolumeUnit::ImperialFluidOunce),
            ("7.5l", 75, 1, VolumeUnit::Litre),
            ("0.05 ul", 5, 2, VolumeUnit::Microlitre),
        ] {
            let (decimal, found) = number_and_unit(text, &VOLUME).unwrap();
            let ours = Volume::from_nl(decimal.rounded(found) as u64);
            assert_eq!(Some(ours), Volume::from_decimal(digits, decimals, unit), "{text}");
        }
    }

    #[test]
    fn flows_are_exact_in_nanolitres_a_minute() {
        assert_eq!(flow("26.5 ml/min"), Ok(26_500_000));
        assert_eq!(flow("1.59 l/h"), Ok(26_500_000));
        assert_eq!(flow("441.6666667 ul/s"), Ok(26_500_000));
        // 473176473/16 nl a fluid ounce (NIST Handbook 44, Appendix C)
        assert_eq!(flow("1 US fl oz/min"), Ok(29_573_530));
        assert_eq!(flow("36 l/d"), Ok(25_000_000));
    }

    #[test]
    fn a_comma_gets_the_number_with_a_point_or_both_readings() {
        let help = |text| number(text, &VOLUME).unwrap_err().help.unwrap();
        assert_eq!(help("1,5 l"), "write \"1.5 l\"");
        assert_eq!(help("1,500 ml"), "write \"1500 ml\" or \"1.500 ml\"");
        assert_eq!(help("0,020 l"), "write \"0.020 l\"");
        assert_eq!(help("1,234,567 ul"), "write \"1234567 ul\"");
        assert_eq!(help("1,234.5 ml"), "write \"1234.5 ml\"");
        assert_eq!(help("1.234,5 ml"), "write \"1234.5 ml\"");
        assert_eq!(help("1.234.567,5 ul"), "write \"1234567.5 ul\"");
        assert_eq!(help("-1,5 l"), "write \"-1.5 l\"");
        // nobody's number: no guess
        for text in [
            "0,234,567 ul",
            "0,123.5 ml",
            "1,5,2 ml",
            "1,234,5 ml",
            "1.5,2.5 ml",
            "12.34,5 ml",
            "1,5. ml",
            "1,",
        ] {
            assert_eq!(help(text), "write it like \"120 ml\"", "{text}");
        }
    }

    #[test]
    fn numbers_that_are_none_say_so() {
        let code = |text| number(text, &VOLUME).map(|_| ()).unwrap_err().code;
        for text in [
            "",
            "  ",
            ".5 l",
            "five ml",
            "1.2.3 l",
            "1e3 ml",
            "1_000 ml",
            "\u{2212}1 l",
            "-",
            "+",
            "1. l",
        ] {
            assert_eq!(code(text), codes::BAD_NUMBER, "{text}");
        }
        assert_eq!(code("1234567890123456789 ml"), codes::OUT_OF_RANGE);
        assert!(number("000000000000000000000001.50000000000000000000 l", &VOLUME).is_ok());
    }

    #[test]
    fn a_bare_fluid_ounce_is_refused_with_the_two_there_are() {
        let problem = number_and_unit("4 fl oz", &VOLUME).unwrap_err();
        assert_eq!((problem.code, problem.at), (codes::UNKNOWN_UNIT, 2..7));
        assert!(problem.help.unwrap().contains("US fl oz"));
    }
}
