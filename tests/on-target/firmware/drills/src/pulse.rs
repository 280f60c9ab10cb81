//! Hangs and resets in mid-pulse: the one-shot ends the pulse whatever the logic does,
//! and the outcome states least and most (D4).

use cortex_m::peripheral::NVIC;
use cortex_m::peripheral::syst::SystClkSource;
use cortex_m_rt::exception;
use cortex_m_semihosting::hprintln;
use dosewright_core::cause::Cause;
use dosewright_core::config::Head;
use dosewright_core::entry::{Entry, EntryId, GapRule, Recurrence};
use dosewright_core::event::Event;
use dosewright_core::ledger::{Geometry, Ledger};
use dosewright_core::record::{Alarm, Outcome, OutcomeKind, Record, Reset};
use dosewright_core::shell::{
    Clock, Drive, Inbox, Inputs, Levels, MainLoop, OneShot, Parts, Report, Signal,
};
use dosewright_core::time::{Duration, Instant};
use dosewright_core::timetable::Timetable;
use dosewright_core::units::{Flow, Volume};

use crate::chip::{self, COUNTS_A_MS, Timer0};
use crate::ram::{self, RamFlash, SECTOR, SECTORS, outside};

/// What goes wrong in a drill.
#[derive(Clone, Copy)]
pub struct Plan {
    /// In how many pulses the firmware hangs, from the first.
    pub hangs: u32,
    /// The watchdog's period; it resets after two of them.
    pub watchdog_ms: u32,
}

/// 1 ml/s, so that a millisecond of pumping is a microlitre.
const FLOW_NL_PER_MIN: u32 = 60_000_000;
/// Five pulses, a minute apart.
const PULSES: u16 = 5;
const PULSE_MS: u32 = 1000;
const WINDOW_MS: u32 = 300_000;
/// What the emulated timers may be off by.
const SLACK_MS: u32 = 3;

const GEOMETRY: Geometry =
    Geometry { start: 0, sector_bytes: SECTOR as u32, sectors: SECTORS as u16 };

static INBOX: Inbox<Signal, 4> = Inbox::new();

/// The board, all its parts but the pump in one.
#[derive(Clone, Copy)]
struct Board;

impl Clock for Board {
    fn now(&mut self) -> Instant {
        outside(|world| world.now())
    }
    fn sleep(&mut self, until: Option<Instant>) {
        // while the pump is off nothing happens until the next call: the clock chip
        // jumps there, and the drill takes seconds instead of minutes
        outside(|world| {
            let ahead = until.map_or(0, |at| at.since(world.now()).as_ms() as u32);
            if world.on_since == 0 && ahead > 2 {
                world.count_ms += ahead - 2;
            }
        });
        // a nap: the emulator loses ticks over a real sleep when it counts instructions
        cortex_m::asm::delay(500);
    }
}

struct Pump;

impl Drive for Pump {
    type Error = ();
    fn start(&mut self) -> Result<(), ()> {
        outside(|world| world.pin(true));
        Ok(())
    }
    fn stop(&mut self) -> Result<(), ()> {
        outside(|world| world.pin(false));
        Ok(())
    }
}

impl OneShot for Board {
    fn arm(&mut self, length: Duration) -> bool {
        chip::start_timer(length.as_ms() as u32 * COUNTS_A_MS, false);
        true
    }
    fn disarm(&mut self) {
        chip::stop_timer();
    }
}

impl Inputs for Board {
    fn levels(&mut self) -> Levels {
        Levels::default()
    }
}

impl Report for Board {
    fn alarm(&mut self, _alarm: Alarm, _on: bool) {}
}

/// The one-shot: it turns the pump off, and asks nobody.
#[exception]
unsafe fn DefaultHandler(interrupt: i16) {
    match interrupt {
        18 => {} // the watchdog's warning; the reset comes with its second period
        19 if crate::storm::is_on() => crate::storm::second_source(),
        19 => {
            chip::clear_timer();
            outside(|world| {
                if world.on_since > 0 {
                    world.ended_by_timer += 1;
                }
                world.pin(false);
            });
        }
        _ => panic!("interrupt {interrupt}"),
    }
}

/// The clock chip.
#[exception]
fn SysTick() {
    if crate::storm::is_on() {
        return crate::storm::first_source();
    }
    outside(|world| world.count_ms += 1);
}

