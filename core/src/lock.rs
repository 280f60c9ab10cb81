//! The lock on the settings: a PIN, tries with a growing delay, and a lock that
//! returns by itself (O5).
//!
//! The PIN itself is nowhere: the ledger has a word that is worked out from it, by
//! which a try is judged. That keeps it out of logs and off screens. It keeps nobody
//! out who can read the memory chip: the steps to the word can be taken back.

use core::fmt;

use crate::time::{Duration, Instant};

/// With so many wrong tries in a row a wait begins (this project's own choice, as are the
/// others here).
const WAITS_FROM: u8 = 3;
/// The wait after that one, which doubles with each after it.
const FIRST_DELAY: Duration = Duration::from_min(1);
/// How often it doubles and is less than the longest: 32 minutes.
const MOST_DOUBLED: u8 = 5;
/// The most that a wait grows to.
const LONGEST_DELAY: Duration = Duration::from_h(1);
/// How long the settings stay unlocked after the last request that needs the PIN.
pub(crate) const STAYS_UNLOCKED: Duration = Duration::from_min(5);
/// Fewest and most digits of a PIN.
pub const PIN_DIGITS: (usize, usize) = (4, 8);

/// A PIN: 4 to 8 digits. It shows itself to nobody.
#[derive(Clone, Copy, PartialEq, Eq, Hash)]
pub struct Pin(u32);

/// The word that a PIN is judged by, as the ledger has it; 0 where none is set. The PIN can
/// be worked out from it, so it shows itself to nobody either.
#[derive(Clone, Copy, PartialEq, Eq, Hash)]
pub struct PinWord(pub u32);

/// A value of which nothing is shown but what it is.
macro_rules! says_nothing {
    ($($of:ident)+) => {$(
        impl fmt::Debug for $of {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str(stringify!($of))
            }
        }

        #[cfg(feature = "defmt")]
        impl defmt::Format for $of {
            fn format(&self, f: defmt::Formatter<'_>) {
                defmt::write!(f, "{=str}", stringify!($of));
            }
        }
    )+};
}

says_nothing!(Pin PinWord);

impl PinWord {
    /// That of no PIN.
    pub const NONE: Self = Self(0);
}

impl Pin {
    /// From ASCII digits; `None` for fewer than 4, more than 8, or anything else.
    pub fn from_digits(digits: &[u8]) -> Option<Self> {
        let (least, most) = PIN_DIGITS;
        if digits.len() < least || digits.len() > most {
            return None;
        }
        // a one before them, so that zeros in front count
        let mut value = 1_u32;
        for digit in digits {
            if !digit.is_ascii_digit() {
                return None;
            }
            value = value.saturating_mul(10).saturating_add(u32::from(digit.wrapping_sub(b'0')));
        }
        Some(Self(value))
    }

    /// From the number that a settings message carries.
    pub(crate) const fn from_word(word: u32) -> Option<Self> {
        // 4 digits with a one before them, to 8 digits
        if word < 10_000 || word > 199_999_999 {
            return None;
        }
        let mut first = word;
        while first >= 10 {
            first /= 10;
        }
        if first == 1 { Some(Self(word)) } else { None }
    }

    /// From digits with a one before them, of which there are 4 to 8.
    #[cfg(feature = "panel")]
    pub(crate) const fn with_a_one_before(word: u32) -> Self {
        Self(word)
    }

    /// The number that a settings message carries.
    pub(crate) const fn word(self) -> u32 {
        self.0
    }

    /// The word that the ledger has of it, never 0. Steps that can be taken back are
    /// enough here: what they are for is that nobody reads the PIN off a print-out.
    const fn check(self) -> PinWord {
        let mut x = self.0.wrapping_mul(0x9e37_79b9);
        x = (x ^ (x >> 16)).wrapping_mul(0x85eb_ca6b);
        x = (x ^ (x >> 13)).wrapping_mul(0xc2b2_ae35);
        x ^= x >> 16;
        PinWord(if x == 0 { 1 } else { x })
    }
}

/// The lock, as the ledger knows it.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Lock {
    check: PinWord,
    /// Wrong tries in a row.
    pub wrong: u8,
    /// When the last of them was.
    pub at: Instant,
}

