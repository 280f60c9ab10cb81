//! O6: everything an operator does is in the ledger with its time (GIP 4.1.1 to
//! 4.1.4, PCA R6.6.0: every event logged, stamped, non-volatile).

use dosewright_core::calibration::{Amount, Measured, Vessel};
use dosewright_core::civil::Local;
use dosewright_core::config::{Container, Head};
use dosewright_core::device::{Device, Outputs};
use dosewright_core::entry::{Entry, EntryId};
use dosewright_core::event::Event;
use dosewright_core::ledger::{Class, Geometry, SLOT, Slot};
use dosewright_core::lock::Pin;
use dosewright_core::power::Pack;
use dosewright_core::record::{Alarm, Record, Reset};
use dosewright_core::time::{Duration, Instant};
use dosewright_core::timetable::{Refusal, Timetable};
use dosewright_core::units::{Flow, Volume};
use dosewright_core::zone::Zone;
use dosewright_sim::world::flash::NorMock;
use dosewright_tests::entries::daily;

const N: usize = 4;

struct Nobody;

impl Outputs for Nobody {
    fn pump_on(&mut self, _: Duration) {}
    fn pump_off(&mut self) {}
    fn refused(&mut self, refusal: &Refusal) {
        assert_eq!(*refusal, Refusal::WrongPin, "every act here is taken, or a wrong try");
    }
    fn alarm(&mut self, _: Alarm, _: bool) {}
}

#[test]
fn o6_every_act_of_an_operator_is_in_the_ledger_with_its_time() {
    let geometry = Geometry { start: 0, sector_bytes: 8192, sectors: 2 };
    let zero = Some(Instant::ZERO);
    let device: Result<Device<NorMock<4, 1024>, N, 8>, _> =
        Device::start(NorMock::new(16), geometry, zero, Reset::PowerOn);
    let Ok(mut device) = device else { panic!("the ledger does not start") };
    let flow = Flow::from_nl_per_min(26_500_000).unwrap();
    let head = Head { roller_pass: Volume::from_ul(290), ..Head::with_flow(flow) };
    let container = Container { capacity: Volume::from_ml(10_000), ..Container::NONE };
    let reading_error = Volume::from_ul(500);
    let vessel = Vessel { capacity: Volume::from_ml(100), reading_error };
    let amount = Amount::Volume(Volume::from_ml(33));
    let measured = Measured { amount, reading_error, as_found: false };
    let pin = Pin::from_digits(b"0417").unwrap();
    let wrong = Pin::from_digits(b"1111").unwrap();
    let mut timetable = Timetable::<N>::EMPTY;
    let entry = Entry { window_ms: 600_000, ..daily(1, 1200, Volume::from_ml(20)) };
    timetable.put(entry).unwrap();
    let pack = Pack { capacity_mah: 6000, motor_ma: 350, low_mv: 7000, ..Pack::MAINS };
    // what is done, and the kind of the record that says so
    let acts: [(Event<'_, N>, u8); 22] = [
        (Event::SetHead(&head), 3),
        (Event::SetZone(&Zone::UTC), 2),
        (Event::SetClock(Local::from_ms(1_790_000_000_000)), 2),
        (Event::Container(&container, Volume::from_ml(5_000)), 13),
        (Event::Timetable(&timetable), 6),
        (Event::Refill(Volume::from_ml(9_000)), 13),
        (Event::RunAgain(EntryId(1)), 8),
        (Event::Prime(Volume::from_ml(10)), 11),
        (Event::CalibrateInto(&vessel), 11),
        (Event::Measured(&measured), 15),
        (Event::CalibrateTrain(&vessel), 11),
        (Event::Calibrate { run_ms: 10_000 }, 11),
        (Event::SetFlow(flow), 3),
        (Event::TubeChanged, 11),
        (Event::SetPack(&pack), 17),
        (Event::PackChanged, 17),
        (Event::Acknowledge, 11),
        (Event::SetPin(Some(pin)), 16),
        (Event::Unlock(wrong), 11),
        (Event::Unlock(pin), 11),
        (Event::SetPin(None), 16),
        (Event::Timetable(&Timetable::EMPTY), 6),
    ];
    // every quarter of an hour, and once there is a PIN every two minutes
    let when = |n: usize| {
        let (slow, quick) = (n.min(16) as i64, n.saturating_sub(16) as i64);
        Instant::from_ms(420_000 + 900_000 * slow + 120_000 * quick)
    };
    for (n, (event, _)) in acts.iter().enumerate() {
        while let Some((at, _)) = device.next_wake().filter(|(at, _)| *at < when(n)) {
            device.handle(at, Event::Wake, &mut Nobody);
        }
        device.handle(when(n), *event, &mut Nobody);
    }
    let bytes = device.into_flash().into_bytes();
    let found: Vec<(Instant, u8)> = bytes
        .chunks_exact(SLOT)
        .filter_map(|slot| match Slot::decode(slot.try_into().unwrap()) {
            Slot::Good { class: Class::Record, payload, .. } => Record::decode(&payload),
            _ => None,
        })
        .filter_map(|record| Some((record.at()?, record.kind())))
        .collect();
    for (n, (event, kind)) in acts.iter().enumerate() {
        assert!(found.contains(&(when(n), *kind)), "{event:?} left no record of its time");
    }
}
