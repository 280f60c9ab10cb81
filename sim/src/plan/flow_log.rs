//! A log of water flow: when a site is quiet, by weekday.

use dosewright_core::civil::Date;

/// Problems that are told; of more, the number.
const MOST_PROBLEMS: usize = 20;
/// An hour counts as quiet up to this share of the way from a night's least to
/// its most mean flow (own choice).
const QUIET: f64 = 0.1;

/// Quiet hours with more than this share of a night's median still run are no rest
/// for a dose: it would be washed away (own choice).
const REST: f64 = 0.5;

/// Hours from a night's noon that a quiet stretch is followed, both ways.
const DAYS_ON: i32 = 6 * 24;

/// No meter of a site shows more, in whatever unit.
const MOST_FLOW: f64 = 1e6;

/// The quietest stretch of a night.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stretch {
    /// Its first and its last minute, from the night's noon.
    pub from: i32,
    /// See `from`.
    pub to: i32,
    /// Mean flow in it.
    pub mean: f64,
    /// Median of the night's hours, noon to noon.
    pub median: f64,
}

impl Stretch {
    /// Whether the water rests enough in it for a dose.
    pub fn is_rest(&self) -> bool {
        self.mean <= REST * self.median
    }
}

/// Mean flow by weekday and hour.
#[derive(Clone, Debug, PartialEq)]
pub struct FlowLog {
    hours: [[Option<f64>; 24]; 7],
    /// The unit as the log gives it.
    pub unit: String,
    /// Readings.
    pub readings: u64,
}

/// Reads rows of `time,flow`: a header that names the unit, then a local date and
/// time and a number a row. Every row that is wrong is told.
///
/// # Errors
///
/// A sentence a problem.
pub fn read(text: &str) -> Result<FlowLog, Vec<String>> {
    let mut lines = text.lines().zip(1..).filter(|(line, _)| !line.trim().is_empty());
    let header = lines.next().map_or("", |(line, _)| line.trim_start_matches('\u{feff}'));
    let unit = header
        .split_once(',')
        .filter(|(time, _)| time.trim().eq_ignore_ascii_case("time"))
        .and_then(|(_, flow)| flow.split(',').next()?.trim().strip_prefix("flow"))
        .map(str::trim)
        .filter(|unit| unit.contains('/'));
    let Some(unit) = unit else {
        return Err(vec![
            "line 1: the header has to be \"time,flow l/min\", with the flow's own unit".to_owned(),
        ]);
    };
    let mut sums = [[(0.0, 0_u64); 24]; 7];
    let (mut problems, mut more, mut readings) = (Vec::new(), 0_u64, 0);
    for (line, number) in lines {
        match row(line) {
            Ok((weekday, hour, flow)) => {
                let (sum, count) = &mut sums[weekday][hour];
                *sum += flow;
                *count += 1;
                readings += 1;
            }
            Err(_) if problems.len() >= MOST_PROBLEMS => more += 1,
            Err(why) => problems.push(format!("line {number}: {why}")),
        }
    }
    if more > 0 {
        problems.push(format!("and {more} more lines"));
    }
    if problems.is_empty() && readings == 0 {
        problems.push("there are no readings below the header".to_owned());
    }
    if problems.is_empty() && sums.iter().flatten().all(|(sum, _)| *sum <= 0.0) {
        problems.push(format!(
            "all {readings} readings are 0: the meter did not count, or its flow is in another column"
        ));
    }
    if !problems.is_empty() {
        return Err(problems);
    }
    let mean = |(sum, count): (f64, u64)| (count > 0).then(|| sum / count as f64);
    Ok(FlowLog { hours: sums.map(|day| day.map(mean)), unit: unit.to_owned(), readings })
}

fn row(line: &str) -> Result<(usize, usize, f64), String> {
    let (time, rest) = line.split_once(',').ok_or("there is no comma")?;
    let flow = rest.split(',').next().unwrap_or("").trim();
    let (weekday, hour) = moment(time.trim())
        .ok_or_else(|| format!("\"{}\" is not a time such as 2026-10-05 14:30", time.trim()))?;
    let value: f64 = flow.parse().map_err(|_| format!("\"{flow}\" is not a flow"))?;
    if !(0.0..=MOST_FLOW).contains(&value) {
        return Err(format!("a flow of {flow} cannot be; leave out what the meter misread"));
    }
    Ok((weekday, hour, value))
}

/// Weekday, Monday 0, and hour.
fn moment(text: &str) -> Option<(usize, usize)> {
    let (date, time) = text.split_once([' ', 'T'])?;
    let mut parts = date.splitn(3, '-');
    let mut next = || parts.next()?.parse::<i32>().ok();
    let (year, month, day) = (next()?, next()?, next()?);
    let date = Date::from_ymd(year, u8::try_from(month).ok()?, u8::try_from(day).ok()?)?;
    let mut parts = time.splitn(3, ':');
    let hour: usize = parts.next()?.parse().ok()?;
    let minute: u32 = parts.next()?.parse().ok()?;
    let second: f64 = parts.next().unwrap_or("0").parse().ok()?;
    let real = hour < 24 && minute < 60 && (0.0..60.0).contains(&second);
    real.then_some((date.weekday().index() as usize, hour))
}

