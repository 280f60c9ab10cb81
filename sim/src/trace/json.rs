//! Lines for machines: one JSON object a line.
//!
//! The lines `outcome`, `pump` and `summary` are a contract; fields may be added
//! to them and other events may come between them.

use std::io;

use schemars::JsonSchema;
use serde::Serialize;

use super::stamp::rfc3339;
use super::{Changed, ClockChange, Event, Fate, Lost, Mover, Outcome, Settings, Sink, Stamped};
use crate::observe::DeviceAct;

/// Writes one object a line; the first error of the writer ends it.
pub struct Lines<W> {
    out: W,
    error: Option<io::Error>,
    written: u64,
}

/// What became of a scheduled dose, of a row of skipped ones, or of a dose asked for.
#[derive(Serialize, JsonSchema)]
pub(super) struct OutcomeLine<'a> {
    /// The entry's name.
    entry: &'a str,
    /// Device local time at which it was nominally due, with its offset, after a
    /// move of the clocks; null while the clock was unset.
    due: Option<String>,
    /// True time of its instant from the start of the run, by the rate of the clock chip; a
    /// setting of the clock does not move it. Below nothing for one from before the run.
    due_ms: i64,
    /// Its instant by the device's elapsed time: the ceiling of any 23 hours goes by that.
    due_elapsed_ms: i64,
    /// dosed: the pump ran, flow not sensed.
    outcome: Word,
    /// Why it was not dosed in full.
    cause: Option<&'static str>,
    /// Clock epoch.
    epoch: u16,
    /// Revision of the entry.
    revision: u16,
    /// The least delivered, by the ledger.
    volume_ul: u64,
    /// The most delivered, by the ledger.
    volume_most_ul: u64,
    /// True local time at which the pump first ran for it.
    started: Option<String>,
    /// True local time at which the pump last stopped for it.
    ended: Option<String>,
    /// Doses that the line stands for, where there are several.
    #[serde(skip_serializing_if = "Option::is_none")]
    count: Option<u32>,
    /// As due, of the last of them.
    #[serde(skip_serializing_if = "Option::is_none")]
    last_due: Option<String>,
    /// An operator asked for it, outside the timetable.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    asked: bool,
    /// How long the pump ran for it.
    pump_on_ms: u64,
    /// Restarts while it was open.
    restarts: u8,
    /// From its due to the pump's first run, where the device took down that it waits.
    #[serde(skip_serializing_if = "Option::is_none")]
    waited_ms: Option<u64>,
    /// What kept it waiting first.
    #[serde(skip_serializing_if = "Option::is_none")]
    waited_for: Option<&'static str>,
}

/// How a dose ended, or that it did not.
#[derive(Serialize, JsonSchema, Clone, Copy)]
#[serde(rename_all = "snake_case")]
enum Word {
    Dosed,
    Part,
    Skipped,
    Open,
}

impl<'a> OutcomeLine<'a> {
    fn of(outcome: &'a Outcome) -> Self {
        let text = |stamped: Option<Stamped>| stamped.map(rfc3339);
        let folded = outcome.count > 1;
        Self {
            entry: &outcome.name,
            due: text(outcome.due),
            due_ms: outcome.due_ms,
            due_elapsed_ms: outcome.due_at.as_ms(),
            outcome: match outcome.fate {
                Fate::Dosed => Word::Dosed,
                Fate::Part(_) => Word::Part,
                Fate::Skipped(_) => Word::Skipped,
                Fate::Open(_) => Word::Open,
            },
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
            waited_ms: outcome.wait.map(|wait| wait.ms),
            waited_for: outcome.wait.map(|wait| wait.cause.words()),
        }
    }
}

