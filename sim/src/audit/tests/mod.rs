//! The auditor against streams of observations: by hand, from the ideal device,
//! and spoilt in one place each.

mod bad;
mod bad_calibrations;
mod bad_lock;
mod bad_pack;
mod bad_settings;
mod bad_trains;
mod bench;
mod finders;
mod good;
mod hand;
mod predictions;
mod random;
mod toy;
