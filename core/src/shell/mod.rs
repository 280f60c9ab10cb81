//! The shell: what joins the logic to a board.
//!
//! Interrupt handlers post into an [`Inbox`]; [`MainLoop`] takes out of it, calls
//! the logic when its timers say so, and sleeps in between. A board is what
//! implements [`Board`], most easily by [`Parts`]. Nothing of the logic knows of
//! the shell.

mod board;
#[cfg(feature = "hal")]
pub mod contacts;
#[cfg(feature = "hal")]
pub mod drives;
mod inbox;
mod main_loop;
mod parts;

pub use board::{Board, Levels, Signal};
pub use inbox::{Inbox, Taken};
pub use main_loop::MainLoop;
pub use parts::{Clock, Drive, Inputs, OneShot, Parts, Report};
