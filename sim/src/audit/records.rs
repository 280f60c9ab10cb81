//! Each record of the ledger, to the room that judges it.

use dosewright_core::cause::Cause;
use dosewright_core::entry::EntryId;
use dosewright_core::record::{Act, Born, NewPack, Record};
use dosewright_core::time::Instant;

use super::dose::TICK_MS;
use super::ledger::{About, Seen};
use super::model::Key;
use super::{Auditor, key_of};

impl Auditor {
    /// Whether the record is of what at one instant comes before the dues that
    /// pass: of what an operator did, or of a dose that ended.
    fn comes_before_dues(&self, record: &Record) -> bool {
        match record {
            Record::Clock { .. } | Record::Head { .. } | Record::Act { .. } => true,
            Record::Container { .. } | Record::Calibration { .. } | Record::Pin { .. } => true,
            Record::Pack { how, .. } => *how != NewPack::Recognised,
            Record::Staged(_) | Record::StagedClosed(_) | Record::Adopted(_) => true,
            Record::Pulse(p) => p.asked && p.first,
            Record::Outcome(o) => {
                self.open.as_ref().is_some_and(|x| x.due.key == key_of(&o.due, o.asked))
            }
            _ => false,
        }
    }

    /// The logic has begun, and the memory has not taken the record of its start: until it does
    /// the device does nothing.
    pub(super) fn start_is_refused(&self) -> bool {
        self.supply.on && !self.supply.awake && !self.supply.refused && self.hinder.ledger_bad
    }

    /// A device that does something before its boot record has started all the
    /// same: its memory may have refused the record.
    pub(super) fn boot_unseen(&mut self) {
        if self.supply.on && !self.supply.awake && !self.supply.refused {
            let at = self.chip.count(self.ms);
            let kept = self.supply.feed_kept();
            self.boot(at, kept);
        }
    }

    pub(super) fn see_slot(&mut self, address: u32, bytes: &[u8]) {
        let mut record = None;
        match self.ledger.see(address, bytes, &mut record) {
            Seen::Nothing => {}
            // it is in the ledger, whatever was tried for it before
            Seen::Again => self.not_taken = false,
            Seen::Damaged(Some(lost)) => self.on_damage(Some(lost)),
            Seen::Damaged(None) | Seen::Unwritten => self.on_refusal(),
            Seen::Unreadable => {
                self.fail(
                    "M4",
                    None,
                    format!("the slot at {address:#x} is whole and says nothing"),
                );
            }
            Seen::OutOfOrder { seq, after } => {
                self.fail("M1", None, format!("a slot has number {seq} after number {after}"));
            }
            // one before it that was never sealed was given up
            Seen::Header => self.snapshot = super::settings::Snapshot::default(),
            Seen::Snapshot => record.iter().for_each(|record| {
                if let Record::SnapClock { at, .. } = record {
                    self.snapshot_at = at.as_ms();
                }
                self.on_snapshot(record);
            }),
            Seen::Sealed => {
                self.ledger.last_at = self.ledger.last_at.max(self.snapshot_at);
                self.on_sealed();
            }
            Seen::Record => record.iter().for_each(|record| self.on_record(record)),
        }
    }

    /// A write or an erase did not take. A device that is awake tries another slot, and another
    /// sector: what it could not write is told by what it has not written at the call's end.
    pub(super) fn on_refusal(&mut self) {
        // of what was asked for in this ms any may be what it was
        self.pin.ms.damaged = true;
        if self.supply.awake {
            self.not_taken = true;
        } else {
            self.on_damage(None);
        }
    }

    /// A sector was erased, but for these slots.
    pub(super) fn on_erase(&mut self, address: u32, left: &[u32]) {
        self.ledger.erased(address, left);
        if !left.is_empty() {
            self.on_refusal();
        }
    }

    /// The call is over in which a write or an erase did not take, and no record came after it.
    pub(super) fn settle_refusal(&mut self) {
        for address in std::mem::take(&mut self.unread) {
            self.ledger.mend(address);
        }
        if std::mem::take(&mut self.not_taken) {
            self.on_damage(None);
            if let Some(open) = &mut self.open {
                // it is as fast as the limits allow from where the memory takes again
                (open.able_since, open.hurry) = (None, None);
            }
        }
    }

    /// A slot was read wrongly as often as it is read. A start takes it as damaged, whatever
    /// it holds; a device that is awake reads what it writes alone, and writes it again.
    pub(super) fn on_unread(&mut self, address: u32) {
        if self.supply.awake {
            self.on_refusal();
        } else if !self.ledger.is_damaged(address)
            && let Seen::Damaged(lost) = self.ledger.damage(address, true)
        {
            self.unread.push(address);
            self.on_damage(lost);
        }
    }

