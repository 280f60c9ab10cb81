//! What people do later that does not give what it seems to.

use dosewright_core::units::Volume;

use crate::diagnose::{Diagnostic, codes};
use crate::scenario::{Act, Calibration, CalibrationRun, OperatorAct, Scenario, Supply, show};

/// W019: a calibration run of so many minutes whose volume is read off too small a vessel.
pub(super) fn overflows(scenario: &Scenario) -> Vec<Diagnostic> {
    let first = scenario.head.true_flow.unwrap_or(scenario.head.head.flow);
    // with several tube sets the one that gives least: what overflows then always does
    let flow = scenario.operator.iter().fold(first, |least, act| match act.act {
        Act::ChangeTube { true_flow: Some(flow) } => least.min(flow),
        _ => least,
    });
    let told = |act: &OperatorAct| match &act.act {
        Act::Calibrate {
            run: Some(CalibrationRun::Lasts(run)),
            vessel,
            result: Calibration::AsDelivered,
            ..
        } if flow.volume(*run) > vessel.capacity => {
            Some(overflow(act, flow.volume(*run), vessel.capacity))
        }
        _ => None,
    };
    scenario.operator.iter().filter_map(told).collect()
}

fn overflow(act: &OperatorAct, comes: Volume, holds: Volume) -> Diagnostic {
    Diagnostic::new(
        codes::OVERFLOWS,
        act.spans.at("calibrate"),
        "more comes out in this calibration run than its vessel holds",
    )
    .label(format!("about {} come, it holds {}", show::volume(comes), show::volume(holds)))
    .help("leave `run` out, and the device makes a run that goes into the vessel; or take a larger one")
}

/// W020: cells of another type in a device that is set up for those before.
pub(super) fn other_cells(scenario: &Scenario) -> Vec<Diagnostic> {
    let Supply::Battery { cells_of, .. } = &scenario.supply else { return Vec::new() };
    let told = |act: &OperatorAct| {
        match act.act {
        Act::ChangePack { cells_of: Some(other), .. } if other != *cells_of => Some(
            Diagnostic::new(
                codes::OTHER_CELLS,
                act.spans.at("change_pack"),
                "the device is set up for cells of another type",
            )
            .label(format!(
                "{} come in; it goes on with charge and voltages of {}",
                other.word(),
                cells_of.word()
            ))
            .help("put in cells of the type in [supply], or expect *battery low* at another time: no act sets the device up anew"),
        ),
        _ => None,
    }
    };
    scenario.operator.iter().filter_map(told).collect()
}
