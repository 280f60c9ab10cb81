//! What this build makes of a device's memory: the raw bytes of a ledger, read slot
//! by slot, and the device started from a copy of them. Any bytes at all give an
//! answer.

mod changes;
mod dues;
mod ended;
mod found;
mod history;
mod lasts;
mod lines;
mod lost;
mod page;
mod records;
mod started;
mod sums;
mod told;
pub(crate) mod words;

pub use ended::Ended;
pub use found::{Found, SectorFound, SectorState, find};
pub use history::{Detail, Kind, Row, Since};
pub use lasts::Lasts;
pub use lines::schema;
pub use started::{Started, State, start};

use dosewright_core::civil::Local;
use dosewright_core::ledger::Geometry;

use dues::Dues;

/// Images larger than this are not read.
pub const MOST_BYTES: usize = 64 * 1024 * 1024;

/// What to take for granted where the image does not say it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Hints {
    /// Bytes of a sector.
    pub sector_bytes: Option<u32>,
    /// Bytes of the smallest write: 1, 4 or 8; 4 unless said.
    pub word_bytes: Option<u32>,
}

/// All that was made of an image.
#[derive(Debug, Clone)]
pub struct Report {
    /// Its size.
    pub bytes: usize,
    /// What lies where.
    pub found: Found,
    /// What the device did and saw, as far as it can still be read.
    pub history: Vec<Row>,
    /// From when on that is.
    pub since: Option<Since>,
    /// The device as it starts from it, or why it does not.
    pub started: Result<Box<Started>, String>,
    /// What names a due after the last record.
    dues: Dues,
}

/// Why there is nothing to say of some bytes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Unreadable(pub String);

/// Reads an image.
pub fn read(bytes: &[u8], hints: Hints) -> Result<Report, Unreadable> {
    if bytes.len() > MOST_BYTES {
        let why = format!("it has {} bytes; at most {MOST_BYTES} are read", bytes.len());
        return Err(Unreadable(why));
    }
    let found = found::find(bytes, hints)?;
    let memory = found.memory(bytes);
    let geometry: Geometry = found.geometry;
    let told = history::history(&memory, &geometry);
    let started = started::start(memory, geometry, hints.word_bytes.unwrap_or(4));
    Ok(Report {
        bytes: bytes.len(),
        found,
        history: told.rows,
        since: told.since,
        started: started.map(Box::new),
        dues: told.dues,
    })
}

impl Report {
    /// With the records from a moment of the device's clock on alone.
    #[must_use]
    pub fn from_on(mut self, from: Local) -> Self {
        let first = self.history.iter().position(|row| row.local.is_some_and(|at| at >= from));
        self.history.drain(..first.unwrap_or(self.history.len()));
        self
    }

    /// For people, in lines of at most 80 cells; `all` leaves no row out.
    pub fn text(&self, all: bool) -> String {
        page::text(self, all)
    }

    /// For machines: one JSON object a line.
    pub fn json(&self) -> String {
        lines::json(self)
    }
}

#[cfg(test)]
mod tests;
