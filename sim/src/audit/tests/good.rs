//! Runs of the ideal device, in which the auditor must find nothing, and which
//! must come to what the promises say.

use dosewright_core::cause::Cause;
use dosewright_core::config::Head;
use dosewright_core::record::{OutcomeKind, Record};
use dosewright_core::units::Volume;

use super::bench::{
    CET, DAY, Ev, HOUR, MIN, Show, Stream, every, facts, head, holds, ideal_stream, install,
    is_pulse, local, nights, outcomes, places, round_head, set_table, table, weekly,
};
use super::toy::Toy;
use crate::observe::DeviceAct;

fn kinds(stream: &Stream) -> Vec<OutcomeKind> {
    outcomes(stream).iter().map(|o| o.kind).collect()
}

/// A run of 120 ml at 00:45 every day from 2026-10-19 00:00, with these inputs.
fn nightly(inputs: &[(i64, Ev)], end: i64) -> Stream {
    nights(head(), inputs, end as u64)
}

#[test]
fn a_quiet_week_holds() {
    let stream = nightly(&[], 7 * DAY);
    let report = holds(&stream, (7 * DAY) as u64);
    assert_eq!((report.dues.dosed, report.dues.dues), (7, 7));
}

#[test]
fn d5_a_cut_and_the_rest_in_the_window_holds() {
    // cut 00:59 to 01:12
    let cut = [(59 * MIN, Ev::Supply(false)), (72 * MIN, Ev::Supply(true))];
    let stream = nightly(&cut, 10 * HOUR);
    let report = holds(&stream, (10 * HOUR) as u64);
    assert_eq!(report.dues.dosed, 1);
    let o = outcomes(&stream)[0];
    // at least 116 ml: one pulse of 4 ml in doubt
    assert!(o.least >= Volume::from_ml(115) && o.least < Volume::from_ml(117), "{o:?}");
}

#[test]
fn d5_a_long_cut_is_a_part_dose() {
    let cut = [(50 * MIN, Ev::Supply(false)), (310 * MIN, Ev::Supply(true))];
    let stream = nightly(&cut, 10 * HOUR);
    holds(&stream, (10 * HOUR) as u64);
    assert_eq!(kinds(&stream), [OutcomeKind::Part(Cause::SupplyLost)]);
    // 4 pulses of 4 ml in 5 min, the last of them in doubt
    let o = outcomes(&stream)[0];
    assert_eq!((o.least.as_nl() / 1_000_000, o.most.as_nl() / 1_000_000), (11, 15));
}

#[test]
fn d1_dues_in_a_loss_of_supply_are_one_record() {
    let cut = [(2 * HOUR, Ev::Supply(false)), (5 * DAY + 12 * HOUR, Ev::Supply(true))];
    let stream = nightly(&cut, 6 * DAY);
    let report = holds(&stream, (6 * DAY) as u64);
    assert_eq!((report.dues.dosed, report.dues.skipped), (1, 5));
}

#[test]
fn d9_a_lost_clock_ends_the_dose_and_waits_for_a_setting() {
    let inputs = [
        (60 * MIN, Ev::Supply(false)),
        (5 * HOUR, Ev::Supply(true)),
        (5 * HOUR, Ev::Chip(0, 0, false)),
        (3 * DAY, Ev::Act(DeviceAct::SetClock(local("2026-10-22 00:00")))),
    ];
    let stream = nightly(&inputs, 4 * DAY);
    let report = holds(&stream, (4 * DAY) as u64);
    assert_eq!(kinds(&stream)[0], OutcomeKind::Part(Cause::ClockLost));
    assert_eq!(kinds(&stream)[1], OutcomeKind::Skipped(Cause::ClockUnset));
    assert_eq!((report.dues.part, report.dues.skipped, report.dues.dosed), (1, 2, 1));
}

