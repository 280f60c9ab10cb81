//! The begin of a dose, its pulses and its outcome (D1 to D5, D7).

use dosewright_core::cause::Cause;
use dosewright_core::record::{Outcome, OutcomeKind, Pulse};

use super::dues::nominal;
use super::{Began, Delivery, Ghost, Judged, Leave, Open, Rules, must, volume_nl};

/// The span of the ceiling.
pub(super) const CEILING_MS: i64 = 23 * 3_600_000;

impl Ghost {
    /// The ledger has the intent of a pulse.
    pub(super) fn intent(&mut self, pulse: &Pulse, rules: &Rules) -> Judged {
        must(self.service.is_none(), "D3", || {
            "a dose goes on while prime or calibrate has the pump".to_owned()
        })?;
        if pulse.first {
            self.begin(pulse, rules)?;
        }
        let key = (pulse.due.id.0, pulse.due.revision, pulse.due.epoch, pulse.due.nominal.0);
        let Some(open) = &mut self.open else {
            return must(false, "D1", || format!("a pulse of a dose that is over: {pulse:?}"));
        };
        let own = (open.line as u16 + 1, open.revision, open.epoch, open.nominal);
        must(key == own && open.asked == pulse.asked, "D3", || {
            "a pulse of one dose while another has the pump".to_owned()
        })?;
        must(open.boots < 3, "D4", || "a pulse after the third restart in a dose".to_owned())?;
        let on_ms = u64::from(pulse.on_ms);
        open.pulse_ms = open.pulse_ms.max(on_ms);
        self.leave = Some(Leave::Dose(on_ms));
        self.pin.was_meant = true;
        self.service_ms = None;
        Ok(())
    }

    fn begin(&mut self, pulse: &Pulse, rules: &Rules) -> Judged {
        must(self.open.is_none(), "D3", || "a dose begins while another is open".to_owned())?;
        let line = usize::from(pulse.due.id.0) - 1;
        let began = Began {
            at: self.now,
            local: self.clock_ms.map(|clock| self.now + clock),
            losses: self.losses,
        };
        let due_at = if pulse.asked { self.asked(pulse)? } else { self.due_of(pulse, line)? };
        let known = &self.lines[line];
        let (entry, edited) = (known.entry, known.edited);
        must(!entry.is_weekly() || pulse.asked || self.clock_ms.is_some(), "D9", || {
            "a weekly dose begins while the clock is unset".to_owned()
        })?;
        must(pulse.asked || !self.is_of_before(known, due_at), "D9", || {
            format!("a due of {due_at} ms is caught up, from before the clock was set again")
        })?;
        let (flow, dose_ms) = (rules.flow, u64::from(pulse.dose_ms));
        let wanted = u128::from(entry.volume.as_nl()) * 60_000
            + if pulse.asked { 0 } else { u128::from(known.carry) };
        let whole_ms = (wanted / u128::from(flow.as_nl_per_min())) as u64;
        must(dose_ms <= whole_ms, "D4", || {
            format!("a dose of {dose_ms} ms, and the entry asks for {whole_ms} ms")
        })?;
        let guard = known.gap_ms() / 2;
        let repeats = !pulse.asked && known.last.is_some_and(|last| self.age(&last) < guard);
        if repeats {
            let had: u64 = self
                .deliveries
                .iter()
                .filter(|d| d.line == line && self.age(&d.began) < guard)
                .map(|d| d.pin_nl)
                .sum();
            let sum = had + volume_nl(flow, dose_ms);
            must(edited && sum <= entry.volume.as_nl() + volume_nl(flow, 1), "D2", || {
                let age = known.last.map_or(0, |last| self.age(&last));
                format!("a dose begins {age} ms after the last, the guard is {guard} ms")
            })?;
        }
        let room = self.ceiling_nl(due_at).saturating_sub(self.counted(due_at, |d| d.pin_nl));
        must(volume_nl(flow, dose_ms) <= room + volume_nl(flow, 1), "D7", || {
            format!("a dose of {dose_ms} ms begins, the ceiling leaves {room} nl")
        })?;
        if dose_ms < whole_ms {
            let full = self.counted(due_at, |d| d.most_nl) + entry.volume.as_nl()
                > self.ceiling_nl(due_at);
            must(repeats || full, "D4", || {
                format!("a dose of {dose_ms} ms begins for {whole_ms} ms, for no reason")
            })?;
        }
        if !pulse.asked {
            self.in_turn(due_at, pulse.due.id.0)?;
        }
        let line_now = &mut self.lines[line];
        line_now.last = Some(began);
        let waited = if pulse.asked {
            false
        } else {
            line_now.edited = false;
            let at = line_now.find(pulse.due.revision, pulse.due.epoch, pulse.due.nominal.0);
            at.is_some_and(|at| line_now.dues.remove(at).told)
        };
        let pulses = dose_ms.div_ceil(u64::from(pulse.on_ms).max(1)) as usize;
        let crowded = self.starts.len() + pulses > rules.starts_per_hour;
        let wanted_by_another = self.lines.iter().any(|line| !line.dues.is_empty());
        self.open = Some(Open {
            line,
            asked: pulse.asked,
            revision: pulse.due.revision,
            epoch: pulse.due.epoch,
            nominal: pulse.due.nominal.0,
            due_at,
            window_end: due_at + i64::from(entry.window_ms),
            deadline: due_at + self.lines[line].whole_ms(),
            dose_ms,
            flow,
            pin_ms: 0,
            pulse_ms: 0,
            resets: 0,
            boots: 0,
            disturbed: waited || wanted_by_another || crowded || self.now > due_at + 1,
            stopped: false,
            cut: dose_ms < whole_ms,
            began,
        });
        Ok(())
    }

