//! Volumes and flows in integers, and the products of the two.
//!
//! A volume counts nanolitres, a flow nanolitres a minute. A flow times a time
//! in milliseconds is therefore exact in sixty-thousandths of a nanolitre; that
//! is the unit in which a dose's remainder is carried on ([`Carry`]).

use crate::time::Duration;

/// Nanolitres in a millilitre.
pub const NL_PER_ML: u64 = 1_000_000;
/// Milliseconds in a minute: what a flow is divided by.
const MS_PER_MIN: u64 = 60_000;

/// A volume in nanolitres.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Default)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Volume(u64);

/// A unit in which a volume is read or shown.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum VolumeUnit {
    /// Microlitre.
    Microlitre,
    /// Millilitre.
    Millilitre,
    /// Litre.
    Litre,
    /// US fluid ounce: 1/128 of a gallon of 231 cubic inches, which is
    /// 473176473/16 nl exactly (NIST Handbook 44, Appendix C).
    UsFluidOunce,
    /// Imperial fluid ounce: 1/160 of a gallon of 4.54609 l, 28.4130625 ml
    /// exactly.
    ImperialFluidOunce,
}

impl VolumeUnit {
    /// The unit's size in nanolitres as an exact fraction.
    pub const fn nanolitres(self) -> (u64, u64) {
        match self {
            Self::Microlitre => (1_000, 1),
            Self::Millilitre => (1_000_000, 1),
            Self::Litre => (1_000_000_000, 1),
            Self::UsFluidOunce => (473_176_473, 16),
            Self::ImperialFluidOunce => (56_826_125, 2),
        }
    }

    /// The unit's symbol: `ml`, `l`, `ul`, `US fl oz`, `imp fl oz`.
    pub const fn symbol(self) -> &'static str {
        match self {
            Self::Microlitre => "ul",
            Self::Millilitre => "ml",
            Self::Litre => "l",
            Self::UsFluidOunce => "US fl oz",
            Self::ImperialFluidOunce => "imp fl oz",
        }
    }
}

impl Volume {
    /// No volume.
    pub const ZERO: Self = Self(0);

    /// From nanolitres.
    pub const fn from_nl(nl: u64) -> Self {
        Self(nl)
    }

    /// From microlitres.
    pub const fn from_ul(ul: u64) -> Self {
        Self(ul.saturating_mul(1000))
    }

    /// From millilitres.
    pub const fn from_ml(ml: u64) -> Self {
        Self(ml.saturating_mul(NL_PER_ML))
    }

    /// From a decimal number of a unit: `digits` times ten to the power of
    /// minus `decimals`, rounded once, half up, to the nearest nanolitre.
    /// `None` where it would not fit 2^63 nl, or `decimals` is over 18.
    ///
    /// `26.5 ml` is `from_decimal(265, 1, VolumeUnit::Millilitre)`.
    pub const fn from_decimal(digits: u64, decimals: u32, unit: VolumeUnit) -> Option<Self> {
        if decimals > 18 {
            return None;
        }
        let (num, den) = unit.nanolitres();
        let den = den as u128 * 10u128.pow(decimals);
        let nl = (digits as u128 * num as u128 * 2 + den) / (den * 2);
        if nl > i64::MAX as u128 { None } else { Some(Self(nl as u64)) }
    }

    /// In nanolitres.
    pub const fn as_nl(self) -> u64 {
        self.0
    }

    /// In microlitres, rounded half up.
    pub const fn as_ul(self) -> u64 {
        self.0.saturating_add(500) / 1000
    }

    /// In tenths of `unit`, rounded half up: what a display shows.
    pub const fn tenths_of(self, unit: VolumeUnit) -> u64 {
        let (num, den) = unit.nanolitres();
        ((self.0 as u128 * den as u128 * 20 + num as u128) / (num as u128 * 2)) as u64
    }

    /// The sum, at most the largest volume there is.
    #[must_use]
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub const fn plus(self, other: Self) -> Self {
        Self(self.0.saturating_add(other.0))
    }

    /// What is left after `other` is taken away, at least nothing.
    #[must_use]
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub const fn minus(self, other: Self) -> Self {
        Self(self.0.saturating_sub(other.0))
    }

    /// The smaller of the two.
    #[must_use]
    pub const fn min(self, other: Self) -> Self {
        if self.0 <= other.0 { self } else { other }
    }
}

/// What is left over of a dose after whole milliseconds, in sixty-thousandths
/// of a nanolitre; always less than one millisecond of flow.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Default)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Carry(pub u32);

/// `a / b` without a way to panic: 0 where `b` is 0, which its callers rule out.
#[cfg_attr(target_pointer_width = "32", inline(never))]
pub(crate) const fn over(a: u64, b: u64) -> u64 {
    match a.checked_div(b) {
        Some(quotient) => quotient,
        None => 0,
    }
}

/// `a * b`, at most the largest number there is.
#[cfg_attr(target_pointer_width = "32", inline(never))]
pub(crate) const fn times(a: u64, b: u64) -> u64 {
    a.saturating_mul(b)
}

/// The same as [`over`], rounded up.
#[cfg_attr(target_pointer_width = "32", inline(never))]
pub(crate) const fn over_up(a: u64, b: u64) -> u64 {
    let quotient = over(a, b);
    quotient.wrapping_add((quotient.wrapping_mul(b) < a) as u64)
}

