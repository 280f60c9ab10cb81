//! The pump's pin: who has it, for how long, after what rest (D3, D4, D6, D7, P4).

use super::{Ghost, Judged, Leave, Rules, Started, must};

/// The pump's output, in true time.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug, Default)]
pub(in crate::explore::states) struct Pin {
    on_since: Option<u64>,
    /// When the one-shot ends the run.
    until: u64,
    /// When the last run ended, and how long a rest it needs.
    off_at: u64,
    rest_ms: u64,
    /// The ledger has had a record of a run, whether the pump came to it or not.
    pub(super) was_meant: bool,
    /// The logic was reset, and may rest until then.
    unsure_until: Option<u64>,
}

impl Pin {
    pub(in crate::explore::states) const fn is_on(&self) -> bool {
        self.on_since.is_some()
    }

    pub(in crate::explore::states) const fn until(&self) -> Option<u64> {
        if self.is_on() { Some(self.until) } else { None }
    }

    /// The logic does not know any more how long the last run was.
    /// It may rest from there as after the longest pulse, or as after the whole of
    /// the prime or calibration run that came last: after the first of all too, which a cut
    /// may have kept from running, since a restart counts what the ledger has of it.
    pub(in crate::explore::states) fn forget_rest(
        &mut self,
        true_ms: u64,
        service_ms: Option<u64>,
        rules: &Rules,
    ) {
        let rest = match service_ms {
            Some(ms) => ms + rules.rest_ms(ms),
            None => rules.rest_ms(rules.longest_run_ms),
        };
        self.unsure_until = self.was_meant.then_some(true_ms + rest);
    }
}

impl Ghost {
    /// Whether the pump may start again for a dose, for all that anyone can know.
    pub(in crate::explore::states) fn rested(&self, rules: &Rules) -> bool {
        self.may_start_at(rules) <= self.true_ms
    }

    /// The true time from which the pump's limits certainly let a dose start.
    pub(in crate::explore::states) fn may_start_at(&self, rules: &Rules) -> u64 {
        let rested = (self.pin.off_at + self.pin.rest_ms).max(self.pin.unsure_until.unwrap_or(0));
        let started = self.starts.len().checked_sub(rules.starts_per_hour);
        let free = started.and_then(|at| self.starts.get(at)).map_or(0, |start| {
            let wait = (start.at + 3_600_000 - self.now).max(0) as u64;
            (start.true_ms + 3_600_000).max(self.true_ms + wait)
        });
        rested.max(free).max(self.true_ms)
    }

    /// The pump is turned on.
    pub(in crate::explore::states) fn pump_on(&mut self, length_ms: u64, rules: &Rules) -> Judged {
        must(!self.pin.is_on(), "D3", || "the pump is turned on while it runs".to_owned())?;
        must(!self.stopped && !self.motor_rests(), "P4", || {
            "the pump is turned on while a stop or a fault is on".to_owned()
        })?;
        match self.leave.take() {
            None => must(false, "D4", || {
                "the pump is turned on, and the ledger has no record of it".to_owned()
            })?,
            Some(Leave::Dose(ms) | Leave::Service(ms)) => must(ms == length_ms, "D4", || {
                format!("the pump is turned on for {length_ms} ms, the record says {ms} ms")
            })?,
        }
        if self.service.is_none() {
            self.pulse_begins(length_ms, rules)?;
        }
        self.motor.turned = false;
        self.pin.on_since = Some(self.true_ms);
        self.pin.until = self.true_ms + length_ms;
        Ok(())
    }

    fn pulse_begins(&mut self, length_ms: u64, rules: &Rules) -> Judged {
        let (now, until) = (self.now, self.now + length_ms as i64);
        must(length_ms <= rules.longest_run_ms, "D7", || {
            format!("a run of {length_ms} ms, and the longest is {} ms", rules.longest_run_ms)
        })?;
        must(length_ms >= rules.shortest_on_ms, "D7", || {
            format!("a run of {length_ms} ms, and the shortest is {} ms", rules.shortest_on_ms)
        })?;
        let rest = self.true_ms - self.pin.off_at;
        must(self.pin.off_at == 0 || rest >= self.pin.rest_ms, "D7", || {
            format!("the pump rested {rest} ms, and needs {} ms", self.pin.rest_ms)
        })?;
        self.starts.push(Started { true_ms: self.true_ms, at: now });
        let recent = self.starts.iter().filter(|start| start.true_ms + 3_600_000 > self.true_ms);
        let (count, limit) = (recent.count(), rules.starts_per_hour);
        must(count <= limit, "D7", || format!("{count} starts in an hour, and {limit} may be"))?;
        let Some(open) = self.open else { return Ok(()) };
        // a call 1 ms late is on time, and its pulse ends as late
        must(until <= open.deadline + 1, "D5", || {
            format!("a pulse ends at {until} ms, after the deadline {} ms", open.deadline)
        })?;
        if !open.disturbed {
            must(now >= open.due_at && until <= open.window_end + 1, "D5", || {
                format!("an undisturbed pulse lies from {now} to {until} ms, outside its window")
            })?;
        }
        self.even(now)
    }

    /// The delivered volume is within a pulse of the straight line (D6).
    fn even(&self, now: i64) -> Judged {
        let Some(open) = self.open.filter(|open| !open.disturbed && !open.asked) else {
            return Ok(());
        };
        let window = u128::from((open.window_end - open.due_at).max(1) as u64);
        let into = u128::from((now - open.due_at).max(0) as u64).min(window);
        let line = u128::from(open.dose_ms) * into / window;
        let off = line.abs_diff(u128::from(open.pin_ms));
        must(off <= u128::from(open.pulse_ms) + 1, "D6", || {
            format!("{} ms have run where the line has {line} ms", open.pin_ms)
        })
    }

    /// The pump goes off, by the logic, the one-shot or for want of supply.
    pub(in crate::explore::states) fn pump_off(
        &mut self,
        true_ms: u64,
        now: i64,
        rules: &Rules,
    ) -> Judged {
        let Some(since) = self.pin.on_since.take() else { return Ok(()) };
        let ran = true_ms - since;
        self.motor.turned = true_ms >= self.pin.until && self.motor.faults > 0;
        let rested = self.pin.off_at + self.pin.rest_ms;
        self.pin.off_at = true_ms;
        self.pin.rest_ms = rules.rest_ms(ran);
        if let Some(service) = &mut self.service {
            service.ran_ms += ran;
            // a prime does not wait for the rest that a pulse needs, and does not take it either
            self.pin.rest_ms = self.pin.rest_ms.max(rested.saturating_sub(true_ms));
            return Ok(());
        }
        self.pin.unsure_until = None;
        let Some(open) = &mut self.open else {
            return must(false, "D3", || format!("the pump ran {ran} ms for nobody"));
        };
        open.pin_ms += ran;
        let (pin, dose) = (open.pin_ms, open.dose_ms);
        must(pin <= dose, "D4", || format!("{pin} ms have run for a dose of {dose} ms"))?;
        self.even(now)
    }
}
