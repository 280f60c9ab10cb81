//! The container: until when it lasts, when to order.

/// Heel that the suction tube cannot reach, as a share (common practice, no
/// source).
pub const HEEL: f64 = 0.04;
/// Days from an order to the delivery (common practice, no source).
pub const LEAD_DAYS: f64 = 10.0;
/// Days of slack beside them (common practice, no source).
pub const SLACK_DAYS: f64 = 7.0;

/// How long the stock lasts.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stock {
    /// Days until it is empty.
    pub empty_days: f64,
    /// Days until an order has to go out, not below 0.
    pub reorder_days: f64,
    /// The product goes out of date before it is used up.
    pub shelf_governs: bool,
}

/// From level and heel in l, use in l a week, lead and slack in days, and what is
/// left of the shelf life in days, where that is known. Reorder is the day empty
/// less lead less slack, capped by the shelf life.
pub fn stock(
    level_l: f64,
    heel_l: f64,
    use_l_a_week: f64,
    lead_days: f64,
    slack_days: f64,
    shelf_days: Option<f64>,
) -> Stock {
    let used_days = (level_l - heel_l).max(0.0) / use_l_a_week * 7.0;
    let empty_days = shelf_days.map_or(used_days, |shelf| used_days.min(shelf));
    Stock {
        empty_days,
        reorder_days: (empty_days - lead_days - slack_days).max(0.0),
        shelf_governs: shelf_days.is_some_and(|shelf| shelf < used_days),
    }
}
