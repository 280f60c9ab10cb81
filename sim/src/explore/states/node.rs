//! A state of the exploration: the controller, the little world around it, and
//! the judge's knowledge; and what an action makes of it.

use std::hash::{Hash, Hasher};

use dosewright_core::book::Book;
use dosewright_core::civil::Local;
use dosewright_core::controller::{Controller, Start};
use dosewright_core::effect::Effect;
use dosewright_core::entry::EntryId;
use dosewright_core::event::Event;
use dosewright_core::record::{Record, Reset};
use dosewright_core::time::Instant;
use dosewright_core::units::Volume;
use siphasher::sip128::{Hasher128, SipHasher13};

use super::action::{Action, MISSED_MS, What, When};
use super::ghost::{Finding, Ghost, Judged, Motor, Rules, Wish, must};
use super::setup::{ACCOUNT, Form, LINES, Setup};

/// The controller that is explored: the real one, with few lines.
pub(super) type Logic = Controller<LINES, ACCOUNT>;

/// How long the supply is off after a torn write.
pub(super) const TEAR_OFF_MS: u64 = 60_000;
/// Records that one call may bring; more is a loop.
const MOST_RECORDS: u32 = 64;

/// What the world knows that the controller does not.
#[derive(Clone, PartialEq, Eq, Hash, Debug)]
pub(super) struct World {
    /// True ms since the start.
    pub(super) true_ms: u64,
    /// True time less the device's elapsed time, in ms: what the clock chip lost.
    lost_ms: i64,
    /// The clock chip lost its feed and the ledger does not know of it yet.
    feed_lost: bool,
    pub(super) remote_stop: bool,
    pub(super) leak: bool,
    /// The form each entry was last given.
    pub(super) forms: Vec<Form>,
    /// True time until which the ledger takes nothing.
    ledger_bad_until: u64,
}

/// A state.
#[derive(Clone, PartialEq, Eq, Hash, Debug)]
pub(super) struct Node {
    logic: Logic,
    pub(super) world: World,
    pub(super) ghost: Ghost,
}

/// How the ledger behaves while a call is handled.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Memory {
    Sound,
    /// The supply goes with the first record, which is there or not.
    Torn {
        whole: bool,
    },
}

/// What came of a call.
#[derive(Clone, Copy, PartialEq, Eq, Default)]
struct Done {
    /// The supply went while it was handled.
    cut: bool,
    /// The device refused what was asked of it.
    refused: bool,
    /// A timetable came into force.
    adopted: bool,
}

impl Rules {
    pub(super) fn of(setup: &Setup) -> Self {
        let head = &setup.head;
        Self {
            flow: head.flow,
            shortest_on_ms: u64::from(head.shortest_on_ms),
            shortest_off_ms: u64::from(head.shortest_off_ms),
            longest_run_ms: u64::from(head.longest_run_ms),
            least_rest_ms: u64::from(head.least_rest_ms),
            starts_per_hour: usize::from(head.starts_per_hour),
            zone_ms: setup.zone_ms,
        }
    }
}

impl Node {
    /// A device that is new, set up by an installer at the start.
    pub(super) fn first(setup: &Setup, rules: &Rules) -> Result<Self, Finding> {
        let start = Start {
            now: Instant::ZERO,
            feed_kept: true,
            reset: Reset::PowerOn,
            unreadable_tail: 0,
            run_lost: false,
            unreadable: 0,
        };
        let mut node = Self {
            logic: Controller::start(Book::empty(), start),
            world: World {
                true_ms: 0,
                lost_ms: 0,
                feed_lost: false,
                remote_stop: false,
                leak: false,
                forms: vec![Form { variant: 0, enabled: true }; setup.entries.len()],
                ledger_bad_until: 0,
            },
            ghost: Ghost::new(setup.ceiling.map(Volume::as_nl)),
        };
        let wish = Wish::default();
        let timetable = setup.timetable(&node.world.forms);
        let local = Local::from_ms(setup.start_ms);
        for event in [
            Event::Wake,
            Event::SetHead(&setup.head),
            Event::SetZone(&setup.zone),
            Event::SetClock(local),
            Event::Timetable(&timetable),
        ] {
            node.hand_in(event, wish, Memory::Sound, rules)?;
        }
        Ok(node)
    }

