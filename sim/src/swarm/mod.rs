//! Scenarios made from a seed: random timetables, clocks, acts and faults, for
//! properties and soaks. What comes out is an ordinary scenario file, so that
//! whatever it shows can be read, run and shrunk like any other.

mod calls;
mod chance;
mod faults;
mod given;
mod ground;
mod kinds;
mod lines;
mod probe;
mod site;

use std::fmt::Write as _;

use dosewright_core::civil::Local;

use chance::Chance;
pub use given::Given;
use ground::Ground;
pub use kinds::{Kind, Kinds};
use lines::RIGHT_PIN;

/// What a made scenario may hold.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Shape {
    /// Days of the run, at least [`LEAST_DAYS`]; the last two are calm, so that
    /// whatever was open can resolve.
    pub days: u32,
    /// Faults and acts a day, in tenths, if each came at once: most wait for a dose's window,
    /// and the next is drawn after them, so that fewer come.
    pub events_per_day_tenths: u32,
    /// Kinds of faults and acts that there may be.
    pub kinds: Kinds,
    /// Each seed has all of them, instead of those that it draws.
    pub all_on: bool,
    /// Three in ten made sites run on a battery pack.
    pub packs: bool,
    /// Half of the made sites have a drive, so that their pump turns by its rotor's angle;
    /// some have a lead, and what is calibrated there is often calibrated by a train too.
    pub drives: bool,
}

impl Default for Shape {
    fn default() -> Self {
        Self {
            days: 9,
            events_per_day_tenths: 12,
            kinds: Kinds::USUAL,
            all_on: false,
            packs: false,
            drives: false,
        }
    }
}

/// Days of the shortest run.
pub const LEAST_DAYS: u32 = 3;
/// Days at the end of a run in which nothing is done to the device.
const CALM_DAYS: u32 = 2;
/// Hours of them that it has to find its feet.
const SETTLE_H: u64 = 24;

/// The scenario of a seed. The same seed and shape give the same text in every
/// build whose generator is the same; a golden test says when it is not.
pub fn scenario(seed: u64, shape: Shape) -> String {
    let mut chance = Chance::new(seed);
    let days = shape.days.max(LEAST_DAYS);
    let site = site::make(&mut chance, days, &shape);
    let mut text = site.text(seed);
    let ground = site.ground();
    let busy_ms = busy_ms(days);
    faults::make(seed, &mut chance, &ground, busy_ms, shape, &mut text);
    calm(&mut text, &ground, busy_ms);
    text
}

/// A made scenario without some of its faults, by their places among them.
pub fn without_faults(text: &str, places: &[usize]) -> String {
    let mut fault = 0;
    let mut is_left_out = false;
    let mut out = String::with_capacity(text.len());
    for line in text.split_inclusive('\n') {
        if line.starts_with("[[") {
            let is_fault = line.starts_with("[[fault]]");
            is_left_out = is_fault && places.contains(&fault);
            fault += usize::from(is_fault);
        }
        if !is_left_out {
            out.push_str(line);
        }
    }
    out
}

fn busy_ms(days: u32) -> u64 {
    u64::from(days.max(LEAST_DAYS) - CALM_DAYS) * 86_400_000
}

