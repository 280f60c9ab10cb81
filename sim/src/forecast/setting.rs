//! What the installer tells the device of its pack: the forecast's own figures.

use dosewright_core::power::Pack;

use super::pack::{Draw, cells_in_series, least_v};
use super::reserve::reserve;
use crate::scenario::{Scenario, Supply};

/// So far above its end a cell is low, in V (own choice).
const LOW_V: f64 = 0.1;
/// A dose is begun no nearer to the least voltage of the device than this, in V a
/// cell, however small it is (own choice).
const RESERVE_V: f64 = 0.03;
/// Hysteresis of the thresholds, in V a cell (own choice).
const HYSTERESIS_V: f64 = 0.05;
/// A jump at rest that another pack makes, in V a cell (own choice).
const JUMP_V: f64 = 0.15;

/// The pack as the device is told of it; `None` on mains.
pub fn pack_setting(scenario: &Scenario) -> Option<Pack> {
    let Supply::Battery { pack, .. } = &scenario.supply else { return None };
    let (draw, _) = Draw::of(scenario)?;
    let cells = f64::from(cells_in_series(scenario)?);
    let reserve = reserve(scenario);
    // no dose begins that cannot be finished
    let reserve_v = reserve.as_ref().map_or(0.0, |reserve| reserve.volts);
    let exhausted_v =
        (cells * draw.cell.end_v).max(least_v(scenario) + cells * RESERVE_V).max(reserve_v);
    // a fresh pack is to end the alarm, however near to it the threshold is
    let spare_v = reserve.map(|reserve| reserve.fresh_v - exhausted_v).filter(|spare| *spare > 0.0);
    let hysteresis_v = (cells * HYSTERESIS_V).min(spare_v.map_or(f64::MAX, |spare| spare / 2.0));
    let low_v = (cells * (draw.cell.end_v + LOW_V)).max(exhausted_v + cells * HYSTERESIS_V);
    let whole = |x: f64| x.round().clamp(0.0, 65_535.0) as u16;
    let lost_a = draw.lost_ah_a_day / 24.0;
    Some(Pack {
        capacity_mah: whole(draw.usable_ah * 1e3).max(1),
        motor_ma: whole(draw.load.motor_a * 1e3).max(1),
        start_ma: whole(draw.load.start_a * 1e3),
        start_ms: whole(draw.load.start_s * 1e3),
        sleep_ua: whole((draw.load.sleep_a + lost_a) * 1e6),
        display_ua: whole(draw.load.display_a * 1e6),
        low_mv: whole(low_v * 1e3),
        exhausted_mv: whole(exhausted_v * 1e3),
        hysteresis_mv: whole(hysteresis_v * 1e3),
        jump_mv: whole(cells * JUMP_V * 1e3),
        warn_days: pack.warn_days.unwrap_or(Pack::WARN_DAYS),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::scenario;

    fn pack_of(volume: &str, more: &str) -> Pack {
        let text = format!(
            r#"schema = 1
[clock]
start = 2026-11-02T12:00:00
zone = "UTC0"
run_for = "10 days"
[head]
flow = "10 ml/min"
[motor]
voltage = "6 V"
[supply]
battery = {{ type = "LR14", temperature = "10 C" }}
[[entry]]
name = "night"
weekly = {{ nights = ["mon"], at = "00:45" }}
volume = "{volume}"
window = "2 h"
{more}"#
        );
        pack_setting(&scenario::read("site.toml", &text).unwrap().0).unwrap()
    }

    #[test]
    fn p3_the_threshold_rises_with_the_largest_work_and_never_falls_below_the_usual() {
        let of = |volume: &str, more: &str| pack_of(volume, more).exhausted_mv;
        // 6.3 V of motor and driver, and 30 mV of each of 7 cells
        let usual = of("40 ml", "");
        assert_eq!((usual, pack_of("40 ml", "").low_mv), (6510, 7000));
        let (large, larger) = (of("400 ml", ""), of("600 ml", ""));
        assert!(usual < large && large < larger, "{usual} {large} {larger}");
        let far = pack_of("900 ml", "");
        assert!(far.low_mv >= far.exhausted_mv + 349, "{far:?}");

        // one that may come right after it counts with it; one far from it does not
        let entry = |when: &str| {
            format!("[[entry]]\nname = \"b\"\n{when}\nvolume = \"200 ml\"\nwindow = \"1 h\"\n")
        };
        let weekly = |at: &str| entry(&format!("weekly = {{ nights = [\"mon\"], at = \"{at}\" }}"));
        // what the device draws asleep meanwhile is a mV or two
        let is = |mv: u16, wanted: u16| assert!(mv.abs_diff(wanted) <= 2, "{mv} {wanted}");
        is(of("400 ml", &weekly("05:45")), large);
        is(of("400 ml", &weekly("02:45")), larger);
        is(of("400 ml", &format!("grace = \"3 h\"\n{}", weekly("05:45"))), larger);
        is(of("400 ml", &entry("every = { interval = \"1111 min\" }")), larger);
        let disabled = of("400 ml", &format!("enabled = false\n{}", weekly("02:45")));
        is(disabled, of("200 ml", ""));

        // what an operator makes of it later counts as well
        let act = |act: &str| format!("[[operator]]\nat = \"+2 d\"\n{act}\n");
        let edit = |ml: u32| act(&format!("edit = {{ entry = \"night\", volume = \"{ml} ml\" }}"));
        is(of("400 ml", &edit(600)), larger);
        is(of("600 ml", &edit(400)), larger);
        let slower = of("400 ml", &act("calibrate = { flow = \"8 ml/min\" }"));
        assert!(large < slower && slower < larger, "{large} {slower} {larger}");
    }
}
