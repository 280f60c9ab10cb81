//! Settings and acceptance: what was asked for against what the ledger says was
//! done, and a snapshot against what it must carry forward (D8, D9, D11, M2).

use dosewright_core::cause::Cause;
use dosewright_core::config::Head;
use dosewright_core::entry::{Entry, EntryId};
use dosewright_core::record::{Adopted, Alarm, ClosedList, Delivery, LineState, Record, Staged};
use dosewright_core::tube::Tube;
use dosewright_core::zone::Zone;

use crate::observe::{DeviceAct, LINES};

use super::causes::Causes;
use super::ledger::About;
use super::model::Delivery as Delivered;
use super::{Auditor, zone};

/// Acts of this ms of true time that have left no trace in the ledger so far.
#[derive(Debug, Default)]
pub(crate) struct Pending {
    pub(crate) setting: Option<DeviceAct>,
    /// For which entry a dose was asked, and whether the pump was in use or stopped.
    pub(crate) ask: Option<(EntryId, bool)>,
    pub(crate) service: Option<DeviceAct>,
    /// The settings may have been locked when a reading was entered.
    pub(crate) locked: bool,
    /// A PIN that was entered or set.
    pub(crate) pin: Option<DeviceAct>,
}

/// The lines of the timetable as the ledger has them.
#[derive(Debug)]
pub(crate) struct Staging {
    lines: [Option<(Entry, u16)>; LINES],
    closed: ClosedList,
    staged: Vec<Staged>,
    staged_closed: Option<ClosedList>,
    alarms: u16,
}

impl Default for Staging {
    fn default() -> Self {
        Self {
            lines: [None; LINES],
            closed: ClosedList::EMPTY,
            staged: Vec::new(),
            staged_closed: None,
            alarms: 0,
        }
    }
}

/// What a snapshot that is being written has said so far.
#[derive(Debug, Default)]
pub(crate) struct Snapshot {
    lines: Vec<(EntryId, LineState)>,
    deliveries: Vec<Delivery>,
    /// Entry and instant of the dose that it has as open.
    open: Option<(EntryId, i64)>,
    clock: Option<(u16, Option<i64>, i64)>,
    /// The account and what was drawn since it was spoken of, in nl.
    account: Option<(u64, i64)>,
    /// The ceiling of before and until when it counts.
    ceiling: Option<(u64, i64)>,
    /// Lines whose settings it calls damaged, a bit a line, and whether the closed dates are.
    damaged: Option<(u64, bool)>,
    tube: Option<Tube>,
}

impl Auditor {
    /// What was asked for and not written was refused.
    pub(super) fn settle_pending(&mut self) {
        if self.pending.pin.is_some() {
            self.settle_pin();
        }
        if let Some(refused) = self.pending.setting.take() {
            if let DeviceAct::Measured(measured) = &refused {
                self.reading_refused(measured);
            }
            self.report.refused_acts += 1;
            // nor is what it had staged before the memory took no more
            self.forget_staged();
        }
        if self.pending.service.take().is_some() {
            self.report.refused_acts += 1;
        }
        if !self.supply.awake {
            self.pending.ask = None;
        }
    }

    pub(super) fn on_head(&mut self, at: i64, head: Head) {
        let wanted = match self.pending.setting.take() {
            Some(DeviceAct::SetHead(head)) => Some(head),
            Some(DeviceAct::SetFlow(flow)) => self.model.head.map(|h| Head { flow, ..h }),
            other => {
                self.pending.setting = other;
                None
            }
        };
        if wanted != Some(head) {
            self.fail("M2", None, String::from("the ledger takes on a head that nobody set"));
        }
        let limits_changed =
            self.model.head.is_some_and(|old| Head { flow: head.flow, ..old } != head);
        self.taint.mended(About::Head);
        self.fastest = self.fastest.max(head.flow.as_nl_per_min());
        let drawn = self.drawn_by_nl(at).1;
        let before = self.model.head.replace(head);
        self.model.stock.flow_is_another(drawn);
        self.bench.set_up(&head, before);
        if let Some(open) = self.open.as_mut().filter(|_| limits_changed) {
            open.disturb(Cause::PumpLimits);
        }
        self.refresh(self.now);
    }

