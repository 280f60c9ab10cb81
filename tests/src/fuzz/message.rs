//! Any bytes at all on the line that settings come by.

use dosewright_core::book::Book;
use dosewright_core::config::Head;
use dosewright_core::device::{Device, Outputs};
use dosewright_core::event::Event;
use dosewright_core::ledger::Geometry;
use dosewright_core::lock::Pin;
use dosewright_core::message::{Answer, Fault, Incoming, LONGEST, Line, Message, encode};
use dosewright_core::record::{Alarm, Reset};
use dosewright_core::time::{Duration, Instant};
use dosewright_core::timetable::{Refusal, Timetable};
use dosewright_core::units::{Flow, Volume};
use dosewright_core::zone::Zone;
use dosewright_sim::world::flash::NorMock;

const N: usize = 4;
const H: usize = 8;
type Pump = Device<NorMock<4, 1024>, N, H>;

/// What some bytes came to.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Became {
    /// Frames that could not be read.
    pub unreadable: u32,
    /// Requests that were refused, by the logic or by its lock.
    pub refused: u32,
    /// Requests that were taken.
    pub taken: u32,
    /// Questions that were answered.
    pub asked: u32,
    /// Times another timetable came into force.
    pub timetables: u32,
}

#[derive(Default)]
struct Told(Option<Refusal>);

impl Outputs for Told {
    fn pump_on(&mut self, _: Duration) {
        panic!("a settings message turns the pump on");
    }
    fn pump_off(&mut self) {}
    fn refused(&mut self, refusal: &Refusal) {
        self.0 = Some(*refusal);
    }
    fn alarm(&mut self, _: Alarm, _: bool) {}
}

fn pin() -> Pin {
    Pin::from_digits(b"0417").expect("a PIN")
}

/// A stream that loads a whole site, to be mutated; `locked` leaves the PIN out.
pub fn seed(locked: bool) -> Vec<u8> {
    use crate::entries::daily;
    use dosewright_core::civil::Local;
    use dosewright_core::entry::Entry;
    let entry =
        |id, at_min| Entry { window_ms: 2_700_000, ..daily(id, at_min, Volume::from_ml(20)) };
    let unlock = (!locked).then_some(Message::Unlock(pin()));
    let flow = Flow::from_nl_per_min(26_500_000).expect("a flow");
    let messages = unlock.into_iter().chain([
        Message::Zone(Zone::UTC),
        Message::Clock(Local::from_ms(1_790_000_000_000)),
        Message::Head(Head::with_flow(flow)),
        Message::Begin { entries: 2, closed: false, ceiling: None },
        Message::Entry(entry(1, 45)),
        Message::Stands,
        Message::Entry(entry(2, 600)),
        Message::PutInForce,
    ]);
    let mut bytes = Vec::new();
    for (number, message) in (1..).zip(messages) {
        encode(number, &message, &mut |byte| bytes.push(byte));
    }
    bytes
}

/// A frame made by the published rule (Cheshire and Baker, 1999), and a checksum bit
/// by bit, with no help from the code that is tested.
pub fn frame(body: &[u8]) -> Vec<u8> {
    let mut crc = u32::MAX;
    for byte in body {
        crc ^= u32::from(*byte);
        for _ in 0..8 {
            crc = if crc & 1 == 1 { crc >> 1 ^ 0xedb8_8320 } else { crc >> 1 };
        }
    }
    let mut body = body.to_vec();
    body.extend((!crc).to_le_bytes());
    let mut out = vec![0];
    for stretch in body.split(|byte| *byte == 0) {
        // a code of 255 is none: no stretch of a message is so long
        out.push((stretch.len() + 1).min(255) as u8);
        out.extend(stretch);
    }
    out.push(0);
    out
}

/// What a frame says, taken apart without the code that is tested; the zeros around it
/// and its checksum left out.
pub fn unframe(frame: &[u8]) -> Vec<u8> {
    let stuffed: Vec<u8> = frame.iter().copied().filter(|byte| *byte != 0).collect();
    let mut body = Vec::new();
    let mut at = 0;
    while let Some(&code) = stuffed.get(at) {
        let end = (at + usize::from(code)).min(stuffed.len());
        body.extend(&stuffed[at + 1..end.max(at + 1)]);
        at = end.max(at + 1);
        if at < stuffed.len() {
            body.push(0);
        }
    }
    body.truncate(body.len().saturating_sub(4));
    body
}

