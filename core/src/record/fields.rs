//! The fields that records are made of, in bytes.

// in line, with the lengths known, a field is one load; else a good part of a pump edge
// goes into checks of lengths
#![allow(clippy::inline_always)]

use super::{
    Begin, ClosedList, ClosedRun, Delivery, DueKey, LineState, MOST_CLOSED, Mark, Outcome,
    OutcomeKind, Pulse, Staged, Waiting,
};
use crate::cause::Cause;
use crate::civil::{Date, Days};
use crate::codec::{Get, Put};
use crate::entry::{ClosedDates, Entry, EntryId, GapRule, Nominal, Recurrence};
use crate::time::{Instant, Utc};
use crate::units::{Carry, Flow, Volume};
use crate::zone::Zone;

pub(super) const NO_NOMINAL: u32 = u32::MAX;
pub(super) const NO_TIME: i64 = (1 << 47) - 1;

#[cfg_attr(not(target_pointer_width = "32"), inline(always))]
pub(super) fn put_mark(p: &mut Put, mark: Mark) {
    p.u32(mark.map_or(NO_NOMINAL, |n| n.0));
}

#[cfg_attr(not(target_pointer_width = "32"), inline(always))]
pub(super) fn get_mark(g: &mut Get) -> Mark {
    let n = g.u32();
    (n != NO_NOMINAL).then_some(Nominal(n))
}

#[cfg_attr(not(target_pointer_width = "32"), inline(always))]
pub(super) fn put_utc(p: &mut Put, utc: Option<Utc>) {
    p.i48(utc.map_or(NO_TIME, Utc::as_ms));
}

#[cfg_attr(not(target_pointer_width = "32"), inline(always))]
pub(super) fn get_utc(g: &mut Get) -> Option<Utc> {
    let ms = g.i48();
    (ms != NO_TIME).then_some(Utc::from_ms(ms))
}

#[cfg_attr(not(target_pointer_width = "32"), inline(always))]
pub(super) fn put_instant(p: &mut Put, at: Instant) {
    p.i48(at.as_ms());
}

#[cfg_attr(not(target_pointer_width = "32"), inline(always))]
pub(super) fn get_instant(g: &mut Get) -> Instant {
    Instant::from_ms(g.i48())
}

#[cfg_attr(not(target_pointer_width = "32"), inline(always))]
pub(super) fn put_key(p: &mut Put, due: &DueKey) {
    p.u16(due.id.0);
    p.u16(due.revision);
    p.u16(due.epoch);
    p.u32(due.nominal.0);
}

#[cfg_attr(not(target_pointer_width = "32"), inline(always))]
pub(super) fn get_key(g: &mut Get) -> DueKey {
    DueKey { id: EntryId(g.u16()), revision: g.u16(), epoch: g.u16(), nominal: Nominal(g.u32()) }
}

#[cfg_attr(not(target_pointer_width = "32"), inline(always))]
pub(super) fn put_cause(p: &mut Put, cause: Option<Cause>) {
    p.u8(cause.map_or(0, Cause::code));
}

#[cfg_attr(not(target_pointer_width = "32"), inline(always))]
pub(super) fn get_cause(g: &mut Get) -> Option<Cause> {
    let code = g.u8();
    let cause = Cause::from_code(code);
    g.ok &= code == 0 || cause.is_some();
    cause
}

/// A cause that has to be there.
#[cfg_attr(not(target_pointer_width = "32"), inline(always))]
pub(super) fn get_some_cause(g: &mut Get) -> Cause {
    let cause = get_cause(g);
    g.or(cause, Cause::Damaged)
}

/// Dates are stored as days since [`Date::MIN`].
pub(super) const NO_DATE: u16 = u16::MAX;

#[cfg_attr(not(target_pointer_width = "32"), inline(always))]
pub(super) fn put_date(p: &mut Put, date: Option<Date>) {
    // a date out of range is stored as one that is out of range too
    let days = date.map(|d| u16::try_from(d.days().saturating_sub(Date::MIN.days())));
    p.u16(days.map_or(NO_DATE, |days| days.map_or(NO_DATE - 1, |d| d.min(NO_DATE - 1))));
}

