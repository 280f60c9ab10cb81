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
mod draft;
mod field;
mod preferences;
mod recent;
mod refusal;
mod request;
mod screen;
mod show;
mod view;
mod words;
pub mod zones;

pub use cards::Card;
pub use preferences::{Language, Preferences, Unit};
pub use recent::{Past, Recent};
pub use request::Request;
pub use screen::{COLUMNS, ROWS, Screen};
pub use view::View;

use core::fmt;

use cards::{Action, done};
use draft::{At, Draft, Kind, Pressed, Put, Step, WHICH};
use field::{Field, NO_PIN};
use refusal::{Problem, Remedy};
use screen::Text;
use show::Style;

use crate::controller::Controller;
use crate::event::Event;
use crate::time::{Duration, Instant};
use crate::timetable::Refusal;
use crate::units::Volume;

/// A panel that nobody touches for so long goes home, and what was not put in force is
/// forgotten (own choice).
pub const FORGETS_AFTER: Duration = Duration::from_min(15);
/// What prime stops at until a tube set is told: a parameter.
const PRIME: Volume = Volume::from_ml(60);
/// The most that prime can be set to on the panel.
const MOST_PRIME: Volume = Volume::from_ml(999);

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
    /// Something was not taken; `pin`: it was the PIN.
    Told {
        problem: Problem,
        pin: bool,
    },
    /// The PIN is asked for.
    Pin {
        digits: Digits,
        wheel: u8,
    },
}

/// What is said once, until the next touch.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
enum Notice {
    InForce,
    Stopped,
    NothingChanged,
}

/// The panel. A restart forgets where it was, and with it every draft.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Panel {
    preferences: Preferences,
    card: Card,
    /// How many outcomes back the history is.
    back: u8,
    draft: Option<Draft>,
    over: Over,
    notice: Option<Notice>,
    /// Steps of a first set-up that the book does not tell, a bit each.
    done: u8,
    /// What prime stops at.
    prime: Volume,
    /// The vessel of the last calibration run.
    vessel: u8,
    /// When it was touched last.
    touched: Instant,
}

impl Panel {
    /// One that shows its home card.
    pub const fn new(preferences: Preferences) -> Self {
        Self {
            preferences,
            card: Card::Last,
            back: 0,
            draft: None,
            over: Over::Nothing,
            notice: None,
            done: 0,
            prime: PRIME,
            vessel: 0,
            touched: Instant::MIN,
        }
    }

