//! Faults and acts from a seed, in the order of their moments.

use std::fmt::Write as _;

use super::Shape;
use super::chance::Chance;
use super::ground::Ground;
use super::kinds::Kind;
use super::lines::{self, Course, length};

/// A seed draws each kind with this share, in percent.
const DRAWN: u64 = 45;
/// So many in a hundred begin while the one before still goes on.
const OVERLAPPING: u64 = 30;

/// The kinds of a seed.
fn drawn(chance: &mut Chance, shape: Shape) -> Vec<Kind> {
    let mut drawn: Vec<Kind> = Vec::new();
    for kind in Kind::ALL {
        // drawn in any case, so that leaving a kind out moves no other's draw
        let is_on = chance.percent(DRAWN) || shape.all_on;
        if is_on && shape.kinds.has(kind) {
            drawn.push(kind);
        }
    }
    drawn
}

/// Until when what was put before still matters, in ms of the run.
#[derive(Debug, Default)]
struct Ahead {
    /// The device may be off.
    off: u64,
    /// A tear waits for its write.
    tear: u64,
    /// A late call is still to come.
    late: u64,
}

impl Ahead {
    /// The first moment from which a kind has something to hit.
    fn free_for(&self, kind: Kind) -> u64 {
        match kind {
            Kind::SupplyLoss | Kind::WatchdogReset | Kind::SpuriousWake => self.off,
            Kind::MemoryTear => self.off.max(self.tear),
            Kind::LateWake => self.off.max(self.late),
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
            _ => {}
        }
    }
}

/// Writes them down. What goes wrong is over at `busy_ms`.
pub(super) fn make(
    chance: &mut Chance,
    ground: &Ground,
    busy_ms: u64,
    shape: Shape,
    text: &mut String,
) {
    let kinds = drawn(chance, shape);
    if kinds.is_empty() || ground.entries.is_empty() {
        return;
    }
    let gap_ms = 2 * 864_000_000 / u64::from(shape.events_per_day_tenths.max(1));
    let mut at = chance.number(0, gap_ms);
    let mut ahead = Ahead::default();
    let mut course = Course::NEW;
    while at < busy_ms {
        let kind = chance.pick(&kinds);
        let is_now = chance.number(1, kind.rarity()) == 1;
        let from = at.max(ahead.free_for(kind));
        let near = ground.near_a_due(chance, from).filter(|near| (from..busy_ms).contains(near));
        let when = near.unwrap_or(from);
        let made = if is_now && when < busy_ms {
            lines::make(chance, kind, ground, &mut course, busy_ms - when)
        } else {
            None
        };
        let Some(made) = made else {
            at += chance.number(0, gap_ms);
            continue;
        };
        let _ = write!(text, "\n[[{}]]\nat = \"+{}\"\n{}\n", made.table, length(when), made.line);
        ahead.put(kind, when, &made);
        // what may take days to come is not waited for
        let lasts = if made.lasts_ms > 10 * 86_400_000 { 0 } else { made.lasts_ms };
        at = if chance.percent(OVERLAPPING) {
            when + chance.number(0, lasts.min(gap_ms))
        } else {
            when + lasts + 1 + chance.number(0, gap_ms)
        };
    }
}
