//! What a page tells of a run: gathered while it goes, or read back from its lines.
//! Either way gives the same facts, and so the same page.

use dosewright_core::civil::Local;
use dosewright_core::record::Alarm;
use dosewright_core::zone::Zone;
use serde_json::Value;

use super::visits::Visit;
use crate::judged::Verdict;
use crate::run::Frame;
use crate::trace::{Event, Lost, Mover, Outcome, Settings, Sink, Stamped, Wait, waited};

/// Pulses of one dose that are kept.
const MOST_PULSES: usize = 512;
/// Outcomes looked at for the close-up: of the whole doses among them, the first of
/// the most pulses.
const LOOKED_AT: usize = 200;
/// Changes of supply, settings of the clock and alarms that are kept, of each.
const MOST_NOTES: usize = 10_000;

/// What became of a dose, or of a row of skipped ones.
#[derive(Clone, Debug, PartialEq)]
pub struct Dose {
    /// The entry's name.
    pub entry: String,
    /// Device local time of the due; `None` while the clock was unset.
    pub due: Option<Stamped>,
    /// True ms of its instant; `None` in lines of a build that did not say it.
    pub due_ms: Option<i64>,
    /// Its instant by the device's elapsed time; `None` likewise.
    pub due_elapsed_ms: Option<i64>,
    /// The revision of its entry when it was born.
    pub revision: u16,
    /// How it ended.
    pub fate: Fate,
    /// Why it is not dosed.
    pub cause: Option<String>,
    /// Doses that it stands for.
    pub count: u32,
    /// As `due`, of the last of them.
    pub last_due: Option<Stamped>,
    /// The least delivered, by the ledger.
    pub least_ul: u64,
    /// The most delivered, by the ledger.
    pub most_ul: u64,
    /// True local time of the first pulse.
    pub started: Option<Stamped>,
    /// True local time of the last pulse's end.
    pub ended: Option<Stamped>,
    /// An operator asked for it.
    pub asked: bool,
    /// How long it waited, and for what.
    pub wait: Option<String>,
    /// Restarts while it was open.
    pub restarts: u64,
}

/// How a dose ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Fate {
    /// The pump ran for all of it.
    Dosed,
    /// The pump ran for some of it.
    Part,
    /// The pump did not run for it.
    Skipped,
    /// It had no outcome at the end.
    Open,
}

impl Fate {
    /// All of them.
    pub const ALL: [Self; 4] = [Self::Dosed, Self::Part, Self::Skipped, Self::Open];

    /// Its word, as in the lines.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Dosed => "dosed",
            Self::Part => "part",
            Self::Skipped => "skipped",
            Self::Open => "open",
        }
    }

    /// Of its word.
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|fate| fate.word() == word)
    }
}

impl Dose {
    fn of(outcome: &Outcome) -> Self {
        let folded = outcome.count > 1;
        Self {
            entry: outcome.name.clone(),
            due: outcome.due,
            due_ms: Some(outcome.due_ms),
            due_elapsed_ms: Some(outcome.due_at.as_ms()),
            revision: outcome.key.revision,
            fate: match outcome.fate {
                crate::trace::Fate::Dosed => Fate::Dosed,
                crate::trace::Fate::Part(_) => Fate::Part,
                crate::trace::Fate::Skipped(_) => Fate::Skipped,
                crate::trace::Fate::Open(_) => Fate::Open,
            },
            cause: outcome.fate.cause().map(|cause| cause.words().to_owned()),
            count: outcome.count,
            last_due: outcome.last_due.filter(|_| folded),
            least_ul: outcome.least.as_ul(),
            most_ul: outcome.most.as_ul(),
            started: outcome.started,
            ended: outcome.ended,
            asked: outcome.asked,
            wait: outcome.wait.map(Wait::words),
            restarts: u64::from(outcome.restarts),
        }
    }

    /// When it is put on a page: its due, in true time where the device's clock was unset;
    /// else its first pulse.
    pub fn at(&self, frame: &Frame) -> Option<Stamped> {
        let in_truth = || Some(Stamped::of(frame, u64::try_from(self.due_ms?).ok()?));
        self.due.or_else(in_truth).or(self.started)
    }
}

/// The pulses of one dose, as the pump's pin showed them.
#[derive(Clone, Debug, PartialEq)]
pub struct Seen {
    /// The entry's name.
    pub entry: String,
    /// When it was due.
    pub due: Option<Stamped>,
    /// From the first pulse's start, in ms: start and length.
    pub pulses: Vec<(u64, u64)>,
}