    pub(super) fn on_clock(&mut self, at: i64, epoch: u16, utc_ms: Option<i64>, zone: Zone) {
        if utc_ms.is_none() {
            self.memory_lost_clock(at);
        }
        let clock = &self.model.clock;
        let set = clock.offset_ms.is_some();
        let wanted = match self.pending.setting.take() {
            Some(DeviceAct::SetClock(local)) => {
                Some((zone::utc_ms(&clock.tz, local.as_ms()), clock.zone, true))
            }
            Some(DeviceAct::SetZone(zone)) => Some((clock.utc_ms(at), zone, set)),
            other => {
                self.pending.setting = other;
                None
            }
        };
        let Some((wanted_utc, wanted_zone, opens)) = wanted else {
            self.fail(
                "M2",
                None,
                String::from("the ledger says the clock was set, and nobody set it"),
            );
            self.follow_clock(at, epoch, utc_ms, zone);
            return;
        };
        // with a zone that the memory has lost the same local time is another moment
        let zone_lost = zone != wanted_zone && self.taint.all();
        if utc_ms != wanted_utc && !zone_lost {
            let text = |utc: Option<i64>| {
                utc.map_or_else(|| String::from("unset"), |t| zone::local_text(t) + " UTC")
            };
            let what =
                format!("the clock was set to {}, not to {}", text(utc_ms), text(wanted_utc));
            self.fail("D8", None, what);
        }
        if zone != wanted_zone && !self.taint.all() {
            self.fail("D8", None, String::from("another zone is in force than was set"));
        }
        let wanted_epoch = clock_epoch(self.model.clock.epoch, opens);
        if epoch != wanted_epoch {
            if self.taint.all() {
                // the record of the last setting may be lost, and its number with it
                self.model.clock.epoch = epoch.wrapping_sub(u16::from(opens));
                // what passed by that setting never passed for the device, which gives
                // its epoch's number out anew
                for list in self.owed.values_mut() {
                    list.retain(|owed| owed.span.key.epoch < epoch);
                }
                let known = self.model.clock.epoch;
                for line in &mut self.model.lines {
                    // what this setting passes over goes by the clock that the device
                    // had before it, which is not the model's
                    if line.weekly.is_some() {
                        self.taint.mark_lost(line.entry.id);
                    }
                    // and a due that waits was born in the epoch that the device knew of
                    if let Some(due) = line.waiting.as_mut().filter(|due| due.key.epoch >= epoch) {
                        due.key.epoch = known;
                    }
                }
            } else {
                self.fail("D9", None, format!("clock epoch {epoch} opens, not {wanted_epoch}"));
            }
        }
        self.follow_clock(at, epoch, utc_ms, zone);
    }

    /// The device says that its clock is unset, which it can be without a loss of the
    /// feed where the memory has lost the setting. What passed by that setting alone
    /// never passed for the device.
    fn memory_lost_clock(&mut self, at: i64) {
        if self.model.clock.offset_ms.is_some() && self.taint.all() {
            self.model.clock.offset_ms = None;
            self.taint.clock_unset = true;
            self.model.look_ahead_all();
            self.forget_what_is_not_written();
            self.refresh(at);
            self.rearm();
        }
    }

    /// From here on the model's clock is the device's, right or wrong, so that
    /// one mistake is said once.
    fn follow_clock(&mut self, at: i64, epoch: u16, utc_ms: Option<i64>, zone: Zone) {
        if utc_ms.is_some() {
            self.taint.mended(About::Clock);
            if std::mem::take(&mut self.taint.clock_unset) {
                // whether that counts as a loss, so that what came due since is not
                // caught up, the rules leave open
                for line in self.model.lines.iter().filter(|line| line.weekly.is_some()) {
                    self.taint.mark_lost(line.entry.id);
                }
            }
        }
        let mut fates = Vec::new();
        let zone_changes = zone != self.model.clock.zone;
        let moves = utc_ms != self.model.clock.utc_ms(at);
        if zone_changes {
            if moves {
                // both at once: the zone alone bears no dues
                self.model.clock.offset_ms = None;
            }
            self.model.set_zone(at, zone, &mut fates);
        }
        if let Some(utc) = utc_ms.filter(|_| moves || !zone_changes) {
            self.model.set_offset(at, utc - at, &mut fates);
        }
        let settled = self.model.clock.epoch;
        if settled != epoch && self.facts.reading.is_none() {
            self.model.clock.epoch = epoch;
        }
        self.after_setting(at, fates);
    }

    /// What a setting did to the dues that waited, and to those it passed.
    fn after_setting(&mut self, at: i64, fates: Vec<super::model::Fate>) {
        self.take_fates(fates, at);
        self.refresh(at);
        self.rearm();
    }

