//! O6, D4, D11: a dose that an operator stops ends at once, as far as it has come, and stays
//! ended; with a memory that takes nothing too.

use dosewright_core::cause::Cause;
use dosewright_core::entry::EntryId;
use dosewright_core::event::Event;
use dosewright_core::lock::Pin;
use dosewright_core::record::{Outcome, OutcomeKind, Record};
use dosewright_core::time::{Duration, Instant};
use dosewright_core::timetable::Refusal;
use dosewright_core::units::Volume;
use dosewright_tests::entries::daily;
use dosewright_tests::pump::{self, GEOMETRY, N, Pump};
use dosewright_tests::slots::{outcomes, records};
use dosewright_tests::wires::Wires;

const ID: EntryId = EntryId(1);
const STOPPED: OutcomeKind = OutcomeKind::Part(Cause::Stopped);

const fn minute(minute: i64) -> Instant {
    Instant::from_ms(minute * 60_000)
}

struct Rig {
    device: Pump,
    wires: Wires,
}

impl Rig {
    /// A device with 60 ml at 02:00, over half an hour, and as much of another entry at 04:00.
    fn new() -> Self {
        let mut wires = Wires::default();
        let mut device = pump::started(&mut wires);
        let dose = Volume::from_ml(60);
        let timetable = pump::timetable(&[daily(1, 120, dose), daily(2, 240, dose)]);
        pump::tell(&mut device, minute(0), Event::Timetable(&timetable), &mut wires).unwrap();
        Self { device, wires }
    }

    /// In the pulse that is on next from a minute on, so many ms after its start.
    fn in_pulse(from: i64, after_ms: u64) -> (Self, Instant) {
        let mut rig = Self::new();
        pump::wake_until(&mut rig.device, minute(from), &mut rig.wires);
        while !rig.wires.on {
            let (at, _) = rig.device.next_wake().unwrap();
            rig.device.handle(at, Event::Wake, &mut rig.wires);
        }
        let now = rig.device.now().plus(Duration::from_ms(after_ms));
        (rig, now)
    }

    fn act(&mut self, at: Instant, event: Event<'_, N>) -> Result<(), Refusal> {
        pump::tell(&mut self.device, at, event, &mut self.wires)
    }

    fn told(&self) -> Vec<Outcome> {
        outcomes(self.device.ledger().flash().bytes()).collect()
    }

    fn intents(&self) -> usize {
        let all = records(self.device.ledger().flash().bytes());
        all.filter(|(_, record)| matches!(record, Record::Pulse(_))).count()
    }

    /// Calls it as it asks up to a minute; the pump is to stay off.
    fn rests_until(&mut self, end: i64) {
        let intents = self.intents();
        pump::wake_until(&mut self.device, minute(end), &mut self.wires);
        assert_eq!(self.intents(), intents, "a pulse of a dose that was stopped");
        assert!(!self.wires.on);
    }
}

#[test]
fn o6_a_dose_stopped_by_hand_ends_in_mid_pulse_as_far_as_it_has_come() {
    let (mut rig, now) = Rig::in_pulse(130, 200);
    let open = rig.device.controller().book().open.unwrap().pulse;
    assert!(open.least_ms > 0 && u64::from(open.on_ms) > 200, "{open:?}");
    rig.act(now, Event::StopDose(ID)).unwrap();
    assert!(!rig.wires.on, "the pump is off at once");
    let ran = Duration::from_ms(u64::from(open.least_ms) + 200);
    let volume = open.flow.volume(ran);
    let told = rig.told();
    let [outcome] = told.as_slice() else { panic!("{told:?}") };
    assert_eq!((outcome.kind, outcome.at), (STOPPED, now));
    assert_eq!((outcome.least, outcome.most), (volume, volume));
    // its window is over at 02:30, and the other entry knows nothing of it
    rig.rests_until(239);
    pump::wake_until(&mut rig.device, minute(300), &mut rig.wires);
    let kinds: Vec<OutcomeKind> = rig.told().iter().map(|outcome| outcome.kind).collect();
    assert_eq!(kinds, [STOPPED, OutcomeKind::Dosed]);
}

#[test]
fn d11_only_the_dose_that_is_under_way_can_be_stopped() {
    let mut rig = Rig::new();
    let none = |id| Err(Refusal::NotRunning { id });
    pump::wake_until(&mut rig.device, minute(60), &mut rig.wires);
    assert_eq!(rig.act(minute(60), Event::StopDose(ID)), none(ID));
    let (mut rig, now) = Rig::in_pulse(125, 100);
    // of another entry, and of none
    for id in [EntryId(2), EntryId(77)] {
        assert_eq!(rig.act(now, Event::StopDose(id)), none(id));
        assert!(rig.wires.on);
    }
    pump::wake_until(&mut rig.device, minute(160), &mut rig.wires);
    let told = rig.told();
    assert_eq!(told.first().map(|outcome| outcome.kind), Some(OutcomeKind::Dosed));
    assert_eq!(rig.act(minute(160), Event::StopDose(ID)), none(ID), "it is over");
}

#[test]
fn o5_no_lock_keeps_a_dose_from_being_stopped() {
    let (mut rig, now) = Rig::in_pulse(125, 100);
    let pin = Pin::from_digits(b"0417");
    rig.act(now, Event::SetPin(pin)).unwrap();
    rig.act(now, Event::Lock).unwrap();
    assert_eq!(rig.act(now, Event::RunAgain(ID)), Err(Refusal::Locked));
    rig.act(now, Event::StopDose(ID)).unwrap();
    assert!(!rig.wires.on);
    assert_eq!(rig.told().last().map(|outcome| outcome.kind), Some(STOPPED));
}

#[test]
fn m1_a_dose_stays_stopped_while_the_memory_takes_nothing() {
    let (mut rig, now) = Rig::in_pulse(125, 100);
    rig.device.ledger_mut().flash_mut().power_off();
    // it is known to fail: nothing is asked of it for a minute
    assert_eq!(rig.act(now, Event::Acknowledge), Err(Refusal::Ledger));
    assert!(rig.wires.on);
    rig.act(now, Event::StopDose(ID)).unwrap();
    assert!(!rig.wires.on, "the pump does not wait for the memory");
    rig.rests_until(135);
    assert_eq!(rig.told(), []);
    rig.device.ledger_mut().flash_mut().power_on();
    rig.rests_until(138);
    assert_eq!(rig.told().last().map(|outcome| outcome.kind), Some(STOPPED));
    // what no record says a restart cannot know: the dose goes on
    let (mut rig, now) = Rig::in_pulse(125, 100);
    rig.device.ledger_mut().flash_mut().power_off();
    rig.act(now, Event::StopDose(ID)).unwrap();
    let mut flash = rig.device.into_flash();
    flash.power_on();
    rig.device = pump::start(flash, GEOMETRY, now);
    let too_soon = rig.act(now, Event::StopDose(ID));
    assert_eq!(too_soon, Err(Refusal::Busy), "its start is not in the ledger yet");
    pump::wake_until(&mut rig.device, minute(160), &mut rig.wires);
    let told = rig.told();
    let [outcome] = told.as_slice() else { panic!("{told:?}") };
    assert_ne!(outcome.kind, STOPPED);
    assert!(outcome.most.plus(Volume::from_ml(5)) > Volume::from_ml(60), "{outcome:?}");
}
