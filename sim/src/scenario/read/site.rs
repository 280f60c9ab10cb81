//! `[clock]`, `[head]`, `[motor]`, `[supply]`, `[site]`, `[container]`, `[memory]`, `[limits]`.

use dosewright_core::civil::{Date, Local};
use dosewright_core::config::{self, Head};
use dosewright_core::time::Duration;
use dosewright_core::units::Volume;
use dosewright_core::zone::{LocalKind, Zone};

use super::super::bounds;
use super::super::model::{
    CellType, ClockPlan, Container, Crystal, Drive, HeadPlan, Limits, Memory, Motion, Motor, Pack,
    SignedMs, Site, Supply,
};
use super::super::quantity::show;
use super::super::reader::TableReader;
use super::bounds;
use crate::diagnose::{Diagnostic, codes};
use crate::trade::stock::HEEL_PERCENT;

/// Turnover temperature of a tuning-fork crystal: 25 C (a crystal data sheet).
const TURNOVER_MC: i32 = 25_000;

pub(super) fn clock(mut t: TableReader) -> Option<ClockPlan> {
    let zone = t.zone("zone");
    let posix = zone.as_ref().map(|zone| zone.zone);
    let start = t.local("start").map(|start| existing_start(&mut t, start, posix.as_ref()));
    let device_zone = t.zone("device_zone");
    let run_for = t.length("run_for");
    let drift = t.quantity_i32("drift");
    let temperature_mc = t.quantity_i32("temperature");
    let coefficient = t.quantity_i32("temperature_coefficient");
    let turnover = t.quantity_i32("turnover");
    let off_by = t.length_ms("off_by");
    let unset = t.switch("unset");
    t.cx.bounds = bounds(start, run_for, posix);
    for (key, other) in [
        ("temperature_coefficient", "temperature"),
        ("temperature", "temperature_coefficient"),
        ("turnover", "temperature_coefficient"),
    ] {
        if t.has(key) && !t.has(other) {
            let message = format!("`{key}` says nothing without `{other}`");
            let found = Diagnostic::new(codes::CONTRADICTION, t.key_place(key), message)
                .help(format!("give `{other}` too, or leave it out"));
            t.cx.report(found);
        }
    }
    let latest = Local::new(Date::MAX, Duration::ZERO);
    let over = start.zip(run_for).is_some_and(|(start, run_for)| {
        i128::from(start.as_ms()) + i128::from(run_for.as_ms()) > i128::from(latest.as_ms())
    });
    if over {
        let found = Diagnostic::new(
            codes::OUT_OF_RANGE,
            t.place("run_for"),
            "the run ends after the last year that is reckoned with",
        )
        .label(format!("the last date is {}", show::date(Date::MAX)));
        t.cx.report(found);
    }
    let spans = t.finish();
    Some(ClockPlan {
        start: start?,
        zone: zone?,
        device_zone,
        run_for: run_for?,
        drift_ppb: drift.unwrap_or(0),
        crystal: coefficient.map(|coefficient_ppb_per_k2| Crystal {
            coefficient_ppb_per_k2,
            turnover_mc: turnover.unwrap_or(TURNOVER_MC),
        }),
        temperature_mc,
        off_by: SignedMs(off_by.unwrap_or(0)),
        unset: unset.unwrap_or(false),
        spans,
    })
}

/// A start in an hour that the clocks skip is after it, as a clock that is set to such a
/// time shows the moved one; of one that they repeat it is in the first pass.
fn existing_start(t: &mut TableReader, start: Local, zone: Option<&Zone>) -> Local {
    let moved = zone.map_or(start, |zone| bounds::existing(zone, start));
    if moved == start {
        if zone.is_some_and(|zone| zone.kind_of(start) == LocalKind::Repeated) {
            let found = Diagnostic::new(
                codes::IN_REPEATED_HOUR,
                t.place("start"),
                "the run starts in the hour that autumn repeats",
            )
            .label(format!("{} comes twice: it starts at the first", show::local(start)))
            .help("for the second, start an hour before the first and count from there");
            t.cx.report(found);
        }
        return start;
    }
    let found = Diagnostic::new(
        codes::IN_SKIPPED_HOUR,
        t.place("start"),
        "the run starts in the hour that spring skips",
    )
    .label(format!("there is no {}: it starts at {}", show::local(start), show::local(moved)));
    t.cx.report(found);
    moved
}

