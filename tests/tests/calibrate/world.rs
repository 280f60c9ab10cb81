//! O3 in the world: a scenario whose pump turns by its rotor's angle, calibrated by one
//! point and then by two, judged by the auditor.

use dosewright_sim::judged::{self, Verdict};
use dosewright_sim::run::Options;
use dosewright_sim::scenario;

const SLOW: &str = include_str!("../../../docs/scenarios/11-slow-start.toml");

/// What has come out of the pump after so many hours, in ml; the auditor finds nothing.
fn out_after(hours: u32) -> f64 {
    let text = SLOW.replace("run_for = \"14 days\"", &format!("run_for = \"{hours} h\""));
    let text = text.split("[[expect]]").next().unwrap();
    let (scenario, _) = scenario::read("slow.toml", text).unwrap_or_else(|e| panic!("{e:?}"));
    let found = judged::run(&scenario, &Options::default(), Vec::new(), None).unwrap();
    assert_eq!(found.verdict, Verdict::Held, "{:?} {:?}", found.audit.violations, found.invalid);
    found.end.delivered_nl as f64 / 1e6
}

#[test]
fn o3_in_the_world_one_point_is_biased_and_two_are_within_u() {
    // to noon of the sixth day: six doses of 60 ml, each of 30 starts that lose 0.11 ml
    let once = out_after(6 * 24 - 12) / 360.0 - 1.0;
    assert!((once + 30.0 * 0.1104 / 60.0).abs() < 0.002, "{once}");
    // from after the calibration to noon of the last day: six doses again
    let twice = (out_after(14 * 24 - 12) - out_after(8 * 24 - 12)) / 360.0 - 1.0;
    // 2 % is the largest U that is taken
    assert!(twice.abs() < 0.02, "{twice}");
    assert!(twice.abs() < once.abs() / 2.0, "{twice} {once}");
}
