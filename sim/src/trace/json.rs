//! Lines for machines: one JSON object a line.
//!
//! The lines `outcome`, `pump` and `summary` are a contract; fields may be added
//! to them and other events may come between them.

use std::io;

use serde::Serialize;

use super::stamp::rfc3339;
use super::{ClockChange, Event, Fate, Outcome, Sink, Stamped};
use crate::observe::DeviceAct;

/// Writes one object a line; the first error of the writer ends it.
pub struct Lines<W> {
    out: W,
    error: Option<io::Error>,
}

#[derive(Serialize)]
struct OutcomeLine<'a> {
    event: &'static str,
    entry: &'a str,
    due: Option<String>,
    outcome: &'static str,
    cause: Option<&'static str>,
    epoch: u16,
    revision: u16,
    volume_ul: u64,
    volume_most_ul: u64,
    started: Option<String>,
    ended: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    count: Option<u32>,
    #[serde(skip_serializing_if = "Option::is_none")]
    last_due: Option<String>,
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    asked: bool,
    pump_on_ms: u64,
    restarts: u8,
}

impl<'a> OutcomeLine<'a> {
    fn of(outcome: &'a Outcome) -> Self {
        let text = |stamped: Option<Stamped>| stamped.map(rfc3339);
        let folded = outcome.count > 1;
        Self {
            event: if matches!(outcome.fate, Fate::Open(_)) { "open" } else { "outcome" },
            entry: &outcome.name,
            due: text(outcome.due),
            outcome: outcome.fate.word(),
            cause: outcome.fate.cause().map(dosewright_core::cause::Cause::words),
            epoch: outcome.key.epoch,
            revision: outcome.key.revision,
            volume_ul: outcome.least.as_ul(),
            volume_most_ul: outcome.most.as_ul(),
            started: text(outcome.started),
            ended: text(outcome.ended),
            count: folded.then_some(outcome.count),
            last_due: text(outcome.last_due.filter(|_| folded)),
            asked: outcome.asked,
            pump_on_ms: outcome.on_ms,
            restarts: outcome.restarts,
        }
    }
}

/// What all other lines are made of.
#[derive(Serialize)]
#[serde(untagged)]
enum Line<'a> {
    Outcome(OutcomeLine<'a>),
    Switch {
        event: &'static str,
        at_ms: u64,
        on: bool,
    },
    Moment {
        event: &'static str,
        at_ms: u64,
    },
    Late {
        event: &'static str,
        at_ms: u64,
        by_ms: u64,
    },
    Alarm {
        event: &'static str,
        at_ms: u64,
        alarm: &'static str,
        on: bool,
    },
    Clock {
        event: &'static str,
        at_ms: u64,
        epoch: u16,
        before: Option<String>,
        after: Option<String>,
        at: String,
    },
    Act {
        event: &'static str,
        at_ms: u64,
        act: &'static str,
        #[serde(skip_serializing_if = "Option::is_none")]
        on: Option<bool>,
    },
    Service {
        event: &'static str,
        at_ms: u64,
        act: &'static str,
        ms: u32,
    },
}

/// What an act is called: the word of the scenario where there is one.
pub(super) const fn act_word(act: &DeviceAct) -> &'static str {
    match act {
        DeviceAct::SetHead(_) => "set_head",
        DeviceAct::SetFlow(_) => "set_flow",
        DeviceAct::SetZone(_) => "set_zone",
        DeviceAct::SetClock(_) => "set_clock",
        DeviceAct::SetTimetable(_) => "timetable",
        DeviceAct::RunAgain(_) => "run_again",
        DeviceAct::Prime(_) => "prime",
        DeviceAct::Calibrate(_) => "calibrate",
        DeviceAct::Release => "release",
        DeviceAct::RemoteStop(_) => "remote_stop",
        DeviceAct::Leak(_) => "leak",
        DeviceAct::SetContainer(..) => "container",
        DeviceAct::Refill(_) => "refill",
        DeviceAct::LevelLow(true) => "level_low_on",
        DeviceAct::LevelLow(false) => "level_low_off",
        DeviceAct::MotorFault => "motor_fault",
        DeviceAct::Acknowledge => "acknowledge",
    }
}

/// What a service act that the device wrote down is called.
pub(super) const fn service_word(act: dosewright_core::record::Act) -> &'static str {
    use dosewright_core::record::Act;
    match act {
        Act::PrimeBegun => "prime_begun",
        Act::PrimeEnded => "prime_ended",
        Act::CalibrationBegun => "calibration_begun",
        Act::CalibrationEnded => "calibration_ended",
        Act::Acknowledged => "acknowledged",
    }
}

fn clock_line(at_ms: u64, change: &ClockChange) -> Line<'static> {
    Line::Clock {
        event: "clock",
        at_ms,
        epoch: change.epoch,
        before: change.before.map(rfc3339),
        after: change.after.map(rfc3339),
        at: rfc3339(change.truth),
    }
}

impl<W: io::Write> Lines<W> {
    /// Onto a writer, which should be buffered.
    pub const fn new(out: W) -> Self {
        Self { out, error: None }
    }

    /// Writes any object as a line of its own.
    pub fn put(&mut self, line: &impl Serialize) {
        if self.error.is_none() {
            let written = serde_json::to_writer(&mut self.out, line)
                .map_err(io::Error::from)
                .and_then(|()| self.out.write_all(b"\n"));
            self.error = written.err();
        }
    }

    /// Flushes; the first error that there was, if any.
    pub fn finish(mut self) -> io::Result<W> {
        match self.error.take() {
            Some(error) => Err(error),
            None => self.out.flush().map(|()| self.out),
        }
    }
}

impl<W: io::Write> Sink for Lines<W> {
    fn event(&mut self, at_ms: u64, event: &Event<'_>) {
        let line = match *event {
            Event::Outcome(outcome) => Line::Outcome(OutcomeLine::of(outcome)),
            Event::Opened { .. } => return,
            Event::Pump { on, .. } => Line::Switch { event: "pump", at_ms, on },
            Event::Supply { on } => Line::Switch { event: "supply", at_ms, on },
            Event::Reset => Line::Moment { event: "reset", at_ms },
            Event::FeedLost => Line::Moment { event: "clock_lost", at_ms },
            Event::Clock(change) => clock_line(at_ms, change),
            Event::Alarm { alarm, on } => {
                Line::Alarm { event: "alarm", at_ms, alarm: alarm.words(), on }
            }
            Event::Asked(act) => {
                let on = match act {
                    DeviceAct::RemoteStop(on) | DeviceAct::Leak(on) => Some(*on),
                    _ => None,
                };
                Line::Act { event: "act", at_ms, act: act_word(act), on }
            }
            Event::Done { act, ms } => {
                Line::Service { event: "service", at_ms, act: service_word(act), ms }
            }
            Event::LateWake { by_ms } => Line::Late { event: "late_wake", at_ms, by_ms },
        };
        self.put(&line);
    }
}
