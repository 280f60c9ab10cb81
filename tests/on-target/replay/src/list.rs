//! The list of events as bytes.
//!
//! `DWEV1\n`, then one event after another: a kind in one byte, the instant in
//! eight, and what the kind needs. Settings are stored as the ledger's own records.
//! Numbers are little-endian.

use dosewright_core::calibration::{Amount, Measured, Vessel};
use dosewright_core::civil::Local;
use dosewright_core::config::{Container, Head};
use dosewright_core::entry::{Entry, EntryId};
use dosewright_core::record::{Adopted, ClosedList, RECORD_BYTES, Record, Staged};
use dosewright_core::shell::Signal;
use dosewright_core::time::Instant;
use dosewright_core::timetable::Timetable;
use dosewright_core::units::{Flow, Volume};
use dosewright_core::zone::Zone;

use crate::LINES;

/// What a list begins with.
pub const MAGIC: [u8; 6] = *b"DWEV1\n";

/// How the device starts again after a cut.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Restart {
    /// Whether the watchdog fired; else the supply was lost.
    pub watchdog: bool,
    /// The instant at which the device starts again; `None` where the clock chip
    /// lost its feed.
    pub count: Option<Instant>,
}

/// One event.
#[derive(Clone, Copy, PartialEq, Debug)]
#[allow(clippy::large_enum_variant)]
pub enum What {
    /// The end of the list.
    End,
    /// The head is set.
    Head(Head),
    /// The flow is set.
    Flow(Flow),
    /// The container is set up, with what is in it.
    Container(Container, Volume),
    /// The container was filled, to this level.
    Refill(Volume),
    /// The zone is set.
    Zone(Zone),
    /// The clock is set.
    Clock(Local),
    /// A timetable is put in force.
    Timetable(Timetable<LINES>),
    /// An operator asks for a dose.
    RunAgain(EntryId),
    /// An operator stops a dose.
    StopDose(EntryId),
    /// An operator asks for prime.
    Prime(Volume),
    /// An operator asks for a calibration run of so many ms.
    Calibrate(u32),
    /// An operator asks for a calibration run into a vessel.
    CalibrateInto(Vessel),
    /// An operator asks for a train of calibration pulses into a vessel.
    CalibrateTrain(Vessel),
    /// An operator enters a reading.
    Measured(Measured),
    /// A new tube set is in.
    TubeChanged,
    /// An interrupt handler has something to say.
    Signal(Signal),
    /// The next call comes no earlier than this instant.
    Late(Instant),
    /// The processor stops, and starts again.
    Cut(Restart),
}

/// An event and its instant.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Event {
    /// When, by the device's clock.
    pub at: Instant,
    /// What.
    pub what: What,
}

mod kind {
    pub(super) const END: u8 = 0;
    pub(super) const HEAD: u8 = 1;
    pub(super) const FLOW: u8 = 2;
    pub(super) const ZONE: u8 = 3;
    pub(super) const CLOCK: u8 = 4;
    pub(super) const TIMETABLE: u8 = 5;
    pub(super) const RUN_AGAIN: u8 = 6;
    pub(super) const PRIME: u8 = 7;
    pub(super) const CALIBRATE: u8 = 8;
    pub(super) const SIGNAL: u8 = 9;
    pub(super) const LATE: u8 = 10;
    pub(super) const CUT: u8 = 11;
    pub(super) const CONTAINER: u8 = 12;
    pub(super) const REFILL: u8 = 13;
    pub(super) const CALIBRATE_INTO: u8 = 14;
    pub(super) const MEASURED: u8 = 15;
    pub(super) const TUBE_CHANGED: u8 = 16;
    pub(super) const CALIBRATE_TRAIN: u8 = 17;
    pub(super) const STOP_DOSE: u8 = 18;
}

/// No instant.
const NONE: i64 = i64::MIN;

