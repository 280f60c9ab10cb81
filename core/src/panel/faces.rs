//! What the cards tell.

use super::Panel;
use super::cards::{Card, SET_UP_STEPS};
use super::draft::Kind;
use super::pen::Pen;
use super::view::{self, View};
use super::words::Word;
use crate::controller::ServiceRun;
use crate::record::OutcomeKind;
use crate::time::{Duration, Instant};
use crate::units::{Flow, Volume};

impl Panel {
    /// The card; whether what was done last is said on it.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(super) fn show_card<const N: usize, const H: usize>(
        &self,
        view: &View<'_, N, H>,
        pen: &mut Pen<'_>,
    ) -> bool {
        match self.card {
            Card::Last => {
                if let Some((at, kind)) = self.set_up_step(view) {
                    return self.first_step(at, kind, pen);
                }
                home(view, pen);
            }
            Card::Next => next(view, pen),
            Card::Supply => supply(view, pen),
            Card::Timetable => timetable(view, pen),
            Card::Prime => {
                pen.line(Word::Prime).pair(Word::UpTo).volume(self.draft.kept.prime()).end();
                pen.say(Word::AnyTouch);
            }
            Card::Calibrate => calibrate(view, pen),
            Card::Clock => clock(view, pen),
            Card::History => outcome(Word::History, self.back, view, pen),
            Card::SetUp => {
                let is_set = view.controller.book().lock.is_set();
                let lock = match (is_set, view.controller.is_locked()) {
                    (false, _) => Word::LockNone,
                    (true, false) => Word::LockOpen,
                    (true, true) => Word::LockShut,
                };
                pen.line(Word::SetUp).pair(Word::Lock).line(lock).say(Word::Name);
            }
        }
        if let Some((kind, _)) = self.action(view) {
            pen.action(kind.spec().on_card);
        }
        false
    }

    /// Home on a device that is being set up: the next step. Whether what was done last is
    /// said.
    fn first_step(&self, at: u32, kind: Kind, pen: &mut Pen<'_>) -> bool {
        let is_said = at > 1;
        if is_said {
            // before what comes next
            if let Some(notice) = self.notice {
                pen.line(notice);
            }
            let spec = kind.spec();
            pen.line(spec.title).say(spec.help);
        } else {
            pen.line(Word::HintTurn).line(Word::HintPress).say(Word::HintHold);
        }
        pen.action(Word::SetUpStep).space().part(at, SET_UP_STEPS);
        is_said
    }
}

/// Home: what runs, what is wrong, the last outcome.
fn home<const N: usize, const H: usize>(view: &View<'_, N, H>, pen: &mut Pen<'_>) {
    if let Some((least, dose)) = view.controller.open_dose(view.now) {
        pen.line(Word::Dosing).volume(least).end();
        pen.tab().lead(Word::AskedFor).volume(dose).end();
    } else {
        outcome(Word::Last, 0, view, pen);
    }
    if let Some((alarm, more)) = view::alarm(view.controller.book()) {
        pen.begin(2).alarm(alarm, more).end();
    }
}

