//! What the pump has done lately: starts in the last hour, deliveries for the
//! repeat guard and the ceiling.

use crate::config::Head;
use crate::entry::EntryId;
use crate::record::{Begin, Delivery, PackedDelivery};
use crate::schedule::WallClock;
use crate::spread::Plan;
use crate::time::{Duration, Instant};
use crate::units::Volume;

/// Starts that are kept: as many as a limit can count.
const KEPT: usize = Head::MOST_STARTS as usize;
/// The hour of the limit of starts.
const HOUR: Duration = Duration::from_h(1);
/// The span of the ceiling (D7): an hour less than a day, so that neither
/// summer time nor a clock that runs fast makes two nights one.
pub const CEILING_SPAN: Duration = Duration::from_h(23);
/// Half a week: no repeat guard is longer.
const LONGEST_GUARD: Duration = Duration::from_h(84);

/// The latest pump starts, as many as the limit can ask for, of the hour before the
/// last one: what is an hour old counts for nothing.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Starts {
    /// The newest.
    last: Instant,
    /// How much earlier each was, in ms and one more, in three bytes; 0 for none.
    ring: [[u8; 3]; KEPT],
    /// Where the next goes, which is also where the oldest is.
    next: u8,
}

impl Starts {
    /// None yet.
    pub const NONE: Self = Self { last: Instant::ZERO, ring: [[0; 3]; KEPT], next: 0 };

    /// Takes down a start.
    pub fn push(&mut self, at: Instant) {
        // one that does not come in order is put down by what it is
        let earlier = self.last.since(at).min(HOUR).as_ms() as u32;
        let later = at.since(self.last).min(HOUR).as_ms() as u32;
        for place in &mut self.ring {
            let age = age_of(*place);
            let grown = if age == 0 { 0 } else { age.saturating_add(later) };
            *place = bytes_of(if u64::from(grown) > HOUR.as_ms() { 0 } else { grown });
        }
        self.last = self.last.max(at);
        if let Some(place) = self.ring.get_mut(usize::from(self.next)) {
            *place = bytes_of(earlier.saturating_add(1));
        }
        self.next = (self.next + 1) % KEPT as u8;
    }

    /// The start so many starts back; 1 is the newest.
    fn back(&self, count: usize) -> Option<Instant> {
        let index = (usize::from(self.next) + KEPT).checked_sub(count)? % KEPT;
        self.at(*self.ring.get(index)?)
    }

    fn at(&self, place: [u8; 3]) -> Option<Instant> {
        let earlier = age_of(place).checked_sub(1)?;
        Some(self.last.minus(Duration::from_ms(u64::from(earlier))))
    }

    /// From the oldest to the newest.
    pub fn iter(&self) -> impl Iterator<Item = Instant> + Clone + '_ {
        (1..=KEPT).rev().filter_map(|count| self.back(count))
    }

    /// How many more starts the hour that ends at `now` allows.
    pub fn free(&self, now: Instant, limit: u16) -> u32 {
        // how old the newest is, and what the others are on top of it
        let since = now.since(self.last).min(HOUR).as_ms() as u32;
        let hour = HOUR.as_ms() as u32;
        let in_hour = |place: &&[u8; 3]| {
            let age = age_of(**place);
            age != 0 && age.saturating_add(since) <= hour
        };
        let used = self.ring.iter().filter(in_hour).count();
        u32::from(limit).saturating_sub(u32::try_from(used).unwrap_or(u32::MAX))
    }

    /// Whether every pulse of a train may start when it is planned.
    pub fn allow(&self, plan: &Plan, limit: u16) -> bool {
        let limit = usize::from(limit.clamp(1, Head::MOST_STARTS));
        let mut train = *plan;
        // a train keeps the limit by itself: only its first starts meet older ones
        for back in (1..=limit).rev() {
            let Some(start) = train.next_start() else { break };
            if self.back(back).is_some_and(|at| at.plus(HOUR) > start) {
                return false;
            }
            train.next = train.next.saturating_add(1);
        }
        true
    }

    /// The first instant from `now` on at which a start is allowed.
    pub fn next_free(&self, now: Instant, limit: u16) -> Instant {
        let limit = usize::from(limit.clamp(1, Head::MOST_STARTS));
        // the start that is `limit` starts back must be an hour old
        self.back(limit).map_or(now, |at| at.plus(HOUR).max(now))
    }
}

const fn age_of([a, b, c]: [u8; 3]) -> u32 {
    u32::from_le_bytes([a, b, c, 0])
}

