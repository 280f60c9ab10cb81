//! P1 to P3 on the device: the display and its keys, the pack's tests before a dose,
//! the dose that it cannot finish, another pack; and nothing of it on mains.

use dosewright_core::cause::Cause;
use dosewright_core::display::STAYS_LIT;
use dosewright_core::entry::EntryId;
use dosewright_core::event::Event;
use dosewright_core::power::{Pack, TEST_AHEAD};
use dosewright_core::record::{Alarm, NewPack, OutcomeKind, Record};
use dosewright_core::time::Instant;
use dosewright_core::timers::Reason;
use dosewright_core::timetable::Refusal;

#[path = "power/bench.rs"]
mod bench;

use bench::{Bench, HOUR, PACK};

const DUE: i64 = 3 * HOUR;

#[test]
fn p1_on_mains_nobody_reads_a_pack_and_nothing_wakes_for_one() {
    let mut bench = Bench::new(None);
    bench.until(30 * HOUR);
    assert_eq!((bench.wires.tests.len(), bench.wires.reads.len()), (0, 0));
    assert!(!bench.wakes.contains(&Reason::PackTest) && !bench.wakes.contains(&Reason::Display));
    assert_eq!(bench.outcomes(), [OutcomeKind::Dosed, OutcomeKind::Dosed]);
    assert_eq!(bench.act(Event::PackChanged), Err(Refusal::OutOfRange));
    // a reading that comes all the same changes nothing
    let before = *bench.device.controller().book();
    for _ in 0..20 {
        bench.act(Event::PackRead { mv: 1, loaded: true }).unwrap();
    }
    assert_eq!(*bench.device.controller().book(), before);
}

#[test]
fn p1_p3_the_pack_is_tested_a_minute_before_a_dose_and_read_in_its_pulses() {
    let mut bench = Bench::new(Some(PACK));
    // as it was put in
    assert_eq!(bench.wires.tests, [0]);
    bench.until(DUE - 1);
    let test = DUE - TEST_AHEAD.as_ms() as i64;
    assert_eq!(bench.wires.tests, [0, test]);
    assert_eq!(bench.wakes.iter().filter(|&&why| why == Reason::PackTest).count(), 1);
    assert_eq!(bench.wires.reads.len(), 0);
    bench.until(DUE + HOUR);
    assert_eq!(bench.outcomes(), [OutcomeKind::Dosed]);
    let pulses = bench.records().iter().filter(|record| matches!(record, Record::Pulse(_))).count();
    assert_eq!(bench.wires.reads.len(), pulses);
    let means = Record::PackMeans { at: Instant::from_ms(test), rest_mv: 10_500, load_mv: 9_500 };
    assert!(bench.records().contains(&means));
    // GIP 5.1.1 to 5.1.6: low and depleted alarms; neither here
    assert!(!bench.alarm(Alarm::PackLow) && !bench.alarm(Alarm::PackExhausted));
}

#[test]
fn p3_a_dose_that_the_pack_cannot_finish_is_not_begun() {
    let mut bench = Bench::new(Some(PACK));
    // fine at rest, and it sags
    bench.reads = (10_400, 6_500);
    bench.until(DUE + HOUR);
    assert_eq!(bench.outcomes(), [OutcomeKind::Skipped(Cause::Battery)]);
    assert!(bench.alarm(Alarm::PackLow) && bench.alarm(Alarm::PackExhausted));
    // each is written with its figure: what is left by account, and the voltage under load
    let figures: Vec<_> = bench
        .records()
        .into_iter()
        .filter_map(|record| match record {
            Record::Alarm { at, alarm, on: true, detail } => Some((at, alarm, detail)),
            _ => None,
        })
        .collect();
    let low = figures.iter().find(|raised| raised.1 == Alarm::PackLow).unwrap();
    assert_eq!(low.2, bench.device.controller().book().gauge.left_uc(low.0));
    let exhausted = figures.iter().find(|raised| raised.1 == Alarm::PackExhausted).unwrap();
    assert_eq!(exhausted.2, 6_500);
    assert_eq!(bench.act(Event::RunAgain(EntryId(1))), Err(Refusal::Battery));
    // a restart does not forget it
    bench.reads = (10_400, 6_400);
    bench.restart();
    assert!(bench.alarm(Alarm::PackExhausted));
    // hysteresis: 200 mV above the threshold is not enough, one more is
    bench.reads = (10_400, 6_700);
    bench.until(DUE + 25 * HOUR);
    assert_eq!(bench.outcomes().len(), 2);
    assert!(bench.alarm(Alarm::PackExhausted));
    bench.reads = (10_400, 6_701);
    bench.until(DUE + 49 * HOUR);
    assert_eq!(bench.outcomes()[2], OutcomeKind::Dosed);
    assert!(!bench.alarm(Alarm::PackExhausted) && bench.alarm(Alarm::PackLow));
}

