//! In what units volumes and flows are shown to a person. A command has one choice, as it has
//! one language: what it was asked for, else what the file says, else metric. Lines and files
//! for machines do not go by it.

use std::sync::atomic::{AtomicU8, Ordering};

use dosewright_core::panel::Unit;
use dosewright_core::units::{Flow, Volume, VolumeUnit};

/// What volumes are shown in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Units {
    /// Millilitres, and litres of much.
    #[default]
    Metric,
    /// US fluid ounces.
    Us,
    /// Imperial fluid ounces.
    Imperial,
}

/// The choice of this command.
static CHOSEN: AtomicU8 = AtomicU8::new(0);

impl Units {
    /// All of them.
    pub const ALL: [Self; 3] = [Self::Metric, Self::Us, Self::Imperial];

    /// Its word in a file.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Metric => "metric",
            Self::Us => "us",
            Self::Imperial => "imperial",
        }
    }

    /// What everything that is shown from now on is shown in. For a command: a library that
    /// is called from several threads has one choice for all.
    pub fn choose(self) {
        CHOSEN.store(self as u8, Ordering::Relaxed);
    }

    /// What was chosen.
    pub fn chosen() -> Self {
        let at = usize::from(CHOSEN.load(Ordering::Relaxed));
        Self::ALL.get(at).copied().unwrap_or_default()
    }

    /// What the text of a scenario or a brief says before its first table; read without the
    /// reader, for what the reader itself has to say.
    pub fn said_in(text: &str) -> Option<Self> {
        let said = text.lines().map(str::trim).take_while(|line| !line.starts_with('[')).find_map(
            |line| line.strip_prefix("units")?.trim_start().strip_prefix('=')?.trim().get(1..),
        )?;
        let word = said.split(['"', '\'']).next()?;
        Self::ALL.into_iter().find(|units| units.word() == word)
    }

    /// The same at the device's panel.
    pub const fn at_panel(self) -> Unit {
        match self {
            Self::Metric => Unit::Metric,
            Self::Us => Unit::UsFluidOunce,
            Self::Imperial => Unit::ImperialFluidOunce,
        }
    }

    /// The ounce; `None` where they are metric.
    pub const fn ounce(self) -> Option<VolumeUnit> {
        match self {
            Self::Metric => None,
            Self::Us => Some(VolumeUnit::UsFluidOunce),
            Self::Imperial => Some(VolumeUnit::ImperialFluidOunce),
        }
    }

    /// A volume in ounces to so many decimals, more of less than an ounce, without zeros at
    /// the end; `None` where they are metric.
    pub fn ounces(self, volume: Volume, decimals: u32) -> Option<String> {
        let unit = self.ounce()?;
        Some(format!("{} {}", digits(volume.as_nl(), unit, decimals), unit.symbol()))
    }

    /// A flow in ounces a minute, to a hundredth of a per cent.
    pub fn ounces_per_min(self, flow: Flow) -> Option<String> {
        let unit = self.ounce()?;
        let number = digits(u64::from(flow.as_nl_per_min()), unit, 3);
        Some(format!("{number} {}/min", unit.symbol()))
    }

    /// What a figure in ml is taken times to be in the unit of little.
    fn per_ml(self) -> f64 {
        self.ounce().map_or(1.0, |unit| {
            let (num, den) = unit.nanolitres();
            1e6 * den as f64 / num as f64
        })
    }
}

