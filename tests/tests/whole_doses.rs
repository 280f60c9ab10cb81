//! P3 in the world: what a full pack begins it finishes, however large the doses are for it.

use dosewright_core::cause::Cause;
use dosewright_core::ledger::Slot;
use dosewright_core::record::{OutcomeKind, Record};
use dosewright_sim::check;
use dosewright_sim::forecast::forecast;
use dosewright_sim::judged::{self, Judged};
use dosewright_sim::observe::{Observation, Observer};
use dosewright_sim::run::Options;
use dosewright_sim::scenario::Scenario;
use dosewright_tests::dice::Dice;

/// So many doses that the pack could not give are enough to be seen.
const ENOUGH: u32 = 20;

/// Counts them, and what was dosed.
#[derive(Default)]
struct Watch {
    dosed: u32,
    refused: u32,
    /// The first that it could not give, in true ms.
    refused_ms: Option<u64>,
}

impl Observer for Watch {
    fn see(&mut self, at_ms: u64, what: &Observation<'_>) {
        let Observation::Slot { bytes, .. } = what else { return };
        let Ok(slot) = (*bytes).try_into() else { return };
        let Slot::Good { payload, .. } = Slot::decode(slot) else { return };
        if let Some(Record::Outcome(outcome)) = Record::decode(&payload) {
            match outcome.kind {
                OutcomeKind::Dosed => self.dosed += 1,
                OutcomeKind::Skipped(Cause::Battery) => {
                    self.refused += 1;
                    self.refused_ms = self.refused_ms.or(Some(at_ms));
                }
                _ => {}
            }
        }
    }

    fn wants_end(&self) -> bool {
        self.refused >= ENOUGH
    }
}

fn play(scenario: &Scenario) -> (Watch, Judged) {
    let mut watch = Watch::default();
    let options = Options::default();
    let judged = judged::run(scenario, &options, Vec::new(), Some(&mut watch)).unwrap();
    (watch, judged)
}