pub(super) fn head(mut t: TableReader) -> Option<HeadPlan> {
    let flow = t.flow("flow");
    let true_flow = t.flow("true_flow");
    let rollers = t.count("rollers");
    let roller_pass = t.volume("volume_per_roller_pass");
    let shortest_on_ms = t.short_ms("shortest_on");
    let shortest_off_ms = t.short_ms("shortest_off");
    let longest_run_ms = t.short_ms("longest_run");
    let least_rest_ms = t.short_ms("least_rest");
    let starts = t.count("starts_per_hour");
    let least_pulse = t.volume("least_pulse");
    let longest_prime_ms = t.short_ms("longest_prime");
    let longest_calibration_ms = t.short_ms("longest_calibration");
    let lead_ms = t.short_ms("lead");
    let motion = Motion {
        drive: t.inner("drive").and_then(drive),
        spin_up_ms: t.short_ms("spin_up"),
        coast_ms: t.short_ms("coast"),
        pulsation_ppm: t.quantity_u32("pulsation"),
    };
    let spans = t.finish();
    let usual = Head::with_flow(flow?);
    let head = Head {
        flow: flow?,
        rollers: rollers.map_or(usual.rollers, |n| n as u8),
        roller_pass: roller_pass.unwrap_or(usual.roller_pass),
        shortest_on_ms: shortest_on_ms.unwrap_or(usual.shortest_on_ms),
        shortest_off_ms: shortest_off_ms.unwrap_or(usual.shortest_off_ms),
        longest_run_ms: longest_run_ms.unwrap_or(usual.longest_run_ms),
        least_rest_ms: least_rest_ms.unwrap_or(usual.least_rest_ms),
        starts_per_hour: starts.map_or(usual.starts_per_hour, |n| n as u16),
        least_pulse: least_pulse.unwrap_or(usual.least_pulse),
        longest_prime_ms: longest_prime_ms.unwrap_or(usual.longest_prime_ms),
        longest_calibration_ms: longest_calibration_ms.unwrap_or(usual.longest_calibration_ms),
        lead_ms: lead_ms.map_or(usual.lead_ms, |ms| ms as u16),
    };
    Some(HeadPlan { head, true_flow, motion, spans })
}

fn drive(mut t: TableReader) -> Option<Drive> {
    let on_off = t.inner("on_off").map(|t| {
        t.finish();
        Drive::OnOff
    });
    let duty = t.inner("duty").and_then(|mut t| {
        let speed_ppm = t.quantity_u32("speed");
        t.finish();
        Some(Drive::Duty { speed_ppm: speed_ppm? })
    });
    let stepper = t.inner("stepper").and_then(|mut t| {
        let steps_per_turn = t.count("steps_per_turn");
        t.finish();
        Some(Drive::Stepper { steps_per_turn: steps_per_turn? })
    });
    t.finish();
    on_off.or(duty).or(stepper)
}

/// A text of nothing but blanks is a blank to fill in.
pub(super) fn site(mut t: TableReader) -> Site {
    let mut line = |key| {
        let text = t.free_text(key)?.trim().to_owned();
        (!text.is_empty()).then_some(text)
    };
    let dosing_point = line("dosing_point");
    let product_class = line("product_class");
    let permit = line("permit");
    Site { dosing_point, product_class, permit, spans: t.finish() }
}

/// The defaults are common practice, no source.
pub(super) fn motor(mut t: TableReader) -> Option<Motor> {
    let voltage = t.quantity_u32("voltage");
    let current = t.quantity_u32("current");
    let start_current = t.quantity_u32("start_current");
    let start_ms = t.short_ms("start_for");
    let spans = t.finish();
    Some(Motor {
        voltage_mv: voltage?,
        current_ua: current.unwrap_or(350_000),
        start_current_ua: start_current.unwrap_or(1_200_000),
        start_ms: start_ms.unwrap_or(30),
        spans,
    })
}

pub(super) fn supply(mut t: TableReader) -> Option<Supply> {
    let mains = t.inner("mains").map(TableReader::finish);
    let battery = t.inner("battery").and_then(|mut t| {
        let cells_of = t.word("type", &CellType::ALL);
        let cells = t.count("cells").map(|n| n as u8);
        let pack = Pack {
            sleep_ua: t.quantity_u32("sleep"),
            display_ua: t.quantity_u32("display"),
            lit_a_week_ms: t.short_ms("lit_a_week"),
            usable_ppm: t.quantity_u32("usable"),
            self_discharge_ppm: t.quantity_u32("self_discharge"),
            temperature_mc: t.quantity_i32("temperature"),
            charge_ppm: t.quantity_u32("charge"),
            warn_days: t.count("warn_days").map(|n| n as u8),
        };
        let spans = t.finish();
        Some(Supply::Battery { cells_of: cells_of?, cells, pack, spans })
    });
    t.finish();
    battery.or(mains.map(|_| Supply::Mains))
}