#[cfg_attr(not(target_pointer_width = "32"), inline(always))]
pub(super) fn get_date(g: &mut Get) -> Option<Date> {
    let days = g.u16();
    // its range is asked of what it is a date of
    (days != NO_DATE).then_some(Date::MIN.plus_days(i32::from(days)))
}

#[cfg_attr(not(target_pointer_width = "32"), inline(always))]
pub(super) fn put_volume(p: &mut Put, volume: Volume) {
    p.u40(volume.as_nl());
}

#[cfg_attr(not(target_pointer_width = "32"), inline(always))]
pub(super) fn get_volume(g: &mut Get) -> Volume {
    Volume::from_nl(g.u40())
}

#[cfg_attr(not(target_pointer_width = "32"), inline(always))]
pub(super) fn get_zone(g: &mut Get) -> Zone {
    let zone = Zone::decode(&g.array());
    g.or(zone, Zone::UTC)
}

#[cfg_attr(not(target_pointer_width = "32"), inline(always))]
pub(super) fn get_flow(g: &mut Get) -> Flow {
    let flow = Flow::from_nl_per_min(g.u32());
    g.or(flow, Flow::LEAST)
}

pub(super) const NO_VOLUME: u64 = 0xff_ffff_ffff;

#[cfg_attr(not(target_pointer_width = "32"), inline(always))]
pub(super) fn put_ceiling(p: &mut Put, ceiling: Option<Volume>) {
    p.u40(ceiling.map_or(NO_VOLUME, |v| v.as_nl().min(NO_VOLUME - 1)));
}

#[cfg_attr(not(target_pointer_width = "32"), inline(always))]
pub(super) fn get_ceiling(g: &mut Get) -> Option<Volume> {
    let nl = g.u40();
    (nl != NO_VOLUME).then_some(Volume::from_nl(nl))
}

pub(super) const ENABLED: u8 = 1;
pub(super) const WEEKLY: u8 = 2;
pub(super) const BY_NIGHT: u8 = 4;
pub(super) const OBSERVES_CLOSED: u8 = 8;
pub(super) const FIRST_VALID: u8 = 16;
pub(super) const NO_PULSES: u8 = 32;
/// An interval entry with dates, for which there is no room: it is refused anyway.
pub(super) const DATED: u8 = 64;
/// Those that the ledger has.
const FLAGS: u8 = ENABLED | WEEKLY | BY_NIGHT | OBSERVES_CLOSED | FIRST_VALID | NO_PULSES;

/// Bytes of an entry where the fields of the other recurrence are left out.
pub(super) const PACKED_ENTRY: usize = 30;

/// In the ledger an entry has the fields of both recurrences.
#[cfg_attr(not(target_pointer_width = "32"), inline(always))]
fn put_entry(p: &mut Put, e: &Entry) {
    put_fields(p, e, true);
}

#[cfg_attr(not(target_pointer_width = "32"), inline(always))]
pub(super) fn put_packed_entry(p: &mut Put, e: &Entry) {
    put_fields(p, e, false);
}

#[cfg_attr(not(target_pointer_width = "32"), inline(always))]
fn put_fields(p: &mut Put, e: &Entry, both: bool) {
    let mut flags = 0;
    for (on, bit) in [
        (e.enabled, ENABLED),
        (e.observes_closed, OBSERVES_CLOSED),
        (e.gap_rule == GapRule::FirstValid, FIRST_VALID),
        (e.pulses == Some(0), NO_PULSES),
        (!both && !e.is_weekly() && (e.first.is_some() || e.last.is_some()), DATED),
    ] {
        if on {
            flags |= bit;
        }
    }
    p.u16(e.id.0);
    let (mut weekly, mut every, mut start) = (None, 0, Instant::ZERO);
    match e.recurrence {
        Recurrence::Weekly { days, at_min, by_night } => {
            flags |= WEEKLY | if by_night { BY_NIGHT } else { 0 };
            weekly = Some((days.bits(), at_min));
        }
        Recurrence::Interval { every_ms, from } => {
            (every, start) = (i64::try_from(every_ms).unwrap_or(i64::MAX), from);
        }
    }
    p.u8(flags);
    if weekly.is_some() || both {
        let (days, at_min) = weekly.unwrap_or_default();
        p.u8(days);
        p.u16(at_min);
    }
    if weekly.is_none() || both {
        p.i48(every);
        put_instant(p, start);
    }
    put_volume(p, e.volume);
    p.u32(e.window_ms);
    p.u32(e.grace_ms);
    if weekly.is_some() || both {
        put_date(p, e.first);
        put_date(p, e.last);
    }
    p.u16(e.pulses.unwrap_or(0));
}

