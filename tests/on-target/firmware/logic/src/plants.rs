//! Mistakes to plant, each behind a feature: what the checks of this image have to find.

/// Does what was planted; without such a feature nothing.
pub fn act() {
    #[cfg(feature = "plant-panic")]
    crate::board::put([1, 2, 3][crate::board::get() as usize]);
    #[cfg(feature = "plant-float")]
    crate::board::put((crate::board::get() as f32 * 1.5) as u32);
    #[cfg(feature = "plant-allocator")]
    crate::board::put(malloc(crate::board::get()));
    #[cfg(feature = "plant-copy")]
    copy();
    #[cfg(feature = "plant-recursion")]
    crate::board::put(sum(crate::board::get()));
}

/// Stands for an allocator's symbol: no allocator can be linked without `alloc`.
#[cfg(feature = "plant-allocator")]
#[unsafe(no_mangle)]
#[inline(never)]
extern "C" fn malloc(size: u32) -> u32 {
    crate::board::get().wrapping_add(size)
}

#[cfg(feature = "plant-copy")]
fn copy() {
    let from = core::array::from_fn::<u8, 512, _>(|_| crate::board::get() as u8);
    let to = core::hint::black_box(from);
    core::hint::black_box(&to);
}

#[cfg(feature = "plant-recursion")]
fn sum(left: u32) -> u32 {
    let next = crate::board::get();
    if left == 0 { next } else { next ^ core::hint::black_box(sum(left - 1)) }
}
