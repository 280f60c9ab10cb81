//! The ring of cards: each tells what matters of one thing, and offers one action.

use super::Panel;
use super::draft::{Kind, title};
use super::recent::Past;
use super::screen::{Screen, Text};
use super::show::{Style, minute_of};
use super::view::View;
use super::words::Words;
use crate::controller::ServiceRun;
use crate::record::{Alarm, OutcomeKind};
use crate::time::{Duration, Instant};
use crate::units::Volume;

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
    /// Opens a draft.
    Open(Kind),
    /// Shows the outcome before.
    Older,
}

/// Steps of a first set-up.
pub(super) const SET_UP_STEPS: u32 = 8;
/// What of it is not in the book.
pub(super) mod done {
    pub(in crate::panel) const PLACE: u8 = 1;
    pub(in crate::panel) const TUBE: u8 = 2;
    pub(in crate::panel) const PRODUCT: u8 = 4;
    pub(in crate::panel) const PRIME: u8 = 8;
    pub(in crate::panel) const CALIBRATE: u8 = 16;
}

impl Panel {
    /// The next step of a first set-up, counted from 1; `None` once there is a
    /// timetable.
    pub(super) fn set_up_step<const N: usize, const H: usize>(
        &self,
        view: &View<'_, N, H>,
    ) -> Option<(u32, Kind)> {
        let book = view.controller.book();
        if book.timetable.ids().next().is_some() || book.damaged != 0 {
            return None;
        }
        let is_done = |bit: u8| self.done & bit != 0;
        let calibrated = is_done(done::CALIBRATE) || book.tube.calibrations().next().is_some();
        let steps = [
            (is_done(done::PLACE) || book.clock.is_some(), Kind::Place),
            (book.clock.is_some(), Kind::Clock),
            (book.head.is_some(), Kind::Head),
            (is_done(done::TUBE) || book.tube.since.is_some(), Kind::Tube),
            (is_done(done::PRODUCT) || book.stock.container().is_some(), Kind::Product),
            (is_done(done::PRIME) || calibrated, Kind::Prime),
            (calibrated, Kind::Calibrate),
            (false, Kind::NewEntry),
        ];
        let at = steps.iter().position(|&(is_done, _)| !is_done)?;
        let (_, kind) = *steps.get(at)?;
        // a run whose reading is not entered yet
        let waits = kind == Kind::Calibrate && view.controller.waits_for_reading();
        Some((at as u32 + 1, if waits { Kind::Reading } else { kind }))
    }

    /// What a press does now.
    pub(super) fn action<const N: usize, const H: usize>(
        &self,
        view: &View<'_, N, H>,
    ) -> Option<Action> {
        let book = view.controller.book();
        Some(Action::Open(match self.card {
            Card::Last => {
                if let Some((_, kind)) = self.set_up_step(view) {
                    kind
                } else if let Some((alarm, _)) = view.alarm() {
                    remedy_of(alarm)?
                } else {
                    let past = view.recent.get(0)?;
                    let is_there = book.timetable.get(past.id).is_some() && book.open.is_none();
                    Kind::RunAgain(is_there.then_some(past.id)?)
                }
            }
            Card::Next => Kind::Entry(view.controller.next_dose()?.entry.id),
            Card::Supply => Kind::Fresh,
            Card::Timetable if book.timetable.ids().next().is_none() => Kind::NewEntry,
            Card::Timetable => Kind::WhichEntry,
            Card::Prime => Kind::Prime,
            Card::Calibrate if view.controller.waits_for_reading() => Kind::Reading,
            Card::Calibrate => Kind::Calibrate,
            Card::Clock => Kind::Clock,
            Card::History if view.recent.len() > 1 => return Some(Action::Older),
            Card::History => return None,
            Card::SetUp => Kind::SetUp,
        }))
    }

