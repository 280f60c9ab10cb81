//! Why something is not taken, in words that fit, and what a press does about it.

use super::draft::{Draft, Kind, Step};
use super::field::NO_WHEEL;
use super::figures::parted;
use super::pen::Pen;
use super::words::{ALARMS, CAUSES, Word};
use crate::book::Book;
use crate::calibration::NoRun;
use crate::cause::Cause;
use crate::record::Alarm;
use crate::spread::Misfit;
use crate::timetable::Refusal;

/// What the next press does.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(super) enum Remedy {
    /// Back to the draft as it is.
    Back,
    /// Back to a question of the draft.
    Ask,
    /// The draft with another answer to a question.
    Take,
    /// Another calibration run: as long as is told, or as the last where nothing is.
    RunAgain,
    /// The PIN.
    Pin,
}

/// What stands against a draft, as it is told.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(super) struct Told {
    /// The reason, as a word of the table.
    reason: u8,
    /// The entry that is in the way; 0 where none is.
    entry: u16,
    /// What is said on the line below, before what is offered or the length, if anything.
    below: Word,
    pub(super) remedy: Remedy,
    /// The question that is asked, or another answer to which is offered.
    pub(super) step: Step,
    pub(super) value: u32,
    /// A length of time on the line below, in ms.
    pub(super) length_ms: u32,
}

impl Told {
    /// Before anything was.
    pub(super) const NOTHING: Self = Self::because(Word::OutOfRange, Remedy::Back, Step::Zone, 0);

    pub(super) const fn because(word: Word, remedy: Remedy, step: Step, value: u32) -> Self {
        Self { reason: word as u8, entry: 0, below: Word::Bare, remedy, step, value, length_ms: 0 }
    }

    /// What a refusal of a draft comes to.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(super) fn refuse<const N: usize, const H: usize>(
        &mut self,
        refusal: &Refusal,
        draft: &Draft,
        book: &Book<N, H>,
    ) {
        self.reason = reason_of(refusal);
        (self.entry, self.length_ms, self.below) = (0, 0, Word::Bare);
        let longest_ms = book.head.as_ref().map_or(0, |head| head.longest_calibration_ms);
        self.remedy = match *refusal {
            // of the fields that the panel asks, a set of days alone can be empty
            Refusal::Field { field, .. } if field.len() == "days".len() => {
                self.reason = Word::NoDay as u8;
                Remedy::Back
            }
            // of what the panel asks of a head, the rollers alone can be out of its limits
            Refusal::Head(_) => {
                self.step = Step::Rollers;
                Remedy::Ask
            }
            Refusal::OutOfRange if draft.kind == Kind::Calibrate => {
                self.step = Step::Vessel;
                // the run would be longer than one may be
                (self.below, self.length_ms) = (Word::AtMost, longest_ms);
                if draft.get(Step::Vessel) > 0 {
                    self.reason = Word::VesselBig as u8;
                } else {
                    // there is none that is smaller
                    self.blame(Cause::PumpLimits);
                }
                Remedy::Ask
            }
            // of what the panel asks of a container, the contact alone can be
            Refusal::OutOfRange if draft.kind == Kind::Product => {
                self.step = Step::Contact;
                Remedy::Ask
            }
            Refusal::RunLonger { least_ms } if least_ms > longest_ms => {
                (self.below, self.length_ms) = (Word::AtMost, longest_ms);
                Remedy::Back
            }
            Refusal::DoesNotFit { misfit, .. } => {
                if let Some(min) = draft.window_that_fits(1, 1, book) {
                    (self.step, self.value) = (Step::Window, min);
                    Remedy::Take
                } else {
                    if matches!(misfit, Misfit::Pulses { .. }) {
                        self.reason = Word::PulsesMany as u8;
                    } else if let Misfit::Window { least_ms, .. } = misfit {
                        self.length_ms = least_ms.min(u64::from(u32::MAX)) as u32;
                    } else {
                        self.reason = Word::DoseSmall as u8;
                    }
                    Remedy::Back
                }
            }
            Refusal::Overlap { first, nearest_min, .. } => {
                self.entry = first.0.min(99);
                if let Some(minute) = nearest_min {
                    self.below = Word::FreeAt;
                    (self.step, self.value) = (Step::Start, u32::from(minute));
                    Remedy::Take
                } else {
                    Remedy::Back
                }
            }
            Refusal::TriedTooOften { wait_ms } => {
                self.length_ms = wait_ms;
                Remedy::Pin
            }
            Refusal::RunLonger { least_ms } => {
                // a tenth more: what is read off is rounded, and the pump may be slower yet
                let run_ms = least_ms.saturating_add(parted(least_ms, 10).0);
                self.length_ms = run_ms.min(longest_ms);
                self.below = Word::RunFor;
                Remedy::RunAgain
            }
            Refusal::RunTwice { .. } => {
                self.below = Word::RunTwice;
                Remedy::RunAgain
            }
            Refusal::NoRun(NoRun::VesselTooCoarse { .. }) => {
                self.reason = Word::VesselCoarse as u8;
                Remedy::Back
            }
            Refusal::NothingMeasured => Remedy::RunAgain,
            Refusal::Implausible { .. } => {
                self.step = draft.measured_as();
                Remedy::Ask
            }
            Refusal::Locked | Refusal::WrongPin => Remedy::Pin,
            _ => Remedy::Back,
        };
    }

    /// It is for a cause that a dose waits for too.
    pub(super) const fn blame(&mut self, cause: Cause) {
        self.reason = (CAUSES - 1) as u8 + cause.code();
    }

    pub(super) fn show(&self, pen: &mut Pen<'_>) {
        pen.say(Word::NotTaken).say_of(u16::from(self.reason), 0);
        if self.entry > 0 {
            pen.number(u32::from(self.entry), 1);
        }
        pen.end();
        pen.say(self.below);
        if self.length_ms > 0 {
            pen.length(u64::from(self.length_ms));
        }
        self.offer(pen);
        pen.action(match self.remedy {
            Remedy::Back | Remedy::Ask => Word::DoBack,
            Remedy::Pin => Word::DoPin,
            Remedy::RunAgain => Word::DoNew,
            Remedy::Take => Word::DoTake,
        });
        self.offer(pen);
    }

    /// The answer that is offered.
    fn offer(&self, pen: &mut Pen<'_>) {
        if self.remedy == Remedy::Take {
            let field = self.step.field(pen.likes.unit);
            pen.field(field, self.value, NO_WHEEL);
        }
    }
}

