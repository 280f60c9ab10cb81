//! What the cards tell.

use super::Panel;
use super::cards::{Action, Card, SET_UP_STEPS};
use super::figures::parts;
use super::pen::Pen;
use super::recent::Past;
use super::screen::ROWS;
use super::view::View;
use super::words::Word;
use crate::controller::ServiceRun;
use crate::record::OutcomeKind;
use crate::time::{Duration, Instant};
use crate::units::Volume;

impl Panel {
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(super) fn show_card<const N: usize, const H: usize>(
        &self,
        view: &View<'_, N, H>,
        pen: &mut Pen<'_>,
    ) {
        match self.card {
            Card::Last => {
                if self.home(view, pen) {
                    return;
                }
            }
            Card::Next => next(view, pen),
            Card::Supply => supply(view, pen),
            Card::Timetable => timetable(view, pen),
            Card::Prime => {
                pen.line(Word::Prime);
                pen.pair(Word::UpTo);
                pen.volume(self.kept.prime());
                pen.end();
                pen.say(Word::AnyTouch);
            }
            Card::Calibrate => calibrate(view, pen),
            Card::Clock => clock(view, pen),
            Card::History => {
                pen.say(Word::History);
                match view.recent.get(usize::from(self.back)) {
                    Some(past) => outcome(past, view, pen),
                    None => none(Word::NoneYet, pen),
                }
            }
            Card::SetUp => {
                pen.line(Word::SetUp);
                pen.pair(Word::Lock);
                let is_set = view.controller.book().lock.is_set();
                pen.say(match (is_set, view.controller.is_locked()) {
                    (false, _) => Word::LockNone,
                    (true, false) => Word::LockOpen,
                    (true, true) => Word::LockShut,
                });
                pen.end();
                pen.say(Word::Name);
            }
        }
        match self.action(view) {
            None => {}
            Some(Action::Older) => pen.action(Word::DoOlder),
            Some(Action::Open(kind, _)) => pen.action(kind.spec().on_card),
        }
    }

    /// Home: what has to be set up, what runs, what is wrong, the last outcome. Whether
    /// it told what a press does.
    fn home<const N: usize, const H: usize>(
        &self,
        view: &View<'_, N, H>,
        pen: &mut Pen<'_>,
    ) -> bool {
        if let Some((at, kind)) = self.set_up_step(view) {
            if at == 1 {
                pen.line(Word::HintTurn);
                pen.line(Word::HintPress);
                pen.line(Word::HintHold);
            } else {
                // what was done last stands before what comes next
                if let Some(notice) = self.notice {
                    pen.line(notice);
                }
                pen.line(kind.spec().title);
                pen.line(kind.spec().help);
            }
            pen.action(Word::SetUpStep);
            pen.char(' ');
            pen.number(at, 1);
            pen.char('/');
            pen.number(SET_UP_STEPS, 1);
            return true;
        }
        if let Some((least, dose)) = view.controller.open_dose() {
            pen.line(Word::Dosing);
            pen.volume(least);
            pen.end();
            pen.tab();
            pen.lead(Word::AskedFor);
            pen.volume(dose);
            pen.end();
        } else {
            pen.say(Word::Last);
            match view.recent.get(0) {
                Some(past) => outcome(past, view, pen),
                None => none(Word::NoneYet, pen),
            }
        }
        if let Some((alarm, more)) = view.alarm() {
            pen.begin(2);
            pen.alarm(alarm, more);
            pen.end();
        }
        false
    }
}

/// The rest of a card that has nothing to tell.
fn none(word: Word, pen: &mut Pen<'_>) {
    pen.end();
    pen.line(word);
}

/// The rest of the first line, and what became of a dose.
#[cfg_attr(target_pointer_width = "32", inline(never))]
fn outcome<const N: usize, const H: usize>(past: &Past, view: &View<'_, N, H>, pen: &mut Pen<'_>) {
    when(past.due_at, view, pen);
    let (word, cause) = match past.kind {
        OutcomeKind::Dosed => (Word::Dosed, None),
        OutcomeKind::Part(cause) => (Word::Part, Some(cause)),
        OutcomeKind::Skipped(cause) => (Word::Skipped, Some(cause)),
    };
    pen.pair(word);
    if word != Word::Skipped {
        pen.volume(past.least);
    }
    pen.end();
    if let Some(cause) = cause {
        pen.cause(cause);
    }
}

/// A moment at the right of the first line, where the clock is set.
#[cfg_attr(target_pointer_width = "32", inline(never))]
fn when<const N: usize, const H: usize>(at: Instant, view: &View<'_, N, H>, pen: &mut Pen<'_>) {
    pen.tab();
    if let (Some(at), Some(now)) = (view.local_at(at), view.local()) {
        pen.when(at, now);
    }
    pen.end();
}

