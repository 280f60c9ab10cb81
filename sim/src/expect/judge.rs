//! Each claim of a scenario against what the run came to.

use dosewright_core::cause::Cause;
use dosewright_core::record::Alarm;
use dosewright_core::units::Volume;

use super::calm::Calm;
use super::figures::{EntryFigures, Figures};
use crate::diagnose::{Diagnostic, Span, codes};
use crate::run::RunEnd;
use crate::scenario::{Claim, ClaimTime, DueClaim, Expectation, show};
use crate::trace::{Outcome, Stamped};

/// A claim that did not hold: which part of it, what was expected and found.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Miss {
    key: &'static str,
    expected: String,
    found: String,
}

impl Miss {
    fn new(key: &'static str, expected: impl Into<String>, found: impl Into<String>) -> Self {
        Self { key, expected: expected.into(), found: found.into() }
    }
}

/// The claims that do not hold: how many, and each figure of them that is another as a
/// diagnostic at its place in the file.
/// `held` claims are not looked at: they are about all the others.
pub(super) fn failures(
    claims: &[Expectation],
    figures: &Figures,
    end: &RunEnd,
) -> (usize, Vec<Diagnostic>) {
    let mut dues = figures.found.iter();
    let mut calms = figures.calm.iter();
    let mut failed = 0;
    let found = claims
        .iter()
        .flat_map(|expectation| {
            let misses = match &expectation.claim {
                Claim::Outcomes { .. } => outcomes(&expectation.claim, figures),
                Claim::Volume { entry, of, within_ppm } => {
                    let name = entry.as_ref().map(|entry| entry.name.as_str());
                    volume(&figures_of(figures, name), *of, *within_ppm)
                }
                Claim::Due(claim) => {
                    let seen = dues.next().and_then(|found| found.outcome.as_ref());
                    misses(claim, seen, figures.grain).into_iter().collect()
                }
                Claim::PumpOn { least, most } => {
                    let on = figures.pump_on_ms;
                    let mut out = Vec::new();
                    if let Some(least) = least.filter(|least| on < least.as_ms()) {
                        out.push(Miss::new(
                            "least",
                            format!("the pump on for {} at least", show::length(least.as_ms())),
                            show::length(on),
                        ));
                    }
                    if let Some(most) = most.filter(|most| on > most.as_ms()) {
                        out.push(Miss::new(
                            "most",
                            format!("the pump on for {} at most", show::length(most.as_ms())),
                            show::length(on),
                        ));
                    }
                    out
                }
                Claim::Outflow { least, most } => {
                    let came = Volume::from_nl(end.delivered_nl);
                    let grains = figures.grain.as_nl().saturating_mul(figures.delivered());
                    let limits = [
                        (
                            "least",
                            least.filter(|least| came.plus(Volume::from_nl(grains)) < *least),
                        ),
                        ("most", most.filter(|most| came > *most)),
                    ];
                    let missed = |(key, limit): (&'static str, Option<Volume>)| {
                        let limit = show::volume(limit?);
                        let wanted = format!("an outflow of {limit} at {key}");
                        Some(Miss::new(key, wanted, show::volume(came)))
                    };
                    limits.into_iter().filter_map(missed).collect()
                }
                Claim::Alarms { kind, least, most } => {
                    alarm_count(*kind, *least, *most, &end.alarms)
                }
                Claim::Calm { .. } => {
                    let found = calms.next().and_then(Calm::found);
                    let refused = end.refused_memory.as_ref();
                    let off = refused.map(|(_, why)| format!("the device does not start: {why}"));
                    off.or(found)
                        .map(|found| Miss::new("from", "everything in order", found))
                        .into_iter()
                        .collect()
                }
                Claim::Held(_) => Vec::new(),
            };
            failed += usize::from(!misses.is_empty());
            misses.into_iter().map(|miss| diagnostic(expectation, &miss)).collect::<Vec<_>>()
        })
        .collect();
    (failed, found)
}

fn diagnostic(expectation: &Expectation, miss: &Miss) -> Diagnostic {
    let span: Span = expectation.spans.at(miss.key);
    Diagnostic::new(codes::NOT_AS_EXPECTED, span, "an expectation did not hold")
        .label(format!("expected {}; found {}", miss.expected, miss.found))
}

fn figures_of(figures: &Figures, name: Option<&str>) -> EntryFigures {
    match name {
        None => figures.all(),
        Some(name) => figures.entry(name).cloned().unwrap_or_else(|| figures.none(name)),
    }
}

fn outcomes(claim: &Claim, figures: &Figures) -> Vec<Miss> {
    let Claim::Outcomes { entry, dosed, part, skipped, open, cause } = claim else {
        return Vec::new();
    };
    let found = figures_of(figures, entry.as_ref().map(|entry| entry.name.as_str()));
    // one that was asked for and has no outcome is as open as one that was due
    let asked = match found.asked_open {
        0 => String::new(),
        open => format!("; {open} asked for and open"),
    };
    let in_all = format!(
        "{} ({} dosed, {} part, {} skipped, {} open{asked})",
        found.dues(),
        found.dosed,
        found.part,
        found.skipped,
        found.open
    );
    let mut misses = Vec::new();
    let counts = [
        ("dosed", *dosed, found.dosed),
        ("part", *part, found.part),
        ("skipped", *skipped, found.skipped),
        ("open", *open, found.open + found.asked_open),
    ];
    for (key, wanted, count) in counts {
        if wanted.is_some_and(|wanted| u64::from(wanted) != count) {
            let wanted = wanted.unwrap_or_default();
            misses.push(Miss::new(key, format!("{wanted} {key}"), format!("{count} of {in_all}")));
        }
    }
    if let Some(cause) = cause {
        let others: Vec<String> = found
            .causes()
            .filter(|(other, _)| other != cause)
            .map(|(other, count)| format!("{count} with \"{}\"", other.words()))
            .collect();
        if !others.is_empty() {
            misses.push(Miss::new(
                "cause",
                format!("the cause \"{}\" alone", cause.words()),
                others.join(", "),
            ));
        }
    }
    misses
}

