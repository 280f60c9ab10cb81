//! A zone as 25 bytes, for the settings record.

use super::parse::{DEFAULT_LEAD_S, MOST_DIFFERENCE_S, MOST_OFFSET_S, MOST_TIME_S};
use super::{ChangeDay, ChangeRule, Summer, Zone};

// Byte 0 is never 0x00 or 0xff, so that neither blank nor wiped memory is a zone.
const STANDARD_ONLY: u8 = 1;
const WITH_SUMMER: u8 = 2;

const MONTH_WEEK_DAY: u8 = 1;
const JULIAN_NO_LEAP: u8 = 2;
const ZERO_BASED: u8 = 3;

impl Zone {
    /// Length of [`Zone::encode`]'s result.
    pub const ENCODED_LEN: usize = 25;

    /// As bytes: the form (1 standard time only, 2 with summer time), the
    /// standard offset, the summer offset, the start, the end. Offsets are `i32`
    /// little-endian in seconds; a rule is its kind (1 `Mm.w.d`, 2 `Jn`, 3 `n`),
    /// three bytes of day (month, week, weekday; or `u16` little-endian and 0)
    /// and its time as an `i32`. What is not used is 0.
    pub fn encode(&self) -> [u8; Self::ENCODED_LEN] {
        let [o0, o1, o2, o3] = self.offset_s.to_le_bytes();
        let Some(summer) = self.summer else {
            let mut bytes = [0; Self::ENCODED_LEN];
            for (to, from) in bytes.iter_mut().zip([STANDARD_ONLY, o0, o1, o2, o3]) {
                *to = from;
            }
            return bytes;
        };
        let [s0, s1, s2, s3] = summer.offset_s.to_le_bytes();
        let [a0, a1, a2, a3, a4, a5, a6, a7] = encode_rule(summer.start);
        let [z0, z1, z2, z3, z4, z5, z6, z7] = encode_rule(summer.end);
        [
            WITH_SUMMER,
            o0,
            o1,
            o2,
            o3,
            s0,
            s1,
            s2,
            s3, //
            a0,
            a1,
            a2,
            a3,
            a4,
            a5,
            a6,
            a7, //
            z0,
            z1,
            z2,
            z3,
            z4,
            z5,
            z6,
            z7,
        ]
    }

    /// The zone of which these are the bytes; `None` unless they are those of a
    /// zone that [`Zone::parse`] can give.
    pub fn decode(bytes: &[u8; Self::ENCODED_LEN]) -> Option<Self> {
        Self::decode_of_any_range(bytes).filter(Self::is_legal)
    }

    /// The same, whatever its offsets, days and times.
    pub(crate) fn decode_of_any_range(bytes: &[u8; Self::ENCODED_LEN]) -> Option<Self> {
        let [form, o0, o1, o2, o3, s0, s1, s2, s3, rules @ ..] = *bytes;
        let [a0, a1, a2, a3, a4, a5, a6, a7, end @ ..] = rules;
        let offset_s = i32::from_le_bytes([o0, o1, o2, o3]);
        let zone = match form {
            STANDARD_ONLY => Self { offset_s, summer: None },
            WITH_SUMMER => Self {
                offset_s,
                summer: Some(Summer {
                    offset_s: i32::from_le_bytes([s0, s1, s2, s3]),
                    start: decode_rule([a0, a1, a2, a3, a4, a5, a6, a7])?,
                    end: decode_rule(end)?,
                }),
            },
            _ => return None,
        };
        // refuses anything but 0 in bytes that are not used
        (zone.encode() == *bytes).then_some(zone)
    }

    /// Whether some TZ string gives this zone.
    pub(crate) fn is_legal(&self) -> bool {
        let stated = -MOST_OFFSET_S..=MOST_OFFSET_S;
        if !stated.contains(&self.offset_s) {
            return false;
        }
        let Some(summer) = self.summer else {
            return true;
        };
        let difference_s = i64::from(summer.offset_s) - i64::from(self.offset_s);
        // A lead of one hour need not be stated, so it may end beyond 24:59:59.
        let offset = stated.contains(&summer.offset_s)
            && difference_s.abs() <= MOST_DIFFERENCE_S.into()
            || difference_s == DEFAULT_LEAD_S.into();
        offset && summer.start.is_legal() && summer.end.is_legal()
    }
}

