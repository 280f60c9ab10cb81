//! Places to choose from, with the rules of their time.
//!
//! The rules are those of the IANA time zone database (release 2025b and later); the
//! tests compare each with it.

use crate::zone::{ChangeDay, ChangeRule, Summer, Zone};

/// When the clocks change.
#[derive(Clone, Copy)]
enum Changes {
    Never,
    /// The European Union: at one o'clock UTC.
    Europe,
    /// The United States: at two o'clock by the clock.
    America,
    Australia,
    NewZealand,
}

use Changes::{America, Australia, Europe, Never, NewZealand};

/// The places: name, quarters of an hour east of UTC, changes.
const PLACES: [(&str, i8, Changes); 31] = [
    ("Honolulu", -40, Never),
    ("Anchorage", -36, America),
    ("Los Angeles", -32, America),
    ("Phoenix", -28, Never),
    ("Denver", -28, America),
    ("Mexico City", -24, Never),
    ("Chicago", -24, America),
    ("Bogota", -20, Never),
    ("New York", -20, America),
    ("Halifax", -16, America),
    ("Sao Paulo", -12, Never),
    ("UTC", 0, Never),
    ("London, Lisbon", 0, Europe),
    ("Berlin, Paris", 4, Europe),
    ("Lagos", 4, Never),
    ("Athens, Kyiv", 8, Europe),
    ("Johannesburg", 8, Never),
    ("Istanbul", 12, Never),
    ("Dubai", 16, Never),
    ("Karachi", 20, Never),
    ("Delhi", 22, Never),
    ("Dhaka", 24, Never),
    ("Bangkok", 28, Never),
    ("Singapore, Perth", 32, Never),
    ("Tokyo, Seoul", 36, Never),
    ("Darwin", 38, Never),
    ("Adelaide", 38, Australia),
    ("Brisbane", 40, Never),
    ("Sydney", 40, Australia),
    ("Noumea", 44, Never),
    ("Auckland", 48, NewZealand),
];

/// How many places there are to choose from.
pub const COUNT: usize = PLACES.len();

/// Their names, from west to east, the same in all languages.
pub const NAMES: [&str; COUNT] = {
    let mut names = [""; COUNT];
    let mut at = 0;
    while at < COUNT {
        names[at] = PLACES[at].0;
        at += 1;
    }
    names
};

/// Their rules as they stay in an image.
static RULES: [(i8, Changes); COUNT] = {
    let mut rules = [(0, Never); COUNT];
    let mut at = 0;
    while at < COUNT {
        rules[at] = (PLACES[at].1, PLACES[at].2);
        at += 1;
    }
    rules
};

/// A start or end of summer time: the month, the week of its Sunday, 5 being the last,
/// and the hour.
type Change = (u8, u8, u8);
/// Both, by who changes.
static CHANGES: [[Change; 2]; 4] = [
    [(3, 5, 1), (10, 5, 2)],
    [(3, 2, 2), (11, 1, 2)],
    [(10, 1, 2), (4, 1, 3)],
    [(9, 5, 2), (4, 1, 3)],
];

/// The zone of a place; `None` where there are not so many.
#[cfg_attr(target_pointer_width = "32", inline(never))]
pub fn zone_of(place: usize) -> Option<Zone> {
    let &(quarters, changes) = RULES.get(place)?;
    let offset_s = i32::from(quarters) * 900;
    // those of the European Union are at the same moment all over it
    let from_s = if matches!(changes, Europe) { offset_s } else { 0 };
    let rule = |&(month, week, hour): &Change| ChangeRule {
        day: ChangeDay::MonthWeekDay { month, week, day: 0 },
        time_s: i32::from(hour) * 3600 + from_s,
    };
    let summer = CHANGES.get((changes as usize).wrapping_sub(1)).map(|[start, end]| Summer {
        offset_s: offset_s + 3600,
        start: rule(start),
        end: rule(end),
    });
    Some(Zone { offset_s, summer })
}

/// Which of them has these rules; as many as there are where none has.
pub(super) fn index_of(zone: &Zone) -> usize {
    let bytes = zone.encode();
    (0..COUNT).find(|&at| zone_of(at).is_some_and(|zone| zone.encode() == bytes)).unwrap_or(COUNT)
}
