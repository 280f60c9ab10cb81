//! The interrupt handlers of the contacts and of the key: they post into the inbox.
//!
//! The chip has one interrupt for all pins. The key bounces, so that another handler, which
//! the first may interrupt, looks at it when it has settled: both post. What finds no room is counted as lost, and the loop reads
//! the contacts again.

use cortex_m::peripheral::NVIC;
use dosewright_core::shell::Signal;
use rp2040_hal::gpio::{DynPinId, FunctionSioInput, Interrupt, Pin, PullUp};
use rp2040_hal::pac::{self, interrupt};

use crate::off::pump_off;
use crate::{INBOX, clock};

/// A contact to ground.
pub type Input = Pin<DynPinId, FunctionSioInput, PullUp>;

/// The pins, each to ground when on.
const REMOTE_STOP: u32 = 3;
const LEAK: u32 = 4;
const LEVEL_LOW: u32 = 5;
const ACKNOWLEDGE: u32 = 6;
/// How long the key has to settle.
const SETTLES_US: u32 = 20_000;

/// A pin with its edges, which are kept until their handler is let through.
pub fn with_edges(pin: Input) -> Input {
    pin.set_interrupt_enabled(Interrupt::EdgeLow, true);
    pin.set_interrupt_enabled(Interrupt::EdgeHigh, true);
    pin
}

/// Lets all handlers through. The one that ends a run interrupts every other, those of the
/// contacts interrupt the rest.
pub fn let_interrupts_through(nvic: &mut NVIC) {
    use pac::Interrupt::{IO_IRQ_BANK0, TIMER_IRQ_0, TIMER_IRQ_1, TIMER_IRQ_2};
    // SAFETY: no critical section hangs on priorities or on what is let through
    unsafe {
        // the alarm of the key, 2
        let inte = (*pac::TIMER::ptr()).inte().as_ptr();
        inte.write_volatile(inte.read_volatile() | 1 << 2);
        for (interrupt, priority) in
            [(TIMER_IRQ_0, 0x00), (IO_IRQ_BANK0, 0x40), (TIMER_IRQ_1, 0xc0), (TIMER_IRQ_2, 0xc0)]
        {
            nvic.set_priority(interrupt, priority);
            NVIC::unmask(interrupt);
        }
    }
}

/// A pin has changed.
#[interrupt]
fn IO_IRQ_BANK0() {
    // SAFETY: of each register the bits written are acted on and no others; the rest is read
    let (changed, pins) = unsafe {
        let bank = &*pac::IO_BANK0::ptr();
        let changed = bank.proc0_ints(0).read().bits();
        // first the edge is taken, then the pin is read: an edge after that comes here again
        bank.intr(0).write(|w| w.bits(changed));
        (changed, (*pac::SIO::ptr()).gpio_in().read().bits())
    };
    let on_of = |pin: u32| (changed >> (4 * pin) & 0xf != 0).then_some(pins >> pin & 1 == 0);
    if let Some(on) = on_of(REMOTE_STOP) {
        stop_at_once(on);
        INBOX.post(Signal::RemoteStop(on));
    }
    if let Some(on) = on_of(LEAK) {
        stop_at_once(on);
        INBOX.post(Signal::Leak(on));
    }
    if let Some(on) = on_of(LEVEL_LOW) {
        INBOX.post(Signal::LevelLow(on));
    }
    if on_of(ACKNOWLEDGE).is_some() {
        // SAFETY: this alarm is nobody else's
        unsafe {
            let timer = &*pac::TIMER::ptr();
            let settled = timer.timerawl().read().bits().wrapping_add(SETTLES_US);
            timer.alarm2().write(|w| w.bits(settled));
        }
    }
}

/// The key has settled: what counts is that it is down.
#[interrupt]
fn TIMER_IRQ_2() {
    clock::over(2);
    // SAFETY: the register is read, and reading it changes nothing
    let pins = unsafe { (*pac::SIO::ptr()).gpio_in().read().bits() };
    if pins >> ACKNOWLEDGE & 1 == 0 {
        INBOX.post(Signal::Acknowledge);
    }
}

/// The loop may be at work with the memory: it stops the pump when it takes the signal out.
fn stop_at_once(on: bool) {
    if on {
        pump_off();
    }
}