#[cfg_attr(not(target_pointer_width = "32"), inline(always))]
fn get_entry(g: &mut Get) -> Entry {
    let entry = get_fields(g, true);
    g.in_range &= entry.bad_field().is_none();
    entry
}

#[cfg_attr(not(target_pointer_width = "32"), inline(always))]
pub(super) fn get_packed_entry(g: &mut Get) -> Entry {
    get_fields(g, false)
}

#[cfg_attr(not(target_pointer_width = "32"), inline(always))]
fn get_fields(g: &mut Get, both: bool) -> Entry {
    let id = EntryId(g.u16());
    let flags = g.u8();
    let is_weekly = flags & WEEKLY != 0;
    let (mut days, mut at_min) = (0, 0);
    if is_weekly || both {
        (days, at_min) = (g.u8(), g.u16());
    }
    let (mut every, mut from) = (0, Instant::ZERO);
    if !is_weekly || both {
        (every, from) = (g.i48(), get_instant(g));
    }
    // what says nothing of this recurrence, or of any, is zero
    let (unused, of_the_other) = if is_weekly {
        (0, every | from.as_ms())
    } else {
        (BY_NIGHT, i64::from(days) | i64::from(at_min))
    };
    g.ok &= flags & (unused | !FLAGS) == 0 && days & !Days::ALL.bits() == 0 && of_the_other == 0;
    let recurrence = if is_weekly {
        let by_night = flags & BY_NIGHT != 0;
        Recurrence::Weekly { days: Days::from_bits(days), at_min, by_night }
    } else {
        // one below zero is far out of its range as one above
        Recurrence::Interval { every_ms: every as u64, from }
    };
    let (volume, window_ms, grace_ms) = (get_volume(g), g.u32(), g.u32());
    let (mut first, mut last) = ((flags & DATED != 0).then_some(Date::MIN), None);
    if is_weekly || both {
        (first, last) = (get_date(g), get_date(g));
    }
    Entry {
        id,
        enabled: flags & ENABLED != 0,
        recurrence,
        volume,
        window_ms,
        grace_ms,
        first,
        last,
        observes_closed: flags & OBSERVES_CLOSED != 0,
        gap_rule: if flags & FIRST_VALID != 0 { GapRule::FirstValid } else { GapRule::Shift },
        pulses: {
            let (pulses, none) = (g.u16(), flags & NO_PULSES != 0);
            g.ok &= pulses == 0 || !none;
            (pulses != 0 || none).then_some(pulses)
        },
    }
}

#[cfg_attr(not(target_pointer_width = "32"), inline(always))]
pub(super) fn put_staged(p: &mut Put, s: &Staged) {
    p.u8(s.line);
    put_entry(p, &s.entry);
    p.u16(s.revision);
    put_mark(p, s.mark);
    p.u8(u8::from(s.edited));
}

#[cfg_attr(not(target_pointer_width = "32"), inline(always))]
pub(super) fn get_staged(g: &mut Get) -> Staged {
    Staged {
        line: g.u8(),
        entry: get_entry(g),
        revision: g.u16(),
        mark: get_mark(g),
        edited: g.bool(),
    }
}

#[cfg_attr(not(target_pointer_width = "32"), inline(always))]
pub(super) fn put_closed(p: &mut Put, list: &ClosedList) {
    let mut dates = list.iter();
    for _ in 0..MOST_CLOSED {
        let stretch = dates.next();
        put_date(p, stretch.map(|c| c.first));
        put_date(p, stretch.map(|c| c.last));
    }
}