#[test]
fn p3_a_dose_that_waits_for_a_pack_begins_with_another_one() {
    let mut bench = Bench::new(Some(PACK));
    bench.reads = (8_000, 6_000);
    bench.until(DUE + HOUR / 4);
    assert!(!bench.wires.on);
    bench.reads = (10_900, 10_000);
    bench.act(Event::PackChanged).unwrap();
    assert!(bench.wires.on, "it has a window to catch up in");
    bench.until(DUE + HOUR);
    assert_eq!(bench.outcomes(), [OutcomeKind::Dosed]);
    assert!(!bench.alarm(Alarm::PackLow) && !bench.alarm(Alarm::PackExhausted));
    let changed = bench.records().into_iter().any(|record| {
        matches!(record, Record::Pack { how: NewPack::Changed, at, .. }
            if at == Instant::from_ms(DUE + HOUR / 4))
    });
    assert!(changed, "O6: it is in the ledger with its time");
}

#[test]
fn p3_another_pack_is_recognised_by_its_voltage_at_rest() {
    let mut bench = Bench::new(Some(PACK));
    bench.reads = (9_800, 8_000);
    bench.until(DUE + HOUR);
    let used = bench.device.controller().book().gauge.used_uc;
    assert!(used > 350 * 240_000, "a dose of 4 min at 350 mA");
    // the same pack put back: nothing
    bench.restart();
    assert_eq!(bench.device.controller().book().gauge.since, Instant::ZERO);
    // 700 mV more at rest is another one
    bench.reads = (10_500, 9_500);
    bench.restart();
    let gauge = bench.device.controller().book().gauge;
    assert_eq!(gauge.since, Instant::from_ms(bench.now));
    assert_eq!((gauge.rest_mv, gauge.load_mv), (10_500, 9_500));
    assert!(gauge.used_uc < used / 100);
    let how = NewPack::Recognised;
    assert!(bench.records().iter().any(|r| matches!(r, Record::Pack { how: h, .. } if *h == how)));
}

#[test]
fn p3_one_wrong_reading_of_a_test_is_no_other_pack_and_changes_no_mean() {
    for wrong in [0, 1, 18_000, u16::MAX] {
        let mut bench = Bench::new(Some(PACK));
        bench.until(DUE + HOUR);
        let (since, used) = {
            let gauge = bench.device.controller().book().gauge;
            (gauge.since, gauge.used_uc)
        };
        // at rest, under load, and both: then all is well again
        for misread in
            [(Some(wrong), None), (None, Some(wrong)), (Some(wrong), Some(wrong)), (None, None)]
        {
            bench.misread = misread;
            bench.restart();
            let gauge = bench.device.controller().book().gauge;
            assert_eq!((gauge.rest_mv, gauge.load_mv), (10_500, 9_500), "{wrong} mV, {misread:?}");
            assert!(
                gauge.since == since && gauge.used_uc >= used,
                "{wrong} mV: the account goes on"
            );
        }
        assert!(!bench.alarm(Alarm::PackLow) && !bench.alarm(Alarm::PackExhausted));
    }
}

