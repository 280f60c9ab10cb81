//! Places to choose from, with the rules of their time.
//!
//! The rules are those of the IANA time zone database (release 2025b and later); the
//! tests compare each with it.

use crate::zone::{ChangeDay, ChangeRule, Summer, Zone};

/// A place and its zone.
pub struct Place {
    /// Its name, the same in all languages.
    pub name: &'static str,
    /// The zone's name in the IANA database.
    pub iana: &'static str,
    /// Its rules.
    pub zone: Zone,
}

const HOUR: i32 = 3600;

const fn fixed(quarters: i32) -> Zone {
    Zone { offset_s: quarters * 900, summer: None }
}

/// A Sunday of a month: week 5 is the last.
const fn sunday(month: u8, week: u8, hour: i32) -> ChangeRule {
    ChangeRule { day: ChangeDay::MonthWeekDay { month, week, day: 0 }, time_s: hour * HOUR }
}

const fn summer(quarters: i32, start: ChangeRule, end: ChangeRule) -> Zone {
    let offset_s = quarters * 900;
    Zone { offset_s, summer: Some(Summer { offset_s: offset_s + HOUR, start, end }) }
}

/// The European Union's rule, at one o'clock UTC.
const fn europe(hours: i32) -> Zone {
    summer(hours * 4, sunday(3, 5, hours + 1), sunday(10, 5, hours + 2))
}

/// The rule of the United States, at two o'clock by the clock.
const fn america(hours: i32) -> Zone {
    summer(hours * 4, sunday(3, 2, 2), sunday(11, 1, 2))
}

const fn place(name: &'static str, iana: &'static str, zone: Zone) -> Place {
    Place { name, iana, zone }
}

/// All of them, from west to east.
pub static PLACES: [Place; 31] = [
    place("Honolulu", "Pacific/Honolulu", fixed(-40)),
    place("Anchorage", "America/Anchorage", america(-9)),
    place("Los Angeles", "America/Los_Angeles", america(-8)),
    place("Phoenix", "America/Phoenix", fixed(-28)),
    place("Denver", "America/Denver", america(-7)),
    place("Mexico City", "America/Mexico_City", fixed(-24)),
    place("Chicago", "America/Chicago", america(-6)),
    place("Bogota", "America/Bogota", fixed(-20)),
    place("New York", "America/New_York", america(-5)),
    place("Halifax", "America/Halifax", america(-4)),
    place("Sao Paulo", "America/Sao_Paulo", fixed(-12)),
    place("UTC", "Etc/UTC", fixed(0)),
    place("London, Lisbon", "Europe/London", europe(0)),
    place("Berlin, Paris", "Europe/Berlin", europe(1)),
    place("Lagos", "Africa/Lagos", fixed(4)),
    place("Athens, Kyiv", "Europe/Athens", europe(2)),
    place("Johannesburg", "Africa/Johannesburg", fixed(8)),
    place("Istanbul", "Europe/Istanbul", fixed(12)),
    place("Dubai", "Asia/Dubai", fixed(16)),
    place("Karachi", "Asia/Karachi", fixed(20)),
    place("Delhi", "Asia/Kolkata", fixed(22)),
    place("Dhaka", "Asia/Dhaka", fixed(24)),
    place("Bangkok", "Asia/Bangkok", fixed(28)),
    place("Singapore, Perth", "Asia/Singapore", fixed(32)),
    place("Tokyo, Seoul", "Asia/Tokyo", fixed(36)),
    place("Darwin", "Australia/Darwin", fixed(38)),
    place("Adelaide", "Australia/Adelaide", summer(38, sunday(10, 1, 2), sunday(4, 1, 3))),
    place("Brisbane", "Australia/Brisbane", fixed(40)),
    place("Sydney", "Australia/Sydney", summer(40, sunday(10, 1, 2), sunday(4, 1, 3))),
    place("Noumea", "Pacific/Noumea", fixed(44)),
    place("Auckland", "Pacific/Auckland", summer(48, sunday(9, 5, 2), sunday(4, 1, 3))),
];

/// Which of them has these rules, so many places in.
pub(super) fn index_of(zone: &Zone) -> Option<u32> {
    PLACES.iter().position(|place| place.zone == *zone).map(|at| at as u32)
}
