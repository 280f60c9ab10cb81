//! The same work done by others.

#[cfg(feature = "peers")]
pub mod nexosim;
#[cfg(feature = "peers")]
pub mod next_due;
pub mod polled;
pub mod scan;
pub mod simpy;
pub mod ticking;
