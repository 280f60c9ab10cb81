//! When a run begins and ends, and where: what a written moment needs to become one.

use dosewright_core::civil::Local;
use dosewright_core::entry::GapRule;
use dosewright_core::time::{Duration, Utc};
use dosewright_core::zone::{LocalKind, Zone};

use super::model::{ClaimTime, Moment};
use super::quantity::show;

/// A time that the clocks skip, moved by as much; any other as it is.
pub(super) fn existing(zone: &Zone, local: Local) -> Local {
    zone.to_local(zone.to_utc(local, GapRule::Shift))
}

/// Begin, length and zone of a run.
#[derive(Clone, Copy)]
pub(super) struct RunBounds {
    pub(super) start: Local,
    pub(super) run_for: Option<Duration>,
    /// `None` where it cannot be read: local times are then as far apart as they look.
    pub(super) zone: Option<Zone>,
}

impl RunBounds {
    fn utc_ms(&self, local: Local) -> i64 {
        self.zone.map_or(local.as_ms(), |zone| zone.to_utc(local, GapRule::Shift).as_ms())
    }

    /// How long after the start a local time is, in ms of true time.
    pub(super) fn ms_after_start(&self, local: Local) -> i64 {
        self.utc_ms(local).saturating_sub(self.utc_ms(self.start))
    }

    fn end_ms(&self) -> Option<i64> {
        Some(self.utc_ms(self.start).saturating_add_unsigned(self.run_for?.as_ms()))
    }

    /// As [`existing`], where the zone is known.
    pub(super) fn existing(&self, local: Local) -> Local {
        self.zone.map_or(local, |zone| existing(&zone, local))
    }

    /// The offset from UTC, in s, that a local time has with the one that it is said to have,
    /// if that is another.
    pub(super) fn other_offset(&self, time: ClaimTime) -> Option<i32> {
        let (zone, said_s) = (self.zone?, time.offset_s?);
        let offset_s = zone.offset_at(Utc::from_ms(time.place_ms()));
        (offset_s != said_s).then_some(offset_s)
    }

    /// The moment of a local time. Its offset tells which of two it is; where it is not one
    /// of them, they are told.
    pub(super) fn moment_of(&self, time: ClaimTime) -> Result<Moment, String> {
        let Some((zone, said_s)) = self.zone.zip(time.offset_s) else {
            return Ok(Moment::Local(time.local));
        };
        let utc = Utc::from_ms(time.place_ms());
        let first_ms = self.utc_ms(time.local);
        if zone.offset_at(utc) != said_s {
            let at = |ms: i64| show::offset(zone.offset_at(Utc::from_ms(ms)));
            return Err(match zone.kind_of(time.local) {
                LocalKind::Skipped => "the clocks skip this time".to_owned(),
                LocalKind::Once => format!("it is {} then", at(first_ms)),
                LocalKind::Repeated => {
                    let change = zone.next_change_after(Utc::from_ms(first_ms));
                    let second = change.map_or(first_ms, |change| change.at.as_ms());
                    format!("it is {}, then {}", at(first_ms), at(second))
                }
            });
        }
        let after = utc.as_ms().saturating_sub(self.utc_ms(self.start));
        match u64::try_from(after) {
            Ok(after) if utc.as_ms() != first_ms => Ok(Moment::After(Duration::from_ms(after))),
            _ => Ok(Moment::Local(time.local)),
        }
    }

    /// Local time at the end of the run.
    pub(super) fn end(&self) -> Option<Local> {
        let end_ms = self.end_ms()?;
        Some(self.zone.map_or(Local::from_ms(end_ms), |zone| zone.to_local(Utc::from_ms(end_ms))))
    }

    pub(super) fn is_before_start(&self, local: Local) -> bool {
        self.utc_ms(local) < self.utc_ms(self.start)
    }

    pub(super) fn is_after_end(&self, local: Local) -> bool {
        self.end_ms().is_some_and(|end_ms| self.utc_ms(local) > end_ms)
    }
}
