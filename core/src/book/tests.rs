//! What each record changes, and what it leaves as it is.

extern crate std;

mod supplies;

use std::vec::Vec;

use super::*;
use crate::cause::Cause;
use crate::config::Container;
use crate::entry::{Nominal, Recurrence, plain};
use crate::lock::PinWord;
use crate::power::Pack;
use crate::record::{Begin, Born, Delivery, DueKey, Outcome, OutcomeKind, Reset};
use crate::units::{Carry, Flow};

type Small = Book<4, 8>;

fn at(ms: i64) -> Instant {
    Instant::from_ms(ms)
}

fn ml(ml: u64) -> Volume {
    Volume::from_ml(ml)
}

/// 60 ml a minute: a millilitre a second.
fn flow() -> Flow {
    Flow::from_nl_per_min(60_000_000).unwrap()
}

/// Rests half as long as it runs, and 600 ms at least.
fn head() -> Head {
    Head { longest_run_ms: 100_000, least_rest_ms: 50_000, ..Head::with_flow(flow()) }
}

const HOURLY: Recurrence = Recurrence::Interval { every_ms: 3_600_000, from: Instant::ZERO };

fn staged(line: u8, id: u16) -> Staged {
    let entry = plain(id, HOURLY, Volume::from_ml(10));
    Staged { line, entry, revision: 3, mark: Some(Nominal(1)), edited: true }
}

/// A head, and entry 7 on line 2.
fn book() -> Small {
    let mut book = Small::empty();
    book.apply(&Record::Head { at: at(0), head: head() });
    book.adopt(&staged(2, 7));
    book
}

fn due(id: u16, nominal: u32) -> DueKey {
    DueKey { id: EntryId(id), revision: 3, epoch: 0, nominal: Nominal(nominal) }
}

/// The first pulse, of a second, of a dose of ten.
fn pulse() -> Pulse {
    Pulse {
        line: 2,
        due: due(7, 4),
        mark: Some(Nominal(5)),
        at: at(1_000),
        due_at: at(900),
        begun_after_ms: 100,
        on_ms: 1_000,
        least_ms: 0,
        most_ms: 0,
        dose_ms: 10_000,
        flow: flow(),
        first: true,
        asked: false,
        cut: None,
        restarts: 0,
    }
}

fn outcome() -> Outcome {
    Outcome {
        line: 2,
        due: due(7, 4),
        last: Nominal(4),
        count: 1,
        at: at(20_000),
        due_at: at(900),
        begun_after_ms: 100,
        least: ml(9),
        most: ml(10),
        kind: OutcomeKind::Dosed,
        asked: false,
        restarts: 0,
        mark: Some(Nominal(5)),
        carry: Carry(9),
    }
}

fn with(book: &Small, records: &[Record]) -> Small {
    let mut book = *book;
    for record in records {
        book.apply(record);
    }
    book
}

fn acted(act: Act, ms: u32) -> Record {
    Record::Act { at: at(1_000), act, ms }
}

#[test]
fn d7_what_runs_rests_for_its_share_and_a_train_between_its_pulses_too() {
    let rest = |records: &[Record]| with(&book(), records).rest_until.as_ms();
    let (begun, ended) = (acted(Act::PrimeBegun, 4_000), acted(Act::PrimeEnded, 3_000));
    assert_eq!(rest(&[begun]), 1_000 + 4_000 + 2_000);
    // no rest was taken as long as the run might have gone on
    assert_eq!(rest(&[begun, ended]), 7_000);
    let train = acted(Act::TrainBegun, 4_000);
    assert_eq!(rest(&[train]), 7_000 + 2_000 + 30 * 601);
    let ended = Record::Act { at: at(9_000), act: Act::TrainEnded, ms: 4_000 };
    assert_eq!(rest(&[train, ended]), 9_000 + 2_000);
    assert_eq!(rest(&[Record::Pulse(pulse())]), 1_000 + 1_000 + 600);
    // a dose that has ended has let the pump go
    assert_eq!(rest(&[Record::Pulse(pulse()), Record::Outcome(outcome())]), 2_600);
    let early = Outcome { at: at(1_200), ..outcome() };
    assert_eq!(rest(&[Record::Pulse(pulse()), Record::Outcome(early)]), 1_800);
}

