//! From a scenario to a list of events: the simulator runs it, and what reached
//! the device from outside is taken down.

use dosewright_core::ledger::{Class, Slot};
use dosewright_core::record::Record;
use dosewright_core::shell::Signal;
use dosewright_core::time::Instant;
use dosewright_core::timetable::Timetable;
use dosewright_replay::LINES;
use dosewright_replay::list::{Event, MAGIC, Restart, What};
use dosewright_sim::observe::{DeviceAct, Observation, Observer};
use dosewright_sim::run::{self, FaultEnd, Options};
use dosewright_sim::scenario;

/// What the simulator's run of a scenario comes to.
#[derive(Debug, Clone, Default)]
pub struct Compiled {
    /// The list.
    pub list: Vec<u8>,
    /// The records that the simulated device wrote, in order.
    pub records: Vec<Record>,
    /// The edges of the simulated pump: device ms, on.
    pub edges: Vec<(i64, bool)>,
}

/// Compiles a scenario.
///
/// # Errors
///
/// In words, where the scenario has errors or cannot be told as such a list: the
/// clock chip must not drift, and the memory must stay whole.
pub fn compile(name: &str, text: &str) -> Result<Compiled, String> {
    let (scenario, _) = scenario::read(name, text)
        .map_err(|errors| format!("{name}: {} errors; see `dosewright check`", errors.len()))?;
    let mut watch = Watch::default();
    let end = run::run(&scenario, &Options::default(), &mut watch).map_err(|e| e.to_string())?;
    if let Some(why) = watch.cannot {
        return Err(format!("{name}: {why}"));
    }
    if end.faults.iter().any(|fault| *fault != FaultEnd::TookEffect) {
        return Err(format!("{name}: a fault did not take effect: {:?}", end.faults));
    }
    let at = watch.count(end.end_ms);
    watch.push(at, What::End);
    let mut list = MAGIC.to_vec();
    for event in &watch.events {
        event.encode(&mut |bytes| list.extend_from_slice(bytes));
    }
    Ok(Compiled { list, records: watch.records, edges: watch.edges })
}

#[derive(Default)]
struct Watch {
    events: Vec<Event>,
    records: Vec<Record>,
    edges: Vec<(i64, bool)>,
    /// True ms and count of the clock chip at its last observation.
    chip: (u64, i64),
    /// A cut that the device has not started again from: its instant, and whether
    /// the watchdog fired.
    cut: Option<(Instant, bool)>,
    started: bool,
    remote_stop: bool,
    leak: bool,
    level_low: bool,
    cannot: Option<&'static str>,
}

impl Watch {
    fn count(&self, at_ms: u64) -> Instant {
        let (then, count) = self.chip;
        Instant::from_ms(count + i64::try_from(at_ms - then).unwrap_or(i64::MAX))
    }

    fn push(&mut self, at: Instant, what: What) {
        self.events.push(Event { at, what });
    }

    fn act(&mut self, at: Instant, act: &DeviceAct) {
        let what = match act {
            DeviceAct::SetHead(head) => What::Head(*head),
            DeviceAct::SetFlow(flow) => What::Flow(*flow),
            DeviceAct::SetZone(zone) => What::Zone(*zone),
            DeviceAct::SetClock(local) => What::Clock(*local),
            DeviceAct::SetTimetable(timetable) => {
                let mut short = Timetable::<LINES>::EMPTY;
                (short.closed, short.ceiling) = (timetable.closed, timetable.ceiling);
                if timetable.entries().any(|entry| short.put(entry).is_err()) {
                    self.cannot = Some("more entries than the image has room for");
                }
                What::Timetable(short)
            }
            DeviceAct::RunAgain(id) => What::RunAgain(*id),
            DeviceAct::StopDose(id) => What::StopDose(*id),
            DeviceAct::Prime(volume) => What::Prime(*volume),
            DeviceAct::Calibrate(ms) => What::Calibrate(*ms),
            DeviceAct::CalibrateInto(vessel) => What::CalibrateInto(*vessel),
            DeviceAct::CalibrateTrain(vessel) => What::CalibrateTrain(*vessel),
            DeviceAct::Measured(measured) => What::Measured(*measured),
            DeviceAct::TubeChanged => What::TubeChanged,
            DeviceAct::Unlock(_) | DeviceAct::Lock | DeviceAct::SetPin(_) => {
                self.cannot = Some("a PIN, which shows itself to nobody");
                return;
            }
            DeviceAct::SetPack(_)
            | DeviceAct::PackChanged
            | DeviceAct::PackRead { .. }
            | DeviceAct::Key { .. } => {
                self.cannot = Some("a battery pack or a panel, which the image does not have");
                return;
            }
            DeviceAct::Release => What::Signal(Signal::Release),
            DeviceAct::RemoteStop(on) => {
                // what is on at a start, the start itself reads
                if std::mem::replace(&mut self.remote_stop, *on) == *on {
                    return;
                }
                What::Signal(Signal::RemoteStop(*on))
            }
            DeviceAct::Leak(on) => {
                if std::mem::replace(&mut self.leak, *on) == *on {
                    return;
                }
                What::Signal(Signal::Leak(*on))
            }
            DeviceAct::SetContainer(container, level) => What::Container(*container, *level),
            DeviceAct::Refill(level) => What::Refill(*level),
            DeviceAct::LevelLow(low) => {
                if std::mem::replace(&mut self.level_low, *low) == *low {
                    return;
                }
                What::Signal(Signal::LevelLow(*low))
            }
            DeviceAct::MotorFault => What::Signal(Signal::MotorFault),
            DeviceAct::Acknowledge => What::Signal(Signal::Acknowledge),
        };
        self.push(at, what);
    }
}

impl Observer for Watch {
    fn see(&mut self, at_ms: u64, what: &Observation<'_>) {
        let at = self.count(at_ms);
        match what {
            Observation::Supply { on: false } => self.cut = Some((at, false)),
            Observation::Reset => self.cut = Some((at, true)),
            Observation::Supply { on: true }
            | Observation::Display { .. }
            | Observation::Account { .. }
            | Observation::MemoryFault { .. }
            | Observation::Unread { .. }
            | Observation::Erased { .. }
            | Observation::NotStarted
            | Observation::Named { .. }
            | Observation::Wake => {}
            Observation::Chip { count_ms, rate_ppb, feed_kept } => {
                self.chip = (at_ms, *count_ms);
                if *rate_ppb != 0 {
                    self.cannot = Some("its clock chip drifts");
                }
                if let Some((cut_at, watchdog)) = self.cut.take() {
                    let count = feed_kept.then(|| Instant::from_ms(*count_ms));
                    self.push(cut_at, What::Cut(Restart { watchdog, count }));
                } else if self.started {
                    self.cannot = Some("its clock chip changes its rate");
                }
                self.started = true;
            }
            Observation::Pump { on } => self.edges.push((at.as_ms(), *on)),
            Observation::Slot { bytes, .. } => {
                let slot = <&[u8; 64]>::try_from(*bytes).map(Slot::decode);
                match slot {
                    Ok(Slot::Good { class: Class::Record, payload, .. }) => {
                        self.records.extend(Record::decode(&payload));
                    }
                    Ok(Slot::Good { .. } | Slot::Blank) => {}
                    _ => self.cannot = Some("its memory is damaged"),
                }
            }
            Observation::Act(act) => self.act(at, act),
            Observation::LateWake { by_ms } => {
                let from = Instant::from_ms(at.as_ms() - i64::try_from(*by_ms).unwrap_or(0));
                self.push(from, What::Late(at));
            }
        }
    }
}
