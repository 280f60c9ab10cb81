//! The passes of shrinking, in the order in which they help most.

use dosewright_core::civil::Local;
use toml_edit::Value;

use super::Work;
use super::plain::Plain;
use super::simpler::simpler;
use crate::scenario;

const DAY_MS: u64 = 86_400_000;

/// All of them, again and again until none helps.
pub(super) fn all(work: &mut Work) {
    shorten(work);
    loop {
        let before = work.best.size();
        drop_blocks(work);
        shorten(work);
        begin_later(work);
        drop_keys(work);
        simplify(work);
        if work.stopped || work.best.size() == before {
            return;
        }
    }
}

/// Lists of tables by halves, quarters and so on down to single ones, then every
/// other table.
fn drop_blocks(work: &mut Work) {
    let mut share = work.best.blocks.len();
    while share > 0 {
        let mut from = 0;
        while from < work.best.blocks.len() && !work.stopped {
            let mut smaller = work.best.clone();
            let mut place = 0;
            let mut left = share;
            smaller.blocks.retain(|block| {
                place += 1;
                let goes = place > from && left > 0 && (block.is_listed || share == 1);
                let goes = goes && !block.name.is_empty();
                left -= usize::from(goes);
                !goes
            });
            if !work.offer(smaller) {
                from += share;
            }
        }
        share /= 2;
    }
}

/// The run ends soon after the failure was noticed.
fn shorten(work: &mut Work) {
    let Some(noticed_ms) = work.noticed_ms else { return };
    for step in [DAY_MS, 3_600_000, 60_000, 1_000] {
        let ms = (noticed_ms + 1).div_ceil(step) * step;
        for ms in [ms, ms + step] {
            let mut shorter = work.best.clone();
            if set(&mut shorter, "clock", "run_for", &length(ms)) && work.offer(shorter) {
                return;
            }
        }
    }
}

fn set(plain: &mut Plain, table: &str, key: &str, text: &str) -> bool {
    let block = plain.blocks.iter_mut().find(|block| block.name == table);
    let pair = block.and_then(|block| block.pairs.iter_mut().find(|(name, _)| name == key));
    let Some((_, value)) = pair else { return false };
    *value = Value::from(text);
    true
}

/// The largest unit that says it in whole numbers.
fn length(ms: u64) -> String {
    let units = [(DAY_MS, "d"), (3_600_000, "h"), (60_000, "min"), (1_000, "s"), (1, "ms")];
    let (in_ms, unit) =
        units.into_iter().find(|(in_ms, _)| ms.is_multiple_of(*in_ms)).unwrap_or((1, "ms"));
    format!("{} {unit}", ms / in_ms)
}

/// A text in parts, as a made scenario has it.
fn in_parts(ms: u64) -> String {
    let parts = [
        (ms / DAY_MS, "d"),
        (ms / 3_600_000 % 24, "h"),
        (ms / 60_000 % 60, "min"),
        (ms / 1000 % 60, "s"),
        (ms % 1000, "ms"),
    ];
    let words: Vec<String> =
        parts.iter().filter(|(n, _)| *n > 0).map(|(n, unit)| format!("{n} {unit}")).collect();
    if words.is_empty() { "0 s".to_owned() } else { words.join(" ") }
}

/// The run begins whole days later, all that happens in it at the same true times.
fn begin_later(work: &mut Work) {
    let moments = |plain: &Plain| -> Option<Vec<u64>> {
        let listed = plain.blocks.iter().filter(|block| block.is_listed);
        let at = listed.flat_map(|block| block.pairs.iter().filter(|(key, _)| key == "at"));
        at.map(|(_, value)| offset(value)).collect()
    };
    let Some(first) = moments(&work.best).and_then(|all| all.into_iter().min()) else { return };
    let mut days = first / DAY_MS;
    while days > 0 && !work.stopped {
        if let Some(later) = later(&work.best, days)
            && work.offer(later)
        {
            return;
        }
        days /= 2;
    }
}

/// The ms of a moment "+1 d 2 h".
fn offset(value: &Value) -> Option<u64> {
    scenario::length(value.as_str()?.strip_prefix('+')?).ok()
}

fn later(plain: &Plain, days: u64) -> Option<Plain> {
    let mut out = plain.clone();
    let by_ms = days * DAY_MS;
    for block in &mut out.blocks {
        for (key, value) in &mut block.pairs {
            match (block.name.as_str(), key.as_str()) {
                ("clock", "start") => *value = moved(value, days)?,
                ("clock", "run_for") => {
                    let ms = scenario::length(value.as_str()?).ok()?.checked_sub(by_ms)?;
                    *value = Value::from(length(ms));
                }
                ("fault" | "operator", "at") => {
                    let ms = offset(value)?.checked_sub(by_ms)?;
                    *value = Value::from(format!("+{}", in_parts(ms)));
                }
                _ => {}
            }
        }
    }
    Some(out)
}

/// A date and time so many days later.
fn moved(value: &Value, days: u64) -> Option<Value> {
    let text = value.to_string();
    let (date, time) = text.trim().split_once('T')?;
    let mut numbers = date.split('-').map(|part| part.parse::<i32>().ok());
    let (y, m, d) = (numbers.next()??, numbers.next()??, numbers.next()??);
    let date =
        dosewright_core::civil::Date::from_ymd(y, u8::try_from(m).ok()?, u8::try_from(d).ok()?)?;
    let midnight = Local::new(date, dosewright_core::time::Duration::ZERO).as_ms();
    let moved = Local::from_ms(midnight.saturating_add_unsigned(days * DAY_MS)).date();
    let (y, m, d) = moved.ymd();
    format!("{y:04}-{m:02}-{d:02}T{time}").parse::<toml_edit::Datetime>().ok().map(Value::from)
}

/// Whether a table stays as it is written: what is expected is what fails.
fn is_kept(work: &Work, block: usize) -> bool {
    work.best.blocks.get(block).is_some_and(|block| block.name == "expect")
}

/// Keys that need not be there, and parts of lists.
fn drop_keys(work: &mut Work) {
    let mut block = 0;
    while block < work.best.blocks.len() && !work.stopped {
        if is_kept(work, block) {
            block += 1;
            continue;
        }
        let mut nth = work.best.paths(block).len();
        while nth > 0 && !work.stopped {
            nth -= 1;
            let Some(path) = work.best.paths(block).get(nth).cloned() else { continue };
            let mut smaller = work.best.clone();
            if smaller.remove(block, &path).is_some() {
                work.offer(smaller);
            }
        }
        block += 1;
    }
}

/// Values that say less.
fn simplify(work: &mut Work) {
    for block in 0..work.best.blocks.len() {
        if is_kept(work, block) {
            continue;
        }
        for path in work.best.paths(block) {
            loop {
                let Some(value) = work.best.value_mut(block, &path).cloned() else { break };
                let taken = simpler(&value).into_iter().any(|simple| {
                    let mut smaller = work.best.clone();
                    let Some(place) = smaller.value_mut(block, &path) else { return false };
                    let decor = place.decor().clone();
                    *place = simple;
                    *place.decor_mut() = decor;
                    work.offer(smaller)
                });
                if !taken || work.stopped {
                    break;
                }
            }
        }
    }
}
