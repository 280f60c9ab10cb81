//! What is installed: head, motor, supply, container, memory, limits.

use dosewright_core::config::{self, Head};
use dosewright_core::time::Duration;
use dosewright_core::units::{Flow, Volume};

use crate::diagnose::Spans;

/// `[head]`: head and tube set with their limits.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct HeadPlan {
    /// Flow as calibrated, and the limits.
    pub head: Head,
    /// What the head really delivers, where that is not the calibrated flow.
    pub true_flow: Option<Flow>,
    /// How the rotor moves, where the file says it.
    pub motion: Motion,
    /// Where it stands.
    pub spans: Spans,
}

/// How a rotor moves and how its flow swings: parameters of a model.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Motion {
    /// What turns it; `None` for a pump that has its mean flow at once, in a run.
    pub drive: Option<Drive>,
    /// Time in which it comes up to speed, in ms.
    pub spin_up_ms: Option<u32>,
    /// Time in which it comes to rest, in ms.
    pub coast_ms: Option<u32>,
    /// Swing of the flow about its mean, in parts per million.
    pub pulsation_ppm: Option<u32>,
}

/// What turns a rotor.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Drive {
    /// A motor that is switched on and off.
    OnOff,
    /// A motor whose speed is set by its duty.
    Duty {
        /// Share of full speed that it runs at, in parts per million.
        speed_ppm: u32,
    },
    /// A stepper motor.
    Stepper {
        /// Steps in one turn of the rotor.
        steps_per_turn: u32,
    },
}

/// `[site]`: what the papers left on site say of it. None of it changes a run.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Site {
    /// Where the product goes in.
    pub dosing_point: Option<String>,
    /// Class of product.
    pub product_class: Option<String>,
    /// Reference of the discharge permit.
    pub permit: Option<String>,
    /// Where it stands.
    pub spans: Spans,
}

/// `[motor]`: what the battery model reckons with.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Motor {
    /// Nominal voltage in millivolts.
    pub voltage_mv: u32,
    /// Current while it runs, in microamperes.
    pub current_ua: u32,
    /// Current while it starts, in microamperes.
    pub start_current_ua: u32,
    /// How long a start lasts, in ms.
    pub start_ms: u32,
    /// Where it stands.
    pub spans: Spans,
}

/// A type of cell, by its IEC 60086 or IEC 61951 designation.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub enum CellType {
    /// Alkaline, D size.
    Lr20,
    /// Alkaline, C size.
    Lr14,
    /// Alkaline, AA size.
    Lr6,
    /// Nickel-metal hydride, D size: it can be charged again.
    Hr20,
}

impl CellType {
    /// All of them.
    pub const ALL: [Self; 4] = [Self::Lr20, Self::Lr14, Self::Lr6, Self::Hr20];

    /// Its designation.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Lr20 => "LR20",
            Self::Lr14 => "LR14",
            Self::Lr6 => "LR6",
            Self::Hr20 => "HR20",
        }
    }
}

/// `[supply]`.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Supply {
    /// Mains.
    Mains,
    /// A battery pack.
    Battery {
        /// Of these cells.
        cells_of: CellType,
        /// So many in series; `None` leaves it to the motor's voltage.
        cells: Option<u8>,
        /// What draws from it beside the motor, and what can be used of it.
        pack: Pack,
        /// Where it stands.
        spans: Spans,
    },
}

impl Supply {
    /// Whether it is a pack of which nothing says what it is kept at.
    pub const fn is_pack_somewhere(&self) -> bool {
        matches!(self, Self::Battery { pack, .. } if pack.temperature_mc.is_none())
    }
}

/// What is known of a pack beside its cells; `None` leaves it to the model.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Pack {
    /// Current that never stops, in microamperes.
    pub sleep_ua: Option<u32>,
    /// Current of the lit display, in microamperes.
    pub display_ua: Option<u32>,
    /// How long the display is lit in a week, in ms.
    pub lit_a_week_ms: Option<u32>,
    /// Share of the capacity that can be used, in parts per million.
    pub usable_ppm: Option<u32>,
    /// Share that is lost in a year on the shelf, in parts per million.
    pub self_discharge_ppm: Option<u32>,
    /// Its temperature in thousandths of a degree Celsius.
    pub temperature_mc: Option<i32>,
    /// Share of its charge that is there at the start, in parts per million.
    pub charge_ppm: Option<u32>,
    /// How many days ahead the low alarm is to come.
    pub warn_days: Option<u8>,
}

/// `[container]`.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Container {
    /// What it holds when full.
    pub capacity: Volume,
    /// What is in it at the start.
    pub level: Volume,
    /// What the suction tube cannot reach at its bottom.
    pub heel: Volume,
    /// Level at which the low-level contact closes; `None` for no contact.
    pub low_contact: Option<Volume>,
    /// How long the contact must be closed before it counts, in ms.
    pub debounce_ms: u32,
    /// From an order to its delivery.
    pub lead: Option<Duration>,
    /// What to order earlier by.
    pub slack: Option<Duration>,
    /// Where it stands.
    pub spans: Spans,
}

impl Container {
    /// As the device is told of it.
    pub fn to_core(&self) -> config::Container {
        config::Container {
            capacity: self.capacity,
            low: self.low_contact.unwrap_or(Volume::ZERO),
            heel: self.heel,
            debounce_ms: self.debounce_ms,
        }
    }
}

/// `[memory]`: the flash the ledger is kept in.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Memory {
    /// Bytes of the smallest write: 1, 4 or 8.
    pub word_bytes: u32,
    /// Bytes of the smallest erase, a power of two.
    pub sector_bytes: u32,
    /// Sectors the ledger has.
    pub sectors: u32,
    /// Where it stands.
    pub spans: Spans,
}

impl Default for Memory {
    /// 4-byte words, four sectors of 32 KiB.
    fn default() -> Self {
        Self { word_bytes: 4, sector_bytes: 32_768, sectors: 4, spans: Spans::default() }
    }
}

/// `[limits]`.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Limits {
    /// The ceiling of any 23 hours (D7); `None` leaves it to the timetable.
    pub daily_ceiling: Option<Volume>,
    /// Where it stands.
    pub spans: Spans,
}
