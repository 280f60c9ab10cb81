//! What the panel looks at.

use super::recent::Recent;
use crate::civil::Local;
use crate::controller::Controller;
use crate::entry::EntryId;
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
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(super) fn local_at(&self, at: Instant) -> Option<Local> {
        self.controller.book().clock.as_ref().map(|clock| clock.local(at))
    }

    pub(super) fn local(&self) -> Option<Local> {
        self.local_at(self.now)
    }

    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(super) fn is_lit(&self) -> bool {
        self.controller.is_lit_at(self.now)
    }

    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(super) fn takes_keys(&self) -> bool {
        self.controller.takes_keys_at(self.now)
    }

    /// The first alarm that is on, and how many more are.
    pub(super) fn alarm(&self) -> Option<(Alarm, u32)> {
        let book = self.controller.book();
        let (mut first, mut more) = (None, 0);
        for &alarm in &ALARMS {
            // on a device that is being set up it is no news that the clock is not
            let is_news = alarm != Alarm::ClockUnset || self.entries() > 0;
            if book.alarm_is_on(alarm) && is_news {
                more += u32::from(first.is_some());
                first = first.or(Some(alarm));
            }
        }
        Some((first?, more))
    }

    /// How many entries there are.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(super) fn entries(&self) -> u32 {
        self.controller.book().timetable.ids().count() as u32
    }

    /// One of them, in their order.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(super) fn entry(&self, at: u32) -> Option<EntryId> {
        self.controller.book().timetable.ids().nth(at as usize)
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
