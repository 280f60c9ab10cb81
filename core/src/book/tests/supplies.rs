//! The motor's row of faults and the container's account, by the records that change them.

use super::*;
use crate::motor::Motor;

#[test]
fn p4_the_row_of_the_motors_faults_ends_with_a_run_that_went_on_to_its_end() {
    let fault = |ms| Record::Motor { at: at(ms), faults: 2 };
    let next = |ms, least_ms, most_ms| {
        Record::Pulse(Pulse { at: at(ms), first: false, least_ms, most_ms, ..pulse() })
    };
    let start = Record::Boot { at: at(70_000), feed_kept: true, reset: Reset::PowerOn };
    let ended = |most| Record::Outcome(Outcome { most, ..outcome() });
    let faults = |records: &[Record]| with(&book(), records).motor.faults;
    // a pulse of a second that a fault broke off after 300 ms, and its retry
    let broken = [Record::Pulse(pulse()), fault(1_300)];
    let retry = [broken[0], broken[1], next(61_300, 0, 300)];
    assert_eq!([faults(&broken), faults(&retry)], [2, 2]);
    let then = |records: &[Record]| faults(&[&retry[..], records].concat());
    // cut short by a stop, and to its end
    assert_eq!([then(&[next(90_000, 299, 1_299)]), then(&[next(90_000, 300, 1_300)])], [2, 0]);
    let [less, all] = [1_299, 1_300].map(|ms| flow().volume(Duration::from_ms(ms)));
    assert_eq!([then(&[ended(less)]), then(&[ended(all)])], [2, 0]);
    // what a start leaves in doubt proves nothing, nor what another dose says
    assert_eq!(then(&[start, ended(all)]), 2);
    let other = Outcome { due: due(7, 5), most: all, ..outcome() };
    assert_eq!(then(&[Record::Outcome(other)]), 2);
    // a fault in the retry itself
    assert_eq!(then(&[fault(61_900), ended(flow().volume(Duration::from_ms(900)))]), 2);
    // a prime to its end, and one that was stopped
    let begun = Record::Act { at: at(61_300), act: Act::PrimeBegun, ms: 4_000 };
    let prime = |ms: i64| {
        let over = Record::Act { at: at(61_300 + ms), act: Act::PrimeEnded, ms: ms as u32 };
        faults(&[broken[0], broken[1], ended(ml(0)), begun, over])
    };
    assert_eq!([prime(3_999), prime(4_000)], [2, 0]);
    // a fault that comes with its very end
    let late = Record::Act { at: at(65_300), act: Act::PrimeEnded, ms: 4_000 };
    assert_eq!(faults(&[broken[0], ended(ml(0)), begun, fault(65_300), late]), 2);
    // and one of the instant at which it began
    assert_eq!(faults(&[broken[0], ended(ml(0)), begun, fault(61_300), late]), 2);
    assert_eq!(faults(&[broken[0], ended(ml(0)), begun, fault(61_299), late]), 0);
    // only an operator ends what is latched
    let latched = Record::Motor { at: at(1_300), faults: Motor::LATCHED };
    assert_eq!(faults(&[broken[0], latched, begun, acted(Act::PrimeEnded, 4_000)]), 4);
}

#[test]
fn d4_a_pulse_has_run_no_longer_than_until_the_motors_fault() {
    let most = |records: &[Record]| with(&book(), records).open.unwrap().most_ms();
    let fault = |ms| Record::Motor { at: at(ms), faults: 1 };
    let intent = Record::Pulse(Pulse { least_ms: 50, most_ms: 70, ..pulse() });
    assert_eq!(most(&[intent]), 1_070);
    assert_eq!(most(&[intent, fault(1_300)]), 370);
    assert_eq!(most(&[intent, fault(1_000)]), 70);
    // one that is told of later changes nothing
    assert_eq!(most(&[intent, fault(2_000)]), 1_070);
    let start = Record::Boot { at: at(1_400), feed_kept: true, reset: Reset::Watchdog };
    assert_eq!(most(&[intent, fault(1_300), start]), 370);
}

