//! A stream of events: any order of calls, requests, inputs, restarts and cuts keeps
//! the pump within its limits, and never makes the logic ask to be called for ever.

use dosewright_core::calibration::{Amount, Measured, Vessel};
use dosewright_core::civil::{Days, Local};
use dosewright_core::config::Head;
use dosewright_core::device::{Device, Outputs};
use dosewright_core::entry::{Entry, EntryId, GapRule, Recurrence};
use dosewright_core::event::Event;
use dosewright_core::ledger::Geometry;
use dosewright_core::power::Pack;
use dosewright_core::record::{Alarm, Reset};
use dosewright_core::time::{Duration, Instant};
use dosewright_core::timetable::{Refusal, Timetable};
use dosewright_core::units::{Flow, Volume};
use dosewright_core::zone::Zone;
use dosewright_sim::world::flash::NorMock;

const N: usize = 4;
const H: usize = 8;
const GEOMETRY: Geometry = Geometry { start: 0, sector_bytes: 4096, sectors: 2 };
type Flash = NorMock<4, 1024>;
type Pumped = Device<Flash, N, H>;

/// What became of a stream.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Became {
    /// Calls of the logic.
    pub calls: u32,
    /// Runs of the pump.
    pub runs: u32,
    /// Starts of the logic, the first included.
    pub starts: u32,
}

/// The pump with its one-shot, and what may turn it on.
struct Pump {
    now: Instant,
    /// When the one-shot ends the run.
    until: Option<Instant>,
    stopped: [bool; 2],
    longest: Duration,
    runs: u32,
}

impl Outputs for Pump {
    fn pump_on(&mut self, length: Duration) {
        assert!(self.until.is_none(), "turned on while it runs");
        assert_eq!(self.stopped, [false; 2], "turned on in spite of a stop");
        assert!(length <= self.longest, "a run of {length:?}");
        self.until = Some(self.now.plus(length));
        self.runs += 1;
    }

    fn pump_off(&mut self) {
        self.until = None;
    }

    fn refused(&mut self, _: &Refusal) {}
    fn alarm(&mut self, _: Alarm, _: bool) {}
}

/// Bytes, one after the other; zeros after the last.
struct Bytes<'a>(std::slice::Iter<'a, u8>);

impl Bytes<'_> {
    fn u8(&mut self) -> u8 {
        self.0.next().copied().unwrap_or(0)
    }

    fn u16(&mut self) -> u16 {
        u16::from_le_bytes([self.u8(), self.u8()])
    }

    fn is_over(&self) -> bool {
        self.0.len() == 0
    }
}

fn head() -> Head {
    Head {
        longest_run_ms: 60_000,
        least_rest_ms: 20_000,
        longest_prime_ms: 90_000,
        longest_calibration_ms: 120_000,
        ..Head::with_flow(Flow::from_nl_per_min(30_000_000).expect("a flow in range"))
    }
}

/// An entry that any three bytes make, good or bad.
fn entry(id: u16, bytes: &mut Bytes) -> Entry {
    let volume = Volume::from_ml(u64::from(bytes.u8() % 64));
    let at_min = bytes.u16() % 1500;
    let shape = bytes.u8();
    let recurrence = if shape & 1 == 0 {
        Recurrence::Weekly { days: Days::ALL, at_min, by_night: false }
    } else {
        Recurrence::Interval { every_ms: u64::from(at_min) * 60_000, from: Instant::ZERO }
    };
    Entry {
        id: EntryId(id),
        enabled: shape & 2 == 0,
        recurrence,
        volume,
        window_ms: 60_000 * u32::from(shape >> 2),
        grace_ms: u32::from(shape >> 5) * 60_000,
        first: None,
        last: None,
        observes_closed: false,
        gap_rule: GapRule::Shift,
        pulses: None,
    }
}

/// A pack that any bytes make, good or bad, or mains.
fn pack(bytes: &mut Bytes) -> Pack {
    let (shape, exhausted_mv) = (bytes.u8(), bytes.u16());
    Pack {
        capacity_mah: u16::from(shape & 3).saturating_mul(bytes.u16()),
        motor_ma: u16::from(shape >> 2 & 3) * 400,
        start_ma: bytes.u16(),
        start_ms: u16::from(shape),
        sleep_ua: bytes.u16(),
        display_ua: bytes.u16(),
        low_mv: exhausted_mv.saturating_add(u16::from(shape >> 4) * 100),
        exhausted_mv,
        hysteresis_mv: u16::from(shape),
        jump_mv: u16::from(shape >> 3),
        warn_days: shape,
    }
}

