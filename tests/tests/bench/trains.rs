//! Pulse trains: what the planner promises holds for every head and dose, and the
//! modelled outflow follows.

use dosewright_core::config::Head;
use dosewright_core::units::{Flow, Volume};
use dosewright_sim::pulses;
use dosewright_sim::scenario;
use dosewright_sim::world::head::{HeadModel, Rotor};
use proptest::prelude::*;

fn heads() -> impl Strategy<Value = Head> {
    (
        10_000_000_u32..200_000_000,
        1_u8..5,
        50_000_u64..1_000_000,
        100_u32..2_000,
        100_u32..3_000,
        5_000_u32..600_000,
        0_u32..120_000,
        1_u16..=60,
        0_u64..10,
    )
        .prop_map(|(flow, rollers, pass, on, off, longest, rest, starts, least)| Head {
            rollers,
            roller_pass: Volume::from_nl(pass),
            shortest_on_ms: on,
            shortest_off_ms: off,
            longest_run_ms: longest,
            least_rest_ms: rest,
            starts_per_hour: starts,
            least_pulse: Volume::from_ml(least),
            ..Head::with_flow(Flow::from_nl_per_min(flow).unwrap())
        })
}

fn model(head: &Head) -> HeadModel {
    let flow = f64::from(head.flow.as_nl_per_min()) / 1e6;
    HeadModel::with_flow(flow, head.rollers, head.roller_pass.as_nl() as f64 / 1e6)
}

proptest! {
    /// D6, D7: within the limits, and at most one pulse off the straight line.
    #[test]
    fn every_train_keeps_the_limits_and_the_line(
        head in heads(),
        dose_ml in 1_u64..2_000,
        window_min in 1_u64..240,
    ) {
        let window_ms = window_min * 60_000;
        let made = pulses::train(Volume::from_ml(dose_ml), window_ms, None, &head, model(&head));
        if let Ok(train) = made {
            prop_assert_eq!(train.broken_limits(), Vec::<String>::new());
            let line = train.line();
            // a millisecond of flow is what rounding may add
            let ms = f64::from(head.flow.as_nl_per_min()) / 6e10;
            prop_assert!(line.lead_ml <= line.pulse_ml + ms, "{:?}", line);
            prop_assert!(line.lag_ml <= line.pulse_ml + ms, "{:?}", line);
            prop_assert!((train.commanded_ml() - train.dose_ml()).abs() <= ms);
            let (commanded, outflow) = train.samples();
            prop_assert_eq!(commanded.len(), outflow.len());
            let (c, o): (f64, f64) = (commanded.iter().sum(), outflow.iter().sum());
            prop_assert!(c <= train.commanded_ml() + 1e-9);
            prop_assert!(o <= train.outflow_ml() + train.model.turn_ml);
            if window_ms.is_multiple_of(30_000) {
                prop_assert!((c - train.commanded_ml()).abs() < 1e-6);
            }
        }
    }

    /// What comes out is the volume of the turns made, but for one roller pass.
    #[test]
    fn a_rotor_gives_its_turns(
        flow in 10.0..200.0_f64,
        rollers in 1_u8..5,
        pass in 0.05..1.0_f64,
        widths in prop::collection::vec(0.4..30.0_f64, 1..40),
    ) {
        let model = HeadModel::with_flow(flow, rollers, pass);
        let mut rotor = Rotor { model, angle: 0.37 };
        let total: f64 = widths.iter().map(|on| rotor.run_ml(*on, 60.0)).sum();
        let on: f64 = widths.iter().sum();
        let expected = on * flow / 60.0 - widths.len() as f64 * model.loss_ml();
        prop_assert!((total - expected).abs() <= pass / std::f64::consts::PI + 1e-9);
    }
}

#[test]
fn the_controller_runs_the_train_that_is_shown() {
    let mut seen = 0;
    for name in [
        "01-quayside-canteen",
        "04-school-kitchen-separator",
        "02-mill-refectory-spring",
        "09-service-visit",
    ] {
        let path = format!("{}/../docs/scenarios/{name}.toml", env!("CARGO_MANIFEST_DIR"));
        let text = std::fs::read_to_string(path).unwrap();
        let (scenario, _) = scenario::read(name, &text).unwrap();
        let conditions = dosewright_sim::world::head::Conditions::CALIBRATED;
        for entry in &scenario.entries {
            let train = pulses::of_entry(entry, &scenario.head, &conditions).unwrap();
            assert_eq!(pulses::ran(&scenario, entry, &train), pulses::Ran::Same, "{name}");
            // and a train that is not the controller's is told from it
            let mut other = train.clone();
            other.pulses[1].on_ms += 1;
            assert_eq!(pulses::ran(&scenario, entry, &other), pulses::Ran::Differs(2), "{name}");
            seen += 1;
        }
    }
    assert!(seen >= 5, "{seen}");
}

#[test]
fn the_turndown_figures_of_a_perfect_head_are_nothing_and_of_a_slow_one_are_seen() {
    let head = Head::with_flow(Flow::from_nl_per_min(26_500_000).unwrap());
    let perfect = HeadModel {
        spin_up_s: 0.0,
        coast_s: 0.0,
        pulsation: 0.0,
        ..HeadModel::with_flow(26.5, 3, 0.29)
    };
    let found = pulses::turndown(2_700_000, &head, perfect).found.unwrap();
    assert!(found.accuracy_percent < 1e-6 && found.linearity_percent < 1e-3, "{found:?}");
    assert!(found.error_percent.abs() < 1e-3, "{found:?}");
    // a start that takes three of the nine seconds of a pulse
    let slow = HeadModel { spin_up_s: 3.0, ..perfect };
    let down = pulses::turndown(2_700_000, &head, slow);
    let found = down.found.unwrap();
    assert!(found.error_percent < -10.0, "{found:?}");
    // the largest dose has pumping nearly all of the window
    assert!(down.most_ml > 1_000.0 && down.most_ml < 45.0 * 26.5, "{}", down.most_ml);
}
