//! The run that is cut: an evening of a device that has been in use for two days.
//!
//! | time | what |
//! | --- | --- |
//! | 19:59:50 | the supply comes on |
//! | 20:00 | interval dose, 2 pulses |
//! | 20:06 | a calibration run of 20 s |
//! | 20:07 | what was measured of it, which gives a new flow |
//! | 20:10 | weekly dose, 3 pulses; the sector is full at the second |
//! | 20:10:30 | an edit of the interval entry, between the pulses of the other's dose |
//! | 20:20 | interval dose, edited again in mid-dose at 20:20:40 |
//! | 20:40 | interval dose, by the last edit |
//!
//! The dues and what they deliver are written down here by hand, from the
//! timetable and the flow, with no help from the device's own schedule code.

use dosewright_core::book::Book;
use dosewright_core::calibration::{Amount, Measured};
use dosewright_core::civil::{Date, Days, Local};
use dosewright_core::config::Head;
use dosewright_core::device::{Device, Outputs};
use dosewright_core::entry::{Entry, EntryId, GapRule, Recurrence};
use dosewright_core::event::Event;
use dosewright_core::record::{Alarm, Reset};
use dosewright_core::time::{Duration, Instant};
use dosewright_core::timetable::{Refusal, Timetable};
use dosewright_core::units::{Flow, NL_PER_ML, Volume};
use dosewright_core::zone::Zone;

use super::memory::{Flash, GEOMETRY, H, Memory, N, Pump};

const SECOND: i64 = 1000;
const MINUTE: i64 = 60 * SECOND;
const HOUR: i64 = 60 * MINUTE;

/// How long the supply is away after a cut, in ms.
pub(super) const OFF_MS: i64 = 2 * SECOND;
/// Shortest gap between two pulses, in ms.
pub(super) const SHORTEST_OFF_MS: i64 = 600;

/// 20:00 of the third day, counted from the device's first start at 18:00.
const EVENING: i64 = 50 * HOUR;
/// Slots until the sector is full, from the start of the evening: the start itself, 4 of
/// the first dose and 2 of the weekly one's first pulse (a dose's first intent stands in two),
/// 5 of run and reading, 3 of the edit. What comes next is the weekly dose's second pulse:
/// its record finds no room, so that the change of sector has an open dose to carry over.
const FREE_AT_START: u16 = 15;

/// Flow before and after the calibration, in nl/min: chosen so that no dose is a
/// whole number of milliseconds and every one leaves a remainder, and near enough to
/// one another for a single run.
const FLOWS: [u32; 2] = [30_100_000, 31_200_000];
/// How long the calibration run is, in ms, and what is measured then: the second flow
/// over that time.
const RUN_MS: u32 = 20_000;
const MEASURED: Measured = Measured {
    amount: Amount::Volume(Volume::from_ul(10_400)),
    reading_error: Volume::from_ul(20),
    as_found: false,
};
const INTERVAL: EntryId = EntryId(1);
const WEEKLY: EntryId = EntryId(2);
const WEEKLY_ML: u64 = 12;
/// The interval entry's dose at first and after each edit, in ml.
const INTERVAL_ML: [u64; 3] = [8, 9, 7];
const GRACE_MS: i64 = 3 * MINUTE;

/// Something that the operator does.
#[derive(Clone, Copy, Debug)]
pub(super) enum Deed {
    /// Puts this one of the timetables in force.
    Timetable(usize),
    /// Runs the pump for a calibration, so many ms.
    Calibrate(u32),
    /// Enters what was measured, which gives this one of the flows.
    Reading(usize),
}

/// When the operator does what.
#[derive(Clone, Copy, Debug)]
pub(super) struct Act {
    pub(super) at_ms: i64,
    pub(super) deed: Deed,
}

/// A due of the evening and what must come of it.
#[derive(Clone, Copy, Debug)]
pub(super) struct Due {
    pub(super) id: u16,
    pub(super) at_ms: i64,
    pub(super) deadline_ms: i64,
    pub(super) flow_nl_min: u64,
    /// Pumping that the dose asks for, in ms, rounded down; with what the dose
    /// before left over it can be one more.
    pub(super) dose_ms: u32,
    /// Pumping of its longest planned pulse, in ms.
    pub(super) pulse_ms: u32,
    /// It is edited in mid-dose, so that it may end early.
    pub(super) is_edited: bool,
}

pub(super) const DUES: usize = 4;

/// The evening, ready to be run again and again.
#[derive(Debug)]
pub(super) struct Script {
    pub(super) timetables: [Timetable<N>; 3],
    pub(super) flows: [Flow; 2],
    pub(super) measured: Measured,
    pub(super) acts: [Act; 4],
    pub(super) dues: [Due; DUES],
    /// What the memory holds when the evening begins.
    pub(super) memory: Memory,
    /// The device's state then, as it had it before its supply went.
    pub(super) book: Box<Book<N, H>>,
    pub(super) start_ms: i64,
    pub(super) end_ms: i64,
}