#[test]
fn p3_the_account_goes_on_after_a_restart_and_over_a_roll() {
    let mut bench = Bench::new(Some(PACK));
    bench.until(DUE + HOUR);
    let before = bench.device.controller().book().gauge;
    bench.restart();
    let after = bench.device.controller().book().gauge;
    // the test at the start counts as one start
    assert_eq!(after.used_uc - before.used_uc, PACK.pumping_uc(0, 1));
    assert_eq!((after.since, after.pack), (before.since, PACK));
    // through many sectors
    bench.until(40 * 24 * HOUR);
    let gauge = bench.device.controller().book().gauge;
    bench.restart();
    let after = bench.device.controller().book().gauge;
    assert_eq!(after.used_uc - gauge.used_uc, PACK.pumping_uc(0, 1));
    // 40 doses of 240 s at 350 mA, and more for starts and sleep
    let mah = gauge.drawn_uc(Instant::from_ms(bench.now)) / 3_600_000;
    assert!((933 + 57..1150).contains(&mah), "{mah} mAh");
}

#[test]
fn p3_low_by_account_comes_before_the_voltage_tells() {
    let small = Pack { capacity_mah: 1000, ..PACK };
    let mut bench = Bench::new(Some(small));
    // three quarters of 1000 mAh, less 14 doses of 23.3 mAh and more: 423 mAh
    bench.until(10 * 24 * HOUR);
    assert!(!bench.alarm(Alarm::PackLow));
    bench.until(20 * 24 * HOUR);
    assert!(bench.alarm(Alarm::PackLow));
    assert!(!bench.alarm(Alarm::PackExhausted));
    bench.act(Event::PackChanged).unwrap();
    assert!(!bench.alarm(Alarm::PackLow));
}

#[test]
fn p2_the_display_goes_dark_and_a_key_only_wakes_it() {
    let mut bench = Bench::new(Some(PACK));
    bench.until(HOUR / 2);
    assert!(!bench.device.controller().takes_keys());
    bench.act(Event::Key { held: false }).unwrap();
    let lit = bench.now;
    let dark = lit + STAYS_LIT.as_ms() as i64;
    assert_eq!(bench.wires.lights, [(lit, true)]);
    assert!(!bench.device.controller().takes_keys(), "what wakes does nothing else");
    let book = *bench.device.controller().book();
    // a storm of keys lights it once, and is in no record
    for _ in 0..1000 {
        bench.act(Event::Key { held: false }).unwrap();
    }
    assert_eq!(bench.wires.lights.len(), 1);
    assert_eq!(*bench.device.controller().book(), book);
    bench.act(Event::Key { held: true }).unwrap();
    assert!(bench.device.controller().takes_keys());
    assert_eq!(bench.device.next_wake(), Some((Instant::from_ms(dark), Reason::Display)));
    bench.until(HOUR);
    assert_eq!(bench.wires.lights, [(lit, true), (dark, false)]);
    assert!(!bench.device.controller().display_is_lit());
    // what it drew is in the account
    let lit = Record::Lit { at: Instant::from_ms(dark), ms: 60_000 };
    assert!(bench.records().contains(&lit));
}

#[test]
fn p2_a_dose_waits_for_no_display() {
    let mut bench = Bench::new(Some(PACK));
    bench.until(DUE - 10_000);
    bench.act(Event::Key { held: false }).unwrap();
    bench.until(DUE);
    assert!(bench.wires.on && bench.device.controller().display_is_lit());
    // nor the display for a dose
    bench.until(DUE + 50_000);
    assert!(!bench.device.controller().display_is_lit());
    bench.until(DUE + HOUR);
    assert_eq!(bench.outcomes(), [OutcomeKind::Dosed]);
}

#[test]
fn p3_a_pack_that_cannot_be_is_refused() {
    let mut bench = Bench::new(Some(PACK));
    let twisted = Pack { exhausted_mv: PACK.low_mv + 1, ..PACK };
    assert_eq!(bench.act(Event::SetPack(&twisted)), Err(Refusal::OutOfRange));
    assert_eq!(bench.device.controller().book().gauge.pack(), Some(&PACK));
}

#[test]
fn p2_the_display_is_lit_until_its_time_and_costs_what_it_draws() {
    for (display_ua, is_written) in [(12_000, true), (0, false)] {
        let mut bench = Bench::new(Some(Pack { display_ua, ..PACK }));
        bench.until(60_000);
        bench.act(Event::Key { held: false }).unwrap();
        let dark = Instant::from_ms(60_000).plus(STAYS_LIT);
        let controller = bench.device.controller();
        assert!(controller.is_lit_at(Instant::from_ms(dark.as_ms() - 1)));
        assert!(!controller.is_lit_at(dark));
        bench.until(HOUR);
        let lit = bench.records().iter().any(|record| matches!(record, Record::Lit { .. }));
        assert_eq!(lit, is_written, "{display_ua} uA");
    }
}