#[test]
fn d9_set_back_over_a_dose_is_already_dosed_and_forward_over_one_is_clock_set() {
    let back = [(2 * HOUR, Ev::Act(DeviceAct::SetClock(local("2026-10-19 00:30"))))];
    let stream = nightly(&back, 12 * HOUR);
    holds(&stream, (12 * HOUR) as u64);
    assert_eq!(kinds(&stream), [OutcomeKind::Dosed, OutcomeKind::Skipped(Cause::AlreadyDosed)]);
    let forward = [(10 * MIN, Ev::Act(DeviceAct::SetClock(local("2026-10-22 02:00"))))];
    let stream = nightly(&forward, 12 * HOUR);
    let report = holds(&stream, (12 * HOUR) as u64);
    assert_eq!((report.dues.skipped, report.dues.dosed), (4, 0));
}

#[test]
fn d9_ten_years_forward_is_one_record() {
    let forward = [(10 * MIN, Ev::Act(DeviceAct::SetClock(local("2036-10-19 12:00"))))];
    let stream = nightly(&forward, 12 * HOUR);
    let report = holds(&stream, (12 * HOUR) as u64);
    assert_eq!(outcomes(&stream).len(), 1);
    // 19 October 2026 to 19 October 2036, both included: 3653 days and one
    assert_eq!(report.dues.skipped, 3654);
}

#[test]
fn d3_two_that_meet_wait_in_order_and_the_owner_hurries() {
    // an interval that falls into the night's window
    let timetable = table(&[weekly(1, 0x7f, 45), every(2, 6 * HOUR, 50 * MIN)]);
    let inputs = install(head(), CET, "2026-10-19 00:00", timetable);
    let stream = ideal_stream(&inputs, (12 * HOUR) as u64);
    let report = holds(&stream, (12 * HOUR) as u64);
    assert_eq!(report.dues.dosed, 3);
    assert_eq!(places(&stream, |ev| matches!(ev, Ev::Record(Record::Born(_)))).len(), 1);
    let begun: Vec<u32> = outcomes(&stream).iter().map(|o| o.begun_after_ms).collect();
    assert!(begun[1] > 3 * 60_000 && begun[1] < 5 * 60_000, "{begun:?}");
}

#[test]
fn d11_an_edit_in_mid_dose_ends_it_and_leaves_the_other_alone() {
    let other = every(2, 6 * HOUR, 3 * HOUR);
    let mut later = weekly(1, 0x7f, 120);
    later.volume = Volume::from_ml(100);
    let mut inputs =
        install(round_head(), CET, "2026-10-19 00:00", table(&[weekly(1, 0x7f, 45), other]));
    inputs.push((60 * MIN as u64, Ev::Act(set_table(&[later, other]))));
    let stream = ideal_stream(&inputs, (12 * HOUR) as u64);
    holds(&stream, (12 * HOUR) as u64);
    // 10 pulses of 4 ml by 01:00, when the 11th has just begun; 100 less those at 02:00
    let o = outcomes(&stream);
    assert_eq!(o[0].kind, OutcomeKind::Part(Cause::Edited));
    assert_eq!(o[1].kind, OutcomeKind::Part(Cause::AlreadyDosed));
    assert_eq!(o[0].most.as_nl() + o[1].most.as_nl(), 100_000_000);
    assert_eq!(o[1].due.revision, 2);
}

#[test]
fn d2_moved_later_after_a_full_dose_nothing_more_comes() {
    let mut inputs = install(head(), CET, "2026-10-19 00:00", table(&[weekly(1, 0x7f, 45)]));
    inputs.push((100 * MIN as u64, Ev::Act(set_table(&[weekly(1, 0x7f, 120)]))));
    let stream = ideal_stream(&inputs, (12 * HOUR) as u64);
    holds(&stream, (12 * HOUR) as u64);
    assert_eq!(kinds(&stream), [OutcomeKind::Dosed, OutcomeKind::Skipped(Cause::AlreadyDosed)]);
}

