//! D2, D7, O1, P3: what fits to the last drop is dosed in full, what is short of it is cut by what
//! binds, and a rest as long as the shortest pulse is still a dose.

use dosewright_core::cause::Cause;
use dosewright_core::config::Container;
use dosewright_core::entry::{Entry, EntryId};
use dosewright_core::event::Event;
use dosewright_core::power::Pack;
use dosewright_core::record::OutcomeKind;
use dosewright_core::time::{Duration, Instant};
use dosewright_core::timetable::Refusal;
use dosewright_core::units::Volume;
use dosewright_tests::entries::daily;
use dosewright_tests::pump::{self, N, Pump};
use dosewright_tests::slots::outcomes;
use dosewright_tests::wires::Wires;

const HEEL: Volume = Volume::from_ml(1_000);
/// The dose of the entry at 02:00.
const DOSE: Volume = Volume::from_ml(40);
/// One millisecond short of a shortest pulse, which is 400 ms.
const TOO_LITTLE: Volume = Volume::from_nl(399 * 500);
const LEAST: Volume = Volume::from_nl(400 * 500);

struct Rig {
    device: Pump,
    wires: Wires,
}

impl Rig {
    /// A device at midnight, with so much above the heel of its container.
    fn new(entries: &[Entry], ceiling: Option<Volume>, stock: Option<Volume>) -> Self {
        let mut wires = Wires::default();
        let device = pump::started(&mut wires);
        let mut rig = Self { device, wires };
        if let Some(stock) = stock {
            let capacity = Volume::from_ml(10_000);
            let container = Container { capacity, heel: HEEL, ..Container::NONE };
            rig.act(0, Event::Container(&container, HEEL.plus(stock))).unwrap();
        }
        rig.adopt(0, entries, ceiling);
        rig
    }

    fn adopt(&mut self, minute: u64, entries: &[Entry], ceiling: Option<Volume>) {
        let mut timetable = pump::timetable(entries);
        timetable.ceiling = ceiling;
        self.act(minute, Event::Timetable(&timetable)).unwrap();
    }

    fn act(&mut self, minute: u64, event: Event<'_, N>) -> Result<(), Refusal> {
        self.until(minute);
        let at = Instant::ZERO.plus(Duration::from_min(minute));
        pump::tell(&mut self.device, at, event, &mut self.wires)
    }

    fn ask(&mut self, minute: u64) -> Result<(), Refusal> {
        self.act(minute, Event::RunAgain(EntryId(1)))
    }

    fn until(&mut self, minute: u64) {
        let end = Instant::ZERO.plus(Duration::from_min(minute));
        pump::wake_until(&mut self.device, end, &mut self.wires);
    }

    /// What became of all until a minute, and how much was dosed.
    fn told(mut self, minute: u64) -> Vec<(OutcomeKind, Volume)> {
        self.until(minute);
        outcomes(self.device.ledger().flash().bytes())
            .map(|outcome| (outcome.kind, outcome.most))
            .collect()
    }
}

fn at_two(volume: Volume) -> Entry {
    daily(1, 120, volume)
}

const DOSED: (OutcomeKind, Volume) = (OutcomeKind::Dosed, DOSE);

const fn part(cause: Cause, most: Volume) -> (OutcomeKind, Volume) {
    (OutcomeKind::Part(cause), most)
}

const fn skipped(cause: Cause) -> (OutcomeKind, Volume) {
    (OutcomeKind::Skipped(cause), Volume::ZERO)
}

#[test]
fn d7_doses_up_to_the_ceiling_are_whole() {
    let entries = [at_two(DOSE), daily(2, 600, DOSE)];
    let rig = Rig::new(&entries, Some(DOSE.plus(DOSE)), None);
    assert_eq!(rig.told(700), [DOSED, DOSED]);
    // asked for: whole up to the ceiling, cut at it, and refused where too little is left
    let mut rig = Rig::new(&[at_two(DOSE)], Some(DOSE), None);
    rig.ask(10).unwrap();
    assert_eq!(rig.ask(60), Err(Refusal::AtCeiling));
    assert_eq!(rig.told(70), [DOSED]);
    for (room, answer) in [(LEAST, Ok(())), (TOO_LITTLE, Err(Refusal::AtCeiling))] {
        let mut rig = Rig::new(&[at_two(DOSE)], Some(DOSE.plus(room)), None);
        rig.ask(10).unwrap();
        assert_eq!(rig.ask(60), answer);
        let cut = answer.is_ok().then_some(part(Cause::Ceiling, room));
        assert_eq!(rig.told(70), [DOSED].into_iter().chain(cut).collect::<Vec<_>>());
    }
}

