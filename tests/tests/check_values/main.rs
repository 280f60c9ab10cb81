//! Values from outside the project: each has its source beside it. What is from
//! memory says so, what has no source is marked "common practice, no source".

mod cells;
mod clock;
mod evenness;
mod forecasts;
mod head;
mod hydraulics;
mod mass;
mod plans;
mod practice;
mod safety;
mod turndown;
mod uncertainty;
mod units;
mod vessels;

/// Equal to within half a unit of the last digit that is given.
#[track_caller]
fn same(found: f64, expected: f64, decimals: i32) {
    let half = 0.5 * 10.0_f64.powi(-decimals) * (1.0 + 1e-9);
    assert!((found - expected).abs() <= half, "{found} is not {expected} to {decimals} decimals");
}

/// Equal to within a share.
#[track_caller]
fn within(found: f64, expected: f64, share: f64) {
    let off = (found - expected).abs() / expected.abs();
    assert!(off <= share, "{found} is not {expected} within {share}: off by {off}");
}
