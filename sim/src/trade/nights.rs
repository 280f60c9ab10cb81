//! When in a night a dose has its place: after the last water, and so long
//! before the next that the product has its contact time (common practice, no
//! source).

/// Minutes after the last water before a dose begins (common practice, no
/// source).
pub const SETTLE_MIN: u32 = 30;
/// Minutes in a day.
const DAY_MIN: u32 = 1440;
/// Noon: a trading night runs from noon to noon.
const NOON_MIN: u32 = 720;

/// Where a dose may lie, in minutes after the noon of the night's own day: 00:45
/// of a night is 765.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Slot {
    /// The dose may begin.
    pub from: u32,
    /// The dose has to be over.
    pub to: u32,
}

/// Minutes after the night's noon of a time of day in minutes: a time before
/// noon belongs to the day before.
pub const fn after_noon(at_min: u32) -> u32 {
    (at_min + DAY_MIN - NOON_MIN) % DAY_MIN
}

/// The time of day of minutes after noon.
pub const fn time_of_day(after_noon_min: u32) -> u32 {
    (after_noon_min + NOON_MIN) % DAY_MIN
}

/// The slot between the last water of a night and the first of the next
/// morning, both times of day in minutes; `None` where the contact time and the
/// half hour after the last water leave none.
pub fn slot(last_water: u32, first_water: u32, settle: u32, contact: u32) -> Option<Slot> {
    let off = after_noon(last_water);
    let on = after_noon(first_water);
    // a kitchen that opens before noon and after: the night is what lies between
    let on = if on <= off { on + DAY_MIN } else { on };
    let from = off + settle;
    let to = on.checked_sub(contact)?;
    (from < to).then_some(Slot { from, to })
}
