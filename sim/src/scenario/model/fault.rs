//! `[[fault]]`: what goes wrong, and when.

use dosewright_core::time::Duration;
use dosewright_core::units::Flow;

use super::Moment;
use crate::diagnose::Spans;

/// What the memory does when it is cut off.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub enum MemoryWork {
    /// Writes.
    Write,
    /// Erases.
    Erase,
}

impl MemoryWork {
    /// All of them.
    pub const ALL: [Self; 2] = [Self::Write, Self::Erase];

    /// Its word in the file.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Write => "write",
            Self::Erase => "erase",
        }
    }
}

/// How a reading of the memory goes wrong.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub enum Misread {
    /// One bit is the other way.
    Bit,
    /// The driver reports an error.
    Error,
    /// All ones, as an erased slot reads.
    Blank,
}

impl Misread {
    /// All of them.
    pub const ALL: [Self; 3] = [Self::Bit, Self::Error, Self::Blank];

    /// Its word in the file.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Bit => "bit",
            Self::Error => "error",
            Self::Blank => "blank",
        }
    }
}

/// How much a write or an erase that fails has done.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub enum Done {
    /// Nothing.
    Nothing,
    /// The first half.
    Half,
    /// All of it: it is the report that is wrong.
    All,
}

impl Done {
    /// All of them.
    pub const ALL: [Self; 3] = [Self::Nothing, Self::Half, Self::All];

    /// Its word in the file.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Nothing => "nothing",
            Self::Half => "half",
            Self::All => "all",
        }
    }
}

/// Which calls of the memory go wrong.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub struct Calls {
    /// So many of them go by before.
    pub after: u32,
    /// So many in a row go wrong.
    pub times: u32,
    /// The fault waits no longer than this for them.
    pub within: Option<Duration>,
}

/// A fault. Where `lasts` is optional, `None` is to the end of the run, or
/// until an operator's act ends it.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub enum FaultKind {
    /// The supply is off; the clock chip stays fed.
    SupplyLoss {
        /// For so long.
        lasts: Duration,
    },
    /// The supply is cut in the middle of the first write, or erase, from the
    /// moment on.
    MemoryTear {
        /// Which of the two.
        during: MemoryWork,
        /// After so many bytes of a write, or steps of an erase.
        after_bytes: u32,
        /// And is off for so long.
        lasts: Duration,
        /// It waits no longer than this for such work.
        within: Option<Duration>,
    },
    /// A bit of the memory turns over.
    BitFlip {
        /// Byte address in the ledger's memory.
        address: u32,
        /// 0 to 7.
        bit: u8,
    },
    /// A sector takes no more writes.
    PageWorn {
        /// Which, from 0.
        sector: u32,
    },
    /// The clock chip loses its feed: the clock is unset, and the time counts zero.
    ClockLost {
        /// For so long.
        lasts: Duration,
    },
    /// The logic is called late.
    LateWake {
        /// By so much.
        by: Duration,
        /// So many times in a row.
        times: u32,
    },
    /// The logic is called though nothing asks for it.
    SpuriousWake {
        /// So many times,
        times: u32,
        /// spread over so long.
        over: Duration,
    },
    /// The watchdog resets the processor.
    WatchdogReset,
    /// The low-level contact says low.
    ContainerLow {
        /// For so long.
        lasts: Option<Duration>,
    },
    /// The low-level contact bounces.
    LevelBounce {
        /// So many times,
        times: u32,
        /// spread over so long.
        over: Duration,
    },
    /// The motor does not turn.
    MotorStall {
        /// For so long.
        lasts: Option<Duration>,
    },
    /// The motor draws too much.
    OverCurrent {
        /// For so long.
        lasts: Option<Duration>,
    },
    /// The remote stop is on.
    RemoteStop {
        /// For so long.
        lasts: Option<Duration>,
    },
    /// The leak or tube-burst detector is on.
    Leak {
        /// For so long.
        lasts: Option<Duration>,
    },
    /// The rollers lose their squeeze: the container siphons out.
    SqueezeLost {
        /// At this flow; `None` as tube and product let it run.
        flow: Option<Flow>,
        /// For so long.
        lasts: Option<Duration>,
    },
    /// The foot valve leaks: the suction tube drains back between doses.
    FootValveLeak {
        /// At this flow.
        flow: Flow,
        /// For so long.
        lasts: Option<Duration>,
    },
    /// More events at once than the queue holds.
    QueueFlood {
        /// So many.
        events: u32,
    },
    /// A reading of the memory goes wrong; what is in it is right.
    Misread {
        /// Which readings.
        calls: Calls,
        /// In which way.
        how: Misread,
    },
    /// A write fails.
    WriteFailure {
        /// Which writes.
        calls: Calls,
        /// What it has done.
        done: Done,
        /// The driver reports an error.
        reported: bool,
    },
    /// An erase fails.
    EraseFailure {
        /// Which erases.
        calls: Calls,
        /// What it has done.
        done: Done,
        /// The driver reports an error.
        reported: bool,
    },
}

impl FaultKind {
    /// The keys of all kinds.
    pub const WORDS: [&'static str; 20] = [
        "supply_loss",
        "memory_tear",
        "bit_flip",
        "page_worn",
        "clock_lost",
        "late_wake",
        "spurious_wake",
        "watchdog_reset",
        "container_low",
        "level_bounce",
        "motor_stall",
        "over_current",
        "remote_stop",
        "leak",
        "squeeze_lost",
        "foot_valve_leak",
        "queue_flood",
        "misread",
        "write_failure",
        "erase_failure",
    ];

    /// Its key in the file.
    pub const fn word(&self) -> &'static str {
        match self {
            Self::SupplyLoss { .. } => "supply_loss",
            Self::MemoryTear { .. } => "memory_tear",
            Self::BitFlip { .. } => "bit_flip",
            Self::PageWorn { .. } => "page_worn",
            Self::ClockLost { .. } => "clock_lost",
            Self::LateWake { .. } => "late_wake",
            Self::SpuriousWake { .. } => "spurious_wake",
            Self::WatchdogReset => "watchdog_reset",
            Self::ContainerLow { .. } => "container_low",
            Self::LevelBounce { .. } => "level_bounce",
            Self::MotorStall { .. } => "motor_stall",
            Self::OverCurrent { .. } => "over_current",
            Self::RemoteStop { .. } => "remote_stop",
            Self::Leak { .. } => "leak",
            Self::SqueezeLost { .. } => "squeeze_lost",
            Self::FootValveLeak { .. } => "foot_valve_leak",
            Self::QueueFlood { .. } => "queue_flood",
            Self::Misread { .. } => "misread",
            Self::WriteFailure { .. } => "write_failure",
            Self::EraseFailure { .. } => "erase_failure",
        }
    }
}

/// One fault of the file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fault {
    /// When.
    pub at: Moment,
    /// What.
    pub kind: FaultKind,
    /// Where it stands.
    pub spans: Spans,
}
