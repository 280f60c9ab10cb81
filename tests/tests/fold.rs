//! What a restart finds is what the device had: at every moment, the fold of the
//! ledger is the live state, and the logic never asks to be called at once again.

use dosewright_core::book::Book;
use dosewright_core::calibration::{Amount, Measured, Vessel};
use dosewright_core::civil::{Date, Days, Local};
use dosewright_core::config::{Container, Head};
use dosewright_core::device::{Device, Outputs};
use dosewright_core::entry::{Entry, EntryId, GapRule, Recurrence};
use dosewright_core::event::Event;
use dosewright_core::ledger::{Base, Class, Geometry, Ledger, SLOT};
use dosewright_core::power::{Pack, READINGS};
use dosewright_core::record::{Alarm, Pulse, Record, Reset};
use dosewright_core::recovery;
use dosewright_core::starts::Starts;
use dosewright_core::time::{Duration, Instant};
use dosewright_core::timetable::{Refusal, Timetable};
use dosewright_core::units::{Flow, Volume};
use dosewright_core::zone::Zone;
use dosewright_sim::world::flash::NorMock;
use dosewright_tests::slots;
use proptest::prelude::*;

const N: usize = 4;
const H: usize = 8;
type Flash = NorMock<4, 1024>;
type Pump = Device<Flash, N, H>;

const GEOMETRY: Geometry = Geometry { start: 0, sector_bytes: 3072, sectors: 2 };

/// Counts what happens at the pump.
#[derive(Default)]
struct Pin {
    off_at: Option<Instant>,
    starts: u32,
    now: Instant,
    refused: u32,
}

impl Outputs for Pin {
    fn pump_on(&mut self, length: Duration) {
        assert!(self.off_at.is_none_or(|at| at <= self.now), "the pump starts while it runs");
        self.off_at = Some(self.now.plus(length));
        self.starts += 1;
    }
    fn pump_off(&mut self) {
        self.off_at = None;
    }
    fn refused(&mut self, _: &Refusal) {
        self.refused += 1;
    }
    fn alarm(&mut self, _: Alarm, _: bool) {}
}

#[derive(Debug, Clone)]
enum Op {
    Wake,
    Sleep(u32),
    SetClock(i64),
    SetZone(bool),
    Table(u8, u16, u16),
    RemoteStop(bool),
    Leak(bool),
    Cut(u32, bool),
    Watchdog,
    RunAgain(u8),
    StopDose(u8),
    Prime(u16),
    Calibrate(u16),
    Into(u16),
    Reading(u16, bool),
    Tube,
    Pin(u8),
    Unlock(u8),
    Lock,
    Release,
    Fault,
    Acknowledge,
    Flow(u8),
    Container(u16, u16),
    Refill(u16),
    Level(bool),
    Pack(u16, u8),
    PackChanged,
    PackRead(u16, bool),
    PackTest(u16),
    Key(bool),
}

fn op() -> impl Strategy<Value = Op> {
    prop_oneof![
        30 => Just(Op::Wake),
        5 => (1..7_200_000_u32).prop_map(Op::Sleep),
        2 => (-200_000_000..200_000_000_i64).prop_map(Op::SetClock),
        1 => any::<bool>().prop_map(Op::SetZone),
        3 => (any::<u8>(), 0..1440_u16, 10..300_u16).prop_map(|(a, b, c)| Op::Table(a, b, c)),
        2 => any::<bool>().prop_map(Op::RemoteStop),
        1 => any::<bool>().prop_map(Op::Leak),
        2 => (0..20_000_000_u32, any::<bool>()).prop_map(|(a, b)| Op::Cut(a, b)),
        1 => Just(Op::Watchdog),
        1 => any::<u8>().prop_map(Op::RunAgain),
        1 => any::<u8>().prop_map(Op::StopDose),
        1 => (1..400_u16).prop_map(Op::Prime),
        1 => (1..400_u16).prop_map(Op::Calibrate),
        1 => (1..300_u16).prop_map(Op::Into),
        2 => (0..300_u16, any::<bool>()).prop_map(|(a, b)| Op::Reading(a, b)),
        1 => Just(Op::Tube),
        1 => (0..6_u8).prop_map(Op::Pin),
        4 => (0..3_u8).prop_map(Op::Unlock),
        1 => Just(Op::Lock),
        1 => Just(Op::Release),
        1 => Just(Op::Fault),
        1 => Just(Op::Acknowledge),
        1 => any::<u8>().prop_map(Op::Flow),
        1 => (0..1000_u16, 0..2000_u16).prop_map(|(a, b)| Op::Container(a, b)),
        1 => (0..2000_u16).prop_map(Op::Refill),
        2 => any::<bool>().prop_map(Op::Level),
        2 => (0..4_u16, any::<u8>()).prop_map(|(a, b)| Op::Pack(a, b)),
        1 => Just(Op::PackChanged),
        2 => (5_000..9_000_u16, any::<bool>()).prop_map(|(a, b)| Op::PackRead(a, b)),
        3 => (5_000..9_000_u16).prop_map(Op::PackTest),
        2 => any::<bool>().prop_map(Op::Key),
    ]
}

