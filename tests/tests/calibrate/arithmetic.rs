//! O2, O3: the device's integer arithmetic of a calibration against published
//! values and exact fractions.

use dosewright_core::calibration::{
    Judgement, NoRun, Reading, Target, Train, Vessel, judge, product, reading, run_for, two_point,
    uncertainty_ppm, water,
};
use dosewright_core::time::Duration;
use dosewright_core::units::{Carry, Flow, Volume};
use dosewright_sim::trade::water::z_ml_per_g;
use proptest::prelude::*;

fn flow(nl_per_min: u32) -> Flow {
    Flow::from_nl_per_min(nl_per_min).unwrap()
}

/// Computed with the PyPI package uncertainties 3.2.3; the figures there are
/// standard uncertainties, here they are doubled. JCGM 100:2008, 4.3.7 and 5.1.6,
/// cited from memory.
#[test]
fn o2_the_uncertainty_of_a_timed_run_is_that_of_jcgm_100() {
    let cases: [(u64, u64, u32, u32, f64); 4] = [
        (100, 500, 60_000, 500, 0.8819),
        (100, 500, 60_000, 100, 0.33333),
        (100, 1000, 60_000, 500, 1.01379),
        (250, 1000, 150_000, 200, 0.26667),
    ];
    for (ml, error_ul, run_ms, timing_ms, percent) in cases {
        let found =
            uncertainty_ppm(Volume::from_ml(ml), Volume::from_ul(error_ul), run_ms, timing_ms);
        let wanted = 2.0 * percent * 10_000.0;
        assert!((f64::from(found) - wanted).abs() <= 1.0, "{ml} ml: {found}, not {wanted}");
    }
}

#[test]
fn o2_a_run_is_whole_turns_and_the_shortest_that_is_sure_enough() {
    let vessel = Vessel { capacity: Volume::from_ml(100), reading_error: Volume::from_ul(500) };
    let turn = Volume::from_ul(870);
    let target = Target { timing_ms: 100, most_ppm: 15_000 };
    let run = run_for(&vessel, &target, flow(26_500_000), turn, flow(26_500_000)).unwrap();
    // rounded up to the ms, in which 442 nl come
    let over = run.volume.as_nl() - u64::from(run.turns) * turn.as_nl();
    assert!(over < 442, "{over} nl more than whole turns");
    assert!(run.volume <= vessel.capacity && run.uncertainty_ppm <= 15_000, "{run:?}");
    let shorter = Volume::from_nl(run.volume.as_nl() - turn.as_nl());
    let ms = flow(26_500_000).on_time(shorter, Carry(0)).0.as_ms() as u32;
    assert!(uncertainty_ppm(shorter, vessel.reading_error, ms, 100) > 15_000, "{run:?}");
    // what it delivers at that flow is what it says
    let delivered = flow(26_500_000).volume(Duration::from_ms(u64::from(run.run_ms)));
    assert!(delivered.as_nl().abs_diff(run.volume.as_nl()) <= 500, "{delivered:?} {run:?}");
}

#[test]
fn o2_a_vessel_that_cannot_do_is_told() {
    let coarse = Vessel { capacity: Volume::from_ml(10), reading_error: Volume::from_ml(1) };
    let target = Target::DEFAULT;
    let Err(NoRun::VesselTooCoarse { best_ppm }) =
        run_for(&coarse, &target, flow(30_000_000), Volume::ZERO, flow(30_000_000))
    else {
        panic!()
    };
    // 1 ml of 10 ml, rectangular, doubled: 11.55 %
    assert!((115_000..117_000).contains(&best_ppm), "{best_ppm}");
    let small = Vessel { capacity: Volume::from_ul(500), reading_error: Volume::from_ul(1) };
    let turn = Volume::from_ul(870);
    assert_eq!(
        run_for(&small, &target, flow(30_000_000), turn, flow(30_000_000)),
        Err(NoRun::VesselTooSmall)
    );
}

#[test]
fn o2_a_reading_is_accepted_confirmed_lengthened_or_refused() {
    let target = Target { timing_ms: 100, most_ppm: 20_000 };
    let in_force = flow(26_500_000);
    let of = |ul: u64, run_ms| {
        reading(Volume::from_ul(ul), Volume::from_ul(500), run_ms, target.timing_ms)
    };
    let judged = |ul, run_ms, before| {
        judge(of(ul, run_ms), run_ms, &target, flow(26_500_000), in_force, before)
    };
    // 53 ml in 2 min is the flow in force
    let Judgement::Accept(Reading { flow: found, uncertainty_ppm }) = judged(53_000, 120_000, None)
    else {
        panic!()
    };
    assert_eq!(found, in_force);
    assert!(uncertainty_ppm < 20_000);
    // 5 % is near enough, a little more is not, unless the run before said so
    assert!(matches!(judged(55_650, 120_000, None), Judgement::Accept(_)));
    assert!(matches!(judged(55_651, 120_000, None), Judgement::Confirm(_)));
    assert!(matches!(judged(60_000, 120_000, Some(flow(30_100_000))), Judgement::Accept(_)));
    assert!(matches!(judged(60_000, 120_000, Some(flow(25_000_000))), Judgement::Confirm(_)));
    // a short run is not sure enough, and the length it names is
    let Judgement::RunLonger { least_ms, .. } = judged(4_417, 10_000, None) else { panic!() };
    let ul = (4_417 * u64::from(least_ms)).div_ceil(10_000);
    assert!(matches!(judged(ul, least_ms, None), Judgement::Accept(_)), "{least_ms}");
    // half and one and a half of the nominal are the bounds
    assert!(matches!(judged(52_999, 240_000, None), Judgement::Implausible { flow: Some(_) }));
    assert!(matches!(judged(53_000, 240_000, None), Judgement::Confirm(_)));
    assert!(matches!(judged(79_501, 120_000, None), Judgement::Implausible { flow: Some(_) }));
    assert_eq!(judged(0, 120_000, None), Judgement::Implausible { flow: None });
}

