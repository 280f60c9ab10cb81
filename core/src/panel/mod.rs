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

use draft::{Draft, Kind, Pressed, Step};
use field::{Field, NO_PIN};
use figures::parted;
use pen::Pen;
use refusal::{Remedy, Told};
use view::Keys;
use words::Word;

use crate::book::Book;
use crate::config::Head;
use crate::entry::EntryId;
use crate::time::{Duration, Instant};
use crate::timetable::Refusal;
use crate::units::{Volume, over};

/// A panel that nobody touches for so long goes home, and what was not put in force is
/// forgotten (own choice).
pub const FORGETS_AFTER: Duration = Duration::from_min(15);
/// What prime stops at until a tube set is told: a parameter.
const PRIME_ML: u32 = 60;

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
    Told,
    /// The PIN is asked for.
    Pin,
}

/// What a panel keeps of what it was told.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
struct Kept {
    preferences: Preferences,
    /// The vessel of the last calibration run.
    vessel: u8,
    /// Answers of the draft that were made others than they began, a bit a slot; what comes
    /// back to the same figure was given all the same.
    given: u8,
    /// How long it was to be, in ms; 0 where the vessel said it.
    run_ms: u32,
}

/// Volume of a decimetre of tube by its bore, in nl: 1.6, 3.2, 4.8 and 6.4 mm (geometry).
const NL_A_DECIMETRE: [u32; 4] = [201_062, 804_248, 1_809_557, 3_216_991];

impl Kept {
    /// What prime stops at: what fills the tube set, in whole millilitres, so that what
    /// is shown is what is asked for, and at most what can be entered, and what the head
    /// delivers in its longest prime.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    fn prime(&self, head: Option<&Head>) -> Volume {
        let Preferences { tube_dm, bore, .. } = self.preferences;
        let a_decimetre = NL_A_DECIMETRE.get(usize::from(bore)).copied().unwrap_or(0);
        // a length has three digits
        let nl = a_decimetre.wrapping_mul(u32::from(tube_dm));
        let (ml, _) = parted(nl.wrapping_add(999_999), 1_000_000);
        let ml = u64::from(if tube_dm == 0 { PRIME_ML } else { ml.min(999) });
        let most_ml = head.map_or(ml, |head| {
            let longest = Duration::from_ms(u64::from(head.longest_prime_ms));
            over(head.flow.volume(longest).as_nl(), 1_000_000)
        });
        Volume::from_ml(ml.min(most_ml))
    }
}

/// The panel. A restart forgets where it was, and with it every draft.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
// in this order, so that what is looked at most is in reach of short instructions
#[repr(C)]
pub struct Panel {
    over: Over,
    card: Card,
    /// How many outcomes back the history is.
    back: u8,
    /// What is said once, until the next touch.
    notice: Option<Word>,
    /// Steps of a first set-up that were done at this panel, a bit each.
    done: u8,
    /// The wheel of the PIN that is being turned.
    wheel: u8,
    /// What was told last.
    told: Told,
    draft: Draft,
    /// The PIN as far as it was entered.
    digits: Digits,
    /// When it was touched last.
    touched: Instant,
}

impl Panel {
    /// One that shows its home card.
    pub const fn new(preferences: Preferences) -> Self {
        Self {
            over: Over::Nothing,
            card: Card::Last,
            back: 0,
            notice: None,
            done: 0,
            wheel: 1,
            draft: Draft::none(Kept { preferences, vessel: 0, given: 0, run_ms: 0 }),
            digits: Digits(NO_PIN),
            told: Told::NOTHING,
            touched: Instant::MIN,
        }
    }

    /// What the person in front of it likes; for the firmware to keep where it changed.
    pub const fn preferences(&self) -> Preferences {
        self.draft.kept.preferences
    }

    /// The card that is shown, or that a draft was opened from.
    pub const fn card(&self) -> Card {
        self.card
    }

    /// Whether something is being changed that is not in force.
    pub const fn has_draft(&self) -> bool {
        self.draft.kind as u8 != Kind::Nothing as u8
    }

    /// Whether it shows its home card and nothing else.
    pub fn is_home(&self) -> bool {
        self.card == Card::Last && !self.has_draft() && self.over == Over::Nothing
    }

