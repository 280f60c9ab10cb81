//! P3 in the world: how long a pack really lasts against what was forecast, and how
//! long before its end the low alarm came.

use dosewright_core::cause::Cause;
use dosewright_core::ledger::Slot;
use dosewright_core::record::{Alarm, OutcomeKind, Record};
use dosewright_sim::forecast::forecast;
use dosewright_sim::judged::{self, Judged};
use dosewright_sim::observe::{Observation, Observer};
use dosewright_sim::run::Options;
use dosewright_sim::scenario::{self, Scenario};
use dosewright_tests::dice::Dice;

const DAY_MS: f64 = 86.4e6;

/// A site with a timetable, a pack and a cellar of its own.
fn site(seed: u64) -> Scenario {
    let mut chance = Dice::new(seed);
    let cells = ["LR20", "LR20", "LR14", "LR6", "HR20"][chance.whole(0, 4) as usize];
    let celsius = chance.whole(2, 18);
    site_at(&mut chance, cells, &celsius.to_string())
}

/// The same with cells of a type at a temperature.
fn site_at(chance: &mut Dice, cells: &str, celsius: &str) -> Scenario {
    // small cells do not last three weeks everywhere: a few days' warning is what they give
    let warn_days = chance.whole(7, 21) / if cells == "LR6" { 4 } else { 1 };
    // cells as they come: the device takes them for full
    let charge = chance.whole(90, 100);
    let nights: Vec<String> = ["mon", "tue", "wed", "thu", "fri", "sat", "sun"]
        .iter()
        .filter(|_| chance.share() < 0.75)
        .map(|day| format!("\"{day}\""))
        .collect();
    let nights = if nights.is_empty() { "\"mon\"".to_owned() } else { nights.join(", ") };
    let volume = chance.whole(60, 240);
    let pulses = if chance.share() < 0.5 { String::new() } else { "pulses = 12\n".to_owned() };
    let more = if chance.share() < 0.5 {
        let (ml, hours) = (chance.whole(20, 60), chance.whole(8, 36));
        format!(
            "[[entry]]\nname = \"flush\"\nevery = {{ interval = \"{hours} h\", \
             from = \"2026-01-05 06:00\" }}\nvolume = \"{ml} ml\"\nwindow = \"20 min\"\n"
        )
    } else {
        String::new()
    };
    let text = format!(
        r#"schema = 1
[clock]
start = 2026-01-05T00:00:00
zone = "CET-1CEST,M3.5.0,M10.5.0/3"
run_for = "1500 days"
[head]
flow = "26.5 ml/min"
rollers = 3
volume_per_roller_pass = "0.29 ml"
[motor]
voltage = "6 V"
[supply]
battery = {{ type = "{cells}", temperature = "{celsius} C", charge = "{charge} %", warn_days = {warn_days} }}
[[entry]]
name = "drain line"
weekly = {{ nights = [{nights}], at = "00:45" }}
volume = "{volume} ml"
window = "45 min"
{pulses}{more}"#
    );
    scenario::read("site.toml", &text).unwrap_or_else(|e| panic!("{text}{e:?}")).0
}

/// Waits for the pack's end: the first dose that it could not give, or the supply
/// that goes.
#[derive(Default)]
struct Watch {
    low_ms: Option<u64>,
    stopped_ms: Option<u64>,
}

impl Observer for Watch {
    fn see(&mut self, at_ms: u64, what: &Observation<'_>) {
        match what {
            Observation::Supply { on: false } => {
                self.stopped_ms = self.stopped_ms.or(Some(at_ms));
            }
            Observation::Slot { bytes, .. } => {
                let Ok(slot) = (*bytes).try_into() else { return };
                let Slot::Good { payload, .. } = Slot::decode(slot) else { return };
                match Record::decode(&payload) {
                    Some(Record::Alarm { alarm: Alarm::PackLow, on: true, .. }) => {
                        self.low_ms = self.low_ms.or(Some(at_ms));
                    }
                    Some(Record::Outcome(outcome))
                        if outcome.kind == OutcomeKind::Skipped(Cause::Battery) =>
                    {
                        self.stopped_ms = self.stopped_ms.or(Some(at_ms));
                    }
                    _ => {}
                }
            }
            _ => {}
        }
    }

    fn wants_end(&self) -> bool {
        self.stopped_ms.is_some()
    }
}

fn play(scenario: &Scenario) -> (Watch, Judged) {
    let mut watch = Watch::default();
    let options = Options::default();
    let judged = judged::run(scenario, &options, Vec::new(), Some(&mut watch)).unwrap();
    (watch, judged)
}

