//! What people did at the device in a run, and what came of it.

use dosewright_core::time::{Duration, Instant};
use dosewright_core::tube::Found;
use dosewright_core::units::{Flow, Volume};
use serde_json::Value;

use crate::observe::DeviceAct;
use crate::scenario::show;
use crate::trace::json::{act_word, service_word};
use crate::trace::{Changed, Event};

/// One of them, as the lines have it.
#[derive(Clone, Debug, PartialEq)]
pub struct Visit {
    /// True ms.
    pub at_ms: u64,
    what: What,
}

#[derive(Clone, Debug, PartialEq)]
enum What {
    Act {
        act: String,
        on: Option<bool>,
        flow: Option<Flow>,
        level: Option<Volume>,
        entry: Option<String>,
    },
    Changed(Changed),
    Calibrated {
        found: Found,
        in_force: bool,
        lead_ms: u16,
    },
    Service {
        act: String,
        ms: u32,
    },
}

/// The entry whose dose somebody asked about; lines of a build that did not say it have none.
fn whose(entry: Option<&String>) -> String {
    entry.map_or_else(|| "a dose".to_owned(), |name| format!("\"{name}\""))
}

impl Visit {
    /// Of an event; `None` where it is none.
    pub(super) fn of(at_ms: u64, event: &Event<'_>) -> Option<Self> {
        let what = match event {
            Event::Asked { act, entry } => What::Act {
                act: act_word(act).to_owned(),
                on: match act {
                    DeviceAct::RemoteStop(on) | DeviceAct::Leak(on) => Some(*on),
                    DeviceAct::SetPin(pin) => Some(pin.is_some()),
                    _ => None,
                },
                entry: entry.map(str::to_owned),
                flow: match act {
                    DeviceAct::SetFlow(flow) => Some(*flow),
                    _ => None,
                },
                // to the microlitre, as the lines have it
                level: match act {
                    DeviceAct::Refill(level) => Some(Volume::from_ul(level.as_ul())),
                    _ => None,
                },
            },
            Event::Changed(changed) => What::Changed((*changed).clone()),
            Event::Calibrated { found, in_force, lead_ms } => {
                // when it was is told of it anyhow
                let found = Found { at: Instant::ZERO, ..*found };
                What::Calibrated { found, in_force: *in_force, lead_ms: *lead_ms }
            }
            Event::Done { act, ms } => {
                What::Service { act: service_word(*act).to_owned(), ms: *ms }
            }
            _ => return None,
        };
        Self::told(at_ms, what)
    }

    /// Of a line; `None` where it is none.
    pub(super) fn read(at_ms: u64, line: &Value) -> Option<Self> {
        let text = |name: &str| line[name].as_str().map(str::to_owned);
        let flow = || {
            let nl_per_min = (line["flow_ul_per_min"].as_f64()? * 1e3).round();
            Flow::from_nl_per_min(nl_per_min as u32)
        };
        let what = match line["event"].as_str()? {
            "act" => What::Act {
                act: text("act")?,
                on: line["on"].as_bool(),
                entry: text("entry"),
                flow: flow(),
                level: line["level_ul"].as_u64().map(Volume::from_ul),
            },
            "timetable" => {
                let settings = |name: &str| serde_json::from_value(line[name].clone()).ok();
                What::Changed(Changed {
                    entry: text("entry")?,
                    before: settings("before"),
                    after: settings("after"),
                    revision: line["revision"].as_u64().and_then(|n| u16::try_from(n).ok()),
                })
            }
            "calibration" => {
                let uncertainty_ppm = (line["uncertainty"].as_f64()? * 1e6).round() as u32;
                What::Calibrated {
                    found: Found { at: Instant::ZERO, flow: flow()?, uncertainty_ppm },
                    in_force: line["in_force"].as_bool()?,
                    lead_ms: u16::try_from(line["lead_ms"].as_u64().unwrap_or(0)).ok()?,
                }
            }
            "service" => {
                let ms = line["ms"].as_u64().and_then(|ms| u32::try_from(ms).ok())?;
                What::Service { act: text("act")?, ms }
            }
            _ => return None,
        };
        Self::told(at_ms, what)
    }

    /// Where there is something to say of it, and it is none of what is set up at the start.
    fn told(at_ms: u64, what: What) -> Option<Self> {
        let visit = Self { at_ms, what };
        (at_ms > 0 && visit.words().is_some()).then_some(visit)
    }

    /// Where the timetable was changed: what it made of an entry.
    pub(super) const fn changed(&self) -> Option<&Changed> {
        match &self.what {
            What::Changed(changed) => Some(changed),
            _ => None,
        }
    }

    /// In words.
    pub(super) fn words(&self) -> Option<String> {
        let state = |on: &Option<bool>| if *on == Some(true) { "on" } else { "off" };
        Some(match &self.what {
            What::Act { act, on, flow, level, entry } => match act.as_str() {
                "set_flow" => format!("asked to set the flow to {}", show::flow((*flow)?)),
                "refill" => format!("container filled to {}", show::volume((*level)?)),
                "remote_stop" => format!("remote stop {}", state(on)),
                "leak" => format!("leak or tube-burst detector {}", state(on)),
                "change_tube" => "new tube set".to_owned(),
                "change_pack" => "battery pack changed".to_owned(),
                "run_again" => format!("asked to run {} again", whose(entry.as_ref())),
                "stop_dose" => format!("asked to stop {}", whose(entry.as_ref())),
                "motor_fault" => "the motor stalls or draws too much".to_owned(),
                "set_pin" if *on == Some(false) => "asked to take the PIN away".to_owned(),
                "set_pin" => "asked for a new PIN".to_owned(),
                "acknowledge" => "alarms acknowledged".to_owned(),
                _ => return None,
            },
            What::Changed(changed) => format!("timetable: {}", changed.words()),
            What::Calibrated { found, in_force, lead_ms } => {
                show::calibration(found, *in_force, *lead_ms)
            }
            What::Service { act, ms } => {
                let what = match act.as_str() {
                    "prime_ended" => "prime",
                    "calibration_ended" => "calibration run",
                    "train_ended" => "calibration train",
                    "unlocked" => return Some("settings unlocked".to_owned()),
                    "wrong_pin" => return Some("a wrong PIN was entered".to_owned()),
                    _ => return None,
                };
                format!("{what} ended after {}", Duration::from_ms(u64::from(*ms)))
            }
        })
    }

    /// Whether a contact bounces, or stands as it stood: told once is enough.
    pub(super) fn repeats(&self, before: &[Self]) -> bool {
        let What::Act { act, on: Some(on), .. } = &self.what else { return false };
        if act == "set_pin" {
            return false;
        }
        let same = |other: &&Self| matches!(&other.what, What::Act { act: o, .. } if o == act);
        match before.iter().rev().find(same) {
            Some(last) => {
                last.at_ms == self.at_ms
                    || matches!(last.what, What::Act { on: Some(was), .. } if was == *on)
            }
            // a detector that says at a start that nothing leaks
            None => !on,
        }
    }
}
