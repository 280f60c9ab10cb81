//! What the panel looks at.

use core::num::NonZeroU32;

use super::figures::{MINUTE_MS, Minute};
use super::recent::Recent;
use crate::book::Book;
use crate::civil::Local;
use crate::controller::Controller;
use crate::entry::{EntryId, GapRule};
use crate::record::Alarm;
use crate::time::{Instant, Utc};
use crate::units::over;
use crate::zone::Zone;

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

/// What a touch meets.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Keys {
    /// A dark display, which it lights.
    Dark,
    /// Locked keys, which one that is held opens.
    Locked,
    Open,
}

impl<const N: usize, const H: usize> View<'_, N, H> {
    /// A moment as the clock has it; `None` while it is unset.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(super) fn minute_at(&self, at: Instant) -> Option<Minute> {
        let clock = self.controller.book().clock.as_ref()?;
        minute_of(&clock.zone, clock.utc(at))
    }

    /// When a due was whose local time its record names: of a time that a change of the
    /// clocks skipped, where the gap moved it (D8).
    pub(super) fn moved(&self, id: EntryId, named: Minute) -> Option<Minute> {
        let Book { zone, timetable, .. } = self.controller.book();
        let rule = timetable.get(id).map_or(GapRule::Shift, |entry| entry.gap_rule);
        let local = Local::from_ms(i64::from(named.0.get()) * i64::from(MINUTE_MS));
        minute_of(zone, zone.to_utc(local, rule))
    }

    pub(super) fn minute(&self) -> Option<Minute> {
        self.minute_at(self.now)
    }

    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(super) fn keys(&self) -> Keys {
        if !self.controller.is_lit_at(self.now) {
            Keys::Dark
        } else if self.controller.takes_keys_at(self.now) {
            Keys::Open
        } else {
            Keys::Locked
        }
    }
}

/// A moment as a zone has it.
#[cfg_attr(target_pointer_width = "32", inline(never))]
fn minute_of(zone: &Zone, utc: Utc) -> Option<Minute> {
    let offset_ms = i64::from(zone.offset_at(utc)) * 1000;
    // no clock is before 1970
    let local_ms = utc.as_ms().wrapping_add(offset_ms).max(0) as u64;
    NonZeroU32::new(over(local_ms, u64::from(MINUTE_MS)) as u32).map(Minute)
}

/// All alarms, and those that an acknowledgement ends, a bit each.
pub(super) const ALL: u16 = u16::MAX;
pub(super) const ENDED_BY_HAND: u16 =
    1 << Alarm::MotorFault as u16 | 1 << Alarm::MemoryDamaged as u16;

/// The first alarm that is on of some, and how many more are.
#[cfg_attr(target_pointer_width = "32", inline(never))]
pub(super) fn alarm<const N: usize, const H: usize>(
    controller: &Controller<N, H>,
    of: u16,
) -> Option<(Alarm, u32)> {
    let (mut first, mut count) = (None, 0);
    let mut on = controller.alarms() & of;
    // on a device that is being set up it is no news that the clock is not
    if entries(controller.book()) == 0 {
        on &= !(1 << Alarm::ClockUnset as u16);
    }
    for &alarm in &ALARMS {
        if on >> alarm as u16 & 1 == 1 {
            first = first.or(Some(alarm));
            count += 1;
        }
    }
    Some((first?, count - 1))
}

/// How many entries there are.
#[cfg_attr(target_pointer_width = "32", inline(never))]
pub(super) fn entries<const N: usize, const H: usize>(book: &Book<N, H>) -> u32 {
    book.timetable.ids().count() as u32
}

/// One of them, in their order.
#[cfg_attr(target_pointer_width = "32", inline(never))]
pub(super) fn entry<const N: usize, const H: usize>(book: &Book<N, H>, at: u32) -> Option<EntryId> {
    let mut left = at;
    for id in book.timetable.ids() {
        if left == 0 {
            return Some(id);
        }
        left -= 1;
    }
    None
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
