//! Little-endian fields in a fixed buffer, without a way to panic: a write past
//! the end is dropped and told of, so is a read past the end.
//!
//! A reader goes on after a field that is wrong and says so once, at the end:
//! asking after each field would cost a device more code than the fields do. For
//! the same reason a field is a call there, and in line on a host.

// in line, with the lengths known, a field is one load; else a good part of a pump edge
// goes into checks of lengths
#![allow(clippy::inline_always)]

/// Writes fields one after another.
pub(crate) struct Put<'a> {
    buffer: &'a mut [u8],
    at: usize,
    /// Whether everything written so far found room.
    pub(crate) fits: bool,
}

impl<'a> Put<'a> {
    pub(crate) fn new(buffer: &'a mut [u8]) -> Self {
        Self { buffer, at: 0, fits: true }
    }

    /// How many bytes were written.
    pub(crate) const fn written(&self) -> usize {
        self.at
    }

    /// The low `bytes` bytes of a number.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    #[cfg_attr(not(target_pointer_width = "32"), inline(always))]
    fn number(&mut self, value: u64, bytes: usize) {
        self.bytes(value.to_le_bytes().get(..bytes).unwrap_or_default());
    }

    /// The same for a number that a register of the device holds.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    #[cfg_attr(not(target_pointer_width = "32"), inline(always))]
    fn short(&mut self, value: u32, bytes: usize) {
        self.bytes(value.to_le_bytes().get(..bytes).unwrap_or_default());
    }

    #[cfg_attr(target_pointer_width = "32", inline(never))]
    #[cfg_attr(not(target_pointer_width = "32"), inline(always))]
    pub(crate) fn bytes(&mut self, bytes: &[u8]) {
        for &byte in bytes {
            match self.buffer.get_mut(self.at) {
                Some(place) => *place = byte,
                None => self.fits = false,
            }
            self.at += 1;
        }
    }

    pub(crate) fn u8(&mut self, value: u8) {
        self.short(u32::from(value), 1);
    }

    pub(crate) fn u16(&mut self, value: u16) {
        self.short(u32::from(value), 2);
    }

    pub(crate) fn u32(&mut self, value: u32) {
        self.short(value, 4);
    }

    pub(crate) fn u64(&mut self, value: u64) {
        self.number(value, 8);
    }

    /// The low three bytes; a larger value is stored as the largest that fits.
    pub(crate) fn u24(&mut self, value: u32) {
        self.short(value.min(0xff_ffff), 3);
    }

    /// The low five bytes; a larger value is stored as the largest that fits.
    pub(crate) fn u40(&mut self, value: u64) {
        self.number(value.min(0xff_ffff_ffff), 5);
    }

    /// Six bytes, two's complement; values outside are clamped to the ends.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    #[cfg_attr(not(target_pointer_width = "32"), inline(always))]
    pub(crate) fn i48(&mut self, value: i64) {
        const MOST: i64 = (1 << 47) - 1;
        self.number(value.clamp(-MOST - 1, MOST) as u64, 6);
    }
}

/// Reads fields one after another.
pub(crate) struct Get<'a> {
    buffer: &'a [u8],
    /// Whether every field so far was there and one that an encoder writes.
    pub(crate) ok: bool,
}

impl<'a> Get<'a> {
    pub(crate) const fn new(buffer: &'a [u8]) -> Self {
        Self { buffer, ok: true }
    }

    /// Fills `to` with the next bytes, with zeros where there are not so many.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    #[cfg_attr(not(target_pointer_width = "32"), inline(always))]
    fn fill(&mut self, to: &mut [u8]) {
        match self.buffer.split_at_checked(to.len()) {
            Some((head, rest)) => {
                for (to, from) in to.iter_mut().zip(head) {
                    *to = *from;
                }
                self.buffer = rest;
            }
            None => self.ok = false,
        }
    }

    pub(crate) fn array<const L: usize>(&mut self) -> [u8; L] {
        let mut bytes = [0; L];
        self.fill(&mut bytes);
        bytes
    }

    #[cfg_attr(target_pointer_width = "32", inline(never))]
    #[cfg_attr(not(target_pointer_width = "32"), inline(always))]
    fn short(&mut self, bytes: usize) -> u32 {
        let mut value = [0; 4];
        self.fill(value.get_mut(..bytes).unwrap_or_default());
        u32::from_le_bytes(value)
    }

    #[cfg_attr(target_pointer_width = "32", inline(never))]
    #[cfg_attr(not(target_pointer_width = "32"), inline(always))]
    fn number(&mut self, bytes: usize) -> u64 {
        let mut value = [0; 8];
        self.fill(value.get_mut(..bytes).unwrap_or_default());
        u64::from_le_bytes(value)
    }

    pub(crate) fn u8(&mut self) -> u8 {
        self.short(1) as u8
    }

    pub(crate) fn u16(&mut self) -> u16 {
        self.short(2) as u16
    }

    pub(crate) fn u32(&mut self) -> u32 {
        self.short(4)
    }

    pub(crate) fn u64(&mut self) -> u64 {
        self.number(8)
    }

    pub(crate) fn u24(&mut self) -> u32 {
        self.short(3)
    }

    pub(crate) fn u40(&mut self) -> u64 {
        self.number(5)
    }

    #[cfg_attr(target_pointer_width = "32", inline(never))]
    #[cfg_attr(not(target_pointer_width = "32"), inline(always))]
    pub(crate) fn i48(&mut self) -> i64 {
        // the sign is in the topmost of six bytes
        (self.number(6) << 16) as i64 >> 16
    }

    /// A byte that is 0 or 1.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    #[cfg_attr(not(target_pointer_width = "32"), inline(always))]
    pub(crate) fn bool(&mut self) -> bool {
        let byte = self.u8();
        self.ok &= byte <= 1;
        byte == 1
    }

    /// What a field says, or `instead` where no encoder writes what it holds.
    pub(crate) fn or<T>(&mut self, value: Option<T>, instead: T) -> T {
        value.unwrap_or_else(|| {
            self.ok = false;
            instead
        })
    }

    /// Whether nothing is left.
    pub(crate) const fn is_over(&self) -> bool {
        self.buffer.is_empty()
    }

    /// Whether all that is left is zeros: what an encoder leaves behind.
    pub(crate) fn rest_is_zero(&self) -> bool {
        // all of it at once: a stop at the first would look at byte by byte
        self.buffer.iter().fold(0, |all, byte| all | byte) == 0
    }
}
