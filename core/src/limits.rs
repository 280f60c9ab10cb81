//! What the pump has delivered lately, for the repeat guard and the ceiling.

use crate::entry::EntryId;
use crate::record::{Begin, Delivery, PackedDelivery};
use crate::schedule::WallClock;
use crate::time::{Duration, Instant};
use crate::units::Volume;

/// The span of the ceiling (D7): an hour less than a day, so that neither
/// summer time nor a clock that runs fast makes two nights one.
pub const CEILING_SPAN: Duration = Duration::from_h(23);
/// Half a week: no repeat guard of a weekly entry is longer. That of an interval can be,
/// see [`History::may_lack`].
const LONGEST_GUARD: Duration = Duration::from_h(84);

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

    /// The same without the first so many, which are not unpacked: empty places come last.
    pub(crate) fn iter_from(&self, first: usize) -> impl Iterator<Item = Delivery> + '_ {
        self.items.get(first..).unwrap_or_default().iter().filter_map(PackedDelivery::get)
    }

    /// Takes down a delivery.
    ///
    /// Where all places are taken, the oldest gives way if no weekly entry can ask for
    /// it any more; else the two oldest become one with the later time. Where they were of
    /// two entries it counts for any: that can only make the ceiling and the guards
    /// stricter, never let a dose through.
    pub fn push(&mut self, delivery: Delivery) {
        if self.put(&delivery) {
            return;
        }
        let too_old = delivery.begin.at.minus(LONGEST_GUARD);
        let Some(oldest) = self.take_oldest() else { return };
        let mut kept = delivery;
        if oldest.begin.at > too_old {
            let mut second = self.take_oldest();
            let joined = second.as_mut().unwrap_or(&mut kept);
            joined.volume = joined.volume.plus(oldest.volume);
            if joined.id != oldest.id {
                joined.id = EntryId::SEVERAL;
            }
            if let Some(second) = &second {
                self.put(second);
            }
        }
        self.put(&kept);
    }

    /// Whether a delivery that began so long ago may have given way to younger ones.
    pub(crate) fn may_lack(&self, age: Duration) -> bool {
        age >= LONGEST_GUARD && self.items.iter().all(PackedDelivery::is_some)
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
    /// begin; at most, where some may have been of another.
    pub fn of_entry(
        &self,
        id: EntryId,
        span: Duration,
        now: Instant,
        clock: Option<&WallClock>,
        losses: u16,
    ) -> Volume {
        self.iter()
            .filter(|d| d.id == id || d.id == EntryId::SEVERAL)
            .filter(|d| age(&d.begin, now, clock, losses) < span)
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

    fn at(ms: i64) -> Instant {
        Instant::from_ms(ms)
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

    fn begin(ms: i64, utc_ms: i64, losses: u16) -> Begin {
        Begin { at: at(ms), utc: Some(crate::time::Utc::from_ms(utc_ms)), losses }
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
        assert_eq!(sum(&history), [(3, week_half - 1, 100), (EntryId::SEVERAL.0, 10, 11)]);
        // where there is one place alone, with the one that comes
        let mut one = History::<1>::EMPTY;
        one.push(delivery(1, 0, 1));
        one.push(delivery(2, 10, 10));
        assert_eq!(one.iter().next(), Some(delivery(EntryId::SEVERAL.0, 10, 11)));
    }

    #[test]
    fn d2_a_delivery_that_is_joined_with_another_entrys_still_counts_for_its_own() {
        let mut history = History::<2>::EMPTY;
        for (id, ms, ml) in [(1, 0, 60), (2, 10, 50), (3, 20, 40)] {
            history.push(delivery(id, ms, ml));
        }
        let of = |history: &History<2>, id| {
            let span = Duration::from_h(12);
            history.of_entry(EntryId(id), span, at(30), None, 0).as_nl() / 1_000_000
        };
        assert_eq!([1, 2, 3].map(|id| of(&history, id)), [110, 110, 150]);
        // two of one entry are its own
        let mut history = History::<2>::EMPTY;
        for (id, ms, ml) in [(1, 0, 60), (1, 10, 50), (3, 20, 40)] {
            history.push(delivery(id, ms, ml));
        }
        assert_eq!([1, 2, 3].map(|id| of(&history, id)), [110, 0, 40]);
    }
}