#[cfg_attr(not(target_pointer_width = "32"), inline(always))]
pub(super) fn get_closed(g: &mut Get) -> ClosedList {
    let (mut list, mut is_over) = (ClosedList::EMPTY, false);
    for _ in 0..MOST_CLOSED {
        g.ok &= match (get_date(g), get_date(g)) {
            (Some(first), Some(last)) => !is_over && list.push(ClosedDates { first, last }),
            (None, None) => {
                is_over = true;
                true
            }
            _ => false,
        };
    }
    list
}

pub(super) const ASKED: u8 = 4;

#[cfg_attr(not(target_pointer_width = "32"), inline(always))]
pub(super) fn put_outcome(p: &mut Put, o: &Outcome) {
    p.u8(o.line);
    put_key(p, &o.due);
    p.u32(o.last.0);
    p.u24(o.count);
    put_instant(p, o.at);
    put_instant(p, o.due_at);
    p.u32(o.begun_after_ms);
    put_volume(p, o.least);
    put_volume(p, o.most);
    let kind = match o.kind {
        OutcomeKind::Dosed => 0,
        OutcomeKind::Part(_) => 1,
        OutcomeKind::Skipped(_) => 2,
    };
    p.u8(kind | if o.asked { ASKED } else { 0 });
    put_cause(p, o.kind.cause());
    p.u8(o.restarts);
    put_mark(p, o.mark);
    p.u32(o.carry.0);
}

#[cfg_attr(not(target_pointer_width = "32"), inline(always))]
pub(super) fn get_outcome(g: &mut Get) -> Outcome {
    let (line, due, last, count) = (g.u8(), get_key(g), Nominal(g.u32()), g.u24());
    let (at, due_at, begun_after_ms) = (get_instant(g), get_instant(g), g.u32());
    let (least, most) = (get_volume(g), get_volume(g));
    g.ok &= least <= most;
    let (bits, cause) = (g.u8(), get_cause(g));
    let kind = match (bits & !ASKED, cause) {
        (0, None) => Some(OutcomeKind::Dosed),
        (1, Some(cause)) => Some(OutcomeKind::Part(cause)),
        (2, Some(cause)) => Some(OutcomeKind::Skipped(cause)),
        _ => None,
    };
    Outcome {
        line,
        due,
        last,
        count,
        at,
        due_at,
        begun_after_ms,
        least,
        most,
        kind: g.or(kind, OutcomeKind::Dosed),
        asked: bits & ASKED != 0,
        restarts: g.u8(),
        mark: get_mark(g),
        carry: Carry(g.u32()),
    }
}

#[cfg_attr(not(target_pointer_width = "32"), inline(always))]
pub(super) fn put_pulse(p: &mut Put, pulse: &Pulse, more_flags: u8) {
    p.u8(pulse.line);
    put_key(p, &pulse.due);
    put_mark(p, pulse.mark);
    put_instant(p, pulse.at);
    put_instant(p, pulse.due_at);
    p.u32(pulse.begun_after_ms);
    p.u32(pulse.on_ms);
    p.u32(pulse.least_ms);
    p.u32(pulse.most_ms);
    p.u32(pulse.dose_ms);
    p.u32(pulse.flow.as_nl_per_min());
    p.u8(u8::from(pulse.asked) | u8::from(pulse.first) << 3 | more_flags);
    put_cause(p, pulse.cut);
    p.u8(pulse.restarts);
}

#[cfg_attr(not(target_pointer_width = "32"), inline(always))]
pub(super) fn get_pulse(g: &mut Get) -> (Pulse, u8) {
    let (line, due, mark) = (g.u8(), get_key(g), get_mark(g));
    let (at, due_at, begun_after_ms) = (get_instant(g), get_instant(g), g.u32());
    let (on_ms, least_ms, most_ms, dose_ms) = (g.u32(), g.u32(), g.u32(), g.u32());
    // what no dose can have pumped is nobody's intent
    g.ok &= least_ms <= most_ms && most_ms <= dose_ms && on_ms <= dose_ms;
    let (flow, flags) = (get_flow(g), g.u8());
    let (cut, restarts) = (get_cause(g), g.u8());
    let (asked, first) = (flags & 1 != 0, flags & 8 != 0);
    let pulse = Pulse {
        line,
        due,
        mark,
        at,
        due_at,
        begun_after_ms,
        on_ms,
        least_ms,
        most_ms,
        dose_ms,
        flow,
        first,
        asked,
        cut,
        restarts,
    };
    (pulse, flags & !9)
}

