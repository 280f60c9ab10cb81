//! A front panel: one knob, four lines of twenty characters.
//!
//! A ring of cards, each of which tells what matters of one thing and offers one
//! action; a turn goes to the next card, a press does what the last line says, and
//! holding the knob leads home from anywhere. What is changed is a draft: it
//! is put in force whole, through the controller's own events, or left whole.
//!
//! The panel is a pure state machine. It looks at the controller and never holds it
//! up: a pulse does not know that there is a panel (P2).

mod cards;
mod desk;
mod draft;
mod faces;
mod field;
mod figures;
mod pen;
mod preferences;
mod recent;
mod refusal;
mod request;
mod screen;
mod view;
mod words;
pub mod zones;

pub use cards::Card;
pub use desk::{Desk, operate};
pub use preferences::{Language, Preferences, Unit};
pub use recent::{Past, Recent};
pub use request::Request;
pub use screen::{COLUMNS, ROWS, Screen};
pub use view::View;

use core::fmt;

use cards::Action;
use draft::{Draft, Kind, Pressed, Step};
use field::{Field, NO_PIN};
use pen::{Pen, Style};
use refusal::{Remedy, Told};
use words::Word;

use crate::entry::EntryId;
use crate::time::{Duration, Instant};
use crate::timetable::Refusal;
use crate::units::Volume;

/// A panel that nobody touches for so long goes home, and what was not put in force is
/// forgotten (own choice).
pub const FORGETS_AFTER: Duration = Duration::from_min(15);
/// What prime stops at until a tube set is told: a parameter.
const PRIME: Volume = Volume::from_ml(60);

/// What a hand can do to the knob.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Input {
    /// A turn to the left, by one notch.
    Left,
    /// A turn to the right, by one notch.
    Right,
    /// A short press.
    Press,
    /// A long one.
    Hold,
}

/// A PIN in the making, which shows itself to nobody.
#[derive(Clone, Copy, PartialEq, Eq, Hash)]
struct Digits(u32);

impl fmt::Debug for Digits {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Digits")
    }
}

#[cfg(feature = "defmt")]
impl defmt::Format for Digits {
    fn format(&self, f: defmt::Formatter<'_>) {
        defmt::write!(f, "Digits");
    }
}

/// What lies over card or draft.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
enum Over {
    Nothing,
    /// Something was not taken.
    Told(Told),
    /// The PIN is asked for.
    Pin {
        digits: Digits,
        wheel: u8,
    },
}

/// What a panel keeps of what it was told.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
struct Kept {
    preferences: Preferences,
    /// The vessel of the last calibration run.
    vessel: u8,
    /// How long it was to be, in ms; 0 where the vessel said it.
    run_ms: u32,
}

/// Volume of a decimetre of tube by its bore, in nl: 1.6, 3.2, 4.8 and 6.4 mm (geometry).
const NL_A_DECIMETRE: [u32; 4] = [201_062, 804_248, 1_809_557, 3_216_991];

impl Kept {
    /// What prime stops at: what fills the tube set, in whole millilitres, so that what
    /// is shown is what is asked for, and at most what can be entered.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    fn prime(&self) -> Volume {
        let Preferences { tube_dm, bore, .. } = self.preferences;
        let a_decimetre = NL_A_DECIMETRE.get(usize::from(bore)).copied().unwrap_or(0);
        // a length has three digits
        let ml = a_decimetre.wrapping_mul(u32::from(tube_dm)).div_ceil(1_000_000);
        if tube_dm == 0 { PRIME } else { Volume::from_ml(u64::from(ml.min(999))) }
    }
}

/// The panel. A restart forgets where it was, and with it every draft.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Panel {
    kept: Kept,
    card: Card,
    /// How many outcomes back the history is.
    back: u8,
    draft: Option<Draft>,
    over: Over,
    /// What is said once, until the next touch.
    notice: Option<Word>,
    /// Steps of a first set-up that were done at this panel, a bit each.
    done: u8,
    /// When it was touched last.
    touched: Instant,
}

impl Panel {
    /// One that shows its home card.
    pub const fn new(preferences: Preferences) -> Self {
        Self {
            kept: Kept { preferences, vessel: 0, run_ms: 0 },
            card: Card::Last,
            back: 0,
            draft: None,
            over: Over::Nothing,
            notice: None,
            done: 0,
            touched: Instant::MIN,
        }
    }

    /// What the person in front of it likes; for the firmware to keep where it changed.
    pub const fn preferences(&self) -> Preferences {
        self.kept.preferences
    }

    /// The card that is shown, or that a draft was opened from.
    pub const fn card(&self) -> Card {
        self.card
    }

