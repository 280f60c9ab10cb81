//! The ring of slots on the flash: reading, surveying and filling one sector.

use embedded_storage::nor_flash::NorFlash;

use super::geometry::Geometry;
use super::header::{Header, Judged, Link};
use super::slot::{BODY, Class, Payload, SLOT, Sight, Slot};

/// How many slots in a row a write tries before it gives the sector up (M2).
pub const TRIES: u16 = 8;
/// How many times a slot is read, as long as it is neither blank nor whole, before it counts
/// as damaged (M2): what one reading alone gets wrong is not the memory's.
pub const READS: u8 = 3;

/// The flash and the place of the ring in it; the geometry has passed its check.
#[derive(Clone, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(super) struct Store<F> {
    pub(super) flash: F,
    pub(super) geometry: Geometry,
    pub(super) passed_over: u32,
}

/// What is known of a sector in force.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(super) struct Sector {
    pub(super) number: u16,
    /// The sequence number it begins with: sectors are ordered by it.
    pub(super) age: u32,
    /// Where the next slot goes.
    pub(super) used: u16,
    /// How many of the used slots cannot be read.
    pub(super) unreadable: u16,
    /// The first slot that can hold a record.
    pub(super) records_from: u16,
}

/// What a short look at a sector finds.
pub(super) enum Holds {
    Blank,
    /// A header or seal of this store.
    Sector(u32),
    /// Good slots, but no header nor seal: half erased, or damaged.
    Slots(u32),
    Version(u16),
    OtherGeometry {
        sector_bytes: u32,
        sectors: u16,
    },
    /// Not blank, and nothing readable in it.
    Garbage,
}

/// What a full reading of a sector finds.
pub(super) struct Survey {
    pub(super) sector: Sector,
    /// The snapshot was once complete: a seal, or a record, is there.
    pub(super) sealed: bool,
    /// Every slot of the snapshot is good.
    pub(super) whole: bool,
    /// It is in an older version of the format.
    pub(super) older: bool,
    pub(super) previous: Option<Link>,
    /// The sequence number that no slot in it can have.
    pub(super) next_seq: u32,
}

pub(super) enum WriteError<E> {
    /// [`TRIES`] slots in a row did not take it.
    Worn,
    /// No slot is left in the sector.
    End,
    /// The snapshot came out shorter than it was counted.
    Uneven,
    Flash(E),
}

impl<F: NorFlash> Store<F> {
    /// The address of a slot. It cannot wrap: the geometry was checked
    /// against the flash's size.
    fn address(&self, sector: u16, index: u16) -> u32 {
        let sector_start = u32::from(sector).wrapping_mul(self.geometry.sector_bytes);
        let slot_start = u32::from(index).wrapping_mul(SLOT as u32);
        self.geometry.start.wrapping_add(sector_start).wrapping_add(slot_start)
    }

    /// Reads a slot's bytes, and gives the first of [`READS`] readings that makes sense: one
    /// that is good, or blank. Where a blank slot is not what is to be expected, two that are.
    #[cfg_attr(not(target_pointer_width = "32"), inline)]
    fn fetch(
        &mut self,
        address: u32,
        mut may_be_blank: bool,
        bytes: &mut [u8; SLOT],
    ) -> Result<Sight, F::Error> {
        let mut left = READS;
        loop {
            let found = self.flash.read(address, bytes).map(|()| Sight::of(bytes));
            left = left.saturating_sub(1);
            let makes_sense = match found {
                Ok(Sight::Good) => true,
                Ok(Sight::Blank) => core::mem::replace(&mut may_be_blank, true),
                Ok(Sight::Damaged) | Err(_) => false,
            };
            if makes_sense || left == 0 {
                return found;
            }
        }
    }

    fn try_read(&mut self, sector: u16, index: u16, may_be_blank: bool) -> Result<Slot, F::Error> {
        let mut bytes = [0; SLOT];
        let address = self.address(sector, index);
        Ok(self.fetch(address, may_be_blank, &mut bytes)?.slot(&bytes))
    }

    /// What a slot holds; one that the flash cannot read is damaged, so that
    /// the whole ones beside it are kept (M2).
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(super) fn read(&mut self, sector: u16, index: u16, may_be_blank: bool) -> Slot {
        self.try_read(sector, index, may_be_blank).unwrap_or(Slot::Damaged)
    }

