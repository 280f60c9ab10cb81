//! A device's end of a line: frames to what the logic takes in.

use crate::event::Event;
use crate::timetable::Timetable;

use super::answer::{Answer, Fault};
use super::content::Message;
use super::frame::Receiver;

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
    };

    /// Takes a byte.
    pub fn push(&mut self, byte: u8) -> Option<Incoming<'_, N>> {
        let (number, message) = self.receiver.push(byte)?;
        let taken = message.and_then(|message| {
            self.message = message;
            self.gather()
        });
        Some(match taken {
            Err(fault) => Incoming::Answer { number, answer: Answer::Unreadable(fault) },
            Ok(()) => match self.event() {
                Some(event) => Incoming::Request { number, event },
                None => Incoming::Answer { number, answer: Answer::Taken },
            },
        })
    }

    /// What a part of a timetable does to the draft.
    fn gather(&mut self) -> Result<(), Fault> {
        match &self.message {
            Message::Begin { entries, ceiling } => {
                // what was gathered before is no part of what is announced now
                self.announced = None;
                if usize::from(*entries) > N {
                    return Err(Fault::TooMany);
                }
                self.announced = Some(*entries);
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
                    None if self.draft.ids().count() >= usize::from(announced) => {
                        Err(Fault::OutOfTurn)
                    }
                    None => self.draft.put(*entry).map_err(|_| Fault::TooMany),
                }
            }
            Message::Closed(list) => {
                self.announced.ok_or(Fault::OutOfTurn)?;
                self.draft.closed = *list;
                Ok(())
            }
            Message::PutInForce => {
                let announced = self.announced.ok_or(Fault::OutOfTurn)?;
                if self.draft.ids().count() == usize::from(announced) {
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
            Message::Unlock(pin) => Event::Unlock(*pin),
            Message::Lock => Event::Lock,
            Message::Clock(local) => Event::SetClock(*local),
            Message::Zone(zone) => Event::SetZone(zone),
            Message::Head(head) => Event::SetHead(head),
            Message::Container(container, level) => Event::Container(container, *level),
            Message::PutInForce => Event::Timetable(&self.draft),
            Message::Hello | Message::Begin { .. } | Message::Entry(_) | Message::Closed(_) => {
                return None;
            }
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::message::encode;

    #[test]
    fn as_many_entries_are_announced_as_there_are_lines() {
        let mut line = Line::<2>::NEW;
        for (entries, wanted) in
            [(2, Answer::Taken), (3, Answer::Unreadable(Fault::TooMany)), (0, Answer::Taken)]
        {
            let mut answer = None;
            encode(5, &Message::Begin { entries, ceiling: None }, &mut |byte| {
                if let Some(Incoming::Answer { answer: said, .. }) = line.push(byte) {
                    answer = Some(said);
                }
            });
            assert_eq!(answer, Some(wanted), "{entries}");
            assert_eq!(line.announced.is_some(), wanted == Answer::Taken, "{entries}");
        }
    }
}
