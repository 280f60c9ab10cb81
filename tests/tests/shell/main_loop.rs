//! The main loop on a board of mock pins.

use std::cell::{Cell, RefCell};
use std::rc::Rc;

use dosewright_core::config::{Container, Head};
use dosewright_core::device::Outputs;
use dosewright_core::entry::{Entry, EntryId, GapRule, Recurrence};
use dosewright_core::event::Event;
use dosewright_core::ledger::Geometry;
use dosewright_core::record::{Alarm, Record, Reset};
use dosewright_core::shell::drives::Switched;
use dosewright_core::shell::{
    Board as _, Clock, Drive, Inbox, Inputs, Levels, MainLoop, OneShot, Parts, Report, Signal,
};
use dosewright_core::time::{Duration, Instant};
use dosewright_core::timetable::{Refusal, Timetable};
use dosewright_core::units::{Flow, Volume};
use dosewright_core::zone::Zone;
use dosewright_sim::world::flash::NorMock;
use embedded_hal_mock::eh1::MockError;
use embedded_hal_mock::eh1::digital::{Mock as Pin, State, Transaction as Level};

const N: usize = 4;
const H: usize = 8;
const Q: usize = 4;
const GEOMETRY: Geometry = Geometry { start: 0, sector_bytes: 4096, sectors: 2 };

/// What the board's parts share.
#[derive(Default)]
struct World {
    now_ms: Cell<i64>,
    levels: Cell<Levels>,
    /// The one-shot cannot be armed.
    unarmed: Cell<bool>,
    /// What was done, in its order.
    seen: RefCell<Vec<String>>,
}

#[derive(Clone)]
struct Part(Rc<World>);

impl Part {
    fn see(&self, what: String) {
        self.0.seen.borrow_mut().push(what);
    }
}

impl Clock for Part {
    fn now(&mut self) -> Instant {
        Instant::from_ms(self.0.now_ms.get())
    }
    fn sleep(&mut self, until: Option<Instant>) {
        let until = until.map_or(i64::MAX, Instant::as_ms);
        self.0.now_ms.set(self.0.now_ms.get().max(until));
    }
}

impl OneShot for Part {
    fn arm(&mut self, length: Duration) -> bool {
        self.see(format!("armed {}", length.as_ms()));
        !self.0.unarmed.get()
    }
    fn disarm(&mut self) {
        self.see("disarmed".to_owned());
    }
}

impl Inputs for Part {
    fn levels(&mut self) -> Levels {
        self.0.levels.get()
    }
}

impl Report for Part {
    fn alarm(&mut self, alarm: Alarm, on: bool) {
        self.see(format!("{} {on}", alarm.words()));
    }
    fn refused(&mut self, refusal: &Refusal) {
        self.see(format!("{refusal:?}"));
    }
    fn lost(&mut self, count: u32) {
        self.see(format!("lost {count}"));
    }
    fn runs_on(&mut self, runs_on: bool) {
        self.see((if runs_on { "runs on" } else { "has stopped" }).to_owned());
    }
}

type Board = Parts<Part, Switched<Pin>, Part, Part, Part>;
type Loop<'a> = MainLoop<'a, NorMock<4, 1024>, Board, N, H, Q>;

fn started<'a>(world: &Rc<World>, pin: &Pin, inbox: &'a Inbox<Signal, Q>) -> Loop<'a> {
    let part = Part(world.clone());
    let board = Parts {
        clock: part.clone(),
        drive: Switched { pin: pin.clone() },
        one_shot: part.clone(),
        inputs: part.clone(),
        report: part,
        drive_failed: false,
        off_owed: false,
    };
    let flash = NorMock::new(8);
    let Ok(main) =
        MainLoop::start(flash, GEOMETRY, Some(Instant::ZERO), Reset::PowerOn, board, inbox)
    else {
        panic!("the device does not start")
    };
    main
}