/// What the last line of a run says.
#[derive(Clone, Debug, PartialEq, Default)]
pub struct Totals {
    /// What it came to; none until the last line has said so.
    pub verdict: Option<Verdict>,
    /// Scheduled doses.
    pub dues: u64,
    /// Of them: dosed.
    pub dosed: u64,
    /// Of them: part.
    pub part: u64,
    /// Of them: skipped.
    pub skipped: u64,
    /// Of them: open at the end.
    pub open: u64,
    /// Doses asked for.
    pub asked: u64,
    /// Of those asked for: open at the end.
    pub asked_open: u64,
    /// Pump on.
    pub pump_on_ms: u64,
    /// The least delivered.
    pub volume_ul: u64,
    /// True length of the run.
    pub simulated_ms: u64,
    /// Expectations judged.
    pub expectations: u64,
    /// What failed, a line each.
    pub findings: Vec<String>,
    /// What the device takes to be in the container at the end.
    pub account_ul: Option<u64>,
    /// Promises broken, in all.
    pub broken: u64,
    /// Expectations that did not hold.
    pub failures: u64,
    /// The scenario is meant to fail.
    pub failure_expected: bool,
    /// Faults and acts without effect.
    pub invalid: u64,
}

/// All facts of one run.
#[derive(Clone, Debug, PartialEq)]
pub struct Facts {
    /// The scenario's file.
    pub file: String,
    /// Its title.
    pub title: Option<String>,
    /// Digest of its text.
    pub hash: String,
    /// The build that ran it.
    pub build: String,
    /// Seed.
    pub seed: u64,
    /// Start and zone.
    pub frame: Frame,
    /// The zone of the device's clock.
    pub device_zone: Zone,
    /// The timetable at the start; none in lines of a build that did not say it.
    pub entries_at_start: Vec<(String, Settings)>,
    /// Outcomes, in the order in which they were told.
    pub doses: Vec<Dose>,
    /// Changes of the supply after the start: true ms, on.
    pub supply: Vec<(u64, bool)>,
    /// Settings of the clock after the start: true ms, what it showed before, and
    /// after.
    pub clock: Vec<(u64, Option<Stamped>, Option<Stamped>)>,
    /// Whether the clock is unset at the start.
    pub starts_unset: bool,
    /// Losses of the clock chip's feed, true ms.
    pub feed_lost: Vec<u64>,
    /// Restarts of the processor with the supply on, true ms.
    pub resets: Vec<u64>,
    /// Alarms after the start: true ms, which, on.
    pub alarms: Vec<(u64, String, bool)>,
    /// What people did at it after the start, and what came of it.
    pub visits: Vec<Visit>,
    /// The container's account as it changed: true ms, microlitres in it, by what.
    pub account: Vec<(u64, u64, Mover)>,
    /// A dose for the close-up.
    pub seen: Option<Seen>,
    /// What became of faults and acts: kind, line, what.
    pub became: Vec<(String, u64, String)>,
    /// The end.
    pub totals: Totals,
    pulses: Vec<(u64, u64)>,
    on_since: Option<u64>,
}

impl Facts {
    /// From the opening line of a run. `None` where it does not say when and where
    /// the run starts.
    pub fn opened(line: &Value) -> Option<Self> {
        let text = |name: &str| line[name].as_str().map(str::to_owned);
        let start = stamped(line["start"].as_str()?)?;
        let zone = Zone::parse(line["zone"].as_str()?).ok()?;
        let device_zone = line["device_zone"].as_str().and_then(|zone| Zone::parse(zone).ok());
        let planned = |entry: &Value| {
            let settings = serde_json::from_value(entry["settings"].clone()).ok()?;
            Some((entry["entry"].as_str()?.to_owned(), settings))
        };
        let entries = line["entries"].as_array();
        let start_utc_ms = start.local.as_ms() - i64::from(start.offset_s) * 1000;
        Some(Self {
            file: text("file")?,
            title: text("title"),
            hash: text("hash")?,
            build: text("build")?,
            seed: line["seed"].as_u64()?,
            frame: Frame {
                start: start.local,
                zone,
                start_utc_ms,
                run_ms: line["run_for_ms"].as_u64()?,
            },
            device_zone: device_zone.unwrap_or(zone),
            entries_at_start: entries.into_iter().flatten().filter_map(planned).collect(),
            doses: Vec::new(),
            supply: Vec::new(),
            clock: Vec::new(),
            starts_unset: false,
            feed_lost: Vec::new(),
            resets: Vec::new(),
            alarms: Vec::new(),
            visits: Vec::new(),
            account: Vec::new(),
            seen: None,
            became: Vec::new(),
            totals: Totals::default(),
            pulses: Vec::new(),
            on_since: None,
        })
    }