fn ml(nl: u128) -> String {
    show::volume(Volume::from_nl(u64::try_from(nl / 1000 * 1000).unwrap_or(u64::MAX)))
}

fn volume(found: &EntryFigures, of: Option<Volume>, within_ppm: u32) -> Vec<Miss> {
    let wanted = of.map_or(found.asks_nl, |of| u128::from(of.as_nl()));
    let off = found.pumped_nl.abs_diff(wanted);
    if off * 1_000_000 <= wanted * u128::from(within_ppm) {
        return Vec::new();
    }
    let expected = format!("{} within {} %", ml(wanted), f64::from(within_ppm) / 10_000.0);
    vec![Miss::new("within", expected, ml(found.pumped_nl))]
}

/// A time of a claim as it is written.
fn text(time: ClaimTime) -> String {
    let offset =
        time.offset_s.map_or(String::new(), |offset_s| format!(" {}", show::offset(offset_s)));
    show::local(time.local) + &offset
}

/// A time that was found as a claim writes it, to be compared with that.
fn as_written(found: Stamped, wanted: ClaimTime) -> ClaimTime {
    ClaimTime { local: found.local, offset_s: wanted.offset_s.map(|_| found.offset_s) }
}

/// The first part of a claim about one dose that does not hold.
pub(super) fn misses(claim: &DueClaim, seen: Option<&Outcome>, grain: Volume) -> Option<Miss> {
    let at = text(claim.at);
    let Some(seen) = seen else {
        let expected =
            format!("a scheduled dose of \"{}\" at {at}, device local time", claim.entry.name);
        return Some(Miss::new("at", expected, "none at that time"));
    };
    let word = |cause: Option<Cause>| {
        cause.map_or("no cause".to_owned(), |cause| format!("\"{}\"", cause.words()))
    };
    if let Some(outcome) = claim.outcome.filter(|outcome| outcome.word() != seen.fate.word()) {
        let found = match seen.fate.cause() {
            Some(cause) => format!("{}, \"{}\"", seen.fate.word(), cause.words()),
            None => seen.fate.word().to_owned(),
        };
        return Some(Miss::new("outcome", outcome.word(), found));
    }
    if let Some(cause) = claim.cause.filter(|cause| Some(*cause) != seen.fate.cause()) {
        return Some(Miss::new("cause", word(Some(cause)), word(seen.fate.cause())));
    }
    let times = [
        ("started_from", claim.started_from, seen.started, true),
        ("started_by", claim.started_by, seen.started, false),
        ("ended_from", claim.ended_from, seen.ended, true),
        ("ended_by", claim.ended_by, seen.ended, false),
    ];
    for (key, wanted, found, from) in times {
        let Some(wanted) = wanted else { continue };
        let found = found.map(|found| as_written(found, wanted));
        let holds = found.map(ClaimTime::place_ms).is_some_and(|found| {
            if from { found >= wanted.place_ms() } else { found <= wanted.place_ms() }
        });
        if !holds {
            let way = if from { "or later" } else { "or earlier" };
            let found = found.map_or("the pump never ran for it".to_owned(), text);
            return Some(Miss::new(key, format!("{} {way}", text(wanted)), found));
        }
    }
    if let Some(from) = claim.volume_from.filter(|from| seen.least.plus(grain) < *from) {
        return Some(Miss::new(
            "volume_from",
            format!("{} at least", show::volume(from)),
            show::volume(seen.least),
        ));
    }
    if let Some(to) = claim.volume_to.filter(|to| seen.most > *to) {
        let found = format!("{}, which may have been delivered", show::volume(seen.most));
        return Some(Miss::new("volume_to", format!("{} at most", show::volume(to)), found));
    }
    None
}

fn alarm_count(
    kind: Option<Alarm>,
    least: Option<u32>,
    most: Option<u32>,
    alarms: &[(u64, Alarm, bool)],
) -> Vec<Miss> {
    let raised =
        alarms.iter().filter(|(_, alarm, on)| *on && kind.is_none_or(|kind| *alarm == kind));
    let count = u32::try_from(raised.count()).unwrap_or(u32::MAX);
    let of = kind.map_or(String::new(), |kind| format!(" \"{}\"", kind.words()));
    let mut misses = Vec::new();
    if least.is_some() && least == most && least != Some(count) {
        misses.push(Miss::new(
            "count",
            format!("{} alarms{of}", least.unwrap_or_default()),
            count.to_string(),
        ));
        return misses;
    }
    if let Some(least) = least.filter(|least| count < *least) {
        misses.push(Miss::new("least", format!("{least} alarms{of} at least"), count.to_string()));
    }
    if let Some(most) = most.filter(|most| count > *most) {
        misses.push(Miss::new("most", format!("{most} alarms{of} at most"), count.to_string()));
    }
    misses
}
