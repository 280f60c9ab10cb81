//! How many cut runs a second the exploration makes on one core.

use std::time::{Duration, Instant};

use cpu_time::ProcessTime;

use dosewright_sim::explore::cuts::{self, Plan, Watch};

/// Explores for a while on one core, with words of so many bytes; runs, and how long
/// the processor was at it, which is what the core would take by itself.
pub fn explore(word: usize, least: Duration) -> (u64, Duration) {
    let plan = Plan { depth: 2, word, threads: 1, merge_first: false };
    let watch = Watch::default();
    let (began, spent) = (Instant::now(), ProcessTime::now());
    let report = std::thread::scope(|scope| {
        let explorer = scope.spawn(|| cuts::explore(plan, &watch));
        while began.elapsed() < least && !explorer.is_finished() {
            std::thread::sleep(Duration::from_millis(5));
        }
        watch.stop();
        explorer.join().expect("it does not panic")
    });
    assert!(report.failure.is_none(), "{report:?}");
    (report.counts.runs(), spent.elapsed())
}
