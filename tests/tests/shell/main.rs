//! The shell: the inbox under threads, drives and contacts over mock pins, and the
//! main loop with all of it.

mod inbox;
mod main_loop;
mod pins;
