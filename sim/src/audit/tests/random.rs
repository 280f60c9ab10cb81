//! Random supplies, clocks, stops and edits: what the ideal device does the
//! auditor takes, whatever comes together.

use dosewright_core::civil::Local;
use dosewright_core::entry::{Entry, EntryId};
use dosewright_core::units::Volume;
use rand_pcg::rand_core::{RngCore, SeedableRng};

use super::bench::{
    CET, Ev, HOUR, MIN, Stream, every, facts, head, ideal_stream, install, list, local, set_table,
    table, weekly,
};
use crate::audit::AuditReport;
use crate::observe::DeviceAct;

struct Dice(rand_pcg::Pcg64);

impl Dice {
    fn below(&mut self, limit: i64) -> i64 {
        (self.0.next_u64() % limit as u64) as i64
    }

    fn one_in(&mut self, n: i64) -> bool {
        self.below(n) == 0
    }
}

fn entries(dice: &mut Dice) -> Vec<Entry> {
    let mut night = weekly(1, (dice.below(127) + 1) as u8, (dice.below(40) * 15) as u16);
    night.grace_ms = (dice.below(4) * 30 * MIN) as u32;
    let mut other = every(2, (2 + dice.below(10)) * HOUR, dice.below(600) * MIN);
    other.grace_ms = (dice.below(3) * 20 * MIN) as u32;
    let mut third = weekly(3, (dice.below(127) + 1) as u8, 12 * 60 + (dice.below(40) * 15) as u16);
    third.volume = Volume::from_ml(30 + dice.below(60) as u64);
    third.pulses = Some(10);
    vec![night, other, third]
}

/// A week of a device in trouble.
fn scene(seed: u64) -> (Stream, u64) {
    let mut dice = Dice(rand_pcg::Pcg64::seed_from_u64(seed));
    let mut now_in_force = entries(&mut dice);
    let mut stream = install(head(), CET, "2026-10-22 09:00", table(&now_in_force));
    let end = 7 * 24 * HOUR;
    let (mut at, mut on, mut stopped) = (0, true, false);
    let base = local("2026-10-22 09:00").as_ms();
    loop {
        at += if dice.one_in(3) { dice.below(20 * MIN) } else { dice.below(14 * HOUR) } + 2;
        if at >= end {
            break;
        }
        let ms = at as u64;
        if !on {
            on = true;
            stream.push((ms, Ev::Supply(true)));
            if dice.one_in(3) {
                stream.push((ms, Ev::Chip(0, 0, false)));
            }
            stopped = false;
            continue;
        }
        match dice.below(9) {
            0 | 1 => {
                on = false;
                stream.push((ms, Ev::Supply(false)));
            }
            2 => stream.push((ms, Ev::Reset)),
            3 => {
                let by = dice.below(72) * 10 * MIN - 360 * MIN;
                let to = Local::from_ms((base + at + by) / MIN * MIN);
                stream.push((ms, Ev::Act(DeviceAct::SetClock(to))));
            }
            4 | 5 => {
                stopped = !stopped;
                stream.push((ms, Ev::Act(DeviceAct::RemoteStop(stopped))));
            }
            6 => {
                let fresh = entries(&mut dice);
                let line = dice.below(3) as usize;
                now_in_force[line] = fresh[line];
                stream.push((ms, Ev::Act(set_table(&now_in_force))));
            }
            7 => {
                let id = EntryId(1 + dice.below(3) as u16);
                stream.push((ms, Ev::Act(DeviceAct::RunAgain(id))));
            }
            _ => {
                let volume = Volume::from_ml(1 + dice.below(100) as u64);
                stream.push((ms, Ev::Act(DeviceAct::Prime(volume))));
            }
        }
    }
    (stream, end as u64)
}

/// Overlaps that ought to be refused are not what is looked for here.
fn other_than_acceptance(report: &AuditReport) -> Vec<crate::audit::Violation> {
    let accepted = |what: &str| what.contains("accepted, and");
    report.violations.iter().filter(|v| !accepted(&v.what)).cloned().collect()
}

#[test]
fn random_weeks_of_the_ideal_device_hold() {
    let (mut dosed, mut part, mut skipped) = (0, 0, 0);
    for seed in 0..400 {
        let (inputs, end) = scene(seed);
        let stream = ideal_stream(&inputs, end);
        let report = super::bench::audit_with(facts(), &stream, end);
        let found = other_than_acceptance(&report);
        assert!(found.is_empty(), "seed {seed}:\n{}", list(&found));
        dosed += report.dues.dosed;
        part += report.dues.part;
        skipped += report.dues.skipped;
    }
    assert!(dosed > 1000 && part > 100 && skipped > 1000, "{dosed} {part} {skipped}");
}
