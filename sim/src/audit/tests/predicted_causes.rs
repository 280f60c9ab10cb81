//! Which causes a prediction allows, to the millisecond and the rest of the pump.

use dosewright_core::cause::Cause;
use dosewright_core::config::Head;
use dosewright_core::entry::Entry;
use dosewright_core::record::OutcomeKind;

use super::bench::{CET, Ev, HOUR, MIN, every, install, round_head, table, weekly};
use super::predictions::predicted;
use crate::audit::Predicted;

fn causes(of: &Predicted) -> Vec<Cause> {
    of.causes.iter().collect()
}

#[test]
fn d1_a_due_that_waits_through_the_pumps_rest_may_name_it() {
    // two millilitres in two pulses; behind the second the pump rests for 100 s, and the
    // other due, which waited for it, is over by then
    let slow = Head { longest_run_ms: 1_001, least_rest_ms: 100_000, ..round_head() };
    let pulses = |entry: Entry, ml| Entry {
        volume: dosewright_core::units::Volume::from_ml(ml),
        window_ms: 2 * 110_000,
        pulses: Some(2),
        ..entry
    };
    let first = pulses(weekly(1, 0x7f, 45), 2);
    let second = Entry { window_ms: 60_000, ..pulses(every(2, 6 * HOUR, 46 * MIN), 1) };
    let inputs = install(slow, CET, "2026-10-19 00:00", table(&[first, second]));
    let dues = predicted(&inputs, 4 * HOUR);
    assert_eq!(dues.len(), 2, "{dues:?}");
    let other = dues.iter().find(|d| d.kind != Some(OutcomeKind::Dosed)).unwrap();
    assert_eq!(other.kind, Some(OutcomeKind::Skipped(Cause::PumpInUse)));
    let allowed = causes(other);
    assert!(allowed.contains(&Cause::PumpInUse) && allowed.contains(&Cause::PumpLimits));
}

#[test]
fn d1_a_stretch_of_skipped_dues_is_one_whatever_else_comes_due_in_it() {
    // off from one in the morning for two days; the long window of another due is still open
    let long = Entry { window_ms: 20 * HOUR as u32, ..weekly(2, 0x02, 720) };
    let timetable = table(&[weekly(1, 0x7f, 45), long]);
    let mut inputs = install(round_head(), CET, "2026-10-19 00:00", timetable);
    inputs.push((2 * HOUR as u64, Ev::Supply(false)));
    inputs.push(((2 * 24 + 3) * HOUR as u64, Ev::Supply(true)));
    let dues = predicted(&inputs, (2 * 24 + 4) * HOUR);
    let of_first: Vec<u64> =
        dues.iter().filter(|d| d.id == weekly(1, 0, 0).id).map(|d| d.count).collect();
    assert_eq!(of_first, [1, 2], "{dues:?}");
}

#[test]
fn d10_a_wake_a_millisecond_late_is_no_cause() {
    // a dose that a loss of supply makes a part
    let late_by = |ms: i64| {
        let mut inputs =
            install(round_head(), CET, "2026-10-19 00:00", table(&[weekly(1, 0x7f, 45)]));
        inputs.push(((45 * MIN + ms) as u64, Ev::Late(ms as u64)));
        inputs.push((50 * MIN as u64, Ev::Supply(false)));
        inputs.push((3 * HOUR as u64, Ev::Supply(true)));
        let dues = predicted(&inputs, 4 * HOUR);
        assert_eq!(dues[0].kind, Some(OutcomeKind::Part(Cause::SupplyLost)));
        causes(&dues[0]).contains(&Cause::WokenLate)
    };
    assert_eq!((late_by(1), late_by(2)), (false, true));
}