fn entry(id: EntryId, ml: u64) -> Entry {
    let weekly = id == WEEKLY;
    Entry {
        id,
        enabled: true,
        recurrence: if weekly {
            Recurrence::Weekly { days: Days::ALL, at_min: 20 * 60 + 10, by_night: false }
        } else {
            Recurrence::Interval { every_ms: 20 * 60_000, from: Instant::from_ms(EVENING) }
        },
        volume: Volume::from_ml(ml),
        window_ms: if weekly { 180_000 } else { 120_000 },
        grace_ms: GRACE_MS as u32,
        first: None,
        last: None,
        observes_closed: false,
        gap_rule: GapRule::Shift,
        pulses: Some(if weekly { 3 } else { 2 }),
    }
}

fn due(id: EntryId, minute: i64, ml: u64, flow_nl_min: u32, is_edited: bool) -> Due {
    let (window_ms, pulses) = if id == WEEKLY { (3 * MINUTE, 3) } else { (2 * MINUTE, 2) };
    let at_ms = EVENING + minute * MINUTE;
    let flow_nl_min = u64::from(flow_nl_min);
    let dose_ms = (ml * NL_PER_ML * MINUTE as u64 / flow_nl_min) as u32;
    Due {
        id: id.0,
        at_ms,
        deadline_ms: at_ms + window_ms + GRACE_MS,
        flow_nl_min,
        dose_ms,
        pulse_ms: (dose_ms + 1).div_ceil(pulses),
        is_edited,
    }
}

/// Nobody looks at the outputs of the two days before.
struct Nobody;

impl Outputs for Nobody {
    fn pump_on(&mut self, _: Duration) {}
    fn pump_off(&mut self) {}
    fn refused(&mut self, refusal: &Refusal) {
        unreachable!("the script is accepted: {refusal:?}")
    }
    fn alarm(&mut self, _: Alarm, _: bool) {}
}

impl Script {
    pub(super) fn evening() -> Self {
        let timetables = INTERVAL_ML.map(|ml| {
            let mut timetable = Timetable::EMPTY;
            for entry in [entry(INTERVAL, ml), entry(WEEKLY, WEEKLY_ML)] {
                assert_eq!(timetable.put(entry), Ok(()));
            }
            timetable
        });
        let flows = FLOWS.map(|flow| Flow::from_nl_per_min(flow).expect("a flow"));
        let at = |minute: i64, second: i64| EVENING + minute * MINUTE + second * SECOND;
        let acts = [
            Act { at_ms: at(6, 0), deed: Deed::Calibrate(RUN_MS) },
            Act { at_ms: at(7, 0), deed: Deed::Reading(1) },
            Act { at_ms: at(10, 30), deed: Deed::Timetable(1) },
            Act { at_ms: at(20, 40), deed: Deed::Timetable(2) },
        ];
        let dues = [
            due(INTERVAL, 0, INTERVAL_ML[0], FLOWS[0], false),
            due(WEEKLY, 10, WEEKLY_ML, FLOWS[1], false),
            due(INTERVAL, 20, INTERVAL_ML[1], FLOWS[1], true),
            due(INTERVAL, 40, INTERVAL_ML[2], FLOWS[1], false),
        ];
        let memory = Memory::erased();
        let start_ms = EVENING - 10 * SECOND;
        let book = two_days(&memory, &timetables[0], flows[0], start_ms);
        Self {
            timetables,
            flows,
            measured: MEASURED,
            acts,
            dues,
            memory,
            book: Box::new(book),
            start_ms,
            end_ms: at(46, 0),
        }
    }
}

/// Sets a device up and lets it run up to an instant, so that both sectors have
/// been written before and the one in force is nearly full.
fn two_days(memory: &Memory, timetable: &Timetable<N>, flow: Flow, until: i64) -> Book<N, H> {
    let zero = Some(Instant::ZERO);
    let device: Result<Pump<'_, 4>, _> =
        Device::start(Flash(memory), GEOMETRY, zero, Reset::PowerOn);
    let mut device = device.unwrap_or_else(|(_, error)| unreachable!("{error:?}"));
    let head = Head { shortest_off_ms: SHORTEST_OFF_MS as u32, ..Head::with_flow(flow) };
    let zone = Zone::parse("CET-1CEST,M3.5.0,M10.5.0/3").expect("a zone");
    let first = Local::new(Date::from_ymd(2026, 3, 2).expect("a date"), Duration::from_h(18));
    let set_up = [
        Event::Wake,
        Event::SetZone(&zone),
        Event::SetClock(first),
        Event::SetHead(&head),
        Event::Timetable(timetable),
    ];
    for event in set_up {
        device.handle(Instant::ZERO, event, &mut Nobody);
    }
    while let Some((at, _)) = device.next_wake().filter(|(at, _)| at.as_ms() < until) {
        device.handle(at, Event::Wake, &mut Nobody);
    }
    // an act of no consequence, to fill the sector as far as wanted
    while device.ledger().counters().rolls < 3 || device.ledger().free() != FREE_AT_START {
        device.handle(Instant::from_ms(until - 5 * SECOND), Event::Acknowledge, &mut Nobody);
    }
    assert!(device.ledger().counters().rolls >= 3, "both sectors were written before");
    memory.take_done(&mut Vec::new());
    *device.controller().book()
}
