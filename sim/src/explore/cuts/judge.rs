//! What must hold after every record and every restart.

use dosewright_core::book::Book;
use dosewright_core::ledger::{Class, Slot};
use dosewright_core::record::{Act, ClosedList, Record, Staged};
use dosewright_core::starts::Starts;
use dosewright_core::time::Duration;

use super::course::{Course, Judged, no};
use super::memory::{H, Memory, N, Work};
use super::ride::{Pin, Ride, Turn};
use super::script::Script;

type State = Book<N, H>;

/// The last record of the memory, an intent.
#[derive(Clone, Copy, Debug)]
pub(super) struct Intent {
    /// The state before it, which is what is left where it cannot be read.
    pub(super) before: State,
    pub(super) slot: usize,
}

/// The durable state as the memory's records say it, one after the other: what
/// a restart must find, no more and no less (M1).
#[derive(Clone, Debug)]
pub(super) struct Fold {
    pub(super) book: State,
    staged: [Option<Staged>; N],
    closed: Option<ClosedList>,
    /// The number of the last slot.
    seq: Option<u32>,
}

impl Fold {
    pub(super) fn new(book: &State) -> Self {
        Self { book: *book, staged: [None; N], closed: None, seq: None }
    }

    /// Takes in a piece of work that was done in full; the record, if it is one and its first
    /// slot.
    pub(super) fn take(&mut self, work: &Work) -> Judged<Option<Record>> {
        let Work::Write { bytes, .. } = work else { return Ok(None) };
        let (seq, class, payload) = match Slot::decode(bytes) {
            Slot::Good { seq, class, payload } => (seq, class, payload),
            other => return no("M2", format!("a slot was written that is {other:?}")),
        };
        // the slots of a roll, and the second slot of a record, say again what is known already
        if self.seq.replace(seq) == Some(seq) || class != Class::Record {
            return Ok(None);
        }
        let Some(record) = Record::decode(&payload) else {
            return no("M2", format!("a record that cannot be read: {payload:?}"));
        };
        match &record {
            Record::Staged(staged) => {
                if let Some(place) = self.staged.get_mut(usize::from(staged.line)) {
                    *place = Some(*staged);
                }
            }
            Record::StagedClosed(list) => self.closed = Some(*list),
            Record::Adopted(adopted) => {
                for staged in self.staged.iter_mut().filter_map(Option::take) {
                    self.book.adopt(&staged);
                }
                if let Some(list) = self.closed.take() {
                    self.book.timetable.closed = list;
                }
                self.book.adopted(adopted, 0, false);
            }
            _ => self.book.apply(&record),
        }
        Ok(Some(record))
    }

    /// The state before the last record and the slot that this is in, where it is
    /// an intent and the last thing done.
    pub(super) fn intent(before: &State, work: &Work, record: Option<&Record>) -> Option<Intent> {
        match (work, record) {
            (Work::Write { slot, .. }, Some(Record::Pulse(_))) => {
                Some(Intent { before: *before, slot: *slot })
            }
            _ => None,
        }
    }

    /// What the device acts by is what its memory holds.
    pub(super) fn is(&self, live: &State) -> Judged {
        if self.book == *live {
            return Ok(());
        }
        no("M1", format!("the device acts by a state that its memory does not hold: {live:?}"))
    }
}

/// The outputs that changed when so many works were done.
pub(super) fn pins(script: &Script, course: &mut Course, turn: &Turn, done: usize) -> Judged {
    for (_, pin) in turn.pins.iter().filter(|(after, _)| *after == done) {
        match *pin {
            Pin::On(length_ms) => {
                intent(turn, done, length_ms)?;
                course.pump_on(script, length_ms)?;
            }
            Pin::Off => course.pump_off(script)?,
            Pin::Refused(refusal) => return no("O6", format!("an act is refused: {refusal:?}")),
        }
    }
    Ok(())
}

