//! The parts of a device, as records have them: head, container, tube set, motor,
//! lock, battery pack.

use super::fields::{NO_VOLUME, get_flow, get_instant, get_volume, put_instant, put_volume};
use crate::codec::{Get, Put};
use crate::config::{Container, Head};
use crate::lock::{Lock, PinWord};
use crate::motor::Motor;
use crate::power::{Gauge, Pack};
use crate::stock::Stock;
use crate::time::Instant;
use crate::tube::{Found, Tube};
use crate::units::Volume;

pub(super) fn put_head(p: &mut Put, h: &Head) {
    p.u32(h.flow.as_nl_per_min());
    p.u8(h.rollers);
    put_volume(p, h.roller_pass);
    p.u32(h.shortest_on_ms);
    p.u32(h.shortest_off_ms);
    p.u32(h.longest_run_ms);
    p.u32(h.least_rest_ms);
    p.u16(h.starts_per_hour);
    put_volume(p, h.least_pulse);
    p.u32(h.longest_prime_ms);
    p.u32(h.longest_calibration_ms);
    // formats before 4 had nothing here: zeros
    p.u16(h.lead_ms);
}

pub(super) fn get_head(g: &mut Get) -> Head {
    let head = Head {
        flow: get_flow(g),
        rollers: g.u8(),
        roller_pass: get_volume(g),
        shortest_on_ms: g.u32(),
        shortest_off_ms: g.u32(),
        longest_run_ms: g.u32(),
        least_rest_ms: g.u32(),
        starts_per_hour: g.u16(),
        least_pulse: get_volume(g),
        longest_prime_ms: g.u32(),
        longest_calibration_ms: g.u32(),
        lead_ms: g.u16(),
    };
    g.in_range &= head.problem().is_none();
    head
}

pub(super) fn put_container(p: &mut Put, c: &Container) {
    put_volume(p, c.capacity);
    put_volume(p, c.low);
    put_volume(p, c.heel);
    p.u32(c.debounce_ms);
}

pub(super) fn get_container(g: &mut Get) -> Container {
    let container = Container {
        capacity: get_volume(g),
        low: get_volume(g),
        heel: get_volume(g),
        debounce_ms: g.u32(),
    };
    g.in_range &= container.is_sound();
    container
}

pub(super) fn put_stock(p: &mut Put, s: &Stock) {
    put_container(p, &s.container);
    // of a run that has begun all is written as drawn, and how much it is
    let left = s.level.minus(s.service);
    put_volume(p, left);
    put_volume(p, s.service);
    // what was drawn since the level was spoken of, the run's all with it, of 40 bits: below
    // zero while what the open dose had drawn by then is still to come off, since format 8
    p.u40(s.spoken.as_nl().wrapping_sub(left.as_nl()) & NO_VOLUME);
}

pub(super) fn get_stock(g: &mut Get) -> Stock {
    let (container, left, service) = (get_container(g), get_volume(g), get_volume(g));
    // format 2 ends before it, in zeros: what a run draws then was drawn before
    let spoken = Volume::from_nl(left.as_nl().wrapping_add(g.u40()) & NO_VOLUME);
    Stock { container, level: left.plus(service), service, spoken }
}

pub(super) fn put_found(p: &mut Put, found: &Found) {
    put_instant(p, found.at);
    p.u32(found.flow.as_nl_per_min());
    p.u32(found.uncertainty_ppm);
}

pub(super) fn get_found(g: &mut Get) -> Found {
    Found { at: get_instant(g), flow: get_flow(g), uncertainty_ppm: g.u32() }
}

pub(super) fn put_lock(p: &mut Put, lock: &Lock) {
    p.u32(lock.word().0);
    p.u8(lock.wrong);
    put_instant(p, lock.at);
}

pub(super) fn get_lock(g: &mut Get) -> Lock {
    let mut lock = Lock::with(PinWord(g.u32()));
    (lock.wrong, lock.at) = (g.u8(), get_instant(g));
    lock
}

