//! The interrupt that brings signals: the system timer, armed for each of them.

use core::cell::Cell;

use cortex_m::peripheral::SYST;
use cortex_m::peripheral::syst::SystClkSource;
use cortex_m_rt::exception;
use critical_section::Mutex;
use dosewright_core::shell::{Inbox, Signal};
use dosewright_replay::SIGNALS;
use dosewright_replay::stage::Interrupt;

/// What the handler posts into, and the main loop takes out of.
pub static INBOX: Inbox<Signal, SIGNALS> = Inbox::new();
/// What the handler is to post when the timer next goes off.
static NEXT: Mutex<Cell<Option<Signal>>> = Mutex::new(Cell::new(None));

/// Counts of the timer from a sleep to the signal that ends it.
const COUNTS: u32 = 100;

/// Sets the timer up. It interrupts again and again; the handler has something to
/// say only where a signal waits.
pub fn start(mut timer: SYST) {
    timer.set_clock_source(SystClkSource::Core);
    timer.set_reload(COUNTS);
    timer.clear_current();
    timer.enable_counter();
    timer.enable_interrupt();
}

/// Brings a signal by the timer's interrupt.
pub struct Tick;

impl Interrupt for Tick {
    /// Called in the main loop's sleep, inside a critical section: the processor
    /// stops here until the timer's interrupt is pending, and the handler runs
    /// when the section is left.
    fn raise(&mut self, signal: Signal) {
        critical_section::with(|cs| NEXT.borrow(cs).set(Some(signal)));
        cortex_m::asm::wfi();
    }
}

#[exception]
fn SysTick() {
    let signal = critical_section::with(|cs| NEXT.borrow(cs).take());
    if let Some(signal) = signal {
        INBOX.post(signal);
    }
}
