//! D1, D4, D5, O1, P4: faults that lap over one another, and what comes of a dose, of the
//! container and of the motor's row of faults in them.

use dosewright_core::cause::Cause;
use dosewright_core::record::{Alarm, Outcome, OutcomeKind};
use dosewright_sim::judged::{self, Judged, Verdict};
use dosewright_sim::run::Options;
use dosewright_sim::scenario;
use dosewright_tests::slots::outcomes;

/// Daily at six: a millilitre a second.
fn site(dose: &str, more: &str) -> String {
    format!(
        r#"schema = 1
[clock]
start = 2026-11-02T00:00:00
zone = "UTC0"
run_for = "5 days"
[head]
flow = "60 ml/min"
[[entry]]
name = "a"
weekly = {{ days = ["mon", "tue", "wed", "thu", "fri"], at = "06:00" }}
{dose}
{more}"#
    )
}

/// 60 ml in ten pulses over ten minutes.
const TEN: &str = "volume = \"60 ml\"\nwindow = \"10 min\"\npulses = 10";

fn fault(at: &str, what: &str) -> String {
    format!("[[fault]]\nat = \"mon {at}\"\n{what}\n")
}

fn act(at: &str, what: &str) -> String {
    format!("[[operator]]\nat = \"mon {at}\"\n{what}\n")
}

fn run(dose: &str, more: &[String]) -> Judged {
    judged(&site(dose, &more.concat()))
}

fn judged(text: &str) -> Judged {
    let scenario = scenario::read("faults.toml", text).unwrap().0;
    let judged = judged::run(&scenario, &Options::default(), Vec::new(), None).unwrap();
    assert_eq!(judged.verdict, Verdict::Held, "{:?}\n{text}", judged.audit);
    judged
}

fn told(judged: &Judged) -> Vec<Outcome> {
    outcomes(&judged.end.image).collect()
}

/// What becomes of the first dose.
fn first(dose: &str, more: &[String]) -> (OutcomeKind, u64) {
    let outcome = told(&run(dose, more))[0];
    (outcome.kind, outcome.most.as_ul() / 1000)
}

#[test]
fn d1_a_due_that_waited_names_what_kept_it_last() {
    let stop = |at, lasts| fault(at, &format!("remote_stop = {{ lasts = \"{lasts}\" }}"));
    let leak = |at, lasts| fault(at, &format!("leak = {{ lasts = \"{lasts}\" }}"));
    let prime = act("05:59", "prime = { lasts = \"2 min\" }");
    let skipped = |cause| (OutcomeKind::Skipped(cause), 0);
    // the last of them ends less than a shortest pulse before the deadline
    let stopped = stop("06:00:30", "9 min 29.9 s");
    assert_eq!(first(TEN, &[prime.clone(), stopped.clone()]), skipped(Cause::RemoteStop));
    let wet = leak("05:59", "2 min");
    assert_eq!(first(TEN, &[wet, stopped]), skipped(Cause::RemoteStop));
    // or half a minute before it
    let part = |cause| (OutcomeKind::Part(cause), 30);
    assert_eq!(first(TEN, &[prime, stop("06:00:30", "9 min")]), part(Cause::RemoteStop));
    let early = stop("05:59", "2 min");
    assert_eq!(first(TEN, &[early.clone(), leak("06:00:30", "9 min")]), part(Cause::Leak));
    let off = fault("06:00:30", "supply_loss = { lasts = \"9 min\" }");
    assert_eq!(first(TEN, &[early, off]), part(Cause::SupplyLost));
    // the pump's rest is part of its use
    let long = act("05:59", "prime = { lasts = \"9 min\" }");
    let heavy = "volume = \"480 ml\"\nwindow = \"10 min\"\npulses = 8";
    assert!(matches!(first(heavy, &[long]), (OutcomeKind::Part(Cause::Service), 1..)));
    // and what kept the dose of the day before keeps no other: a pump that rests from before
    // the due is not in use
    let waits = act("05:59", "prime = { lasts = \"2 min\" }");
    let rests = "[[operator]]\nat = \"tue 05:50\"\nprime = { lasts = \"9 min 59 s\" }\n";
    let seven = "volume = \"420 ml\"\nwindow = \"10 min\"\npulses = 7";
    let warm = "flow = \"60 ml/min\"\nlongest_run = \"10 min\"\nleast_rest = \"4 min\"";
    let text = site(seven, &(waits + rests)).replace("flow = \"60 ml/min\"", warm);
    assert_eq!(told(&judged(&text))[1].kind, OutcomeKind::Part(Cause::PumpLimits));
}

#[test]
fn d1_a_part_dose_names_the_stop_that_lasted() {
    // nine pulses of a minute in ten: what a stop takes is lost
    let dose = "volume = \"540 ml\"\nwindow = \"10 min\"\npulses = 9";
    let stop = |at, lasts| fault(at, &format!("remote_stop = {{ lasts = \"{lasts}\" }}"));
    let leak = |at, lasts| fault(at, &format!("leak = {{ lasts = \"{lasts}\" }}"));
    let cause = |more: &[String]| match first(dose, more) {
        (OutcomeKind::Part(cause), _) => cause,
        other => panic!("{other:?}"),
    };
    let (long, short) = ("8 min", "1 min");
    assert_eq!(cause(&[stop("06:01", long), leak("06:02", short)]), Cause::RemoteStop);
    assert_eq!(cause(&[leak("06:01", long), stop("06:02", short)]), Cause::Leak);
    let off = fault("06:02", "supply_loss = { lasts = \"1 s\" }");
    assert_eq!(cause(&[stop("06:01", long), off]), Cause::RemoteStop);
    // the motor rests for a minute, and a stop of a millisecond is in it
    let trip = fault("06:01:10", "over_current = { lasts = \"100 ms\" }");
    assert_eq!(cause(&[trip, stop("06:01:40", "1 ms")]), Cause::MotorFault);
}

