//! What each thing is called on the timeline, and how an outcome reads.

use dosewright_core::civil::Local;
use dosewright_core::record::Act;
use dosewright_core::time::Duration;
use dosewright_core::units::{Volume, VolumeUnit};
use dosewright_core::zone::Zone;

use super::super::stamp::{clock_time, day, hour_minute, nearest_minute, which};
use super::super::{ClockChange, Event, Names, Outcome, Stamped, Wait};
use crate::observe::DeviceAct;
use crate::scenario::show;
use crate::units::Units;

/// To a tenth of a millilitre, without a zero after the point; litres from ten on. To a
/// hundredth of an ounce, which is a third of a millilitre.
pub(in crate::trace) fn volume(volume: Volume) -> String {
    if let Some(ounces) = Units::chosen().ounces(volume, 2) {
        return ounces;
    }
    let (tenths, unit) = if volume.as_nl() >= 10_000_000_000 {
        (volume.tenths_of(VolumeUnit::Litre), "l")
    } else {
        (volume.tenths_of(VolumeUnit::Millilitre), "ml")
    };
    if tenths % 10 == 0 {
        format!("{} {unit}", tenths / 10)
    } else {
        format!("{}.{} {unit}", tenths / 10, tenths % 10)
    }
}

/// Cells of a column of volumes.
pub(in crate::trace) fn volume_cells() -> usize {
    if Units::chosen() == Units::Metric { 9 } else { 15 }
}

/// The time of day, to the minute; of a time that happens twice its offset, too.
pub(super) fn time_in(zone: &Zone, stamped: Stamped) -> String {
    format!("{}{}", nearest_minute(stamped.local), which(zone, stamped))
}

/// What there is to say of an outcome beside entry, outcome and volume.
pub(super) fn remark(zone: &Zone, outcome: &Outcome) -> String {
    let mut parts = Vec::new();
    if let (Some(started), Some(ended)) = (outcome.started, outcome.ended) {
        parts.push(format!("{} to {}", time_in(zone, started), time_in(zone, ended)));
    } else if let Some(started) = outcome.started {
        parts.push(format!("since {}", time_in(zone, started)));
    }
    if outcome.asked {
        parts.push("asked for".to_owned());
    }
    parts.extend(outcome.fate.cause().map(|cause| cause.words().to_owned()));
    parts.extend(outcome.wait.map(Wait::words));
    if volume(outcome.most) != volume(outcome.least) {
        parts.push(format!("at most {}", volume(outcome.most)));
    }
    match outcome.restarts {
        0 => {}
        1 => parts.push("1 restart".to_owned()),
        n => parts.push(format!("{n} restarts")),
    }
    if outcome.count > 1 {
        let last = outcome.last_due.map(|last| format!(", the last {}", day_and_time(last.local)));
        parts.push(format!("{} doses{}", outcome.count, last.unwrap_or_default()));
    }
    parts.join(", ")
}

fn day_and_time(local: Local) -> String {
    format!("{} {}", day(local.date()), hour_minute(local))
}

fn clock(zone: &Zone, change: &ClockChange) -> String {
    let (before, after) = match (change.before, change.after) {
        (_, None) => return "zone set, the clock is still unset".to_owned(),
        (None, Some(after)) => {
            let which = which(zone, after);
            let day = day(after.local.date());
            return format!("clock set to {day} {}{which}", clock_time(after.local));
        }
        (Some(before), Some(after)) => (before, after),
    };
    let is_far = before.local.date() != after.local.date();
    let is_zone = after.is_same_moment_elsewhere(before);
    let name = |at: Stamped| {
        let which =
            if is_zone { format!(" ({})", show::offset(at.offset_s)) } else { which(zone, at) };
        let day = if is_far { format!("{} ", day(at.local.date())) } else { String::new() };
        format!("{day}{}{which}", clock_time(at.local))
    };
    let what = if is_zone { "zone set: the clock goes" } else { "clock set" };
    format!("{what} from {} to {}", name(before), name(after))
}

fn on_off(on: bool) -> &'static str {
    if on { "on" } else { "off" }
}

fn asked(act: &DeviceAct, names: &Names) -> Option<String> {
    Some(match act {
        DeviceAct::SetHead(_) => "asked to set the head".to_owned(),
        DeviceAct::SetFlow(flow) => format!("asked to set the flow to {}", show::flow(*flow)),
        DeviceAct::SetZone(_) | DeviceAct::SetClock(_) | DeviceAct::Release => return None,
        // it bounces; the alarm tells what counts of it
        DeviceAct::LevelLow(_) => return None,
        DeviceAct::SetTimetable(_) => "asked to change the timetable".to_owned(),
        DeviceAct::RunAgain(id) => format!("asked to run {} again", names.name(*id)),
        DeviceAct::StopDose(id) => format!("asked to stop {}", names.name(*id)),
        DeviceAct::Prime(most) => format!("asked to prime, up to {}", volume(*most)),
        DeviceAct::Calibrate(ms) => {
            format!("asked for a calibration run of {}", Duration::from_ms(u64::from(*ms)))
        }
        DeviceAct::CalibrateInto(vessel) => {
            format!("asked for a calibration run into {}", show::volume(vessel.capacity))
        }
        DeviceAct::CalibrateTrain(vessel) => {
            format!(
                "asked for a train of calibration pulses into {}",
                show::volume(vessel.capacity)
            )
        }
        DeviceAct::Measured(measured) => match measured.amount.volume() {
            Some(volume) => format!("{} measured", show::measured(volume)),
            None => "a mass measured that says no volume".to_owned(),
        },
        DeviceAct::TubeChanged => "new tube set".to_owned(),
        // what came of it says more
        DeviceAct::Unlock(_) => return None,
        DeviceAct::Lock => "settings locked".to_owned(),
        DeviceAct::SetPin(Some(_)) => "asked for a new PIN".to_owned(),
        DeviceAct::SetPin(None) => "asked to take the PIN away".to_owned(),
        DeviceAct::RemoteStop(on) => format!("remote stop {}", on_off(*on)),
        DeviceAct::Leak(on) => format!("leak or tube-burst detector {}", on_off(*on)),
        DeviceAct::SetContainer(container, level) => format!(
            "asked to set up a container of {} with {} in it",
            show::volume(container.capacity),
            show::volume(*level)
        ),
        DeviceAct::Refill(level) => format!("container filled to {}", show::volume(*level)),
        DeviceAct::MotorFault => "motor stalls or draws too much".to_owned(),
        DeviceAct::Acknowledge => "alarms acknowledged".to_owned(),
        DeviceAct::SetPack(_) => "battery pack set up".to_owned(),
        DeviceAct::PackChanged => "battery pack changed".to_owned(),
        DeviceAct::PackRead { .. } | DeviceAct::Key { .. } => return None,
    })
}

