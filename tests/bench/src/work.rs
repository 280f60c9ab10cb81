//! The work that every contestant does, and what it says it did.

use std::fmt::Write as _;

use dosewright_core::time::Duration;
use dosewright_sim::check;
use dosewright_sim::scenario::Scenario;

/// Seconds in a day.
pub const DAY_S: u64 = 86_400;
/// Pump edges of the standard year.
pub const EDGES_A_YEAR: u64 = 140_700;
/// The day's first start, in minutes: the end of the run is not the moment of a due.
const FIRST_MIN: u32 = 10;
/// Flow of the head, in ml a minute.
const FLOW_ML: u32 = 24;

/// One weekly entry.
#[derive(Clone, Copy, Debug)]
pub struct Weekly {
    /// Days it runs on, Monday in bit 0.
    pub days: u8,
    /// Its start, in minutes of the day.
    pub at_min: u32,
}

/// So many weekly entries over so many days, from Thursday 2026-01-01 00:00 UTC on.
/// All instants are whole seconds, so that a loop that ticks once a second can do it.
#[derive(Clone, Debug)]
pub struct Work {
    pub entries: Vec<Weekly>,
    pub days: u64,
    pub pulses: u32,
    /// From one pulse's start to the next one's, in s.
    pub spacing_s: u64,
    /// Length of a pulse, in s.
    pub on_s: u64,
}

/// What a contestant did: how often the pump changed, and when.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Tally {
    pub edges: u64,
    /// The sum of the moments at which it went on, in s from the start.
    pub on_sum: u64,
    /// The sum of those at which it went off.
    pub off_sum: u64,
}

impl Tally {
    /// The pump changed at this second.
    #[inline]
    pub fn edge(&mut self, on: bool, at_s: u64) {
        self.edges += 1;
        if on {
            self.on_sum += at_s;
        } else {
            self.off_sum += at_s;
        }
    }
}

impl Work {
    /// The standard year: 16 weekly entries, 45 doses a week (5 on a Thursday, which
    /// the year has 53 of), 30 pulses of 10 s in 45 min.
    pub fn year() -> Self {
        Self::years(1)
    }

    /// The same week over so many years of 365 days.
    pub fn years(years: u64) -> Self {
        let entries = spread_over(16, [7, 7, 7, 5, 7, 6, 6]);
        Self { entries, days: 365 * years, pulses: 30, spacing_s: 90, on_s: 10 }
    }

    /// A year of 45 doses a week, of 20 pulses in 20 min each, shared among another
    /// number of entries; of more than 45 each has a dose of its own.
    pub fn with_entries(entries: usize) -> Self {
        let entries = spread_over(entries, [7, 7, 7, 5, 7, 6, 6]);
        // 64 starts in a day are 22 min apart, and no head starts more than 60 times an hour
        Self { entries, spacing_s: 60, pulses: 20, ..Self::year() }
    }

    /// A year of one dose a day in another number of pulses, at most 1000.
    pub fn with_pulses(pulses: u32) -> Self {
        let entries = vec![Weekly { days: 0x7f, at_min: FIRST_MIN }];
        Self { entries, days: 365, pulses, spacing_s: 75, on_s: 10 }
    }

    /// Doses in it.
    pub fn doses(&self) -> u64 {
        (0..self.days)
            .map(|day| self.entries.iter().filter(|e| e.days >> weekday(day) & 1 == 1).count())
            .sum::<usize>() as u64
    }

    /// Pump edges in it.
    pub fn edges(&self) -> u64 {
        self.doses() * u64::from(self.pulses) * 2
    }

    /// Its end, in s.
    pub fn end_s(&self) -> u64 {
        self.days * DAY_S
    }

    /// The same as a scenario for dosewright.
    pub fn scenario(&self) -> Scenario {
        let text = self.text();
        let (scenario, problems) = check::read("work", &text);
        let mut scenario = scenario.unwrap_or_else(|| panic!("{problems:?}\n{text}"));
        scenario.clock.run_for = Duration::from_h(24 * self.days);
        scenario
    }

    fn text(&self) -> String {
        let ml = u64::from(FLOW_ML) * self.on_s * u64::from(self.pulses) / 60;
        let window_s = self.spacing_s * u64::from(self.pulses);
        let per_hour = (3600_u64).div_ceil(self.spacing_s).min(60);
        let mut text = format!(
            "schema = 1\ntitle = \"Work\"\n\n[clock]\nstart = 2026-01-01T00:00:00\n\
             zone = \"UTC0\"\nrun_for = \"{} days\"\n\n[head]\nflow = \"{FLOW_ML} ml/min\"\n\
             rollers = 3\nvolume_per_roller_pass = \"0.29 ml\"\nstarts_per_hour = {}\n",
            // a file asks for a hundred years at most, and a run takes more
            self.days.min(36_500),
            per_hour.max(48)
        );
        for (i, entry) in self.entries.iter().enumerate() {
            const NAMES: [&str; 7] = ["mon", "tue", "wed", "thu", "fri", "sat", "sun"];
            let days: Vec<String> = (0..7)
                .filter(|day| entry.days >> day & 1 == 1)
                .map(|day| format!("\"{}\"", NAMES[day]))
                .collect();
            let (hour, minute) = (entry.at_min / 60, entry.at_min % 60);
            write!(
                text,
                "\n[[entry]]\nname = \"line {:02}\"\nweekly = {{ days = [{}], at = \
                 \"{hour:02}:{minute:02}\" }}\nvolume = \"{ml} ml\"\nwindow = \"{window_s} s\"\n\
                 pulses = {}\n",
                i + 1,
                days.join(", "),
                self.pulses
            )
            .expect("a string takes everything");
        }
        text
    }
}

/// The weekday of a day of the run, 0 for Monday: the first is a Thursday.
pub fn weekday(day: u64) -> usize {
    ((day + 3) % 7) as usize
}

/// So many doses on each day of the week, given in turn to the entries, whose starts
/// are as far apart as a day has room for.
fn spread_over(entries: usize, a_day: [usize; 7]) -> Vec<Weekly> {
    let apart = 1440 / entries.max(a_day.into_iter().max().unwrap_or(1)) as u32;
    let mut out: Vec<Weekly> =
        (0..entries as u32).map(|i| Weekly { days: 0, at_min: FIRST_MIN + i * apart }).collect();
    let mut next = 0;
    for (day, doses) in a_day.into_iter().enumerate() {
        for _ in 0..doses {
            out[next % entries].days |= 1 << day;
            next += 1;
        }
    }
    // with more entries than doses some would have no day
    for (i, entry) in out.iter_mut().enumerate() {
        if entry.days == 0 {
            entry.days = 1 << (i % 7);
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_year_has_its_edges_and_its_windows_do_not_overlap() {
        let year = Work::year();
        assert_eq!((year.entries.len(), year.edges()), (16, EDGES_A_YEAR));
        for (one, other) in year.entries.iter().zip(&year.entries[1..]) {
            assert!(one.at_min + 45 < other.at_min);
        }
    }
}
