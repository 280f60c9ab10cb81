//! Spoilt streams: every check is seen to fail on what it is for.

mod busy_hour;
mod clock;
mod limits;
mod order;
mod outcomes;
mod pulses;
mod stops;

use super::bench::{Ev, HOUR, Stream, head, nights};

const END: u64 = 12 * HOUR as u64;

fn night() -> Stream {
    with_inputs(&[], END)
}

fn with_inputs(inputs: &[(i64, Ev)], end: u64) -> Stream {
    nights(head(), inputs, end)
}