/// Every frame of a stream whose checksum no longer holds is given one that does, so
/// that what a mutation made of the content is looked at.
pub fn forge(bytes: &[u8]) -> Vec<u8> {
    let frames = bytes.split(|byte| *byte == 0).filter(|stuffed| !stuffed.is_empty());
    frames.flat_map(|stuffed| frame(&unframe(stuffed))).collect()
}

/// Whether what stands between two zeros is a whole frame of an answer, which is not answered.
fn is_answer(stuffed: &[u8]) -> bool {
    let body = unframe(stuffed);
    let whole = frame(&body);
    let is_whole = stuffed.len() <= LONGEST && whole[1..whole.len() - 1] == *stuffed;
    is_whole && body.get(2).is_some_and(|kind| *kind >= 128)
}

/// Sends any bytes to a device whose settings are locked.
///
/// # Panics
///
/// Where a frame gets no answer, or an answer one; where a frame that cannot be read, or a refusal,
/// changes a setting; where anything but the right PIN opens the lock; where a
/// timetable is in force that does not pass its check.
pub fn run(data: &[u8]) -> Became {
    let mut became = Became::default();
    let geometry = Geometry { start: 0, sector_bytes: 4096, sectors: 2 };
    let Ok(device) = Device::start(NorMock::new(8), geometry, Some(Instant::ZERO), Reset::PowerOn)
    else {
        panic!("the ledger does not start")
    };
    let mut device: Pump = device;
    let mut out = Told::default();
    for event in [Event::Wake, Event::SetPin(Some(pin())), Event::Lock] {
        device.handle(Instant::ZERO, event, &mut out);
    }
    let mut line = Line::<N>::NEW;
    let mut is_open = false;
    let mut stuffed = Vec::new();
    for &byte in data {
        let before = *device.controller().book();
        let incoming = line.push(byte);
        let is_asked = byte == 0 && !stuffed.is_empty() && !is_answer(&stuffed);
        assert_eq!(incoming.is_some(), is_asked, "a frame and its answer: {stuffed:?}");
        if byte == 0 {
            stuffed.clear();
        } else {
            stuffed.push(byte);
        }
        match incoming {
            None => {}
            Some(Incoming::Answer { answer: Answer::Unreadable(fault), .. }) => {
                assert!(Fault::ALL.contains(&fault) && !fault.words().is_empty());
                became.unreadable += 1;
            }
            Some(Incoming::Answer { .. }) => became.taken += 1,
            Some(Incoming::Question { .. }) => {
                let Answer::Stands(said) = line.standing(device.controller(), Instant::ZERO) else {
                    panic!("a question gets no answer");
                };
                assert_eq!((said.has_pin, said.is_locked), (true, !is_open), "the lock");
                let gathered = usize::from(said.gathered);
                assert!(gathered <= usize::from(said.announced.unwrap_or(0)), "{said:?}");
                let entries = device.controller().book().timetable.ids().count();
                assert_eq!(usize::from(said.entries), entries, "{said:?}");
                became.asked += 1;
            }
            Some(Incoming::Request { event, .. }) => {
                let opens = event == Event::Unlock(pin());
                let locks = event == Event::Lock;
                let needs = event.needs_unlocking();
                out.0 = None;
                device.handle(Instant::ZERO, event, &mut out);
                is_open = (is_open || opens && out.0.is_none()) && !locks;
                assert!(is_open || !needs || out.0 == Some(Refusal::Locked), "a lock that opens");
                if out.0.is_some() {
                    became.refused += 1;
                } else {
                    became.taken += 1;
                    became.timetables +=
                        u32::from(device.controller().book().timetable != before.timetable);
                }
            }
        }
        let after = device.controller().book();
        if byte != 0 || out.0.is_some() {
            assert_eq!(settings(&before), settings(after), "a refusal changes settings");
        }
        out.0 = None;
        if let Some(head) = &after.head {
            let now = device.controller().now();
            let refusal = after.timetable.first_refusal(head, after.clock.as_ref(), now);
            // a head that was set later may not fit it any more: that is an alarm
            let fits = refusal.is_none() || before.head != after.head || before == *after;
            assert!(fits, "in force, and it does not pass: {refusal:?}");
        }
    }
    became
}

type Settings = (Option<Head>, Timetable<N>, Zone, u16);

fn settings(book: &Book<N, H>) -> Settings {
    (book.head, book.timetable, book.zone, book.epoch)
}