/// One of three PINs, or none.
fn digits(n: u8) -> Option<dosewright_core::lock::Pin> {
    dosewright_core::lock::Pin::from_digits(&[b'0', b'4', b'1', b'0' + n]).filter(|_| n < 3)
}

fn entry(id: u16, at_min: u16, ml: u16) -> Entry {
    let recurrence = if id.is_multiple_of(3) {
        let from = Instant::from_ms(i64::from(at_min) * 60_000);
        Recurrence::Interval { every_ms: 3 * 3_600_000, from }
    } else {
        Recurrence::Weekly { days: Days::ALL, at_min, by_night: id.is_multiple_of(2) }
    };
    Entry {
        id: EntryId(id),
        enabled: !ml.is_multiple_of(7),
        recurrence,
        volume: Volume::from_ml(u64::from(ml)),
        window_ms: 1_800_000,
        grace_ms: if ml.is_multiple_of(2) { 600_000 } else { 0 },
        first: None,
        last: None,
        observes_closed: true,
        gap_rule: GapRule::Shift,
        pulses: None,
    }
}

fn head(flow_ml: u32) -> Head {
    Head::with_flow(Flow::from_nl_per_min(flow_ml * 1_000_000).unwrap())
}

/// A pack of so many ampere-hours, full as it is put in; mains for none.
fn pack(ah: u16, of: u8) -> Pack {
    Pack {
        capacity_mah: ah * 1000,
        motor_ma: 350,
        start_ma: 1200,
        start_ms: 30,
        sleep_ua: u16::from(of) * 10,
        display_ua: u16::from(of) * 100,
        low_mv: 7000,
        exhausted_mv: 6300,
        hysteresis_mv: 200,
        jump_mv: u16::from(of) * 4,
        warn_days: of % 120,
    }
}

/// A book without what a snapshot may leave out: starts over an hour old.
fn lasting(book: &Book<N, H>) -> (Book<N, H>, Vec<Instant>) {
    let hour_ago = book.at.minus(Duration::from_h(1));
    let starts = book.starts.iter().filter(|&at| at > hour_ago).collect();
    let mut book = *book;
    book.starts = Starts::NONE;
    (book, starts)
}

fn check(device: &Pump) -> Result<(), TestCaseError> {
    let mut ledger = opened(device.ledger().flash().clone())?;
    let found = recovery::recover::<_, N, H>(&mut ledger);
    prop_assert_eq!(found.unreadable, 0);
    same(device.controller().book(), &found.book)
}

fn opened(flash: Flash) -> Result<Ledger<Flash>, TestCaseError> {
    Ledger::open(flash, GEOMETRY).map_err(|(_, e)| TestCaseError::fail(format!("{e:?}")))
}

fn same(live: &Book<N, H>, found: &Book<N, H>) -> Result<(), TestCaseError> {
    let (live, found) = (lasting(live), lasting(found));
    // the parts first: they are easier to read than the whole
    for line in 0..N {
        prop_assert_eq!(live.0.state(line), found.0.state(line));
    }
    prop_assert_eq!(live.0.open, found.0.open);
    prop_assert_eq!(live.0.history, found.0.history);
    prop_assert_eq!(live.0.alarms, found.0.alarms);
    prop_assert_eq!(live.0.rest_until, found.0.rest_until);
    prop_assert_eq!(live.0.timetable, found.0.timetable);
    prop_assert_eq!(live, found);
    Ok(())
}

/// A setting, or the first intent of a dose.
fn nothing_shows_the_loss_of(record: &Record) -> bool {
    matches!(
        record,
        Record::Clock { .. }
            | Record::Head { .. }
            | Record::Adopted(_)
            | Record::Container { .. }
            | Record::Calibration { .. }
            | Record::Pin { .. }
            | Record::Pack { .. }
            | Record::Pulse(Pulse { first: true, .. })
    )
}