impl FlowLog {
    /// Mean flow of an hour of a weekday.
    pub fn mean(&self, weekday: usize, hour: usize) -> Option<f64> {
        *self.hours.get(weekday)?.get(hour)?
    }

    /// Median of the hourly means of a weekday.
    pub fn median(&self, weekday: usize) -> Option<f64> {
        let mut known: Vec<f64> = self.hours.get(weekday)?.iter().copied().flatten().collect();
        known.sort_by(f64::total_cmp);
        middle(&known)
    }

    /// Mean flow of an hour of a night, counted from its noon.
    fn at(&self, night: usize, hour: usize) -> Option<f64> {
        let (weekday, hour) = place(night, hour);
        self.mean(weekday, hour)
    }

    /// Whether a dose may lie in this hour of a night, counted from its noon: its
    /// mean flow is known and not above its day's median.
    pub fn allows(&self, night: usize, hour: usize) -> bool {
        let (weekday, of_day) = place(night, hour);
        let known = self.mean(weekday, of_day).zip(self.median(weekday));
        known.is_some_and(|(mean, median)| mean <= median)
    }

    /// Hours of a night of which there are readings.
    pub fn known(&self, night: usize) -> usize {
        (0..24).filter(|hour| self.at(night, *hour).is_some()).count()
    }

    /// The stretches of quiet hours of a night in which the water rests, in their order.
    /// One that is quiet up to a noon goes on in the night before or after it.
    pub fn rests(&self, night: usize) -> Vec<Stretch> {
        let week: [[bool; 24]; 7] = std::array::from_fn(|night| self.quiet_hours(night));
        let other = |hour: i32| {
            let other = (night as i32 + hour.div_euclid(24)).rem_euclid(7) as usize;
            (other, hour.rem_euclid(24) as usize)
        };
        let quiet = |hour: i32| {
            let (night, hour) = other(hour);
            week[night][hour]
        };
        let mut found = Vec::new();
        let mut hour = 0;
        while hour < 24 {
            let to = (hour..DAYS_ON).find(|hour| !quiet(*hour)).unwrap_or(DAYS_ON);
            if to > hour {
                let before = if hour == 0 { -DAYS_ON } else { hour };
                let from = (before..hour).rev().take_while(|hour| quiet(*hour)).last();
                let from = from.unwrap_or(hour);
                let sum = (from..to).filter_map(|hour| {
                    let (night, hour) = other(hour);
                    self.at(night, hour)
                });
                let mean = sum.sum::<f64>() / f64::from(to - from);
                let median = self.night_median(night);
                found.push(Stretch { from: from * 60, to: to * 60, mean, median });
            }
            hour = to + 1;
        }
        found.retain(Stretch::is_rest);
        found
    }

    /// The means of a night's hours, in the order of their size.
    fn of_night(&self, night: usize) -> Vec<f64> {
        let mut known: Vec<f64> = (0..24).filter_map(|hour| self.at(night, hour)).collect();
        known.sort_by(f64::total_cmp);
        known
    }

    fn night_median(&self, night: usize) -> f64 {
        middle(&self.of_night(night)).unwrap_or(0.0)
    }

    /// Which hours of a night, from its noon, are its quiet ones.
    fn quiet_hours(&self, night: usize) -> [bool; 24] {
        let known = self.of_night(night);
        let Some((least, most)) = known.first().zip(known.last()) else { return [false; 24] };
        let limit = least + QUIET * (most - least);
        std::array::from_fn(|hour| {
            self.allows(night, hour) && self.at(night, hour).is_some_and(|mean| mean <= limit)
        })
    }

    /// The longest stretch of quiet hours of a night; of two as long, the one with less
    /// flow.
    pub fn quietest(&self, night: usize) -> Option<Stretch> {
        let hours = self.quiet_hours(night);
        let quiet = |hour: usize| hours.get(hour).is_some_and(|quiet| *quiet);
        let mut best: Option<(usize, usize, f64)> = None;
        let mut from = 0;
        while from < 24 {
            let to = (from..24).find(|hour| !quiet(*hour)).unwrap_or(24);
            if to > from {
                let mean = (from..to).filter_map(|hour| self.at(night, hour)).sum::<f64>()
                    / (to - from) as f64;
                let better = best.is_none_or(|(f, t, m)| (to - from, -mean) > (t - f, -m));
                if better {
                    best = Some((from, to, mean));
                }
            }
            from = to + 1;
        }
        let (from, to, mean) = best?;
        let median = self.night_median(night);
        Some(Stretch { from: from as i32 * 60, to: to as i32 * 60, mean, median })
    }
}