    /// A slot cannot be read: torn by a cut, worn, or flipped since. Where the
    /// device was awake, it may be a record that it could not write.
    pub(super) fn on_damage(&mut self, lost: Option<About>) {
        self.pin.ms.damaged = true;
        if let Some(about) = lost {
            // what it drew or said of the container may be lost with it
            self.model.stock.unsure |= self.model.stock.container.is_some();
            self.taint.add(about);
            if let About::Entry(id) | About::Line(id) = about
                && let Some(line) = self.model.line_mut(id)
            {
                line.carry_lost = true;
            }
            if matches!(about, About::Entry(_)) {
                self.taint.account(self.now);
            }
        }
        if !self.supply.awake {
            // a start that has not been seen yet has tried to write: it knows
            self.hinder.ledger_bad |= self.supply.on;
            return;
        }
        if !self.hinder.ledger_bad {
            // what begins later than the start is none of its call
            self.supply.start = self.supply.start.filter(|(at, _)| *at == self.now);
        }
        self.hinder.ledger_bad = true;
        for owed in self.owed_mut() {
            owed.causes = owed.causes.with(Cause::Ledger);
        }
        if let Some(open) = &mut self.open {
            open.disturb(Cause::Ledger);
        }
        self.refresh(self.now);
        self.rearm();
    }

    fn on_record(&mut self, record: &Record) {
        self.report.records += 1;
        self.not_taken = false;
        self.pin.ms.recorded = true;
        let at = record.at().map(Instant::as_ms);
        let mut was_bad = self.supply.awake && self.hinder.ledger_bad;
        let mut first = false;
        if let Record::Boot { at, feed_kept, .. } = *record {
            self.hinder.ledger_bad = false;
            self.on_boot(at.as_ms(), feed_kept);
        } else {
            self.boot_unseen();
            was_bad = self.hinder.ledger_bad;
            first = self.comes_before_dues(record);
            if !first {
                self.release();
            }
            if let Some(at) = at {
                self.check_instant(at);
                self.advance(at);
                self.check_stamp(at);
            }
        }
        if was_bad {
            self.ledger_is_good();
        }
        self.check_lock(at.unwrap_or(self.now), record);
        match record {
            Record::Clock { at, epoch, utc, zone } => {
                self.on_clock(
                    at.as_ms(),
                    *epoch,
                    utc.map(dosewright_core::time::Utc::as_ms),
                    *zone,
                );
            }
            Record::Head { at, head } => self.on_head(at.as_ms(), *head),
            Record::Staged(staged) => self.on_staged(*staged),
            Record::StagedClosed(closed) => self.on_staged_closed(*closed),
            Record::Adopted(adopted) => self.on_adopted(adopted.at.as_ms(), adopted),
            Record::Born(born) => self.on_born(born),
            Record::Pulse(pulse) => self.on_pulse(pulse),
            Record::Outcome(outcome) => self.on_outcome(outcome),
            Record::Alarm { at, alarm, on, .. } => self.on_alarm(at.as_ms(), *alarm, *on),
            Record::Container { at, container, level, pumped_ms } => {
                self.on_container(at.as_ms(), *container, level.as_nl(), *pumped_ms);
            }
            Record::Calibration { found, in_force, lead_ms } => {
                self.on_calibration(found, *in_force, *lead_ms);
            }
            Record::Pin { at, .. } => self.on_pin(at.as_ms(), record),
            Record::Act { at, act: Act::Unlocked | Act::WrongPin, .. } => {
                self.on_pin(at.as_ms(), record);
            }
            Record::Act { at, act, ms } => self.on_act_record(at.as_ms(), *act, i64::from(*ms)),
            Record::Pack { at, pack, how } => self.on_pack(at.as_ms(), *pack, *how),
            Record::PackMeans { rest_mv, load_mv, .. } => self.on_pack_means(*rest_mv, *load_mv),
            Record::Motor { at, faults } => self.on_motor(at.as_ms(), *faults),
            _ => {}
        }
        if first && !matches!(record, Record::Staged(_) | Record::StagedClosed(_)) {
            self.release();
        }
        if let Some(at) = at {
            self.ledger.last_at = self.ledger.last_at.max(at);
            self.supply.stamped_at = self.supply.stamped_at.max(at);
        }
    }