#[test]
fn an_alarm_that_is_on_stays_on_however_often_it_is_said() {
    let alarm = |alarm, on| Record::Alarm { at: at(1), alarm, on, detail: 0 };
    let on = with(&book(), &[alarm(Alarm::Leak, true), alarm(Alarm::Leak, true)]);
    assert!(on.alarm_is_on(Alarm::Leak) && !on.alarm_is_on(Alarm::MotorFault));
    let off = with(&on, &[alarm(Alarm::Leak, false), alarm(Alarm::Leak, false)]);
    assert_eq!(off.alarms, 0);
    let latched = with(&book(), &[alarm(Alarm::MotorFault, true)]);
    assert!(latched.motor.is_latched());
    assert!(!with(&book(), &[alarm(Alarm::MotorFault, false)]).motor.is_latched());
    assert!(!with(&latched, &[acted(Act::Acknowledged, 0)]).motor.is_latched());
}

fn born(line: u8, id: u16) -> Born {
    let (mark, due_at, cause) = (Some(Nominal(6)), at(40), Cause::Service);
    Born { line, due: due(id, 5), mark, at: at(50), due_at, cause }
}

#[test]
fn d1_a_due_waits_on_the_line_of_its_entry_or_where_that_was_lost() {
    let waiting = |book: &Small, born: Born| with(book, &[Record::Born(born)]).state(2);
    let state = waiting(&book(), born(2, 7));
    assert_eq!(state.waiting.map(|w| (w.key(), w.due_at, w.cause)), {
        Some((due(7, 5), at(40), Cause::Service))
    });
    assert_eq!(state.mark, Some(Nominal(6)));
    // not on another's line
    assert_eq!(waiting(&book(), born(2, 8)), book().state(2));
    assert_eq!(with(&book(), &[Record::Born(born(1, 7))]).state(1), LineState::default());
    // but on an empty one where nobody has that number: what set it is lost
    let state = with(&book(), &[Record::Born(born(1, 9))]).state(1);
    assert_eq!(state.waiting.map(|w| w.key()), Some(due(9, 5)));
    assert_eq!(state.mark, None);
    // a line that lost its settings has only the due
    let mut lost = book();
    lost.damage(1 << 2, false);
    let state = waiting(&lost, born(2, 7));
    assert!(state.waiting.is_some() && state.mark.is_none());
    let mut other = book();
    other.damage(1 << 1, false);
    assert_eq!(waiting(&other, born(2, 8)), book().state(2));
}

#[test]
fn d4_a_pulse_says_where_the_mark_of_its_entry_is() {
    let state = |pulse| with(&book(), &[Record::Pulse(pulse)]).state(2);
    let first = state(pulse());
    assert_eq!(first.mark, Some(Nominal(5)));
    assert_eq!(first.last.map(|last| last.at), Some(at(1_000)));
    assert!(!first.edited);
    // where the first was lost, a later one says it as well
    let later = state(Pulse { first: false, ..pulse() });
    assert_eq!((later.mark, later.last), (Some(Nominal(5)), None));
    // one that an operator asked for, or of a revision that was, moves no mark
    let asked = state(Pulse { asked: true, ..pulse() });
    assert_eq!((asked.mark, asked.edited), (Some(Nominal(1)), true));
    let old = Pulse { due: DueKey { revision: 2, ..due(7, 4) }, ..pulse() };
    assert_eq!(state(old).mark, Some(Nominal(1)));
    // and another entry's line knows nothing of it
    let other = Pulse { due: due(8, 4), ..pulse() };
    assert_eq!(state(other), book().state(2));
    let counted = |asked| with(&book(), &[Record::Pulse(Pulse { asked, ..pulse() })]).asks;
    assert_eq!((counted(true), counted(false)), (5, 0));
}