#[test]
fn o1_what_is_said_of_the_container_counts_what_the_open_dose_had_pumped() {
    let container = Container { capacity: ml(1000), ..Container::NONE };
    let told =
        |pumped_ms| Record::Container { at: at(9_000), container, level: ml(300), pumped_ms };
    let account = |pumped_ms| {
        let records = [Record::Pulse(pulse()), told(pumped_ms), Record::Outcome(outcome())];
        with(&book(), &records).account()
    };
    // of ten millilitres one before it by the intent, or half a one
    assert_eq!(account(None), ml(291));
    assert_eq!(account(Some(500)), ml(290).plus(Volume::from_ul(500)));
    assert_eq!(account(Some(0)), ml(290));
    // what was drawn before it says nothing of it, where a calibration restates the account
    let drawn = |records: &[Record]| with(&book(), records).stock.drawn(ml(0));
    let dosed = [told(None), Record::Pulse(pulse()), Record::Outcome(outcome())];
    assert!(drawn(&dosed) > Volume::ZERO);
    assert_eq!(drawn(&[dosed[0], dosed[1], dosed[2], told(None)]), Volume::ZERO);
    // without a dose there is nothing to count
    assert_eq!(with(&book(), &[told(Some(500))]).account(), ml(300));
}

#[test]
fn o1_the_contact_sets_the_account_down_to_its_level_and_never_up() {
    let container = Container { capacity: ml(1000), low: ml(200), ..Container::NONE };
    let set = |level| Record::Container { at: at(1), container, level, pumped_ms: None };
    let low = |on| Record::Alarm { at: at(2), alarm: Alarm::LowLevel, on, detail: 0 };
    let account = |records: &[Record]| with(&book(), records).account();
    assert_eq!(account(&[set(ml(300)), low(true)]), ml(200));
    assert_eq!(account(&[set(ml(100)), low(true)]), ml(100));
    assert_eq!(account(&[set(ml(300)), low(false)]), ml(300));
    let open = Record::Pulse(pulse());
    // what an open dose has drawn is not in it any more, but for a pulse that may run yet
    let Record::Pulse(p) = open else { unreachable!() };
    let lasts = |ms: u32| p.flow.volume(Duration::from_ms(u64::from(ms)));
    let (before, all) = (lasts(p.most_ms), lasts(p.most_ms + p.on_ms));
    let on = all.minus(before);
    assert!(on > ml(0));
    assert_eq!(account(&[open, set(ml(300))]), ml(300).minus(on));
    assert_eq!(account(&[open, set(ml(300)), low(true)]), ml(200).minus(on));
    let over = at(p.at.as_ms() + i64::from(p.on_ms));
    let told = |at: Instant| Record::Container { at, container, level: ml(300), pumped_ms: None };
    assert_eq!(account(&[open, told(over)]), ml(300));
    let (earlier, missing) =
        (over.minus(Duration::from_ms(7)), all.minus(lasts(p.most_ms + p.on_ms - 7)));
    assert_eq!(account(&[open, told(earlier)]), ml(300).minus(missing));
    let start = Record::Boot { at: earlier, feed_kept: true, reset: Reset::PowerOn };
    assert_eq!(account(&[open, start, told(earlier)]), ml(300));
    // the contact was closed for as long as it may bounce
    let closed = Record::Alarm { at: over, alarm: Alarm::LowLevel, on: true, detail: 0 };
    let bounces = Container { debounce_ms: 7, ..container };
    let told = Record::Container { at: over, container: bounces, level: ml(300), pumped_ms: None };
    assert_eq!(account(&[open, told, closed]), ml(200).minus(missing));
    let ended = account(&[open, set(ml(300)), low(true), Record::Outcome(outcome())]);
    assert_eq!(ended, ml(200).plus(before).minus(outcome().most));
    // all that a run can draw is taken off while it lasts, and what it drew once it is over
    let (began, over) = (acted(Act::PrimeBegun, 9_000), acted(Act::PrimeEnded, 5_000));
    assert_eq!(account(&[set(ml(300)), began]), ml(291));
    // of one whose end is lost all stays off, whatever runs after it
    let next = acted(Act::PrimeBegun, 2_000);
    assert_eq!(account(&[set(ml(300)), began, next]), ml(289));
    assert_eq!(account(&[set(ml(300)), began, next, acted(Act::PrimeEnded, 1_000)]), ml(290));
    // the contact closes in the middle: all of it may come out of what is left
    let run = |end: &[Record]| account(&[&[set(ml(400)), began, low(true)][..], end].concat());
    assert_eq!((run(&[]), run(&[over])), (ml(191), ml(195)));
    let start = Record::Boot { at: at(9), feed_kept: true, reset: Reset::PowerOn };
    assert_eq!((run(&[start]), run(&[start, over])), (ml(191), ml(191)));
    // a flow that comes in the middle leaves open how much it drew
    let other = Record::Head { at: at(2), head: Head { lead_ms: 7, ..head() } };
    assert_eq!(account(&[set(ml(300)), began, other, over]), ml(291));
    let disagrees = |on| Record::Alarm { at: at(2), alarm: Alarm::LevelDisagrees, on, detail: 0 };
    assert_eq!(account(&[set(ml(300)), disagrees(true)]), ml(0));
    assert_eq!(account(&[set(ml(300)), disagrees(false)]), ml(300));
    // nor does a run that goes on give anything back
    let level = with(&book(), &[set(ml(300)), began, disagrees(true), over]).stock.level;
    assert_eq!(level, ml(0));
    // what was taken off since is what a new flow restates
    let drawn = |records: &[Record]| with(&book(), records).stock.drawn(ml(0));
    let primed = [set(ml(300)), acted(Act::PrimeBegun, 9_000), acted(Act::PrimeEnded, 5_000)];
    assert_eq!(drawn(&primed), ml(5));
    let [a, b, c] = primed;
    assert_eq!(drawn(&[a, b, c, acted(Act::TubeChanged, 0)]), ml(0));
    assert_eq!(drawn(&[a, b, c, other]), ml(0));
    assert_eq!(drawn(&[a, b, c, low(true)]), ml(0));
    assert_eq!(drawn(&[a, b, c, low(false)]), ml(5));
    assert_eq!(drawn(&[a, b, c, disagrees(true)]), ml(0));
}

