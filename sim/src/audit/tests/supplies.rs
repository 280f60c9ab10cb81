//! The container's account, its contact, the motor, the lock's accounts and what the
//! ledger owes, each by itself and on paper.

use dosewright_core::cause::Cause;
use dosewright_core::config::{Container, Head};
use dosewright_core::entry::EntryId;
use dosewright_core::units::Volume;

use super::bench::{Ev, round_head};
use crate::audit::causes::Causes;
use crate::audit::model::{Key, Span};
use crate::audit::owed::{Owed, OwedList, Settled};
use crate::audit::stock::{Level, Motor, Stock};
use crate::observe::DeviceAct;

const ML: u64 = 1_000_000;
/// A container of a litre; the contact is at 50 ml of it.
pub(super) const LITRE: Container = Container {
    capacity: Volume::from_ml(1000),
    low: Volume::from_ml(50),
    heel: Volume::from_ml(10),
    debounce_ms: 5_000,
};

/// Somebody says that so much is in it.
pub(super) fn fill(ms: i64, ml: u64) -> (i64, Ev) {
    (ms, Ev::Act(DeviceAct::SetContainer(LITRE, Volume::from_ml(ml))))
}

fn filled(ml: u64) -> Stock {
    let mut stock = Stock::default();
    stock.set(LITRE, ml * ML, 0);
    stock
}

#[test]
fn o1_what_is_drawn_is_taken_off() {
    let mut stock = filled(100);
    stock.draw(30 * ML);
    assert_eq!((stock.account_nl(0), stock.account_nl(5 * ML)), (70 * ML, 65 * ML));
    // but for the heel
    assert_eq!(stock.can_dose_nl(5 * ML), Some(55 * ML));
    assert_eq!(stock.cap_ms(60_000_000), 60_000);
    stock.draw(100 * ML);
    assert_eq!((stock.account_nl(0), stock.can_dose_nl(0)), (0, Some(0)));
    // told in the middle of a dose that has drawn 20 ml
    stock.set(LITRE, 100 * ML, 20 * ML);
    assert_eq!((stock.account_nl(0), stock.account_nl(20 * ML)), (120 * ML, 100 * ML));
    stock.unsure = true;
    assert_eq!((stock.can_dose_nl(0), stock.cap_ms(1)), (None, i64::MAX));
    stock.set(LITRE, 1, 0);
    assert!(!stock.unsure);
    assert_eq!(Stock::default().can_dose_nl(0), None);
}

#[test]
fn o1_short_is_less_than_the_shortest_pulse() {
    // 400 ms of a millilitre a second, and the heel
    let short = |nl: u64, head: &Head| {
        let mut stock = Stock::default();
        stock.set(LITRE, nl, 0);
        stock.is_short(head)
    };
    let level = 10 * ML + 400_000;
    assert!(!short(level, &round_head()) && short(level - 1, &round_head()));
    let lead = Head { lead_ms: 100, ..round_head() };
    assert!(!short(level - 100_000, &lead) && short(level - 100_001, &lead));
    assert!(!Stock::default().is_short(&round_head()));
}

#[test]
fn o1_prime_is_taken_off_at_most_while_it_lasts() {
    let mut stock = filled(100);
    stock.service_begins(30 * ML);
    assert_eq!(stock.account_nl(0), 70 * ML);
    stock.service_ends(20 * ML);
    assert_eq!(stock.account_nl(0), 80 * ML);
    // more than there is by account
    stock.service_begins(90 * ML);
    assert_eq!(stock.account_nl(0), 0);
    stock.service_ends(75 * ML);
    assert_eq!(stock.account_nl(0), 5 * ML);
    // a start in between takes all of it
    stock.service_begins(3 * ML);
    stock.service_lost();
    stock.service_ends(ML);
    assert_eq!(stock.account_nl(0), 2 * ML);
}

#[test]
fn o2_a_new_flow_restates_what_was_drawn() {
    // 40 ml by a flow that has drifted by a tenth: half of 4 ml
    let restated = |old, new, level, drawn, ask: fn(&mut Stock)| {
        let mut stock = filled(level);
        stock.draw(drawn * ML);
        ask(&mut stock);
        stock.restate(old, new, 0);
        stock.account_nl(0)
    };
    assert_eq!(restated(20, 18, 100, 40, |_| {}), 62 * ML);
    assert_eq!(restated(20, 22, 100, 40, |_| {}), 58 * ML);
    // not below nothing, nor above what it holds
    assert_eq!(restated(20, 60, 100, 90, |_| {}), 0);
    assert_eq!(restated(20, 2, 1000, 100, |_| {}), 945 * ML);
    assert_eq!(restated(20, 2, 1000, 1, |s| s.set(LITRE, 1000 * ML, 0)), 1000 * ML);
    // what was drawn before the tube was changed says nothing of it
    assert_eq!(restated(20, 18, 100, 40, |s| s.settle(0)), 60 * ML);
    // what a prime gave back was not drawn: 20 ml were
    let prime = |stock: &mut Stock| {
        stock.settle(0);
        stock.service_begins(50 * ML);
        stock.service_ends(20 * ML);
    };
    assert_eq!(restated(20, 18, 100, 40, prime), 41 * ML);
    // said once
    let mut stock = filled(100);
    stock.draw(40 * ML);
    stock.restate(20, 18, 0);
    stock.restate(20, 18, 0);
    assert_eq!(stock.account_nl(0), 62 * ML);
}

