//! Drills on an emulated Cortex-M, on its real timers and its real watchdog.
//!
//! The byte at [`DRILL`], put there by the emulator's loader, says which:
//!
//! - `h`: the firmware hangs in the first pulse of a dose, once. The one-shot ends the
//!   pulse, the watchdog resets the chip, the dose goes on.
//! - `l`: a reset loop: it hangs in every pulse, and the watchdog fires while the pump
//!   is still on. The third restart ends the dose.
//! - `s`: two interrupt sources of different priority post as fast as they can.
#![no_std]
#![no_main]

mod chip;
mod pulse;
mod ram;
mod storm;

use cortex_m_semihosting::debug::{self, EXIT_FAILURE, EXIT_SUCCESS};
use cortex_m_semihosting::hprintln;
use panic_semihosting as _;

/// Where the loader puts the letter of the drill.
const DRILL: *const u8 = 0x3_0000 as *const u8;

#[cortex_m_rt::entry]
fn main() -> ! {
    // SAFETY: it lies in the emulated flash
    let drill = unsafe { DRILL.read_volatile() };
    let Some(peripherals) = cortex_m::Peripherals::take() else { end(Err("taken twice")) };
    end(match drill {
        b'h' => pulse::drill(peripherals, pulse::Plan { hangs: 1, watchdog_ms: 1500 }),
        b'l' => pulse::drill(peripherals, pulse::Plan { hangs: u32::MAX, watchdog_ms: 150 }),
        b's' => storm::drill(peripherals),
        _ => Err("no drill was loaded"),
    })
}

fn end(result: Result<(), &str>) -> ! {
    let status = match result {
        Ok(()) => EXIT_SUCCESS,
        Err(why) => {
            hprintln!("drill failed: {}", why);
            EXIT_FAILURE
        }
    };
    loop {
        debug::exit(status);
    }
}
