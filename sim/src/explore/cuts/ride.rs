//! A device in the middle of the evening, with what was seen of it so far.

use dosewright_core::book::Book;
use dosewright_core::device::{Device, Outputs};
use dosewright_core::event::Event;
use dosewright_core::record::{Alarm, Reset};
use dosewright_core::time::{Duration, Instant};
use dosewright_core::timetable::Refusal;

use super::course::{Course, Judged, no};
use super::memory::{Flash, GEOMETRY, H, Memory, N, Pump, Work};
use super::script::{Deed, Script};

/// What the device did to an output.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Pin {
    On(u64),
    Off,
    Refused(Refusal),
}

/// All that came of one call of the device, in its order.
#[derive(Debug, Default)]
pub(super) struct Turn {
    pub(super) works: Vec<Work>,
    /// With how many works were done before.
    pub(super) pins: Vec<(usize, Pin)>,
}

struct Wires<'m, 't> {
    memory: &'m Memory,
    pins: &'t mut Vec<(usize, Pin)>,
}

impl Wires<'_, '_> {
    fn push(&mut self, pin: Pin) {
        self.pins.push((self.memory.done(), pin));
    }
}

impl Outputs for Wires<'_, '_> {
    fn pump_on(&mut self, length: Duration) {
        self.push(Pin::On(length.as_ms()));
    }

    fn pump_off(&mut self) {
        self.push(Pin::Off);
    }

    fn refused(&mut self, refusal: &Refusal) {
        self.push(Pin::Refused(*refusal));
    }

    fn alarm(&mut self, _: Alarm, _: bool) {}
}

/// Why the device is called.
#[derive(Clone, Copy, Debug)]
pub(super) enum Next {
    Wake,
    Act(Deed),
}

/// A device and the run so far.
#[derive(Clone, PartialEq, Debug)]
pub(super) struct Ride<'m, const W: usize> {
    pub(super) device: Pump<'m, W>,
    pub(super) course: Course,
}

impl<'m, const W: usize> Ride<'m, W> {
    /// The supply comes on, and the device starts from what the memory holds.
    pub(super) fn start(memory: &'m Memory, course: Course) -> Judged<Self> {
        let now = Some(Instant::from_ms(course.now_ms));
        match Device::start(Flash(memory), GEOMETRY, now, Reset::PowerOn) {
            Ok(device) => Ok(Self { device, course }),
            Err((_, error)) => no("M1", format!("the device does not start: {error:?}")),
        }
    }

    pub(super) fn book(&self) -> &Book<N, H> {
        self.device.controller().book()
    }

    /// When the device is called next and why; `None` when the evening is over.
    pub(super) fn next(&self, script: &Script) -> Option<(i64, Next)> {
        let now_ms = self.course.now_ms;
        let wake = self.device.next_wake().map(|(at, _)| (at.as_ms().max(now_ms), Next::Wake));
        let act = self.course.next_act(script).map(|act| (act.at_ms, Next::Act(act.deed)));
        let next = match (wake, act) {
            (Some(wake), Some(act)) => Some(if wake.0 <= act.0 { wake } else { act }),
            (wake, act) => wake.or(act),
        };
        next.filter(|(at_ms, _)| *at_ms < script.end_ms)
    }

    /// Calls the device, at the course's time. An operator who finds done what he
    /// was about when the supply went leaves it so.
    pub(super) fn call(&mut self, script: &Script, memory: &Memory, next: Next, turn: &mut Turn) {
        turn.pins.clear();
        let event = match next {
            Next::Wake => Event::Wake,
            Next::Act(deed) => {
                if matches!(deed, Deed::Reading(_))
                    && !self.device.controller().waits_for_reading()
                    && self.book().tube.calibrations().next().is_none()
                {
                    self.course.run_again(script);
                    return turn.works.clear();
                }
                self.course.begin_act();
                match deed {
                    Deed::Timetable(which) => {
                        let timetable = &script.timetables[which];
                        if self.book().timetable == *timetable {
                            return turn.works.clear();
                        }
                        Event::Timetable(timetable)
                    }
                    Deed::Reading(which) => {
                        let flow = script.flows[which];
                        if self.book().head.is_some_and(|head| head.flow == flow) {
                            return turn.works.clear();
                        }
                        Event::Measured(&script.measured)
                    }
                    Deed::Calibrate(run_ms) => Event::Calibrate { run_ms },
                }
            }
        };
        let mut wires = Wires { memory, pins: &mut turn.pins };
        self.device.handle(Instant::from_ms(self.course.now_ms), event, &mut wires);
        memory.take_done(&mut turn.works);
    }
}
