//! Scenarios made from a seed: random timetables, clocks, acts and faults, for
//! properties and soaks. What comes out is an ordinary scenario file, so that
//! whatever it shows can be read, run and shrunk like any other.

mod chance;
mod faults;
mod site;

use std::fmt::Write as _;

use chance::Chance;

/// What a made scenario may hold.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Shape {
    /// Days of the run, at least 3; the last two are calm, so that whatever was
    /// open can resolve.
    pub days: u32,
    /// Faults and acts a day, on average, in tenths.
    pub events_per_day_tenths: u32,
}

impl Default for Shape {
    fn default() -> Self {
        Self { days: 9, events_per_day_tenths: 12 }
    }
}

/// Days at the end of a run in which nothing is done to the device.
const CALM_DAYS: u32 = 2;

/// The scenario of a seed. The same seed and shape give the same text in every
/// build whose generator is the same; a golden test says when it is not.
pub fn scenario(seed: u64, shape: Shape) -> String {
    let mut chance = Chance::new(seed);
    let days = shape.days.max(3);
    let site = site::make(&mut chance, days);
    let mut text = site.text(seed);
    let busy_ms = u64::from(days - CALM_DAYS) * 86_400_000;
    faults::make(&mut chance, &site, busy_ms, shape, &mut text);
    let calm_at = busy_ms / 3_600_000;
    let _ = write!(text, "\n[[operator]]\nat = \"+{calm_at} h\"\nacknowledge = {{}}\n");
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_made_can_be_read() {
        for seed in 0..300 {
            let text = scenario(seed, Shape::default());
            let (found, messages) = crate::check::read("made.toml", &text);
            assert!(found.is_some(), "seed {seed}: {messages:#?}\n{text}");
        }
    }

    #[test]
    fn seeds_differ_and_repeat() {
        assert_eq!(scenario(7, Shape::default()), scenario(7, Shape::default()));
        assert_ne!(scenario(7, Shape::default()), scenario(8, Shape::default()));
    }
}
