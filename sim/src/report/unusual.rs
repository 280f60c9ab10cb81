//! Which weeks of a long run are drawn: those in which something was not as usual. What
//! the week before shows as well, or a week that is drawn, is not unusual any more: after
//! a container is empty every week has nothing but skipped doses.

use std::cmp::Reverse;
use std::collections::{BTreeMap, BTreeSet};

/// What was not as usual, and what of it.
type Kind<'a> = (&'a str, &'a str);

/// What was not as usual in each week, and how much of it.
pub(super) struct Unusual<'a> {
    weeks: Vec<BTreeMap<Kind<'a>, u32>>,
}

impl<'a> Unusual<'a> {
    /// So many weeks in which everything went as usual.
    pub(super) fn of(weeks: usize) -> Self {
        Self { weeks: vec![BTreeMap::new(); weeks] }
    }

    /// Something that was not, in a week.
    pub(super) fn add(&mut self, week: usize, kind: Kind<'a>, by: u32) {
        if let Some(kinds) = self.weeks.get_mut(week) {
            *kinds.entry(kind).or_default() += by;
        }
    }

    /// What a week has, of what counts.
    fn sum(&self, week: usize, counts: impl Fn(&Kind<'a>) -> bool) -> u32 {
        let Some(kinds) = self.weeks.get(week) else { return 0 };
        kinds.iter().filter(|(kind, _)| counts(kind)).map(|(_, by)| by).sum()
    }

    /// So many weeks at most, in no order: the one given, and then always the one that
    /// shows most of what neither the week before it nor one of these shows; of those
    /// that show nothing new the one that shows most.
    pub(super) fn most(&self, first: usize, most: usize) -> Vec<usize> {
        let before = |week: usize, kind: &Kind<'a>| {
            week.checked_sub(1)
                .and_then(|before| self.weeks.get(before))
                .is_some_and(|kinds| kinds.contains_key(kind))
        };
        let kinds_of = |week: usize| self.weeks.get(week).into_iter().flat_map(BTreeMap::keys);
        let mut shown = vec![first];
        let mut seen: BTreeSet<Kind<'a>> = kinds_of(first).copied().collect();
        while shown.len() < most {
            let next = (0..self.weeks.len())
                .filter(|week| !shown.contains(week) && self.sum(*week, |_| true) > 0)
                .max_by_key(|week| {
                    let of = |counts: &dyn Fn(&Kind<'a>) -> bool| self.sum(*week, counts);
                    let begun = |kind: &Kind<'a>| !before(*week, kind);
                    let new = of(&|kind| begun(kind) && !seen.contains(kind));
                    (new, of(&begun), of(&|_| true), Reverse(*week))
                });
            let Some(next) = next else { break };
            shown.push(next);
            seen.extend(kinds_of(next).copied());
        }
        shown
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const EMPTY: Kind<'static> = ("skipped", "container empty");
    const CUT: Kind<'static> = ("no supply", "");
    const CLOSED: Kind<'static> = ("skipped", "closed");

    #[test]
    fn a_week_like_the_one_before_it_gives_way_to_one_that_shows_something_else() {
        let mut odd = Unusual::of(20);
        odd.add(2, CUT, 20);
        odd.add(5, CLOSED, 7);
        odd.add(9, CUT, 40);
        odd.add(10, EMPTY, 300);
        for week in 11..20 {
            odd.add(week, EMPTY, 8400);
        }
        assert_eq!(odd.most(0, 4), [0, 10, 9, 5]);
        // the other cut, begun in its week, and then the first of those that are all alike
        assert_eq!(odd.most(0, 6)[4..], [2, 11]);
        assert_eq!(odd.most(0, 99).len(), 14);
    }

    #[test]
    fn where_all_went_as_usual_there_is_the_first_week_alone() {
        assert_eq!(Unusual::of(20).most(3, 5), [3]);
    }
}
