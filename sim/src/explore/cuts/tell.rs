//! One run with given cuts, told step by step.

use std::fmt::Write as _;

use dosewright_core::ledger::{Class, Slot};
use dosewright_core::record::Record;

use super::course::{Course, Judged, Violation, no};
use super::failure::Cut;
use super::judge::{self, Fold, Intent};
use super::memory::{Memory, Work};
use super::ride::{Next, Pin, Ride, Turn};
use super::script::Script;

/// What one run does.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Told {
    /// Step by step, a line each.
    pub lines: Vec<String>,
    /// The first promise that it breaks.
    pub violation: Option<Violation>,
}

/// Runs exactly this.
///
/// # Errors
///
/// The run does not come to one of the cuts.
pub fn tell(word: usize, cuts: &[Cut]) -> Result<Told, String> {
    match word {
        1 => tell_words_of::<1>(cuts),
        4 => tell_words_of::<4>(cuts),
        _ => tell_words_of::<8>(cuts),
    }
}

fn tell_words_of<const W: usize>(cuts: &[Cut]) -> Result<Told, String> {
    let script = Script::evening();
    let mut teller = Teller { script: &script, lines: Vec::new(), cuts: cuts.iter() };
    let violation = teller.run::<W>().err().map(|violation| *violation);
    match teller.cuts.next() {
        // a run that ends early does not come to the cuts after its end
        Some(cut) if violation.is_none() => Err(format!(
            "the run does not come to the cut of call {} at {}",
            cut.call,
            clock(cut.at_ms)
        )),
        _ => Ok(Told { lines: teller.lines, violation }),
    }
}

struct Teller<'a> {
    script: &'a Script,
    lines: Vec<String>,
    /// The cuts still to come.
    cuts: std::slice::Iter<'a, Cut>,
}

impl Teller<'_> {
    fn say(&mut self, at_ms: i64, what: &str) {
        self.lines.push(format!("{}  {what}", clock(at_ms)));
    }

    fn run<const W: usize>(&mut self) -> Judged {
        let script = self.script;
        let mut expected = *script.book;
        let mut course = Course::new(script.start_ms);
        let memory = Memory::erased();
        memory.copy_from(&script.memory);
        loop {
            self.say(course.now_ms, "the supply comes on");
            let ride = Ride::<W>::start(&memory, course)?;
            judge::restart(script, &ride, &memory, &expected)?;
            let wanted = self.cuts.as_slice().first().copied();
            match self.stretch(&memory, ride, wanted)? {
                None => return Ok(()),
                Some((after, book)) => {
                    self.cuts.next();
                    (course, expected) = (after, book);
                }
            }
        }
    }

    /// From a start to the next cut; what the restart after it must find.
    #[allow(clippy::type_complexity)]
    fn stretch<const W: usize>(
        &mut self,
        memory: &Memory,
        mut ride: Ride<'_, W>,
        wanted: Option<Cut>,
    ) -> Judged<
        Option<(Course, dosewright_core::book::Book<{ super::memory::N }, { super::memory::H }>)>,
    > {
        let script = self.script;
        let mut turn = Turn::default();
        let mut intent: Option<Intent> = None;
        let mut call = 0;
        while let Some((at_ms, next)) = ride.next(script) {
            call += 1;
            let cut = wanted.filter(|cut| cut.call == call);
            if let Some(cut) = cut.filter(|cut| cut.work.is_none()) {
                self.say(cut.at_ms, "the supply goes");
                ride.course.cut(script, cut.at_ms, false)?;
                let Some(intent) = intent.filter(|_| cut.lost_intent) else {
                    return Ok(Some((ride.course, *ride.book())));
                };
                self.say(cut.at_ms, &format!("  and slot {} fails to read", intent.slot));
                memory.fail(intent.slot, true);
                ride.course.lose_intent();
                return Ok(Some((ride.course, intent.before)));
            }
            ride.course.advance(script, at_ms)?;
            let base = Memory::erased();
            base.copy_from(memory);
            let mut fold = Fold::new(ride.book());
            let why = match (next, ride.device.next_wake()) {
                (Next::Act(deed), _) => format!("call {call}: the operator: {deed:?}"),
                (Next::Wake, Some((_, reason))) => format!("call {call}: {reason:?}"),
                (Next::Wake, None) => format!("call {call}"),
            };
            self.say(at_ms, &why);
            ride.call(script, memory, next, &mut turn);
            for (done, work) in turn.works.iter().enumerate() {
                self.pins(at_ms, &turn, done);
                judge::pins(script, &mut ride.course, &turn, done)?;
                let before = fold.book;
                let record = fold.take(work)?;
                self.work(at_ms, done, work, record.as_ref());
                if let Some((_, tear)) =
                    cut.and_then(|cut| cut.work).filter(|(at, _)| usize::from(*at) == done)
                {
                    self.say(at_ms, &format!("  the supply goes in it: {tear}"));
                    let is_complete = tear.leave::<W>(work, &base);
                    memory.copy_from(&base);
                    if let Some(record) = record.filter(|_| is_complete) {
                        ride.course.record(script, &record)?;
                    }
                    ride.course.cut(script, at_ms, record.is_some() && !is_complete)?;
                    return Ok(Some((ride.course, if is_complete { fold.book } else { before })));
                }
                base.perform(work);
                intent = Fold::intent(&before, work, record.as_ref());
                if let Some(record) = record {
                    ride.course.record(script, &record)?;
                }
            }
            self.pins(at_ms, &turn, turn.works.len());
            judge::pins(script, &mut ride.course, &turn, turn.works.len())?;
            fold.is(ride.book())?;
            ride.course.answered(script);
            if call > super::walk::MOST_CALLS {
                return no("P1", "the device asks to be called without end".to_owned());
            }
        }
        self.say(script.end_ms, "the evening is over");
        judge::end(script, &ride)?;
        Ok(None)
    }

    fn pins(&mut self, at_ms: i64, turn: &Turn, done: usize) {
        for (_, pin) in turn.pins.iter().filter(|(after, _)| *after == done) {
            let text = match pin {
                Pin::On(length_ms) => format!("  pump on, for {length_ms} ms at most"),
                Pin::Off => "  pump off".to_owned(),
                Pin::Refused(refusal) => format!("  refused: {refusal:?}"),
            };
            self.say(at_ms, &text);
        }
    }

    fn work(&mut self, at_ms: i64, done: usize, work: &Work, record: Option<&Record>) {
        let mut text = format!("  work {done}: ");
        _ = match (work, record) {
            (Work::Erase { sector }, _) => write!(text, "erase of sector {sector}"),
            (Work::Write { slot, .. }, Some(record)) => write!(text, "slot {slot}, {record:?}"),
            (Work::Write { slot, bytes }, None) => match Slot::decode(bytes) {
                Slot::Good { class: Class::Header, .. } => write!(text, "slot {slot}, header"),
                Slot::Good { class: Class::Seal, .. } => write!(text, "slot {slot}, seal"),
                Slot::Good { class: Class::Record, .. } => write!(text, "slot {slot}, the same"),
                _ => write!(text, "slot {slot}, snapshot"),
            },
        };
        self.say(at_ms, &text);
    }
}

/// Local time of the evening.
fn clock(at_ms: i64) -> String {
    let ms = at_ms.rem_euclid(86_400_000) + 18 * 3_600_000;
    let (s, ms) = (ms / 1000, ms % 1000);
    format!("{:02}:{:02}:{:02}.{ms:03}", s / 3600 % 24, s / 60 % 60, s % 60)
}
