//! dosewright's own part: the whole controller with its ledger in its world.

use std::io::{self, Write};

use dosewright_sim::audit::{Auditor, Facts};
use dosewright_sim::judged::{self, Verdict};
use dosewright_sim::observe::{Observation, Observer};
use dosewright_sim::run::{self, Frame, Options, RunEnd};
use dosewright_sim::scenario::Scenario;
use dosewright_sim::trace::json::Lines;
use dosewright_sim::trace::vcd::{Shape, Wave};

use crate::work::Tally;

/// Counts the pump's edges, and shows everything to a judge where there is one.
struct Watch<'a> {
    tally: Tally,
    judge: Option<&'a mut Auditor>,
}

impl Observer for Watch<'_> {
    #[inline]
    fn see(&mut self, at_ms: u64, what: &Observation<'_>) {
        if let Observation::Pump { on } = what {
            assert!(at_ms.is_multiple_of(1000), "the pump changed at {at_ms} ms");
            self.tally.edge(*on, at_ms / 1000);
        }
        if let Some(judge) = &mut self.judge {
            judge.see(at_ms, what);
        }
    }
}

/// (a) The whole controller with ledger and world, no trace.
pub fn bare(scenario: &Scenario) -> (Tally, RunEnd) {
    let mut watch = Watch { tally: Tally::default(), judge: None };
    let end = run::run(scenario, &Options::default(), &mut watch).expect("a sound world");
    (watch.tally, end)
}

/// (b) The same, judged by the auditor.
pub fn audited(scenario: &Scenario) -> Tally {
    let options = Options::default();
    let frame = Frame::of(scenario, &options);
    let memory = &scenario.memory;
    let geometry = dosewright_core::ledger::Geometry {
        start: 0,
        sector_bytes: memory.sector_bytes,
        sectors: u16::try_from(memory.sectors).expect("few sectors"),
    };
    let mut auditor = Auditor::new(Facts::new(frame.start_utc_ms, geometry));
    let mut watch = Watch { tally: Tally::default(), judge: Some(&mut auditor) };
    let end = run::run(scenario, &options, &mut watch).expect("a sound world");
    let tally = watch.tally;
    let report = auditor.finish(end.end_ms);
    assert!(report.held(), "{report:?}");
    tally
}

/// (c) The same with the run's figures, JSON lines and a waveform written out; how
/// many bytes of them.
pub fn traced(scenario: &Scenario) -> (Tally, u64) {
    let (mut lines_bytes, mut wave_bytes) = (Count(0), Count(0));
    let mut watch = Watch { tally: Tally::default(), judge: None };
    let mut lines = Lines::new(io::BufWriter::new(&mut lines_bytes));
    let mut wave = Wave::new(io::BufWriter::new(&mut wave_bytes), Shape::default())
        .expect("the counter takes everything");
    let judged =
        judged::run(scenario, &Options::default(), vec![&mut lines, &mut wave], Some(&mut watch))
            .expect("a sound world");
    assert_eq!(judged.verdict, Verdict::Held, "{:?}", judged.audit);
    lines.finish().expect("the counter takes everything");
    wave.finish(judged.end.end_ms).expect("the counter takes everything");
    (watch.tally, lines_bytes.0 + wave_bytes.0)
}

/// Counts what is written and drops it.
struct Count(u64);

impl Write for &mut Count {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.0 += bytes.len() as u64;
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}
