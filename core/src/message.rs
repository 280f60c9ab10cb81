//! Settings messages over any stream of bytes: how a laptop loads what an operator
//! would else enter by hand.
//!
//! A frame is COBS (Cheshire and Baker, Consistent overhead byte stuffing, 1999)
//! between zero bytes, so that a reader that comes in the middle, or loses a byte,
//! finds the next frame. In it, little-endian:
//!
//! | bytes | what |
//! | --- | --- |
//! | 0 | version of the messages |
//! | 1 | number, which the answer repeats |
//! | 2 | kind |
//! | 3 .. | content: as many bytes as the kind has |
//! | last 4 | CRC-32 (ISO-HDLC) of all before it |
//!
//! Whatever else comes is refused with its reason. What an entry or a head says is
//! checked by the logic as if it had been entered by hand, the lock included, and a
//! timetable is put in force whole or not at all: its entries are gathered first.

mod answer;
mod content;
mod frame;
mod line;
mod standing;

pub use answer::{Answer, Fault, refusal_code};
pub use content::Message;
pub use frame::{LONGEST, Receiver, VERSION, encode, encode_answer};
pub use line::{Incoming, Line};
pub use standing::Standing;
