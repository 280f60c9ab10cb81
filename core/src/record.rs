//! What the ledger holds: records of a fixed size, each complete in itself.
//!
//! The controller's durable state is the fold of these records (see
//! [`crate::book`]), so a record says everything that its event changed: the
//! mark after it, not a step of the mark; the pumping so far, not the last
//! pulse alone. Losing one record therefore loses one event, never the sense of
//! the next.

mod closed;
mod codec;
mod fields;
mod noted;
mod packed;
mod parts;
#[cfg(test)]
mod tests;

use crate::cause::Cause;
use crate::config::{Container, Head};
use crate::entry::{Entry, EntryId, Nominal};
use crate::lock::{Lock, PinWord};
use crate::motor::Motor;
use crate::power::{Gauge, Pack};
use crate::stock::Stock;
use crate::time::{Instant, Utc};
use crate::tube::{Found, Tube};
use crate::units::{Carry, Flow, Volume};
use crate::zone::Zone;

pub use closed::ClosedList;
pub use noted::{Act, Alarm, NewPack, Reset};
pub use packed::PackedState;
pub(crate) use packed::{FAR_DAYS, PackedDelivery, PackedEntry, PackedWeekly};

/// Bytes in an encoded record.
pub const RECORD_BYTES: usize = 56;
/// Stretches of closed dates that a timetable can hold.
pub const MOST_CLOSED: usize = 12;
/// Deliveries in one record of a snapshot.
pub const DELIVERIES_A_RECORD: usize = 2;
/// Pump starts in one record of a snapshot.
pub const STARTS_A_RECORD: usize = 8;

/// Which occurrence of which entry: a due's name in the ledger.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct DueKey {
    /// The entry.
    pub id: EntryId,
    /// The entry's revision when the due was born.
    pub revision: u16,
    /// The clock epoch in which it was born.
    pub epoch: u16,
    /// Its place in the entry's own order. For a dose an operator asked for,
    /// the running number of such doses.
    pub nominal: Nominal,
}

/// The least nominal that has not passed; `None` until the clock is first set
/// after the entry was accepted.
pub type Mark = Option<Nominal>;

/// How a due ended.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum OutcomeKind {
    /// The pump ran for the whole dose.
    Dosed,
    /// The pump ran for some of it.
    Part(Cause),
    /// The pump did not run for it.
    Skipped(Cause),
}

impl OutcomeKind {
    /// Why the dose was skipped or is a part dose.
    pub const fn cause(self) -> Option<Cause> {
        match self {
            Self::Dosed => None,
            Self::Part(cause) | Self::Skipped(cause) => Some(cause),
        }
    }
}

/// The one outcome of a due, or of a stretch of skipped dues.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Outcome {
    /// Line of the timetable.
    pub line: u8,
    /// The due, or the first of the stretch.
    pub due: DueKey,
    /// The last due of the stretch; the due itself where there is one.
    pub last: Nominal,
    /// How many dues it stands for, at least 1. A record with the same first
    /// due and a higher count takes the place of the earlier one.
    pub count: u32,
    /// When it was written.
    pub at: Instant,
    /// The instant of the due, or of the first of the stretch.
    pub due_at: Instant,
    /// When the first pulse began, counted in ms from `due_at`; 0 where none did.
    pub begun_after_ms: u32,
    /// The least that can have been delivered.
    pub least: Volume,
    /// The most that can have been delivered.
    pub most: Volume,
    /// How it ended.
    pub kind: OutcomeKind,
    /// Whether an operator asked for the dose, outside the timetable.
    pub asked: bool,
    /// Restarts while the dose was open.
    pub restarts: u8,
    /// The entry's mark after it.
    pub mark: Mark,
    /// The remainder that the entry carries on.
    pub carry: Carry,
}

/// The intent to run one pulse, written before the pump starts (D4). It also is
/// the checkpoint of everything the dose has done before.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Pulse {
    /// Line of the timetable.
    pub line: u8,
    /// The due.
    pub due: DueKey,
    /// The entry's mark.
    pub mark: Mark,
    /// When the intent was written.
    pub at: Instant,
    /// The instant of the due.
    pub due_at: Instant,
    /// When the dose began, counted in ms from `due_at`.
    pub begun_after_ms: u32,
    /// Length of this pulse.
    pub on_ms: u32,
    /// The least pumping before this pulse.
    pub least_ms: u32,
    /// The most pumping before this pulse.
    pub most_ms: u32,
    /// The pumping that the dose asks for in all.
    pub dose_ms: u32,
    /// The flow the dose began with.
    pub flow: Flow,
    /// Whether it is the first of its dose.
    pub first: bool,
    /// Whether an operator asked for the dose.
    pub asked: bool,
    /// Why the dose was made smaller than its entry says, where it was.
    pub cut: Option<Cause>,
    /// Restarts so far.
    pub restarts: u8,
}

