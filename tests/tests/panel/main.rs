//! The front panel: what it shows, what it asks for, and what it never does.

mod forged;
mod properties;
mod proposed;
mod rig;
mod safety;
mod screens;
mod touch;
mod wheels;
mod world;
