//! What can be seen of a run from outside: the one stream that the auditor, the
//! timeline and every trace format are made from.
//!
//! Times are true time in ms from the start of the run, never the device's own.

use dosewright_core::calibration::{Measured, Vessel};
use dosewright_core::civil::Local;
use dosewright_core::config::{Container, Head};
use dosewright_core::entry::EntryId;
use dosewright_core::ledger::{Class, SLOT, Slot};
use dosewright_core::lock::Pin;
use dosewright_core::power::Pack;
use dosewright_core::record::Record;
use dosewright_core::timetable::Timetable;
use dosewright_core::units::{Flow, Volume};
use dosewright_core::zone::Zone;

/// Entries that a simulated device has room for.
pub const LINES: usize = 64;

/// What an operator, or an installer at the start, did to the device while it
/// was on. Whether the device accepted it shows in the ledger.
#[derive(Debug, Clone, PartialEq)]
#[allow(clippy::large_enum_variant)]
pub enum DeviceAct {
    /// Set the head's limits and flow.
    SetHead(Head),
    /// Set a flow that was worked out elsewhere.
    SetFlow(Flow),
    /// Set up the container, with what is in it.
    SetContainer(Container, Volume),
    /// Say what is in the container after it was filled.
    Refill(Volume),
    /// Set the zone.
    SetZone(Zone),
    /// Set the clock to a local time of the zone in force.
    SetClock(Local),
    /// Put a whole timetable in force; edits of one entry come this way too.
    SetTimetable(Box<Timetable<LINES>>),
    /// Ask for a dose outside the timetable.
    RunAgain(EntryId),
    /// End the dose of an entry that is under way.
    StopDose(EntryId),
    /// Ask for prime, up to a volume.
    Prime(Volume),
    /// Ask for a calibration run of so many ms.
    Calibrate(u32),
    /// Ask for a calibration run into a vessel.
    CalibrateInto(Vessel),
    /// Ask for a train of calibration pulses into a vessel.
    CalibrateTrain(Vessel),
    /// Enter what was measured after it.
    Measured(Measured),
    /// Say that a new tube set is in.
    TubeChanged,
    /// Enter the PIN.
    Unlock(Pin),
    /// Lock the settings again.
    Lock,
    /// Set the PIN, or take it away.
    SetPin(Option<Pin>),
    /// Let go of prime or calibrate.
    Release,
    /// The remote stop changed.
    RemoteStop(bool),
    /// The leak or tube-burst detector changed.
    Leak(bool),
    /// The low-level contact changed.
    LevelLow(bool),
    /// The motor stalled or drew too much.
    MotorFault,
    /// Acknowledge what is latched.
    Acknowledge,
    /// Set up the battery pack.
    SetPack(Pack),
    /// Say that another pack is in.
    PackChanged,
    /// The converter read the pack once.
    PackRead {
        /// In mV.
        mv: u16,
        /// Under load.
        loaded: bool,
    },
    /// A key was pressed.
    Key {
        /// It was held.
        held: bool,
    },
}

/// One thing seen.
#[derive(Debug, Clone, PartialEq)]
pub enum Observation<'a> {
    /// The supply came on (the device boots) or went off.
    Supply {
        /// Whether it is on now.
        on: bool,
    },
    /// The processor started again without a loss of supply (watchdog).
    Reset,
    /// The clock chip as it stands at this moment. From here until the next
    /// observation of it, its count runs on at `rate_ppb` off true time.
    Chip {
        /// Its count in device ms; the device's elapsed time.
        count_ms: i64,
        /// How fast it counts, in parts per billion above true time.
        rate_ppb: i64,
        /// Whether it has been fed all along since the last observation. Where it
        /// has not, the count is what the device set it to at start.
        feed_kept: bool,
    },
    /// The pump's drive turned on or off.
    Pump {
        /// Whether it is on now.
        on: bool,
    },
    /// The display was lit or went dark.
    Display {
        /// Whether it is lit now.
        lit: bool,
    },
    /// The device's account of the container has changed: what is in it, a dose that
    /// is open not taken off. It is told while neither prime nor calibrate runs.
    Account {
        /// What is in it.
        level: Volume,
    },
    /// A slot of the ledger was written (whole, or torn by a cut), or a fault
    /// changed it.
    Slot {
        /// The slot's address in the memory.
        address: u32,
        /// The bytes as they now stand in the memory.
        bytes: &'a [u8],
    },
    /// The device raised the alarm *memory fault*, or ended it: of it there is no record.
    MemoryFault {
        /// Whether it is on now.
        on: bool,
    },
    /// The device does not start: its memory holds no ledger of its own, and it stays off.
    NotStarted,
    /// A slot of the ledger was read wrongly as often in a row as the device reads it: to
    /// the device it is damaged for as long as it does what it was called for, and in the
    /// memory it is as it was.
    Unread {
        /// The slot's address in the memory.
        address: u32,
    },
    /// A sector of the ledger's memory was erased, or was to be: a worn page, and an erase that
    /// failed, leave something of what was there.
    Erased {
        /// The sector's address in the memory.
        address: u32,
        /// The addresses of its slots that are not blank.
        left: &'a [u32],
    },
    /// The number that an entry is about to be brought in by. The device has no names, and
    /// where it refuses the entry, the next one gets the number.
    Named {
        /// The number.
        id: EntryId,
        /// The name.
        name: &'a str,
    },
    /// Something was done to the device while it was on.
    Act(&'a DeviceAct),
    /// The device is called, or stopped, later than it asked to be called, by so
    /// many true ms. It comes before whatever the device is called for.
    LateWake {
        /// How late, in ms.
        by_ms: u64,
    },
    /// The device's logic was called (only for traces that want it).
    Wake,
}

/// Something that looks on.
pub trait Observer {
    /// Takes in one observation; `at_ms` never decreases.
    fn see(&mut self, at_ms: u64, what: &Observation<'_>);

    /// Whether the run should end here, before its time; asked at every step.
    fn wants_end(&self) -> bool {
        false
    }
}

/// The records among the slots that are seen, each once: some are put into two slots, with
/// one number.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Records {
    last: u32,
}

impl Records {
    /// The record that was written with these bytes of a slot, if it is a whole one and new.
    pub fn see(&mut self, bytes: &[u8]) -> Option<Record> {
        let slot = <&[u8; SLOT]>::try_from(bytes).ok()?;
        let Slot::Good { seq, class, payload } = Slot::decode(slot) else { return None };
        if class != Class::Record || seq <= self.last {
            return None;
        }
        self.last = seq;
        Record::decode(&payload)
    }
}

/// When the pump went on and off, in true ms.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct PumpEdges(pub Vec<(u64, bool)>);

impl Observer for PumpEdges {
    fn see(&mut self, at_ms: u64, what: &Observation<'_>) {
        if let Observation::Pump { on } = what {
            self.0.push((at_ms, *on));
        }
    }
}
