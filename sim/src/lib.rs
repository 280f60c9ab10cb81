//! The host simulator of dosewright-core: virtual clock, pump, supply, memory
//! and operator around the real controller, and an independent auditor.

pub mod attempt;
pub mod audit;
pub mod builtin;
pub mod calendar;
pub mod calibrate;
pub mod check;
pub mod diagnose;
pub mod digest;
pub mod expect;
pub mod explore;
pub mod failure;

pub mod forecast;
pub mod image;
pub mod judged;
pub mod lines;
pub mod observe;
pub mod operate;
pub mod plan;
pub mod pulses;
pub mod report;
pub mod run;
pub mod scenario;
pub mod shrink;
pub mod soak;
pub mod swarm;
pub mod sweep;
mod tables;
pub mod trace;
pub mod trade;
pub mod units;
mod words;
pub mod world;
