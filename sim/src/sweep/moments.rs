//! When to put a fault: the phases of a dose, every dose, or moments spread over
//! the run, found in a run without it.

use dosewright_core::ledger::{Class, SLOT, Slot};
use dosewright_core::record::{Outcome, OutcomeKind, Record};

use super::Nothing;
use crate::observe::{Observation, Observer, Records};
use crate::run::{self, Frame, Options};
use crate::scenario::{self, Scenario};

/// Which moments.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Moments {
    /// The phases of the first dose that runs whole, and a change of sector.
    DosePhases,
    /// The begin of each dose.
    EveryDue,
    /// So many, evenly over the run.
    Spread(u32),
    /// One, as it is written in a scenario.
    At(String),
}

/// One moment.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Moment {
    /// Its name.
    pub name: String,
    /// As it is written in a scenario.
    pub at: String,
    /// The last slot of the ledger that is written before it.
    pub(super) slot: u32,
    /// Bytes of a sector.
    pub(super) sector_bytes: u32,
    /// The memory is erased then.
    pub(super) erases: bool,
}

/// Doses and what was written, as they come in a run.
#[derive(Default)]
struct Notes {
    /// Starts and ends of pulses, in true ms.
    pulses: Vec<(u64, u64)>,
    on_since: Option<u64>,
    /// Of each dose begun: where its first pulse is, and the number of pulses.
    doses: Vec<Dose>,
    /// Of each pulse: its dose and its place in that, both from 1, and when it begins.
    intents: Vec<(u32, u32, u64)>,
    /// Slots written: when, and where.
    slots: Vec<(u64, u32)>,
    records: Records,
    /// The first change of sector after the first ms.
    sector_change: Option<u64>,
    sector_bytes: u32,
}

#[derive(Clone, Copy)]
struct Dose {
    first_pulse: usize,
    pulses: usize,
    is_whole: bool,
}

impl Observer for Notes {
    fn see(&mut self, at_ms: u64, what: &Observation<'_>) {
        match what {
            Observation::Pump { on: true } => self.on_since = Some(at_ms),
            Observation::Pump { on: false } => {
                if let Some(since) = self.on_since.take() {
                    self.pulses.push((since, at_ms));
                }
            }
            Observation::Slot { address, bytes } => {
                self.slots.push((at_ms, *address));
                self.slot(at_ms, *address, bytes);
            }
            _ => {}
        }
    }
}

impl Notes {
    fn slot(&mut self, at_ms: u64, address: u32, bytes: &[u8]) {
        let Ok(bytes) = <&[u8; SLOT]>::try_from(bytes) else { return };
        let Slot::Good { class, .. } = Slot::decode(bytes) else { return };
        if class == Class::Header && at_ms > 0 && address.is_multiple_of(self.sector_bytes) {
            self.sector_change.get_or_insert(at_ms);
        }
        match self.records.see(bytes) {
            Some(Record::Pulse(pulse)) => {
                if pulse.first {
                    let first_pulse = self.pulses.len();
                    self.doses.push(Dose { first_pulse, pulses: 0, is_whole: false });
                }
                if let Some(dose) = self.doses.last_mut() {
                    dose.pulses += 1;
                    let pulse = dose.pulses as u32;
                    self.intents.push((self.doses.len() as u32, pulse, at_ms));
                }
            }
            Some(Record::Outcome(Outcome { kind: OutcomeKind::Dosed, .. })) => {
                if let Some(dose) = self.doses.last_mut() {
                    dose.is_whole = true;
                }
            }
            _ => {}
        }
    }

    fn moment(&self, name: &str, at_ms: u64) -> Moment {
        let before = self.slots.iter().take_while(|(written, _)| *written <= at_ms).last();
        Moment {
            name: name.to_owned(),
            at: format!("+{}", in_parts(at_ms)),
            slot: before.map_or(0, |(_, address)| *address),
            sector_bytes: self.sector_bytes,
            // by its time alone, so that the moment asked for by that is the same
            erases: self.sector_change.is_some_and(|change| change.saturating_sub(1) == at_ms),
        }
    }

