//! No dose of bacteria within two hours of bleach, quats or a boil-out (common
//! practice, no source).

/// Minutes to keep clear before and after (common practice, no source).
pub const CLEAR_MIN: u32 = 120;

/// The nearest start at or after `start` for which a dose of `length` minutes
/// keeps clear of every cleaning, by `clear` minutes on both sides. All times
/// in minutes from one origin; cleanings as begin and end.
pub fn first_clear(start: u32, length: u32, cleanings: &[(u32, u32)], clear: u32) -> u32 {
    let mut at = start;
    // each turn passes one cleaning at least, for good
    for _ in 0..=cleanings.len() {
        let hit = cleanings
            .iter()
            .find(|(begin, end)| at + length > begin.saturating_sub(clear) && at < end + clear);
        match hit {
            Some((_, end)) => at = end + clear,
            None => return at,
        }
    }
    at
}

/// Whether a dose keeps clear.
pub fn is_clear(start: u32, length: u32, cleanings: &[(u32, u32)], clear: u32) -> bool {
    first_clear(start, length, cleanings, clear) == start
}
