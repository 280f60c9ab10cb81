//! The walk through one run, with a cut at every point of it, and from each cut
//! on again.

use dosewright_core::book::Book;

use super::Shared;
use super::course::{Course, Judged, no};
use super::failure::{Cut, Failure};
use super::judge::{self, Fold, Intent};
use super::memory::{H, Memory, N, Work};
use super::ride::{Ride, Turn};
use super::script::Script;
use super::tear::{Tear, Tears};

/// First cuts that one worker takes on together.
const UNIT: usize = 64;
/// Calls of the device in one run, at most: it is called some forty times.
pub(super) const MOST_CALLS: u32 = 1000;
/// States that a new one is compared with before it counts as new.
const LOOK_BACK: usize = 3;

/// Runs so far.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub struct Counts {
    /// Runs with one cut.
    pub one_cut: u64,
    /// Runs with two cuts.
    pub two_cuts: u64,
    /// Runs that were gone on with to the end of the script; the others had come
    /// to a state that one of these had come to.
    pub to_the_end: u64,
    /// Places of the first cut.
    pub first_cuts: u64,
    /// Those of them that are in a change of sector while a dose is open.
    pub in_open_rolls: u64,
}

impl Counts {
    /// All runs.
    pub const fn runs(&self) -> u64 {
        self.one_cut + self.two_cuts
    }

    pub(super) fn add(&mut self, other: &Self) {
        self.one_cut += other.one_cut;
        self.two_cuts += other.two_cuts;
        self.to_the_end += other.to_the_end;
        self.first_cuts += other.first_cuts;
        self.in_open_rolls += other.in_open_rolls;
    }
}

/// Where a cut is made, and what must be found after it.
struct Point<'a> {
    cut: Cut,
    /// As it is when the supply is back.
    course: Course,
    expected: &'a Book<N, H>,
    /// Slots that differ from point to point of one work.
    slots: std::ops::Range<usize>,
}

/// A state that a run was gone on with from.
struct Kept<'m, const W: usize> {
    ride: Ride<'m, W>,
    memory: Memory,
    at: (u32, Option<u16>),
    /// Whether the work in which it was cut was complete all the same.
    complete: bool,
}

/// Walks one share of the exploration.
pub(super) struct Walker<'s, const W: usize> {
    script: &'s Script,
    tears: &'s Tears,
    shared: &'s Shared<'s>,
    /// Whether equal states after the first cut are gone on with once only.
    merge_first: bool,
    pub(super) counts: Counts,
    path: Vec<Cut>,
    /// The unit that comes next, and the one that this worker has claimed.
    unit: u64,
    claimed: u64,
}

impl<'s, const W: usize> Walker<'s, W> {
    pub(super) fn new(
        script: &'s Script,
        tears: &'s Tears,
        shared: &'s Shared<'s>,
        merge_first: bool,
    ) -> Self {
        let counts = Counts::default();
        let claimed = shared.claim();
        Self { script, tears, shared, merge_first, counts, path: Vec::new(), unit: 0, claimed }
    }

    /// Walks through the run with cuts of this depth. The units of first cuts are
    /// shared among all walkers.
    pub(super) fn explore(&mut self, depth: usize) {
        let memory = Memory::erased();
        memory.copy_from(&self.script.memory);
        let walked = Ride::start(&memory, Course::new(self.script.start_ms)).and_then(|ride| {
            judge::restart(self.script, &ride, &memory, &self.script.book)?;
            if depth == 0 { self.run_out(&memory, ride) } else { self.walk(depth, &memory, ride) }
        });
        if let Err(violation) = walked {
            self.shared.report(self.unit, Failure::new(W, &self.path, *violation));
        }
    }

    /// Whether the next unit of first cuts falls to this walker. Each unit is merged
    /// for itself, so that the counts are the same however many walkers there are.
    fn unit(&mut self, kept: &mut Vec<Kept<'_, W>>) -> bool {
        kept.clear();
        let unit = self.unit;
        self.unit += 1;
        if unit != self.claimed {
            return false;
        }
        self.claimed = self.shared.claim();
        self.shared.wants(unit)
    }

