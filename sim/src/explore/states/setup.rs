//! What is explored: a scenario of one or two entries, as plain data.

use dosewright_core::config::Head;
use dosewright_core::entry::{Entry, EntryId, GapRule, Recurrence};
use dosewright_core::time::{Instant, Utc};
use dosewright_core::timetable::Timetable;
use dosewright_core::units::Volume;
use dosewright_core::zone::Zone;

use crate::check;
use crate::scenario::{IntervalStart, RecurrencePlan, Scenario, show};

/// Lines of the explored controller.
pub(super) const LINES: usize = 2;
/// Deliveries it keeps account of: more than a run of hours can bring.
pub(super) const ACCOUNT: usize = 12;

/// What is explored where no file is named. Two doses that meet (B falls due in
/// A's window and waits), a second B in calm, a limit of starts an hour and a
/// ceiling that a dose run again or two can reach.
pub const BUILT_IN: &str = r#"schema = 1
title = "Two doses that meet"

[clock]
start = 2026-10-19T00:50:00
zone = "UTC0"
run_for = "2 h 20 min"

[head]
flow = "30 ml/min"
longest_run = "60 s"
least_rest = "20 s"
starts_per_hour = 6
longest_prime = "90 s"

[limits]
daily_ceiling = "116 ml"

[[entry]]
name = "A"
weekly = { days = ["mon", "tue", "wed", "thu", "fri", "sat", "sun"], at = "01:00" }
volume = "40 ml"
window = "30 min"
grace = "10 min"

[[entry]]
name = "B"
every = { interval = "100 min", from = "+15 min" }
volume = "5 ml"
window = "12 min"
grace = "25 min"
"#;

/// One of the forms an entry takes in the exploration.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub(super) struct Form {
    /// As the file has it, with three quarters of its volume, or an hour later.
    pub(super) variant: u8,
    pub(super) enabled: bool,
}

/// A scenario that can be explored.
#[derive(Debug, Clone)]
pub struct Setup {
    /// The file, to which faults and acts are added.
    pub(super) text: String,
    pub(super) names: Vec<String>,
    pub(super) entries: Vec<Entry>,
    pub(super) head: Head,
    pub(super) ceiling: Option<Volume>,
    pub(super) zone: Zone,
    /// Local time less UTC, in ms.
    pub(super) zone_ms: i64,
    /// Local time at the start, in ms since 1970.
    pub(super) start_ms: i64,
    /// True ms at which the run ends.
    pub(super) horizon_ms: u64,
}

impl Setup {
    /// The set-up of a scenario file.
    ///
    /// # Errors
    ///
    /// Why the file cannot be explored, in words.
    pub fn read(file: &str, text: &str) -> Result<Self, String> {
        let (scenario, problems) = check::read(file, text);
        let Some(scenario) = scenario else {
            let first = problems.first().map(|p| p.message.clone()).unwrap_or_default();
            return Err(format!("{first}; `dosewright check {file}` says it all"));
        };
        Self::of(&scenario, text)
    }

    /// What the exploration's own judge knows nothing of is refused.
    fn of(scenario: &Scenario, text: &str) -> Result<Self, String> {
        let clock = &scenario.clock;
        let refuse = |what: &str| Err(format!("states cannot be explored with {what}"));
        if scenario.entries.is_empty() || scenario.entries.len() > LINES {
            return refuse("no entry or more than two; leave one or two in the file");
        }
        if !scenario.faults.is_empty() || !scenario.operator.is_empty() {
            return refuse("[[fault]] or [[operator]] in the file: the exploration brings its own");
        }
        if !scenario.closed.is_empty() {
            return refuse("closed dates");
        }
        if clock.rate_ppb() != 0 || clock.off_by.0 != 0 || clock.unset {
            return refuse("a clock that drifts, is off or is unset at the start");
        }
        let zone = clock.zone_of_device().zone;
        let month = |n: i64| zone.offset_at(Utc::from_ms(clock.start.as_ms() + n * 2_600_000_000));
        if clock.device_zone.is_some() || (0..13).any(|n| month(n) != month(0)) {
            return refuse("a zone that changes its offset; use one such as \"UTC0\"");
        }
        let zone_ms = i64::from(month(0)) * 1000;
        let mut entries = Vec::new();
        for (index, plan) in scenario.entries.iter().enumerate() {
            let dated = plan.first.is_some() || plan.last.is_some();
            if dated || !plan.enabled || plan.gap_rule != GapRule::Shift {
                return refuse("first or last dates, a gap rule or a disabled entry");
            }
            let from = match plan.recurrence {
                RecurrencePlan::Every { from: IntervalStart::Local(local), .. } => {
                    local.as_ms() - clock.start.as_ms()
                }
                RecurrencePlan::Every { from: IntervalStart::After(length), .. } => {
                    length.as_ms() as i64
                }
                _ => 0,
            };
            entries.push(plan.to_core(EntryId(index as u16 + 1), Instant::from_ms(from)));
        }
        Ok(Self {
            text: text.to_owned(),
            names: scenario.entries.iter().map(|entry| entry.name.clone()).collect(),
            entries,
            head: scenario.head.head,
            ceiling: scenario.limits.daily_ceiling,
            zone,
            zone_ms,
            start_ms: clock.start.as_ms(),
            horizon_ms: clock.run_for.as_ms(),
        })
    }

    /// An entry in one of its forms.
    pub(super) fn entry(&self, index: usize, form: Form) -> Entry {
        let mut entry = self.entries[index];
        entry.enabled = form.enabled;
        match (form.variant, entry.recurrence) {
            (1, _) => entry.volume = three_quarters(entry.volume),
            (2, Recurrence::Weekly { days, at_min, by_night }) => {
                entry.recurrence =
                    Recurrence::Weekly { days, at_min: (at_min + 60) % 1440, by_night };
            }
            _ => {}
        }
        entry
    }

    /// The words of an edit that gives an entry its form.
    pub(super) fn edit_words(&self, index: usize, variant: u8) -> String {
        let entry = self.entry(index, Form { variant, enabled: true });
        match (variant, entry.recurrence) {
            (2, Recurrence::Weekly { days, at_min, by_night }) => {
                let names = ["mon", "tue", "wed", "thu", "fri", "sat", "sun"];
                let named: Vec<String> = (0..7)
                    .filter(|day| days.bits() >> day & 1 == 1)
                    .map(|day| format!("\"{}\"", names[day]))
                    .collect();
                let key = if by_night { "nights" } else { "days" };
                let (h, min, named) = (at_min / 60, at_min % 60, named.join(", "));
                format!("weekly = {{ {key} = [{named}], at = \"{h:02}:{min:02}\" }}")
            }
            _ => format!("volume = \"{}\"", show::written(entry.volume)),
        }
    }

    pub(super) fn timetable(&self, forms: &[Form]) -> Timetable<LINES> {
        let mut timetable = Timetable::EMPTY;
        timetable.ceiling = self.ceiling;
        for (index, form) in forms.iter().enumerate() {
            let taken = timetable.put(self.entry(index, *form));
            debug_assert!(taken.is_ok(), "there are no more entries than lines");
        }
        timetable
    }
}

fn three_quarters(volume: Volume) -> Volume {
    // whole millilitres where there are any, so that the file reads well
    let nl = volume.as_nl() / 4 * 3;
    Volume::from_nl(if nl > 1_000_000 { nl / 1_000_000 * 1_000_000 } else { nl })
}
