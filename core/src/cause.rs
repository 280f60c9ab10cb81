//! The closed list of causes, in their documented order.

/// Why a dose was skipped, or delivered only in part.
///
/// The list is closed and its order is documented; the numbers are the ledger's.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[repr(u8)]
pub enum Cause {
    /// The date or night is a closed one.
    Closed = 1,
    /// The clock was not set.
    ClockUnset = 2,
    /// The clock chip lost its feed while the dose ran.
    ClockLost = 3,
    /// A setting of the clock or zone jumped over the due or put it ahead again.
    ClockSet = 4,
    /// The supply was off.
    SupplyLost = 5,
    /// The logic was called too late.
    WokenLate = 6,
    /// The entry had its last delivery less than its repeat guard ago.
    AlreadyDosed = 7,
    /// The ceiling of the last 23 hours was reached.
    Ceiling = 8,
    /// An older due of the same entry was still waiting.
    OlderWaiting = 9,
    /// Another dose owned the pump.
    PumpInUse = 10,
    /// Prime or calibrate owned the pump.
    Service = 11,
    /// The remote stop was on.
    RemoteStop = 12,
    /// The leak or tube-burst detector was on.
    Leak = 13,
    /// The motor stalled or drew too much, and the fault is latched.
    MotorFault = 14,
    /// The battery could not finish the dose.
    Battery = 15,
    /// The container is empty by account.
    ContainerEmpty = 16,
    /// The entry was edited.
    Edited = 17,
    /// The entry was disabled.
    Disabled = 18,
    /// The entry was taken out of the timetable.
    Removed = 19,
    /// The third restart in one dose.
    Restarts = 20,
    /// The pump's limits left no time for it.
    PumpLimits = 21,
    /// The ledger could not be written.
    Ledger = 22,
    /// The settings of the entry were damaged in memory.
    Damaged = 23,
    /// An operator ended the dose while it ran.
    Stopped = 24,
}

impl Cause {
    /// All causes in their documented order.
    pub const ALL: [Self; 24] = [
        Self::Closed,
        Self::ClockUnset,
        Self::ClockLost,
        Self::ClockSet,
        Self::SupplyLost,
        Self::WokenLate,
        Self::AlreadyDosed,
        Self::Ceiling,
        Self::OlderWaiting,
        Self::PumpInUse,
        Self::Service,
        Self::RemoteStop,
        Self::Leak,
        Self::MotorFault,
        Self::Battery,
        Self::ContainerEmpty,
        Self::Edited,
        Self::Disabled,
        Self::Removed,
        Self::Restarts,
        Self::PumpLimits,
        Self::Ledger,
        Self::Damaged,
        Self::Stopped,
    ];

    /// The ledger's number for it.
    pub const fn code(self) -> u8 {
        self as u8
    }

    /// The cause of that number.
    pub fn from_code(code: u8) -> Option<Self> {
        let index = usize::from(code).checked_sub(1)?;
        Self::ALL.get(index).copied()
    }

    /// In a user's words.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Closed => "closed",
            Self::ClockUnset => "clock unset",
            Self::ClockLost => "clock lost",
            Self::ClockSet => "clock set",
            Self::SupplyLost => "supply lost",
            Self::WokenLate => "woken late",
            Self::AlreadyDosed => "already dosed",
            Self::Ceiling => "daily ceiling",
            Self::OlderWaiting => "older dose waiting",
            Self::PumpInUse => "pump in use",
            Self::Service => "prime or calibrate",
            Self::RemoteStop => "remote stop",
            Self::Leak => "leak",
            Self::MotorFault => "fault",
            Self::Battery => "battery",
            Self::ContainerEmpty => "container empty",
            Self::Edited => "edited",
            Self::Disabled => "disabled",
            Self::Removed => "removed",
            Self::Restarts => "restarts",
            Self::PumpLimits => "pump limits",
            Self::Ledger => "memory fault",
            Self::Damaged => "settings damaged",
            Self::Stopped => "stopped by hand",
        }
    }
}