    /// What the person in front of it likes; for the firmware to keep where it changed.
    pub const fn preferences(&self) -> Preferences {
        self.preferences
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
            self.go_home();
            self.notice = None;
        }
        if let Some(run) = view.controller.service_run() {
            return self.stop(input, run.calibrates, view);
        }
        if !view.controller.takes_keys_at(view.now) {
            // it lights the display, or unlocks the keys, and does nothing else
            return None;
        }
        self.notice = None;
        match input {
            Input::Hold => {
                let left = self.draft.is_some();
                self.go_home();
                self.notice = left.then_some(Notice::NothingChanged);
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
        if calibrates && !(pressed && view.controller.is_lit_at(view.now)) {
            return None;
        }
        self.draft = None;
        self.over = Over::Nothing;
        if input == Input::Hold {
            self.go_home();
        }
        self.notice = Some(Notice::Stopped);
        Some(Request::Release)
    }

    fn go_home(&mut self) {
        (self.card, self.back) = (Card::Last, 0);
        (self.draft, self.over) = (None, Over::Nothing);
    }

    fn turn(&mut self, right: bool) {
        let style = Style::of(self.preferences);
        match &mut self.over {
            Over::Told { pin, .. } => self.over = if *pin { ask_for_pin() } else { Over::Nothing },
            Over::Pin { digits, wheel } => {
                (digits.0, _) = Field::Pin.turn(digits.0, *wheel, right);
            }
            Over::Nothing => match &mut self.draft {
                Some(draft) => draft.turn(right, &style),
                None => {
                    self.back = 0;
                    self.card = self.card.turned(right);
                    // the history begins where the home card ends
                    if self.card == Card::History {
                        self.back = 1;
                    }
                }
            },
        }
    }

    fn press<const N: usize, const H: usize>(&mut self, view: &View<'_, N, H>) -> Option<Request> {
        match self.over {
            Over::Told { problem, pin } => {
                self.over = Over::Nothing;
                match problem.remedy() {
                    _ if pin => self.over = ask_for_pin(),
                    Remedy::Back => {}
                    Remedy::Pin => self.over = ask_for_pin(),
                    Remedy::RunAgain => self.open(Kind::Calibrate, view),
                    Remedy::Start(minute) => {
                        if let Some(draft) = &mut self.draft {
                            draft.set(Step::Start, u32::from(minute));
                            draft.at = At::Put;
                        }
                    }
                    Remedy::Window(least_ms) => {
                        if let Some(draft) = &mut self.draft {
                            draft.set(Step::Window, draft::window_from(least_ms));
                            draft.at = At::Put;
                        }
                    }
                }
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

    /// A press on a draft, or on a card.
    fn press_below<const N: usize, const H: usize>(
        &mut self,
        view: &View<'_, N, H>,
    ) -> Option<Request> {
        let Some(mut draft) = self.draft else {
            match self.action(view)? {
                Action::Open(kind) => self.open(kind, view),
                Action::Older => {
                    // round again after the oldest
                    let next = self.back.saturating_add(1);
                    let is_there = view.recent.get(usize::from(next)).is_some();
                    self.back = if is_there { next } else { 0 };
                }
            }
            return None;
        };
        let style = Style::of(self.preferences);
        let panel = *self;
        let pressed = draft.press(&style, |draft, step| draft.propose(step, &panel, view));
        self.draft = Some(draft);
        match pressed {
            Pressed::GoesOn => None,
            Pressed::Chosen(choice) => {
                let kind = chosen(draft.kind, choice, view);
                self.open(kind, view);
                None
            }
            Pressed::Put => match draft.put(self, view) {
                Ok(Put::Ask(request)) => Some(request),
                Ok(Put::Own) => {
                    self.settle(view);
                    None
                }
                Err(problem) => {
                    self.over = Over::Told { problem, pin: false };
                    None
                }
            },
        }
    }

    fn open<const N: usize, const H: usize>(&mut self, kind: Kind, view: &View<'_, N, H>) {
        self.draft = Some(Draft::open(kind, self, view));
        if needs_unlocking(kind) && view.controller.is_locked() {
            self.over = ask_for_pin();
        }
    }

    /// What became of the request of the last touch: `None` where it was taken.
    pub fn answer<const N: usize, const H: usize>(
        &mut self,
        refusal: Option<Refusal>,
        view: &View<'_, N, H>,
    ) {
        if let Over::Pin { .. } = self.over {
            self.over = match refusal {
                None => Over::Nothing,
                Some(refusal) => Over::Told { problem: Problem::Refused(refusal), pin: true },
            };
            return;
        }
        match refusal {
            None => self.settle(view),
            Some(refusal) if self.draft.is_some() => {
                self.over = Over::Told { problem: Problem::Refused(refusal), pin: false };
            }
            Some(_) => {}
        }
    }

    /// The draft is in force.
    fn settle<const N: usize, const H: usize>(&mut self, view: &View<'_, N, H>) {
        let Some(draft) = self.draft.take() else { return };
        self.notice = Some(Notice::InForce);
        match draft.kind {
            Kind::Place => {
                self.preferences = draft.preferences(self.preferences);
                self.done |= done::PLACE;
            }
            Kind::Tube => {
                let volume = draft::prime_for(draft.get(Step::Length), draft.get(Step::Bore));
                // a whole millilitre, so that what is shown is what is asked for
                let ml = volume.as_nl().div_ceil(1_000_000);
                self.prime = Volume::from_ml(ml).min(MOST_PRIME);
                self.done |= done::TUBE;
            }
            Kind::Product => self.done |= done::PRODUCT,
            Kind::Prime => {
                self.done |= done::PRIME;
                self.notice = None;
            }
            Kind::Calibrate => {
                self.vessel = draft.get(Step::Vessel) as u8;
                self.notice = None;
                self.draft = Some(Draft::open(Kind::Reading, self, view));
            }
            Kind::Reading => self.done |= done::CALIBRATE,
            _ => {}
        }
    }

    /// What the display shows; blank while it is dark.
    pub fn screen<const N: usize, const H: usize>(&self, view: &View<'_, N, H>) -> Screen {
        let mut screen = Screen::BLANK;
        if !view.controller.is_lit_at(view.now) {
            return screen;
        }
        let style = Style::of(self.preferences);
        if let Some(run) = view.controller.service_run() {
            cards::running(&run, &style, view, &mut screen);
            return screen;
        }
        match (self.over, &self.draft) {
            (Over::Told { problem, pin }, _) => problem.show(pin, &style, &mut screen),
            (Over::Pin { digits, wheel }, _) => {
                screen.say(0, style.words.unlock);
                screen.say(1, style.words.pin);
                let mut text = Text::new();
                Field::Pin.show(&style, &mut text, digits.0, Some(wheel), "");
                screen.left(2, &text);
                let at_end = Field::Pin.ends_at(digits.0, wheel);
                screen.action(if at_end { style.words.do_done } else { style.words.do_next });
            }
            (Over::Nothing, Some(draft)) => draft.show(self, view, &mut screen),
            (Over::Nothing, None) => {
                self.show_card(view, &mut screen);
                if let Some(notice) = self.notice {
                    screen.clear(2);
                    screen.left(
                        2,
                        &Text::of(match notice {
                            Notice::InForce => style.words.in_force,
                            Notice::Stopped => style.words.stopped,
                            Notice::NothingChanged => style.words.nothing_changed,
                        }),
                    );
                }
            }
        }
        if !view.controller.takes_keys_at(view.now) {
            screen.clear(ROWS - 1);
            screen.say(ROWS - 1, style.words.hold_to_unlock);
        }
        screen
    }
}

const fn ask_for_pin() -> Over {
    Over::Pin { digits: Digits(NO_PIN), wheel: 0 }
}

/// Whether the lock keeps a draft of this kind from being opened. To look, to fill the
/// container, to put in a battery and to acknowledge is for whoever is at hand.
const fn needs_unlocking(kind: Kind) -> bool {
    !matches!(
        kind,
        Kind::WhichEntry
            | Kind::Fresh
            | Kind::SetUp
            | Kind::Refill
            | Kind::NewPack
            | Kind::Lock
            | Kind::Acknowledge
    )
}

/// What a choice opens.
fn chosen<const N: usize, const H: usize>(kind: Kind, choice: u32, view: &View<'_, N, H>) -> Kind {
    let book = view.controller.book();
    match kind {
        Kind::WhichEntry => {
            let entry = book.timetable.ids().nth(choice as usize);
            entry.map_or(Kind::NewEntry, Kind::Entry)
        }
        Kind::Fresh => match choice {
            0 if book.stock.container().is_none() => Kind::Product,
            0 => Kind::Refill,
            1 => Kind::NewPack,
            _ => Kind::Tube,
        },
        _ => WHICH.get(choice as usize).copied().unwrap_or(Kind::Place),
    }
}

/// Where a panel stands: beside a device, whose controller it looks at.
pub trait Desk<const N: usize, const H: usize> {
    /// The present instant.
    fn now(&mut self) -> Instant;
    /// The controller.
    fn controller(&self) -> &Controller<N, H>;
    /// The latest outcomes ([`Recent::read`]).
    fn recent(&self) -> &Recent;
    /// Hands an event to the device; why it was not taken.
    fn hand_in(&mut self, event: Event<'_, N>) -> Option<Refusal>;
}

/// A touch of the knob, all of it: the panel, the key, the request, its answer.
pub fn operate<const N: usize, const H: usize>(
    panel: &mut Panel,
    desk: &mut impl Desk<N, H>,
    input: Input,
) {
    let now = desk.now();
    let request =
        panel.touch(input, &View { controller: desk.controller(), recent: desk.recent(), now });
    // a key changes nothing but the display
    let _ = desk.hand_in(Event::Key { held: input == Input::Hold });
    let Some(request) = request else { return };
    let refusal = match request.event() {
        Some(event) => desk.hand_in(event),
        None => hand_in_timetable(&request, desk),
    };
    let now = desk.now();
    panel.answer(refusal, &View { controller: desk.controller(), recent: desk.recent(), now });
}

/// A change of the timetable: the one in force, whole, with the change in it.
#[cfg_attr(target_pointer_width = "32", inline(never))]
fn hand_in_timetable<const N: usize, const H: usize>(
    request: &Request,
    desk: &mut impl Desk<N, H>,
) -> Option<Refusal> {
    let mut timetable = desk.controller().book().timetable;
    match request.timetable(&mut timetable)? {
        Ok(()) => desk.hand_in(Event::Timetable(&timetable)),
        Err(refusal) => Some(refusal),
    }
}