#[test]
fn d7_the_ceiling_cuts_what_is_asked_for() {
    let mut inputs = install(round_head(), CET, "2026-10-19 00:00", table(&[weekly(1, 0x7f, 45)]));
    // ceiling 150 ml: 120, then 30 of the dose that is asked for
    inputs
        .push((2 * HOUR as u64, Ev::Act(DeviceAct::RunAgain(dosewright_core::entry::EntryId(1)))));
    let stream = ideal_stream(&inputs, (12 * HOUR) as u64);
    let report = holds(&stream, (12 * HOUR) as u64);
    let o = outcomes(&stream);
    assert_eq!((o[1].kind, o[1].asked), (OutcomeKind::Part(Cause::Ceiling), true));
    assert_eq!(o[1].most, Volume::from_ml(30));
    assert_eq!((report.dues.dues, report.asked.part), (1, 1));
}

#[test]
fn d10_late_wakes_hold() {
    // the logic asked for 01:00 and was called a minute later
    let late = [(61 * MIN, Ev::Late(60_000))];
    let stream = nightly(&late, 12 * HOUR);
    let report = holds(&stream, (12 * HOUR) as u64);
    assert_eq!(report.dues.dosed, 1);
    // and 00:45 came at 02:00
    let late = [(120 * MIN, Ev::Late(75 * 60_000))];
    let stream = nightly(&late, 12 * HOUR);
    holds(&stream, (12 * HOUR) as u64);
    assert_eq!(kinds(&stream), [OutcomeKind::Skipped(Cause::WokenLate)]);
}

#[test]
fn d10_an_act_that_ends_a_late_wake_comes_before_the_dues() {
    // 00:45 was slept through; at 01:00 the clock is set to 03:00
    let set = Ev::Act(DeviceAct::SetClock(local("2026-10-19 03:00")));
    let late = [(60 * MIN, Ev::Late(15 * 60_000)), (60 * MIN, set)];
    let stream = nightly(&late, 12 * HOUR);
    holds(&stream, (12 * HOUR) as u64);
    let o = outcomes(&stream)[0];
    assert_eq!((o.kind, o.due.epoch), (OutcomeKind::Skipped(Cause::ClockSet), 2));
    // without the setting it would have begun, 15 minutes late
    let stream = nightly(&late[..1], 12 * HOUR);
    holds(&stream, (12 * HOUR) as u64);
    assert_eq!(outcomes(&stream)[0].begun_after_ms, 15 * 60_000);
}

#[test]
fn d4_watchdog_resets_are_restarts() {
    let resets = [50, 55, 60].map(|min| (min * MIN, Ev::Reset));
    let stream = nightly(&resets[..2], 12 * HOUR);
    let report = holds(&stream, (12 * HOUR) as u64);
    assert_eq!((report.dues.dosed, outcomes(&stream)[0].restarts), (1, 2));
    let stream = nightly(&resets, 12 * HOUR);
    holds(&stream, (12 * HOUR) as u64);
    assert_eq!(kinds(&stream), [OutcomeKind::Part(Cause::Restarts)]);
}

#[test]
fn a_remote_stop_in_a_dose_and_through_one_hold() {
    let stops = [
        (60 * MIN, Ev::Act(DeviceAct::RemoteStop(true))),
        (70 * MIN, Ev::Act(DeviceAct::RemoteStop(false))),
        (DAY, Ev::Act(DeviceAct::RemoteStop(true))),
        (DAY + 3 * HOUR, Ev::Act(DeviceAct::RemoteStop(false))),
    ];
    let stream = nightly(&stops, 36 * HOUR);
    holds(&stream, (36 * HOUR) as u64);
    assert_eq!(kinds(&stream), [OutcomeKind::Dosed, OutcomeKind::Skipped(Cause::RemoteStop)]);
}

#[test]
fn o1_prime_makes_a_due_wait() {
    let prime = [(44 * MIN + 30_000, Ev::Act(DeviceAct::Prime(Volume::from_ml(53))))];
    let stream = nightly(&prime, 12 * HOUR);
    let report = holds(&stream, (12 * HOUR) as u64);
    assert_eq!(report.service_nl / 1_000_000, 53);
    assert_eq!(report.dues.dosed, 1);
}

