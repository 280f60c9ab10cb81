//! Little-endian fields in a fixed buffer, without a way to panic: a write past
//! the end is dropped and told of, a read past the end is `None`.

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
        self.bytes(&[value]);
    }

    pub(crate) fn u16(&mut self, value: u16) {
        self.bytes(&value.to_le_bytes());
    }

    pub(crate) fn u32(&mut self, value: u32) {
        self.bytes(&value.to_le_bytes());
    }

    pub(crate) fn u64(&mut self, value: u64) {
        self.bytes(&value.to_le_bytes());
    }

    /// The low three bytes; a larger value is stored as the largest that fits.
    pub(crate) fn u24(&mut self, value: u32) {
        let [a, b, c, _] = value.min(0xff_ffff).to_le_bytes();
        self.bytes(&[a, b, c]);
    }

    /// The low five bytes; a larger value is stored as the largest that fits.
    pub(crate) fn u40(&mut self, value: u64) {
        let [a, b, c, d, e, ..] = value.min(0xff_ffff_ffff).to_le_bytes();
        self.bytes(&[a, b, c, d, e]);
    }

    /// Six bytes, two's complement; values outside are clamped to the ends.
    pub(crate) fn i48(&mut self, value: i64) {
        const MOST: i64 = (1 << 47) - 1;
        let [a, b, c, d, e, f, ..] = value.clamp(-MOST - 1, MOST).to_le_bytes();
        self.bytes(&[a, b, c, d, e, f]);
    }
}

/// Reads fields one after another.
pub(crate) struct Get<'a> {
    buffer: &'a [u8],
}

impl<'a> Get<'a> {
    pub(crate) const fn new(buffer: &'a [u8]) -> Self {
        Self { buffer }
    }

    pub(crate) fn array<const L: usize>(&mut self) -> Option<[u8; L]> {
        let (head, rest) = self.buffer.split_first_chunk::<L>()?;
        self.buffer = rest;
        Some(*head)
    }

    pub(crate) fn u8(&mut self) -> Option<u8> {
        self.array::<1>().map(|[a]| a)
    }

    pub(crate) fn u16(&mut self) -> Option<u16> {
        self.array().map(u16::from_le_bytes)
    }

    pub(crate) fn u32(&mut self) -> Option<u32> {
        self.array().map(u32::from_le_bytes)
    }

    pub(crate) fn u64(&mut self) -> Option<u64> {
        self.array().map(u64::from_le_bytes)
    }

    pub(crate) fn u24(&mut self) -> Option<u32> {
        self.array::<3>().map(|[a, b, c]| u32::from_le_bytes([a, b, c, 0]))
    }

    pub(crate) fn u40(&mut self) -> Option<u64> {
        self.array::<5>().map(|[a, b, c, d, e]| u64::from_le_bytes([a, b, c, d, e, 0, 0, 0]))
    }

    pub(crate) fn i48(&mut self) -> Option<i64> {
        let [a, b, c, d, e, f] = self.array()?;
        let sign = if f & 0x80 == 0 { 0 } else { 0xff };
        Some(i64::from_le_bytes([a, b, c, d, e, f, sign, sign]))
    }

    /// Whether all that is left is zeros: what an encoder leaves behind.
    pub(crate) fn rest_is_zero(&self) -> bool {
        self.buffer.iter().all(|&byte| byte == 0)
    }
}