    /// Takes in any line of a run but the opening one; false for an outcome that
    /// cannot be read.
    pub fn line(&mut self, line: &Value) -> bool {
        let at_ms = line["at_ms"].as_u64().unwrap_or(0);
        let on = line["on"].as_bool().unwrap_or(false);
        let when = |name: &str| line[name].as_str().and_then(stamped);
        let text = |name: &str| line[name].as_str().unwrap_or_default().to_owned();
        match line["event"].as_str().unwrap_or_default() {
            "outcome" | "open" => {
                let number = |name: &str| line[name].as_u64().unwrap_or(0);
                let Some(fate) = line["outcome"].as_str().and_then(Fate::from_word) else {
                    return false;
                };
                let is_volume =
                    |name: &&str| line[*name].is_null() || line[*name].as_u64().is_some();
                if !["volume_ul", "volume_most_ul"].iter().all(is_volume) {
                    return false;
                }
                self.outcome(Dose {
                    entry: text("entry"),
                    due: when("due"),
                    due_ms: line["due_ms"].as_i64(),
                    due_elapsed_ms: line["due_elapsed_ms"].as_i64(),
                    revision: u16::try_from(number("revision")).unwrap_or(0),
                    fate,
                    cause: line["cause"].as_str().map(str::to_owned),
                    count: line["count"].as_u64().and_then(|n| u32::try_from(n).ok()).unwrap_or(1),
                    last_due: when("last_due"),
                    least_ul: number("volume_ul"),
                    most_ul: number("volume_most_ul"),
                    started: when("started"),
                    ended: when("ended"),
                    asked: line["asked"].as_bool().unwrap_or(false),
                    wait: line["waited_ms"]
                        .as_u64()
                        .map(|ms| waited(ms, line["waited_for"].as_str().unwrap_or_default())),
                    restarts: number("restarts"),
                });
            }
            "pump" => self.pump(at_ms, on),
            "supply" => self.supplied(at_ms, on),
            "clock" => self.clock_set(at_ms, when("before"), when("after")),
            "clock_lost" => self.feed_lost.push(at_ms),
            "reset" => self.reset(at_ms),
            "alarm" => self.alarm(at_ms, lost(line).after(&text("alarm")), on),
            "account" => {
                if let (Some(ul), Some(by)) =
                    (line["level_ul"].as_u64(), line["by"].as_str().and_then(Mover::from_word))
                {
                    self.account.push((at_ms, ul, by));
                }
            }
            "fault" | "operator" => {
                let number = line["line"].as_u64().unwrap_or(0);
                let reason = line["reason"].as_str();
                let became = text("became")
                    + &reason.map(|reason| format!(": {reason}")).unwrap_or_default();
                self.became.push((text("kind"), number, became));
            }
            "summary" => self.summed(line),
            "act" | "timetable" | "calibration" | "service" => {
                self.visit(Visit::read(at_ms, line));
            }
            _ => {}
        }
        true
    }

