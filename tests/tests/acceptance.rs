//! D3, D5, D7: what a timetable is refused for, with what would do instead.

use dosewright_core::civil::{Date, Days};
use dosewright_core::config::Head;
use dosewright_core::entry::{Entry, EntryId, Recurrence};
use dosewright_core::spread::Misfit;
use dosewright_core::time::Instant;
use dosewright_core::timetable::{Refusal, Timetable};
use dosewright_core::units::{Flow, Volume};
use dosewright_tests::entries::daily;
use proptest::prelude::*;

const SUNDAY: u8 = 6;

fn head() -> Head {
    Head::with_flow(Flow::from_nl_per_min(30_000_000).unwrap())
}

fn entry(id: u16, days: Days, at_min: u16, window_min: u32) -> Entry {
    let recurrence = Recurrence::Weekly { days, at_min, by_night: false };
    let daily = daily(id, at_min, Volume::from_ml(20));
    Entry { recurrence, window_ms: window_min * 60_000, ..daily }
}

fn day(weekday: u8) -> Days {
    Days::from_bits(1 << weekday)
}

fn refusals(entries: &[Entry]) -> Vec<Refusal> {
    let mut timetable = Timetable::<8>::EMPTY;
    for entry in entries {
        timetable.put(*entry).unwrap();
    }
    let mut all = Vec::new();
    timetable.check(&head(), None, Instant::ZERO, &mut |refusal| all.push(refusal));
    all
}

#[test]
fn d3_windows_that_overlap_are_refused_with_the_nearest_start_that_fits() {
    let (first, second) = (entry(1, Days::ALL, 120, 45), entry(2, Days::ALL, 150, 30));
    let found = refusals(&[first, second]);
    let [Refusal::Overlap { first: a, second: b, nearest_min: Some(nearest) }] = found[..] else {
        panic!("{found:?}")
    };
    assert_eq!((a, b), (EntryId(1), EntryId(2)));
    // 02:45 is where the first has ended; 01:30 would do too, and is farther
    assert_eq!(nearest, 165);
    assert_eq!(refusals(&[first, entry(2, Days::ALL, nearest, 30)]), []);
    assert_eq!(refusals(&[first, entry(2, Days::ALL, nearest - 1, 30)]).len(), 1);
    assert_eq!(refusals(&[first, entry(2, Days::ALL, 90, 30)]), []);
    assert_eq!(refusals(&[first, entry(2, Days::ALL, 91, 30)]).len(), 1);
}

#[test]
fn the_numbers_that_stand_for_no_entry_and_for_several_are_no_entrys() {
    let numbered = |id| refusals(&[entry(id, Days::ALL, 120, 45)]);
    for id in [0, u16::MAX] {
        assert_eq!(numbered(id), [Refusal::Field { id: EntryId(id), field: "number" }]);
    }
    assert_eq!([numbered(1), numbered(u16::MAX - 1)], [[], []]);
}

#[test]
fn d3_the_week_has_no_end() {
    // Sunday 23:50 for half an hour runs into Monday 00:10
    let late = entry(1, day(SUNDAY), 1430, 30);
    let monday = |at_min| entry(2, day(0), at_min, 30);
    assert!(matches!(refusals(&[late, monday(10)])[..], [Refusal::Overlap { .. }]));
    assert_eq!(refusals(&[late, monday(20)]), []);
    let tuesday = entry(2, day(1), 10, 30);
    assert_eq!(refusals(&[late, tuesday]), []);
}

#[test]
fn d3_a_start_is_moved_within_its_day_or_its_night() {
    let busy = entry(1, Days::ALL, 10, 300);
    let nearest = |by_night| {
        let mut second = entry(2, Days::ALL, 0, 15);
        second.recurrence = Recurrence::Weekly { days: Days::ALL, at_min: 0, by_night };
        match refusals(&[busy, second])[..] {
            [Refusal::Overlap { nearest_min, .. }] => nearest_min,
            ref found => panic!("{found:?}"),
        }
    };
    // 23:55 of the same day is a day later; of the same night it is 5 min sooner
    assert_eq!((nearest(false), nearest(true)), (Some(310), Some(1435)));
}

