//! M2, D2: a line whose settings were damaged in memory does not run, can be
//! entered again, and is not forgotten to have dosed.

use dosewright_core::cause::Cause;
use dosewright_core::civil::{Date, Local};
use dosewright_core::config::Head;
use dosewright_core::device::{Device, Outputs};
use dosewright_core::entry::{Entry, EntryId};
use dosewright_core::event::Event;
use dosewright_core::ledger::Geometry;
use dosewright_core::record::{Alarm, OutcomeKind, Record, Reset};
use dosewright_core::time::{Duration, Instant};
use dosewright_core::timetable::{Refusal, Timetable};
use dosewright_core::units::{Flow, Volume};
use dosewright_sim::world::flash::NorMock;
use dosewright_tests::entries::daily;
use dosewright_tests::slots::{damage, records};

const N: usize = 4;
type Flash = NorMock<4, 1024>;
type Pump = Device<Flash, N, 8>;

const GEOMETRY: Geometry = Geometry { start: 0, sector_bytes: 3072, sectors: 2 };

#[derive(Default)]
struct Panel {
    refused: Vec<Refusal>,
    starts: u32,
    alarms: Vec<(Alarm, bool)>,
}

impl Outputs for Panel {
    fn pump_on(&mut self, _: Duration) {
        self.starts += 1;
    }
    fn pump_off(&mut self) {}
    fn refused(&mut self, refusal: &Refusal) {
        self.refused.push(*refusal);
    }
    fn alarm(&mut self, alarm: Alarm, on: bool) {
        self.alarms.push((alarm, on));
    }
}

fn entry(id: u16, at_min: u16) -> Entry {
    daily(id, at_min, Volume::from_ml(40))
}

fn timetable(entries: &[Entry]) -> Timetable<N> {
    let mut timetable = Timetable::EMPTY;
    for entry in entries {
        timetable.put(*entry).unwrap();
    }
    timetable
}

fn run_until(device: &mut Pump, until: Instant, panel: &mut Panel) {
    while let Some((at, _)) = device.next_wake().filter(|(at, _)| *at <= until) {
        device.handle(at, Event::Wake, panel);
    }
}

/// A device with two entries of 40 ml, at 02:00 and at 10:00, at its first midnight.
fn started(panel: &mut Panel) -> Pump {
    let mut device = Pump::start(Flash::new(6), GEOMETRY, Some(Instant::ZERO), Reset::PowerOn)
        .unwrap_or_else(|(_, error)| panic!("{error:?}"));
    let head = Head::with_flow(Flow::from_nl_per_min(30_000_000).unwrap());
    device.handle(Instant::ZERO, Event::SetHead(&head), panel);
    let midnight = Local::new(Date::from_ymd(2027, 3, 1).unwrap(), Duration::ZERO);
    device.handle(Instant::ZERO, Event::SetClock(midnight), panel);
    let table = timetable(&[entry(1, 120), entry(2, 600)]);
    device.handle(Instant::ZERO, Event::Timetable(&table), panel);
    device
}

/// The same after the supply went, with the settings of its first line damaged.
fn restarted_without(device: Pump, at: Instant, panel: &mut Panel) -> Pump {
    let is_its = |record: &Record| matches!(record, Record::Staged(s) if s.entry.id == EntryId(1));
    restarted_with_damage(device, at, panel, is_its)
}

/// With that record damaged.
fn restarted_with_damage(
    device: Pump,
    at: Instant,
    panel: &mut Panel,
    is_its: impl Fn(&Record) -> bool,
) -> Pump {
    let mut flash = device.into_flash();
    assert_eq!(damage(&mut flash, |_, record| is_its(record)), 1);
    let mut device = Pump::start(flash, GEOMETRY, Some(at), Reset::PowerOn)
        .unwrap_or_else(|(_, error)| panic!("{error:?}"));
    device.handle(at, Event::Wake, panel);
    device
}

/// A device with two entries, the first dosed at 02:00, whose line is damaged at
/// 03:00.
fn damaged(panel: &mut Panel) -> (Pump, Instant) {
    let mut device = started(panel);
    let three = Instant::ZERO.plus(Duration::from_h(3));
    run_until(&mut device, three, panel);
    assert!(panel.starts > 0 && panel.refused.is_empty(), "{:?}", panel.refused);
    let device = restarted_without(device, three, panel);
    assert!(panel.alarms.contains(&(Alarm::EntryDamaged, true)), "{:?}", panel.alarms);
    // the alarm is written with the lines, a bit a line
    let raised = |record: &Record| {
        matches!(record, Record::Alarm { alarm: Alarm::EntryDamaged, on: true, detail: 1, .. })
    };
    assert!(records(device.ledger().flash().bytes()).any(|(_, record)| raised(&record)));
    assert!(device.controller().book().timetable.get(EntryId(1)).is_none());
    assert!(device.controller().book().timetable.get(EntryId(2)).is_some());
    (device, three)
}

