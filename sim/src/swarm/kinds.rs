//! What can be done to a device, kind by kind, and which kinds a seed may draw.

/// A kind of fault or act. Each is wholly on or off for a seed, so that rare
/// combinations are as likely as the usual mixture.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Kind {
    /// The supply is off for a while.
    SupplyLoss,
    /// The clock chip loses its feed.
    ClockLost,
    /// The supply goes in the middle of a write or an erase.
    MemoryTear,
    /// A bit of the memory turns over.
    BitFlip,
    /// A sector takes no more writes.
    PageWorn,
    /// The logic is called late.
    LateWake,
    /// The logic is called for no reason, over and over.
    SpuriousWake,
    /// The watchdog resets the processor.
    WatchdogReset,
    /// The remote stop is on.
    RemoteStop,
    /// The leak detector is on.
    Leak,
    /// Somebody sets the clock.
    SetClock,
    /// Somebody sets the zone.
    SetZone,
    /// Somebody edits an entry.
    Edit,
    /// Somebody disables an entry, and enables it again later.
    Disable,
    /// Somebody enters a whole new timetable.
    Timetable,
    /// Somebody asks for a dose outside the timetable.
    RunAgain,
    /// Somebody primes.
    Prime,
    /// Somebody calibrates.
    Calibrate,
    /// The low-level contact says low.
    ContainerLow,
    /// The low-level contact bounces.
    LevelBounce,
    /// The motor stalls.
    MotorStall,
    /// The motor draws too much.
    OverCurrent,
    /// The container siphons out.
    SqueezeLost,
    /// The foot valve leaks.
    FootValveLeak,
    /// Somebody fills the container.
    Refill,
    /// Somebody acknowledges what is latched.
    Acknowledge,
    /// Somebody puts in a new tube set.
    ChangeTube,
    /// Somebody sets the PIN, or takes it away.
    SetPin,
    /// Somebody enters a PIN, right or wrong, or locks up.
    Unlock,
    /// Somebody puts in another battery pack, and tells the device or does not.
    ChangePack,
    /// More signals come at once than the device's queue holds.
    QueueFlood,
    /// Somebody stops a dose that is under way.
    StopDose,
    /// A reading of the memory goes wrong.
    Misread,
    /// A write to the memory fails.
    WriteFailure,
    /// An erase of the memory fails.
    EraseFailure,
}

impl Kind {
    /// All of them, in the order in which a seed draws them.
    pub const ALL: [Self; 35] = [
        Self::SupplyLoss,
        Self::ClockLost,
        Self::MemoryTear,
        Self::BitFlip,
        Self::PageWorn,
        Self::LateWake,
        Self::SpuriousWake,
        Self::WatchdogReset,
        Self::RemoteStop,
        Self::Leak,
        Self::SetClock,
        Self::SetZone,
        Self::Edit,
        Self::Disable,
        Self::Timetable,
        Self::RunAgain,
        Self::Prime,
        Self::Calibrate,
        Self::ContainerLow,
        Self::LevelBounce,
        Self::MotorStall,
        Self::OverCurrent,
        Self::SqueezeLost,
        Self::FootValveLeak,
        Self::Refill,
        Self::Acknowledge,
        Self::ChangeTube,
        Self::SetPin,
        Self::Unlock,
        Self::ChangePack,
        Self::QueueFlood,
        Self::StopDose,
        Self::Misread,
        Self::WriteFailure,
        Self::EraseFailure,
    ];

