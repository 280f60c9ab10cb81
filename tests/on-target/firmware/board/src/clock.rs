//! The chip's timer: as the clock, as the alarm that ends a sleep, and as the one-shot
//! that turns the pump off.

use core::cell::Cell;

use critical_section::Mutex;
use dosewright_core::shell::{Clock, OneShot as EndsRun};
use dosewright_core::time::{Duration, Instant};
use rp2040_hal::fugit::ExtU32;
use rp2040_hal::pac::{self, interrupt};
use rp2040_hal::timer::{Alarm, Alarm0, Alarm1};

use crate::off::pump_off;

/// The longest sleep: most of the watchdog's period is left for what comes after it.
const LONGEST_SLEEP_MS: u32 = crate::WATCHDOG_MS / 8;

/// What the device's time is ahead of the timer. The handlers of the contacts need it as well.
static AHEAD: Mutex<Cell<Duration>> = Mutex::new(Cell::new(Duration::ZERO));

/// The device's time, for the loop and for handlers.
pub fn now() -> Instant {
    let ahead = critical_section::with(|cs| AHEAD.borrow(cs).get());
    counted().plus(ahead)
}

/// Sets the clock to the device's time.
pub fn set(now: Instant) {
    let ahead = now.since(counted());
    critical_section::with(|cs| AHEAD.borrow(cs).set(ahead));
}

/// What the timer counts. Its halves are read apart: where the upper one has changed between,
/// the lower one may be of either.
fn counted() -> Instant {
    // SAFETY: these registers are read, and reading them changes nothing
    let timer = unsafe { &*pac::TIMER::ptr() };
    let mut high = timer.timerawh().read().bits();
    loop {
        let low = timer.timerawl().read().bits();
        let again = timer.timerawh().read().bits();
        if again == high {
            let us = u64::from(high) << 32 | u64::from(low);
            return Instant::from_ms((us / 1000) as i64);
        }
        high = again;
    }
}

/// The clock, and the alarm that ends a sleep.
pub struct WakeClock {
    alarm: Alarm1,
}

impl WakeClock {
    pub fn new(mut alarm: Alarm1) -> Self {
        alarm.enable_interrupt();
        Self { alarm }
    }
}

impl Clock for WakeClock {
    fn now(&mut self) -> Instant {
        now()
    }

    fn sleep(&mut self, until: Option<Instant>) {
        let left = until.map_or(u64::MAX, |until| until.since(now()).as_ms());
        let ms = u32::try_from(left).unwrap_or(u32::MAX).min(LONGEST_SLEEP_MS);
        if ms > 0 && self.alarm.schedule((ms * 1000).micros()).is_ok() {
            cortex_m::asm::wfi();
        }
    }
}

/// The one-shot.
pub struct OneShot {
    alarm: Alarm0,
}

impl OneShot {
    pub fn new(mut alarm: Alarm0) -> Self {
        alarm.enable_interrupt();
        Self { alarm }
    }
}

impl EndsRun for OneShot {
    /// The alarm counts microseconds in 32 bits, which is 71 min. A longer run is not begun:
    /// one that was cut would count as whole.
    fn arm(&mut self, length: Duration) -> bool {
        let Ok(ms) = u32::try_from(length.as_ms()) else { return false };
        let Some(us) = ms.checked_mul(1000) else { return false };
        self.alarm.schedule(us.micros()).is_ok()
    }

    fn disarm(&mut self) {
        let _ = self.alarm.cancel();
    }
}

/// The one-shot is over: the pump goes off, and nobody is asked (D4).
#[interrupt]
fn TIMER_IRQ_0() {
    pump_off();
    over(0);
}

/// A sleep is over: the loop looks at the time by itself.
#[interrupt]
fn TIMER_IRQ_1() {
    over(1);
}

/// An alarm's interrupt is taken: that of its instant, and that which the HAL forces where
/// the instant was over when the alarm was set.
pub fn over(alarm: u32) {
    /// Where a register is seen that clears the bits written and no others.
    const CLEARS: usize = 0x3000;
    // SAFETY: both clear the bits written, each alarm has its own
    unsafe {
        let timer = &*pac::TIMER::ptr();
        let forced = timer.intf().as_ptr().wrapping_byte_add(CLEARS);
        forced.write_volatile(1 << alarm);
        timer.intr().write(|w| w.bits(1 << alarm));
    }
}
