//! Does each counted piece [`TIMES`] times, for a tool that counts instructions.

use dosewright_bench::next_due::Question;
use dosewright_bench::pieces::{
    Store, TIMES, measured_appends, measured_idle_wake, measured_next_due, measured_pulse_edges,
    payload,
};
use dosewright_core::time::Duration;

fn main() {
    let question = Question::default();
    let answer = question.ours("CET-1CEST,M3.5.0,M10.5.0/3");
    std::hint::black_box(measured_next_due(&answer));

    // ten days and some minutes: in the middle of a dose
    let mut device = Store::after(240, 10).boot();
    measured_pulse_edges(&mut device);

    // between two doses
    let mut device = Store::after(240, 80).boot();
    let now = device.now().plus(Duration::from_ms(1));
    measured_idle_wake(&mut device, now);

    // right after a change of sector there is room for all of them
    let mut device = Store::after(0, 1).boot();
    assert!(u32::from(device.ledger().free()) > TIMES, "the sector is too small");
    measured_appends(&mut device, &payload());

    Store::fullest(120).boots();
}
