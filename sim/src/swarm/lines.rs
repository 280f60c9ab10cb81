//! One fault or act of a kind, as the lines of a scenario file. A new kind needs
//! its word in `kinds` and an arm here.

use super::calls;
use super::chance::Chance;
use super::ground::Ground;
use super::kinds::Kind;

/// A fault or an act.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Made {
    /// `fault` or `operator`.
    pub(super) table: &'static str,
    /// Its key and value.
    pub(super) line: String,
    /// The device may be off so long from its moment on.
    pub(super) off_ms: u64,
    /// It may go on so long from its moment on.
    pub(super) lasts_ms: u64,
    /// What somebody does about it, and how long after its moment.
    pub(super) then: Option<(String, u64)>,
}

/// What was made before, and what there is time for.
#[derive(Debug)]
pub(super) struct Course {
    /// The entry that is disabled now, by its place.
    disabled: Option<usize>,
    /// A sector has been worn already.
    pub(super) is_worn: bool,
    /// The sectors that something will be written to: one of those may be worn.
    pub(super) written: Vec<u64>,
    /// A PIN may be set, so that an act may want it first.
    pub(super) has_pin: bool,
    /// The one that is made now has to last so long to take effect.
    pub(super) least_ms: u64,
}

impl Course {
    pub(super) const NEW: Self =
        Self { disabled: None, is_worn: false, written: Vec::new(), has_pin: false, least_ms: 0 };
}

/// A stamp is due within the hour, and with it a write.
const NEXT_WRITE_MS: u64 = 3_700_000;
/// With the fewest records a sector lasts about three weeks.
pub(super) const NEXT_ERASE_MS: u64 = 30 * 86_400_000;
const DAY_MS: u64 = 86_400_000;

/// A length written so that a person can read it: `1 d 3 h 20 s`.
pub(super) fn length(ms: u64) -> String {
    let parts = [
        (ms / DAY_MS, "d"),
        (ms / 3_600_000 % 24, "h"),
        (ms / 60_000 % 60, "min"),
        (ms / 1000 % 60, "s"),
        (ms % 1000, "ms"),
    ];
    let words: Vec<String> = parts
        .iter()
        .filter(|(value, _)| *value > 0)
        .map(|(value, unit)| format!("{value} {unit}"))
        .collect();
    if words.is_empty() { "0 s".to_owned() } else { words.join(" ") }
}

/// A length that is short, middling or long, each about as often, and no longer
/// than `most`.
fn some_length(chance: &mut Chance, most: u64) -> u64 {
    let drawn = match chance.number(0, 3) {
        0 => chance.number(1, 5_000),
        1 => chance.number(5_000, 600_000),
        2 => chance.number(600_000, 7_200_000),
        _ => chance.number(7_200_000, 40 * 3_600_000),
    };
    drawn.min(most.max(1))
}

