//! The logic with its main loop over a memory in RAM, driven through months of random
//! doses, settings, edits, cuts and late calls: how deep the stack goes, by what is
//! left of a pattern painted below it, and how many instructions the longest call
//! takes, by the system timer. The emulator counts instructions (`-icount shift=0`),
//! of which the timer sees each eightieth.
//!
//! A panic does not link, as in the image of the logic alone: formatting one would be
//! the deepest thing there is.
#![no_std]
#![no_main]

mod memory;
mod random;
mod report;
mod world;

use core::mem::MaybeUninit;
use core::panic::PanicInfo;

use cortex_m::peripheral::SYST;
use cortex_m::peripheral::syst::SystClkSource;
use cortex_m_semihosting::debug::{self, EXIT_FAILURE, EXIT_SUCCESS};
use dosewright_core::controller::Controller;
use dosewright_core::timetable::Timetable;

unsafe extern "C" {
    /// It is nowhere.
    fn a_panic_is_reachable() -> !;
}

#[panic_handler]
fn panic(_: &PanicInfo) -> ! {
    // SAFETY: an image in which this is reachable does not link
    unsafe { a_panic_is_reachable() }
}

/// Entries that there is room for, and deliveries.
pub const N: usize = if cfg!(feature = "n8") {
    8
} else if cfg!(feature = "n16") {
    16
} else if cfg!(feature = "n64") {
    64
} else {
    32
};
pub const H: usize = 2 * N;

pub type State = Controller<N, H>;

static mut STATE: MaybeUninit<State> = MaybeUninit::uninit();
static mut WANTED: MaybeUninit<Timetable<N>> = MaybeUninit::uninit();

/// What is painted below the stack, and how much of it.
const PAINT: u32 = 0x5a17_5a17;
const PAINTED: usize = 6 * 1024;
/// Left unpainted: what the painting itself has on the stack.
const OWN: usize = 64;

#[cortex_m_rt::entry]
fn main() -> ! {
    let Some(mut peripherals) = cortex_m::Peripherals::take() else { stop(false) };
    let timer = &mut peripherals.SYST;
    timer.set_clock_source(SystClkSource::Core);
    timer.set_reload(0x00ff_ffff);
    timer.clear_current();
    timer.enable_counter();
    let top = paint();
    let done = measured();
    let deepest = top.saturating_sub(lowest(top));
    report::line("entries", N as u32);
    report::line("stack", deepest as u32);
    for (name, ticks) in done.worst {
        report::line(name, ticks.saturating_mul(80));
    }
    report::line("calls", done.calls);
    report::line("rolls", done.rolls);
    report::line("doses", done.doses);
    stop(done.sound)
}

/// What [`world::run`] does, as a function of its own: the bound is worked out from it.
#[unsafe(no_mangle)]
#[inline(never)]
fn measured() -> world::Done {
    // SAFETY: called once, by `main`, and nothing else has them
    let (state, wanted) =
        unsafe { (&mut *(&raw mut STATE), (*(&raw mut WANTED)).write(Timetable::EMPTY)) };
    world::run(state, wanted)
}

fn stop(well: bool) -> ! {
    loop {
        debug::exit(if well { EXIT_SUCCESS } else { EXIT_FAILURE });
    }
}

/// Paints the stack below where it is, and says where that is.
#[inline(never)]
fn paint() -> usize {
    let top = cortex_m::register::msp::read() as usize;
    let mut at = top - OWN - PAINTED;
    while at < top - OWN {
        // SAFETY: below the stack of a single thread there is nothing; memory.x
        // leaves more than that between the variables and the stack
        unsafe { (at as *mut u32).write_volatile(PAINT) };
        at += 4;
    }
    top
}

/// The lowest word that is not as it was painted.
fn lowest(top: usize) -> usize {
    let mut at = top - OWN - PAINTED;
    // SAFETY: as above
    while at < top - OWN && unsafe { (at as *const u32).read_volatile() } == PAINT {
        at += 4;
    }
    at
}

/// Instructions since the timer said `from`, in eighties.
pub fn since(from: u32) -> u32 {
    from.wrapping_sub(SYST::get_current()) & 0x00ff_ffff
}
