//! One scenario, run and judged and written down.

use std::io::{self, Write};
use std::path::{Path, PathBuf};
use std::time::Duration as RealTime;

use dosewright_core::time::Duration;
use dosewright_sim::attempt::findings;
use dosewright_sim::diagnose::Source;
use dosewright_sim::diagnose::text::Paint;
use dosewright_sim::judged::{self, Judged, Verdict};
use dosewright_sim::run::{Frame, Options};
use dosewright_sim::scenario::Scenario;
use dosewright_sim::trace::csv::Rows;
use dosewright_sim::trace::json::Lines;
use dosewright_sim::trace::summary::{End, Opening, Summary, became};
use dosewright_sim::trace::timeline::{Style, Timeline};
use dosewright_sim::trace::vcd::{Shape, Wave};
use dosewright_sim::trace::{Names, Sink, page, stamp};
use dosewright_sim::world::WorldError;

use super::BUILD;
use super::args::{Pace, Progress, Traces};
use super::exit::Exit;
use super::files;
use super::junit::Case;
use super::saved::{self, Failed};
use super::terminal::Terminal;
use super::watch::{Watch, interrupted};

/// From this length on, nights that go as the nights before are told in a line.
const FOLD_FROM_MS: u64 = 15 * 86_400_000;

/// How to run a scenario and where to write what.
pub(super) struct Trial<'a> {
    pub(super) terminal: Terminal,
    pub(super) progress: Progress,
    pub(super) pace: Pace,
    pub(super) seed: u64,
    pub(super) until_ms: Option<u64>,
    /// Traces that were asked for by name.
    pub(super) traces: &'a Traces,
    /// Standard output is for a report of all trials.
    pub(super) out_is_reports: bool,
    /// Where all traces go under the stem of a name, where that was asked for.
    pub(super) out: Option<PathBuf>,
    /// Where a failure file goes; `None` where the scenario is one.
    pub(super) failure: Option<PathBuf>,
    pub(super) name: &'a str,
    pub(super) text: &'a str,
    /// Digest of the scenario.
    pub(super) hash: String,
    pub(super) scenario: &'a Scenario,
}

/// What came of a trial.
pub(super) struct Done {
    pub(super) verdict: Verdict,
    pub(super) case: Case,
    /// One line for each thing that failed.
    pub(super) findings: Vec<String>,
}

type Writer = Box<dyn Write>;

/// The traces of one run, as many as were asked for.
struct Writers {
    lines: Vec<Lines<Writer>>,
    rows: Vec<Rows<Writer>>,
    waves: Vec<Wave<Writer>>,
    page: Option<Timeline<Writer>>,
}

/// Gathers what is printed once the verdict is known.
#[derive(Clone, Default)]
struct Held(std::rc::Rc<std::cell::RefCell<Vec<u8>>>);

impl Write for Held {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.0.borrow_mut().extend_from_slice(bytes);
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

impl Trial<'_> {
    /// Runs it. An error has been told already.
    pub(super) fn perform(&self) -> Result<Done, Exit> {
        // of several scenarios each has its own
        files::show_as(self.text);
        let hash = self.hash.as_str();
        let source = Source::new(self.name, self.text);
        let options = Options {
            until: self.until_ms.map(Duration::from_ms),
            seed: self.seed,
            ..Options::default()
        };
        let frame = Frame::of(self.scenario, &options);
        let held = Held::default();
        let mut writers = self.open(frame, &held).map_err(|why| self.cannot(&why))?;
        let opening = End::Run(Opening::new(self.name, self.scenario, hash, BUILD, self.seed));
        for lines in &mut writers.lines {
            lines.put(&opening);
        }
        let mut watch =
            Watch::new(self.name, frame.run_ms, self.pace, self.progress, self.terminal.quiet);
        let result = {
            let mut sinks: Vec<&mut dyn Sink> = Vec::new();
            sinks.extend(writers.lines.iter_mut().map(|sink| sink as &mut dyn Sink));
            sinks.extend(writers.rows.iter_mut().map(|sink| sink as &mut dyn Sink));
            sinks.extend(writers.waves.iter_mut().map(|sink| sink as &mut dyn Sink));
            sinks.extend(writers.page.iter_mut().map(|sink| sink as &mut dyn Sink));
            judged::run(self.scenario, &options, sinks, Some(&mut watch))
        };
        let took = watch.elapsed();
        watch.done();
        let judged = result.map_err(|error| self.no_world(&error))?;
        let findings = findings(&source, &judged);
        if let Some(path) = &self.traces.image {
            files::write_bytes(self.terminal, path, &judged.end.image)
                .map_err(|why| self.cannot(&why))?;
        }
        if judged.verdict == Verdict::Failed {
            self.save_failure(&judged, &findings);
        }
        self.close(writers, &held, &source, &judged, hash, took)
            .map_err(|why| self.cannot(&why))?;
        Ok(Done { verdict: judged.verdict, case: self.case(&source, &judged, &findings), findings })
    }