const _: () = assert!(ALARMS + 12 <= 256, "the words of alarms are among the first 256");

/// The word for a refusal; for some there is a closer one. One value for each, so that it
/// is looked up in a table.
#[cfg_attr(target_pointer_width = "32", inline(never))]
const fn reason_of(refusal: &Refusal) -> u8 {
    const fn alarm(alarm: Alarm) -> u8 {
        (ALARMS + alarm as u16 - 1) as u8
    }
    match refusal {
        Refusal::TooManyEntries { .. } => Word::NoLine as u8,
        Refusal::SameId { .. } | Refusal::RetiredId { .. } | Refusal::NoSuchEntry { .. } => {
            Word::EntryGone as u8
        }
        Refusal::NotRunning { .. } => Word::DoseOver as u8,
        Refusal::Head(_) | Refusal::Field { .. } | Refusal::OutOfRange => Word::OutOfRange as u8,
        Refusal::NeverDue { .. } => Word::NeverDue as u8,
        Refusal::DoesNotFit { .. } => Word::NeedsWindow as u8,
        Refusal::GapTooShort { .. } => Word::WindowLong as u8,
        Refusal::Overlap { .. } => Word::Overlaps as u8,
        Refusal::OverCeiling { .. } | Refusal::AtCeiling => Word::OverCeiling as u8,
        Refusal::TooManyDues { .. } => Word::ManyDoses as u8,
        Refusal::Busy => Word::Busy as u8,
        Refusal::ContainerEmpty => alarm(Alarm::ContainerEmpty),
        Refusal::Battery => alarm(Alarm::PackExhausted),
        Refusal::Ledger => alarm(Alarm::LedgerFault),
        Refusal::Locked => Word::Locked as u8,
        Refusal::WrongPin => Word::WrongPin as u8,
        Refusal::TriedTooOften { .. } => Word::Wait as u8,
        Refusal::NoRun(_) => Word::VesselSmall as u8,
        Refusal::NothingMeasured => Word::NoRun as u8,
        Refusal::RunLonger { .. } => Word::NotSure as u8,
        Refusal::RunTwice { .. } => Word::FarOff as u8,
        Refusal::Implausible { .. } => Word::Implausible as u8,
    }
}
