//! O1, O5, P2: what a display asks of the device beside the book: the dose that comes next or
//! waits, the one that is open, the run that somebody asked for, whether the keys count.

use dosewright_core::cause::Cause;
use dosewright_core::civil::{Days, Weekday};
use dosewright_core::config::{Container, Head};
use dosewright_core::controller::ServiceRun;
use dosewright_core::display::STAYS_LIT;
use dosewright_core::entry::{ClosedDates, Entry, EntryId, Recurrence};
use dosewright_core::event::Event;
use dosewright_core::time::Instant;
use dosewright_core::timetable::Refusal;
use dosewright_core::units::Volume;
use dosewright_core::zone::Zone;
use dosewright_tests::entries::daily;
use dosewright_tests::pump::{self, N, Pump};
use dosewright_tests::wires::Wires;

const MIN: i64 = 60_000;

struct Rig {
    device: Pump,
    wires: Wires,
}

impl Rig {
    fn new(entries: &[Entry]) -> Self {
        let mut wires = Wires::default();
        let device = pump::started(&mut wires);
        let mut rig = Self { device, wires };
        rig.act(0, Event::Timetable(&pump::timetable(entries))).unwrap();
        rig
    }

    fn act(&mut self, ms: i64, event: Event<'_, N>) -> Result<(), Refusal> {
        let end = Instant::from_ms(ms);
        pump::wake_until(&mut self.device, end, &mut self.wires);
        pump::tell(&mut self.device, end, event, &mut self.wires)
    }

    /// The entry of the dose that is shown at a minute of the day, the minute of its instant,
    /// and what it waits for.
    fn shown(&mut self, minute: i64) -> (u16, i64, Option<Cause>) {
        self.act(minute * MIN, Event::Wake).unwrap();
        let next = self.device.controller().next_dose().unwrap();
        (next.id.0, next.due_at.as_ms() / MIN, next.waits_for)
    }
}

#[test]
fn o5_the_first_dose_to_come_is_shown_and_of_those_that_wait_the_oldest() {
    let at = |id, at_min| Entry {
        grace_ms: 2 * 60 * MIN as u32,
        ..daily(id, at_min, Volume::from_ml(40))
    };
    // on the lines in this order: at 04:00, at 02:00, at 03:00
    let mut rig = Rig::new(&[at(3, 240), at(1, 120), at(2, 180)]);
    assert_eq!(rig.shown(100), (1, 120, None));
    rig.act(110 * MIN, Event::RemoteStop(true)).unwrap();
    let stop = Some(Cause::RemoteStop);
    assert_eq!(rig.shown(125), (1, 120, stop));
    // the second waits as well, then the third, on the line before them
    assert_eq!(rig.shown(185), (1, 120, stop));
    assert_eq!(rig.shown(245), (1, 120, stop));
    // the time of the first is over at 04:30
    assert_eq!(rig.shown(275), (2, 180, stop));
    rig.act(276 * MIN, Event::RemoteStop(false)).unwrap();
    // it runs, and the third waits for it
    assert_eq!(rig.shown(277), (3, 240, Some(Cause::PumpInUse)));
    assert_eq!(rig.shown(400), (1, 24 * 60 + 120, None));
    assert!(Rig::new(&[]).device.controller().next_dose().is_none());
}

#[test]
fn the_dose_to_come_is_one_that_closed_dates_leave() {
    // the rig begins on a Monday
    let day = |day: i32| pump::midnight().date().plus_days(day);
    let closes =
        |id, at_min| Entry { observes_closed: true, ..daily(id, at_min, Volume::from_ml(40)) };
    let nights = Days::NONE.with(Weekday::Mon).with(Weekday::Wed);
    let recurrence = Recurrence::Weekly { days: nights, at_min: 120, by_night: true };
    let by_night = Entry { recurrence, ..closes(2, 120) };
    let mut timetable = pump::timetable(&[closes(1, 600), by_night]);
    // two stretches that overlap, the later one first, and one that is over
    for (first, last) in [(2, 40), (1, 3), (0, 0)] {
        assert!(timetable.closed.push(ClosedDates { first: day(first), last: day(last) }));
    }
    let mut rig = Rig::new(&[]);
    rig.act(0, Event::Timetable(&timetable)).unwrap();
    let in_days = |days: i64, minute: i64| days * 24 * 60 + minute;
    // the day after them; the first night after them is that of the Monday then
    assert_eq!(rig.shown(1), (1, in_days(41, 600), None));
    assert_eq!(rig.shown(in_days(5, 0)), (1, in_days(41, 600), None));
    timetable.remove(EntryId(1));
    rig.act(in_days(6, 0) * MIN, Event::Timetable(&timetable)).unwrap();
    assert_eq!(rig.shown(in_days(6, 1)), (2, in_days(43, 120), None));
    // an entry that closed dates do not hold runs on them
    timetable.put(daily(3, 900, Volume::from_ml(40))).unwrap();
    rig.act(in_days(6, 2) * MIN, Event::Timetable(&timetable)).unwrap();
    assert_eq!(rig.shown(in_days(6, 3)), (3, in_days(6, 900), None));
}

