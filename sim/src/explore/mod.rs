//! Explorations: everything of a kind that can happen, one after the other,
//! instead of what chance brings.

pub mod cuts;
pub mod states;
