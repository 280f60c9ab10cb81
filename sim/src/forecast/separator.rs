//! How full the separator is, and when it has to be emptied.

use dosewright_core::civil::Date;

use super::share;
use crate::scenario::{Dip, Separator, show};
use crate::trade::separator::{Advice, HOLD_H, LIMIT, advice, days_to_limit, fill, later};

/// The separator.
#[derive(Clone, Debug, PartialEq)]
pub struct SeparatorForecast {
    /// When it was dipped last.
    pub dipped: Date,
    /// Share of its depth that grease and solids took then.
    pub fill: f64,
    /// Share at which emptying is due.
    pub limit: f64,
    /// What to do at the start.
    pub advice: Advice,
    /// When it is at the limit by the last two dips, in days from the start: negative where it
    /// has been; `None` where one dip is known, or it did not fill between the two.
    pub limit_days: Option<f64>,
    /// Whether two dips are known.
    pub has_two: bool,
}

/// By its last two dips, which lie at the start or before; `None` without any.
pub(super) fn separator(separator: &Separator, start: Date) -> Option<SeparatorForecast> {
    let (last, others) = separator.dips.split_last()?;
    let before = others.last();
    // in lengths, which are whole numbers: a date that is worked out by hand is met
    let depth = f64::from(separator.depth_um);
    let limit = share(separator.limit_ppm, LIMIT);
    let limit_um = limit * depth;
    let um = |dip: &Dip| f64::from(dip.thick_um());
    let age = f64::from(start.days() - last.date.days());
    let now = um(last);
    let between = |before: &Dip| f64::from(last.date.days() - before.date.days());
    let at_start = before.map_or(now, |before| later(um(before), now, between(before), age));
    let left = before.and_then(|before| days_to_limit(um(before), now, between(before), limit_um));
    Some(SeparatorForecast {
        dipped: last.date,
        fill: fill(f64::from(last.grease_um), f64::from(last.solids_um), depth),
        limit,
        advice: advice(at_start, limit_um),
        limit_days: left.map(|left| left - age),
        has_two: before.is_some(),
    })
}

impl SeparatorForecast {
    /// Days from the start until somebody has to come; `None` where that is not known.
    pub(super) fn call_days(&self) -> Option<f64> {
        match self.advice {
            Advice::Due => Some(0.0),
            Advice::Wait | Advice::Book => self.limit_days,
        }
    }

    /// What for.
    pub(super) fn reason(&self) -> String {
        let limit = percent(self.limit);
        match self.advice {
            Advice::Due => format!("the separator is due to be emptied, at {limit} of its depth"),
            Advice::Wait | Advice::Book => format!("the separator is at its limit of {limit}"),
        }
    }

    /// What to do, and when, in words; `date` tells a day from the start.
    pub(crate) fn told(&self, date: impl Fn(f64) -> String) -> String {
        let by = "by the last two dips";
        let when = match self.limit_days {
            _ if self.fill >= self.limit => String::new(),
            Some(days) if self.advice == Advice::Due => {
                format!(", at its limit since {} {by}", date(days))
            }
            Some(days) => format!("at its limit on {} {by}", date(days)),
            None if self.has_two => "it did not fill between the last two dips".to_owned(),
            None => "a second dip tells when it is at its limit".to_owned(),
        };
        match self.advice {
            Advice::Due => format!("due to be emptied{when}"),
            Advice::Book => format!("book the emptying: {when}"),
            Advice::Wait => when,
        }
    }

    /// The row of a page.
    pub(super) fn row(&self, date: impl Fn(f64) -> String) -> String {
        let after = if self.advice == Advice::Wait {
            String::new()
        } else {
            format!(
                ". After it is emptied no dose for {HOLD_H:.0} h, then the start-up dose (common practice; the label governs)"
            )
        };
        format!(
            "{} of its depth on {}, limit {} (the local rule governs); {}{after}",
            percent(self.fill),
            show::date(self.dipped),
            percent(self.limit),
            self.told(date)
        )
    }
}

/// A share, rounded down: what is below its limit is not shown as if it were at it.
fn percent(share: f64) -> String {
    let tenths = (share * 1000.0 + 1e-6).floor() / 10.0;
    format!("{tenths} %")
}
