//! Controllers in any state that a screen can show, made by hand: the panel only looks
//! at them.

use dosewright_core::book::{Book, OpenDose};
use dosewright_core::cause::Cause;
use dosewright_core::civil::{Date, Days, Local, Weekday};
use dosewright_core::config::{Container, Head};
use dosewright_core::controller::{Controller, Start};
use dosewright_core::entry::{Entry, EntryId, GapRule, Nominal, Recurrence};
use dosewright_core::event::Event;
use dosewright_core::lock::Pin;
use dosewright_core::panel::{Input, Panel, Preferences, Recent, Screen, View, zones};
use dosewright_core::power::{Gauge, Pack};
use dosewright_core::record::{Alarm, DueKey, Outcome, OutcomeKind, Pulse, Record, Reset};
use dosewright_core::schedule::WallClock;
use dosewright_core::stock::Stock;
use dosewright_core::time::{Duration, Instant};
use dosewright_core::tube::{Found, Tube};
use dosewright_core::units::{Carry, Flow, Volume};

pub(crate) const N: usize = 4;
pub(crate) const H: usize = 8;
pub(crate) type Logic = Controller<N, H>;

/// The present instant: a day after the count began.
pub(crate) const NOW: Instant = Instant::from_ms(86_400_000);

pub(crate) const ENTRY: Entry = Entry {
    id: EntryId(1),
    enabled: true,
    recurrence: Recurrence::Weekly { days: Days::from_bits(0x3f), at_min: 45, by_night: true },
    volume: Volume::from_ml(120),
    window_ms: 2_700_000,
    grace_ms: 0,
    first: None,
    last: None,
    observes_closed: true,
    gap_rule: GapRule::Shift,
    pulses: None,
};

pub(crate) fn flow(ul: u32) -> Flow {
    Flow::from_nl_per_min(ul * 1000).unwrap()
}

/// A device that is set up: Tuesday 2026-10-20, 10:05 in Berlin.
pub(crate) fn book() -> Book<N, H> {
    let mut book = Book::empty();
    let berlin = zones::NAMES.iter().position(|name| name.starts_with("Berlin")).unwrap();
    let zone = zones::zone_of(berlin).unwrap();
    let local = Local::new(Date::from_ymd(2026, 10, 20).unwrap(), Duration::from_min(605));
    let utc = zone.to_utc(local, GapRule::Shift);
    book.at = NOW;
    book.zone = zone;
    book.clock = Some(WallClock { offset_ms: utc.as_ms() - NOW.as_ms(), zone });
    book.head = Some(Head::with_flow(flow(26_500)));
    book.timetable.put(ENTRY).unwrap();
    let weekend = Days::NONE.with(Weekday::Sat).with(Weekday::Sun);
    let second = Entry {
        id: EntryId(2),
        recurrence: Recurrence::Weekly { days: weekend, at_min: 810, by_night: false },
        ..ENTRY
    };
    book.timetable.put(second).unwrap();
    let third = Entry {
        id: EntryId(3),
        enabled: false,
        recurrence: Recurrence::Interval { every_ms: 21_600_000, from: NOW },
        ..ENTRY
    };
    book.timetable.put(third).unwrap();
    for line in 0..3 {
        mark(&mut book, line);
    }
    book.next_id = 4;
    let container = Container {
        capacity: Volume::from_ml(10_000),
        low: Volume::from_ml(1000),
        heel: Volume::from_ml(400),
        ..Container::NONE
    };
    book.stock = Stock { container, level: Volume::from_ml(8100), ..Stock::NONE };
    let pack = Pack {
        capacity_mah: 6000,
        motor_ma: 350,
        sleep_ua: 60,
        low_mv: 7000,
        exhausted_mv: 6500,
        warn_days: 14,
        ..Pack::MAINS
    };
    book.gauge = Gauge { pack, since: Instant::ZERO, ..Gauge::MAINS };
    let found = |day: i64, ul| Found {
        at: Instant::from_ms((day - 300) * 86_400_000),
        flow: flow(ul),
        uncertainty_ppm: 12_800,
    };
    book.tube = Tube {
        since: Some(Instant::ZERO),
        nominal: Some(flow(30_000)),
        found: [Some(found(0, 28_000)), Some(found(299, 26_500)), None],
    };
    book
}

/// Gives a line its mark: the first due from now on.
fn mark(book: &mut Book<N, H>, line: usize) {
    let entry = book.timetable.line(line).unwrap();
    let mark = entry.first_from(NOW, book.clock.as_ref());
    let staged = dosewright_core::record::Staged {
        line: line as u8,
        entry,
        revision: 1,
        mark,
        edited: false,
    };
    book.adopt(&staged);
}

pub(crate) fn with_alarm(alarm: Alarm) -> Book<N, H> {
    let mut book = book();
    book.alarms |= 1 << alarm as u16;
    book
}