    /// Its key in a scenario file.
    pub const fn word(self) -> &'static str {
        match self {
            Self::SupplyLoss => "supply_loss",
            Self::ClockLost => "clock_lost",
            Self::MemoryTear => "memory_tear",
            Self::BitFlip => "bit_flip",
            Self::PageWorn => "page_worn",
            Self::LateWake => "late_wake",
            Self::SpuriousWake => "spurious_wake",
            Self::WatchdogReset => "watchdog_reset",
            Self::RemoteStop => "remote_stop",
            Self::Leak => "leak",
            Self::SetClock => "set_clock",
            Self::SetZone => "set_zone",
            Self::Edit => "edit",
            Self::Disable => "disable",
            Self::Timetable => "timetable",
            Self::RunAgain => "run_again",
            Self::Prime => "prime",
            Self::Calibrate => "calibrate",
            Self::ContainerLow => "container_low",
            Self::LevelBounce => "level_bounce",
            Self::MotorStall => "motor_stall",
            Self::OverCurrent => "over_current",
            Self::SqueezeLost => "squeeze_lost",
            Self::FootValveLeak => "foot_valve_leak",
            Self::Refill => "refill",
            Self::Acknowledge => "acknowledge",
            Self::ChangeTube => "change_tube",
            Self::SetPin => "set_pin",
            Self::Unlock => "unlock",
            Self::ChangePack => "change_pack",
            Self::QueueFlood => "queue_flood",
            Self::StopDose => "stop_dose",
            Self::Misread => "misread",
            Self::WriteFailure => "write_failure",
            Self::EraseFailure => "erase_failure",
        }
    }

    /// The kind of that word.
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|kind| kind.word() == word)
    }

    /// Whether it goes wrong by itself; the others are acts of people.
    pub const fn is_fault(self) -> bool {
        let place = self as u32;
        let of_parts = Self::ContainerLow as u32 <= place && place < Self::Refill as u32;
        place < Self::SetClock as u32 || of_parts || self.has_its_own_stream()
    }

    /// Whether it is drawn apart from all else, so that what a seed made before there was
    /// such a kind is made by it still.
    pub(super) const fn has_its_own_stream(self) -> bool {
        matches!(self, Self::QueueFlood | Self::Misread | Self::WriteFailure | Self::EraseFailure)
    }

    /// Whether it is a fault of the motor, the container or the tube: it bites where
    /// the pump runs, or the level is what it should not be.
    pub(super) const fn is_of_a_part(self) -> bool {
        matches!(
            self,
            Self::ContainerLow
                | Self::LevelBounce
                | Self::MotorStall
                | Self::OverCurrent
                | Self::SqueezeLost
                | Self::FootValveLeak
        )
    }

    /// How many times less often than the others it comes. Damage to the memory
    /// stays, and what it touched cannot be judged as strictly afterwards.
    pub(super) const fn rarity(self) -> u64 {
        match self {
            Self::BitFlip => 8,
            Self::PageWorn => 40,
            // behind a lock most acts come to nothing
            Self::SetPin => 6,
            _ => 1,
        }
    }
}

/// A set of kinds.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Kinds(u64);

impl Kinds {
    /// None of them.
    pub const NONE: Self = Self(0);
    /// All of them.
    pub const ALL: Self = Self((1 << Kind::ALL.len()) - 1);
    /// Calls of the memory that go wrong.
    pub const MEMORY_CALLS: Self =
        Self::NONE.with(Kind::Misread).with(Kind::WriteFailure).with(Kind::EraseFailure);
    /// All but those that a run is drawn with only where it is asked to be.
    pub const USUAL: Self = Self(Self::ALL.0 & !Self::MEMORY_CALLS.0);

    /// With one more.
    #[must_use]
    pub const fn with(self, kind: Kind) -> Self {
        Self(self.0 | 1 << kind as u64)
    }

    /// With those of another set as well.
    #[must_use]
    pub const fn and(self, others: Self) -> Self {
        Self(self.0 | others.0)
    }

    /// Without one.
    #[must_use]
    pub const fn without(self, kind: Kind) -> Self {
        Self(self.0 & !(1 << kind as u64))
    }

    /// Whether it is in.
    pub const fn has(self, kind: Kind) -> bool {
        self.0 & 1 << kind as u64 != 0
    }

    /// Those in it, in the order of [`Kind::ALL`].
    pub fn iter(self) -> impl Iterator<Item = Kind> {
        Kind::ALL.into_iter().filter(move |kind| self.has(*kind))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::scenario::FaultKind;

    #[test]
    fn words_and_sets_agree() {
        for (place, kind) in Kind::ALL.into_iter().enumerate() {
            assert_eq!(kind as usize, place);
            assert_eq!(Kind::from_word(kind.word()), Some(kind));
            assert!(Kinds::ALL.has(kind) && !Kinds::NONE.has(kind));
            assert!(!Kinds::ALL.without(kind).has(kind));
            assert_ne!(Kinds::USUAL.has(kind), Kinds::MEMORY_CALLS.has(kind));
            assert_eq!(Kinds::NONE.with(kind).iter().collect::<Vec<_>>(), [kind]);
        }
        assert_eq!(Kind::from_word("nonsense"), None);
        assert_eq!(Kinds::USUAL.and(Kinds::MEMORY_CALLS), Kinds::ALL);
        assert!(Kind::Leak.is_fault() && !Kind::SetClock.is_fault());
        let faults = Kind::ALL.into_iter().filter(|kind| kind.is_fault()).count();
        assert_eq!(faults, FaultKind::WORDS.len());
        for word in FaultKind::WORDS {
            assert!(Kind::from_word(word).is_some_and(Kind::is_fault), "{word}");
        }
    }
}
