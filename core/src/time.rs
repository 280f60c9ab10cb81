//! Elapsed time and wall time, as two types that cannot be mixed up.
//!
//! [`Instant`] is what the device's clock chip has counted: it runs on through
//! sleep and supply loss while the chip is fed, and no setting moves it.
//! [`Utc`] is what the clock *says*; setting the clock changes the relation
//! between the two and nothing else.

use core::fmt;

/// A length of elapsed time in milliseconds, never negative.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Default)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Duration(u64);

impl Duration {
    /// No time at all.
    pub const ZERO: Self = Self(0);

    /// From milliseconds.
    pub const fn from_ms(ms: u64) -> Self {
        Self(ms)
    }

    /// From seconds.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub const fn from_s(s: u64) -> Self {
        Self(s.saturating_mul(1000))
    }

    /// From minutes.
    pub const fn from_min(min: u64) -> Self {
        Self(min.saturating_mul(60_000))
    }

    /// From hours.
    pub const fn from_h(h: u64) -> Self {
        Self(h.saturating_mul(3_600_000))
    }

    /// In milliseconds.
    pub const fn as_ms(self) -> u64 {
        self.0
    }

    /// The sum, at most the largest length there is.
    #[must_use]
    pub const fn plus(self, other: Self) -> Self {
        Self(self.0.saturating_add(other.0))
    }

    /// What is left after `other` is taken away, at least nothing.
    #[must_use]
    pub const fn minus(self, other: Self) -> Self {
        Self(self.0.saturating_sub(other.0))
    }
}

/// A moment on the device's elapsed time line, in milliseconds.
///
/// The origin is where the clock chip first began to count. A due that a clock
/// setting puts before that origin has a negative instant.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Default)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Instant(i64);

impl Instant {
    /// Where the count begins.
    pub const ZERO: Self = Self(0);
    /// Before every other instant.
    pub const MIN: Self = Self(i64::MIN);
    /// After every other instant.
    pub const MAX: Self = Self(i64::MAX);
    /// The last that the ledger can hold: some 4460 years after [`Self::ZERO`]. No clock
    /// counts beyond it, and an instant that does is not taken.
    pub const LAST: Self = Self((1 << 47) - 1);

    /// From milliseconds since the count began.
    pub const fn from_ms(ms: i64) -> Self {
        Self(ms)
    }

    /// Milliseconds since the count began.
    pub const fn as_ms(self) -> i64 {
        self.0
    }

    /// This instant and a length after it.
    #[must_use]
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub const fn plus(self, length: Duration) -> Self {
        Self(self.0.saturating_add_unsigned(length.0))
    }

    /// This instant less a length.
    #[must_use]
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub const fn minus(self, length: Duration) -> Self {
        Self(self.0.saturating_sub_unsigned(length.0))
    }

    /// How long after `earlier` this is; nothing if it is not after it.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub const fn since(self, earlier: Self) -> Duration {
        let ms = self.0.saturating_sub(earlier.0);
        if ms > 0 { Duration(ms as u64) } else { Duration::ZERO }
    }

    /// The later of the two.
    #[must_use]
    pub const fn max(self, other: Self) -> Self {
        if self.0 >= other.0 { self } else { other }
    }

    /// The earlier of the two.
    #[must_use]
    pub const fn min(self, other: Self) -> Self {
        if self.0 <= other.0 { self } else { other }
    }
}

/// A moment of wall time: milliseconds since 1970-01-01T00:00:00Z, leap
/// seconds not counted (POSIX time).
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Default)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Utc(i64);

impl Utc {
    /// From milliseconds since 1970-01-01T00:00:00Z.
    pub const fn from_ms(ms: i64) -> Self {
        Self(ms)
    }

    /// Milliseconds since 1970-01-01T00:00:00Z.
    pub const fn as_ms(self) -> i64 {
        self.0
    }
}

impl fmt::Display for Duration {
    /// Hours, minutes, seconds, and milliseconds where there are any:
    /// `1 h 4 min 32 s`, `450 ms`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (h, min) = (self.0 / 3_600_000, self.0 / 60_000 % 60);
        let (s, ms) = (self.0 / 1000 % 60, self.0 % 1000);
        let mut gap = "";
        for (value, unit) in [(h, "h"), (min, "min"), (s, "s"), (ms, "ms")] {
            if value > 0 {
                write!(f, "{gap}{value} {unit}")?;
                gap = " ";
            }
        }
        if self.0 == 0 { f.write_str("0 s") } else { Ok(()) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_instant_never_wraps() {
        assert_eq!(Instant::MAX.plus(Duration::from_ms(1)), Instant::MAX);
        assert_eq!(Instant::MIN.minus(Duration::from_ms(1)), Instant::MIN);
        assert_eq!(Instant::ZERO.since(Instant::from_ms(5)), Duration::ZERO);
        assert_eq!(Instant::from_ms(5).since(Instant::from_ms(-5)), Duration::from_ms(10));
    }

    #[test]
    fn a_length_reads_in_the_units_that_it_has() {
        extern crate std;
        for (ms, words) in [
            (0, "0 s"),
            (450, "450 ms"),
            (1_000, "1 s"),
            (60_000, "1 min"),
            (3_872_000, "1 h 4 min 32 s"),
            (3_600_001, "1 h 1 ms"),
            (90_061_007, "25 h 1 min 1 s 7 ms"),
            (3_599_999, "59 min 59 s 999 ms"),
        ] {
            assert_eq!(std::format!("{}", Duration::from_ms(ms)), words);
        }
    }
}