#[test]
fn d2_a_delivery_began_when_the_line_says_by_the_clock_of_that_time() {
    let clock = |utc_ms| {
        let (utc, zone) = (Some(Utc::from_ms(utc_ms)), Zone::UTC);
        Record::Clock { at: at(0), epoch: 1, utc, zone }
    };
    let begin = |records: &[Record]| {
        let book = with(&book(), records);
        let delivery = book.history.iter().next().unwrap();
        assert_eq!(book.state(2).last, Some(delivery.begin));
        (delivery.begin.at, delivery.begin.utc.unwrap().as_ms(), delivery.volume)
    };
    let (pulse, end) = (Record::Pulse(pulse()), Record::Outcome(outcome()));
    // the clock was set in between
    assert_eq!(begin(&[clock(5_000), pulse, clock(90_000), end]), (at(1_000), 6_000, ml(10)));
    // no intent could be read: by the clock as it is
    assert_eq!(begin(&[clock(5_000), end]), (at(1_000), 6_000, ml(10)));
    let other = Record::Outcome(Outcome { begun_after_ms: 600, ..outcome() });
    assert_eq!(begin(&[clock(5_000), pulse, clock(90_000), other]), (at(1_500), 91_500, ml(10)));
}

#[test]
fn d7_a_dose_whose_outcome_is_lost_counts_as_the_most_that_its_intents_tell() {
    let container = Container { capacity: ml(1_000), ..Container::NONE };
    let told = Record::Container { at: at(0), container, level: ml(500), pumped_ms: None };
    let third = Pulse { first: false, at: at(5_000), least_ms: 2_000, most_ms: 2_000, ..pulse() };
    let next = Pulse { due: due(7, 5), due_at: at(90_000), at: at(90_100), ..pulse() };
    let asked = Pulse { asked: true, ..next };
    for after in [next, asked] {
        let records = [told, Record::Pulse(pulse()), Record::Pulse(third), Record::Pulse(after)];
        let book = with(&book(), &records);
        let counted: Vec<_> = book.history.iter().collect();
        let begin = Begin { at: at(1_000), utc: None, losses: 0 };
        let volume = flow().volume(Duration::from_ms(3_000));
        let begun_after_ms = 100;
        assert_eq!(counted, [Delivery { id: EntryId(7), begin, begun_after_ms, volume }]);
        assert_eq!(book.stock.level, ml(500).minus(volume));
        assert_eq!(book.open.map(|open| open.pulse), Some(after));
    }
}

#[test]
fn d1_an_outcome_ends_what_it_names() {
    let (first, end) = (Record::Pulse(pulse()), outcome());
    let open = |outcome| with(&book(), &[first, Record::Outcome(outcome)]).open.is_some();
    assert!(!open(end));
    assert!(open(Outcome { due: due(7, 3), ..end }) && open(Outcome { asked: true, ..end }));
    let state = with(&book(), &[first, Record::Outcome(end)]).state(2);
    assert_eq!((state.mark, state.carry), (Some(Nominal(5)), Carry(9)));
    // a due that waits ends by its own outcome
    let skipped = Outcome { most: ml(0), kind: OutcomeKind::Skipped(Cause::Closed), ..end };
    let waits = |line, outcome| {
        let book = with(&book(), &[Record::Born(born(2, 7)), Record::Outcome(outcome)]);
        book.waits(line)
    };
    assert!(waits(2, skipped) && !waits(2, Outcome { due: due(7, 5), ..skipped }));
    // an entry that has left its line takes no mark and no remainder along
    let left = |outcome| with(&book(), &[Record::Outcome(outcome)]).state(2);
    assert_eq!(left(Outcome { due: due(8, 5), ..skipped }), book().state(2));
    let old = DueKey { revision: 2, ..due(7, 4) };
    assert_eq!(left(Outcome { due: old, ..skipped }).mark, Some(Nominal(1)));
    assert_eq!(left(Outcome { asked: true, ..skipped }), book().state(2));
    // closed dues are a run that another outcome ends
    let run = left(skipped).closed_run.unwrap();
    assert_eq!((run.first, run.due_at, run.count), (due(7, 4), at(900), 1));
    assert_eq!(
        with(&book(), &[Record::Outcome(skipped), Record::Outcome(end)]).state(2).closed_run,
        None
    );
    // what the guard kept back is what an edited entry was owed
    let kind = OutcomeKind::Skipped(Cause::AlreadyDosed);
    assert!(left(skipped).edited && !left(Outcome { kind, ..skipped }).edited);
}