    pub(super) fn on_staged(&mut self, staged: Staged) {
        self.staging.staged.push(staged);
    }

    pub(super) fn on_staged_closed(&mut self, closed: ClosedList) {
        self.staging.staged_closed = Some(closed);
    }

    /// Staged lines that no adoption followed are of no account.
    pub(super) fn forget_staged(&mut self) {
        self.staging.staged.clear();
        self.staging.staged_closed = None;
    }

    pub(super) fn on_adopted(&mut self, at: i64, adopted: &Adopted) {
        let staged = std::mem::take(&mut self.staging.staged);
        let staged_closed = self.staging.staged_closed.take();
        for line in 0..LINES {
            if adopted.cleared >> line & 1 == 1 {
                self.staging.lines[line] = None;
            }
        }
        let mut written = 0_u64;
        for s in &staged {
            if let Some(line) = self.staging.lines.get_mut(usize::from(s.line)) {
                written |= 1 << s.line;
                *line = Some((s.entry, s.revision));
            }
        }
        if written != adopted.written || staged_closed.is_some() != adopted.closed_staged {
            self.fail(
                "D11",
                None,
                format!(
                    "lines {written:#x} were staged, and lines {:#x} are said to be in force",
                    adopted.written
                ),
            );
        }
        if let Some(closed) = staged_closed {
            self.staging.closed = closed;
        }
        let wanted = match self.pending.setting.take() {
            Some(DeviceAct::SetTimetable(timetable)) => timetable,
            other => {
                self.pending.setting = other;
                self.fail("M2", None, String::from("a timetable is in force that nobody set"));
                return;
            }
        };
        let ceiling_nl = wanted.ceiling.map(dosewright_core::units::Volume::as_nl);
        let mut fates = Vec::new();
        self.model.adopt(at, wanted.entries(), wanted.closed, ceiling_nl, &mut fates);
        self.check_whole(&wanted, adopted);
        self.check_kept_ceiling(adopted);
        self.check_acceptable(&wanted);
        self.closed_runs
            .retain(|id, run| self.model.line(*id).is_some_and(|l| l.revision == run.revision));
        self.take_fates(fates, at);
        for line in &self.model.lines {
            if self.facts.names.is_empty() {
                self.report.entries.entry(line.entry.id).or_default();
            }
        }
        let mut lost = Vec::new();
        for line in &mut self.model.lines {
            if self.taint.covers(line.entry.id) {
                // its settings are whole again; what it carried stays lost, and what it
                // owes by the mark that the device has
                line.carry_lost = true;
                lost.push(line.entry.id);
            }
        }
        let as_before = |id| wanted.get(id).is_some() && staged.iter().all(|s| s.entry.id != id);
        self.taint.timetable_set(as_before, adopted.closed_staged);
        for id in lost {
            self.taint.mark_lost(id);
        }
        self.refresh(at);
        self.rearm();
    }

    /// D11: the lines in force are the timetable that was set, whole.
    fn check_whole(
        &mut self,
        wanted: &dosewright_core::timetable::Timetable<LINES>,
        adopted: &Adopted,
    ) {
        let in_force = self.staging.lines.iter().flatten();
        // of a line whose last record is lost a device may take an older one for what was set
        let known = |id: EntryId| !self.taint.covers(id);
        let strange = in_force.clone().find(|(e, _)| known(e.id) && wanted.get(e.id) != Some(*e));
        let strange = strange.copied();
        let missing =
            wanted.entries().find(|e| known(e.id) && !in_force.clone().any(|(f, _)| f.id == e.id));
        if let Some((entry, _)) = strange {
            let id = entry.id;
            self.fail(
                "D11",
                None,
                format!("{} is not in force as it was set", self.entry_name(id)),
            );
        } else if let Some(entry) = missing {
            let id = entry.id;
            self.fail("D11", None, format!("{} was set and is not in force", self.entry_name(id)));
        }
        if self.staging.closed != wanted.closed {
            self.fail(
                "D11",
                None,
                String::from("the closed dates in force are not those that were set"),
            );
        }
        if adopted.ceiling != wanted.ceiling {
            self.fail(
                "D11",
                None,
                String::from("the ceiling in force is not the one that was set"),
            );
        }
        let revisions: Vec<(EntryId, u16)> =
            self.staging.lines.iter().flatten().map(|(e, r)| (e.id, *r)).collect();
        for (id, revision) in revisions {
            let expected = self.model.line(id).map_or(revision, |l| l.revision);
            if revision != expected {
                if !self.taint.covers(id) {
                    let name = self.entry_name(id);
                    let what = format!("{name} is in revision {revision}, not {expected}");
                    self.fail("D11", None, what);
                }
                if let Some(line) = self.model.line_mut(id) {
                    line.revision = revision;
                }
            }
        }
    }

