//! What a soak came to: a page for people, lines for machines.

use std::fmt::Write as _;

use dosewright_sim::judged::Verdict;
use dosewright_sim::soak::{Plan, Ran, Tally};
use serde_json::json;

use super::BUILD;
use super::number::thousands;

fn word(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Held => "held",
        Verdict::Stopped => "stopped",
        Verdict::Invalid => "invalid",
        Verdict::Failed => "failed",
    }
}

/// One run as a line.
pub(super) fn line(ran: &Ran) -> String {
    let [dues, dosed, part, skipped, open] = ran.dues;
    let faults: serde_json::Map<String, serde_json::Value> = ran
        .faults
        .iter()
        .map(|(kind, asked, took)| {
            ((*kind).to_owned(), json!({ "asked": asked, "took_effect": took }))
        })
        .collect();
    let line = json!({
        "event": "run",
        "run": ran.case.number,
        "name": ran.name,
        "seed": ran.case.seed,
        "verdict": word(ran.verdict),
        "simulated_ms": ran.ms,
        "dues": dues,
        "dosed": dosed,
        "part": part,
        "skipped": skipped,
        "open": open,
        "unjudged": ran.unjudged,
        "left_out": ran.left_out,
        "pump_starts": ran.starts,
        "acts": ran.acts,
        "faults": faults,
        "findings": ran.findings.iter().take(20).collect::<Vec<_>>(),
    });
    format!("{line}\n")
}

/// All runs as the last line.
pub(super) fn summary(tally: &Tally, plan: &Plan, interrupted: bool) -> String {
    let [dues, dosed, part, skipped, open] = tally.dues;
    let faults: serde_json::Map<String, serde_json::Value> = tally
        .faults
        .iter()
        .map(|(kind, count)| {
            let value = json!({ "asked": count.asked, "took_effect": count.took_effect });
            ((*kind).to_owned(), value)
        })
        .collect();
    let line = json!({
        "event": "summary",
        "held": tally.failed == 0 && tally.invalid == 0 && !interrupted,
        "runs": tally.runs,
        "held_runs": tally.held,
        "failed_runs": tally.failed,
        "invalid_runs": tally.invalid,
        "interrupted": interrupted,
        "simulated_ms": tally.ms,
        "dues": dues,
        "dosed": dosed,
        "part": part,
        "skipped": skipped,
        "open": open,
        "unjudged": tally.unjudged,
        "left_out": tally.left_out,
        "pump_starts": tally.starts,
        "acts": tally.acts,
        "faults": faults,
        "first_seed": plan.first_seed,
        "build": BUILD,
    });
    format!("{line}\n")
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
        "{} outcomes could not be judged strictly: the memory was damaged",
        thousands(tally.unjudged)
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
