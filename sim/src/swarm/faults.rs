//! Faults and acts from a seed, in the order of their moments.

use std::fmt::Write as _;

use super::Shape;
use super::calls;
use super::chance::Chance;
use super::ground::Ground;
use super::kinds::Kind;
use super::lines::{self, Course, RIGHT_PIN, length};
use super::probe;

/// A seed draws each kind with this share, in percent.
pub(super) const DRAWN: u64 = 45;
/// So many in a hundred begin while the one before still goes on.
const OVERLAPPING: u64 = 30;

/// The kinds of a seed.
fn drawn(chance: &mut Chance, shape: Shape, ground: &Ground) -> Vec<Kind> {
    let mut drawn: Vec<Kind> = Vec::new();
    for kind in Kind::ALL {
        if kind.has_its_own_stream() || kind == Kind::ChangePack && !ground.has_pack {
            continue;
        }
        // drawn in any case, so that leaving a kind out moves no other's draw
        let is_on = chance.percent(DRAWN) || shape.all_on;
        if is_on && shape.kinds.has(kind) {
            drawn.push(kind);
        }
    }
    drawn
}

/// Runs that look for a moment, for one seed: each costs as much as the run itself.
const MOST_PROBED: u32 = 8;

/// Where a fault of the motor, the container or the tube takes effect, at a moment
/// or soon after it, and how long it has to last for that.
fn bite(
    chance: &mut Chance,
    kind: Kind,
    ground: &Ground,
    text: &str,
    from: u64,
    until: u64,
) -> Option<(u64, u64)> {
    match kind {
        Kind::MotorStall | Kind::OverCurrent => {
            let (began, ended) = probe::pump_run(text, from, until)?;
            let last = ended - KNOWN_BY_MS;
            let when = if chance.percent(70) {
                chance.number(began, last)
            } else {
                chance.number(from.max(began.saturating_sub(3_600_000)), began)
            };
            Some((when, began.saturating_sub(when) + KNOWN_BY_MS))
        }
        Kind::FootValveLeak => {
            ground.lifts.then_some(())?;
            let (began, _) = probe::pump_run(text, from + 60_000, until)?;
            Some((from, began - from + 1))
        }
        Kind::ContainerLow => {
            let low = ground.container?.low_nl?;
            (probe::level_nl(text, from)? > low).then_some((from, 1))
        }
        Kind::SqueezeLost => {
            let heel = ground.container?.heel_nl;
            (probe::level_nl(text, from)? > heel).then_some((from, 1))
        }
        Kind::LevelBounce => ground.container?.low_nl.map(|_| (from, 1)),
        _ => Some((from, 0)),
    }
}

/// A motor's driver knows of a stall by then.
const KNOWN_BY_MS: u64 = 300;

/// Until when what was put before still matters, in ms of the run.
#[derive(Debug, Default)]
struct Ahead {
    /// The device may be off.
    off: u64,
    /// A tear waits for its write.
    tear: u64,
    /// A late call is still to come.
    late: u64,
    /// A fault of the motor, the container or the tube is on, or has still to bite.
    parts: u64,
    /// So many moments have been looked for already.
    probed: u32,
}

impl Ahead {
    /// The first moment from which a kind has something to hit.
    fn free_for(&self, kind: Kind) -> u64 {
        match kind {
            Kind::SupplyLoss | Kind::WatchdogReset | Kind::SpuriousWake => self.off,
            Kind::MemoryTear => self.off.max(self.tear),
            Kind::LateWake => self.off.max(self.late),
            Kind::LevelBounce => self.off,
            Kind::ContainerLow
            | Kind::MotorStall
            | Kind::OverCurrent
            | Kind::SqueezeLost
            | Kind::FootValveLeak => self.parts,
            _ => 0,
        }
    }

    fn put(&mut self, kind: Kind, at: u64, made: &lines::Made) {
        match kind {
            Kind::SupplyLoss | Kind::ClockLost => self.off = self.off.max(at + made.off_ms + 1),
            Kind::MemoryTear => {
                self.tear = at + made.off_ms + 1;
                self.off = self.off.max(self.tear);
            }
            Kind::LateWake => self.late = at + made.lasts_ms + 1,
            Kind::ContainerLow
            | Kind::MotorStall
            | Kind::OverCurrent
            | Kind::SqueezeLost
            | Kind::FootValveLeak => self.parts = at + made.lasts_ms + 1,
            _ => {}
        }
    }
}