/// One of a kind, with at most `left_ms` until it must be over; `None` where there
/// is no room for it or nothing that it could be done to.
pub(super) fn make(
    chance: &mut Chance,
    kind: Kind,
    ground: &Ground,
    course: &mut Course,
    left_ms: u64,
) -> Option<Made> {
    let fault = |line: String, off_ms: u64, lasts_ms: u64| {
        Some(Made { table: "fault", line, off_ms, lasts_ms: lasts_ms.max(off_ms), then: None })
    };
    let act = |line: String, lasts_ms: u64| {
        Some(Made { table: "operator", line, off_ms: 0, lasts_ms, then: None })
    };
    match kind {
        Kind::SupplyLoss | Kind::ClockLost => {
            let lasts = some_length(chance, left_ms);
            fault(format!("{} = {{ lasts = \"{}\" }}", kind.word(), length(lasts)), lasts, lasts)
        }
        Kind::RemoteStop | Kind::Leak => {
            let lasts = some_length(chance, left_ms);
            fault(format!("{} = {{ lasts = \"{}\" }}", kind.word(), length(lasts)), 0, lasts)
        }
        Kind::MemoryTear => {
            let erase = chance.percent(15) && left_ms > NEXT_ERASE_MS + 2 * DAY_MS;
            let wait = if erase { NEXT_ERASE_MS } else { NEXT_WRITE_MS };
            let lasts = some_length(chance, left_ms.checked_sub(wait)?);
            let (during, most) = if erase { ("during = \"erase\", ", 191) } else { ("", 63) };
            let after = chance.number(0, most);
            // a pack can have the device off by then: what has not come goes by
            let (lasts_text, within) = (length(lasts), length(wait));
            fault(
                format!(
                    "memory_tear = {{ {during}after = {after}, lasts = \"{lasts_text}\", \
                     within = \"{within}\" }}"
                ),
                lasts + wait,
                lasts + wait,
            )
        }
        Kind::BitFlip => {
            let sector = chance.number(0, ground.sectors - 1);
            // the front of a sector holds the snapshot that all of it hangs on
            let most = if chance.percent(50) { 8_192 } else { ground.sector_bytes };
            let offset = chance.number(0, most.min(ground.sector_bytes) - 1);
            let address = sector * ground.sector_bytes + offset;
            let bit = chance.number(0, 7);
            fault(format!("bit_flip = {{ address = {address}, bit = {bit} }}"), 0, 0)
        }
        Kind::PageWorn => {
            // the ring goes on with two sectors, not with one
            if course.is_worn || ground.sectors < 3 {
                return None;
            }
            course.is_worn = true;
            let drawn = chance.number(0, ground.sectors - 1);
            // one that nothing is written to would test nothing
            let count = course.written.len().max(1) as u64;
            let sector = course.written.get((drawn % count) as usize).copied().unwrap_or(drawn);
            fault(format!("page_worn = {{ sector = {sector} }}"), 0, 0)
        }
        Kind::LateWake => {
            let times = chance.number(1, 3);
            let by = some_length(chance, 7_200_000);
            let lasts = (by + NEXT_WRITE_MS) * times;
            if lasts > left_ms {
                return None;
            }
            let by = length(by);
            fault(format!("late_wake = {{ by = \"{by}\", times = {times} }}"), 0, lasts)
        }
        Kind::SpuriousWake => {
            let (times, over) = (chance.number(1, 50), chance.number(1_000, 3_600_000));
            let line =
                format!("spurious_wake = {{ times = {times}, over = \"{}\" }}", length(over));
            fault(line, 0, over)
        }
        Kind::WatchdogReset => fault("watchdog_reset = {}".to_owned(), 0, 0),
        Kind::SetClock => {
            let sign = chance.pick(&["", "-"]);
            let by = match chance.number(0, 19) {
                0 => chance.number(2, 400) * DAY_MS,
                1 => 3_652 * DAY_MS,
                _ => some_length(chance, u64::MAX),
            };
            act(format!("set_clock = {{ by = \"{sign}{}\" }}", length(by)), 0)
        }
        Kind::SetZone => {
            let zone =
                chance.pick(&["UTC0", "EST5EDT,M3.2.0,M11.1.0", "CET-1CEST,M3.5.0,M10.5.0/3"]);
            act(format!("set_zone = {{ zone = \"{zone}\" }}"), 0)
        }
        Kind::Edit => {
            let name = &ground.any(chance).name;
            let change = match chance.number(0, 4) {
                0 => format!("window = \"{} min\"", chance.number(5, 90)),
                1 => format!("grace = \"{} min\"", chance.number(0, 45)),
                2 => format!("pulses = {}", chance.number(1, 40)),
                _ => format!("volume = \"{} ml\"", chance.number(5, 150)),
            };
            act(format!("edit = {{ entry = \"{name}\", {change} }}"), 0)
        }
        Kind::Disable => {
            let (word, at) = match course.disabled.take() {
                Some(at) => ("enable", at),
                None => {
                    let at = chance.number(0, ground.entries.len() as u64 - 1) as usize;
                    course.disabled = Some(at);
                    ("disable", at)
                }
            };
            act(format!("{word} = {{ entry = \"{}\" }}", ground.entries[at].name), 0)
        }
        Kind::Timetable => {
            let kept: Vec<String> = ground
                .entries
                .iter()
                .map(|known| {
                    let ml = chance.number(5, 150);
                    format!("{{ {}, volume = \"{ml} ml\" }}", known.inline)
                })
                .collect();
            act(format!("timetable = {{ entries = [{}] }}", kept.join(", ")), 0)
        }
        Kind::RunAgain | Kind::StopDose => {
            act(format!("{} = {{ entry = \"{}\" }}", kind.word(), ground.any(chance).name), 0)
        }
        Kind::ContainerLow | Kind::MotorStall | Kind::OverCurrent => {
            let lasts = some_length(chance, left_ms).max(course.least_ms);
            let line = format!("{} = {{ lasts = \"{}\" }}", kind.word(), length(lasts));
            let made = fault(line, 0, lasts)?;
            let about = if kind == Kind::ContainerLow { "refill" } else { "acknowledge" };
            (lasts <= left_ms).then(|| followed(chance, made, about, left_ms))
        }
        Kind::SqueezeLost | Kind::FootValveLeak => {
            let lasts = some_length(chance, left_ms.min(7_200_000)).max(course.least_ms);
            let ml = chance.number(1, if kind == Kind::SqueezeLost { 400 } else { 60 });
            let lasts_text = length(lasts);
            let line =
                format!("{} = {{ flow = \"{ml} ml/min\", lasts = \"{lasts_text}\" }}", kind.word());
            let made = fault(line, 0, lasts)?;
            let siphons = kind == Kind::SqueezeLost;
            (lasts <= left_ms)
                .then(|| if siphons { followed(chance, made, "refill", left_ms) } else { made })
        }
        Kind::LevelBounce => {
            let (times, over) = (chance.number(1, 40), chance.number(100, 60_000));
            let over_text = length(over);
            fault(format!("level_bounce = {{ times = {times}, over = \"{over_text}\" }}"), 0, over)
        }
        Kind::Refill => {
            let most = ground.container?.capacity_nl / 1_000_000;
            let level = chance.number(0, most);
            let line = if chance.percent(60) {
                "refill = {}".to_owned()
            } else {
                format!("refill = {{ level = \"{level} ml\" }}")
            };
            act(line, 0)
        }
        Kind::Acknowledge => act("acknowledge = {}".to_owned(), 0),
        Kind::ChangeTube => {
            let near = near_flow(chance, ground);
            act(format!("change_tube = {{ true_flow = \"{near}\" }}"), 0)
        }
        Kind::SetPin => {
            course.has_pin = true;
            let line =
                if chance.percent(70) { "set_pin = { pin = \"0417\" }" } else { "set_pin = {}" };
            act(line.to_owned(), 0)
        }
        Kind::ChangePack => {
            ground.has_pack.then_some(())?;
            let told = chance.percent(70);
            act(format!("change_pack = {{ told = {told} }}"), 0)
        }
        Kind::QueueFlood => Some(flood(chance)),
        Kind::Misread | Kind::WriteFailure | Kind::EraseFailure => {
            fault(calls::line(chance, kind, left_ms), 0, 0)
        }
        Kind::Unlock => {
            let line = match chance.number(0, 9) {
                0 | 1 => "lock = {}",
                2 | 3 => "unlock = { pin = \"1111\" }",
                _ => RIGHT_PIN,
            };
            act(line.to_owned(), 0)
        }
        Kind::Prime => act(format!("prime = {{ volume = \"{} ml\" }}", chance.number(1, 200)), 0),
        Kind::Calibrate => {
            let run_s = chance.number(10, 300);
            if chance.percent(30) {
                let near = near_flow(chance, ground);
                let line = format!("calibrate = {{ run = \"{run_s} s\", flow = \"{near}\" }}");
                return act(line, run_s * 1000);
            }
            let (vessel, holds_ml) =
                chance.pick(&[("50 ml", 50), ("100 ml", 100), ("250 ml", 250), ("1 l", 1000)]);
            let is_timed = chance.percent(50);
            let run = if is_timed { format!("run = \"{run_s} s\", ") } else { String::new() };
            let is_read = chance.percent(60);
            let reading = if is_read {
                "as_delivered = true".to_owned()
            } else {
                format!("measured = \"{} ml\"", chance.number(1, 250).min(holds_ml))
            };
            // the others may overflow, and are not read then
            let large = is_timed && is_read && !run_s.is_multiple_of(4);
            let first = if large { "1 l" } else { vessel };
            let (found, confirm) = (chance.percent(25), chance.percent(60));
            let line = format!(
                "calibrate = {{ {run}vessel = \"{first}\", reading_error = \"0.2 ml\", {reading}, \
                 as_found = {found}, confirm = {confirm} }}"
            );
            // two runs at most, with what comes between and after them
            let made = act(line, 30 * 60_000)?;
            if !ground.has_drive || found || !chance.percent(60) {
                return Some(made);
            }
            // and a train, or two
            let after = chance.number(5, 40) * 60_000;
            let train = format!(
                "calibrate = {{ vessel = \"{vessel}\", reading_error = \"0.2 ml\", {reading}, \
                 train = true, confirm = {confirm} }}"
            );
            let lasts_ms = after + 40 * 60_000;
            let then = (lasts_ms < left_ms).then_some((train, after));
            Some(Made { lasts_ms, then, ..made })
        }
    }
}

/// More signals at once than the queue holds.
pub(super) fn flood(chance: &mut Chance) -> Made {
    let line = format!("queue_flood = {{ events = {} }}", chance.number(17, 200));
    Made { table: "fault", line, off_ms: 0, lasts_ms: 0, then: None }
}

/// Enters the PIN that is ever set.
pub(super) const RIGHT_PIN: &str = "unlock = { pin = \"0417\" }";

/// A flow within a tenth of the site's.
fn near_flow(chance: &mut Chance, ground: &Ground) -> String {
    let nl_per_min = u64::from(ground.flow.as_nl_per_min());
    let near = nl_per_min * chance.number(900, 1100) / 1000 / 1000;
    format!("{}.{:03} ml/min", near / 1000, near % 1000)
}

/// More often than not somebody does something about it within a day and a half.
fn followed(chance: &mut Chance, made: Made, about: &'static str, left_ms: u64) -> Made {
    let after = made.lasts_ms.saturating_add(chance.number(1, 36 * 3_600_000));
    let then = (chance.percent(75) && after < left_ms).then(|| (format!("{about} = {{}}"), after));
    Made { then, ..made }
}
