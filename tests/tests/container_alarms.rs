//! O1: the alarms of the container are written with what is in it by account, and the
//! device says when its start is in the ledger.

use dosewright_core::config::{Container, Head};
use dosewright_core::device::Device;
use dosewright_core::entry::Entry;
use dosewright_core::event::Event;
use dosewright_core::ledger::Geometry;
use dosewright_core::record::{Alarm, Record, Reset};
use dosewright_core::time::Instant;
use dosewright_core::timers::Reason;
use dosewright_core::units::{Flow, Volume};
use dosewright_sim::world::flash::NorMock;
use dosewright_tests::entries::daily;
use dosewright_tests::pump;
use dosewright_tests::slots::records;
use dosewright_tests::wires::Wires;

type Flash = NorMock<4, 1024>;
type Pump = Device<Flash, 4, 8>;
const GEOMETRY: Geometry = Geometry { start: 0, sector_bytes: 3072, sectors: 2 };

fn start() -> Pump {
    Pump::start(Flash::new(6), GEOMETRY, Some(Instant::ZERO), Reset::PowerOn)
        .unwrap_or_else(|(_, error)| panic!("{error:?}"))
}

fn raised(device: &Pump) -> Vec<(Alarm, bool, u64)> {
    records(device.ledger().flash().bytes())
        .filter_map(|(_, record)| match record {
            Record::Alarm { alarm, on, detail, .. } => Some((alarm, on, detail)),
            _ => None,
        })
        .filter(|raised| raised.0 != Alarm::ClockUnset)
        .collect()
}

#[test]
fn o1_a_container_alarm_is_written_with_the_account() {
    let (mut device, mut wires) = (start(), Wires::default());
    let head = Head::with_flow(Flow::from_nl_per_min(30_000_000).unwrap());
    device.handle(Instant::ZERO, Event::SetHead(&head), &mut wires);
    let container = Container {
        capacity: Volume::from_ml(10_000),
        low: Volume::from_ml(1_000),
        heel: Volume::from_ml(500),
        debounce_ms: 2_000,
    };
    let told = Event::Container(&container, Volume::from_ml(200));
    device.handle(Instant::from_ms(5_000), told, &mut wires);
    assert_eq!(wires.refused, None);
    assert_eq!(raised(&device), [(Alarm::ContainerEmpty, true, 200_000_000)]);
    device.handle(Instant::from_ms(9_000), Event::Refill(Volume::from_ml(8_000)), &mut wires);
    assert_eq!(wires.refused, None);
    assert_eq!(raised(&device).last(), Some(&(Alarm::ContainerEmpty, false, 8_000_000_000)));
}

#[test]
fn o1_a_container_that_was_filled_is_not_empty_though_a_dose_that_waited_begins() {
    let mut wires = Wires::default();
    let mut device = pump::started(&mut wires);
    let at = |min: i64| Instant::from_ms(min * 60_000);
    let ml = Volume::from_ml;
    let container = Container { capacity: ml(1000), heel: ml(50), ..Container::NONE };
    pump::tell(&mut device, at(0), Event::Container(&container, ml(60)), &mut wires).unwrap();
    // two doses of 20 ml: of the first there are 10 ml, and the second waits
    let waits = |id, at_min| Entry { grace_ms: 7_200_000, ..daily(id, at_min, ml(20)) };
    let entries = pump::timetable(&[waits(1, 60), waits(2, 240)]);
    pump::tell(&mut device, at(0), Event::Timetable(&entries), &mut wires).unwrap();
    pump::wake_until(&mut device, at(250), &mut wires);
    let empty = Some(&(Alarm::ContainerEmpty, true, 50_000_000));
    assert_eq!(raised(&device).last(), empty);
    assert!(device.controller().book().open.is_none());
    pump::tell(&mut device, at(250), Event::Refill(ml(900)), &mut wires).unwrap();
    assert!(device.controller().book().open.is_some(), "the dose that waited");
    assert_eq!(
        raised(&device).last().map(|last| (last.0, last.1)),
        Some((Alarm::ContainerEmpty, false))
    );
    // it does not come and go with what the dose takes
    let count = raised(&device).len();
    pump::wake_until(&mut device, at(600), &mut wires);
    assert_eq!(raised(&device).len(), count);
}

