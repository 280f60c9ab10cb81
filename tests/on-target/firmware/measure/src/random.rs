//! Random numbers, the same in each run.

/// A 64-bit xorshift generator; shifts 13, 7, 17 (Marsaglia 2003, from memory).
pub struct Random(pub u64);

impl Random {
    fn next(&mut self) -> u32 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 >> 16) as u32
    }

    /// A number below a bound.
    pub fn below(&mut self, bound: u32) -> u32 {
        ((u64::from(self.next()) * u64::from(bound)) >> 32) as u32
    }

    /// Whether something of one chance in so many happens.
    pub fn one_in(&mut self, chances: u32) -> bool {
        self.below(chances) == 0
    }
}