/// A line of what happened; `at_ms` is true time from the start of the run.
#[derive(Serialize, JsonSchema)]
#[serde(tag = "event", rename_all = "snake_case")]
pub(super) enum Line<'a> {
    /// A dose came to its outcome.
    Outcome(OutcomeLine<'a>),
    /// A dose had no outcome at the end of the run.
    Open(OutcomeLine<'a>),
    /// The pump's drive turned on or off.
    Pump { at_ms: u64, on: bool },
    /// The supply came on or went off.
    Supply { at_ms: u64, on: bool },
    /// The display was lit or went dark.
    Display { at_ms: u64, on: bool },
    /// The device's account of the container has changed.
    Account {
        at_ms: u64,
        /// What is in it, less what an open dose has drawn.
        level_ul: u64,
        /// What changed it.
        by: Mover,
    },
    /// The processor started again though the supply was on.
    Reset { at_ms: u64 },
    /// The clock chip lost its feed: the clock is unset.
    ClockLost { at_ms: u64 },
    /// The device was called late.
    LateWake { at_ms: u64, by_ms: u64 },
    /// The device wrote down that an alarm came or went; of the memory fault it says so.
    Alarm {
        at_ms: u64,
        alarm: &'static str,
        on: bool,
        /// Of *memory damaged*: slots that cannot be read.
        #[serde(skip_serializing_if = "Option::is_none")]
        slots: Option<u64>,
        /// Of *settings damaged*: the entries whose settings are lost; none where it is the
        /// closed dates. Of *dose does not fit*: the entries whose doses do not fit.
        #[serde(skip_serializing_if = "Option::is_none")]
        entries: Option<&'a [String]>,
    },
    /// The clock or the zone was set.
    Clock {
        at_ms: u64,
        /// The clock epoch that it opened.
        epoch: u16,
        /// What the device's clock showed before; null while it was unset.
        before: Option<String>,
        /// What it shows from then on.
        after: Option<String>,
        /// True local time.
        at: String,
    },
    /// Somebody or something acted on the device.
    Act {
        at_ms: u64,
        act: &'static str,
        /// The entry whose dose is to run again or to stop.
        #[serde(skip_serializing_if = "Option::is_none")]
        entry: Option<&'a str>,
        /// Of a contact; of *set_pin*, whether there is one.
        #[serde(skip_serializing_if = "Option::is_none")]
        on: Option<bool>,
        /// What the pack was read at, in mV.
        #[serde(skip_serializing_if = "Option::is_none")]
        pack_mv: Option<u16>,
        /// Whether that was under load.
        #[serde(skip_serializing_if = "Option::is_none")]
        loaded: Option<bool>,
        /// The flow that was entered.
        #[serde(skip_serializing_if = "Option::is_none")]
        flow_ul_per_min: Option<f64>,
        /// What somebody said is in the container.
        #[serde(skip_serializing_if = "Option::is_none")]
        level_ul: Option<u64>,
    },
    /// After the start, another timetable is in force: what it made of an entry.
    Timetable {
        at_ms: u64,
        /// The entry's name.
        entry: &'a str,
        /// What it was; null where it was not there.
        before: Option<&'a Settings>,
        /// What it is; null where it is gone.
        after: Option<&'a Settings>,
        /// The revision that its outcomes have from then on.
        #[serde(skip_serializing_if = "Option::is_none")]
        revision: Option<u16>,
    },
    /// The device wrote down what a calibration found.
    Calibration {
        at_ms: u64,
        flow_ul_per_min: f64,
        /// Expanded uncertainty (k = 2) as a share of the flow.
        uncertainty: f64,
        /// Whether the flow is in force from then on; else it is how the head was
        /// found.
        in_force: bool,
        /// How much longer than its volume takes each pulse runs, for what its start
        /// loses; left out where that is nothing.
        #[serde(skip_serializing_if = "Option::is_none")]
        lead_ms: Option<u16>,
    },
    /// The device wrote down an act of service.
    Service {
        at_ms: u64,
        act: &'static str,
        /// Its figure.
        ms: u32,
    },
}

/// What an act is called: the word of the scenario where there is one.
pub(crate) const fn act_word(act: &DeviceAct) -> &'static str {
    match act {
        DeviceAct::SetHead(_) => "set_head",
        DeviceAct::SetFlow(_) => "set_flow",
        DeviceAct::SetZone(_) => "set_zone",
        DeviceAct::SetClock(_) => "set_clock",
        DeviceAct::SetTimetable(_) => "timetable",
        DeviceAct::RunAgain(_) => "run_again",
        DeviceAct::StopDose(_) => "stop_dose",
        DeviceAct::Prime(_) => "prime",
        DeviceAct::Calibrate(_) | DeviceAct::CalibrateInto(_) => "calibrate",
        DeviceAct::CalibrateTrain(_) => "calibrate_train",
        DeviceAct::Measured(_) => "measured",
        DeviceAct::TubeChanged => "change_tube",
        DeviceAct::Unlock(_) => "unlock",
        DeviceAct::Lock => "lock",
        DeviceAct::SetPin(_) => "set_pin",
        DeviceAct::Release => "release",
        DeviceAct::RemoteStop(_) => "remote_stop",
        DeviceAct::Leak(_) => "leak",
        DeviceAct::SetContainer(..) => "container",
        DeviceAct::Refill(_) => "refill",
        DeviceAct::LevelLow(true) => "level_low_on",
        DeviceAct::LevelLow(false) => "level_low_off",
        DeviceAct::MotorFault => "motor_fault",
        DeviceAct::Acknowledge => "acknowledge",
        DeviceAct::SetPack(_) => "set_pack",
        DeviceAct::PackChanged => "change_pack",
        DeviceAct::PackRead { .. } => "pack_read",
        DeviceAct::Key { .. } => "press",
    }
}

