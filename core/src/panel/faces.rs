//! What the cards tell.

use super::Panel;
use super::cards::{Card, SET_UP_STEPS};
use super::draft::Kind;
use super::figures::{parted, parts};
use super::pen::Pen;
use super::view::{self, View};
use super::words::Word;
use crate::cause::Cause;
use crate::controller::ServiceRun;
use crate::record::OutcomeKind;
use crate::time::Duration;
use crate::units::{Flow, Volume};

impl Panel {
    /// The card.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(super) fn show_card<const N: usize, const H: usize>(
        &self,
        view: &View<'_, N, H>,
        pen: &mut Pen<'_>,
    ) {
        if self.card != Card::Last {
            pen.say_of(Word::Last as u16, self.card as u16);
        }
        match self.card {
            Card::Last => {
                if let Some((at, kind)) = self.set_up_step(view) {
                    self.first_step(at, kind, pen);
                    return wrong(view, pen);
                }
                home(view, pen);
            }
            Card::Next => next(view, pen),
            Card::Supply => supply(view, pen),
            Card::Timetable => timetable(view, pen),
            Card::Prime => {
                let head = view.controller.book().head.as_ref();
                pen.say(Word::UpTo).volume(self.draft.kept.prime(head));
                pen.say(Word::AnyTouch);
            }
            Card::Calibrate => calibrate(view, pen),
            Card::Clock => clock(view, pen),
            Card::History => outcome(self.back, view, pen),
            Card::SetUp => {
                let is_set = view.controller.book().lock.is_set();
                let lock = match (is_set, view.controller.is_locked()) {
                    (false, _) => Word::LockNone,
                    (true, false) => Word::LockOpen,
                    (true, true) => Word::LockShut,
                };
                pen.say(Word::Lock).line(lock).say(Word::Name);
            }
        }
        if let Some((kind, _)) = self.action(view) {
            pen.action(kind.spec().on_card);
        }
    }

    /// Home on a device that is being set up: the next step.
    fn first_step(&self, at: u32, kind: Kind, pen: &mut Pen<'_>) {
        if at > 1 {
            pen.is_full = true;
            // before what comes next
            if let Some(notice) = self.notice {
                pen.line(notice);
            }
            let spec = kind.spec();
            pen.line(spec.title).say(spec.help);
        } else {
            pen.say(Word::Hints);
        }
        pen.action(Word::SetUpStep).part(at, SET_UP_STEPS);
    }
}

/// What keeps the pump off, if anything does; whether it is told.
#[cfg_attr(target_pointer_width = "32", inline(never))]
pub(super) fn held<const N: usize, const H: usize>(
    view: &View<'_, N, H>,
    pen: &mut Pen<'_>,
) -> bool {
    let cause = view.controller.stopped_by();
    if let Some(cause) = cause {
        pen.begin(2).hindrance(cause);
    }
    cause.is_some()
}

/// Home: what runs, what is wrong, the last outcome.
fn home<const N: usize, const H: usize>(view: &View<'_, N, H>, pen: &mut Pen<'_>) {
    if let Some((least, dose)) = view.controller.open_dose(view.now) {
        pen.line(Word::Dosing).volume(least).end();
        pen.tab().say(Word::AskedFor).volume(dose);
        if held(view, pen) {
            return;
        }
    } else {
        pen.say(Word::Last);
        outcome(0, view, pen);
    }
    wrong(view, pen);
}

/// The most urgent alarm, if one is on.
#[cfg_attr(target_pointer_width = "32", inline(never))]
fn wrong<const N: usize, const H: usize>(view: &View<'_, N, H>, pen: &mut Pen<'_>) {
    if let Some((alarm, more)) = view::alarm(view.controller, view::ALL) {
        pen.begin(2).alarm(alarm, more);
    }
}

/// What became of the dose so many before the last, below a title.
#[cfg_attr(target_pointer_width = "32", inline(never))]
fn outcome<const N: usize, const H: usize>(back: u8, view: &View<'_, N, H>, pen: &mut Pen<'_>) {
    let Some(past) = view.recent.get(usize::from(back)) else {
        pen.say(Word::NoneKept);
        return;
    };
    // what has no name of local time is known by elapsed time, but none before the clock
    // chip lost its feed
    let is_known = past.due_at >= view.controller.book().not_before;
    let named = past.last.and_then(|last| view.moved(past.id, last));
    pen.when(named.or_else(|| view.minute_at(past.due_at).filter(|_| is_known)));
    let (word, cause) = match past.kind {
        OutcomeKind::Dosed => (Word::Dosed, None),
        OutcomeKind::Part(cause) => (Word::Part, Some(cause)),
        OutcomeKind::Skipped(cause) => (Word::Skipped, Some(cause)),
    };
    pen.say(word);
    if word != Word::Skipped {
        pen.volume(past.least);
    } else if past.count > 1 {
        // a row of them
        pen.char('×').number(u32::from(past.count), 1);
    }
    pen.end();
    if let Some(cause) = cause {
        pen.cause(cause);
    }
}