/// One slot that holds what `pick` picks cannot be read: that is seen, and nothing is lost.
/// Whether there was such a slot.
fn check_without(
    device: &Pump,
    nth: usize,
    pick: impl Fn(Class, &Record) -> bool,
) -> Result<bool, TestCaseError> {
    let memory = device.ledger().flash().bytes();
    let slots: Vec<usize> = slots::whole(memory)
        .filter(|slot| pick(slot.class, &slot.record))
        .map(|slot| slot.index)
        .collect();
    let Some(&index) = slots.get(nth % slots.len().max(1)) else { return Ok(false) };
    let mut flash = device.ledger().flash().clone();
    flash.flip_bit((index * SLOT + 20) as u32, 3);
    let mut ledger = opened(flash)?;
    let (base, found) = (ledger.base(), recovery::recover::<_, N, H>(&mut ledger));
    // one of a sector that is in force no more, or one that no sector stands in for
    if found.unreadable == 0 || base == Base::Broken {
        return Ok(false);
    }
    prop_assert_eq!(found.unreadable, 1, "slot {}", index);
    let (live, mut found) = (device.controller().book(), found.book);
    // a record that cannot be read may have been one pulse more, which says nothing of whether
    // the one before it ran through (D4)
    let [least, most] = [live, &found].map(|book| book.open.map_or(0, |open| open.pulse.most_ms));
    let may_lack = live.open.map_or(0, |open| open.pulse.on_ms);
    prop_assert!((least..=least + may_lack).contains(&most), "slot {}", index);
    prop_assert!(found.motor.faults >= live.motor.faults, "slot {}", index);
    found.motor = live.motor;
    if let Some(open) = &mut found.open {
        open.pulse.most_ms = least;
    }
    same(live, &found)?;
    Ok(true)
}

