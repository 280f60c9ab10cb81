//! No dose of bacteria within two hours of bleach, quats or a boil-out (common
//! practice, no source).

/// Minutes to keep clear before and after unless said (common practice, no source).
pub const CLEAR_MIN: u32 = 120;

/// Whether a dose of `length` minutes keeps `clear` minutes away, on both sides, from a
/// cleaning. All times in minutes from one origin; the cleaning as begin and end.
pub const fn is_clear(start: u32, length: u32, (begin, end): (u32, u32), clear: u32) -> bool {
    start + length <= begin.saturating_sub(clear) || start >= end + clear
}
