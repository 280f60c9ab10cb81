//! M1, D5, O1: a memory that takes nothing for a while, and what a display asks the
//! device: the dose that waits, and until when the container lasts.

use dosewright_core::book::Book;
use dosewright_core::cause::Cause;
use dosewright_core::civil::Days;
use dosewright_core::config::{Container, Head};
use dosewright_core::controller::{Controller, Start};
use dosewright_core::effect::Effect;
use dosewright_core::entry::{Entry, Recurrence};
use dosewright_core::event::Event;
use dosewright_core::ledger::{Geometry, SLOT};
use dosewright_core::record::{Alarm, Outcome, OutcomeKind, Record, Reset};
use dosewright_core::time::{Duration, Instant};
use dosewright_core::timetable::{Refusal, Timetable};
use dosewright_core::units::{Flow, Volume};
use dosewright_sim::world::flash::{NorMock, Wear};
use dosewright_tests::entries::daily;
use dosewright_tests::pump::{self, Pump};
use dosewright_tests::slots::{damage, outcomes, records, whole};
use dosewright_tests::wires::Wires;

type Flash = NorMock<4, 1024>;
const GEOMETRY: Geometry = Geometry { start: 0, sector_bytes: 3072, sectors: 2 };
const HOUR_MS: i64 = 3_600_000;
/// 02:00 of the first day.
const DUE: Instant = Instant::from_ms(2 * HOUR_MS);

/// A dose at [`DUE`].
const fn at_due(volume: Volume) -> Entry {
    daily(1, 120, volume)
}

struct Rig {
    device: Pump,
    wires: Wires,
}

impl Rig {
    fn new(entry: &Entry) -> Self {
        let mut wires = Wires::default();
        let mut device = pump::start(Flash::new(6), GEOMETRY, Instant::ZERO);
        pump::set_up(&mut device, &mut wires);
        let mut rig = Self { device, wires };
        let timetable = pump::timetable(&[*entry]);
        rig.act(Instant::ZERO, Event::Timetable(&timetable)).unwrap();
        rig
    }

    fn act(&mut self, at: Instant, event: Event<'_, 4>) -> Result<(), Refusal> {
        pump::tell(&mut self.device, at, event, &mut self.wires)
    }

    fn until(&mut self, end: Instant) {
        pump::wake_until(&mut self.device, end, &mut self.wires);
    }

    fn memory(&mut self, takes: bool) {
        let flash = self.device.ledger_mut().flash_mut();
        if takes { flash.power_on() } else { flash.power_off() }
    }

    fn outcome_records(&self) -> Vec<Outcome> {
        outcomes(self.device.ledger().flash().bytes()).collect()
    }

    fn outcomes(&self) -> Vec<OutcomeKind> {
        self.outcome_records().iter().map(|outcome| outcome.kind).collect()
    }

    /// Starts the device again, with a bit of each record flipped that is picked.
    fn restart_without(self, at: Instant, pick: impl Fn(&Record) -> bool) -> Self {
        let mut flash = self.device.into_flash();
        let hit = damage(&mut flash, |_, record| pick(record));
        assert!(hit > 0, "nothing was damaged");
        let device = pump::start(flash, GEOMETRY, at);
        let mut rig = Self { device, wires: Wires::default() };
        rig.device.handle(at, Event::Wake, &mut rig.wires);
        rig
    }
}

#[test]
fn d5_a_dose_that_the_memory_kept_from_beginning_says_so() {
    let mut rig = Rig::new(&at_due(Volume::from_ml(40)));
    rig.until(DUE.minus(Duration::from_min(1)));
    rig.memory(false);
    rig.until(DUE.plus(Duration::from_min(40)));
    assert!(!rig.wires.on, "D4: a pulse without its intent");
    rig.memory(true);
    rig.until(DUE.plus(Duration::from_min(50)));
    assert_eq!(rig.outcomes(), [OutcomeKind::Skipped(Cause::Ledger)]);
    // and one whose window has room left is dosed, as far as there is time
    let mut rig = Rig::new(&at_due(Volume::from_ml(40)));
    rig.until(DUE.minus(Duration::from_min(1)));
    rig.memory(false);
    rig.until(DUE.plus(Duration::from_min(10)));
    rig.memory(true);
    rig.until(DUE.plus(Duration::from_min(50)));
    assert_eq!(rig.outcomes(), [OutcomeKind::Dosed]);
}

