//! Settings by line, as a firmware with a serial port has them.

use dosewright_core::event::Event;
use dosewright_core::message::{Answer, Incoming, Line, encode_answer};
use dosewright_core::timetable::Refusal;

use crate::board::{get, put};
use crate::{Main, N};

static mut LINE: Line<N> = Line::NEW;

/// Takes the bytes that have come, and answers.
pub fn take(main: &mut Main) {
    // SAFETY: the main loop alone has it
    let line = unsafe { &mut *(&raw mut LINE) };
    while get() != 0 {
        let (number, answer) = match line.push(get() as u8) {
            None => continue,
            Some(Incoming::Answer { number, answer }) => (number, answer),
            Some(Incoming::Question { number }) => {
                // so that what it says is of now
                main.hand_in(Event::Wake);
                let device = main.device();
                (number, line.standing(device.controller(), device.now()))
            }
            Some(Incoming::Request { number, event }) => {
                main.hand_in(event);
                // a board keeps what `refused` told it, and answers with that; the port of
                // this one says no more than that something was
                let refusal = (get() != 0).then_some(Refusal::Locked);
                (number, Answer::to(refusal.as_ref()))
            }
        };
        encode_answer(number, &answer, &mut |byte| put(u32::from(byte)));
    }
}