#[test]
fn o1_the_container_lasts_as_the_entries_ask_that_are_in_force_by_then() {
    const DAY_S: u32 = 86_400;
    let day = |day: i32| Some(pump::midnight().date().plus_days(day));
    // ten days of 100 ml; from the two hundredth on 400 ml a day, for thirty days
    let soon = Entry { last: day(9), ..daily(1, 120, Volume::from_ml(100)) };
    let later = Entry { first: day(200), last: day(229), ..daily(2, 180, Volume::from_ml(400)) };
    let off = Entry { enabled: false, first: day(3), ..daily(3, 240, Volume::from_ml(900)) };
    let heel = Volume::from_ml(500);
    let lasts = |entries: &[Entry], ml: u64, on_day: i64| {
        let mut rig = Rig::new(entries);
        let capacity = Volume::from_ml(100_000);
        let container = Container { capacity, heel, ..Container::NONE };
        rig.act(0, Event::Container(&container, heel.plus(Volume::from_ml(ml)))).unwrap();
        let now = Instant::from_ms(on_day * 24 * 60 * MIN);
        rig.device.controller().product_lasts_s(now)
    };
    for (ml, on_day, lasts_s) in [
        (0, 0, Some(0)),
        (450, 0, Some(4 * DAY_S + DAY_S / 2)),
        // nothing is asked for between them
        (1000, 0, Some(200 * DAY_S)),
        (1200, 0, Some(200 * DAY_S + DAY_S / 2)),
        (5000, 0, Some(210 * DAY_S)),
        (5000, 9, Some(203 * DAY_S + DAY_S / 4)),
        (5000, 50, Some(162 * DAY_S + DAY_S / 2)),
        (5000, 205, Some(12 * DAY_S + DAY_S / 2)),
        // nor after them
        (12_999, 0, Some(230 * DAY_S - 216)),
        (13_000, 0, None),
        (0, 230, None),
    ] {
        assert_eq!(lasts(&[later, soon, off], ml, on_day), lasts_s, "{ml} ml on day {on_day}");
    }
    // one without dates takes its share all along
    let always = daily(4, 300, Volume::from_ml(100));
    assert_eq!(lasts(&[later, soon, always], 3000, 0), Some(20 * DAY_S));
    // the day is that of the clock, not that of UTC
    let east = Zone::parse("<+10>-10").unwrap();
    let mut rig = Rig::new(&[soon, later]);
    rig.act(0, Event::SetZone(&east)).unwrap();
    rig.act(0, Event::SetClock(pump::midnight())).unwrap();
    let container = Container { capacity: Volume::from_ml(100_000), heel, ..Container::NONE };
    rig.act(0, Event::Container(&container, heel.plus(Volume::from_ml(1000)))).unwrap();
    let controller = rig.device.controller();
    assert_eq!(controller.product_lasts_s(Instant::ZERO), Some(200 * DAY_S));
    // a hundred years are for ever
    let far = |days| Entry { first: day(days), last: None, ..soon };
    assert_eq!(lasts(&[far(36_000)], 1000, 0), Some(36_010 * DAY_S));
    assert_eq!(lasts(&[far(36_400)], 1000, 0), None);
}

