//! Calibration by mass, ISO 8655-6.

use dosewright_sim::trade::water::{density_kg_m3, vapour_pressure_pa, viscosity_pa_s, z_ml_per_g};

use crate::{same, within};

#[test]
fn z_factors_at_1013_hpa() {
    // a table of the ISO 8655 kind: Z in ul/mg at 1013 hPa
    const TABLE: [(f64, f64); 31] = [
        (15.0, 1.0020),
        (15.5, 1.0020),
        (16.0, 1.0021),
        (16.5, 1.0022),
        (17.0, 1.0023),
        (17.5, 1.0024),
        (18.0, 1.0025),
        (18.5, 1.0026),
        (19.0, 1.0027),
        (19.5, 1.0028),
        (20.0, 1.0029),
        (20.5, 1.0030),
        (21.0, 1.0031),
        (21.5, 1.0032),
        (22.0, 1.0033),
        (22.5, 1.0034),
        (23.0, 1.0035),
        (23.5, 1.0036),
        (24.0, 1.0038),
        (24.5, 1.0039),
        (25.0, 1.0040),
        (25.5, 1.0041),
        (26.0, 1.0043),
        (26.5, 1.0044),
        (27.0, 1.0045),
        (27.5, 1.0047),
        (28.0, 1.0048),
        (28.5, 1.0050),
        (29.0, 1.0051),
        (29.5, 1.0052),
        (30.0, 1.0054),
    ];
    for (t, z) in TABLE {
        same(z_ml_per_g(t, 1013.0), z, 4);
    }
}

#[test]
fn densities_of_water() {
    // IAPWS-95, computed with PyPI iapws 1.5.5 and CoolProp 8.0.0, in kg/m3;
    // Kell's formula is good to some 0.005 kg/m3 against it
    for (t, density) in [
        (4.0, 999.9749),
        (10.0, 999.7025),
        (15.0, 999.1026),
        (20.0, 998.2072),
        (25.0, 997.0476),
        (30.0, 995.6495),
    ] {
        assert!((density_kg_m3(t) - density).abs() < 0.005, "{t} C: {}", density_kg_m3(t));
    }
}

#[test]
fn ten_weighings_make_a_systematic_error_and_a_spread() {
    // ISO 8655-6 definitions (from memory); invented masses, statistics computed
    let masses = [99.62, 99.71, 99.55, 99.80, 99.66, 99.58, 99.73, 99.69, 99.61, 99.75];
    // the definitions are of volumes Z m, here at Z = 1.0029 against 100 ml
    let volumes: Vec<f64> = masses.iter().map(|m| m * 1.0029).collect();
    let found = dosewright_sim::trade::repeats::judge(&volumes, 100.0).unwrap();
    same(found.mean, 99.959_04, 5);
    same(found.systematic_percent, -0.040_96, 5);
    same(found.deviation, 0.080_232, 6);
    same(found.spread_percent, 0.080_265, 6);
}

/// Grubbs' test. The readings of the example in the NIST/SEMATECH e-Handbook, 1.3.5.17.1 (from
/// memory): G = 2.469 of eight, over 2.274, the value for 1 % (ISO 5725-2:1994, Table 5).
#[test]
fn one_of_several_readings_that_stands_apart_is_found() {
    use dosewright_sim::trade::repeats::judge;
    let readings = [199.31, 199.53, 200.19, 200.82, 201.92, 201.95, 202.18, 245.57];
    let found = judge(&readings, 200.0).unwrap();
    same((245.57 - found.mean) / found.deviation, 2.469, 3);
    let odd = found.odd.unwrap();
    assert!(odd.reading == 8 && odd.is_outlier, "{odd:?}");
    same(odd.others, 200.842_857, 6);
    assert_eq!(judge(&readings[..7], 200.0).unwrap().odd, None);
    // what one of n has for G where the others are n - 1 of one value and it is far off is
    // (n - 1)/sqrt(n): of three 1.1547, never over the 1.155 of the table
    assert_eq!(judge(&[1.0, 1.0, 9.0], 1.0).unwrap().odd, None);
    // a value of the table itself is not over it, one of five of G = 1.71 and 1.72, 1.76 and 1.77
    for (g, wanted) in [(1.71, None), (1.72, Some(false)), (1.76, Some(false)), (1.77, Some(true))]
    {
        // the others lie evenly about their mean: two at one side, two at the other
        let (n, far) = (5.0_f64, 1.0);
        let deviation = far * (n - 1.0) / n / g;
        let squares = deviation * deviation * (n - 1.0) - far * far * (n - 1.0) / n;
        let by = (squares / 4.0).sqrt();
        let readings = [10.0 - by, 10.0 - by, 10.0 + far, 10.0 + by, 10.0 + by];
        let odd = judge(&readings, 10.0).unwrap().odd;
        assert_eq!(odd.map(|odd| odd.is_outlier), wanted, "{g}");
        assert!(odd.is_none_or(|odd| odd.reading == 3), "{odd:?}");
    }
}

#[test]
fn viscosity_and_vapour_pressure_of_water() {
    // IAPWS R12-08 release, table of verification: 889.735100 uPa s at 298.15 K
    // (from memory; that value is for 998 kg/m3, this is for 0.1 MPa)
    within(viscosity_pa_s(25.0), 0.890e-3, 0.001);
    // 1.0016 mPa s at 20 C (from memory)
    within(viscosity_pa_s(20.0), 1.0016e-3, 0.0002);
    // IAPWS-IF97, table 35: 3536.58941 Pa at 300 K (from memory)
    within(vapour_pressure_pa(26.85), 3536.589, 1e-5);
}
