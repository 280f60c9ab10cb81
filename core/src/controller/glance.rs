//! What a panel shows beside the book: what runs, what comes next, how long it lasts.

use super::Controller;
use crate::cause::Cause;
use crate::entry::{Entry, Recurrence};
use crate::power::Pack;
use crate::record::Act;
use crate::time::{Duration, Instant};
use crate::units::{Volume, over};

/// Seconds in a week.
const WEEK_S: u64 = 604_800;

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
    /// Its entry.
    pub entry: Entry,
    /// Its instant.
    pub due_at: Instant,
    /// What it waits for, where its instant has passed.
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

    /// The first of the doses that wait; where none does, the first that is due.
    pub fn next_dose(&self) -> Option<NextDose> {
        let (mut first, mut waits) = (None, None);
        // what waits comes before all that is still to come
        let mut earliest = (true, Instant::MAX);
        for line in 0..N {
            let (at, cause) = match self.waiting_cause(line) {
                Some((at, cause)) => (at, Some(cause)),
                None => match self.next_on(line, earliest.1) {
                    Some((_, at)) => (at, None),
                    None => continue,
                },
            };
            if (cause.is_none(), at) < earliest {
                earliest = (cause.is_none(), at);
                (first, waits) = (Some(line), cause);
            }
        }
        let entry = self.book.timetable.line(first?)?;
        let mut next = NextDose { entry, due_at: earliest.1, waits_for: waits };
        if waits.is_some() {
            next.waits_for = self.hindrance(&next.entry).or(waits);
        }
        Some(next)
    }

    /// The due of a line that waits, and why.
    fn waiting_cause(&self, line: usize) -> Option<(Instant, Cause)> {
        let waiting = self.book.state(line).waiting?;
        let is_its = self.book.timetable.id_on(line) == Some(waiting.id);
        is_its.then_some((waiting.due_at, waiting.cause))
    }

    /// Until when the container lasts by account, at what the timetable asks for in a
    /// week. `None` without a container or where nothing is asked for.
    pub fn product_lasts_until(&self, now: Instant) -> Option<Instant> {
        let container = self.book.stock.container()?;
        let left_ul = self.book.account().minus(container.heel).as_ul();
        self.lasts(now, left_ul, self.a_week(None))
    }

    /// Until when the pack lasts by account, three quarters of it counted on, as for
    /// the low alarm (P3). `None` on mains.
    pub fn pack_lasts_until(&self, now: Instant) -> Option<Instant> {
        let gauge = &self.book.gauge;
        let pack = gauge.pack()?;
        let week_uc = self.a_week(Some(pack)).saturating_add(pack.asleep_uc(7));
        // in mC, so that the largest pack times a week in s goes into 64 bits
        self.lasts(now, over(gauge.counted_on_uc(now), 1000), over(week_uc, 1000))
    }

    /// What the doses of a week come to, each enabled entry: in uC of the pack, or else
    /// in ul of the product.
    fn a_week(&self, pack: Option<&Pack>) -> u64 {
        let mut sum = 0_u64;
        for line in 0..N {
            let entry = self.book.timetable.line(line);
            let Some(entry) = entry.as_ref().filter(|entry| entry.enabled) else { continue };
            let times = match entry.recurrence {
                Recurrence::Weekly { days, .. } => days.len(),
                Recurrence::Interval { every_ms, .. } => over(WEEK_S * 1000, every_ms) as u32,
            };
            let each = match pack {
                Some(pack) => self.dose_uc(pack, entry),
                None => entry.volume.as_ul(),
            };
            // a dose is 100 l at the most, and a week has ten thousand minutes
            sum = sum.saturating_add(each.min(1 << 40).wrapping_mul(u64::from(times)));
        }
        sum
    }

    fn lasts(&self, now: Instant, left: u64, a_week: u64) -> Option<Instant> {
        // 1000 l in ul times a week in s goes into 64 bits
        let s = over(left.min(1 << 44).wrapping_mul(WEEK_S), a_week);
        // a hundred years are for ever
        let is_soon = a_week > 0 && s < 100 * 52 * WEEK_S;
        is_soon.then(|| now.plus(Duration::from_s(s)))
    }

    /// What the open dose has delivered at least by its last intent, and what it is.
    pub fn open_dose(&self) -> Option<(Volume, Volume)> {
        let pulse = self.book.open?.pulse;
        let volume = |ms: u32| pulse.flow.volume(Duration::from_ms(u64::from(ms)));
        Some((volume(pulse.least_ms), volume(pulse.dose_ms)))
    }
}
