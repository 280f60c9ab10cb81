//! A storm: two interrupt sources, one of which interrupts the other, post into one
//! inbox faster than the main loop takes out. Nothing is lost unreported, nothing comes
//! twice, and each source's order is kept.

use core::sync::atomic::{AtomicBool, AtomicU32, Ordering};

use cortex_m::peripheral::NVIC;
use cortex_m::peripheral::scb::SystemHandler;
use cortex_m::peripheral::syst::SystClkSource;
use cortex_m_semihosting::hprintln;
use dosewright_core::shell::{Inbox, Taken};

use crate::chip::{self, Timer0};

/// Items a source posts.
const EACH: u32 = 20_000;
/// Periods of the two sources, in counts; they drift against each other.
const PERIODS: [u32; 2] = [797, 611];

static ON: AtomicBool = AtomicBool::new(false);
static INBOX: Inbox<(u8, u32), 8> = Inbox::new();
static POSTED: [AtomicU32; 2] = [AtomicU32::new(0), AtomicU32::new(0)];
/// Items for which the inbox said that they found no room.
static REFUSED: [AtomicU32; 2] = [AtomicU32::new(0), AtomicU32::new(0)];

pub fn is_on() -> bool {
    ON.load(Ordering::Relaxed)
}

/// Only the source's own handler comes here for that source, and it does not interrupt
/// itself: a load and a store will do.
fn post(source: usize) {
    let (Some(posted), Some(refused)) = (POSTED.get(source), REFUSED.get(source)) else { return };
    let number = posted.load(Ordering::Relaxed);
    if number >= EACH {
        return;
    }
    if !INBOX.post((source as u8, number)) {
        refused.store(refused.load(Ordering::Relaxed) + 1, Ordering::Relaxed);
    }
    posted.store(number + 1, Ordering::Relaxed);
}

pub fn first_source() {
    post(0);
}

pub fn second_source() {
    chip::clear_timer();
    post(1);
}

pub fn drill(mut chip: cortex_m::Peripherals) -> Result<(), &'static str> {
    ON.store(true, Ordering::Relaxed);
    // SAFETY: no critical section hangs on priorities
    unsafe {
        chip.SCB.set_priority(SystemHandler::SysTick, 0xc0);
        chip.NVIC.set_priority(Timer0, 0x40);
        NVIC::unmask(Timer0);
    }
    chip.SYST.set_clock_source(SystClkSource::Core);
    chip.SYST.set_reload(PERIODS[0]);
    chip.SYST.clear_current();
    chip.SYST.enable_counter();
    chip.SYST.enable_interrupt();
    chip::start_timer(PERIODS[1], true);

    let (mut taken, mut lost, mut told) = ([0_u32; 2], 0_u32, 0_u32);
    let mut next = [0_u32; 2];
    let mut skipped = 0_u32;
    let mut turns = 0_u32;
    loop {
        let done = POSTED.iter().all(|posted| posted.load(Ordering::Relaxed) >= EACH);
        match INBOX.take() {
            Some(Taken::Item((source, number))) => {
                let source = usize::from(source);
                let (Some(next), Some(taken)) = (next.get_mut(source), taken.get_mut(source))
                else {
                    return Err("an item of no source");
                };
                if number < *next {
                    return Err("an item came twice, or out of its order");
                }
                skipped += number - *next;
                *next = number + 1;
                *taken += 1;
            }
            Some(Taken::Lost(count)) => {
                lost += count;
                told += 1;
            }
            None if done => break,
            None => {}
        }
        // now quick, now slow
        turns = turns.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        cortex_m::asm::delay(turns >> 22);
    }
    skipped += next.iter().map(|next| EACH - next).sum::<u32>();
    let refused: u32 = REFUSED.iter().map(|refused| refused.load(Ordering::Relaxed)).sum();
    hprintln!(
        "{} and {} taken of {} each, {} lost, told of {} times",
        taken[0],
        taken[1],
        EACH,
        lost,
        told
    );
    if taken[0] + taken[1] + lost != 2 * EACH || skipped != lost || refused != lost {
        return Err("items were lost unreported, or reported and not lost");
    }
    if lost == 0 || taken.contains(&0) {
        return Err("this was no storm");
    }
    Ok(())
}
