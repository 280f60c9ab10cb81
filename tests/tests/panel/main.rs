//! The front panel: what it shows, what it asks for, and what it never does.

mod ahead;
mod alarms;
mod answers;
mod entries;
mod figures;
mod forged;
mod history;
mod measured;
mod properties;
mod proposed;
mod refused;
mod rig;
mod safety;
mod screens;
mod set_up;
mod stopped;
mod touch;
mod wheels;
mod world;
