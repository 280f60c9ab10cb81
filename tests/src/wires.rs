//! The outputs of a device, and what came by them.

use dosewright_core::device::Outputs;
use dosewright_core::record::Alarm;
use dosewright_core::time::Duration;
use dosewright_core::timetable::Refusal;

/// What hangs on a device's outputs, as far as tests look at it.
#[derive(Debug, Clone, Default)]
pub struct Wires {
    /// Why the last act was not taken.
    pub refused: Option<Refusal>,
    /// When tests of the pack were asked for, in ms.
    pub tests: Vec<i64>,
    /// When single readings of it were.
    pub reads: Vec<i64>,
    /// When the display lit and went dark.
    pub lights: Vec<(i64, bool)>,
    /// Alarms that came, and those that went.
    pub alarms: Vec<(Alarm, bool)>,
    /// The pump is on.
    pub on: bool,
    /// The present moment, in ms, where the test tells it.
    pub now: i64,
}

impl Outputs for Wires {
    fn pump_on(&mut self, _: Duration) {
        self.on = true;
    }
    fn pump_off(&mut self) {
        self.on = false;
    }
    fn refused(&mut self, refusal: &Refusal) {
        self.refused = Some(*refusal);
    }
    fn alarm(&mut self, alarm: Alarm, on: bool) {
        self.alarms.push((alarm, on));
    }
    fn test_pack(&mut self) {
        self.tests.push(self.now);
    }
    fn read_pack(&mut self) {
        self.reads.push(self.now);
    }
    fn light(&mut self, on: bool) {
        self.lights.push((self.now, on));
    }
}