    /// A name for the state that no other has, but for one chance in 2^64 even
    /// among thousands of millions.
    pub(super) fn fingerprint(&self, left: u8) -> u128 {
        let mut hasher = SipHasher13::new();
        self.hash(&mut hasher);
        hasher.write_u8(left);
        hasher.finish128().as_u128()
    }

    fn now(&self) -> i64 {
        self.world.true_ms as i64 - self.world.lost_ms
    }

    /// True ms at which the logic wants to be called.
    pub(super) fn call_at(&self) -> u64 {
        let at = self.logic.next_wake().map_or(i64::MAX, |(at, _)| at.as_ms());
        u64::try_from(at.saturating_add(self.world.lost_ms)).unwrap_or(0)
    }

    /// The true time of an action; `None` where there is no such moment.
    pub(super) fn moment(&self, action: Action) -> Option<u64> {
        let (now, call) = (self.world.true_ms, self.call_at());
        match (action.what, action.when) {
            (What::Wake | What::LedgerFails(_), _) => Some(call),
            // a tear is armed 1 ms after the last thing, before the call
            (What::Tear { .. }, _) => (call > now + 1).then_some(call),
            (What::Late(by), _) => Some(call + u64::from(by)),
            (_, When::After) => Some(now + 1).filter(|&at| at < call),
            (_, When::Middle) => Some(now.midpoint(call)).filter(|&at| at > now + 1 && at < call),
            (_, When::Before) => {
                Some(call - 1).filter(|&at| at > now + 1 && at > now.midpoint(call))
            }
            (_, When::Missed) => Some(call + MISSED_MS),
        }
    }

    /// Lets time pass; the one-shot ends a run on the millisecond.
    fn pass_until(&mut self, at: u64, rules: &Rules) -> Judged {
        if let Some(until) = self.ghost.pin.until().filter(|&until| until <= at) {
            let now = until as i64 - self.world.lost_ms;
            self.ghost.pump_off(until, now, rules)?;
        }
        self.world.true_ms = at;
        Ok(())
    }