    fn summed(&mut self, line: &Value) {
        let number = |name: &str| line[name].as_u64().unwrap_or(0);
        let list = |name: &str| line[name].as_array().cloned().unwrap_or_default();
        let mut findings = Vec::new();
        let (failures, meant) = (list("failures"), list("expected_failures"));
        for found in failures.iter().chain(&meant).chain(&list("invalid")) {
            let text = |name: &str| found[name].as_str().unwrap_or_default();
            findings.push(format!(
                "{} at line {}: {}: {}",
                text("code"),
                found["line"],
                text("message"),
                text("label")
            ));
        }
        for broken in list("violations") {
            let at = Stamped::of(&self.frame, broken["at_ms"].as_u64().unwrap_or(0));
            let due = match (broken["entry"].as_str(), broken["due"].as_str()) {
                (Some(entry), Some(due)) => format!("\"{entry}\" {due}: "),
                _ => String::new(),
            };
            findings.push(format!(
                "promise {} broken on {}: {due}{}",
                broken["promise"].as_str().unwrap_or_default(),
                super::figure::moment(&self.frame.zone, at),
                broken["what"].as_str().unwrap_or_default()
            ));
        }
        self.totals = Totals {
            verdict: line["verdict"].as_str().and_then(Verdict::from_word),
            dues: number("dues"),
            dosed: number("dosed"),
            part: number("part"),
            skipped: number("skipped"),
            open: number("open"),
            asked: number("asked"),
            asked_open: number("asked_open"),
            pump_on_ms: number("pump_on_ms"),
            volume_ul: number("volume_ul"),
            simulated_ms: number("simulated_ms"),
            account_ul: line["account_ul"].as_u64(),
            expectations: number("expectations"),
            findings,
            broken: number("violations_in_all"),
            failures: line["expectations_failed"].as_u64().unwrap_or(failures.len() as u64),
            failure_expected: line["failure_expected"].as_bool().unwrap_or(false),
            invalid: list("invalid").len() as u64,
        };
    }

    fn pump(&mut self, at_ms: u64, on: bool) {
        if on {
            self.on_since = Some(at_ms);
        } else if let Some(since) = self.on_since.take()
            && self.pulses.len() < MOST_PULSES
        {
            self.pulses.push((since, at_ms.saturating_sub(since)));
        }
    }

    fn supplied(&mut self, at_ms: u64, on: bool) {
        if at_ms > 0 && self.supply.len() < MOST_NOTES {
            self.supply.push((at_ms, on));
        }
    }

    fn clock_set(&mut self, at_ms: u64, before: Option<Stamped>, after: Option<Stamped>) {
        if at_ms == 0 {
            self.starts_unset = after.is_none();
        } else if self.clock.len() < MOST_NOTES {
            self.clock.push((at_ms, before, after));
        }
    }

    fn reset(&mut self, at_ms: u64) {
        if self.resets.len() < MOST_NOTES {
            self.resets.push(at_ms);
        }
    }

    fn alarm(&mut self, at_ms: u64, alarm: String, on: bool) {
        if at_ms > 0 && self.alarms.len() < MOST_NOTES {
            self.alarms.push((at_ms, alarm, on));
        }
    }

    fn visit(&mut self, visit: Option<Visit>) {
        let Some(visit) = visit.filter(|_| self.visits.len() < MOST_NOTES) else { return };
        if !visit.repeats(&self.visits) {
            self.visits.push(visit);
        }
    }

    /// True ms of the run at a true local time.
    pub fn true_ms(&self, at: Stamped) -> i64 {
        at.utc_ms() - self.frame.start_utc_ms
    }

    fn outcome(&mut self, dose: Dose) {
        if let (Some(started), Some(ended)) = (dose.started, dose.ended) {
            let (from, to) = (self.true_ms(started), self.true_ms(ended));
            let of_dose = |(at, long): &(u64, u64)| {
                *at as i64 >= from && (at.saturating_add(*long)) as i64 <= to
            };
            let pulses: Vec<(u64, u64)> = self.pulses.drain(..).filter(of_dose).collect();
            let first = pulses.first().map_or(0, |(at, _)| *at);
            let better = self.doses.len() < LOOKED_AT
                && pulses.len() > self.seen.as_ref().map_or(0, |seen| seen.pulses.len());
            if better && dose.fate == Fate::Dosed && pulses.len() < MOST_PULSES {
                let pulses = pulses.into_iter().map(|(at, long)| (at - first, long)).collect();
                self.seen = Some(Seen { entry: dose.entry.clone(), due: dose.due, pulses });
            }
        }
        self.doses.push(dose);
    }

    /// The largest and the smallest day that is told of, and the names of entries in
    /// their order of appearance.
    pub fn entries(&self) -> Vec<&str> {
        let mut names: Vec<&str> = Vec::new();
        for dose in &self.doses {
            if !names.contains(&dose.entry.as_str()) {
                names.push(&dose.entry);
            }
        }
        names
    }

    /// Stretches without supply: true ms from, to.
    pub fn without_supply(&self) -> Vec<(u64, u64)> {
        let mut out = Vec::new();
        let mut since = None;
        for (at, on) in &self.supply {
            match (since, on) {
                (None, false) => since = Some(*at),
                (Some(from), true) => {
                    out.push((from, *at));
                    since = None;
                }
                _ => {}
            }
        }
        out.extend(since.map(|from| (from, self.totals.simulated_ms)));
        out
    }

