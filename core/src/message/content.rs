//! What a message says, in bytes and back. Fields are those of the ledger's records.

use crate::civil::Local;
use crate::codec::{Get, Put};
use crate::config::{Container, Head};
use crate::entry::Entry;
use crate::lock::Pin;
use crate::record::{ClosedList, RECORD_BYTES, Record, Staged};
use crate::time::Instant;
use crate::units::Volume;
use crate::zone::Zone;

use super::answer::Fault;

/// Stands for no ceiling of the operator's own.
const NO_CEILING: u64 = 0xff_ffff_ffff;

/// One message.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[allow(clippy::large_enum_variant)]
pub enum Message {
    /// Nothing is asked for: is anybody there?
    Hello,
    /// The PIN.
    Unlock(Pin),
    /// The settings are to be locked again.
    Lock,
    /// The clock is to be set to a local time.
    Clock(Local),
    /// The zone is to be set.
    Zone(Zone),
    /// The head's limits and flow are to be set.
    Head(Head),
    /// The container is to be set up, with what is in it.
    Container(Container, Volume),
    /// A timetable begins: what follows is announced, so that nothing of it is missed.
    Begin {
        /// Entries that follow.
        entries: u8,
        /// Closed dates follow too; without them there are none.
        closed: bool,
        /// The most volume in any 23 h; `None` for 1.25 times what the timetable asks.
        ceiling: Option<Volume>,
    },
    /// An entry of it.
    Entry(Entry),
    /// Its closed dates.
    Closed(ClosedList),
    /// It is complete, and is to be put in force.
    PutInForce,
    /// How does the device stand? The answer is a [`super::Standing`].
    Stands,
}

/// Content that is a record of the ledger in all but name.
fn put_record(p: &mut Put, record: &Record) {
    // a record begins with its own kind, which the message's kind says already
    p.bytes(record.encode().get(1..).unwrap_or_default());
}

impl Message {
    pub(super) const fn kind(&self) -> u8 {
        match self {
            Self::Hello => 0,
            Self::Unlock(_) => 1,
            Self::Lock => 2,
            Self::Clock(_) => 3,
            Self::Zone(_) => 4,
            Self::Head(_) => 5,
            Self::Container(..) => 6,
            Self::Begin { .. } => 7,
            Self::Entry(_) => 8,
            Self::Closed(_) => 9,
            Self::PutInForce => 10,
            Self::Stands => 11,
        }
    }

    pub(super) fn put(&self, p: &mut Put) {
        match self {
            Self::Hello | Self::Lock | Self::PutInForce | Self::Stands => {}
            Self::Unlock(pin) => p.u32(pin.word()),
            Self::Clock(local) => p.i48(local.as_ms()),
            Self::Zone(zone) => p.bytes(&zone.encode()),
            Self::Head(head) => put_record(p, &Record::SnapHead(*head)),
            Self::Container(container, level) => {
                let (at, container, level) = (Instant::ZERO, *container, *level);
                put_record(p, &Record::Container { at, container, level, pumped_ms: None });
            }
            Self::Begin { entries, closed, ceiling } => {
                p.u8(*entries);
                p.u8(u8::from(*closed));
                p.u40(ceiling.map_or(NO_CEILING, |most| most.as_nl().min(NO_CEILING - 1)));
            }
            Self::Entry(entry) => {
                let entry = *entry;
                let staged = Staged { line: 0, entry, revision: 0, mark: None, edited: false };
                put_record(p, &Record::Staged(staged));
            }
            Self::Closed(list) => put_record(p, &Record::StagedClosed(*list)),
        }
    }

    /// What a kind and its content say; the content has no byte more.
    pub(super) fn get(kind: u8, content: &[u8]) -> Result<Self, Fault> {
        let record = |kind: u8| {
            let mut bytes = [0; RECORD_BYTES];
            let from = core::iter::once(&kind).chain(content);
            for (place, byte) in bytes.iter_mut().zip(from) {
                *place = *byte;
            }
            let is_whole = content.len() == RECORD_BYTES - 1;
            // what is out of its range is the logic's to answer
            Record::decode_of_any_range(&bytes).filter(|_| is_whole).ok_or(Fault::Content)
        };
        let g = &mut Get::new(content);
        let message = match kind {
            0 => Self::Hello,
            1 => {
                let word = g.u32();
                Self::Unlock(Pin::from_word(word).ok_or(Fault::Content)?)
            }
            2 => Self::Lock,
            3 => Self::Clock(Local::from_ms(g.i48())),
            4 => Self::Zone(Zone::decode_of_any_range(&g.array()).ok_or(Fault::Content)?),
            5 => match record(34)? {
                Record::SnapHead(head) => return Ok(Self::Head(head)),
                _ => return Err(Fault::Content),
            },
            6 => match record(13)? {
                Record::Container { container, level, pumped_ms: None, .. } => {
                    return Ok(Self::Container(container, level));
                }
                _ => return Err(Fault::Content),
            },
            7 => {
                let (entries, closed, nl) = (g.u8(), g.bool(), g.u40());
                let ceiling = (nl != NO_CEILING).then_some(Volume::from_nl(nl));
                Self::Begin { entries, closed, ceiling }
            }
            8 => match record(4)? {
                Record::Staged(staged) => return Ok(Self::Entry(staged.entry)),
                _ => return Err(Fault::Content),
            },
            9 => match record(5)? {
                Record::StagedClosed(list) => return Ok(Self::Closed(list)),
                _ => return Err(Fault::Content),
            },
            10 => Self::PutInForce,
            11 => Self::Stands,
            _ => return Err(Fault::Kind),
        };
        // no field short, and none more than the kind has
        if g.ok && g.is_over() { Ok(message) } else { Err(Fault::Content) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::entry::{Recurrence, plain};
    use crate::units::Flow;

    #[test]
    fn the_largest_ceiling_is_one_and_not_none() {
        for (nl, read_nl) in
            [(5, 5), (NO_CEILING - 1, NO_CEILING - 1), (NO_CEILING, NO_CEILING - 1)]
        {
            let mut bytes = [0; 7];
            let begin = |nl| {
                let ceiling = Some(Volume::from_nl(nl));
                Message::Begin { entries: 2, closed: true, ceiling }
            };
            begin(nl).put(&mut Put::new(&mut bytes));
            assert_eq!(Message::get(7, &bytes), Ok(begin(read_nl)));
        }
    }

    #[test]
    fn a_record_has_all_its_bytes_and_none_more() {
        let of_all_bytes = RECORD_BYTES - 1;
        let head = Head::with_flow(Flow::from_nl_per_min(1).unwrap());
        let tank = Container { capacity: Volume::from_ml(1), ..Container::NONE };
        let every = Recurrence::Interval { every_ms: 60_000, from: Instant::ZERO };
        for message in [
            Message::Head(head),
            Message::Container(tank, Volume::ZERO),
            Message::Entry(plain(1, every, Volume::from_ml(1))),
            Message::Closed(ClosedList::EMPTY),
        ] {
            let mut bytes = [0; RECORD_BYTES];
            message.put(&mut Put::new(&mut bytes));
            assert_eq!(Message::get(message.kind(), &bytes[..of_all_bytes]), Ok(message));
            // what is left out is not taken for zeros
            for length in (0..of_all_bytes).chain([RECORD_BYTES]) {
                let read = Message::get(message.kind(), &bytes[..length]);
                assert_eq!(read, Err(Fault::Content), "{message:?} {length}");
            }
        }
    }
}