    /// Does an action; nothing where there is no such moment.
    pub(super) fn act(&mut self, action: Action, setup: &Setup, rules: &Rules) -> Judged {
        let Some(at) = self.moment(action) else { return Ok(()) };
        let late_ms = at.saturating_sub(self.call_at());
        self.pass_until(at, rules)?;
        if late_ms > 1 {
            self.ghost.disturb();
        }
        let mut wish = Wish::default();
        let mut event = Event::Wake;
        let mut memory = Memory::Sound;
        let timetable;
        let mut forms = self.world.forms.clone();
        match action.what {
            What::Wake | What::Late(_) | What::Spurious => {}
            What::LedgerFails(ms) => self.world.ledger_bad_until = at + u64::from(ms),
            What::Tear { whole } => memory = Memory::Torn { whole },
            What::SetClock(by) => {
                let Some(clock) = self.ghost.clock_ms else { return Ok(()) };
                let local = self.now() + clock + by;
                wish.local = Some(local);
                event = Event::SetClock(Local::from_ms(local));
            }
            What::RestoreClock => {
                let local = setup.start_ms + at as i64;
                wish.local = Some(local);
                event = Event::SetClock(Local::from_ms(local));
            }
            What::RemoteStop(on) => {
                self.world.remote_stop = on;
                self.note_stop();
                event = Event::RemoteStop(on);
            }
            What::Leak(on) => {
                self.world.leak = on;
                self.note_stop();
                event = Event::Leak(on);
            }
            What::MotorFault => {
                self.ghost.motor_fails(self.now());
                event = Event::MotorFault;
            }
            What::Acknowledge => event = Event::Acknowledge,
            What::RunAgain(entry) => {
                let id = u16::from(entry) + 1;
                wish.run_again = Some(id);
                event = Event::RunAgain(EntryId(id));
            }
            What::StopDose(entry) => {
                self.ghost.stopped_by_hand(usize::from(entry));
                event = Event::StopDose(EntryId(u16::from(entry) + 1));
            }
            What::Prime(ml) => {
                let by_volume =
                    u64::from(ml) * 1_000_000 * 60_000 / u64::from(setup.head.flow.as_nl_per_min());
                wish.service_ms = Some(by_volume.min(u64::from(setup.head.longest_prime_ms)));
                event = Event::Prime(Volume::from_ml(u64::from(ml)));
            }
            What::Calibrate(run_ms) => {
                wish.service_ms = Some(u64::from(run_ms));
                event = Event::Calibrate { run_ms };
            }
            What::Release => event = Event::Release,
            What::Edit(..) | What::Enable(..) => {
                match action.what {
                    What::Edit(entry, variant) => forms[usize::from(entry)].variant = variant,
                    What::Enable(entry, on) => forms[usize::from(entry)].enabled = on,
                    _ => {}
                }
                timetable = setup.timetable(&forms);
                event = Event::Timetable(&timetable);
            }
            What::Watchdog => return self.reboot(Reset::Watchdog, 0, true, rules),
            What::SupplyLoss(ms) => {
                return self.reboot(Reset::PowerOn, u64::from(ms), true, rules);
            }
            What::ClockLost(ms) => {
                return self.reboot(Reset::PowerOn, u64::from(ms), false, rules);
            }
        }
        let done = self.hand_in(event, wish, memory, rules)?;
        if done.cut {
            return self.reboot(Reset::PowerOn, TEAR_OFF_MS, true, rules);
        }
        if done.adopted {
            self.world.forms = forms;
        }
        if action.what == What::Release {
            must(!self.ghost.pin.is_on() || self.ghost.service.is_none(), "O1", || {
                "the operator has let go and the pump runs on".to_owned()
            })?;
        }
        Ok(())
    }

    fn note_stop(&mut self) {
        let world = &self.world;
        let stopped = world.remote_stop || world.leak;
        if stopped {
            self.ghost.disturb();
        }
        self.ghost.stopped = stopped;
    }

    /// Supply or processor go; the logic starts again from what the ledger says.
    fn reboot(&mut self, reset: Reset, off_ms: u64, feed_kept: bool, rules: &Rules) -> Judged {
        let now = self.now();
        self.ghost.pump_off(self.world.true_ms, now, rules)?;
        self.world.true_ms += off_ms;
        let book = *self.logic.book();
        // a loss that no start has told the ledger of is to be told again
        self.world.feed_lost &= !self.logic.has_started();
        self.world.feed_lost |= !feed_kept;
        let feed_kept = !self.world.feed_lost;
        if !feed_kept {
            // the chip counts on from the last instant in the ledger
            self.world.lost_ms = self.world.true_ms as i64 - book.at.as_ms();
        }
        self.ghost.reset(self.world.true_ms, self.now(), rules);
        // a fault is what the ledger knows of it, and no retry has proved anything
        let (faults, at) = (book.motor.faults, book.motor.at.as_ms());
        self.ghost.motor = Motor { faults, turned: false, at, unwritten: false };
        self.note_stop();
        let start = Start {
            now: Instant::from_ms(self.now()),
            feed_kept,
            reset,
            unreadable_tail: 0,
            run_lost: false,
            unreadable: 0,
        };
        self.logic = Controller::start(book, start);
        for (event, on) in [
            (Event::RemoteStop(true), self.world.remote_stop),
            (Event::Leak(true), self.world.leak),
            (Event::Wake, true),
        ] {
            if on {
                self.hand_in(event, Wish::default(), Memory::Sound, rules)?;
            }
        }
        Ok(())
    }

