//! A battery pack that is misread (P3): every check is seen to fail on what it is for.

use dosewright_core::power::Pack;
use dosewright_core::record::{Alarm, NewPack, Record};
use dosewright_core::time::Instant;

use super::bench::{
    CET, Ev, HOUR, Stream, breaks, head, holds, ideal_stream, install, table, weekly,
};
use crate::observe::DeviceAct;

const END: u64 = 12 * HOUR as u64;
const MORNING: i64 = 6 * HOUR;

const PACK: Pack = Pack {
    capacity_mah: 6000,
    motor_ma: 350,
    low_mv: 7000,
    exhausted_mv: 6500,
    hysteresis_mv: 200,
    jump_mv: 700,
    warn_days: 14,
    ..Pack::MAINS
};

/// A night, and these events from so many ms after six in the morning on.
fn morning(events: &[(i64, Ev)], end: u64) -> Stream {
    let stream = install(head(), CET, "2026-10-19 00:00", table(&[weekly(1, 0x7f, 45)]));
    let mut stream = ideal_stream(&stream, end);
    stream.extend(events.iter().map(|(ms, ev)| ((MORNING + ms) as u64, ev.clone())));
    stream.sort_by_key(|(ms, _)| *ms);
    stream
}

fn at(ms: i64) -> Instant {
    Instant::from_ms(MORNING + ms)
}

fn set() -> Vec<(i64, Ev)> {
    vec![
        (0, Ev::Act(DeviceAct::SetPack(PACK))),
        (0, Ev::Record(Record::Pack { at: at(0), pack: PACK, how: NewPack::Set })),
    ]
}

fn readings(ms: i64, mv: u16, loaded: bool) -> Vec<(i64, Ev)> {
    vec![(ms, Ev::Act(DeviceAct::PackRead { mv, loaded })); 10]
}

fn means(ms: i64, rest_mv: u16, load_mv: u16) -> (i64, Ev) {
    (ms, Ev::Record(Record::PackMeans { at: at(ms), rest_mv, load_mv }))
}

fn alarm(ms: i64, alarm: Alarm, on: bool) -> (i64, Ev) {
    (ms, Ev::Record(Record::Alarm { at: at(ms), alarm, on, detail: 0 }))
}

/// A pack that reads so, with its means as they are.
fn read_as(ms: i64, rest: u16, load: u16) -> Vec<(i64, Ev)> {
    let mut events = readings(ms, rest, false);
    events.extend(readings(ms, load, true));
    events.push(means(ms, rest, load));
    events
}

fn all(parts: &[&[(i64, Ev)]]) -> Vec<(i64, Ev)> {
    parts.concat()
}

#[test]
fn p3_means_that_the_readings_do_not_make() {
    holds(&morning(&all(&[&set(), &read_as(1, 10_500, 9_500)]), END), END);
    let wrong = all(&[
        &set(),
        &readings(1, 10_500, false),
        &readings(1, 9_500, true),
        &[means(1, 10_500, 9_499)],
    ]);
    breaks(&morning(&wrong, END), END, "P3", "the last ten readings make");
    // nine are no mean
    let nine = all(&[
        &set(),
        &readings(1, 10_500, false),
        &readings(1, 9_500, true)[1..],
        &[means(1, 10_500, 9_500)],
    ]);
    breaks(&morning(&nine, END), END, "P3", "the last ten readings make");
    // nor are ten that lie further apart
    let late = all(&[
        &set(),
        &readings(1, 10_500, false),
        &readings(1, 9_500, true)[5..],
        &readings(180_003, 9_500, true)[5..],
        &[means(180_003, 10_500, 9_500)],
    ]);
    breaks(&morning(&late, END), END, "P3", "the last ten readings make");
}

#[test]
fn p3_one_wrong_reading_is_in_no_mean() {
    let row = |mv: u16, wrong: u16, loaded| {
        let mut row = readings(1, mv, loaded);
        row[4] = (1, Ev::Act(DeviceAct::PackRead { mv: wrong, loaded }));
        row
    };
    for wrong in [0, u16::MAX] {
        let read = all(&[&set(), &row(10_500, wrong, false), &row(9_500, wrong, true)]);
        holds(&morning(&all(&[&read, &[means(1, 10_500, 9_500)]]), END), END);
        // the mean of all ten
        let of_ten = |mv: u16| ((u32::from(mv) * 9 + u32::from(wrong)) / 10) as u16;
        let words = "the last ten readings make 10500 and 9500 mV";
        for (rest, load) in [(of_ten(10_500), 9_500), (10_500, of_ten(9_500))] {
            let taken = all(&[&read, &[means(1, rest, load)]]);
            breaks(&morning(&taken, END), END, "P3", words);
        }
    }
}

