//! Runs everybody and prints the table, or with `--json` one line of JSON.

use std::time::Duration;

use dosewright_bench::next_due::{self, Answer, Question};
use dosewright_bench::passes::{self, Contestant};
use dosewright_bench::peers::simpy::Simpy;
use dosewright_bench::peers::{nexosim, polled, scan, ticking};
use dosewright_bench::work::{EDGES_A_YEAR, Tally, Work};
use dosewright_bench::{cuts, engine};

/// Turns of each contestant.
const PASSES: u32 = 7;
/// Zone of the questions that know summer time.
const CET: &str = "CET-1CEST,M3.5.0,M10.5.0/3";
/// How long cuts are explored in each pass.
const EXPLORE: Duration = Duration::from_millis(1500);
const CUT_PASSES: u32 = 3;

fn main() {
    let as_json = std::env::args().any(|arg| arg == "--json");
    let year = year();
    let dues = dues();
    let cuts = [1, 4, 8].map(|word| (word, runs_a_second(word)));
    if as_json {
        println!("{}", json(&year, &dues, &cuts));
    } else {
        print!("{}", table(&year, &dues, &cuts));
    }
}

type Times = Vec<(&'static str, Duration)>;

const BARE: &str = "dosewright: controller, ledger, world";
const AUDITED: &str = "dosewright: with the auditor";
const TRACED: &str = "dosewright: with JSON and VCD out";
const NEXOSIM: &str = "nexosim, one thread";
const SIMPY: &str = "SimPy";
const POLLED: &str = "minimal polled loop, no ledger";
const OURS: &str = "dosewright, UTC";
const OURS_CET: &str = "dosewright, with summer time";
const CRONER: &str = "croner, UTC";
const CRON: &str = "cron, UTC";
const JIFF: &str = "by hand on jiff, UTC";
const JIFF_CET: &str = "by hand on jiff, with summer time";

/// The year: everybody's time for it, once all have said the same.
fn year() -> Times {
    let work = Work::year();
    let scenario = work.scenario();
    let expected = scan::run(&work);
    assert_eq!(expected.edges, EDGES_A_YEAR);
    let same = |name: &str, tally: Tally| assert_eq!(tally, expected, "{name} did something else");
    let mut simpy = Simpy::start();
    if simpy.is_none() {
        eprintln!("SimPy is left out: there is no Python with it (see tests/bench/run)");
    }
    let mut all = vec![
        Contestant::new("inlined scan of the week", || same("scan", scan::run(&work))),
        Contestant::new(POLLED, || same(POLLED, polled::run(&work))),
        Contestant::new(BARE, || same(BARE, engine::bare(&scenario).0)),
        Contestant::new(AUDITED, || same(AUDITED, engine::audited(&scenario))),
        Contestant::new(TRACED, || same(TRACED, engine::traced(&scenario).0)),
        Contestant::new(NEXOSIM, || same(NEXOSIM, nexosim::run(&work))),
        Contestant::new("loop that ticks once a second", || same("ticking", ticking::run(&work))),
    ];
    if let Some(simpy) = &mut simpy {
        all.push(Contestant::timed(SIMPY, || {
            let (tally, took) = simpy.run(&work);
            same(SIMPY, tally);
            Some(took)
        }));
    }
    passes::best(all, PASSES)
}

/// Next due: everybody's time for one answer, once all have said the same.
fn dues() -> Times {
    let question = Question::default();
    let (ours, ours_cet) = (question.ours("UTC0"), question.ours(CET));
    let (croner, cron) = (question.croner(), question.cron());
    let (jiff, jiff_cet) = (question.jiff("UTC0"), question.jiff(CET));
    for at in next_due::instants() {
        let answers = [ours(at), croner(at), cron(at), jiff(at)];
        assert_eq!(answers, [ours(at); 4], "asked at {at}");
        assert_eq!(ours_cet(at), jiff_cet(at), "asked at {at}");
    }
    let all: [(&'static str, &Answer<'_>); 6] = [
        (OURS, &ours),
        (OURS_CET, &ours_cet),
        (JIFF, &jiff),
        (JIFF_CET, &jiff_cet),
        (CRON, &cron),
        (CRONER, &croner),
    ];
    let contestants = all
        .into_iter()
        .map(|(name, answer)| {
            Contestant::new(name, move || _ = std::hint::black_box(next_due::sum(answer)))
        })
        .collect();
    let times = passes::best(contestants, PASSES);
    times.into_iter().map(|(name, took)| (name, took / next_due::queries())).collect()
}

fn runs_a_second(word: usize) -> u64 {
    let one = || {
        let (runs, took) = cuts::explore(word, EXPLORE);
        (runs as f64 / took.as_secs_f64()) as u64
    };
    (0..CUT_PASSES).map(|_| one()).max().unwrap_or(0)
}

fn of(times: &Times, name: &str) -> Option<f64> {
    times.iter().find(|(known, _)| *known == name).map(|(_, took)| took.as_secs_f64())
}

/// What is compared: who with whom, how often faster.
fn ratios(year: &Times, dues: &Times) -> Vec<(String, f64)> {
    let pairs = [
        (year, BARE, NEXOSIM),
        (year, BARE, SIMPY),
        (year, BARE, POLLED),
        (year, AUDITED, NEXOSIM),
        (year, AUDITED, SIMPY),
        (year, TRACED, NEXOSIM),
        (dues, OURS, CRONER),
        (dues, OURS, CRON),
        (dues, OURS, JIFF),
        (dues, OURS_CET, JIFF_CET),
    ];
    pairs
        .into_iter()
        .filter_map(|(times, who, whom)| {
            Some((format!("{who} : {whom}"), of(times, whom)? / of(times, who)?))
        })
        .collect()
}

fn table(year: &Times, dues: &Times, cuts: &[(usize, u64)]) -> String {
    use std::fmt::Write as _;
    let mut out = format!(
        "One year of 16 weekly entries, {EDGES_A_YEAR} pump edges; shortest of {PASSES} turns.\n\n\
         {:<40} {:>10} {:>10} {:>12}\n",
        "", "ms", "ns/edge", "years/s"
    );
    for (name, took) in year {
        let s = took.as_secs_f64();
        let edge = s * 1e9 / EDGES_A_YEAR as f64;
        _ = writeln!(out, "{name:<40} {:>10.2} {edge:>10.1} {:>12.1}", s * 1e3, 1.0 / s);
    }
    _ = write!(
        out,
        "\nNext due over {} weekly entries.\n\n{:<40} {:>10}\n",
        next_due::ENTRIES,
        "",
        "ns"
    );
    for (name, took) in dues {
        _ = writeln!(out, "{name:<40} {:>10.0}", took.as_secs_f64() * 1e9);
    }
    _ = write!(out, "\nCut runs a second of the processor, two deep, one core.\n\n");
    for (word, rate) in cuts {
        _ = writeln!(out, "{:<40} {rate:>10}", format!("words of {word} bytes"));
    }
    _ = write!(out, "\nHow often faster.\n\n");
    for (pair, ratio) in ratios(year, dues) {
        _ = writeln!(out, "{pair:<70} {ratio:>8.2}");
    }
    out
}

fn json(year: &Times, dues: &Times, cuts: &[(usize, u64)]) -> serde_json::Value {
    let seconds = |times: &Times| -> serde_json::Map<String, serde_json::Value> {
        times.iter().map(|(name, took)| ((*name).to_owned(), took.as_secs_f64().into())).collect()
    };
    let ratios: serde_json::Map<String, serde_json::Value> =
        ratios(year, dues).into_iter().map(|(pair, ratio)| (pair, ratio.into())).collect();
    let cuts: serde_json::Map<String, serde_json::Value> =
        cuts.iter().map(|(word, rate)| (format!("words of {word}"), (*rate).into())).collect();
    serde_json::json!({
        "edges": EDGES_A_YEAR, "year_s": seconds(year), "next_due_s": seconds(dues),
        "cut_runs_per_s": cuts, "times_faster": ratios,
    })
}