    /// Goes on to the end without a cut.
    fn run_out<'m>(&mut self, memory: &'m Memory, mut ride: Ride<'m, W>) -> Judged {
        let (script, mut turn) = (self.script, Turn::default());
        let mut calls = 0;
        while let Some((at_ms, next)) = ride.next(script) {
            calls += 1;
            if calls > MOST_CALLS {
                return no("P1", "the device asks to be called without end".to_owned());
            }
            ride.course.advance(script, at_ms)?;
            let mut fold = Fold::new(ride.book());
            ride.call(script, memory, next, &mut turn);
            for (done, work) in turn.works.iter().enumerate() {
                judge::pins(script, &mut ride.course, &turn, done)?;
                if let Some(record) = fold.take(work)? {
                    ride.course.record(script, &record)?;
                }
            }
            judge::pins(script, &mut ride.course, &turn, turn.works.len())?;
            fold.is(ride.book())?;
            ride.course.answered(script);
        }
        judge::end(script, &ride)
    }

    /// Goes on to the end, and cuts the supply at every point on the way; after
    /// each cut goes on with `depth` less one.
    fn walk<'m>(&mut self, depth: usize, memory: &'m Memory, mut ride: Ride<'m, W>) -> Judged {
        let (script, mut turn) = (self.script, Turn::default());
        let (base, child) = (Memory::erased(), Memory::erased());
        let mut kept: Vec<Kept<'_, W>> = Vec::new();
        let mut intent: Option<Intent> = None;
        let mut call = 0;
        while let Some((at_ms, next)) = ride.next(script) {
            call += 1;
            if call > MOST_CALLS {
                return no("P1", "the device asks to be called without end".to_owned());
            }
            base.copy_from(memory);
            kept.clear();
            for moment_ms in moments(&ride.course, at_ms).into_iter().flatten() {
                if self.is_trunk() && !self.unit(&mut kept) {
                    continue;
                }
                let mut course = ride.course;
                course.cut(script, moment_ms, false)?;
                let cut = Cut { call, at_ms: moment_ms, work: None, lost_intent: false };
                let slots = Memory::all_slots();
                let point = Point { cut, course, expected: ride.book(), slots: slots.clone() };
                self.cut(depth, &point, false, &base, &child, &mut kept)?;
                if let Some(intent) = intent.as_ref().filter(|_| self.is_trunk()) {
                    course.lose_intent();
                    let cut = Cut { lost_intent: true, ..cut };
                    let point = Point { cut, course, expected: &intent.before, slots };
                    base.fail(intent.slot, true);
                    self.cut(1, &point, false, &base, &child, &mut kept)?;
                    base.fail(intent.slot, false);
                }
            }
            ride.course.advance(script, at_ms)?;
            let mut fold = Fold::new(ride.book());
            ride.call(script, memory, next, &mut turn);
            for (done, work) in turn.works.iter().enumerate() {
                judge::pins(script, &mut ride.course, &turn, done)?;
                let before = fold.book;
                let record = fold.take(work)?;
                let tear = Torn { call, at_ms, done, work, record: record.as_ref() };
                self.tear(
                    depth,
                    &tear,
                    &ride.course,
                    [&before, &fold.book],
                    &base,
                    &child,
                    &mut kept,
                )?;
                base.perform(work);
                intent = Fold::intent(&before, work, record.as_ref());
                if let Some(record) = record {
                    ride.course.record(script, &record)?;
                }
            }
            judge::pins(script, &mut ride.course, &turn, turn.works.len())?;
            fold.is(ride.book())?;
            ride.course.answered(script);
        }
        judge::end(script, &ride)
    }

    /// Cuts the supply everywhere in one write or erase.
    #[allow(clippy::too_many_arguments)]
    fn tear<'b>(
        &mut self,
        depth: usize,
        torn: &Torn<'_>,
        course: &Course,
        books: [&Book<N, H>; 2],
        base: &Memory,
        child: &'b Memory,
        kept: &mut Vec<Kept<'b, W>>,
    ) -> Judged {
        let tears = self.tears;
        let (both, once): (&[Tear], &[Tear]) = match torn.work {
            Work::Write { .. } => (&tears.write, &tears.write_once),
            Work::Erase { .. } => (&tears.erase, &[]),
        };
        // the supply goes while the work is done, and is back some time later
        let mut incomplete = *course;
        incomplete.cut(self.script, torn.at_ms, torn.record.is_some())?;
        let mut complete = *course;
        if let Some(record) = torn.record {
            complete.record(self.script, record)?;
        }
        complete.cut(self.script, torn.at_ms, false)?;
        let slots = torn.work.slots();
        let before: Vec<_> =
            slots.clone().map(|slot| (base.slot(slot), base.fails(slot))).collect();
        let trunk = self.is_trunk();
        let once = if trunk { once } else { &[] };
        let units = both.chunks(UNIT).map(|unit| (unit, depth));
        for (unit, depth) in units.chain(once.chunks(UNIT).map(|unit| (unit, 1))) {
            if trunk && !self.unit(kept) {
                continue;
            }
            for tear in unit {
                if let Work::Write { bytes, .. } = torn.work
                    && !tear.matters(&before[0].0, bytes)
                {
                    continue;
                }
                let is_complete = tear.leave::<W>(torn.work, base);
                let point = Point {
                    cut: Cut {
                        call: torn.call,
                        at_ms: torn.at_ms,
                        work: Some((torn.done as u16, *tear)),
                        lost_intent: false,
                    },
                    course: if is_complete { complete } else { incomplete },
                    expected: books[usize::from(is_complete)],
                    slots: slots.clone(),
                };
                let carries = books[0].open.is_some() && torn.work.is_of_roll();
                self.counts.in_open_rolls += u64::from(trunk && carries);
                self.cut(depth, &point, is_complete, base, child, kept)?;
                for (slot, (old, fails)) in slots.clone().zip(&before) {
                    base.put(slot, old, *fails);
                }
            }
        }
        Ok(())
    }

    const fn is_trunk(&self) -> bool {
        self.path.is_empty()
    }

    /// One run: the supply went and `base` is what it left; the device starts
    /// again and is judged, and goes on where nothing equal went on before.
    fn cut<'b>(
        &mut self,
        depth: usize,
        point: &Point<'_>,
        complete: bool,
        base: &Memory,
        child: &'b Memory,
        kept: &mut Vec<Kept<'b, W>>,
    ) -> Judged {
        let trunk = self.is_trunk();
        self.path.push(point.cut);
        let judged = self.restart(depth, point, complete, base, child, kept);
        if trunk {
            self.counts.first_cuts += 1;
            self.shared.progress();
            if let Err(violation) = judged {
                self.shared.report(self.unit - 1, Failure::new(W, &self.path, *violation));
            }
            self.path.clear();
            return Ok(());
        }
        if judged.is_ok() {
            self.path.pop();
        }
        judged
    }

    fn restart<'b>(
        &mut self,
        depth: usize,
        point: &Point<'_>,
        complete: bool,
        base: &Memory,
        child: &'b Memory,
        kept: &mut Vec<Kept<'b, W>>,
    ) -> Judged {
        if self.path.len() == 1 {
            self.counts.one_cut += 1;
        } else {
            self.counts.two_cuts += 1;
        }
        // it starts from a copy, and what is to be cut again stays as it is
        child.copy_from(base);
        let ride = Ride::<W>::start(child, point.course)?;
        let at = (point.cut.call, point.cut.work.map(|(done, _)| done));
        let may_merge = depth == 1 || self.merge_first;
        if may_merge {
            for known in kept.iter().rev().take(LOOK_BACK) {
                let same_work = known.at == at && at.1.is_some();
                let slots = if same_work { point.slots.clone() } else { Memory::all_slots() };
                if known.ride == ride && known.memory.says_the_same(base, slots) {
                    // the same state, the same expectation: the same verdict
                    if same_work && known.complete == complete {
                        return Ok(());
                    }
                    return judge::restart(self.script, &ride, child, point.expected);
                }
            }
        }
        judge::restart(self.script, &ride, child, point.expected)?;
        if may_merge {
            kept.push(Kept { ride: ride.clone(), memory: base.clone(), at, complete });
        }
        self.counts.to_the_end += 1;
        if depth == 1 { self.run_out(child, ride) } else { self.walk(depth - 1, child, ride) }
    }
}

/// A write or erase that is cut.
struct Torn<'a> {
    call: u32,
    at_ms: i64,
    done: usize,
    work: &'a Work,
    record: Option<&'a dosewright_core::record::Record>,
}

/// When the supply goes between two calls of the device: in the middle; where
/// the pump is on, a millisecond after it started or before it stops, too; and
/// in the millisecond of the next call, before it.
fn moments(course: &Course, next_ms: i64) -> [Option<i64>; 4] {
    let now_ms = course.now_ms;
    if next_ms <= now_ms {
        // more to do at once: the first call's moment was this one
        return [None; 4];
    }
    let middle = Some(i64::midpoint(now_ms, next_ms)).filter(|at| *at > now_ms);
    let ends = course.pumping().map(|(since_ms, until_ms)| {
        let from = Some(since_ms + 1).filter(|at| *at > now_ms && *at < next_ms);
        let to = Some(until_ms - 1).filter(|at| *at > now_ms && *at < next_ms);
        (from, to)
    });
    let (first, last) = ends.unwrap_or_default();
    [first, middle.filter(|at| Some(*at) != first), last, Some(next_ms)]
}
