//! Frames: bytes on a line to messages and back.

use core::fmt;

use crc::{CRC_32_ISO_HDLC, Crc, NoTable};

use crate::codec::Put;
use crate::record::RECORD_BYTES;

use super::answer::{Answer, Fault};
use super::content::Message;

/// The version of the messages that this code speaks. Content that is a record of
/// the ledger changes with that record's format.
pub const VERSION: u8 = 2;
/// Version, number and kind.
const HEAD: usize = 3;
const CHECK: usize = 4;
/// The longest message: a record without its own kind.
const BODY: usize = HEAD + RECORD_BYTES - 1 + CHECK;
/// The most bytes between two zero bytes that can be a frame.
pub const LONGEST: usize = BODY + 1;

const CRC: Crc<u32, NoTable> = Crc::<u32, NoTable>::new(&CRC_32_ISO_HDLC);

/// Kinds from this one on are answers.
const TAKEN: u8 = 128;
const REFUSED: u8 = 129;
const UNREADABLE: u8 = 130;
const STANDS: u8 = 131;

/// Hands the bytes of a message's frame to `put`, the zero bytes around it included.
pub fn encode(number: u8, message: &Message, put: &mut impl FnMut(u8)) {
    write(number, message.kind(), put, |p| message.put(p));
}

/// The same of the answer to the message of this number.
pub fn encode_answer(number: u8, answer: &Answer, put: &mut impl FnMut(u8)) {
    let kind = match answer {
        Answer::Taken => TAKEN,
        Answer::Refused { .. } => REFUSED,
        Answer::Unreadable(_) => UNREADABLE,
        Answer::Stands(_) => STANDS,
    };
    write(number, kind, put, |p| match answer {
        Answer::Taken => {}
        Answer::Refused { code, entry } => {
            p.u8(*code);
            p.u16(*entry);
        }
        Answer::Unreadable(fault) => p.u8(*fault as u8),
        Answer::Stands(standing) => standing.put(p),
    });
}

fn write(number: u8, kind: u8, put: &mut impl FnMut(u8), content: impl FnOnce(&mut Put)) {
    let mut body = [0; BODY];
    let mut p = Put::new(&mut body);
    for byte in [VERSION, number, kind] {
        p.u8(byte);
    }
    content(&mut p);
    debug_assert!(p.fits, "a message outgrew its frame");
    let len = p.written().min(BODY - CHECK);
    let said = body.get(..len).unwrap_or_default();
    let check = CRC.checksum(said).to_le_bytes();
    put(0);
    // no stretch is as long as 254 bytes, so that each zero ends one
    let bytes = || said.iter().chain(&check);
    let mut from = 0;
    loop {
        let stretch = bytes().skip(from).take_while(|&&byte| byte != 0).count();
        put((stretch + 1) as u8);
        bytes().skip(from).take(stretch).for_each(|&byte| put(byte));
        from += stretch + 1;
        if from > len + CHECK {
            break;
        }
    }
    put(0);
}

/// Takes bytes from a line, and says when they were a frame. It shows none of them, and
/// keeps none after the end of a frame: they may be a PIN's.
#[derive(Clone, Copy, PartialEq, Eq)]
pub struct Receiver {
    bytes: [u8; LONGEST],
    len: u8,
    /// More bytes came than any frame has.
    too_long: bool,
}

impl fmt::Debug for Receiver {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Receiver").field("len", &self.len).finish_non_exhaustive()
    }
}

#[cfg(feature = "defmt")]
impl defmt::Format for Receiver {
    fn format(&self, f: defmt::Formatter<'_>) {
        defmt::write!(f, "Receiver {{ len: {=u8}, .. }}", self.len);
    }
}

impl Default for Receiver {
    fn default() -> Self {
        Self::NEW
    }
}

impl Receiver {
    /// Before the first byte.
    pub const NEW: Self = Self { bytes: [0; LONGEST], len: 0, too_long: false };

    /// Takes a byte. After the last byte of a frame it says the message's number and
    /// the message, or why it is none; a frame that cannot be read has the number 0.
    pub fn push(&mut self, byte: u8) -> Option<(u8, Result<Message, Fault>)> {
        if byte != 0 {
            match self.bytes.get_mut(usize::from(self.len)) {
                Some(place) => {
                    *place = byte;
                    self.len += 1;
                }
                None => self.too_long = true,
            }
            return None;
        }
        let (len, too_long) = (usize::from(self.len), self.too_long);
        if len == 0 {
            // between two frames
            return None;
        }
        let body = unstuff(&mut self.bytes, len).filter(|_| !too_long);
        let said = read(body);
        *self = Self::NEW;
        said
    }
}

/// What a frame says; nothing where it is an answer, of this device on a line that echoes or
/// of another, whatever its version: answered it would be answered again, without end.
fn read(body: Option<&[u8]>) -> Option<(u8, Result<Message, Fault>)> {
    let Some((said, check)) = body.and_then(|body| body.split_last_chunk::<CHECK>()) else {
        return Some((0, Err(Fault::Frame)));
    };
    let &[version, number, kind, ref content @ ..] = said else {
        return Some((0, Err(Fault::Frame)));
    };
    if CRC.checksum(said) != u32::from_le_bytes(*check) {
        return Some((0, Err(Fault::Checksum)));
    }
    if kind >= TAKEN {
        return None;
    }
    let message =
        if version == VERSION { Message::get(kind, content) } else { Err(Fault::Version) };
    Some((number, message))
}

