//! The chip's own timer and watchdog: registers of the LM3S6965, which the emulated
//! board `lm3s6965evb` has. The clock is 12.5 MHz after reset.

use cortex_m::interrupt::InterruptNumber;

/// Counts of a timer or of the watchdog in a millisecond.
pub const COUNTS_A_MS: u32 = 12_500;

/// Interrupt of the general-purpose timer 0.
#[derive(Clone, Copy)]
pub struct Timer0;

// SAFETY: 19 is the number of the timer's interrupt on this chip
unsafe impl InterruptNumber for Timer0 {
    fn number(self) -> u16 {
        19
    }
}

fn write(address: usize, value: u32) {
    // SAFETY: called with addresses of this chip's registers alone
    unsafe { (address as *mut u32).write_volatile(value) }
}

const TIMER: usize = 0x4003_0000;
const WATCHDOG: usize = 0x4000_0000;

/// Lets timer 0 run, for one period or again and again.
pub fn start_timer(counts: u32, again: bool) {
    write(TIMER + 0x00c, 0); // off
    write(TIMER, 0); // 32 bits
    write(TIMER + 0x004, if again { 2 } else { 1 });
    write(TIMER + 0x028, counts);
    write(TIMER + 0x018, 1); // interrupts when it is over
    write(TIMER + 0x00c, 1);
}

/// Stops timer 0.
pub fn stop_timer() {
    write(TIMER + 0x00c, 0);
    clear_timer();
}

/// Takes timer 0's interrupt back.
pub fn clear_timer() {
    write(TIMER + 0x024, 1);
}

/// Lets the watchdog run: it resets the chip when it was not fed for twice so long.
pub fn start_watchdog(ms: u32) {
    write(WATCHDOG, ms * COUNTS_A_MS);
    write(WATCHDOG + 0x008, 3);
}

/// Feeds the watchdog.
pub fn feed_watchdog() {
    write(WATCHDOG + 0x00c, 1);
}
