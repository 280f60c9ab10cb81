//! Numbers that are the same for the same seed.

/// A small generator (`SplitMix64`, public domain reference code by S. Vigna): all
/// that is asked of it is that the same seed gives the same bytes on every machine.
#[derive(Debug, Clone)]
pub struct Dice(u64);

impl Dice {
    /// From a seed.
    pub const fn new(seed: u64) -> Self {
        Self(seed)
    }

    /// The next 64 bits.
    pub const fn roll(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// A number below `end`; 0 where that is 0.
    pub const fn below(&mut self, end: usize) -> usize {
        if end == 0 { 0 } else { (self.roll() % end as u64) as usize }
    }

    /// A number from 0 up to 1.
    pub fn share(&mut self) -> f64 {
        (self.roll() >> 11) as f64 / (1_u64 << 53) as f64
    }

    /// A number from `least` up to `most`.
    pub fn between(&mut self, least: f64, most: f64) -> f64 {
        least + (most - least) * self.share()
    }

    /// A whole number from `least` to `most`, both of them among the numbers.
    pub fn whole(&mut self, least: u32, most: u32) -> u32 {
        least + (f64::from(most - least + 1) * self.share()) as u32
    }
}
