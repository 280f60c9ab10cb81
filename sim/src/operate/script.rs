//! Scripts: turns and presses, and the screens that are expected in between.
//!
//! ```text
//! # comment
//! press                    a short press; press 3 for three
//! hold                     a long one
//! left 2                   two notches to the left
//! right                    one to the right
//! wait 10 min              time passes
//! pump on                  the pump has to run, or be off
//! came out 126 ml .. 128 ml   so much, since the last time it was asked
//! |Last dose   Tu 00:45|   four lines between bars: what the display has to show
//! screen                   the screen is shown, whatever it is
//! picture home             and kept as a picture of that name
//! ```

use std::fmt::Write as _;

use dosewright_core::panel::{COLUMNS, Input, ROWS, Screen};
use dosewright_core::units::Volume;

use super::{Bench, Dots, Hand, page};
use crate::scenario::{self, show};

/// What a hand takes for one touch, in ms.
const TOUCH_MS: u64 = 500;

/// One line of a script.
#[derive(Debug, Clone, PartialEq, Eq)]
enum Step {
    Touch(Input),
    Wait(u64),
    Pump(bool),
    CameOut(u64, u64),
    /// The lines, spaces at their ends left out.
    Expect([String; ROWS]),
    /// The screen is shown, whatever it is.
    Show,
    /// The screen is kept as a picture of a name.
    Picture(String),
}

/// A script, read.
#[derive(Debug, Clone, Default)]
pub struct Script {
    /// Each step with the number of its line, from 1.
    steps: Vec<(usize, Step)>,
}

/// What was done.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Counts {
    /// Notches turned, left and right.
    pub turns: u32,
    /// Short presses.
    pub presses: u32,
    /// Long ones.
    pub holds: u32,
    /// Screens that were looked at and as expected.
    pub screens: u32,
}

/// How a script ended.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ScriptEnd {
    /// What was done.
    pub counts: Counts,
    /// What was not as expected: the line, and what is wrong, of one or more lines.
    pub failure: Option<(usize, String)>,
    /// The script as it ran, with the screens that were shown.
    pub transcript: String,
    /// The displays that were kept, by their names.
    pub pictures: Vec<(String, Dots)>,
    /// True ms at which it ended.
    pub ended_ms: u64,
    /// The run came to its end before the script did.
    pub is_short: bool,
}

impl Script {
    /// Reads a script.
    ///
    /// # Errors
    ///
    /// Everything that is wrong with it, each with its line.
    pub fn read(text: &str) -> Result<Self, Vec<(usize, String)>> {
        let mut steps: Vec<(usize, Step)> = Vec::new();
        let mut wrong = Vec::new();
        let mut rows: Vec<String> = Vec::new();
        let text = text.strip_prefix('\u{feff}').unwrap_or(text);
        for (at, line) in text.lines().enumerate() {
            let number = at + 1;
            if let Some(row) = line.trim().strip_prefix('|') {
                let row = row.strip_suffix('|').unwrap_or(row).trim_end();
                if row.chars().count() > COLUMNS {
                    let count = row.chars().count();
                    let what =
                        format!("a line of the display has {COLUMNS} characters, not {count}");
                    wrong.push((number, what));
                }
                rows.push(row.to_owned());
                if rows.len() == ROWS {
                    let lines = std::mem::take(&mut rows).try_into().unwrap_or_default();
                    steps.push((number + 1 - ROWS, Step::Expect(lines)));
                }
                continue;
            }
            if !rows.is_empty() {
                let what = format!("a screen has {ROWS} lines; {} are here", rows.len());
                wrong.push((number - 1, what));
                rows.clear();
            }
            let code = line.split('#').next().unwrap_or("").trim();
            if code.is_empty() {
                continue;
            }
            match step(code) {
                Ok(more) => steps.extend(more.into_iter().map(|step| (number, step))),
                Err(why) => wrong.push((number, why)),
            }
        }
        if !rows.is_empty() {
            let number = text.lines().count();
            wrong.push((number, format!("a screen has {ROWS} lines; {} are here", rows.len())));
        }
        if wrong.is_empty() { Ok(Self { steps }) } else { Err(wrong) }
    }

    /// Whether nothing is done in it.
    pub const fn is_empty(&self) -> bool {
        self.steps.is_empty()
    }

    /// As it is, with the screen shown after each touch and wait: for what somebody
    /// types.
    #[must_use]
    pub fn shown(mut self) -> Self {
        let mut steps = Vec::new();
        let mut left = self.steps.drain(..).peekable();
        while let Some((number, step)) = left.next() {
            let is_last_of_line = left.peek().is_none_or(|(next, _)| *next != number);
            let moves = matches!(step, Step::Touch(_) | Step::Wait(_));
            steps.push((number, step));
            if moves && is_last_of_line {
                steps.push((number, Step::Show));
            }
        }
        drop(left);
        Self { steps }
    }
}