/// A due that could not begin at once and waits.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Born {
    /// Line of the timetable.
    pub line: u8,
    /// The due.
    pub due: DueKey,
    /// The entry's mark.
    pub mark: Mark,
    /// When it was written.
    pub at: Instant,
    /// The instant of the due.
    pub due_at: Instant,
    /// What keeps it waiting.
    pub cause: Cause,
}

/// A timetable entry as it is put in force on a line.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Staged {
    /// Line of the timetable.
    pub line: u8,
    /// The entry.
    pub entry: Entry,
    /// Its revision.
    pub revision: u16,
    /// Its mark at acceptance.
    pub mark: Mark,
    /// Whether it changes an entry that was there before.
    pub edited: bool,
}

/// The end of a change of timetable: from here on the staged lines are in force.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Adopted {
    /// When.
    pub at: Instant,
    /// The operator's own ceiling, where one was set.
    pub ceiling: Option<Volume>,
    /// Lines written by the staged records before this one, a bit a line.
    pub written: u64,
    /// Lines cleared, a bit a line.
    pub cleared: u64,
    /// Whether a record of closed dates was staged.
    pub closed_staged: bool,
    /// The ceiling that goes on counting beside the new one, as [`crate::book::Book::kept_ceiling`]
    /// says; nothing where somebody sets one, or had set it.
    pub kept_ceiling: Volume,
}

/// When an entry's last delivery began.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Begin {
    /// In elapsed time.
    pub at: Instant,
    /// By the clock, where it was set.
    pub utc: Option<Utc>,
    /// How often the clock chip had lost its feed by then.
    pub losses: u16,
}

/// A volume delivered, kept for the repeat guard and the ceiling.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Delivery {
    /// The entry.
    pub id: EntryId,
    /// When it began.
    pub begin: Begin,
    /// When it began, counted in ms from the instant of its due.
    pub begun_after_ms: u32,
    /// The most that can have been delivered.
    pub volume: Volume,
}

/// A due that waits, as a line keeps it.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Waiting {
    /// The entry it was born of.
    pub id: EntryId,
    /// The revision it was born under.
    pub revision: u16,
    /// The epoch it was born in.
    pub epoch: u16,
    /// Its place in the entry's order.
    pub nominal: Nominal,
    /// Its instant.
    pub due_at: Instant,
    /// What kept it waiting when it was born.
    pub cause: Cause,
}

impl Waiting {
    /// Its name in the ledger.
    pub const fn key(&self) -> DueKey {
        let Self { id, revision, epoch, nominal, .. } = *self;
        DueKey { id, revision, epoch, nominal }
    }
}

/// The stretch of closed dues that the last outcome of a line stands for.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct ClosedRun {
    /// The first due of it.
    pub first: DueKey,
    /// The first one's instant.
    pub due_at: Instant,
    /// How many dues.
    pub count: u32,
}

/// Everything durable about a line but the entry itself.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug, Default)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct LineState {
    /// Revision of the entry in force.
    pub revision: u16,
    /// The entry's mark.
    pub mark: Mark,
    /// The entry was edited and no due of the new revision was judged yet.
    pub edited: bool,
    /// The remainder that is carried on.
    pub carry: Carry,
    /// The last delivery's begin.
    pub last: Option<Begin>,
    /// A due that waits.
    pub waiting: Option<Waiting>,
    /// The count of closed dues that the last outcome stands for.
    pub closed_run: Option<ClosedRun>,
}

