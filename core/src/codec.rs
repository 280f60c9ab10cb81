//! Little-endian fields in a fixed buffer, without a way to panic: a write past
//! the end is dropped and told of, so is a read past the end.
//!
//! A reader goes on after a field that is wrong and says so once, at the end:
//! asking after each field would cost a device more code than the fields do. For
//! the same reason a field is a call there, and in line on a host.

// in line, with the lengths known, a field is one load; else a good part of a pump edge
// goes into checks of lengths
#![allow(clippy::inline_always)]

use crate::time::Instant;

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
        const MOST: i64 = Instant::LAST.as_ms();
        self.number(value.clamp(-MOST - 1, MOST) as u64, 6);
    }
}

/// Reads fields one after another.
pub(crate) struct Get<'a> {
    buffer: &'a [u8],
    /// Whether every field so far was there and one that an encoder writes.
    pub(crate) ok: bool,
    /// Whether the figures of the settings so far are in their range and go together.
    pub(crate) in_range: bool,
}

impl<'a> Get<'a> {
    pub(crate) const fn new(buffer: &'a [u8]) -> Self {
        Self { buffer, ok: true, in_range: true }
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_field_takes_its_bytes_and_the_most_that_goes_into_them() {
        let mut bytes = [0xaa; 30];
        let mut p = Put::new(&mut bytes);
        p.u8(0x12);
        p.u16(0x1234);
        p.u24(0x12_3456);
        p.u24(0x100_0000);
        p.u40(0x12_3456_789a);
        p.u40(1 << 40);
        p.i48(-2);
        assert!(p.fits && p.written() == 25);
        p.u32(0x1234_5678);
        assert!(p.fits && p.written() == 29);
        p.u16(0xbbcc);
        assert!(!p.fits, "one byte has no room");
        let head = [0x12, 0x34, 0x12, 0x56, 0x34, 0x12, 0xff, 0xff, 0xff];
        assert_eq!(bytes[..9], head);
        assert_eq!(bytes[9..19], [0x9a, 0x78, 0x56, 0x34, 0x12, 0xff, 0xff, 0xff, 0xff, 0xff]);
        assert_eq!(bytes[19..25], [0xfe, 0xff, 0xff, 0xff, 0xff, 0xff]);
        assert_eq!(bytes[25..], [0x78, 0x56, 0x34, 0x12, 0xcc]);
        let mut g = Get::new(&bytes);
        assert_eq!((g.u8(), g.u16(), g.u24(), g.u24()), (0x12, 0x1234, 0x12_3456, 0xff_ffff));
        assert_eq!((g.u40(), g.u40(), g.i48()), (0x12_3456_789a, 0xff_ffff_ffff, -2));
        assert_eq!((g.u32(), g.is_over()), (0x1234_5678, false));
        assert_eq!((g.u8(), g.is_over(), g.ok), (0xcc, true, true));
        assert_eq!((g.u8(), g.ok), (0, false), "there is no more");
        let mut word = [0; 8];
        Put::new(&mut word).u64(u64::MAX - 5);
        assert_eq!(Get::new(&word).u64(), u64::MAX - 5);
    }

    #[test]
    fn a_signed_field_is_clamped_to_its_six_bytes() {
        const MOST: i64 = 0x7fff_ffff_ffff;
        for (value, stored) in [
            (MOST, MOST),
            (MOST + 1, MOST),
            (i64::MAX, MOST),
            (-MOST - 1, -MOST - 1),
            (-MOST - 2, -MOST - 1),
            (i64::MIN, -MOST - 1),
        ] {
            let mut bytes = [0; 6];
            Put::new(&mut bytes).i48(value);
            assert_eq!(Get::new(&bytes).i48(), stored, "{value}");
        }
    }

    #[test]
    fn what_is_wrong_is_told_once_at_the_end() {
        for (bytes, is, ok) in [([0, 0], false, true), ([1, 0], true, true), ([2, 0], false, false)]
        {
            let mut g = Get::new(&bytes);
            assert_eq!((g.bool(), g.ok), (is, ok), "{bytes:?}");
            assert_eq!((g.bool(), g.ok), (false, ok), "a good one after it mends nothing");
        }
        let mut g = Get::new(&[]);
        assert_eq!((g.or(Some(1), 2), g.ok, g.or(None, 2), g.ok), (1, true, 2, false));
        for (bytes, is_zero) in [
            ([0, 0, 0], true),
            ([1, 0, 0], false),
            ([0, 0, 1], false),
            ([1, 1, 0], false),
            ([1, 2, 0], false),
        ] {
            assert_eq!(Get::new(&bytes).rest_is_zero(), is_zero, "{bytes:?}");
        }
    }
}
