//! What a device's memory holds, slot by slot, and damage to it.

use dosewright_core::ledger::{Class, SLOT, Slot};
use dosewright_core::record::{Outcome, Record};
use dosewright_sim::world::flash::NorMock;

/// A slot whose check holds, and which holds a record.
pub struct Whole {
    /// Its number.
    pub index: usize,
    /// The record's.
    pub seq: u32,
    /// What it is of.
    pub class: Class,
    /// What it says.
    pub record: Record,
}

/// All of them.
pub fn whole(memory: &[u8]) -> impl Iterator<Item = Whole> + '_ {
    memory.chunks_exact(SLOT).enumerate().filter_map(|(index, slot)| {
        let Slot::Good { seq, payload, class } = Slot::decode(slot.try_into().ok()?) else {
            return None;
        };
        Some(Whole { index, seq, class, record: Record::decode(&payload)? })
    })
}

/// Those of records that stand in two slots once.
fn first(memory: &[u8]) -> impl Iterator<Item = Whole> + '_ {
    let mut last = None;
    whole(memory).filter(move |slot| last.replace(slot.seq) != Some(slot.seq))
}

/// The records, each with the number of its first slot.
pub fn records(memory: &[u8]) -> impl Iterator<Item = (usize, Record)> + '_ {
    first(memory).map(|slot| (slot.index, slot.record))
}

/// The outcomes among them.
pub fn outcomes(memory: &[u8]) -> impl Iterator<Item = Outcome> + '_ {
    records(memory).filter_map(|(_, record)| match record {
        Record::Outcome(outcome) => Some(outcome),
        _ => None,
    })
}

/// Flips a bit of every record that is picked, by its first slot or what it says, wherever it
/// stands; how many.
pub fn damage<const W: usize, const E: usize>(
    flash: &mut NorMock<W, E>,
    pick: impl Fn(usize, &Record) -> bool,
) -> usize {
    let memory = flash.bytes().to_vec();
    let picked: Vec<u32> =
        first(&memory).filter(|slot| pick(slot.index, &slot.record)).map(|slot| slot.seq).collect();
    for slot in whole(&memory).filter(|slot| picked.contains(&slot.seq)) {
        flash.flip_bit((slot.index * SLOT + 20) as u32, 3);
    }
    picked.len()
}