    /// Whether something is being changed that is not in force.
    pub const fn has_draft(&self) -> bool {
        self.draft.is_some()
    }

    /// Whether it shows its home card and nothing else.
    pub fn is_home(&self) -> bool {
        self.card == Card::Last && self.draft.is_none() && self.over == Over::Nothing
    }

    /// A touch of the knob. It is to be called before the controller is told of the
    /// key, and what comes back is to be handed in after it; [`operate`] does both.
    pub fn touch<const N: usize, const H: usize>(
        &mut self,
        input: Input,
        view: &View<'_, N, H>,
    ) -> Option<Request> {
        let forgets = view.now.since(self.touched) >= FORGETS_AFTER;
        self.touched = view.now;
        if forgets {
            self.notice = self.draft.map(|_| Word::Forgotten);
            self.go_home();
        }
        if let Some(run) = view.controller.service_run() {
            return self.stop(input, run.calibrates, view);
        }
        if !view.takes_keys() {
            // it lights the display, or unlocks the keys, and does nothing else
            return None;
        }
        self.notice = None;
        match input {
            Input::Hold => {
                let left = self.draft.is_some();
                self.go_home();
                self.notice = left.then_some(Word::NothingChanged);
                None
            }
            Input::Left | Input::Right => {
                self.turn(input == Input::Right);
                None
            }
            Input::Press => self.press(view),
        }
    }

    /// A touch while the pump runs in the operator's hands. Prime stops at any, lit or
    /// dark, keys locked or not; a calibration run, which a look would spoil, at a press
    /// of a lit panel.
    fn stop<const N: usize, const H: usize>(
        &mut self,
        input: Input,
        calibrates: bool,
        view: &View<'_, N, H>,
    ) -> Option<Request> {
        let pressed = matches!(input, Input::Press | Input::Hold);
        if calibrates && !(pressed && view.is_lit()) {
            return None;
        }
        self.draft = None;
        self.over = Over::Nothing;
        if input == Input::Hold {
            self.go_home();
        }
        self.notice = Some(Word::Stopped);
        if !calibrates {
            // the tube may not be full
            self.done &= !cards::PRIMED;
        }
        Some(Request::Release)
    }

    #[cfg_attr(target_pointer_width = "32", inline(never))]
    fn go_home(&mut self) {
        (self.card, self.back) = (Card::Last, 0);
        (self.draft, self.over) = (None, Over::Nothing);
    }

    fn turn(&mut self, right: bool) {
        match &mut self.over {
            Over::Told(told) => {
                let asks = told.remedy == Remedy::Pin;
                self.over = if asks { ask_for_pin() } else { Over::Nothing };
            }
            Over::Pin { digits, wheel } => {
                (digits.0, _) = Field::Pin.turn(digits.0, *wheel, right);
            }
            Over::Nothing => match &mut self.draft {
                Some(draft) => draft.turn(right),
                None => {
                    self.card = self.card.turned(right);
                    // the history begins where the home card ends
                    self.back = u8::from(self.card == Card::History);
                }
            },
        }
    }

    fn press<const N: usize, const H: usize>(&mut self, view: &View<'_, N, H>) -> Option<Request> {
        match self.over {
            Over::Told(told) => {
                self.over = Over::Nothing;
                self.mend(told.remedy, view);
                None
            }
            Over::Pin { digits, wheel } => match Field::Pin.next(digits.0, wheel) {
                Some(wheel) => {
                    self.over = Over::Pin { digits, wheel };
                    None
                }
                None => draft::pin(digits.0).map(Request::Unlock),
            },
            Over::Nothing => self.press_below(view),
        }
    }

    /// Does what was offered.
    fn mend<const N: usize, const H: usize>(&mut self, remedy: Remedy, view: &View<'_, N, H>) {
        let (step, value) = match remedy {
            Remedy::Back => return,
            Remedy::Pin => return self.over = ask_for_pin(),
            Remedy::Ask(step) => {
                if let Some(draft) = &mut self.draft {
                    draft.ask(step);
                }
                return;
            }
            Remedy::Take(step, value) => (step, value),
            Remedy::RunAgain(run_ms) => {
                self.open(Kind::Calibrate, EntryId(0), view);
                // as long as the last where nothing else is asked for
                (Step::RunMs, if run_ms == 0 { self.kept.run_ms } else { run_ms })
            }
        };
        let Some(draft) = &mut self.draft else { return };
        draft.set(step, value);
        if step == Step::Window && draft.kind == Kind::NewEntry {
            // it still has its time until the first water
            draft.propose_start();
        }
        draft.go_to_end();
    }

