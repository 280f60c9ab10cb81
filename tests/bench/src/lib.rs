//! Measures dosewright against peers that are built and run beside it.
//!
//! Everybody does the same work ([`work::Work`]) and says at which moments the pump went
//! on and off; what they say is compared before anything is timed.

pub mod cuts;
pub mod engine;
pub mod growth;
pub mod next_due;
pub mod passes;
pub mod peers;
pub mod pieces;
pub mod plot;
pub mod work;