    /// Stretches in which the clock was unset: true ms from, to. No weekly entry is due then.
    pub fn without_clock(&self) -> Vec<(u64, u64)> {
        let lost = self.feed_lost.iter().map(|at| (*at, false));
        let set = self.clock.iter().map(|(at, _, after)| (*at, after.is_some()));
        let mut changes: Vec<(u64, bool)> = lost.chain(set).collect();
        // a feed that is lost is found at a start, before anybody can set the clock
        changes.sort_by_key(|(at, _)| *at);
        let mut out = Vec::new();
        let mut since = self.starts_unset.then_some(0);
        for (at, is_set) in changes {
            if is_set {
                out.extend(since.take().map(|from| (from, at)));
            } else {
                since = since.or(Some(at));
            }
        }
        out.extend(since.map(|from| (from, self.totals.simulated_ms)));
        out
    }
}

impl Sink for Facts {
    fn event(&mut self, at_ms: u64, event: &Event<'_>) {
        match event {
            Event::Outcome(outcome) => self.outcome(Dose::of(outcome)),
            Event::Pump { on, .. } => self.pump(at_ms, *on),
            Event::Supply { on } => self.supplied(at_ms, *on),
            Event::Clock(change) => self.clock_set(at_ms, change.before, change.after),
            Event::FeedLost => self.feed_lost.push(at_ms),
            Event::Reset => self.reset(at_ms),
            Event::Account { level, by } => self.account.push((at_ms, level.as_ul(), *by)),
            Event::Alarm { alarm, on, lost } => {
                self.alarm(at_ms, lost.after(alarm.words()), *on);
            }
            Event::Asked { .. }
            | Event::Changed(_)
            | Event::Calibrated { .. }
            | Event::Done { .. } => {
                self.visit(Visit::of(at_ms, event));
            }
            _ => {}
        }
    }
}

/// What an alarm of the lines is about.
fn lost(line: &Value) -> Lost {
    if let Some(slots) = line["slots"].as_u64() {
        return Lost::Slots(slots);
    }
    match line["entries"].as_array() {
        Some(entries) => {
            let names = entries.iter().filter_map(Value::as_str).map(str::to_owned).collect();
            let misfits = line["alarm"].as_str() == Some(Alarm::DoesNotFit.words());
            if misfits { Lost::Misfits(names) } else { Lost::Settings(names) }
        }
        None => Lost::Nothing,
    }
}

/// Reads RFC 3339 as the lines have it.
pub(super) fn stamped(text: &str) -> Option<Stamped> {
    let number = |from: usize, to: usize| text.get(from..to)?.parse::<u32>().ok();
    let date = dosewright_core::civil::Date::from_ymd(
        i32::try_from(number(0, 4)?).ok()?,
        u8::try_from(number(5, 7)?).ok()?,
        u8::try_from(number(8, 10)?).ok()?,
    )?;
    let mut ms = u64::from(number(11, 13)?) * 3_600_000
        + u64::from(number(14, 16)?) * 60_000
        + u64::from(number(17, 19)?) * 1000;
    let mut rest = text.get(19..)?;
    if let Some(fraction) = rest.strip_prefix('.') {
        ms += fraction.get(..3)?.parse::<u64>().ok()?;
        rest = fraction.get(3..)?;
    }
    let sign = match rest.get(..1)? {
        "+" => 1,
        "-" => -1,
        _ => return None,
    };
    let minutes =
        rest.get(1..3)?.parse::<i32>().ok()? * 60 + rest.get(4..6)?.parse::<i32>().ok()?;
    Some(Stamped {
        local: Local::new(date, dosewright_core::time::Duration::from_ms(ms)),
        offset_s: sign * minutes * 60,
    })
}

#[cfg(test)]
mod tests {
    use super::stamped;
    use crate::trace::stamp::rfc3339;

    #[test]
    fn what_the_lines_say_is_read_back() {
        for text in ["2026-10-20T00:45:00+02:00", "2026-01-02T00:00:05.007-03:30"] {
            assert_eq!(rfc3339(stamped(text).unwrap()), text);
        }
        for bad in ["", "2026-10-20", "2026-10-20T00:45:00", "2026-13-20T00:45:00+02:00"] {
            assert_eq!(stamped(bad), None, "{bad}");
        }
    }
}
