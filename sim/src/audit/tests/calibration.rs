//! What a calibration's run and reading are worth, on paper (O2 to O4).

use dosewright_core::calibration::{Amount, Measured, Vessel};
use dosewright_core::config::Head;
use dosewright_core::time::Instant;
use dosewright_core::tube::Found;
use dosewright_core::units::{Flow, Volume};

use super::bench::head;
use crate::audit::bench::{Bench, Worth, train_starts};

const MINUTE: i64 = 60_000;

fn flow(nl_per_min: u32) -> Flow {
    Flow::from_nl_per_min(nl_per_min).unwrap()
}

fn of(amount: Amount) -> Measured {
    Measured { amount, reading_error: Volume::from_ul(50), as_found: false }
}

fn read(nl: u64) -> Measured {
    of(Amount::Volume(Volume::from_nl(nl)))
}

/// After a run of a minute at 26.5 ml/min: what is read is the flow.
fn ran() -> Bench {
    let mut bench = Bench::default();
    bench.set_up(&head(), None);
    bench.ran(false, MINUTE, MINUTE, 1);
    bench
}

fn worth(bench: &Bench, measured: &Measured, slack: f64) -> Worth {
    bench.worth(measured, &head(), slack)
}

#[test]
fn o2_only_a_run_in_full_has_a_reading() {
    assert_eq!(worth(&ran(), &read(26_500_000), 0.0), Worth::Good);
    assert_eq!(worth(&Bench::default(), &read(26_500_000), 0.0), Worth::NoRun);
    type Change = fn(&mut Bench);
    let changes: [Change; 4] = [
        |b| b.ran(true, MINUTE, MINUTE, 1),
        |b| b.ran(false, MINUTE, MINUTE - 1, 1),
        Bench::leave,
        |b| b.tube_changed(5),
    ];
    for (n, change) in changes.iter().enumerate() {
        let mut bench = ran();
        change(&mut bench);
        assert_eq!(worth(&bench, &read(26_500_000), 0.0), Worth::NoRun, "{n}");
    }
}

#[test]
fn o2_a_flow_that_no_head_has() {
    // half and one and a half of what the head was set up with
    for (nl, slack, is_plausible) in [
        (13_250_000, 0.0, true),
        (13_249_990, 0.0, false),
        (39_750_000, 0.0, true),
        (39_750_010, 0.0, false),
        // a limit is given way, or drawn tighter
        (13_236_760, 1e-3, true),
        (13_236_740, 1e-3, false),
        (39_789_740, 1e-3, true),
        (39_789_760, 1e-3, false),
        (13_263_260, -1e-3, true),
        (13_263_240, -1e-3, false),
    ] {
        let found = Measured { as_found: true, ..read(nl) };
        let expected = if is_plausible { Worth::Good } else { Worth::Implausible };
        assert_eq!(worth(&ran(), &found, slack), expected, "{nl} {slack}");
    }
    // by the head as it was set up, not as it is
    let slow = Head { flow: flow(20_000_000), ..head() };
    let found = Measured { as_found: true, ..read(39_000_000) };
    assert_eq!(ran().worth(&found, &slow, 0.0), Worth::Good);
    let mut unknown = Bench::default();
    unknown.ran(false, MINUTE, MINUTE, 1);
    assert_eq!(unknown.worth(&found, &slow, 0.0), Worth::Implausible);
}

#[test]
fn o2_a_reading_that_is_not_sure_enough() {
    // 2 sqrt((e / sqrt 3 / 26.5 ml)^2 + (0.1 s / 60 s)^2) is 2 % at e = 452.57 ul, and
    // 2.002 % at 453.04 ul (JCGM 100, 5.1.6)
    for (error_ul, slack, is_sure) in
        [(452, 0.0, true), (453, 0.0, false), (453, 1e-3, true), (454, 1e-3, false)]
    {
        let m = Measured { reading_error: Volume::from_ul(error_ul), ..read(26_500_000) };
        let expected = if is_sure { Worth::Good } else { Worth::TooCoarse };
        assert_eq!(worth(&ran(), &m, slack), expected, "{error_ul} {slack}");
    }
}

