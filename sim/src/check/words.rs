//! What the device refused while it ran, in a sentence.

use dosewright_core::calibration::NoRun;
use dosewright_core::entry::EntryId;
use dosewright_core::spread::Misfit;
use dosewright_core::timetable::Refusal;

use crate::scenario::{Act, CalibrationRun, ClockSetting, show};

/// Why an act was refused, in words; `name` gives the name of an entry.
pub fn refusal_of(act: &Act, refused: &Refusal, name: impl Fn(EntryId) -> String) -> String {
    match (act, refused) {
        (Act::SetClock(ClockSetting::By(_)), Refusal::OutOfRange) => {
            "`by` moves a clock that is set, to a date that the device takes; for one that is \
             unset give `to`"
                .to_owned()
        }
        (Act::Calibrate { run: Some(CalibrationRun::Train), .. }, Refusal::OutOfRange) => {
            "no train of pulses that this head can run is sure enough".to_owned()
        }
        (Act::Calibrate { run: Some(_), .. }, Refusal::OutOfRange) => {
            "the run would be longer than the head's longest calibration run, \
             `longest_calibration`"
                .to_owned()
        }
        _ => refusal(refused, name),
    }
}

/// A refusal in words; `name` gives the name of an entry.
pub fn refusal(refusal: &Refusal, name: impl Fn(EntryId) -> String) -> String {
    match *refusal {
        Refusal::TooManyEntries { most } => format!("more than {most} entries"),
        Refusal::SameId { id } => format!("two entries with the number {}", id.0),
        Refusal::RetiredId { id } => {
            format!("the number {} belonged to an entry that is gone", id.0)
        }
        Refusal::Head(_) => "the head's limits contradict each other".to_owned(),
        Refusal::Field { id, field: "first and last" } => format!(
            "the dates of \"{}\" are not taken: they are those of weekly entries, the last not before the first",
            name(id)
        ),
        Refusal::Field { id, field } => format!("the {field} of \"{}\" is out of range", name(id)),
        Refusal::NeverDue { id } => format!("\"{}\" never comes due", name(id)),
        Refusal::DoesNotFit { id, misfit } => match misfit {
            Misfit::Window { dose_ms, least_ms } => format!(
                "the dose of \"{}\", {} of pumping, does not fit its window; the least window is {}",
                name(id),
                show::length(dose_ms),
                show::length(least_ms)
            ),
            Misfit::BelowShortestPulse { .. } | Misfit::Indivisible { .. } => {
                format!("the head cannot deliver the dose of \"{}\" in pulses it can run", name(id))
            }
            Misfit::Pulses { most } => {
                format!("the dose of \"{}\" goes in {most} pulses at most", name(id))
            }
        },
        Refusal::GapTooShort { id, window_and_grace_ms, gap_ms } => format!(
            "window and grace of \"{}\" are {}, its gap is {}",
            name(id),
            show::length(window_and_grace_ms),
            show::length(gap_ms)
        ),
        Refusal::Overlap { first, second, nearest_min } => {
            let moved = name(second);
            let fits = nearest_min
                .map(|at| format!("; \"{moved}\" fits at {:02}:{:02}", at / 60, at % 60))
                .unwrap_or_default();
            format!("the windows of \"{}\" and \"{moved}\" overlap{fits}", name(first))
        }
        Refusal::OverCeiling { asked, ceiling } => format!(
            "the timetable asks for {} in 24 h, the ceiling is {}",
            show::volume(asked),
            show::volume(ceiling)
        ),
        Refusal::TooManyDues { dues, most } => format!("{dues} doses in 24 h; at most {most}"),
        Refusal::Battery => "the battery pack cannot finish the dose".to_owned(),
        Refusal::ContainerEmpty => "the container is empty by account".to_owned(),
        Refusal::Busy => "the pump is in use, stopped or at fault".to_owned(),
        Refusal::NoSuchEntry { .. } => "there is no such entry".to_owned(),
        Refusal::NotRunning { .. } => "no dose of it is under way".to_owned(),
        Refusal::Ledger => "the memory could not take it down".to_owned(),
        Refusal::AtCeiling => "the daily ceiling leaves nothing to deliver".to_owned(),
        Refusal::OutOfRange => "the setting is out of range".to_owned(),
        Refusal::Locked => "the settings are locked".to_owned(),
        Refusal::WrongPin => "it is not the PIN".to_owned(),
        Refusal::TriedTooOften { wait_ms } => format!(
            "too many wrong tries; the next is judged in {}",
            show::length(u64::from(wait_ms))
        ),
        Refusal::NoRun(NoRun::VesselTooCoarse { best_ppm }) => {
            format!("a full vessel still leaves an uncertainty of {}", show::percent(best_ppm))
        }
        Refusal::NoRun(NoRun::VesselTooSmall) => {
            "not a turn of the rotor goes into the vessel".to_owned()
        }
        Refusal::NothingMeasured => {
            "there is no calibration run that the reading belongs to".to_owned()
        }
        Refusal::RunLonger { least_ms } => format!(
            "the reading is not sure enough; a run of {} would be",
            show::length(u64::from(least_ms))
        ),
        Refusal::RunTwice { flow } => format!(
            "{} is far from the flow in force; a second run has to say the same",
            show::measured_flow(flow)
        ),
        Refusal::Implausible { flow: Some(flow) } => {
            format!("{} is no flow that this head can have", show::measured_flow(flow))
        }
        Refusal::Implausible { flow: None } => "the reading gives no flow at all".to_owned(),
    }
}