/// A dose that has delivered about half.
pub(crate) fn dosing() -> Book<N, H> {
    let mut book = book();
    let due = DueKey { id: EntryId(1), revision: 1, epoch: 1, nominal: Nominal(1) };
    let pulse = Pulse {
        line: 0,
        due,
        mark: None,
        at: NOW,
        due_at: NOW,
        begun_after_ms: 0,
        on_ms: 9000,
        least_ms: 120_000,
        most_ms: 130_000,
        dose_ms: 271_698,
        flow: flow(26_500),
        first: false,
        asked: false,
        cut: None,
        restarts: 0,
    };
    book.open = Some(OpenDose { pulse, in_doubt: false, lost: false });
    book
}

pub(crate) fn locked() -> Book<N, H> {
    let mut book = book();
    let check = {
        // the word of a PIN is made by its record
        let mut logic = start(Book::empty());
        while logic.pending().is_some() {
            let _ = logic.step(NOW, Event::Appended);
        }
        let pin = Pin::from_digits(b"0417");
        let _ = logic.step(NOW, Event::SetPin(pin));
        Record::decode(logic.pending().unwrap()).unwrap()
    };
    book.apply(&check);
    book
}

/// Started from a book, its display lit and its keys open. Whatever a controller wants
/// written is left waiting.
pub(crate) fn start(book: Book<N, H>) -> Logic {
    let start = Start {
        now: NOW,
        feed_kept: true,
        reset: Reset::PowerOn,
        unreadable_tail: 0,
        run_lost: false,
        unreadable: 0,
    };
    let mut logic = Controller::start(book, start);
    for event in [Event::Wake, Event::Appended] {
        let _ = logic.step(NOW, event);
    }
    light(&mut logic);
    logic
}

pub(crate) fn light(logic: &mut Logic) {
    for held in [false, true] {
        let _ = logic.step(NOW, Event::Key { held });
    }
    assert!(logic.takes_keys_at(NOW));
}

/// An outcome of entry 1, so many nights ago.
pub(crate) fn outcome(kind: OutcomeKind, ml_tenths: u64, nights: i64) -> Outcome {
    let today = i64::from(Date::from_ymd(2026, 10, 20).unwrap().days());
    let nominal = Nominal(((today - nights) * 1440 + 45) as u32);
    Outcome {
        line: 0,
        due: DueKey { id: EntryId(1), revision: 1, epoch: 1, nominal },
        last: nominal,
        count: 1,
        at: NOW,
        // 00:45 of the same day
        due_at: Instant::from_ms(NOW.as_ms() - 9 * 3_600_000 - 20 * 60_000 - nights * 86_400_000),
        begun_after_ms: 0,
        least: Volume::from_ul(ml_tenths * 100),
        most: Volume::from_ul(ml_tenths * 100),
        kind,
        asked: false,
        restarts: 0,
        mark: None,
        carry: Carry(0),
    }
}

/// Outcomes of the last nights, the newest last.
pub(crate) fn recent(newest: OutcomeKind) -> Recent {
    let mut recent = Recent::NONE;
    recent.note(&outcome(OutcomeKind::Dosed, 1200, 9));
    recent.note(&outcome(OutcomeKind::Skipped(Cause::Closed), 0, 1));
    recent.note(&outcome(newest, if newest == OutcomeKind::Dosed { 1200 } else { 532 }, 0));
    recent
}

pub(crate) fn view<'a>(logic: &'a Logic, recent: &'a Recent) -> View<'a, N, H> {
    View { controller: logic, recent, now: NOW }
}

/// A panel that looks at a state.
pub(crate) struct Looking {
    pub(crate) logic: Logic,
    pub(crate) recent: Recent,
    pub(crate) panel: Panel,
}

impl Looking {
    pub(crate) fn at(book: Book<N, H>, preferences: Preferences) -> Self {
        Self {
            logic: start(book),
            recent: recent(OutcomeKind::Dosed),
            panel: Panel::new(preferences),
        }
    }

    pub(crate) fn view(&self) -> View<'_, N, H> {
        view(&self.logic, &self.recent)
    }

    pub(crate) fn screen(&self) -> Screen {
        self.panel.screen(&self.view())
    }

    /// The lines of the screen, spaces at their ends left out.
    pub(crate) fn lines(&self) -> Vec<String> {
        self.screen().to_string().lines().map(str::to_owned).collect()
    }

    /// A touch; whether it asks for anything.
    pub(crate) fn touch(&mut self, input: Input) -> bool {
        self.panel.touch(input, &view(&self.logic, &self.recent)).is_some()
    }

    pub(crate) fn touches(&mut self, inputs: &[(Input, u32)]) {
        for &(input, times) in inputs {
            for _ in 0..times {
                self.touch(input);
            }
        }
    }
}