#[test]
fn p3_alarms_that_the_means_do_not_say() {
    let low = alarm(2, Alarm::PackLow, true);
    let exhausted = alarm(2, Alarm::PackExhausted, true);
    let sags = read_as(1, 10_500, 6_500);
    holds(&morning(&all(&[&set(), &sags, &[low.clone(), exhausted.clone()]]), END), END);
    let fine = read_as(1, 10_500, 6_501);
    let said = all(&[&set(), &fine, &[low.clone(), exhausted.clone()]]);
    breaks(&morning(&said, END), END, "P3", "\"battery exhausted\" comes at 6501 mV");
    // within the hysteresis it stays
    let back = read_as(3, 10_500, 6_700);
    let gone = [alarm(4, Alarm::PackExhausted, false)];
    let early = all(&[&set(), &sags, &[low.clone(), exhausted.clone()], &back, &gone]);
    breaks(&morning(&early, END), END, "P3", "\"battery exhausted\" goes at 6700 mV");
    let back = read_as(3, 10_500, 6_701);
    holds(&morning(&all(&[&set(), &sags, &[low.clone(), exhausted], &back, &gone]), END), END);
    breaks(&morning(std::slice::from_ref(&low), END), END, "P3", "on a device without a pack");
    // nor on one that has been put on the mains
    let mains = [
        (1, Ev::Act(DeviceAct::SetPack(Pack::MAINS))),
        (1, Ev::Record(Record::Pack { at: at(1), pack: Pack::MAINS, how: NewPack::Set })),
    ];
    let said = all(&[&set(), &mains, &[low]]);
    breaks(&morning(&said, END), END, "P3", "on a device without a pack");
}

#[test]
fn p3_another_pack_that_nothing_says_is_there() {
    let other = |how| (3, Ev::Record(Record::Pack { at: at(3), pack: PACK, how }));
    let first = read_as(1, 9_000, 8_000);
    let jump = readings(2, 9_700, false);
    let seen = [other(NewPack::Recognised)];
    holds(&morning(&all(&[&set(), &first, &jump, &seen]), END), END);
    let less = readings(2, 9_699, false);
    breaks(
        &morning(&all(&[&set(), &first, &less, &seen]), END),
        END,
        "P3",
        "its voltage does not say so",
    );
    let changed = all(&[&set(), &first, &[other(NewPack::Changed)]]);
    breaks(&morning(&changed, END), END, "O6", "and nobody did");
    breaks(&morning(&set()[1..], END), END, "O6", "set up as nobody did");
}

#[test]
fn p3_another_pack_that_is_taken_for_the_one_before() {
    let first = read_as(1, 9_000, 8_000);
    holds(&morning(&all(&[&set(), &first, &read_as(2, 9_699, 8_700)]), END), END);
    let jump = all(&[&set(), &first, &read_as(2, 9_700, 8_700)]);
    breaks(&morning(&jump, END), END, "P3", "no other pack is recognised");
}

#[test]
fn p3_a_dose_that_begins_though_the_pack_cannot_finish_it() {
    let end = 24 * HOUR as u64 + END;
    let fine = all(&[&set(), &read_as(1, 10_500, 6_501), &[alarm(2, Alarm::PackLow, true)]]);
    holds(&morning(&fine, end), end);
    let sags = all(&[
        &set(),
        &read_as(1, 10_500, 6_500),
        &[alarm(2, Alarm::PackLow, true), alarm(2, Alarm::PackExhausted, true)],
    ]);
    breaks(&morning(&sags, end), end, "P3", "a dose begins, and the pack reads 6500 mV");
}

