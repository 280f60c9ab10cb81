//! What turns the pump off when the logic can do it no more (P4).
//!
//! Resistors see to the rest: one at the switch's gate holds the pump off while the pin is an
//! input, which it is from any reset until `main` has set it up.

use core::panic::PanicInfo;

use cortex_m_rt::{ExceptionFrame, exception};
use rp2040_hal::pac;

/// The pump's pin, as a bit of the chip's output register.
const PUMP: u32 = 1 << 2;

/// Turns the pump off, whoever has its pin.
pub fn pump_off() {
    // SAFETY: the register clears the bits written and nothing else
    unsafe { (*pac::SIO::ptr()).gpio_out_clr().write(|w| w.bits(PUMP)) };
}

/// Turns the pump off and does no more. Nobody feeds the watchdog: it starts the chip again.
pub fn halt() -> ! {
    cortex_m::interrupt::disable();
    loop {
        pump_off();
        cortex_m::asm::nop();
    }
}

#[panic_handler]
fn panic(_: &PanicInfo<'_>) -> ! {
    halt()
}

/// A fault of the processor: the one-shot's handler cannot interrupt it.
#[exception]
unsafe fn HardFault(_: &ExceptionFrame) -> ! {
    halt()
}

/// An interrupt that nobody asked for.
#[exception]
unsafe fn DefaultHandler(_: i16) -> ! {
    halt()
}
