//! The ledger's bytes as the device wrote them, slot by slot.

use std::collections::{BTreeMap, BTreeSet};

use dosewright_core::entry::EntryId;
use dosewright_core::ledger::{Class, Geometry, Payload, SLOT, Slot};
use dosewright_core::record::Record;

use super::dose::TICK_MS;

/// An instant is written at least so often, in device ms.
const STAMP_MS: i64 = 3_600_000;

/// What the loss of a record can put in doubt.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum About {
    /// An event of no consequence.
    Nothing,
    /// One entry's dues.
    Entry(EntryId),
    /// One entry's settings, until they are set anew.
    Line(EntryId),
    /// What the clock says.
    Clock,
    /// The head and its flow.
    Head,
    /// The timetable, or its ceiling.
    Timetable,
    /// The closed dates, until they are set anew.
    Closed,
    /// Which alarms are on.
    Alarms,
    /// What no setting brings back: deliveries, starts, an open dose.
    State,
}

impl About {
    fn of(record: &Record) -> Self {
        match record {
            Record::Pulse(p) => Self::Entry(p.due.id),
            Record::Born(b) => Self::Entry(b.due.id),
            Record::Outcome(o) => Self::Entry(o.due.id),
            Record::Staged(s) | Record::SnapEntry(s) => Self::Line(s.entry.id),
            Record::SnapLine { id, .. } => Self::Line(*id),
            // a start with the feed lost is what unset the clock
            Record::Clock { .. } | Record::SnapClock { .. } => Self::Clock,
            Record::Boot { feed_kept: false, .. } => Self::Clock,
            Record::Head { .. } | Record::SnapHead(_) | Record::Calibration { .. } => Self::Head,
            Record::StagedClosed(_) | Record::SnapClosed(_) => Self::Closed,
            Record::Adopted(_) => Self::Timetable,
            Record::Alarm { .. } => Self::Alarms,
            Record::Stamp { .. }
            | Record::Act { .. }
            | Record::Boot { .. }
            | Record::Container { .. }
            | Record::SnapStock(_)
            | Record::SnapTube(_)
            | Record::Pin { .. }
            | Record::SnapLock(_)
            | Record::Pack { .. }
            | Record::PackMeans { .. }
            | Record::Lit { .. }
            | Record::SnapGauge(_) => Self::Nothing,
            Record::Motor { .. }
            | Record::SnapGlobals { .. }
            | Record::SnapDeliveries(_)
            | Record::SnapStarts(_)
            | Record::SnapOpen { .. } => Self::State,
        }
    }
}

/// What a slot in force held.
#[derive(Debug, Clone, Copy)]
struct Held {
    seq: u32,
    about: About,
}

/// A slot that cannot be read.
#[derive(Debug, Clone, Copy)]
struct Damaged {
    /// The last number before it was damaged.
    before: u32,
    held: Option<Held>,
    /// It is whole, and the start that is under way has misread it.
    misread: bool,
}

/// What a written slot turned out to be.
#[derive(Debug)]
pub(crate) enum Seen {
    /// Nothing to judge.
    Nothing,
    /// An appended record.
    Record,
    /// A sector begins, and with it a snapshot.
    Header,
    /// A record of a snapshot that is not in force yet.
    Snapshot,
    /// The snapshot before it is in force.
    Sealed,
    /// A slot that cannot be read, and what it held before.
    Damaged(Option<About>),
    /// A write that left nothing: the memory did not take it.
    Unwritten,
    /// A second slot of the last record.
    Again,
    /// A slot that is whole and yet says nothing that a record can say.
    Unreadable,
    /// The sequence number does not rise.
    OutOfOrder { seq: u32, after: u32 },
}

