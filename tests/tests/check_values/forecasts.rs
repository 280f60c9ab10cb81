//! Worked figures of the trade as the forecast of a site gives them: common practice, no
//! source.

use dosewright_sim::forecast::{Figures, Forecast, days, figures, forecast};
use dosewright_sim::scenario::{self, Scenario, show};
use dosewright_sim::trade::separator::Advice;
use dosewright_sim::trade::tube_set::Governs;

use crate::same;

/// 144 ml at 26.5 ml/min in six nights a week, from a Monday's noon on.
fn site(clock: &str, more: &str) -> Scenario {
    let text = format!(
        r#"schema = 1
[clock]
start = 2026-11-02T12:00:00
zone = "UTC0"
run_for = "28 days"
{clock}
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
    scenario::read("site.toml", &text).unwrap_or_else(|e| panic!("{e:?}")).0
}

fn of_site(more: &str) -> Forecast {
    forecast(&site("", more))
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

/// (8.1-0.4)/(6 x 0.144) = 8.9 weeks = 62 days; less 10 + 7: day 45. The forecast orders for
/// the least that it may last, a flow 5 % higher: 7.7/1.05 l are the 51st dose, that of day
/// 59, and day 42.
#[test]
fn reorder() {
    const LEVEL: &str = "[container]\ncapacity = \"10 l\"\nlevel = \"8.1 l\"\n";
    // the heel is 4 % of the capacity unless said
    let found = of_site(LEVEL);
    let stock = found.stock.as_ref().unwrap();
    same(stock.until.days / 7.0, 8.9, 1);
    same(stock.until.days, 62.0, 0);
    same(stock.until.days - 17.0, 45.0, 0);
    assert_eq!(date(&found, stock.until.least), "2026-12-31");
    same(stock.reorder_days, stock.until.least - 17.0, 9);
    assert!(stock.reorder_days < stock.until.days - 17.0 && !stock.shelf_governs);
    // in date for 40 days more: to order on day 23
    let old = of_site(&format!("{LEVEL}[product]\nuse_by = 2026-12-12\n")).stock.unwrap();
    assert!(old.shelf_governs);
    same(old.reorder_days, 23.0, 9);
}

/// 144 ml x 6 a week = 0.543 h x 350 mA = 190 mAh; sleep 10.1, display (3 min) 0.6, starts
/// 1.8: 203 mAh a week; 10.86 Ah at 350 mA x 0.56 = 6.08 Ah: 30 weeks.
#[test]
fn a_pack_of_lr20() {
    let pack = |lost: &str, more: &str| {
        let supply = format!("[supply]\nbattery = {{ type = \"LR20\"{lost} }}\n{more}");
        of_site(&supply).pack.unwrap()
    };
    const NOTHING: &str = ", self_discharge = \"0 %\"";
    let found = pack(NOTHING, "");
    same(found.usable_ah, 6.08, 2);
    let weeks = found.until.days / 7.0;
    same(weeks, 30.0, 0);
    // the drain is the mean week of the days begun, the last of which are no whole week
    let begun = found.until.days.ceil();
    let doses: u32 = days(&site("", ""), begun as usize).iter().map(|day| day.doses).sum();
    let whole = begun / 7.0 * 6.0 / f64::from(doses);
    let (pumping, starts) = (whole * found.drain.pumping_ah, whole * found.drain.starts_ah);
    let (sleep, display) = (found.drain.sleep_ah, found.drain.display_ah);
    same(1e3 * pumping, 190.0, 0);
    same(1e3 * sleep, 10.1, 1);
    same(1e3 * display, 0.6, 1);
    same(1e3 * starts, 1.8, 1);
    same(1e3 * (pumping + sleep + display + starts), 203.0, 0);
    // a week's loss on the shelf: sources say 2 to 4 % a year at 21 C
    let lost = |share: &str| pack(&format!(", self_discharge = \"{share}\""), "").lost_ah;
    same(1e3 * lost("2 %"), 2.33, 2);
    same(1e3 * lost("4 %"), 4.66, 2);
    let usual = pack("", "");
    assert!(lost("2 %") < usual.lost_ah && usual.lost_ah < lost("4 %"), "{usual:?}");
    assert!(usual.until.days < found.until.days, "{usual:?}");
    // 30 pulses instead of 90 gain about 7 days even at 1.5 A x 50 ms a start
    let hard = "[motor]\nvoltage = \"6 V\"\nstart_current = \"1.5 A\"\nstart_for = \"50 ms\"\n";
    let lasts = |pulses: u16| {
        let supply = format!("[supply]\nbattery = {{ type = \"LR20\"{NOTHING} }}\n{hard}");
        let mut scenario = site("", &supply);
        scenario.entries[0].pulses = Some(pulses);
        // 90 starts in an hour are more than a head makes
        scenario.entries[0].window_ms = 2 * 3_600_000;
        scenario.head.head.least_pulse = dosewright_core::units::Volume::from_ml(1);
        forecast(&scenario).pack.unwrap().until.days
    };
    same(lasts(30) - lasts(90), 7.0, 0);
}

fn water(clock: &str, flow: &str, tube: &str) -> Figures {
    let mut scenario = site(clock, &format!("[tube]\n{tube}"));
    scenario.head.head.flow =
        dosewright_core::units::Flow::from_nl_per_min(flow.parse::<u32>().unwrap() * 1_000_000)
            .unwrap();
    figures(&scenario, 144.0)
}

/// Without a product the lines hold water of the clock's temperature: what it can be lifted
/// at best, computed with CoolProp 8.0.0 (Kell's density is some 3 ppm off it, which moves the
/// last digit); a viscosity of 1.0016 mPa s at 20 C (from memory).
#[test]
fn lines_without_a_product_hold_water() {
    const TUBE: &str = "bore = \"4.762 mm\"\nsuction = \"1 m\"\nlift = \"1 m\"\n";
    for (t, metres) in [(5.0, 10.244), (20.0, 10.112), (30.0, 9.942), (40.0, 9.654)] {
        let clock = format!("temperature = \"{t} C\"\ntemperature_coefficient = \"0 ppm/C2\"");
        let (_, limit) = water(&clock, "60", TUBE).suction_m.unwrap();
        assert!((limit - metres).abs() < 0.000_55, "{t} C: {limit}");
    }
    // 60 ml/min, 4.76 mm, 20 C unless said: Reynolds 266.4, computed
    same(water("", "60", TUBE).reynolds.unwrap(), 266.4, 1);
}

fn separator(dips: &[(&str, u32, u32)]) -> Forecast {
    let dip = |(date, grease, solids): &(&str, u32, u32)| {
        format!("{{ date = {date}, grease = \"{grease} mm\", solids = \"{solids} mm\" }}")
    };
    let dips: Vec<String> = dips.iter().map(dip).collect();
    of_site(&format!("[separator]\ndepth = \"1200 mm\"\ndips = [{}]\n", dips.join(", ")))
}

/// (120+160)/1200 = 23 %: book it; the limit of 25 % is that of the codes of Dallas, Texas, and
/// of Claremore, Oklahoma.
#[test]
fn the_separators_log() {
    let of = |dips: &[(&str, u32, u32)]| separator(dips).separator.unwrap();
    let found = of(&[("2026-11-02", 120, 160)]);
    same(100.0 * found.fill, 23.0, 0);
    same(100.0 * found.limit, 25.0, 9);
    assert_eq!((found.advice, found.limit_days), (Advice::Book, None));
    // a fifth of the depth is 240 mm, a quarter 300 mm
    let advice = |grease: u32| of(&[("2026-11-02", grease, 100)]).advice;
    assert_eq!(
        [139, 140, 199, 200].map(advice),
        [Advice::Wait, Advice::Book, Advice::Book, Advice::Due]
    );
}

/// From 156 mm to 276 mm in 50 days are 2.4 mm a day: the 24 mm to 300 mm take 10 days.
#[test]
fn the_separator_is_at_its_limit_by_the_trend_of_two_dips() {
    let (old, new) = (("2026-09-13", 70, 86), ("2026-11-02", 120, 156));
    let found = separator(&[old, new]);
    let limit = found.separator.as_ref().unwrap().limit_days.unwrap();
    assert_eq!(date(&found, limit), "2026-11-12");
    let next = found.next().unwrap();
    assert_eq!(date(&found, next.days), "2026-11-12");
    assert!(next.reason.contains("separator"), "{next:?}");
    // the last two count, whatever was before; one that does not fill has no trend
    let emptied = separator(&[old, ("2026-10-20", 120, 156), ("2026-11-02", 0, 0)]);
    assert_eq!(emptied.separator.unwrap().limit_days, None);
    let before = separator(&[("2026-08-01", 160, 140), old, new]);
    assert_eq!(before.separator, found.separator);
    // ten days after such a dip it is at its limit, nine days after it is not yet
    let days = |last: &str, first: &str| {
        separator(&[(first, 70, 86), (last, 120, 156)]).separator.unwrap()
    };
    let due = days("2026-10-23", "2026-09-03");
    assert_eq!((due.advice, due.limit_days), (Advice::Due, Some(0.0)));
    assert_eq!(days("2026-10-24", "2026-09-04").advice, Advice::Book);
    let past = separator(&[("2026-08-24", 70, 86), ("2026-10-13", 120, 156)]);
    assert_eq!(past.separator.as_ref().unwrap().limit_days, Some(-10.0));
    assert_eq!(past.next().map(|call| call.days), Some(0.0));
}
