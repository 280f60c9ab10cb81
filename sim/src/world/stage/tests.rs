//! The stage's own order of things.

use crate::observe::{DeviceAct, Observation, Observer};
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

/// A night's dose, with these faults.
fn faults_of(faults: &str) -> Vec<FaultEnd> {
    let text = format!(
        "schema = 1\n[clock]\nstart = 2026-10-05T00:00:00\nzone = \"UTC0\"\n\
         run_for = \"2 days\"\n[head]\nflow = \"26.5 ml/min\"\n[[entry]]\nname = \"trap\"\n\
         weekly = {{ nights = [\"mon\"], at = \"00:45\" }}\nvolume = \"30 ml\"\n\
         window = \"10 min\"\n{faults}"
    );
    let (scenario, _) = scenario::read("faults.toml", &text).unwrap();
    run::run(&scenario, &Options::default(), &mut Nobody).unwrap().faults
}

/// What waits for a write, or for a call, waits through a time without supply; what
/// comes in that time has nothing to hit, and does not take its place.
#[test]
fn a_device_that_is_off_writes_nothing_and_is_not_called() {
    use FaultEnd::{NoEffect, TookEffect};
    let off = "[[fault]]\nat = \"+30 min\"\nsupply_loss = { lasts = \"10 h\" }\n";
    let fault = |at: &str, kind: &str| format!("[[fault]]\nat = \"{at}\"\n{kind}\n");
    for kind in ["memory_tear = { after = 3 }", "late_wake = { by = \"1 min\" }"] {
        let (waits, comes) = (fault("+29 min", kind), fault("+2 h", kind));
        assert_eq!(faults_of(&format!("{off}{comes}")), [TookEffect, NoEffect], "{kind}");
        let ends = faults_of(&format!("{off}{waits}{comes}"));
        assert_eq!(ends, [TookEffect, TookEffect, NoEffect], "{kind}");
    }
}

/// A tear waits as long as it is told to.
#[test]
fn a_tear_waits_no_longer_than_it_is_told_to() {
    use FaultEnd::{NoEffect, TookEffect};
    let tear = |within: &str| {
        faults_of(&format!("[[fault]]\nat = \"+1 h 1 s\"\nmemory_tear = {{ after = 3{within} }}\n"))
    };
    // a stamp is written every hour
    assert_eq!(tear(""), [TookEffect]);
    assert_eq!(tear(", within = \"1 h\""), [TookEffect]);
    assert_eq!(tear(", within = \"59 min\""), [NoEffect]);
}

/// Counts what the device is told of its remote stop, and how it stands at last.
#[derive(Default)]
struct Told {
    times: u32,
    on: bool,
}

impl Observer for Told {
    fn see(&mut self, _: u64, what: &Observation<'_>) {
        if let Observation::Act(DeviceAct::RemoteStop(on)) = *what {
            (self.times, self.on) = (self.times + 1, *on);
        }
    }
}

/// The queue of the device holds sixteen signals; what finds no room is made up for by
/// reading the contacts, and what finds room is no flood.
#[test]
fn a_flood_is_more_than_the_queue_holds() {
    for (events, told, end) in [
        (16, 16, FaultEnd::NoEffect),
        (17, 17, FaultEnd::TookEffect),
        (100, 17, FaultEnd::TookEffect),
    ] {
        let text = format!(
            "schema = 1\n[clock]\nstart = 2026-10-05T00:00:00\nzone = \"UTC0\"\n\
             run_for = \"2 days\"\n[head]\nflow = \"26.5 ml/min\"\n[[fault]]\n\
             at = \"+1 h\"\nqueue_flood = {{ events = {events} }}\n"
        );
        let (scenario, _) = scenario::read("flood.toml", &text).unwrap();
        let mut observer = Told::default();
        let ends = run::run(&scenario, &Options::default(), &mut observer).unwrap().faults;
        assert_eq!(ends, [end], "{events} events");
        assert_eq!((observer.times, observer.on), (told, false), "{events} events");
    }
}