#[test]
fn d5_a_dose_that_the_memory_kept_from_going_on_says_so() {
    // four of ten pulses, three minutes apart; the memory takes no more of them
    let mut rig = Rig::new(&at_due(Volume::from_ml(40)));
    rig.until(DUE.plus(Duration::from_min(10)));
    rig.memory(false);
    rig.until(DUE.plus(Duration::from_min(40)));
    rig.memory(true);
    rig.until(DUE.plus(Duration::from_min(50)));
    assert_eq!(rig.outcomes(), [OutcomeKind::Part(Cause::Ledger)]);
}

#[test]
fn m1_an_operator_is_told_that_the_memory_took_nothing_and_may_try_at_once() {
    let mut rig = Rig::new(&at_due(Volume::from_ml(40)));
    let at = Instant::from_ms(HOUR_MS);
    let flow = |ml_per_min: u32| Flow::from_nl_per_min(ml_per_min * 1_000_000).unwrap();
    rig.until(at);
    rig.memory(false);
    assert_eq!(rig.act(at, Event::SetFlow(flow(31))), Err(Refusal::Ledger));
    assert_eq!(rig.device.controller().book().head.unwrap().flow, flow(30));
    // long before the device would try by itself
    rig.memory(true);
    let soon = at.plus(Duration::from_s(5));
    assert_eq!(rig.act(soon, Event::SetFlow(flow(32))), Ok(()));
    assert_eq!(rig.device.controller().book().head.unwrap().flow, flow(32));
    // a call that nobody asked for says nothing
    rig.memory(false);
    assert_eq!(rig.act(at.plus(Duration::from_h(2)), Event::Wake), Ok(()));
}

#[test]
fn m1_the_alarm_of_the_memory_comes_once_and_goes_once() {
    let mut rig = Rig::new(&at_due(Volume::from_ml(40)));
    rig.until(DUE.minus(Duration::from_min(1)));
    rig.wires.alarms.clear();
    rig.memory(false);
    rig.until(DUE.plus(Duration::from_min(20)));
    // it tries again and again, and says so once
    assert_eq!(rig.wires.alarms, [(Alarm::LedgerFault, true)]);
    rig.memory(true);
    rig.until(DUE.plus(Duration::from_min(50)));
    assert_eq!(rig.wires.alarms, [(Alarm::LedgerFault, true), (Alarm::LedgerFault, false)]);
}

#[test]
fn m1_the_alarm_of_the_memory_is_on_until_a_record_is_in_it() {
    // nothing is due, and nothing to be written, when what somebody asks for is not taken
    let mut rig = Rig::new(&at_due(Volume::from_ml(40)));
    let at = Instant::from_ms(HOUR_MS / 2);
    rig.until(at);
    rig.memory(false);
    assert_eq!(rig.act(at, Event::SetClock(pump::midnight())), Err(Refusal::Ledger));
    let alarms = |rig: &Rig| {
        let of_memory = rig.wires.alarms.iter().filter(|(alarm, _)| *alarm == Alarm::LedgerFault);
        of_memory.map(|(_, on)| *on).collect::<Vec<_>>()
    };
    rig.until(at.plus(Duration::from_min(20)));
    assert_eq!(alarms(&rig), [true]);
    // it is tried by a stamp
    rig.memory(true);
    rig.until(at.plus(Duration::from_min(22)));
    assert_eq!(alarms(&rig), [true, false]);
    let since = at.plus(Duration::from_min(20));
    let stamped = records(rig.device.ledger().flash().bytes())
        .any(|(_, record)| matches!(record, Record::Stamp { at } if at > since));
    assert!(stamped);
}

#[test]
fn m1_a_record_that_no_slot_takes_is_in_the_next_sector() {
    let mut rig = Rig::new(&at_due(Volume::from_ml(40)));
    let at = Instant::from_ms(HOUR_MS);
    rig.until(at);
    let slots = (GEOMETRY.sector_bytes as usize) / SLOT;
    let in_second = |flash: &Flash| records(flash.bytes()).any(|(index, _)| index >= slots);
    assert!(!in_second(rig.device.ledger().flash()));
    // the first sector keeps what it has, and takes nothing any more
    for page in 0..3 {
        rig.device.ledger_mut().flash_mut().wear_out(page, Wear::Dead);
    }
    let flow = Flow::from_nl_per_min(31_000_000).unwrap();
    assert_eq!(rig.act(at, Event::SetFlow(flow)), Ok(()));
    assert!(in_second(rig.device.ledger().flash()));
    let again = pump::start(rig.device.into_flash(), GEOMETRY, at);
    assert_eq!(again.controller().book().head.unwrap().flow, flow);
}

