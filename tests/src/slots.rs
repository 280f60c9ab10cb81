//! What a device's memory holds, slot by slot, and damage to it.

use dosewright_core::ledger::{Class, SLOT, Slot};
use dosewright_core::record::{Outcome, Record};
use dosewright_sim::world::flash::NorMock;

/// The slots whose check holds and which hold a record: number, class, and what it says.
pub fn all(memory: &[u8]) -> impl Iterator<Item = (usize, Class, Record)> + '_ {
    memory.chunks_exact(SLOT).enumerate().filter_map(|(index, slot)| {
        let Slot::Good { payload, class, .. } = Slot::decode(slot.try_into().ok()?) else {
            return None;
        };
        Some((index, class, Record::decode(&payload)?))
    })
}

/// The records of them, each with the number of its slot.
pub fn records(memory: &[u8]) -> impl Iterator<Item = (usize, Record)> + '_ {
    all(memory).map(|(index, _, record)| (index, record))
}

/// The outcomes among them.
pub fn outcomes(memory: &[u8]) -> impl Iterator<Item = Outcome> + '_ {
    records(memory).filter_map(|(_, record)| match record {
        Record::Outcome(outcome) => Some(outcome),
        _ => None,
    })
}

/// Flips a bit of every record that is picked, by its slot or what it says; how many.
pub fn damage<const W: usize, const E: usize>(
    flash: &mut NorMock<W, E>,
    pick: impl Fn(usize, &Record) -> bool,
) -> usize {
    let picked: Vec<usize> = records(flash.bytes())
        .filter(|(index, record)| pick(*index, record))
        .map(|(index, _)| index)
        .collect();
    for index in &picked {
        flash.flip_bit((index * SLOT + 20) as u32, 3);
    }
    picked.len()
}
