//! D7 on paper: rests, starts in an hour, what fits into a window, and what is left of it.

use dosewright_core::config::Head;
use dosewright_core::units::Volume;

use super::bench::{HOUR, round_head};
use crate::audit::limits::{Fit, Limits, fits_evenly, most_even};

/// Runs of 10 s with 5 s of rest, three starts an hour.
fn head() -> Head {
    Head { longest_run_ms: 10_000, least_rest_ms: 5_000, starts_per_hour: 3, ..round_head() }
}

#[test]
fn d5_d7_a_dose_fits_its_window_or_lacks_a_millisecond() {
    // three pulses of 10 s, 20 minutes apart
    assert!(fits_evenly(&head(), 30_000, HOUR, Some(3)));
    assert!(!fits_evenly(&head(), 30_000, HOUR - 1, Some(3)));
    // a third of 30 001 ms is longer than the longest run: it takes four
    assert!(!fits_evenly(&head(), 30_001, 2 * HOUR, Some(3)));
    assert!(fits_evenly(&head(), 30_001, 80 * 60_000, Some(4)));
    assert!(fits_evenly(&head(), 30_001, 80 * 60_000, None));
    assert!(!fits_evenly(&head(), 30_001, 80 * 60_000 - 1, None));
    // a seventh of an hour is 514 286 ms, rounded up
    let seven = Head { starts_per_hour: 7, ..head() };
    assert!(fits_evenly(&seven, 28_000, 7 * 514_286, Some(7)));
    assert!(!fits_evenly(&seven, 28_000, 7 * 514_286 - 1, Some(7)));
    // where starts are many, run and rest decide, the last one's included
    let busy = Head { starts_per_hour: 1000, ..head() };
    assert!(fits_evenly(&busy, 20_000, 30_000, Some(2)));
    assert!(!fits_evenly(&busy, 20_000, 29_999, Some(2)));
    assert!(fits_evenly(&busy, 10_000, 15_000, None));
    assert!(!fits_evenly(&busy, 10_000, 14_999, None));
    // the longer of unequal pulses: 5001 ms need 2501 ms of rest
    assert!(fits_evenly(&busy, 10_001, 2 * 7_502, Some(2)));
    assert!(!fits_evenly(&busy, 10_001, 2 * 7_502 - 1, Some(2)));
    // no pulse is shorter than the shortest run
    assert!(fits_evenly(&busy, 1_200, HOUR, Some(3)));
    assert!(!fits_evenly(&busy, 1_199, HOUR, Some(3)));
}

#[test]
fn d7_as_many_pulses_as_the_least_volume_and_the_window_allow() {
    let volume = Volume::from_ml(40).as_nl();
    // ten of 4 ml by volume; three an hour
    assert_eq!(most_even(&head(), 40_000, 4 * HOUR, volume), 10);
    assert_eq!(most_even(&head(), 40_000, 2 * HOUR, volume), 6);
    assert_eq!(most_even(&head(), 40_000, 2 * HOUR - 1, volume), 5);
    // none fits: one
    assert_eq!(most_even(&head(), 40_000, HOUR, volume), 1);
    // no least volume: by the shortest run
    let any = Head { least_pulse: Volume::ZERO, starts_per_hour: 1000, ..head() };
    assert_eq!(most_even(&any, 40_000, HOUR, volume), 100);
    let one = Head { least_pulse: Volume::from_ml(41), ..head() };
    assert_eq!(most_even(&one, 5_000, HOUR, volume), 1);
}

fn started(starts: &[i64]) -> Limits {
    let mut limits = Limits::default();
    for &at in starts {
        limits.started(at);
    }
    limits
}

#[test]
fn d7_a_train_finds_room_among_the_starts_of_the_hour_before() {
    let allows =
        |before: &[i64], train: &[i64]| started(before).allow_train(&head(), train.iter().copied());
    assert!(allows(&[], &[0, 1, 2]));
    // one before: the third of the train is the fourth within the hour
    assert!(allows(&[0], &[100, 200, HOUR]));
    // a second less may be waited for, and no more
    assert!(allows(&[0], &[100, 200, HOUR - 1_000]));
    assert!(!allows(&[0], &[100, 200, HOUR - 1_001]));
    assert!(allows(&[0, 10, 20], &[HOUR, HOUR + 10]));
    assert!(!allows(&[0, 10, 20], &[HOUR - 1_001, HOUR + 10]));
    assert!(!allows(&[0, 10, 20], &[HOUR, HOUR - 991]));
    // of four only the last three count
    assert!(allows(&[-5, 0, 10, 20], &[HOUR, HOUR + 10]));
    assert!(!allows(&[-5, 0, 10, 20], &[HOUR - 1_001, HOUR + 10]));
    let limits = started(&[0, 1000, 2000]);
    assert_eq!(limits.starts_in_hour_before(HOUR - 1), 3);
    assert_eq!(limits.starts_in_hour_before(HOUR), 2);
    assert_eq!(limits.starts_in_hour_before(HOUR + 1000), 1);
}

