//! The units that are read, each with its exact size.

use dosewright_core::units::VolumeUnit;

/// A unit as a fraction of its dimension's base unit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::scenario) struct Unit {
    pub(in crate::scenario) symbol: &'static str,
    /// Other spellings that are read.
    pub(in crate::scenario) also: &'static [&'static str],
    pub(in crate::scenario) num: u64,
    pub(in crate::scenario) den: u64,
}

/// What is measured.
#[derive(Debug, Clone, Copy)]
pub(in crate::scenario) struct Dimension {
    /// With its article: "a volume".
    pub(in crate::scenario) what: &'static str,
    /// After "of": "volume".
    pub(in crate::scenario) of: &'static str,
    pub(in crate::scenario) example: &'static str,
    /// The base unit's name in the plural.
    pub(in crate::scenario) base: &'static str,
    pub(in crate::scenario) units: &'static [Unit],
    /// What is not a whole number of the base unit is refused, not rounded.
    pub(in crate::scenario) whole: bool,
    /// What to say of units that people write and that are not read.
    pub(in crate::scenario) hints: &'static [(&'static str, &'static str)],
}

impl Dimension {
    pub(in crate::scenario) fn find(&self, name: &str) -> Option<&'static Unit> {
        self.units.iter().find(|unit| unit.symbol == name || unit.also.contains(&name))
    }

    /// Its units for a message: `ul, ml, l`.
    pub(in crate::scenario) fn list(&self) -> String {
        self.units.iter().map(|unit| unit.symbol).collect::<Vec<_>>().join(", ")
    }

    /// A regular expression for its units.
    pub(in crate::scenario) fn pattern(&self) -> String {
        let names =
            self.units.iter().flat_map(|unit| std::iter::once(&unit.symbol).chain(unit.also));
        names.copied().collect::<Vec<_>>().join("|")
    }
}

const fn unit(symbol: &'static str, also: &'static [&'static str], num: u64, den: u64) -> Unit {
    Unit { symbol, also, num, den }
}

const fn volume(of: VolumeUnit, also: &'static [&'static str]) -> Unit {
    let (num, den) = of.nanolitres();
    unit(of.symbol(), also, num, den)
}

const FLUID_OUNCES: &str =
    "there are two: \"US fl oz\" (29.5735295625 ml) and \"imp fl oz\" (28.4130625 ml); say which";

/// In nanolitres.
pub(in crate::scenario) const VOLUME: Dimension = Dimension {
    what: "a volume",
    of: "volume",
    example: "120 ml",
    base: "nanolitres",
    whole: false,
    units: &[
        volume(VolumeUnit::Microlitre, &["uL", "\u{b5}l", "\u{3bc}l", "\u{b5}L", "\u{3bc}L"]),
        volume(VolumeUnit::Millilitre, &["mL"]),
        volume(VolumeUnit::Litre, &["L"]),
        volume(VolumeUnit::UsFluidOunce, &[]),
        volume(VolumeUnit::ImperialFluidOunce, &[]),
    ],
    hints: &[
        ("fl oz", FLUID_OUNCES),
        ("fl. oz.", FLUID_OUNCES),
        ("floz", FLUID_OUNCES),
        ("oz", FLUID_OUNCES),
        ("cl", "1 cl is \"10 ml\""),
        ("dl", "1 dl is \"100 ml\""),
        ("cc", "1 cc is \"1 ml\""),
        ("cm3", "1 cm3 is \"1 ml\""),
        ("m3", "1 m3 is \"1000 l\""),
    ],
};

const MS: Unit = unit("ms", &[], 1, 1);
const S: Unit = unit("s", &[], 1_000, 1);
const MIN: Unit = unit("min", &[], 60_000, 1);
const H: Unit = unit("h", &[], 3_600_000, 1);
const DAY: Unit = unit("d", &["day", "days"], 86_400_000, 1);
const WEEK: Unit = unit("week", &["weeks"], 604_800_000, 1);

