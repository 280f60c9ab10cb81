//! The bodies of the fuzz targets, one for each kind of input that comes from
//! outside. They take any bytes at all and panic where a promise does not hold, so
//! that a fuzzer, a bounded test and an example can drive the same code.

pub mod events;
pub mod image;
pub mod message;
pub mod mutate;
pub mod scenario;
