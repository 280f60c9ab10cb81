//! What comes in the middle of a pulse or of a run, and what was drawn by then: the contact, the
//! motor, the lock's time; and instants by which something is over, on paper (O1, O5, P4).

use dosewright_core::config::Head;
use dosewright_core::record::{Outcome, Record};
use dosewright_core::time::Instant;
use dosewright_core::units::{Flow, Volume};

use super::bench::{
    CET, Ev, HOUR, MIN, Stream, breaks, head, holds, nights, outcomes, round_head, with, zone,
};
use super::supplies::fill;
use crate::audit::acts::{Service, Train};
use crate::audit::bench::train_rested_by;
use crate::audit::zone::posix_string;
use crate::observe::DeviceAct;

const END: u64 = 12 * HOUR as u64;
/// Begin of the pulse that something comes in the middle of: the nineteenth of thirty of 4 s.
const PULSE: i64 = 45 * MIN + 18 * 90_000;

fn only(stream: &Stream) -> Outcome {
    let of = outcomes(stream);
    assert_eq!(of.len(), 1, "{of:?}");
    of[0]
}

#[test]
fn o1_a_contact_that_closes_in_a_pulse_has_what_was_drawn_by_then() {
    // 50 ml are left 2 s into it, of which 10 stay: 74 ml are drawn, 40 more can be
    let stream = nights(
        round_head(),
        &[fill(MIN, 200), (PULSE + 2_000, Ev::Act(DeviceAct::LevelLow(true)))],
        END,
    );
    holds(&stream, END);
    assert_eq!(only(&stream).least, Volume::from_ml(114));
    // and at its very begin, and behind it
    for (into, ml) in [(0, 112), (1, 112), (4_000, 116), (9_000, 116)] {
        let closes = (PULSE + into, Ev::Act(DeviceAct::LevelLow(true)));
        let stream = nights(round_head(), &[fill(MIN, 200), closes], END);
        holds(&stream, END);
        assert_eq!(only(&stream).least.as_ul() / 1_000, ml, "{into}");
    }
}

#[test]
fn p4_a_fault_in_a_pulse_bounds_what_a_restart_does_not_know() {
    // it stops 1.5 s into the pulse and rests a minute, in which the device starts again
    let stream = nights(
        round_head(),
        &[(PULSE + 1_500, Ev::Act(DeviceAct::MotorFault)), (PULSE + 20_000, Ev::Reset)],
        END,
    );
    holds(&stream, END);
    let of = only(&stream);
    assert_eq!(of.restarts, 1);
    assert_eq!((of.most.as_nl() - of.least.as_nl()) / 1_000, 1_500, "{of:?}");
}

#[test]
fn p4_only_a_run_to_its_end_shows_that_the_motor_turns() {
    let service = Service { prime: true, at: 1_000, asked_ms: 500, ran_ms: 0, train: None };
    assert!(service.turned(500, 999) && service.turned(501, i64::MIN));
    assert!(!service.turned(499, 999), "broken off");
    assert!(!service.turned(500, 1_000) && !service.turned(500, 1_200), "it had a fault");
    let train = Some(Train { each_ms: 50, starts: 10, left: 0, free_at: 0 });
    assert!(!Service { train, ..service }.turned(500, 999));
}

#[test]
fn d7_a_train_has_rested_at_the_latest() {
    // 60 s in 30 pulses at most, each with 600 ms behind it and part of a ms
    let plain = Head { longest_run_ms: 60_000, least_rest_ms: 0, ..round_head() };
    assert_eq!(plain.shortest_off_ms, 600);
    assert_eq!(train_rested_by(&plain, 1_000, 60_000), 1_000 + 60_000 + 30 * 601 + 2 * 600);
    // as long a rest as it ran, and once more
    let even = Head { least_rest_ms: 60_000, ..plain };
    assert_eq!(train_rested_by(&even, 1_000, 60_000), 1_000 + 60_000 + 30 * 601 + 2 * 60_000);
}

#[test]
fn t2_an_hour_of_summer_time_goes_without_saying() {
    assert_eq!(posix_string(&zone(CET)), "STD-1:00:00DST,M3.5.0/2:00:00,M10.5.0/3:00:00");
    // half an hour, as on one island, does not
    let half = "<+1030>-10:30<+11>-11,M10.1.0,M4.1.0";
    assert_eq!(
        posix_string(&zone(half)),
        "STD-10:30:00DST-11:00:00,M10.1.0/2:00:00,M4.1.0/2:00:00"
    );
}

/// A night; at six a long run of the pump, a minute into which the PIN is set; and
/// the flow, so many ms after the run's end, with these in between.
fn flow_after_a_run(service: DeviceAct, ms: i64, between: &[(i64, Ev)]) -> Stream {
    let begins = 6 * HOUR;
    let run = nights(head(), &[(begins, Ev::Act(service.clone()))], END);
    let off = |(ms, ev): &(u64, Ev)| (*ev == Ev::Pump(false)).then_some(*ms as i64);
    let ends = run.iter().filter_map(off).next_back().unwrap();
    assert!(ends > begins + 6 * MIN, "{ends}");
    let flow = Flow::from_nl_per_min(26_000_000).unwrap();
    let stream = nights(
        head(),
        &[(begins, Ev::Act(service)), (ends + ms, Ev::Act(DeviceAct::SetFlow(flow)))],
        END,
    );
    let pin = dosewright_core::lock::Pin::from_digits(b"0417");
    let set = begins + MIN;
    let check = dosewright_core::lock::PinWord(7);
    let mut more = vec![
        (set, Ev::Act(DeviceAct::SetPin(pin))),
        (set, Ev::Record(Record::Pin { at: Instant::from_ms(set), check })),
    ];
    more.extend(between.iter().map(|(ms, ev)| (set + ms, ev.clone())));
    with(&stream, &more)
}

#[test]
fn o5_who_ran_a_calibration_is_in_for_as_long_after_it() {
    let run = || DeviceAct::Calibrate(7 * MIN as u32);
    holds(&flow_after_a_run(run(), 5 * MIN - 1, &[]), END);
    let words = "the head was taken, and the settings are locked";
    breaks(&flow_after_a_run(run(), 5 * MIN, &[]), END, "O5", words);
    // locked up by hand meanwhile, it stays so
    let locked = [(1_000, Ev::Act(DeviceAct::Lock))];
    breaks(&flow_after_a_run(run(), 1_000, &locked), END, "O5", words);
}

#[test]
fn o5_a_prime_keeps_nobody_in() {
    let prime = DeviceAct::Prime(Volume::from_ml(190));
    let words = "the head was taken, and the settings are locked";
    breaks(&flow_after_a_run(prime, 1_000, &[]), END, "O5", words);
}