    /// D7: the ceiling of before goes on counting, unless somebody sets one or had set it.
    fn check_kept_ceiling(&mut self, adopted: &Adopted) {
        let kept = adopted.kept_ceiling.as_nl();
        let wanted = self.model.ceiling_before.map_or(0, |(nl, _)| nl);
        if self.taint.keeps_ceiling(self.now) {
            if kept != wanted {
                let what =
                    format!("the ceiling of before goes on as {kept} nl, and was {wanted} nl");
                self.fail("D7", None, what);
            }
        } else if let Some((nl, _)) = &mut self.model.ceiling_before {
            // without the lines that were lost it was lower
            *nl = kept.min(*nl);
        }
    }

    pub(super) fn entry_name(&self, id: EntryId) -> String {
        self.facts
            .names
            .get(&id)
            .map_or_else(|| format!("entry {}", id.0), |name| format!("\"{name}\""))
    }

    pub(super) fn alarm_is_on(&self, alarm: Alarm) -> bool {
        self.staging.alarms >> alarm as u16 & 1 == 1
    }

    pub(super) fn on_alarm(&mut self, at: i64, alarm: Alarm, on: bool) {
        self.on_container_alarm(at, alarm, on);
        self.on_motor_alarm(at, alarm, on);
        self.on_pack_alarm(at, alarm, on);
        if alarm == Alarm::ClockUnset && on {
            self.memory_lost_clock(at);
        }
        let bit = 1 << alarm as u16;
        if on {
            self.staging.alarms |= bit;
        } else {
            self.staging.alarms &= !bit;
        }
    }

    /// D9: with the clock unset an alarm is raised.
    pub(super) fn check_unset_alarm(&mut self, lost: bool) {
        if !lost {
            return;
        }
        let weekly = self.model.lines.iter().any(|l| l.weekly.is_some() && l.entry.enabled);
        let raised = self.staging.alarms >> Alarm::ClockUnset as u16 & 1 == 1;
        let writable = !self.hinder.ledger_bad && self.supply.awake;
        let known = !self.taint.alarms;
        if weekly && writable && known && !raised && self.model.clock.offset_ms.is_none() {
            self.fail("D9", None, String::from("the clock was lost, and no alarm was raised"));
        }
    }

    pub(super) fn on_snapshot(&mut self, record: &Record) {
        match record {
            Record::SnapLine { id, state, .. } => self.snapshot.lines.push((*id, *state)),
            Record::SnapDeliveries(some) => {
                self.snapshot.deliveries.extend(some.iter().flatten());
            }
            Record::SnapOpen { pulse, .. } => {
                self.snapshot.open = Some((pulse.due.id, pulse.due_at.as_ms()));
            }
            Record::SnapClock { at, epoch, utc, .. } => {
                self.snapshot.clock =
                    Some((*epoch, utc.map(dosewright_core::time::Utc::as_ms), at.as_ms()));
            }
            Record::SnapStock(stock) => {
                let (level, spoken) = (stock.level.as_nl(), stock.spoken.as_nl());
                self.snapshot.account = Some((level, spoken as i64 - level as i64));
            }
            Record::SnapGlobals { kept_ceiling, kept_until, damaged, closed_damaged, .. } => {
                self.snapshot.ceiling = Some((kept_ceiling.as_nl(), kept_until.as_ms()));
                self.snapshot.damaged = Some((*damaged, *closed_damaged));
            }
            Record::SnapTube(tube) => self.snapshot.tube = Some(*tube),
            _ => {}
        }
    }

