//! The arithmetic of the trade: what a technician or an integrator works out by
//! hand. Plain functions of numbers, in floating point, for the host alone; the
//! controller's own reckoning is in integers and is not this.
//!
//! A parameter without a trustworthy source is an argument, and what is said
//! with it is said to be a model. Check values are in `tests/tests/check_values`.

pub mod battery;
pub mod cells;
pub mod crystal;
pub mod discharge;
pub mod evenness;
pub mod hydraulics;
pub mod keep_clear;
pub mod product;
pub mod repeats;
pub mod restate;
pub mod rotor;
pub mod run_length;
pub mod separator;
pub mod siphon;
pub mod stock;
pub mod suction;
pub mod tube_set;
pub mod turndown;
pub mod two_point;
pub mod uncertainty;
pub mod vessel;
pub mod visit;
pub mod water;