fn step(code: &str) -> Result<Vec<Step>, String> {
    let (word, rest) = code.split_once(char::is_whitespace).unwrap_or((code, ""));
    let rest = rest.trim();
    let input = match word {
        "left" => Some(Input::Left),
        "right" => Some(Input::Right),
        "press" => Some(Input::Press),
        "hold" => Some(Input::Hold),
        _ => None,
    };
    if let Some(input) = input {
        let times = if rest.is_empty() { Ok(1) } else { rest.parse::<usize>() };
        let times = times.ok().filter(|times| (1..=1000).contains(times));
        let times = times.ok_or_else(|| format!("`{rest}` is no number of times, 1 to 1000"))?;
        return Ok(vec![Step::Touch(input); times]);
    }
    let one = match (word, rest) {
        ("wait", length) => Step::Wait(scenario::length(length)?),
        ("pump", "on") => Step::Pump(true),
        ("pump", "off") => Step::Pump(false),
        ("screen", "") => Step::Show,
        ("picture", name) => {
            let is_plain = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-';
            if name.is_empty() || !name.chars().all(is_plain) {
                return Err(format!(
                    "`{name}` is no name of a picture: small letters, digits and -, as in \
                     picture next-dose"
                ));
            }
            Step::Picture(name.to_owned())
        }
        ("came", out) => {
            let range = out.strip_prefix("out").and_then(|range| range.split_once(".."));
            let (least, most) = range.ok_or("write: came out 126 ml .. 128 ml")?;
            let (least, most) = (volume(least)?, volume(most)?);
            if least > most {
                return Err(format!(
                    "`{range}` is no range: the smaller volume comes first",
                    range = out.strip_prefix("out").unwrap_or(out).trim()
                ));
            }
            Step::CameOut(least, most)
        }
        _ => {
            return Err(format!(
                "`{code}` is no step; steps are left, right, press, hold, wait, pump, came out, \
                 screen, picture, and the four lines of a screen, each after a |"
            ));
        }
    };
    Ok(vec![one])
}

/// Nanolitres of a volume in any unit.
fn volume(text: &str) -> Result<u64, String> {
    let text = text.trim();
    scenario::volume_nl(text).map_err(|why| format!("`{text}` is no volume: {why}"))
}

/// The hand of a script.
#[derive(Debug)]
pub struct ScriptHand {
    script: Script,
    at: usize,
    /// When the next step is to be done.
    due_ms: u64,
    /// The last step that was done is a wait, which is not over.
    waits: bool,
    /// Rewrites what is expected into what is found.
    records: bool,
    shown_line: usize,
    measured_nl: u64,
    end: ScriptEnd,
}

impl ScriptHand {
    /// One that begins at the start of the run.
    pub fn new(script: Script) -> Self {
        let end = ScriptEnd {
            counts: Counts::default(),
            failure: None,
            transcript: String::new(),
            pictures: Vec::new(),
            ended_ms: 0,
            is_short: false,
        };
        Self {
            script,
            at: 0,
            due_ms: TOUCH_MS,
            waits: false,
            records: false,
            shown_line: 0,
            measured_nl: 0,
            end,
        }
    }

    /// Takes whatever the display shows for what was expected.
    #[must_use]
    pub fn recording(self) -> Self {
        Self { records: true, ..self }
    }

    /// How it ended.
    pub fn finish(mut self) -> ScriptEnd {
        self.end.is_short = !self.is_done();
        self.end
    }

    fn fail(&mut self, line: usize, what: String) {
        self.end.failure = Some((line, what));
    }

    fn do_step(&mut self, now: u64, bench: &mut dyn Bench) {
        let Some((line, step)) = self.script.steps.get(self.at).cloned() else { return };
        self.at += 1;
        self.waits = matches!(step, Step::Wait(_));
        self.due_ms = now;
        self.end.ended_ms = now;
        match step {
            Step::Touch(input) => {
                bench.touch(input);
                let counts = &mut self.end.counts;
                *(match input {
                    Input::Left | Input::Right => &mut counts.turns,
                    Input::Press => &mut counts.presses,
                    Input::Hold => &mut counts.holds,
                }) += 1;
                self.due_ms = now + TOUCH_MS;
            }
            Step::Wait(ms) => self.due_ms = now + ms,
            Step::Pump(on) => {
                let is_on = bench.sight().pump_is_on;
                if is_on != on {
                    let state = |on| if on { "on" } else { "off" };
                    let what = format!("the pump is {}, expected {}", state(is_on), state(on));
                    self.fail(line, what);
                }
            }
            Step::CameOut(least, most) => {
                let all = bench.sight().delivered_nl;
                let nl = all - self.measured_nl;
                self.measured_nl = all;
                // what is told is compared: a microlitre is the least of both
                let [ul, from, to] = [nl, least, most].map(|nl| Volume::from_nl(nl).as_ul());
                if !(from..=to).contains(&ul) {
                    let [out, least, most] =
                        [ul, from, to].map(|ul| show::volume(Volume::from_ul(ul)));
                    let what = format!("{out} came out, expected {least} .. {most}");
                    self.fail(line, what);
                }
            }
            Step::Expect(lines) => self.expect(line, &lines, &bench.screen()),
            Step::Picture(name) => {
                self.end.pictures.push((name, Dots::of(bench.screen().rows())));
            }
            Step::Show if self.records => {
                _ = write!(self.end.transcript, "@{line}\n{}", page::barred(&bench.screen()));
                self.end.counts.screens += 1;
            }
            Step::Show => {
                let screen = bench.screen();
                self.end.transcript.push_str(&page::boxed(&screen));
                self.end.transcript.push_str(&page::facts(&bench.sight()));
                self.end.transcript.push('\n');
            }
        }
        self.shown_line = line;
    }