#[test]
fn o1_a_level_disagrees_from_a_tenth_of_the_container_on() {
    // the contact closes at 1 l; the account may say 2 l of a container of 10
    for (more_nl, disagrees) in [(0, false), (1, true)] {
        let (mut device, mut wires) = (start(), Wires::default());
        let container = Container {
            capacity: Volume::from_ml(10_000),
            low: Volume::from_ml(1_000),
            heel: Volume::from_ml(500),
            debounce_ms: 2_000,
        };
        let level = Volume::from_nl(2_000_000_000 + more_nl);
        device.handle(Instant::ZERO, Event::Wake, &mut wires);
        device.handle(Instant::ZERO, Event::Container(&container, level), &mut wires);
        device.handle(Instant::ZERO, Event::LevelLow(true), &mut wires);
        device.handle(Instant::from_ms(2_000), Event::Wake, &mut wires);
        let low = (Alarm::LowLevel, true, if disagrees { 0 } else { level.as_nl() });
        let expected = [(Alarm::LevelDisagrees, true, level.as_nl()), low];
        let raised = raised(&device);
        let told = if disagrees { &expected[..] } else { &expected[1..] };
        assert_eq!(raised.get(..told.len()), Some(told), "{raised:?}");
    }
}

#[test]
fn o1_a_low_level_that_was_told_of_is_not_waited_for_again() {
    let (mut device, mut wires) = (start(), Wires::default());
    let container = Container {
        capacity: Volume::from_ml(10_000),
        low: Volume::from_ml(1_000),
        heel: Volume::from_ml(500),
        debounce_ms: 2_000,
    };
    device.handle(Instant::ZERO, Event::Wake, &mut wires);
    device.handle(Instant::ZERO, Event::Container(&container, Volume::from_ml(1_200)), &mut wires);
    device.handle(Instant::ZERO, Event::LevelLow(true), &mut wires);
    let waits = |device: &Pump| device.next_wake().is_some_and(|(_, why)| why == Reason::Level);
    assert!(waits(&device));
    device.handle(Instant::from_ms(2_000), Event::Wake, &mut wires);
    assert!(device.controller().book().alarm_is_on(Alarm::LowLevel) && !waits(&device));
    // neither when it bounces nor after a start
    for low in [false, true] {
        device.handle(Instant::from_ms(3_000), Event::LevelLow(low), &mut wires);
        assert!(!waits(&device));
    }
    let later = Instant::from_ms(9_000);
    let flash = device.into_flash();
    let mut device = Pump::start(flash, GEOMETRY, Some(later), Reset::PowerOn)
        .unwrap_or_else(|(_, error)| panic!("{error:?}"));
    device.handle(later, Event::Wake, &mut wires);
    device.handle(later, Event::LevelLow(true), &mut wires);
    assert!(device.controller().book().alarm_is_on(Alarm::LowLevel) && !waits(&device));
}

#[test]
fn o1_a_contact_that_opens_in_a_late_call_has_been_closed_for_long_enough() {
    let container = Container {
        capacity: Volume::from_ml(10_000),
        low: Volume::from_ml(1_000),
        heel: Volume::from_ml(500),
        debounce_ms: 2_000,
    };
    // it closes at 10 s, and nobody calls before it opens
    for (opens_ms, counts) in [(11_999, false), (12_000, true), (15_000, true)] {
        let (mut device, mut wires) = (start(), Wires::default());
        device.handle(Instant::ZERO, Event::Wake, &mut wires);
        let told = Event::Container(&container, Volume::from_ml(1_500));
        device.handle(Instant::ZERO, told, &mut wires);
        device.handle(Instant::from_ms(10_000), Event::LevelLow(true), &mut wires);
        device.handle(Instant::from_ms(opens_ms), Event::LevelLow(false), &mut wires);
        device.handle(Instant::from_ms(20_000), Event::Wake, &mut wires);
        let low = (Alarm::LowLevel, true, Volume::from_ml(1_500).as_nl());
        let expected = if counts { &[low][..] } else { &[] };
        assert_eq!(raised(&device), expected, "opens at {opens_ms} ms");
    }
}

#[test]
fn d9_the_start_is_in_the_ledger_only_after_the_first_call() {
    let (mut device, mut wires) = (start(), Wires::default());
    assert!(!device.controller().has_started());
    device.handle(Instant::ZERO, Event::Wake, &mut wires);
    assert!(device.controller().has_started());
}
