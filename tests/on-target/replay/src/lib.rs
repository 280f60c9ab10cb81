//! A scenario as a compact list of events, and the loop that replays it.
//!
//! The list holds what reaches the device from outside, each with the instant of
//! the device's own clock: settings, keys, contacts, cuts. When to call the logic
//! the replay finds out as a device does, from the logic's timers. The same code
//! runs on a chip and on a host; what differs is the memory, the interrupt that
//! brings a signal, and where the trace goes.
#![no_std]
#![forbid(unsafe_code)]

pub mod list;
pub mod play;
pub mod stage;

use dosewright_core::ledger::Geometry;

/// Entries that the replayed device has room for.
pub const LINES: usize = 16;
/// Deliveries that it keeps account of.
pub const ACCOUNT: usize = 24;
/// Signals that its inbox has room for.
pub const SIGNALS: usize = 8;
/// Bytes of its memory.
pub const MEMORY: usize = 2 * SECTOR as usize;
const SECTOR: u32 = 6 * 1024;
/// Where the ledger lies in that memory.
pub const GEOMETRY: Geometry = Geometry { start: 0, sector_bytes: SECTOR, sectors: 2 };