/// A site with a full pack of cells of a type: its doses take from 2 min to an hour of
/// pumping. Two that wander meet now and then; stops by remote put doses off, so that one
/// begins right after the other; an operator makes one larger.
fn site(seed: u64) -> (String, Scenario) {
    let mut chance = Dice::new(seed);
    let mut one = |of: &[&'static str]| of[chance.below(of.len())];
    let cells = one(&["LR20", "LR14", "LR6", "LR6", "HR20"]);
    let (volts, current) = (one(&["3", "4.5", "6", "12"]), one(&["100", "200", "350", "500"]));
    let temperature = one(&["", ", temperature = \"-10 C\"", ", temperature = \"8 C\""]);
    let volume = |of: &'static str| format!("volume = \"{of} ml\"\nwindow = \"100 min\"\n");
    let sizes = ["20", "50", "100", "200", "350", "600"];
    let grace = one(&["0", "60", "150"]);
    let mut text = format!(
        r#"schema = 1
[clock]
start = 2026-06-01T22:00:00
zone = "UTC0"
run_for = "300 days"
[head]
flow = "10 ml/min"
[limits]
daily_ceiling = "20 l"
[motor]
voltage = "{volts} V"
current = "{current} mA"
[supply]
battery = {{ type = "{cells}"{temperature} }}
[[entry]]
name = "first"
weekly = {{ nights = ["mon", "tue", "wed", "fri"], at = "00:30" }}
grace = "{grace} min"
{}"#,
        volume(one(&sizes))
    );
    if one(&["no", "yes"]) == "yes" {
        text += "[[entry]]\nname = \"second\"\nweekly = { nights = [\"mon\", \"tue\", \"fri\"], at = \"03:15\" }\n";
        text += &volume(one(&sizes));
    }
    if one(&["no", "yes"]) == "yes" {
        text += "[[entry]]\nname = \"wanders\"\nevery = { interval = \"1111 min\", from = \"2026-06-02 06:00\" }\n";
        text += &volume(one(&sizes));
    }
    if one(&["no", "yes"]) == "yes" {
        let lasts = one(&["150 min", "200 min", "255 min"]);
        let stop = |day: u32| {
            format!("[[fault]]\nat = \"+{day} d 2 h\"\nremote_stop = {{ lasts = \"{lasts}\" }}\n")
        };
        text.extend((0..80).step_by(2).map(stop));
    }
    if one(&["no", "no", "yes"]) == "yes" {
        text +=
            "[[operator]]\nat = \"+4 d 12 h\"\nedit = { entry = \"first\", volume = \"700 ml\" }\n";
    }
    let (scenario, found) = check::read("site.toml", &text);
    let scenario = scenario.unwrap_or_else(|| panic!("seed {seed}: {text}{found:?}"));
    assert!(found.iter().all(|found| found.code.starts_with('W')), "seed {seed}: {text}{found:?}");
    (text, scenario)
}

#[test]
fn p3_no_dose_is_begun_that_a_full_pack_does_not_finish() {
    let (mut worn, mut refused) = (0, 0);
    for seed in 0..150 {
        let (text, scenario) = site(seed);
        let (watch, judged) = play(&scenario);
        let end = &judged.end;
        assert_eq!(
            end.brown_outs, 0,
            "seed {seed}: a dose was begun that was not finished\n{text}"
        );
        assert!(judged.audit.violations.is_empty(), "seed {seed}: {:?}", judged.audit.violations);
        let (_, found) = check::read("site.toml", &text);
        let too_large = found.iter().any(|found| found.code == "W021" || found.code == "W011");
        // what `check` does not warn about is dosed
        assert!(watch.dosed > 0 || too_large, "seed {seed}: nothing is dosed\n{text}");
        // nor is it dosed for a shorter time than was forecast, as far as the timetable stays
        let stays = !text.contains("[[operator]]");
        if let Some(ms) = watch.refused_ms.filter(|_| stays) {
            let least = forecast(&scenario).pack.unwrap().until.least;
            let (start_h, day_ms) = (22.0, 86.4e6);
            let day = start_h / 24.0 + ms as f64 / day_ms;
            assert!(least.floor() <= day, "seed {seed}: {day:.1} days, not {least:.1}\n{text}");
        }
        worn += u32::from(watch.dosed > 0 && watch.refused > 0);
        refused += u32::from(found.iter().any(|found| found.code == "W021"));
    }
    assert!(worn > 75 && refused > 0, "{worn} packs were worn, {refused} too small from the start");
}

/// A stop by remote keeps both doses of a night waiting: when it ends one begins right
/// after the other, by one look at the pack.
#[test]
fn p3_doses_that_come_one_after_the_other_are_both_finished() {
    let nights = r#"nights = ["mon", "tue", "wed", "thu", "fri", "sat", "sun"]"#;
    let stops: String = (1..60)
        .map(|day| {
            format!("[[fault]]\nat = \"+{day} d\"\nremote_stop = {{ lasts = \"200 min\" }}\n")
        })
        .collect();
    for ml in (100..400).step_by(20) {
        let text = format!(
            r#"schema = 1
[clock]
start = 2026-06-01T00:00:00
zone = "UTC0"
run_for = "60 days"
[head]
flow = "10 ml/min"
[supply]
battery = {{ type = "LR6", temperature = "8 C" }}
[[entry]]
name = "first"
weekly = {{ {nights}, at = "00:30" }}
volume = "{ml} ml"
window = "100 min"
grace = "3 h"
[[entry]]
name = "second"
weekly = {{ {nights}, at = "03:15" }}
volume = "{ml} ml"
window = "100 min"
grace = "3 h"
{stops}"#
        );
        let (scenario, found) = check::read("site.toml", &text);
        let (watch, judged) = play(&scenario.unwrap_or_else(|| panic!("{text}{found:?}")));
        assert_eq!(judged.end.brown_outs, 0, "{ml} ml: a dose was begun that was not finished");
        assert!(watch.dosed > 3 && watch.refused > 0, "{ml} ml: {} dosed", watch.dosed);
    }
}
