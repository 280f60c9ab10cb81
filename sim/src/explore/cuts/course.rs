//! What is seen of a run from outside: the pump's pin, the outcomes, the
//! operator; and what must hold of it whatever happens.

use dosewright_core::record::{self, Outcome, OutcomeKind, Record};

use super::script::{Act, DUES, Deed, Due, OFF_MS, SHORTEST_OFF_MS, Script};

/// What must hold and did not.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Violation {
    /// The promise.
    pub promise: &'static str,
    /// What was seen instead.
    pub what: String,
}

/// What a check says.
pub(super) type Judged<T = ()> = Result<T, Box<Violation>>;

#[cold]
pub(super) fn no<T>(promise: &'static str, what: String) -> Judged<T> {
    Err(Box::new(Violation { promise, what }))
}

/// What became of a due so far.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub(super) struct Account {
    /// Pumping so far, in ms.
    on_ms: u32,
    /// Pulses that cuts so far may have cost it.
    lost_pulses: u8,
    /// Intents that cannot be read any more. The memory takes each for a pulse as
    /// long as the one before it, and pulses of one dose differ by a millisecond.
    lost_intents: u8,
    outcomes: u8,
}

/// What a run of the pump is for.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
enum For {
    Due(usize),
    Calibration,
}

#[derive(Clone, Copy, PartialEq, Eq, Debug)]
struct Run {
    since_ms: i64,
    /// The one-shot ends it then, whatever the logic does.
    until_ms: i64,
    what: For,
}

/// A run so far, from outside.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) struct Course {
    pub(super) now_ms: i64,
    /// The operator's next act.
    act: usize,
    /// The act that has begun and is not done.
    under_way: Option<usize>,
    calibrated_ms: u32,
    run: Option<Run>,
    off_since_ms: i64,
    dues: [Account; DUES],
}

impl Course {
    pub(super) fn new(start_ms: i64) -> Self {
        Self {
            now_ms: start_ms,
            act: 0,
            under_way: None,
            calibrated_ms: 0,
            run: None,
            off_since_ms: i64::MIN,
            dues: [Account::default(); DUES],
        }
    }

    /// The operator's next act, not before now.
    pub(super) fn next_act(&self, script: &Script) -> Option<Act> {
        if self.calibrating(script).is_some() {
            // whoever calibrates stands at the device until the run is over
            return None;
        }
        let act = script.acts.get(self.act)?;
        Some(Act { at_ms: act.at_ms.max(self.now_ms), ..*act })
    }

    /// The operator does the next act.
    pub(super) fn begin_act(&mut self) {
        self.under_way = Some(self.act);
        self.calibrated_ms = 0;
        self.act += 1;
    }

    /// The device has forgotten the run that a reading belongs to: the operator makes
    /// another one.
    pub(super) fn run_again(&mut self, script: &Script) {
        let is_run = |act: &Act| matches!(act.deed, Deed::Calibrate(_));
        self.act = script.acts.iter().position(is_run).unwrap_or(self.act);
    }

    /// The device has answered: what takes no time is done.
    pub(super) fn answered(&mut self, script: &Script) {
        if self.calibrating(script).is_none() {
            self.under_way = None;
        }
    }

    /// The length of the calibration that is under way.
    fn calibrating(&self, script: &Script) -> Option<u32> {
        match script.acts[self.under_way?].deed {
            Deed::Calibrate(run_ms) => Some(run_ms),
            _ => None,
        }
    }

    /// How many of the acts so far have put a timetable in force, and whether
    /// the next one is such an act.
    pub(super) fn timetable(&self, script: &Script) -> (usize, bool) {
        let is_edit = |act: &Act| matches!(act.deed, Deed::Timetable(_));
        let done = script.acts.iter().take(self.act).filter(|act| is_edit(act)).count();
        (done, script.acts.get(self.act).is_some_and(is_edit))
    }

    /// The same of the flow.
    pub(super) fn flow(&self, script: &Script) -> (usize, bool) {
        let is_flow = |act: &Act| matches!(act.deed, Deed::Reading(_));
        let done = script.acts.iter().take(self.act).filter(|act| is_flow(act)).count();
        (done, script.acts.get(self.act).is_some_and(is_flow))
    }

    /// When the pump's run began and when it ends, while it is on.
    pub(super) fn pumping(&self) -> Option<(i64, i64)> {
        self.run.map(|run| (run.since_ms, run.until_ms))
    }

    /// Time passes.
    pub(super) fn advance(&mut self, script: &Script, now_ms: i64) -> Judged {
        if let Some(run) = self.run.filter(|run| run.until_ms <= now_ms) {
            self.pump_ends(script, run.until_ms)?;
        }
        self.now_ms = now_ms;
        Ok(())
    }

    fn pump_ends(&mut self, script: &Script, at_ms: i64) -> Judged {
        let Some(run) = self.run.take() else { return Ok(()) };
        self.off_since_ms = at_ms;
        let on_ms = (at_ms - run.since_ms) as u32;
        match run.what {
            For::Calibration => self.calibrated_ms += on_ms,
            For::Due(index) => {
                let (due, account) = (&script.dues[index], &mut self.dues[index]);
                account.on_ms += on_ms;
                if account.on_ms > due.dose_ms + 1 {
                    let what = format!(
                        "{} ms of pumping for {}, which asks for {} ms",
                        account.on_ms,
                        name(due),
                        due.dose_ms
                    );
                    return no("D4: never over", what);
                }
            }
        }
        Ok(())
    }