impl Event {
    /// Writes the event with `put`.
    pub fn encode(&self, put: &mut impl FnMut(&[u8])) {
        let mut head = |kind: u8| {
            put(&[kind]);
            put(&self.at.as_ms().to_le_bytes());
        };
        match &self.what {
            What::End => head(kind::END),
            What::Head(value) => {
                head(kind::HEAD);
                put(&Record::SnapHead(*value).encode());
            }
            What::Flow(flow) => {
                head(kind::FLOW);
                put(&flow.as_nl_per_min().to_le_bytes());
            }
            What::Container(container, level) => {
                head(kind::CONTAINER);
                let (at, container, level) = (self.at, *container, *level);
                put(&Record::Container { at, container, level, pumped_ms: None }.encode());
            }
            What::Refill(level) => {
                head(kind::REFILL);
                put(&level.as_nl().to_le_bytes());
            }
            What::Zone(zone) => {
                head(kind::ZONE);
                put(&zone.encode());
            }
            What::Clock(local) => {
                head(kind::CLOCK);
                put(&local.as_ms().to_le_bytes());
            }
            What::Timetable(timetable) => {
                head(kind::TIMETABLE);
                put(&[timetable.entries().count() as u8]);
                for entry in timetable.entries() {
                    put(&staged(&entry).encode());
                }
                put(&Record::StagedClosed(timetable.closed).encode());
                let adopted = Adopted {
                    at: Instant::ZERO,
                    ceiling: timetable.ceiling,
                    written: 0,
                    cleared: 0,
                    closed_staged: true,
                    kept_ceiling: Volume::ZERO,
                };
                put(&Record::Adopted(adopted).encode());
            }
            What::RunAgain(id) => {
                head(kind::RUN_AGAIN);
                put(&id.0.to_le_bytes());
            }
            What::StopDose(id) => {
                head(kind::STOP_DOSE);
                put(&id.0.to_le_bytes());
            }
            What::Prime(volume) => {
                head(kind::PRIME);
                put(&volume.as_nl().to_le_bytes());
            }
            What::Calibrate(ms) => {
                head(kind::CALIBRATE);
                put(&ms.to_le_bytes());
            }
            What::CalibrateInto(vessel) | What::CalibrateTrain(vessel) => {
                let train = matches!(self.what, What::CalibrateTrain(_));
                head(if train { kind::CALIBRATE_TRAIN } else { kind::CALIBRATE_INTO });
                put(&vessel.capacity.as_nl().to_le_bytes());
                put(&vessel.reading_error.as_nl().to_le_bytes());
            }
            What::Measured(measured) => {
                head(kind::MEASURED);
                put(&[u8::from(measured.as_found)]);
                put(&measured.reading_error.as_nl().to_le_bytes());
                let (what, figure, with) = match measured.amount {
                    Amount::Volume(volume) => (0, volume.as_nl(), 0),
                    Amount::Water { mass_mg, tenths_of_degree } => {
                        (1, u64::from(mass_mg), tenths_of_degree)
                    }
                    Amount::Product { mass_mg, gravity_per_mille } => {
                        (2, u64::from(mass_mg), gravity_per_mille)
                    }
                };
                put(&[what]);
                put(&figure.to_le_bytes());
                put(&with.to_le_bytes());
            }
            What::TubeChanged => head(kind::TUBE_CHANGED),
            What::Signal(signal) => {
                head(kind::SIGNAL);
                put(&[signal_code(*signal)]);
            }
            What::Late(until) => {
                head(kind::LATE);
                put(&until.as_ms().to_le_bytes());
            }
            What::Cut(restart) => {
                head(kind::CUT);
                put(&[u8::from(restart.watchdog)]);
                put(&restart.count.map_or(NONE, Instant::as_ms).to_le_bytes());
            }
        }
    }
}

fn staged(entry: &Entry) -> Record {
    Record::Staged(Staged { line: 0, entry: *entry, revision: 1, mark: None, edited: false })
}

const SIGNALS: [Signal; 10] = [
    Signal::Timer,
    Signal::RemoteStop(true),
    Signal::RemoteStop(false),
    Signal::Leak(true),
    Signal::Leak(false),
    Signal::MotorFault,
    Signal::Release,
    Signal::Acknowledge,
    Signal::LevelLow(true),
    Signal::LevelLow(false),
];

fn signal_code(signal: Signal) -> u8 {
    SIGNALS.iter().position(|&s| s == signal).map_or(0, |at| at as u8)
}

/// Reads a list, event by event.
#[derive(Clone, Debug)]
pub struct Reader<'a> {
    rest: &'a [u8],
}

impl<'a> Reader<'a> {
    /// A list from its first byte; `None` where it is none.
    pub fn new(bytes: &'a [u8]) -> Option<Self> {
        bytes.strip_prefix(MAGIC.as_slice()).map(|rest| Self { rest })
    }

    /// How many bytes are left to read: where to go on after a restart.
    pub const fn left(&self) -> usize {
        self.rest.len()
    }