pub(super) fn put_pack(p: &mut Put, pack: &Pack) {
    for field in [
        pack.capacity_mah,
        pack.motor_ma,
        pack.start_ma,
        pack.start_ms,
        pack.sleep_ua,
        pack.display_ua,
        pack.low_mv,
        pack.exhausted_mv,
        pack.hysteresis_mv,
        pack.jump_mv,
    ] {
        p.u16(field);
    }
    p.u8(pack.warn_days);
}

pub(super) fn get_pack(g: &mut Get) -> Pack {
    let pack = Pack {
        capacity_mah: g.u16(),
        motor_ma: g.u16(),
        start_ma: g.u16(),
        start_ms: g.u16(),
        sleep_ua: g.u16(),
        display_ua: g.u16(),
        low_mv: g.u16(),
        exhausted_mv: g.u16(),
        hysteresis_mv: g.u16(),
        jump_mv: g.u16(),
        warn_days: g.u8(),
    };
    g.ok &= pack.is_sound();
    pack
}

pub(super) fn put_gauge(p: &mut Put, gauge: &Gauge) {
    put_pack(p, &gauge.pack);
    put_instant(p, gauge.since);
    p.u64(gauge.used_uc);
    p.u16(gauge.rest_mv);
    p.u16(gauge.load_mv);
}

pub(super) fn get_gauge(g: &mut Get) -> Gauge {
    Gauge {
        pack: get_pack(g),
        since: get_instant(g),
        used_uc: g.u64(),
        rest_mv: g.u16(),
        load_mv: g.u16(),
    }
}

/// Bits of what a record of the tube set has: when it was put in, the nominal
/// flow, and the calibrations in their order.
pub(super) const HAS_SINCE: u8 = 1;
pub(super) const HAS_NOMINAL: u8 = 2;
pub(super) const HAS_FOUND: u8 = 4;

pub(super) fn put_tube(p: &mut Put, tube: &Tube) {
    let mut has = 0;
    for (is_there, bit) in
        [(tube.since.is_some(), HAS_SINCE), (tube.nominal.is_some(), HAS_NOMINAL)]
    {
        if is_there {
            has |= bit;
        }
    }
    for (place, found) in tube.found.iter().enumerate() {
        if found.is_some() {
            has |= HAS_FOUND << place;
        }
    }
    p.u8(has);
    if let Some(since) = tube.since {
        put_instant(p, since);
    }
    if let Some(nominal) = tube.nominal {
        p.u32(nominal.as_nl_per_min());
    }
    for found in tube.calibrations() {
        put_found(p, &found);
    }
}

pub(super) fn get_tube(g: &mut Get) -> Tube {
    let has = g.u8();
    let mut tube = Tube::UNKNOWN;
    if has & HAS_SINCE != 0 {
        tube.since = Some(get_instant(g));
    }
    if has & HAS_NOMINAL != 0 {
        tube.nominal = Some(get_flow(g));
    }
    for (place, found) in tube.found.iter_mut().enumerate() {
        if has & HAS_FOUND << place != 0 {
            *found = Some(get_found(g));
        }
    }
    // they come one after another
    let found = has / HAS_FOUND;
    g.ok &= matches!(found, 0 | 1 | 3 | 7);
    tube
}

/// A start since the last fault, which devices before took for a retry that went well.
pub(super) const TRIED: u8 = 128;
pub(super) const HAS_MOTOR: u8 = 64;

/// Format 1 had nothing here: zeros.
pub(super) fn put_motor(p: &mut Put, motor: Option<&Motor>) {
    p.u8(motor.map_or(0, |m| m.faults | HAS_MOTOR));
    put_instant(p, motor.map_or(Instant::ZERO, |m| m.at));
}

pub(super) fn get_motor(g: &mut Get) -> Option<Motor> {
    let bits = g.u8();
    let motor = Motor { faults: bits & !(TRIED | HAS_MOTOR), at: get_instant(g) };
    g.ok &= motor.faults <= Motor::LATCHED;
    if bits & HAS_MOTOR != 0 {
        return Some(motor);
    }
    g.ok &= bits == 0 && motor.at == Instant::ZERO;
    None
}

pub(super) fn get_faults(g: &mut Get) -> u8 {
    let faults = g.u8();
    g.ok &= faults <= Motor::LATCHED;
    faults
}
