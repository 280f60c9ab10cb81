//! Calibrate at the panel: the cylinder, the run, the reading.

use dosewright_core::config::Head;
use dosewright_core::event::Event;
use dosewright_core::panel::Input::{Hold, Left, Press, Right};
use dosewright_core::panel::{Card, Preferences};
use dosewright_core::units::Volume;

use crate::forged::flow;
use crate::rig::Rig;
use crate::touch::at_the_container;

/// At the choice of a cylinder.
fn at_the_cylinder() -> Rig {
    let mut rig = Rig::set_up(Preferences::NEW);
    rig.go_to_card(Card::Calibrate);
    rig.touch(Press);
    assert_eq!(rig.lines()[1..3], ["Measuring cylinder", "[100 ml]"]);
    rig
}

/// Runs into what was chosen to the end, and opens the keys again; how long it ran, in ms.
fn run(rig: &mut Rig) -> u32 {
    rig.touches(&[(Press, 2)]);
    let run = rig.side.device.controller().service_run().expect("it runs");
    rig.until(rig.side.now + i64::from(run.asked_ms));
    assert!(!rig.side.wires.on && rig.side.device.controller().waits_for_reading());
    rig.touches(&[(Right, 1), (Hold, 1)]);
    run.asked_ms
}

#[test]
fn o2_a_cylinder_that_takes_too_long_to_fill_is_chosen_anew() {
    let mut rig = at_the_cylinder();
    // a litre at 26.5 ml/min, where ten minutes are the most
    rig.touches(&[(Left, 1), (Press, 2)]);
    let told = ["Not taken:", "cylinder is too big", "at most 10 min", "> back to the draft"];
    assert_eq!(rig.lines(), told);
    rig.touch(Press);
    assert_eq!(rig.lines()[1..3], ["Measuring cylinder", "[1000 ml]"]);
    rig.touch(Right);
    run(&mut rig);
    assert_eq!(rig.lines()[0], "Reading          1/3");
}

/// At the choice of a cylinder of a head with so many microlitres a minute and a roller pass.
fn of_a_head(ul_per_min: u32, pass_ul: u64) -> Rig {
    let mut rig = at_the_cylinder();
    let roller_pass = Volume::from_ul(pass_ul);
    let head = Head { rollers: 3, roller_pass, ..Head::with_flow(flow(ul_per_min)) };
    assert_eq!(rig.act(Event::SetHead(&head)), None);
    rig
}

/// Enters what came out, in tenths of a millilitre, and asks for it to be put in force.
fn came_out(rig: &mut Rig, mut tenths: u32) {
    rig.touch(Press);
    assert_eq!(rig.lines()[1], "Came out");
    for place in [10_000, 1000, 100, 10, 1] {
        rig.touches(&[(Right, tenths / place), (Press, 1)]);
        tenths %= place;
    }
    rig.touches(&[(Press, 2)]);
}

#[test]
fn o2_no_run_is_offered_that_is_longer_than_one_may_be() {
    // two thirds of what its label says
    let mut rig = of_a_head(8000, 420);
    let run_ms = run(&mut rig);
    came_out(&mut rig, run_ms * 54 / 60_000);
    let told = ["Not taken:", "not sure enough", "at most 10 min", "> back to the draft"];
    assert_eq!(rig.lines(), told);
    rig.touch(Press);
    assert_eq!(rig.lines()[0], "Reading");
    // four fifths: what it asks for it lets run
    let mut rig = of_a_head(8000, 420);
    let run_ms = run(&mut rig);
    came_out(&mut rig, run_ms * 64 / 60_000);
    assert_eq!(rig.lines()[1], "not sure enough");
    assert!(rig.lines()[2].starts_with("run for "), "{:?}", rig.lines());
    rig.touch(Press);
    rig.touch(Press);
    assert!(rig.side.wires.on, "{:?}", rig.lines());
}

#[test]
fn o2_a_head_that_is_too_slow_for_any_cylinder_is_told_why() {
    let mut rig = of_a_head(5000, 120);
    for reason in ["pump limits", "cylinder is too big", "cylinder is too big"] {
        rig.touches(&[(Press, 2)]);
        let told = ["Not taken:", reason, "at most 10 min", "> back to the draft"];
        assert_eq!(rig.lines(), told);
        // to the next one
        rig.touches(&[(Press, 1), (Right, 1)]);
    }
}