/// PCA R7.3.0(3): an estimate of the remaining battery is within 25 %.
#[test]
fn p3_the_forecast_is_within_a_quarter_and_the_low_alarm_comes_in_time() {
    let (mut ratios, mut spare) = ((f64::MAX, 0.0_f64), f64::MAX);
    for seed in 0..50 {
        let scenario = site(seed);
        let pack = forecast(&scenario).pack.unwrap();
        let warn_days = dosewright_sim::forecast::pack_setting(&scenario).unwrap().warn_days;
        let (watch, judged) = play(&scenario);
        assert!(judged.audit.violations.is_empty(), "seed {seed}: {:?}", judged.audit.violations);
        assert_eq!(judged.end.brown_outs, 0, "seed {seed}: a dose was begun that was not finished");
        let days = |ms: Option<u64>| ms.map_or(f64::NAN, |ms| ms as f64 / DAY_MS);
        let (low, stopped) = (days(watch.low_ms), days(watch.stopped_ms));
        let ratio = pack.until.days / stopped;
        ratios = (ratios.0.min(ratio), ratios.1.max(ratio));
        spare = spare.min(stopped - low - f64::from(warn_days));
        assert!(
            (0.75..=1.25).contains(&ratio),
            "seed {seed}: {:.0} days forecast, {stopped:.0} in the world",
            pack.until.days
        );
        assert!(
            stopped - low >= f64::from(warn_days),
            "seed {seed}: low on day {low:.1}, stopped on day {stopped:.1}, {warn_days} days asked for"
        );
    }
    println!("forecast / world: {ratios:?}; least days to spare: {spare:.1}");
}

/// Motors weak and strong on few cells and many, at the temperature that is said.
#[test]
fn p3_the_range_holds_the_day_on_which_the_pack_lets_a_dose_go() {
    for seed in 0..40 {
        let mut chance = Dice::new(seed);
        let mut one = |of: &[&'static str]| of[chance.whole(0, of.len() as u32 - 1) as usize];
        let (cells, volts) = (one(&["LR20", "LR14", "LR6", "HR20"]), one(&["3", "6", "12"]));
        let (current, celsius) = (one(&["100", "200", "350", "500"]), one(&["0", "5", "12", "20"]));
        let (charge, volume) = (one(&["100", "93", "70"]), one(&["60", "144", "300"]));
        let nights = one(&["\"mon\", \"thu\"", "\"mon\", \"tue\", \"wed\", \"fri\", \"sat\""]);
        let text = format!(
            r#"schema = 1
[clock]
start = 2026-11-02T12:00:00
zone = "CET-1CEST,M3.5.0,M10.5.0/3"
run_for = "1500 days"
[head]
flow = "26.5 ml/min"
[motor]
voltage = "{volts} V"
current = "{current} mA"
[supply]
battery = {{ type = "{cells}", temperature = "{celsius} C", charge = "{charge} %" }}
[[entry]]
name = "drain line"
weekly = {{ nights = [{nights}], at = "00:45" }}
volume = "{volume} ml"
window = "45 min"
"#
        );
        let scenario =
            scenario::read("site.toml", &text).unwrap_or_else(|e| panic!("{text}{e:?}")).0;
        let until = forecast(&scenario).pack.unwrap().until;
        let (watch, _) = play(&scenario);
        // what outlasts the run says nothing
        let Some(stopped) = watch.stopped_ms.map(|ms| ms as f64 / DAY_MS + 0.5) else { continue };
        assert!(
            until.least.floor() <= stopped && stopped < until.most.floor() + 1.0,
            "seed {seed}: {:.1} to {:.1} days forecast, {stopped:.1} in the world\n{text}",
            until.least,
            until.most
        );
    }
}

/// In the frost the model says less: the forecast is not to be far on the late side.
#[test]
fn p3_in_the_frost_the_least_that_a_pack_lasts_is_no_more_than_it_does() {
    for (seed, cells, celsius) in [
        (0, "LR20", "-5"),
        (1, "LR20", "-10"),
        (2, "LR20", "-20"),
        (3, "LR14", "-15"),
        (4, "LR6", "-10"),
    ] {
        let scenario = site_at(&mut Dice::new(seed), cells, celsius);
        let pack = forecast(&scenario).pack.unwrap();
        let (watch, _) = play(&scenario);
        let stopped = watch.stopped_ms.map_or(f64::NAN, |ms| ms as f64 / DAY_MS);
        println!("{cells} {celsius} C: {:?}, {stopped:.0} in the world", pack.until);
        assert!(pack.until.least <= stopped, "{cells} {celsius} C: {:?}, {stopped:.0}", pack.until);
    }
}
