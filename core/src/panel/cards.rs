//! The ring of cards, what a press on each does, and the steps of a first set-up.

use super::Panel;
use super::draft::Kind;
use super::view::View;
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
        let count = Self::ALL.len();
        let step = if right { 1 } else { count - 1 };
        let at = (self as usize).saturating_add(step) % count;
        Self::ALL.get(at).copied().unwrap_or_default()
    }
}

/// What a press on a card does.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Action {
    /// Opens a draft; of an entry, where it is of one.
    Open(Kind, EntryId),
    /// Shows the outcome before.
    Older,
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

/// Whether clock and head are set, the book alone says.
const NOT_AT_THE_PANEL: u8 = 0b110;
pub(super) const PRIMED: u8 = 1 << 5;
pub(super) const CALIBRATED: u8 = 1 << 6;

/// The bit of a step of the first set-up that was done at the panel.
pub(super) fn bit_of(kind: Kind) -> u8 {
    let kind = if kind == Kind::Reading { Kind::Calibrate } else { kind };
    let bit = SET_UP.iter().position(|&step| step == kind).map_or(0, |at| 1 << at);
    bit & !NOT_AT_THE_PANEL
}

impl Panel {
    /// The next step of a first set-up, counted from 1; `None` once there is a
    /// timetable.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(super) fn set_up_step<const N: usize, const H: usize>(
        &self,
        view: &View<'_, N, H>,
    ) -> Option<(u32, Kind)> {
        let book = view.controller.book();
        if view.entries() > 0 || book.damaged != 0 {
            return None;
        }
        // what is in the book, beside what was done at this panel
        let mut done = self.done;
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
        if done & CALIBRATED != 0 || book.tube.last().is_some() {
            done |= CALIBRATED | PRIMED;
        }
        let at = done.trailing_ones();
        let kind = *SET_UP.get(at as usize)?;
        // a run whose reading is not entered yet
        let waits = kind == Kind::Calibrate && view.controller.waits_for_reading();
        Some((at + 1, if waits { Kind::Reading } else { kind }))
    }

    /// What a press does now.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(super) fn action<const N: usize, const H: usize>(
        &self,
        view: &View<'_, N, H>,
    ) -> Option<Action> {
        let book = view.controller.book();
        let mut id = EntryId(0);
        let kind = match self.card {
            Card::Last => {
                if let Some((_, kind)) = self.set_up_step(view) {
                    kind
                } else if let Some((alarm, _)) = view.alarm() {
                    remedy_of(alarm)?
                } else {
                    id = view.recent.get(0)?.id;
                    book.timetable.get(id).filter(|_| book.open.is_none())?;
                    Kind::RunAgain
                }
            }
            Card::Next => {
                id = view.controller.next_dose()?.entry.id;
                Kind::Entry
            }
            Card::Supply => Kind::Fresh,
            Card::Timetable if view.entries() == 0 => Kind::NewEntry,
            Card::Timetable => Kind::WhichEntry,
            Card::Prime => Kind::Prime,
            Card::Calibrate if view.controller.waits_for_reading() => Kind::Reading,
            Card::Calibrate => Kind::Calibrate,
            Card::Clock => Kind::Clock,
            Card::History => return (view.recent.len() > 1).then_some(Action::Older),
            Card::SetUp => Kind::SetUp,
        };
        Some(Action::Open(kind, id))
    }
}

/// What an alarm asks a person to do.
const fn remedy_of(alarm: Alarm) -> Option<Kind> {
    match alarm {
        Alarm::ClockUnset => Some(Kind::Clock),
        Alarm::MotorFault | Alarm::MemoryDamaged => Some(Kind::Acknowledge),
        Alarm::LowLevel | Alarm::LevelDisagrees | Alarm::ContainerEmpty => Some(Kind::Refill),
        Alarm::PackLow | Alarm::PackExhausted => Some(Kind::NewPack),
        Alarm::EntryDamaged | Alarm::DoesNotFit => Some(Kind::WhichEntry),
        Alarm::Leak | Alarm::LedgerFault => None,
    }
}
