//! What is installed: head, motor, supply, container, memory, limits.

use dosewright_core::config::Head;
use dosewright_core::units::{Flow, Volume};

use crate::diagnose::Spans;

/// `[head]`: head and tube set with their limits.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct HeadPlan {
    /// Flow as calibrated, and the limits.
    pub head: Head,
    /// What the head really delivers, where that is not the calibrated flow.
    pub true_flow: Option<Flow>,
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

/// A type of cell, by its IEC 60086 designation.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub enum CellType {
    /// Alkaline, D size.
    Lr20,
    /// Alkaline, C size.
    Lr14,
    /// Alkaline, AA size.
    Lr6,
}

impl CellType {
    /// All of them.
    pub const ALL: [Self; 3] = [Self::Lr20, Self::Lr14, Self::Lr6];

    /// Its designation.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Lr20 => "LR20",
            Self::Lr14 => "LR14",
            Self::Lr6 => "LR6",
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
        /// Where it stands.
        spans: Spans,
    },
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
    /// Where it stands.
    pub spans: Spans,
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
