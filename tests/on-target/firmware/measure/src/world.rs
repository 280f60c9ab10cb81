//! Months of what can happen to a device.

use core::mem::MaybeUninit;

use cortex_m::peripheral::SYST;
use dosewright_core::civil::{Date, Days, Local};
use dosewright_core::config::Head;
use dosewright_core::device::Outputs;
use dosewright_core::entry::{Entry, EntryId, GapRule, Recurrence};
use dosewright_core::event::Event;
use dosewright_core::record::{Alarm, Reset};
use dosewright_core::shell::{Board, Inbox, Levels, MainLoop, Signal};
use dosewright_core::time::{Duration, Instant};
use dosewright_core::timetable::{Refusal, Timetable};
use dosewright_core::units::{Flow, Volume};
use dosewright_core::zone::Zone;

use crate::memory::{GEOMETRY, RamFlash};
use crate::random::Random;
use crate::{H, N, State, since};

const Q: usize = 4;
type Main<'a> = MainLoop<'a, RamFlash, Bench, N, H, Q, &'a mut State>;
static INBOX: Inbox<Signal, Q> = Inbox::new();

const DAY_MS: i64 = 86_400_000;
/// Calls until it is over.
const CALLS: u32 = 6_000;

/// What was found. The longest of each kind of call, in eighties of instructions.
#[repr(C)]
pub struct Done {
    pub worst: [(&'static str, u32); 6],
    pub calls: u32,
    pub rolls: u32,
    pub doses: u32,
    /// The device started each time.
    pub sound: bool,
}

const WAKE: usize = 0;
const ROLL: usize = 1;
const SETTING: usize = 2;
const ADOPTION: usize = 3;
const LATE: usize = 4;
const START: usize = 5;

impl Done {
    fn took(&mut self, kind: usize, ticks: u32) {
        if let Some((_, worst)) = self.worst.get_mut(kind) {
            *worst = (*worst).max(ticks);
        }
    }
}

/// A board whose clock jumps to the next call.
struct Bench {
    now: Instant,
    levels: Levels,
    doses: u32,
}

impl Outputs for Bench {
    fn pump_on(&mut self, _: Duration) {
        self.doses += 1;
    }
    fn pump_off(&mut self) {}
    fn refused(&mut self, _: &Refusal) {}
    fn alarm(&mut self, _: Alarm, _: bool) {}
}

impl Board for Bench {
    fn clock(&mut self) -> Instant {
        self.now
    }
    fn sleep(&mut self, until: Option<Instant>) {
        if let Some(at) = until {
            self.now = self.now.max(at);
        }
    }
    fn levels(&mut self) -> Levels {
        self.levels
    }
    fn drive_failed(&mut self) -> bool {
        false
    }
    fn lost(&mut self, _: u32) {}
}

pub fn run(place: &mut MaybeUninit<State>, wanted: &mut Timetable<N>) -> Done {
    let mut random = Random(0x2545_f491_4f6c_dd1d);
    let names = ["wake", "wake-with-roll", "setting", "timetable", "late-wake", "start"];
    let worst = names.map(|name| (name, 0));
    let mut done = Done { worst, calls: 0, rolls: 0, doses: 0, sound: true };
    let mut flash = RamFlash::erased();
    let (mut now, mut feed) = (Instant::ZERO, true);
    let mut levels = Levels::default();
    let mut first = true;
    while done.calls < CALLS {
        let state = State::blank_in(place);
        let board = Bench { now, levels, doses: 0 };
        let from = SYST::get_current();
        let reset = if random.one_in(2) { Reset::PowerOn } else { Reset::Watchdog };
        let started =
            Main::start_in(state, flash, GEOMETRY, feed.then_some(now), reset, board, &INBOX);
        done.took(START, since(from));
        let Ok(mut main) = started else {
            done.sound = false;
            return done;
        };
        if !feed {
            let now = main.device().now();
            main.board().now = now;
        }
        if first {
            set_up(&mut main, wanted, &mut random, &mut done);
            first = false;
        }
        until_cut(&mut main, wanted, &mut random, &mut done);
        let (memory, board) = main.into_parts();
        (flash, now, levels) = (memory, board.now, board.levels);
        done.doses += board.doses;
        feed = !random.one_in(4);
        if feed {
            // out for up to ten days, or back at once
            let out = if random.one_in(3) { 864_000_000 } else { 60_000 };
            now = now.plus(Duration::from_ms(u64::from(random.below(out))));
        }
    }
    done
}

/// Hands in an event and takes down how long that took.
fn hand_in(main: &mut Main<'_>, event: Event<'_, N>, kind: usize, done: &mut Done) {
    let from = SYST::get_current();
    main.hand_in(event);
    done.took(kind, since(from));
}

fn set_up(main: &mut Main<'_>, wanted: &mut Timetable<N>, random: &mut Random, done: &mut Done) {
    if let Some(flow) = Flow::from_nl_per_min(26_500_000) {
        hand_in(main, Event::SetHead(&Head::with_flow(flow)), SETTING, done);
    }
    if let Ok(zone) = Zone::parse("CET-1CEST,M3.5.0,M10.5.0/3") {
        hand_in(main, Event::SetZone(&zone), SETTING, done);
    }
    hand_in(main, Event::SetClock(at(20_600, 0)), SETTING, done);
    timetable(wanted, random, 0);
    hand_in(main, Event::Timetable(wanted), ADOPTION, done);
    // without it next to nothing would be counted
    done.sound &= main.device().controller().book().timetable.ids().count() == N;
}

/// Local time of a day counted from 1970, and a minute of it.
fn at(day: i32, minute: u32) -> Local {
    Local::new(Date::from_days(day), Duration::from_min(u64::from(minute)))
}

/// As many entries as there is room for, one after the other through the day. Those
/// with numbers below `old` stay what they were.
fn timetable(wanted: &mut Timetable<N>, random: &mut Random, old: u16) {
    *wanted = Timetable::EMPTY;
    let slot = 1440 / N as u32;
    for line in 0..N as u16 {
        let start = u32::from(line) * slot;
        let days = Days::from_bits((random.below(127) + 1) as u8);
        let entry = Entry {
            id: EntryId(line + 1),
            enabled: line < old || !random.one_in(8),
            recurrence: Recurrence::Weekly {
                days: if random.one_in(3) { days } else { Days::ALL },
                at_min: start as u16,
                by_night: random.one_in(2),
            },
            volume: Volume::from_ml(u64::from(4 + random.below(8))),
            window_ms: (slot - 2) * 60_000,
            grace_ms: random.below(2) * 3_600_000,
            first: None,
            last: None,
            observes_closed: random.one_in(2),
            gap_rule: GapRule::Shift,
            pulses: None,
        };
        let _ = wanted.put(entry);
    }
}

/// Calls until the supply goes, some of them late, with what an operator and the
/// contacts do between them.
fn until_cut(main: &mut Main<'_>, wanted: &mut Timetable<N>, random: &mut Random, done: &mut Done) {
    while done.calls < CALLS && !random.one_in(600) {
        done.calls += 1;
        let mut kind = WAKE;
        if random.one_in(150) {
            // slept through up to three weeks
            kind = LATE;
            let late = Duration::from_ms(u64::from(random.below(21 * 86_400_000)));
            let board = main.board();
            board.now = board.now.plus(late);
        }
        let rolls = main.device().ledger().counters().rolls;
        let from = SYST::get_current();
        main.turn();
        let ticks = since(from);
        if main.device().ledger().counters().rolls != rolls {
            done.rolls += 1;
            kind = if kind == WAKE { ROLL } else { kind };
        }
        done.took(kind, ticks);
        if random.one_in(60) {
            disturb(main, wanted, random, done);
        }
    }
}

fn disturb(main: &mut Main<'_>, wanted: &mut Timetable<N>, random: &mut Random, done: &mut Done) {
    let stop = random.one_in(2);
    match random.below(8) {
        // the clock is set by up to a day either way, or years ahead
        0 | 1 => {
            let now = main.board().now.as_ms().div_euclid(DAY_MS) as i32;
            let years = if random.one_in(4) { 3650 } else { 0 };
            let day = 20_600 + now + years + random.below(3) as i32 - 1;
            hand_in(main, Event::SetClock(at(day, random.below(1440))), SETTING, done);
        }
        2 => {
            timetable(wanted, random, N as u16 / 2);
            hand_in(main, Event::Timetable(wanted), ADOPTION, done);
        }
        3 => hand_in(
            main,
            Event::RunAgain(EntryId(random.below(N as u32) as u16 + 1)),
            SETTING,
            done,
        ),
        4 => hand_in(main, Event::Prime(Volume::from_ml(20)), SETTING, done),
        5 => hand_in(main, Event::Calibrate { run_ms: 60_000 }, SETTING, done),
        6 => {
            main.board().levels.remote_stop = stop;
            INBOX.post(Signal::RemoteStop(stop));
        }
        _ => {
            hand_in(main, Event::MotorFault, SETTING, done);
            hand_in(main, Event::Acknowledge, SETTING, done);
        }
    }
}