    /// A dose that an operator asks for is due when it is asked for.
    fn asked(&mut self, pulse: &Pulse) -> Result<i64, super::Finding> {
        must(self.wish.run_again.take() == Some(pulse.due.id.0), "D2", || {
            "a dose outside the timetable that nobody asked for".to_owned()
        })?;
        Ok(self.now)
    }

    fn due_of(&self, pulse: &Pulse, line: usize) -> Result<i64, super::Finding> {
        let found = self.lines.get(line).and_then(|line| {
            let at = line.find(pulse.due.revision, pulse.due.epoch, pulse.due.nominal.0)?;
            line.dues.get(at).filter(|due| !due.ahead && due.revision == line.revision)
        });
        match found {
            Some(due) => Ok(due.due_at),
            None => Err(super::Finding {
                promise: "D1",
                what: format!("a dose begins for a due that is none or has ended: {:?}", pulse.due),
            }),
        }
    }

    /// Dues that meet take their turns by instant, then by number (D3).
    fn in_turn(&self, due_at: i64, id: u16) -> Judged {
        for (index, line) in self.lines.iter().enumerate() {
            let other = index as u16 + 1;
            if other == id || line.entry.is_weekly() && self.clock_ms.is_none() {
                continue;
            }
            let older = line.dues.iter().find(|due| due.told && (due.due_at, other) < (due_at, id));
            must(older.is_none(), "D3", || {
                format!("a due of {due_at} ms begins before one of {older:?}")
            })?;
        }
        Ok(())
    }

    /// What counts against the ceiling of a due, by a measure of deliveries.
    fn counted(&self, due_at: i64, measure: impl Fn(&Delivery) -> u64) -> u64 {
        let due_age = self.now - due_at;
        self.deliveries
            .iter()
            .filter(|d| self.age(&d.began) + (d.began.at - d.due_at) < due_age + CEILING_MS)
            .map(measure)
            .sum()
    }

    /// The ledger has an outcome.
    pub(super) fn outcome(&mut self, outcome: &Outcome, rules: &Rules) -> Judged {
        let due = outcome.due;
        let line = usize::from(due.id.0) - 1;
        let is_open = self.open.is_some_and(|open| {
            (open.line, open.asked, open.revision, open.epoch, open.nominal)
                == (line, outcome.asked, due.revision, due.epoch, due.nominal.0)
        });
        if is_open {
            return self.dose_ends(outcome, rules);
        }
        must(!outcome.asked, "D1", || format!("an outcome of a dose that is none: {due:?}"))?;
        let mut left = outcome.count;
        let mut first = due.nominal.0;
        while left > 0 {
            let known = &self.lines[line];
            let Some(at) = known.find(due.revision, due.epoch, first) else {
                return must(false, "D1", || {
                    format!("an outcome of a due that is none or has one already: {outcome:?}")
                });
            };
            self.skip_is_right(line, at, outcome, rules)?;
            let known = &mut self.lines[line];
            known.dues.remove(at);
            left -= 1;
            let next = known.dues.iter().filter(|other| other.epoch == due.epoch);
            first = next.map(|other| nominal(&known.entry, other.n)).min().unwrap_or(u32::MAX);
        }
        if outcome.kind == OutcomeKind::Skipped(Cause::AlreadyDosed) {
            self.lines[line].edited = false;
        }
        Ok(())
    }

