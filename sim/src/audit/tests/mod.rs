//! The auditor against streams of observations: by hand, from the ideal device,
//! and spoilt in one place each.

mod acceptance;
mod bad;
mod bad_calibrations;
mod bad_lock;
mod bad_pack;
mod bad_settings;
mod bad_supplies;
mod bad_trains;
mod bench;
mod calibration;
mod counts;
mod damage;
mod damage_of_supplies;
mod edges;
mod edited_doses;
mod finders;
mod good;
mod hand;
mod ideal_dose;
mod leads;
mod ledger;
mod limits;
mod mid_pulse;
mod open_dose;
mod part_doses;
mod predicted_causes;
mod predictions;
mod random;
mod restarts;
mod rules;
mod same_instant;
mod supplies;
mod toy;