/// What a service act that the device wrote down is called.
pub(crate) const fn service_word(act: dosewright_core::record::Act) -> &'static str {
    use dosewright_core::record::Act;
    match act {
        Act::PrimeBegun => "prime_begun",
        Act::PrimeEnded => "prime_ended",
        Act::CalibrationBegun => "calibration_begun",
        Act::CalibrationEnded => "calibration_ended",
        Act::TrainBegun => "train_begun",
        Act::TrainEnded => "train_ended",
        Act::Acknowledged => "acknowledged",
        Act::TubeChanged => "tube_changed",
        Act::Unlocked => "unlocked",
        Act::WrongPin => "wrong_pin",
    }
}

fn clock_line(at_ms: u64, change: &ClockChange) -> Line<'static> {
    Line::Clock {
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
        Self { out, error: None, written: 0 }
    }

    /// Writes any object as a line of its own.
    pub fn put(&mut self, line: &impl Serialize) {
        if self.error.is_none() {
            let written = serde_json::to_writer(&mut self.out, line)
                .map_err(io::Error::from)
                .and_then(|()| self.out.write_all(b"\n"));
            self.error = written.err();
            self.written += 1;
        }
    }

    /// How many were written.
    pub const fn written(&self) -> u64 {
        self.written
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
            Event::Outcome(outcome) if matches!(outcome.fate, Fate::Open(_)) => {
                Line::Open(OutcomeLine::of(outcome))
            }
            Event::Outcome(outcome) => Line::Outcome(OutcomeLine::of(outcome)),
            Event::Opened { .. } | Event::Named { .. } => return,
            Event::Pump { on, .. } => Line::Pump { at_ms, on },
            Event::Supply { on } => Line::Supply { at_ms, on },
            Event::Display { lit } => Line::Display { at_ms, on: lit },
            Event::Account { level, by } => Line::Account { at_ms, level_ul: level.as_ul(), by },
            Event::Reset => Line::Reset { at_ms },
            Event::FeedLost => Line::ClockLost { at_ms },
            Event::Clock(change) => clock_line(at_ms, change),
            Event::Alarm { alarm, on, lost } => {
                let slots = match lost {
                    Lost::Slots(slots) => Some(*slots),
                    _ => None,
                };
                let entries = lost.entries().map(Vec::as_slice);
                Line::Alarm { at_ms, alarm: alarm.words(), on, slots, entries }
            }
            Event::Asked { act, entry } => {
                let on = match act {
                    DeviceAct::RemoteStop(on) | DeviceAct::Leak(on) => Some(*on),
                    DeviceAct::SetPin(pin) => Some(pin.is_some()),
                    _ => None,
                };
                let (pack_mv, loaded) = match act {
                    DeviceAct::PackRead { mv, loaded } => (Some(*mv), Some(*loaded)),
                    _ => (None, None),
                };
                let flow_ul_per_min = match act {
                    DeviceAct::SetFlow(flow) => Some(f64::from(flow.as_nl_per_min()) / 1e3),
                    _ => None,
                };
                let level_ul = match act {
                    DeviceAct::Refill(level) | DeviceAct::SetContainer(_, level) => {
                        Some(level.as_ul())
                    }
                    _ => None,
                };
                let act = act_word(act);
                Line::Act { at_ms, act, entry, on, pack_mv, loaded, flow_ul_per_min, level_ul }
            }
            Event::Changed(Changed { entry, before, after, revision }) => Line::Timetable {
                at_ms,
                entry,
                before: before.as_ref(),
                after: after.as_ref(),
                revision: *revision,
            },
            Event::Calibrated { found, in_force, lead_ms } => Line::Calibration {
                at_ms,
                flow_ul_per_min: f64::from(found.flow.as_nl_per_min()) / 1e3,
                uncertainty: f64::from(found.uncertainty_ppm) / 1e6,
                in_force,
                lead_ms: (lead_ms > 0).then_some(lead_ms),
            },
            Event::Done { act, ms } => Line::Service { at_ms, act: service_word(act), ms },
            Event::LateWake { by_ms } => Line::LateWake { at_ms, by_ms },
        };
        self.put(&line);
    }
}
