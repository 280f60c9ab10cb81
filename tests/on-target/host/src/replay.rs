//! The replay on the host.

use std::cell::RefCell;

use dosewright_core::ledger::{Class, Slot};
use dosewright_core::record::Record;
use dosewright_core::shell::{Inbox, Signal};
use dosewright_replay::list::Reader;
use dosewright_replay::play::{Ended, Kept, play};
use dosewright_replay::stage::Interrupt;
use dosewright_replay::{MEMORY, SIGNALS, stage};
use dosewright_sim::world::flash::NorMock;

use crate::compile::Compiled;

/// An interrupt that needs none: the host has one thread.
struct Direct<'a>(&'a Inbox<Signal, SIGNALS>);

impl Interrupt for Direct<'_> {
    fn raise(&mut self, signal: Signal) {
        self.0.post(signal);
    }
}

/// Replays a list and gives the trace, or what went wrong.
///
/// # Errors
///
/// In words, where the list or the device failed; with the trace so far.
pub fn replay(list: &[u8]) -> Result<String, String> {
    let mut trace = String::new();
    let Some(reader) = Reader::new(list) else { return Err("this is no list of events".into()) };
    let mut kept = Kept::first(&reader);
    let mut flash = NorMock::<4, 1024>::new(MEMORY / 1024);
    loop {
        let inbox = Inbox::new();
        let ended = {
            let sink = RefCell::new(&mut trace);
            let (back, ended) = play(flash, reader.clone(), kept, &inbox, Direct(&inbox), &sink);
            flash = back;
            ended
        };
        match ended {
            Ended::Over => break,
            Ended::Restart(next) => kept = next,
            Ended::Failed => return Err(format!("the replay failed\n{trace}")),
        }
    }
    trace += &stage::memory_line(flash.bytes()).to_string();
    Ok(trace)
}

/// What a trace says that differs from the simulator's run, if anything: the
/// records written and the edges of the pump must be the same.
pub fn compare(trace: &str, compiled: &Compiled) -> Option<String> {
    let mut records = compiled.records.iter();
    let mut edges = compiled.edges.iter();
    for line in trace.lines() {
        let words: Vec<&str> = line.split(' ').collect();
        let edge = match words.as_slice() {
            ["write", _, hex] => {
                if let Some(Slot::Good { class: Class::Record, payload, .. }) = slot(hex) {
                    let record = Record::decode(&payload);
                    let wanted = records.next().copied();
                    if record != wanted {
                        return Some(format!("{line}\nis {record:?},\nnot {wanted:?}"));
                    }
                }
                continue;
            }
            [at, "pin", on, ..] => (at.trim_end_matches(',').parse().ok(), on.starts_with("on")),
            _ => continue,
        };
        let wanted = edges.next().map(|&(at, on)| (Some(at), on));
        if wanted != Some(edge) {
            return Some(format!("{line}: the simulated pump has {wanted:?}"));
        }
    }
    let (records, edges) = (records.count(), edges.count());
    (records + edges > 0)
        .then(|| format!("{records} records and {edges} edges of the pump are missing"))
}

fn slot(hex: &str) -> Option<Slot> {
    let bytes: Option<Vec<u8>> = (0..hex.len() / 2)
        .map(|at| u8::from_str_radix(hex.get(2 * at..2 * at + 2)?, 16).ok())
        .collect();
    Some(Slot::decode(&<[u8; 64]>::try_from(bytes?.as_slice()).ok()?))
}
