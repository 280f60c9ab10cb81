//! The separator's log: how full it is, when to empty it.

/// Share of the depth at which emptying is due unless said: the codes of Dallas, Texas, and of
/// Claremore, Oklahoma, have 25 %, that of Mount Vernon, Illinois, has 50 %. The local rule
/// governs.
pub const LIMIT: f64 = 0.25;
/// Of that limit, the share from which to book the emptying: 20 % where it is 25 % (own
/// choice).
pub const BOOK_FROM: f64 = 0.8;
/// Days after a dip until the next, where no trend tells how fast it fills (common practice,
/// no source).
pub const DIP_AGAIN_DAYS: f64 = 91.0;
/// Hours without dosing after an emptying, before a start-up phase (common
/// practice, no source).
pub const HOLD_H: f64 = 24.0;

/// Fill as a share of the depth; all three in one unit.
pub fn fill(grease: f64, solids: f64, depth: f64) -> f64 {
    (grease + solids) / depth
}

/// What to do at a fill.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Advice {
    /// Nothing yet.
    Wait,
    /// Book the emptying.
    Book,
    /// It is due.
    Due,
}

impl Advice {
    /// In a word.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Wait => "wait",
            Self::Book => "book",
            Self::Due => "due",
        }
    }
}

/// By what is in it and the limit, in one unit.
pub fn advice(now: f64, limit: f64) -> Advice {
    if now >= limit {
        Advice::Due
    } else if now >= limit * BOOK_FROM {
        Advice::Book
    } else {
        Advice::Wait
    }
}

/// Days after the last dip until the limit, by two dips `days` apart, all but these in one
/// unit; negative where it was over it before; `None` where it does not fill.
pub fn days_to_limit(before: f64, now: f64, days: f64, limit: f64) -> Option<f64> {
    (now > before && days > 0.0).then(|| (limit - now) * days / (now - before))
}

/// What is in it so many days after the last dip, by two dips `days` apart; what it was where
/// it does not fill.
pub fn later(before: f64, now: f64, days: f64, after_days: f64) -> f64 {
    if now > before && days > 0.0 { now + (now - before) * after_days / days } else { now }
}