/// What became of the dose so many before the last.
#[cfg_attr(target_pointer_width = "32", inline(never))]
fn outcome<const N: usize, const H: usize>(
    title: Word,
    back: u8,
    view: &View<'_, N, H>,
    pen: &mut Pen<'_>,
) {
    pen.say(title);
    let Some(past) = view.recent.get(usize::from(back)) else {
        pen.end().say(Word::NoneYet);
        return;
    };
    pen.tab().when(view.minute_at(past.due_at)).end();
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

fn next<const N: usize, const H: usize>(view: &View<'_, N, H>, pen: &mut Pen<'_>) {
    pen.say(Word::Next);
    let next = view.controller.next_dose();
    let Some(next) = &next else {
        pen.end().say(Word::NoneDue);
        return;
    };
    pen.tab().when(view.minute_at(next.due_at)).end();
    pen.volume(next.volume).tab().window(next.window_ms).end();
    let left = next.due_at.since(view.now);
    if let Some(cause) = next.waits_for {
        pen.hindrance(cause);
    } else if left == Duration::ZERO {
        pen.say(Word::Now);
    } else {
        pen.lead(Word::DueIn).length(left.as_ms());
    }
}

fn supply<const N: usize, const H: usize>(view: &View<'_, N, H>, pen: &mut Pen<'_>) {
    let book = view.controller.book();
    pen.line(Word::Supply).pair(Word::Product);
    if book.stock.container().is_none() {
        pen.say(Word::NoAccount);
    } else if !day(view.controller.product_lasts_until(view.now), view, pen) {
        pen.volume(book.account());
    }
    pen.end().pair(Word::Pack);
    if book.gauge.pack().is_none() {
        pen.say(Word::Mains);
    } else if !day(view.controller.pack_lasts_until(view.now), view, pen) {
        pen.char('-');
    }
    pen.end();
}

/// The date of an instant, where there is one and the clock is set; whether it is shown.
#[cfg_attr(target_pointer_width = "32", inline(never))]
fn day<const N: usize, const H: usize>(
    at: Option<Instant>,
    view: &View<'_, N, H>,
    pen: &mut Pen<'_>,
) -> bool {
    let Some(minute) = at.and_then(|at| view.minute_at(at)) else { return false };
    pen.date(minute.parts().0, false);
    true
}

fn timetable<const N: usize, const H: usize>(view: &View<'_, N, H>, pen: &mut Pen<'_>) {
    let book = view.controller.book();
    let a_day = book.timetable.most_in_a_day().0;
    pen.line(Word::Timetable).pair(Word::Entries).number(view::entries(book), 1).end();
    pen.pair(Word::ADay).volume(a_day).end();
}

fn calibrate<const N: usize, const H: usize>(view: &View<'_, N, H>, pen: &mut Pen<'_>) {
    let book = view.controller.book();
    pen.line(Word::Calibrate);
    let Some(head) = &book.head else {
        pen.say(Word::Unset);
        return;
    };
    let flow = Volume::from_nl(u64::from(head.flow.as_nl_per_min()));
    pen.volume(flow).say(Word::PerMin);
    if let Some(found) = book.tube.last() {
        let tenths = found.uncertainty_ppm.min(999_000).wrapping_add(999) / 1000;
        pen.tab().char('±').decimal(tenths, 1).char('%');
    }
    pen.end();
    if let Some(due) = book.tube.due_at().and_then(|at| view.minute_at(at)) {
        pen.pair(Word::TubeUntil).date(due.parts().0, false).end();
    }
}

fn clock<const N: usize, const H: usize>(view: &View<'_, N, H>, pen: &mut Pen<'_>) {
    pen.line(Word::Clock);
    let (Some(now), Some(clock)) = (pen.now, &view.controller.book().clock) else {
        pen.say(Word::Unset);
        return;
    };
    let (date, minute) = now.parts();
    pen.long_date(date).end().minute(minute).tab().say(Word::Utc);
    let offset_min = clock.zone.offset_at(clock.utc(view.now)) / 60;
    let min = offset_min.unsigned_abs();
    pen.char(if offset_min < 0 { '-' } else { '+' });
    pen.number(min / 60, 2).char(':').number(min % 60, 2).end();
}

/// A prime or calibration run.
pub(super) fn running<const N: usize, const H: usize>(
    run: &ServiceRun,
    view: &View<'_, N, H>,
    pen: &mut Pen<'_>,
) {
    let ServiceRun { calibrates, asked_ms, since } = *run;
    let ran_ms = since.map_or(u32::MAX, |since| view.now.since(since).as_ms() as u32);
    let ran_ms = ran_ms.min(asked_ms);
    // a calibration run counts up in time: the volume is what is to be found out
    let head = view.controller.book().head.as_ref().filter(|_| !calibrates);
    let flow = head.map(|head| head.flow);
    let (title, of) =
        if calibrates { (Word::Calibrating, Word::AskedFor) } else { (Word::Priming, Word::UpTo) };
    reached(ran_ms, flow, pen.line(title)).say(of);
    let pen = if calibrates { pen.space() } else { pen.tab() };
    reached(asked_ms, flow, pen).action(Word::DoStop);
}

/// How far a run has come.
#[cfg_attr(target_pointer_width = "32", inline(never))]
fn reached<'a, 'p>(ms: u32, flow: Option<Flow>, pen: &'a mut Pen<'p>) -> &'a mut Pen<'p> {
    let length = Duration::from_ms(u64::from(ms));
    match flow {
        Some(flow) => pen.volume(flow.volume(length)),
        None => pen.length(length.as_ms()),
    }
    .end()
}
