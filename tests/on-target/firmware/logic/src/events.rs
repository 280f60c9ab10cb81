//! Every event there is, with any content.

use core::mem::MaybeUninit;

use dosewright_core::civil::Local;
use dosewright_core::config::Head;
use dosewright_core::entry::EntryId;
use dosewright_core::event::Event;
use dosewright_core::shell::Signal;
use dosewright_core::timetable::Timetable;
use dosewright_core::units::{Flow, Volume};
use dosewright_core::zone::Zone;

use crate::board::{get, get64};
use crate::{Main, N};

/// Settings as a panel or a line would have them ready; what is in them the
/// compiler does not know.
static TIMETABLE: MaybeUninit<Timetable<N>> = MaybeUninit::uninit();
static HEAD: MaybeUninit<Head> = MaybeUninit::uninit();
static ZONE: MaybeUninit<Zone> = MaybeUninit::uninit();

fn any<T>(place: &'static MaybeUninit<T>) -> &'static T {
    // SAFETY: the image is linked and measured, not run
    unsafe { &*core::hint::black_box(place.as_ptr()) }
}

/// Hands in one of them.
pub fn hand_in(main: &mut Main) {
    let event = match get() {
        1 => Event::SetClock(Local::from_ms(get64() as i64)),
        2 => Event::SetZone(any(&ZONE)),
        3 => Event::Timetable(any(&TIMETABLE)),
        4 => Event::SetHead(any(&HEAD)),
        5 => match Flow::from_nl_per_min(get()) {
            Some(flow) => Event::SetFlow(flow),
            None => return,
        },
        6 => Event::RunAgain(EntryId(get() as u16)),
        7 => Event::Prime(Volume::from_nl(get64())),
        8 => Event::Calibrate { run_ms: get() },
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
        _ => return None,
    })
}