impl ChangeRule {
    fn is_legal(self) -> bool {
        let day = match self.day {
            ChangeDay::MonthWeekDay { month, week, day } => {
                (1..=12).contains(&month) && (1..=5).contains(&week) && day <= 6
            }
            ChangeDay::JulianNoLeap(n) => (1..=365).contains(&n),
            ChangeDay::ZeroBased(n) => n <= 365,
        };
        day && (-MOST_TIME_S..=MOST_TIME_S).contains(&self.time_s)
    }
}

fn encode_rule(rule: ChangeRule) -> [u8; 8] {
    let (kind, [d0, d1, d2]) = match rule.day {
        ChangeDay::MonthWeekDay { month, week, day } => (MONTH_WEEK_DAY, [month, week, day]),
        ChangeDay::JulianNoLeap(n) => (JULIAN_NO_LEAP, day_bytes(n)),
        ChangeDay::ZeroBased(n) => (ZERO_BASED, day_bytes(n)),
    };
    let [t0, t1, t2, t3] = rule.time_s.to_le_bytes();
    [kind, d0, d1, d2, t0, t1, t2, t3]
}

fn day_bytes(n: u16) -> [u8; 3] {
    let [low, high] = n.to_le_bytes();
    [low, high, 0]
}

fn decode_rule(bytes: [u8; 8]) -> Option<ChangeRule> {
    let [kind, d0, d1, d2, t0, t1, t2, t3] = bytes;
    let n = u16::from_le_bytes([d0, d1]);
    let day = match kind {
        MONTH_WEEK_DAY => ChangeDay::MonthWeekDay { month: d0, week: d1, day: d2 },
        JULIAN_NO_LEAP => ChangeDay::JulianNoLeap(n),
        ZERO_BASED => ChangeDay::ZeroBased(n),
        _ => return None,
    };
    Some(ChangeRule { day, time_s: i32::from_le_bytes([t0, t1, t2, t3]) })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_zone_comes_back_from_its_bytes() {
        for text in [
            "UTC0",
            "CET-1CEST,M3.5.0,M10.5.0/3",
            "IST-1GMT0,M10.5.0,M3.5.0/1",
            "XXX3EDT4,0/0,J365/23",
            "AAA-24:59:59BBB,365/-167:59:59,J1/167:59:59",
        ] {
            let zone = Zone::parse(text).unwrap();
            assert_eq!(Zone::decode(&zone.encode()), Some(zone), "{text}");
        }
    }

    #[test]
    fn bytes_that_no_string_gives_are_refused() {
        assert_eq!(Zone::decode(&[0; 25]), None);
        assert_eq!(Zone::decode(&[0xff; 25]), None);
        let plain = Zone::parse("CET-1").unwrap().encode();
        for at in 5..25 {
            let mut bytes = plain;
            bytes[at] = 1;
            assert_eq!(Zone::decode(&bytes), None, "byte {at} is not used");
        }
        let good = Zone::parse("CET-1CEST,M3.5.0,J300/3").unwrap().encode();
        for (at, value) in [
            (0, 3),  // form
            (3, 9),  // standard offset
            (7, 9),  // summer offset
            (9, 4),  // kind of day
            (10, 0), // month
            (10, 13),
            (11, 0), // week
            (11, 6),
            (12, 7),    // weekday
            (15, 10),   // time
            (18, 0x6e), // J366
            (20, 1),    // not used by Jn
        ] {
            let mut bytes = good;
            bytes[at] = value;
            assert_eq!(Zone::decode(&bytes), None, "byte {at} as {value}");
        }
    }

    #[test]
    fn a_day_of_the_year_beyond_365_is_refused() {
        let good = Zone::parse("CET-1CEST,0,365").unwrap().encode();
        // Bytes 18 and 19 are the day of the end.
        for n in 0..1000_u16 {
            let mut bytes = good;
            bytes[18..20].copy_from_slice(&n.to_le_bytes());
            assert_eq!(Zone::decode(&bytes).is_some(), n <= 365, "day {n}");
        }
    }

    #[test]
    fn summer_time_a_day_off_is_refused() {
        let mut zone = Zone::parse("AAA12BBB-11:59:59,J1,J2").unwrap();
        assert!(zone.is_legal());
        zone.offset_s -= 1;
        assert_eq!(Zone::decode(&zone.encode()), None);
    }
}