#[test]
fn d4_a_dose_whose_only_intent_was_lost_may_have_been_delivered() {
    // 5 ml are one pulse of 10 s
    let entry = Entry { pulses: Some(1), ..at_due(Volume::from_ml(5)) };
    let mut rig = Rig::new(&entry);
    rig.until(DUE);
    assert!(rig.wires.on);
    let cut = DUE.plus(Duration::from_s(2));
    let mut rig = rig.restart_without(cut, |record| matches!(record, Record::Pulse(_)));
    rig.until(DUE.plus(Duration::from_h(1)));
    let told = rig.outcome_records();
    let [outcome] = told[..] else { panic!("{told:?}") };
    assert_eq!(outcome.kind, OutcomeKind::Dosed);
    assert_eq!((outcome.least, outcome.most), (Volume::ZERO, Volume::from_ml(5)));
    // after what may have been a pulse until the restart the pump rests
    assert_eq!((outcome.begun_after_ms, outcome.restarts), (2_600, 1));
    // of three pulses one may have been, in its two slots; when the pump has rested after it
    // there is no time for more
    let entry = Entry { pulses: Some(3), ..at_due(Volume::from_ml(15)) };
    let mut rig = Rig::new(&entry);
    rig.until(DUE);
    let back = DUE.plus(Duration::from_ms(1_800_000 - 700));
    let mut rig = rig.restart_without(back, |record| matches!(record, Record::Pulse(_)));
    rig.until(DUE.plus(Duration::from_h(1)));
    let told = rig.outcome_records();
    let [outcome] = told[..] else { panic!("{told:?}") };
    assert_eq!(outcome.kind, OutcomeKind::Part(Cause::PumpLimits));
    assert_eq!((outcome.least, outcome.most), (Volume::ZERO, Volume::from_ml(5)));
    assert_eq!((outcome.begun_after_ms, outcome.restarts), (1_799_900, 1));
}

#[test]
fn m1_nothing_is_asked_for_while_an_answer_is_due() {
    let start = Start {
        now: Instant::ZERO,
        feed_kept: true,
        reset: Reset::PowerOn,
        unreadable_tail: 0,
        run_lost: false,
        unreadable: 0,
    };
    let mut controller = Controller::<4, 8>::start(Book::empty(), start);
    let head = Head::with_flow(Flow::from_nl_per_min(30_000_000).unwrap());
    let mut told = |event: Event<'_, 4>| -> Vec<Effect> {
        controller.step(Instant::ZERO, event).iter().collect()
    };
    // what it begins with is its start, and a boot that is not written takes nothing
    assert_eq!(told(Event::SetHead(&head)), [Effect::Refused(Refusal::Busy), Effect::Append]);
    let mut effects = told(Event::Appended);
    while effects.contains(&Effect::Append) {
        assert_eq!(told(Event::SetHead(&head)), [Effect::Refused(Refusal::Busy)]);
        effects = told(Event::Appended);
    }
    // nor does a setting that is not written yet
    assert_eq!(told(Event::SetHead(&head)), [Effect::Append]);
    assert_eq!(told(Event::SetHead(&head)), [Effect::Refused(Refusal::Busy)]);
    told(Event::Appended);
    assert_eq!(controller.book().head, Some(head));
}

