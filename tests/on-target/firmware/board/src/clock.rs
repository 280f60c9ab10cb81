//! The chip's timer: as the clock, as the alarm that ends a sleep, and as the one-shot
//! that turns the pump off.

use dosewright_core::shell::{Clock, OneShot as EndsRun};
use dosewright_core::time::{Duration, Instant};
use rp2040_hal::Timer;
use rp2040_hal::fugit::ExtU32;
use rp2040_hal::pac::{self, interrupt};
use rp2040_hal::timer::{Alarm, Alarm0, Alarm1};

/// The pump's pin, as a bit of the chip's output register.
const PUMP: u32 = 1 << 2;
/// The longest sleep: the alarm counts microseconds in 32 bits.
const LONGEST_SLEEP_MS: u32 = 1_800_000;

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
    fn arm(&mut self, length: Duration) -> bool {
        let ms = u32::try_from(length.as_ms()).unwrap_or(u32::MAX).min(LONGEST_SLEEP_MS);
        self.alarm.schedule((ms * 1000).micros()).is_ok()
    }

    fn disarm(&mut self) {
        let _ = self.alarm.cancel();
    }
}

/// The one-shot is over: the pump goes off, and nobody is asked (D4).
#[interrupt]
fn TIMER_IRQ_0() {
    // SAFETY: these registers clear the bits written and nothing else
    unsafe {
        (*pac::SIO::ptr()).gpio_out_clr().write(|w| w.bits(PUMP));
        (*pac::TIMER::ptr()).intr().write(|w| w.bits(1));
    }
}

/// A sleep is over: the loop looks at the time by itself.
#[interrupt]
fn TIMER_IRQ_1() {
    // SAFETY: as above
    unsafe { (*pac::TIMER::ptr()).intr().write(|w| w.bits(2)) };
}

/// Lets both through.
pub fn let_interrupts_through() {
    // SAFETY: no critical section hangs on them
    unsafe {
        cortex_m::peripheral::NVIC::unmask(pac::Interrupt::TIMER_IRQ_0);
        cortex_m::peripheral::NVIC::unmask(pac::Interrupt::TIMER_IRQ_1);
    }
}
