//! Why something is not taken, in words that fit, and what a press does about it.

use super::screen::{Screen, Text};
use super::show::Style;
use crate::calibration::NoRun;
use crate::record::Alarm;
use crate::spread::Misfit;
use crate::time::Duration;
use crate::timetable::Refusal;

/// What stands against a draft.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(super) enum Problem {
    /// The controller refuses it.
    Refused(Refusal),
    /// What was measured is not entered.
    NoNumber,
    /// The two PINs differ.
    PinsDiffer,
}

/// What the next press does.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(super) enum Remedy {
    /// Back to the draft as it is.
    Back,
    /// The draft with the start that is free, in minutes of the day.
    Start(u16),
    /// The draft with the least window that does, in ms.
    Window(u64),
    /// Another calibration run.
    RunAgain,
    /// The PIN.
    Pin,
}

impl Problem {
    pub(super) const fn remedy(&self) -> Remedy {
        match *self {
            Self::Refused(Refusal::Overlap { nearest_min: Some(minute), .. }) => {
                Remedy::Start(minute)
            }
            Self::Refused(Refusal::DoesNotFit {
                misfit: Misfit::Window { least_ms, .. }, ..
            }) if least_ms <= 999 * 60_000 => Remedy::Window(least_ms),
            Self::Refused(
                Refusal::RunTwice { .. } | Refusal::RunLonger { .. } | Refusal::NothingMeasured,
            ) => Remedy::RunAgain,
            Self::Refused(Refusal::Locked) => Remedy::Pin,
            _ => Remedy::Back,
        }
    }

    /// `pin`: it was the PIN that was not taken.
    pub(super) fn show(&self, pin: bool, style: &Style, screen: &mut Screen) {
        let words = style.words;
        screen.say(0, words.not_taken);
        let mut more = Text::new();
        let reason = match *self {
            Self::NoNumber => words.no_number,
            Self::PinsDiffer => words.pins_differ,
            Self::Refused(refusal) => match refusal {
                Refusal::TooManyEntries { .. } => words.no_line,
                Refusal::SameId { .. }
                | Refusal::RetiredId { .. }
                | Refusal::NoSuchEntry { .. } => words.entry_gone,
                Refusal::Head(_) => words.limits_unfit,
                Refusal::Field { field: "days", .. } => words.no_day,
                Refusal::Field { .. } | Refusal::OutOfRange => words.out_of_range,
                Refusal::NeverDue { .. } => words.never_due,
                Refusal::DoesNotFit { misfit, .. } => match misfit {
                    Misfit::Window { least_ms, .. } => {
                        style.length(&mut more, Duration::from_ms(least_ms));
                        words.needs_window
                    }
                    Misfit::BelowShortestPulse { .. } | Misfit::Indivisible { .. } => {
                        words.dose_small
                    }
                    Misfit::Pulses { .. } => words.pulses_many,
                },
                Refusal::GapTooShort { .. } => words.window_long,
                Refusal::Overlap { first, nearest_min, .. } => {
                    if let Some(minute) = nearest_min {
                        more.say(words.free_at);
                        more.char(' ');
                        style.minute(&mut more, u32::from(minute));
                    }
                    let mut text = Text::of(words.overlaps);
                    text.char(' ');
                    text.number(u32::from(first.0).min(99), 1);
                    screen.left(1, &text);
                    ""
                }
                Refusal::OverCeiling { .. } => words.over_ceiling,
                Refusal::TooManyDues { .. } => words.many_doses,
                Refusal::Busy => words.busy,
                Refusal::ContainerEmpty => alarm(style, Alarm::ContainerEmpty),
                Refusal::Battery => alarm(style, Alarm::PackExhausted),
                Refusal::Ledger => alarm(style, Alarm::LedgerFault),
                Refusal::AtCeiling => words.over_ceiling,
                Refusal::Locked => words.locked,
                Refusal::WrongPin => words.wrong_pin,
                Refusal::TriedTooOften { wait_ms } => {
                    style.length(&mut more, Duration::from_ms(u64::from(wait_ms)));
                    words.wait
                }
                Refusal::NoRun(NoRun::VesselTooSmall) => words.vessel_small,
                Refusal::NoRun(NoRun::VesselTooCoarse { .. }) => words.vessel_coarse,
                Refusal::NothingMeasured => words.no_run,
                Refusal::RunLonger { least_ms } => {
                    more.say(words.run_for);
                    more.char(' ');
                    style.length(&mut more, Duration::from_ms(u64::from(least_ms)));
                    words.not_sure
                }
                Refusal::RunTwice { .. } => {
                    more.say(words.run_twice);
                    words.far_off
                }
                Refusal::Implausible { .. } => words.implausible,
            },
        };
        screen.say(1, reason);
        screen.left(2, &more);
        match self.remedy() {
            _ if pin => screen.action(words.do_pin),
            Remedy::Back => screen.action(words.do_back),
            Remedy::Pin => screen.action(words.do_pin),
            Remedy::RunAgain => screen.action(words.do_new),
            Remedy::Start(minute) => {
                let mut text = Text::of("> ");
                text.say(words.do_take);
                text.char(' ');
                style.minute(&mut text, u32::from(minute));
                screen.left(3, &text);
            }
            Remedy::Window(least_ms) => {
                let mut text = Text::of("> ");
                text.say(words.do_take);
                text.char(' ');
                text.number(super::draft::window_from(least_ms), 1);
                text.say(" min");
                screen.left(3, &text);
            }
        }
    }
}

fn alarm(style: &Style, alarm: Alarm) -> &'static str {
    style.words.alarms.get((alarm as usize).saturating_sub(1)).copied().unwrap_or("-")
}
