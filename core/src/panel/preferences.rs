//! What the person in front of the panel likes: language, units, form of the clock.

use super::words::{self, Words};
use crate::units::VolumeUnit;

/// A language that was built in (features `panel-de`, `panel-fr`, `panel-es`,
/// `panel-pl`; English always is).
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug, Default)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[allow(missing_docs)]
pub enum Language {
    #[default]
    English,
    #[cfg(feature = "panel-de")]
    German,
    #[cfg(feature = "panel-fr")]
    French,
    #[cfg(feature = "panel-es")]
    Spanish,
    #[cfg(feature = "panel-pl")]
    Polish,
}

impl Language {
    /// All that were built in.
    pub const ALL: &[Self] = &[
        Self::English,
        #[cfg(feature = "panel-de")]
        Self::German,
        #[cfg(feature = "panel-fr")]
        Self::French,
        #[cfg(feature = "panel-es")]
        Self::Spanish,
        #[cfg(feature = "panel-pl")]
        Self::Polish,
    ];

    pub(super) const fn words(self) -> &'static Words {
        match self {
            Self::English => &words::ENGLISH,
            #[cfg(feature = "panel-de")]
            Self::German => &words::GERMAN,
            #[cfg(feature = "panel-fr")]
            Self::French => &words::FRENCH,
            #[cfg(feature = "panel-es")]
            Self::Spanish => &words::SPANISH,
            #[cfg(feature = "panel-pl")]
            Self::Polish => &words::POLISH,
        }
    }

    pub(super) fn at(index: u32) -> Self {
        Self::ALL.get(index as usize).copied().unwrap_or_default()
    }

    pub(super) fn index(self) -> u32 {
        Self::ALL.iter().position(|&other| other == self).unwrap_or(0) as u32
    }
}

/// In what volumes are shown and entered.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug, Default)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Unit {
    /// Millilitres, and litres of much.
    #[default]
    Metric,
    /// US fluid ounces.
    UsFluidOunce,
    /// Imperial fluid ounces.
    ImperialFluidOunce,
}

impl Unit {
    /// All of them.
    pub const ALL: [Self; 3] = [Self::Metric, Self::UsFluidOunce, Self::ImperialFluidOunce];

    pub(super) fn at(index: u32) -> Self {
        Self::ALL.get(index as usize).copied().unwrap_or_default()
    }

    /// The unit of little, or of much.
    pub(super) const fn volume(self, much: bool) -> VolumeUnit {
        match self {
            Self::Metric if much => VolumeUnit::Litre,
            Self::Metric => VolumeUnit::Millilitre,
            Self::UsFluidOunce => VolumeUnit::UsFluidOunce,
            Self::ImperialFluidOunce => VolumeUnit::ImperialFluidOunce,
        }
    }
}

/// Kept by the firmware beside the ledger, in the four bytes of [`Self::to_bytes`]:
/// losing them costs nobody a dose.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug, Default)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Preferences {
    /// The language.
    pub language: Language,
    /// The unit of volumes.
    pub unit: Unit,
    /// Whether the clock has twelve hours.
    pub twelve_hours: bool,
}

impl Preferences {
    /// For the firmware to keep.
    pub fn to_bytes(self) -> [u8; 4] {
        [b'P', self.language.index() as u8, self.unit as u8, u8::from(self.twelve_hours)]
    }

    /// From what the firmware has kept; what it does not say, or says of a language
    /// that is not built in, is as it is on a new device.
    pub fn from_bytes(bytes: [u8; 4]) -> Self {
        let [mark, language, unit, twelve_hours] = bytes;
        if mark != b'P' {
            return Self::default();
        }
        Self {
            language: Language::at(u32::from(language)),
            unit: Unit::at(u32::from(unit)),
            twelve_hours: twelve_hours == 1,
        }
    }
}