#[test]
fn o2_a_flow_far_off_is_found_twice() {
    // a twentieth either way
    for (nl, slack, agrees) in [
        (25_175_000, 0.0, true),
        (25_174_900, 0.0, false),
        (27_825_000, 0.0, true),
        (27_825_100, 0.0, false),
        (27_826_300, 1e-3, true),
        (27_826_400, 1e-3, false),
    ] {
        let found = worth(&ran(), &read(nl), slack);
        assert_eq!(found == Worth::Good, agrees, "{nl}");
        assert!(agrees || matches!(found, Worth::Twice(flow) if (flow - nl as f64).abs() < 1.0));
    }
    let mut again = ran();
    again.again(20_000_000.0);
    assert_eq!(worth(&again, &read(20_000_000), 0.0), Worth::NoRun);
    again.ran(false, MINUTE, MINUTE, 1);
    for (nl, agrees) in [(19_000_000, true), (18_999_900, false), (21_000_000, true)] {
        assert_eq!(worth(&again, &read(nl), 0.0) == Worth::Good, agrees, "{nl}");
    }
    // what a run found a train does not find again, nor the other way
    again.ran(false, 78_000, 78_000, 30);
    again.ran(false, MINUTE, MINUTE, 1);
    assert!(matches!(worth(&again, &read(20_000_000), 0.0), Worth::Twice(_)));
}

#[test]
fn o2_what_is_weighed_is_a_volume() {
    let noted = |amount| {
        let found = ran().found(&of(amount), &head(), 77).unwrap();
        assert_eq!(found.at, Instant::from_ms(77));
        found.flow.as_nl_per_min()
    };
    // Z of 20 C at 1013 hPa is 1.0029 ul/mg, of 30 C 1.0054 (ISO 8655-6)
    let water = |tenths_of_degree| noted(Amount::Water { mass_mg: 30_000, tenths_of_degree });
    assert!(water(200).abs_diff(30_087_000) < 1_500, "{}", water(200));
    assert!(water(300).abs_diff(30_162_000) < 1_500, "{}", water(300));
    // 33 g of a product of 1.100 are 30 ml
    let product = Amount::Product { mass_mg: 33_000, gravity_per_mille: 1_100 };
    assert_eq!(noted(product), 30_000_000);
    // 2 sqrt((0.05 / sqrt 3 / 30)^2 + (0.1 / 60)^2) is 3849.002 ppm, rounded up
    let found = ran().found(&read(30_000_000), &head(), 0).unwrap();
    assert_eq!(found.uncertainty_ppm, 3_850);
    assert_eq!(Bench::default().found(&read(30_000_000), &head(), 0), None);
}

/// The long run of a minute in force, and a train of 30 starts in 78 s after it.
fn train() -> Bench {
    let mut bench = ran();
    let found = bench.found(&read(29_950_000), &head(), 0).unwrap();
    bench.note(found, true);
    bench.ran(false, 78_000, 78_000, 30);
    bench
}

/// The head that the long run has found: 500 nl in a ms, of a minute less 100 ms.
fn found_head() -> Head {
    Head { flow: flow(29_950_000), ..head() }
}

#[test]
fn o2_a_run_has_lost_the_lead_of_its_start() {
    // 29.95 ml in 59.9 of 60 s: 500 nl a ms, as sure as the reading
    let led = Head { lead_ms: 100, ..found_head() };
    let found = ran().found(&read(29_950_000), &led, 0).unwrap();
    assert_eq!(found.flow, flow(30_000_000));
    let plain = ran().found(&read(29_950_000), &found_head(), 0).unwrap();
    assert_eq!((plain.flow, plain.uncertainty_ppm), (flow(29_950_000), found.uncertainty_ppm));
    // what is expected of it is less by as much, and judged by that
    assert_eq!(ran().expected(&Head { flow: flow(30_000_000), ..led }), 29_950_000);
    // the long run before a train has lost one as well, and the train's thirty
    let (q, lead) = train().two_points(&read(37_500_000), &led).unwrap();
    assert!((q - 29.947_82e6).abs() < 100.0 && (lead - 95.644).abs() < 1e-3, "{q} {lead}");
}

