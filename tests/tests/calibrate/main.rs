//! Calibrate, from the published arithmetic to a month of doses (O2 to O4).

mod arithmetic;
mod device;
mod month;
mod rig;
mod two_point;
mod world;
