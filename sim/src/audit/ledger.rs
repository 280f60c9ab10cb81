//! The ledger's bytes as the device wrote them, slot by slot.

use std::collections::HashMap;

use dosewright_core::ledger::{Class, Geometry, SLOT, Slot};
use dosewright_core::record::{DueKey, Record};

/// What a slot in force held.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Held {
    seq: u32,
    /// The due it is about, where it is about one.
    pub(crate) due: Option<DueKey>,
    /// Whether it holds settings or state that concern more than one due.
    pub(crate) wide: bool,
}

/// What a written slot turned out to be.
#[derive(Debug)]
#[allow(clippy::large_enum_variant)]
pub(crate) enum Seen {
    /// Nothing to judge.
    Nothing,
    /// An appended record.
    Record(Record),
    /// A record of a snapshot that is not in force yet.
    Snapshot(Record),
    /// The snapshot before it is in force.
    Sealed,
    /// A slot that cannot be read, and what it held before.
    Damaged(Option<Held>),
    /// A slot that is whole and yet says nothing that a record can say.
    Unreadable,
    /// The sequence number does not rise.
    OutOfOrder { seq: u32, after: u32 },
}

/// Follows the ledger.
#[derive(Debug)]
pub(crate) struct LedgerWatch {
    geometry: Geometry,
    held: HashMap<u32, Held>,
    last_seq: u32,
    snapshot_from: u32,
    /// The sector that is in force.
    in_force: Option<u32>,
    /// The instant of the last record that carries one.
    pub(crate) last_at: i64,
    /// Slots that cannot be read, written after the last intent of a pulse.
    pub(crate) unreadable: u32,
    /// Those of them that no readable record follows.
    pub(crate) tail: u32,
}

impl LedgerWatch {
    pub(crate) fn new(geometry: Geometry) -> Self {
        Self {
            geometry,
            held: HashMap::new(),
            last_seq: 0,
            snapshot_from: 0,
            in_force: None,
            last_at: 0,
            unreadable: 0,
            tail: 0,
        }
    }

    fn sector(&self, address: u32) -> Option<u32> {
        address.wrapping_sub(self.geometry.start).checked_div(self.geometry.sector_bytes)
    }

    fn is_sector_start(&self, address: u32) -> bool {
        let offset = address.wrapping_sub(self.geometry.start);
        self.geometry.sector_bytes != 0 && offset.is_multiple_of(self.geometry.sector_bytes)
    }

    /// Takes in a slot.
    pub(crate) fn see(&mut self, address: u32, bytes: &[u8]) -> Seen {
        let slot = match <&[u8; SLOT]>::try_from(bytes) {
            Ok(bytes) => Slot::decode(bytes),
            Err(_) => Slot::Damaged,
        };
        if self.is_sector_start(address) {
            // the sector was erased for this
            let sector = address..address.saturating_add(self.geometry.sector_bytes);
            self.held.retain(|at, _| !sector.contains(at));
        }
        let (seq, class, payload) = match slot {
            Slot::Blank => return Seen::Nothing,
            Slot::Damaged => {
                // what is torn in a sector that is being filled is no record
                if self.in_force == self.sector(address) {
                    self.unreadable += 1;
                    self.tail += 1;
                }
                return Seen::Damaged(self.held.remove(&address));
            }
            Slot::Good { seq, class, payload } => (seq, class, payload),
        };
        if seq <= self.last_seq {
            let after = self.last_seq;
            self.last_seq = seq;
            return Seen::OutOfOrder { seq, after };
        }
        self.last_seq = seq;
        let record = match class {
            Class::Header => {
                self.snapshot_from = seq;
                return Seen::Nothing;
            }
            Class::Seal => {
                self.in_force = self.sector(address);
                self.tail = 0;
                let from = self.snapshot_from;
                self.held.retain(|_, held| held.seq >= from);
                return Seen::Sealed;
            }
            Class::Snapshot | Class::Record => Record::decode(&payload),
        };
        let Some(record) = record else { return Seen::Unreadable };
        let due = match &record {
            Record::Pulse(p) => Some(p.due),
            Record::Born(b) => Some(b.due),
            Record::Outcome(o) => Some(o.due),
            _ => None,
        };
        let harmless =
            matches!(record, Record::Stamp { .. } | Record::Act { .. } | Record::Boot { .. });
        let wide = due.is_none() && !harmless;
        self.held.insert(address, Held { seq, due, wide });
        if class == Class::Record {
            self.in_force = self.sector(address);
        }
        if class == Class::Snapshot {
            return Seen::Snapshot(record);
        }
        if matches!(record, Record::Pulse(_)) {
            self.unreadable = 0;
        }
        if !matches!(record, Record::Boot { .. }) {
            self.tail = 0;
        }
        Seen::Record(record)
    }
}
