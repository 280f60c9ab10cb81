//! A record is in the ledger, or could not be written.

use super::{Controller, Pump, RETRY_AFTER};
use crate::cause::Cause;
use crate::effect::{Effect, Effects};
use crate::record::{Alarm, Record, Reset};
use crate::time::{Duration, Instant};
use crate::timers::Reason;
use crate::timetable::Refusal;

impl<const N: usize, const H: usize> Controller<N, H> {
    /// The record of the last append is in the ledger.
    pub(super) fn appended(&mut self, effects: &mut Effects) {
        if self.pending().is_none() {
            return;
        }
        // what is applied is what the ledger holds, byte for byte
        let mut record = Record::Stamp { at: Instant::ZERO };
        let is_whole = record.read(&self.pending);
        debug_assert!(is_whole, "a record that does not come back from its bytes");
        self.drop_pending();
        if !is_whole {
            return;
        }
        self.ledger_works(effects);
        self.book.apply(&record);
        self.stir_by(&record);
        match &record {
            Record::Stamp { .. } => {}
            Record::Pulse(pulse) => {
                if pulse.first {
                    self.stale = true;
                    // what is asked for after a restart cannot have begun before it
                    if !pulse.asked && pulse.due_at <= self.started_at {
                        self.doubt = 0;
                    }
                }
                self.run_pulse(pulse, effects);
            }
            Record::Boot { .. } => self.started(),
            Record::Born(born) => {
                if let Some(kept) = self.kept.get_mut(usize::from(born.line)) {
                    *kept = born.cause;
                }
                self.stale = true;
            }
            Record::Pack { .. } | Record::PackMeans { .. } | Record::Lit { .. } => {
                self.pack_noted(&record);
            }
            Record::Motor { .. } => (self.motor_failed, self.stale) = (false, true),
            Record::Pin { .. } => self.open_up(),
            Record::Alarm { alarm, on, .. } => {
                if *alarm == Alarm::MemoryDamaged {
                    // told, and told again for as long as the ledger did not have it
                    (self.unreadable, self.acknowledged) = (0, false);
                }
                effects.push(Effect::Alarm(*alarm, *on));
                self.level_noted(*alarm, *on, effects);
            }
            Record::Container { .. } => self.container_noted(),
            Record::Act { act, ms, .. } => self.service_noted(*act, *ms, effects),
            Record::Clock { .. } => {
                self.passing = Cause::ClockSet;
                self.stale = true;
            }
            Record::Outcome(outcome) => {
                debug_assert!(outcome.least <= outcome.most, "D4");
                if outcome.most > outcome.least {
                    // slots that were one dose's pulses are no other's
                    self.doubt = 0;
                }
                // what ends the open dose moves no mark: its begin has; nor does it end what
                // waits, but on a line whose settings were lost
                let ends_dose = self.book.open.is_none() && self.running.take().is_some();
                self.stale |= !ends_dose || self.any_waiting;
            }
            Record::Head { .. } => {
                self.bench.long_ms = 0;
                self.refit();
            }
            Record::Calibration { in_force, .. } => {
                self.bench = self.bench.taken(*in_force);
                // the account is restated by it
                self.fit_to_stock();
                self.refit();
            }
            _ => self.stale = true,
        }
    }

    /// The record of the last append, or the adoption, could not be written.
    pub(super) fn append_failed(&mut self, effects: &mut Effects) {
        let requested = self.adopting || self.asked;
        self.adopting = false;
        self.drop_pending();
        if requested {
            effects.push(Effect::Refused(Refusal::Ledger));
        }
        if self.book.open.is_none() {
            self.running = None;
        }
        if !self.ledger_failed() {
            effects.push(Effect::Alarm(Alarm::LedgerFault, true));
        }
        if self.passing == Cause::WokenLate {
            self.passing = Cause::Ledger;
        }
        self.timers.set(Reason::Retry, self.now.plus(RETRY_AFTER));
    }

    /// The start is in the ledger.
    fn started(&mut self) {
        let Some(start) = self.start.take() else { return };
        self.passing = match start.reset {
            Reset::PowerOn => Cause::SupplyLost,
            Reset::Watchdog => Cause::Restarts,
        };
        // the pump has been off since the start, so a full rest from there is enough
        let last = self.book.open.map(|open| self.book.run_of(open.pulse.on_ms));
        let longest = self.book.head.map_or(Duration::ZERO, |head| {
            // prime and calibrate may have run longer than any pulse
            let run =
                head.longest_run_ms.max(head.longest_prime_ms).max(head.longest_calibration_ms);
            head.rest_after(last.unwrap_or(Duration::from_ms(u64::from(run))))
        });
        let rested = start.now.plus(longest);
        let known = if start.run_lost { rested } else { self.book.rest_until };
        self.pump = Pump::Off { rest_until: rested.min(known) };
        (self.doubt, self.started_at) = (start.unreadable_tail, self.now);
        if let Some(open) = self.book.open {
            self.running = Some(self.resumed(&open));
            self.doubt = 0;
        }
        self.pack_at_start();
        self.stale = true;
    }

    pub(super) fn ledger_works(&mut self, effects: &mut Effects) {
        if self.ledger_failed() {
            self.timers.set(Reason::Retry, Instant::MAX);
            effects.push(Effect::Alarm(Alarm::LedgerFault, false));
        }
    }
}