/// In milliseconds.
pub(in crate::scenario) const TIME: Dimension = Dimension {
    what: "a length of time",
    of: "time",
    example: "2 min 30 s",
    base: "milliseconds",
    whole: true,
    units: &[MS, S, MIN, H, DAY, WEEK],
    hints: &[
        ("m", "minutes are \"min\""),
        ("mins", "minutes are \"min\""),
        ("minute", "minutes are \"min\""),
        ("minutes", "minutes are \"min\""),
        ("sec", "seconds are \"s\""),
        ("secs", "seconds are \"s\""),
        ("second", "seconds are \"s\""),
        ("seconds", "seconds are \"s\""),
        ("hr", "hours are \"h\""),
        ("hrs", "hours are \"h\""),
        ("hour", "hours are \"h\""),
        ("hours", "hours are \"h\""),
        ("month", "months differ in length: give days or weeks"),
        ("months", "months differ in length: give days or weeks"),
        ("y", "a year of 365 days is \"365 days\""),
        ("year", "a year of 365 days is \"365 days\""),
        ("years", "a year of 365 days is \"365 days\""),
    ],
};

/// The times that a flow can be by, in milliseconds.
pub(in crate::scenario) const FLOW_TIMES: Dimension = Dimension {
    units: &[S, MIN, H, unit("d", &["day"], 86_400_000, 1)],
    example: "26.5 ml/min",
    ..TIME
};

/// In parts per thousand million.
pub(in crate::scenario) const DRIFT: Dimension = Dimension {
    what: "a drift",
    of: "drift",
    example: "20 ppm",
    base: "parts per thousand million",
    whole: false,
    units: &[unit("ppm", &[], 1_000, 1), unit("ppb", &[], 1, 1)],
    hints: &[("s/d", "1 s a day is 11.574 ppm"), ("s/day", "1 s a day is 11.574 ppm")],
};

/// In parts per million.
pub(in crate::scenario) const PERCENT: Dimension = Dimension {
    what: "a share",
    of: "share",
    example: "2 %",
    base: "parts per million",
    whole: false,
    units: &[unit("%", &[], 10_000, 1), unit("ppm", &[], 1, 1)],
    hints: &[("percent", "percent is \"%\"")],
};

/// In thousandths of a degree Celsius.
pub(in crate::scenario) const TEMPERATURE: Dimension = Dimension {
    what: "a temperature",
    of: "temperature",
    example: "4 C",
    base: "thousandths of a degree",
    whole: false,
    units: &[unit("C", &["\u{b0}C"], 1_000, 1)],
    hints: &[
        ("F", "in degrees Celsius: C = (F - 32) / 1.8"),
        ("\u{b0}F", "in degrees Celsius: C = (F - 32) / 1.8"),
        ("K", "in degrees Celsius: C = K - 273.15"),
    ],
};

/// In parts per thousand million and square kelvin.
pub(in crate::scenario) const CURVE: Dimension = Dimension {
    what: "a temperature coefficient",
    of: "a crystal's temperature coefficient",
    example: "-0.034 ppm/C2",
    base: "parts per thousand million and square kelvin",
    whole: false,
    units: &[unit("ppm/C2", &["ppm/K2", "ppm/C^2", "ppm/K^2"], 1_000, 1)],
    hints: &[],
};

/// In millivolts.
pub(in crate::scenario) const VOLTAGE: Dimension = Dimension {
    what: "a voltage",
    of: "voltage",
    example: "6 V",
    base: "millivolts",
    whole: false,
    units: &[unit("mV", &[], 1, 1), unit("V", &[], 1_000, 1)],
    hints: &[],
};

