//! Outcomes that the ledger owes for dues that are skipped.

use std::collections::VecDeque;

use super::Auditor;
use super::causes::Causes;
use super::model::{Key, Span};

/// A stretch of skipped dues of one entry without an outcome so far.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Owed {
    pub(crate) span: Span,
    pub(crate) causes: Causes,
    /// When the outcome must be in the ledger, in device ms.
    pub(crate) by: i64,
    /// A record of the ledger says that the due was born.
    pub(crate) known: bool,
    /// It has been reported as missing.
    pub(crate) reported: bool,
}

/// What a record of skipped dues settled.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Settled {
    /// How many dues that the ledger owed.
    pub(crate) count: u64,
    /// The last of them.
    pub(crate) last: i64,
    /// Instant of the first of them.
    pub(crate) due_at: i64,
    /// The causes that would have done for those that the record's does not fit.
    pub(crate) wrong: Option<Causes>,
}

impl Auditor {
    /// All that is owed.
    pub(super) fn owed_mut(&mut self) -> impl Iterator<Item = &mut Owed> {
        self.owed.values_mut().flat_map(OwedList::iter_mut)
    }
}

/// What one entry is owed, the oldest first.
#[derive(Debug, Clone, Default)]
pub(crate) struct OwedList(VecDeque<Owed>);

impl OwedList {
    pub(crate) fn push(&mut self, owed: Owed) {
        if let Some(back) = self.0.back_mut() {
            let (a, b) = (&mut back.span, &owed.span);
            let same = a.key.revision == b.key.revision && a.key.epoch == b.key.epoch;
            let merges = back.causes == owed.causes && back.by == owed.by;
            if same && merges && !back.known && !owed.known && !back.reported {
                a.last = b.last;
                a.count += b.count;
                return;
            }
        }
        self.0.push_back(owed);
    }

    pub(crate) fn iter(&self) -> impl DoubleEndedIterator<Item = &Owed> {
        self.0.iter()
    }

    pub(crate) fn iter_mut(&mut self) -> impl Iterator<Item = &mut Owed> {
        self.0.iter_mut()
    }

    pub(crate) fn retain(&mut self, keep: impl FnMut(&Owed) -> bool) {
        self.0.retain(keep);
    }

    pub(crate) fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    /// Takes out what a record settles that stands for the dues from `key` to
    /// `last`; `None` where no stretch begins at `key`. `next` gives an entry's
    /// first nominal after another.
    pub(crate) fn settle(
        &mut self,
        key: Key,
        last: i64,
        fits: impl Fn(Causes) -> bool,
        next: impl Fn(i64) -> i64,
        due_at: impl Fn(i64) -> Option<i64>,
        count: impl Fn(i64, i64) -> u64,
    ) -> Option<Settled> {
        let same = |o: &Owed| o.span.key.revision == key.revision && o.span.key.epoch == key.epoch;
        let at = self.0.iter().position(|o| same(o) && o.span.key.nominal == key.nominal)?;
        let first_at = self.0.get(at)?.span.due_at;
        let mut settled = Settled { count: 0, last: key.nominal, due_at: first_at, wrong: None };
        while let Some(owed) = self.0.get_mut(at).filter(|o| same(o) && o.span.key.nominal <= last)
        {
            if !fits(owed.causes) {
                settled.wrong = Some(settled.wrong.unwrap_or_default().or(owed.causes));
            }
            if owed.span.last <= last {
                settled.count += owed.span.count;
                settled.last = owed.span.last;
                self.0.remove(at);
            } else {
                let taken = count(owed.span.key.nominal, last);
                settled.count += taken;
                settled.last = last;
                owed.span.count = owed.span.count.saturating_sub(taken);
                owed.span.key.nominal = next(last + 1);
                if let Some(at) = due_at(owed.span.key.nominal) {
                    owed.span.due_at = at;
                }
                break;
            }
        }
        Some(settled)
    }
}
