//! What a scenario file says, as plain data in the logic's own types.
//!
//! Every table carries [`Spans`]: where it stands in the file and where the
//! value of each of its keys stands, for checks that are made later. Spans take
//! no part in equality.

mod act;
mod brief;
mod clock;
mod entry;
mod expect;
mod fault;
mod product;
mod separator;
mod site;

pub use act::{Act, Calibration, CalibrationRun, Change, ClockSetting, Edit, Key, OperatorAct};
pub use brief::{Brief, Cleaning, HeadFile, Label, LabelDose, Quiet, SitePlan, Trading};
pub use clock::{ClockPlan, Crystal, NamedZone};
pub use entry::{EntryPlan, IntervalStart, RecurrencePlan};
pub use expect::{Claim, ClaimTime, DueClaim, Expectation, Outcome};
pub use fault::{Calls, Done, Fault, FaultKind, MemoryWork, Misread};
pub use product::{Product, Tube};
pub use separator::{Dip, Separator};
pub use site::{
    CellType, Container, Drive, HeadPlan, Limits, Memory, Motion, Motor, Pack, Site, Supply,
};

use dosewright_core::civil::{Date, Local};
use dosewright_core::entry::{ClosedDates, Entry};
use dosewright_core::time::Duration;

use crate::diagnose::{Span, Spans};
use crate::units::Units;

/// A whole scenario file.
#[derive(Debug, Clone, PartialEq)]
pub struct Scenario {
    /// Version of the format, 1.
    pub schema: u32,
    /// What the scenario is about.
    pub title: Option<String>,
    /// In what volumes are shown to a person.
    pub units: Units,
    /// The time, true and the device's.
    pub clock: ClockPlan,
    /// Pump head and tube set.
    pub head: HeadPlan,
    /// The motor, where the file describes it.
    pub motor: Option<Motor>,
    /// Mains, unless the file says otherwise.
    pub supply: Supply,
    /// What the papers say of the site.
    pub site: Site,
    /// The container, where the file describes it.
    pub container: Option<Container>,
    /// Tube set and lines, where the file describes them.
    pub tube: Option<Tube>,
    /// What is dosed, where the file describes it.
    pub product: Option<Product>,
    /// The grease separator, where the file tells of its dips.
    pub separator: Option<Separator>,
    /// The memory the ledger is kept in.
    pub memory: Memory,
    /// Limits of the device.
    pub limits: Limits,
    /// Stretches of closed dates, in the order of the file.
    pub closed: Vec<ClosedDates>,
    /// Where each of `closed` stands.
    pub closed_spans: Vec<Spans>,
    /// The timetable at the start, in the order of the file.
    pub entries: Vec<EntryPlan>,
    /// Faults, in the order of the file.
    pub faults: Vec<Fault>,
    /// What the operator does, in the order of the file.
    pub operator: Vec<OperatorAct>,
    /// What is expected, in the order of the file.
    pub expect: Vec<Expectation>,
    /// Where the keys outside all tables stand.
    pub spans: Spans,
}

impl Scenario {
    /// The entry of that name in the timetable at the start.
    pub fn entry(&self, name: &str) -> Option<&EntryPlan> {
        self.entries.iter().find(|entry| entry.name == name)
    }

    /// Whether a weekly entry is closed on the date, or the trading night, of a due.
    pub fn closes(&self, entry: &Entry, date: Date) -> bool {
        entry.observes_closed && self.closed.iter().any(|c| c.first <= date && date <= c.last)
    }

    /// False where an expectation says `held = false`: the scenario is meant to
    /// show a failure.
    pub fn meant_to_hold(&self) -> bool {
        !self.expect.iter().any(|e| e.claim == Claim::Held(false))
    }
}

/// A moment of the run. Local times are true local time of the zone in
/// `[clock]`, whatever the device's clock says.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub enum Moment {
    /// A local date and time at or after the start. A weekday moment ("fri
    /// 00:50:20") is read into the first such time at or after the start.
    Local(Local),
    /// A length of true time after the start.
    After(Duration),
    /// The start of a pulse: the world finds it when it comes.
    Pulse {
        /// The dose-th dose begun in the run, from 1.
        dose: u32,
        /// The pulse-th pulse of that dose, from 1.
        pulse: u32,
    },
}

/// A signed length of time in milliseconds.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Default)]
pub struct SignedMs(pub i64);

/// The name of an entry with the place it is written at. The place takes no
/// part in equality.
#[derive(Clone, Debug, Eq)]
pub struct EntryName {
    /// The name.
    pub name: String,
    /// Where it is written.
    pub span: Span,
}

impl PartialEq for EntryName {
    fn eq(&self, other: &Self) -> bool {
        self.name == other.name
    }
}
