//! The logic that runs in a small dosing pump's microcontroller.
//!
//! Events come in with their instant, effects go out, and one table of timers
//! says when to call again. The logic owns no clock, no pin and no memory chip;
//! it allocates nothing and has no floating point.
#![no_std]
#![forbid(unsafe_code)]

pub mod book;
pub mod calibration;
pub mod cause;
pub mod civil;
mod codec;
pub mod config;
pub mod controller;
pub mod device;
pub mod display;
pub mod effect;
pub mod entry;
pub mod event;
pub mod ledger;
pub mod limits;
pub mod lock;
pub mod message;
pub mod motor;
mod notice;
#[cfg(feature = "panel")]
pub mod panel;
pub mod power;
pub mod record;
pub mod recovery;
pub mod schedule;
#[cfg(feature = "inbox")]
pub mod shell;
pub mod spread;
pub mod starts;
pub mod stock;
pub mod time;
pub mod timers;
pub mod timetable;
pub mod tube;
pub mod units;
pub mod zone;