/// Follows the ledger.
#[derive(Debug)]
pub(crate) struct LedgerWatch {
    geometry: Geometry,
    /// By slot, from the ledger's start on.
    held: Vec<Option<Held>>,
    /// Slots that cannot be read, by address.
    damaged: BTreeMap<u32, Damaged>,
    /// Slots that a write left blank, and that were passed over if one after them is not.
    blank: BTreeSet<u32>,
    /// Slots that were not blank after the last erase of their sector, which nothing was
    /// written to since.
    left: BTreeSet<u32>,
    /// Where a start has read the ledger and has not written that it began: the slots that did
    /// not take what it wrote since. To it they are none that are lost.
    of_start: Option<BTreeSet<u32>>,
    last_seq: u32,
    /// That of the last record, or seal: what has a later one was never in force.
    seq_in_force: u32,
    /// The highest there was.
    highest_seq: u32,
    /// What was written last, and what it is about if it is a record.
    last: Option<(Class, Payload)>,
    last_about: Option<About>,
    /// The one at `last_record` is to have a second slot.
    last_goes_twice: bool,
    snapshot_from: u32,
    /// The sector that is in force.
    in_force: Option<u32>,
    /// Where the last record stands, and the last intent of a pulse.
    last_record: u32,
    last_intent: u32,
    /// Slots after the last intent that could not be read in a sector that is in
    /// force no more.
    left_behind: u32,
    /// The instant of the last record that carries one.
    pub(crate) last_at: i64,
}

impl LedgerWatch {
    pub(crate) fn new(geometry: Geometry) -> Self {
        Self {
            geometry,
            held: Vec::new(),
            damaged: BTreeMap::new(),
            blank: BTreeSet::new(),
            left: BTreeSet::new(),
            of_start: None,
            last_seq: 0,
            seq_in_force: 0,
            highest_seq: 0,
            last: None,
            last_about: None,
            last_goes_twice: false,
            snapshot_from: 0,
            in_force: None,
            last_record: 0,
            last_intent: 0,
            left_behind: 0,
            last_at: 0,
        }
    }

    fn sector(&self, address: u32) -> Option<u32> {
        address.checked_sub(self.geometry.start)?.checked_div(self.geometry.sector_bytes)
    }

    /// Which slot of the ring that is; `None` where the ring has none there.
    fn place(&self, address: u32) -> Option<usize> {
        let slots = usize::from(self.geometry.slots()) * usize::from(self.geometry.sectors);
        let place = address.checked_sub(self.geometry.start)? as usize / SLOT;
        (place < slots).then_some(place)
    }

    fn is_in_force(&self, address: u32) -> bool {
        self.sector(address) == self.in_force
    }

    fn is_sector_start(&self, address: u32) -> bool {
        let offset = address.wrapping_sub(self.geometry.start);
        self.geometry.sector_bytes != 0 && offset.is_multiple_of(self.geometry.sector_bytes)
    }

    /// Damaged slots of the sector in force after an address.
    fn damaged_after(&self, address: u32) -> u32 {
        let after = self.damaged.range(address.saturating_add(1)..);
        after.filter(|&(&at, _)| self.is_lost(at)).count() as u32
    }

    /// Whether a slot that says nothing was so when the last start read it.
    fn is_lost(&self, address: u32) -> bool {
        let is_of_start = self.of_start.as_ref().is_some_and(|slots| slots.contains(&address));
        self.sector(address) == self.in_force && !is_of_start
    }

    /// Slots that cannot be read after the last intent, at most. Those of a
    /// sector left since may or may not have been carried forward. One that a write left
    /// blank can be read, and says nothing all the same.
    pub(crate) fn unreadable(&self) -> u32 {
        let blank = self.blank.range(self.last_intent.saturating_add(1)..);
        let blank = blank.filter(|&&at| self.is_lost(at)).count() as u32;
        self.left_behind + self.damaged_after(self.last_intent) + blank
    }

    /// Whether a slot that cannot be read may have said that the pump runs.
    pub(crate) fn may_hide_a_run(&self) -> bool {
        self.left_behind > 0 || !self.damaged.is_empty()
    }