#[test]
fn the_cylinder_of_the_last_run_is_proposed() {
    let mut rig = at_the_cylinder();
    rig.touches(&[(Right, 1), (Press, 2)]);
    assert!(rig.side.wires.on);
    rig.touch(Press);
    assert!(!rig.side.wires.on);
    assert_eq!(rig.lines()[3], "> calibrate");
    rig.touch(Press);
    assert_eq!(rig.lines()[1..3], ["Measuring cylinder", "[250 ml]"]);
}

#[test]
fn o2_a_run_that_ended_by_itself_waits_for_its_reading() {
    let mut rig = at_the_cylinder();
    run(&mut rig);
    // left, and come back to
    rig.go_to_card(Card::Calibrate);
    assert_eq!(rig.lines()[3], "> enter the reading");
    rig.touch(Press);
    assert_eq!(rig.lines()[1], "Measured by");
    // and so at its step of a first set-up
    let mut rig = at_the_container(Preferences::NEW);
    rig.touches(&[(Press, 7)]);
    rig.until(rig.side.now + 360_000);
    rig.touches(&[(Press, 1), (Hold, 2)]);
    assert_eq!(rig.lines(), ["Calibrate", "measure what comes", "", "> set up, step 7/8"]);
    rig.touches(&[(Press, 1)]);
    run(&mut rig);
    rig.touch(Hold);
    let lines = rig.lines();
    assert!(lines.contains(&"Reading".to_owned()), "{lines:?}");
    assert_eq!(lines[3], "> set up, step 7/8");
    rig.touch(Press);
    assert_eq!(rig.lines()[..2], ["Reading          1/3", "Measured by"]);
}

#[test]
fn o2_a_number_that_is_missing_or_cannot_be_is_asked_again() {
    let mut rig = at_the_cylinder();
    let run_ms = run(&mut rig);
    // by volume, and none is entered
    rig.touch(Press);
    assert_eq!(rig.lines()[1..3], ["Came out", "[_]___._ ml"]);
    rig.touches(&[(Press, 7)]);
    assert_eq!(rig.lines()[..2], ["Not taken:", "a number is missing"]);
    rig.touch(Press);
    assert_eq!(rig.lines()[1..3], ["Came out", "[_]___._ ml"]);
    // 1 ml, and with it straight back to the end
    rig.touches(&[(Press, 3), (Right, 1), (Press, 2)]);
    assert_eq!(rig.lines()[3], "> put in force");
    rig.touch(Press);
    assert_eq!(rig.lines()[..2], ["Not taken:", "flow is implausible"]);
    rig.touch(Press);
    assert_eq!(rig.lines()[1..3], ["Came out", "[1.0 ml]"]);
    // by mass: what it brings is asked next, at the temperature that is proposed
    rig.touches(&[(Press, 1), (Left, 3), (Press, 1)]);
    assert_eq!(rig.lines()[1..3], ["Measured by", "[volume]"]);
    rig.touches(&[(Right, 1), (Press, 1)]);
    assert_eq!(rig.lines()[1..3], ["Water that came out", "[_]___._ g"]);
    // water of 20 °C has 0.998 203 g/ml (ISO 8655-6); in tenths of a gram
    let mut tenths = (u64::from(run_ms) * 26_500 / 60_000 * 998_203 / 100_000_000) as u32;
    assert!((500..1000).contains(&tenths), "{tenths}");
    for place in [10_000, 1000, 100, 10, 1] {
        rig.touches(&[(Right, tenths / place), (Press, 1)]);
        tenths %= place;
    }
    assert_eq!(rig.lines()[1..3], ["Water, 0.5 to 40 °C", "[20.0 °C]"]);
    rig.touches(&[(Press, 3)]);
    assert_eq!(rig.lines()[2], "In force");
    let found = rig.book().tube.last().expect("a calibration");
    // a tenth of a gram of 70 g
    assert!(found.flow.as_nl_per_min().abs_diff(26_500_000) < 60_000, "{found:?}");
}