#[test]
fn m2_a_damaged_line_is_entered_again_under_its_number() {
    let mut panel = Panel::default();
    let (mut device, at) = damaged(&mut panel);
    // later the same night: what was dosed at 02:00 stands in its guard of 12 h
    let table = timetable(&[entry(1, 300), entry(2, 600)]);
    device.handle(at, Event::Timetable(&table), &mut panel);
    assert_eq!(panel.refused, []);
    assert!(panel.alarms.contains(&(Alarm::EntryDamaged, false)), "{:?}", panel.alarms);
    let starts = panel.starts;
    run_until(&mut device, Instant::ZERO.plus(Duration::from_h(6)), &mut panel);
    assert_eq!(panel.starts, starts, "D2: a second dose in one night");
    let flash = device.into_flash();
    let skipped = records(flash.bytes()).any(|(_, record)| {
        matches!(record, Record::Outcome(o)
            if o.due.id == EntryId(1) && o.kind == OutcomeKind::Skipped(Cause::AlreadyDosed))
    });
    assert!(skipped);
}

#[test]
fn m2_a_number_that_was_taken_out_does_not_come_back() {
    let mut panel = Panel::default();
    let (mut device, at) = damaged(&mut panel);
    // one line is damaged: of two numbers that are not there only one may return
    let mut table = timetable(&[entry(2, 600), entry(3, 900)]);
    device.handle(at, Event::Timetable(&table), &mut panel);
    assert_eq!(panel.refused, []);
    table.remove(EntryId(2));
    device.handle(at, Event::Timetable(&table), &mut panel);
    assert_eq!(panel.refused, []);
    let back = timetable(&[entry(2, 600), entry(3, 900)]);
    device.handle(at, Event::Timetable(&back), &mut panel);
    assert_eq!(panel.refused, [Refusal::RetiredId { id: EntryId(2) }]);
}

#[test]
fn m2_what_is_done_to_another_entry_makes_up_for_no_lost_one() {
    let mut panel = Panel::default();
    let (mut device, at) = damaged(&mut panel);
    // another is moved, put in force as it is, and taken out: what is lost stays lost
    for entries in [&[entry(2, 660)][..], &[entry(2, 660)], &[]] {
        device.handle(at, Event::Timetable(&timetable(entries)), &mut panel);
        assert_eq!((&panel.refused[..], device.controller().book().damaged), (&[][..], 1));
        // and so the ledger has it
        let flash = device.into_flash();
        device = Pump::start(flash, GEOMETRY, Some(at), Reset::PowerOn)
            .unwrap_or_else(|(_, error)| panic!("{error:?}"));
        device.handle(at, Event::Wake, &mut panel);
        assert_eq!(device.controller().book().damaged, 1);
    }
    assert!(!panel.alarms.contains(&(Alarm::EntryDamaged, false)), "{:?}", panel.alarms);
}

#[test]
fn o1_a_second_lost_line_is_told_of_while_the_first_one_still_is() {
    let told = |device: &Pump| -> Vec<u64> {
        records(device.ledger().flash().bytes())
            .filter_map(|(_, record)| match record {
                Record::Alarm { alarm: Alarm::EntryDamaged, on: true, detail, .. } => Some(detail),
                _ => None,
            })
            .collect()
    };
    let again = |device: Pump, at: Instant, panel: &mut Panel| {
        let mut device = Pump::start(device.into_flash(), GEOMETRY, Some(at), Reset::PowerOn)
            .unwrap_or_else(|(_, error)| panic!("{error:?}"));
        device.handle(at, Event::Wake, panel);
        device
    };
    let mut panel = Panel::default();
    let (device, at) = damaged(&mut panel);
    // a start that finds nothing new tells nothing new
    let device = again(device, at, &mut panel);
    assert_eq!(told(&device), [0b01]);
    panel.alarms.clear();
    let is_other =
        |record: &Record| matches!(record, Record::Staged(s) if s.entry.id == EntryId(2));
    let device = restarted_with_damage(device, at, &mut panel, is_other);
    assert_eq!(told(&device), [0b01, 0b11]);
    assert!(panel.alarms.contains(&(Alarm::EntryDamaged, true)), "{:?}", panel.alarms);
    let mut device = again(device, at, &mut panel);
    assert_eq!(told(&device), [0b01, 0b11]);
    // it is off when both are there again
    device.handle(at, Event::Timetable(&timetable(&[entry(2, 600)])), &mut panel);
    assert!(!panel.alarms.contains(&(Alarm::EntryDamaged, false)), "{:?}", panel.alarms);
    let both = timetable(&[entry(1, 300), entry(2, 600)]);
    device.handle(at, Event::Timetable(&both), &mut panel);
    assert_eq!(panel.refused, []);
    assert!(panel.alarms.contains(&(Alarm::EntryDamaged, false)), "{:?}", panel.alarms);
}

