//! Worked figures of the trade as the forecast of a site gives them: common practice, no
//! source.

use dosewright_sim::forecast::{Forecast, forecast};
use dosewright_sim::scenario::{self, show};
use dosewright_sim::trade::tube_set::Governs;

use crate::same;

/// 144 ml at 26.5 ml/min in six nights a week, from a Monday's noon on.
fn of_site(more: &str) -> Forecast {
    let text = format!(
        r#"schema = 1
[clock]
start = 2026-11-02T12:00:00
zone = "UTC0"
run_for = "28 days"
[head]
flow = "26.5 ml/min"
[[entry]]
name = "drain line"
weekly = {{ nights = ["mon", "tue", "wed", "thu", "fri", "sat"], at = "00:45" }}
volume = "144 ml"
window = "45 min"
pulses = 30
{more}"#
    );
    let (scenario, _) = scenario::read("site.toml", &text).unwrap_or_else(|e| panic!("{e:?}"));
    forecast(&scenario)
}

/// The date so many days from the start.
fn date(found: &Forecast, days: f64) -> String {
    found.date(days).map(show::date).unwrap()
}

/// 144 ml x 6/week = 28 h a year: of 500 h, 12 months and 10 % of drift the 12 months govern.
#[test]
fn the_tube_set_is_due_by_the_calendar() {
    let found = of_site("").tube;
    same(found.hours_a_year, 28.0, 0);
    assert_eq!((found.days, found.governs), (365.0, Governs::Calendar));
    // five months old: as many days less
    let old = of_site("[tube]\nbore = \"4.8 mm\"\nfitted = 2026-06-02\n").tube;
    assert_eq!((old.days, old.governs), (365.0 - 153.0, Governs::Calendar));
}

/// 14 h are 22.26 l, the 155th dose of 144 ml: 25 weeks and the Friday's night.
#[test]
fn the_tube_set_is_due_by_its_hours() {
    let found = of_site("[tube]\nbore = \"4.8 mm\"\nlife_pumping = \"14 h\"\n");
    assert_eq!(found.tube.governs, Governs::Hours);
    assert_eq!(date(&found, found.tube.days), "2027-05-01");
    // what it has pumped before is of its life
    let worn = of_site("[tube]\nbore = \"4.8 mm\"\npumped = \"486 h\"\n");
    assert_eq!((worn.tube.days, worn.tube.governs), (found.tube.days, Governs::Hours));
}

/// 20 % of drift a year: 10 % in half a year.
#[test]
fn the_tube_set_is_due_by_its_drift() {
    let found = of_site("[tube]\nbore = \"4.8 mm\"\ndrift_a_year = \"20 %\"\n").tube;
    assert_eq!((found.days, found.governs), (182.5, Governs::Drift));
    // the drift has gone on since it was fitted
    let old = "[tube]\nbore = \"4.8 mm\"\ndrift_a_year = \"20 %\"\nfitted = 2026-09-03\n";
    let old = of_site(old).tube;
    assert_eq!((old.days, old.governs), (182.5 - 60.0, Governs::Drift));
}
