//! The exploration's own judge: a small reading of the promises D1 to D7, D11, O1 and
//! P4, carried along with the controller from state to state.
//!
//! It sees what an onlooker sees: the events with their instants, the pump pin,
//! and the records that the ledger has taken. It uses none of the controller's
//! schedule, spread, limit or timetable code, and asks the controller nothing
//! but when it wants to be called and whether it thinks the pump is on.

mod dose;
mod dues;
mod pin;

use dosewright_core::entry::{Entry, Recurrence};
use dosewright_core::record::{Act, Record};
use dosewright_core::units::Flow;

pub(super) use pin::Pin;

/// A promise that does not hold.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Finding {
    /// Its number, such as `D2`.
    pub promise: &'static str,
    /// What was expected and what was found.
    pub what: String,
}

pub(super) type Judged = Result<(), Finding>;

/// A finding, where something is not so.
pub(super) fn must(holds: bool, promise: &'static str, what: impl FnOnce() -> String) -> Judged {
    if holds { Ok(()) } else { Err(Finding { promise, what: what() }) }
}

pub(super) const DAY_MS: i64 = 86_400_000;
/// The ledger may be left alone so long after it failed.
const QUIET_MS: i64 = 60_000;

/// When an entry began its last delivery.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub(super) struct Began {
    at: i64,
    /// What the clock showed.
    local: Option<i64>,
    losses: u16,
}

/// A due that has been born and has not begun.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub(super) struct Due {
    revision: u16,
    epoch: u16,
    n: i64,
    due_at: i64,
    /// The ledger knows it.
    told: bool,
    /// A setting has put it ahead again: it ends, and is born once more.
    ahead: bool,
}

/// An entry and what is owed of it.
#[derive(Clone, PartialEq, Eq, Hash, Debug)]
pub(super) struct Line {
    entry: Entry,
    revision: u16,
    /// The last occurrence that has passed: a local day, or a count.
    mark: Option<i64>,
    /// Edited, and no due of the new revision judged yet.
    edited: bool,
    carry: u32,
    last: Option<Began>,
    dues: Vec<Due>,
}

/// The dose that has begun.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub(super) struct Open {
    line: usize,
    asked: bool,
    revision: u16,
    epoch: u16,
    nominal: u32,
    due_at: i64,
    window_end: i64,
    deadline: i64,
    dose_ms: u64,
    flow: Flow,
    /// What the pump ran for it.
    pin_ms: u64,
    /// Its longest pulse.
    pulse_ms: u64,
    /// Resets since it began.
    resets: u8,
    /// Restarts that the ledger knows of.
    boots: u8,
    disturbed: bool,
    /// Somebody has stopped it.
    stopped: bool,
    /// Made smaller by guard or ceiling.
    cut: bool,
    began: Began,
}

/// What was delivered for a due that has ended.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub(super) struct Delivery {
    line: usize,
    began: Began,
    due_at: i64,
    pin_nl: u64,
    most_nl: u64,
}

/// The motor, as its faults make it: retried after 1, 2 and 4 minutes, then
/// latched.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug, Default)]
pub(super) struct Motor {
    pub(super) faults: u8,
    /// Its last run, since the last fault, went on to its end, and no record says so yet.
    pub(super) turned: bool,
    /// When that was, in device time.
    pub(super) at: i64,
    /// The ledger has not taken the fault down yet; until then it keeps the pump off.
    pub(super) unwritten: bool,
}

/// Prime or a calibration run.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub(super) struct Service {
    ran_ms: u64,
}

/// When a pulse began, by both times: the device has lost the one, and keeps to
/// the limit by the other.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
struct Started {
    true_ms: u64,
    at: i64,
}

/// What the pump may be turned on for: the record that the ledger has taken.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
enum Leave {
    Dose(u64),
    Service(u64),
}

/// What an event asks for; it holds for the step that the event makes.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug, Default)]
pub(super) struct Wish {
    pub(super) run_again: Option<u16>,
    /// The longest that a prime or calibration run may last.
    pub(super) service_ms: Option<u64>,
    pub(super) local: Option<i64>,
}