#[test]
fn o3_two_readings_make_a_flow_and_a_lead() {
    // 500 nl in each of 78 000 - 30 x 100 ms
    let measured = read(37_500_000);
    let (q, lead) = train().two_points(&measured, &found_head()).unwrap();
    assert!((q - 30e6).abs() < 1.0 && (lead - 100.0).abs() < 1e-6, "{q} {lead}");
    // starts that lose nothing, or seem to gain: the long run's flow
    let (q, lead) = train().two_points(&read(38_940_000), &found_head()).unwrap();
    assert!((q - 29_950_000.0).abs() < 1e-6 && lead == 0.0, "{q} {lead}");
    assert_eq!(ran().two_points(&measured, &found_head()), None, "no long run");
    // a reading as found leaves none either
    let mut found = ran();
    let noted = found.found(&read(29_950_000), &head(), 0).unwrap();
    found.note(noted, false);
    found.ran(false, 78_000, 78_000, 30);
    assert_eq!(found.two_points(&measured, &found_head()), None);
    assert!(train().is_train() && !ran().is_train() && !Bench::default().is_train());
    assert_eq!(train().worth(&measured, &Head { lead_ms: 100, ..found_head() }, 0.0), Worth::Good);
    let as_found = Measured { as_found: true, ..measured };
    assert_eq!(train().worth(&as_found, &found_head(), 0.0), Worth::Implausible);
}

#[test]
fn o3_each_start_is_expected_to_have_lost_its_lead() {
    let head = Head { lead_ms: 100, ..head() };
    // 100 ms of 60 s
    assert_eq!(ran().expected(&head), 26_455_833);
    // 3 s of 78
    assert_eq!(train().expected(&head), 25_480_769);
    assert_eq!(train().expected(&super::bench::head()), 26_500_000);
    assert_eq!(Bench::default().expected(&head), 26_500_000);
}

#[test]
fn o3_no_start_loses_more_than_half_its_pulse() {
    // half of 2600 ms, and what rounding may add
    for (lead, slack, expected) in [
        (1_290.0, 0.0, Worth::Good),
        (1_310.0, 0.0, Worth::Implausible),
        (1_302.0, 1e-3, Worth::Good),
        (1_303.0, 1e-3, Worth::Implausible),
        (1_299.0, -1e-3, Worth::Good),
        (1_300.0, -1e-3, Worth::Implausible),
    ] {
        let mut bench = train();
        // q (T1 - d) is what the long run gave
        let q = 29_950_000.0 / (60_000.0 - lead);
        let came = q * (78_000.0 - 30.0 * lead);
        // it has been found once before
        bench.again(came / 78_000.0 * 60_000.0);
        bench.ran(false, 78_000, 78_000, 30);
        let measured = read(came.round() as u64);
        assert_eq!(bench.worth(&measured, &found_head(), slack), expected, "{lead} {slack}");
    }
}

#[test]
fn o4_of_the_calibrations_the_first_and_the_last_two_are_kept() {
    let mut bench = ran();
    let found = |n: u32| Found {
        at: Instant::from_ms(i64::from(n)),
        flow: flow(26_000_000 + n),
        uncertainty_ppm: n,
    };
    bench.tube_changed(9);
    for n in 1..=5 {
        bench.note(found(n), true);
    }
    let tube = bench.tube();
    assert_eq!(tube.found, [Some(found(1)), Some(found(4)), Some(found(5))]);
    assert_eq!((tube.since, tube.nominal), (Some(Instant::from_ms(9)), Some(head().flow)));
    bench.tube_changed(10);
    assert_eq!(bench.tube().found, [None; 3]);
}

/// 1.5 ml a turn at 30 ml/min: three seconds.
fn turning() -> Head {
    Head { flow: flow(30_000_000), roller_pass: Volume::from_ul(500), rollers: 3, ..head() }
}

fn vessel(ml: u64) -> Vessel {
    Vessel { capacity: Volume::from_ml(ml), reading_error: Volume::from_ul(500) }
}

/// A head set up with so much, and what speaks against a run.
fn wrong_run(nominal: u32, head: &Head, ms: i64) -> String {
    let mut bench = Bench::default();
    bench.set_up(&Head { flow: flow(nominal), ..*head }, None);
    bench.wrong_run(&vessel(100), head, ms).unwrap_or_default()
}