/// 60 ml/min, and 2 ml in two pulses of a second, every hour.
fn install(main: &mut Loop<'_>) {
    main.hand_in(Event::SetHead(&Head::with_flow(Flow::from_nl_per_min(60_000_000).unwrap())));
    main.hand_in(Event::Timetable(&two_pulses()));
}

fn two_pulses() -> Timetable<N> {
    let mut timetable = Timetable::EMPTY;
    let entry = Entry {
        id: EntryId(1),
        enabled: true,
        recurrence: Recurrence::Interval { every_ms: 3_600_000, from: Instant::from_ms(1000) },
        volume: Volume::from_ml(2),
        window_ms: 120_000,
        grace_ms: 0,
        first: None,
        last: None,
        observes_closed: false,
        gap_rule: GapRule::Shift,
        pulses: Some(2),
    };
    timetable.put(entry).unwrap();
    timetable
}

fn turn_until(main: &mut Loop<'_>, ms: i64) {
    while main.board().clock.0.now_ms.get() < ms {
        main.turn();
    }
}

#[test]
fn p4_the_pump_is_off_before_anything_else_and_each_pulse_has_its_one_shot() {
    let on_off = [Level::set(State::High), Level::set(State::Low)];
    let mut edges = vec![Level::set(State::Low)];
    edges.extend(on_off.clone());
    edges.extend(on_off);
    let (world, mut pin, inbox) = (Rc::new(World::default()), Pin::new(&edges), Inbox::new());
    let mut main = started(&world, &pin, &inbox);
    install(&mut main);
    turn_until(&mut main, 130_000);
    assert_eq!(
        *world.seen.borrow(),
        ["disarmed", "clock unset true", "armed 1000", "disarmed", "armed 1000", "disarmed"]
    );
    drop(main);
    pin.done();
}

#[test]
fn d4_a_run_that_nothing_would_end_is_not_begun() {
    // off at the start, off for the run that could not be armed, off for its fault
    let edges = [Level::set(State::Low), Level::set(State::Low), Level::set(State::Low)];
    let (world, mut pin, inbox) = (Rc::new(World::default()), Pin::new(&edges), Inbox::new());
    let mut main = started(&world, &pin, &inbox);
    install(&mut main);
    world.unarmed.set(true);
    turn_until(&mut main, 1001);
    assert!(!main.device().controller().pump_is_on());
    assert_eq!(main.device().controller().book().motor.faults, 1);
    drop(main);
    pin.done();
}

/// The least that each outcome in the ledger was delivered for, in nl.
fn delivered(main: &mut Loop<'_>) -> Vec<u64> {
    let mut least = Vec::new();
    main.ledger().each_record(|_, payload| {
        if let Some(Record::Outcome(outcome)) = Record::decode(payload) {
            least.push(outcome.least.as_nl());
        }
    });
    least
}

#[test]
fn d4_a_run_that_did_not_begin_is_known_before_the_sleep_and_is_not_counted() {
    let off = Level::set(State::Low);
    let fails = Level::set(State::High).with_error(MockError::Io(std::io::ErrorKind::BrokenPipe));
    let armless = vec![off.clone(), off.clone()];
    let failed = vec![fails, off.clone(), off.clone()];
    for (unarmed, tried) in [(true, armless), (false, failed)] {
        // off at the start; tried once more after a minute
        let edges = [vec![off.clone()], tried.clone(), tried].concat();
        let (world, mut pin, inbox) = (Rc::new(World::default()), Pin::new(&edges), Inbox::new());
        let mut main = started(&world, &pin, &inbox);
        install(&mut main);
        world.unarmed.set(unarmed);
        turn_until(&mut main, 1000);
        assert!(!main.device().controller().pump_is_on());
        main.turn();
        assert!(!main.device().controller().pump_is_on(), "asleep with a run that is none");
        assert_eq!(main.device().controller().book().motor.faults, 1);
        turn_until(&mut main, 130_000);
        assert_eq!(delivered(&mut main), [0], "unarmed: {unarmed}");
        drop(main);
        pin.done();
    }
}

