//! A device's end of a line: frames to what the logic takes in.

use crate::controller::Controller;
use crate::event::Event;
use crate::time::Instant;
use crate::timetable::{Refusal, Timetable};

use super::answer::{Answer, Fault};
use super::content::Message;
use super::frame::Receiver;
use super::standing::Standing;

/// What a byte was the last of.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Incoming<'a, const N: usize> {
    /// A request for the logic. It is to be handed in, and answered with what comes of
    /// it: [`Answer::to`].
    Request {
        /// The message's number, for the answer.
        number: u8,
        /// What to hand in.
        event: Event<'a, N>,
    },
    /// The peer asks how the device stands. It is answered with [`Line::standing`].
    Question {
        /// The message's number, for the answer.
        number: u8,
    },
    /// Something that is answered at once.
    Answer {
        /// The message's number.
        number: u8,
        /// The answer.
        answer: Answer,
    },
}

/// A device's end of a line, with the timetable that is being gathered.
#[derive(Clone, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Line<const N: usize> {
    receiver: Receiver,
    /// The last message, for the request that refers to it.
    message: Message,
    draft: Timetable<N>,
    /// Entries that were announced; `None` where no timetable was begun.
    announced: Option<u8>,
    /// Closed dates were announced, and have not come yet.
    awaits_closed: bool,
    /// They may come.
    may_have_closed: bool,
}

impl<const N: usize> Default for Line<N> {
    fn default() -> Self {
        Self::NEW
    }
}

impl<const N: usize> Line<N> {
    /// Before the first byte.
    pub const NEW: Self = Self {
        receiver: Receiver::NEW,
        message: Message::Hello,
        draft: Timetable::EMPTY,
        announced: None,
        awaits_closed: false,
        may_have_closed: false,
    };

    /// The answer to how the device stands at an instant, that of the call.
    pub fn standing<const H: usize>(&self, controller: &Controller<N, H>, now: Instant) -> Answer {
        let gathered = if self.announced.is_some() { self.gathered() as u8 } else { 0 };
        let announced = self.announced;
        Answer::Stands(Standing { announced, gathered, ..Standing::of(controller, now) })
    }

    fn gathered(&self) -> usize {
        self.draft.ids().count()
    }

    /// Takes a byte.
    pub fn push(&mut self, byte: u8) -> Option<Incoming<'_, N>> {
        let (number, message) = self.receiver.push(byte)?;
        match message {
            // neither of them waits for anything, and a PIN is kept no longer than it has to be
            Ok(Message::Unlock(pin)) => {
                return Some(Incoming::Request { number, event: Event::Unlock(pin) });
            }
            Ok(Message::Stands) => return Some(Incoming::Question { number }),
            _ => {}
        }
        let taken = message.map_err(Answer::Unreadable).and_then(|message| {
            self.message = message;
            self.check_entry()?;
            self.gather().map_err(Answer::Unreadable)
        });
        Some(match taken {
            Err(answer) => Incoming::Answer { number, answer },
            Ok(()) => match self.event() {
                Some(event) => Incoming::Request { number, event },
                None => Incoming::Answer { number, answer: Answer::Taken },
            },
        })
    }

    /// An entry out of its range is told at once, not when its timetable is to be in force.
    fn check_entry(&self) -> Result<(), Answer> {
        let Message::Entry(entry) = &self.message else { return Ok(()) };
        match entry.bad_field_or_number() {
            Some(field) => Err(Answer::to(Some(&Refusal::Field { id: entry.id, field }))),
            None => Ok(()),
        }
    }

    /// What a part of a timetable does to the draft.
    fn gather(&mut self) -> Result<(), Fault> {
        match &self.message {
            Message::Begin { entries, closed, ceiling } => {
                // what was gathered before is no part of what is announced now
                self.announced = None;
                if usize::from(*entries) > N {
                    return Err(Fault::TooMany);
                }
                self.announced = Some(*entries);
                (self.awaits_closed, self.may_have_closed) = (*closed, *closed);
                self.draft = Timetable::EMPTY;
                self.draft.ceiling = *ceiling;
                Ok(())
            }
            Message::Entry(entry) => {
                let announced = self.announced.ok_or(Fault::OutOfTurn)?;
                match self.draft.get(entry.id) {
                    // its answer was lost, and it is sent once more
                    Some(same) if same == *entry => Ok(()),
                    Some(_) => Err(Fault::Content),
                    None if self.gathered() >= usize::from(announced) => Err(Fault::OutOfTurn),
                    None => self.draft.put(*entry).map_err(|_| Fault::TooMany),
                }
            }
            Message::Closed(list) => {
                if self.announced.is_none() || !self.may_have_closed {
                    return Err(Fault::OutOfTurn);
                }
                self.draft.closed = *list;
                self.awaits_closed = false;
                Ok(())
            }
            Message::PutInForce => {
                let announced = self.announced.ok_or(Fault::OutOfTurn)?;
                if self.gathered() == usize::from(announced) && !self.awaits_closed {
                    Ok(())
                } else {
                    Err(Fault::OutOfTurn)
                }
            }
            _ => Ok(()),
        }
    }

    fn event(&self) -> Option<Event<'_, N>> {
        Some(match &self.message {
            Message::Lock => Event::Lock,
            Message::Clock(local) => Event::SetClock(*local),
            Message::Zone(zone) => Event::SetZone(zone),
            Message::Head(head) => Event::SetHead(head),
            Message::Container(container, level) => Event::Container(container, *level),
            Message::PutInForce => Event::Timetable(&self.draft),
            Message::Hello
            | Message::Unlock(_)
            | Message::Begin { .. }
            | Message::Entry(_)
            | Message::Closed(_)
            | Message::Stands => return None,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::lock::Pin;
    use crate::message::encode;

    #[test]
    fn as_many_entries_are_announced_as_there_are_lines() {
        let mut line = Line::<2>::NEW;
        for (entries, wanted) in
            [(2, Answer::Taken), (3, Answer::Unreadable(Fault::TooMany)), (0, Answer::Taken)]
        {
            let mut answer = None;
            encode(5, &Message::Begin { entries, closed: false, ceiling: None }, &mut |byte| {
                if let Some(Incoming::Answer { answer: said, .. }) = line.push(byte) {
                    answer = Some(said);
                }
            });
            assert_eq!(answer, Some(wanted), "{entries}");
            assert_eq!(line.announced.is_some(), wanted == Answer::Taken, "{entries}");
        }
    }

    #[test]
    fn o5_a_line_keeps_no_pin() {
        let pin = Pin::from_digits(b"0417").unwrap();
        let mut line = Line::<2>::NEW;
        let mut event = None;
        encode(5, &Message::Unlock(pin), &mut |byte| {
            if let Some(Incoming::Request { event: said, .. }) = line.push(byte) {
                event = Some(said == Event::Unlock(pin));
            }
        });
        assert_eq!((event, line == Line::NEW), (Some(true), true));
    }
}