    pub(super) fn show_card<const N: usize, const H: usize>(
        &self,
        view: &View<'_, N, H>,
        screen: &mut Screen,
    ) {
        let style = Style::of(self.preferences);
        let words = style.words;
        match self.card {
            Card::Last => self.home(&style, view, screen),
            Card::Next => next(&style, view, screen),
            Card::Supply => supply(&style, view, screen),
            Card::Timetable => timetable(&style, view, screen),
            Card::Prime => {
                screen.say(0, words.prime);
                let mut volume = Text::new();
                style.volume(&mut volume, self.prime);
                row(screen, 1, words.up_to, &volume);
                screen.say(2, words.any_touch);
            }
            Card::Calibrate => calibrate(&style, view, screen),
            Card::Clock => clock(&style, view, screen),
            Card::History => {
                screen.say(0, words.history);
                match view.recent.get(usize::from(self.back)) {
                    Some(past) => outcome(past, &style, view, screen),
                    None => screen.say(1, words.none_yet),
                }
            }
            Card::SetUp => {
                screen.say(0, words.set_up);
                let is_set = view.controller.book().lock.is_set();
                let lock = match (is_set, view.controller.is_locked()) {
                    (false, _) => words.lock_none,
                    (true, false) => words.lock_open,
                    (true, true) => words.lock_shut,
                };
                row(screen, 1, words.lock, &Text::of(lock));
                screen.say(2, words.name);
            }
        }
        let action = self.action(view);
        if self.set_up_step(view).is_some() && self.card == Card::Last {
            return;
        }
        let text = match action {
            None => return,
            Some(Action::Older) => words.do_older,
            Some(Action::Open(kind)) => match (self.card, kind) {
                (_, Kind::Acknowledge) => words.do_acknowledge,
                (_, Kind::RunAgain(_)) => words.do_again,
                (_, Kind::Refill | Kind::Fresh | Kind::NewPack | Kind::Product) => words.do_supply,
                (_, Kind::WhichEntry) => words.do_timetable,
                (_, Kind::NewEntry) => words.new_entry,
                (_, Kind::Prime) => words.do_prime,
                (_, Kind::Calibrate) => words.do_calibrate,
                (_, Kind::Reading) => words.do_reading,
                (_, Kind::Clock) => words.do_clock,
                _ => words.do_change,
            },
        };
        screen.action(text);
    }