const fn bytes_of(age: u32) -> [u8; 3] {
    let [a, b, c, _] = age.to_le_bytes();
    [a, b, c]
}

/// How long ago a delivery began, as the clock stands (D2): where the clock
/// chip lost its feed since, the greater of elapsed time and wall difference.
pub fn age(begin: &Begin, now: Instant, clock: Option<&WallClock>, losses: u16) -> Duration {
    let elapsed = now.since(begin.at);
    match (begin.utc, clock) {
        (Some(then), Some(clock)) if begin.losses != losses => {
            let wall = clock.utc(now).as_ms().saturating_sub(then.as_ms());
            elapsed.max(Duration::from_ms(u64::try_from(wall).unwrap_or(0)))
        }
        _ => elapsed,
    }
}

/// The deliveries that a guard or the ceiling may still ask for.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct History<const H: usize> {
    items: [PackedDelivery; H],
}

impl<const H: usize> History<H> {
    /// None yet.
    pub const EMPTY: Self = Self { items: [PackedDelivery::NONE; H] };

    /// When an entry's last delivery began, as far as the account goes.
    pub fn last_of(&self, id: EntryId) -> Option<Begin> {
        self.iter().filter(|d| d.id == id).map(|d| d.begin).max_by_key(|begin| begin.at)
    }

    /// In no particular order.
    pub fn iter(&self) -> impl Iterator<Item = Delivery> + Clone + '_ {
        self.items.iter().filter_map(PackedDelivery::get)
    }

    /// Takes down a delivery.
    ///
    /// Where all places are taken, the oldest gives way if no rule can ask for
    /// it any more; else the two oldest become one with the later time, which
    /// can only make the ceiling stricter, never let a dose through.
    pub fn push(&mut self, delivery: Delivery) {
        if self.put(&delivery) {
            return;
        }
        let too_old = delivery.begin.at.minus(LONGEST_GUARD);
        let Some(oldest) = self.take_oldest() else { return };
        let mut kept = delivery;
        if oldest.begin.at > too_old {
            if let Some(mut second) = self.take_oldest() {
                second.volume = second.volume.plus(oldest.volume);
                self.put(&second);
            } else {
                kept.volume = kept.volume.plus(oldest.volume);
            }
        }
        self.put(&kept);
    }

    /// Puts a delivery in the first free place; `false` where there is none.
    fn put(&mut self, delivery: &Delivery) -> bool {
        match self.items.iter_mut().find(|item| !item.is_some()) {
            Some(place) => {
                *place = PackedDelivery::new(delivery);
                true
            }
            None => false,
        }
    }

    fn take_oldest(&mut self) -> Option<Delivery> {
        let oldest = self.items.iter_mut().min_by_key(|item| {
            // empty places come last
            item.get().map_or(Instant::MAX, |delivery| delivery.begin.at)
        })?;
        let delivery = oldest.get();
        *oldest = PackedDelivery::NONE;
        delivery
    }

    /// The volume that an entry's deliveries of the last `span` took, by their
    /// begin.
    pub fn of_entry(
        &self,
        id: EntryId,
        span: Duration,
        now: Instant,
        clock: Option<&WallClock>,
        losses: u16,
    ) -> Volume {
        self.iter()
            .filter(|d| d.id == id && age(&d.begin, now, clock, losses) < span)
            .fold(Volume::ZERO, |sum, d| sum.plus(d.volume))
    }

    /// The volume that counts against a due's ceiling: of all deliveries whose
    /// due was less than 23 h before that due, or after it (D7).
    pub fn before_due(
        &self,
        due_at: Instant,
        now: Instant,
        clock: Option<&WallClock>,
        losses: u16,
    ) -> Volume {
        let due_age = now.since(due_at);
        self.iter()
            .filter(|d| {
                let due_was = Duration::from_ms(u64::from(d.begun_after_ms));
                age(&d.begin, now, clock, losses).plus(due_was) < due_age.plus(CEILING_SPAN)
            })
            .fold(Volume::ZERO, |sum, d| sum.plus(d.volume))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn d7_an_hour_never_sees_more_starts_than_the_limit() {
        let mut starts = Starts::NONE;
        let mut now = Instant::ZERO;
        for i in 0..200_i64 {
            now = starts.next_free(now, 3);
            assert_eq!(now, Instant::from_ms(i / 3 * 3_600_000));
            assert!(starts.free(now, 3) > 0);
            starts.push(now);
        }
        assert_eq!(starts.free(now, 3), 1);
        // what is an hour old is forgotten
        assert_eq!(starts.iter().count(), 2);
    }
}