#[test]
fn d4_a_start_as_a_dose_comes_due_leaves_out_what_lost_slots_may_have_been() {
    let told_after = |lost: fn(&Record) -> bool| {
        let mut rig = Rig::new(&at_due(Volume::from_ml(40)));
        rig.until(DUE.minus(Duration::from_min(1)));
        rig.act(DUE.minus(Duration::from_s(30)), Event::Acknowledge).unwrap();
        let mut rig = rig.restart_without(DUE, lost);
        rig.until(DUE.plus(Duration::from_h(1)));
        let told = rig.outcome_records();
        let [outcome] = told[..] else { panic!("{told:?}") };
        assert_eq!(outcome.kind, OutcomeKind::Dosed);
        let last = records(rig.device.ledger().flash().bytes())
            .filter_map(|(_, record)| match record {
                Record::Pulse(pulse) => Some(pulse.at),
                _ => None,
            })
            .max();
        (outcome.least, outcome.most, last)
    };
    // the last two slots were a stamp and an act, and nobody can tell: they may have been the
    // two of an intent
    let ml = Volume::from_ml;
    let lost = |record: &Record| matches!(record, Record::Stamp { .. } | Record::Act { .. });
    let (least, most, last) = told_after(lost);
    assert_eq!((least, most), (ml(36), ml(40)));
    // the nine pulses that are sure are spread over all of the window, 200 s apart
    assert!(last > Some(DUE.plus(Duration::from_min(26))), "{last:?}");
    // one slot was no pulse: an intent has two, and the pump starts after both
    let (least, most, _) = told_after(|record| matches!(record, Record::Act { .. }));
    assert_eq!((least, most), (ml(40), ml(40)));
}

#[test]
fn d4_lost_slots_are_the_pulses_of_one_dose() {
    let ml = Volume::from_ml;
    let entry = |id, at_min| Entry {
        pulses: Some(1),
        grace_ms: 3_600_000,
        ..daily(id, at_min, Volume::from_ml(5))
    };
    // two doses of one pulse wait for the supply; the last two slots cannot be read
    let both = [entry(1, 120), entry(2, 160)];
    let doses = [(1, ml(0), ml(5)), (2, ml(5), ml(5))];
    // and they may be a pulse of the first all the same where one before it is over by then
    let over = Entry { window_ms: 60_000, grace_ms: 0, ..entry(3, 118) };
    let skipped = (3, ml(0), ml(0));
    for (entries, wanted) in
        [(&both[..], &doses[..]), (&[over, both[0], both[1]], &[skipped, doses[0], doses[1]])]
    {
        let mut rig = Rig::new(&at_due(Volume::from_ml(5)));
        rig.act(Instant::ZERO, Event::Timetable(&pump::timetable(entries))).unwrap();
        rig.until(DUE.minus(Duration::from_min(4)));
        rig.act(DUE.minus(Duration::from_min(3)), Event::Acknowledge).unwrap();
        let back = DUE.plus(Duration::from_min(45));
        let lost = |record: &Record| matches!(record, Record::Stamp { .. } | Record::Act { .. });
        let mut rig = rig.restart_without(back, lost);
        rig.until(DUE.plus(Duration::from_h(2)));
        let told = rig.outcome_records();
        let volumes: Vec<_> =
            told.iter().map(|told| (told.due.id.0, told.least, told.most)).collect();
        assert_eq!(volumes, wanted, "{told:?}");
    }
}

#[test]
fn d4_a_lost_intent_before_the_last_one_changes_nothing() {
    // ten pulses of 8 s, three minutes apart
    let mut rig = Rig::new(&at_due(Volume::from_ml(40)));
    let third = DUE.plus(Duration::from_min(6));
    rig.until(third);
    let second = DUE.plus(Duration::from_min(3));
    let rig = rig.restart_without(
        third.plus(Duration::from_s(2)),
        |record| matches!(record, Record::Pulse(pulse) if pulse.at == second),
    );
    // the last one says what was pumped before it
    let open = rig.device.controller().book().open.unwrap();
    assert_eq!((open.pulse.at, open.pulse.least_ms, open.most_ms()), (third, 16_000, 24_000));
}

#[test]
fn m2_a_dose_that_waits_on_a_damaged_line_is_told_of() {
    let mut rig = Rig::new(&at_due(Volume::from_ml(40)));
    rig.until(DUE.minus(Duration::from_min(5)));
    rig.act(DUE.minus(Duration::from_min(5)), Event::RemoteStop(true)).unwrap();
    rig.until(DUE.plus(Duration::from_min(5)));
    // all that the memory has is two snapshots, and the entry is lost in both
    let book = *rig.device.controller().book();
    for _ in 0..2 {
        let snapshot: Vec<_> = book.snapshot().map(|record| record.encode()).collect();
        rig.device.ledger_mut().roll(snapshot.iter().copied()).unwrap();
    }
    let back = DUE.plus(Duration::from_min(6));
    let mut rig = rig.restart_without(back, |record| matches!(record, Record::SnapEntry(_)));
    rig.until(DUE.plus(Duration::from_h(1)));
    assert_eq!(rig.outcomes(), [OutcomeKind::Skipped(Cause::Damaged)]);
}

