//! What the runs of a soak come to together.

use std::collections::BTreeMap;

use super::{Ran, YEAR_MS};
use crate::judged::Verdict;

/// Faults of one kind.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct KindTally {
    /// Asked for.
    pub asked: u64,
    /// Took effect.
    pub took_effect: u64,
}

/// The sum of the runs so far. It does not depend on their order.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Tally {
    /// Runs that were finished.
    pub runs: u64,
    /// Runs in which everything held.
    pub held: u64,
    /// Runs that failed.
    pub failed: u64,
    /// Runs that held, with a fault that never took effect.
    pub invalid: u64,
    /// Runs in which the program panicked; they are failed, too.
    pub panicked: u64,
    /// True ms that were simulated.
    pub ms: u64,
    /// Scheduled doses: all, dosed, part, skipped, open.
    pub dues: [u64; 5],
    /// Outcomes that memory damage kept from being judged.
    pub unjudged: u64,
    /// Pump starts.
    pub starts: u64,
    /// Acts that the device took.
    pub acts: u64,
    /// Faults left out, for want of anything to hit.
    pub left_out: u64,
    /// By kind.
    pub faults: BTreeMap<&'static str, KindTally>,
}

impl Tally {
    /// Takes in a run. One that was interrupted is none.
    pub fn add(&mut self, ran: &Ran) {
        match ran.verdict {
            Verdict::Held => self.held += 1,
            Verdict::Invalid => self.invalid += 1,
            Verdict::Failed => self.failed += 1,
            Verdict::Stopped => return,
        }
        self.runs += 1;
        self.panicked += u64::from(ran.panicked);
        self.ms += ran.ms;
        for (sum, more) in self.dues.iter_mut().zip(ran.dues) {
            *sum += more;
        }
        self.unjudged += ran.unjudged;
        self.starts += ran.starts;
        self.acts += ran.acts;
        self.left_out += ran.left_out;
        for (word, asked, took) in &ran.faults {
            let kind = self.faults.entry(word).or_default();
            kind.asked += asked;
            kind.took_effect += took;
        }
    }

    /// Controller-years that were simulated.
    pub fn years(&self) -> f64 {
        self.ms as f64 / YEAR_MS as f64
    }

    /// Faults asked for, and those that took effect.
    pub fn fault_counts(&self) -> (u64, u64) {
        self.faults
            .values()
            .fold((0, 0), |(asked, took), kind| (asked + kind.asked, took + kind.took_effect))
    }

    /// The worst that there was.
    pub fn worst(&self) -> Verdict {
        if self.failed > 0 {
            Verdict::Failed
        } else if self.invalid > 0 {
            Verdict::Invalid
        } else {
            Verdict::Held
        }
    }
}
