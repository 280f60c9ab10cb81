//! Which weeks of a long run are drawn: those in which something was not as usual; and what
//! the others show that these do not. What the week before shows as well, or a week that is
//! drawn, is not unusual any more: after a container is empty every week has nothing but
//! skipped doses.

use std::cmp::Reverse;
use std::collections::{BTreeMap, BTreeSet};

/// What was not as usual, and what of it.
pub(super) type Kind<'a> = (&'a str, &'a str);

/// Weeks that are not drawn.
#[derive(Debug, PartialEq, Eq)]
pub(super) struct Left<'a> {
    /// Those in which everything went as usual.
    pub(super) usual: usize,
    /// Those that show nothing that a week that is drawn does not show.
    pub(super) alike: usize,
    /// Those that do.
    pub(super) own: usize,
    /// What they show, and in which weeks, the one that shows most of it first.
    pub(super) kinds: Vec<(Kind<'a>, Vec<usize>)>,
}

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
        if let Some(kinds) = self.weeks.get_mut(week).filter(|_| by > 0) {
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

    /// What there is in the weeks that are not among these.
    pub(super) fn left(&self, shown: &[usize]) -> Left<'a> {
        let seen: BTreeSet<&Kind<'a>> = shown
            .iter()
            .filter_map(|week| self.weeks.get(*week))
            .flat_map(BTreeMap::keys)
            .collect();
        let mut left = Left { usual: 0, alike: 0, own: 0, kinds: Vec::new() };
        let mut kinds: BTreeMap<Kind<'a>, Vec<(Reverse<u32>, usize)>> = BTreeMap::new();
        for (week, of) in self.weeks.iter().enumerate().filter(|(week, _)| !shown.contains(week)) {
            let new = || of.iter().filter(|(kind, _)| !seen.contains(kind));
            match (of.is_empty(), new().next().is_none()) {
                (true, _) => left.usual += 1,
                (false, true) => left.alike += 1,
                (false, false) => left.own += 1,
            }
            for (kind, by) in new() {
                kinds.entry(*kind).or_default().push((Reverse(*by), week));
            }
        }
        left.kinds.extend(kinds.into_iter().map(|(kind, mut weeks)| {
            weeks.sort_unstable();
            (kind, weeks.into_iter().map(|(_, week)| week).collect())
        }));
        // as the weeks come
        left.kinds.sort_by_key(|(_, weeks)| weeks.first().copied());
        left
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
    fn what_a_week_that_is_left_out_shows_alone_is_told() {
        let mut odd = Unusual::of(9);
        odd.add(1, EMPTY, 100);
        odd.add(3, EMPTY, 200);
        odd.add(3, CUT, 20);
        odd.add(5, CLOSED, 1);
        odd.add(6, CLOSED, 7);
        odd.add(7, CUT, 0);
        let kinds = vec![(CUT, vec![3]), (CLOSED, vec![6, 5])];
        assert_eq!(odd.left(&[0, 1]), Left { usual: 4, alike: 0, own: 3, kinds });
        let kinds = vec![(CLOSED, vec![6, 5])];
        assert_eq!(odd.left(&[0, 3]), Left { usual: 4, alike: 1, own: 2, kinds });
    }

    #[test]
    fn where_all_went_as_usual_there_is_the_first_week_alone() {
        assert_eq!(Unusual::of(20).most(3, 5), [3]);
    }
}