impl Lock {
    /// No PIN: nothing is locked.
    pub const OPEN: Self = Self { check: PinWord::NONE, wrong: 0, at: Instant::ZERO };

    pub(crate) const fn with(check: PinWord) -> Self {
        Self { check, ..Self::OPEN }
    }

    pub(crate) const fn check_of(pin: Option<Pin>) -> PinWord {
        match pin {
            Some(pin) => pin.check(),
            None => PinWord::NONE,
        }
    }

    pub(crate) const fn word(&self) -> PinWord {
        self.check
    }

    /// Whether there is a PIN.
    pub const fn is_set(&self) -> bool {
        self.check.0 != 0
    }

    /// Whether it is this one.
    pub(crate) const fn opens_with(&self, pin: Pin) -> bool {
        self.check.0 == pin.check().0
    }

    /// One more wrong try.
    pub(crate) const fn was_wrong(&mut self, at: Instant) {
        (self.wrong, self.at) = (self.wrong.saturating_add(1), at);
    }

    /// The right one: the row of wrong ones is over.
    pub(crate) const fn was_right(&mut self) {
        self.wrong = 0;
    }

    /// When the next try is judged: after the third wrong one in a minute, and after each
    /// further one in twice as long, up to an hour.
    pub const fn next_try(&self) -> Instant {
        if self.wrong < WAITS_FROM {
            return Instant::MIN;
        }
        let doubled = self.wrong.saturating_sub(WAITS_FROM);
        self.at.plus(if doubled > MOST_DOUBLED {
            LONGEST_DELAY
        } else {
            Duration::from_ms(FIRST_DELAY.as_ms() << doubled)
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn o5_a_pin_is_four_to_eight_digits_and_zeros_in_front_count() {
        let pin = |text: &str| Pin::from_digits(text.as_bytes());
        for bad in ["", "123", "123456789", "12a4", "12 4", "-123"] {
            assert_eq!(pin(bad), None, "{bad}");
        }
        assert_ne!(pin("0012"), pin("00012"));
        assert_ne!(pin("0000"), pin("00000"));
        for good in ["0000", "1234", "99999999", "00000000"] {
            let pin = pin(good).unwrap();
            assert_eq!(Pin::from_word(pin.word()), Some(pin));
            assert!(Lock::with(pin.check()).opens_with(pin));
        }
        for word in [0, 1, 9_999, 20_000, 99_999, 200_000_000, u32::MAX] {
            assert_eq!(Pin::from_word(word), None, "{word}");
        }
    }

    #[test]
    fn o5_the_wait_grows_with_each_wrong_try() {
        let mut lock = Lock::with(PinWord(7));
        let minute = |n: i64| Instant::from_ms(n * 60_000);
        let mut waits = [0; 12];
        for wait in &mut waits {
            lock.was_wrong(minute(1000));
            *wait = lock.next_try().since(minute(1000)).as_ms() / 60_000;
        }
        assert_eq!(waits, [0, 0, 1, 2, 4, 8, 16, 32, 60, 60, 60, 60]);
        lock.was_right();
        assert_eq!(lock.next_try(), Instant::MIN);
    }

    #[test]
    fn o5_a_pin_set_before_still_opens() {
        // the words as stores have them, worked out apart from this code
        for (digits, word) in
            [("0417", 0x478e_10cb), ("00000000", 0x9119_7628), ("99999999", 0xf0ed_6f9f)]
        {
            let pin = Pin::from_digits(digits.as_bytes()).unwrap();
            assert_eq!(Lock::check_of(Some(pin)).0, word, "{digits}");
            let lock = Lock::with(PinWord(word));
            assert!(lock.is_set() && lock.word().0 == word && lock.opens_with(pin));
            assert!(!lock.opens_with(Pin::from_digits(b"0418").unwrap()));
        }
        assert_eq!(Lock::check_of(None), PinWord::NONE);
        assert!(!Lock::OPEN.is_set());
    }

    #[test]
    fn o5_the_longest_wait_holds_however_many_tries_were_wrong() {
        for wrong in [9, 10, 60, 70, 140, u8::MAX] {
            let lock = Lock { wrong, ..Lock::with(PinWord(7)) };
            assert_eq!(lock.next_try(), Instant::ZERO.plus(LONGEST_DELAY), "{wrong}");
        }
    }
}
