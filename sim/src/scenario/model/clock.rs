//! `[clock]`: the time, true and the device's.

use dosewright_core::civil::Local;
use dosewright_core::time::Duration;
use dosewright_core::zone::Zone;

use super::SignedMs;
use crate::diagnose::Spans;

/// A zone and how it was written.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct NamedZone {
    /// The rule.
    pub zone: Zone,
    /// As written: a POSIX TZ string or an IANA name.
    pub written: String,
    /// The POSIX TZ string of the rule; the same as `written` unless that is a
    /// name.
    pub posix: String,
}

/// How the clock crystal depends on its temperature: its rate changes by
/// `coefficient` times the square of the distance from the turnover.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub struct Crystal {
    /// In ppb per square kelvin; tuning forks have about -34 (from memory).
    pub coefficient_ppb_per_k2: i32,
    /// The temperature at which the crystal has its nominal rate, in
    /// thousandths of a degree Celsius.
    pub turnover_mc: i32,
}

/// `[clock]`.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ClockPlan {
    /// True local time at which the run starts.
    pub start: Local,
    /// The zone of the place.
    pub zone: NamedZone,
    /// The zone the device is set to at the start, where it is not the place's.
    pub device_zone: Option<NamedZone>,
    /// How long the run is, in true time.
    pub run_for: Duration,
    /// Constant drift in parts per thousand million; positive gains.
    pub drift_ppb: i32,
    /// The crystal's curve, where the file gives one.
    pub crystal: Option<Crystal>,
    /// Temperature at the clock in thousandths of a degree Celsius, where the
    /// file gives one.
    pub temperature_mc: Option<i32>,
    /// What the device's clock shows at the start less the true time.
    pub off_by: SignedMs,
    /// The device's clock is not set at the start.
    pub unset: bool,
    /// Where it stands.
    pub spans: Spans,
}

impl ClockPlan {
    /// The rate of the device's clock against true time in parts per thousand
    /// million: the constant drift and, where crystal and temperature are
    /// given, the crystal's curve; rounded towards zero.
    pub fn rate_ppb(&self) -> i64 {
        let curve = match (self.crystal, self.temperature_mc) {
            (Some(crystal), Some(temperature_mc)) => {
                let off_mc = i128::from(temperature_mc) - i128::from(crystal.turnover_mc);
                i128::from(crystal.coefficient_ppb_per_k2) * off_mc * off_mc / 1_000_000
            }
            _ => 0,
        };
        i64::from(self.drift_ppb) + curve as i64
    }

    /// The zone the device is set to at the start.
    pub fn zone_of_device(&self) -> &NamedZone {
        self.device_zone.as_ref().unwrap_or(&self.zone)
    }
}
