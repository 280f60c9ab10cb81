//! The pump's pin against the intents in the ledger: on only after an intent,
//! for its length, and off whenever it has to be (D3, D4, D7, P4).

use super::Auditor;
use super::dose::TICK_MS;
use super::limits::rest_of_run_ms;
use super::model::Key;
use super::rules::volume_nl;

/// What the pump may run for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Use {
    Dose(Key),
    Service,
}

/// An intent that the ledger holds.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Intent {
    of: Use,
    /// How long the pump is to run.
    on_ms: i64,
    /// How much of that is no pulse, but what its start takes.
    lead_ms: i64,
    at: i64,
    started: bool,
}

/// What happened in the current ms of true time.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct InThisMs {
    pub(crate) cut: bool,
    pub(crate) reset: bool,
    pub(crate) stopped: bool,
    pub(crate) edited: bool,
    /// A dose was stopped by hand, which may have taken the pump, or waited for it, until then.
    pub(crate) by_hand: bool,
    pub(crate) released: bool,
    pub(crate) damaged: bool,
    pub(crate) clock_lost: bool,
    /// The ledger took a record.
    pub(crate) recorded: bool,
    short: Option<(i64, i64, Option<Key>)>,
}

/// The pin and the intent it runs on.
#[derive(Debug, Default)]
pub(crate) struct Pin {
    on_since: Option<u64>,
    on_at: i64,
    pub(crate) intent: Option<Intent>,
    pub(crate) ms: InThisMs,
    /// A reset found the pin on, and it has not gone off since.
    must_go_off: bool,
    /// Its dose, or prime or calibrate, has ended by the ledger.
    use_over: bool,
    reported: bool,
}

impl Intent {
    /// When its pulse is over, and how long that is.
    pub(crate) fn meant(&self) -> (i64, i64) {
        let pulse_ms = self.on_ms - self.lead_ms;
        (self.at + pulse_ms, pulse_ms)
    }
}

impl Pin {
    pub(crate) fn is_on(&self) -> bool {
        self.on_since.is_some()
    }

    pub(crate) fn reset(&mut self) {
        self.ms.reset = true;
        self.must_go_off = self.is_on();
    }

    pub(crate) fn intend_dose(&mut self, key: Key, at: i64, pulse_ms: i64, lead_ms: i64) {
        let on_ms = pulse_ms + lead_ms;
        self.intent = Some(Intent { of: Use::Dose(key), on_ms, lead_ms, at, started: false });
    }

    pub(crate) fn intend_service(&mut self, at: i64, on_ms: i64) {
        self.intent = Some(Intent { of: Use::Service, on_ms, lead_ms: 0, at, started: false });
    }

    /// What the pump runs for has ended.
    pub(crate) fn use_ended(&mut self) {
        self.use_over = self.is_on();
    }
}

impl Auditor {
    pub(super) fn see_pump(&mut self, on: bool) {
        if on { self.pump_on() } else { self.pump_off() }
    }

    fn pump_on(&mut self) {
        if self.pin.on_since.is_some() {
            return;
        }
        let now = self.chip.count(self.ms);
        (self.pin.on_since, self.pin.on_at, self.pin.reported) = (Some(self.ms), now, false);
        self.report.pump_starts += 1;
        if !self.supply.on || !self.supply.awake {
            self.fail("P4", None, String::from("the pump goes on while the logic does not run"));
        }
        let stops = self.hinder.stop_causes();
        if !stops.is_empty() {
            self.fail("P4", None, format!("the pump goes on in spite of {stops}"));
        }
        self.next_of_train(now);
        let Some(intent) = self.pin.intent.as_mut().filter(|i| !i.started) else {
            let key = self.open.as_ref().map(|o| o.due.key);
            self.fail("D4", key, String::from("the pump goes on without an intent in the ledger"));
            return;
        };
        intent.started = true;
        if let Use::Dose(key) = intent.of {
            self.limits.started(now);
            if let Some(open) = self.open.as_mut().filter(|o| o.due.key == key) {
                open.first_on_ms.get_or_insert(self.ms);
                open.pin_runs += 1;
            }
        }
    }

    /// The next pulse of a train needs no intent of its own: it is as long as the first,
    /// and comes when the pump has rested (O3).
    fn next_of_train(&mut self, now: i64) {
        let Some(service) = &mut self.hinder.service else { return };
        let Some(train) = service.train.as_mut().filter(|train| train.left > 0) else { return };
        if self.pin.intent.is_some_and(|intent| !intent.started) {
            // the first
            return;
        }
        train.left -= 1;
        let (each_ms, free_at) = (train.each_ms, train.free_at);
        self.pin.intend_service(now, each_ms);
        if now + TICK_MS + self.chip.slack_ms() < free_at {
            let what =
                format!("a pulse of a train starts {} ms before its rest is over", free_at - now);
            self.fail("D7", None, what);
        }
    }

