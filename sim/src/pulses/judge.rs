//! A head over its turndown: mean flows from a tenth of the most to the most.

use dosewright_core::config::Head;
use dosewright_core::spread;
use dosewright_core::units::{Carry, Volume};

use super::train_from;
use crate::trade::turndown::{Found, Point, judge};
use crate::world::head::{HeadModel, Rotor};

/// Settings, from a tenth on.
const SETTINGS: u64 = 10;
/// Doses at each setting, the rotor standing where the last one left it.
const REPEATS: u32 = 5;

/// What the head does over its turndown within one window.
#[derive(Clone, Debug, PartialEq)]
pub struct Turndown {
    /// The largest dose that fits the window, in ml.
    pub most_ml: f64,
    /// Settings that could be run, of ten.
    pub settings: u64,
    /// The three figures; `None` where fewer than two settings could be run, or nothing comes.
    pub found: Option<Found>,
}

/// The largest dose that fits a window.
fn most(window_ms: u64, head: &Head) -> Volume {
    let fits = |ms: u64| spread::pulses_for(ms, window_ms, head, None).is_ok();
    let (mut low, mut high) = (0, window_ms);
    while low < high {
        let middle = u64::midpoint(low, high + 1);
        if fits(middle) {
            low = middle;
        } else {
            high = middle - 1;
        }
    }
    let volume = head.flow.volume(dosewright_core::time::Duration::from_ms(low));
    // rounded down where the volume of so many ms asks for one more
    let (ms, _) = head.flow.on_time(volume, Carry(0));
    if ms.as_ms() > low { volume.minus(Volume::from_nl(1)) } else { volume }
}

/// Runs doses of a tenth of the most to the most through the model.
pub fn turndown(window_ms: u64, head: &Head, model: HeadModel) -> Turndown {
    let rated = most(window_ms, head);
    let minutes = window_ms as f64 / 60e3;
    let mut rotor = Rotor { model, angle: 0.0 };
    let mut points = Vec::new();
    for setting in 1..=SETTINGS {
        let dose = Volume::from_nl(rated.as_nl() / SETTINGS * setting);
        let mut point = Point { set: dose.as_nl() as f64 / 1e6 / minutes, measured: Vec::new() };
        for _ in 0..REPEATS {
            let Ok(train) = train_from(dose, window_ms, None, head, &mut rotor) else { break };
            point.measured.push(train.outflow_ml() / minutes);
        }
        if !point.measured.is_empty() {
            points.push(point);
        }
    }
    let most_ml = rated.as_nl() as f64 / 1e6;
    let comes = points.iter().flat_map(|point| &point.measured).any(|flow| *flow > 0.0);
    let found = judge(&points, most_ml / minutes).filter(|_| comes);
    Turndown { most_ml, settings: points.len() as u64, found }
}
