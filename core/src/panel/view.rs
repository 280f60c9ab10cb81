//! What the panel looks at.

use super::recent::Recent;
use crate::civil::Local;
use crate::controller::Controller;
use crate::record::Alarm;
use crate::time::Instant;

/// The device as the panel sees it at an instant. The panel changes nothing of it.
#[derive(Clone, Copy, Debug)]
pub struct View<'a, const N: usize, const H: usize> {
    /// The controller.
    pub controller: &'a Controller<N, H>,
    /// The latest outcomes.
    pub recent: &'a Recent,
    /// What time it is; not before the controller's last call.
    pub now: Instant,
}

impl<const N: usize, const H: usize> View<'_, N, H> {
    /// A moment as the clock has it; `None` while it is unset.
    pub(super) fn local_at(&self, at: Instant) -> Option<Local> {
        Some(self.controller.book().clock?.local(at))
    }

    pub(super) fn local(&self) -> Option<Local> {
        self.local_at(self.now)
    }

    /// The first alarm that is on, and how many more are.
    pub(super) fn alarm(&self) -> Option<(Alarm, u32)> {
        // on a device that is being set up it is no news that the clock is not
        let shown = |alarm: &Alarm| {
            *alarm != Alarm::ClockUnset || self.controller.book().timetable.ids().next().is_some()
        };
        let mut on = ALARMS
            .into_iter()
            .filter(|&alarm| self.controller.book().alarm_is_on(alarm))
            .filter(shown);
        let first = on.next()?;
        Some((first, on.count() as u32))
    }
}

/// The alarms, the most urgent first.
const ALARMS: [Alarm; 12] = [
    Alarm::Leak,
    Alarm::MotorFault,
    Alarm::ContainerEmpty,
    Alarm::LevelDisagrees,
    Alarm::PackExhausted,
    Alarm::ClockUnset,
    Alarm::LedgerFault,
    Alarm::EntryDamaged,
    Alarm::DoesNotFit,
    Alarm::MemoryDamaged,
    Alarm::LowLevel,
    Alarm::PackLow,
];
