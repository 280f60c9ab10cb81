//! Guard, ceiling and container, as a due is judged at the moment it could begin (D2, D7).

use dosewright_core::cause::Cause;
use dosewright_core::config::{Container, Head};
use dosewright_core::entry::{Entry, EntryId};
use dosewright_core::record::ClosedList;
use dosewright_core::units::Volume;

use super::bench::{CET, HOUR, MIN, every, local, round_head, weekly, zone};
use crate::audit::DayByDay;
use crate::audit::model::{Begin, Delivery, Due, Model};
use crate::audit::rules::{Verdict, on_time, volume_nl};
use crate::audit::zone::{to_jiff, utc_ms};

const ML: u64 = 1_000_000;
const ALL: Verdict = Verdict::Begin { volume_nl: 120 * ML, cut: None };

/// A millilitre a second, 120 ml at 00:45 every day, the ceiling 150 ml; set at 00:00.
fn model(entry: Entry) -> Model {
    let mut model = Model::new(Box::new(DayByDay), None);
    model.head = Some(round_head());
    let mut fates = Vec::new();
    model.set_zone(0, zone(CET), &mut fates);
    let tz = to_jiff(&zone(CET)).unwrap();
    let utc = utc_ms(&tz, local("2026-10-19 00:00").as_ms()).unwrap();
    model.set_offset(0, utc, &mut fates);
    model.adopt(0, [entry].into_iter(), ClosedList::EMPTY, None, &mut fates);
    assert_eq!(model.ceiling_nl, 150 * ML);
    model
}

fn nightly() -> Model {
    model(weekly(1, 0x7f, 45))
}

fn due(model: &Model, at: i64) -> Due {
    let mut due = model.asked_due(EntryId(1), 0, at).unwrap();
    due.key.asked = false;
    due
}

fn judged(model: &Model, at: i64) -> Verdict {
    model.judge(&due(model, at), at).unwrap()
}

/// A delivery that began and was due at an instant.
fn deliver(model: &mut Model, at: i64, nl: u64) {
    let begin = model.begun(EntryId(1), at, false);
    model.ended(Delivery { id: EntryId(1), begin, due_at: at, most_nl: nl });
}

#[test]
fn d2_the_guard_is_half_the_gap() {
    let mut model = nightly();
    assert_eq!(judged(&model, 45 * MIN), ALL);
    deliver(&mut model, 0, 10 * ML);
    assert_eq!(judged(&model, 12 * HOUR - 1), Verdict::Skip(Cause::AlreadyDosed));
    assert_eq!(judged(&model, 12 * HOUR), ALL);
    // a dose that is asked for is not kept by it
    let asked = model.asked_due(EntryId(1), 3, HOUR).unwrap();
    assert!(asked.key.asked && asked.key.nominal == 3 && asked.due_at == HOUR);
    assert_eq!(model.judge(&asked, HOUR), Some(ALL));
    let mut six = weekly(1, 0, 0);
    six.recurrence = every(1, 6 * HOUR, 0).recurrence;
    six.volume = Volume::from_ml(30);
    let mut model = self::model(six);
    deliver(&mut model, 0, 10 * ML);
    assert_eq!(judged(&model, 3 * HOUR - 1), Verdict::Skip(Cause::AlreadyDosed));
    assert_eq!(judged(&model, 3 * HOUR), Verdict::Begin { volume_nl: 30 * ML, cut: None });
}

#[test]
fn d2_an_edited_entry_delivers_what_the_guards_span_has_not() {
    let edited = |delivered_nl| {
        let mut model = nightly();
        deliver(&mut model, 0, delivered_nl);
        // one of before the guard's span counts no more
        model.deliveries.push_front(Delivery {
            id: EntryId(1),
            begin: Begin { at: -11 * HOUR, utc_ms: None, losses: 0 },
            due_at: -24 * HOUR,
            most_nl: 7 * ML,
        });
        // nor one of another entry, but for the ceiling
        let mut later = weekly(1, 0x7f, 120);
        later.pulses = Some(20);
        model.adopt(
            50 * MIN,
            [later].into_iter(),
            ClosedList::EMPTY,
            Some(1000 * ML),
            &mut Vec::new(),
        );
        model
    };
    let part = |nl| Verdict::Begin { volume_nl: nl, cut: Some(Cause::AlreadyDosed) };
    assert_eq!(judged(&edited(20 * ML), 2 * HOUR), part(100 * ML));
    // less than the shortest pulse is none: 400 ms of a millilitre a second
    assert_eq!(judged(&edited(119_600_000), 2 * HOUR), part(400_000));
    assert_eq!(judged(&edited(119_600_001), 2 * HOUR), Verdict::Skip(Cause::AlreadyDosed));
    let model = edited(20 * ML);
    let at = |at| model.runs_on_after_edit(&due(&model, at), at);
    assert!(at(12 * HOUR - 1) && !at(12 * HOUR));
    assert!(!model.runs_on_after_edit(&model.asked_due(EntryId(1), 0, HOUR).unwrap(), HOUR));
    // the first due settles it
    let mut settled = edited(20 * ML);
    settled.judged(EntryId(1));
    assert_eq!(judged(&settled, 2 * HOUR), Verdict::Skip(Cause::AlreadyDosed));
    let mut asked = edited(20 * ML);
    asked.begun(EntryId(1), HOUR, true);
    assert!(asked.line(EntryId(1)).unwrap().edited);
    asked.begun(EntryId(1), HOUR, false);
    assert!(!asked.line(EntryId(1)).unwrap().edited);
    // nothing delivered: all of it, and no part
    let mut nothing = edited(20 * ML);
    nothing.deliveries.clear();
    assert_eq!(judged(&nothing, 2 * HOUR), ALL);
}

