//! Does one contestant's work so many times: for a profiler. `once bare 20`.

use dosewright_bench::engine;
use dosewright_bench::work::Work;

fn main() {
    let args: Vec<String> = std::env::args().collect();
    let times = args.get(2).and_then(|times| times.parse().ok()).unwrap_or(10);
    let scenario = Work::year().scenario();
    for _ in 0..times {
        match args.get(1).map(String::as_str) {
            Some("bare") => _ = engine::bare(&scenario),
            Some("audited") => _ = engine::audited(&scenario),
            Some("traced") => _ = engine::traced(&scenario),
            _ => {
                eprintln!("usage: once bare|audited|traced [TIMES]");
                std::process::exit(2);
            }
        }
    }
}