/// In microamperes.
pub(in crate::scenario) const CURRENT: Dimension = Dimension {
    what: "a current",
    of: "current",
    example: "350 mA",
    base: "microamperes",
    whole: false,
    units: &[
        unit("uA", &["\u{b5}A", "\u{3bc}A"], 1, 1),
        unit("mA", &[], 1_000, 1),
        unit("A", &[], 1_000_000, 1),
    ],
    hints: &[],
};

/// In bytes.
pub(in crate::scenario) const BYTES: Dimension = Dimension {
    what: "a size",
    of: "memory size",
    example: "4 KiB",
    base: "bytes",
    whole: true,
    units: &[unit("B", &[], 1, 1), unit("KiB", &[], 1_024, 1), unit("MiB", &[], 1_048_576, 1)],
    hints: &[
        ("kB", "1024 bytes are \"1 KiB\""),
        ("KB", "1024 bytes are \"1 KiB\""),
        ("K", "1024 bytes are \"1 KiB\""),
        ("k", "1024 bytes are \"1 KiB\""),
        ("MB", "1024 KiB are \"1 MiB\""),
    ],
};

/// In micrometres.
pub(in crate::scenario) const DISTANCE: Dimension = Dimension {
    what: "a distance",
    of: "distance",
    example: "2.5 m",
    base: "micrometres",
    whole: false,
    units: &[
        unit("mm", &[], 1_000, 1),
        unit("cm", &[], 10_000, 1),
        unit("m", &[], 1_000_000, 1),
        // exact since 1959
        unit("in", &["inch"], 25_400, 1),
        unit("ft", &[], 304_800, 1),
    ],
    hints: &[("\"", "inches are \"in\""), ("'", "feet are \"ft\"")],
};

/// In milligrams a litre.
pub(in crate::scenario) const DENSITY: Dimension = Dimension {
    what: "a density",
    of: "density",
    example: "1.02 kg/l",
    base: "milligrams a litre",
    whole: false,
    units: &[
        unit("kg/l", &["kg/L"], 1_000_000, 1),
        unit("g/ml", &["g/mL", "g/cm3"], 1_000_000, 1),
        unit("g/l", &["g/L"], 1_000, 1),
        unit("kg/m3", &[], 1_000, 1),
        unit("mg/l", &["mg/L"], 1, 1),
    ],
    hints: &[("SG", "a specific gravity of 1.02 is \"1.02 kg/l\"")],
};

/// In micropascal seconds.
pub(in crate::scenario) const VISCOSITY: Dimension = Dimension {
    what: "a viscosity",
    of: "viscosity",
    example: "1 mPa s",
    base: "micropascal seconds",
    whole: false,
    units: &[
        unit("mPa s", &["mPas", "mPa*s", "cP"], 1_000, 1),
        unit("Pa s", &["Pas"], 1_000_000, 1),
    ],
    hints: &[],
};

const OF_A_DOSE: &str = "a rate is a volume for each m3 or litre; a volume for each dose is `dose`, \
    or `start_up_dose`";

/// In nanolitres a litre.
pub(in crate::scenario) const RATE: Dimension = Dimension {
    what: "a rate of dosing",
    of: "rate",
    example: "80 ml/m3",
    base: "nanolitres a litre",
    whole: false,
    units: &[
        unit("ml/m3", &["mL/m3"], 1_000, 1),
        unit("ml/l", &["mL/L"], 1_000_000, 1),
        unit("ul/l", &[], 1_000, 1),
    ],
    hints: &[("ppm", "1 ppm by volume is \"1 ml/m3\""), ("ml", OF_A_DOSE), ("l", OF_A_DOSE)],
};

/// In milligrams.
pub(in crate::scenario) const MASS: Dimension = Dimension {
    what: "a mass",
    of: "mass",
    example: "120.0 g",
    base: "milligrams",
    whole: false,
    units: &[unit("mg", &[], 1, 1), unit("g", &[], 1_000, 1), unit("kg", &[], 1_000_000, 1)],
    hints: &[("gr", "grams are \"g\"")],
};
