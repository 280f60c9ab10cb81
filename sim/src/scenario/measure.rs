//! Single quantities, as they are given on a command line: the same units and
//! the same refusals as in a file.

use super::quantity::{
    self, DENSITY, DISTANCE, Dimension, MASS, PERCENT, Problem, TEMPERATURE, VOLUME,
};
use dosewright_core::civil::{Date, Local};

/// In words, for a message that names the argument.
fn words(problem: Problem) -> String {
    match problem.help {
        Some(help) => format!("it {}: {help}", problem.what),
        None => format!("it {}", problem.what),
    }
}

fn of(text: &str, dimension: &Dimension, per: f64) -> Result<f64, String> {
    let value = quantity::quantity(text, dimension).map_err(words)?;
    Ok(value as f64 / per)
}

/// More than nothing.
fn some(value: f64, what: &str) -> Result<f64, String> {
    if value > 0.0 { Ok(value) } else { Err(format!("{what} is more than nothing")) }
}

/// A volume in ml.
///
/// # Errors
///
/// What is wrong with the text, in words; so for all of these.
pub fn ml(text: &str) -> Result<f64, String> {
    some(of(text, &VOLUME, 1e6)?, "a volume")
}

/// A volume in nl, which may be nothing.
pub(super) fn nl(text: &str) -> Result<u64, String> {
    let nl = quantity::quantity(text, &VOLUME).map_err(words)?;
    u64::try_from(nl).map_err(|_| "a volume is not negative".to_owned())
}

/// A date that exists, such as 2026-10-05, as it is written.
pub fn date(text: &str) -> Result<Date, String> {
    match super::datetime::date(text.trim()) {
        Ok(date) => Ok(date),
        Err(problem) => Err(format!("it {}: write it like 2026-10-05", problem.what)),
    }
}

/// A local date and time, or the first moment of a date.
pub fn moment(text: &str) -> Result<Local, String> {
    let text = text.trim();
    let of_date = |date| Local::new(date, dosewright_core::time::Duration::ZERO);
    match super::datetime::local(text).or_else(|_| super::datetime::date(text).map(of_date)) {
        Ok(local) => Ok(local),
        Err(problem) => {
            Err(format!("it {}: write it like \"2026-10-05 07:30\" or 2026-10-05", problem.what))
        }
    }
}

/// An uncertainty of a flow, as it is written: a flow, or a share of it.
pub fn uncertainty(text: &str) -> Result<String, String> {
    let text = text.trim();
    let is_share = quantity::quantity(text, &PERCENT).is_ok_and(|share| share > 0);
    let is_flow = quantity::flow(text).is_ok_and(|flow| flow > 0);
    if is_share || is_flow {
        Ok(text.to_owned())
    } else {
        Err("it is no uncertainty of a flow: write it like \"0.43 ml/min\" or \"1.4 %\"".to_owned())
    }
}

/// A mass in g.
pub fn g(text: &str) -> Result<f64, String> {
    some(of(text, &MASS, 1e3)?, "a mass")
}

/// A mass in g, which may be nothing.
pub fn g_or_none(text: &str) -> Result<f64, String> {
    let g = of(text, &MASS, 1e3)?;
    if g >= 0.0 { Ok(g) } else { Err("a mass is not negative".to_owned()) }
}

/// A density in g/ml.
pub fn g_per_ml(text: &str) -> Result<f64, String> {
    some(of(text, &DENSITY, 1e6)?, "a density")
}

/// A temperature in degrees Celsius.
pub fn celsius(text: &str) -> Result<f64, String> {
    of(text, &TEMPERATURE, 1e3)
}

/// A share: 2 % is 0.02.
pub fn share(text: &str) -> Result<f64, String> {
    some(of(text, &PERCENT, 1e6)?, "a share")
}

/// A share of 1, which may be nothing.
pub fn share_or_none(text: &str) -> Result<f64, String> {
    let share = of(text, &PERCENT, 1e6)?;
    if share >= 0.0 { Ok(share) } else { Err("a share is not negative".to_owned()) }
}

/// A flow in ml/min.
pub fn ml_per_min(text: &str) -> Result<f64, String> {
    let nl = quantity::flow(text).map_err(words)?;
    some(nl as f64 / 1e6, "a flow")
}

/// A height in m, either sign.
pub fn metres(text: &str) -> Result<f64, String> {
    of(text, &DISTANCE, 1e6)
}

/// A length of time in s.
pub fn seconds(text: &str) -> Result<f64, String> {
    let ms = quantity::duration(text).map_err(words)?;
    some(ms as f64 / 1e3, "a length of time")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_units_of_files() {
        assert_eq!((ml("1 US fl oz"), ml("0.1 l")), (Ok(29.573_53), Ok(100.0)));
        assert_eq!((g("1.2 kg"), g_per_ml("1030 kg/m3")), (Ok(1200.0), Ok(1.03)));
        assert_eq!((share("2 %"), ml_per_min("1.59 l/h")), (Ok(0.02), Ok(26.5)));
        assert_eq!((seconds("1 min 30 s"), celsius("-4.5 C")), (Ok(90.0), Ok(-4.5)));
        for bad in ["", "26.5", "1,5 l", "0 ml", "-1 ml", "4 fl oz"] {
            assert!(ml(bad).is_err(), "{bad}");
        }
        assert!(ml("1,5 l").unwrap_err().contains("1.5 l"));
    }
}