    /// The pin goes on, with its one-shot set.
    pub(super) fn pump_on(&mut self, script: &Script, length_ms: u64) -> Judged {
        let now_ms = self.now_ms;
        if self.run.is_some() {
            return no("D3", "the pump is started while it runs".to_owned());
        }
        if now_ms - SHORTEST_OFF_MS < self.off_since_ms {
            let rest = now_ms - self.off_since_ms;
            return no("D7", format!("the pump starts after a rest of {rest} ms"));
        }
        let in_window = |due: &Due| due.at_ms <= now_ms && now_ms < due.deadline_ms;
        let what = if self.calibrating(script).is_some() {
            For::Calibration
        } else if let Some(index) = script.dues.iter().position(in_window) {
            if self.dues[index].outcomes > 0 {
                let due = name(&script.dues[index]);
                return no("D1", format!("the pump runs for {due}, which has its outcome"));
            }
            For::Due(index)
        } else {
            return no("D2", "the pump runs with nothing due".to_owned());
        };
        self.run = Some(Run { since_ms: now_ms, until_ms: now_ms + length_ms as i64, what });
        Ok(())
    }

    /// The pin goes off.
    pub(super) fn pump_off(&mut self, script: &Script) -> Judged {
        self.pump_ends(script, self.now_ms)
    }

    /// The ledger holds this record from here on.
    pub(super) fn record(&mut self, script: &Script, record: &Record) -> Judged {
        match record {
            Record::Outcome(outcome) => self.outcome(script, outcome),
            Record::Act { act: record::Act::CalibrationEnded, .. } => {
                let Some(asked_ms) = self.calibrating(script) else {
                    return no("O2", "the end of a calibration that nobody began".to_owned());
                };
                self.under_way = None;
                if self.calibrated_ms != asked_ms {
                    let ran = self.calibrated_ms;
                    return no("O2", format!("a calibration of {asked_ms} ms ran for {ran} ms"));
                }
                Ok(())
            }
            _ => Ok(()),
        }
    }

    fn outcome(&mut self, script: &Script, outcome: &Outcome) -> Judged {
        let at_ms = outcome.due_at.as_ms();
        let is_its = |due: &Due| due.id == outcome.due.id.0 && due.at_ms == at_ms;
        let index = script.dues.iter().position(is_its).filter(|_| outcome.count == 1);
        let Some(index) = index else {
            return no("D1", format!("an outcome of nothing that was due: {outcome:?}"));
        };
        let (due, account) = (&script.dues[index], &mut self.dues[index]);
        account.outcomes += 1;
        if account.outcomes > 1 {
            return no("D1", format!("a second outcome of {}: {:?}", name(due), outcome.kind));
        }
        let ran = u64::from(account.on_ms) * due.flow_nl_min / 60_000;
        let (least, most) = (outcome.least.as_nl(), outcome.most.as_nl());
        // the device rounds to the nearest nanolitre
        let unsure = 1 + u64::from(account.lost_intents) * due.flow_nl_min.div_ceil(60_000);
        if ran + 1 < least || most + unsure < ran {
            let what = format!(
                "the outcome of {} says {least} to {most} nl, the pump ran for {ran} nl",
                name(due)
            );
            return no("D4", what);
        }
        let is_dosed = outcome.kind == OutcomeKind::Dosed;
        if account.lost_pulses == 0 && !is_dosed && !due.is_edited {
            return no("D4", format!("{}: {:?} without a cut", name(due), outcome.kind));
        }
        if due.is_edited && !is_dosed {
            return Ok(());
        }
        let may_lack = u32::from(account.lost_pulses) * due.pulse_ms;
        if account.on_ms + may_lack < due.dose_ms {
            let what = format!(
                "{} ms of pumping for {}, which asks for {} ms; the cuts may have cost {} pulses",
                account.on_ms,
                name(due),
                due.dose_ms,
                account.lost_pulses
            );
            return no("D4: at most one pulse a cut", what);
        }
        Ok(())
    }

    /// The supply goes, and comes back [`OFF_MS`] later: the pin is off at once
    /// (P4), and the operator begins again what was going on.
    ///
    /// A cut may cost a dose one pulse: the one that ran, or the one whose intent
    /// was being written. Where a record is torn while the pump runs, it may cost
    /// both: the memory cannot tell then that the slot was no intent, and counts
    /// the unreadable slot as one pulse and the restart as another (D4).
    pub(super) fn cut(&mut self, script: &Script, at_ms: i64, tears_a_record: bool) -> Judged {
        self.advance(script, at_ms)?;
        let was_on = self.run.is_some();
        self.pump_ends(script, at_ms)?;
        if let Some(act) = self.under_way.take() {
            self.act = act;
        }
        self.now_ms = at_ms + OFF_MS;
        for (due, account) in script.dues.iter().zip(&mut self.dues) {
            if due.at_ms <= self.now_ms && account.outcomes == 0 {
                account.lost_pulses += 1 + u8::from(was_on && tears_a_record);
            }
        }
        Ok(())
    }

    /// The slot of the last intent cannot be read any more: that counts as one
    /// more pulse that may not have run (D4).
    pub(super) fn lose_intent(&mut self) {
        for account in self.dues.iter_mut().filter(|account| account.outcomes == 0) {
            account.lost_pulses += 1;
            account.lost_intents += 1;
        }
    }

    /// The evening is over.
    pub(super) fn end(&self, script: &Script) -> Judged {
        for (due, account) in script.dues.iter().zip(&self.dues) {
            if account.outcomes != 1 {
                let what = format!("{} outcomes of {}", account.outcomes, name(due));
                return no("D1", what);
            }
        }
        if self.run.is_some() || self.under_way.is_some() || self.act < script.acts.len() {
            return no("O6", "something that was begun has no end".to_owned());
        }
        Ok(())
    }
}

fn name(due: &Due) -> String {
    let minutes = due.at_ms / 60_000 + 18 * 60;
    format!("entry {}'s due of {:02}:{:02}", due.id, minutes / 60 % 24, minutes % 60)
}