#[test]
fn o2_a_run_is_the_shortest_of_whole_turns_that_is_sure_enough() {
    // 2 sqrt((0.5 / sqrt 3 / V)^2 + (0.1 / t)^2) with V = 0.5 ml a second is 1.8 % at 65.1 s
    let wrong = |ms| wrong_run(30_000_000, &turning(), ms);
    assert_eq!([wrong(66_000), wrong(66_001), wrong(65_999)], ["", "", ""]);
    assert!(wrong(66_002).contains("not whole") && wrong(65_998).contains("not whole"));
    assert!(wrong(63_000).contains("it leaves an uncertainty of 1.86 %"), "{}", wrong(63_000));
    assert!(wrong(69_000).contains("a turn less would do"));
    // nine tenths of the vessel, and a ms
    assert!(wrong(180_001).contains("a turn less would do"));
    assert!(wrong(180_002).contains("90.0 ml do not go into a vessel of 90.0 ml"));
    // a worn tube gives three quarters a turn: 29 of 1.125 ml, 2.25 s each
    let wrong = |ms| wrong_run(40_000_000, &turning(), ms);
    assert_eq!(wrong(65_250), "");
    assert!(wrong(66_000).contains("not whole") && wrong(67_500).contains("a turn less"));
    // without a known turn the run is of whole seconds
    let plain = Head { roller_pass: Volume::ZERO, ..turning() };
    let wrong = |ms| wrong_run(30_000_000, &plain, ms);
    assert_eq!(wrong(66_000), "");
    assert!(wrong(66_500).contains("not whole") && wrong(65_000).contains("uncertainty"));
    let mut bench = Bench::default();
    bench.set_up(&turning(), None);
    assert_eq!(bench.shortest_run(&vessel(100), &turning()), Some(66_000));
    assert_eq!(bench.shortest_run(&vessel(100), &plain), Some(66_000));
    // 33 ml are the least that is sure; 36.6 ml hold 32.9
    assert_eq!(bench.shortest_run(&vessel(37), &turning()), Some(66_000));
    assert_eq!(bench.shortest_run(&vessel(36), &turning()), None);
    // one turn that is more than enough can be no shorter
    let large = Head { roller_pass: Volume::from_ml(20), ..turning() };
    assert_eq!(wrong_run(30_000_000, &large, 120_000), "");
}

#[test]
fn o3_a_train_is_as_long_as_its_run_in_equal_pulses() {
    // 1.5 % is reached at 78.1 s: 27 turns, 81 s in 30 pulses of 2.7 s
    let wrong = |long: bool, head: &Head, ms| {
        let mut bench = if long { train() } else { ran() };
        bench.set_up(&turning(), None);
        if long {
            bench.ran(false, MINUTE, MINUTE, 1);
            let found = bench.found(&read(30_000_000), head, 0).unwrap();
            bench.note(found, true);
        }
        bench.wrong_train(&vessel(100), head, ms).unwrap_or_default()
    };
    assert_eq!(wrong(true, &turning(), 81_000), "");
    assert!(wrong(false, &turning(), 81_000).contains("no long run is in force"));
    // each pulse rounded up to a whole ms, and not to two
    assert_eq!(wrong(true, &turning(), 81_030), "");
    assert!(wrong(true, &turning(), 81_060).contains("60 ms more than a run of whole turns"));
    assert!(wrong(true, &turning(), 81_031).contains("it does not go in 1 equal pulses"));
    assert!(wrong(true, &turning(), 78_000).contains("uncertainty"));
    assert!(wrong(true, &turning(), 84_000).contains("a turn less"));
    let head = |longest_run_ms| Head { longest_run_ms, ..turning() };
    assert_eq!(wrong(true, &head(2_700), 81_000), "");
    assert!(wrong(true, &head(2_699), 81_000).contains("it does not go in 30 equal pulses"));
    // two starts make a train, and one does not
    let few = |starts_per_hour| Head { starts_per_hour, ..turning() };
    assert_eq!(wrong(true, &few(2), 81_000), "");
    assert!(wrong(true, &few(1), 81_000).contains("it does not go in 1 equal pulses"));
}

#[test]
fn o3_how_many_starts_a_train_has() {
    let starts = |starts_per_hour, shortest_on_ms, ms| {
        train_starts(&Head { starts_per_hour, shortest_on_ms, ..head() }, ms)
    };
    assert_eq!(starts(60, 400, 81_000), 30);
    assert_eq!(starts(60, 400, 12_000), 30);
    // 29 do not divide it, nor 28 to 26
    assert_eq!(starts(60, 400, 11_900), 28);
    assert_eq!(starts(7, 400, 81_000), 6);
    // twelve of 400 ms: the most that divides 5 s is ten
    assert_eq!(starts(60, 400, 5_000), 10);
    assert_eq!(starts(60, 0, 29), 29);
    assert_eq!(starts(60, 400, 399), 1);
}