#[test]
fn d4_the_third_restart_ends_the_dose() {
    let mut inputs = Vec::new();
    for i in 0..3 {
        inputs.push(((50 + 5 * i) * MIN, Ev::Supply(false)));
        inputs.push(((51 + 5 * i) * MIN, Ev::Supply(true)));
    }
    let stream = nightly(&inputs, 12 * HOUR);
    holds(&stream, (12 * HOUR) as u64);
    assert_eq!(kinds(&stream), [OutcomeKind::Part(Cause::Restarts)]);
}

#[test]
fn a_chip_that_drifts_holds() {
    for rate in [20_000, -40_000, 200_000] {
        let mut inputs = install(head(), CET, "2026-10-19 00:00", table(&[weekly(1, 0x7f, 45)]));
        inputs[1].1 = Ev::Chip(0, rate, true);
        let stream = ideal_stream(&inputs, (5 * DAY) as u64);
        let report = holds(&stream, (5 * DAY) as u64);
        assert_eq!(report.dues.dosed, 5);
    }
}

#[test]
fn d8_the_nights_of_both_changes_hold() {
    for (start, at_min) in [("2026-10-24 12:00", 150), ("2026-03-28 12:00", 150)] {
        let inputs = install(head(), CET, start, table(&[weekly(1, 0x7f, at_min)]));
        let stream = ideal_stream(&inputs, (2 * DAY) as u64);
        let report = holds(&stream, (2 * DAY) as u64);
        assert_eq!(report.dues.dosed, 2);
    }
}

/// Ten years of sixteen entries, thirty pulses a dose: 1.7 million pulses. The
/// time is looked at by eye (`cargo test --release -- --ignored --nocapture`).
#[test]
#[ignore = "takes a while without optimisation"]
fn ten_years_of_sixteen_entries_hold_in_about_a_second() {
    let entries: Vec<_> = (0..16)
        .map(|i| {
            let mut entry = weekly(i + 1, 0x7f, 90 * i);
            entry.volume = Volume::from_ml(60);
            entry
        })
        .collect();
    let head = Head { starts_per_hour: 60, ..head() };
    let inputs = install(head, CET, "2026-10-19 00:00", table(&entries));
    let end = (3652 * DAY) as u64;
    let mut toy = Toy::new(&facts(), Tape::default());
    for (ms, ev) in &inputs {
        toy.input(*ms, ev);
    }
    toy.ideal.forget();
    let begun = std::time::Instant::now();
    toy.run_until(end);
    let made = begun.elapsed();
    let mut tape = toy.ideal.hand.to;
    tape.play();
    let report = tape.show.auditor.finish(end);
    println!("made and audited in {made:?}, audited in {:?}", tape.spent);
    println!("{} pulses, {} records", report.pump_starts, report.records);
    assert!(report.held(), "{}", super::bench::list(&report.violations));
    assert!(report.pump_starts > 1_400_000);
}

/// Shows events to an auditor in heaps and keeps the time that it takes.
struct Tape {
    heap: Vec<(u64, Heaped)>,
    show: Show,
    spent: std::time::Duration,
}

enum Heaped {
    Slot(u32, [u8; 64]),
    Event(Ev),
}

impl Default for Tape {
    fn default() -> Self {
        let spent = std::time::Duration::ZERO;
        Self { heap: Vec::new(), show: Show::new(facts()), spent }
    }
}

impl Tape {
    fn play(&mut self) {
        let begun = std::time::Instant::now();
        for (ms, heaped) in self.heap.drain(..) {
            match heaped {
                Heaped::Slot(address, bytes) => self.show.slot_at(ms, address, &bytes),
                Heaped::Event(ev) => self.show.see(ms, &ev),
            }
        }
        self.spent += begun.elapsed();
    }
}