#[test]
fn d7_the_ceiling_counts_23_hours_by_the_dues() {
    let room = |spent_nl, at| {
        let mut model = nightly();
        // begun an hour after its due
        let begin = model.begun(EntryId(1), HOUR, false);
        model.ended(Delivery { id: EntryId(1), begin, due_at: 0, most_nl: spent_nl });
        (model.room_nl(&due(&model, at), at + HOUR), judged(&model, at))
    };
    assert_eq!(room(50 * ML, 23 * HOUR - 1).0, 100 * ML);
    assert_eq!(room(50 * ML, 23 * HOUR).0, 150 * ML);
    let cut = |nl| Verdict::Begin { volume_nl: nl, cut: Some(Cause::Ceiling) };
    let day = 20 * HOUR;
    assert_eq!(room(30 * ML, day).1, ALL);
    assert_eq!(room(30 * ML + 1, day).1, cut(120 * ML - 1));
    assert_eq!(room(149_600_000, day).1, cut(400_000));
    assert_eq!(room(149_600_001, day).1, Verdict::Skip(Cause::Ceiling));
    assert_eq!(room(200 * ML, day).0, 0);
}

#[test]
fn d2_before_a_loss_of_the_clock_the_greater_age_counts() {
    let mut model = nightly();
    let then = model.begun(EntryId(1), HOUR, false);
    assert_eq!(model.age_ms(&then, 3 * HOUR), 2 * HOUR);
    model.lose_clock();
    assert_eq!(model.age_ms(&then, 3 * HOUR), 2 * HOUR, "the clock is unset");
    let set = |model: &mut Model, text: &str| {
        let tz = to_jiff(&zone(CET)).unwrap();
        let utc = utc_ms(&tz, local(text).as_ms()).unwrap();
        model.set_offset(2 * HOUR, utc - 2 * HOUR, &mut Vec::new());
    };
    // the wall says ten hours, and then half of one
    set(&mut model, "2026-10-19 10:00");
    assert_eq!(model.age_ms(&then, 3 * HOUR), 10 * HOUR);
    set(&mut model, "2026-10-19 00:30");
    assert_eq!(model.age_ms(&then, 3 * HOUR), 2 * HOUR);
    // for the ceiling what was not seen counts as well
    model.ended(Delivery { id: EntryId(1), begin: then, due_at: HOUR, most_nl: 50 * ML });
    set(&mut model, "2026-10-19 10:00");
    // 2 h by elapsed time at 3 h, and 8 h more by the wall: full age at 16 h
    let room = |at| model.room_nl(&due(&model, at), at);
    assert_eq!([room(16 * HOUR - 1), room(16 * HOUR)], [100 * ML, 150 * ML]);
}

#[test]
fn o1_a_container_cuts_a_dose_to_what_it_has() {
    let of = |level_nl| {
        let mut model = nightly();
        let container = Container {
            capacity: Volume::from_ml(1000),
            heel: Volume::from_ml(10),
            ..Container::NONE
        };
        model.stock.set(container, level_nl, 0);
        judged(&model, 45 * MIN)
    };
    let cut = |nl| Verdict::Begin { volume_nl: nl, cut: Some(Cause::ContainerEmpty) };
    assert_eq!(of(130 * ML), ALL);
    assert_eq!(of(130 * ML - 1), cut(120 * ML - 1));
    assert_eq!(of(10_400_000), cut(400_000));
    assert_eq!(of(10_399_999), Verdict::Skip(Cause::ContainerEmpty));
}

#[test]
fn d4_pumping_and_volume_on_paper() {
    // 120e6 x 60000 = 271 698 x 26.5e6 + 3 000 000
    assert_eq!(on_time(120 * ML, 0, 26_500_000), (271_698, 3_000_000));
    assert_eq!(on_time(120 * ML, 23_499_999, 26_500_000), (271_698, 26_499_999));
    assert_eq!(on_time(120 * ML, 23_500_000, 26_500_000), (271_699, 0));
    // half a nanolitre is rounded up
    assert_eq!([volume_nl(1, 29_999), volume_nl(1, 30_000), volume_nl(3, 30_000)], [0, 1, 2]);
    assert_eq!(volume_nl(-5, 60_000), 0);
    assert_eq!(volume_nl(271_698, 26_500_000), 119_999_950);
}

