//! A brief: what a timetable is to be planned from; and a head file.

use dosewright_core::civil::{Date, Days};
use dosewright_core::entry::ClosedDates;
use dosewright_core::time::Duration;
use dosewright_core::units::Volume;

use super::{Container, HeadPlan, Limits, Motor, NamedZone, Product, Supply, Tube};
use crate::diagnose::Spans;
use crate::units::Units;

/// A head in a file of its own.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct HeadFile {
    /// What head it is.
    pub title: Option<String>,
    /// The head.
    pub head: HeadPlan,
}

/// A whole brief.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Brief {
    /// What site it is.
    pub title: Option<String>,
    /// In what volumes are shown to a person.
    pub units: Units,
    /// When the water runs.
    pub site: SitePlan,
    /// What the label asks for.
    pub label: Label,
    /// Pump head and tube set.
    pub head: HeadPlan,
    /// The motor, where it is described.
    pub motor: Option<Motor>,
    /// Mains or a pack.
    pub supply: Supply,
    /// The container, where it is described.
    pub container: Option<Container>,
    /// Tube set and lines, where they are described.
    pub tube: Option<Tube>,
    /// What is dosed, where it is described.
    pub product: Option<Product>,
    /// Limits of the device.
    pub limits: Limits,
    /// Nights without a dose.
    pub closed: Vec<ClosedDates>,
    /// When the site uses water.
    pub trading: Vec<Trading>,
    /// What no dose may come near to.
    pub cleaning: Vec<Cleaning>,
    /// Quiet periods that are known.
    pub quiet: Vec<Quiet>,
}

/// `[site]`.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SitePlan {
    /// First night with a dose.
    pub first: Date,
    /// Zone of the place.
    pub zone: NamedZone,
    /// Nights that may have a dose.
    pub nights: Days,
    /// Doses a week, where that is fewer.
    pub doses_a_week: Option<u8>,
    /// From a dose's end to the next water.
    pub contact: Duration,
    /// From the last water to a dose.
    pub settle: Duration,
    /// Window wanted.
    pub window: Duration,
    /// Where it stands.
    pub spans: Spans,
}

/// What a label gives for one night.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LabelDose {
    /// A volume.
    Dose(Volume),
    /// A rate in nanolitres a litre of drain or separator.
    Rate(u32),
}

impl LabelDose {
    /// The volume of a night; `of` is the volume of drain or separator.
    pub fn volume(self, of: Volume) -> Volume {
        match self {
            Self::Dose(volume) => volume,
            Self::Rate(nl_l) => {
                let nl = u128::from(of.as_nl()) * u128::from(nl_l) / 1_000_000_000;
                Volume::from_nl(u64::try_from(nl).unwrap_or(u64::MAX))
            }
        }
    }
}

/// `[label]`.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Label {
    /// Of a maintenance night.
    pub maintenance: LabelDose,
    /// Of a start-up night, and for how many nights.
    pub start_up: Option<(LabelDose, u32)>,
    /// Volume of drain or separator; nothing where no rate needs it.
    pub of: Volume,
    /// Where it stands.
    pub spans: Spans,
}

/// `[[trading]]`.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Trading {
    /// Days that trade so.
    pub days: Days,
    /// First water, minute of the day.
    pub opens_min: u16,
    /// Last water, minute of the day or of the night after it.
    pub closes_min: u16,
}

/// `[[cleaning]]`.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Cleaning {
    /// What it is.
    pub what: Option<String>,
    /// Calendar days.
    pub days: Days,
    /// When it begins, minute of the day.
    pub at_min: u16,
    /// How long it takes.
    pub lasts: Duration,
    /// To keep clear before and after.
    pub clear: Duration,
}

/// `[[quiet]]`.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Quiet {
    /// Nights.
    pub nights: Days,
    /// Last water, minute of the day.
    pub from_min: u16,
    /// First water, minute of the day.
    pub to_min: u16,
}