#[test]
fn m2_a_new_entry_makes_up_for_a_lost_one_before_it_takes_an_empty_line() {
    let mut panel = Panel::default();
    let mut device = started(&mut panel);
    let midnight = Instant::ZERO;
    let table = timetable(&[entry(1, 120), entry(2, 600), entry(3, 900), entry(4, 1200)]);
    device.handle(midnight, Event::Timetable(&table), &mut panel);
    // the first line is empty, the second and the last are lost
    let table = timetable(&[entry(2, 600), entry(3, 900), entry(4, 1200)]);
    device.handle(midnight, Event::Timetable(&table), &mut panel);
    let mut flash = device.into_flash();
    let lost =
        |_: usize, record: &Record| matches!(record, Record::Staged(s) if s.entry.id.0 % 2 == 0);
    assert_eq!(damage(&mut flash, lost), 2);
    let mut device = Pump::start(flash, GEOMETRY, Some(midnight), Reset::PowerOn)
        .unwrap_or_else(|(_, error)| panic!("{error:?}"));
    device.handle(midnight, Event::Wake, &mut panel);
    assert_eq!(device.controller().book().damaged, 0b1010);
    let lines = |device: &Pump| {
        let book = device.controller().book();
        ([0, 1, 2, 3].map(|line| book.timetable.id_on(line).map(|id| id.0)), book.damaged)
    };
    let one = timetable(&[entry(3, 900), entry(5, 300)]);
    device.handle(midnight, Event::Timetable(&one), &mut panel);
    assert_eq!(lines(&device), ([None, Some(5), Some(3), None], 0b1000));
    assert!(!panel.alarms.contains(&(Alarm::EntryDamaged, false)), "{:?}", panel.alarms);
    // two at once: the first of them is for the line that is still lost
    let all = timetable(&[entry(3, 900), entry(5, 300), entry(6, 400), entry(7, 500)]);
    device.handle(midnight, Event::Timetable(&all), &mut panel);
    assert_eq!(lines(&device), ([Some(7), Some(5), Some(3), Some(6)], 0));
    assert!(panel.alarms.contains(&(Alarm::EntryDamaged, false)), "{:?}", panel.alarms);
    assert_eq!(panel.refused, []);
    // the ledger says the same
    let mut flash = device.into_flash();
    assert_eq!(damage(&mut flash, |_, _| false), 0);
    let device = Pump::start(flash, GEOMETRY, Some(midnight), Reset::PowerOn)
        .unwrap_or_else(|(_, error)| panic!("{error:?}"));
    assert_eq!(lines(&device), ([Some(7), Some(5), Some(3), Some(6)], 0));
}

#[test]
fn m2_of_two_new_entries_each_takes_a_line_behind_a_lost_one() {
    let mut panel = Panel::default();
    let (mut device, at) = damaged(&mut panel);
    // the first line is lost, the last two are empty
    let table = timetable(&[entry(2, 600), entry(6, 300), entry(7, 400)]);
    device.handle(at, Event::Timetable(&table), &mut panel);
    // in force, and by the ledger
    let again = Pump::start(device.ledger().flash().clone(), GEOMETRY, Some(at), Reset::PowerOn)
        .unwrap_or_else(|(_, error)| panic!("{error:?}"));
    for device in [&device, &again] {
        let book = device.controller().book();
        let ids = [0, 1, 2, 3].map(|line| book.timetable.id_on(line).map(|id| id.0));
        assert_eq!((ids, book.damaged), ([Some(6), Some(2), Some(7), None], 0));
    }
}