/// One record of the ledger.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[allow(clippy::large_enum_variant)]
pub enum Record {
    /// The logic started.
    Boot {
        /// When; after a loss of the clock chip's feed, the last stamp.
        at: Instant,
        /// Whether the clock chip was fed all along.
        feed_kept: bool,
        /// Why it started.
        reset: Reset,
    },
    /// The clock or the zone was set: a clock epoch opens.
    Clock {
        /// When, in elapsed time.
        at: Instant,
        /// The new epoch's number.
        epoch: u16,
        /// What the clock says from then on; `None` while it is still unset.
        utc: Option<Utc>,
        /// The zone in force.
        zone: Zone,
    },
    /// New head limits or a new flow are in force.
    Head {
        /// When.
        at: Instant,
        /// The head.
        head: Head,
    },
    /// A line of a timetable that an [`Adopted`] record will put in force.
    Staged(Staged),
    /// The closed dates that an [`Adopted`] record will put in force.
    StagedClosed(ClosedList),
    /// The staged records before this one are in force.
    Adopted(Adopted),
    /// A due waits.
    Born(Born),
    /// A pulse is about to run.
    Pulse(Pulse),
    /// A due has ended.
    Outcome(Outcome),
    /// A stamp of elapsed time.
    Stamp {
        /// When.
        at: Instant,
    },
    /// An operator's act.
    Act {
        /// When.
        at: Instant,
        /// What.
        act: Act,
        /// Its figure, as [`Act`] says.
        ms: u32,
    },
    /// An alarm came or went.
    Alarm {
        /// When.
        at: Instant,
        /// Which.
        alarm: Alarm,
        /// Whether it is on.
        on: bool,
        /// Its figure, as [`Alarm`] says.
        detail: u64,
    },
    /// An operator said what the container is, and what is in it.
    Container {
        /// When.
        at: Instant,
        /// The container.
        container: Container,
        /// What is in it.
        level: Volume,
        /// How much the open dose had pumped by then at most, in ms below 4 294 967 295,
        /// where the pump was off: `None` where its last intent says it.
        pumped_ms: Option<u32>,
    },
    /// A calibration found a flow (O2).
    Calibration {
        /// What it found.
        found: Found,
        /// Whether the flow is in force from then on; else it is how the head was
        /// found.
        in_force: bool,
        /// The lead of each start that comes in force with the flow, in ms
        /// ([`Head::lead_ms`]); a run of one point leaves it as it was.
        lead_ms: u16,
    },
    /// The PIN was set, or taken away.
    Pin {
        /// When.
        at: Instant,
        /// The word that it is judged by.
        check: PinWord,
    },
    /// The motor stalled or drew too much.
    Motor {
        /// When.
        at: Instant,
        /// How many faults in a row it makes, as [`Motor`] counts them.
        faults: u8,
    },
    /// A battery pack was set up, put in, or recognised.
    Pack {
        /// When.
        at: Instant,
        /// The pack.
        pack: Pack,
        /// How it comes to be there.
        how: NewPack,
    },
    /// Means of the pack's voltage, in mV.
    PackMeans {
        /// When the last reading of them was taken.
        at: Instant,
        /// At rest; 0 where it was never read.
        rest_mv: u16,
        /// Under load.
        load_mv: u16,
    },
    /// The display was lit.
    Lit {
        /// When it was written.
        at: Instant,
        /// For how long, in ms.
        ms: u32,
    },
    /// Snapshot: the clock.
    SnapClock {
        /// When the snapshot was taken.
        at: Instant,
        /// The epoch in force.
        epoch: u16,
        /// What the clock says at that instant.
        utc: Option<Utc>,
        /// How often the clock chip lost its feed.
        losses: u16,
        /// Weekly dues up to this instant are not caught up (D9).
        not_before: Instant,
        /// The zone in force.
        zone: Zone,
    },
    /// Snapshot: what belongs to no line.
    SnapGlobals {
        /// The operator's own ceiling.
        ceiling: Option<Volume>,
        /// The least entry number never used.
        next_id: u16,
        /// Doses that operators have asked for.
        asks: u32,
        /// Lines whose settings were damaged, a bit a line.
        damaged: u64,
        /// Whether the closed dates were damaged.
        closed_damaged: bool,
        /// Alarms that are on, a bit each.
        alarms: u16,
        /// Until when the pump rests after its last run.
        rest_until: Instant,
        /// Lines that an entry is on, a bit a line.
        occupied: u64,
        /// The motor's faults; `None` in a store of format 1.
        motor: Option<Motor>,
        /// The ceiling that goes on counting beside the one of the timetable.
        kept_ceiling: Volume,
        /// It counts for dues before this instant.
        kept_until: Instant,
    },
    /// Snapshot: the head.
    SnapHead(Head),
    /// Snapshot: the closed dates.
    SnapClosed(ClosedList),
    /// Snapshot: a line's entry.
    SnapEntry(Staged),
    /// Snapshot: a line's state.
    SnapLine {
        /// Line of the timetable.
        line: u8,
        /// The entry.
        id: EntryId,
        /// Its state.
        state: LineState,
    },
    /// Snapshot: deliveries of the last hours.
    SnapDeliveries([Option<Delivery>; DELIVERIES_A_RECORD]),
    /// Snapshot: pump starts of the last hour.
    SnapStarts([Option<Instant>; STARTS_A_RECORD]),
    /// Snapshot: the last intent of the dose that is open.
    SnapOpen {
        /// The intent, its figures as the fold has them.
        pulse: Pulse,
        /// Whether the clock chip lost its feed since.
        lost: bool,
        /// Whether that pulse may not have run in full.
        in_doubt: bool,
    },
    /// Snapshot: the container and its account.
    SnapStock(Stock),
    /// Snapshot: the tube set.
    SnapTube(Tube),
    /// Snapshot: the lock.
    SnapLock(Lock),
    /// Snapshot: the battery pack's gauge.
    SnapGauge(Gauge),
}