impl super::toy::Take for Tape {
    fn take(&mut self, ms: u64, ev: Ev) {
        let heaped = match &ev {
            Ev::Record(record) => {
                let (address, bytes) = self.show.encode(record);
                Heaped::Slot(address, bytes)
            }
            _ => Heaped::Event(ev),
        };
        self.heap.push((ms, heaped));
        if self.heap.len() >= 10_000 {
            self.play();
        }
    }
}

#[test]
fn pulses_are_as_many_as_the_entry_says() {
    let stream = nightly(&[], 12 * HOUR);
    assert_eq!(places(&stream, is_pulse).len(), 30);
}

#[test]
fn d10_a_prime_that_a_late_wake_outlasts_ends_by_the_timer() {
    let inputs = [
        (4 * HOUR, Ev::Act(DeviceAct::Prime(Volume::from_ml(53)))),
        (4 * HOUR + 10 * MIN, Ev::Late(9 * 60_000)),
    ];
    let mut stream = nightly(&inputs, 12 * HOUR);
    // the device does it meanwhile
    stream.sort_by_key(|(ms, _)| *ms);
    let report = holds(&stream, (12 * HOUR) as u64);
    // 53 ml of 26.5 ml a minute
    assert_eq!((report.service_nl, report.pump_starts), (53_000_000, 31));
    let off = (4 * HOUR + 2 * MIN) as u64;
    assert!(stream.contains(&(off, Ev::Pump(false))));
}

#[test]
fn d5_what_is_left_of_the_window_is_the_shortest_pulse_or_nothing() {
    // the window ends at 01:30
    let freed = |before_end| {
        let stops = [
            (44 * MIN, Ev::Act(DeviceAct::RemoteStop(true))),
            (90 * MIN - before_end, Ev::Act(DeviceAct::RemoteStop(false))),
        ];
        let stream = nightly(&stops, 12 * HOUR);
        holds(&stream, (12 * HOUR) as u64);
        kinds(&stream)[0]
    };
    assert_eq!(freed(400), OutcomeKind::Part(Cause::RemoteStop));
    assert_eq!(freed(399), OutcomeKind::Skipped(Cause::RemoteStop));
}

#[test]
fn d10_a_dose_that_begins_too_late_to_be_whole_says_so() {
    let late = [(89 * MIN, Ev::Late(44 * 60_000))];
    let stream = nightly(&late, 12 * HOUR);
    holds(&stream, (12 * HOUR) as u64);
    assert_eq!(kinds(&stream), [OutcomeKind::Part(Cause::WokenLate)]);
    // and one that is not called from one o'clock on
    let late = [(95 * MIN, Ev::Late(35 * 60_000))];
    let stream = nightly(&late, 12 * HOUR);
    holds(&stream, (12 * HOUR) as u64);
    assert_eq!(kinds(&stream), [OutcomeKind::Part(Cause::WokenLate)]);
}

#[test]
fn d6_pulses_that_the_head_decides_hold() {
    // 4 ml each where the entry does not say, and fewer where starts are few
    let mut entry = weekly(1, 0x7f, 45);
    entry.pulses = None;
    for starts_per_hour in [60, 31, 24, 7] {
        let head = Head { starts_per_hour, ..head() };
        let inputs = install(head, CET, "2026-10-19 00:00", table(&[entry]));
        let stream = ideal_stream(&inputs, (2 * DAY) as u64);
        let report = holds(&stream, (2 * DAY) as u64);
        assert_eq!(report.dues.dosed, 2);
        let most = 30.min(usize::from(starts_per_hour));
        assert_eq!(report.pump_starts, 2 * most as u64, "{starts_per_hour}");
    }
}

/// A rest as long as the run before it.
fn resting() -> Head {
    Head { least_rest_ms: 600_000, ..head() }
}

#[test]
fn d7_after_a_pulse_that_was_stopped_the_pump_rests_for_what_it_ran() {
    // two of nine seconds; freed three later, it may go on
    let stops = [
        (60 * MIN + 2_000, Ev::Act(DeviceAct::RemoteStop(true))),
        (60 * MIN + 5_000, Ev::Act(DeviceAct::RemoteStop(false))),
    ];
    let stream = nights(resting(), &stops, (12 * HOUR) as u64);
    holds(&stream, (12 * HOUR) as u64);
    let next = (60 * MIN + 5_000) as u64;
    assert!(stream.contains(&(next, Ev::Pump(true))), "at once");
}

