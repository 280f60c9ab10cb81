//! P3: what the days of warning need counts the entries that can be due in them by their
//! first and last date.

use dosewright_core::civil::{DAY_MS, Date, Days, Local};
use dosewright_core::entry::{Entry, Recurrence};
use dosewright_core::event::Event;
use dosewright_core::power::Pack;
use dosewright_core::record::{Alarm, Record};
use dosewright_core::timetable::Timetable;

#[path = "power/bench.rs"]
mod bench;

use bench::{Bench, HOUR, PACK};

const DAY: i64 = 24 * HOUR;
/// Three quarters of it are 300 mAh; two weeks of the bench's entry need 340, and 20 asleep.
const SMALL: Pack = Pack { capacity_mah: 400, ..PACK };

/// A date, counted from the one on which the bench begins.
fn date(day: i32) -> Date {
    Date::from_days((1_790_000_000_000 / DAY_MS) as i32 + day)
}

/// The bench with its entry changed.
fn bench(change: impl Fn(&mut Entry)) -> Bench {
    let mut bench = Bench::new(Some(SMALL));
    let before = bench.device.controller().book().timetable;
    let mut timetable = Timetable::EMPTY;
    for mut entry in before.ids().filter_map(|id| before.get(id)) {
        change(&mut entry);
        timetable.put(entry).unwrap();
    }
    bench.act(Event::Timetable(&timetable)).unwrap();
    bench
}

/// The hours at which *battery low* comes and goes from the second hour on, by the records.
fn changes(bench: &Bench) -> Vec<(i64, bool)> {
    let of = |record| match record {
        Record::Alarm { at, alarm: Alarm::PackLow, on, .. } => Some((at.as_ms() / HOUR, on)),
        _ => None,
    };
    bench.records().into_iter().filter_map(of).filter(|(at, _)| *at > 0).collect()
}

#[test]
fn p3_an_entry_that_is_over_does_not_count_from_the_third_day_on() {
    for by_night in [false, true] {
        let ends = |entry: &mut Entry| {
            let at_min = 180;
            entry.recurrence = Recurrence::Weekly { days: Days::ALL, at_min, by_night };
            entry.last = Some(date(3));
        };
        let mut bench = bench(ends);
        assert!(bench.alarm(Alarm::PackLow));
        bench.until(8 * DAY);
        // the last night's dose is on the fourth day
        assert_eq!(bench.outcomes().len(), 4 + usize::from(by_night));
        assert_eq!(changes(&bench), [(6 * 24, false)]);
        // a restart finds the same
        let mut restarted = self::bench(ends);
        for day in 0..8 {
            restarted.until(day * DAY + 13 * HOUR);
            restarted.restart();
        }
        assert_eq!(changes(&restarted), [(6 * 24, false)]);
    }
}

#[test]
fn p3_an_entry_counts_when_its_first_date_comes_into_the_days_of_warning() {
    let mut bench = bench(|entry| entry.first = Some(date(40)));
    assert!(!bench.alarm(Alarm::PackLow));
    bench.until(35 * DAY);
    // 14 days ahead, and a day for the zone
    assert_eq!(changes(&bench), [(25 * 24, true)]);
    // one that is over before another pack needs it counts for nothing, and one of today does
    for (first, last, on) in [(-9, -3, false), (-9, -2, true), (15, 15, true), (16, 16, false)] {
        let bench = self::bench(|entry| {
            (entry.first, entry.last) = (Some(date(first)), Some(date(last)));
        });
        assert_eq!(bench.alarm(Alarm::PackLow), on, "{first} to {last}");
    }
}

#[test]
fn p3_with_the_clock_unset_every_entry_counts_and_with_it_set_those_of_its_date() {
    let mut bench = bench(|entry| {
        (entry.first, entry.last) = (Some(date(60)), Some(date(69)));
    });
    bench.until(3 * DAY);
    assert!(!bench.alarm(Alarm::PackLow));
    bench.start_again(None);
    assert!(bench.alarm(Alarm::PackLow), "it can be set to any day");
    for (day, on) in [(30, false), (45, true), (71, true), (72, false), (44, false), (60, true)] {
        bench.act(Event::SetClock(Local::from_ms(i64::from(date(day).days()) * DAY_MS))).unwrap();
        assert_eq!(bench.alarm(Alarm::PackLow), on, "day {day}");
    }
}