    fn on_boot(&mut self, at: i64, feed_kept: bool) {
        self.forget_staged();
        if self.supply.awake {
            self.fail("D4", None, String::from("the logic started, and nothing had stopped it"));
        } else if !self.supply.on {
            self.fail("P4", None, String::from("the logic starts with the supply off"));
        }
        // the memory may take the record of a start some time after it
        let from = at - (self.chip.count(self.ms) - self.supply.set_to);
        if self.supply.feed_kept() {
            self.check_instant(at);
        } else if !self.taint.all() && !self.ledger.may_end_at(from) {
            let last = self.ledger.last_at;
            self.fail("D9", None, format!(
                "after a lost feed the device's time goes on from {from} ms; the ledger's last instant is {last} ms"
            ));
        }
        self.boot(at, feed_kept);
        for act in std::mem::take(&mut self.not_begun) {
            self.see_act(&act);
        }
    }

    /// The device's own time against the clock chip.
    fn check_instant(&mut self, at: i64) {
        let count = self.chip.count(self.ms);
        if (at - count).abs() > TICK_MS {
            self.fail(
                "D10",
                None,
                format!("a record is stamped {at} ms, and the clock chip stands at {count} ms"),
            );
        }
    }

    fn on_born(&mut self, born: &Born) {
        let key = key_of(&born.due, false);
        self.follow_name(key, born.due_at.as_ms());
        let due = self.model.line(key.id).and_then(|l| l.waiting).filter(|d| d.key == key);
        let Some(due) = due else {
            if !self.owes(key.id, key.nominal) && !self.taint.covers(key.id) {
                self.fail("D1", Some(key), String::from("said to wait, and there is no such due"));
            }
            return;
        };
        self.born.push(key);
        if born.due_at.as_ms() != due.due_at {
            self.fail(
                "D9",
                Some(key),
                format!("its instant is noted as {}, not {} ms", born.due_at.as_ms(), due.due_at),
            );
        }
        let kept = self.kept_by.get(&key.id).copied().unwrap_or_default().or(self.believed());
        if !kept.contains(born.cause) && !self.taint.covers(key.id) {
            let cause = super::words(born.cause);
            let what = if kept.is_empty() {
                format!("said to wait for {cause}, and nothing keeps it from beginning")
            } else {
                format!("said to wait for {cause}, not for {kept}")
            };
            self.fail("D3", Some(key), what);
        }
        if !self.mark_fits(key.id, born.mark.map(|n| i64::from(n.0))) {
            self.fail("D1", Some(key), String::from("the mark written with it is not the entry's"));
        }
    }

    /// A device whose memory has lost settings goes by older ones: the due that waits
    /// has the name that the device gives it. Where the instant noted with it is that
    /// of the older setting of the clock, the device goes by that setting.
    pub(super) fn follow_name(&mut self, key: Key, noted: i64) {
        // what is said of the open dose is no name of the due that waits after it
        let is_open = self.open.as_ref().is_some_and(|open| open.due.key == key);
        if key.asked || is_open || !self.taint.covers(key.id) {
            return;
        }
        let waiting = self.model.line(key.id).and_then(|line| line.waiting);
        let Some(mut due) = waiting.filter(|due| due.key.nominal == key.nominal) else { return };
        let old = std::mem::replace(&mut due.key, key);
        let doubtful = self.taint.all() && old.epoch != key.epoch;
        if doubtful && noted != due.due_at && self.model.go_back_to(key, noted) {
            due.due_at = noted;
        }
        if let Some(line) = self.model.line_mut(key.id) {
            line.waiting = Some(due);
        }
        if let Some((ready, _)) = self.ready.as_mut().filter(|(ready, _)| *ready == old) {
            *ready = key;
        }
        self.born.iter_mut().filter(|born| **born == old).for_each(|born| *born = key);
    }

    /// A dose has shown where an entry stands whose mark was not known: what it was
    /// taken to owe up to there it does not.
    pub(super) fn forget_up_to(&mut self, key: Key) {
        if let Some(list) = self.owed.get_mut(&key.id) {
            list.retain(|owed| owed.span.last > key.nominal);
        }
        if let Some(line) = self.model.line_mut(key.id) {
            line.waiting = line.waiting.filter(|due| due.key.nominal > key.nominal);
        }
    }

    pub(super) fn owes(&self, id: EntryId, nominal: i64) -> bool {
        let owed = self.owed.get(&id).into_iter().flat_map(super::owed::OwedList::iter);
        owed.into_iter().any(|o| o.span.key.nominal <= nominal && nominal <= o.span.last)
    }
}
