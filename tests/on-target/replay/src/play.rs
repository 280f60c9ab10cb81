//! From one start of the device to the next, or to the end of the list.

use dosewright_core::event::Event;
use dosewright_core::record::Reset;
use dosewright_core::shell::{Inbox, Levels, MainLoop, Signal};
use dosewright_core::time::Instant;
use embedded_storage::nor_flash::NorFlash;

use crate::list::{Reader, Restart, What};
use crate::stage::{Interrupt, Sink, Stage, Traced, line};
use crate::{ACCOUNT, GEOMETRY, LINES, SIGNALS};

/// What outlasts a restart of the processor, beside the memory: the list and the
/// world are not the device's own.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Kept {
    /// Bytes of the list still to be read.
    pub left: usize,
    /// The clock chip's count; `None` where it lost its feed.
    pub count: Option<Instant>,
    /// Why the device starts.
    pub reset: Reset,
    /// The contacts.
    pub levels: Levels,
}

impl Kept {
    /// The first start, with a whole list to come.
    pub const fn first(list: &Reader<'_>) -> Self {
        Self {
            left: list.left(),
            count: Some(Instant::ZERO),
            reset: Reset::PowerOn,
            levels: Levels {
                remote_stop: false,
                leak: false,
                level_low: false,
                motor_fault: false,
            },
        }
    }
}

/// How a stretch of a replay ended.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Ended {
    /// The list is through.
    Over,
    /// The processor is to start again.
    Restart(Kept),
    /// The device could not start, or the list could not be read.
    Failed,
}

/// Runs the device from a start to the next one. The memory comes back.
pub fn play<'a, F: NorFlash, I: Interrupt>(
    flash: F,
    mut list: Reader<'a>,
    kept: Kept,
    inbox: &'a Inbox<Signal, SIGNALS>,
    interrupt: I,
    sink: Sink<'a>,
) -> (F, Ended) {
    list.go_on(kept.left);
    let now = kept.count.unwrap_or(Instant::ZERO);
    line(sink, format_args!("{} start, {:?}", now.as_ms(), kept.reset));
    let board = Stage::new(sink, interrupt, list, now, kept.levels);
    let traced = Traced { flash, sink };
    let started = MainLoop::<_, _, LINES, ACCOUNT, SIGNALS>::start(
        traced, GEOMETRY, kept.count, kept.reset, board, inbox,
    );
    let mut main = match started {
        Ok(main) => main,
        Err((_, traced, _)) => {
            line(sink, format_args!("the device did not start"));
            return (traced.flash, Ended::Failed);
        }
    };
    if kept.count.is_none() {
        let now = main.device().now();
        main.board().set_now(now);
    }
    let ended = turn(&mut main, inbox);
    (main.into_parts().0.flash, ended)
}

fn turn<F: NorFlash, I: Interrupt>(
    main: &mut MainLoop<'_, Traced<'_, F>, Stage<'_, I>, LINES, ACCOUNT, SIGNALS>,
    inbox: &Inbox<Signal, SIGNALS>,
) -> Ended {
    loop {
        let now = main.board().now();
        let waits = main.device().next_wake();
        let is_busy = waits.is_some_and(|(at, _)| at <= now) || !inbox.is_empty();
        let due = main.board().due().filter(|_| !is_busy);
        match due.map(|event| event.what) {
            None | Some(What::Signal(_) | What::Late(_)) => {
                main.turn();
                let waits_now = main.device().next_wake();
                if let Some((at, why)) = waits_now.filter(|_| waits_now != waits) {
                    main.board().say(format_args!("next {} {why:?}", at.as_ms()));
                }
                if main.board().is_over() {
                    return Ended::Failed;
                }
                continue;
            }
            Some(What::End) => {
                main.board().say(format_args!("end"));
                return Ended::Over;
            }
            Some(What::Cut(restart)) => return cut(main, restart),
            Some(What::Head(head)) => main.hand_in(Event::SetHead(&head)),
            Some(What::Flow(flow)) => main.hand_in(Event::SetFlow(flow)),
            Some(What::Container(container, level)) => {
                main.hand_in(Event::Container(&container, level));
            }
            Some(What::Refill(level)) => main.hand_in(Event::Refill(level)),
            Some(What::Zone(zone)) => main.hand_in(Event::SetZone(&zone)),
            Some(What::Clock(local)) => main.hand_in(Event::SetClock(local)),
            Some(What::Timetable(timetable)) => main.hand_in(Event::Timetable(&timetable)),
            Some(What::RunAgain(id)) => main.hand_in(Event::RunAgain(id)),
            Some(What::StopDose(id)) => main.hand_in(Event::StopDose(id)),
            Some(What::Prime(volume)) => main.hand_in(Event::Prime(volume)),
            Some(What::Calibrate(run_ms)) => main.hand_in(Event::Calibrate { run_ms }),
            Some(What::CalibrateInto(vessel)) => main.hand_in(Event::CalibrateInto(&vessel)),
            Some(What::CalibrateTrain(vessel)) => main.hand_in(Event::CalibrateTrain(&vessel)),
            Some(What::Measured(measured)) => main.hand_in(Event::Measured(&measured)),
            Some(What::TubeChanged) => main.hand_in(Event::TubeChanged),
        }
        main.board().advance();
    }
}

/// The processor stops where it is: outputs fall back to off.
fn cut<F: NorFlash, I: Interrupt>(
    main: &mut MainLoop<'_, Traced<'_, F>, Stage<'_, I>, LINES, ACCOUNT, SIGNALS>,
    restart: Restart,
) -> Ended {
    use dosewright_core::device::Outputs;
    let board = main.board();
    board.pump_off();
    board.say(format_args!("{}", if restart.watchdog { "reset" } else { "cut" }));
    let reset = if restart.watchdog { Reset::Watchdog } else { Reset::PowerOn };
    Ended::Restart(Kept {
        left: board.left(),
        count: restart.count,
        reset,
        levels: board.contacts(),
    })
}