/// The judge's knowledge.
#[derive(Clone, PartialEq, Eq, Hash, Debug)]
pub(super) struct Ghost {
    pub(super) lines: Vec<Line>,
    /// Local time that the clock shows less elapsed time; `None` while unset.
    pub(super) clock_ms: Option<i64>,
    epoch: u16,
    losses: u16,
    /// The first setting after the clock was lost, in the device's time.
    not_before: Option<i64>,
    /// The ceiling that the file gives; without one it hangs on the entries in force.
    given_ceiling_nl: Option<u64>,
    /// The ceiling of before the entries were changed, and until when it counts as well.
    former_ceiling: (u64, i64),
    open: Option<Open>,
    pub(super) service: Option<Service>,
    /// How long the last run was to be, where it was prime or calibration.
    service_ms: Option<u64>,
    pub(super) pin: Pin,
    /// When doses' pulses began, of the last hour.
    starts: Vec<Started>,
    deliveries: Vec<Delivery>,
    leave: Option<Leave>,
    wish: Wish,
    /// The ledger failed then, in the device's time.
    failed_at: Option<i64>,
    pub(super) stopped: bool,
    /// The motor's faults in a row, and what came of the last.
    pub(super) motor: Motor,
    now: i64,
    true_ms: u64,
}

impl Ghost {
    /// Of a device that is new.
    pub(super) fn new(given_ceiling_nl: Option<u64>) -> Self {
        Self {
            lines: Vec::new(),
            clock_ms: None,
            epoch: 0,
            losses: 0,
            not_before: None,
            given_ceiling_nl,
            former_ceiling: (0, i64::MIN),
            open: None,
            service: None,
            service_ms: None,
            pin: Pin::default(),
            starts: Vec::new(),
            deliveries: Vec::new(),
            leave: None,
            wish: Wish::default(),
            failed_at: None,
            stopped: false,
            motor: Motor::default(),
            now: 0,
            true_ms: 0,
        }
    }

    /// The ceiling of the 23 h before a due: by the entries in force, or by those of before
    /// where they were changed since.
    fn ceiling_nl(&self, due_at: i64) -> u64 {
        self.given_ceiling_nl.unwrap_or_else(|| {
            let entries = self.lines.iter().map(|line| &line.entry);
            let enabled: Vec<_> = entries.filter(|entry| entry.enabled).collect();
            let (former_nl, until) = self.former_ceiling;
            default_ceiling_nl(&enabled).max(if due_at < until { former_nl } else { 0 })
        })
    }

    /// The logic is called at this device time.
    pub(super) fn awake(&mut self, now: i64, true_ms: u64, wish: Wish) {
        (self.now, self.true_ms, self.wish) = (now, true_ms, wish);
        self.starts
            .retain(|start| start.true_ms + 3_600_000 > true_ms || start.at + 3_600_000 > now);
        self.bear();
    }

    /// Something gets in the way of the dose that runs.
    pub(super) fn disturb(&mut self) {
        if let Some(open) = &mut self.open {
            open.disturbed = true;
        }
    }

    /// Whether a dose of that entry is under way.
    pub(super) fn has_open(&self, line: usize) -> bool {
        self.open.is_some_and(|open| open.line == line)
    }

    /// Somebody stops the dose of an entry.
    pub(super) fn stopped_by_hand(&mut self, line: usize) {
        if let Some(open) = self.open.as_mut().filter(|open| open.line == line) {
            open.stopped = true;
        }
    }

    /// The ledger took a record.
    pub(super) fn took(&mut self, record: &Record, head: &Rules) -> Judged {
        self.failed_at = None;
        if self.motor.turned && self.is_of_run(record) {
            // a run that went on to its end ends the row; the latch an operator alone
            self.motor.turned = false;
            if self.motor.faults < 4 {
                self.motor = Motor::default();
            }
        }
        match record {
            Record::Boot { feed_kept, .. } => {
                if let Some(open) = &mut self.open {
                    open.boots += 1;
                }
                if !feed_kept {
                    self.clock_ms = None;
                    self.losses += 1;
                }
                // what passed while no start could be written passes by the clock as
                // it is now
                self.retract();
                self.bear();
                Ok(())
            }
            Record::Clock { utc, .. } => {
                let Some(utc) = utc else { return Ok(()) };
                let local = utc.as_ms() + head.zone_ms;
                must(self.wish.local.is_none_or(|asked| asked == local), "D8", || {
                    format!("the clock shows {local} ms, and was set to {:?}", self.wish.local)
                })?;
                self.set_clock(local - self.now);
                Ok(())
            }
            Record::Born(born) => self.told(born),
            Record::Pulse(pulse) => self.intent(pulse, head),
            Record::Outcome(outcome) => self.outcome(outcome, head),
            Record::Act { act, ms, .. } => self.act(*act, u64::from(*ms)),
            Record::Motor { at, faults } => {
                // its rest counts from when the ledger has it
                (self.motor.at, self.motor.unwritten) = (at.as_ms(), false);
                must(self.motor.faults == *faults, "P4", || {
                    format!("the ledger counts {faults} faults of {}", self.motor.faults)
                })
            }
            _ => Ok(()),
        }
    }

