//! Reading the ledger in order, and again by position.

use embedded_storage::nor_flash::NorFlash;

use super::Ledger;
use super::slot::{Class, Payload, Slot};
use super::store::{Holds, Sector};

/// A slot's place. Positions are ordered as a scan gives them. One is
/// good until its sector is rolled over.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Position {
    age: u32,
    sector: u16,
    index: u16,
}

impl Position {
    /// The sector of the ring, from 0.
    pub const fn sector(self) -> u16 {
        self.sector
    }

    /// The slot in that sector, from 0.
    pub const fn index(self) -> u16 {
        self.index
    }
}

/// What a good slot holds.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Content {
    /// Its sequence number; it rises along a scan, not always by one.
    pub seq: u32,
    /// What the caller stored.
    pub payload: Payload,
}

/// One slot of a scan.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Entry {
    /// Where it is.
    pub position: Position,
    /// Snapshot or record. Of a damaged slot what should be there: header,
    /// snapshot (which a seal counts as), or record where that cannot be told.
    pub class: Class,
    /// What it holds; `None` where it is damaged. A cut write leaves such a slot
    /// too, and so does a passed-over one.
    pub content: Option<Content>,
}

/// How far a reading has come; the ledger is free between two steps.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Scan {
    sector: Option<Sector>,
    index: u16,
    last_seq: u32,
    is_history: bool,
}

impl<F: NorFlash> Ledger<F> {
    /// A reading of what the durable state is folded from: the snapshot of the
    /// base, then everything after it ([`Ledger::next`]).
    ///
    /// From [`Base::Older`](super::Base::Older) it goes through the older sector
    /// and then through the current one. Of the snapshot that the older one stands
    /// in for it gives what is damaged alone: what can be read of it is in the older
    /// sector too, and without the rest it would take away what that has.
    pub fn scan(&self) -> Scan {
        let sector = Some(self.older.unwrap_or(self.current));
        Scan { sector, index: 0, last_seq: 0, is_history: false }
    }

    /// A reading of everything that is still in the ring, oldest first; for
    /// reports. It begins anywhere: a sector may be half erased.
    pub fn history(&mut self) -> Scan {
        let sector = Some(self.sector_younger_than(0));
        Scan { sector, index: 0, last_seq: 0, is_history: true }
    }

    /// The next slot of a reading, damaged ones included; the ledger's own
    /// slots are left out, and so are blank ones after the last that was
    /// written.
    pub fn next(&mut self, scan: &mut Scan) -> Option<Entry> {
        // bounded: each step takes one slot, and sectors come in rising age
        while let Some(sector) = scan.sector {
            let stood_in_for =
                !scan.is_history && self.older.is_some_and(|older| older.number != sector.number);
            while scan.index < self.store.geometry.slots() {
                let index = scan.index;
                scan.index = index.saturating_add(1);
                let slot = self.store.read(sector.number, index, index >= sector.used);
                if let Some((class, content)) = classify(slot, sector, index, &mut scan.last_seq)
                    && !(content.is_some() && class == Class::Snapshot && stood_in_for)
                {
                    let position = Position { age: sector.age, sector: sector.number, index };
                    return Some(Entry { position, class, content });
                }
            }
            scan.index = 0;
            scan.sector = if sector.age >= self.current.age {
                None
            } else if scan.is_history {
                Some(self.sector_younger_than(sector.age))
            } else {
                Some(self.current)
            };
        }
        None
    }

    /// Each record that the ring still has, with its number, which rises with time; in
    /// the order of their places, which does not. Of one that an append passed over
    /// there may be two copies.
    pub fn each_record(&mut self, mut each: impl FnMut(u32, &Payload)) {
        let geometry = self.store.geometry;
        for sector in 0..geometry.sectors {
            for index in 0..geometry.slots() {
                if let Slot::Good { seq, class: Class::Record, payload } =
                    &self.store.read(sector, index, true)
                {
                    each(*seq, payload);
                }
            }
        }
    }

    /// What the slot at a position holds now. An append that passed over a
    /// slot can have left a copy of itself there, of the same number.
    pub fn read_at(&mut self, position: Position) -> Slot {
        let Position { sector, index, .. } = position;
        if sector >= self.store.geometry.sectors || index >= self.store.geometry.slots() {
            return Slot::Damaged;
        }
        self.store.read(sector, index, false)
    }

    /// The slot before a position, whatever it holds, back to the beginning of
    /// what [`Ledger::scan`] reads.
    pub fn before(&self, position: Position) -> Option<Position> {
        if let Some(index) = position.index.checked_sub(1) {
            return Some(Position { index, ..position });
        }
        let Sector { number: sector, age, used, .. } =
            self.older.filter(|older| older.age < position.age)?;
        Some(Position { age, sector, index: used.checked_sub(1)? })
    }

    /// The sealed sector with the least age above this one; the current one
    /// where there is none before it.
    fn sector_younger_than(&mut self, age: u32) -> Sector {
        let mut age = age;
        for _ in 0..self.store.geometry.sectors {
            let mut least = self.current.age;
            let mut found = None;
            for sector in 0..self.store.geometry.sectors {
                if let Holds::Sector(its) | Holds::Slots(its) = self.store.probe(sector, &mut None)
                    && its > age
                    && its < least
                {
                    least = its;
                    found = Some(sector);
                }
            }
            let Some(sector) = found else { break };
            let survey = self.store.survey(sector, None);
            if survey.sealed {
                // with the age that the probe went by, so that the order holds
                return Sector { age: least, ..survey.sector };
            }
            age = least;
        }
        self.current
    }
}

/// What a scan gives for a slot, if anything.
fn classify(
    slot: Slot,
    sector: Sector,
    index: u16,
    last_seq: &mut u32,
) -> Option<(Class, Option<Content>)> {
    match slot {
        Slot::Blank if index >= sector.used => return None,
        Slot::Good { seq, class, payload } if seq >= *last_seq => {
            let is_copy = seq == *last_seq;
            *last_seq = seq;
            let is_own = matches!(class, Class::Header | Class::Seal);
            return (!is_copy && !is_own).then_some((class, Some(Content { seq, payload })));
        }
        // a good slot out of order is left over from before the erase
        Slot::Blank | Slot::Damaged | Slot::Good { .. } => {}
    }
    let class = match index {
        0 if sector.records_from > 0 => Class::Header,
        _ if index < sector.records_from => Class::Snapshot,
        _ => Class::Record,
    };
    Some((class, None))
}
