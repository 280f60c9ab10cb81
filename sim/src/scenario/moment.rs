//! Moments of a run as they are written.

use std::ops::Range;

use dosewright_core::civil::{DAY_MS, Local, Weekday};
use dosewright_core::time::Duration;

use super::bounds::RunBounds;
use super::datetime::{bad, claim_time, time_of_day, weekday};
use super::model::Moment;
use super::quantity::{self, Problem};
use crate::diagnose::codes;

/// Reads a moment. `None` for a weekday while the start is not known: the
/// start's own problem is reported already.
pub(super) fn moment(text: &str, bounds: Option<RunBounds>) -> Result<Option<Moment>, Problem> {
    let body = text.trim();
    let begin = text.len() - text.trim_start().len();
    let unreadable = |at: Range<usize>| Problem::new(codes::BAD_MOMENT, at, "is not a moment");
    let forms = "write \"fri 00:50:20\", \"2026-10-25 02:30\", \"+3 d 4 h\" or \"dose 3 pulse 2\"";
    let shift = |mut problem: Problem, by: usize| {
        problem.at = problem.at.start + by..problem.at.end + by;
        problem
    };
    if let Some(rest) = body.strip_prefix('+') {
        let ms = quantity::duration(rest).map_err(|p| shift(p, begin + 1))?;
        let most = i128::from(u32::MAX) * 1000 * 1000;
        if !(0..=most).contains(&ms) {
            return Err(Problem::new(
                codes::OUT_OF_RANGE,
                0..text.len(),
                "is too long after the start",
            ));
        }
        return Ok(Some(Moment::After(Duration::from_ms(ms as u64))));
    }
    if body.starts_with("dose") {
        let words: Vec<&str> = body.split_whitespace().collect();
        let count =
            |word: &str| word.parse::<u32>().ok().filter(|n| *n > 0 && !word.starts_with('+'));
        return match words.as_slice() {
            ["dose", dose, "pulse", pulse] => match (count(dose), count(pulse)) {
                (Some(dose), Some(pulse)) => Ok(Some(Moment::Pulse { dose, pulse })),
                _ => Err(unreadable(0..text.len()).label("doses and pulses are counted from 1")),
            },
            _ => Err(unreadable(0..text.len()).label("a dose and a pulse are wanted").help(forms)),
        };
    }
    if body.starts_with(|c: char| c.is_ascii_digit()) {
        let time = claim_time(body).map_err(|p| shift(p, begin))?;
        let Some(bounds) = bounds else {
            return Ok(time.offset_s.is_none().then_some(Moment::Local(time.local)));
        };
        return bounds.moment_of(time).map(Some).map_err(|label| {
            bad(0..text.len(), "has an offset that the zone does not have then").label(label)
        });
    }
    let word = body.split_whitespace().next().unwrap_or("");
    if word.is_empty() {
        return Err(unreadable(0..text.len()).help(forms));
    }
    let rest = body.get(word.len()..).unwrap_or("");
    let time_at = begin + word.len() + rest.len() - rest.trim_start().len();
    let time = rest.trim_start();
    let day = match weekday(word) {
        Ok(day) => day,
        Err(problem) if time.starts_with(|c: char| c.is_ascii_digit()) => {
            return Err(shift(problem, begin));
        }
        Err(_) => return Err(unreadable(0..text.len()).help(forms)),
    };
    if time.is_empty() {
        return Err(unreadable(0..text.len()).label("a weekday without a time of day").help(forms));
    }
    let ms = time_of_day(time).map_err(|p| shift(p, time_at))?;
    Ok(bounds.map(|bounds| Moment::Local(first_at_or_after(&bounds, day, ms))))
}

/// The first time at or after the start that falls on this weekday at this time.
fn first_at_or_after(bounds: &RunBounds, day: Weekday, ms: i64) -> Local {
    let start = bounds.start;
    let ahead = (i64::from(day.index()) - i64::from(start.date().weekday().index())).rem_euclid(7);
    let midnight = i64::from(start.date().days()) * DAY_MS;
    let candidate = Local::from_ms(midnight + ahead * DAY_MS + ms);
    if bounds.is_before_start(candidate) {
        Local::from_ms(candidate.as_ms() + 7 * DAY_MS)
    } else {
        candidate
    }
}

