//! How cost and memory grow. `growth` prints the table and, with a path, draws the
//! picture there; `growth memory YEARS` runs so many years to JSON and a waveform and
//! says what memory that took.

use dosewright_bench::growth::{self, peak_kib};
use dosewright_bench::work::Work;
use dosewright_bench::{engine, plot};

const PASSES: u32 = 3;

fn main() {
    let args: Vec<String> = std::env::args().skip(1).collect();
    if args.first().is_some_and(|arg| arg == "memory") {
        let years = args.get(1).and_then(|years| years.parse().ok()).unwrap_or(1);
        let (tally, bytes) = engine::traced(&Work::years(years).scenario());
        let peak = peak_kib().map_or_else(|| "?".to_owned(), |kib| kib.to_string());
        println!(
            "{years} years: {} edges, {bytes} bytes of traces, {peak} KiB at most",
            tally.edges
        );
        return;
    }
    let points = growth::all(PASSES);
    println!("| what | edges | ms | ns an edge | KiB by then |\n| --- | --- | --- | --- | --- |");
    for point in &points {
        println!(
            "| {} {} | {} | {:.2} | {:.0} | {} |",
            point.value,
            point.of,
            point.edges,
            point.took.as_secs_f64() * 1e3,
            point.ns_an_edge(),
            point.kib.map_or_else(|| "?".to_owned(), |kib| kib.to_string())
        );
    }
    if let Some(path) = args.first()
        && let Err(error) = std::fs::write(path, plot::svg(&points))
    {
        eprintln!("cannot write {path}: {error}");
        std::process::exit(1);
    }
}