#[test]
fn d3_window_and_grace_stay_below_the_own_gap() {
    let mut every = entry(1, Days::ALL, 120, 23 * 60);
    assert_eq!(refusals(&[every]), []);
    every.grace_ms = 60 * 60_000;
    let gap_ms = 86_400_000;
    assert_eq!(
        refusals(&[every]),
        [Refusal::GapTooShort { id: EntryId(1), window_and_grace_ms: gap_ms, gap_ms }]
    );
}

#[test]
fn d5_a_dose_that_does_not_fit_is_refused_with_the_least_window() {
    let mut tight = entry(1, Days::ALL, 120, 1);
    tight.volume = Volume::from_ml(60);
    let found = refusals(&[tight]);
    let [Refusal::DoesNotFit { id: EntryId(1), misfit }] = found[..] else { panic!("{found:?}") };
    let Misfit::Window { least_ms, .. } = misfit else { panic!("{misfit:?}") };
    // 60 ml at 30 ml/min is 2 min of pumping
    assert!((120_000..180_000).contains(&least_ms), "{least_ms}");
    tight.window_ms = u32::try_from(least_ms).unwrap();
    assert_eq!(refusals(&[tight]), []);
    tight.window_ms -= 1;
    assert_eq!(refusals(&[tight]).len(), 1);
}

#[test]
fn d7_a_timetable_over_the_ceiling_is_refused() {
    let mut timetable = Timetable::<8>::EMPTY;
    timetable.put(entry(1, Days::ALL, 120, 30)).unwrap();
    timetable.put(entry(2, Days::ALL, 600, 30)).unwrap();
    timetable.ceiling = Some(Volume::from_ml(39));
    let asked = Volume::from_ml(40);
    assert_eq!(
        timetable.first_refusal(&head(), None, Instant::ZERO),
        Some(Refusal::OverCeiling { asked, ceiling: Volume::from_ml(39) })
    );
    timetable.ceiling = Some(asked);
    assert_eq!(timetable.first_refusal(&head(), None, Instant::ZERO), None);
    timetable.ceiling = None;
    assert_eq!(timetable.ceiling_in_force(), Volume::from_ml(50));
}

#[test]
fn the_first_refusal_is_the_first_of_all_of_them() {
    let numbered = |id| entry(id, Days::ALL, 120, 45);
    let fields = [Entry { pulses: Some(0), ..numbered(1) }, Entry { window_ms: 0, ..numbered(2) }];
    // never due, with a gap too short for the grace, and a window too short for the dose
    let date = Date::from_ymd(2026, 3, 3).unwrap();
    let never = |id| Entry {
        first: Some(date),
        last: Some(date),
        window_ms: 1,
        grace_ms: 7 * 86_400_000,
        ..entry(id, day(0), 120, 1)
    };
    let short =
        |id| Entry { grace_ms: 24 * 3_600_000, window_ms: 1, ..entry(id, Days::ALL, 120 + id, 1) };
    let every = |id, every_ms: u32| Entry {
        recurrence: Recurrence::Interval { every_ms: u64::from(every_ms), from: Instant::ZERO },
        volume: Volume::from_ml(1),
        window_ms: every_ms / 2,
        ..entry(id, Days::ALL, 0, 1)
    };
    let name = |refusal: &Refusal| {
        let text = format!("{refusal:?}");
        text.split([' ', '(']).next().unwrap().to_owned()
    };
    for (entries, ceiling_ml, wanted) in [
        (&fields[..], 1000, &["Field", "Field"][..]),
        (&[never(1), never(2)], 1000, &["NeverDue", "GapTooShort", "DoesNotFit"].repeat(2)),
        (&[short(1), short(2)], 1000, &["GapTooShort", "DoesNotFit"].repeat(2)),
        (
            &[numbered(3), numbered(4), numbered(5)],
            50,
            &["Overlap", "Overlap", "Overlap", "OverCeiling"],
        ),
        (&[every(6, 60_000)], 50, &["DoesNotFit", "OverCeiling", "TooManyDues"]),
        (&[every(7, 600_000)], 50, &["OverCeiling", "TooManyDues"]),
    ] {
        let mut timetable = Timetable::<8>::EMPTY;
        for entry in entries {
            timetable.put(*entry).unwrap();
        }
        timetable.ceiling = Some(Volume::from_ml(ceiling_ml));
        let mut all = Vec::new();
        timetable.check(&head(), None, Instant::ZERO, &mut |refusal| all.push(refusal));
        assert_eq!(all.iter().map(name).collect::<Vec<_>>(), wanted, "{all:?}");
        assert_eq!(timetable.first_refusal(&head(), None, Instant::ZERO), all.first().copied());
    }
}