#[test]
fn o3_two_points_give_steady_flow_and_loss_per_start() {
    // 30 ml/min and 0.2 ml lost a start, invented: 120 s in one run, and in 60
    let long = Train { on_ms: 120_000, starts: 1, volume: Volume::from_ul(59_800) };
    let short = Train { on_ms: 120_000, starts: 60, volume: Volume::from_ul(48_000) };
    let found = two_point(&long, &short).unwrap();
    assert_eq!(found.loss_per_start, Volume::from_ul(200));
    assert_eq!(found.steady, flow(30_000_000));
    // the same twice says nothing of starts
    assert_eq!(two_point(&long, &long), None);
    assert_eq!(two_point(&short, &long), None);
    // a train that delivers more loses nothing
    let odd = Train { volume: Volume::from_ul(61_000), ..short };
    assert_eq!(two_point(&long, &odd).unwrap().loss_per_start, Volume::ZERO);
}

/// Of cold and warm water as well the volume is that of the formulas (Kell 1975, ISO 8655-6),
/// to half of the last digit.
#[test]
fn o2_a_mass_of_water_of_any_temperature_is_the_volume_by_its_density() {
    for half in 1..=80_u16 {
        let found = water(100_000, half * 5).unwrap().as_nl() as f64 / 1e8;
        let wanted = z_ml_per_g(f64::from(half) / 2.0, 1013.0);
        assert!((found - wanted).abs() <= 0.000_056, "{half}: {found} {wanted}");
    }
    // water is at its densest at 4 C
    assert!(water(100_000, 40) < water(100_000, 5) && water(100_000, 40) < water(100_000, 150));
}

/// ISO 8655-6: Z at 1013 hPa, every half degree from 15 to 30.
#[test]
fn o2_a_mass_of_water_is_the_volume_that_iso_8655_says() {
    for (tenths, z) in
        [(150, 10_020), (155, 10_020), (200, 10_029), (225, 10_034), (240, 10_038), (300, 10_054)]
    {
        // 100 g
        assert_eq!(water(100_000, tenths), Some(Volume::from_nl(100_000 * z / 10)), "{tenths}");
    }
    assert_eq!(
        [2, 3, 402, 403].map(|tenths| water(1, tenths).is_some()),
        [false, true, true, false]
    );
    assert_eq!((water(1000, 0), water(1000, u16::MAX)), (None, None));
    // a tenth of a degree beside a half is that half
    assert_eq!([3, 7].map(|t| water(1_000_000, t)), [5, 5].map(|t| water(1_000_000, t)));
    // 120.0 g at 1.03: common practice, no source
    assert_eq!(product(120_000, 1030).unwrap().as_ul(), 116_505);
    assert_eq!((product(1, 499), product(1, 2001)), (None, None));
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

    /// At fixed errors a longer run is never less sure (JCGM 100).
    #[test]
    fn o2_a_longer_run_is_never_less_sure(
        nl_per_min in 1_000_000..200_000_000_u32, error_ul in 1..5000_u64,
        run_ms in 1000..3_600_000_u32, more_ms in 1..3_600_000_u32, timing_ms in 0..2000_u32,
    ) {
        let of = |run_ms: u32| {
            let volume = flow(nl_per_min).volume(Duration::from_ms(u64::from(run_ms)));
            uncertainty_ppm(volume, Volume::from_ul(error_ul), run_ms, timing_ms)
        };
        prop_assert!(of(run_ms + more_ms) <= of(run_ms));
        // and it is what floating point says
        let volume = flow(nl_per_min).volume(Duration::from_ms(u64::from(run_ms))).as_nl() as f64;
        let (v, t) = (
            (error_ul * 1000) as f64 / volume / 3_f64.sqrt(),
            f64::from(timing_ms) / f64::from(run_ms),
        );
        let wanted = 2e6 * (v * v + t * t).sqrt();
        if wanted < 1e6 {
            prop_assert!((f64::from(of(run_ms)) - wanted).abs() <= 1.0 + wanted * 1e-6);
        }
    }
}
