//! A set of causes: where the rules leave a choice, any one of them will do.

use std::fmt;

use dosewright_core::cause::Cause;

/// A set of causes.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug, Default)]
pub struct Causes(u32);

impl Causes {
    /// None at all.
    pub const NONE: Self = Self(0);

    /// Just this one.
    pub const fn of(cause: Cause) -> Self {
        Self(1 << cause.code())
    }

    /// These and one more.
    #[must_use]
    pub const fn with(self, cause: Cause) -> Self {
        Self(self.0 | 1 << cause.code())
    }

    /// These without one.
    #[must_use]
    pub const fn without(self, cause: Cause) -> Self {
        Self(self.0 & !(1 << cause.code()))
    }

    /// Both sets together.
    #[must_use]
    pub const fn or(self, other: Self) -> Self {
        Self(self.0 | other.0)
    }

    /// Whether the cause is among them.
    pub const fn contains(self, cause: Cause) -> bool {
        self.0 >> cause.code() & 1 == 1
    }

    /// Whether there is none.
    pub const fn is_empty(self) -> bool {
        self.0 == 0
    }

    /// In the documented order of causes.
    pub fn iter(self) -> impl Iterator<Item = Cause> {
        Cause::ALL.into_iter().filter(move |&c| self.contains(c))
    }

    /// The first in the documented order.
    pub fn first(self) -> Option<Cause> {
        self.iter().next()
    }
}

impl fmt::Display for Causes {
    /// `"remote stop" or "leak"`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let mut gap = "";
        for cause in self.iter() {
            write!(f, "{gap}\"{}\"", cause.words())?;
            gap = " or ";
        }
        if self.is_empty() { f.write_str("no cause") } else { Ok(()) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_set_has_what_was_put_into_it() {
        let both = Causes::of(Cause::Leak).with(Cause::Stopped);
        assert!(both.contains(Cause::Leak) && both.contains(Cause::Stopped));
        assert!(!both.contains(Cause::Closed) && !both.is_empty() && Causes::NONE.is_empty());
        for cause in Cause::ALL {
            let one = Causes::of(cause);
            assert_eq!((one.first(), one.without(cause)), (Some(cause), Causes::NONE));
            assert_eq!(both.with(cause).or(both), both.or(one));
            let less = both.with(cause).without(cause);
            assert!(!less.contains(cause) && less.or(one) == both.or(one));
        }
        assert_eq!(both.iter().count(), 2);
        assert_eq!(both.without(Cause::Leak), Causes::of(Cause::Stopped));
        assert_eq!(Causes::NONE.to_string(), "no cause");
        assert_eq!(
            Causes::of(Cause::Leak).with(Cause::RemoteStop).to_string(),
            "\"remote stop\" or \"leak\""
        );
    }
}