#[test]
fn d3_d7_the_next_dose_waits_for_the_rest_of_one_that_was_stopped() {
    // five seconds into a pulse somebody stops the night's dose; another waits for the pump
    let mut other = every(2, 6 * HOUR, 59 * MIN);
    other.grace_ms = HOUR as u32;
    let mut slow = weekly(1, 0x7f, 45);
    slow.pulses = Some(3);
    let mut inputs = install(resting(), CET, "2026-10-19 00:00", table(&[slow, other]));
    let stop = DeviceAct::StopDose(dosewright_core::entry::EntryId(1));
    // a run of 90 s from 01:00:00 on
    inputs.push((60 * MIN as u64 + 50_000, Ev::Act(stop)));
    let stream = ideal_stream(&inputs, (12 * HOUR) as u64);
    holds(&stream, (12 * HOUR) as u64);
    let off = stream.iter().find(|(ms, ev)| *ms >= 60 * MIN as u64 && *ev == Ev::Pump(false));
    let on = stream.iter().find(|(ms, ev)| *ms > 61 * MIN as u64 - 10_000 && *ev == Ev::Pump(true));
    let (off, on) = (off.unwrap().0, on.unwrap().0);
    assert_eq!(off, 60 * MIN as u64 + 50_000);
    // it had run since the hurry began, or since its pulse
    assert!(on > off && on - off >= 5_000, "{off} {on}");
    assert_eq!(kinds(&stream)[0], OutcomeKind::Part(Cause::Stopped));
}

#[test]
fn d9_a_timetable_before_the_clock_is_set_the_first_time_holds() {
    let mut inputs = install(head(), CET, "2026-10-19 00:30", table(&[weekly(1, 0x7f, 45)]));
    let clock = inputs.remove(4);
    assert!(matches!(clock.1, Ev::Act(DeviceAct::SetClock(_))));
    inputs.push((30 * MIN as u64, clock.1));
    let stream = ideal_stream(&inputs, (12 * HOUR) as u64);
    assert_eq!(holds(&stream, (12 * HOUR) as u64).dues.dosed, 1);
}

#[test]
fn d3_what_is_done_at_the_instant_of_a_due_comes_before_it() {
    use dosewright_core::config::Container;
    use dosewright_core::entry::EntryId;
    let container = Container { capacity: Volume::from_ml(1000), ..Container::NONE };
    let flow = dosewright_core::units::Flow::from_nl_per_min(26_000_000).unwrap();
    let other = every(2, 6 * HOUR, 5 * HOUR);
    for act in [
        DeviceAct::SetContainer(container, Volume::from_ml(900)),
        DeviceAct::SetFlow(flow),
        DeviceAct::Prime(Volume::from_ml(10)),
        DeviceAct::RunAgain(EntryId(2)),
        DeviceAct::RunAgain(EntryId(1)),
        DeviceAct::TubeChanged,
        DeviceAct::RemoteStop(true),
        DeviceAct::SetClock(local("2026-10-19 00:45")),
        DeviceAct::SetClock(local("2026-10-19 00:44")),
        DeviceAct::SetClock(local("2026-10-19 00:46")),
        set_table(&[other]),
        DeviceAct::StopDose(EntryId(1)),
    ] {
        let timetable = table(&[weekly(1, 0x7f, 45), other]);
        for at in [45 * MIN - 1, 45 * MIN, 45 * MIN + 1] {
            let mut inputs = install(head(), CET, "2026-10-19 00:00", timetable);
            inputs.push((at as u64, Ev::Act(act.clone())));
            let stream = ideal_stream(&inputs, (12 * HOUR) as u64);
            holds(&stream, (12 * HOUR) as u64);
        }
    }
}
