//! Units: NIST Handbook 44, Appendix C (231 cubic inches a gallon, exact).

use dosewright_core::units::{Volume, VolumeUnit};

#[test]
fn fluid_ounces_are_exact() {
    // US: 231 x 2.54^3 ml / 128 = 29.5735295625 ml; 231 x 16.387064 ml is exact
    assert_eq!(VolumeUnit::UsFluidOunce.nanolitres(), (473_176_473, 16));
    assert_eq!(231 * 16_387_064_u64 * 16 / 128, 473_176_473);
    // imperial: 4.54609 l / 160 = 28.4130625 ml
    assert_eq!(VolumeUnit::ImperialFluidOunce.nanolitres(), (56_826_125, 2));
    assert_eq!(4_546_090_000_u64 * 2 / 160, 56_826_125);
    // ratio US / imperial: 473176473/454609000
    let (us, us_den) = VolumeUnit::UsFluidOunce.nanolitres();
    let (imp, imp_den) = VolumeUnit::ImperialFluidOunce.nanolitres();
    assert_eq!(us * imp_den * 454_609_000, imp * us_den * 473_176_473);
    // sixteen US ounces are a whole number of nanolitres; one is rounded once
    let sixteen = Volume::from_decimal(16, 0, VolumeUnit::UsFluidOunce).unwrap();
    assert_eq!(sixteen.as_nl(), 473_176_473);
    let one = Volume::from_decimal(1, 0, VolumeUnit::UsFluidOunce).unwrap();
    // 29 573 529.5625 nl
    assert_eq!(one.as_nl(), 29_573_530);
    let one = Volume::from_decimal(1, 0, VolumeUnit::ImperialFluidOunce).unwrap();
    // 28 413 062.5 nl, half up
    assert_eq!(one.as_nl(), 28_413_063);
}