#[test]
fn p4_only_a_run_that_went_through_ends_the_row_of_the_motors_faults() {
    let latched = |judged: &Judged| {
        judged.end.alarms.iter().any(|(_, alarm, on)| *alarm == Alarm::MotorFault && *on)
    };
    // one pulse a day, which trips and is tried again; the mains are off at noon
    let one = "volume = \"60 ml\"\nwindow = \"20 min\"\npulses = 1";
    let days = ["mon", "tue", "wed", "thu", "fri"];
    let nights: Vec<String> = days
        .iter()
        .flat_map(|day| {
            let on = |at: &str, what: &str| format!("[[fault]]\nat = \"{day} {at}\"\n{what}\n");
            [
                on("06:00", "over_current = { lasts = \"100 ms\" }"),
                on("12:00", "supply_loss = { lasts = \"1 h\" }"),
            ]
        })
        .collect();
    let judged = run(one, &nights);
    assert!(!latched(&judged), "each retry ran through");
    assert!(told(&judged).iter().all(|outcome| outcome.kind == OutcomeKind::Dosed));
    // and of a motor that is stuck every retry is cut short by a stop
    let stuck = fault("05:00", "motor_stall = { lasts = \"18 h\" }");
    let stops = ["06:01:00.3", "06:03:00.6", "06:07:00.9"]
        .map(|at| fault(at, "remote_stop = { lasts = \"1 s\" }"));
    let more: Vec<String> = std::iter::once(stuck).chain(stops).collect();
    let judged = run("volume = \"300 ml\"\nwindow = \"30 min\"\npulses = 5", &more);
    assert!(latched(&judged));
    assert_eq!(told(&judged)[0].kind, OutcomeKind::Part(Cause::MotorFault));
}

#[test]
fn d4_of_a_pulse_that_a_fault_broke_off_a_restart_counts_what_ran() {
    let dose = "volume = \"540 ml\"\nwindow = \"10 min\"\npulses = 9";
    let stuck = fault("06:01", "motor_stall = { lasts = \"2 min\" }");
    let reset = fault("06:03", "watchdog_reset = {}");
    let outcome = told(&run(dose, &[stuck, reset]))[0];
    // the retry was to be one long pulse, and its rest is made up for
    assert!(outcome.least.as_ul() > 400_000, "{outcome:?}");
    let doubted = outcome.most.as_nl() - outcome.least.as_nl();
    assert!(doubted < 1_000_000, "{outcome:?}");
}

const CONTAINER: &str = "[container]\ncapacity = \"10 l\"\nlow_contact = \"1 l\"\n";

#[test]
fn o1_a_contact_that_stays_closed_over_a_refill_is_told_again() {
    let container = format!("{CONTAINER}level = \"5 l\"\n");
    let closed = fault("01:00", "container_low = { lasts = \"60 h\" }");
    let refill = |level: &str| act("02:00", &format!("refill = {{ level = \"{level}\" }}"));
    let last = |judged: &Judged, wanted| {
        let found = judged.end.alarms.iter().rfind(|(_, alarm, _)| *alarm == wanted);
        found.map(|&(at, _, on)| (at, on))
    };
    let two = 2 * 3_600_000;
    let judged = run(TEN, &[container.clone(), closed.clone(), refill("10 l")]);
    assert_eq!(last(&judged, Alarm::LevelDisagrees), Some((two + 5_000, true)));
    let kinds: Vec<_> = told(&judged).iter().map(|outcome| outcome.kind).collect();
    assert_eq!(kinds, [OutcomeKind::Skipped(Cause::ContainerEmpty); 5]);
    // what agrees with it is low
    let judged = run(TEN, &[container, closed, refill("1.05 l")]);
    assert_eq!(last(&judged, Alarm::LowLevel), Some((two + 5_000, true)));
    assert_eq!(last(&judged, Alarm::LevelDisagrees), Some((two, false)));
}

#[test]
fn o1_a_low_level_stays_over_a_restart_with_the_contact_closed() {
    let container = format!("{CONTAINER}level = \"1.1 l\"\n");
    // the last pulse is broken off, and the contact closes in the stop
    let more = [
        container,
        fault("06:09:01", "remote_stop = { lasts = \"12 h\" }"),
        fault("06:09:06", "container_low = { lasts = \"80 h\" }"),
        fault("20:00", "watchdog_reset = {}"),
    ];
    let low: Vec<_> = run(TEN, &more)
        .end
        .alarms
        .iter()
        .filter(|(_, alarm, _)| *alarm == Alarm::LowLevel)
        .map(|&(_, _, on)| on)
        .collect();
    assert_eq!(low, [true]);
}

#[test]
fn o1_a_refill_in_a_pulse_that_was_broken_off_is_what_is_there() {
    let container = "[container]\ncapacity = \"5 l\"\nlevel = \"4 l\"\n".to_owned();
    let one = "volume = \"90 ml\"\nwindow = \"10 min\"\npulses = 1";
    for hold in ["remote_stop = { lasts = \"8 min\" }", "over_current = { lasts = \"100 ms\" }"] {
        let more = [
            container.clone(),
            fault("06:00:01", hold),
            act("06:00:30", "refill = { level = \"5 l\" }"),
        ];
        let end = run(one, &more).end;
        let (level, account) = (end.level_nl.unwrap(), end.account_nl.unwrap());
        assert!(account <= level, "{hold}: {account} by account, {level} in it");
        assert!(level - account < 1_000_000, "{hold}: {account} by account, {level} in it");
    }
}