#[test]
fn d11_a_dose_that_waits_is_told_of_where_its_entry_is_taken_out() {
    let mut rig = Rig::new(&at_due(Volume::from_ml(40)));
    rig.until(DUE.minus(Duration::from_min(5)));
    rig.act(DUE.minus(Duration::from_min(5)), Event::RemoteStop(true)).unwrap();
    let taken_out = DUE.plus(Duration::from_min(5));
    rig.until(taken_out);
    rig.act(taken_out, Event::Timetable(&Timetable::EMPTY)).unwrap();
    rig.until(DUE.plus(Duration::from_h(1)));
    assert_eq!(rig.outcomes(), [OutcomeKind::Skipped(Cause::Removed)]);
}

#[test]
fn p4_no_run_is_longer_than_its_limit_or_of_no_length() {
    let mut rig = Rig::new(&at_due(Volume::from_ml(40)));
    let longest_ms = rig.device.controller().book().head.unwrap().longest_calibration_ms;
    let at = Instant::from_ms(HOUR_MS / 2);
    let calibrate = |run_ms| Event::Calibrate { run_ms };
    assert_eq!(rig.act(at, calibrate(longest_ms + 1)), Err(Refusal::OutOfRange));
    assert_eq!(rig.act(at, calibrate(0)), Err(Refusal::OutOfRange));
    assert_eq!(rig.act(at, Event::Prime(Volume::ZERO)), Err(Refusal::OutOfRange));
    assert!(!rig.wires.on);
    assert_eq!(rig.act(at, calibrate(longest_ms)), Ok(()));
    assert!(rig.wires.on);
}

#[test]
fn o5_the_dose_that_waits_is_shown_before_the_next_one() {
    let mut rig = Rig::new(&at_due(Volume::from_ml(40)));
    let next = rig.device.controller().next_dose().unwrap();
    assert_eq!((next.due_at, next.waits_for), (DUE, None));
    rig.until(DUE.minus(Duration::from_min(5)));
    rig.act(DUE.minus(Duration::from_min(5)), Event::RemoteStop(true)).unwrap();
    rig.until(DUE.plus(Duration::from_min(5)));
    let next = rig.device.controller().next_dose().unwrap();
    assert_eq!((next.due_at, next.waits_for), (DUE, Some(Cause::RemoteStop)));
    rig.until(DUE.plus(Duration::from_h(1)));
    // the stop that is still on will keep the next one
    let tomorrow = DUE.plus(Duration::from_h(24));
    let next = rig.device.controller().next_dose().unwrap();
    assert_eq!((next.due_at, next.waits_for), (tomorrow, Some(Cause::RemoteStop)));
    rig.act(DUE.plus(Duration::from_h(1)), Event::RemoteStop(false)).unwrap();
    let next = rig.device.controller().next_dose().unwrap();
    assert_eq!((next.due_at, next.waits_for), (tomorrow, None));
}

/// How long so many millilitres last, in ms.
fn lasts(entry: &Entry, ml: u64) -> Option<i64> {
    let mut rig = Rig::new(entry);
    let container = Container {
        capacity: Volume::from_ml(900_000),
        low: Volume::ZERO,
        heel: Volume::from_ml(1_000),
        debounce_ms: 2_000,
    };
    let told = Event::Container(&container, Volume::from_ml(ml));
    rig.act(Instant::from_ms(1_000), told).unwrap();
    Some(i64::from(rig.device.controller().product_lasts_s(Instant::ZERO)?) * 1000)
}

