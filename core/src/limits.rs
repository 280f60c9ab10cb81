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
    fn back(&self, count: usize) -> Option<Instant> {
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

    /// The same without the first so many, which are not unpacked.
    pub(crate) fn iter_from(&self, first: usize) -> impl Iterator<Item = Delivery> + '_ {
        let kept = self.items.iter().filter(|item| item.is_some());
        kept.skip(first).filter_map(PackedDelivery::get)
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
        // empty places come last
        let oldest = self.items.iter_mut().min_by_key(|item| item.began())?;
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
        // none is younger than by elapsed time: what is too old by that is not unpacked
        let span = due_age.plus(CEILING_SPAN);
        let too_old = now.minus(span);
        self.items
            .iter()
            .filter(|item| item.began() > too_old)
            .filter_map(PackedDelivery::get)
            .filter(|d| {
                let due_was = Duration::from_ms(u64::from(d.begun_after_ms));
                age(&d.begin, now, clock, losses).plus(due_was) < span
            })
            .fold(Volume::ZERO, |sum, d| sum.plus(d.volume))
    }
}

#[cfg(test)]
mod tests {
    extern crate std;

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

    fn at(ms: i64) -> Instant {
        Instant::from_ms(ms)
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

    fn begin(ms: i64, utc_ms: i64, losses: u16) -> Begin {
        Begin { at: at(ms), utc: Some(crate::time::Utc::from_ms(utc_ms)), losses }
    }

    #[test]
    fn d2_after_a_loss_of_the_clock_a_delivery_is_as_old_as_the_greater_says() {
        let clock = WallClock { offset_ms: 1_000_000, zone: crate::zone::Zone::UTC };
        let age_of =
            |begin: &Begin, clock: Option<&WallClock>| age(begin, at(60_000), clock, 1).as_ms();
        // at 60 s the clock says 1 060 s
        for (utc_ms, wall_ms) in [(900_000, 160_000), (1_030_000, 50_000), (2_000_000, 50_000)] {
            assert_eq!(age_of(&begin(10_000, utc_ms, 0), Some(&clock)), wall_ms, "{utc_ms}");
            assert_eq!(age_of(&begin(10_000, utc_ms, 1), Some(&clock)), 50_000, "no loss since");
            assert_eq!(age_of(&begin(10_000, utc_ms, 0), None), 50_000, "no clock");
        }
        assert_eq!(age_of(&Begin { utc: None, ..begin(10_000, 0, 0) }, Some(&clock)), 50_000);
    }

    fn delivery(id: u16, began_ms: i64, ml: u64) -> Delivery {
        let begin = Begin { at: at(began_ms), utc: None, losses: 0 };
        Delivery { id: EntryId(id), begin, begun_after_ms: 0, volume: Volume::from_ml(ml) }
    }

    const HOUR_MS: i64 = 3_600_000;

    #[test]
    fn d7_the_ceiling_counts_what_was_due_less_than_23_h_before_a_due_or_after_it() {
        let mut history = History::<4>::EMPTY;
        history.push(delivery(1, 0, 1));
        history.push(delivery(2, 1, 10));
        history.push(delivery(3, 24 * HOUR_MS, 100));
        // begun three hours late: it counts at its due
        let late =
            Delivery { begun_after_ms: 3 * HOUR_MS as u32, ..delivery(4, 2 * HOUR_MS, 1000) };
        history.push(late);
        let due = at(23 * HOUR_MS);
        let before = |now| history.before_due(due, now, None, 0).as_nl() / 1_000_000;
        assert_eq!(before(due), 110);
        assert_eq!(before(at(25 * HOUR_MS)), 110, "asked later it is the same");
        let earlier = |ms| history.before_due(at(ms), due, None, 0).as_nl() / 1_000_000;
        assert_eq!(earlier(23 * HOUR_MS - 1), 111);
        assert_eq!(earlier(22 * HOUR_MS), 111);
        assert_eq!(earlier(22 * HOUR_MS - 1), 1111);
    }

    #[test]
    fn d2_the_span_of_a_guard_is_counted_from_when_a_delivery_began() {
        let mut history = History::<4>::EMPTY;
        for (id, ms, ml) in [(1, 0, 1), (1, 5_000, 10), (2, 6_000, 100)] {
            history.push(delivery(id, ms, ml));
        }
        let of = |id, span| {
            let span = Duration::from_ms(span);
            history.of_entry(EntryId(id), span, at(7_000), None, 0).as_nl() / 1_000_000
        };
        assert_eq!([of(1, 7_001), of(1, 7_000), of(1, 2_000), of(2, 1_001)], [11, 10, 0, 100]);
        assert_eq!(history.last_of(EntryId(1)).map(|begin| begin.at), Some(at(5_000)));
        assert_eq!(history.last_of(EntryId(3)), None);
    }

    #[test]
    fn d7_where_all_places_are_taken_nothing_that_counts_is_lost() {
        let sum = |history: &History<2>| {
            let mut kept: std::vec::Vec<_> = history
                .iter()
                .map(|d| (d.id.0, d.begin.at.as_ms(), d.volume.as_nl() / 1_000_000))
                .collect();
            kept.sort_unstable();
            kept
        };
        let week_half = 84 * HOUR_MS;
        let mut history = History::<2>::EMPTY;
        history.push(delivery(1, 0, 1));
        history.push(delivery(2, 10, 10));
        // the oldest is half a week old: no guard and no ceiling asks for it
        let mut old = history;
        old.push(delivery(3, week_half, 100));
        assert_eq!(sum(&old), [(2, 10, 10), (3, week_half, 100)]);
        // a millisecond less, and it counts with the next
        history.push(delivery(3, week_half - 1, 100));
        assert_eq!(sum(&history), [(2, 10, 11), (3, week_half - 1, 100)]);
        // where there is one place alone, with the one that comes
        let mut one = History::<1>::EMPTY;
        one.push(delivery(1, 0, 1));
        one.push(delivery(2, 10, 10));
        assert_eq!(one.iter().next(), Some(delivery(2, 10, 11)));
    }

    #[test]
    fn d7_a_train_keeps_the_starts_before_it_in_mind() {
        let mut starts = Starts::NONE;
        for minute in [0, 10] {
            starts.push(at(minute * 60_000));
        }
        // a train of three, ten minutes apart
        let plan = |minute: i64| Plan {
            origin: at(minute * 60_000),
            span_ms: 1_800_000,
            pulses: 3,
            total_ms: 30_000,
            next: 0,
        };
        // five an hour are all of them
        assert!(starts.allow(&plan(20), 5));
        // of three an hour the second may come an hour after the one at 0, to the instant
        assert!(starts.allow(&plan(50), 3));
        let early = Plan { origin: at(50 * 60_000 - 1), ..plan(50) };
        assert!(!starts.allow(&early, 3) && !starts.allow(&plan(20), 3));
        // of four the third
        assert!(starts.allow(&plan(40), 4) && !starts.allow(&plan(39), 4));
        // one that is under way asks for what is left of it
        assert!(starts.allow(&Plan { next: 2, ..plan(20) }, 3));
        assert!(Starts::NONE.allow(&plan(0), 3), "nothing was before it");
    }
}
