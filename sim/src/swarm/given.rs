//! Faults and acts on top of a site that a file gives.

use std::fmt::Write as _;

use dosewright_core::units::Volume;
use toml_edit::{DocumentMut, Item};

use super::chance::Chance;
use super::ground::{Ground, Known, Tank};
use super::{LEAST_DAYS, Shape, busy_ms, calm, faults};
use crate::run::{Frame, Options};
use crate::scenario::{Scenario, Supply};
use crate::tables;
use crate::world;

/// A site from a scenario file: its clock, head and timetable, without the faults,
/// acts and expectations that the file has of its own.
#[derive(Debug, Clone)]
pub struct Given {
    text: String,
    ground: Ground,
    run_ms: u64,
}

impl Given {
    /// The site of a file that has been read; `None` where its text cannot be
    /// edited, which no file is whose reading found no error.
    pub fn new(text: &str, scenario: &Scenario) -> Option<Self> {
        let mut doc: DocumentMut = text.parse().ok()?;
        for key in ["fault", "operator", "expect"] {
            doc.remove(key);
        }
        tables::unfold(&mut doc);
        // the length of the run is the soak's
        doc.get_mut("clock")?.as_table_like_mut()?.remove("run_for");
        let inline = |at: usize| -> Option<String> {
            let item = doc.get("entry")?.as_array_of_tables()?.get(at)?;
            let pairs = item.iter().filter(|(key, _)| *key != "volume").map(|(key, item)| {
                let value = Item::clone(item).into_value().ok()?.decorated("", "");
                Some(format!("{key} = {value}"))
            });
            Some(pairs.collect::<Option<Vec<_>>>()?.join(", "))
        };
        let frame = Frame::of(scenario, &Options::default());
        let timetable = world::first_timetable(scenario, &frame);
        let entries = timetable
            .entries()
            .zip(&scenario.entries)
            .enumerate()
            .map(|(at, (entry, plan))| {
                Some(Known { name: plan.name.clone(), entry, inline: inline(at)? })
            })
            .collect::<Option<Vec<_>>>()?;
        let ground = Ground {
            start: scenario.clock.start,
            entries,
            flow: scenario.head.head.flow,
            sectors: u64::from(scenario.memory.sectors),
            sector_bytes: u64::from(scenario.memory.sector_bytes),
            container: scenario.container.as_ref().map(|container| Tank {
                capacity_nl: container.capacity.as_nl(),
                heel_nl: container.heel.as_nl(),
                low_nl: container.low_contact.map(Volume::as_nl),
            }),
            has_pack: matches!(scenario.supply, Supply::Battery { .. }),
            has_drive: scenario.head.motion.drive.is_some(),
            lifts: scenario.tube.as_ref().is_some_and(|tube| tube.lifted() > Volume::ZERO),
        };
        Some(Self { text: doc.to_string(), ground, run_ms: scenario.clock.run_for.as_ms() })
    }

    /// Days of its runs where nobody says otherwise: those of the file.
    pub fn days(&self) -> u32 {
        u32::try_from(self.run_ms.div_ceil(86_400_000)).unwrap_or(u32::MAX).max(LEAST_DAYS)
    }

    /// The scenario of a seed.
    pub fn scenario(&self, seed: u64, shape: Shape) -> String {
        let mut chance = Chance::new(seed);
        let days = shape.days.max(LEAST_DAYS);
        // the table of the clock may stand anywhere; a dotted key does not, so the
        // length goes where the table is
        let mut doc: DocumentMut = self.text.parse().unwrap_or_default();
        doc["clock"]["run_for"] = toml_edit::value(format!("{days} days"));
        let mut text = doc.to_string();
        let busy_ms = busy_ms(days);
        let _ = writeln!(text, "\n# made from seed {seed}");
        faults::make(seed, &mut chance, &self.ground, busy_ms, shape, &mut text);
        calm(&mut text, &self.ground, busy_ms);
        text
    }
}
