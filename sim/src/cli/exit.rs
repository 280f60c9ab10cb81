//! How the program ends.

use dosewright_sim::judged::Verdict;

/// Exit codes, the same list as in `--help`.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Exit {
    /// All held.
    Held,
    /// An expectation or a promise failed.
    Failed,
    /// Bad usage or bad file.
    Usage,
    /// Stopped at a limit.
    Limit,
    /// Nothing selected.
    Nothing,
    /// A fault asked for never took effect.
    Invalid,
    /// An internal fault.
    Internal,
    /// Interrupted, finished results kept.
    Interrupted,
}

impl Exit {
    pub(super) const fn code(self) -> u8 {
        match self {
            Self::Held => 0,
            Self::Failed => 1,
            Self::Usage => 2,
            Self::Limit => 3,
            Self::Nothing => 4,
            Self::Invalid => 5,
            Self::Internal => 70,
            Self::Interrupted => 130,
        }
    }

    /// Of the worst of several verdicts.
    pub(super) const fn of(worst: Verdict) -> Self {
        match worst {
            Verdict::Held => Self::Held,
            Verdict::Stopped => Self::Limit,
            Verdict::Invalid => Self::Invalid,
            Verdict::Failed => Self::Failed,
        }
    }
}

/// Runs the program's body; where it panics, that is an internal fault.
pub(super) fn guarded(body: impl FnOnce() -> Exit + std::panic::UnwindSafe) -> Exit {
    std::panic::catch_unwind(body).unwrap_or_else(|_| {
        eprintln!(
            "internal fault: this is a fault of dosewright, not of the scenario; please report it with the\n\
             scenario and the line above (build {})",
            super::BUILD
        );
        Exit::Internal
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_codes_are_the_documented_ones() {
        let all = [
            (Exit::Held, 0),
            (Exit::Failed, 1),
            (Exit::Usage, 2),
            (Exit::Limit, 3),
            (Exit::Nothing, 4),
            (Exit::Invalid, 5),
            (Exit::Internal, 70),
            (Exit::Interrupted, 130),
        ];
        assert!(all.into_iter().all(|(exit, code)| exit.code() == code));
    }

    #[test]
    fn a_panic_is_an_internal_fault() {
        assert_eq!(guarded(|| panic!("on purpose")), Exit::Internal);
        assert_eq!(guarded(|| Exit::Nothing), Exit::Nothing);
    }

    #[test]
    fn a_failure_outweighs_all_other_verdicts() {
        let worst =
            [Verdict::Invalid, Verdict::Failed, Verdict::Held, Verdict::Stopped].into_iter().max();
        assert_eq!(worst.map(Exit::of), Some(Exit::Failed));
        assert_eq!(Exit::of(Verdict::Invalid.max(Verdict::Stopped)), Exit::Invalid);
    }
}