fn timetable(bytes: &mut Bytes) -> Timetable<N> {
    let mut timetable = Timetable::EMPTY;
    for id in 1..=u16::from(bytes.u8() % 5) {
        let entry = entry(id, bytes);
        _ = timetable.put(entry);
    }
    timetable
}

/// How far time goes on before the next event.
fn step(bytes: &mut Bytes, now: Instant, next: Option<Instant>) -> Instant {
    let ahead = next.map_or(0, |next| next.since(now).as_ms());
    let by = match bytes.u8() % 8 {
        0 => 0,
        1 => 1,
        2..=4 => ahead,
        5 => ahead + u64::from(bytes.u16()),
        6 => u64::from(bytes.u16()) * 100,
        _ => u64::from(bytes.u8()) * 600_000,
    };
    now.plus(Duration::from_ms(by))
}

/// Plays any bytes as a stream of events.
///
/// # Panics
///
/// Where the pump is turned on while it runs, in spite of a stop or for longer than
/// its limit; where a stop leaves it on; where the logic asks for calls without end.
pub fn run(data: &[u8]) -> Became {
    let mut bytes = Bytes(data.iter());
    let mut became = Became::default();
    let head = head();
    let mut pump = Pump {
        now: Instant::ZERO,
        until: None,
        stopped: [false; 2],
        longest: Duration::from_ms(u64::from(head.longest_calibration_ms)),
        runs: 0,
    };
    let mut device = start(Flash::new(8), Some(Instant::ZERO), Reset::PowerOn, &mut became);
    for event in [Event::SetHead(&head), Event::SetZone(&Zone::UTC)] {
        device.handle(Instant::ZERO, event, &mut pump);
    }
    device.handle(Instant::ZERO, Event::SetClock(Local::from_ms(1_790_000_000_000)), &mut pump);
    let mut still = 0;
    while !bytes.is_over() {
        let next = device.next_wake().map(|(at, _)| at);
        let now = step(&mut bytes, pump.now, next);
        if pump.until.is_some_and(|until| until <= now) {
            pump.until = None;
        }
        pump.now = now;
        match bytes.u8() % 32 {
            0..=7 => device.handle(now, Event::Wake, &mut pump),
            8 => {
                let by = (i64::from(bytes.u16()) - 32_768) * 60_000;
                let clock = Local::from_ms(1_790_000_000_000 + now.as_ms() + by);
                device.handle(now, Event::SetClock(clock), &mut pump);
            }
            9 | 10 => {
                let timetable = timetable(&mut bytes);
                device.handle(now, Event::Timetable(&timetable), &mut pump);
            }
            11 => {
                let flow = Flow::from_nl_per_min(u32::from(bytes.u16()) * 1000);
                if let Some(flow) = flow {
                    device.handle(now, Event::SetFlow(flow), &mut pump);
                }
            }
            12 => {
                device.handle(now, Event::RunAgain(EntryId(u16::from(bytes.u8() % 5))), &mut pump);
            }
            13 => {
                let volume = Volume::from_ml(u64::from(bytes.u8()));
                device.handle(now, Event::Prime(volume), &mut pump);
            }
            14 => {
                let run_ms = u32::from(bytes.u16()) * 4;
                device.handle(now, Event::Calibrate { run_ms }, &mut pump);
            }
            15 => device.handle(now, Event::Release, &mut pump),
            16 | 17 => {
                let (which, on) = (usize::from(bytes.u8() & 1), bytes.u8() & 1 == 1);
                pump.stopped[which] = on;
                let event = if which == 0 { Event::RemoteStop(on) } else { Event::Leak(on) };
                device.handle(now, event, &mut pump);
                assert!(!on || pump.until.is_none(), "a stop leaves the pump on");
            }
            18 => device.handle(now, Event::LevelLow(bytes.u8() & 1 == 1), &mut pump),
            19 => {
                device.handle(now, Event::MotorFault, &mut pump);
                assert!(pump.until.is_none(), "a motor fault leaves the pump on");
            }
            20 => device.handle(now, Event::Acknowledge, &mut pump),
            21 => {
                // the supply goes in the middle of what the start writes
                let steps = Some(u64::from(bytes.u16() % 600));
                device = restart(device.into_flash(), Some(now), steps, &mut pump, &mut became);
                device = restart(device.into_flash(), Some(now), None, &mut pump, &mut became);
            }
            22 => {
                let fed = bytes.u8() & 1 == 1;
                let count = fed.then_some(now);
                device = restart(device.into_flash(), count, None, &mut pump, &mut became);
            }
            23 => {
                let capacity = Volume::from_ml(u64::from(bytes.u8()));
                let error = bytes.u8();
                let reading_error = Volume::from_ul(u64::from(error) * 10);
                let vessel = Vessel { capacity, reading_error };
                let train = error & 1 == 1;
                let into = Event::CalibrateInto(&vessel);
                let event = if train { Event::CalibrateTrain(&vessel) } else { into };
                device.handle(now, event, &mut pump);
            }
            24 => {
                let (figure, with) = (u32::from(bytes.u16()), bytes.u16());
                let amount = match bytes.u8() % 3 {
                    0 => Amount::Volume(Volume::from_ul(u64::from(figure) * 4)),
                    1 => Amount::Water { mass_mg: figure * 4, tenths_of_degree: with % 400 },
                    _ => Amount::Product { mass_mg: figure * 4, gravity_per_mille: with },
                };
                let reading_error = Volume::from_ul(u64::from(bytes.u8()) * 10);
                let as_found = bytes.u8() & 1 == 1;
                let measured = Measured { amount, reading_error, as_found };
                device.handle(now, Event::Measured(&measured), &mut pump);
            }
            25 => device.handle(now, Event::TubeChanged, &mut pump),
            26 => device.handle(now, Event::SetPack(&pack(&mut bytes)), &mut pump),
            27 => device.handle(now, Event::PackChanged, &mut pump),
            28 => {
                // a test, or part of one
                let (mv, loaded) = (bytes.u16(), bytes.u8());
                for _ in 0..loaded % 32 {
                    let loaded = loaded & 0x80 != 0;
                    device.handle(now, Event::PackRead { mv, loaded }, &mut pump);
                }
            }
            29 => device.handle(now, Event::Key { held: bytes.u8() & 1 == 1 }, &mut pump),
            30 => {
                let due = |device: &Pumped| device.controller().book().open.map(|o| o.pulse.due);
                let open = due(&device).filter(|_| device.controller().has_started());
                let id = open.map_or(EntryId(1), |due| due.id);
                device.handle(now, Event::StopDose(id), &mut pump);
                // another one that waited may have begun
                let goes_on = open.is_some() && due(&device) == open;
                assert!(!goes_on || pump.until.is_none(), "a stop leaves the pump on");
            }
            _ => {
                let mut flash = device.into_flash();
                flash.flip_bit(u32::from(bytes.u16()) % 8192, bytes.u8());
                device = restart(flash, Some(now), None, &mut pump, &mut became);
            }
        }
        became.calls += 1;
        still = if device.next_wake().is_some_and(|(next, _)| next <= pump.now) {
            still + 1
        } else {
            0
        };
        assert!(still < 64, "it asks to be called at once, again and again");
    }
    became.runs = pump.runs;
    became
}