/// One start of a drill: it ends by the watchdog, or with the dose's outcome.
pub fn drill(mut chip: cortex_m::Peripherals, plan: Plan) -> Result<(), &'static str> {
    let restart = ram::is_restart();
    chip.SYST.set_clock_source(SystClkSource::Core);
    chip.SYST.set_reload(COUNTS_A_MS - 1);
    chip.SYST.clear_current();
    chip.SYST.enable_counter();
    chip.SYST.enable_interrupt();
    // SAFETY: no critical section hangs on it
    unsafe { NVIC::unmask(Timer0) };

    let parts = Parts {
        clock: Board,
        drive: Pump,
        one_shot: Board,
        inputs: Board,
        report: Board,
        drive_failed: false,
        off_owed: false,
    };
    let now = outside(|world| world.now());
    let reset = if restart { Reset::Watchdog } else { Reset::PowerOn };
    let flash = RamFlash::take(!restart);
    let Ok(mut main) =
        MainLoop::<_, _, 2, 4, 4>::start(flash, GEOMETRY, Some(now), reset, parts, &INBOX)
    else {
        return Err("the device did not start");
    };
    if !restart {
        install(&mut |event| main.hand_in(event), now)?;
    }
    chip::start_watchdog(plan.watchdog_ms);
    let over = Instant::from_ms(i64::from(WINDOW_MS) + 10_000);
    while main.device().now() < over && outside(|world| world.now()) < over {
        chip::feed_watchdog();
        main.turn();
        let hang = outside(|world| {
            let hang = world.on_since > 0 && world.hangs < plan.hangs;
            world.hangs += u32::from(hang);
            hang
        });
        if hang {
            // the firmware hangs; interrupts go on, and nobody feeds the watchdog
            loop {
                cortex_m::asm::nop();
            }
        }
    }
    judge(main.into_parts().0, plan)
}

fn install(hand_in: &mut dyn FnMut(Event<'_, 2>), now: Instant) -> Result<(), &'static str> {
    let flow = Flow::from_nl_per_min(FLOW_NL_PER_MIN).ok_or("no flow")?;
    hand_in(Event::SetHead(&Head::with_flow(flow)));
    let mut timetable = Timetable::EMPTY;
    let entry = Entry {
        id: EntryId(1),
        enabled: true,
        recurrence: Recurrence::Interval {
            every_ms: 86_400_000,
            from: now.plus(Duration::from_ms(100)),
        },
        volume: Volume::from_ul(u64::from(PULSES) * u64::from(PULSE_MS)),
        window_ms: WINDOW_MS,
        grace_ms: 0,
        first: None,
        last: None,
        observes_closed: false,
        gap_rule: GapRule::Shift,
        pulses: Some(PULSES),
    };
    timetable.put(entry).map_err(|_| "no room for the entry")?;
    hand_in(Event::Timetable(&timetable));
    Ok(())
}

/// The outcome against what the meter saw.
fn judge(flash: RamFlash, plan: Plan) -> Result<(), &'static str> {
    let mut ledger = Ledger::open(flash, GEOMETRY).map_err(|_| "the ledger does not open")?;
    let mut found: Option<Outcome> = None;
    let mut count = 0;
    let mut scan = ledger.scan();
    while let Some(slot) = ledger.next(&mut scan) {
        if let Some(Record::Outcome(outcome)) =
            slot.content.and_then(|content| Record::decode(&content.payload))
        {
            found = Some(outcome);
            count += 1;
        }
    }
    let outcome = found.ok_or("the dose has no outcome")?;
    let world = outside(|world| *world);
    let ran: u32 = world.ran_ms.iter().sum();
    let longest = world.ran_ms.iter().copied().max().unwrap_or(0);
    let (least, most) = (outcome.least.as_ul(), outcome.most.as_ul());
    hprintln!(
        "{:?}, least {} ul, most {} ul, {} restarts; the meter: {} ms in {} pulses, longest {} ms, \
         {} hangs, {} pulses ended by the one-shot, {} starts of the chip",
        outcome.kind,
        least,
        most,
        outcome.restarts,
        ran,
        world.pulses,
        longest,
        world.hangs,
        world.ended_by_timer,
        world.starts,
    );
    if count != 1 {
        return Err("the due has not exactly one outcome");
    }
    if longest > PULSE_MS + SLACK_MS {
        return Err("a pulse ran longer than it was meant to");
    }
    let slack = SLACK_MS * world.pulses;
    if u64::from(ran + slack) < least || u64::from(ran) > most + u64::from(slack) {
        return Err("what ran does not lie between least and most");
    }
    if most > u64::from(PULSES) * u64::from(PULSE_MS) {
        return Err("more than the dose");
    }
    if plan.hangs == 1 {
        // the pulse ran in full, and the outcome cannot know: least is one pulse short
        let lacks = u64::from(PULSE_MS);
        let whole = world.ended_by_timer >= 1 && world.hangs == 1 && world.starts == 2;
        if !whole || most != least + lacks || outcome.kind != OutcomeKind::Dosed {
            return Err("a hang in one pulse leaves the dose whole, and one pulse in doubt");
        }
    } else {
        let ended = outcome.kind == OutcomeKind::Part(Cause::Restarts) && outcome.restarts == 3;
        let cut_short = world.ran_ms.iter().take(3).all(|&ms| ms > 0 && ms < PULSE_MS);
        if !ended || world.starts != 4 || !cut_short || least != 0 {
            return Err("the third restart ends the dose, and each pulse was cut by its reset");
        }
    }
    Ok(())
}