    /// A touch of the knob. It is to be called before the controller is told of the
    /// key, and what comes back is to be handed in after it; [`operate`] does both.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub fn touch<const N: usize, const H: usize>(
        &mut self,
        input: Input,
        view: &View<'_, N, H>,
    ) -> Option<Request> {
        let forgets = view.now.since(self.touched) >= FORGETS_AFTER;
        self.touched = view.now;
        if forgets {
            self.leave(Word::Forgotten);
        }
        if let Some(run) = view.controller.service_run() {
            return self.stop(input, run.calibrates, view);
        }
        if view.keys() != Keys::Open {
            // it lights the display, or unlocks the keys, and does nothing else
            return None;
        }
        self.notice = None;
        match input {
            Input::Hold => {
                self.leave(Word::NothingChanged);
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
        if calibrates && !(pressed && view.keys() != Keys::Dark) {
            return None;
        }
        if input == Input::Hold {
            self.go_home();
        } else {
            self.draft.close();
            self.over = Over::Nothing;
        }
        self.notice = Some(Word::Stopped);
        Some(Request::Release)
    }

    /// Goes home, and says so of a draft that is left with it.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    fn leave(&mut self, said: Word) {
        self.notice = self.has_draft().then_some(said);
        self.go_home();
    }

    #[cfg_attr(target_pointer_width = "32", inline(never))]
    fn go_home(&mut self) {
        (self.card, self.back) = (Card::Last, 0);
        self.over = Over::Nothing;
        self.draft.close();
    }

    #[cfg_attr(target_pointer_width = "32", inline(never))]
    fn ask_for_pin(&mut self) {
        (self.over, self.digits, self.wheel) = (Over::Pin, Digits(NO_PIN), 1);
    }

    fn turn(&mut self, right: bool) {
        match self.over {
            Over::Told if self.told.remedy == Remedy::Pin => self.ask_for_pin(),
            Over::Told => self.over = Over::Nothing,
            Over::Pin => {
                (self.digits.0, _) = Field::PIN.turn(self.digits.0, u32::from(self.wheel), right);
            }
            Over::Nothing if self.draft.is_open() => self.draft.turn(right),
            Over::Nothing => {
                self.card = self.card.turned(right);
                // the history begins where the home card ends
                self.back = u8::from(self.card == Card::History);
            }
        }
    }

    fn press<const N: usize, const H: usize>(&mut self, view: &View<'_, N, H>) -> Option<Request> {
        if self.over == Over::Nothing && self.is_cut(view) {
            // another run, as long as it was to be
            (self.told.remedy, self.told.length_ms) = (Remedy::RunAgain, 0);
            self.over = Over::Told;
        }
        match self.over {
            Over::Told => {
                self.over = Over::Nothing;
                self.mend(view);
                None
            }
            Over::Pin => match Field::PIN.next(self.digits.0, u32::from(self.wheel)) {
                0 => Some(Request::Unlock(field::pin(self.digits.0))),
                wheel => {
                    self.wheel = wheel as u8;
                    None
                }
            },
            Over::Nothing => self.press_below(view),
        }
    }

    /// Does what was offered.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    fn mend<const N: usize, const H: usize>(&mut self, view: &View<'_, N, H>) {
        let Told { remedy, mut step, mut value, .. } = self.told;
        match remedy {
            Remedy::Back => return,
            Remedy::Pin => return self.ask_for_pin(),
            Remedy::Ask => {
                if self.draft.is_open() {
                    self.draft.ask(step);
                }
                return;
            }
            Remedy::Take => {}
            Remedy::RunAgain => {
                self.open(Kind::Calibrate, EntryId::NONE, view);
                // as long as the last where nothing else is asked for
                let asked = self.told.length_ms;
                (step, value) =
                    (Step::RunMs, if asked == 0 { self.draft.kept.run_ms } else { asked });
            }
        }
        let draft = &mut self.draft;
        if !draft.is_open() {
            return;
        }
        draft.answer_with(step, value);
        // with another window it still has its time until the first water
        draft.propose_start();
        draft.go_to_end();
    }

    /// A press on a draft, or on a card.
    fn press_below<const N: usize, const H: usize>(
        &mut self,
        view: &View<'_, N, H>,
    ) -> Option<Request> {
        let book = view.controller.book();
        let draft = &mut self.draft;
        if !draft.is_open() {
            let (kind, id) = self.action(view)?;
            if kind == Kind::Nothing {
                // round again after the oldest
                let next = self.back.wrapping_add(1);
                let is_there = view.recent.get(usize::from(next)).is_some();
                self.back = if is_there { next } else { 0 };
            } else {
                self.open(kind, id, view);
            }
            return None;
        }
        match draft.press(book) {
            Pressed::GoesOn => {}
            Pressed::Chosen => {
                let (kind, id) = draft.chosen(book);
                self.open(kind, id, view);
            }
            Pressed::Put => {
                if draft.problem(book, &mut self.told) {
                    self.over = Over::Told;
                } else if !draft.is_own(book) {
                    return Some(Request::Draft);
                } else if view.controller.is_locked() {
                    // nobody else asks for it
                    self.ask_for_pin();
                } else {
                    self.settle(book);
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
        self.draft.begin(kind, id, view.controller.book());
        if kind == Kind::Clock {
            self.draft.tell_time(view.minute());
        }
        if kind.spec().locked && view.controller.is_locked() {
            self.ask_for_pin();
        }
    }

    /// What became of the request of the last touch: `None` where it was taken.
    pub fn answer<const N: usize, const H: usize>(
        &mut self,
        refusal: Option<Refusal>,
        view: &View<'_, N, H>,
    ) {
        let book = view.controller.book();
        let is_pin = self.over == Over::Pin;
        match refusal {
            None if is_pin => self.over = Over::Nothing,
            None => self.settle(book),
            Some(refusal) if is_pin || self.draft.is_open() => {
                self.told.refuse(&refusal, &self.draft, book);
                if let (Refusal::Busy, Some(cause)) = (refusal, view.controller.stopped_by()) {
                    self.told.blame(cause);
                }
                self.over = Over::Told;
            }
            Some(_) => {}
        }
    }

    /// Asks for what the draft says; why it is not taken.
    fn hand_in<const N: usize, const H: usize>(
        &self,
        now: Instant,
        desk: &mut impl Desk<N, H>,
    ) -> Option<Refusal> {
        if self.draft.is_open() { self.draft.hand_in(now, desk) } else { None }
    }

    /// The draft is in force.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    fn settle<const N: usize, const H: usize>(&mut self, book: &Book<N, H>) {
        let draft = &mut self.draft;
        let Draft { kind, id, .. } = *draft;
        if !draft.is_open() {
            return;
        }
        draft.keep_likes();
        self.done |= kind.spec().step;
        // prime says so when it has ended, unless it was cut short
        self.notice = Some(match kind {
            Kind::Prime => Word::Primed,
            Kind::StopDose => Word::Stopped,
            _ => Word::InForce,
        });
        if kind == Kind::Calibrate {
            draft.kept.vessel = draft.get(Step::Vessel) as u8;
            draft.kept.run_ms = draft.get(Step::RunMs);
            self.notice = None;
            self.done &= !cards::CALIBRATED;
            draft.begin(Kind::Reading, id, book);
        } else {
            draft.close();
        }
    }

    /// Whether the run that is to be told of was cut short: a prime, or a calibration run
    /// whose reading would be asked, though nothing can be measured by it.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    fn is_cut<const N: usize, const H: usize>(&self, view: &View<'_, N, H>) -> bool {
        match self.draft.kind {
            Kind::Reading => !view.controller.waits_for_reading(),
            _ => self.notice == Some(Word::Primed) && view.controller.prime_was_cut(),
        }
    }

    /// What the display shows; blank while it is dark.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub fn screen<const N: usize, const H: usize>(&self, view: &View<'_, N, H>) -> Screen {
        let mut screen = Screen::VOID;
        let pen = &mut Pen::new(&mut screen, self.preferences(), view.minute());
        for row in (0..ROWS).rev() {
            pen.begin(row);
        }
        let keys = view.keys();
        if keys != Keys::Dark {
            self.draw(view, pen, keys);
            pen.begin(ROWS);
        }
        screen
    }

    fn draw<const N: usize, const H: usize>(
        &self,
        view: &View<'_, N, H>,
        pen: &mut Pen<'_>,
        keys: Keys,
    ) {
        if let Some(run) = view.controller.service_run() {
            return faces::running(&run, view, pen);
        }
        match self.over {
            Over::Told => self.told.show(pen),
            Over::Pin => {
                let (digits, wheel) = (self.digits.0, u32::from(self.wheel));
                pen.line(Word::Unlock).line(Word::Pin).field(Field::PIN, digits, wheel);
                let at_end = Field::PIN.ends_at(digits, wheel);
                pen.action(if at_end { Word::DoDone } else { Word::DoNext });
            }
            Over::Nothing if self.is_cut(view) => {
                let calibrates = self.draft.is_open();
                pen.line(if calibrates { Word::Calibrate } else { Word::Prime });
                pen.say(Word::Stopped);
                faces::held(view, pen);
                pen.action(Word::DoNew);
            }
            Over::Nothing if self.draft.is_open() => self.draft.show(view, pen),
            Over::Nothing => {
                self.show_card(view, pen);
                if let Some(notice) = self.notice.filter(|_| !pen.is_full) {
                    pen.begin(2).say(notice);
                }
            }
        }
        if keys == Keys::Locked {
            // what opens them, whatever stands there
            pen.begin(ROWS - 1).say(Word::HoldToUnlock);
        }
    }
}
