//! Records in bytes and back.
//!
//! A record's first byte is its kind; what it does not fill is zero. Bytes that no
//! encoder writes are no record (M2): every field is checked on the way in, and what is
//! read is written again as the same bytes. One thing is read that only devices before wrote:
//! bit 128 of the motor's byte.

use super::fields::*;
use super::parts::*;
use super::{Act, Adopted, Alarm, Born, NewPack, RECORD_BYTES, Record, Reset};
use crate::codec::{Get, Put};
use crate::entry::EntryId;
use crate::lock::PinWord;
use crate::time::Instant;

impl From<Record> for [u8; RECORD_BYTES] {
    fn from(record: Record) -> Self {
        record.encode()
    }
}

impl Record {
    /// The record's bytes; what a field cannot hold is clamped as its codec says.
    pub fn encode(&self) -> [u8; RECORD_BYTES] {
        let mut bytes = [0; RECORD_BYTES];
        self.write(&mut bytes);
        bytes
    }

    /// The same, put down where there is a place for it.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(crate) fn write(&self, bytes: &mut [u8; RECORD_BYTES]) {
        *bytes = [0; RECORD_BYTES];
        let mut p = Put::new(bytes);
        p.u8(self.kind());
        match self {
            Self::Boot { at, feed_kept, reset } => {
                put_instant(&mut p, *at);
                p.u8(u8::from(*feed_kept));
                p.u8(*reset as u8);
            }
            Self::Clock { at, epoch, utc, zone } => {
                put_instant(&mut p, *at);
                p.u16(*epoch);
                put_utc(&mut p, *utc);
                p.bytes(&zone.encode());
            }
            Self::Head { at, head } => {
                put_instant(&mut p, *at);
                put_head(&mut p, head);
            }
            Self::Staged(s) | Self::SnapEntry(s) => put_staged(&mut p, s),
            Self::StagedClosed(list) | Self::SnapClosed(list) => put_closed(&mut p, list),
            Self::Adopted(a) => {
                put_instant(&mut p, a.at);
                put_ceiling(&mut p, a.ceiling);
                p.u64(a.written);
                p.u64(a.cleared);
                p.u8(u8::from(a.closed_staged));
                // formats before 8 had nothing here: zeros
                put_volume(&mut p, a.kept_ceiling);
            }
            Self::Born(b) => {
                p.u8(b.line);
                put_key(&mut p, &b.due);
                put_mark(&mut p, b.mark);
                put_instant(&mut p, b.at);
                put_instant(&mut p, b.due_at);
                p.u8(b.cause.code());
            }
            Self::Pulse(pulse) => put_pulse(&mut p, pulse, 0),
            Self::Outcome(o) => put_outcome(&mut p, o),
            Self::Stamp { at } => put_instant(&mut p, *at),
            Self::Act { at, act, ms } => {
                put_instant(&mut p, *at);
                p.u8(*act as u8);
                p.u32(*ms);
            }
            Self::Alarm { at, alarm, on, detail } => {
                put_instant(&mut p, *at);
                p.u8(*alarm as u8);
                p.u8(u8::from(*on));
                p.u64(*detail);
            }
            Self::Container { at, container, level, pumped_ms } => {
                put_instant(&mut p, *at);
                put_container(&mut p, container);
                put_volume(&mut p, *level);
                p.u32(pumped_ms.map_or(0, |ms| ms.saturating_add(1)));
            }
            Self::Motor { at, faults } => {
                put_instant(&mut p, *at);
                p.u8(*faults);
            }
            Self::Pin { at, check } => {
                put_instant(&mut p, *at);
                p.u32(check.0);
            }
            Self::Pack { at, pack, how } => {
                put_instant(&mut p, *at);
                put_pack(&mut p, pack);
                p.u8(*how as u8);
            }
            Self::PackMeans { at, rest_mv, load_mv } => {
                put_instant(&mut p, *at);
                p.u16(*rest_mv);
                p.u16(*load_mv);
            }
            Self::Lit { at, ms } => {
                put_instant(&mut p, *at);
                p.u32(*ms);
            }
            Self::Calibration { found, in_force, lead_ms } => {
                put_found(&mut p, found);
                p.u8(u8::from(*in_force));
                p.u16(*lead_ms);
            }
            Self::SnapClock { at, epoch, utc, losses, not_before, zone } => {
                put_instant(&mut p, *at);
                p.u16(*epoch);
                put_utc(&mut p, *utc);
                p.u16(*losses);
                put_instant(&mut p, *not_before);
                p.bytes(&zone.encode());
            }
            Self::SnapGlobals {
                ceiling,
                next_id,
                asks,
                damaged,
                closed_damaged,
                alarms,
                rest_until,
                occupied,
                motor,
                kept_ceiling,
                kept_until,
            } => {
                put_ceiling(&mut p, *ceiling);
                p.u16(*next_id);
                p.u32(*asks);
                p.u64(*damaged);
                p.u8(u8::from(*closed_damaged));
                p.u16(*alarms);
                put_instant(&mut p, *rest_until);
                p.u64(*occupied);
                put_motor(&mut p, motor.as_ref());
                // formats before 8 had nothing here: zeros
                put_volume(&mut p, *kept_ceiling);
                put_instant(&mut p, *kept_until);
            }
            Self::SnapHead(head) => put_head(&mut p, head),
            Self::SnapLine { line, id, state } => {
                p.u8(*line);
                p.u16(id.0);
                put_state(&mut p, state);
            }
            Self::SnapDeliveries(items) => {
                for delivery in items.iter().flatten() {
                    put_delivery(&mut p, delivery);
                }
            }
            Self::SnapStarts(items) => {
                for &at in items.iter().flatten() {
                    put_instant(&mut p, at);
                }
                for _ in items.iter().filter(|item| item.is_none()) {
                    p.i48(NO_TIME);
                }
            }
            Self::SnapOpen { pulse, lost, in_doubt } => {
                let flags = if *lost { 2 } else { 0 } | if *in_doubt { 4 } else { 0 };
                put_pulse(&mut p, pulse, flags);
            }
            Self::SnapStock(stock) => put_stock(&mut p, stock),
            Self::SnapTube(tube) => put_tube(&mut p, tube),
            Self::SnapLock(lock) => put_lock(&mut p, lock),
            Self::SnapGauge(gauge) => put_gauge(&mut p, gauge),
        }
        debug_assert!(p.fits, "a record outgrew its slot");
    }

    /// The record that these bytes say; `None` where no encoder wrote them.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub fn decode(bytes: &[u8; RECORD_BYTES]) -> Option<Self> {
        let mut record = Self::Stamp { at: Instant::ZERO };
        record.read(bytes).then_some(record)
    }

    /// The same of settings that may be out of their range: those of a message, which the
    /// logic answers with what is wrong.
    pub(crate) fn decode_of_any_range(bytes: &[u8; RECORD_BYTES]) -> Option<Self> {
        let mut record = Self::Stamp { at: Instant::ZERO };
        record.read_of(bytes, true).then_some(record)
    }

    /// The record, put down where there is a place for it: each kind is written there
    /// as it is read, which on a device is a third of the code of making them all
    /// one value first. `false` leaves anything behind.
    pub(crate) fn read(&mut self, bytes: &[u8; RECORD_BYTES]) -> bool {
        self.read_of(bytes, false)
    }

    #[cfg_attr(target_pointer_width = "32", inline(never))]
    fn read_of(&mut self, bytes: &[u8; RECORD_BYTES], any_range: bool) -> bool {
        let g = &mut Get::new(bytes);
        match g.u8() {
            1 => {
                *self = Self::Boot {
                    at: get_instant(g),
                    feed_kept: g.bool(),
                    reset: {
                        let code = g.u8();
                        let reset = Reset::ALL.into_iter().find(|&reset| reset as u8 == code);
                        g.or(reset, Reset::PowerOn)
                    },
                }
            }
            2 => {
                *self = Self::Clock {
                    at: get_instant(g),
                    epoch: g.u16(),
                    utc: get_utc(g),
                    zone: get_zone(g),
                }
            }
            3 => *self = Self::Head { at: get_instant(g), head: get_head(g) },
            4 => *self = Self::Staged(get_staged(g)),
            5 => *self = Self::StagedClosed(get_closed(g)),
            6 => {
                *self = Self::Adopted(Adopted {
                    at: get_instant(g),
                    ceiling: get_ceiling(g),
                    written: g.u64(),
                    cleared: g.u64(),
                    closed_staged: g.bool(),
                    kept_ceiling: get_volume(g),
                });
            }
            7 => {
                *self = Self::Born(Born {
                    line: g.u8(),
                    due: get_key(g),
                    mark: get_mark(g),
                    at: get_instant(g),
                    due_at: get_instant(g),
                    cause: get_some_cause(g),
                });
            }
            8 => {
                let (pulse, flags) = get_pulse(g);
                g.ok &= flags == 0;
                *self = Self::Pulse(pulse);
            }
            9 => *self = Self::Outcome(get_outcome(g)),
            10 => *self = Self::Stamp { at: get_instant(g) },
            11 => {
                *self = Self::Act {
                    at: get_instant(g),
                    act: {
                        let code = g.u8();
                        g.or(Act::ALL.into_iter().find(|&act| act as u8 == code), Act::Acknowledged)
                    },
                    ms: g.u32(),
                }
            }
            12 => {
                *self = Self::Alarm {
                    at: get_instant(g),
                    alarm: {
                        let code = g.u8();
                        let alarm = Alarm::ALL.into_iter().find(|&alarm| alarm as u8 == code);
                        g.or(alarm, Alarm::ClockUnset)
                    },
                    on: g.bool(),
                    detail: g.u64(),
                }
            }
            13 => {
                *self = Self::Container {
                    at: get_instant(g),
                    container: get_container(g),
                    level: get_volume(g),
                    pumped_ms: g.u32().checked_sub(1),
                }
            }
            14 => *self = Self::Motor { at: get_instant(g), faults: get_faults(g) },
            15 => {
                *self =
                    Self::Calibration { found: get_found(g), in_force: g.bool(), lead_ms: g.u16() }
            }
            16 => *self = Self::Pin { at: get_instant(g), check: PinWord(g.u32()) },
            17 => {
                *self = Self::Pack {
                    at: get_instant(g),
                    pack: get_pack(g),
                    how: {
                        let code = g.u8();
                        let how = NewPack::ALL.into_iter().find(|&how| how as u8 == code);
                        g.or(how, NewPack::Set)
                    },
                }
            }
            18 => {
                *self = Self::PackMeans { at: get_instant(g), rest_mv: g.u16(), load_mv: g.u16() };
            }
            19 => *self = Self::Lit { at: get_instant(g), ms: g.u32() },
            32 => {
                *self = Self::SnapClock {
                    at: get_instant(g),
                    epoch: g.u16(),
                    utc: get_utc(g),
                    losses: g.u16(),
                    not_before: get_instant(g),
                    zone: get_zone(g),
                }
            }
            33 => {
                *self = Self::SnapGlobals {
                    ceiling: get_ceiling(g),
                    next_id: g.u16(),
                    asks: g.u32(),
                    damaged: g.u64(),
                    closed_damaged: g.bool(),
                    alarms: g.u16(),
                    rest_until: get_instant(g),
                    occupied: g.u64(),
                    motor: get_motor(g),
                    kept_ceiling: get_volume(g),
                    kept_until: get_instant(g),
                }
            }
            34 => *self = Self::SnapHead(get_head(g)),
            35 => *self = Self::SnapClosed(get_closed(g)),
            36 => *self = Self::SnapEntry(get_staged(g)),
            37 => {
                *self = Self::SnapLine { line: g.u8(), id: EntryId(g.u16()), state: get_state(g) };
            }
            38 => {
                *self = Self::SnapDeliveries(get_list(g, get_delivery));
            }
            39 => {
                *self = Self::SnapStarts(get_list(g, |g| {
                    let ms = g.i48();
                    (ms != NO_TIME).then_some(Instant::from_ms(ms))
                }));
            }
            40 => {
                let (pulse, flags) = get_pulse(g);
                g.ok &= flags & !6 == 0;
                *self = Self::SnapOpen { pulse, lost: flags & 2 != 0, in_doubt: flags & 4 != 0 };
            }
            41 => *self = Self::SnapStock(get_stock(g)),
            42 => *self = Self::SnapTube(get_tube(g)),
            43 => *self = Self::SnapLock(get_lock(g)),
            44 => *self = Self::SnapGauge(get_gauge(g)),
            _ => return false,
        }
        g.ok && (g.in_range || any_range) && g.rest_is_zero()
    }
}

/// A list that ends with its first empty place.
fn get_list<T, const N: usize>(
    g: &mut Get<'_>,
    item: impl Fn(&mut Get<'_>) -> Option<T>,
) -> [Option<T>; N] {
    let mut was_there = true;
    core::array::from_fn(|_| {
        let item = item(g);
        g.ok &= was_there || item.is_none();
        was_there = item.is_some();
        item
    })
}
