//! The logic alone on a RISC-V microcontroller, as `logic` has it on a Cortex-M: built
//! to show that nothing in it hangs on one processor. A panic would not link here either.
#![no_std]
#![no_main]

#[path = "../../logic/src/board.rs"]
mod board;
#[path = "../../logic/src/events.rs"]
mod events;

use core::panic::PanicInfo;

use dosewright_core::ledger::Geometry;
use dosewright_core::record::Reset;
use dosewright_core::shell::{Inbox, MainLoop, Signal};
use dosewright_core::time::Instant;
// for its implementation of the critical section
use riscv as _;

use board::{Flash, Made, get};

pub const N: usize = 32;
pub const H: usize = 64;
const Q: usize = 8;

unsafe extern "C" {
    /// It is nowhere.
    fn a_panic_is_reachable() -> !;
}

#[panic_handler]
fn panic(_: &PanicInfo) -> ! {
    // SAFETY: an image in which this is reachable does not link
    unsafe { a_panic_is_reachable() }
}

pub type Main = MainLoop<'static, Flash, Made, N, H, Q>;

static INBOX: Inbox<Signal, Q> = Inbox::new();

#[riscv_rt::entry]
fn main() -> ! {
    let geometry = Geometry { start: 0, sector_bytes: 16 * 1024, sectors: get() as u16 };
    let count = Some(Instant::from_ms(board::get64() as i64));
    let Ok(mut main) =
        MainLoop::start(Flash, geometry, count, Reset::PowerOn, board::made(), &INBOX)
    else {
        loop {
            board::put(0);
        }
    };
    loop {
        if let Some(signal) = events::signal() {
            INBOX.post(signal);
        }
        main.turn();
        events::hand_in(&mut main);
    }
}
