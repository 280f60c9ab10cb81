//! How many pulses a dose goes in, and why: the device prefers numbers of which each pulse
//! is a whole number of roller passes, since such a pulse gives the same volume wherever
//! the rotor stands.

use dosewright_core::config::Head;
use dosewright_core::spread::{self, Misfit};
use dosewright_core::units::{Carry, Volume};

use crate::words::plural;

/// How far a pulse may be from whole passes and still counts as whole, in passes.
pub const NEARLY: f64 = 1.0 / spread::WHOLE_WITHIN as f64;

/// The pulses of a dose.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pulses {
    /// How many.
    pub pulses: u32,
    /// The most that the head's limits and its least pulse allow.
    pub most: u32,
    /// Roller passes in each; `None` where the volume of one is not known.
    pub passes: Option<f64>,
}

/// Roller passes in each of so many pulses.
fn passes(dose: Volume, pulses: u32, head: &Head) -> Option<f64> {
    let pass_nl = head.roller_pass.as_nl();
    (pass_nl > 0).then(|| dose.as_nl() as f64 / f64::from(pulses.max(1)) / pass_nl as f64)
}

/// The number of passes that so many nearly are, if any.
fn nearly(passes: f64) -> Option<u32> {
    let whole = passes.round();
    // the device reckons by whole ms of pumping
    ((passes - whole).abs() <= NEARLY + 0.002 && whole >= 1.0).then_some(whole as u32)
}

/// The pulses that the device makes of a dose for which no number is asked.
pub fn choose(dose: Volume, window_ms: u64, head: &Head) -> Result<Pulses, Misfit> {
    let dose_ms = head.flow.on_time(dose, Carry(0)).0.as_ms();
    let most = spread::most_pulses(dose_ms, window_ms, head)?;
    let pulses = spread::pulses_for(dose_ms, window_ms, head, None)?;
    Ok(Pulses::of(dose, pulses, most, head))
}

impl Pulses {
    /// One, of a head whose roller pass is not known.
    pub const ONE: Self = Self { pulses: 1, most: 1, passes: None };

    /// So many pulses of a dose, of the most that there can be.
    pub fn of(dose: Volume, pulses: u32, most: u32, head: &Head) -> Self {
        Self { pulses, most, passes: passes(dose, pulses, head) }
    }

    /// The whole roller passes of a pulse, where they are whole.
    pub fn whole(&self) -> Option<u32> {
        nearly(self.passes?)
    }

    /// What was chosen and why, in words.
    pub fn why(&self, dose: Volume) -> String {
        let Self { most, passes, .. } = *self;
        let pulses = plural(self.pulses, "pulse");
        let each = dose.as_nl() as f64 / 1e6 / f64::from(self.pulses.max(1));
        let each = crate::units::in_ml(each, 2);
        let as_many = "as even as the head's limits and its least pulse allow";
        let is_most = self.pulses == most;
        match (self.whole(), passes) {
            (Some(whole), _) => {
                let plural = if whole == 1 { "pass" } else { "passes" };
                let why = if is_most {
                    as_many.to_owned()
                } else {
                    format!("chosen so, of {most} that the head's limits and its least pulse allow")
                };
                format!(
                    "{pulses} of {each}, {whole} roller {plural} each: each gives the same wherever the rotor stands; {why}."
                )
            }
            (None, Some(passes)) => format!(
                "{pulses} of {each}: {as_many}. No number near it makes whole roller passes of this dose: it is {passes:.2} each."
            ),
            (None, None) => format!("{pulses} of {each}: {as_many}."),
        }
    }
}
