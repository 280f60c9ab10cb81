//! What a panel shows beside the book: what runs, what comes next, how long it lasts.

use super::Controller;
use crate::cause::Cause;
use crate::civil::DAY_MS;
use crate::entry::{Entry, EntryId};
use crate::power::Pack;
use crate::record::{Act, Alarm};
use crate::time::{Duration, Instant};
use crate::units::{Volume, over, times};

/// Seconds in a week.
const WEEK_S: u64 = 604_800;
/// Days and weeks of which an average week is taken, so that an interval that does not go
/// into a week, or is longer, counts as the part of one that it is: a hundred years.
const MANY_DAYS: u32 = 36_400;
const MANY_WEEKS: u64 = MANY_DAYS as u64 / 7;

/// Seconds from a day to another.
fn days_s(from: i32, to: i32) -> u64 {
    u64::from((to.wrapping_sub(from) as u32).wrapping_mul(86_400))
}

/// A prime or calibration run that owns the pump.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct ServiceRun {
    /// It is a calibration run, not a prime.
    pub calibrates: bool,
    /// How long it is to be, in ms.
    pub asked_ms: u32,
    /// When it began; `None` where the pump has been stopped already.
    pub since: Option<Instant>,
}

/// The dose that comes next.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct NextDose {
    /// The number of its entry.
    pub id: EntryId,
    /// The dose, or what repeat guard, ceiling and container leave of it by now.
    pub volume: Volume,
    /// The time over which it is spread, in ms.
    pub window_ms: u32,
    /// Its instant.
    pub due_at: Instant,
    /// What it waits for, where its instant has passed; else what will keep it from running.
    pub waits_for: Option<Cause>,
}

impl<const N: usize, const H: usize> Controller<N, H> {
    /// Whether a key that comes at an instant means anything, as
    /// [`Self::takes_keys`] says of the last call's.
    pub fn takes_keys_at(&self, now: Instant) -> bool {
        self.display.takes_keys(now)
    }

    /// Whether the display is still lit at an instant.
    pub fn is_lit_at(&self, now: Instant) -> bool {
        self.display.is_lit() && now < self.display.until
    }

    /// The alarms that are on, a bit each by their numbers: also that of a memory which takes
    /// nothing, not even the record of it.
    pub fn alarms(&self) -> u16 {
        self.book.alarms | u16::from(self.ledger_failed()) << Alarm::LedgerFault as u16
    }

    /// The prime or calibration run that owns the pump.
    pub fn service_run(&self) -> Option<ServiceRun> {
        let service = self.service?;
        let since = match self.pump {
            super::Pump::On { since, .. } => Some(since),
            super::Pump::Off { .. } => None,
        };
        let calibrates = service.act != Act::PrimeBegun;
        Some(ServiceRun { calibrates, asked_ms: service.asked_ms, since })
    }

    /// Whether the last prime ended before all of it had run, whatever ended it.
    pub const fn prime_was_cut(&self) -> bool {
        self.prime_cut
    }

    /// The first of the doses that wait; where none does, the first that is due on a date
    /// that is not closed for it.
    pub fn next_dose(&self) -> Option<NextDose> {
        let waits = self.first_waiting(true);
        let line = waits.or_else(|| self.first_due(Instant::MAX, true))?;
        let entry = self.book.timetable.line(line);
        let entry = entry.as_ref()?;
        let state = self.book.state(line);
        let (due_at, waits_for) = if waits.is_some() {
            (state.waiting?.due_at, self.keeps(line, entry))
        } else {
            // without these settings it will be skipped, and with a pump that is kept off
            let damaged = self.hindrance(entry) == Some(Cause::Damaged) || self.book.head.is_none();
            let halt = self.stopped_by().filter(|_| self.is_halted());
            (
                self.next_on(line, Instant::MAX, true)?.1,
                if damaged { Some(Cause::Damaged) } else { halt },
            )
        };
        // as it will be judged, as far as that is known by now
        let at = due_at.max(self.now);
        let (volume, cut) = self.left_of(entry, &state, due_at, at);
        let waits_for = if self.ledger_failed() {
            // what takes no record lets no dose begin
            Some(Cause::Ledger)
        } else {
            waits_for.or(cut.filter(|_| self.is_too_little(volume)))
        };
        let Entry { id, window_ms, .. } = *entry;
        Some(NextDose { id, volume, window_ms, due_at, waits_for })
    }

    /// How many seconds the container lasts from an instant on by account, at what the
    /// timetable asks for in an average week of the entries that are in force by their dates.
    /// `None` without a container, where nothing is asked for, and where that takes a hundred
    /// years.
    pub fn product_lasts_s(&self, now: Instant) -> Option<u32> {
        let container = self.book.stock.container()?;
        let left = self.book.account().minus(container.heel);
        self.lasts_s(now, left.as_nl(), None)
    }

    /// How many seconds the pack lasts from an instant on by account, three quarters of it
    /// counted on, as for the low alarm (P3); no longer than now where it is exhausted by
    /// its voltage, for then it serves no dose. `None` on mains.
    pub fn pack_lasts_s(&self, now: Instant) -> Option<u32> {
        let gauge = &self.book.gauge;
        let left = if self.pack_is_exhausted() { 0 } else { gauge.counted_on_uc(now) };
        self.lasts_s(now, left, Some(gauge.pack()?))
    }

    /// How many seconds so much lasts at what an average week takes of it, from each date on
    /// that an entry begins or ends.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    fn lasts_s(&self, now: Instant, left: u64, pack: Option<&Pack>) -> Option<u32> {
        // in mC or ul, so that the largest pack times a week in s goes into 64 bits
        let mut left_s = over(left, 1000).min(1 << 44).wrapping_mul(WEEK_S);
        let local_ms = self.book.clock.as_ref().map_or(0, |clock| {
            let utc = clock.utc(now);
            utc.as_ms().wrapping_add(i64::from(clock.zone.offset_at(utc)) * 1000)
        });
        let today = over(local_ms.max(0) as u64, DAY_MS as u64) as i32;
        // a hundred years are for ever
        let (mut day, end) = (today, today.wrapping_add(MANY_DAYS as i32));
        while day < end {
            let mut until = end;
            let taken = self.taken_in(MANY_DAYS, pack, day, Some(&mut until));
            let a_week = over(taken, MANY_WEEKS * 1000);
            let taken = times(a_week, days_s(day, until));
            if taken > left_s {
                let s = over(left_s, a_week).wrapping_add(days_s(today, day));
                return Some(s as u32);
            }
            left_s = left_s.wrapping_sub(taken);
            // at most two dates of each entry
            day = until;
        }
        None
    }

    /// What the open dose has delivered at least, the pulse that runs so far included, and
    /// what it is.
    pub fn open_dose(&self, now: Instant) -> Option<(Volume, Volume)> {
        let pulse = &self.book.open.as_ref()?.pulse;
        let mut least_ms = self.running.as_ref().map_or(pulse.least_ms, |r| r.least_ms);
        if let super::Pump::On { since, .. } = self.pump {
            // what its start loses delivers nothing
            let lead_ms = self.book.head.as_ref().map_or(0, |head| u32::from(head.lead_ms));
            let ran_ms = (now.since(since).as_ms() as u32).saturating_sub(lead_ms);
            least_ms = least_ms.saturating_add(ran_ms.min(pulse.on_ms));
        }
        let volume = |ms: u32| pulse.flow.volume(Duration::from_ms(u64::from(ms)));
        Some((volume(least_ms), volume(pulse.dose_ms)))
    }
}