/// A flow in nanolitres a minute, never zero.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Flow(u32);

impl Flow {
    /// A nanolitre a minute.
    pub(crate) const LEAST: Self = Self(1);

    /// From nanolitres a minute; `None` for zero.
    pub const fn from_nl_per_min(nl_per_min: u32) -> Option<Self> {
        if nl_per_min == 0 { None } else { Some(Self(nl_per_min)) }
    }

    /// In nanolitres a minute.
    pub const fn as_nl_per_min(self) -> u32 {
        self.0
    }

    /// The whole milliseconds of pumping that `volume` and a carried remainder
    /// ask for, and the remainder that is left (D4).
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub const fn on_time(self, volume: Volume, carry: Carry) -> (Duration, Carry) {
        // 300 000 l and more count as 300 000 l, which no window is long enough for
        let wanted = times(volume.0, MS_PER_MIN).saturating_add(carry.0 as u64);
        let flow = self.0 as u64;
        let ms = over(wanted, flow);
        (Duration::from_ms(ms), Carry(wanted.wrapping_sub(ms.wrapping_mul(flow)) as u32))
    }

    /// The volume that `on` milliseconds of pumping deliver, rounded half up
    /// to the nanolitre.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub const fn volume(self, on: Duration) -> Volume {
        let product = times(on.as_ms(), self.0 as u64);
        Volume(product.saturating_add(MS_PER_MIN / 2) / MS_PER_MIN)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn d4_the_remainder_is_carried_so_that_many_doses_sum_exactly() {
        let flow = Flow::from_nl_per_min(26_500_000).unwrap();
        let dose = Volume::from_ml(120);
        let (mut carry, mut total_ms) = (Carry(0), 0);
        for _ in 0..10_000 {
            let (on, rest) = flow.on_time(dose, carry);
            carry = rest;
            total_ms += on.as_ms();
        }
        // 10 000 doses of 120 ml in sixty-thousandths of a nanolitre
        let wanted = 10_000u128 * 120_000_000 * 60_000;
        assert_eq!(u128::from(total_ms) * 26_500_000 + u128::from(carry.0), wanted);
    }

    #[test]
    fn a_decimal_is_rounded_once_half_up_within_its_range() {
        use VolumeUnit::{ImperialFluidOunce, Litre, Microlitre, Millilitre, UsFluidOunce};
        let nl = |digits, decimals, unit| {
            Volume::from_decimal(digits, decimals, unit).map(Volume::as_nl)
        };
        assert_eq!(nl(265, 1, Millilitre), Some(26_500_000));
        assert_eq!(nl(1, 0, Litre), Some(1_000_000_000));
        assert_eq!([nl(14, 4, Microlitre), nl(15, 4, Microlitre)], [Some(1), Some(2)]);
        // 0.01 US fl oz are 295 735.295625 nl, 0.01 imperial ones 284 130.625 nl
        assert_eq!(nl(1, 2, UsFluidOunce), Some(295_735));
        assert_eq!(nl(1, 2, ImperialFluidOunce), Some(284_131));
        // no more decimals than digits of 64 bits, no more volume than half of them
        assert_eq!(nl(1_000_000_000_000_000_000, 18, Millilitre), Some(1_000_000));
        assert_eq!(nl(1, 19, Millilitre), None);
        assert_eq!(nl(9_223_372_036_854_775_807, 3, Microlitre), Some(i64::MAX as u64));
        assert_eq!(nl(9_223_372_036_854_775_808, 3, Microlitre), None);
    }

    #[test]
    fn a_volume_is_shown_rounded_half_up() {
        let ul = |nl| Volume::from_nl(nl).as_ul();
        assert_eq!([ul(499), ul(500), ul(1_499), ul(1_500)], [0, 1, 1, 2]);
        assert_eq!(ul(u64::MAX), u64::MAX / 1000, "to within a microlitre");
        let tenths = |nl, unit| Volume::from_nl(nl).tenths_of(unit);
        let ml = [49_999, 50_000, 26_549_999, 26_550_000];
        assert_eq!(ml.map(|nl| tenths(nl, VolumeUnit::Millilitre)), [0, 1, 265, 266]);
        // a tenth of a US fluid ounce is 2 957 352.95625 nl
        let us = [1_478_676, 1_478_677, 29_573_530];
        assert_eq!(us.map(|nl| tenths(nl, VolumeUnit::UsFluidOunce)), [0, 1, 10]);
        let symbols = ["ul", "ml", "l", "US fl oz", "imp fl oz"];
        use VolumeUnit::*;
        let units = [Microlitre, Millilitre, Litre, UsFluidOunce, ImperialFluidOunce];
        assert_eq!(units.map(VolumeUnit::symbol), symbols);
    }

    #[test]
    fn d4_a_run_delivers_its_time_at_the_flow_rounded_half_up() {
        // 90 nl a minute: 1.5 nl a second
        let flow = Flow::from_nl_per_min(90).unwrap();
        let nl = |ms| flow.volume(Duration::from_ms(ms)).as_nl();
        assert_eq!([nl(333), nl(334), nl(1_000), nl(60_000)], [0, 1, 2, 90]);
    }
}
