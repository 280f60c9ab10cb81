//! Records of every kind.

extern crate std;

use std::vec::Vec;

use super::super::*;
use crate::civil::{Date, Days};
use crate::entry::{ClosedDates, GapRule, Recurrence};

pub(super) fn at(ms: i64) -> Instant {
    Instant::from_ms(ms)
}

pub(super) fn flow(nl_per_min: u32) -> Flow {
    Flow::from_nl_per_min(nl_per_min).unwrap()
}

pub(super) fn zone() -> Zone {
    Zone::parse("CET-1CEST,M3.5.0,M10.5.0/3").unwrap()
}

pub(super) const DUE: DueKey =
    DueKey { id: EntryId(258), revision: 772, epoch: 1286, nominal: Nominal(9) };

pub(super) fn head() -> Head {
    Head {
        flow: flow(26_500_001),
        rollers: 4,
        roller_pass: Volume::from_nl(290_001),
        shortest_on_ms: 401,
        shortest_off_ms: 602,
        longest_run_ms: 600_003,
        least_rest_ms: 704,
        starts_per_hour: 55,
        least_pulse: Volume::from_nl(4_000_006),
        longest_prime_ms: 600_007,
        longest_calibration_ms: 600_008,
        lead_ms: 109,
    }
}

pub(super) fn weekly() -> Entry {
    Entry {
        id: EntryId(515),
        enabled: true,
        recurrence: Recurrence::Weekly {
            days: Days::from_bits(0x55),
            at_min: 1439,
            by_night: true,
        },
        volume: Volume::from_nl(99_999_999_999),
        window_ms: 604_799_998,
        grace_ms: 604_799_999,
        first: Some(Date::MIN),
        last: Some(Date::MAX),
        observes_closed: true,
        gap_rule: GapRule::FirstValid,
        pulses: Some(u16::MAX),
    }
}

pub(super) fn every() -> Entry {
    let recurrence = Recurrence::Interval { every_ms: 366 * 86_400_000, from: at(-7) };
    let (first, last, pulses) = (None, None, None);
    let (enabled, observes_closed, gap_rule) = (false, false, GapRule::Shift);
    Entry { enabled, recurrence, first, last, observes_closed, gap_rule, pulses, ..weekly() }
}

pub(super) fn staged(entry: Entry) -> Staged {
    Staged { line: 63, entry, revision: 513, mark: Some(Nominal(3)), edited: true }
}

pub(super) fn closed() -> ClosedList {
    let mut list = ClosedList::EMPTY;
    for n in 0..MOST_CLOSED as i32 {
        let first = Date::MIN.plus_days(300 * n);
        assert!(list.push(ClosedDates { first, last: first.plus_days(n) }));
    }
    list
}

pub(super) fn pulse() -> Pulse {
    Pulse {
        line: 63,
        due: DUE,
        mark: Some(Nominal(10)),
        at: at(1 << 40),
        due_at: at(-(1 << 40)),
        begun_after_ms: 11,
        on_ms: 12,
        least_ms: 13,
        most_ms: 14,
        dose_ms: 15,
        flow: flow(16),
        first: true,
        asked: false,
        cut: Some(Cause::Ceiling),
        restarts: 2,
    }
}

pub(super) fn outcome() -> Outcome {
    Outcome {
        line: 63,
        due: DUE,
        last: Nominal(10),
        count: 0xff_fffe,
        at: at(11),
        due_at: at(-12),
        begun_after_ms: 13,
        least: Volume::from_nl(14),
        most: Volume::from_nl(15),
        kind: OutcomeKind::Dosed,
        asked: true,
        restarts: 3,
        mark: Some(Nominal(16)),
        carry: Carry(17),
    }
}

pub(super) const CONTAINER: Container = Container {
    capacity: Volume::from_ml(10_000),
    low: Volume::from_ml(500),
    heel: Volume::from_ml(100),
    debounce_ms: 4_001,
};

pub(super) const PACK: Pack = Pack {
    capacity_mah: 6001,
    motor_ma: 352,
    start_ma: 1203,
    start_ms: 34,
    sleep_ua: 65,
    display_ua: 12_006,
    low_mv: 7007,
    exhausted_mv: 6308,
    hysteresis_mv: 209,
    jump_mv: 710,
    warn_days: 11,
};

pub(super) fn found(ms: i64) -> Found {
    Found { at: at(ms), flow: flow(26_500_000), uncertainty_ppm: 9_001 }
}

pub(super) fn begin() -> Begin {
    Begin { at: at(5), utc: Some(Utc::from_ms(1 << 45)), losses: 259 }
}

pub(super) fn delivery() -> Delivery {
    let volume = Volume::from_ml(1_000_000);
    Delivery { id: EntryId(65_535), begin: begin(), begun_after_ms: u32::MAX, volume }
}

pub(super) fn lock() -> Lock {
    let mut lock = Lock::with(PinWord(43));
    (lock.wrong, lock.at) = (44, at(45));
    lock
}

pub(super) fn globals() -> Record {
    with_motor(Some(Motor { faults: 3, at: at(261) }))
}

pub(super) fn with_motor(motor: Option<Motor>) -> Record {
    Record::SnapGlobals {
        ceiling: Some(Volume::from_nl(7)),
        next_id: 258,
        asks: 259,
        damaged: 1 << 63 | 1,
        closed_damaged: true,
        alarms: 0x1ffe,
        rest_until: at(260),
        occupied: 1 << 62 | 2,
        motor,
        kept_ceiling: Volume::from_nl(262),
        kept_until: at(263),
    }
}