#[test]
fn d11_an_entry_keeps_what_it_owes_and_another_on_its_line_has_nothing_of_it() {
    let closed = Outcome { kind: OutcomeKind::Skipped(Cause::Closed), ..outcome() };
    let edited = Staged { revision: 4, ..staged(2, 7) };
    let mut run = with(&book(), &[Record::Outcome(closed)]);
    assert!(run.state(2).closed_run.is_some());
    run.adopt(&edited);
    assert_eq!(run.state(2).closed_run, None);
    let mut book = with(&book(), &[Record::Outcome(closed), Record::Born(born(2, 7))]);
    let before = book.state(2);
    assert!(before.last.is_some() && before.waiting.is_some());
    let mut same = book;
    same.adopt(&edited);
    let after = same.state(2);
    assert_eq!((after.revision, after.last, after.carry), (4, before.last, Carry(9)));
    assert_eq!(after.waiting, before.waiting);
    book.adopt(&staged(2, 9));
    let other =
        LineState { revision: 3, mark: Some(Nominal(1)), edited: true, ..Default::default() };
    assert_eq!((book.state(2), book.next_id), (other, 10));
    // its last delivery is in the account, wherever it comes back
    book.adopt(&staged(3, 7));
    assert_eq!((book.state(3).last, book.next_id), (before.last, 10));
}

#[test]
fn m2_lines_that_are_cleared_or_lost_run_nothing() {
    let mut book = book();
    book.adopt(&staged(0, 5));
    book.adopt(&staged(3, 6));
    assert_eq!(book.occupied(), 0b1101);
    book.apply(&Record::Born(born(2, 7)));
    book.damage(0b0010, true);
    assert_eq!((book.damaged, book.closed_damaged), (0b0010, true));
    let adopted = |cleared| {
        let (ceiling, written, closed_staged) = (None, 0, false);
        let kept_ceiling = ml(7);
        Adopted { at: at(90), ceiling, written, cleared, closed_staged, kept_ceiling }
    };
    for (cleared, missing, occupied, damaged) in [
        (0b0001, 0b1000, 0b0100, 0b1010),
        // what is cleared is no longer damaged, what is missing is
        (0b0110, 0b0100, 0b0000, 0b1100),
        (0b0000, 0b1000, 0b0000, 0b1100),
    ] {
        book.adopted(&adopted(cleared), missing, false);
        assert_eq!((book.occupied(), book.damaged), (occupied, damaged));
    }
    assert!(book.waits(2), "its end has still to be told");
    assert_eq!(book.state(2).mark, None);
    assert!(book.closed_damaged, "no closed dates were written");
    for missing in [true, false] {
        book.adopted(&Adopted { closed_staged: true, ..adopted(0) }, 0, missing);
        assert_eq!(book.closed_damaged, missing);
    }
    assert_eq!(book.at, at(90));
    // a line that is written anew is whole
    book.adopt(&staged(3, 4));
    assert_eq!(book.damaged, 0b0100);
}