    fn expect(&mut self, line: usize, lines: &[String; ROWS], screen: &Screen) {
        let found = screen.to_string();
        let same = found.lines().eq(lines.iter().map(String::as_str));
        if self.records {
            _ = write!(self.end.transcript, "@{line}\n{}", page::barred(screen));
            self.end.counts.screens += 1;
        } else if same {
            self.end.counts.screens += 1;
        } else {
            let mut what = "the display shows something else\n".to_owned();
            what.push_str("  expected               found\n");
            for (expected, found) in lines.iter().zip(found.lines()) {
                let mark = if expected == found { ' ' } else { '!' };
                let gap = COLUMNS - expected.chars().count();
                _ = writeln!(what, "{mark} |{expected}{:gap$}| |{found}", "");
            }
            self.fail(line, what);
        }
    }
}

impl Hand for ScriptHand {
    fn next_at(&mut self, now: u64, world: Option<u64>) -> Option<u64> {
        let due = self.due_ms.max(now);
        // what the world does at the same moment comes first
        world.is_none_or(|world| due < world).then_some(due)
    }

    fn act(&mut self, now: u64, bench: &mut dyn Bench) {
        while self.due_ms <= now && !self.is_done() {
            if self.at >= self.script.steps.len() {
                // the wait that it ends with is over
                (self.waits, self.end.ended_ms) = (false, now);
            }
            self.do_step(now, bench);
        }
    }

    fn is_done(&self) -> bool {
        self.end.failure.is_some() || self.at >= self.script.steps.len() && !self.waits
    }
}

/// A script with the screens that a recording found put in the place of those that it
/// expected, and of its steps `screen`.
pub fn renewed(text: &str, transcript: &str) -> String {
    let mut screens: Vec<(usize, Vec<&str>)> = Vec::new();
    for line in transcript.lines() {
        if let Some(number) = line.strip_prefix('@').and_then(|number| number.parse().ok()) {
            screens.push((number, Vec::new()));
        } else if line.starts_with('|')
            && let Some((_, rows)) = screens.last_mut()
        {
            rows.push(line);
        }
    }
    let mut out = String::new();
    for (at, line) in text.lines().enumerate() {
        let is_step = !line.trim_start().starts_with('|');
        if is_step && let Some((_, rows)) = screens.iter().find(|(from, _)| *from == at + 1) {
            for row in rows {
                out.push_str(row);
                out.push('\n');
            }
            continue;
        }
        let row = screens.iter().filter(|_| !is_step).find_map(|(from, rows)| {
            let place = (at + 1).checked_sub(*from)?;
            rows.get(place).copied()
        });
        out.push_str(row.unwrap_or(line));
        out.push('\n');
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_script_is_read_line_by_line() {
        let text = "# first\npress 2\nright # on\nwait 10 min\npump off\n|a\n|b |\n|\n|\nhold\n";
        let script = Script::read(text).unwrap();
        let rows = ["a", "b", "", ""].map(str::to_owned);
        let expected = [
            (2, Step::Touch(Input::Press)),
            (2, Step::Touch(Input::Press)),
            (3, Step::Touch(Input::Right)),
            (4, Step::Wait(600_000)),
            (5, Step::Pump(false)),
            (6, Step::Expect(rows)),
            (10, Step::Touch(Input::Hold)),
        ];
        assert_eq!(script.steps, expected);
    }

    #[test]
    fn everything_that_is_wrong_is_told_with_its_line() {
        let text =
            "pres\nright 0\nwait 5\n|a\n|b\nleft\ncame out 1 fl oz .. 2 l\n|123456789012345678901";
        let wrong = Script::read(text).unwrap_err();
        let lines: Vec<usize> = wrong.iter().map(|(line, _)| *line).collect();
        assert_eq!(lines, [1, 2, 3, 5, 7, 8, 8], "{wrong:?}");
    }
}