    /// Goes on where so many bytes were left.
    pub fn go_on(&mut self, left: usize) {
        let read = self.rest.len().saturating_sub(left);
        self.rest = self.rest.get(read..).unwrap_or_default();
    }

    /// The next event; `None` where the bytes are none.
    pub fn next_event(&mut self) -> Option<Event> {
        let kind = self.array::<1>()?[0];
        let at = Instant::from_ms(self.i64()?);
        let what = match kind {
            kind::END => What::End,
            kind::HEAD => match self.record()? {
                Record::SnapHead(head) => What::Head(head),
                _ => return None,
            },
            kind::FLOW => What::Flow(Flow::from_nl_per_min(self.u32()?)?),
            kind::CONTAINER => match self.record()? {
                Record::Container { container, level, .. } => What::Container(container, level),
                _ => return None,
            },
            kind::REFILL => What::Refill(self.volume()?),
            kind::ZONE => What::Zone(Zone::decode(&self.array()?)?),
            kind::CLOCK => What::Clock(Local::from_ms(self.i64()?)),
            kind::TIMETABLE => What::Timetable(self.timetable()?),
            kind::RUN_AGAIN => What::RunAgain(EntryId(u16::from_le_bytes(self.array()?))),
            kind::STOP_DOSE => What::StopDose(EntryId(u16::from_le_bytes(self.array()?))),
            kind::PRIME => What::Prime(self.volume()?),
            kind::CALIBRATE => What::Calibrate(self.u32()?),
            kind::CALIBRATE_INTO => What::CalibrateInto(Vessel {
                capacity: self.volume()?,
                reading_error: self.volume()?,
            }),
            kind::CALIBRATE_TRAIN => What::CalibrateTrain(Vessel {
                capacity: self.volume()?,
                reading_error: self.volume()?,
            }),
            kind::MEASURED => What::Measured(self.measured()?),
            kind::TUBE_CHANGED => What::TubeChanged,
            kind::SIGNAL => What::Signal(*SIGNALS.get(usize::from(self.array::<1>()?[0]))?),
            kind::LATE => What::Late(Instant::from_ms(self.i64()?)),
            kind::CUT => {
                let watchdog = self.array::<1>()?[0] != 0;
                let count = self.i64().map(|ms| (ms != NONE).then(|| Instant::from_ms(ms)))?;
                What::Cut(Restart { watchdog, count })
            }
            _ => return None,
        };
        Some(Event { at, what })
    }

    fn timetable(&mut self) -> Option<Timetable<LINES>> {
        let count = self.array::<1>()?[0];
        let mut timetable = Timetable::EMPTY;
        for _ in 0..count {
            let Record::Staged(staged) = self.record()? else { return None };
            timetable.put(staged.entry).ok()?;
        }
        let Record::StagedClosed(closed) = self.record()? else { return None };
        let Record::Adopted(adopted) = self.record()? else { return None };
        let closed: ClosedList = closed;
        (timetable.closed, timetable.ceiling) = (closed, adopted.ceiling);
        Some(timetable)
    }

    fn measured(&mut self) -> Option<Measured> {
        let as_found = self.array::<1>()?[0] != 0;
        let reading_error = self.volume()?;
        let what = self.array::<1>()?[0];
        let figure = u64::from_le_bytes(self.array()?);
        let with = u16::from_le_bytes(self.array()?);
        let mass_mg = u32::try_from(figure);
        let amount = match what {
            0 => Amount::Volume(Volume::from_nl(figure)),
            1 => Amount::Water { mass_mg: mass_mg.ok()?, tenths_of_degree: with },
            2 => Amount::Product { mass_mg: mass_mg.ok()?, gravity_per_mille: with },
            _ => return None,
        };
        Some(Measured { amount, reading_error, as_found })
    }

    fn volume(&mut self) -> Option<Volume> {
        self.array().map(|bytes| Volume::from_nl(u64::from_le_bytes(bytes)))
    }

    fn record(&mut self) -> Option<Record> {
        Record::decode(&self.array::<RECORD_BYTES>()?)
    }

    fn u32(&mut self) -> Option<u32> {
        self.array().map(u32::from_le_bytes)
    }

    fn i64(&mut self) -> Option<i64> {
        self.array().map(i64::from_le_bytes)
    }

    fn array<const L: usize>(&mut self) -> Option<[u8; L]> {
        let (head, rest) = self.rest.split_first_chunk::<L>()?;
        self.rest = rest;
        Some(*head)
    }
}