#[test]
fn o1_what_is_lost_while_its_alarm_is_on_is_told_of_again() {
    let alarm = |detail| {
        let (alarm, on) = (Alarm::EntryDamaged, true);
        Record::Alarm { at: at(1), alarm, on, detail }
    };
    let adopted = |cleared| {
        let (ceiling, written, closed_staged) = (None, 0, false);
        Adopted { at: at(2), ceiling, written, cleared, closed_staged, kept_ceiling: ml(7) }
    };
    let is_told = |book: &Book<4, 8>| book.alarm_is_on(Alarm::EntryDamaged);
    let mut told = book();
    told.damage(0b0001, false);
    told.apply(&alarm(0b0001));
    assert!(is_told(&told));
    // what was lost already is nothing new, nor is a line that is cleared
    told.damage(0b0001, false);
    told.adopted(&adopted(0b0100), 0b0001, false);
    assert!(is_told(&told));
    let mut other = told;
    other.damage(0b0010, false);
    assert!(!is_told(&other));
    let mut other = told;
    other.adopted(&adopted(0), 0b0010, false);
    assert!(!is_told(&other));
    // nor does an alarm tell of all that leaves one out
    other.apply(&alarm(0b0001));
    assert!(!is_told(&other));
    other.apply(&alarm(0b0011));
    assert!(is_told(&other));
    // another alarm has no lines
    other.apply(&Record::Alarm { at: at(3), alarm: Alarm::Leak, on: true, detail: 0 });
    assert!(other.alarm_is_on(Alarm::Leak) && is_told(&other));
}

#[test]
fn lines_beyond_the_64th_have_no_bit() {
    let mut large = Book::<66, 1>::empty();
    for line in [63, 64, 65] {
        large.adopt(&staged(line, u16::from(line)));
    }
    assert_eq!(large.occupied(), 1 << 63);
    large.damage(u64::MAX, false);
    assert_eq!((large.timetable.ids().count(), large.occupied()), (2, 0));
}

#[test]
fn d9_a_start_after_the_clock_lost_its_feed_forgets_it() {
    let (utc, zone) = (Some(Utc::from_ms(5_000)), Zone::UTC);
    let set = |ms| Record::Clock { at: at(ms), epoch: 1, utc, zone };
    let boot = |feed_kept| {
        let reset = crate::record::Reset::PowerOn;
        Record::Boot { at: at(2_000), feed_kept, reset }
    };
    let open = Record::Pulse(pulse());
    let kept = with(&book(), &[set(0), open, boot(true)]);
    let dose = kept.open.unwrap();
    assert_eq!((dose.in_doubt, dose.lost, dose.pulse.restarts), (true, false, 1));
    assert_eq!((kept.losses, kept.utc(at(7))), (0, Some(Utc::from_ms(5_007))));
    let lost = with(&book(), &[set(0), open, boot(false), boot(true)]);
    let dose = lost.open.unwrap();
    assert_eq!((dose.lost, dose.pulse.restarts), (true, 2));
    assert_eq!((lost.losses, lost.clock, lost.not_before), (1, None, Instant::MIN));
    // from the first setting after it on, and not from the next
    let again = with(&lost, &[set(3_000), set(4_000)]);
    assert_eq!(again.not_before, at(3_000));
    assert_eq!(with(&book(), &[set(3_000)]).not_before, Instant::MIN, "nothing was lost");
    assert_eq!(dose.most_ms(), 1_000);
    let last = OpenDose { pulse: Pulse { most_ms: 9_500, ..pulse() }, ..dose };
    assert_eq!((last.most_ms(), last.most()), (10_000, ml(10)));
}