/// Takes the stuffing out, in place.
fn unstuff(bytes: &mut [u8; LONGEST], len: usize) -> Option<&[u8]> {
    let (mut from, mut to) = (0, 0);
    while from < len {
        let code = usize::from(*bytes.get(from)?);
        let end = from.checked_add(code)?;
        // a stretch of 254 bytes has no zero after it, and no frame has one
        if code == 0 || code == 255 || end > len {
            return None;
        }
        for at in from + 1..end {
            let byte = *bytes.get(at)?;
            *bytes.get_mut(to)? = byte;
            to += 1;
        }
        if end < len {
            *bytes.get_mut(to)? = 0;
            to += 1;
        }
        from = end;
    }
    bytes.get(..to)
}

#[cfg(test)]
mod tests {
    extern crate std;

    use std::vec::Vec;

    use super::*;
    use crate::civil::Local;
    use crate::lock::Pin;

    fn said(bytes: &[u8]) -> Vec<(u8, Result<Message, Fault>)> {
        let mut receiver = Receiver::NEW;
        bytes.iter().filter_map(|&byte| receiver.push(byte)).collect()
    }

    fn frame(number: u8, message: &Message) -> Vec<u8> {
        let mut bytes = Vec::new();
        encode(number, message, &mut |byte| bytes.push(byte));
        bytes
    }

    /// A frame with so many bytes of content, none of them zero.
    fn long(content: usize) -> Vec<u8> {
        let mut body = std::vec![VERSION, 7, 12];
        body.resize(3 + content, 0x55);
        body.extend(CRC.checksum(&body).to_le_bytes());
        let mut bytes = std::vec![0];
        for stretch in body.split(|&byte| byte == 0) {
            bytes.push(stretch.len() as u8 + 1);
            bytes.extend(stretch);
        }
        bytes.push(0);
        bytes
    }

    #[test]
    fn a_frame_has_room_for_a_record_and_for_no_byte_more() {
        // version, number, kind, a record without its own kind, a checksum; one of stuffing
        let most = long(RECORD_BYTES - 1);
        assert_eq!(most.len(), LONGEST + 2);
        assert_eq!(said(&most), [(7, Err(Fault::Kind))], "it is read");
        assert_eq!(said(&long(RECORD_BYTES)), [(0, Err(Fault::Frame))]);
        // and what is written has as much
        let mut bytes = Vec::new();
        write(7, 12, &mut |byte| bytes.push(byte), |p| p.bytes(&[0x55; RECORD_BYTES - 1]));
        assert_eq!(bytes, most);
    }

    #[test]
    fn an_answer_is_not_answered() {
        use super::super::answer::Answer;
        for answer in [Answer::Taken, Answer::Unreadable(Fault::Kind)] {
            let mut bytes = Vec::new();
            encode_answer(9, &answer, &mut |byte| bytes.push(byte));
            assert_eq!(said(&bytes), []);
        }
        // nor one of another version; what is next is read
        let mut body = std::vec![VERSION + 1, 9, TAKEN];
        body.extend(CRC.checksum(&body).to_le_bytes());
        let mut bytes = std::vec![0, body.len() as u8 + 1];
        bytes.extend(&body);
        bytes.extend(frame(3, &Message::Hello));
        assert_eq!(said(&bytes), [(3, Ok(Message::Hello))]);
    }

    #[test]
    fn a_frame_comes_back_whatever_it_ends_with() {
        let mut zero_last = 0;
        for ms in 0..3_000 {
            let message = Message::Clock(Local::from_ms(ms));
            let bytes = frame(9, &message);
            assert_eq!(said(&bytes), [(9, Ok(message))]);
            // a last stretch of nothing: the checksum ends in a zero
            zero_last += u32::from(bytes.ends_with(&[1, 0]));
        }
        assert!(zero_last > 5, "{zero_last}");
    }

    #[test]
    fn o5_a_receiver_shows_no_pin_and_keeps_none() {
        let pin = Pin::from_digits(b"0417").unwrap();
        let mut receiver = Receiver::NEW;
        let bytes = frame(3, &Message::Unlock(pin));
        let mut show = |&byte: &u8| {
            let said = receiver.push(byte);
            std::format!("{receiver:?} {said:?}")
        };
        let shown: std::string::String = bytes.iter().map(&mut show).collect();
        // 10417 is 0xb1, 0x28
        assert!(!shown.contains("177") && !shown.contains("0417"), "{shown}");
        assert!(shown.contains("len: 9") && shown.contains("Unlock(Pin)"), "{shown}");
        assert_eq!(receiver, Receiver::NEW);
    }

    #[test]
    fn what_a_frame_lacks_is_not_taken_from_the_one_before() {
        let whole = frame(9, &Message::Clock(Local::from_ms(0x1234_5678_9abc)));
        for len in 2..whole.len() - 1 {
            let mut bytes = whole.clone();
            bytes.extend(&whole[1..len]);
            bytes.push(0);
            let all = said(&bytes);
            assert_eq!(all.len(), 2);
            assert!(all[0].1.is_ok() && all[1].1.is_err(), "{len} bytes: {all:?}");
        }
    }
}