#[test]
fn p3_what_the_pack_before_read_says_nothing_of_another() {
    let end = 24 * HOUR as u64 + END;
    let sags = all(&[
        &set(),
        &read_as(1, 10_500, 6_500),
        &[alarm(2, Alarm::PackLow, true), alarm(2, Alarm::PackExhausted, true)],
    ]);
    let changed = [
        (3, Ev::Act(DeviceAct::PackChanged)),
        (3, Ev::Record(Record::Pack { at: at(3), pack: PACK, how: NewPack::Changed })),
        alarm(3, Alarm::PackLow, false),
        alarm(3, Alarm::PackExhausted, false),
    ];
    holds(&morning(&all(&[&sags, &changed]), end), end);
    // the figures of the same pack set anew leave its means as they are
    let again = [
        (3, Ev::Act(DeviceAct::SetPack(PACK))),
        (3, Ev::Record(Record::Pack { at: at(3), pack: PACK, how: NewPack::Set })),
    ];
    let words = "a dose begins, and the pack reads 6500 mV";
    breaks(&morning(&all(&[&sags, &again]), end), end, "P3", words);
}

#[test]
fn p3_a_pack_is_recognised_by_a_jump_and_by_nothing_else() {
    let seen =
        |ms, pack| (ms, Ev::Record(Record::Pack { at: at(ms), pack, how: NewPack::Recognised }));
    let words = "its voltage does not say so";
    // after no mean at all
    let first = all(&[&set(), &readings(2, 9_700, false), &[seen(3, PACK)]]);
    breaks(&morning(&first, END), END, "P3", words);
    // as another pack than there is
    let other = Pack { capacity_mah: 5000, ..PACK };
    let jump = all(&[&set(), &read_as(1, 9_000, 8_000), &readings(2, 9_700, false)]);
    breaks(&morning(&all(&[&jump, &[seen(3, other)]]), END), END, "P3", words);
    // where no jump tells
    let none = Pack { jump_mv: 0, ..PACK };
    let set_up = [
        (0, Ev::Act(DeviceAct::SetPack(none))),
        (0, Ev::Record(Record::Pack { at: at(0), pack: none, how: NewPack::Set })),
    ];
    let jump = all(&[&set_up, &read_as(1, 9_000, 8_000), &readings(2, 9_700, false)]);
    breaks(&morning(&all(&[&jump, &[seen(3, none)]]), END), END, "P3", words);
    let more = all(&[&set_up, &read_as(1, 9_000, 8_000), &read_as(2, 9_900, 8_000)]);
    holds(&morning(&more, END), END);
}

#[test]
fn p3_the_last_mean_is_the_one() {
    let twice = |rest, load| {
        all(&[
            &set(),
            &readings(1, 10_500, false),
            &readings(1, 9_500, true),
            &readings(2, 10_400, false),
            &readings(2, 9_400, true),
            &[means(2, rest, load)],
        ])
    };
    let words = "the last ten readings make 10400 and 9400 mV";
    holds(&morning(&twice(10_400, 9_400), END), END);
    breaks(&morning(&twice(10_500, 9_400), END), END, "P3", words);
    breaks(&morning(&twice(10_400, 9_500), END), END, "P3", words);
    // once it is in the ledger it is not noted again
    let again = all(&[&set(), &read_as(1, 10_500, 9_500), &[means(2, 10_500, 9_500)]]);
    breaks(&morning(&again, END), END, "P3", "the last ten readings make");
    // at rest nothing new may have been read
    let load = all(&[
        &set(),
        &read_as(1, 10_500, 9_500),
        &readings(2, 9_400, true),
        &[means(2, 10_500, 9_400)],
    ]);
    holds(&morning(&load, END), END);
    // the mean is rounded down: seven of 9500 and one of 9491, beside the
    // highest and the lowest
    let mixed = |mv| {
        all(&[
            &set(),
            &readings(1, 10_500, false),
            &readings(1, 9_500, true)[2..],
            &readings(1, 9_491, true)[8..],
            &[means(1, 10_500, mv)],
        ])
    };
    holds(&morning(&mixed(9_498), END), END);
    breaks(&morning(&mixed(9_499), END), END, "P3", "the last ten readings make");
}