impl Record {
    /// Whether it goes into two slots of the ledger: nothing that comes later shows that a
    /// setting was lost, or that a dose, prime or calibration run had begun, the clock was
    /// unset, the motor failed, or the container stood at its contact, and the device would run
    /// on by what was before it (M2, D4).
    pub const fn goes_twice(&self) -> bool {
        match self {
            Self::Pulse(pulse) => pulse.first,
            Self::Boot { feed_kept, .. } => !*feed_kept,
            Self::Alarm { alarm: Alarm::LowLevel, on, .. } => *on,
            Self::Act { act, .. } => act.begins_a_run(),
            Self::Clock { .. }
            | Self::Head { .. }
            | Self::Adopted(_)
            | Self::Container { .. }
            | Self::Calibration { .. }
            | Self::Pin { .. }
            | Self::Motor { .. }
            | Self::Pack { .. } => true,
            _ => false,
        }
    }

    /// The record's number in the ledger; those of snapshots are 32 and above.
    pub const fn kind(&self) -> u8 {
        match self {
            Self::Boot { .. } => 1,
            Self::Clock { .. } => 2,
            Self::Head { .. } => 3,
            Self::Staged(_) => 4,
            Self::StagedClosed(_) => 5,
            Self::Adopted(_) => 6,
            Self::Born(_) => 7,
            Self::Pulse(_) => 8,
            Self::Outcome(_) => 9,
            Self::Stamp { .. } => 10,
            Self::Act { .. } => 11,
            Self::Alarm { .. } => 12,
            Self::Container { .. } => 13,
            Self::Motor { .. } => 14,
            Self::Calibration { .. } => 15,
            Self::Pin { .. } => 16,
            Self::Pack { .. } => 17,
            Self::PackMeans { .. } => 18,
            Self::Lit { .. } => 19,
            Self::SnapClock { .. } => 32,
            Self::SnapGlobals { .. } => 33,
            Self::SnapHead(_) => 34,
            Self::SnapClosed(_) => 35,
            Self::SnapEntry(_) => 36,
            Self::SnapLine { .. } => 37,
            Self::SnapDeliveries(_) => 38,
            Self::SnapStarts(_) => 39,
            Self::SnapOpen { .. } => 40,
            Self::SnapStock(_) => 41,
            Self::SnapTube(_) => 42,
            Self::SnapLock(_) => 43,
            Self::SnapGauge(_) => 44,
        }
    }

    /// When it was written, where it says so.
    pub const fn at(&self) -> Option<Instant> {
        match self {
            Self::Boot { at, .. }
            | Self::Clock { at, .. }
            | Self::Head { at, .. }
            | Self::Stamp { at }
            | Self::Act { at, .. }
            | Self::Alarm { at, .. }
            | Self::Container { at, .. }
            | Self::Motor { at, .. }
            | Self::Pin { at, .. }
            | Self::Pack { at, .. }
            | Self::PackMeans { at, .. }
            | Self::Lit { at, .. }
            | Self::SnapClock { at, .. } => Some(*at),
            Self::Calibration { found, .. } => Some(found.at),
            Self::Adopted(a) => Some(a.at),
            Self::Born(b) => Some(b.at),
            Self::Pulse(p) | Self::SnapOpen { pulse: p, .. } => Some(p.at),
            Self::Outcome(o) => Some(o.at),
            Self::Staged(_)
            | Self::StagedClosed(_)
            | Self::SnapGlobals { .. }
            | Self::SnapHead(_)
            | Self::SnapClosed(_)
            | Self::SnapEntry(_)
            | Self::SnapLine { .. }
            | Self::SnapDeliveries(_)
            | Self::SnapStarts(_)
            | Self::SnapStock(_)
            | Self::SnapTube(_)
            | Self::SnapLock(_)
            | Self::SnapGauge(_) => None,
        }
    }
}
