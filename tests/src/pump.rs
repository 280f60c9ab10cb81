//! A device at a site of four lines, set up as most tests want it.

use dosewright_core::civil::{Date, Local};
use dosewright_core::config::Head;
use dosewright_core::device::Device;
use dosewright_core::entry::Entry;
use dosewright_core::event::Event;
use dosewright_core::ledger::Geometry;
use dosewright_core::record::Reset;
use dosewright_core::time::{Duration, Instant};
use dosewright_core::timetable::{Refusal, Timetable};
use dosewright_core::units::Flow;
use dosewright_sim::world::flash::NorMock;

use crate::wires::Wires;

/// Its lines.
pub const N: usize = 4;
/// The device.
pub type Pump = Device<NorMock<4, 1024>, N, 8>;
/// Its part of the flash, where it is [`started`].
pub const GEOMETRY: Geometry = Geometry { start: 0, sector_bytes: 8192, sectors: 2 };

/// 30 ml/min: half a microlitre a millisecond.
pub const fn head() -> Head {
    let Some(flow) = Flow::from_nl_per_min(30_000_000) else { panic!() };
    Head::with_flow(flow)
}

/// What its clock says when it starts: midnight, the first of March 2027.
pub const fn midnight() -> Local {
    let Some(date) = Date::from_ymd(2027, 3, 1) else { panic!() };
    Local::new(date, Duration::ZERO)
}

/// A timetable of these entries.
pub fn timetable(entries: &[Entry]) -> Timetable<N> {
    let mut timetable = Timetable::EMPTY;
    for entry in entries {
        timetable.put(*entry).unwrap();
    }
    timetable
}

/// A device on a blank flash, with its head and its clock set.
pub fn started(wires: &mut Wires) -> Pump {
    let mut device = start(NorMock::new(16), GEOMETRY, Instant::ZERO);
    set_up(&mut device, wires);
    device
}

/// Starts a device, and calls it not yet.
pub fn start(flash: NorMock<4, 1024>, geometry: Geometry, now: Instant) -> Pump {
    Pump::start(flash, geometry, Some(now), Reset::PowerOn)
        .unwrap_or_else(|(_, error)| panic!("{error:?}"))
}

/// Sets head and clock.
pub fn set_up(device: &mut Pump, wires: &mut Wires) {
    tell(device, Instant::ZERO, Event::SetHead(&head()), wires).unwrap();
    tell(device, Instant::ZERO, Event::SetClock(midnight()), wires).unwrap();
}

/// Tells it something, and calls it for nothing before; why it is not taken.
pub fn tell(
    device: &mut Pump,
    at: Instant,
    event: Event<'_, N>,
    wires: &mut Wires,
) -> Result<(), Refusal> {
    wires.refused = None;
    device.handle(at, event, wires);
    wires.refused.map_or(Ok(()), Err)
}

/// Calls it whenever it asks to be called, up to an instant.
pub fn wake_until(device: &mut Pump, end: Instant, wires: &mut Wires) {
    while let Some((at, _)) = device.next_wake().filter(|(at, _)| *at <= end) {
        device.handle(at, Event::Wake, wires);
    }
}
