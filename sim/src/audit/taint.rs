//! What damage to the memory leaves in doubt, and until when.

use std::collections::BTreeSet;

use dosewright_core::entry::EntryId;

use super::ledger::About;
use super::rules::CEILING_SPAN_MS;

/// What damage to the memory keeps from being judged.
#[derive(Debug, Default)]
pub(crate) struct Taint {
    /// What concerns every entry.
    wide: BTreeSet<About>,
    entries: BTreeSet<EntryId>,
    /// Entries whose settings may be lost.
    lines: BTreeSet<EntryId>,
    /// Entries whose settings were lost and are whole again: by which mark the device
    /// goes since is known with their first dose.
    marks: BTreeSet<EntryId>,
    /// Which alarms a start finds in the ledger.
    pub(super) alarms: bool,
    /// The motor has failed in this run.
    pub(super) motor_failed: bool,
    /// A record is lost that may have told of a fault of the motor, and no later one
    /// says how many there are in a row.
    pub(super) motor: bool,
    /// The memory has lost the setting of the clock, and the device says that it is
    /// unset.
    pub(super) clock_unset: bool,
    /// Until then a ceiling may count a delivery for more than it was: its outcome is lost,
    /// and its intents tell the most that it can have been. In device ms.
    account_until: i64,
    /// More than one record of doses is lost of that time: intent and outcome may be of
    /// the same.
    account_lost: bool,
    /// The device has started since, and knows of the damage.
    pub(super) known: bool,
    /// A record has been lost since the run began: what no setting speaks of again is
    /// not known any more.
    pub(super) ever: bool,
}

impl Taint {
    pub(crate) fn covers(&self, id: EntryId) -> bool {
        self.all() || [&self.entries, &self.lines, &self.marks].iter().any(|of| of.contains(&id))
    }

    /// Whether nothing at all can be judged strictly.
    pub(crate) fn all(&self) -> bool {
        !self.wide.is_empty()
    }

    /// Whether lines of the timetable have been lost since they were last set whole.
    fn lines_lost(&self) -> bool {
        !self.lines.is_empty()
    }

    /// Whether what is lost may leave less under the ceiling: one that follows from the
    /// timetable is lower without the lines that are lost, and a delivery whose outcome is
    /// lost counts as the most it can have been.
    pub(super) fn lowers_ceiling(&self, now: i64) -> bool {
        self.lines_lost() || now <= self.account_until
    }

    /// Whether what is lost leaves no more under the ceiling than there was: of no dose is
    /// more than one record lost.
    pub(super) fn keeps_ceiling(&self, now: i64) -> bool {
        let unsure = self.account_lost && now <= self.account_until;
        !self.all() && !self.lines_lost() && !unsure
    }

    /// A record of a dose is lost, as it is known at an instant of the device.
    pub(super) fn account(&mut self, now: i64) {
        self.account_lost = now <= self.account_until;
        self.account_until = now + CEILING_SPAN_MS;
    }

    /// A record about that is lost.
    pub(crate) fn add(&mut self, about: About) {
        self.ever = true;
        self.motor |= self.motor_failed;
        match about {
            About::Nothing => return,
            About::Alarms => self.alarms = true,
            About::Entry(id) => _ = self.entries.insert(id),
            About::Line(id) => _ = self.lines.insert(id),
            wide => _ = self.wide.insert(wide),
        }
        self.known = false;
    }

    /// The device has started, and set that anew since: nothing of it is in doubt.
    pub(crate) fn mended(&mut self, about: About) {
        if self.known {
            self.wide.remove(&about);
        }
    }

    /// A timetable is in force whose settings were written anew but for those of the
    /// entries that stay `as_before`, and of the closed dates unless they were `closed_too`:
    /// what is not written anew stands where it stood.
    pub(super) fn timetable_set(&mut self, as_before: impl Fn(EntryId) -> bool, closed_too: bool) {
        if !self.known {
            return;
        }
        self.wide.remove(&About::Timetable);
        if closed_too {
            self.wide.remove(&About::Closed);
        }
        self.entries.clear();
        self.lines.retain(|&id| as_before(id));
    }

    /// A snapshot has the settings whole, but for what the device calls damaged in it.
    pub(super) fn carried_on(&mut self, damaged: impl Fn(EntryId) -> bool, closed_damaged: bool) {
        if !closed_damaged {
            self.wide.remove(&About::Closed);
        }
        let (lost, whole): (BTreeSet<_>, _) = self.lines.iter().partition(|&&id| damaged(id));
        self.lines = lost;
        self.marks.extend::<BTreeSet<_>>(whole);
    }

    /// A dose of the entry has been accounted for.
    pub(crate) fn settled(&mut self, id: EntryId) {
        self.entries.remove(&id);
    }

    /// The entry's settings are whole again; where it stands is not known yet.
    pub(crate) fn mark_lost(&mut self, id: EntryId) {
        self.marks.insert(id);
    }

    /// A scheduled dose of the entry shows where it stands: whether that was not known.
    pub(crate) fn mark_shown(&mut self, id: EntryId) -> bool {
        self.marks.remove(&id)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const ONE: EntryId = EntryId(1);
    const OTHER: EntryId = EntryId(2);

    fn lost(about: &[About]) -> Taint {
        let mut taint = Taint::default();
        for &of in about {
            taint.add(of);
        }
        taint.known = true;
        taint
    }

    #[test]
    fn an_edit_leaves_in_doubt_what_it_does_not_write() {
        let mut taint = lost(&[About::Line(ONE), About::Line(OTHER), About::Closed]);
        taint.timetable_set(|id| id == OTHER, false);
        assert!(taint.all() && taint.lines_lost());
        taint.timetable_set(|id| id == OTHER, true);
        assert!(!taint.all() && !taint.covers(ONE));
        assert!(taint.covers(OTHER) && taint.lines_lost());
        taint.timetable_set(|_| false, false);
        assert!(!taint.covers(OTHER) && !taint.lines_lost());
    }

    #[test]
    fn an_edit_before_a_start_mends_nothing() {
        let mut taint = lost(&[About::Line(ONE), About::Closed]);
        taint.add(About::Entry(OTHER));
        taint.timetable_set(|_| false, true);
        assert!(taint.all() && taint.covers(ONE) && taint.lines_lost());
    }

    #[test]
    fn a_snapshot_has_whole_what_it_does_not_call_damaged() {
        let mut taint = lost(&[About::Line(ONE), About::Line(OTHER), About::Closed]);
        taint.carried_on(|id| id == OTHER, true);
        assert!(taint.all() && taint.lines_lost(), "what it calls damaged stays in doubt");
        taint.carried_on(|id| id == OTHER, false);
        assert!(!taint.all() && taint.lines_lost() && !taint.keeps_ceiling(0));
        taint.carried_on(|_| false, false);
        assert!(!taint.lines_lost() && taint.keeps_ceiling(0));
        assert!(taint.covers(ONE), "where it stands shows with its next dose");
        assert!(taint.mark_shown(ONE) && !taint.covers(ONE));
    }
}
