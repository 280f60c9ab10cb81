//! Records that cannot be read, where the numbers of those beside them tell that they were
//! there.

use dosewright_core::ledger::{Class, Geometry, SLOT, Slot};
use dosewright_core::record::Record;

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
