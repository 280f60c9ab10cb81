//! Many runs with made faults: which there are, what each came to, and what all
//! of them come to together. Who runs them, and on how many threads, is the
//! caller's: the cases are numbered, and a case gives the same run anywhere.

mod tally;

pub use tally::{KindTally, Tally};

use crate::attempt::{self, Attempt};
use crate::judged::Verdict;
use crate::observe::Observer;
use crate::run::{FaultEnd, Options};
use crate::scenario::{self, Scenario};
use crate::swarm::{self, Given, LEAST_DAYS, Shape};

const DAY_MS: u64 = 86_400_000;
/// A Julian year, in ms.
pub const YEAR_MS: u64 = 31_557_600_000;

/// A site that a file gives, and its name.
#[derive(Debug, Clone)]
pub struct Site {
    /// The name of the file.
    pub name: String,
    /// What of it is kept.
    pub given: Given,
}

/// What a soak is made of.
#[derive(Debug, Clone)]
pub struct Plan {
    /// The first seed.
    pub first_seed: u64,
    /// The seed after the last.
    pub end_seed: u64,
    /// The soak is over once the runs come to so many ms of true time.
    pub most_ms: Option<u64>,
    /// Days of a run; `None` for those of the file, or a year where there is none.
    pub days: Option<u32>,
    /// Faults and acts.
    pub shape: Shape,
    /// Sites from files; without one each seed makes its own.
    pub sites: Vec<Site>,
}

/// Days of a run of a made site.
pub const DAYS: u32 = 365;

/// One run of a soak.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Case {
    /// Its number in the whole soak, from 0.
    pub number: u64,
    /// Its seed.
    pub seed: u64,
    /// Which of the sites; `None` for a made one.
    pub site: Option<usize>,
    /// Days of the run.
    pub days: u32,
}

impl Plan {
    /// All runs, in their order.
    pub fn cases(&self) -> impl Iterator<Item = Case> + '_ {
        let of_a_seed = self.sites.len().max(1) as u64;
        let mut ms = 0_u64;
        (self.first_seed..self.end_seed)
            .flat_map(move |seed| (0..of_a_seed).map(move |at| (seed, at)))
            .enumerate()
            .map_while(move |(number, (seed, at))| {
                let site = (!self.sites.is_empty()).then_some(at as usize);
                let own = || site.and_then(|at| self.sites.get(at)).map(|site| site.given.days());
                let days = self.days.or_else(own).unwrap_or(DAYS).max(LEAST_DAYS);
                // to the nearest run: a year of 365.25 days is one run of 365, not two
                let run_ms = u64::from(days) * DAY_MS;
                if number > 0 && self.most_ms.is_some_and(|most| ms + run_ms / 2 >= most) {
                    return None;
                }
                ms += run_ms;
                Some(Case { number: number as u64, seed, site, days })
            })
    }

    /// What the run is called in reports.
    pub fn name(&self, case: &Case) -> String {
        let site = case.site.and_then(|at| self.sites.get(at));
        format!("{}, seed {}", site.map_or("made", |site| &site.name), case.seed)
    }

    /// The scenario of a run.
    pub fn text(&self, case: &Case) -> String {
        let shape = Shape { days: case.days, ..self.shape };
        match case.site.and_then(|at| self.sites.get(at)) {
            Some(site) => site.given.scenario(case.seed, shape),
            None => swarm::scenario(case.seed, shape),
        }
    }
}