    /// Whether a record tells of the run before it.
    fn is_of_run(&self, record: &Record) -> bool {
        match record {
            Record::Pulse(pulse) => !pulse.first,
            Record::Outcome(outcome) => self.open.is_some_and(|open| {
                let own = (open.line as u16 + 1, open.nominal, open.asked);
                own == (outcome.due.id.0, outcome.due.nominal.0, outcome.asked)
            }),
            Record::Act { act, .. } => matches!(act, Act::PrimeEnded | Act::CalibrationEnded),
            _ => false,
        }
    }

    fn act(&mut self, act: Act, ms: u64) -> Judged {
        match act {
            Act::PrimeBegun | Act::CalibrationBegun | Act::TrainBegun => {
                let longest = self.wish.service_ms.take().unwrap_or(0);
                must(ms <= longest, "O1", || {
                    format!("a run of {ms} ms begins where {longest} ms were asked for")
                })?;
                must(self.open.is_none() && self.service.is_none(), "D3", || {
                    "prime or calibrate begins while somebody has the pump".to_owned()
                })?;
                self.service = Some(Service { ran_ms: 0 });
                self.service_ms = Some(ms);
                self.leave = Some(Leave::Service(ms));
                self.pin.was_meant = true;
            }
            Act::PrimeEnded | Act::CalibrationEnded | Act::TrainEnded => {
                let ran = self.service.take().map(|service| service.ran_ms);
                must(ran == Some(ms), "O1", || {
                    format!("the end of a run says {ms} ms, and the pump ran {ran:?}")
                })?;
            }
            Act::Acknowledged => self.motor = Motor::default(),
            Act::TubeChanged | Act::Unlocked | Act::WrongPin => {}
        }
        Ok(())
    }

    /// Whether the motor is kept from running: latched, or at rest after a fault.
    pub(super) fn motor_rests(&self) -> bool {
        let Motor { faults, at, unwritten, .. } = self.motor;
        unwritten || faults > 3 || faults > 0 && self.now < at + (60_000 << (faults - 1))
    }

    /// The motor stalls or draws too much at this device time.
    pub(super) fn motor_fails(&mut self, now: i64) {
        self.now = now;
        if self.pin.is_on() || !self.motor_rests() {
            let faults = (self.motor.faults + 1).min(4);
            self.motor = Motor { faults, turned: false, at: now, unwritten: true };
            self.disturb();
        }
    }

    /// The ledger did not take a record.
    pub(super) fn refused_record(&mut self) {
        self.failed_at = Some(self.now);
        self.disturb();
    }

    /// The processor starts again: the pump is off, and what it knew is gone.
    pub(super) fn reset(&mut self, true_ms: u64, now: i64, rules: &Rules) {
        (self.true_ms, self.now) = (true_ms, now);
        self.pin.forget_rest(true_ms, self.service_ms, rules);
        self.retract();
        self.service = None;
        (self.leave, self.failed_at) = (None, None);
        if let Some(open) = &mut self.open {
            open.resets += 1;
            open.disturbed = true;
            // what no record says is forgotten
            open.stopped = false;
        }
    }

    /// All that the call has brought has been done.
    pub(super) fn settled(&mut self, head: &Rules, thinks_on: bool) -> Judged {
        (self.wish, self.leave) = (Wish::default(), None);
        let kept = self.stopped || self.motor_rests();
        must(!(kept && self.pin.is_on()), "P4", || {
            "the pump runs though a stop or a fault is on".to_owned()
        })?;
        must(thinks_on == self.pin.is_on(), "P4", || {
            format!("the logic takes the pump's state to be {thinks_on}, which is not so")
        })?;
        let to_end = self.open.is_some_and(|open| open.stopped);
        must(!(to_end && self.pin.is_on()), "D11", || {
            "the pump runs for a dose that was stopped by hand".to_owned()
        })?;
        if self.failed_at.is_some_and(|at| self.now < at + QUIET_MS) {
            return Ok(());
        }
        must(!to_end, "D11", || "a dose that was stopped by hand goes on".to_owned())?;
        if let Some(service) = self.service {
            must(self.pin.is_on(), "O1", || {
                format!("a run is over after {} ms and its end is not logged", service.ran_ms)
            })?;
        }
        self.accounted(head)
    }

