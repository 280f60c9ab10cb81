//! What a record notes by a number: acts of people, alarms, starts.

/// Something an operator did that is no setting.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[repr(u8)]
pub enum Act {
    /// Prime began; the figure is the longest it may run, in ms.
    PrimeBegun = 1,
    /// Prime ended; the figure is how long it ran, in ms.
    PrimeEnded = 2,
    /// A calibration run began; the figure is its length in ms.
    CalibrationBegun = 3,
    /// A calibration run ended; the figure is how long it ran, in ms.
    CalibrationEnded = 4,
    /// An alarm or a latched fault was acknowledged.
    Acknowledged = 5,
    /// A new tube set was put in.
    TubeChanged = 6,
    /// The settings were unlocked.
    Unlocked = 7,
    /// A wrong PIN was entered.
    WrongPin = 8,
    /// A train of calibration pulses began; the figure is the pumping in it, in ms.
    TrainBegun = 9,
    /// A train of calibration pulses ended; the figure is how long the pump ran in it, in
    /// ms.
    TrainEnded = 10,
}

impl Act {
    /// All acts.
    pub const ALL: [Self; 10] = [
        Self::PrimeBegun,
        Self::PrimeEnded,
        Self::CalibrationBegun,
        Self::CalibrationEnded,
        Self::Acknowledged,
        Self::TubeChanged,
        Self::Unlocked,
        Self::WrongPin,
        Self::TrainBegun,
        Self::TrainEnded,
    ];

    /// Whether the pump runs from it on.
    pub const fn begins_a_run(self) -> bool {
        matches!(self, Self::PrimeBegun | Self::CalibrationBegun | Self::TrainBegun)
    }
}

/// What stops the pump from outside, or puts it out of use.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[repr(u8)]
pub enum Alarm {
    /// The clock is not set, and weekly entries do not run.
    ClockUnset = 1,
    /// The ledger cannot be written.
    LedgerFault = 2,
    /// Slots of the ledger could not be read at start; the figure counts them.
    MemoryDamaged = 3,
    /// Entries lost their settings; the figure has a bit a line.
    EntryDamaged = 4,
    /// The flow in force no longer fits entries; the figure has a bit a line.
    DoesNotFit = 5,
    /// The motor fault is latched.
    MotorFault = 6,
    /// The leak or tube-burst detector is on.
    Leak = 7,
    /// The low-level contact is closed: the reserve below it is left. The figure
    /// is the account then, in nanolitres.
    LowLevel = 8,
    /// The low-level contact closed while the account said far more: nothing is
    /// counted on until an operator says what is there. The figure is the account
    /// before, in nanolitres.
    LevelDisagrees = 9,
    /// The container is empty by account: only the heel is left.
    ContainerEmpty = 10,
    /// The battery pack lasts no more than the days of warning, or is low by its
    /// voltage under load. The figure is what is left by account, in uC.
    PackLow = 11,
    /// The battery pack can finish no dose any more. The figure is the mean under
    /// load, in mV.
    PackExhausted = 12,
}

impl Alarm {
    /// All alarms.
    pub const ALL: [Self; 12] = [
        Self::ClockUnset,
        Self::LedgerFault,
        Self::MemoryDamaged,
        Self::EntryDamaged,
        Self::DoesNotFit,
        Self::MotorFault,
        Self::Leak,
        Self::LowLevel,
        Self::LevelDisagrees,
        Self::ContainerEmpty,
        Self::PackLow,
        Self::PackExhausted,
    ];

    /// In a user's words.
    pub const fn words(self) -> &'static str {
        match self {
            Self::ClockUnset => "clock unset",
            Self::LedgerFault => "memory fault",
            Self::MemoryDamaged => "memory damaged",
            Self::EntryDamaged => "settings damaged",
            Self::DoesNotFit => "dose does not fit",
            Self::MotorFault => "fault",
            Self::Leak => "leak",
            Self::LowLevel => "low level",
            Self::LevelDisagrees => "level disagrees",
            Self::ContainerEmpty => "container empty",
            Self::PackLow => "battery low",
            Self::PackExhausted => "battery exhausted",
        }
    }
}

/// How the ledger comes to speak of a battery pack.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[repr(u8)]
pub enum NewPack {
    /// An operator set its figures.
    Set = 1,
    /// An operator put in another one.
    Changed = 2,
    /// Its voltage at rest says that another one is in.
    Recognised = 3,
}

impl NewPack {
    /// All of them.
    pub const ALL: [Self; 3] = [Self::Set, Self::Changed, Self::Recognised];
}

/// Why the logic started.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[repr(u8)]
pub enum Reset {
    /// The supply came on.
    PowerOn = 1,
    /// The watchdog.
    Watchdog = 2,
}

impl Reset {
    /// Both of them.
    pub const ALL: [Self; 2] = [Self::PowerOn, Self::Watchdog];
}
