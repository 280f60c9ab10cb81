//! What a soak came to: a page for people, lines for machines.

use std::collections::BTreeMap;
use std::fmt::Write as _;

use dosewright_sim::judged::Verdict;
use dosewright_sim::lines;
use dosewright_sim::soak::{KindTally, Plan, Ran, Tally};
use schemars::JsonSchema;
use serde::Serialize;

use super::BUILD;
use super::number::thousands;

/// A line of a soak.
#[derive(Serialize, JsonSchema)]
#[serde(tag = "event", rename_all = "snake_case")]
pub(super) enum Line<'a> {
    /// One run.
    Run {
        /// Its number in the whole soak, from 0.
        run: u64,
        name: &'a str,
        seed: u64,
        verdict: Word,
        simulated_ms: u64,
        #[serde(flatten)]
        doses: Doses,
        #[serde(flatten)]
        done: Done<'a>,
        /// What failed or took no effect; 20 at most.
        findings: &'a [String],
    },
    /// All runs.
    Summary {
        /// Nothing failed, every fault took effect, and nobody interrupted it.
        held: bool,
        runs: u64,
        held_runs: u64,
        failed_runs: u64,
        invalid_runs: u64,
        interrupted: bool,
        simulated_ms: u64,
        #[serde(flatten)]
        doses: Doses,
        #[serde(flatten)]
        done: Done<'a>,
        first_seed: u64,
        /// Version and digest of the sources.
        build: &'a str,
    },
}

/// How a run ended.
#[derive(Serialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub(super) enum Word {
    Held,
    Stopped,
    /// A fault never took effect.
    Invalid,
    Failed,
}

/// Scheduled doses.
#[derive(Serialize, JsonSchema)]
pub(super) struct Doses {
    dues: u64,
    dosed: u64,
    part: u64,
    skipped: u64,
    open: u64,
}

impl Doses {
    const fn of([dues, dosed, part, skipped, open]: [u64; 5]) -> Self {
        Self { dues, dosed, part, skipped, open }
    }
}

/// What was done in it.
#[derive(Serialize, JsonSchema)]
pub(super) struct Done<'a> {
    /// Outcomes that memory damage kept from being judged.
    unjudged: u64,
    /// Faults left out, for want of anything to hit.
    left_out: u64,
    pump_starts: u64,
    /// Acts that the device took.
    acts: u64,
    /// By kind.
    faults: BTreeMap<&'a str, Taken>,
}

/// Faults of a kind.
#[derive(Serialize, JsonSchema)]
pub(super) struct Taken {
    asked: u64,
    took_effect: u64,
}

const fn word(verdict: Verdict) -> Word {
    match verdict {
        Verdict::Held => Word::Held,
        Verdict::Stopped => Word::Stopped,
        Verdict::Invalid => Word::Invalid,
        Verdict::Failed => Word::Failed,
    }
}

/// One run as a line.
pub(super) fn line(ran: &Ran) -> String {
    let taken = |(kind, asked, took_effect): &(&'static str, u64, u64)| {
        (*kind, Taken { asked: *asked, took_effect: *took_effect })
    };
    lines::line(&Line::Run {
        run: ran.case.number,
        name: &ran.name,
        seed: ran.case.seed,
        verdict: word(ran.verdict),
        simulated_ms: ran.ms,
        doses: Doses::of(ran.dues),
        done: Done {
            unjudged: ran.unjudged,
            left_out: ran.left_out,
            pump_starts: ran.starts,
            acts: ran.acts,
            faults: ran.faults.iter().map(taken).collect(),
        },
        findings: &ran.findings[..ran.findings.len().min(20)],
    })
}

/// All runs as the last line.
pub(super) fn summary(tally: &Tally, plan: &Plan, interrupted: bool) -> String {
    let taken = |(kind, count): (&&'static str, &KindTally)| {
        (*kind, Taken { asked: count.asked, took_effect: count.took_effect })
    };
    lines::line(&Line::Summary {
        held: tally.failed == 0 && tally.invalid == 0 && !interrupted,
        runs: tally.runs,
        held_runs: tally.held,
        failed_runs: tally.failed,
        invalid_runs: tally.invalid,
        interrupted,
        simulated_ms: tally.ms,
        doses: Doses::of(tally.dues),
        done: Done {
            unjudged: tally.unjudged,
            left_out: tally.left_out,
            pump_starts: tally.starts,
            acts: tally.acts,
            faults: tally.faults.iter().map(taken).collect(),
        },
        first_seed: plan.first_seed,
        build: BUILD,
    })
}

/// All runs as a page.
pub(super) fn page(tally: &Tally, runs: usize, interrupted: bool, quiet: bool) -> String {
    let verdict = match tally.worst() {
        Verdict::Failed => "FAILED",
        Verdict::Invalid => "is INVALID",
        _ if interrupted => "held until it was interrupted",
        _ => "held",
    };
    let mut out = format!(
        "soak {verdict}. {:.1} controller-years in {} of {} runs:\n  {} held, {} failed, {} invalid\n",
        tally.years(),
        thousands(tally.runs),
        thousands(runs as u64),
        thousands(tally.held),
        thousands(tally.failed),
        thousands(tally.invalid)
    );
    if quiet {
        return out;
    }
    let [dues, dosed, part, skipped, open] = tally.dues;
    _ = writeln!(
        out,
        "\n{} scheduled doses: {} dosed, {} part,\n  {} skipped, {} open at the end; {} pump starts",
        thousands(dues),
        thousands(dosed),
        thousands(part),
        thousands(skipped),
        thousands(open),
        thousands(tally.starts)
    );
    _ = writeln!(
        out,
        "{} could not be judged strictly: the memory was damaged",
        match tally.unjudged {
            1 => "1 outcome".to_owned(),
            count => format!("{} outcomes", thousands(count)),
        }
    );
    if tally.left_out > 0 {
        _ = writeln!(
            out,
            "{} faults had been put where there was nothing to hit, and were left out",
            thousands(tally.left_out)
        );
    }
    out.push_str("\nfault             asked for   took effect\n");
    for (kind, count) in &tally.faults {
        _ = writeln!(
            out,
            "{kind:<16} {:>10}  {:>12}",
            thousands(count.asked),
            thousands(count.took_effect)
        );
    }
    let (asked, took) = tally.fault_counts();
    _ = writeln!(out, "{:<16} {:>10}  {:>12}", "all", thousands(asked), thousands(took));
    let days = (tally.years() * 365.25).max(1e-9);
    _ = writeln!(
        out,
        "\n{:.2} faults and {:.2} acts of people a controller-day, on average",
        took as f64 / days,
        tally.acts as f64 / days
    );
    _ = writeln!(out, "build {BUILD}");
    out
}