/// An event that is no outcome as a note; `None` where it is not worth a line.
pub(super) fn note(zone: &Zone, event: &Event<'_>, names: &Names) -> Option<String> {
    Some(match event {
        Event::Reset => "the processor restarts (watchdog)".to_owned(),
        Event::FeedLost => "the clock chip lost its feed: clock unset".to_owned(),
        Event::Clock(change) => clock(zone, change),
        Event::Alarm { alarm, on: true, lost } => {
            format!("alarm: {}", lost.after(alarm.words()))
        }
        Event::Alarm { alarm, on: false, .. } => format!("alarm over: {}", alarm.words()),
        Event::Asked { act, .. } => return asked(act, names),
        Event::Changed(changed) => format!("timetable: {}", changed.words()),
        Event::Done { act: Act::PrimeEnded, ms } => {
            format!("prime ended after {}", Duration::from_ms(u64::from(*ms)))
        }
        Event::Done { act: Act::CalibrationEnded, ms } => {
            format!("calibration run ended after {}", Duration::from_ms(u64::from(*ms)))
        }
        Event::Done { act: Act::TrainEnded, ms } => {
            format!(
                "calibration train ended after {} of pumping",
                Duration::from_ms(u64::from(*ms))
            )
        }
        Event::Calibrated { found, in_force, lead_ms } => {
            show::calibration(found, *in_force, *lead_ms)
        }
        Event::LateWake { by_ms } => {
            format!("the logic is called {} late", Duration::from_ms(*by_ms))
        }
        Event::Done { act: Act::Unlocked, .. } => "settings unlocked".to_owned(),
        Event::Done { act: Act::WrongPin, .. } => "a wrong PIN was entered".to_owned(),
        Event::Done { .. }
        | Event::Outcome(_)
        | Event::Opened { .. }
        | Event::Named { .. }
        | Event::Pump { .. }
        | Event::Supply { .. }
        | Event::Display { .. }
        | Event::Account { .. } => {
            return None;
        }
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use dosewright_core::civil::Date;

    #[test]
    fn a_time_that_happens_twice_says_which() {
        let zone = Zone::parse("CET-1CEST,M3.5.0,M10.5.0/3").unwrap();
        let local = Local::new(Date::from_ymd(2026, 10, 25).unwrap(), Duration::from_min(150));
        assert_eq!(time_in(&zone, Stamped { local, offset_s: 7200 }), "02:30 (+02:00)");
        let once = Local::from_ms(local.as_ms() + 3_600_000);
        assert_eq!(time_in(&zone, Stamped { local: once, offset_s: 3600 }), "03:30");
    }

    #[test]
    fn a_setting_of_the_zone_is_told_apart_from_one_of_the_clock() {
        let zone = Zone::parse("CET-1CEST,M3.5.0,M10.5.0/3").unwrap();
        let at = |day: u8, h: u64, offset_s: i32| Stamped {
            local: Local::new(Date::from_ymd(2026, 10, day).unwrap(), Duration::from_h(h)),
            offset_s,
        };
        let told = |before, after| {
            let change =
                ClockChange { epoch: 2, before: Some(before), after: Some(after), truth: before };
            clock(&zone, &change)
        };
        assert_eq!(
            told(at(25, 4, 3600), at(25, 3, 0)),
            "zone set: the clock goes from 04:00 (+01:00) to 03:00 (+00:00)"
        );
        assert_eq!(
            told(at(25, 4, 3600), at(24, 22, -18_000)),
            "zone set: the clock goes from sun 25 oct 2026 04:00 (+01:00) to sat 24 oct 2026 22:00 (-05:00)"
        );
        // another moment, with another zone or without
        assert_eq!(told(at(25, 4, 3600), at(25, 5, 3600)), "clock set from 04:00 to 05:00");
        assert_eq!(told(at(25, 4, 3600), at(25, 5, 0)), "clock set from 04:00 to 05:00");
    }

    #[test]
    fn volumes_are_shown_to_a_tenth() {
        assert_eq!(volume(Volume::from_ml(120)), "120 ml");
        assert_eq!(volume(Volume::from_nl(119_949_999)), "119.9 ml");
        assert_eq!(volume(Volume::from_nl(119_950_000)), "120 ml");
        assert_eq!(volume(Volume::from_ml(51_480)), "51.5 l");
    }
}
