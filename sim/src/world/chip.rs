//! The device's clock chip: what it counts while true time passes.

/// A count that runs a little faster or slower than true time.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Chip {
    /// True ms at which the count was `count_ms`.
    true_ms: u64,
    count_ms: i64,
    /// Parts per billion by which it counts faster than true time.
    pub(super) rate_ppb: i64,
}

impl Chip {
    pub(super) const fn new(true_ms: u64, count_ms: i64, rate_ppb: i64) -> Self {
        Self { true_ms, count_ms, rate_ppb }
    }

    /// The count at a true time, not before the one it was set at.
    pub(super) fn count(&self, true_ms: u64) -> i64 {
        let passed = true_ms.saturating_sub(self.true_ms);
        self.count_ms.saturating_add(self.counted(passed))
    }

    fn counted(&self, passed_ms: u64) -> i64 {
        let passed = passed_ms as i64;
        if self.rate_ppb == 0 {
            return passed;
        }
        let gained = (i128::from(passed) * i128::from(self.rate_ppb)).div_euclid(1_000_000_000);
        passed.saturating_add(gained as i64)
    }

    /// The first true time at which the count has reached this.
    pub(super) fn when(&self, count_ms: i64) -> u64 {
        let to_count = count_ms.saturating_sub(self.count_ms);
        if to_count <= 0 {
            return self.true_ms;
        }
        let mut passed = to_count as u64;
        if self.rate_ppb != 0 {
            let scaled = i128::from(to_count) * 1_000_000_000;
            passed = (scaled / (1_000_000_000 + i128::from(self.rate_ppb))) as u64;
            // the division is within a step of the first ms that counts so far
            while self.counted(passed) >= to_count && passed > 0 {
                passed -= 1;
            }
            while self.counted(passed) < to_count {
                passed += 1;
            }
        }
        self.true_ms.saturating_add(passed)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_first_moment_of_a_count_is_found_either_way() {
        for rate_ppb in [0, 20_000, -20_000, 41_650_000, -13_600, 999] {
            let chip = Chip::new(77, 1000, rate_ppb);
            for count in (1000..40_000).step_by(7).chain([10_000_000_001]) {
                let at = chip.when(count);
                assert!(chip.count(at) >= count, "{rate_ppb} {count}");
                assert!(at == 77 || chip.count(at - 1) < count, "{rate_ppb} {count}");
            }
        }
    }

    #[test]
    fn twenty_ppm_are_1_728_seconds_a_day() {
        // arithmetic: 86 400 s x 20e-6
        let chip = Chip::new(0, 0, 20_000);
        assert_eq!(chip.count(86_400_000), 86_401_728);
    }
}
