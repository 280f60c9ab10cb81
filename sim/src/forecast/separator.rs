//! How full the separator is, and when it has to be emptied.

use std::fmt::Write as _;

use dosewright_core::civil::Date;

use super::{HORIZON_DAYS, share};
use crate::scenario::{Dip, Separator, show};
use crate::trade::separator::{
    Advice, DIP_AGAIN_DAYS, HOLD_H, LIMIT, advice, days_to_limit, fill, later,
};

/// The separator.
#[derive(Clone, Debug, PartialEq)]
pub struct SeparatorForecast {
    /// When it was dipped last.
    pub dipped: Date,
    /// When it was emptied last, where that is known.
    pub emptied: Option<Date>,
    /// Share of its depth that grease and solids took at the last dip, nothing where it was
    /// emptied since.
    pub fill: f64,
    /// Share at which emptying is due.
    pub limit: f64,
    /// What to do at the start.
    pub advice: Advice,
    /// When it is at the limit by its trend, in days from the start: negative where it has
    /// been; `None` where no trend is known, it did not fill, or was over the limit at the last
    /// dip already.
    pub limit_days: Option<f64>,
    /// What the trend is by.
    pub trend: Trend,
    /// Days from the last dip, or the emptying since, to the start.
    pub age_days: f64,
}

/// What tells how fast it fills.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Trend {
    /// Nothing: one dip alone.
    OneDip,
    /// Nothing: it was emptied since the last dip.
    Emptied,
    /// The last two dips.
    TwoDips,
    /// The emptying and the only dip since.
    SinceEmptied,
}

/// By what was in it last and before that, which lie at the start or before; `None` without
/// any dip.
pub(super) fn separator(separator: &Separator, start: Date) -> Option<SeparatorForecast> {
    let dipped = separator.dips.last()?.date;
    let emptied = separator.emptied;
    // in lengths, which are whole numbers: a date that is worked out by hand is met
    let since = |dip: &&Dip| emptied.is_none_or(|emptied| dip.date > emptied);
    let seen = separator.dips.iter().filter(since);
    let seen = seen.map(|dip| (dip.date, f64::from(dip.thick_um())));
    let found: Vec<(Date, f64)> = emptied.map(|at| (at, 0.0)).into_iter().chain(seen).collect();
    let ((last, now), others) = found.split_last()?;
    let before = others.last();
    let trend = match (emptied, others.len()) {
        (None, 0) => Trend::OneDip,
        (Some(_), 0) => Trend::Emptied,
        (Some(_), 1) => Trend::SinceEmptied,
        _ => Trend::TwoDips,
    };
    let depth = f64::from(separator.depth_um);
    let limit = share(separator.limit_ppm, LIMIT);
    let limit_um = limit * depth;
    let age_days = f64::from(start.days() - last.days());
    let between = |before: Date| f64::from(last.days() - before.days());
    let at_start = before.map_or(*now, |(at, um)| later(*um, *now, between(*at), age_days));
    let left = before.and_then(|(at, um)| days_to_limit(*um, *now, between(*at), limit_um));
    Some(SeparatorForecast {
        dipped,
        emptied,
        fill: fill(*now, 0.0, depth),
        limit,
        advice: advice(at_start, limit_um),
        limit_days: left.filter(|left| *left > 0.0).map(|left| left - age_days),
        trend,
        age_days,
    })
}

impl SeparatorForecast {
    /// Days from the start until somebody has to come; infinite beyond what is reckoned.
    pub(super) fn call_days(&self) -> f64 {
        match (self.advice, self.limit_days) {
            (Advice::Due, _) => 0.0,
            (_, Some(days)) if days > HORIZON_DAYS as f64 => f64::INFINITY,
            (_, Some(days)) => days,
            // nothing tells how far it is from there to the limit
            (Advice::Book, None) => 0.0,
            (Advice::Wait, None) => (DIP_AGAIN_DAYS - self.age_days).max(0.0),
        }
    }

    /// What for.
    pub(super) fn reason(&self) -> String {
        let limit = percent(self.limit);
        match (self.advice, self.limit_days) {
            (Advice::Due, _) => {
                format!("the separator is due to be emptied, at {limit} of its depth")
            }
            (_, Some(_)) => format!("the separator is at its limit of {limit}"),
            (Advice::Book, None) => {
                format!("the separator is near its limit of {limit}, and no trend tells how near")
            }
            (Advice::Wait, None) => {
                "the separator is to be dipped: no trend tells when it is at its limit".to_owned()
            }
        }
    }

    /// What to do, and when, in words; `date` tells a day from the start.
    pub(crate) fn told(&self, date: impl Fn(f64) -> String) -> String {
        let by = match (self.trend, self.emptied) {
            (Trend::SinceEmptied, Some(emptied)) => {
                format!("by the dip since it was emptied on {}", show::date(emptied))
            }
            _ => "by the last two dips".to_owned(),
        };
        let when = match self.limit_days {
            _ if self.fill >= self.limit => String::new(),
            Some(days) if self.advice == Advice::Due => {
                format!(", at its limit since {} {by}", date(days))
            }
            Some(days) if days > HORIZON_DAYS as f64 => {
                format!("not at its limit within 10 years {by}")
            }
            Some(days) => format!("at its limit on {} {by}", date(days)),
            None => match self.trend {
                Trend::OneDip => "a second dip tells when it is at its limit".to_owned(),
                Trend::Emptied => "a dip tells when it is at its limit".to_owned(),
                Trend::TwoDips => "it did not fill between the last two dips".to_owned(),
                Trend::SinceEmptied => "it has not filled since it was emptied".to_owned(),
            },
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
        let mut found = match self.emptied {
            Some(emptied) if self.trend == Trend::Emptied => {
                format!("emptied on {}, not dipped since", show::date(emptied))
            }
            _ => format!("{} of its depth on {}", percent(self.fill), show::date(self.dipped)),
        };
        if self.age_days > DIP_AGAIN_DAYS {
            _ = write!(found, ", {:.0} days before the start", self.age_days);
        }
        format!(
            "{found}, limit {} (the local rule governs); {}{after}",
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