#[test]
fn p3_readings_three_minutes_apart_may_be_of_one_mean_or_not() {
    // five, and five so much later
    let apart = |ms: i64, noted: bool| {
        let mut events = all(&[
            &set(),
            &readings(1, 10_500, false),
            &readings(1, 9_500, true)[5..],
            &readings(1 + ms, 9_500, true)[5..],
        ]);
        events.extend(noted.then(|| means(1 + ms, 10_500, 9_500)));
        // ten more, which are of one mean whatever came before
        if !noted {
            events.extend(readings(1 + ms, 9_400, true));
            events.push(means(1 + ms, 10_500, 9_400));
        }
        morning(&events, END)
    };
    holds(&apart(180_001, true), END);
    holds(&apart(180_000, true), END);
    breaks(&apart(180_002, true), END, "P3", "the last ten readings make");
    // of one row for sure, the mean of the second ten is that of all ten
    holds(&apart(179_999, false), END);
    // in doubt it may be that as well, and begun anew it is not
    holds(&apart(180_000, false), END);
    holds(&apart(180_001, false), END);
    breaks(&apart(180_002, false), END, "P3", "the last ten readings make");
}

#[test]
fn p3_alarms_of_a_pack_to_the_millivolt() {
    let low = |on| alarm(2, Alarm::PackLow, on);
    let sags = |mv| read_as(1, 10_500, mv);
    // it may be low by account, and it may not go while it is low
    holds(&morning(&all(&[&set(), &sags(7_001), &[low(true)]]), END), END);
    let back = |mv| {
        all(&[
            &set(),
            &sags(7_000),
            &[low(true)],
            &read_as(3, 10_500, mv),
            &[alarm(4, Alarm::PackLow, false)],
        ])
    };
    holds(&morning(&back(7_201), END), END);
    breaks(&morning(&back(7_200), END), END, "P3", "goes at 7200 mV");
    let twice = all(&[&set(), &sags(7_000), &[low(true), alarm(3, Alarm::PackLow, true)]]);
    breaks(&morning(&twice, END), END, "P3", "comes at 7000 mV");
    let never = all(&[&set(), &sags(9_000), &[low(false)]]);
    breaks(&morning(&never, END), END, "P3", "goes at 9000 mV");
    holds(&morning(&[low(false)], END), END);
    // an account stands in where nothing was read
    let unread = all(&[&set(), &[alarm(2, Alarm::PackExhausted, true)]]);
    holds(&morning(&unread, END), END);
}

#[test]
fn p3_by_its_account_alone_a_pack_may_keep_a_dose() {
    use super::bench::{DAY, MIN, is_outcome, is_pulse, places};
    use dosewright_core::cause::Cause;
    use dosewright_core::record::OutcomeKind;
    use dosewright_core::units::Volume;
    // the second night is skipped at the end of its window
    let end = (DAY + 2 * HOUR) as u64;
    let skipped = |events: &[(i64, Ev)], cause| {
        let stream = morning(events, end);
        let second = places(&stream, is_pulse)[30];
        let outcome = places(&stream, is_outcome)[1];
        let Ev::Record(Record::Outcome(mut o)) = stream[outcome].1.clone() else { panic!() };
        let Ev::Record(Record::Outcome(first)) = &stream[places(&stream, is_outcome)[0]].1 else {
            panic!()
        };
        (o.kind, o.at) = (OutcomeKind::Skipped(cause), Instant::from_ms(DAY + 90 * MIN));
        (o.least, o.most, o.carry) = (Volume::ZERO, Volume::ZERO, first.carry);
        let mut stream: Stream = stream[..second].to_vec();
        let stamp = Record::Stamp { at: Instant::from_ms(DAY + HOUR) };
        stream.push(((DAY + HOUR) as u64, Ev::Record(stamp)));
        stream.push(((DAY + 90 * MIN) as u64, Ev::Record(Record::Outcome(o))));
        stream
    };
    holds(&skipped(&set(), Cause::Battery), end);
    breaks(&skipped(&set(), Cause::Leak), end, "D1", "expected skipped,");
    // where its readings say that it is fine, and where there is none, it may not
    let words = "though nothing hindered it";
    let fine = all(&[&set(), &read_as(1, 10_500, 9_500)]);
    breaks(&skipped(&fine, Cause::Battery), end, "D5", words);
    breaks(&skipped(&[], Cause::Battery), end, "D5", words);
    // and where they say that it is not it has to
    let sags = all(&[
        &set(),
        &read_as(1, 10_500, 6_500),
        &[alarm(2, Alarm::PackLow, true), alarm(2, Alarm::PackExhausted, true)],
    ]);
    holds(&skipped(&sags, Cause::Battery), end);
}
