//! The host's side of the comparison with the chip: scenarios compiled to lists of
//! events, and the same replay over the simulator's own flash.

pub mod compile;
pub mod replay;