#[test]
fn m2_d1_a_due_that_waits_ends_where_its_settings_are_damaged() {
    // the line, or what put the whole timetable in force
    let line = |record: &Record| matches!(record, Record::Staged(s) if s.entry.id == EntryId(1));
    let adoption = |record: &Record| matches!(record, Record::Adopted(_));
    let each: [&dyn Fn(&Record) -> bool; 2] = [&line, &adoption];
    for is_its in each {
        let mut panel = Panel::default();
        let mut device = started(&mut panel);
        // at 02:00 somebody has stopped the pump: the due waits, and at 02:05 the supply goes
        let stopped = Instant::ZERO.plus(Duration::from_h(1));
        device.handle(stopped, Event::RemoteStop(true), &mut panel);
        let at = Instant::ZERO.plus(Duration::from_min(125));
        run_until(&mut device, at, &mut panel);
        assert!(device.controller().book().state(0).waiting.is_some());
        let mut device = restarted_with_damage(device, at, &mut panel, is_its);
        run_until(&mut device, Instant::ZERO.plus(Duration::from_h(4)), &mut panel);
        let outcomes: Vec<_> = records(device.ledger().flash().bytes())
            .filter_map(|(_, record)| match record {
                Record::Outcome(outcome) => Some((outcome.due.id.0, outcome.count, outcome.kind)),
                _ => None,
            })
            .collect();
        assert_eq!(outcomes, [(1, 1, OutcomeKind::Skipped(Cause::Damaged))]);
    }
}

#[test]
fn m2_what_was_set_is_not_undone_by_damage_to_its_adoption() {
    // at 01:00 the first entry is switched off, and a stamp follows at 02:00
    for (until_min, is_lost) in [(120, true), (119, false)] {
        let mut panel = Panel::default();
        let mut device = started(&mut panel);
        let one = Instant::ZERO.plus(Duration::from_h(1));
        run_until(&mut device, one, &mut panel);
        let off = Entry { enabled: false, ..entry(1, 120) };
        device.handle(one, Event::Timetable(&timetable(&[off, entry(2, 600)])), &mut panel);
        assert_eq!(panel.refused, []);
        let at = Instant::ZERO.plus(Duration::from_min(until_min));
        run_until(&mut device, at, &mut panel);
        let adoptions: Vec<usize> = records(device.ledger().flash().bytes())
            .filter(|(_, record)| matches!(record, Record::Adopted(_)))
            .map(|(index, _)| index)
            .collect();
        assert_eq!(adoptions.len(), 2);
        let mut flash = device.into_flash();
        assert_eq!(damage(&mut flash, |index, _| index == adoptions[1]), 1);
        let mut device = Pump::start(flash, GEOMETRY, Some(at), Reset::PowerOn)
            .unwrap_or_else(|(_, error)| panic!("{error:?}"));
        device.handle(at, Event::Wake, &mut panel);
        // where a start follows, a cut may have kept it from being adopted (M1)
        let book = device.controller().book();
        assert_eq!(book.timetable.get(EntryId(1)).is_none(), is_lost);
        assert!(book.timetable.get(EntryId(2)).is_some());
        assert_eq!(panel.alarms.contains(&(Alarm::EntryDamaged, true)), is_lost);
    }
}

#[test]
fn m2_d1_a_dose_that_is_open_ends_where_its_settings_are_damaged() {
    let mut panel = Panel::default();
    let mut device = started(&mut panel);
    let at = Instant::ZERO.plus(Duration::from_min(125));
    run_until(&mut device, at, &mut panel);
    assert!(device.controller().book().open.is_some());
    let device = restarted_without(device, at, &mut panel);
    let outcomes: Vec<_> = records(device.ledger().flash().bytes())
        .filter_map(|(_, record)| match record {
            Record::Outcome(outcome) => Some((outcome.due.id.0, outcome.kind)),
            _ => None,
        })
        .collect();
    assert_eq!(outcomes, [(1, OutcomeKind::Part(Cause::Damaged))]);
}

#[test]
fn m2_the_alarm_of_damage_stays_until_somebody_acknowledges_it() {
    let mut panel = Panel::default();
    let (mut device, at) = damaged(&mut panel);
    let is_on = |device: &Pump| device.controller().book().alarm_is_on(Alarm::MemoryDamaged);
    run_until(&mut device, at.plus(Duration::from_h(20)), &mut panel);
    assert!(is_on(&device));
    device.handle(at.plus(Duration::from_h(20)), Event::Acknowledge, &mut panel);
    assert!(!is_on(&device));
    // and does not come back by itself
    run_until(&mut device, at.plus(Duration::from_h(40)), &mut panel);
    assert!(!is_on(&device));
}
