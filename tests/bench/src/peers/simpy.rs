//! SimPy, in a Python beside us, where there is one.

use std::io::{BufRead, BufReader, Write};
use std::path::PathBuf;
use std::process::{Child, ChildStdin, ChildStdout, Command, Stdio};
use std::time::Duration;

use crate::work::{Tally, Work};

/// A Python that waits for work.
pub struct Simpy {
    child: Child,
    to: ChildStdin,
    from: BufReader<ChildStdout>,
}

impl Simpy {
    /// Starts the Python that `DOSEWRIGHT_BENCH_PYTHON` names.
    pub fn start() -> Option<Self> {
        let python = std::env::var_os("DOSEWRIGHT_BENCH_PYTHON")?;
        let script = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("peers/simpy_year.py");
        let mut child = Command::new(python)
            .arg(script)
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .ok()?;
        let (to, from) = (child.stdin.take()?, BufReader::new(child.stdout.take()?));
        Some(Self { child, to, from })
    }

    /// Does the work once; what it did, and how long it says that took.
    pub fn run(&mut self, work: &Work) -> (Tally, Duration) {
        let entries: Vec<(u8, u32)> =
            work.entries.iter().map(|entry| (entry.days, entry.at_min * 60)).collect();
        let line = serde_json::json!({
            "entries": entries, "pulses": work.pulses, "spacing_s": work.spacing_s,
            "on_s": work.on_s, "end_s": work.end_s(),
        });
        writeln!(self.to, "{line}").expect("the Python runs");
        let mut answer = String::new();
        self.from.read_line(&mut answer).expect("the Python runs");
        let answer: serde_json::Value = serde_json::from_str(&answer).expect("a line of JSON");
        let figure = |i: usize| answer["tally"][i].as_u64().expect("a whole number");
        let tally = Tally { edges: figure(0), on_sum: figure(1), off_sum: figure(2) };
        (tally, Duration::from_secs_f64(answer["took"].as_f64().expect("seconds")))
    }
}

impl Drop for Simpy {
    fn drop(&mut self) {
        // its input ends with us; where it does not heed that, it is stopped
        _ = self.child.kill();
        _ = self.child.wait();
    }
}