/// Rounded once, half up.
fn digits(nl: u64, unit: VolumeUnit, decimals: u32) -> String {
    let (num, den) = unit.nanolitres();
    let (num, whole) = (u128::from(num), u128::from(nl) * u128::from(den));
    // of less than an ounce as many digits from the first that is not nothing, and one more
    let mut decimals = decimals;
    let most = decimals + 6;
    let first = num * 10_u128.pow(decimals);
    while whole < num && decimals < most && whole * 10_u128.pow(decimals) < first {
        decimals += 1;
    }
    let scale = 10_u128.pow(decimals);
    let scaled = (whole * scale * 2 + num) / (num * 2);
    let text = format!("{}.{:0wide$}", scaled / scale, scaled % scale, wide = decimals as usize);
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// A figure in ml as the number of the unit of little: ml or ounces.
pub fn little(ml: f64) -> f64 {
    ml * Units::chosen().per_ml()
}

/// A figure in ml as the number of the unit of much: litres or ounces.
pub fn much(ml: f64) -> f64 {
    match Units::chosen() {
        Units::Metric => ml / 1000.0,
        ounces => ml * ounces.per_ml(),
    }
}

/// A figure in ml with its unit, to so many decimals of ml, or one more of an ounce.
pub fn in_ml(ml: f64, decimals: usize) -> String {
    let decimals = decimals + usize::from(Units::chosen() != Units::Metric);
    format!("{:.decimals$} {}", little(ml), of_little())
}

/// A figure in ml with the unit of much, to so many decimals of a litre, or one less of an
/// ounce.
pub fn in_l(ml: f64, decimals: usize) -> String {
    let decimals = decimals.saturating_sub(usize::from(Units::chosen() != Units::Metric));
    format!("{:.decimals$} {}", much(ml), of_much())
}

/// The number of such a text, where its unit comes once for two of them.
pub fn bare(text: String) -> String {
    let units = [of_little(), of_much()];
    let number = units.into_iter().find_map(|unit| text.strip_suffix(&format!(" {unit}")));
    number.map(str::to_owned).unwrap_or(text)
}

/// The symbol of little.
pub fn of_little() -> &'static str {
    Units::chosen().ounce().unwrap_or(VolumeUnit::Millilitre).symbol()
}

/// The symbol of much.
pub fn of_much() -> &'static str {
    Units::chosen().ounce().unwrap_or(VolumeUnit::Litre).symbol()
}

/// The head of a column, or the name of a blank, that ends in `, ml`: its unit as chosen.
pub fn headed(name: &str) -> String {
    match name.strip_suffix("ml") {
        Some(of) if of.ends_with(", ") => format!("{of}{}", of_little()),
        _ => name.to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_volume_in_ounces_has_four_digits_and_no_zeros_at_the_end() {
        let us = |nl, decimals| Units::Us.ounces(Volume::from_nl(nl), decimals).unwrap();
        // four ounces and half of one, which no whole nanolitre is
        assert_eq!(us(118_294_118, 3), "4 US fl oz");
        assert_eq!(us(14_786_765, 3), "0.5 US fl oz");
        // 120 ml / 29.5735295625 = 4.0577..., 0.29 ml = 0.0098060..., 20 l = 676.2804...
        assert_eq!(
            (us(120_000_000, 3), us(120_000_000, 2)),
            ("4.058 US fl oz".into(), "4.06 US fl oz".into())
        );
        assert_eq!(
            (us(290_000, 2), us(20_000_000_000, 3)),
            ("0.00981 US fl oz".into(), "676.28 US fl oz".into())
        );
        assert_eq!((us(0, 3), us(29_573_529, 3)), ("0 US fl oz".into(), "1 US fl oz".into()));
        // 120 ml / 28.4130625 = 4.2234...
        let imperial = Units::Imperial.ounces(Volume::from_ml(120), 3).unwrap();
        assert_eq!(imperial, "4.223 imp fl oz");
        assert_eq!(Units::Metric.ounces(Volume::from_ml(120), 3), None);
        // 26.5 / 29.5735295625 = 0.896071...
        let flow = Flow::from_nl_per_min(26_500_000).unwrap();
        assert_eq!(Units::Us.ounces_per_min(flow).unwrap(), "0.8961 US fl oz/min");
        assert!((29.573_529_562_5 * Units::Us.per_ml() - 1.0).abs() < 1e-12);
        assert!((28.413_062_5 * Units::Imperial.per_ml() - 1.0).abs() < 1e-12);
    }

    #[test]
    fn what_a_file_says_is_read_before_its_tables() {
        assert_eq!(
            Units::said_in("schema = 1\nunits = \"us\" # ounces\n[clock]\n"),
            Some(Units::Us)
        );
        assert_eq!(Units::said_in("units='imperial'\n"), Some(Units::Imperial));
        for none in
            ["[site]\nunits = \"us\"\n", "units = \"cups\"\n", "units\n", "title = \"units\"\n", ""]
        {
            assert_eq!(Units::said_in(none), None, "{none}");
        }
    }
}