fn next<const N: usize, const H: usize>(view: &View<'_, N, H>, pen: &mut Pen<'_>) {
    pen.say(Word::Next);
    let next = view.controller.next_dose();
    let Some(next) = &next else { return none(Word::NoneDue, pen) };
    when(next.due_at, view, pen);
    pen.volume(next.entry.volume);
    pen.tab();
    pen.window(next.entry.window_ms);
    pen.end();
    let left = next.due_at.since(view.now);
    if let Some(cause) = next.waits_for {
        pen.char('!');
        pen.char(' ');
        pen.cause(cause);
    } else if left == Duration::ZERO {
        pen.say(Word::Now);
    } else {
        pen.lead(Word::DueIn);
        pen.length(left);
    }
}

fn supply<const N: usize, const H: usize>(view: &View<'_, N, H>, pen: &mut Pen<'_>) {
    let book = view.controller.book();
    pen.line(Word::Supply);
    pen.pair(Word::Product);
    if book.stock.container().is_none() {
        pen.say(Word::NoAccount);
    } else if !date(view.controller.product_lasts_until(view.now), view, pen) {
        pen.volume(book.account());
    }
    pen.end();
    pen.pair(Word::Pack);
    if book.gauge.pack().is_none() {
        pen.say(Word::Mains);
    } else if !date(view.controller.pack_lasts_until(view.now), view, pen) {
        pen.char('-');
    }
    pen.end();
}

/// The date of an instant, where there is one and the clock is set; whether it is shown.
#[cfg_attr(target_pointer_width = "32", inline(never))]
fn date<const N: usize, const H: usize>(
    at: Option<Instant>,
    view: &View<'_, N, H>,
    pen: &mut Pen<'_>,
) -> bool {
    let Some(local) = at.and_then(|at| view.local_at(at)) else { return false };
    pen.date(parts(local).0, false);
    true
}

fn timetable<const N: usize, const H: usize>(view: &View<'_, N, H>, pen: &mut Pen<'_>) {
    let timetable = &view.controller.book().timetable;
    pen.line(Word::Timetable);
    pen.pair(Word::Entries);
    pen.number(view.entries(), 1);
    pen.end();
    pen.pair(Word::ADay);
    pen.volume(timetable.most_in_a_day().0);
    pen.end();
}

fn calibrate<const N: usize, const H: usize>(view: &View<'_, N, H>, pen: &mut Pen<'_>) {
    let book = view.controller.book();
    pen.line(Word::Calibrate);
    let Some(head) = &book.head else { return pen.line(Word::Unset) };
    pen.volume(Volume::from_nl(u64::from(head.flow.as_nl_per_min())));
    pen.say(Word::PerMin);
    if let Some(found) = book.tube.last() {
        pen.tab();
        pen.char('±');
        pen.decimal(found.uncertainty_ppm.div_ceil(1000).min(999), 1);
        pen.char('%');
    }
    pen.end();
    if let Some(due) = book.tube.due_at().filter(|_| view.local().is_some()) {
        pen.pair(Word::TubeUntil);
        date(Some(due), view, pen);
        pen.end();
    }
}

fn clock<const N: usize, const H: usize>(view: &View<'_, N, H>, pen: &mut Pen<'_>) {
    pen.line(Word::Clock);
    let (Some(local), Some(utc)) = (view.local(), view.controller.book().utc(view.now)) else {
        return pen.line(Word::Unset);
    };
    let (date, minute) = parts(local);
    pen.long_date(date);
    pen.end();
    pen.minute(minute);
    pen.tab();
    pen.say(Word::Utc);
    // local times and UTC are as far apart as the zone says
    let offset_min = (local.as_ms().wrapping_sub(utc.as_ms()) as i32) / 60_000;
    pen.char(if offset_min < 0 { '-' } else { '+' });
    let min = offset_min.unsigned_abs();
    pen.number(min / 60, 2);
    pen.char(':');
    pen.number(min % 60, 2);
    pen.end();
}

/// A prime or calibration run.
pub(super) fn running<const N: usize, const H: usize>(
    run: &ServiceRun,
    view: &View<'_, N, H>,
    pen: &mut Pen<'_>,
) {
    let asked = Duration::from_ms(u64::from(run.asked_ms));
    let ran = run.since.map_or(asked, |since| view.now.since(since).min(asked));
    pen.line(if run.calibrates { Word::Calibrating } else { Word::Priming });
    reached(ran, run, view, pen);
    if run.calibrates {
        pen.lead(Word::AskedFor);
    } else {
        pen.pair(Word::UpTo);
    }
    reached(asked, run, view, pen);
    pen.action(Word::DoStop);
}

/// How far a run has come. A calibration run counts up in time: the volume is what is
/// to be found out.
#[cfg_attr(target_pointer_width = "32", inline(never))]
fn reached<const N: usize, const H: usize>(
    length: Duration,
    run: &ServiceRun,
    view: &View<'_, N, H>,
    pen: &mut Pen<'_>,
) {
    match &view.controller.book().head {
        Some(head) if !run.calibrates => pen.volume(head.flow.volume(length)),
        _ => pen.length(length),
    }
    pen.end();
}

/// The keys are locked: what opens them, whatever stands there.
pub(super) fn locked(pen: &mut Pen<'_>) {
    pen.begin(ROWS - 1);
    pen.say(Word::HoldToUnlock);
}
