//! Closed dates, in the few bytes that a record has for them.

use super::MOST_CLOSED;
use crate::civil::Date;
use crate::entry::ClosedDates;

/// A bounded list of closed dates, in four bytes a stretch.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct ClosedList {
    /// First and last date in days since [`Date::MIN`].
    items: [(u16, u16); MOST_CLOSED],
    len: u8,
}

impl Default for ClosedList {
    fn default() -> Self {
        Self::EMPTY
    }
}

impl ClosedList {
    /// No closed dates.
    pub const EMPTY: Self = Self { items: [(0, 0); MOST_CLOSED], len: 0 };

    /// Adds a stretch; `false` where the list is full or the stretch ends
    /// before it begins or lies outside [`Date::MIN`] to [`Date::MAX`].
    #[must_use]
    pub fn push(&mut self, dates: ClosedDates) -> bool {
        if dates.first > dates.last || dates.first < Date::MIN || dates.last > Date::MAX {
            return false;
        }
        let days = |date: Date| u16::try_from(date.days() - Date::MIN.days());
        let place = self.items.get_mut(usize::from(self.len));
        if let (Ok(first), Ok(last), Some(place)) = (days(dates.first), days(dates.last), place) {
            *place = (first, last);
            self.len += 1;
            return true;
        }
        false
    }

    /// The stretches in the order they were added.
    pub fn iter(&self) -> impl Iterator<Item = ClosedDates> + '_ {
        let date = |days: u16| Date::MIN.plus_days(i32::from(days));
        self.items
            .iter()
            .take(usize::from(self.len))
            .map(move |&(first, last)| ClosedDates { first: date(first), last: date(last) })
    }

    /// Whether the date or night is in one of them.
    pub fn contains(&self, date: Date) -> bool {
        self.last_with(date).is_some()
    }

    /// The last date of the first stretch that the date or night is in.
    pub(crate) fn last_with(&self, date: Date) -> Option<Date> {
        self.iter().find(|c| c.first <= date && date <= c.last).map(|c| c.last)
    }
}
