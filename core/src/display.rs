//! The display and the keys: lit until, locked from (P2).

use crate::time::{Duration, Instant};

/// How long the display stays lit after a key (own choice).
pub const STAYS_LIT: Duration = Duration::from_min(1);
/// How long the keys stay unlocked after a key (own choice).
pub const KEYS_STAY_UNLOCKED: Duration = Duration::from_min(2);

/// Display and keys. It is forgotten at a restart: dark and locked.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Display {
    /// Lit since; [`Instant::MAX`] while it is dark.
    pub since: Instant,
    /// When it goes dark; [`Instant::MAX`] while it is.
    pub until: Instant,
    /// When the keys lock.
    pub keys_until: Instant,
}

impl Display {
    /// Dark, with the keys locked.
    pub const DARK: Self =
        Self { since: Instant::MAX, until: Instant::MAX, keys_until: Instant::MIN };

    /// Whether it is lit.
    pub const fn is_lit(&self) -> bool {
        self.until.as_ms() != Instant::MAX.as_ms()
    }

    /// Whether a key means anything now. On a dark display it only wakes; on locked
    /// keys only one that is held means something: it unlocks them.
    pub fn takes_keys(&self, now: Instant) -> bool {
        self.is_lit() && now < self.until && now < self.keys_until
    }

    /// A key was pressed, or held: the display lights, or stays lit. Whether it was
    /// dark.
    pub fn key(&mut self, now: Instant, held: bool) -> bool {
        let was_dark = !self.is_lit();
        // locked keys are unlocked by one that is held, on a display that was lit: what
        // wakes it does nothing else
        if self.takes_keys(now) || held && !was_dark {
            self.keys_until = now.plus(KEYS_STAY_UNLOCKED);
        }
        if was_dark {
            self.since = now;
        }
        self.until = now.plus(STAYS_LIT);
        was_dark
    }

    /// The display goes dark; for how long it was lit.
    pub fn go_dark(&mut self) -> Duration {
        let lit = self.until.since(self.since);
        (self.since, self.until) = (Instant::MAX, Instant::MAX);
        lit
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn p2_a_key_on_a_dark_display_only_wakes_it_and_a_held_one_unlocks() {
        let at = |s: i64| Instant::from_ms(s * 1000);
        let mut display = Display::DARK;
        assert!(!display.takes_keys(at(0)));
        assert!(display.key(at(0), true), "it was dark");
        assert!(display.is_lit());
        assert!(!display.takes_keys(at(1)), "what wakes does nothing else");
        assert!(!display.key(at(1), false));
        assert!(!display.takes_keys(at(2)), "a short one does not unlock");
        display.key(at(2), true);
        assert!(display.takes_keys(at(3)));
        // the display goes dark a minute after the last key
        assert_eq!(display.until, at(62));
        assert_eq!(display.go_dark(), Duration::from_ms(62_000));
        assert!(!display.takes_keys(at(63)));
        // the keys are not locked yet: the next one wakes, the one after it counts
        display.key(at(100), false);
        assert!(display.takes_keys(at(101)));
        display.key(at(101), false);
        // and lock two minutes after the last one that counted
        display.key(at(160), false);
        display.key(at(219), false);
        assert_eq!(display.keys_until, at(219 + 120));
        display.go_dark();
        display.key(at(340), false);
        assert!(!display.takes_keys(at(341)));
    }

    #[test]
    fn p2_keys_mean_something_up_to_the_instant_at_which_they_no_longer_do() {
        let until = |s: i64| Instant::from_ms(s * 1000);
        let lit = Display { since: until(0), until: until(60), keys_until: until(50) };
        let takes = |display: Display, ms: i64| display.takes_keys(Instant::from_ms(ms));
        assert!(takes(lit, 49_999) && !takes(lit, 50_000));
        let later = Display { keys_until: until(70), ..lit };
        assert!(takes(later, 59_999) && !takes(later, 60_000));
    }
}