    /// Home: what has to be set up, what runs, what is wrong, the last outcome.
    fn home<const N: usize, const H: usize>(
        &self,
        style: &Style,
        view: &View<'_, N, H>,
        screen: &mut Screen,
    ) {
        let words = style.words;
        if let Some((at, kind)) = self.set_up_step(view) {
            if at == 1 {
                screen.say(0, words.hint_turn);
                screen.say(1, words.hint_press);
                screen.say(2, words.hint_hold);
            } else {
                screen.say(0, title(kind, words));
                screen.say(1, help(kind, words));
            }
            let mut text = Text::of("> ");
            text.say(words.set_up_step);
            text.char(' ');
            text.number(at, 1);
            text.char('/');
            text.number(SET_UP_STEPS, 1);
            return screen.left(3, &text);
        }
        if let Some((least, dose)) = view.controller.open_dose() {
            screen.say(0, words.dosing);
            let mut text = Text::new();
            style.volume(&mut text, least);
            screen.left(1, &text);
            let mut text = Text::of(words.asked_for);
            text.char(' ');
            style.volume(&mut text, dose);
            screen.right(2, &text);
            if let Some((first, more)) = view.alarm() {
                screen.clear(2);
                alarm(first, more, style, screen, 2);
            }
            return;
        }
        screen.say(0, words.last);
        match view.recent.get(0) {
            Some(past) => outcome(past, style, view, screen),
            None => screen.say(1, words.none_yet),
        }
        if let Some((first, more)) = view.alarm() {
            screen.clear(2);
            alarm(first, more, style, screen, 2);
        }
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

const fn help(kind: Kind, words: &'static Words) -> &'static str {
    match kind {
        Kind::Place => words.help_place,
        Kind::Clock => words.help_clock,
        Kind::Head => words.help_head,
        Kind::Tube => words.help_tube,
        Kind::Product => words.help_product,
        Kind::Prime => words.help_prime,
        Kind::Calibrate | Kind::Reading => words.help_calibrate,
        _ => words.help_entry,
    }
}

/// A word at the left of a line and what belongs to it at the right.
#[cfg_attr(target_pointer_width = "32", inline(never))]
fn row(screen: &mut Screen, at: usize, word: &str, right: &Text) {
    screen.say(at, word);
    screen.right(at, right);
}

/// `! low level +1`
pub(super) fn alarm(alarm: Alarm, more: u32, style: &Style, screen: &mut Screen, at: usize) {
    let words = style.words.alarms.get((alarm as usize).saturating_sub(1));
    let mut text = Text::of("! ");
    text.say(words.copied().unwrap_or("-"));
    screen.left(at, &text);
    if more > 0 {
        // where there is room for it
        let mut text = Text::of("+");
        text.number(more.min(9), 1);
        screen.right_if_free(at, &text);
    }
}

fn outcome<const N: usize, const H: usize>(
    past: &Past,
    style: &Style,
    view: &View<'_, N, H>,
    screen: &mut Screen,
) {
    when(past.due_at, style, view, screen);
    let words = style.words;
    let mut text = Text::new();
    let (word, cause) = match past.kind {
        OutcomeKind::Dosed => (words.dosed, None),
        OutcomeKind::Part(cause) => (words.part, Some(cause)),
        OutcomeKind::Skipped(cause) => (words.skipped, Some(cause)),
    };
    screen.say(1, word);
    if !matches!(past.kind, OutcomeKind::Skipped(_)) {
        style.volume(&mut text, past.least);
        screen.right(1, &text);
    }
    if let Some(cause) = cause {
        let name = words.causes.get(usize::from(cause.code()).saturating_sub(1));
        screen.say(2, name.copied().unwrap_or("-"));
    }
}

/// A moment at the right of the first line.
fn when<const N: usize, const H: usize>(
    at: Instant,
    style: &Style,
    view: &View<'_, N, H>,
    screen: &mut Screen,
) {
    let mut text = Text::new();
    if let (Some(at), Some(now)) = (view.local_at(at), view.local()) {
        style.when(&mut text, at, now);
    }
    screen.right(0, &text);
}

fn next<const N: usize, const H: usize>(style: &Style, view: &View<'_, N, H>, screen: &mut Screen) {
    let words = style.words;
    screen.say(0, words.next);
    let Some(next) = view.controller.next_dose() else {
        return screen.say(1, words.none_due);
    };
    when(next.due_at, style, view, screen);
    let (mut volume, mut window) = (Text::new(), Text::new());
    style.volume(&mut volume, next.entry.volume);
    style.window(&mut window, next.entry.window_ms);
    screen.left(1, &volume);
    screen.right(1, &window);
    if let Some(cause) = next.waits_for {
        let mut text = Text::of("! ");
        let name = words.causes.get(usize::from(cause.code()).saturating_sub(1));
        text.say(name.copied().unwrap_or("-"));
        return screen.left(2, &text);
    }
    let left = next.due_at.since(view.now);
    let mut text = Text::of(if left == Duration::ZERO { words.now } else { words.due_in });
    if left > Duration::ZERO {
        text.char(' ');
        style.length(&mut text, left);
    }
    screen.left(2, &text);
}

fn supply<const N: usize, const H: usize>(
    style: &Style,
    view: &View<'_, N, H>,
    screen: &mut Screen,
) {
    let words = style.words;
    let book = view.controller.book();
    screen.say(0, words.supply);
    let mut product = Text::new();
    if book.stock.container().is_none() {
        product.say(words.no_account);
    } else if !date(style, view, &mut product, view.controller.product_lasts_until(view.now)) {
        style.volume(&mut product, book.account());
    }
    row(screen, 1, words.product, &product);
    let mut pack = Text::new();
    if book.gauge.pack().is_none() {
        pack.say(words.mains);
    } else if !date(style, view, &mut pack, view.controller.pack_lasts_until(view.now)) {
        pack.char('-');
    }
    row(screen, 2, words.pack, &pack);
}

/// The date of an instant, where there is one and the clock is set; whether it is shown.
fn date<const N: usize, const H: usize>(
    style: &Style,
    view: &View<'_, N, H>,
    text: &mut Text,
    at: Option<Instant>,
) -> bool {
    let local = at.and_then(|at| view.local_at(at));
    if let Some(local) = local {
        style.date(text, local.date());
    }
    local.is_some()
}

fn timetable<const N: usize, const H: usize>(
    style: &Style,
    view: &View<'_, N, H>,
    screen: &mut Screen,
) {
    let words = style.words;
    let timetable = &view.controller.book().timetable;
    screen.say(0, words.timetable);
    let mut count = Text::new();
    count.number(timetable.ids().count() as u32, 1);
    row(screen, 1, words.entries, &count);
    let mut a_day = Text::new();
    style.volume(&mut a_day, timetable.most_in_a_day().0);
    row(screen, 2, words.a_day, &a_day);
}

fn calibrate<const N: usize, const H: usize>(
    style: &Style,
    view: &View<'_, N, H>,
    screen: &mut Screen,
) {
    let words = style.words;
    let book = view.controller.book();
    screen.say(0, words.calibrate);
    let Some(head) = &book.head else { return screen.say(1, words.unset) };
    let mut text = Text::new();
    style.volume(&mut text, Volume::from_nl(u64::from(head.flow.as_nl_per_min())));
    text.say("/min");
    screen.left(1, &text);
    if let Some(found) = book.tube.calibrations().last() {
        let mut text = Text::of("±");
        style.decimal(&mut text, found.uncertainty_ppm.div_ceil(1000).min(999), 1, 1);
        text.char('%');
        screen.right(1, &text);
    }
    if let Some(due) = book.tube.due_at().and_then(|at| view.local_at(at)) {
        let mut text = Text::new();
        style.date(&mut text, due.date());
        row(screen, 2, words.tube_until, &text);
    }
}

fn clock<const N: usize, const H: usize>(
    style: &Style,
    view: &View<'_, N, H>,
    screen: &mut Screen,
) {
    let words = style.words;
    screen.say(0, words.clock);
    let Some(local) = view.local() else { return screen.say(1, words.unset) };
    let mut text = Text::new();
    style.long_date(&mut text, local.date());
    screen.left(1, &text);
    let mut text = Text::new();
    style.minute(&mut text, minute_of(local));
    screen.left(2, &text);
    let zone = &view.controller.book().zone;
    let offset_s = view.controller.book().utc(view.now).map_or(0, |utc| zone.offset_at(utc));
    let mut text = Text::of("UTC");
    text.char(if offset_s < 0 { '-' } else { '+' });
    let min = offset_s.unsigned_abs() / 60;
    text.number(min / 60, 2);
    text.char(':');
    text.number(min % 60, 2);
    screen.right(2, &text);
}

/// A prime or calibration run.
pub(super) fn running<const N: usize, const H: usize>(
    run: &ServiceRun,
    style: &Style,
    view: &View<'_, N, H>,
    screen: &mut Screen,
) {
    let words = style.words;
    screen.say(0, if run.calibrates { words.calibrating } else { words.priming });
    let asked = Duration::from_ms(u64::from(run.asked_ms));
    if run.calibrates {
        // counting up, in time: the volume is what is to be found out
        let (mut so_far, mut whole) = (Text::new(), Text::of(words.asked_for));
        let ran = run.since.map_or(asked, |since| view.now.since(since).min(asked));
        style.length(&mut so_far, ran);
        whole.char(' ');
        style.length(&mut whole, asked);
        screen.left(1, &so_far);
        screen.left(2, &whole);
    } else {
        let volume = |length: Duration| {
            let head = view.controller.book().head;
            head.map_or(Volume::ZERO, |head| head.flow.volume(length))
        };
        let ran = run.since.map_or(asked, |since| view.now.since(since).min(asked));
        let (mut so_far, mut whole) = (Text::new(), Text::new());
        style.volume(&mut so_far, volume(ran));
        style.volume(&mut whole, volume(asked));
        screen.left(1, &so_far);
        row(screen, 2, words.up_to, &whole);
    }
    screen.action(words.do_stop);
}
