//! The container: how much of it stays in, how early to order.

/// Heel that the suction tube cannot reach, in % of the capacity (common practice, no
/// source).
pub const HEEL_PERCENT: u64 = 4;
/// Days from an order to the delivery (common practice, no source).
pub const LEAD_DAYS: f64 = 10.0;
/// Days of slack beside them (common practice, no source).
pub const SLACK_DAYS: f64 = 7.0;