#[test]
fn o2_a_calibration_restates_what_the_open_dose_drew_since_the_level_was_spoken_of() {
    let container =
        Container { capacity: ml(1000), low: ml(290), debounce_ms: 0, ..Container::NONE };
    let set = |pumped_ms| Record::Container { at: at(9_000), container, level: ml(300), pumped_ms };
    let found = Found { at: at(30_000), flow: flow(), uncertainty_ppm: 0 };
    // ten percent less by the next reading: half of that of what was drawn goes back
    let less = Flow::from_nl_per_min(54_000_000).unwrap();
    let reading = |at| Record::Calibration {
        found: Found { at, flow: less, ..found },
        in_force: false,
        lead_ms: 0,
    };
    let open = Record::Pulse(pulse());
    let next = Record::Pulse(Pulse { at: at(10_000), most_ms: 5_000, first: false, ..pulse() });
    let (after, ended) = (reading(at(30_000)), Record::Outcome(outcome()));
    let account = |records: &[Record]| {
        let book = with(&book(), records);
        // no record but these says it, nor does a roll lose it
        let rolled = with(&Book::empty(), &book.snapshot().collect::<Vec<_>>());
        assert_eq!((rolled.account(), rolled.stock), (book.account(), book.stock));
        book.account().as_ul()
    };
    let in_ul = |tenth_ml: u64| tenth_ml * 100;
    // of ten millilitres all; those behind the first; those behind half of the first
    assert_eq!(account(&[set(None), open, ended, after]), in_ul(2_905));
    assert_eq!(account(&[open, set(Some(1_000)), ended, after]), 291_450);
    assert_eq!(account(&[open, set(None), next, ended, after]), 291_450);
    assert_eq!(account(&[open, set(Some(500)), ended, after]), 290_975);
    // the contact closes when it has drawn six, and puts the account down
    let low = Record::Alarm { at: at(12_000), alarm: Alarm::LowLevel, on: true, detail: 0 };
    assert_eq!(account(&[set(None), open, next, low, ended, after]), 286_200);
    // a reading in the middle, when it has drawn five and a half: half of a half of it goes back
    let middle = reading(at(10_500));
    assert_eq!(account(&[set(None), open, next, middle]), 294_275);
    assert_eq!(account(&[set(None), open, next, middle, ended]), 290_275);
    assert_eq!(account(&[set(None), open, next, middle, ended, after]), 290_500);
    // another flow, or another tube set, when it has drawn five and a half
    let other = Record::Head { at: at(10_500), head: head() };
    let tube = Record::Act { at: at(10_500), act: Act::TubeChanged, ms: 0 };
    for said in [other, tube] {
        assert_eq!(account(&[set(None), open, next, said, ended, after]), 290_225);
    }
    // what was told in the middle of a dose is not drawn below it
    let drawn = |records: &[Record]| with(&book(), records).stock.drawn(ml(0));
    assert_eq!(drawn(&[open, set(None), ended]), ml(9));
}