#[test]
fn o1_the_container_lasts_as_the_week_asks_less_the_heel() {
    const WEEK_MS: i64 = 7 * 24 * HOUR_MS;
    // 280 ml a week
    assert_eq!(lasts(&at_due(Volume::from_ml(40)), 1_560), Some(2 * WEEK_MS));
    // 100 ml every 12 h: 1.4 l a week
    let from = Instant::from_ms(HOUR_MS);
    let every_ms = 12 * HOUR_MS as u64;
    let entry = Entry {
        recurrence: Recurrence::Interval { every_ms, from },
        ..at_due(Volume::from_ml(100))
    };
    assert_eq!(lasts(&entry, 5_200), Some(3 * WEEK_MS));
    // 100 ml a week: 520 l are a hundred years of 52 weeks, and for ever
    let monday = Recurrence::Weekly { days: Days::from_bits(1), at_min: 120, by_night: false };
    let entry = Entry { recurrence: monday, ..at_due(Volume::from_ml(100)) };
    assert_eq!(lasts(&entry, 520_900), Some(5_199 * WEEK_MS));
    assert_eq!(lasts(&entry, 521_000), None);
    assert_eq!(lasts(&Entry { enabled: false, ..entry }, 5_000), None);
}

/// A controller whose memory has `lost` slots, after a day in which the append of each kind
/// of its alarm failed once; somebody acknowledges it at noon. What the ledger has of it: on
/// or off, and how many slots it says.
fn told_of_loss(lost: u32) -> Vec<(bool, u64)> {
    let reset = Reset::PowerOn;
    let start = Start {
        now: Instant::ZERO,
        feed_kept: true,
        reset,
        unreadable_tail: 0,
        run_lost: false,
        unreadable: lost,
    };
    let mut controller = Controller::<4, 8>::start(Book::empty(), start);
    let (mut told, mut failed, mut said) = (Vec::new(), Vec::new(), false);
    let (noon, end) = (Instant::from_ms(12 * HOUR_MS), Instant::from_ms(24 * HOUR_MS));
    while let Some((at, _)) = controller.next_wake().filter(|(at, _)| *at <= end) {
        let now_said = at >= noon && !said;
        let mut event = if now_said { Event::Acknowledge } else { Event::Wake };
        said |= now_said;
        while controller.step(at, event).iter().any(|effect| effect == Effect::Append) {
            event = Event::Appended;
            let record = Record::decode(controller.pending().unwrap());
            let Some(Record::Alarm { alarm: Alarm::MemoryDamaged, on, detail, .. }) = record else {
                continue;
            };
            if failed.contains(&on) {
                told.push((on, detail));
            } else {
                failed.push(on);
                event = Event::AppendFailed;
            }
        }
    }
    assert!(said);
    told
}

#[test]
fn m2_the_alarm_of_damage_and_its_end_are_told_after_an_append_that_fails() {
    assert_eq!(told_of_loss(3), [(true, 3), (false, 0)]);
    // what nothing was lost of is neither told nor ended
    assert_eq!(told_of_loss(0), []);
}

#[test]
fn d4_a_begin_that_one_slot_still_tells_of_is_known_whatever_came_after_it() {
    // 5 ml are one pulse of 10 s; a second into it somebody acknowledges, which is a record
    let entry = Entry { pulses: Some(1), ..at_due(Volume::from_ml(5)) };
    for lost in [0, 1] {
        let mut rig = Rig::new(&entry);
        rig.until(DUE);
        assert!(rig.wires.on);
        rig.act(DUE.plus(Duration::from_s(1)), Event::Acknowledge).unwrap();
        let mut flash = rig.device.into_flash();
        let begins: Vec<usize> = whole(flash.bytes())
            .filter(|slot| matches!(slot.record, Record::Pulse(_)))
            .map(|slot| slot.index)
            .collect();
        assert_eq!(begins.len(), 2);
        flash.flip_bit((begins[lost] * SLOT) as u32, 1);
        let again = DUE.plus(Duration::from_s(9));
        let device = pump::start(flash, GEOMETRY, again);
        let mut rig = Rig { device, wires: Wires::default() };
        rig.device.handle(again, Event::Wake, &mut rig.wires);
        assert!(!rig.wires.on, "slot {lost}: it begins once more");
        rig.until(DUE.plus(Duration::from_h(1)));
        let told = rig.outcome_records();
        let [outcome] = told[..] else { panic!("slot {lost}: {told:?}") };
        assert_eq!((outcome.kind, outcome.least), (OutcomeKind::Dosed, Volume::ZERO));
        assert_eq!((outcome.most, outcome.restarts), (Volume::from_ml(5), 1), "slot {lost}");
    }
}
