//! The stage's own order of things.

use crate::observe::{Observation, Observer};
use crate::run::{self, FaultEnd, Options};
use crate::scenario;

struct Nobody;

impl Observer for Nobody {
    fn see(&mut self, _: u64, _: &Observation<'_>) {}
}

/// What drains back has drained in minutes; the fault's end, which comes hours
/// later, is not brought forward by it.
#[test]
fn a_change_in_the_plant_brings_nothing_forward() {
    let text = "schema = 1\n[clock]\nstart = 2026-10-05T00:00:00\nzone = \"UTC0\"\n\
        run_for = \"2 days\"\n[head]\nflow = \"26.5 ml/min\"\n[tube]\nbore = \"4.8 mm\"\n\
        suction = \"2.5 m\"\nlift = \"1 m\"\n[[entry]]\nname = \"trap\"\n\
        weekly = { nights = [\"mon\"], at = \"00:45\" }\nvolume = \"30 ml\"\n\
        window = \"10 min\"\n[[fault]]\nat = \"+12 h\"\n\
        foot_valve_leak = { flow = \"5 ml/min\", lasts = \"12 h 45 min 5 s\" }\n";
    let (scenario, _) = scenario::read("drains.toml", text).unwrap();
    let end = run::run(&scenario, &Options::default(), &mut Nobody).unwrap();
    assert_eq!(end.faults, [FaultEnd::TookEffect]);
    // 18.1 ml of the 30 fill the line again before anything comes out
    let lifted = scenario.tube.unwrap().lifted().as_nl();
    assert!(end.delivered_nl.abs_diff(30_000_000 - lifted) < 1_000, "{}", end.delivered_nl);
}
