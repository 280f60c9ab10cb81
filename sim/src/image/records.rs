//! What a record says, in words: of those that need nothing but themselves.

use dosewright_core::lock::PinWord;
use dosewright_core::motor::Motor;
use dosewright_core::record::{Act, Alarm, NewPack, Record, Reset};
use dosewright_core::units::Volume;

use super::dues::Dues;
use super::history::Kind;
use super::words;
use crate::scenario::show;
use crate::words::plural;

/// Its word, its entry and what it says; `None` for what is too small to tell.
pub(super) fn row(record: &Record, dues: &Dues) -> Option<(Kind, Option<u16>, String)> {
    Some(match record {
        Record::Boot { feed_kept, reset, .. } => {
            let why = match reset {
                Reset::PowerOn => "the supply came back",
                Reset::Watchdog => "the watchdog fired",
            };
            let feed = if *feed_kept { "" } else { "; the clock chip had lost its feed" };
            (Kind::Start, None, format!("start: {why}{feed}"))
        }
        Record::Head { head, .. } => {
            (Kind::Head, None, format!("head set: {}", show::flow(head.flow)))
        }
        Record::Act { act, ms, .. } => {
            let what = match act {
                Act::PrimeBegun => {
                    format!("prime begins, {} at most", show::length(u64::from(*ms)))
                }
                Act::PrimeEnded => format!("prime ends after {}", dues.pumped(*ms)),
                Act::CalibrationBegun => {
                    format!("calibration run of {} begins", show::length(u64::from(*ms)))
                }
                Act::CalibrationEnded => {
                    format!("calibration run ends after {}", dues.pumped(*ms))
                }
                Act::TrainBegun => {
                    format!("calibration train of {} begins", show::length(u64::from(*ms)))
                }
                Act::TrainEnded => {
                    format!("calibration train ends after {}", dues.pumped(*ms))
                }
                Act::Acknowledged => "alarms acknowledged".to_owned(),
                Act::TubeChanged => "new tube set".to_owned(),
                Act::Unlocked => "settings unlocked".to_owned(),
                Act::WrongPin => "a wrong PIN".to_owned(),
            };
            (Kind::Act, None, what)
        }
        Record::Alarm { alarm, on, detail, .. } => {
            let state = if *on { "on" } else { "off" };
            let more = match alarm {
                Alarm::LowLevel | Alarm::LevelDisagrees if *on => {
                    format!("; {} by account", show::volume(Volume::from_nl(*detail)))
                }
                Alarm::MemoryDamaged if *on => format!("; {}", plural(*detail, "slot")),
                Alarm::EntryDamaged if *on && *detail == 0 => "; closed dates".to_owned(),
                Alarm::EntryDamaged | Alarm::DoesNotFit if *on => {
                    format!("; {}", entries_on(*detail, dues))
                }
                _ => String::new(),
            };
            (Kind::Alarm, None, format!("alarm {state}: {}{more}", alarm.words()))
        }
        Record::Container { container, level, .. } => (
            Kind::Container,
            None,
            format!(
                "container: {} of {} in it, {} of them not dosed",
                show::volume(*level),
                show::volume(container.capacity),
                show::volume(container.heel)
            ),
        ),
        Record::Pack { how, .. } => {
            let what = match how {
                NewPack::Set => "battery pack set up",
                NewPack::Changed => "battery pack changed",
                NewPack::Recognised => "another battery pack recognised by its voltage",
            };
            (Kind::Pack, None, what.to_owned())
        }
        Record::PackMeans { rest_mv, load_mv, .. } => {
            (Kind::Pack, None, format!("battery pack: {}", words::volts(*rest_mv, *load_mv)))
        }
        Record::Pin { check: PinWord::NONE, .. } => (Kind::Pin, None, "PIN taken away".to_owned()),
        Record::Pin { .. } => (Kind::Pin, None, "PIN set".to_owned()),
        Record::Calibration { found, in_force, lead_ms } => {
            (Kind::Calibration, None, show::calibration(found, *in_force, *lead_ms))
        }
        Record::Motor { faults, .. } => (Kind::Motor, None, motor_words(*faults)),
        _ => return None,
    })
}

/// The entries on lines, a bit a line.
fn entries_on(lines: u64, dues: &Dues) -> String {
    let lost = dues.lost(lines).into_iter().map(|(line, id)| words::lost_entry(line, id));
    lost.collect::<Vec<String>>().join(", ")
}

/// A fault of the motor, by its number in a row.
pub(crate) fn motor_words(faults: u8) -> String {
    let motor = Motor { faults, ..Motor::SOUND };
    if motor.is_latched() {
        return "the motor stalled or drew too much again: latched until acknowledged".to_owned();
    }
    let rest = motor.rests_until().since(motor.at);
    format!(
        "the motor stalled or drew too much, {faults}. time: it rests {}",
        show::length(rest.as_ms())
    )
}
