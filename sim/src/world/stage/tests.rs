//! The stage's own order of things.

use std::fmt::Write as _;

use dosewright_core::record::Alarm;

use crate::observe::{DeviceAct, Observation, Observer};
use crate::run::{self, ActEnd, FaultEnd, Options, RunEnd};
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

/// A sector is worn for the device where something was to be written to it.
#[test]
fn a_worn_sector_that_nothing_is_written_to_tests_nothing() {
    use FaultEnd::{NoEffect, TookEffect};
    let worn = |at: &str, sector: u32| {
        faults_of(&format!("[[fault]]\nat = \"{at}\"\npage_worn = {{ sector = {sector} }}\n"))
    };
    // the ring is in its first sector all the time, and a stamp is written every hour
    assert_eq!((worn("+12 h", 0), worn("+12 h", 2)), (vec![TookEffect], vec![NoEffect]));
    // after the last of them nothing is
    assert_eq!(worn("+1 d 23 h 59 min 59 s", 0), [NoEffect]);
}

/// A tear takes the supply in the first work from its moment on, at its end where that has
/// fewer bytes; one that comes while another waits, waits for the next.
#[test]
fn a_tear_is_spent_in_the_work_that_it_waited_for() {
    use FaultEnd::TookEffect;
    /// True ms at which the supply went and came.
    #[derive(Default)]
    struct Supply(Vec<(u64, bool)>);
    impl Observer for Supply {
        fn see(&mut self, at_ms: u64, what: &Observation<'_>) {
            if let Observation::Supply { on } = what {
                self.0.push((at_ms, *on));
            }
        }
    }
    let of = |faults: &str| {
        // a dose every 100 min of 2 pulses fills a sector in 17 d
        let text = format!(
            "schema = 1\n[clock]\nstart = 2026-10-05T00:00:00\nzone = \"UTC0\"\n\
             run_for = \"40 days\"\n[head]\nflow = \"10 ml/min\"\n[[entry]]\nname = \"drip\"\n\
             every = {{ interval = \"100 min\", from = \"2026-10-05 13:20\" }}\n\
             volume = \"20 ml\"\nwindow = \"9 min\"\n{faults}"
        );
        let (scenario, _) = scenario::read("tears.toml", &text).unwrap();
        let mut supply = Supply::default();
        let ends = run::run(&scenario, &Options::default(), &mut supply).unwrap().faults;
        (ends, supply.0)
    };
    let tear = |at: &str, during: &str, after: u32| {
        format!(
            "[[fault]]\nat = \"{at}\"\nmemory_tear = {{ during = \"{during}\", after = {after}, lasts = \"1 min\" }}\n"
        )
    };
    let (ends, inside) = of(&tear("+1 s", "erase", 20));
    assert_eq!(ends, [TookEffect]);
    // more than it has: the same erase, not a write days later
    let (ends, beyond) = of(&tear("+1 s", "erase", 20_000));
    assert!(ends == [TookEffect] && beyond == inside, "{beyond:?} {inside:?}");
    let (_, write) = of(&tear("+1 s", "write", 3));
    let (_, whole) = of(&tear("+1 s", "write", 20_000));
    assert_eq!(write, whole);
    // two of a kind: each has an erase of its own, and after each the device starts again
    let (ends, both) = of(&(tear("+1 s", "erase", 20_000) + &tear("+2 s", "erase", 0)));
    assert_eq!(ends, [TookEffect, TookEffect]);
    let ons = both.iter().filter(|(_, on)| *on).count();
    assert!(ons == 3 && both.last().unwrap().1, "{both:?}");
    // and of two kinds
    let (ends, _) = of(&(tear("+1 s", "erase", 0) + &tear("+2 s", "write", 0)));
    assert_eq!(ends, [TookEffect, TookEffect]);
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

/// A day with one dose of 12 ml at noon out of 10 l, and these faults.
fn day_of(faults: &[(&str, &str)], observer: &mut dyn Observer) -> RunEnd {
    let mut text = String::from(
        "schema = 1\n[clock]\nstart = 2026-10-26T00:00:00\nzone = \"UTC0\"\nrun_for = \"1 d\"\n\
         [head]\nflow = \"60 ml/min\"\n[container]\ncapacity = \"10 l\"\n\
         low_contact = \"1 l\"\n[[entry]]\nname = \"a\"\n\
         weekly = { days = [\"mon\"], at = \"12:00\" }\nvolume = \"12 ml\"\n\
         window = \"30 min\"\n",
    );
    for (at, kind) in faults {
        _ = write!(text, "[[fault]]\nat = \"2026-10-26 {at}\"\n{kind}\n");
    }
    let (scenario, _) = scenario::read("overlap.toml", &text).unwrap();
    run::run(&scenario, &Options::default(), observer).unwrap()
}

/// What comes out of it in ml.
fn delivered_ml(faults: &[(&str, &str)]) -> (u64, Vec<FaultEnd>) {
    let end = day_of(faults, &mut Nobody);
    ((end.delivered_nl + 500_000) / 1_000_000, end.faults)
}

/// The end of a fault that lies within another of its kind, or laps over its end, ends
/// nothing: the input stays on while any of them is.
#[test]
fn of_faults_of_one_kind_the_last_to_end_ends_it() {
    use FaultEnd::{NoEffect, TookEffect};
    let lasts = |kind: &str, lasts: &str| format!("{kind} = {{ lasts = \"{lasts}\" }}");
    for kind in ["remote_stop", "leak"] {
        let (long, short) = (lasts(kind, "4 h"), lasts(kind, "10 min"));
        for faults in
            [[("11:00", &*long), ("11:10", &*short)], [("11:50", &short), ("11:55", &long)]]
        {
            assert_eq!(delivered_ml(&faults), (0, vec![TookEffect; 2]), "{faults:?}");
        }
        let over = [("11:00", &*long), ("11:10", &*short), ("11:30", &*short)];
        assert_eq!(delivered_ml(&over).0, 0, "{kind}");
        assert_eq!(delivered_ml(&[("11:00", &short), ("11:05", &short)]).0, 12, "{kind}");
    }
    // what trips first is what took effect
    let (stall, short) = (lasts("motor_stall", "4 h"), lasts("motor_stall", "1 min"));
    let ends = delivered_ml(&[("12:00", &stall), ("12:01", &short)]);
    assert_eq!(ends, (0, vec![TookEffect, NoEffect]));
    let ends = delivered_ml(&[("11:59", &short), ("11:59:30", &stall)]);
    assert_eq!(ends, (0, vec![NoEffect, TookEffect]));
    // a stall under a motor that draws too much does not turn it
    let current = lasts("over_current", "1 min");
    let ends = delivered_ml(&[("12:00", &stall), ("12:01", &current)]);
    assert_eq!(ends, (0, vec![TookEffect, TookEffect]));
    let ends = delivered_ml(&[("12:00", &current), ("12:00:30", &stall)]);
    assert_eq!(ends, (0, vec![TookEffect, TookEffect]));
}

/// How long the pump ran in each of its first runs, in ms.
#[derive(Default)]
struct PumpRuns(Vec<u64>, u64);

impl Observer for PumpRuns {
    fn see(&mut self, at_ms: u64, what: &Observation<'_>) {
        match *what {
            Observation::Pump { on: true } => self.1 = at_ms,
            Observation::Pump { on: false } => self.0.push(at_ms - self.1),
            _ => {}
        }
    }
}

/// The motor is stalled while any stall is on: its driver says so after 0.2 s of it, though
/// the one that began it is over by then. With a moment between two it has turned, and the
/// time counts anew.
#[test]
fn stalls_that_lap_over_one_another_trip_as_one() {
    use FaultEnd::{NoEffect, TookEffect};
    let lasts = |kind: &str, lasts: &str| format!("{kind} = {{ lasts = \"{lasts}\" }}");
    let (short, long) = (lasts("motor_stall", "150 ms"), lasts("motor_stall", "1 min"));
    let (draws, on) = (lasts("over_current", "40 ms"), lasts("over_current", "1 min"));
    for (first, second, at, ran_ms, effect) in [
        (&short, &long, "12:00:00.349", 400, TookEffect),
        (&short, &long, "12:00:00.350", 400, TookEffect),
        (&short, &long, "12:00:00.351", 551, NoEffect),
        (&draws, &on, "12:00:00.239", 250, TookEffect),
        (&draws, &on, "12:00:00.241", 291, NoEffect),
        // of two kinds each has its own time
        (&short, &on, "12:00:00.300", 350, NoEffect),
        (&draws, &long, "12:00:00.220", 420, NoEffect),
    ] {
        let mut runs = PumpRuns::default();
        let end = day_of(&[("12:00:00.2", first), (at, second)], &mut runs);
        assert_eq!(runs.0.first(), Some(&ran_ms), "{first}, {second} at {at}");
        assert_eq!(end.faults, [effect, TookEffect], "{first}, {second} at {at}");
    }
    // a third that outlasts both
    let end = lasts("motor_stall", "10 ms");
    let mut runs = PumpRuns::default();
    let three = [("12:00:00.2", &*short), ("12:00:00.34", &end), ("12:00:00.345", &long)];
    assert_eq!(day_of(&three, &mut runs).faults, [TookEffect, NoEffect, TookEffect]);
    assert_eq!(runs.0.first(), Some(&400));
}

/// A contact that is kept closed opens when the last fault lets go of it; one that
/// prolongs the other took effect, one that lies within it did not.
#[test]
fn of_contacts_kept_closed_the_last_lets_go() {
    use FaultEnd::{NoEffect, TookEffect};
    let low = |lasts: &str| format!("container_low = {{ lasts = \"{lasts}\" }}");
    let (long, short) = (&*low("4 h"), &*low("10 min"));
    for (faults, ends, changes) in [
        ([("11:00", long), ("11:10", short)], [TookEffect, NoEffect], 2),
        ([("11:00", short), ("11:05", long)], [TookEffect, TookEffect], 2),
        ([("11:00", short), ("11:15", short)], [TookEffect, TookEffect], 4),
    ] {
        let mut told = Levels::default();
        let end = day_of(&faults, &mut told);
        assert_eq!((end.faults, told.0), (ends.to_vec(), changes));
    }
}

/// How often the device was told of the low-level contact.
#[derive(Default)]
struct Levels(u32);

impl Observer for Levels {
    fn see(&mut self, _: u64, what: &Observation<'_>) {
        self.0 += u32::from(matches!(what, Observation::Act(DeviceAct::LevelLow(_))));
    }
}

/// Of two flows the one that began last counts, and the other again when it is over.
#[test]
fn of_two_siphons_the_later_counts_until_it_ends() {
    let siphon = |flow: &str, lasts: &str| {
        format!("squeeze_lost = {{ flow = \"{flow}\", lasts = \"{lasts}\" }}")
    };
    let spilled = |faults: &[(&str, &str)]| {
        let end = day_of(faults, &mut Nobody);
        (end.spilled_nl / 1_000_000, end.faults)
    };
    let took = vec![FaultEnd::TookEffect; 2];
    let (long, short) = (siphon("10 ml/min", "1 h"), siphon("20 ml/min", "10 min"));
    // an hour of 10 ml a minute, but for ten minutes of 20 ml
    let within = spilled(&[("14:00", &long), ("14:10", &short)]);
    assert_eq!(within, (700, took.clone()));
    // fifty minutes of 10 ml, then half an hour of 20 ml
    let later = siphon("20 ml/min", "30 min");
    let over = spilled(&[("14:00", &long), ("14:50", &later)]);
    assert_eq!(over, (1_100, took));
}

/// The lengths of the calibration runs of a visit at which the head gives so much, with
/// readings anywhere within 1 ml, and what came of it.
fn visit(true_flow: &str, seed: u64) -> (Vec<u32>, ActEnd) {
    let text = format!(
        "schema = 1\n[clock]\nstart = 2026-10-19T00:00:00\nzone = \"UTC0\"\nrun_for = \"1 d\"\n\
         [head]\nflow = \"26.5 ml/min\"\ntrue_flow = \"{true_flow}\"\nrollers = 3\n\
         volume_per_roller_pass = \"0.29 ml\"\n[[entry]]\nname = \"n\"\n\
         weekly = {{ days = [\"mon\"], at = \"20:00\" }}\nvolume = \"30 ml\"\n\
         window = \"10 min\"\n[[operator]]\nat = \"+8 h\"\n\
         calibrate = {{ vessel = \"100 ml\", as_delivered = true, confirm = true }}\n"
    );
    let (scenario, _) = scenario::read("visit.toml", &text).unwrap();
    let mut runs = Runs::default();
    let options = Options { seed, ..Options::default() };
    let end = run::run(&scenario, &options, &mut runs).unwrap();
    (runs.0, end.acts[0].clone())
}

/// Lengths that were asked for of calibration runs; 0 for one that fills the vessel.
#[derive(Default)]
struct Runs(Vec<u32>);

impl Observer for Runs {
    fn see(&mut self, _: u64, what: &Observation<'_>) {
        match *what {
            Observation::Act(DeviceAct::Calibrate(run_ms)) => self.0.push(*run_ms),
            Observation::Act(DeviceAct::CalibrateInto(_)) => self.0.push(0),
            _ => {}
        }
    }
}

/// Whoever is asked for a longer run makes one as long as the device asks for: a head that
/// gives far less than it did is calibrated in the end.
#[test]
fn whoever_is_asked_for_a_longer_run_makes_it() {
    for true_flow in ["26.5 ml/min", "23.9 ml/min", "22 ml/min", "19 ml/min"] {
        for seed in 0..40 {
            let (runs, end) = visit(true_flow, seed);
            assert_eq!(end, ActEnd::Taken, "{true_flow}, seed {seed}: {runs:?}");
            assert_eq!(runs[0], 0);
            let longer: Vec<u32> = runs.iter().copied().filter(|run_ms| *run_ms > 0).collect();
            assert!(longer.is_sorted(), "{runs:?}");
            // as the vessel has it, then 20 % longer in the worst case
            assert!(longer.iter().all(|run_ms| (145_700..210_000).contains(run_ms)), "{runs:?}");
            if true_flow == "19 ml/min" {
                assert!(!longer.is_empty() && runs.len() > 2, "{runs:?}");
            }
        }
    }
}

/// The supply goes in the middle of a write: what the call would have done after it is not
/// done, and not told.
#[test]
fn a_device_whose_write_is_torn_does_nothing_more() {
    let text = "schema = 1\n[clock]\nstart = 2026-10-05T00:00:00\nzone = \"UTC0\"\n\
        run_for = \"1 day\"\n[head]\nflow = \"26.5 ml/min\"\n[[entry]]\nname = \"trap\"\n\
        weekly = { nights = [\"mon\"], at = \"00:45\" }\nvolume = \"30 ml\"\n\
        window = \"10 min\"\n[[fault]]\nat = \"+44 min\"\n\
        memory_tear = { after = 32, lasts = \"1 min\" }\n";
    let (scenario, _) = scenario::read("torn.toml", text).unwrap();
    let end = run::run(&scenario, &Options::default(), &mut Nobody).unwrap();
    assert_eq!(end.faults, [FaultEnd::TookEffect]);
    let told: Vec<Alarm> = end.alarms.iter().filter(|(ms, ..)| *ms > 0).map(|a| a.1).collect();
    assert_eq!(told, [Alarm::MemoryDamaged]);
    // an act whose record is torn is not taken
    let act = "[[operator]]\nat = \"+2 h\"\ncalibrate = { flow = \"20 ml/min\" }\n";
    let torn = text.replace("+44 min", "+2 h") + act;
    let (scenario, _) = scenario::read("torn.toml", &torn).unwrap();
    let end = run::run(&scenario, &Options::default(), &mut Nobody).unwrap();
    assert_eq!(end.faults, [FaultEnd::TookEffect]);
    assert!(matches!(end.acts[..], [ActEnd::Refused(_)]), "{:?}", end.acts);
}

/// Calls of the memory wait for as long as they are told to, those of the next start too.
#[test]
fn calls_that_fail_wait_no_longer_than_they_are_told_to() {
    use FaultEnd::{NoEffect, TookEffect};
    let of = |kind: &str, rest: &str| {
        faults_of(&format!("[[fault]]\nat = \"+1 h 1 s\"\n{kind} = {{ {rest} }}\n"))
    };
    for kind in ["misread", "write_failure"] {
        // a stamp is written every hour, and read back
        assert_eq!(of(kind, ""), [TookEffect], "{kind}");
        assert_eq!(of(kind, "within = \"1 h\""), [TookEffect], "{kind}");
        assert_eq!(of(kind, "within = \"59 min\""), [NoEffect], "{kind}");
        assert_eq!(of(kind, "after = 5_000"), [NoEffect], "{kind}");
    }
    // two days fill no sector
    assert_eq!(of("erase_failure", ""), [NoEffect]);
    let off = "[[fault]]\nat = \"+1 d\"\nsupply_loss = { lasts = \"1 h\" }\n";
    let start = |after: u32| {
        faults_of(&format!(
            "{off}[[fault]]\nat = \"+1 d 30 min\"\nmisread = {{ after = {after}, within = \"31 min\" }}\n"
        ))
    };
    assert_eq!(start(300), [TookEffect, TookEffect]);
    assert_eq!(start(50_000), [TookEffect, NoEffect]);
}
