//! Wrong readings of the rules, to be planted in the auditor.
//!
//! A table of expected outcomes is only worth something when a misread rule
//! fails it. Each of these bends one clause; a test plants each in turn and
//! shows that the table, or the controller's run, catches it. The auditor of a
//! real run has none of them.

/// One clause misread.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Reading {
    /// D2: the repeat guard is never longer than 12 h.
    GuardCapped,
    /// D2: the guard is the whole shortest gap, not half of it.
    GuardWholeGap,
    /// D2: an edited entry forgets what it delivered.
    EditForgets,
    /// D2: after a loss of the clock a delivery is as old as elapsed time says.
    ElapsedAgeOnly,
    /// D8: a due in the repeated hour is delivered in both passes.
    RepeatedTwice,
    /// D8: a due in the skipped hour runs at the first valid instant.
    SkippedAtFirstValid,
    /// D8: a due in the skipped hour does not happen.
    SkippedDropped,
    /// Mark: a setting raises it to now, so that dues jumped over vanish.
    MarkRaised,
    /// Mark: a setting back does not lower it, so that no due comes twice.
    MarkNotLowered,
    /// Closed dates are calendar dates for entries by night too.
    ClosedByCalendar,
    /// A night's time before noon falls on the day that names the night.
    NightOnNamedDay,
    /// D7: the ceiling counts 24 h.
    CeilingOver24h,
    /// D7: a delivery counts at its begin, not at its due.
    CeilingByBegin,
    /// D7: a ceiling that follows from the timetable falls with it at once.
    CeilingFallsAtOnce,
    /// D9: dues before the first setting after a loss are caught up.
    UnsetCaughtUp,
    /// D9: a dose that is open when the clock loses its feed goes on.
    LostFeedGoesOn,
    /// Epoch: only the clock opens one, the zone does not.
    ZoneOpensNoEpoch,
    /// Deadline: the grace is forgotten.
    GraceForgotten,
    /// D3: of two dues of an entry the newer waits, the older is skipped.
    NewerKept,
    /// D4: the remainder of a dose is dropped.
    RemainderDropped,
    /// D4: a pulse that a restart cut counts as not delivered.
    RestartForgets,
    /// D11: an edited entry's mark is put at now, whatever due of it waits.
    EditMarksNow,
    /// O1: prime and calibrate are not taken off the container's account.
    PrimeNotTakenOff,
    /// Container: the heel is dosed too.
    HeelDosed,
    /// Container: the account is not put down to the low-level contact.
    ContactNotBelieved,
    /// Container: a contact that bounces counts at once.
    BouncesCount,
    /// Motor: the first fault is latched.
    FaultLatchesAtOnce,
}

impl Reading {
    /// All of them.
    pub const ALL: [Self; 27] = [
        Self::GuardCapped,
        Self::GuardWholeGap,
        Self::EditForgets,
        Self::ElapsedAgeOnly,
        Self::RepeatedTwice,
        Self::SkippedAtFirstValid,
        Self::SkippedDropped,
        Self::MarkRaised,
        Self::MarkNotLowered,
        Self::ClosedByCalendar,
        Self::NightOnNamedDay,
        Self::CeilingOver24h,
        Self::CeilingByBegin,
        Self::CeilingFallsAtOnce,
        Self::UnsetCaughtUp,
        Self::LostFeedGoesOn,
        Self::ZoneOpensNoEpoch,
        Self::GraceForgotten,
        Self::NewerKept,
        Self::RemainderDropped,
        Self::RestartForgets,
        Self::EditMarksNow,
        Self::PrimeNotTakenOff,
        Self::HeelDosed,
        Self::ContactNotBelieved,
        Self::BouncesCount,
        Self::FaultLatchesAtOnce,
    ];
}