#[test]
fn p3_the_pack_lasts_as_the_week_asks_of_what_can_be_counted_on() {
    let bench = Bench::new(Some(PACK));
    let lasts = |bench: &Bench| {
        let s = bench.device.controller().pack_lasts_s(Instant::from_ms(bench.now))?;
        Some(i64::from(s) * 1000)
    };
    // three quarters of 6000 mAh are 16 200 000 mC; the first test took a start, 36 mC. A
    // week: seven doses of 240 s at 350 mA in 30 starts, 595 560 mC, and 60 uA asleep, 36 288
    assert_eq!(lasts(&bench), Some(16_199_964 * 604_800 / 631_848 * 1000));
    // four weeks on, four weeks less
    let mut later = Bench::new(Some(PACK));
    later.until(28 * 24 * HOUR);
    let left = lasts(&later).unwrap() + 28 * 24 * HOUR;
    assert!((left - lasts(&bench).unwrap()).abs() < 6 * HOUR, "{left}");
    assert_eq!(lasts(&Bench::new(None)), None);
}

#[test]
fn p3_a_mean_of_the_pulses_is_written_where_it_changes_how_the_pack_is_judged() {
    // thirty pulses are three means; 6 900 mV are low, 6 400 exhausted
    for (load, low, exhausted) in
        [(9_500, false, false), (9_400, false, false), (6_900, true, false), (6_400, true, true)]
    {
        let mut bench = Bench::new(Some(PACK));
        bench.until(DUE - 1);
        let tested = Record::PackMeans {
            at: Instant::from_ms(DUE - TEST_AHEAD.as_ms() as i64),
            rest_mv: 10_500,
            load_mv: 9_500,
        };
        assert!(bench.records().contains(&tested));
        bench.reads = (10_500, load);
        bench.until(DUE + HOUR / 2);
        assert!(bench.device.controller().book().open.is_some(), "it is still open");
        assert_eq!(
            (bench.alarm(Alarm::PackLow), bench.alarm(Alarm::PackExhausted)),
            (low, exhausted)
        );
        // by account there is plenty left of one that serves no dose
        let lasts_s = bench.device.controller().pack_lasts_s(Instant::from_ms(bench.now));
        assert_eq!(lasts_s == Some(0), exhausted, "{lasts_s:?}");
        // the ten readings of the first mean end with the tenth pulse, 90 s apart
        let in_dose: Vec<_> = bench
            .records()
            .into_iter()
            .filter(|record| matches!(record, Record::PackMeans { at, .. } if at.as_ms() >= DUE))
            .collect();
        let at = Instant::from_ms(DUE + 9 * 90_000);
        let mean = Record::PackMeans { at, rest_mv: 10_500, load_mv: load };
        assert_eq!(in_dose, if low { vec![mean] } else { vec![] }, "{load} mV");
    }
}

#[test]
fn p3_another_pack_is_judged_by_its_own_readings() {
    let mut bench = Bench::new(Some(PACK));
    bench.reads = (9_000, 6_900);
    bench.until(DUE + HOUR);
    assert!(bench.alarm(Alarm::PackLow));
    // one that is put in is tested at once, and what was read of the other is forgotten
    bench.act(Event::PackRead { mv: 1, loaded: true }).unwrap();
    bench.reads = (10_500, 9_500);
    let tests = bench.wires.tests.len();
    bench.act(Event::PackChanged).unwrap();
    assert_eq!(bench.wires.tests.len(), tests + 1);
    assert!(!bench.alarm(Alarm::PackLow));
    let gauge = bench.device.controller().book().gauge;
    assert_eq!((gauge.rest_mv, gauge.load_mv), (10_500, 9_500));
    // and one that is told of with other figures by those: 23 mAh a day for 120 days
    let warned = Pack { warn_days: 120, capacity_mah: 3_000, ..PACK };
    bench.act(Event::SetPack(&warned)).unwrap();
    assert!(bench.alarm(Alarm::PackLow));
}
