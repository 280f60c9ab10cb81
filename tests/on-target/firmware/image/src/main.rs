//! Replays a list of events on an emulated Cortex-M, and prints the trace.
//!
//! The list lies at [`LIST`], where the emulator's loader puts it. The ledger lies
//! in RAM that no restart clears, every signal comes by a real interrupt of the
//! system timer, and a cut of the scenario is a real system reset.
#![no_std]
#![no_main]

mod memory;
mod out;
mod tick;

use core::cell::RefCell;

use cortex_m_semihosting::debug::{self, EXIT_FAILURE, EXIT_SUCCESS};
use dosewright_replay::list::Reader;
use dosewright_replay::play::{Ended, Kept, play};
use dosewright_replay::stage::memory_line;
use panic_semihosting as _;

/// Where the list of events lies, in the emulated flash, and how long it can be.
const LIST: (*const u8, usize) = (0x3_0000 as *const u8, 0x1_0000);

#[cortex_m_rt::entry]
fn main() -> ! {
    // SAFETY: the emulator's loader fills this part of the flash, which the
    // image itself ends below (memory.x), before the processor starts
    let bytes = unsafe { core::slice::from_raw_parts(LIST.0, LIST.1) };
    let Some(list) = Reader::new(bytes) else { fail("no list of events was loaded") };
    let Some(peripherals) = cortex_m::Peripherals::take() else { fail("taken twice") };
    tick::start(peripherals.SYST);
    let is_first = !memory::is_kept();
    let kept = if is_first { Kept::first(&list) } else { memory::kept() };
    let Some(flash) = memory::RamFlash::take(is_first) else { fail("taken twice") };
    let out = RefCell::new(out::Out::new());
    let (flash, ended) = play(flash, list, kept, &tick::INBOX, tick::Tick, &out);
    let mut out = out.into_inner();
    match ended {
        Ended::Over => {
            let _ = core::fmt::write(&mut out, format_args!("{}", memory_line(flash.bytes())));
            out.flush();
            memory::forget();
            debug::exit(EXIT_SUCCESS);
        }
        Ended::Restart(kept) => {
            out.flush();
            memory::keep(kept);
            cortex_m::peripheral::SCB::sys_reset();
        }
        Ended::Failed => {
            out.flush();
            fail("the replay failed");
        }
    }
    fail("the emulator did not stop");
}

fn fail(why: &str) -> ! {
    cortex_m_semihosting::heprintln!("image: {}", why);
    loop {
        debug::exit(EXIT_FAILURE);
    }
}