/// The median of numbers in their order.
fn middle(known: &[f64]) -> Option<f64> {
    let middle = known.len().checked_sub(1)? / 2;
    let (low, high) = (known.get(middle)?, known.get(known.len() / 2)?);
    Some(f64::midpoint(*low, *high))
}

/// Weekday and hour of the day of an hour from a night's noon.
const fn place(night: usize, hour: usize) -> (usize, usize) {
    if hour < 12 { (night, hour + 12) } else { ((night + 1) % 7, hour - 12) }
}

#[cfg(test)]
mod tests {
    use std::fmt::Write as _;

    use super::*;

    #[test]
    fn every_bad_row_is_told_with_its_line() {
        let text = "time,flow l/min\n2026-10-05 00:30,1.5\nnonsense\n2026-10-05 24:00,1\n2026-02-30 10:00,1\n2026-10-05 10:00,-1\n2026-10-05 10:00,x\n";
        let found = read(text).unwrap_err();
        let lines: Vec<&str> = found.iter().map(|p| p.split(':').next().unwrap()).collect();
        assert_eq!(lines, ["line 3", "line 4", "line 5", "line 6", "line 7"]);
        for bad in ["", "time,flow\n", "flow l/min,time\n", "time,flow l/min\n"] {
            assert_eq!(read(bad).unwrap_err().len(), 1, "{bad:?}");
        }
        let dead = read("time,flow l/min\n2026-10-05 00:30,0\n2026-10-05 01:30,0\n").unwrap_err();
        assert!(dead.len() == 1 && dead[0].starts_with("all 2 readings are 0"), "{dead:?}");
        let many = format!("time,flow l/min\n{}", "x\n".repeat(50));
        let found = read(&many).unwrap_err();
        assert!(found.len() == 21 && found[20] == "and 30 more lines", "{found:?}");
    }

    #[test]
    fn means_medians_and_the_quiet_stretch() {
        // a Monday and a Tuesday: water from 6 to 23, but for a quiet lunch
        let mut text = String::from("time,flow l/min\n");
        for day in 5..7 {
            for hour in 0..24 {
                let flow = match hour {
                    14..16 => 0.0,
                    6..23 => f64::from(hour),
                    _ => 0.1,
                };
                for minute in [0, 30] {
                    _ = writeln!(text, "2026-10-{day:02} {hour:02}:{minute:02},{flow}");
                }
            }
        }
        let log = read(&text).unwrap();
        assert_eq!((log.readings, log.mean(0, 6), log.mean(2, 6)), (96, Some(6.0), None));
        // nine hours of 0 or 0.1, fifteen of 6 to 22: the 12th and 13th of 24
        assert_eq!(log.median(0), Some(8.5));
        // the night of Monday: 23:00 to 06:00, not the shorter lunch
        let rests = |night| {
            let rests = log.rests(night);
            rests.iter().map(|stretch| (stretch.from, stretch.to)).collect::<Vec<_>>()
        };
        let lunch = (2 * 60, 4 * 60);
        assert_eq!(rests(0), [lunch, (11 * 60, 18 * 60)]);
        let quietest = log.quietest(0).unwrap();
        assert_eq!((quietest.from, quietest.to), (11 * 60, 18 * 60));
        assert!(log.allows(0, 12) && !log.allows(0, 5) && !log.allows(2, 0));
        // of Sunday nothing is known but Monday's morning
        assert_eq!((rests(6), log.known(6), log.known(0)), (vec![(12 * 60, 18 * 60)], 12, 24));
    }

    #[test]
    fn where_the_water_never_rests_no_hour_is_quiet() {
        let log = |flow: fn(u32) -> f64| {
            let mut text = String::from("time,flow l/min\n");
            for (day, hour) in (5..19).flat_map(|day| (0..24).map(move |hour| (day, hour))) {
                _ = writeln!(text, "2026-10-{day:02} {hour:02}:00,{}", flow(hour));
            }
            read(&text).unwrap()
        };
        let steady = log(|_| 3.0);
        assert_eq!(steady.rests(0), []);
        let found = steady.quietest(0).unwrap();
        assert_eq!((found.from, found.to, found.mean, found.median), (0, 1440, 3.0, 3.0));
        // 5 of 9 l/min all night are too much, 4 are not
        assert_eq!(log(|hour| if (6..20).contains(&hour) { 9.0 } else { 5.0 }).rests(0), []);
        let four = log(|hour| if (6..20).contains(&hour) { 9.0 } else { 4.0 }).rests(0);
        let [four] = four[..] else { panic!("{four:?}") };
        assert_eq!((four.from, four.to, four.mean), (8 * 60, 18 * 60, 4.0));
        // a rest over noon is one, from both of its nights
        let noon = log(|hour| if (10..16).contains(&hour) { 0.0 } else { 9.0 });
        let rests: Vec<_> = noon.rests(2).iter().map(|rest| (rest.from, rest.to)).collect();
        assert_eq!(rests, [(-120, 240), (22 * 60, 28 * 60)]);
    }
}