    fn cannot(&self, why: &str) -> Exit {
        self.terminal.error(why);
        Exit::Usage
    }

    fn no_world(&self, error: &WorldError) -> Exit {
        self.terminal.error(&format!("{}: {error}", self.name));
        match error {
            WorldError::Memory(_) => Exit::Usage,
            WorldError::BusyLoop { .. } => Exit::Internal,
        }
    }

    /// Whether the page is told on standard output.
    fn has_page(&self) -> bool {
        !self.traces.json && !self.terminal.quiet && !self.out_is_taken()
    }

    /// Whether standard output is a trace's or a report's.
    fn out_is_taken(&self) -> bool {
        let traces = [&self.traces.vcd, &self.traces.csv, &self.traces.image];
        self.out_is_reports || traces.into_iter().any(|path| files::is_out(path.as_ref()))
    }

    fn open(&self, frame: Frame, held: &Held) -> Result<Writers, String> {
        if let Some((from, _)) = self.traces.window.filter(|&(from, _)| from >= frame.run_ms) {
            return Err(format!(
                "--window begins {} after the start, and the run is over after {}: there would be nothing in the waveform",
                stamp::about(from),
                stamp::about(frame.run_ms)
            ));
        }
        let create = |path: &Path| files::create(self.terminal, path);
        let stem = |ext: &str| self.out.as_ref().map(|stem| stem.with_added_extension(ext));
        let mut writers =
            Writers { lines: Vec::new(), rows: Vec::new(), waves: Vec::new(), page: None };
        if self.traces.json {
            writers.lines.push(Lines::new(create(Path::new("-"))?));
        }
        if let Some(path) = stem("jsonl") {
            writers.lines.push(Lines::new(create(&path)?));
        }
        for path in self.traces.csv.iter().chain(stem("csv").iter()) {
            writers.rows.push(Rows::new(create(path)?));
        }
        for path in self.traces.vcd.iter().chain(stem("vcd").iter()) {
            let level = self.scenario.container.as_ref().map(|container| container.level);
            let shape = Shape { window: self.traces.window, level };
            let wave = Wave::new(create(path)?, shape)
                .map_err(|error| format!("cannot write {}: {error}", path.display()))?;
            writers.waves.push(wave);
        }
        if self.has_page() {
            let live = self.pace != Pace::Max;
            let out: Writer =
                if live { Box::new(self.terminal.out()) } else { Box::new(held.clone()) };
            let style = Style {
                fold: frame.run_ms >= FOLD_FROM_MS && !self.terminal.verbose,
                all: self.terminal.verbose,
            };
            if live {
                // the verdict comes last where the run is told as it goes
                _ = self.terminal.out().write_all(page::heading(self.scenario).as_bytes());
            }
            writers.page = Some(Timeline::new(out, frame, Names::of(self.scenario), style));
        }
        Ok(writers)
    }