/// What follows the faults: somebody acknowledges what is latched, fills the
/// container and sets the clock, and a day later everything has to be in order.
fn calm(text: &mut String, ground: &Ground, busy_ms: u64) {
    let calm_h = busy_ms / 3_600_000;
    // a supply that was lost may come back in the last ms
    if text.contains("\nset_pin = ") {
        let _ = write!(text, "\n[[operator]]\nat = \"+{calm_h} h 1 min\"\n{RIGHT_PIN}\n");
    }
    if ground.container.is_some() {
        let _ = write!(text, "\n[[operator]]\nat = \"+{calm_h} h 1 min\"\nrefill = {{}}\n");
    }
    if ground.has_pack {
        // first of all: a device that its pack lets down takes nothing else
        let _ = write!(text, "\n[[operator]]\nat = \"+{calm_h} h 30 s\"\nchange_pack = {{}}\n");
    }
    let local = Local::from_ms(ground.start.as_ms().saturating_add_unsigned(busy_ms + 60_000));
    let (y, m, d) = local.date().ymd();
    let min = local.time_of_day().as_ms() / 60_000;
    let (h, min) = (min / 60, min % 60);
    let _ = write!(
        text,
        "\n[[operator]]\nat = \"+{calm_h} h 1 min\"\nacknowledge = {{}}\n\
         \n[[operator]]\nat = \"+{calm_h} h 1 min\"\n\
         set_clock = {{ to = \"{y:04}-{m:02}-{d:02} {h:02}:{min:02}\" }}\n\
         \n[[expect]]\ncalm = {{ from = \"+{} h\" }}\n",
        calm_h + SETTLE_H
    );
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::observe::{Observation, Observer};
    use crate::run::{FaultEnd, Options};
    use crate::scenario::FaultKind;

    struct Nobody;

    impl Observer for Nobody {
        fn see(&mut self, _: u64, _: &Observation<'_>) {}
    }

    #[test]
    fn what_is_made_can_be_read() {
        for seed in 0..300 {
            let text = scenario(seed, Shape::default());
            let (found, messages) = crate::check::read("made.toml", &text);
            assert!(found.is_some(), "seed {seed}: {messages:#?}\n{text}");
        }
    }

    #[test]
    fn faults_are_left_out_by_their_places_and_nothing_else() {
        let text = scenario(3, Shape { all_on: true, days: 30, ..Shape::default() });
        let read = |text: &str| crate::check::read("made.toml", text).0.expect("a scenario");
        let whole = read(&text);
        assert!(whole.faults.len() > 4, "{} faults", whole.faults.len());
        let less = read(&without_faults(&text, &[0, 2]));
        let kinds = |of: &[crate::scenario::Fault]| -> Vec<_> {
            of.iter().map(|fault| fault.kind).collect()
        };
        let mut wanted = kinds(&whole.faults);
        wanted.remove(2);
        wanted.remove(0);
        assert_eq!(kinds(&less.faults), wanted);
        assert_eq!(less.operator.len(), whole.operator.len());
        assert_eq!(without_faults(&text, &[]), text);
    }

    #[test]
    fn seeds_differ_and_repeat() {
        assert_eq!(scenario(7, Shape::default()), scenario(7, Shape::default()));
        assert_ne!(scenario(7, Shape::default()), scenario(8, Shape::default()));
    }

    #[test]
    fn a_worn_sector_is_one_that_is_written_to() {
        let kinds = Kinds::NONE.with(Kind::PageWorn);
        let shape = Shape { days: 60, kinds, all_on: true, ..Shape::default() };
        let mut worn = Vec::new();
        for seed in 0..60 {
            let (made, _) = crate::check::read("made.toml", &scenario(seed, shape));
            let made = made.expect("a scenario");
            let end = crate::run::run(&made, &Options::default(), &mut Nobody).expect("a world");
            let missed = end.faults.iter().any(|end| *end != FaultEnd::TookEffect);
            assert!(!missed, "seed {seed}: {:?} {:?}", made.faults, end.faults);
            worn.extend(made.faults.iter().map(|fault| fault.kind));
        }
        let sector =
            |kind: &FaultKind| matches!(kind, FaultKind::PageWorn { sector } if *sector > 0);
        assert!(worn.len() > 10 && worn.iter().any(sector), "{worn:?}");
    }

    #[test]
    fn what_fails_in_the_memory_comes_after_all_else_of_a_seed() {
        let usual = Shape { days: 60, ..Shape::default() };
        let more = Shape { kinds: Kinds::ALL, ..usual };
        let mut with_more = 0;
        for seed in 0..20 {
            let (usual, more) = (scenario(seed, usual), scenario(seed, more));
            assert!(Kinds::MEMORY_CALLS.iter().all(|kind| !usual.contains(kind.word())));
            let starts = usual.bytes().zip(more.bytes());
            let ends = usual.bytes().rev().zip(more.bytes().rev());
            let before = starts.take_while(|(a, b)| a == b).count();
            let after = ends.take_while(|(a, b)| a == b).count();
            assert!(before + after >= usual.len(), "seed {seed}: {before} and {after}");
            with_more += u32::from(usual != more);
        }
        assert!(with_more > 10, "{with_more} of 20");
    }

    #[test]
    fn every_kind_is_made_and_none_that_is_left_out() {
        let shape =
            Shape { days: 90, kinds: Kinds::ALL, all_on: true, packs: true, ..Shape::default() };
        // one sector wears out in a run, and only where there are three
        let texts: Vec<String> = (0..60).map(|seed| scenario(seed, shape)).collect();
        for kind in Kind::ALL {
            let line = format!("\n{} = ", kind.word());
            // what is made on the first seeds when it is asked for is not when it is left out
            let made: Vec<u64> =
                (0..60).filter(|&seed| texts[seed as usize].contains(&line)).take(3).collect();
            assert!(!made.is_empty(), "{}", kind.word());
            let without = Shape { kinds: Kinds::ALL.without(kind), ..shape };
            let calm = [
                "\nset_clock = { to = ",
                "\nacknowledge = {}",
                "\nrefill = {}",
                "\nchange_pack = {}",
            ];
            // what is done at the calm, and after a fault of the motor or container
            let follows = matches!(kind, Kind::Acknowledge | Kind::Refill | Kind::Unlock);
            let mut text: String = made.iter().map(|&seed| scenario(seed, without)).collect();
            for line in calm {
                text = text.replace(line, "");
            }
            assert!(follows || !text.contains(&line), "{}", kind.word());
        }
        assert!(texts.concat().contains("during = \"erase\""));
        let none = Shape { kinds: Kinds::NONE, ..shape };
        assert!(!scenario(1, none).contains("[[fault]]"));
    }
}
