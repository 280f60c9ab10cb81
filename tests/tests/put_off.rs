//! D5, D7: a pulse that the pump's limits put off by less than a second.

use dosewright_core::config::Head;
use dosewright_core::entry::Entry;
use dosewright_core::event::Event;
use dosewright_core::record::{OutcomeKind, Record};
use dosewright_core::time::Instant;
use dosewright_core::units::Volume;
use dosewright_tests::entries::daily;
use dosewright_tests::pump::{self, Pump, head};
use dosewright_tests::slots::{outcomes, records};
use dosewright_tests::wires::Wires;

/// 02:00 of the first day, in ms.
const DUE: i64 = 7_200_000;
const HALF_HOUR: i64 = 1_800_000;

struct Rig {
    device: Pump,
    wires: Wires,
}

impl Rig {
    /// Calls it as it asks to be called.
    fn until(&mut self, ms: i64) {
        pump::wake_until(&mut self.device, Instant::from_ms(ms), &mut self.wires);
    }

    /// Tells it something; whether the pump is on then.
    fn at(&mut self, ms: i64, event: Event<'_, { pump::N }>) -> bool {
        pump::tell(&mut self.device, Instant::from_ms(ms), event, &mut self.wires).unwrap();
        self.wires.on
    }
}

#[test]
fn d7_a_pulse_that_the_starts_of_an_hour_put_off_begins_at_no_call_before() {
    let mut wires = Wires::default();
    let device = pump::started(&mut wires);
    let mut rig = Rig { device, wires };
    // a dose of two pulses half an hour apart, and one of a single pulse
    let dose = daily(1, 120, Volume::from_ml(40));
    let dose = Entry { window_ms: 3_600_000, pulses: Some(2), ..dose };
    let single = Entry { window_ms: 600_000, pulses: Some(1), ..daily(2, 600, Volume::from_ml(4)) };
    rig.at(0, Event::Timetable(&pump::timetable(&[dose, single])));
    // asked for, so that its hour ends 0.9 s after the second pulse is planned
    let asked = DUE - HALF_HOUR + 900;
    assert!(rig.at(asked, Event::RunAgain(single.id)));
    rig.until(DUE - 60_000);
    rig.at(DUE - 60_000, Event::SetHead(&Head { starts_per_hour: 2, ..head() }));
    rig.until(DUE + HALF_HOUR - 1);
    for ms in [0, 1, 899] {
        assert!(!rig.at(DUE + HALF_HOUR + ms, Event::Wake), "{ms}");
    }
    rig.until(DUE + 4 * HALF_HOUR);
    let bytes = rig.device.ledger().flash().bytes();
    let starts: Vec<i64> = records(bytes)
        .filter_map(|(_, record)| match record {
            Record::Pulse(pulse) => Some(pulse.at.as_ms()),
            _ => None,
        })
        .collect();
    assert_eq!(starts, [asked, DUE, DUE + HALF_HOUR + 900]);
    assert!(outcomes(bytes).map(|outcome| outcome.kind).eq([OutcomeKind::Dosed; 2]));
}
