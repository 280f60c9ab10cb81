//! What a step has to ask.
//!
//! Each step looks for the first thing still to be done, and asks every room for it in
//! turn. Most steps are those of an open dose's train: a pulse begins, is in the ledger,
//! ends. They change nothing that another room goes by. So once everything was asked and
//! nothing was found, the dose alone is asked, until another timer is over or something
//! happens.

use super::Controller;
#[cfg(debug_assertions)]
use crate::effect::Effects;
#[cfg(debug_assertions)]
use crate::event::Event;
use crate::record::{Pulse, Record};
use crate::time::Instant;

impl<const N: usize, const H: usize> Controller<N, H> {
    /// Whether only the open dose can have anything to do.
    pub(super) fn is_calm(&self) -> bool {
        self.now < self.calm_until
    }

    /// A step, and where it is one that asks the dose alone, the proof that asking
    /// everything comes to the same; and that what is remembered of the dues is what
    /// looking again would find.
    #[cfg(debug_assertions)]
    pub(super) fn step_proved(&mut self, now: Instant, event: Event<'_, N>) -> Effects {
        let twin = (self.now.max(now) < self.calm_until).then(|| self.clone());
        let effects = self.take_step(now, event);
        if let Some(mut twin) = twin {
            twin.stir();
            assert_eq!(effects, twin.take_step(now, event), "{event:?} at {now:?}: {self:?}");
            twin.calm_until = self.calm_until;
            assert!(*self == twin, "{event:?} at {now:?}: {self:?} is not {twin:?}");
        }
        if !self.stale {
            let mut twin = self.clone();
            twin.refresh();
            assert!(*self == twin, "{event:?} at {now:?}: {self:?} is not {twin:?}");
        }
        effects
    }

    /// Something happened: everything is asked again.
    pub(super) const fn stir(&mut self) {
        self.calm_until = Instant::MIN;
    }

    /// A record is in force. What a pulse that is not a dose's first changes beside the
    /// dose is the account of the container.
    pub(super) fn stir_by(&mut self, record: &Record) {
        let goes_on = matches!(record, Record::Pulse(Pulse { first: false, .. }));
        if !goes_on || self.book.stock.container().is_some() {
            self.stir();
        }
    }

    /// Everything was asked, and all timers are set: until the first of those that are
    /// not the train's, all is calm, if nothing was found that has to be done first.
    pub(super) fn calm_down(&mut self) {
        let is_busy = self.pending().is_some()
            || self.adopting
            || self.ledger_failed()
            || self.start.is_some();
        // a pack is drawn from as time passes, and no timer says when it is low; dues that
        // wait, and a prime or a calibration, go by the pump
        let goes_by_more =
            !self.book.gauge.pack.is_mains() || self.any_waiting || self.service.is_some();
        if !is_busy && !goes_by_more {
            self.calm_until = self.timers.next_beside_pulses();
        }
    }
}

#[cfg(test)]
mod tests {
    extern crate std;

    use super::*;
    use crate::book::Book;
    use crate::civil::{Date, Days, Local};
    use crate::config::{Container, Head};
    use crate::controller::boot;
    use crate::effect::Effect;
    use crate::entry::{Entry, EntryId, Recurrence, plain};
    use crate::time::Duration;
    use crate::timetable::Timetable;
    use crate::units::{Flow, Volume};

    type Small = Controller<4, 8>;

    fn ml(ml: u64) -> Volume {
        Volume::from_ml(ml)
    }

    /// A controller and its ledger, which fails now and then once it may.
    struct Run {
        controller: Small,
        seed: u64,
        may_fail: bool,
        /// Steps that asked the dose alone, and those that took in a pulse.
        calm: u32,
        pulses: u32,
    }

    impl Run {
        fn draw(&mut self, below: u64) -> u64 {
            self.seed = self.seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
            (self.seed >> 33) % below
        }