    /// Whether an instant may be the last that can be read: it comes hourly, and each slot
    /// that cannot be read may have held one.
    pub(crate) fn may_end_at(&self, at: i64) -> bool {
        let lost_ms = self.damaged.len() as i64 * STAMP_MS;
        (self.last_at - lost_ms - TICK_MS..=self.last_at + TICK_MS).contains(&at)
    }

    /// Slots that cannot be read after the last record, at least: its own second slot, if it
    /// has one, is none of them.
    pub(crate) fn tail(&self) -> u32 {
        let second = self.last_record.saturating_add(SLOT as u32);
        let is_own = self.last_goes_twice && self.damaged.contains_key(&second);
        self.damaged_after(self.last_record).saturating_sub(u32::from(is_own))
    }

    /// A sector was erased, but for these slots of it.
    pub(crate) fn erased(&mut self, address: u32, left: &[u32]) {
        let end = address.saturating_add(self.geometry.sector_bytes);
        self.left.retain(|at| !(address..end).contains(at));
        self.left.extend(left);
    }

    /// A sector that was erased is written to.
    fn begins(&mut self, address: u32) {
        let end = address.saturating_add(self.geometry.sector_bytes);
        self.damaged.retain(|at, _| !(address..end).contains(at));
        self.blank.retain(|at| !(address..end).contains(at));
        let slots = usize::from(self.geometry.slots());
        if let Some(first) = self.place(address) {
            self.held.iter_mut().skip(first).take(slots).for_each(|held| *held = None);
        }
        // what its erase left is no slot that can be written
        let damaged = Damaged { before: self.highest_seq, held: None, misread: false };
        self.damaged.extend(self.left.range(address..end).map(|&at| (at, damaged)));
        self.left.retain(|at| !(address..end).contains(at));
    }

    fn hold(&mut self, address: u32, held: Held) {
        if let Some(place) = self.place(address) {
            if self.held.len() <= place {
                self.held.resize(place + 1, None);
            }
            if let Some(slot) = self.held.get_mut(place) {
                *slot = Some(held);
            }
        }
        if !self.damaged.is_empty() {
            self.damaged.remove(&address);
        }
        if !self.blank.is_empty() {
            self.blank.remove(&address);
        }
    }

    /// A slot cannot be read, or not by the start that is under way.
    pub(crate) fn damage(&mut self, address: u32, misread: bool) -> Seen {
        let place = self.place(address);
        let held = place.and_then(|at| self.held.get_mut(at)).and_then(Option::take);
        let known = self.damaged.get(&address).and_then(|damaged| damaged.held);
        let damaged = Damaged { before: self.highest_seq, held: held.or(known), misread };
        self.damaged.insert(address, damaged);
        self.blank.remove(&address);
        // what stands in another slot as well is not lost
        let lost = held.filter(|held| self.held.iter().flatten().all(|h| h.seq != held.seq));
        Seen::Damaged(lost.map(|held| held.about))
    }

    /// What could not be read can be read again.
    pub(crate) fn mend(&mut self, address: u32) {
        if let Some(held) = self.damaged.remove(&address).and_then(|damaged| damaged.held) {
            self.hold(address, held);
        }
    }

    pub(crate) fn is_damaged(&self, address: u32) -> bool {
        self.damaged.contains_key(&address)
    }

    /// The logic stops. The next start goes on after what is in force: a snapshot that was
    /// never sealed is erased before its place is written again, and its numbers may come once
    /// more.
    pub(crate) fn stops(&mut self) {
        self.last_seq = self.seq_in_force;
    }

    /// The logic starts: what cannot be read from now on is not lost to it.
    pub(crate) fn starts(&mut self) {
        self.of_start = Some(BTreeSet::new());
    }

    /// Its start is in the ledger.
    pub(crate) fn started(&mut self) {
        self.of_start = None;
    }

