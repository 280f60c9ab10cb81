//! A pump controller on an RP2040 board. The pump's switch is on GPIO 2, with a resistor to
//! ground at its gate. The remote stop is on GPIO 3, the leak detector on GPIO 4, the
//! low-level contact on GPIO 5 and the acknowledge key on GPIO 6, each to ground when on.
//!
//! What is here is what a board needs: a clock, the one-shot, the memory, which pin is
//! which, their interrupt handlers, and what turns the pump off when nothing else works.
//! Everything else is the logic's.
#![no_std]
#![no_main]

mod clock;
mod contacts;
mod memory;
mod off;

use core::mem::MaybeUninit;

use dosewright_core::controller::Controller;
use dosewright_core::event::Event;
use dosewright_core::ledger::Geometry;
use dosewright_core::record::{Alarm, Reset};
use dosewright_core::shell::contacts::{Contact, Contacts};
use dosewright_core::shell::drives::Switched;
use dosewright_core::shell::{Inbox, MainLoop, Parts, Report, Signal};
use dosewright_core::time::Instant;
use rp2040_hal as hal;
use rp2040_hal::fugit::ExtU32;

use clock::{OneShot, WakeClock};
use contacts::with_edges;
use hal::gpio::PinState;
use hal::pac;
use memory::OnChipFlash;
use off::halt;

/// The second-stage boot loader, which the chip wants at the start of its flash.
#[unsafe(link_section = ".boot2")]
#[used]
pub static BOOT2: [u8; 256] = rp2040_boot2::BOOT_LOADER_GENERIC_03H;

/// Entries, deliveries and signals that there is room for.
const N: usize = 32;
const H: usize = 64;
const Q: usize = 8;

/// The logic's state has a place of its own, so that it is never on the stack.
type State = Controller<N, H>;
static mut STATE: MaybeUninit<State> = MaybeUninit::uninit();

/// What the interrupt handlers post into.
pub static INBOX: Inbox<Signal, Q> = Inbox::new();

/// The watchdog's period: longer than a turn, with the erase of two sectors, and a sleep. The
/// chip's own counts up to 8.3 s.
const WATCHDOG_MS: u32 = 8_000;

/// Four sectors of 16 KiB.
const LEDGER: Geometry = Geometry { start: 0, sector_bytes: 16 * 1024, sectors: 4 };

#[hal::entry]
fn main() -> ! {
    let (Some(mut chip), Some(mut core)) =
        (pac::Peripherals::take(), cortex_m::Peripherals::take())
    else {
        halt()
    };
    // said before the watchdog is used again; a brown-out is a power-on
    let by_watchdog = chip.WATCHDOG.reason().read().timer().bit_is_set();
    let mut watchdog = hal::Watchdog::new(chip.WATCHDOG);
    let clocks = hal::clocks::init_clocks_and_plls(
        12_000_000,
        chip.XOSC,
        chip.CLOCKS,
        chip.PLL_SYS,
        chip.PLL_USB,
        &mut chip.RESETS,
        &mut watchdog,
    );
    let Ok(clocks) = clocks else { halt() };
    // from here on whatever hangs is started again, with the pump off
    watchdog.start(WATCHDOG_MS.millis());
    let mut timer = hal::Timer::new(chip.TIMER, &mut chip.RESETS, &clocks);
    let sio = hal::Sio::new(chip.SIO);
    let pins =
        hal::gpio::Pins::new(chip.IO_BANK0, chip.PADS_BANK0, sio.gpio_bank0, &mut chip.RESETS);

    let (Some(one_shot), Some(wake)) = (timer.alarm_0(), timer.alarm_1()) else { halt() };
    let on_is_low = |pin| Contact { pin, on_is_high: false };
    // the key is read by its handler alone
    with_edges(pins.gpio6.into_pull_up_input().into_dyn_pin());
    let board = Parts {
        drive: Switched { pin: pins.gpio2.into_push_pull_output_in_state(PinState::Low) },
        one_shot: OneShot::new(one_shot),
        inputs: Contacts {
            remote_stop: on_is_low(with_edges(pins.gpio3.into_pull_up_input().into_dyn_pin())),
            leak: on_is_low(with_edges(pins.gpio4.into_pull_up_input().into_dyn_pin())),
            motor_fault: Contact::absent(),
            level_low: on_is_low(with_edges(pins.gpio5.into_pull_up_input().into_dyn_pin())),
        },
        clock: WakeClock::new(timer, wake),
        report: Silent,
        drive_failed: false,
        off_owed: false,
    };

    // this chip's timer does not run on through a reset: its feed is lost each time
    let count: Option<Instant> = None;
    let reset = if by_watchdog { Reset::Watchdog } else { Reset::PowerOn };
    // SAFETY: `main` runs once, and nothing else has it
    let state = State::blank_in(unsafe { &mut *(&raw mut STATE) });
    let started = MainLoop::<_, _, N, H, Q, _>::start_in(
        state,
        OnChipFlash,
        LEDGER,
        count,
        reset,
        board,
        &INBOX,
    );
    let Ok(mut main) = started else { halt() };
    let now = main.device().now();
    main.board().clock.set(now);
    contacts::let_interrupts_through(&mut core.NVIC);
    loop {
        watchdog.feed();
        main.turn();
        // here a panel, or a line to a host, hands in what an operator asks for
        if let Some(event) = asked() {
            main.hand_in(event);
        }
    }
}

/// Nothing yet.
fn asked() -> Option<Event<'static, N>> {
    None
}

/// Where the operator would see alarms.
struct Silent;

impl Report for Silent {
    fn alarm(&mut self, _alarm: Alarm, _on: bool) {}
}