/// Minutes of the week in which an entry's window is open, minute by minute.
fn minutes(entry: &Entry) -> Vec<bool> {
    let Recurrence::Weekly { days, at_min, .. } = entry.recurrence else { panic!() };
    let mut open = vec![false; 7 * 1440];
    for weekday in 0..7_usize {
        if days.bits() >> weekday & 1 == 1 {
            let from = weekday * 1440 + usize::from(at_min);
            for minute in from..from + (entry.window_ms / 60_000) as usize {
                open[minute % (7 * 1440)] = true;
            }
        }
    }
    open
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 1000, failure_persistence: None, ..ProptestConfig::default() })]

    /// The acceptance check against a plain look at every minute of the week.
    #[test]
    fn d3_overlaps_are_those_that_a_minute_by_minute_look_finds(
        a in (1..128_u8, 0..1440_u16, 2..400_u32),
        b in (1..128_u8, 0..1440_u16, 2..400_u32),
    ) {
        let make = |id, (bits, at_min, window): (u8, u16, u32)| {
            entry(id, Days::from_bits(bits), at_min, window)
        };
        let (a, b) = (make(1, a), make(2, b));
        let meet = minutes(&a).iter().zip(minutes(&b)).any(|(&a, b)| a && b);
        let found = refusals(&[a, b]);
        let overlap = found.iter().find_map(|refusal| match refusal {
            Refusal::Overlap { nearest_min, .. } => Some(*nearest_min),
            _ => None,
        });
        prop_assert_eq!(overlap.is_some(), meet, "{:?}", found);
        // the start that is offered does fit, and none nearer does
        if let Some(Some(nearest)) = overlap {
            let Recurrence::Weekly { days, at_min, by_night } = b.recurrence else { panic!() };
            let moved = |at_min| {
                let recurrence = Recurrence::Weekly { days, at_min, by_night };
                minutes(&Entry { recurrence, ..b })
            };
            let fits = |at_min| !minutes(&a).iter().zip(moved(at_min)).any(|(&a, b)| a && b);
            prop_assert!(fits(nearest), "{} does not fit", nearest);
            let far = nearest.abs_diff(at_min);
            for nearer in (0..1440_u16).filter(|m| m.abs_diff(at_min) < far) {
                prop_assert!(!fits(nearer), "{} is nearer than {}", nearer, nearest);
            }
        }
    }
}

#[test]
fn d4_d5_the_ms_that_a_remainder_comes_to_has_to_fit_as_well() {
    // pulses of 1 s and no others: at 30 ml/min that is 0.5 ml
    let head = Head { shortest_on_ms: 1_000, longest_run_ms: 1_000, ..head() };
    let refused = |nl| {
        let volume = Volume::from_nl(nl);
        let mut timetable = Timetable::<8>::EMPTY;
        timetable.put(Entry { volume, ..entry(1, Days::ALL, 120, 30) }).unwrap();
        let mut all = Vec::new();
        timetable.check(&head, None, Instant::ZERO, &mut |refusal| all.push(refusal));
        all
    };
    assert_eq!(refused(500_000), []);
    // 1000.002 ms: every 500th dose is of 1001 ms, which no pulse can be
    let misfit = Misfit::Indivisible { dose_ms: 1_001 };
    assert_eq!(refused(500_001), [Refusal::DoesNotFit { id: EntryId(1), misfit }]);
}