    /// Hands in an event as the device does: what was due by then comes before
    /// what an operator asks for.
    fn hand_in(
        &mut self,
        event: Event<'_, LINES>,
        wish: Wish,
        memory: Memory,
        rules: &Rules,
    ) -> Result<Done, Finding> {
        if event.is_request() {
            self.logic.try_ledger_again();
            self.follow(Event::Wake, Wish::default(), memory, rules)?;
        }
        self.follow(event, wish, memory, rules)
    }

    /// Hands in an event and does all that follows.
    fn follow(
        &mut self,
        event: Event<'_, LINES>,
        wish: Wish,
        memory: Memory,
        rules: &Rules,
    ) -> Result<Done, Finding> {
        let now = self.now();
        let instant = Instant::from_ms(now);
        self.ghost.awake(now, self.world.true_ms, wish);
        let mut done = Done::default();
        let bad = self.world.true_ms < self.world.ledger_bad_until;
        let asked = if let Event::Timetable(timetable) = event { Some(timetable) } else { None };
        let mut effects = self.logic.step(instant, event);
        for _ in 0..MOST_RECORDS {
            let mut answer = None;
            for effect in effects.iter() {
                match effect {
                    Effect::PumpOn(length) => self.ghost.pump_on(length.as_ms(), rules)?,
                    Effect::PumpOff => self.ghost.pump_off(self.world.true_ms, now, rules)?,
                    Effect::Append => {
                        let Some(record) = self.logic.pending().and_then(Record::decode) else {
                            must(false, "M1", || "there is no record to append".to_owned())?;
                            continue;
                        };
                        if let Memory::Torn { whole } = memory {
                            if whole {
                                self.write(&record, rules)?;
                            }
                            return Ok(Done { cut: true, ..done });
                        }
                        if bad {
                            self.ghost.refused_record();
                            answer = Some(Event::AppendFailed);
                        } else {
                            self.ghost.took(&record, rules)?;
                            answer = Some(Event::Appended);
                        }
                    }
                    Effect::Adopt => {
                        let Some(timetable) = asked else { continue };
                        if bad {
                            self.ghost.refused_record();
                            answer = Some(Event::AppendFailed);
                        } else {
                            let entries: Vec<_> = timetable.entries().collect();
                            self.ghost.adopt(&entries);
                            answer = Some(Event::Adopted(timetable));
                        }
                    }
                    Effect::Refused(_) => done.refused = true,
                    Effect::Alarm(..) | Effect::TestPack | Effect::ReadPack | Effect::Light(_) => {}
                }
            }
            let Some(answer) = answer else {
                self.settled(rules)?;
                return Ok(done);
            };
            done.adopted |= matches!(answer, Event::Adopted(_));
            effects = self.logic.step(instant, answer);
        }
        must(false, "P1", || format!("a call at {now} ms brings records without end"))?;
        Ok(done)
    }

    /// The record is in the ledger, and the logic was never told so.
    fn write(&mut self, record: &Record, rules: &Rules) -> Judged {
        self.ghost.took(record, rules)?;
        let mut book = *self.logic.book();
        book.apply(record);
        let start = Start {
            now: Instant::from_ms(self.now()),
            feed_kept: true,
            reset: Reset::PowerOn,
            unreadable_tail: 0,
            run_lost: false,
            unreadable: 0,
        };
        // it is started again at once; what counts is that it has this book
        self.world.feed_lost &= !self.logic.has_started();
        self.logic = Controller::start(book, start);
        Ok(())
    }

    fn settled(&mut self, rules: &Rules) -> Judged {
        self.ghost.settled(rules, self.logic.pump_is_on())?;
        let (call, now) = (self.call_at(), self.world.true_ms);
        must(call > now, "P1", || format!("the logic asks to be called again at {now} ms"))?;
        match self.ghost.pin.until() {
            Some(until) => must(call <= until, "D7", || {
                format!("the pump's run ends at {until} ms, the logic sleeps until {call} ms")
            }),
            None => Ok(()),
        }
    }
}