#[test]
fn o1_the_contact_puts_the_account_down() {
    let mut stock = filled(100);
    assert_eq!((stock.low_nl(), stock.far_nl()), (Some(50 * ML), Some(150 * ML)));
    stock.put_down(20 * ML);
    assert_eq!((stock.account_nl(0), stock.account_nl(20 * ML)), (70 * ML, 50 * ML));
    stock.put_down(30 * ML);
    assert_eq!(stock.account_nl(0), 70 * ML, "never up");
    stock.nothing_left();
    assert_eq!(stock.account_nl(0), 0);
    let mut bare = Stock::default();
    bare.set(Container { low: Volume::ZERO, ..LITRE }, 100 * ML, 0);
    bare.put_down(0);
    assert_eq!((bare.account_nl(0), bare.low_nl(), bare.far_nl()), (100 * ML, None, None));
}

#[test]
fn o1_a_contact_counts_when_it_has_been_closed_for_so_long() {
    let stock = filled(100);
    let looked = |closed, told, counts| {
        let mut level = Level { counts, ..Level::default() };
        level.look(closed, 1_000, &stock, told);
        level.due
    };
    assert_eq!(looked(true, false, false), Some(6_000));
    assert_eq!([looked(false, false, false), looked(true, true, false)], [None, None]);
    assert_eq!(looked(true, false, true), None);
    let mut level = Level::default();
    level.look(true, 1_000, &stock, false);
    level.pass(5_999);
    assert!(!level.counts && level.closed);
    level.pass(6_000);
    assert_eq!((level.counts, level.since, level.due), (true, 6_000, None));
    level.pass(9_000);
    assert_eq!(level.since, 6_000);
    // one that is stopped looks again
    level.look(true, 10_000, &stock, false);
    let mut level = Level { closed: true, due: Some(1), ..Level::default() };
    level.forget();
    assert_eq!((level.closed, level.due), (false, None));
    let mut level = Level::default();
    level.look(true, 0, &Stock::default(), false);
    assert_eq!(level.due, None, "no container");
}

/// One that opens when it has been closed for so long has counted; where the device's clock is
/// read to a ms either way, the device may have had it count in that call or not, and in no
/// later one.
#[test]
fn o1_a_contact_that_opens_has_counted_or_not() {
    let stock = filled(100);
    let opens = |at: i64, slack_ms: i64| {
        let mut level = Level::default();
        level.look(true, 1_000, &stock, false);
        level.changes(at, slack_ms);
        level.look(false, at, &stock, false);
        level
    };
    assert_eq!([5_999, 6_000, 9_000].map(|at| opens(at, 0).counts), [false, true, true]);
    let known = [5_998, 5_999, 6_000, 6_001, 6_002].map(|at| opens(at, 1).counts);
    assert_eq!(known, [false, false, false, false, true]);
    let said = |at: i64, on: bool, said_at: i64| {
        let mut level = opens(at, 1);
        level.is_said_to_count(on, said_at);
        level.counts
    };
    assert_eq!([5_999, 6_000, 6_001].map(|at| said(at, true, at)), [true; 3]);
    assert!(said(6_000, true, 6_001) && !said(6_000, true, 6_002) && !said(6_000, false, 6_000));
    assert!(!said(5_998, true, 5_998));
}

#[test]
fn p4_a_motor_rests_longer_after_each_fault() {
    let motor = |faults| Motor { faults, at: 1_000, ..Motor::default() };
    let until = [1, 2, 3, 4, 5].map(|faults| motor(faults).until());
    assert_eq!(until, [61_000, 121_000, 241_000, i64::MAX, i64::MAX]);
    assert_eq!(Motor::default().until(), i64::MIN);
    assert_eq!(Motor { pending: true, ..Motor::default() }.until(), i64::MAX);
    assert_eq!([0, 1, 3, 4].map(|faults| motor(faults).next(None)), [1, 2, 4, 4]);
    // a run that went through shows that it turns
    let mut tried = motor(3);
    tried.ran_through();
    assert_eq!((tried.faults, tried.until()), (0, i64::MIN));
    let mut latched = motor(4);
    latched.ran_through();
    assert_eq!(latched.faults, 4);
}

fn key(nominal: i64) -> Key {
    Key { id: EntryId(1), revision: 1, epoch: 1, nominal, asked: false }
}

/// Dues every 10 from the first to the last, owed by `by`.
fn owed(first: i64, last: i64, by: i64) -> Owed {
    let count = ((last - first) / 10 + 1) as u64;
    let span = Span { key: key(first), last, count, due_at: first * 100, by };
    let causes = Causes::of(Cause::SupplyLost);
    Owed { span, causes, by, known: false, reported: false }
}

