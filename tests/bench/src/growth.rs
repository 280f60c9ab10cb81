//! How cost grows with the work: entries, pulses, years.

use std::time::Duration;

use cpu_time::ProcessTime;

use crate::engine;
use crate::passes::{self, Contestant};
use crate::work::Work;

/// One figure: what was varied, its value, pump edges, the time of all of them, and memory.
pub struct Point {
    pub of: &'static str,
    pub value: u64,
    pub edges: u64,
    pub took: Duration,
    /// The most memory of the process by then, in KiB.
    pub kib: Option<u64>,
}

impl Point {
    /// Nanoseconds an edge.
    pub fn ns_an_edge(&self) -> f64 {
        self.took.as_secs_f64() * 1e9 / self.edges as f64
    }
}

/// The controller in its world, without a trace, over entries, pulses and years. It is
/// seconds of computing that are counted, since others may have the machine meanwhile.
pub fn all(passes: u32) -> Vec<Point> {
    let mut points = Vec::new();
    let entries = [8, 16, 32, 64].map(|n| (n as u64, Work::with_entries(n)));
    points.extend(timed("entries", &entries, passes));
    let pulses = [1, 10, 100, 1000].map(|n| (u64::from(n), Work::with_pulses(n)));
    points.extend(timed("pulses", &pulses, passes));
    // many years take long enough to be timed once
    let years = [1, 10, 100, 1000].map(|years| (years, Work::years(years)));
    let (short, long) = years.split_at(2);
    points.extend(timed("years", short, passes));
    points.extend(timed("years", long, 1));
    points
}

fn timed(of: &'static str, works: &[(u64, Work)], passes: u32) -> Vec<Point> {
    let scenarios: Vec<_> = works.iter().map(|(_, work)| work.scenario()).collect();
    let contestants = works
        .iter()
        .zip(&scenarios)
        .map(|((_, work), scenario)| {
            let edges = work.edges();
            Contestant::timed(of, move || {
                let began = ProcessTime::now();
                assert_eq!(engine::bare(scenario).0.edges, edges);
                Some(began.elapsed())
            })
        })
        .collect();
    let times = passes::best(contestants, passes);
    let kib = peak_kib();
    let point = |((value, work), (_, took)): (&(u64, Work), (&str, Duration))| Point {
        of,
        value: *value,
        edges: work.edges(),
        took,
        kib,
    };
    works.iter().zip(times).map(point).collect()
}

/// The most memory that this process has had so far, in KiB.
pub fn peak_kib() -> Option<u64> {
    let status = std::fs::read_to_string("/proc/self/status").ok()?;
    let line = status.lines().find(|line| line.starts_with("VmHWM:"))?;
    line.split_whitespace().nth(1)?.parse().ok()
}