/// One of each kind and more, in which no two fields are alike.
pub(super) fn samples() -> Vec<Record> {
    let mut all: Vec<Record> = std::vec![
        Record::Boot { at: at(1), feed_kept: true, reset: Reset::Watchdog },
        Record::Boot { at: at(1), feed_kept: false, reset: Reset::PowerOn },
        Record::Clock { at: at(2), epoch: 3, utc: Some(Utc::from_ms(-4)), zone: zone() },
        Record::Clock { at: at(2), epoch: 3, utc: None, zone: Zone::UTC },
        Record::Head { at: at(3), head: head() },
        Record::Staged(staged(weekly())),
        Record::Staged(Staged { mark: None, edited: false, ..staged(every()) }),
        Record::StagedClosed(closed()),
        Record::Adopted(Adopted {
            at: at(6),
            ceiling: Some(Volume::from_nl(7)),
            written: 1 << 63 | 8,
            cleared: 1 << 62 | 9,
            closed_staged: true,
            kept_ceiling: Volume::from_nl(10),
        }),
        Record::Adopted(Adopted {
            at: at(6),
            ceiling: None,
            written: 0,
            cleared: 0,
            closed_staged: false,
            kept_ceiling: Volume::ZERO,
        }),
        Record::Pulse(pulse()),
        Record::Pulse(Pulse { first: false, asked: true, mark: None, cut: None, ..pulse() }),
        Record::Outcome(outcome()),
        Record::Stamp { at: at(-(1 << 47)) },
        Record::Container {
            at: at(13),
            container: CONTAINER,
            level: Volume::from_nl(14),
            pumped_ms: Some(7)
        },
        Record::Motor { at: at(14), faults: Motor::LATCHED },
        Record::Calibration { found: found(15), in_force: true, lead_ms: 16 },
        Record::Calibration { found: found(15), in_force: false, lead_ms: 0 },
        Record::Pin { at: at(16), check: PinWord(u32::MAX) },
        Record::PackMeans { at: at(18), rest_mv: 7_900, load_mv: 7_100 },
        Record::Lit { at: at(19), ms: u32::MAX },
        Record::SnapClock {
            at: at(32),
            epoch: 33,
            utc: Some(Utc::from_ms(34)),
            losses: 35,
            not_before: at(36),
            zone: zone(),
        },
        globals(),
        with_motor(Some(Motor { faults: 0, at: at(261) })),
        with_motor(None),
        Record::SnapHead(head()),
        Record::SnapClosed(ClosedList::EMPTY),
        Record::SnapClosed(closed()),
        Record::SnapEntry(staged(every())),
        Record::SnapDeliveries([Some(delivery()), None]),
        Record::SnapDeliveries([Some(delivery()), Some(Delivery { id: EntryId(7), ..delivery() })]),
        Record::SnapStarts(core::array::from_fn(|n| (n < 6).then_some(at(n as i64 - 3)))),
        Record::SnapStock(Stock {
            container: CONTAINER,
            level: Volume::from_nl(41),
            service: Volume::from_nl(40),
            spoken: Volume::from_nl(84),
        }),
        Record::SnapStock(Stock {
            container: CONTAINER,
            level: Volume::from_nl(41),
            service: Volume::ZERO,
            spoken: Volume::from_nl(39),
        }),
        Record::SnapLock(lock()),
        Record::SnapGauge(Gauge {
            pack: PACK,
            since: at(45),
            used_uc: u64::MAX,
            rest_mv: 46,
            load_mv: 47,
        }),
    ];
    for cause in Cause::ALL {
        let (mark, at, due_at) = (Some(Nominal(10)), at(11), at(12));
        all.push(Record::Born(Born { line: 7, due: DUE, mark, at, due_at, cause }));
        for kind in [OutcomeKind::Part(cause), OutcomeKind::Skipped(cause)] {
            all.push(Record::Outcome(Outcome { kind, asked: false, mark: None, ..outcome() }));
        }
    }
    all.extend(Act::ALL.map(|act| Record::Act { at: at(11), act, ms: 12 }));
    for on in [false, true] {
        let detail = u64::MAX - 13;
        all.extend(Alarm::ALL.map(|alarm| Record::Alarm { at: at(12), alarm, on, detail }));
    }
    all.extend(NewPack::ALL.map(|how| Record::Pack { at: at(17), pack: PACK, how }));
    for (lost, in_doubt) in [(false, false), (true, false), (false, true), (true, true)] {
        all.push(Record::SnapOpen { pulse: pulse(), lost, in_doubt });
    }
    for count in 0..=3 {
        let found = core::array::from_fn(|n| (n < count).then_some(found(n as i64)));
        let since = (count > 1).then_some(at(42));
        let nominal = (count != 1).then_some(flow(43));
        all.push(Record::SnapTube(Tube { since, nominal, found }));
        all.push(Record::SnapTube(Tube { since: Some(at(42)), nominal: None, found }));
    }
    let plain = LineState { revision: 38, carry: Carry(u32::MAX), ..LineState::default() };
    let full = LineState { mark: Some(Nominal(39)), edited: true, last: Some(begin()), ..plain };
    let Waiting { id, revision, epoch, nominal, due_at, cause } = Waiting {
        id: DUE.id,
        revision: DUE.revision,
        epoch: DUE.epoch,
        nominal: DUE.nominal,
        due_at: at(40),
        cause: Cause::Damaged,
    };
    let waiting = Some(Waiting { id, revision, epoch, nominal, due_at, cause });
    let closed_run = Some(ClosedRun { first: DUE, due_at: at(41), count: 0xff_ffff });
    for state in [plain, full, LineState { waiting, ..full }, LineState { closed_run, ..full }] {
        all.push(Record::SnapLine { line: 37, id: EntryId(258), state });
    }
    all
}
