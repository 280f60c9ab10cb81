//! The front panel, as a firmware has it: an input from the knob, a screen to the display.

use core::ptr::{read_volatile, write_volatile};

use dosewright_core::controller::Controller;
use dosewright_core::event::Event;
use dosewright_core::panel::{Desk, Input, Panel, Preferences, Recent, View, operate};
use dosewright_core::time::Instant;
use dosewright_core::timetable::Refusal;

use crate::board::{get, get64, put};
use crate::{H, Main, N};

static mut PANEL: Panel = Panel::new(Preferences::NEW);
/// What the board's report has kept of a refusal.
static mut REFUSED: Option<Refusal> = None;

struct Beside<'a> {
    main: &'a mut Main,
    recent: Recent,
}

impl Desk<N, H> for Beside<'_> {
    fn now(&mut self) -> Instant {
        Instant::from_ms(get64() as i64)
    }

    fn controller(&self) -> &Controller<N, H> {
        self.main.device().controller()
    }

    fn recent(&self) -> &Recent {
        &self.recent
    }

    fn hand_in(&mut self, event: Event<'_, N>) -> Option<Refusal> {
        self.main.hand_in(event);
        // SAFETY: the main loop alone has it
        unsafe { read_volatile(&raw const REFUSED) }
    }
}

/// Takes a touch, and draws.
pub fn take(main: &mut Main) {
    let input = match get() {
        0 => Input::Left,
        1 => Input::Right,
        2 => Input::Press,
        3 => Input::Hold,
        _ => return,
    };
    // SAFETY: the main loop alone has it
    let panel = unsafe { &mut *(&raw mut PANEL) };
    // SAFETY: as above; anything may be in it
    unsafe { write_volatile(&raw mut REFUSED, None) };
    let recent = Recent::read(main.ledger());
    let mut beside = Beside { main, recent };
    operate(panel, &mut beside, input);
    let now = beside.now();
    let view = View { controller: beside.controller(), recent: &beside.recent, now };
    for row in panel.screen(&view).rows() {
        for &c in row {
            put(c as u32);
        }
    }
    // to be kept beside the ledger
    put(u32::from_le_bytes(panel.preferences().to_bytes()));
}
