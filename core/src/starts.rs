//! The pump's starts of the last hour, of which a head allows so many.

use crate::config::Head;
use crate::time::{Duration, Instant};

/// Starts that are kept: as many as a limit can count.
const KEPT: usize = Head::MOST_STARTS as usize;
/// The hour of the limit of starts.
pub(crate) const HOUR: Duration = Duration::from_h(1);

/// The latest pump starts, as many as the limit can ask for, of the hour before the
/// last one: what is an hour old counts for nothing.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Starts {
    /// The newest.
    last: Instant,
    /// How much later than a reference each was, in ms and one more, in three bytes; 0
    /// for none. The reference moves on with the newest in steps of over two hours, so
    /// that most starts change no other place.
    ring: [[u8; 3]; KEPT],
    /// Where the next goes.
    next: u8,
    /// How many there are, one after another up to the one before `next`.
    count: u8,
}

/// How far the reference moves at once, in ms: two such steps go into three bytes.
const STEP_MS: i64 = 1 << 23;

/// The instant that places are counted from: at least one step before the newest.
const fn reference(last: Instant) -> Instant {
    Instant::from_ms((last.as_ms() & -STEP_MS).saturating_sub(STEP_MS))
}

impl Starts {
    /// None yet.
    pub const NONE: Self = Self { last: Instant::ZERO, ring: [[0; 3]; KEPT], next: 0, count: 0 };

    /// Takes down a start.
    pub fn push(&mut self, at: Instant) {
        let before = reference(self.last);
        self.last = self.last.max(at);
        let (last, now) = (self.last, reference(self.last));
        // from the oldest on, as far as they are an hour old
        let hour_ago = later_by(last, before).saturating_sub(HOUR.as_ms() as u32);
        while let Some(place) = self.ring.get_mut(place_back(self.next, self.count)) {
            if self.count == 0 || later(*place) > hour_ago {
                break;
            }
            *place = NONE;
            self.count -= 1;
        }
        if now != before {
            for place in &mut self.ring {
                // one from before the reference counts for nothing at the reference too
                *place = at_of(*place, before).map_or(NONE, |at| place_of(at, now));
            }
        }
        if let Some(place) = self.ring.get_mut(usize::from(self.next)) {
            // one that does not come in order is put down by what it is
            *place = place_of(at.max(last.minus(HOUR)), now);
        }
        self.next = if usize::from(self.next) + 1 < KEPT { self.next + 1 } else { 0 };
        self.count = (self.count + 1).min(KEPT as u8);
    }

    /// The start so many starts back; 1 is the newest.
    pub(crate) fn back(&self, count: usize) -> Option<Instant> {
        let index = place_back(self.next, u8::try_from(count).ok()?);
        at_of(*self.ring.get(index)?, reference(self.last))
    }

    /// From the oldest to the newest.
    pub fn iter(&self) -> impl Iterator<Item = Instant> + Clone + '_ {
        (1..=usize::from(self.count)).rev().filter_map(|count| self.back(count))
    }

    /// How many more starts the hour that ends at `now` allows.
    pub fn free(&self, now: Instant, limit: u16) -> u32 {
        let reference = reference(self.last);
        let at = now.max(self.last);
        let in_hour = |place: &&[u8; 3]| {
            at_of(**place, reference).is_some_and(|start| at.since(start) < HOUR)
        };
        let used = self.ring.iter().filter(in_hour).count();
        u32::from(limit).saturating_sub(u32::try_from(used).unwrap_or(u32::MAX))
    }

    /// The first instant from `now` on at which a start is allowed.
    pub fn next_free(&self, now: Instant, limit: u16) -> Instant {
        let limit = usize::from(limit.clamp(1, Head::MOST_STARTS));
        // the start that is `limit` starts back must be an hour old
        self.back(limit).map_or(now, |at| at.plus(HOUR).max(now))
    }
}

/// The place so many before another, at most all of them.
const fn place_back(next: u8, count: u8) -> usize {
    let (next, count) = (next as usize, count as usize);
    if next >= count { next - count } else { (next + KEPT).saturating_sub(count) }
}

/// What a place is without a start.
const NONE: [u8; 3] = [0; 3];

/// What a place holds: how much later than the reference, in ms and one more.
const fn later([a, b, c]: [u8; 3]) -> u32 {
    u32::from_le_bytes([a, b, c, 0])
}

/// The same of an instant that may be too late for a place.
fn later_by(at: Instant, reference: Instant) -> u32 {
    u32::try_from(at.since(reference).as_ms().saturating_add(1)).unwrap_or(u32::MAX)
}

#[cfg_attr(target_pointer_width = "32", inline(never))]
fn at_of(place: [u8; 3], reference: Instant) -> Option<Instant> {
    let later = later(place).checked_sub(1)?;
    Some(reference.plus(Duration::from_ms(u64::from(later))))
}

fn place_of(at: Instant, reference: Instant) -> [u8; 3] {
    let [a, b, c, ..] = later_by(at, reference).to_le_bytes();
    [a, b, c]
}

#[cfg(test)]
mod tests {
    extern crate std;

    use super::*;

    fn at(ms: i64) -> Instant {
        Instant::from_ms(ms)
    }

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

    #[test]
    fn starts_are_those_of_a_plain_list_of_the_last_hour() {
        let (mut starts, mut list) = (Starts::NONE, std::vec::Vec::<i64>::new());
        let (mut now, mut seed) = (5_i64, 1_u64);
        for i in 0..20_000 {
            seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
            // mostly a minute or less, now and then an hour, some hours, years
            let most = match seed >> 60 {
                0 => 3_600_001,
                1 => 20_000_000,
                2 if i % 50 == 0 => 1 << 40,
                _ => 70_000,
            };
            now += ((seed >> 20) % most) as i64;
            starts.push(Instant::from_ms(now));
            list.retain(|at| now - at < 3_600_000);
            list.push(now);
            if list.len() > KEPT {
                list.remove(0);
            }
            assert!(starts.iter().map(Instant::as_ms).eq(list.iter().copied()), "{i}");
            let later = now + ((seed >> 33) % 4_000_000) as i64;
            let used = list.iter().filter(|&&at| later - at < 3_600_000).count() as u32;
            assert_eq!(starts.free(Instant::from_ms(later), 60), 60 - used, "{i}");
        }
    }

    #[test]
    fn d7_a_start_out_of_order_counts_as_much_as_another() {
        let mut starts = Starts::NONE;
        for minute in [50, 20, 40] {
            starts.push(at(minute * 60_000));
        }
        assert_eq!(starts.free(at(50 * 60_000), 5), 2);
        // the hour ends an hour after each, that very instant not counted
        assert_eq!(starts.free(at(80 * 60_000 - 1), 5), 2);
        assert_eq!(starts.free(at(80 * 60_000), 5), 3);
        assert_eq!(starts.free(at(110 * 60_000), 5), 5);
        // one of hours ago takes no place of the hour
        starts.push(at(-200 * 60_000));
        assert_eq!(starts.free(at(50 * 60_000), 5), 2);
        // asked of an instant before the newest, it is that of the newest
        assert_eq!(starts.free(at(0), 5), 2);
        assert_eq!(starts.free(at(50 * 60_000), 2), 0, "a lower limit");
    }
}
