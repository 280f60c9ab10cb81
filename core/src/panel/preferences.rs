//! What the person in front of the panel likes: language, units, form of the clock.

use super::words;
#[cfg(test)]
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

    pub(super) fn words(self) -> &'static [u8] {
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

    pub(super) const fn at(index: u32) -> Self {
        match index {
            1 => Self::UsFluidOunce,
            2 => Self::ImperialFluidOunce,
            _ => Self::Metric,
        }
    }

    /// The unit of little, or of much.
    #[cfg(test)]
    pub(super) const fn volume(self, much: bool) -> VolumeUnit {
        match self {
            Self::Metric if much => VolumeUnit::Litre,
            Self::Metric => VolumeUnit::Millilitre,
            Self::UsFluidOunce => VolumeUnit::UsFluidOunce,
            Self::ImperialFluidOunce => VolumeUnit::ImperialFluidOunce,
        }
    }
}

/// What a panel was told, kept by the firmware beside the ledger in the four bytes of
/// [`Self::to_bytes`]: losing them costs nobody a dose.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug, Default)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Preferences {
    /// The language.
    pub language: Language,
    /// The unit of volumes.
    pub unit: Unit,
    /// Whether the clock has twelve hours.
    pub twelve_hours: bool,
    /// Length of the tube set, both lines, in decimetres, 1 to 999; 0 where nobody said.
    pub tube_dm: u16,
    /// Bore of the tube set: 0 to 3 for 1.6, 3.2, 4.8 and 6.4 mm.
    pub bore: u8,
}

const MARK: u8 = b'Q';

impl Preferences {
    /// Those of a new device.
    pub const NEW: Self = Self {
        language: Language::English,
        unit: Unit::Metric,
        twelve_hours: false,
        tube_dm: 0,
        bore: 0,
    };

    /// For the firmware to keep.
    pub fn to_bytes(self) -> [u8; 4] {
        let shown = self.language.index() as u8 | (self.unit as u8) << 4;
        let [low, high] = self.tube_dm.to_le_bytes();
        [MARK, shown | u8::from(self.twelve_hours) << 6, low, high | self.bore << 2]
    }

    /// From what the firmware has kept. Other bytes, and those of a language that is not
    /// built in, stand for a new device.
    pub fn from_bytes(bytes: [u8; 4]) -> Self {
        let [_, shown, low, high] = bytes;
        let read = Self {
            language: Language::at(u32::from(shown & 0xf)),
            unit: Unit::at(u32::from(shown >> 4 & 3)),
            twelve_hours: shown >> 6 & 1 == 1,
            tube_dm: u16::from_le_bytes([low, high & 3]),
            bore: high >> 2,
        };
        // what is not as it would be written is not the panel's
        let is_ours = read.to_bytes() == bytes && read.tube_dm <= 999 && read.bore <= 3;
        if is_ours { read } else { Self::default() }
    }
}
