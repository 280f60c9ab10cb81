//! Timetables that must not have been accepted, to the millisecond (D3, D5).

use dosewright_core::config::Head;
use dosewright_core::entry::Entry;
use dosewright_core::units::Volume;

use super::bench::{
    CET, HOUR, MIN, breaks, date, every, holds, ideal_stream, install, round_head, table, weekly,
};

const END: u64 = HOUR as u64;

fn accepted(entries: &[Entry]) -> super::bench::Stream {
    let head = Head { longest_run_ms: 600_000, least_rest_ms: 60_000, ..round_head() };
    ideal_stream(&install(head, CET, "2026-10-19 12:00", table(entries)), END)
}

fn refused(entries: &[Entry], promise: &str, words: &str) {
    breaks(&accepted(entries), END, promise, words);
}

#[test]
fn d3_windows_that_touch_do_not_overlap() {
    // 45 minutes from 00:45 on
    let first = weekly(1, 0b10_0000, 45);
    let other = |days, at_min| weekly(2, days, at_min);
    for (days, at_min, overlaps) in [
        (0b10_0000, 90, false),
        (0b10_0000, 89, true),
        (0b10_0000, 0, false),
        (0b10_0000, 1, true),
        // the night before, and round the week's end
        (0b01_0000, 1440 - 1, true),
        (0b100_0000, 45, false),
    ] {
        let of = |a: Entry, b: Entry| {
            if overlaps {
                refused(&[a, b], "D3", "and their windows overlap");
            } else {
                holds(&accepted(&[a, b]), END);
            }
        };
        let mut night = other(days, at_min);
        if at_min == 1439 {
            night.window_ms = 47 * MIN as u32;
        }
        of(first, night);
        of(Entry { id: night.id, ..first }, Entry { id: first.id, ..night });
    }
    let mut night = other(0b01_0000, 1439);
    night.window_ms = 46 * MIN as u32;
    holds(&accepted(&[first, night]), END);
    // one that is off overlaps with nothing
    let off = Entry { enabled: false, ..other(0b10_0000, 60) };
    holds(&accepted(&[first, off]), END);
    // nor do those that share no date: the day after the last one's window counts
    let mut until = weekly(1, 0x7f, 1430);
    until.last = Some(date("2026-11-01"));
    let mut from = weekly(2, 0x7f, 10);
    from.first = Some(date("2026-11-02"));
    refused(&[until, from], "D3", "and their windows overlap");
    from.first = Some(date("2026-11-03"));
    holds(&accepted(&[until, from]), END);
    holds(&accepted(&[first, every(2, 6 * HOUR, 50 * MIN)]), END);
}

#[test]
fn d3_window_and_grace_are_less_than_the_gap() {
    let mut daily = weekly(1, 0x7f, 45);
    daily.grace_ms = (24 * HOUR - 45 * MIN) as u32 - 1;
    holds(&accepted(&[daily]), END);
    daily.grace_ms += 1;
    refused(
        &[daily],
        "D3",
        "window and grace of 86400000 ms are not less than its gap of 86400000",
    );
    let mut interval = every(1, 20 * MIN, 50 * MIN);
    interval.grace_ms = 10 * MIN as u32 - 1;
    holds(&accepted(&[interval]), END);
    interval.grace_ms += 1;
    refused(&[interval], "D3", "of 1200000 ms are not less than its gap of 1200000 ms");
    // Friday, Saturday and Sunday: a day is the shortest gap; Monday and Thursday: three
    for (days, gap_days) in [(0b111_0000, 1), (0b1001, 3), (1, 7), (0b100_0001, 1)] {
        let mut entry = weekly(1, days, 45);
        entry.grace_ms = (gap_days * 24 * HOUR - 45 * MIN) as u32 - 1;
        holds(&accepted(&[entry]), END);
        entry.grace_ms += 1;
        refused(&[entry], "D3", "not less than its gap");
    }
}

#[test]
fn d5_a_dose_that_cannot_fit_its_window() {
    // ten minutes in one run, a rest of one, and eight more
    let of = |ml, window_min: i64| {
        let mut entry = weekly(1, 1, 45);
        entry.volume = Volume::from_ml(ml);
        (entry.window_ms, entry.pulses) = ((window_min * MIN) as u32, None);
        entry
    };
    holds(&accepted(&[of(600, 10)]), END);
    refused(&[of(601, 10)], "D5", "only 600000 ms of its 601000 ms of pumping fit its window");
    holds(&accepted(&[of(1080, 19)]), END);
    refused(&[of(1081, 19)], "D5", "only 1080000 ms of its 1081000 ms");
    // what is off is not looked at
    holds(&accepted(&[Entry { enabled: false, ..of(601, 10) }]), END);
}