    fn pump_off(&mut self) {
        let Some(since) = self.pin.on_since.take() else { return };
        (self.pin.must_go_off, self.pin.use_over) = (false, false);
        let now = self.chip.count(self.ms);
        let ran = now - self.pin.on_at;
        let true_ms = self.ms - since;
        self.report.pump_on_ms += true_ms;
        let slack = TICK_MS + self.chip.slack_ms();
        let Some(intent) = self.pin.intent.filter(|i| i.started) else {
            // a pulse without an intent, or one that a reset made forgotten
            self.limits.ended(now, ran);
            if let Some(open) = &mut self.open {
                self.report.volume_nl += volume_nl(ran, open.flow);
                open.pin_ms += ran;
            }
            return;
        };
        let lead_ms = intent.lead_ms;
        let pulse_ms = (ran - lead_ms).max(0);
        match intent.of {
            Use::Service => {
                if let (Some(service), Some(head)) = (&mut self.hinder.service, self.model.head) {
                    service.ran_ms += ran;
                    if let Some(train) = &mut service.train {
                        train.free_at = now + rest_of_run_ms(&head, ran);
                        if ran + slack < intent.on_ms {
                            train.left = 0;
                        }
                    }
                    self.report.service_nl += volume_nl(ran, head.flow.as_nl_per_min());
                }
                if ran > intent.on_ms + slack {
                    self.fail("O1", None, format!(
                        "prime or calibrate ran for {ran} ms; it was to stop by itself after {} ms",
                        intent.on_ms
                    ));
                }
            }
            Use::Dose(key) => {
                // a clock that does not count in whole steps of the truth shows the end of a
                // pulse up to a step late: the rest goes by what the pulse was to be
                let meant_ms = intent.on_ms - lead_ms;
                let known_ms = if ran <= intent.on_ms + slack { meant_ms } else { pulse_ms };
                // and of one that was broken off the device may have measured a ms less
                let unsure_ms = if ran < intent.on_ms { self.chip.slack_ms() } else { 0 };
                self.limits.ended(now - lead_ms, known_ms.min(pulse_ms - unsure_ms));
                if let Some(open) = self.open.as_mut().filter(|o| o.due.key == key) {
                    open.pin_ms += pulse_ms;
                    let pin_nl = volume_nl(pulse_ms, open.flow);
                    self.report.volume_nl += pin_nl;
                    let totals = self.report.entries.entry(key.id).or_default();
                    totals.pin_nl += pin_nl;
                    totals.pin_ms += true_ms;
                    if let Some(flight) = &mut open.flight {
                        flight.ran_ms = Some(pulse_ms);
                        let early_ms = i64::from(ran < intent.on_ms) * TICK_MS;
                        flight.unsure_ms = early_ms + self.chip.slack_ms();
                    }
                    if ran + slack < intent.on_ms {
                        open.pin_cuts += 1;
                        self.limits.was_meant(intent.on_ms - lead_ms);
                    }
                }
                if ran > intent.on_ms + slack {
                    self.fail(
                        "D4",
                        Some(key),
                        format!("the pump ran for {ran} ms on an intent of {} ms", intent.on_ms),
                    );
                } else if ran + slack < intent.on_ms {
                    self.pin.ms.short = Some((ran, intent.on_ms, Some(key)));
                }
            }
        }
        let longest =
            self.model.head.map_or(i64::MAX, |h| match (intent.of, self.hinder.service) {
                (Use::Service, Some(s)) if s.prime => i64::from(h.longest_prime_ms),
                (Use::Service, Some(s)) if s.train.is_some() => i64::from(h.longest_run_ms),
                (Use::Service, _) => i64::from(h.longest_calibration_ms),
                (Use::Dose(_), _) => i64::from(h.longest_run_ms),
            });
        if ran > longest + slack && ran > intent.on_ms + slack {
            self.fail(
                "D7",
                None,
                format!("the pump ran for {ran} ms: the longest run is {longest} ms"),
            );
        }
    }

    /// The ms of true time is over: what had to happen in it has happened.
    pub(super) fn settle(&mut self) {
        self.not_begun.clear();
        if !self.start_is_refused() {
            self.boot_unseen();
        }
        self.release();
        // what was asked for in it is judged by it as well
        let seen = self.pin.ms;
        let interrupted = seen.cut || seen.reset || !self.supply.awake;
        if let Some((ran, on_ms, key)) = seen.short
            && !(interrupted || seen.stopped || seen.edited || seen.damaged)
        {
            self.fail(
                "D4",
                key,
                format!("the pump went off after {ran} of {on_ms} ms, and nothing stopped it"),
            );
        }
        // one that a cut or a reset came before stays: the next start finds it in the ledger
        if let Some(intent) = self.pin.intent.filter(|i| !i.started && !interrupted) {
            self.pin.intent = None;
            if !(seen.stopped || seen.edited) {
                let key = match intent.of {
                    Use::Dose(key) => Some(key),
                    Use::Service => None,
                };
                self.fail(
                    "D4",
                    key,
                    format!("an intent of {} ms, and the pump did not go on", intent.on_ms),
                );
            }
        }
        if self.pin.is_on() && !self.pin.reported {
            let service = self.pin.intent.is_some_and(|i| i.of == Use::Service);
            let stops = self.hinder.stop_causes();
            let wrong = if !self.supply.on {
                Some((String::from("the pump is on with the supply off"), "P4"))
            } else if self.pin.must_go_off {
                Some((String::from("the pump is on after a reset"), "P4"))
            } else if !stops.is_empty() {
                Some((format!("the pump is on in spite of {stops}"), "P4"))
            } else if seen.released && service {
                Some((String::from("prime or calibrate was let go of, and the pump is on"), "O1"))
            } else if self.open.as_ref().is_some_and(|o| o.forced.is_some()) {
                Some((String::from("the pump is on for a dose that has to end"), "D11"))
            } else if self.pin.use_over {
                Some((String::from("the pump is on, and what it ran for has ended"), "D4"))
            } else {
                None
            };
            if let Some((what, promise)) = wrong {
                self.pin.reported = true;
                let key = self.open.as_ref().map(|o| o.due.key);
                self.fail(promise, key, what);
            }
        }
        self.settle_pending();
        self.check_refused_ask();
        self.check_container_alarms();
        self.check_unset_alarm(seen.clock_lost && seen.recorded);
        self.pin.ms = InThisMs::default();
    }
}