fn next<const N: usize, const H: usize>(view: &View<'_, N, H>, pen: &mut Pen<'_>) {
    let next = view.controller.next_dose();
    let Some(next) = &next else {
        let book = view.controller.book();
        if book.clock.is_none() && view::entries(book) > 0 {
            pen.end().hindrance(Cause::ClockUnset);
        } else {
            pen.say(Word::NoneDue);
        }
        return;
    };
    pen.when(view.minute_at(next.due_at)).end();
    pen.volume(next.volume).tab().window(next.window_ms).end();
    let left = next.due_at.since(view.now);
    if let Some(cause) = next.waits_for {
        pen.hindrance(cause);
    } else if left == Duration::ZERO {
        pen.say(Word::Now);
    } else {
        pen.say(Word::DueIn).length(left.as_ms());
    }
}

fn supply<const N: usize, const H: usize>(view: &View<'_, N, H>, pen: &mut Pen<'_>) {
    let book = view.controller.book();
    pen.say(Word::Product);
    if book.stock.container().is_none() {
        pen.say(Word::NoAccount);
    } else if !day(view.controller.product_lasts_s(view.now), pen) {
        pen.volume(book.account());
    }
    pen.say(Word::Pack);
    if book.gauge.pack().is_none() {
        pen.say(Word::Mains);
    } else if !day(view.controller.pack_lasts_s(view.now), pen) {
        pen.char('-');
    }
}

/// The date so many seconds on, where it is known and the clock is set; whether it is
/// shown.
#[cfg_attr(target_pointer_width = "32", inline(never))]
fn day(lasts_s: Option<u32>, pen: &mut Pen<'_>) -> bool {
    let (Some(s), Some(now)) = (lasts_s, pen.now) else { return false };
    let (minutes, _) = parted(s, 60);
    pen.date(parts(now.0.get().wrapping_add(minutes)).0, false);
    true
}

fn timetable<const N: usize, const H: usize>(view: &View<'_, N, H>, pen: &mut Pen<'_>) {
    let book = view.controller.book();
    let a_day = book.timetable.most_in_a_day().0;
    let (entries, lost) = (view::entries(book), book.lost_lines());
    pen.say(Word::Entries).number(entries, 1);
    if lost > 0 {
        // of as many as there were
        pen.char('/').number(entries.wrapping_add(lost), 1);
    }
    pen.say(Word::ADay).volume(a_day);
}

fn calibrate<const N: usize, const H: usize>(view: &View<'_, N, H>, pen: &mut Pen<'_>) {
    let book = view.controller.book();
    let Some(head) = &book.head else {
        pen.say(Word::Unset);
        return;
    };
    let flow = Volume::from_nl(u64::from(head.flow.as_nl_per_min()));
    pen.end().volume(flow).say(Word::PerMin);
    // of a flow that was set since no calibration says anything; a reading as found leaves
    // the one of before in force
    if let Some(found) = book.tube.found.iter().rev().flatten().find(|f| f.flow == head.flow) {
        let (tenths, _) = parted(found.uncertainty_ppm.wrapping_add(999), 1000);
        pen.tab().char('±').decimal(tenths.min(999), 1).char('%');
    }
    if let Some(due) = book.tube.due_at().and_then(|at| view.minute_at(at)) {
        pen.say(Word::TubeUntil).date(due.parts().0, false);
    }
}

fn clock<const N: usize, const H: usize>(view: &View<'_, N, H>, pen: &mut Pen<'_>) {
    let (Some(now), Some(clock)) = (pen.now, &view.controller.book().clock) else {
        pen.say(Word::Unset);
        return;
    };
    let (date, minute) = now.parts();
    pen.end().long_date(date).end().minute(minute).say(Word::Utc);
    let offset_s = clock.zone.offset_at(clock.utc(view.now));
    let (hours, min) = parted(parted(offset_s.unsigned_abs(), 60).0, 60);
    pen.char(if offset_s < 0 { '-' } else { '+' });
    pen.number(hours, 2).char(':').number(min, 2);
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
    reached(ran_ms, flow, pen.say(title));
    if calibrates {
        pen.end();
    }
    reached(asked_ms, flow, pen.say(of)).action(Word::DoStop);
}

/// How far a run has come.
#[cfg_attr(target_pointer_width = "32", inline(never))]
fn reached<'a, 'p>(ms: u32, flow: Option<Flow>, pen: &'a mut Pen<'p>) -> &'a mut Pen<'p> {
    let length = Duration::from_ms(u64::from(ms));
    match flow {
        Some(flow) => pen.volume(flow.volume(length)),
        None => pen.length(length.as_ms()),
    }
}