pub(super) fn container(mut t: TableReader) -> Option<Container> {
    let capacity = t.volume("capacity");
    let level = t.volume("level");
    let heel = t.volume_or_share("heel", capacity);
    let low_contact = t.volume("low_contact");
    let debounce_ms = t.short_ms("debounce");
    let lead = t.length("lead");
    let slack = t.length("slack");
    if let Some(capacity) = capacity {
        for (key, volume) in [("level", level), ("heel", heel), ("low_contact", low_contact)] {
            if volume.is_some_and(|volume| volume > capacity) {
                let message = format!("`{key}` is above the capacity");
                let found = Diagnostic::new(codes::CONTRADICTION, t.place(key), message)
                    .label(format!("the container holds {}", show::volume(capacity)))
                    .note_at(t.place("capacity"), "`capacity` is here");
                t.cx.report(found);
            }
        }
    }
    if t.has("debounce") && !t.has("low_contact") {
        let message = "`debounce` says nothing without `low_contact`";
        let found = Diagnostic::new(codes::CONTRADICTION, t.key_place("debounce"), message)
            .help("give `low_contact` too, or leave it out");
        t.cx.report(found);
    }
    let usual = capacity.map(|c| Volume::from_nl(c.as_nl() / 100 * HEEL_PERCENT));
    if let (Some(low), Some(heel)) = (low_contact, heel.or(usual))
        && low <= heel
    {
        let message = "`low_contact` is not above the heel";
        let mut found = Diagnostic::new(codes::CONTRADICTION, t.place("low_contact"), message)
            .label(format!("the heel is {}", show::volume(heel)))
            .help("the reserve is what lies between the two: put the contact higher");
        if t.has("heel") {
            found = found.note_at(t.place("heel"), "`heel` is here");
        }
        t.cx.report(found);
    }
    if let (Some(low), Some(capacity)) = (low_contact, capacity)
        && low == capacity
    {
        let message = "`low_contact` is at the brim";
        let found = Diagnostic::new(codes::CONTRADICTION, t.place("low_contact"), message)
            .label("it would be closed as soon as anything is drawn")
            .help("put the contact lower: the reserve is what lies below it");
        t.cx.report(found);
    }
    let spans = t.finish();
    let capacity = capacity?;
    Some(Container {
        capacity,
        level: level.unwrap_or(capacity),
        heel: heel.unwrap_or(Volume::from_nl(capacity.as_nl() / 100 * HEEL_PERCENT)),
        low_contact,
        debounce_ms: debounce_ms.unwrap_or(config::Container::DEBOUNCE_MS),
        lead,
        slack,
        spans,
    })
}

pub(super) fn memory(mut t: TableReader) -> Memory {
    let usual = Memory::default();
    let word = t.count("word");
    let sector = t.quantity_u32("sector");
    let sectors = t.count("sectors");
    if word.is_some_and(|word| !matches!(word, 1 | 4 | 8)) {
        let found = Diagnostic::new(
            codes::OUT_OF_RANGE,
            t.place("word"),
            "`word` is not a size of a memory's word",
        )
        .help("one of 1, 4, 8");
        t.cx.report(found);
    }
    if let Some(sector) = sector.filter(|sector| !sector.is_power_of_two()) {
        let found = Diagnostic::new(
            codes::OUT_OF_RANGE,
            t.place("sector"),
            "`sector` is not a power of two",
        )
        .label(format!("this is {sector} B"))
        .help(format!("the next one is {} B", sector.next_power_of_two()));
        t.cx.report(found);
    }
    let spans = t.finish();
    Memory {
        word_bytes: word.unwrap_or(usual.word_bytes),
        sector_bytes: sector.unwrap_or(usual.sector_bytes),
        sectors: sectors.unwrap_or(usual.sectors),
        spans,
    }
}

pub(super) fn limits(mut t: TableReader) -> Limits {
    let daily_ceiling = t.volume("daily_ceiling");
    Limits { daily_ceiling, spans: t.finish() }
}