#[cfg(test)]
mod tests {
    use dosewright_core::zone::Zone;

    use super::super::datetime::{local, tests::problem};
    use super::super::quantity::show;
    use super::*;

    #[test]
    fn moments_in_their_forms() {
        // 2026-10-19 is a Monday
        let start = local("2026-10-19 12:00").unwrap();
        let bounds = Some(RunBounds { start, run_for: None, zone: None });
        let at = |text: &str| match moment(text, bounds).unwrap().unwrap() {
            Moment::Local(local) => show::local(local),
            other => format!("{other:?}"),
        };
        assert_eq!(at("fri 00:50:20"), "2026-10-23 00:50:20");
        assert_eq!(at("mon 12:00"), "2026-10-19 12:00", "at the start itself");
        assert_eq!(at("mon 11:59"), "2026-10-26 11:59", "a week later");
        assert_eq!(at("2026-10-25 02:30"), "2026-10-25 02:30");
        assert_eq!(moment("+3 d 4 h", bounds), Ok(Some(Moment::After(Duration::from_h(76)))));
        assert_eq!(moment("dose 3 pulse 2", bounds), Ok(Some(Moment::Pulse { dose: 3, pulse: 2 })));
        assert_eq!(moment("fri 00:50", None), Ok(None));
    }

    #[test]
    fn an_offset_tells_which_of_two_moments_it_is() {
        let zone = Zone::parse("CET-1CEST,M3.5.0,M10.5.0/3").unwrap();
        let start = local("2026-10-19 12:00").unwrap();
        let bounds = Some(RunBounds { start, run_for: None, zone: Some(zone) });
        let at = |text: &str| moment(text, bounds);
        let plain = Ok(Some(Moment::Local(local("2026-10-25 02:30").unwrap())));
        assert_eq!(at("2026-10-25 02:30"), plain);
        assert_eq!(at("2026-10-25 02:30+02:00"), plain);
        // 5 days and 14 h 30 min, and the hour that comes twice
        let second = Ok(Some(Moment::After(Duration::from_min(5 * 1440 + 14 * 60 + 30 + 60))));
        assert_eq!(at("2026-10-25 02:30 +01:00"), second);
        assert_eq!(at("2026-10-25T02:30:00+01:00"), second);
        let other = |text: &str| problem(at(text), text);
        let text = "2026-10-25 02:30+03:00";
        assert_eq!(other(text).0, codes::BAD_DATE);
        assert_eq!(other(text).2, "it is +02:00, then +01:00");
        assert_eq!(other("2026-10-26 02:30+02:00").2, "it is +01:00 then");
        assert_eq!(other("2026-10-20 12:00Z").2, "it is +02:00 then");
        // one before the start is told as such by its local time
        let early = Moment::Local(local("2026-10-01 12:00").unwrap());
        assert_eq!(at("2026-10-01 12:00+02:00"), Ok(Some(early)));
        let spring = Some(RunBounds {
            zone: Some(zone),
            start: local("2027-03-01 00:00").unwrap(),
            run_for: None,
        });
        let text = "2027-03-28 02:30+01:00";
        assert_eq!(problem(moment(text, spring), text).2, "the clocks skip this time");
    }

    #[test]
    fn what_is_no_moment_says_where() {
        let at = |text: &str| problem(moment(text, None), text);
        assert_eq!(at("friday night").0, codes::BAD_MOMENT);
        assert_eq!(at("thr 00:50"), (codes::UNKNOWN_WORD, "thr".into(), "not a weekday".into()));
        assert_eq!(
            at("fri 25:00"),
            (codes::BAD_DATE, "25:00".into(), "hours go from 0 to 23".into())
        );
        assert_eq!(at("+3 moons").1, "moons");
        for text in
            ["", "fri", "dose 3", "dose 0 pulse 1", "dose 1 pulse -1", "dose x pulse 1", "now"]
        {
            assert_eq!(at(text).0, codes::BAD_MOMENT, "{text}");
        }
    }
}