/// What one run came to.
#[derive(Debug, Clone)]
pub struct Ran {
    /// Which.
    pub case: Case,
    /// Its name.
    pub name: String,
    /// Its scenario, where somebody will want it: it is not in order.
    pub text: Option<String>,
    /// How it ended.
    pub verdict: Verdict,
    /// The program panicked.
    pub panicked: bool,
    /// True ms that were simulated.
    pub ms: u64,
    /// Scheduled doses: all, dosed, part, skipped, open.
    pub dues: [u64; 5],
    /// Outcomes that memory damage kept from being judged.
    pub unjudged: u64,
    /// Pump starts.
    pub starts: u64,
    /// Acts of operators that the device was on for.
    pub acts: u64,
    /// By the word of the kind: faults asked for, and those that took effect.
    pub faults: Vec<(&'static str, u64, u64)>,
    /// Which faults of the file took no effect, by their place in it.
    pub no_effect: Vec<usize>,
    /// Faults that the maker had put where there was nothing for them to hit, and that
    /// were left out.
    pub left_out: u64,
    /// What failed or took no effect, one line each.
    pub findings: Vec<String>,
}

impl Plan {
    /// Makes a run and runs it.
    pub fn perform(&self, case: &Case, watcher: Option<&mut dyn Observer>) -> Ran {
        let (name, mut text) = (self.name(case), self.text(case));
        let mut ran = perform(case, &name, &text, watcher);
        // what waits for calls of the memory keeps the next one waiting: without it that one
        // comes sooner, and now and then it has nothing to hit in its turn
        for _ in 0..MOST_TRIES {
            let (asked, missed) =
                ran.faults.iter().fold((0, 0), |(all, missed), (_, asked, took)| {
                    (all + asked, missed + asked - took)
                });
            if ran.verdict != Verdict::Invalid || missed == asked {
                break;
            }
            // the maker knows where each kind bites, and only now and then what it put there
            // before stands in its way. What took no effect changed nothing else, so this is
            // the same run without it; a run of which nothing is left stays invalid
            let left_out = ran.left_out + missed;
            text = swarm::without_faults(&text, &ran.no_effect);
            ran = Ran { left_out, ..perform(case, &name, &text, None) };
        }
        ran
    }
}

/// So often what took no effect is left out of a run.
const MOST_TRIES: u32 = 8;

fn perform(case: &Case, name: &str, text: &str, watcher: Option<&mut dyn Observer>) -> Ran {
    let source = crate::diagnose::Source::new(name, text);
    let options = Options { seed: case.seed, ..Options::default() };
    match scenario::read(name, text) {
        Ok((scenario, _)) => {
            let attempt = attempt::attempt(&source, &scenario, &options, watcher);
            ran(*case, name, text, &scenario, attempt)
        }
        Err(problems) => {
            // the maker writes what the reader takes; where not, that is a fault
            let findings = problems.iter().map(|problem| problem.message.clone()).collect();
            Ran {
                text: Some(text.to_owned()),
                verdict: Verdict::Failed,
                findings,
                ..empty(*case, name)
            }
        }
    }
}

fn empty(case: Case, name: &str) -> Ran {
    Ran {
        case,
        name: name.to_owned(),
        text: None,
        verdict: Verdict::Held,
        panicked: false,
        ms: 0,
        dues: [0; 5],
        unjudged: 0,
        starts: 0,
        acts: 0,
        faults: Vec::new(),
        no_effect: Vec::new(),
        left_out: 0,
        findings: Vec::new(),
    }
}

fn ran(case: Case, name: &str, text: &str, scenario: &Scenario, attempt: Attempt) -> Ran {
    let mut out = Ran {
        text: (attempt.verdict > Verdict::Stopped).then(|| text.to_owned()),
        verdict: attempt.verdict,
        panicked: attempt.panicked,
        ..empty(case, name)
    };
    if let Some(judged) = &attempt.judged {
        let dues = &judged.audit.dues;
        out.ms = judged.end.end_ms;
        out.dues = [dues.dues, dues.dosed, dues.part, dues.skipped, dues.open];
        out.unjudged = judged.audit.unjudged;
        out.starts = judged.end.starts;
        out.acts =
            judged.end.acts.iter().filter(|end| **end == crate::run::ActEnd::Taken).count() as u64;
        for (place, (fault, end)) in scenario.faults.iter().zip(&judged.end.faults).enumerate() {
            if *end != FaultEnd::TookEffect {
                out.no_effect.push(place);
            }
            let word = fault.kind.word();
            let at =
                out.faults.iter().position(|(known, ..)| *known == word).unwrap_or_else(|| {
                    out.faults.push((word, 0, 0));
                    out.faults.len() - 1
                });
            if let Some((_, asked, took)) = out.faults.get_mut(at) {
                *asked += 1;
                *took += u64::from(*end == FaultEnd::TookEffect);
            }
        }
    }
    out.findings = attempt.findings;
    out
}