    /// A press on a draft, or on a card.
    fn press_below<const N: usize, const H: usize>(
        &mut self,
        view: &View<'_, N, H>,
    ) -> Option<Request> {
        let Some(draft) = &mut self.draft else {
            match self.action(view)? {
                Action::Open(kind, id) => self.open(kind, id, view),
                Action::Older => {
                    // round again after the oldest
                    let next = self.back.saturating_add(1);
                    let is_there = view.recent.get(usize::from(next)).is_some();
                    self.back = if is_there { next } else { 0 };
                }
            }
            return None;
        };
        match draft.press() {
            Pressed::GoesOn => {}
            Pressed::Answered(step) => draft.propose(step, view),
            Pressed::Chosen => {
                let (kind, id) = draft.chosen(view);
                self.open(kind, id, view);
            }
            Pressed::Put => {
                if let Some(told) = draft.problem(view) {
                    self.over = Over::Told(told);
                } else if draft.is_own(view) {
                    self.settle(view);
                } else {
                    return Some(Request::Draft);
                }
            }
        }
        None
    }

    #[cfg_attr(target_pointer_width = "32", inline(never))]
    fn open<const N: usize, const H: usize>(
        &mut self,
        kind: Kind,
        id: EntryId,
        view: &View<'_, N, H>,
    ) {
        self.draft = Some(Draft::open(kind, id, &self.kept, view));
        if kind.spec().locked && view.controller.is_locked() {
            self.over = ask_for_pin();
        }
    }

    /// What became of the request of the last touch: `None` where it was taken.
    pub fn answer<const N: usize, const H: usize>(
        &mut self,
        refusal: Option<Refusal>,
        view: &View<'_, N, H>,
    ) {
        let pin = matches!(self.over, Over::Pin { .. });
        let draft = self.draft.as_ref().filter(|_| !pin);
        self.over = match refusal {
            None if pin => Over::Nothing,
            None => return self.settle(view),
            Some(refusal) if pin || draft.is_some() => Over::Told(Told::of(&refusal, draft, view)),
            Some(_) => return,
        };
    }

    /// Asks for what the draft says; why it is not taken.
    fn hand_in<const N: usize, const H: usize>(
        &self,
        now: Instant,
        desk: &mut impl Desk<N, H>,
    ) -> Option<Refusal> {
        self.draft.as_ref()?.hand_in(now, desk)
    }

    /// The draft is in force.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    fn settle<const N: usize, const H: usize>(&mut self, view: &View<'_, N, H>) {
        let Some(draft) = &self.draft else { return };
        let (kind, id) = (draft.kind, draft.id);
        self.kept.preferences = draft.preferences();
        self.done |= cards::bit_of(kind);
        // prime says so when it has ended, unless it was stopped
        self.notice = Some(if kind == Kind::Prime { Word::Primed } else { Word::InForce });
        if kind == Kind::Calibrate {
            self.kept.vessel = draft.get(Step::Vessel) as u8;
            self.kept.run_ms = draft.get(Step::RunMs);
            self.notice = None;
            self.done &= !cards::CALIBRATED;
            self.draft = Some(Draft::open(Kind::Reading, id, &self.kept, view));
        } else {
            self.draft = None;
        }
    }

    /// What the display shows; blank while it is dark.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub fn screen<const N: usize, const H: usize>(&self, view: &View<'_, N, H>) -> Screen {
        let mut screen = Screen::BLANK;
        if !view.is_lit() {
            return screen;
        }
        let style = Style::of(self.kept.preferences);
        let pen = &mut Pen::new(&mut screen, style);
        if let Some(run) = view.controller.service_run() {
            faces::running(&run, view, pen);
            return screen;
        }
        match (&self.over, &self.draft) {
            (Over::Told(told), _) => told.show(pen),
            (&Over::Pin { digits, wheel }, _) => {
                pen.line(Word::Unlock);
                pen.line(Word::Pin);
                Field::Pin.show(pen, digits.0, wheel);
                let at_end = Field::Pin.ends_at(digits.0, wheel);
                pen.action(if at_end { Word::DoDone } else { Word::DoNext });
            }
            (Over::Nothing, Some(draft)) => draft.show(view, pen),
            (Over::Nothing, None) => {
                self.show_card(view, pen);
                // at a step of a first set-up the card has said it
                let at_step = self.set_up_step(view).is_some_and(|(at, _)| at > 1);
                let is_said = self.card == Card::Last && at_step;
                if let Some(notice) = self.notice.filter(|_| !is_said) {
                    pen.begin(2);
                    pen.say(notice);
                }
            }
        }
        if !view.takes_keys() {
            faces::locked(pen);
        }
        screen
    }
}

const fn ask_for_pin() -> Over {
    Over::Pin { digits: Digits(NO_PIN), wheel: 1 }
}