#[test]
fn m2_a_zone_that_no_record_could_hold_is_refused() {
    let edges = [Level::set(State::Low)];
    let (world, mut pin, inbox) = (Rc::new(World::default()), Pin::new(&edges), Inbox::new());
    let mut main = started(&world, &pin, &inbox);
    world.seen.borrow_mut().clear();
    main.hand_in(Event::SetZone(&Zone { offset_s: 1_000_000, summer: None }));
    assert_eq!(*world.seen.borrow(), ["OutOfRange"]);
    assert_eq!(main.device().controller().book().zone, Zone::UTC);
    drop(main);
    pin.done();
}

#[test]
fn a_stop_that_came_by_interrupt_ends_the_pulse_when_it_is_taken_out() {
    let edges = [Level::set(State::Low), Level::set(State::High), Level::set(State::Low)];
    let (world, mut pin, inbox) = (Rc::new(World::default()), Pin::new(&edges), Inbox::new());
    let mut main = started(&world, &pin, &inbox);
    install(&mut main);
    turn_until(&mut main, 1001);
    // the pulse runs from 1000 on; the handler was at 1400
    world.now_ms.set(1400);
    inbox.post(Signal::RemoteStop(true));
    main.turn();
    assert!(!main.device().controller().pump_is_on());
    turn_until(&mut main, 130_000);
    drop(main);
    pin.done();
}

#[test]
fn d4_what_is_taken_out_late_has_let_the_pump_run_until_then() {
    // of the second that the pulse has, 600 ms are over when the loop gets to what was posted
    // at 400 ms: the pin is low from then on
    let edges = [Level::set(State::Low), Level::set(State::High), Level::set(State::Low)];
    for signal in [Signal::RemoteStop(true), Signal::Leak(true)] {
        let (world, mut pin, inbox) = (Rc::new(World::default()), Pin::new(&edges), Inbox::new());
        let mut main = started(&world, &pin, &inbox);
        install(&mut main);
        turn_until(&mut main, 1000);
        main.turn();
        assert!(main.device().controller().pump_is_on());
        world.now_ms.set(1600);
        inbox.post(signal);
        main.turn();
        assert!(!main.device().controller().pump_is_on());
        main.hand_in(Event::StopDose(EntryId(1)));
        assert_eq!(delivered(&mut main), [600_000], "{signal:?}");
        drop(main);
        pin.done();
    }
}

/// A drive that does not stop so many times, and says so.
struct Sticks {
    world: Rc<World>,
    times: u32,
}

impl Drive for Sticks {
    type Error = ();
    fn start(&mut self) -> Result<(), ()> {
        Part(self.world.clone()).see(format!("on at {}", self.world.now_ms.get()));
        Ok(())
    }
    fn stop(&mut self) -> Result<(), ()> {
        if self.times > 0 {
            self.times -= 1;
            return Err(());
        }
        Part(self.world.clone()).see(format!("off at {}", self.world.now_ms.get()));
        Ok(())
    }
}