/// Writes them down. What goes wrong is over at `busy_ms`.
pub(super) fn make(
    seed: u64,
    chance: &mut Chance,
    ground: &Ground,
    busy_ms: u64,
    shape: Shape,
    text: &mut String,
) {
    if ground.entries.is_empty() {
        return;
    }
    let kinds = drawn(chance, shape, ground);
    let mut off = Vec::new();
    if !kinds.is_empty() {
        make_all_but_floods(chance, ground, &kinds, busy_ms, shape, &mut off, text);
    }
    floods(&mut Chance::new(seed ^ FLOODS), ground, busy_ms, shape, &off, text);
    calls::make(seed, ground, busy_ms, shape, &off, text);
}

/// Sets the stream of the floods apart: with or without them, all else of a seed is
/// the same.
const FLOODS: u64 = 0x666c_6f6f_6473;

/// Floods of the device's queue, a tenth as many as of all else, where the device is not
/// off; `off` is from when to when it may be.
fn floods(
    chance: &mut Chance,
    ground: &Ground,
    busy_ms: u64,
    shape: Shape,
    off: &[(u64, u64)],
    text: &mut String,
) {
    let is_on = chance.percent(DRAWN) || shape.all_on;
    if !is_on || !shape.kinds.has(Kind::QueueFlood) {
        return;
    }
    let gap_ms = 10 * 2 * 864_000_000 / u64::from(shape.events_per_day_tenths.max(1));
    let mut at = chance.number(0, gap_ms);
    while at < busy_ms {
        let when = ground.near_a_due(chance, at).filter(|near| *near < busy_ms).unwrap_or(at);
        let made = lines::flood(chance);
        if !off.iter().any(|&(from, until)| (from..=until).contains(&when)) {
            let _ =
                write!(text, "\n[[{}]]\nat = \"+{}\"\n{}\n", made.table, length(when), made.line);
        }
        at = when + 1 + chance.number(0, gap_ms);
    }
}

fn make_all_but_floods(
    chance: &mut Chance,
    ground: &Ground,
    kinds: &[Kind],
    busy_ms: u64,
    shape: Shape,
    off: &mut Vec<(u64, u64)>,
    text: &mut String,
) {
    let gap_ms = 2 * 864_000_000 / u64::from(shape.events_per_day_tenths.max(1));
    let mut at = chance.number(0, gap_ms);
    let mut ahead = Ahead::default();
    let mut course = Course::NEW;
    while at < busy_ms {
        let kind = chance.pick(kinds);
        let is_now = chance.number(1, kind.rarity()) == 1;
        let from = at.max(ahead.free_for(kind));
        let near = ground.near_a_due(chance, from).filter(|near| (from..busy_ms).contains(near));
        let mut when = near.unwrap_or(from);
        course.least_ms = 0;
        let mut bites = true;
        if is_now && when < busy_ms && kind.is_of_a_part() {
            bites = ahead.probed < MOST_PROBED;
            ahead.probed += 1;
            let place = bites.then(|| bite(chance, kind, ground, text, when, busy_ms)).flatten();
            bites = place.is_some();
            (when, course.least_ms) = place.unwrap_or((when, 0));
        }
        if is_now && when < busy_ms && kind == Kind::PageWorn && !course.is_worn {
            course.written = probe::sectors(text, when, busy_ms, ground.sector_bytes);
        }
        let made = if is_now && bites && when < busy_ms {
            lines::make(chance, kind, ground, &mut course, busy_ms - when)
        } else {
            None
        };
        let Some(made) = made else {
            at += chance.number(0, gap_ms);
            continue;
        };
        if made.table == "operator" && course.has_pin && chance.percent(60) {
            // whoever comes to do something knows the PIN
            let _ = write!(text, "\n[[operator]]\nat = \"+{}\"\n{RIGHT_PIN}\n", length(when));
        }
        let _ = write!(text, "\n[[{}]]\nat = \"+{}\"\n{}\n", made.table, length(when), made.line);
        if let Some((line, after)) = &made.then {
            let at = length(when + after);
            let _ = write!(text, "\n[[operator]]\nat = \"+{at}\"\n{line}\n");
        }
        ahead.put(kind, when, &made);
        if made.off_ms > 0 {
            off.push((when, when + made.off_ms));
        }
        // what may take days to come is not waited for
        let lasts = if made.lasts_ms > 10 * 86_400_000 { 0 } else { made.lasts_ms };
        at = if chance.percent(OVERLAPPING) {
            // nothing comes before it has taken effect
            when + course.least_ms + chance.number(0, lasts.min(gap_ms))
        } else {
            when + lasts + 1 + chance.number(0, gap_ms)
        };
    }
}