#[test]
fn d7_from_when_the_pump_is_free() {
    assert_eq!(started(&[0, 20_000, 40_000, 60_000]).free_from(&head(), 70_000), HOUR + 20_000);
    assert_eq!(started(&[0, 20_000]).free_from(&head(), 70_000), 70_000);
    let mut limits = Limits::default();
    limits.ended(50_000, 1_000);
    // half a second of rest is less than the least there is
    assert_eq!(limits.free_from(&head(), 0), 50_600);
    assert_eq!(limits.free_at_latest(&head(), 0), 50_600);
    // it was to be longer: a device may rest for that
    limits.was_meant(10_000);
    limits.was_meant(200);
    assert_eq!(limits.free_from(&head(), 0), 50_600);
    assert_eq!(limits.free_at_latest(&head(), 0), 55_000);
    limits.service_ended(60_000, 10_000);
    assert_eq!(limits.free_from(&head(), 0), 50_600);
    assert_eq!(limits.free_at_latest(&head(), 0), 65_000);
    limits.unsure_until(65_001);
    assert_eq!(limits.free_at_latest(&head(), 0), 65_001);
    // a clock that lost its feed says an earlier instant than the pump stopped at
    let mut back = Limits::default();
    back.ended(50_000, 10_000);
    back.service_ended(52_000, 10_000);
    back.booted(51_000, 0);
    assert_eq!(back.free_from(&head(), 0), 55_000);
    assert_eq!(back.free_at_latest(&head(), 0), 56_000);
    back.booted(1_000, 0);
    assert_eq!(back.free_from(&head(), 0), 6_000);
    // the rest begins when the pump is off, which is a lead after what the pulse counts
    let led = Head { lead_ms: 100, ..head() };
    back.ended(50_000, 9_900);
    back.booted(1_000, 100);
    assert_eq!(back.free_from(&led, 0), 6_000);
}

#[test]
fn d5_d7_the_most_that_fits_between_two_instants() {
    let fit = |from, until, wanted| Limits::default().fit(&head(), from, until, wanted);
    // nothing shorter than the shortest pulse is left for the last: 9.9 and 0.4 s
    let end_at = 9_900 + 4_950 + 400;
    assert_eq!(fit(0, HOUR, 10_300), Fit { done_ms: 10_300, end_at, free_at: end_at + 600 });
    let end_at = 10_000 + 5_000 + 400;
    assert_eq!(fit(0, HOUR, 10_400), Fit { done_ms: 10_400, end_at, free_at: end_at + 600 });
    // where pulses are too short to leave more for it, the last one is what is left
    let short = Head { longest_run_ms: 500, least_rest_ms: 600, ..head() };
    assert_eq!(Limits::default().fit(&short, 0, HOUR, 700).done_ms, 700);
    // a pulse that ends with the stretch, or does not fit
    assert_eq!([fit(0, 400, 1_000).done_ms, fit(0, 399, 1_000).done_ms], [400, 0]);
    assert_eq!([fit(70, 370, 300).done_ms, fit(71, 370, 300).done_ms], [300, 0]);
    assert_eq!(fit(500, 400, 300).done_ms, 0);
    // what the pump did before counts
    let mut limits = Limits::default();
    limits.ended(0, 10_000);
    assert_eq!(limits.fit(&head(), 1_000, HOUR, 1_000).end_at, 6_000);
    // three starts, and the fourth an hour after the first
    assert_eq!(fit(0, HOUR + 399, 40_000).done_ms, 30_000);
    assert_eq!(fit(0, HOUR + 400, 40_000).done_ms, 30_400);
}

#[test]
fn d5_nothing_left_of_a_dose_is_no_train() {
    // what is left may be nothing by the most that can have been pumped, which is not known
    let even = |wanted| Limits::default().longest_even(&head(), 0, HOUR, wanted, 1_000);
    assert_eq!([even(0), even(-1)], [None, None]);
    assert_eq!(even(3_000), Some(1_000));
}