#[cfg_attr(not(target_pointer_width = "32"), inline(always))]
pub(super) fn put_begin(p: &mut Put, begin: &Begin) {
    put_instant(p, begin.at);
    put_utc(p, begin.utc);
    p.u16(begin.losses);
}

#[cfg_attr(not(target_pointer_width = "32"), inline(always))]
pub(super) fn get_begin(g: &mut Get) -> Begin {
    Begin { at: get_instant(g), utc: get_utc(g), losses: g.u16() }
}

pub(super) const HAS_LAST: u8 = 1;
pub(super) const HAS_WAITING: u8 = 2;
pub(super) const HAS_CLOSED: u8 = 4;
pub(super) const EDITED: u8 = 8;
/// The most bytes that a line's state takes.
pub(super) const STATE: usize = 44;

/// A waiting due and a run of closed dues exclude each other on one line in
/// practice; where both stand, the run is dropped: it only joins records.
#[cfg_attr(not(target_pointer_width = "32"), inline(always))]
pub(super) fn put_state(p: &mut Put, s: &LineState) {
    let mut flags = if s.edited { EDITED } else { 0 };
    if s.last.is_some() {
        flags |= HAS_LAST;
    }
    if s.waiting.is_some() {
        flags |= HAS_WAITING;
    } else if s.closed_run.is_some() {
        flags |= HAS_CLOSED;
    }
    p.u8(flags);
    p.u16(s.revision);
    put_mark(p, s.mark);
    p.u32(s.carry.0);
    if let Some(begin) = &s.last {
        put_begin(p, begin);
    }
    if let Some(w) = &s.waiting {
        p.u16(w.id.0);
        p.u16(w.revision);
        p.u16(w.epoch);
        p.u32(w.nominal.0);
        put_instant(p, w.due_at);
        p.u8(w.cause.code());
    } else if let Some(run) = &s.closed_run {
        put_key(p, &run.first);
        put_instant(p, run.due_at);
        p.u24(run.count);
    }
}

#[cfg_attr(not(target_pointer_width = "32"), inline(always))]
pub(super) fn get_state(g: &mut Get) -> LineState {
    let flags = g.u8();
    // what waits is no row of closed dates
    let both = HAS_WAITING | HAS_CLOSED;
    g.ok &= flags & !(EDITED | HAS_LAST | both) == 0 && flags & both != both;
    let mut state = LineState {
        revision: g.u16(),
        mark: get_mark(g),
        edited: flags & EDITED != 0,
        carry: Carry(g.u32()),
        ..LineState::default()
    };
    if flags & HAS_LAST != 0 {
        state.last = Some(get_begin(g));
    }
    if flags & HAS_WAITING != 0 {
        state.waiting = Some(Waiting {
            id: EntryId(g.u16()),
            revision: g.u16(),
            epoch: g.u16(),
            nominal: Nominal(g.u32()),
            due_at: get_instant(g),
            cause: get_some_cause(g),
        });
    } else if flags & HAS_CLOSED != 0 {
        state.closed_run =
            Some(ClosedRun { first: get_key(g), due_at: get_instant(g), count: g.u24() });
    }
    state
}

#[cfg_attr(not(target_pointer_width = "32"), inline(always))]
pub(super) fn put_delivery(p: &mut Put, d: &Delivery) {
    p.u8(1);
    p.u16(d.id.0);
    put_begin(p, &d.begin);
    p.u32(d.begun_after_ms);
    put_volume(p, d.volume);
}

#[cfg_attr(not(target_pointer_width = "32"), inline(always))]
pub(super) fn get_delivery(g: &mut Get) -> Option<Delivery> {
    g.bool().then(|| Delivery {
        id: EntryId(g.u16()),
        begin: get_begin(g),
        begun_after_ms: g.u32(),
        volume: get_volume(g),
    })
}