fn boot(flash: Flash, now: Instant, feed: bool, reset: Reset, pin: &mut Pin) -> Pump {
    let device = Device::start(flash, GEOMETRY, feed.then_some(now), reset);
    let mut device = device.unwrap_or_else(|(_, e)| panic!("{e:?}"));
    pin.off_at = None;
    pin.now = device.now();
    let now = device.now();
    device.handle(now, Event::Wake, pin);
    device
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 300, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn m1_the_fold_of_the_ledger_is_the_live_state(ops in proptest::collection::vec(op(), 1..120)) {
        let mut pin = Pin::default();
        let mut device = boot(Flash::new(6), Instant::ZERO, true, Reset::PowerOn, &mut pin);
        let mut now = Instant::ZERO;
        let mut table = Timetable::<N>::EMPTY;
        let mut next_id = 1;
        device.handle(now, Event::SetHead(&head(30)), &mut pin);
        let start = Local::new(Date::from_ymd(2026, 10, 24).unwrap(), Duration::from_h(20));
        device.handle(now, Event::SetClock(start), &mut pin);
        for op in ops {
            pin.now = now;
            match op {
                Op::Wake => {
                    if let Some((at, _)) = device.next_wake() {
                        now = now.max(at);
                        pin.now = now;
                        device.handle(now, Event::Wake, &mut pin);
                    }
                }
                Op::Sleep(ms) => {
                    now = now.plus(Duration::from_ms(u64::from(ms)));
                    pin.now = now;
                    device.handle(now, Event::Wake, &mut pin);
                }
                Op::SetClock(by) => {
                    let shown = device.controller().book().clock.map_or(start, |c| c.local(now));
                    let local = Local::from_ms(shown.as_ms() + by);
                    device.handle(now, Event::SetClock(local), &mut pin);
                }
                Op::SetZone(summer) => {
                    let text = if summer { "CET-1CEST,M3.5.0,M10.5.0/3" } else { "EST5" };
                    device.handle(now, Event::SetZone(&Zone::parse(text).unwrap()), &mut pin);
                }
                Op::Table(which, at_min, ml) => {
                    let mut wanted = table;
                    let known: Vec<_> = table.entries().map(|e| e.id).collect();
                    match (which % 3, known.get(usize::from(which / 3) % known.len().max(1))) {
                        (0, Some(id)) => { wanted.remove(*id); }
                        (1, Some(id)) => { let _ = wanted.put(entry(id.0, at_min, ml)); }
                        _ => { let _ = wanted.put(entry(next_id, at_min, ml)); }
                    }
                    let refused = pin.refused;
                    device.handle(now, Event::Timetable(&wanted), &mut pin);
                    if pin.refused == refused {
                        table = wanted;
                        next_id = next_id.max(device.controller().book().next_id);
                    }
                    prop_assert_eq!(
                        device.controller().book().timetable.entries().count(),
                        table.entries().count()
                    );
                }
                Op::RemoteStop(on) => device.handle(now, Event::RemoteStop(on), &mut pin),
                Op::Leak(on) => device.handle(now, Event::Leak(on), &mut pin),
                Op::Cut(ms, lost) => {
                    check(&device)?;
                    let flash = device.into_flash();
                    now = now.plus(Duration::from_ms(u64::from(ms)));
                    device = boot(flash, now, !lost, Reset::PowerOn, &mut pin);
                    now = device.now();
                }
                Op::Watchdog => {
                    let flash = device.into_flash();
                    device = boot(flash, now, true, Reset::Watchdog, &mut pin);
                }
                Op::RunAgain(id) => {
                    device.handle(now, Event::RunAgain(EntryId(u16::from(id % 4))), &mut pin);
                }
                Op::StopDose(id) => {
                    device.handle(now, Event::StopDose(EntryId(u16::from(id % 4))), &mut pin);
                }
                Op::Prime(ml) => device.handle(now, Event::Prime(Volume::from_ml(u64::from(ml))), &mut pin),
                Op::Calibrate(s) => {
                    device.handle(now, Event::Calibrate { run_ms: u32::from(s) * 1000 }, &mut pin);
                }
                Op::Into(ml) => {
                    let capacity = Volume::from_ml(u64::from(ml));
                    let vessel = Vessel { capacity, reading_error: Volume::from_ul(100) };
                    device.handle(now, Event::CalibrateInto(&vessel), &mut pin);
                }
                Op::Reading(ml, as_found) => {
                    let amount = Amount::Volume(Volume::from_ml(u64::from(ml)));
                    let reading_error = Volume::from_ul(100);
                    let measured = Measured { amount, reading_error, as_found };
                    device.handle(now, Event::Measured(&measured), &mut pin);
                }
                Op::Tube => device.handle(now, Event::TubeChanged, &mut pin),
                Op::Pin(n) => device.handle(now, Event::SetPin(digits(n)), &mut pin),
                Op::Unlock(n) => {
                    let entered = digits(n).unwrap();
                    device.handle(now, Event::Unlock(entered), &mut pin);
                }
                Op::Lock => device.handle(now, Event::Lock, &mut pin),
                Op::Release => device.handle(now, Event::Release, &mut pin),
                Op::Fault => device.handle(now, Event::MotorFault, &mut pin),
                Op::Acknowledge => device.handle(now, Event::Acknowledge, &mut pin),
                Op::Container(low, level) => {
                    let ml = |ml: u16| Volume::from_ml(u64::from(ml));
                    let container = Container {
                        capacity: ml(1800),
                        low: ml(low),
                        heel: ml(50),
                        debounce_ms: u32::from(low) * 3,
                    };
                    device.handle(now, Event::Container(&container, ml(level)), &mut pin);
                }
                Op::Refill(ml) => {
                    let level = Volume::from_ml(u64::from(ml));
                    device.handle(now, Event::Refill(level), &mut pin);
                }
                Op::Pack(ah, of) => device.handle(now, Event::SetPack(&pack(ah, of)), &mut pin),
                Op::PackChanged => device.handle(now, Event::PackChanged, &mut pin),
                Op::PackRead(mv, loaded) => {
                    device.handle(now, Event::PackRead { mv, loaded }, &mut pin);
                }
                Op::PackTest(mv) => {
                    for (mv, loaded) in [(mv, false), (mv - mv / 10, true)] {
                        for _ in 0..READINGS {
                            device.handle(now, Event::PackRead { mv, loaded }, &mut pin);
                        }
                    }
                }
                Op::Key(held) => device.handle(now, Event::Key { held }, &mut pin),
                Op::Level(low) => device.handle(now, Event::LevelLow(low), &mut pin),
                Op::Flow(ml) => {
                    let flow = Flow::from_nl_per_min((u32::from(ml) + 1) * 500_000).unwrap();
                    device.handle(now, Event::SetFlow(flow), &mut pin);
                }
            }
            // P1: nothing is left undone, so the next call is later than now
            let (at, why) = device.next_wake().expect("a stamp is always to come");
            prop_assert!(at > now, "{:?} asks to be called at once again", why);
            check(&device)?;
            let nth = now.as_ms().unsigned_abs() as usize;
            check_without(&device, nth, |class, _| class == Class::Snapshot)?;
            check_without(&device, nth, |class, record| {
                class == Class::Record && nothing_shows_the_loss_of(record)
            })?;
        }
    }
}