        /// Each step proves itself against one that asks everything.
        fn hand_in(&mut self, now: Instant, event: Event<'_, 4>) {
            let (mut event, asked) = (event, event);
            loop {
                let starts = self.controller.book().starts;
                self.calm += u32::from(self.controller.now.max(now) < self.controller.calm_until);
                let effects = self.controller.step(now, event);
                self.pulses += u32::from(self.controller.book().starts != starts);
                let Some(last) = effects.iter().last() else { return };
                event = match (last, asked) {
                    (Effect::Append | Effect::Adopt, _) if self.may_fail && self.draw(300) == 0 => {
                        Event::AppendFailed
                    }
                    (Effect::Append, _) => Event::Appended,
                    (Effect::Adopt, Event::Timetable(timetable)) => Event::Adopted(timetable),
                    _ => return,
                };
            }
        }
    }

    fn timetable(of: u64) -> Timetable<4> {
        let mut timetable = Timetable::EMPTY;
        for id in 1..=3_u16 {
            let recurrence =
                Recurrence::Weekly { days: Days::ALL, at_min: 400 * id, by_night: false };
            let entry = Entry {
                enabled: of % 5 != u64::from(id),
                window_ms: 2_700_000,
                grace_ms: 600_000,
                ..plain(id, recurrence, ml(60 + of % 40))
            };
            timetable.put(entry).unwrap();
        }
        timetable
    }

    #[test]
    fn most_steps_of_a_train_are_calm_and_come_to_what_full_ones_do() {
        let mut sums = [(0, 0); 2];
        for seed in 0..40 {
            let mut now = Instant::ZERO;
            let controller = boot(Book::empty(), now);
            let mut run = Run { controller, seed, may_fail: false, calm: 0, pulses: 0 };
            let flow = Flow::from_nl_per_min(24_000_000).unwrap();
            run.hand_in(now, Event::Wake);
            run.hand_in(now, Event::SetHead(&Head::with_flow(flow)));
            let noon = Local::new(Date::from_ymd(2026, 3, 2).unwrap(), Duration::from_h(12));
            run.hand_in(now, Event::SetClock(noon));
            run.hand_in(now, Event::Timetable(&timetable(0)));
            let container =
                Container { capacity: ml(5000), low: ml(500), heel: ml(50), debounce_ms: 400 };
            let has_container = seed % 2 == 0;
            if has_container {
                run.hand_in(now, Event::Container(&container, ml(900)));
            }
            run.may_fail = true;
            for _ in 0..3000 {
                let next = run.controller.next_wake().map_or(now, |(at, _)| at);
                let what = run.draw(200);
                // mostly on time; now and then before it, or late
                now = match what {
                    0..30 => now.plus(Duration::from_ms(run.draw(9_000))).min(next.max(now)),
                    30 => next.max(now).plus(Duration::from_ms(run.draw(4_000_000))),
                    _ => next.max(now),
                };
                let on = run.draw(4) == 0;
                match what {
                    31 | 0..3 => run.hand_in(now, Event::RemoteStop(on)),
                    32 => run.hand_in(now, Event::Leak(on)),
                    33 | 3..10 => run.hand_in(now, Event::LevelLow(!on)),
                    34 => run.hand_in(now, Event::MotorFault),
                    35 | 13 => run.hand_in(now, Event::Acknowledge),
                    36 => run.hand_in(now, Event::Refill(ml(300))),
                    37 => run.hand_in(now, Event::RunAgain(EntryId(2))),
                    38 => run.hand_in(now, Event::Prime(ml(30))),
                    39 => run.hand_in(now, Event::Key { held: on }),
                    40 => {
                        let other = timetable(run.draw(100));
                        run.hand_in(now, Event::Timetable(&other));
                    }
                    41 => {
                        let shown = Local::from_ms(noon.as_ms() + now.as_ms());
                        run.hand_in(now, Event::SetClock(shown));
                    }
                    42 if on => run.controller = boot(*run.controller.book(), now),
                    _ => run.hand_in(now, Event::Wake),
                }
            }
            let of = &mut sums[usize::from(has_container)];
            *of = (of.0 + run.calm, of.1 + run.pulses);
        }
        // a pulse takes three steps, and with a container everything is asked at one
        let [(calm, pulses), (calm_with, pulses_with)] = sums;
        assert!(pulses > 8_000 && pulses_with > 3_000, "{sums:?}");
        assert!(calm > 2 * pulses && calm_with > pulses_with, "{sums:?}");
    }
}
