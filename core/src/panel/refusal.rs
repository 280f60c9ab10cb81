//! Why something is not taken, in words that fit, and what a press does about it.

use super::draft::{Draft, Kind, Step, WINDOW_STEP_MIN};
use super::field::NO_WHEEL;
use super::pen::Pen;
use super::view::View;
use super::words::{ALARMS, Word};
use crate::calibration::NoRun;
use crate::record::Alarm;
use crate::spread::Misfit;
use crate::time::Duration;
use crate::timetable::Refusal;

/// What the next press does.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(super) enum Remedy {
    /// Back to the draft as it is.
    Back,
    /// Back to a question of the draft.
    Ask(Step),
    /// The draft with this answer.
    Take(Step, u32),
    /// Another calibration run: so many ms, or as long as the last (0).
    RunAgain(u32),
    /// The PIN.
    Pin,
}

/// What stands against a draft, as it is told.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(super) struct Told {
    /// The reason, as a word of the table.
    reason: u16,
    /// The entry that is in the way; 0 where none is.
    entry: u16,
    /// What is said on the line below, before what is offered or the length.
    below: Option<Word>,
    /// A length of time on that line, in ms.
    length_ms: u32,
    pub(super) remedy: Remedy,
}

impl Told {
    pub(super) const fn because(word: Word, remedy: Remedy) -> Self {
        Self { reason: word as u16, entry: 0, below: None, length_ms: 0, remedy }
    }

    /// What a refusal comes to; of a draft, or of the PIN where there is none.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(super) fn of<const N: usize, const H: usize>(
        refusal: &Refusal,
        draft: Option<&Draft>,
        view: &View<'_, N, H>,
    ) -> Self {
        let mut told = Self::because(Word::OutOfRange, Remedy::Back);
        let word = match *refusal {
            Refusal::TooManyEntries { .. } => Word::NoLine,
            Refusal::SameId { .. } | Refusal::RetiredId { .. } | Refusal::NoSuchEntry { .. } => {
                Word::EntryGone
            }
            Refusal::Head(_) => Word::LimitsUnfit,
            // of the fields that the panel asks, a set of days alone can be empty
            Refusal::Field { field, .. } if field.len() == "days".len() => Word::NoDay,
            Refusal::OutOfRange if draft.is_some_and(|draft| draft.kind == Kind::Calibrate) => {
                told.remedy = Remedy::Ask(Step::Vessel);
                Word::VesselBig
            }
            Refusal::Field { .. } | Refusal::OutOfRange => Word::OutOfRange,
            Refusal::NeverDue { .. } => Word::NeverDue,
            Refusal::DoesNotFit { misfit, .. } => {
                let fits = draft.and_then(|draft| draft.window_that_fits(WINDOW_STEP_MIN, view));
                if let Some(min) = fits {
                    told.remedy = Remedy::Take(Step::Window, min);
                    Word::NeedsWindow
                } else if matches!(misfit, Misfit::Pulses { .. }) {
                    Word::PulsesMany
                } else if let Misfit::Window { least_ms, .. } = misfit {
                    told.length_ms = least_ms.min(u64::from(u32::MAX)) as u32;
                    Word::NeedsWindow
                } else {
                    Word::DoseSmall
                }
            }
            Refusal::GapTooShort { .. } => Word::WindowLong,
            Refusal::Overlap { first, nearest_min, .. } => {
                told.entry = first.0.min(99);
                if let Some(minute) = nearest_min {
                    told.below = Some(Word::FreeAt);
                    told.remedy = Remedy::Take(Step::Start, u32::from(minute));
                }
                Word::Overlaps
            }
            Refusal::OverCeiling { .. } | Refusal::AtCeiling => Word::OverCeiling,
            Refusal::TooManyDues { .. } => Word::ManyDoses,
            Refusal::Busy => Word::Busy,
            Refusal::ContainerEmpty => return told.by(Alarm::ContainerEmpty),
            Refusal::Battery => return told.by(Alarm::PackExhausted),
            Refusal::Ledger => return told.by(Alarm::LedgerFault),
            Refusal::Locked => {
                told.remedy = Remedy::Pin;
                Word::Locked
            }
            Refusal::WrongPin => Word::WrongPin,
            Refusal::TriedTooOften { wait_ms } => {
                told.length_ms = wait_ms;
                Word::Wait
            }
            Refusal::NoRun(NoRun::VesselTooSmall) => Word::VesselSmall,
            Refusal::NoRun(NoRun::VesselTooCoarse { .. }) => Word::VesselCoarse,
            Refusal::NothingMeasured => {
                told.remedy = Remedy::RunAgain(0);
                Word::NoRun
            }
            Refusal::RunLonger { least_ms } => {
                // a tenth more: what is read off is rounded, and the pump may be slower yet
                let head = view.controller.book().head.as_ref();
                let longest_ms = head.map_or(0, |head| head.longest_calibration_ms);
                let run_ms = least_ms.saturating_add(least_ms / 10);
                let run_ms = run_ms.min(longest_ms.max(least_ms));
                told.below = Some(Word::RunFor);
                told.length_ms = run_ms;
                told.remedy = Remedy::RunAgain(run_ms);
                Word::NotSure
            }
            Refusal::RunTwice { .. } => {
                told.below = Some(Word::RunTwice);
                told.remedy = Remedy::RunAgain(0);
                Word::FarOff
            }
            Refusal::Implausible { .. } => {
                if let Some(draft) = draft {
                    told.remedy = Remedy::Ask(draft.measured_as());
                }
                Word::Implausible
            }
        };
        told.reason = word as u16;
        if draft.is_none() {
            told.remedy = Remedy::Pin;
        }
        told
    }

    const fn by(self, alarm: Alarm) -> Self {
        Self { reason: ALARMS + alarm as u16 - 1, ..self }
    }

    pub(super) fn show(&self, pen: &mut Pen<'_>) {
        pen.line(Word::NotTaken);
        pen.say_of(self.reason, 0);
        if self.entry > 0 {
            pen.char(' ');
            pen.number(u32::from(self.entry), 1);
        }
        pen.end();
        if let Some(word) = self.below {
            pen.say(word);
        }
        if self.length_ms > 0 {
            pen.gap();
            pen.length(Duration::from_ms(u64::from(self.length_ms)));
        }
        self.offer(pen);
        pen.action(match self.remedy {
            Remedy::Back | Remedy::Ask(_) => Word::DoBack,
            Remedy::Pin => Word::DoPin,
            Remedy::RunAgain(_) => Word::DoNew,
            Remedy::Take(..) => Word::DoTake,
        });
        self.offer(pen);
    }

    /// The answer that is offered.
    fn offer(&self, pen: &mut Pen<'_>) {
        if let Remedy::Take(step, value) = self.remedy {
            pen.gap();
            step.field(pen.style.unit).show(pen, value, NO_WHEEL);
        }
    }
}