    /// A due that has not begun ends: nothing was delivered, and there is a reason.
    fn skip_is_right(&self, line: usize, at: usize, outcome: &Outcome, rules: &Rules) -> Judged {
        let OutcomeKind::Skipped(cause) = outcome.kind else {
            return must(false, "D1", || format!("{:?} for a due that never began", outcome.kind));
        };
        must(outcome.most.as_nl() == 0, "D4", || "a skipped dose has a volume".to_owned())?;
        let (known, due) = (&self.lines[line], &self.lines[line].dues[at]);
        let deadline = due.due_at + known.whole_ms();
        let holds = match cause {
            Cause::AlreadyDosed => {
                let guard = known.gap_ms() / 2;
                known.last.is_some_and(|last| self.age(&last) < guard)
            }
            Cause::Ceiling => {
                let counted = self.counted(due.due_at, |d| d.most_nl);
                counted + known.entry.volume.as_nl() > self.ceiling_nl(due.due_at)
            }
            Cause::OlderWaiting => {
                known.dues.iter().enumerate().any(|(i, other)| i != at && other.told)
            }
            Cause::ClockSet if due.ahead => true,
            Cause::ClockUnset if self.is_of_before(known, due.due_at) => true,
            Cause::Edited | Cause::Disabled => due.revision != known.revision,
            _ => self.now >= deadline || !self.fits(deadline, rules),
        };
        must(holds, "D1", || {
            format!("a due of {} ms is skipped, \"{}\", for no reason", due.due_at, cause.words())
        })
    }

    /// Whether the pump could still run before a deadline, from now on, in the
    /// device's time, for as long as the shortest pulse.
    fn fits(&self, deadline: i64, rules: &Rules) -> bool {
        let wait = (self.may_start_at(rules) - self.true_ms) as i64;
        deadline - self.now - wait > rules.shortest_on_ms as i64
    }

    fn dose_ends(&mut self, outcome: &Outcome, rules: &Rules) -> Judged {
        let Some(open) = self.open.take() else { return Ok(()) };
        must(!self.pin.is_on(), "D1", || "a dose ends while the pump runs for it".to_owned())?;
        let pin_nl = volume_nl(open.flow, open.pin_ms);
        let (least, most) = (outcome.least.as_nl(), outcome.most.as_nl());
        must(least <= pin_nl && pin_nl <= most, "D4", || {
            format!("an outcome says {least} to {most} nl, the pump delivered {pin_nl} nl")
        })?;
        let doubt = u64::from(open.resets) * open.pulse_ms;
        must(most <= pin_nl + volume_nl(open.flow, doubt) + 1, "D4", || {
            format!("{} restarts leave {} nl in doubt", open.resets, most - pin_nl)
        })?;
        let known = &self.lines[open.line];
        let carry = match outcome.kind {
            OutcomeKind::Dosed if !open.asked => {
                let wanted =
                    u128::from(known.entry.volume.as_nl()) * 60_000 + u128::from(known.carry);
                (wanted % u128::from(open.flow.as_nl_per_min())) as u32
            }
            _ => known.carry,
        };
        match outcome.kind {
            OutcomeKind::Dosed => {
                let lacks = open.dose_ms - open.pin_ms;
                must(lacks <= doubt && !open.cut, "D4", || {
                    format!("\"dosed\" with {lacks} ms lacking and {} restarts", open.resets)
                })?;
                must(outcome.carry.0 == carry, "D4", || {
                    format!("the remainder is {:?}, and should be {carry}", outcome.carry)
                })?;
            }
            OutcomeKind::Part(cause) | OutcomeKind::Skipped(cause) => {
                self.part_is_right(&open, outcome, cause, rules)?;
            }
        }
        self.lines[open.line].carry = carry;
        self.deliveries.push(Delivery {
            line: open.line,
            began: open.began,
            due_at: open.due_at,
            pin_nl,
            most_nl: most,
        });
        Ok(())
    }

    /// A dose that has begun and is not whole: it could not be.
    fn part_is_right(&self, open: &Open, outcome: &Outcome, cause: Cause, rules: &Rules) -> Judged {
        let known = &self.lines[open.line];
        let left_nl = volume_nl(open.flow, open.dose_ms).saturating_sub(outcome.most.as_nl());
        let left = left_nl > volume_nl(open.flow, rules.shortest_on_ms);
        let ended = match cause {
            Cause::Edited | Cause::Disabled => open.revision != known.revision,
            Cause::Stopped => open.stopped,
            Cause::ClockLost => self.losses != open.began.losses,
            Cause::Restarts if open.boots >= 3 => true,
            Cause::Ceiling | Cause::AlreadyDosed => open.cut && left_nl == 0,
            _ => !left || self.now >= open.deadline || !self.fits(open.deadline, rules),
        };
        must(ended, "D5", || {
            format!("a dose ends as part, \"{}\", and could have gone on", cause.words())
        })?;
        let edited = matches!(cause, Cause::Edited | Cause::Disabled);
        must(open.disturbed || open.stopped || open.cut || edited, "D4", || {
            format!("an undisturbed dose ends as part, \"{}\"", cause.words())
        })
    }
}
