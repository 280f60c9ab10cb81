//! Mutation of bytes from a seed, for the runs that have no fuzzer.

use crate::dice::Dice;

/// Changes bytes in one to eight places: flips, runs set to one byte, copies from
/// elsewhere, swaps of whole 64 byte slots, cuts of the end.
pub fn mutate(bytes: &mut Vec<u8>, dice: &mut Dice) {
    for _ in 0..=dice.below(8) {
        let (at, length) = (dice.below(bytes.len()), dice.below(96));
        let end = (at + length).min(bytes.len());
        match dice.below(8) {
            0..=2 => {
                if let Some(byte) = bytes.get_mut(at) {
                    *byte ^= 1 << dice.below(8);
                }
            }
            3 => {
                let fill = [0, 0xff, dice.roll() as u8][dice.below(3)];
                bytes[at..end].fill(fill);
            }
            4 => {
                let from = dice.below(bytes.len().saturating_sub(end - at));
                bytes.copy_within(from..from + (end - at), at);
            }
            5 => {
                for byte in &mut bytes[at..end] {
                    *byte = dice.roll() as u8;
                }
            }
            6 => {
                let slots = bytes.len() / 64;
                let (a, b) = (dice.below(slots), dice.below(slots));
                for offset in 0..64.min(bytes.len()) {
                    bytes.swap(a * 64 + offset, b * 64 + offset);
                }
            }
            _ => {
                if dice.below(4) == 0 {
                    bytes.truncate(at);
                }
            }
        }
        if bytes.is_empty() {
            return;
        }
    }
}
