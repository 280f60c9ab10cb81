//! A device at the end of a line.

use dosewright_core::device::{Device, Outputs};
use dosewright_core::event::Event;
use dosewright_core::ledger::Geometry;
use dosewright_core::message::{Answer, Incoming, Line, Message, encode};
use dosewright_core::record::{Alarm, Reset};
use dosewright_core::time::{Duration, Instant};
use dosewright_core::timetable::{Refusal, Timetable};
use dosewright_sim::world::flash::NorMock;

pub(crate) const N: usize = 4;
type Pump = Device<NorMock<4, 1024>, N, 8>;

pub(crate) fn bytes(number: u8, message: &Message) -> Vec<u8> {
    let mut out = Vec::new();
    encode(number, message, &mut |byte| out.push(byte));
    out
}

/// A device at the end of a line.
pub(crate) struct Bench {
    line: Line<N>,
    pub(crate) device: Pump,
    pub(crate) out: Told,
    pub(crate) now: Instant,
}

#[derive(Default)]
pub(crate) struct Told {
    pub(crate) refused: Option<Refusal>,
}

impl Outputs for Told {
    fn pump_on(&mut self, _: Duration) {}
    fn pump_off(&mut self) {}
    fn refused(&mut self, refusal: &Refusal) {
        self.refused = Some(*refusal);
    }
    fn alarm(&mut self, _: Alarm, _: bool) {}
}

impl Bench {
    pub(crate) fn new() -> Self {
        let geometry = Geometry { start: 0, sector_bytes: 4096, sectors: 2 };
        let Ok(mut device) =
            Device::start(NorMock::new(8), geometry, Some(Instant::ZERO), Reset::PowerOn)
        else {
            panic!("the ledger does not start")
        };
        let mut out = Told::default();
        device.handle(Instant::ZERO, Event::Wake, &mut out);
        Self { line: Line::NEW, device, out, now: Instant::from_ms(1000) }
    }

    /// Sends bytes; every answer, with its number.
    pub(crate) fn send(&mut self, bytes: &[u8]) -> Vec<(u8, Answer)> {
        let mut answers = Vec::new();
        for &byte in bytes {
            match self.line.push(byte) {
                None => {}
                Some(Incoming::Answer { number, answer }) => answers.push((number, answer)),
                Some(Incoming::Question { number }) => {
                    answers.push((number, self.line.standing(self.device.controller(), self.now)));
                }
                Some(Incoming::Request { number, event }) => {
                    self.out.refused = None;
                    self.device.handle(self.now, event, &mut self.out);
                    answers.push((number, Answer::to(self.out.refused.as_ref())));
                }
            }
        }
        answers
    }

    pub(crate) fn say(&mut self, message: &Message) -> Answer {
        let answers = self.send(&bytes(77, message));
        let [(77, answer)] = answers[..] else { panic!("{answers:?} to {message:?}") };
        answer
    }

    pub(crate) fn timetable(&self) -> Timetable<N> {
        self.device.controller().book().timetable
    }
}
