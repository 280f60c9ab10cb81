//! The device started from a copy of the memory, as if the supply came back right
//! after the last record, the clock chip fed all along.

use dosewright_core::book::{Book, OpenDose};
use dosewright_core::device::{Device, Outputs};
use dosewright_core::event::Event;
use dosewright_core::ledger::{Class, Geometry, SLOT, Slot};
use dosewright_core::record::{Alarm, Record, Reset, Waiting};
use dosewright_core::time::{Duration, Instant};
use dosewright_core::timers::Reason;
use dosewright_core::timetable::Refusal;

use super::history::instant;
use super::lasts::{self, Lasts};
use crate::observe::LINES;
use crate::world::flash::NorMock;
use crate::world::open_error;

/// Deliveries that the device keeps account of, as the simulated one does.
const ACCOUNT: usize = 128;
/// Bytes of the smallest erase.
const PAGE: usize = 1024;

/// The state that the memory holds.
pub type State = Book<LINES, ACCOUNT>;

/// A device that has started.
#[derive(Debug, Clone)]
pub struct Started {
    /// What it holds to be so.
    pub state: State,
    /// The dose that was open before the start.
    pub open: Option<OpenDose>,
    /// Slots in force that could not be read.
    pub unreadable: bool,
    /// Alarms that are on.
    pub alarms: Vec<Alarm>,
    /// Those that were on by the records.
    pub alarms_before: Vec<Alarm>,
    /// Doses that wait, by the records.
    pub waits: Vec<Waiting>,
    /// The instant at which it was started.
    pub at: Instant,
    /// The pump was turned on at once, for so long.
    pub pump_on: Option<Duration>,
    /// When it wants to be called next, and why.
    pub next: Option<(Instant, Reason)>,
    /// Until when container, pack and tube set last.
    pub lasts: Lasts,
}

#[derive(Default)]
struct Seen {
    pump_on: Option<Duration>,
}

impl Outputs for Seen {
    fn pump_on(&mut self, length: Duration) {
        self.pump_on = Some(length);
    }

    fn pump_off(&mut self) {
        self.pump_on = None;
    }

    fn refused(&mut self, _: &Refusal) {}

    fn alarm(&mut self, _: Alarm, _: bool) {}
}

/// The last instant that a record in the memory carries.
fn last_instant(memory: &[u8]) -> Instant {
    let slots = memory.as_chunks::<SLOT>().0.iter();
    let instants = slots.filter_map(|slot| match Slot::decode(slot) {
        Slot::Good { class: Class::Record | Class::Snapshot, payload, .. } => {
            instant(&Record::decode(&payload)?)
        }
        _ => None,
    });
    instants.max().unwrap_or(Instant::ZERO)
}

fn on(state: &State) -> Vec<Alarm> {
    Alarm::ALL.into_iter().filter(|alarm| state.alarm_is_on(*alarm)).collect()
}

/// Starts it; where it does not start, why.
pub fn start(memory: Vec<u8>, geometry: Geometry, word_bytes: u32) -> Result<Started, String> {
    match word_bytes {
        1 => start_with::<1>(memory, geometry),
        8 => start_with::<8>(memory, geometry),
        _ => start_with::<4>(memory, geometry),
    }
}

fn start_with<const W: usize>(memory: Vec<u8>, geometry: Geometry) -> Result<Started, String> {
    use dosewright_core::device::StartError;
    use dosewright_core::ledger::{Ledger, OpenError};
    let at = last_instant(&memory);
    // a blank part is given a first ledger by the device: that is no reading of it
    if let Err((_, error @ (OpenError::Blank | OpenError::Unfinished))) =
        Ledger::open(NorMock::<W, PAGE>::from_bytes(memory.clone()), geometry)
    {
        return Err(format!("{error}"));
    }
    let nor = NorMock::<W, PAGE>::from_bytes(memory);
    let mut device =
        match Device::<_, LINES, ACCOUNT>::start(nor, geometry, Some(at), Reset::PowerOn) {
            Ok(device) => device,
            Err((_, StartError::Open(error))) => return Err(open_error(&error)),
            Err((_, StartError::Format(error))) => return Err(format!("{error}")),
            Err((_, StartError::SectorTooSmall { slots, least })) => {
                return Err(format!(
                    "a sector has {slots} slots of 64 bytes, and this build's device needs {least}"
                ));
            }
        };
    let before = *device.controller().book();
    let open = before.open;
    let mut seen = Seen::default();
    device.handle(at, Event::Wake, &mut seen);
    let controller = device.controller();
    let state = *controller.book();
    let lasts = Lasts {
        product_until: controller.product_lasts_s(at).map(|s| lasts::after(at, s)),
        pack_until: controller.pack_lasts_s(at).map(|s| lasts::after(at, s)),
        pack_drawn_mah: lasts::mah(state.gauge.drawn_uc(at)),
        tube_due: state.tube.due_at(),
    };
    Ok(Started {
        lasts,
        open,
        unreadable: state.alarm_is_on(Alarm::MemoryDamaged),
        alarms: on(&state),
        alarms_before: on(&before),
        waits: (0..LINES).filter_map(|line| before.state(line).waiting).collect(),
        state,
        at,
        pump_on: seen.pump_on,
        next: device.next_wake(),
    })
}
