//! The separator's log: how full it is, when to empty it.

/// Share of the depth at which emptying is due; often 25 %, from memory: the
/// local rule governs.
pub const LIMIT: f64 = 0.25;
/// Share from which to book the emptying (own choice).
pub const BOOK_FROM: f64 = 0.20;
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

/// By the limit and the share from which to book.
pub fn advice(fill: f64, limit: f64) -> Advice {
    if fill >= limit {
        Advice::Due
    } else if fill >= limit * BOOK_FROM / LIMIT {
        Advice::Book
    } else {
        Advice::Wait
    }
}

/// Days after the last dip until the limit, by two dips `days` apart; `None`
/// where it does not fill.
pub fn days_to_limit(before: f64, now: f64, days: f64, limit: f64) -> Option<f64> {
    (now > before && days > 0.0).then(|| ((limit - now) * days / (now - before)).max(0.0))
}