    fn close(
        &self,
        writers: Writers,
        held: &Held,
        source: &Source,
        judged: &Judged,
        hash: &str,
        took: RealTime,
    ) -> Result<(), String> {
        let end_ms = judged.end.end_ms;
        let failed = |error: io::Error| format!("cannot write: {error}");
        for mut lines in writers.lines {
            for line in became(self.scenario, source, judged) {
                lines.put(&line);
            }
            let summary = Summary::new(self.scenario, source, judged, hash, BUILD, self.seed);
            let summary = summary.after(lines.written());
            lines.put(&End::Summary(summary));
            lines.finish().map_err(failed)?;
        }
        for rows in writers.rows {
            rows.finish().map_err(failed)?;
        }
        for wave in writers.waves {
            wave.finish(end_ms).map_err(failed)?;
        }
        let told = writers.page.is_some();
        if let Some(page) = writers.page {
            page.finish().map_err(failed)?;
        }
        if self.traces.json {
            return Ok(());
        }
        let paint = self.terminal.paint_out();
        let mut text = format!("{}\n", verdict_line(self.name, self.scenario, judged, paint));
        text.push_str(&page::findings(self.scenario, source, judged, paint));
        if told {
            if self.pace == Pace::Max {
                text.push_str(&page::heading(self.scenario));
                text.push_str(&String::from_utf8_lossy(&held.0.borrow()));
            }
            text.push_str(&page::totals(judged));
            text.push_str(&speed(end_ms, took, self.seed, hash));
        }
        // where standard output is taken, the verdict is a message
        if self.out_is_taken() {
            self.terminal.message(&text);
            return Ok(());
        }
        let mut out = self.terminal.out();
        out.write_all(text.as_bytes()).and_then(|()| out.flush()).map_err(failed)
    }

    /// The command that makes this run once more.
    fn again(&self) -> String {
        // what came by standard input has to come so again
        let file = if self.name == files::STANDARD_INPUT { "-" } else { self.name };
        let file = files::for_shell(Path::new(file));
        let until = self.until_ms.map_or_else(String::new, |ms| format!(" --until '{ms} ms'"));
        format!("dosewright run {file} --seed {}{until}", self.seed)
    }

    fn save_failure(&self, judged: &Judged, findings: &[String]) {
        let Some(path) = &self.failure else { return };
        let whole = judged.end.end_ms >= self.scenario.clock.run_for.as_ms();
        let failed = Failed {
            name: self.name,
            seed: self.seed,
            until_ms: (!whole).then_some(judged.end.end_ms),
            text: self.text,
            findings,
            otherwise: &self.again(),
        };
        self.terminal.message(&saved::save(self.terminal, path, &failed));
    }

    fn case(&self, source: &Source, judged: &Judged, findings: &[String]) -> Case {
        let text = || {
            let first = findings.first().cloned().unwrap_or_default();
            format!("{first}\n{}", page::findings(self.scenario, source, judged, Paint::Plain))
        };
        match judged.verdict {
            Verdict::Held => Case::Passed,
            Verdict::Failed => Case::Failed(text()),
            Verdict::Invalid => Case::Error(text()),
            Verdict::Stopped if interrupted() => Case::Skipped("interrupted".to_owned()),
            Verdict::Stopped => Case::Skipped("stopped before its end".to_owned()),
        }
    }
}

fn verdict_line(name: &str, scenario: &Scenario, judged: &Judged, paint: Paint) -> String {
    use anstyle::AnsiColor;
    let sentence = page::verdict(name, scenario, judged);
    let lines = page::wrapped(&sentence);
    let colour = match judged.verdict {
        Verdict::Held => AnsiColor::Green,
        Verdict::Stopped => AnsiColor::Yellow,
        Verdict::Invalid | Verdict::Failed => AnsiColor::Red,
    };
    match paint {
        Paint::Plain => lines,
        Paint::Colour => {
            let style = colour.on_default().bold();
            let word = page::word(judged.verdict);
            lines.replacen(word, &format!("{style}{word}{style:#}"), 1)
        }
    }
}

/// Simulated against real time; the only line of a page that differs from run to run.
fn speed(end_ms: u64, took: RealTime, seed: u64, hash: &str) -> String {
    let seconds = took.as_secs_f64().max(1e-6);
    let times = end_ms as f64 / 1000.0 / seconds;
    let took = if seconds < 1.0 {
        format!("{:.1} ms", seconds * 1000.0)
    } else {
        format!("{seconds:.1} s")
    };
    let times = match times {
        1e9.. => format!("{:.1} thousand million", times / 1e9),
        1e6.. => format!("{:.0} million", times / 1e6),
        1e4.. => format!("{:.0} thousand", times / 1e3),
        10.0.. => format!("{times:.0}"),
        _ => format!("{times:.1}"),
    };
    format!(
        "\nsimulated {} in {took}, {times} times real time\nseed {seed}, scenario {hash}, build {BUILD}\n",
        stamp::about(end_ms)
    )
}
