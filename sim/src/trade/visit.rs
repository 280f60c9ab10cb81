//! The next visit: the earliest of all dates, with its reason.

/// A date that asks for somebody, in days from now, and why.
#[derive(Clone, Debug, PartialEq)]
pub struct Call {
    /// Days from now.
    pub days: f64,
    /// What for, in a few words.
    pub reason: String,
}

/// The earliest; the first of several on one day.
pub fn next(calls: &[Call]) -> Option<&Call> {
    calls.iter().min_by(|a, b| a.days.total_cmp(&b.days))
}
