//! The ring of cards, what a press on each does, and the steps of a first set-up.

use super::Panel;
use super::draft::Kind;
use super::field::round;
use super::view::{self, View};
use crate::entry::EntryId;
use crate::record::Alarm;

/// A card of the ring, in its order.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug, Default)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Card {
    /// The last outcome, or what has to be seen to: home.
    #[default]
    Last,
    /// The dose that comes next.
    Next,
    /// Until when product and battery last.
    Supply,
    /// The timetable.
    Timetable,
    /// Prime.
    Prime,
    /// Calibrate.
    Calibrate,
    /// The clock.
    Clock,
    /// Outcomes before the last.
    History,
    /// Set-up: place, PIN, head, tube set, container.
    SetUp,
}

impl Card {
    /// The ring.
    pub const ALL: [Self; 9] = [
        Self::Last,
        Self::Next,
        Self::Supply,
        Self::Timetable,
        Self::Prime,
        Self::Calibrate,
        Self::Clock,
        Self::History,
        Self::SetUp,
    ];

    pub(super) fn turned(self, right: bool) -> Self {
        let at = round(self as u32, Self::ALL.len() as u32, right);
        Self::ALL.get(at as usize).copied().unwrap_or_default()
    }
}

/// Steps of a first set-up.
const SET_UP: [Kind; 8] = [
    Kind::Place,
    Kind::Clock,
    Kind::Head,
    Kind::Tube,
    Kind::Product,
    Kind::Prime,
    Kind::Calibrate,
    Kind::NewEntry,
];
pub(super) const SET_UP_STEPS: u32 = SET_UP.len() as u32;

pub(super) const PRIMED: u8 = 1 << 5;
pub(super) const CALIBRATED: u8 = 1 << 6;

impl Panel {
    /// The next step of a first set-up, counted from 1; `None` once there is a
    /// timetable.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(super) fn set_up_step<const N: usize, const H: usize>(
        &self,
        view: &View<'_, N, H>,
    ) -> Option<(u32, Kind)> {
        let book = view.controller.book();
        if view::entries(book) > 0 || book.damaged != 0 {
            return None;
        }
        // what is in the book, beside what was done at this panel
        let mut done = u32::from(self.done);
        if book.clock.is_some() {
            done |= 0b11;
        }
        if book.head.is_some() {
            done |= 0b100;
        }
        if book.tube.since.is_some() {
            done |= 0b1000;
        }
        if book.stock.container().is_some() {
            done |= 0b1_0000;
        }
        // who has calibrated has primed
        if done & u32::from(CALIBRATED) != 0 || book.tube.last().is_some() {
            done |= u32::from(CALIBRATED | PRIMED);
        }
        if view.controller.prime_was_cut() {
            // the tube may not be full
            done &= !u32::from(PRIMED);
        }
        let mut at = 0;
        while done >> at & 1 == 1 {
            at += 1;
        }
        let kind = *SET_UP.get(at as usize)?;
        // a run whose reading is not entered yet
        let waits = kind == Kind::Calibrate && view.controller.waits_for_reading();
        Some((at + 1, if waits { Kind::Reading } else { kind }))
    }

    /// What a press opens a draft of now, and of which entry, where it is of one; of nothing
    /// where it shows the outcome before.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(super) fn action<const N: usize, const H: usize>(
        &self,
        view: &View<'_, N, H>,
    ) -> Option<(Kind, EntryId)> {
        let book = view.controller.book();
        let mut id = EntryId::NONE;
        let kind = match self.card {
            Card::Last => {
                if let Some((_, kind)) = self.set_up_step(view) {
                    kind
                } else if let Some(open) = book.open.as_ref().filter(|_| !book.motor.is_latched()) {
                    id = open.pulse.due.id;
                    Kind::StopDose
                } else if let Some((alarm, _)) = view::alarm(view.controller, view::ALL) {
                    REMEDIES.get(alarm as usize).copied().flatten()?
                } else {
                    id = view.recent.get(0)?.id;
                    book.timetable.has(id).then_some(Kind::RunAgain)?
                }
            }
            Card::Next => {
                id = view.controller.next_dose()?.id;
                Kind::Entry
            }
            Card::Supply => Kind::Fresh,
            Card::Timetable if view::entries(book) == 0 => Kind::NewEntry,
            Card::Timetable => Kind::WhichEntry,
            Card::Prime => Kind::Prime,
            Card::Calibrate if view.controller.waits_for_reading() => Kind::Reading,
            Card::Calibrate => Kind::Calibrate,
            Card::Clock => Kind::Clock,
            Card::History => view.recent.get(1).map(|_| Kind::Nothing)?,
            Card::SetUp => Kind::SetUp,
        };
        Some((kind, id))
    }
}

/// What an alarm asks a person to do, by its number.
static REMEDIES: [Option<Kind>; 13] = {
    let mut remedies = [None; 13];
    remedies[Alarm::ClockUnset as usize] = Some(Kind::Clock);
    remedies[Alarm::MotorFault as usize] = Some(Kind::Acknowledge);
    remedies[Alarm::MemoryDamaged as usize] = Some(Kind::Acknowledge);
    remedies[Alarm::LowLevel as usize] = Some(Kind::Refill);
    remedies[Alarm::LevelDisagrees as usize] = Some(Kind::Refill);
    remedies[Alarm::ContainerEmpty as usize] = Some(Kind::Refill);
    remedies[Alarm::PackLow as usize] = Some(Kind::NewPack);
    remedies[Alarm::PackExhausted as usize] = Some(Kind::NewPack);
    remedies[Alarm::EntryDamaged as usize] = Some(Kind::WhichEntry);
    remedies[Alarm::DoesNotFit as usize] = Some(Kind::WhichEntry);
    remedies
};