    /// The sector whose seal stands here is in force.
    fn sealed(&mut self, address: u32) -> Seen {
        self.left_behind = self.unreadable();
        self.in_force = self.sector(address);
        (self.last_record, self.last_intent) = (address, address);
        self.last_goes_twice = false;
        let from = self.snapshot_from;
        let old = self.held.iter_mut().filter(|h| h.is_some_and(|h| h.seq < from));
        old.for_each(|held| *held = None);
        Seen::Sealed
    }

    /// Takes in a slot. The record that it holds is put down where there is a place for it:
    /// one is large, and not to be moved about.
    pub(crate) fn see(&mut self, address: u32, bytes: &[u8], record: &mut Option<Record>) -> Seen {
        let slot = match <&[u8; SLOT]>::try_from(bytes) {
            Ok(bytes) => Slot::decode(bytes),
            Err(_) => Slot::Damaged,
        };
        let is_as_before = !self.damaged.is_empty()
            && match slot {
                Slot::Good { seq, .. } => {
                    self.damaged.get(&address).is_some_and(|damaged| seq <= damaged.before)
                }
                Slot::Blank => self.is_in_force(address) && self.damaged.contains_key(&address),
                Slot::Damaged => false,
            };
        if is_as_before {
            // a bit that had flipped has flipped back
            self.mend(address);
            return Seen::Nothing;
        }
        let is_flipped = || matches!(slot, Slot::Damaged) && self.is_in_force(address);
        if self.is_sector_start(address) && !is_flipped() {
            // the sector was erased for this, which the one in force is not
            self.begins(address);
        }
        if let Some(of_start) = &mut self.of_start
            && !matches!(slot, Slot::Good { .. })
        {
            of_start.insert(address);
        }
        let (seq, class, payload) = match slot {
            Slot::Blank => {
                self.blank.insert(address);
                return Seen::Unwritten;
            }
            Slot::Damaged => return self.damage(address, false),
            Slot::Good { seq, class, payload } => (seq, class, payload),
        };
        if seq == self.last_seq && self.last == Some((class, payload)) {
            // a second slot of the same
            if let Some(about) = self.last_about {
                self.hold(address, Held { seq, about });
            }
            return match class {
                Class::Record => Seen::Again,
                Class::Seal => {
                    self.sealed(address);
                    Seen::Nothing
                }
                Class::Header | Class::Snapshot => Seen::Nothing,
            };
        }
        if seq <= self.last_seq {
            let after = self.last_seq;
            self.last_seq = seq;
            return Seen::OutOfOrder { seq, after };
        }
        (self.last_seq, self.last, self.last_about) = (seq, Some((class, payload)), None);
        self.highest_seq = self.highest_seq.max(seq);
        if matches!(class, Class::Record | Class::Seal) {
            self.seq_in_force = seq;
        }
        match class {
            Class::Header => {
                self.snapshot_from = seq;
                return Seen::Header;
            }
            Class::Seal => return self.sealed(address),
            Class::Snapshot | Class::Record => *record = Record::decode(&payload),
        }
        let Some(record) = record else { return Seen::Unreadable };
        let about = About::of(record);
        self.last_about = Some(about);
        // a blank slot that the start misread which writes it now may have been an intent to it
        let misread = self.damaged.get(&address).is_some_and(|damaged| damaged.misread);
        self.left_behind += u32::from(misread);
        self.hold(address, Held { seq, about });
        if class == Class::Snapshot {
            return Seen::Snapshot;
        }
        self.in_force = self.sector(address);
        // a start tells of the damage before it
        if !matches!(record, Record::Boot { .. }) {
            self.last_record = address;
            self.last_goes_twice = record.goes_twice();
        }
        if matches!(record, Record::Pulse(_)) {
            (self.last_intent, self.left_behind) = (address, 0);
        }
        Seen::Record
    }
}
