//! The shell: the inbox under threads, drives and contacts over mock pins, and the
//! main loop with all of it; what a clock chip can count.

mod count;
mod inbox;
mod main_loop;
mod pins;
