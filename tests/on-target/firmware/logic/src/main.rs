//! The logic alone, as a firmware has it: for the proof that no panic is left in it,
//! for its size and for its stack.
//!
//! The board is made up. Everything it reads comes from a register of no chip, so
//! that the compiler can suppose nothing about it, and every event is handed in with
//! any content at all. The panic handler calls a function that does not exist: were
//! a panic reachable, the image would not link.
#![no_std]
#![no_main]

mod board;
mod events;
#[cfg(feature = "line")]
mod line;
#[cfg(any(feature = "log", feature = "defmt"))]
mod logger;
#[cfg(feature = "panel")]
mod panel;
#[cfg(feature = "hal")]
mod pins;
mod plants;

use core::mem::MaybeUninit;
use core::panic::PanicInfo;

// for its implementation of the critical section
use cortex_m as _;
use cortex_m_rt::entry;
use dosewright_core::controller::Controller;
use dosewright_core::ledger::Geometry;
use dosewright_core::record::Reset;
use dosewright_core::shell::{Inbox, MainLoop, Signal};
use dosewright_core::time::Instant;

use board::{Flash, Made, get};

/// Entries, deliveries and signals that it has room for.
pub const N: usize = 32;
pub const H: usize = 64;
pub const Q: usize = 8;

#[cfg(not(any(feature = "log", feature = "defmt")))]
unsafe extern "C" {
    /// It is nowhere.
    fn a_panic_is_reachable() -> !;
}

/// What makes the text of a log line has panics of its own; the proof is made without.
#[cfg(any(feature = "log", feature = "defmt"))]
#[panic_handler]
fn panic(_: &PanicInfo) -> ! {
    loop {
        board::put(0);
    }
}

#[cfg(not(any(feature = "log", feature = "defmt")))]
#[panic_handler]
fn panic(_: &PanicInfo) -> ! {
    // SAFETY: an image in which this is reachable does not link
    unsafe { a_panic_is_reachable() }
}

pub type State = Controller<N, H>;
pub type Main = MainLoop<'static, Flash, Made, N, H, Q, &'static mut State>;

static INBOX: Inbox<Signal, Q> = Inbox::new();
/// The whole state, where the size table finds it.
static mut STATE: MaybeUninit<State> = MaybeUninit::uninit();

#[entry]
fn main() -> ! {
    #[cfg(feature = "log")]
    logger::install();
    let geometry = Geometry { start: 0, sector_bytes: 16 * 1024, sectors: get() as u16 };
    let count = (get() != 0).then(|| Instant::from_ms(board::get64() as i64));
    let reset = if get() == 0 { Reset::PowerOn } else { Reset::Watchdog };
    // SAFETY: `main` runs once, and nothing else has it
    let state = State::blank_in(unsafe { &mut *(&raw mut STATE) });
    let started = Main::start_in(state, Flash, geometry, count, reset, board::made(), &INBOX);
    let Ok(mut main) = started else {
        loop {
            board::put(0);
        }
    };
    loop {
        main.turn();
        events::hand_in(&mut main);
        #[cfg(feature = "line")]
        line::take(&mut main);
        #[cfg(feature = "panel")]
        panel::take(&mut main);
        plants::act();
    }
}

#[cortex_m_rt::exception]
fn SysTick() {
    if let Some(signal) = events::signal() {
        INBOX.post(signal);
    }
}