/// The pump runs only for what the memory holds already.
fn intent(turn: &Turn, done: usize, length_ms: u64) -> Judged {
    let last = done.checked_sub(1).and_then(|last| turn.works.get(last));
    if let Some(Work::Write { bytes, .. }) = last
        && let Slot::Good { class: Class::Record, payload, .. } = Slot::decode(bytes)
        && let Some(record) = Record::decode(&payload)
    {
        let intended = match record {
            Record::Pulse(pulse) => Some(pulse.on_ms),
            Record::Act { act: Act::PrimeBegun | Act::CalibrationBegun, ms, .. } => Some(ms),
            _ => None,
        };
        if intended.map(u64::from) == Some(length_ms) {
            return Ok(());
        }
    }
    no("D4", format!("the pump starts for {length_ms} ms, and the memory does not say so yet"))
}

/// What a restart found, against what it must find.
pub(super) fn restart<const W: usize>(
    script: &Script,
    ride: &Ride<'_, W>,
    memory: &Memory,
    expected: &State,
) -> Judged {
    if ride.device.controller().pump_is_on() {
        return no("P4", "the pump is on at reset".to_owned());
    }
    if memory.done() > 0 {
        return no("M1", "the device makes itself a new memory".to_owned());
    }
    let found = ride.book();
    same(expected, found)?;
    // and by the script itself: of two settings the one or the other, whole
    let one_of =
        |(done, next): (usize, bool), is: &dyn Fn(usize) -> bool| is(done) || next && is(done + 1);
    let timetables = &script.timetables;
    if !one_of(ride.course.timetable(script), &|at| found.timetable == timetables[at]) {
        return no("D11", format!("a timetable that nobody gave: {:?}", found.timetable));
    }
    let flow = found.head.map(|head| head.flow);
    if !one_of(ride.course.flow(script), &|at| flow == Some(script.flows[at])) {
        return no("O2", format!("a flow that nobody gave: {flow:?}"));
    }
    Ok(())
}

/// Two states are the same but for what a restart may see otherwise: the last
/// pulse of an open dose, of which a damaged slot after it may have been one more
/// (D4), and starts that are over an hour old, which no rule asks for.
fn same(expected: &State, found: &State) -> Judged {
    if expected == found {
        return Ok(());
    }
    let mut wanted = *expected;
    if let (Some(wanted), Some(found)) = (&mut wanted.open, &found.open) {
        let least = wanted.pulse.most_ms;
        let most = least.saturating_add(wanted.pulse.on_ms).min(wanted.pulse.dose_ms).max(least);
        if (least..=most).contains(&found.pulse.most_ms) {
            wanted.pulse.most_ms = found.pulse.most_ms;
        }
    }
    if wanted == *found || recent(&wanted) == recent(found) {
        return Ok(());
    }
    no("M1", difference(&recent(&wanted), &recent(found)))
}

fn recent(book: &State) -> State {
    let hour_ago = book.at.minus(Duration::from_h(1));
    let mut starts = Starts::NONE;
    book.starts.iter().filter(|at| *at > hour_ago).for_each(|at| starts.push(at));
    let mut book = *book;
    book.starts = starts;
    book
}

/// The first part in which two states differ.
fn difference(wanted: &State, found: &State) -> String {
    macro_rules! parts {
        ($($part:ident),*) => {$(
            if wanted.$part != found.$part {
                return format!(
                    "the restart finds another state than was acknowledged: {} is {:?}, not {:?}",
                    stringify!($part), found.$part, wanted.$part
                );
            }
        )*};
    }
    parts!(at, clock, zone, epoch, losses, not_before, head, timetable, history, open);
    for line in 0..N {
        if wanted.state(line) != found.state(line) {
            return format!(
                "the restart finds another state than was acknowledged: line {line} is {:?}, not {:?}",
                found.state(line),
                wanted.state(line)
            );
        }
    }
    parts!(next_id, asks, damaged, closed_damaged, alarms, rest_until, starts, stock, motor, tube);
    "the restart finds another state than was acknowledged".to_owned()
}

/// The evening is over: everything that was begun has its end, and the last
/// settings are in force.
pub(super) fn end<const W: usize>(script: &Script, ride: &Ride<'_, W>) -> Judged {
    ride.course.end(script)?;
    let last = script.timetables.len() - 1;
    if ride.book().timetable != script.timetables[last] {
        return no("D11", "the last edit is not in force at the end".to_owned());
    }
    if ride.book().head.map(|head| head.flow) != script.flows.last().copied() {
        return no("O2", "the new flow is not in force at the end".to_owned());
    }
    Ok(())
}
