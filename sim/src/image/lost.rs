//! Records that cannot be read, where the numbers of those beside them tell that they were
//! there; and sectors of records that were overwritten before older ones.

use dosewright_core::ledger::{Class, Geometry, SLOT, Slot};
use dosewright_core::record::Record;

use super::found::said;

/// The first number that is missing, and how many are.
pub(super) type Gap = (u32, u32);

/// The gaps of a memory, in the order of their numbers. A write that a loss of supply cut
/// short is none: it is followed by the start that came after it.
pub(super) fn gaps(memory: &[u8], geometry: &Geometry) -> Vec<Gap> {
    let mut gaps = Vec::new();
    for sector in memory.chunks(geometry.sector_bytes.max(1) as usize) {
        // the last whole slot, where it is a record or what comes right before the first
        let mut last: Option<u32> = None;
        let mut damaged = 0_u32;
        for slot in sector.as_chunks::<SLOT>().0 {
            match Slot::decode(slot) {
                Slot::Blank => {}
                Slot::Damaged => damaged += 1,
                Slot::Good { seq, class, payload } => {
                    let record = matches!(class, Class::Record).then(|| Record::decode(&payload));
                    let is_start = matches!(record, Some(Some(Record::Boot { .. })));
                    let missing = last.map_or(0, |last| seq.saturating_sub(last).saturating_sub(1));
                    let count = missing.min(damaged);
                    if let (Some(last), Some(_), false) = (last, record, is_start || count == 0) {
                        gaps.push((last.saturating_add(1), count));
                    }
                    last = matches!(class, Class::Record | Class::Seal).then_some(seq);
                    damaged = 0;
                }
            }
        }
    }
    gaps.sort_unstable();
    gaps
}

/// The numbers from which on records go on after others that were overwritten, though older
/// ones than those still stand: a sector that takes no erase any more keeps what it holds, and
/// the ring goes on in the others. A seal names the sector that was in force before its own.
pub(super) fn overwritten(memory: &[u8], geometry: &Geometry) -> Vec<u32> {
    let mut records: Vec<u32> = Vec::new();
    // the number of each sector's header, and of that of the sector before it
    let mut sectors: Vec<(u32, u32)> = Vec::new();
    for sector in memory.chunks(geometry.sector_bytes.max(1) as usize) {
        for slot in sector.as_chunks::<SLOT>().0 {
            match Slot::decode(slot) {
                Slot::Good { seq, class: Class::Record, .. } => records.push(seq),
                Slot::Good { seq, class: Class::Seal, payload } => {
                    sectors.extend(link(seq, &payload));
                }
                _ => {}
            }
        }
    }
    let is_gone = |(age, before): &(u32, u32)| {
        records.iter().any(|seq| seq < before)
            && !records.iter().any(|seq| (before..age).contains(&seq))
    };
    let mut out: Vec<u32> =
        sectors.iter().filter(|sector| is_gone(sector)).map(|(age, _)| *age).collect();
    out.sort_unstable();
    out
}

/// What a seal says: the number of its sector's header, and of that of the sector before.
fn link(seal: u32, payload: &[u8]) -> Option<(u32, u32)> {
    let said = said(payload)?;
    let age = seal.checked_sub(u32::from(said.snapshot) + 1)?;
    Some((age, said.previous?))
}
