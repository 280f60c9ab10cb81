//! A ledger image: the device starts from any bytes or says why not, runs on without
//! a panic, and goes by no setting that did not pass its check (M2).

use std::collections::HashSet;

use dosewright_core::config::{Container, Head};
use dosewright_core::controller::Controller;
use dosewright_core::device::{Device, Outputs};
use dosewright_core::entry::Entry;
use dosewright_core::event::Event;
use dosewright_core::ledger::{Class, Geometry, PAYLOAD, SLOT, Slot};
use dosewright_core::power::{Gauge, Pack};
use dosewright_core::record::{Alarm, Record, Reset};
use dosewright_core::time::{Duration, Instant};
use dosewright_core::timetable::{Refusal, Timetable};
use dosewright_core::units::Flow;
use dosewright_sim::world::flash::NorMock;

const N: usize = 4;
const H: usize = 8;
/// The ledger's place, as in the stores that are kept of each format.
pub const GEOMETRY: Geometry = Geometry { start: 0, sector_bytes: 4096, sectors: 3 };
/// Stores that mutation may start from.
pub const SEEDS: [&[u8]; 8] = [
    include_bytes!("../../stores/format-1.bin"),
    include_bytes!("../../stores/format-2.bin"),
    include_bytes!("../../stores/format-3.bin"),
    include_bytes!("../../stores/format-4.bin"),
    include_bytes!("../../stores/format-5.bin"),
    include_bytes!("../../stores/format-6.bin"),
    include_bytes!("../../stores/format-7.bin"),
    include_bytes!("../../stores/format-8.bin"),
];
/// Calls that a device which started is given.
const CALLS: usize = 40;

/// What became of an image.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Became {
    /// A device started from it.
    pub started: bool,
    /// It started with settings: a head and at least one entry.
    pub with_settings: bool,
    /// It raised the alarm of damaged memory.
    pub damaged: bool,
    /// It started on a battery pack.
    pub with_pack: bool,
}

struct Quiet;

impl Outputs for Quiet {
    fn pump_on(&mut self, _: Duration) {}
    fn pump_off(&mut self) {}
    fn refused(&mut self, _: &Refusal) {}
    fn alarm(&mut self, _: Alarm, _: bool) {}
}

/// The settings in those slots of an image whose check holds.
#[derive(Default)]
struct Written {
    heads: HashSet<Head>,
    /// Flows that a calibration has put in force, each with its lead in ms.
    flows: HashSet<(Flow, u16)>,
    entries: HashSet<Entry>,
    containers: HashSet<Container>,
    packs: HashSet<Pack>,
}

impl Written {
    fn of(image: &[u8]) -> Self {
        let mut written = Self::default();
        for slot in image.as_chunks::<SLOT>().0 {
            let Slot::Good { class: Class::Record | Class::Snapshot, payload, .. } =
                Slot::decode(slot)
            else {
                continue;
            };
            match Record::decode(&payload) {
                Some(Record::Head { head, .. } | Record::SnapHead(head)) => {
                    written.heads.insert(head);
                }
                Some(Record::Calibration { found, in_force: true, lead_ms }) => {
                    written.flows.insert((found.flow, lead_ms));
                }
                Some(Record::Staged(staged) | Record::SnapEntry(staged)) => {
                    written.entries.insert(staged.entry);
                }
                Some(Record::Container { container, .. }) => {
                    written.containers.insert(container);
                }
                Some(Record::SnapStock(stock)) => {
                    written.containers.insert(stock.container);
                }
                Some(Record::Pack { pack, .. } | Record::SnapGauge(Gauge { pack, .. })) => {
                    written.packs.insert(pack);
                }
                _ => {}
            }
        }
        written
    }

    fn hold(&self, controller: &Controller<N, H>) {
        let book = controller.book();
        if let Some(head) = book.head {
            let (flow, lead_ms) = (head.flow, head.lead_ms);
            let found = self.flows.contains(&(flow, lead_ms));
            let of_it = |&written: &Head| found && Head { flow, lead_ms, ..written } == head;
            let is_written = self.heads.contains(&head) || self.heads.iter().any(of_it);
            assert!(is_written, "a head that nobody wrote: {head:?}");
        }
        for entry in book.timetable.entries() {
            assert!(self.entries.contains(&entry), "an entry that nobody wrote: {entry:?}");
        }
        if let Some(container) = book.stock.container() {
            assert!(self.containers.contains(container), "a container that nobody wrote");
        }
        if let Some(pack) = book.gauge.pack() {
            assert!(self.packs.contains(pack), "a pack that nobody wrote: {pack:?}");
        }
    }
}

/// Gives every slot that is not blank a check that holds, so that what is in it is
/// looked at.
pub fn forge(image: &mut [u8]) {
    for slot in image.as_chunks_mut::<SLOT>().0 {
        if Slot::decode(slot) != Slot::Damaged {
            continue;
        }
        let Some((payload, rest)) = slot.split_first_chunk::<PAYLOAD>() else { continue };
        let Some(word) = rest.first_chunk() else { continue };
        let word = u32::from_le_bytes(*word);
        let class = match word >> 30 {
            0 => Class::Header,
            1 => Class::Snapshot,
            2 => Class::Seal,
            _ => Class::Record,
        };
        *slot = Slot::encode(class, word, payload);
    }
}

/// Starts a device from any bytes and lets it run a while.
///
/// # Panics
///
/// Where it goes by a setting that is in no slot whose check holds, or by a head or
/// an entry that is out of its range, or asks to be called at once for ever.
pub fn run(image: &[u8]) -> Became {
    let written = Written::of(image);
    let mut bytes = image.to_vec();
    bytes.resize(GEOMETRY.sector_bytes as usize * usize::from(GEOMETRY.sectors), 0xff);
    let flash = NorMock::<4, 1024>::from_bytes(bytes);
    let Ok(mut device) = Device::<_, N, H>::start(flash, GEOMETRY, None, Reset::PowerOn) else {
        return Became { started: false, with_settings: false, damaged: false, with_pack: false };
    };
    in_range(device.controller(), device.now());
    written.hold(device.controller());
    let mut now = device.now();
    let mut still = 0;
    for _ in 0..CALLS {
        device.handle(now, Event::Wake, &mut Quiet);
        in_range(device.controller(), now);
        written.hold(device.controller());
        let Some((next, _)) = device.next_wake() else { break };
        still = if next <= now { still + 1 } else { 0 };
        assert!(still < 8, "it asks to be called at once, again and again");
        now = now.max(next);
    }
    let book = device.controller().book();
    Became {
        started: true,
        with_settings: book.head.is_some() && book.timetable.entries().next().is_some(),
        damaged: book.alarm_is_on(Alarm::MemoryDamaged),
        with_pack: book.gauge.pack().is_some(),
    }
}

/// No field of what it goes by is out of its range.
fn in_range(controller: &Controller<N, H>, now: Instant) {
    let book = controller.book();
    assert!(book.gauge.pack.is_sound(), "{:?}", book.gauge);
    let Some(head) = book.head else { return };
    assert_eq!(head.problem(), None, "{head:?}");
    // one by one: whether entries go together can change with a lost line
    for entry in book.timetable.entries() {
        let mut alone = Timetable::<N>::EMPTY;
        assert!(alone.put(entry).is_ok());
        alone.check(&head, None, now, &mut |refusal| {
            assert!(!matches!(refusal, Refusal::Field { .. }), "{refusal:?}: {entry:?}");
        });
    }
}