    /// When a moment of a scenario is; the end of the run where it never comes.
    fn when(&self, moment: scenario::Moment, frame: &Frame) -> u64 {
        let found = match moment {
            scenario::Moment::Pulse { dose, pulse } => self
                .intents
                .iter()
                .find(|(of, nth, _)| (*of, *nth) == (dose, pulse))
                .map(|(_, _, at_ms)| *at_ms),
            other => frame.moment(other),
        };
        found.unwrap_or(frame.run_ms)
    }
}

/// The moments; `said` is the one that was asked for by [`Moments::At`], as it was read.
pub(super) fn find(
    scenario: &Scenario,
    which: &Moments,
    said: Option<scenario::Moment>,
    seed: u64,
) -> Result<Vec<Moment>, Nothing> {
    let mut notes = Notes { sector_bytes: scenario.memory.sector_bytes, ..Notes::default() };
    let options = Options { seed, ..Options::default() };
    let end =
        run::run(scenario, &options, &mut notes).map_err(|error| Nothing(error.to_string()))?;
    match which {
        Moments::DosePhases => phases(&notes),
        Moments::EveryDue => {
            let began = notes.doses.iter().filter_map(|dose| notes.pulses.get(dose.first_pulse));
            let all: Vec<Moment> = began
                .enumerate()
                .map(|(at, (start, _))| notes.moment(&format!("dose {}", at + 1), *start))
                .collect();
            if all.is_empty() { Err(Nothing("no dose runs in it".to_owned())) } else { Ok(all) }
        }
        Moments::Spread(count) => {
            let count = u64::from((*count).max(1));
            let share = |at: u64| end.end_ms / (count + 1) * at;
            Ok((1..=count).map(|at| notes.moment(&format!("moment {at}"), share(at))).collect())
        }
        Moments::At(at) => {
            let frame = Frame::of(scenario, &options);
            let ms = said.map_or(frame.run_ms, |moment| notes.when(moment, &frame));
            Ok(vec![Moment { at: at.clone(), ..notes.moment(at, ms) }])
        }
    }
}

fn phases(notes: &Notes) -> Result<Vec<Moment>, Nothing> {
    let whole = |dose: &&Dose| {
        dose.is_whole && dose.pulses > 0 && dose.first_pulse + dose.pulses <= notes.pulses.len()
    };
    // of one pulse only where there is none of several
    let dose = notes
        .doses
        .iter()
        .filter(whole)
        .find(|dose| dose.pulses > 2)
        .or_else(|| notes.doses.iter().find(whole))
        .ok_or_else(|| Nothing("no dose runs whole in it".to_owned()))?;
    let pulses = &notes.pulses[dose.first_pulse..dose.first_pulse + dose.pulses];
    let middle = |(start, end): (u64, u64)| u64::midpoint(start, end);
    let (first, last) = (pulses[0], pulses[pulses.len() - 1]);
    let mut out = vec![
        notes.moment("before due", first.0.saturating_sub(60_000)),
        notes.moment("at due", first.0),
        notes.moment("in pulse 1", middle(first)),
    ];
    if let Some(second) = pulses.get(1) {
        out.push(notes.moment("in gap 1", u64::midpoint(first.1, second.0)));
        if pulses.len() > 2 {
            out.push(notes.moment("mid dose", middle(pulses[pulses.len() / 2])));
        }
        out.push(notes.moment("in last pulse", middle(last)));
    }
    out.push(notes.moment("at outcome", last.1.saturating_sub(1)));
    out.push(notes.moment("after", last.1 + 60_000));
    if let Some(at_ms) = notes.sector_change {
        out.push(notes.moment("sector change", at_ms.saturating_sub(1)));
    }
    Ok(out)
}

fn in_parts(ms: u64) -> String {
    let parts = [
        (ms / 86_400_000, "d"),
        (ms / 3_600_000 % 24, "h"),
        (ms / 60_000 % 60, "min"),
        (ms / 1000 % 60, "s"),
        (ms % 1000, "ms"),
    ];
    let words: Vec<String> =
        parts.iter().filter(|(n, _)| *n > 0).map(|(n, unit)| format!("{n} {unit}")).collect();
    if words.is_empty() { "0 s".to_owned() } else { words.join(" ") }
}
