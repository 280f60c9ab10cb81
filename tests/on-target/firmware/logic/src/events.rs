//! Every event there is, with any content.

use dosewright_core::civil::Local;
use dosewright_core::entry::EntryId;
use dosewright_core::event::Event;
use dosewright_core::shell::Signal;
use dosewright_core::units::{Flow, Volume};

use crate::Main;
use crate::board::{get, get64};

/// Settings as a panel or a line would have them ready somewhere: what is in them the
/// compiler does not know.
fn any<T>() -> &'static T {
    // SAFETY: the image is linked and measured, not run
    unsafe { &*(get() as *const T) }
}

/// Hands in one of them.
pub fn hand_in(main: &mut Main) {
    let event = match get() {
        1 => Event::SetClock(Local::from_ms(get64() as i64)),
        2 => Event::SetZone(any()),
        3 => Event::Timetable(any()),
        4 => Event::SetHead(any()),
        5 => match Flow::from_nl_per_min(get()) {
            Some(flow) => Event::SetFlow(flow),
            None => return,
        },
        6 => Event::RunAgain(EntryId(get() as u16)),
        7 => Event::Prime(Volume::from_nl(get64())),
        8 => Event::Calibrate { run_ms: get() },
        9 => Event::Container(any(), Volume::from_nl(get64())),
        10 => Event::Refill(Volume::from_nl(get64())),
        11 => Event::CalibrateInto(any()),
        12 => Event::Measured(any()),
        13 => Event::TubeChanged,
        14 => Event::Unlock(*any()),
        15 => Event::SetPin(*any()),
        16 => Event::Lock,
        17 => Event::CalibrateTrain(any()),
        18 => Event::StopDose(EntryId(get() as u16)),
        _ => return,
    };
    main.hand_in(event);
}

/// One of the signals.
pub fn signal() -> Option<Signal> {
    let on = get() != 0;
    Some(match get() {
        1 => Signal::Timer,
        2 => Signal::RemoteStop(on),
        3 => Signal::Leak(on),
        4 => Signal::MotorFault,
        5 => Signal::Release,
        6 => Signal::Acknowledge,
        7 => Signal::LevelLow(on),
        _ => return None,
    })
}