#[test]
fn p4_a_drive_that_does_not_stop_is_asked_until_it_does() {
    // what was seen from a leak on, 400 ms into a pulse, and the motor's faults in a row
    let after_leak = |times: u32| {
        let (world, inbox) = (Rc::new(World::default()), Inbox::<Signal, Q>::new());
        let part = Part(world.clone());
        let board = Parts {
            clock: part.clone(),
            drive: Sticks { world: world.clone(), times: 0 },
            one_shot: part.clone(),
            inputs: part.clone(),
            report: part,
            drive_failed: false,
            off_owed: false,
        };
        let flash = NorMock::<4, 1024>::new(8);
        let start = Some(Instant::ZERO);
        let Ok(mut main) =
            MainLoop::<_, _, N, H, Q>::start(flash, GEOMETRY, start, Reset::PowerOn, board, &inbox)
        else {
            panic!("the device does not start")
        };
        main.hand_in(Event::SetHead(&Head::with_flow(Flow::from_nl_per_min(60_000_000).unwrap())));
        main.hand_in(Event::Timetable(&two_pulses()));
        while world.now_ms.get() < 1000 {
            main.turn();
        }
        main.turn();
        world.now_ms.set(1400);
        world.seen.borrow_mut().clear();
        main.board().drive.times = times;
        inbox.post(Signal::Leak(true));
        while world.now_ms.get() < 3_700_000 {
            main.turn();
        }
        let faults = main.device().controller().book().motor.faults;
        let mut seen = world.seen.take();
        seen.retain(|what| !what.contains("true"));
        (seen, faults)
    };
    let off_at = |ms: i64| vec![format!("off at {ms}"), "disarmed".to_owned()];
    // an error of a moment is none
    assert_eq!(after_leak(0), (off_at(1400), 0));
    assert_eq!(after_leak(7), (off_at(1400), 0));
    // one that lasts is a fault, and is asked again within the tenth of a second; before the
    // first sleep twice
    let told = ["runs on", "off at 1400", "has stopped", "disarmed"].map(str::to_owned);
    assert_eq!(after_leak(8), (told.to_vec(), 1));
    let (seen, faults) = after_leak(80);
    assert_eq!(faults, 1);
    let off: Vec<i64> =
        seen.iter().filter_map(|what| what.strip_prefix("off at ")?.parse().ok()).collect();
    assert_eq!(off.len(), 1, "{seen:?}");
    assert!((1500..=1900).contains(&off[0]), "{seen:?}");
    assert!(!seen.iter().any(|what| what.starts_with("on at")), "the leak stays: {seen:?}");
}

#[test]
fn p4_no_run_begins_before_the_drive_has_stopped() {
    let world = Rc::new(World::default());
    let part = Part(world.clone());
    let mut board = Parts {
        clock: part.clone(),
        drive: Sticks { world: world.clone(), times: 16 },
        one_shot: part.clone(),
        inputs: part.clone(),
        report: part,
        drive_failed: false,
        off_owed: false,
    };
    board.pump_off();
    assert!(board.off_owed && board.drive_failed());
    board.pump_on(Duration::from_ms(500));
    assert!(board.off_owed && board.drive_failed(), "it has still to stop");
    assert_eq!(*world.seen.borrow(), ["runs on"], "told once");
    board.pump_on(Duration::from_ms(500));
    assert!(!board.off_owed && board.drive_failed(), "it stops, and this run is none");
    board.pump_on(Duration::from_ms(500));
    assert!(!board.drive_failed());
    let told = ["runs on", "off at 0", "has stopped", "disarmed", "armed 500", "on at 0"];
    assert_eq!(*world.seen.borrow(), told);
}

#[test]
fn d4_one_wrong_reading_of_the_clock_is_not_taken() {
    /// A clock that is off by so much in one reading of three.
    struct Off {
        reading: u8,
        by_ms: i64,
    }
    impl Clock for Off {
        fn now(&mut self) -> Instant {
            self.reading = (self.reading + 1) % 3;
            Instant::from_ms(3_600_000 + if self.reading == 0 { self.by_ms } else { 0 })
        }
        fn sleep(&mut self, _: Option<Instant>) {}
    }
    let part = Part(Rc::new(World::default()));
    for (reading, by_ms) in [(0, -1), (1, -1), (2, -1), (0, 86_400_000), (1, 1), (2, -3_000_000)] {
        let mut board = Parts {
            clock: Off { reading, by_ms },
            drive: Sticks { world: part.0.clone(), times: 0 },
            one_shot: part.clone(),
            inputs: part.clone(),
            report: part.clone(),
            drive_failed: false,
            off_owed: false,
        };
        assert_eq!(board.clock(), Instant::from_ms(3_600_000), "{reading}, {by_ms}");
        assert_eq!(board.now(Instant::ZERO), Instant::from_ms(3_600_000));
    }
}