#[test]
fn o2_a_head_set_up_with_the_flow_in_force_keeps_the_one_of_its_label() {
    let flow = |nl| Flow::from_nl_per_min(nl).unwrap();
    let found = Found { at: at(1), flow: flow(57_000_000), uncertainty_ppm: 10_000 };
    let calibrated = Record::Calibration { found, in_force: true, lead_ms: 0 };
    let set = |flow, rollers| Record::Head { at: at(2), head: Head { flow, rollers, ..head() } };
    for (set_to, nominal) in [(57_000_000, 60_000_000), (57_000_001, 57_000_001)] {
        let book = with(&book(), &[calibrated, set(flow(set_to), 4)]);
        assert_eq!(book.tube.nominal, Some(flow(nominal)));
        assert_eq!(book.head.map(|head| (head.flow, head.rollers)), Some((flow(set_to), 4)));
    }
}

#[test]
fn p3_what_runs_or_shines_is_drawn_from_the_pack() {
    let pack =
        Pack { capacity_mah: 100, motor_ma: 300, start_ma: 1000, start_ms: 20, ..Pack::MAINS };
    let pack = Pack { display_ua: 5_000, ..pack };
    let put = |how| Record::Pack { at: at(1), pack, how };
    let used = |records: &[Record]| with(&book(), records).gauge.used_uc;
    let set = put(NewPack::Set);
    assert_eq!(used(&[set, Record::Pulse(pulse())]), 1_000 * 300 + 20_000);
    assert_eq!(used(&[set, acted(Act::PrimeEnded, 2_000)]), 2_000 * 300 + 20_000);
    assert_eq!(used(&[set, acted(Act::PrimeBegun, 2_000)]), 0);
    let means = Record::PackMeans { at: at(2), rest_mv: 7_900, load_mv: 7_100 };
    assert_eq!(used(&[set, means]), 20_000, "a start is what loads it");
    assert_eq!(used(&[set, Record::Lit { at: at(2), ms: 60_000 }]), 300_000);
    for (how, used_uc) in [(NewPack::Set, 20_000), (NewPack::Changed, 0), (NewPack::Recognised, 0)]
    {
        assert_eq!(used(&[set, means, put(how)]), used_uc, "{how:?}");
    }
    let gauge = with(&book(), &[set, means]).gauge;
    assert_eq!((gauge.rest_mv, gauge.load_mv), (7_900, 7_100));
}

#[test]
fn o2_a_calibration_that_only_found_leaves_the_flow_in_force() {
    let flow = Flow::from_nl_per_min(54_000_000).unwrap();
    let found = Found { at: at(5), flow, uncertainty_ppm: 9_000 };
    let head_after = |in_force| {
        let record = Record::Calibration { found, in_force, lead_ms: 40 };
        let book = with(&book(), &[record]);
        assert_eq!(book.tube.last(), Some(&found));
        (book.head.unwrap().flow, book.head.unwrap().lead_ms, book.run_of(1_000).as_ms())
    };
    assert_eq!(head_after(true), (flow, 40, 1_040));
    assert_eq!(head_after(false), (self::flow(), 0, 1_000));
}

fn kinds(book: &Small) -> Vec<u8> {
    book.snapshot().map(|record| record.kind()).collect()
}

#[test]
fn m1_a_snapshot_says_all_that_a_rule_can_ask_for() {
    let container = Container { capacity: ml(1000), ..Container::NONE };
    let pack = Pack { capacity_mah: 100, motor_ma: 300, ..Pack::MAINS };
    let mut book = with(
        &book(),
        &[
            Record::Pack { at: at(1), pack, how: NewPack::Set },
            Record::Pin { at: at(2), check: PinWord(7) },
            Record::Container { at: at(3), container, level: ml(300), pumped_ms: None },
            Record::Outcome(outcome()),
            Record::Pulse(Pulse { asked: true, at: at(30_000), ..pulse() }),
        ],
    );
    book.damage(1 << 3, false);
    let mut again = Small::empty();
    book.snapshot().for_each(|record| again.apply(&record));
    assert_eq!(again, book);
    assert_eq!(kinds(&book), [32, 33, 34, 35, 36, 37, 38, 39, 40, 41, 42, 43, 44]);
    assert_eq!(kinds(&Small::empty()), [32, 33, 35]);
    assert!(book.snapshot().count() <= Small::SNAPSHOT_MOST);
}