    /// D11: a snapshot carries forward mark, last begin, 23 h volume, remainder.
    pub(super) fn on_sealed(&mut self) {
        let snapshot = std::mem::take(&mut self.snapshot);
        if let Some((damaged, closed_damaged)) = snapshot.damaged {
            let line_of =
                |id| self.staging.lines.iter().position(|l| l.is_some_and(|l| l.0.id == id));
            let is_damaged = |id| line_of(id).is_none_or(|line| damaged >> line & 1 == 1);
            self.taint.carried_on(is_damaged, closed_damaged);
        }
        if self.taint.all() {
            return;
        }
        if let Some((epoch, utc, at)) = snapshot.clock {
            let wanted = (self.model.clock.epoch, self.model.clock.utc_ms(at));
            if (epoch, utc) != wanted {
                self.fail("D11", None, String::from("a snapshot carries another clock forward"));
            }
        }
        let stock = &self.model.stock;
        let account = stock.container.map(|_| stock.account_and_drawn_nl());
        if snapshot.account != account && !stock.unsure && self.facts.reading.is_none() {
            let carried = snapshot.account;
            self.fail("D11", None, format!(
                "a snapshot carries {carried:?} nl of the container and drawn since forward, and the account is {account:?} nl"
            ));
        }
        let at = self.now;
        let lasts = |ceiling: &(u64, i64)| ceiling.0 > 0 && ceiling.1 > at;
        let wanted = self.model.ceiling_before.filter(lasts);
        if snapshot.ceiling.filter(lasts) != wanted && !self.taint.ever {
            let what = "a snapshot carries another ceiling of before forward than there was";
            self.fail("D11", None, String::from(what));
        }
        let carried = snapshot.tube.unwrap_or(Tube::UNKNOWN);
        if carried != self.bench.tube() && !self.taint.ever {
            let what = "a snapshot carries other calibrations forward than there were";
            self.fail("O4", None, String::from(what));
        }
        let mut lost = Vec::new();
        for line in &self.model.lines {
            let id = line.entry.id;
            if self.taint.covers(id) {
                continue;
            }
            let Some((_, state)) = snapshot.lines.iter().find(|(i, _)| *i == id) else {
                lost.push((id, "its state"));
                continue;
            };
            if state.carry.0 != line.carry && !line.carry_lost {
                lost.push((id, "its remainder"));
            }
            if state.last.map(|b| b.at.as_ms()) != line.last.map(|b| b.at) && !line.carry_lost {
                lost.push((id, "its last begin"));
            }
            if state.revision != line.revision {
                lost.push((id, "its revision"));
            }
            let owed = self.owed.get(&id).is_some_and(|list| !list.is_empty());
            let mark = state.mark.map(|n| i64::from(n.0));
            let known = !owed && !line.carry_lost;
            if known && line.waiting.is_none() && !self.mark_fits(id, mark) {
                lost.push((id, "its mark"));
            }
        }
        for (id, what) in lost {
            let name = self.entry_name(id);
            self.fail("D11", None, format!("a snapshot does not carry {what} forward for {name}"));
        }
        let now = self.now;
        // no delivery begins before its due
        // a dose whose outcome was lost is open again
        let young = |d: &&Delivered| {
            now - d.due_at < 23 * 3_600_000 && snapshot.open != Some((d.id, d.due_at))
        };
        let wanted: u64 = self.model.deliveries.iter().filter(young).map(|d| d.most_nl).sum();
        let carried: u64 = snapshot
            .deliveries
            .iter()
            .filter(|d| now - d.begin.at.as_ms() < 23 * 3_600_000)
            .map(|d| d.volume.as_nl())
            .sum();
        if carried < wanted {
            self.fail("D11", None, format!(
                "a snapshot carries {carried} nl of the last 23 h forward, and {wanted} nl were delivered"
            ));
        }
    }

    /// Whether a mark that the device wrote lies where the model's does.
    pub(super) fn mark_fits(&self, id: EntryId, mark: Option<i64>) -> bool {
        let Some(line) = self.model.line(id).filter(|l| l.entry.enabled) else { return true };
        if line.next.is_some_and(|next| next >= i64::from(u32::MAX)) {
            return true;
        }
        match (mark, line.next) {
            (None, None) => true,
            (Some(mark), Some(next)) => {
                let least = line.passed.map_or(i64::MIN, |p| p + 1);
                let most = || line.weekly.map_or(Some(next), |w| w.next_nominal(next));
                mark >= least && (mark <= next || most().is_none_or(|most| mark <= most))
            }
            _ => false,
        }
    }

    pub(super) fn believed(&self) -> Causes {
        let by_account = self.pack.is_unread(self.taint.ever).then_some(Cause::Battery);
        let fault = self.motor.unsure.then_some(Cause::MotorFault);
        by_account.into_iter().chain(fault).fold(self.facts.believed, Causes::with)
    }
}

pub(super) fn clock_epoch(epoch: u16, opens: bool) -> u16 {
    // 0 is that of a clock that was never set
    if opens { epoch % u16::MAX + 1 } else { epoch }
}