    /// Looks at a sector until it is clear whose it is. The first error of the
    /// flash on the way is left in `failure`.
    pub(super) fn probe(&mut self, sector: u16, failure: &mut Option<F::Error>) -> Holds {
        let (mut dirty, mut first) = (false, None);
        for index in 0..self.geometry.slots() {
            match self.try_read(sector, index, true) {
                Ok(Slot::Blank) => {}
                Ok(Slot::Damaged) => dirty = true,
                Ok(Slot::Good { seq, class: Class::Snapshot, .. }) => {
                    first.get_or_insert(seq);
                }
                Ok(Slot::Good { seq, class: Class::Record, .. }) => {
                    return Holds::Slots(first.unwrap_or(seq));
                }
                Ok(Slot::Good { seq, class, payload }) => {
                    match Header::judge(&payload, &self.geometry, sector) {
                        Judged::Ours(header) => return Holds::Sector(age(class, seq, header)),
                        Judged::Version(version) => return Holds::Version(version),
                        Judged::Geometry { sector_bytes, sectors } => {
                            return Holds::OtherGeometry { sector_bytes, sectors };
                        }
                        Judged::Foreign => dirty = true,
                    }
                }
                Err(error) => {
                    dirty = true;
                    failure.get_or_insert(error);
                }
            }
        }
        match first {
            Some(seq) => Holds::Slots(seq),
            None if dirty => Holds::Garbage,
            None => Holds::Blank,
        }
    }

    /// Reads a whole sector. `used` is where it ended, where that is known;
    /// else it ends at the first blank slot after the last good one, for a
    /// slot beyond that can be damaged but was never written.
    pub(super) fn survey(&mut self, sector: u16, used: Option<u16>) -> Survey {
        let mut header = None;
        let mut own_age = None;
        let (mut first, mut last) = (None, None);
        let (mut has_record, mut has_seal, mut snapshot, mut records_from) =
            (false, false, 0u16, 0u16);
        // at the tail: no blank slot since the last good one
        let (mut end, mut unreadable, mut pending, mut at_tail) = (0, 0, 0, true);
        let (mut torn, mut unreadable_in_used) = (0, 0);
        for index in 0..self.geometry.slots() {
            // a blank slot may stand before the last good one: a write that left nothing passed
            // it over, and tried the next
            let slot = self.read(sector, index, pending >= TRIES);
            let next = index.saturating_add(1);
            match slot {
                Slot::Good { seq, class, payload } if last.is_none_or(|last| seq >= last) => {
                    let is_copy = last == Some(seq);
                    match class {
                        Class::Record => has_record = true,
                        Class::Snapshot => {
                            snapshot = snapshot.saturating_add(u16::from(!is_copy));
                            records_from = next;
                        }
                        Class::Header | Class::Seal => {
                            if let Judged::Ours(found) =
                                Header::judge(&payload, &self.geometry, sector)
                            {
                                own_age.get_or_insert(age(class, seq, found));
                                header.get_or_insert(found);
                                has_seal |= class == Class::Seal;
                                records_from = next;
                            }
                        }
                    }
                    first.get_or_insert(seq);
                    last = Some(seq);
                    unreadable += pending;
                    (end, pending, torn, at_tail) = (next, 0, 0, true);
                    continue;
                }
                Slot::Blank => {
                    at_tail = false;
                    pending += 1;
                }
                Slot::Damaged | Slot::Good { .. } => {
                    torn += 1;
                    if at_tail {
                        end = next;
                        unreadable += 1;
                    } else {
                        pending += 1;
                    }
                }
            }
            if used.is_some_and(|used| index < used) {
                unreadable_in_used += 1;
            }
        }
        let age = own_age.or(first).unwrap_or(0);
        let snapshot_slots = header.map(|header: Header| header.snapshot);
        if !has_seal && let Some(slots) = snapshot_slots {
            // what is missing of the snapshot, and the seal, stood there too
            let missing = slots.saturating_sub(snapshot).saturating_add(1);
            records_from = records_from.saturating_add(missing);
        }
        if let Some(used) = used {
            (end, unreadable) = (used, unreadable_in_used);
        }
        Survey {
            sector: Sector { number: sector, age, used: end, unreadable, records_from },
            sealed: has_record || has_seal,
            whole: snapshot_slots == Some(snapshot),
            older: header.is_some_and(|header| header.older),
            previous: header.and_then(|header| header.previous),
            // a damaged slot at the tail may have had a number of its own
            next_seq: last.unwrap_or(0).saturating_add(1).saturating_add(torn),
        }
    }

    /// Writes one slot at the first place from `sector.used` on that is blank
    /// and reads back as written (M2); what is passed over counts as used.
    pub(super) fn write(
        &mut self,
        sector: &mut Sector,
        class: Class,
        seq: u32,
        payload: &Payload,
    ) -> Result<(), WriteError<F::Error>> {
        let bytes = Slot::encode(class, seq, payload);
        let mut failure = None;
        for _ in 0..TRIES {
            if sector.used >= self.geometry.slots() {
                return Err(failure.map_or(WriteError::End, WriteError::Flash));
            }
            let address = self.address(sector.number, sector.used);
            sector.used = sector.used.saturating_add(1);
            match self.program(address, &bytes) {
                Ok(true) => return Ok(()),
                Ok(false) => {}
                Err(error) => failure = Some(error),
            }
            sector.unreadable = sector.unreadable.saturating_add(1);
            self.passed_over = self.passed_over.saturating_add(1);
        }
        Err(failure.map_or(WriteError::Worn, WriteError::Flash))
    }