#[test]
fn d7_a_snapshot_leaves_out_starts_of_an_hour_ago() {
    let begun = with(&book(), &[Record::Pulse(pulse())]);
    let at_stamp = |ms| kinds(&with(&begun, &[Record::Stamp { at: at(ms) }]));
    assert!(at_stamp(3_600_999).contains(&39));
    assert!(!at_stamp(3_601_000).contains(&39));
}

#[test]
fn m1_the_fullest_snapshot_there_can_be_is_as_long_as_it_says() {
    let mut book = Book::<3, 5>::empty();
    let pack = Pack { capacity_mah: 100, motor_ma: 300, ..Pack::MAINS };
    let container = Container { capacity: ml(1000), ..Container::NONE };
    book.apply(&Record::Head { at: at(0), head: head() });
    book.apply(&Record::Pack { at: at(1), pack, how: NewPack::Set });
    book.apply(&Record::Pin { at: at(2), check: PinWord(7) });
    book.apply(&Record::Container { at: at(3), container, level: ml(300), pumped_ms: None });
    for line in 0..3 {
        book.adopt(&staged(line, 7 + u16::from(line)));
    }
    for n in 0..5 {
        let begun_after_ms = 100 + n;
        book.apply(&Record::Outcome(Outcome { due: due(7, n), begun_after_ms, ..outcome() }));
    }
    for n in 0..60 {
        book.apply(&Record::Pulse(Pulse { at: at(20_000 + n), ..pulse() }));
    }
    // 4, an entry and a state a line, 3 of deliveries, 8 of starts, 5 that follow
    assert_eq!(book.snapshot().count(), 4 + 6 + 3 + 8 + 5);
    assert_eq!(Book::<3, 5>::SNAPSHOT_MOST, 26);
}

#[test]
fn m4_a_store_of_format_1_has_of_the_motor_its_alarm_alone() {
    for (alarms, faults) in [(0, 0), (1 << Alarm::MotorFault as u16, Motor::LATCHED)] {
        let globals = Record::SnapGlobals {
            ceiling: None,
            next_id: 0,
            asks: 0,
            damaged: 0,
            closed_damaged: false,
            alarms,
            rest_until: at(0),
            occupied: 0,
            motor: None,
            kept_ceiling: ml(0),
            kept_until: at(0),
        };
        assert_eq!(with(&book(), &[globals]).motor, Motor { faults, ..Motor::SOUND });
    }
}

#[test]
fn d7_the_ceiling_of_before_counts_for_dues_of_23_hours_after_a_change() {
    let mut book = book();
    book.adopt(&staged(0, 5));
    let of_timetable = book.timetable.ceiling_in_force();
    let kept_ceiling = of_timetable.plus(ml(1));
    let (ceiling, written, cleared, closed_staged) = (None, 0, 0, false);
    let adopted = Adopted { at: at(90), ceiling, written, cleared, closed_staged, kept_ceiling };
    book.adopted(&adopted, 0, false);
    let until = 90 + CEILING_SPAN.as_ms() as i64;
    let of = |book: &Small| [0, until - 1, until].map(|due| book.ceiling_for(at(due)));
    assert_eq!(of(&book), [kept_ceiling, kept_ceiling, of_timetable]);
    // a lower one holds nothing back
    book.adopted(&Adopted { kept_ceiling: ml(1), ..adopted }, 0, false);
    assert_eq!(of(&book), [of_timetable; 3]);
    // the same after a roll
    book.adopted(&adopted, 0, false);
    let rolled = with(&Book::empty(), &book.snapshot().collect::<Vec<_>>());
    assert_eq!(of(&rolled), of(&book));
}