fn start(flash: Flash, count: Option<Instant>, reset: Reset, became: &mut Became) -> Pumped {
    became.starts += 1;
    let (mut flash, _) = match Device::start(flash, GEOMETRY, count, reset) {
        Ok(device) => return device,
        Err(failed) => failed,
    };
    flash.power_on();
    if let Ok(device) = Device::start(flash, GEOMETRY, count, reset) {
        return device;
    }
    // no sector can be told for the ledger's any more: a new one is begun
    match Device::start(Flash::new(8), GEOMETRY, count, reset) {
        Ok(device) => device,
        Err(_) => unreachable!("a blank part is given a first ledger"),
    }
}

/// The supply was off: the pump stands, the inputs are read anew. The clock chip
/// counts on, or has lost its feed; the supply may go again after some steps of
/// writing.
fn restart(
    mut flash: Flash,
    count: Option<Instant>,
    steps: Option<u64>,
    pump: &mut Pump,
    became: &mut Became,
) -> Pumped {
    pump.until = None;
    flash.power_on();
    if steps.is_some() {
        flash.cut_after_steps(steps);
    }
    let mut device = start(flash, count, Reset::PowerOn, became);
    pump.now = device.now();
    // what is on is told before anything is decided, as the main loop does it
    if pump.stopped[0] {
        device.handle(pump.now, Event::RemoteStop(true), pump);
    }
    if pump.stopped[1] {
        device.handle(pump.now, Event::Leak(true), pump);
    }
    device
}