    pub(super) fn age(&self, began: &Began) -> i64 {
        let elapsed = (self.now - began.at).max(0);
        match (began.local, self.clock_ms) {
            (Some(then), Some(clock)) if began.losses != self.losses => {
                elapsed.max(self.now + clock - then)
            }
            _ => elapsed,
        }
    }
}

/// The figures of the head that the promises speak of, and the zone.
#[derive(Clone, Copy, Debug)]
pub(super) struct Rules {
    pub(super) flow: Flow,
    pub(super) shortest_on_ms: u64,
    pub(super) shortest_off_ms: u64,
    pub(super) longest_run_ms: u64,
    pub(super) least_rest_ms: u64,
    pub(super) starts_per_hour: usize,
    pub(super) zone_ms: i64,
}

impl Rules {
    /// The rest that a run needs after it.
    fn rest_ms(&self, on_ms: u64) -> u64 {
        (on_ms * self.least_rest_ms).div_ceil(self.longest_run_ms).max(self.shortest_off_ms)
    }
}

/// What so much pumping delivers, to the nearest nanolitre.
fn volume_nl(flow: Flow, ms: u64) -> u64 {
    (ms * u64::from(flow.as_nl_per_min()) + 30_000) / 60_000
}

/// When a weekly entry comes due, in minutes of the week.
fn week_minutes(entry: &Entry) -> Vec<u32> {
    let Recurrence::Weekly { days, at_min, by_night } = entry.recurrence else { return Vec::new() };
    let after_midnight = by_night && at_min < 720;
    let days = (0..7).filter(|day| days.bits() >> day & 1 == 1);
    days.map(|day| (day + u32::from(after_midnight)) % 7 * 1440 + u32::from(at_min)).collect()
}

/// The most that entries ask for in any 24 h, and a quarter more.
fn default_ceiling_nl(entries: &[&Entry]) -> u64 {
    let often = entries.iter().map(|entry| match entry.recurrence {
        Recurrence::Interval { every_ms, .. } => {
            entry.volume.as_nl() * (DAY_MS as u64).div_ceil(every_ms)
        }
        Recurrence::Weekly { .. } => 0,
    });
    let weekly: Vec<(u64, Vec<u32>)> =
        entries.iter().map(|entry| (entry.volume.as_nl(), week_minutes(entry))).collect();
    let from = |start: u32| -> u64 {
        let within = |min: &u32| (min + 7 * 1440 - start) % (7 * 1440) < 1440;
        weekly.iter().filter(|(_, at)| at.iter().any(within)).map(|(nl, _)| nl).sum()
    };
    let fullest = weekly.iter().flat_map(|(_, at)| at).map(|start| from(*start)).max();
    let asked = often.sum::<u64>() + fullest.unwrap_or(0);
    asked + asked / 4
}

#[cfg(test)]
mod tests {
    use dosewright_core::civil::Days;
    use dosewright_core::entry::{EntryId, GapRule};
    use dosewright_core::time::Instant;
    use dosewright_core::units::Volume;

    use super::*;

    #[test]
    fn d7_the_default_ceiling_is_of_the_fullest_day() {
        let of = |ml: u64, recurrence| Entry {
            id: EntryId(1),
            enabled: true,
            recurrence,
            volume: Volume::from_nl(ml * 1_000_000),
            window_ms: 300_000,
            grace_ms: 0,
            first: None,
            last: None,
            observes_closed: false,
            gap_rule: GapRule::Shift,
            pulses: None,
        };
        let weekly = |ml, days: u8, at_min| {
            of(ml, Recurrence::Weekly { days: Days::from_bits(days), at_min, by_night: false })
        };
        let every = |ml, h: u64| {
            of(ml, Recurrence::Interval { every_ms: h * 3_600_000, from: Instant::ZERO })
        };
        let ceiling = |entries: &[&Entry]| default_ceiling_nl(entries) / 1000;
        // Monday 08:00 and Tuesday 07:59 are within a day, Tuesday 08:00 is not
        let monday = weekly(20, 1, 480);
        assert_eq!(ceiling(&[&monday, &weekly(4, 2, 479)]), 30_000);
        assert_eq!(ceiling(&[&monday, &weekly(4, 2, 480)]), 25_000);
        // Sunday's and Monday's, round the end of the week
        assert_eq!(ceiling(&[&monday, &weekly(4, 64, 600)]), 30_000);
        // each 31 h once, each 7 h four times
        assert_eq!(ceiling(&[&every(4, 31)]), 5_000);
        assert_eq!(ceiling(&[&every(4, 7), &monday]), 45_000);
        assert_eq!(ceiling(&[]), 0);
    }
}