#[test]
fn a_signal_that_was_lost_is_read_off_the_contact() {
    let edges = [Level::set(State::Low), Level::set(State::High), Level::set(State::Low)];
    let (world, mut pin, inbox) = (Rc::new(World::default()), Pin::new(&edges), Inbox::new());
    let mut main = started(&world, &pin, &inbox);
    install(&mut main);
    turn_until(&mut main, 1001);
    world.now_ms.set(1400);
    for _ in 0..Q {
        inbox.post(Signal::Timer);
    }
    world.levels.set(Levels { remote_stop: true, ..Levels::default() });
    assert!(!inbox.post(Signal::RemoteStop(true)), "the inbox is full");
    main.turn();
    assert!(!main.device().controller().pump_is_on(), "the stop is seen all the same");
    assert_eq!(world.seen.borrow().last().unwrap(), "lost 1");
    drop(main);
    pin.done();
}

#[test]
fn a_drive_that_does_not_start_is_a_motor_fault_and_is_turned_off() {
    let edges = [
        Level::set(State::Low),
        Level::set(State::High).with_error(MockError::Io(std::io::ErrorKind::BrokenPipe)),
        Level::set(State::Low),
        Level::set(State::Low),
        // tried again after a minute: both pulses are still to come
        Level::set(State::High),
        Level::set(State::Low),
        Level::set(State::High),
        Level::set(State::Low),
    ];
    let (world, mut pin, inbox) = (Rc::new(World::default()), Pin::new(&edges), Inbox::new());
    let mut main = started(&world, &pin, &inbox);
    install(&mut main);
    turn_until(&mut main, 70_000);
    assert_eq!(main.device().controller().book().motor.faults, 1);
    turn_until(&mut main, 130_000);
    assert_eq!(delivered(&mut main), [2_000_000]);
    drop(main);
    pin.done();
}

#[test]
fn contacts_that_are_on_at_the_start_are_known_before_the_first_dose() {
    let (world, mut pin, inbox) =
        (Rc::new(World::default()), Pin::new(&[Level::set(State::Low)]), Inbox::new());
    world.levels.set(Levels { leak: true, ..Levels::default() });
    let mut main = started(&world, &pin, &inbox);
    install(&mut main);
    turn_until(&mut main, 130_000);
    assert!(world.seen.borrow().iter().any(|what| what == "leak true"));
    drop(main);
    pin.done();
}

#[test]
fn a_container_that_is_low_at_the_start_is_told_of_when_its_contact_has_settled() {
    for level_low in [true, false] {
        let (world, mut pin, inbox) =
            (Rc::new(World::default()), Pin::new(&[Level::set(State::Low)]), Inbox::new());
        world.levels.set(Levels { level_low, ..Levels::default() });
        let mut main = started(&world, &pin, &inbox);
        let ml = Volume::from_ml;
        let container = Container { capacity: ml(1000), low: ml(200), ..Container::NONE };
        main.hand_in(Event::Container(&container, ml(210)));
        turn_until(&mut main, 20_000);
        let told = world.seen.borrow().iter().any(|what| what == "low level true");
        assert_eq!(told, level_low);
        drop(main);
        pin.done();
    }
}

#[test]
fn after_the_ledger_was_written_it_is_as_late_as_the_clock_says() {
    let (world, mut pin) = (Rc::new(World::default()), Pin::new(&[]));
    let part = Part(world.clone());
    let mut board = Parts {
        clock: part.clone(),
        drive: Switched { pin: pin.clone() },
        one_shot: part.clone(),
        inputs: part.clone(),
        report: part,
        drive_failed: false,
        off_owed: false,
    };
    world.now_ms.set(1400);
    let at = Instant::from_ms;
    assert_eq!(board.now(at(1390)), at(1400));
    // and never earlier than it was before
    assert_eq!(board.now(at(1410)), at(1410));
    // a run that did not begin is not over before the loop knows of it
    board.drive_failed = true;
    assert_eq!(board.now(at(1390)), at(1390));
    pin.done();
}