#[test]
fn o1_the_last_of_a_container_above_its_heel_is_dosed() {
    let short = DOSE.minus(Volume::from_ml(1));
    for (stock, expected) in [
        (DOSE, DOSED),
        (short, part(Cause::ContainerEmpty, short)),
        (LEAST, part(Cause::ContainerEmpty, LEAST)),
    ] {
        let rig = Rig::new(&[at_two(DOSE)], None, Some(stock));
        assert_eq!(rig.told(200), [expected], "scheduled");
        let mut rig = Rig::new(&[at_two(DOSE)], None, Some(stock));
        rig.ask(10).unwrap();
        assert_eq!(rig.told(60), [expected], "asked for");
    }
    let mut rig = Rig::new(&[at_two(DOSE)], None, Some(TOO_LITTLE));
    assert_eq!(rig.ask(10), Err(Refusal::ContainerEmpty));
    assert_eq!(rig.told(200), [skipped(Cause::ContainerEmpty)]);
}

#[test]
fn d2_what_an_edit_leaves_is_dosed_from_the_shortest_pulse_on() {
    // moved from 02:00 to 05:00 after the dose, and made larger
    for (more, expected) in [
        (LEAST, part(Cause::AlreadyDosed, LEAST)),
        (TOO_LITTLE, skipped(Cause::AlreadyDosed)),
        (Volume::ZERO, skipped(Cause::AlreadyDosed)),
    ] {
        let mut rig = Rig::new(&[at_two(DOSE)], None, None);
        rig.adopt(200, &[daily(1, 300, DOSE.plus(more))], None);
        assert_eq!(rig.told(400), [DOSED, expected]);
    }
    // where nothing is left under the ceiling, that is the cause of what would have been a
    // dose; what would not have been one was dosed already
    for (more, cause) in [(LEAST, Cause::Ceiling), (TOO_LITTLE, Cause::AlreadyDosed)] {
        let other = daily(2, 0, DOSE);
        // the other one takes all there is beside what the two ask for in a day
        let ceiling = Some(DOSE.plus(DOSE).plus(Volume::from_ml(10)).plus(more));
        let mut rig = Rig::new(&[at_two(DOSE), other], ceiling, None);
        rig.act(180, Event::RunAgain(EntryId(2))).unwrap();
        rig.adopt(240, &[daily(1, 300, DOSE.plus(more)), other], ceiling);
        assert_eq!(rig.told(400).last(), Some(&skipped(cause)));
    }
}

#[test]
fn d2_a_dose_that_began_and_delivered_nothing_takes_nothing_off() {
    let mut rig = Rig::new(&[at_two(DOSE)], None, None);
    rig.until(120);
    assert!(rig.wires.on);
    // stopped on the millisecond, until its window is over
    rig.act(120, Event::RemoteStop(true)).unwrap();
    rig.act(180, Event::RemoteStop(false)).unwrap();
    rig.adopt(200, &[daily(1, 300, DOSE)], None);
    assert_eq!(rig.told(400), [skipped(Cause::RemoteStop), DOSED]);
}

#[test]
fn d3_nothing_is_asked_of_a_pump_that_is_in_use_stopped_or_resting() {
    let mut rig = Rig::new(&[at_two(DOSE)], None, None);
    rig.act(10, Event::RemoteStop(true)).unwrap();
    assert_eq!(rig.ask(10), Err(Refusal::Busy));
    rig.act(10, Event::RemoteStop(false)).unwrap();
    assert_eq!(rig.ask(10), Ok(()));
    // between two of its pulses as well as in one
    assert!(rig.wires.on);
    assert_eq!(rig.ask(10), Err(Refusal::Busy));
    assert_eq!(rig.act(10, Event::Prime(DOSE)), Err(Refusal::Busy));
    rig.until(11);
    assert!(!rig.wires.on);
    assert_eq!(rig.ask(11), Err(Refusal::Busy));
    assert_eq!(rig.act(11, Event::Prime(DOSE)), Err(Refusal::Busy));
    // a prime that was let go of leaves its rest: 0.6 s at least
    rig.act(60, Event::Prime(DOSE)).unwrap();
    rig.act(60, Event::Release).unwrap();
    assert_eq!(rig.ask(60), Err(Refusal::Busy));
    assert_eq!(rig.ask(61), Ok(()));
}

#[test]
fn p3_what_is_asked_for_is_judged_by_what_would_be_pumped() {
    // 40 ml are 80 s at 350 mA, 28 000 mC, of 8 mAh, which are 28 800: 800 mC are 1.14 ml
    let pack = Pack { capacity_mah: 8, motor_ma: 350, ..Pack::MAINS };
    for (room, answer) in [(1, Ok(())), (2, Err(Refusal::Battery))] {
        let room = Volume::from_ml(room);
        let mut rig = Rig::new(&[at_two(DOSE)], Some(DOSE.plus(room)), None);
        rig.act(5, Event::SetPack(&pack)).unwrap();
        rig.ask(10).unwrap();
        assert_eq!(rig.ask(60), answer);
        let cut = answer.is_ok().then_some(part(Cause::Ceiling, room));
        assert_eq!(rig.told(70), [DOSED].into_iter().chain(cut).collect::<Vec<_>>());
    }
}