fn settle(list: &mut OwedList, from: i64, last: i64) -> Option<Settled> {
    list.settle(
        key(from),
        last,
        |causes| causes.contains(Cause::SupplyLost),
        |n| (n + 9) / 10 * 10,
        |n| Some(n * 100),
        |a, b| ((b - a) / 10 + 1) as u64,
    )
}

#[test]
fn d1_a_record_settles_what_it_stands_for_and_no_more() {
    let mut list = OwedList::default();
    list.push(owed(10, 50, 7));
    // the first two of five
    let two = Settled { count: 2, last: 20, due_at: 1_000, wrong: None };
    assert_eq!(settle(&mut list, 10, 20), Some(two));
    assert_eq!(settle(&mut list, 10, 20), None, "they have their outcome");
    let left = list.iter().next().unwrap().span;
    assert_eq!((left.key.nominal, left.last, left.count, left.due_at), (30, 50, 3, 3_000));
    let rest = Settled { count: 3, last: 50, due_at: 3_000, wrong: None };
    assert_eq!(settle(&mut list, 30, 50), Some(rest));
    assert!(list.is_empty());
    // two stretches, of which the second has another cause
    list.push(owed(10, 20, 7));
    list.push(Owed { causes: Causes::of(Cause::Closed), ..owed(30, 40, 7) });
    let wrong = Some(Causes::of(Cause::Closed));
    let all = Settled { count: 4, last: 40, due_at: 1_000, wrong };
    assert_eq!(settle(&mut list, 10, 40), Some(all));
    // one that names more than there are
    list.push(owed(10, 20, 7));
    let fewer = Settled { count: 2, last: 20, due_at: 1_000, wrong: None };
    assert_eq!(settle(&mut list, 10, 90), Some(fewer));
    // those of another revision or epoch are others
    for other in [Key { revision: 2, ..key(10) }, Key { epoch: 2, ..key(10) }] {
        let mut list = OwedList::default();
        let mut of = owed(10, 10, 7);
        of.span.key = other;
        list.push(of);
        assert_eq!(settle(&mut list, 10, 10), None);
        list.push(owed(20, 20, 7));
        assert_eq!(settle(&mut list, 20, 20).map(|s| s.count), Some(1));
        assert!(!list.is_empty());
    }
}

#[test]
fn d1_stretches_join_where_nothing_sets_them_apart() {
    type Change = fn(&mut Owed);
    let join = |first: Change, second: Change| {
        let mut list = OwedList::default();
        let (mut a, mut b) = (owed(10, 20, 7), owed(30, 50, 7));
        first(&mut a);
        second(&mut b);
        list.push(a);
        list.push(b);
        if list.iter().count() == 1 {
            let all = list.iter().next().unwrap().span;
            assert_eq!((all.key.nominal, all.last, all.count), (10, 50, 5));
        }
        list.iter().count() == 1
    };
    assert!(join(|_| {}, |_| {}));
    assert!(!join(|_| {}, |o| o.by = 8));
    assert!(!join(|_| {}, |o| o.causes = Causes::of(Cause::Closed)));
    assert!(!join(|_| {}, |o| o.span.key.epoch = 2));
    assert!(!join(|_| {}, |o| o.span.key.revision = 2));
    assert!(!join(|o| o.known = true, |_| {}) && !join(|_| {}, |o| o.known = true));
    assert!(!join(|o| o.reported = true, |_| {}));
}

#[test]
fn o2_what_a_dose_drew_before_the_level_was_spoken_of_is_not_restated() {
    // told at 20 of 30 ml: 10 ml were drawn by a flow that has drifted by a tenth
    let told = |restated_at_ml: Option<u64>| {
        let mut stock = Stock::default();
        stock.set(LITRE, 100 * ML, 20 * ML);
        if let Some(open_ml) = restated_at_ml {
            stock.restate(20, 18, open_ml * ML);
        }
        stock.draw(30 * ML);
        stock
    };
    let ended = told(None);
    assert_eq!((ended.account_nl(0), ended.drawn_since_nl(0)), (90 * ML, 10 * ML));
    // in the middle of the dose what it drew by then, and what follows by another
    let open = told(Some(26));
    assert_eq!((open.account_nl(0), open.drawn_since_nl(0)), (90_300_000, 4 * ML));
    // the contact, a tube set and a flow count likewise
    let mut stock = told(None);
    stock.put_down(15 * ML);
    assert_eq!(stock.drawn_since_nl(15 * ML), 0);
    stock.draw(25 * ML);
    assert_eq!(stock.drawn_since_nl(0), 10 * ML);
    stock.settle(4 * ML);
    stock.draw(5 * ML);
    assert_eq!(stock.drawn_since_nl(0), ML);
    stock.flow_is_another(2 * ML);
    stock.draw(5 * ML);
    assert_eq!((stock.account_nl(0), stock.drawn_since_nl(0)), (30 * ML, 3 * ML));
}