#[test]
fn d7_what_no_rule_can_ask_for_any_more_is_dropped() {
    let mut model = nightly();
    deliver(&mut model, 1, 0);
    assert_eq!(model.deliveries.len(), 0, "nothing was delivered");
    for at in 0..600 {
        deliver(&mut model, at, 1);
    }
    assert_eq!((model.deliveries.len(), model.deliveries[0].due_at), (513, 87));
    // the container is drawn from all the same
    let container = Container { capacity: Volume::from_ml(1000), ..Container::NONE };
    model.stock.set(container, 100 * ML, 0);
    deliver(&mut model, 700, 30 * ML);
    assert_eq!(model.stock.account_nl(0), 70 * ML);
}

#[test]
fn d2_lead_and_remainder_of_a_short_rest() {
    // a rest of 399 ms and a remainder of a millisecond are 400 ms
    let rest = |carry, lead_ms| {
        let mut model = nightly();
        model.head = Some(Head { lead_ms, ..round_head() });
        model.lines[0].carry = carry;
        deliver(&mut model, 0, 149_601_000);
        judged(&model, 13 * HOUR)
    };
    assert_eq!(rest(0, 0), Verdict::Skip(Cause::Ceiling));
    let begins = Verdict::Begin { volume_nl: 399_000, cut: Some(Cause::Ceiling) };
    assert_eq!(rest(59_999_999, 0), Verdict::Skip(Cause::Ceiling));
    assert_eq!(rest(60_000_000, 0), begins);
    assert_eq!(rest(0, 1), begins);
}

#[test]
fn d7_a_dose_that_ends_again_counts_once_and_as_it_is_told_last() {
    let mut model = nightly();
    let end = |model: &mut Model, begun: i64, ml: u64| {
        let begin = model.begun(EntryId(1), begun, false);
        model.ended(Delivery { id: EntryId(1), begin, due_at: 45 * MIN, most_nl: ml * ML });
    };
    let told = |model: &Model| model.deliveries.iter().map(|d| d.most_nl / ML).collect::<Vec<_>>();
    end(&mut model, 46 * MIN, 60);
    end(&mut model, 46 * MIN, 80);
    assert_eq!(told(&model), [80]);
    // another that was due in the same ms is another
    end(&mut model, 50 * MIN, 40);
    assert_eq!(told(&model), [80, 40]);
    // what was none in the end counts for nothing
    end(&mut model, 46 * MIN, 0);
    assert_eq!(told(&model), [40]);
}

/// D9: the clock can be set any number of times; 0 is the epoch of one that never was.
#[test]
fn d9_after_the_last_epoch_comes_the_first() {
    let opened = |epoch| super::super::settings::clock_epoch(epoch, true);
    assert_eq!([0, 1, u16::MAX - 1, u16::MAX].map(opened), [1, 2, u16::MAX, 1]);
    assert_eq!(super::super::settings::clock_epoch(7, false), 7);
}

#[test]
fn d7_a_ceiling_that_follows_from_the_timetable_lasts_23_hours_beyond_it() {
    const SPAN: i64 = 23 * HOUR;
    let mut model = Model::new(Box::new(DayByDay), None);
    let entry = |id: u16, ml: u64| {
        let mut entry = weekly(id, 0x7f, 60 * id);
        entry.volume = Volume::from_ml(ml);
        entry
    };
    let adopt = |model: &mut Model, at, entries: &[Entry], ceiling| {
        let mut fates = Vec::new();
        model.adopt(at, entries.iter().copied(), ClosedList::EMPTY, ceiling, &mut fates);
    };
    let ml = |model: &Model, due_at| model.ceiling_for_nl(due_at) / ML;
    adopt(&mut model, 0, &[entry(1, 60), entry(2, 140)], None);
    assert_eq!([0, SPAN].map(|at| ml(&model, at)), [250, 250]);
    // one is given up, and what is left is made smaller before the 23 h are over
    adopt(&mut model, HOUR, &[entry(1, 60)], None);
    assert_eq!([HOUR, HOUR + SPAN - 1, HOUR + SPAN].map(|at| ml(&model, at)), [250, 250, 75]);
    adopt(&mut model, 2 * HOUR, &[entry(1, 40)], None);
    assert_eq!([2 * HOUR + SPAN - 1, 2 * HOUR + SPAN].map(|at| ml(&model, at)), [250, 50]);
    // later the one in force then counts
    adopt(&mut model, 3 * HOUR + SPAN, &[entry(1, 20)], None);
    assert_eq!([3 * HOUR + SPAN, 3 * HOUR + 2 * SPAN].map(|at| ml(&model, at)), [50, 25]);
    // one that somebody sets counts at once, and so does the timetable's after it
    adopt(&mut model, 4 * HOUR + SPAN, &[entry(1, 20)], Some(30 * ML));
    assert_eq!(ml(&model, 4 * HOUR + SPAN), 30);
    adopt(&mut model, 5 * HOUR + SPAN, &[entry(1, 20)], None);
    assert_eq!(ml(&model, 5 * HOUR + SPAN), 25);
}
