//! Calls of the memory that go wrong, drawn from a stream of their own: with or without them,
//! all else of a seed is the same.

use std::fmt::Write as _;

use super::Shape;
use super::chance::Chance;
use super::faults::DRAWN;
use super::ground::Ground;
use super::kinds::Kind;
use super::lines::{NEXT_ERASE_MS, length};

/// Sets the stream apart.
const CALLS: u64 = 0x6361_6c6c_7300;

const KINDS: [Kind; 3] = [Kind::Misread, Kind::WriteFailure, Kind::EraseFailure];

/// A misread start reads each slot several times: a place among its readings.
const READINGS: u64 = 1_500;
const HOUR_MS: u64 = 3_600_000;

/// Half as many of them as of all else; `off` is from when to when the device may be off.
pub(super) fn make(
    seed: u64,
    ground: &Ground,
    busy_ms: u64,
    shape: Shape,
    off: &[(u64, u64)],
    text: &mut String,
) {
    let chance = &mut Chance::new(seed ^ CALLS);
    let mut kinds = Vec::new();
    for kind in KINDS {
        let is_on = chance.percent(DRAWN) || shape.all_on;
        if is_on && shape.kinds.has(kind) {
            kinds.push(kind);
        }
    }
    if kinds.is_empty() {
        return;
    }
    let gap_ms = 2 * 2 * 864_000_000 / u64::from(shape.events_per_day_tenths.max(1));
    let mut at = chance.number(0, gap_ms);
    while at < busy_ms {
        let when = ground.near_a_due(chance, at).filter(|near| *near < busy_ms).unwrap_or(at);
        let kind = chance.pick(&kinds);
        let line = line(chance, kind, busy_ms - when);
        let _ = write!(text, "\n[[fault]]\nat = \"+{}\"\n{line}\n", length(when));
        let is_off = off.iter().any(|&(from, until)| (from..=until).contains(&when));
        let restarts = kind == Kind::Misread && chance.percent(50);
        if restarts && !is_off && shape.kinds.has(Kind::WatchdogReset) {
            let _ =
                write!(text, "\n[[fault]]\nat = \"+{}\"\nwatchdog_reset = {{}}\n", length(when));
        }
        at = when + 1 + chance.number(0, gap_ms);
    }
}

/// One of a kind, which is over when there has to be calm.
pub(super) fn line(chance: &mut Chance, kind: Kind, left_ms: u64) -> String {
    let wait_ms = if kind == Kind::EraseFailure { NEXT_ERASE_MS } else { 24 * HOUR_MS };
    let within = length(wait_ms.min(left_ms));
    let times = times(chance, kind);
    if kind == Kind::Misread {
        let how = chance.pick(&["bit", "error", "blank"]);
        // the last slot, read as blank twice at a start, is one that was never written
        let times = if how == "blank" { 1 } else { times };
        let after = chance.number(0, READINGS);
        return format!(
            "misread = {{ times = {times}, how = \"{how}\", after = {after}, within = \"{within}\" }}"
        );
    }
    let (done, reported) = chance.pick(&[
        ("nothing", true),
        ("half", true),
        ("all", true),
        ("nothing", false),
        ("half", false),
    ]);
    let after = chance.number(0, if kind == Kind::WriteFailure { 40 } else { 1 });
    format!(
        "{} = {{ times = {times}, done = \"{done}\", reported = {reported}, after = {after}, \
         within = \"{within}\" }}",
        kind.word()
    )
}

/// Mostly one. What is read wrongly three times in a row counts as damaged, and what that
/// touched cannot be judged as strictly afterwards: it is as rare as a bit that flips.
fn times(chance: &mut Chance, kind: Kind) -> u64 {
    match (kind, chance.number(0, 39)) {
        (Kind::Misread, 0) => chance.number(3, 8),
        (Kind::Misread, 1..=3) => 2,
        (Kind::EraseFailure, 0..=9) => chance.number(2, 8),
        // a sector is given up after eight
        (Kind::WriteFailure, 0..=9) => chance.number(2, 9),
        (Kind::WriteFailure, 10..=12) => chance.number(10, 40),
        // for an hour or so nothing is taken
        (Kind::WriteFailure, 13) => chance.number(41, 1_000),
        _ => 1,
    }
}
