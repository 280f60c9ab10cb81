//! Where a fault bites: what is made so far is run up to the moment in question.
//!
//! What is put later than a moment changes nothing before it, so a pulse that is
//! found here is there in the whole run too.

use std::collections::BTreeSet;

use dosewright_core::time::Duration;

use crate::observe::{Observation, Observer};
use crate::run::{self, Options};
use crate::scenario;

/// The shortest run of the pump that a motor's driver has time to know a stall in.
const LEAST_RUN_MS: u64 = 400;

#[derive(Debug)]
struct Watch {
    from: u64,
    on_since: Option<u64>,
    found: Option<(u64, u64)>,
}

impl Observer for Watch {
    fn see(&mut self, at_ms: u64, what: &Observation<'_>) {
        if let Observation::Pump { on } = *what {
            let began = self.on_since.take();
            if on {
                self.on_since = (at_ms >= self.from).then_some(at_ms);
            } else if self.found.is_none() {
                self.found = began.filter(|began| at_ms >= began + LEAST_RUN_MS).zip(Some(at_ms));
            }
        }
    }

    fn wants_end(&self) -> bool {
        self.found.is_some()
    }
}

/// The first run of the pump that begins at a true ms or later, and ends by another:
/// when it begins and ends.
pub(super) fn pump_run(text: &str, from: u64, until: u64) -> Option<(u64, u64)> {
    let (scenario, _) = scenario::read("made", text).ok()?;
    let mut watch = Watch { from, on_since: None, found: None };
    let options = Options { until: Some(Duration::from_ms(until)), ..Options::default() };
    run::run(&scenario, &options, &mut watch).ok()?;
    watch.found
}

#[derive(Debug)]
struct Written {
    from: u64,
    sector_bytes: u64,
    sectors: BTreeSet<u64>,
}

impl Observer for Written {
    fn see(&mut self, at_ms: u64, what: &Observation<'_>) {
        if let Observation::Slot { address, .. } = *what
            && at_ms >= self.from
        {
            self.sectors.insert(u64::from(address) / self.sector_bytes.max(1));
        }
    }
}

/// The sectors that something is written to from a true ms on, and by another.
pub(super) fn sectors(text: &str, from: u64, until: u64, sector_bytes: u64) -> Vec<u64> {
    let Ok((scenario, _)) = scenario::read("made", text) else { return Vec::new() };
    let mut written = Written { from, sector_bytes, sectors: BTreeSet::new() };
    let options = Options { until: Some(Duration::from_ms(until)), ..Options::default() };
    _ = run::run(&scenario, &options, &mut written);
    written.sectors.into_iter().collect()
}

struct Nobody;

impl Observer for Nobody {
    fn see(&mut self, _: u64, _: &Observation<'_>) {}
}

/// What is in the container at a true ms, in nl.
pub(super) fn level_nl(text: &str, at: u64) -> Option<u64> {
    let (scenario, _) = scenario::read("made", text).ok()?;
    let options = Options { until: Some(Duration::from_ms(at)), ..Options::default() };
    run::run(&scenario, &options, &mut Nobody).ok()?.level_nl
}