#[test]
fn o1_an_interval_counts_as_the_part_of_a_week_that_it_is() {
    const DAY_S: u32 = 86_400;
    let heel = Volume::from_ml(500);
    let lasts = |hours: u64, ml: u64| {
        let every_ms = hours * 60 * MIN as u64;
        let recurrence = Recurrence::Interval { every_ms, from: Instant::ZERO };
        let mut rig = Rig::new(&[Entry { recurrence, ..daily(1, 120, Volume::from_ml(100)) }]);
        let capacity = Volume::from_ml(100_000);
        let container = Container { capacity, heel, ..Container::NONE };
        rig.act(0, Event::Container(&container, heel.plus(Volume::from_ml(ml)))).unwrap();
        rig.device.controller().product_lasts_s(Instant::ZERO)
    };
    // twenty doses, one every so many days; whole dues of a hundred years are counted, of
    // the longest interval 99
    for days in [1, 4, 5, 7, 8, 13, 14, 30, 60, 366] {
        let lasts_s = lasts(days * 24, 2000).unwrap();
        let due_s = 20 * days as u32 * DAY_S;
        assert!(lasts_s.abs_diff(due_s) <= due_s / 100, "{days} d: {lasts_s} s, not {due_s}");
    }
    for hours in [1, 36, 100] {
        let (lasts_s, due_s) = (lasts(hours, 2000).unwrap(), 20 * hours as u32 * 3600);
        assert!(lasts_s.abs_diff(due_s) <= due_s / 100, "{hours} h: {lasts_s} s, not {due_s}");
    }
}

#[test]
fn d4_an_open_dose_is_shown_with_what_is_sure_of_it() {
    // 40 ml from 02:00 on: ten pulses of 4 ml, three minutes apart
    let ml = Volume::from_ml;
    let mut rig = Rig::new(&[daily(1, 120, ml(40))]);
    for (minute, expected) in [(119, None), (120, Some(0)), (124, Some(8)), (146, Some(36))] {
        rig.act(minute * MIN, Event::Wake).unwrap();
        let expected = expected.map(|least| (ml(least), ml(40)));
        let now = Instant::from_ms(minute * MIN);
        assert_eq!(rig.device.controller().open_dose(now), expected, "{minute}");
    }
    // a display looks when it likes: 2 ml of the pulse that runs, and no more than all of it
    rig.act(147 * MIN, Event::Wake).unwrap();
    for (after_s, least) in [(4, 38), (60, 40)] {
        let now = Instant::from_ms(147 * MIN + after_s * 1000);
        assert_eq!(rig.device.controller().open_dose(now), Some((ml(least), ml(40))));
    }
    rig.act(148 * MIN, Event::Wake).unwrap();
    let now = Instant::from_ms(148 * MIN);
    assert_eq!(rig.device.controller().open_dose(now), None);
    // what a start loses delivers nothing
    let mut rig = Rig::new(&[daily(1, 120, ml(40))]);
    let head = Head { lead_ms: 500, ..pump::head() };
    rig.act(0, Event::SetHead(&head)).unwrap();
    rig.act(120 * MIN, Event::Wake).unwrap();
    for (after_ms, least) in [(500, 0), (4500, 2), (8500, 4)] {
        let now = Instant::from_ms(120 * MIN + after_ms);
        assert_eq!(rig.device.controller().open_dose(now), Some((ml(least), ml(40))));
    }
}

#[test]
fn o1_a_run_that_somebody_asked_for_is_shown_as_what_it_is() {
    let mut rig = Rig::new(&[]);
    assert_eq!(rig.device.controller().service_run(), None);
    let since = Some(Instant::from_ms(MIN));
    // 15 ml are half a minute
    rig.act(MIN, Event::Prime(Volume::from_ml(15))).unwrap();
    let run = ServiceRun { calibrates: false, asked_ms: 30_000, since };
    assert_eq!(rig.device.controller().service_run(), Some(run));
    rig.act(2 * MIN, Event::Wake).unwrap();
    assert_eq!(rig.device.controller().service_run(), None);
    rig.act(3 * MIN, Event::Calibrate { run_ms: 45_000 }).unwrap();
    let since = Some(Instant::from_ms(3 * MIN));
    let run = ServiceRun { calibrates: true, asked_ms: 45_000, since };
    assert_eq!(rig.device.controller().service_run(), Some(run));
}

#[test]
fn p2_keys_count_on_a_lit_display_once_one_was_held() {
    let mut rig = Rig::new(&[]);
    let takes = |rig: &Rig, ms| rig.device.controller().takes_keys_at(Instant::from_ms(ms));
    assert!(!takes(&rig, MIN));
    rig.act(MIN, Event::Key { held: false }).unwrap();
    assert!(!takes(&rig, MIN + 1), "it only wakes");
    rig.act(MIN + 1, Event::Key { held: true }).unwrap();
    let dark = MIN + 1 + STAYS_LIT.as_ms() as i64;
    assert!(takes(&rig, MIN + 2) && takes(&rig, dark - 1) && !takes(&rig, dark));
}
