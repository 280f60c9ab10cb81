//! The chip's timer: as the clock, as the alarm that ends a sleep, and as the one-shot
//! that turns the pump off.

use dosewright_core::shell::{Clock, OneShot as EndsRun};
use dosewright_core::time::{Duration, Instant};
use rp2040_hal::Timer;
use rp2040_hal::fugit::ExtU32;
use rp2040_hal::pac::{self, interrupt};
use rp2040_hal::timer::{Alarm, Alarm0, Alarm1};

use crate::off::pump_off;

/// The longest sleep: most of the watchdog's period is left for what comes after it.
const LONGEST_SLEEP_MS: u32 = crate::WATCHDOG_MS / 8;

/// The clock, and the alarm that ends a sleep.
pub struct WakeClock {
    timer: Timer,
    alarm: Alarm1,
    /// What the device's time is ahead of the timer.
    ahead: Duration,
}

impl WakeClock {
    pub fn new(timer: Timer, mut alarm: Alarm1) -> Self {
        alarm.enable_interrupt();
        Self { timer, alarm, ahead: Duration::ZERO }
    }

    fn counted(&self) -> Instant {
        Instant::from_ms((self.timer.get_counter().ticks() / 1000) as i64)
    }

    /// Sets the clock to the device's time.
    pub fn set(&mut self, now: Instant) {
        self.ahead = now.since(self.counted());
    }
}

impl Clock for WakeClock {
    fn now(&mut self) -> Instant {
        self.counted().plus(self.ahead)
    }

    fn sleep(&mut self, until: Option<Instant>) {
        let now = self.now();
        let left = until.map_or(u64::MAX, |until| until.since(now).as_ms());
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