    fn program(&mut self, address: u32, bytes: &[u8; SLOT]) -> Result<bool, F::Error> {
        let mut found = [0; SLOT];
        if self.fetch(address, true, &mut found)? != Sight::Blank {
            return Ok(false);
        }
        // what reads as it should is written, whatever a driver says of it: it would count
        // at the next start
        let written = self.flash.write(address, bytes);
        let mut read = Ok(());
        for _ in 0..READS {
            read = self.flash.read(address, &mut found);
            if read.is_ok() && found == *bytes {
                return Ok(true);
            }
        }
        written.and(read).map(|()| false)
    }

    /// Erases a sector. One that keeps a good slot is worn: what it keeps could
    /// be taken for the new contents. One that is blank is erased, whatever a driver says
    /// of it.
    pub(super) fn erase(&mut self, sector: u16) -> Result<(), WriteError<F::Error>> {
        let from = self.address(sector, 0);
        let to = from.wrapping_add(self.geometry.sector_bytes);
        let mut told = self.flash.erase(from, to).map_err(WriteError::Flash);
        for index in 0..self.geometry.slots() {
            let slot = self.read(sector, index, true);
            if let (Ok(()), Slot::Good { .. }) = (&told, &slot) {
                told = Err(WriteError::Worn);
            }
            if told.is_err() && slot != Slot::Blank {
                return told;
            }
        }
        Ok(())
    }

    /// Whether a sector reads blank from this slot on.
    pub(super) fn is_blank(&mut self, sector: u16, from: u16) -> bool {
        (from..self.geometry.slots()).all(|index| self.read(sector, index, true) == Slot::Blank)
    }

    /// Whether all that the ring holds is what a cut can leave of the first write of a first
    /// format: of its header each bit as it is to be, or blank.
    pub(super) fn holds_a_torn_header(&mut self) -> bool {
        // a field that is not known here is zero, and any bit of it may be blank; what the
        // checksum is then is not known either
        let header = Header { older: false, snapshot: 0, previous: None };
        let wanted = Slot::encode(Class::Header, 1, &header.encode(&self.geometry, 0));
        let mut found = [0; SLOT];
        self.flash.read(self.address(0, 0), &mut found).is_ok()
            && found.iter().zip(wanted).take(BODY).all(|(found, wanted)| found & wanted == wanted)
            && (0..self.geometry.sectors)
                .all(|sector| self.is_blank(sector, u16::from(sector == 0)))
    }

    /// Erases a sector, where it is not erased, and writes header, snapshot and seal into it,
    /// with consecutive numbers from `next_seq` on.
    pub(super) fn fill<I: Iterator<Item: Into<Payload>>>(
        &mut self,
        sector: u16,
        is_erased: bool,
        header: Header,
        snapshot: I,
        next_seq: &mut u32,
    ) -> Result<Sector, WriteError<F::Error>> {
        let own = header.encode(&self.geometry, sector);
        let age = *next_seq;
        let mut filled = Sector { number: sector, age, used: 0, unreadable: 0, records_from: 0 };
        let mut take = || {
            let seq = *next_seq;
            *next_seq = seq.saturating_add(1);
            seq
        };
        if !is_erased {
            self.erase(sector)?;
        }
        self.write(&mut filled, Class::Header, take(), &own)?;
        let mut written = 0;
        for payload in snapshot.take(usize::from(header.snapshot)) {
            self.write(&mut filled, Class::Snapshot, take(), &payload.into())?;
            written += 1;
        }
        if written != header.snapshot {
            return Err(WriteError::Uneven);
        }
        self.write(&mut filled, Class::Seal, take(), &own)?;
        filled.records_from = filled.used;
        if filled.used >= self.geometry.slots() {
            // passed over so many slots that no record would fit
            return Err(WriteError::Worn);
        }
        Ok(filled)
    }
}

/// The number of a sector's header, the same from its header and from its seal.
fn age(class: Class, seq: u32, header: Header) -> u32 {
    match class {
        Class::Seal => seq.saturating_sub(u32::from(header.snapshot)).saturating_sub(1),
        _ => seq,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_seal_gives_the_age_of_its_header() {
        let header = Header { older: false, snapshot: 3, previous: None };
        assert_eq!(age(Class::Header, 6, header), 6);
        assert_eq!(age(Class::Seal, 10, header), 6);
        assert_eq!(age(Class::Seal, 2, header), 0);
    }
}
