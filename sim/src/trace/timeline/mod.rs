//! The timeline that people read: a heading a day, a line for each outcome and
//! for whatever happened between, on lines of at most 80 cells.

mod fold;
mod words;

use std::io;

use dosewright_core::civil::{Date, Local};
use dosewright_core::record::DueKey;
use dosewright_core::time::{Duration, Utc};
use dosewright_core::zone::Change;

use super::cut::padded;
use super::stamp::{about, clock_time, day, hour_minute, which};
use super::{Event, Names, Outcome, Sink, Stamped};
use crate::diagnose::display;
use crate::observe::DeviceAct;
use crate::run::Frame;
use crate::words::lines;
use fold::{Block, TOLD};

pub(super) use words::{volume, volume_cells};

/// Cells on a line.
const CELLS: usize = 80;
/// Cells of an entry's name at most.
const NAME_CELLS: usize = 18;
/// Lines that wait for a dose to end before they are told in the order of their
/// times; more than this are told as they are.
const MOST_PENDING: usize = 2000;
/// Doses waited for at most: more are open only where the device loses outcomes.
const MOST_OPEN: usize = 256;
/// Lines of a timeline at most.
const MOST_LINES: usize = 2000;

/// How a timeline is told.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Style {
    /// Stretches in which each entry goes as before are told in one line an entry.
    pub fold: bool,
    /// No end of lines.
    pub all: bool,
}

enum Item {
    Dose(Box<Outcome>),
    Note(String),
}

/// Writes the timeline; the first error of the writer ends it.
pub struct Timeline<W> {
    out: W,
    frame: Frame,
    names: Names,
    name_cells: usize,
    style: Style,
    /// Lines by the true ms they are told under.
    pending: Vec<(u64, Item)>,
    open: Vec<(DueKey, bool)>,
    /// True ms since when the supply is off.
    off_since: Option<u64>,
    /// Up to this true ms everything has been told.
    told_to: u64,
    /// How often the remote stop has changed at a true ms.
    stops: (u64, u32),
    /// The device was told last that the leak detector is on.
    leak: bool,
    heading: Option<Date>,
    block: Block,
    lines: usize,
    left_out: usize,
    error: Option<io::Error>,
}

impl<W: io::Write> Timeline<W> {
    /// Onto a writer.
    pub fn new(out: W, frame: Frame, names: Names, style: Style) -> Self {
        let name_cells = names.widest().clamp(5, NAME_CELLS);
        Self {
            out,
            frame,
            names,
            name_cells,
            style,
            pending: Vec::new(),
            open: Vec::new(),
            off_since: None,
            told_to: 0,
            stops: (0, 0),
            leak: false,
            heading: None,
            block: Block::default(),
            lines: 0,
            left_out: 0,
            error: None,
        }
    }

    /// Tells what is still pending and flushes; the first error of the writer.
    pub fn finish(mut self) -> io::Result<W> {
        if let Some(since) = self.off_since.take() {
            self.pending.push((since, Item::Note("supply off, to the end of the run".to_owned())));
        }
        self.release();
        self.end_block();
        if self.left_out > 0 {
            let text =
                format!("... and {} lines more; --json and --csv have everything", self.left_out);
            self.style.all = true;
            self.line(&text);
        }
        match self.error.take() {
            Some(error) => Err(error),
            None => self.out.flush().map(|()| self.out),
        }
    }

    fn line(&mut self, text: &str) {
        if self.lines >= MOST_LINES && !self.style.all {
            self.left_out += 1;
            return;
        }
        self.lines += 1;
        if self.error.is_none() {
            self.error = writeln!(self.out, "{}", text.trim_end()).err();
        }
    }

    /// Tells what is pending in the order of its times, unless something is
    /// still to come that belongs before it.
    fn release_if_quiet(&mut self, at_ms: u64) {
        let waits = !self.open.is_empty() || self.off_since.is_some() || at_ms == 0;
        if !waits || self.pending.len() > MOST_PENDING {
            self.release();
        }
    }

    fn release(&mut self) {
        let mut pending = std::mem::take(&mut self.pending);
        pending.sort_by_key(|(at_ms, _)| *at_ms);
        for (at_ms, item) in pending {
            self.told_to = self.told_to.max(at_ms);
            match item {
                Item::Dose(outcome) if self.style.fold && fold::can_be_counted(&outcome) => {
                    if !self.block.takes(&outcome) {
                        self.end_block();
                    }
                    let local = self.frame.local(at_ms);
                    self.block.put(at_ms, local, &outcome);
                }
                Item::Dose(outcome) => {
                    self.end_block();
                    self.dose(at_ms, &outcome);
                }
                Item::Note(text) => {
                    self.end_block();
                    self.note(at_ms, &text);
                }
            }
        }
    }

    fn end_block(&mut self) {
        let block = std::mem::take(&mut self.block);
        let Some((first, last)) = block.span else { return };
        if block.count <= TOLD {
            for (at_ms, outcome) in block.told {
                self.dose(at_ms, &outcome);
            }
            return;
        }
        self.heading = None;
        self.line("");
        self.line(&format!("{} to {}", day(first.date()), day(last.date())));
        for [time, name, word, volume, remark] in block.rows() {
            self.row(&time, &name, &word, &volume, &remark);
        }
    }

    fn dose(&mut self, at_ms: u64, outcome: &Outcome) {
        self.day_of(at_ms);
        let zone = &self.frame.zone;
        let time = outcome.due.map_or_else(
            || "--:--".to_owned(),
            |due| format!("{}{}", hour_minute(due.local), which(zone, due)),
        );
        let mut remark = words::remark(zone, outcome);
        // a device whose clock is on another day than the place
        let far = outcome
            .due
            .filter(|due| self.heading.is_some_and(|heading| heading != due.local.date()));
        if let Some(due) = far {
            remark = format!("due {} {time}, {remark}", day(due.local.date()));
        }
        self.row(&time, &outcome.name, outcome.fate.word(), &volume(outcome.least), &remark);
    }

    fn row(&mut self, time: &str, name: &str, word: &str, volume: &str, remark: &str) {
        let name = padded(name, self.name_cells, self.names.all());
        let wide = volume_cells();
        let start = format!("  {time}  {name}  {word:<7}  {volume:>wide$}  ");
        let indent = display(&start).1;
        let wrapped = lines(remark, CELLS.saturating_sub(indent));
        for (i, part) in wrapped.iter().enumerate() {
            if i == 0 {
                self.line(&format!("{start}{part}"));
            } else {
                self.line(&format!("{:indent$}{part}", ""));
            }
        }
        if wrapped.is_empty() {
            self.line(&start);
        }
    }

    fn note(&mut self, at_ms: u64, text: &str) {
        self.day_of(at_ms);
        let at = Stamped::of(&self.frame, at_ms);
        let start = format!("  {}{}  ", hour_minute(at.local), which(&self.frame.zone, at));
        for (i, part) in lines(text, CELLS - start.len()).iter().enumerate() {
            if i == 0 {
                self.line(&format!("{start}{part}"));
            } else {
                self.line(&format!("{:1$}{part}", "", start.len()));
            }
        }
    }

    /// A heading where a new day begins.
    fn day_of(&mut self, at_ms: u64) {
        let date = self.frame.local(at_ms).date();
        if self.heading == Some(date) {
            return;
        }
        self.heading = Some(date);
        let change = self.change_on(date).map(|change| {
            let by =
                Duration::from_s(u64::from(change.offset_after_s.abs_diff(change.offset_before_s)));
            let at = Local::from_ms(change.at.as_ms() + i64::from(change.offset_before_s) * 1000);
            // at midnight it ends this day
            let at = if at.date() == date { clock_time(at) } else { "24:00".to_owned() };
            let way =
                if change.offset_after_s > change.offset_before_s { "forward" } else { "back" };
            format!(" (at {at} clocks go {way} {by})")
        });
        self.line("");
        self.line(&format!("{}{}", day(date), change.unwrap_or_default()));
    }

    /// The change of the place's offset on a date, if there is one.
    fn change_on(&self, date: Date) -> Option<Change> {
        let start = Local::new(date, Duration::ZERO);
        let utc = self.frame.zone.to_utc(start, dosewright_core::entry::GapRule::Shift);
        let change = self.frame.zone.next_change_after(Utc::from_ms(utc.as_ms() - 1))?;
        (change.at.as_ms() < utc.as_ms() + 26 * 3_600_000
            && self.frame.zone.to_local(Utc::from_ms(change.at.as_ms() - 1)).date() == date)
            .then_some(change)
    }

    /// A contact that bounces is told of once, and one that stands as it stood is not.
    fn heard(&mut self, at_ms: u64, event: &Event<'_>, text: Option<String>) -> Option<String> {
        match event {
            Event::Asked { act: DeviceAct::RemoteStop(_), .. } => {
                let (at, times) = self.stops;
                self.stops = (at_ms, if at == at_ms { times + 1 } else { 1 });
                match self.stops.1 {
                    1 => text,
                    2 => Some("remote stop bounces".to_owned()),
                    _ => None,
                }
            }
            Event::Asked { act: DeviceAct::Leak(on), .. } => {
                let was = std::mem::replace(&mut self.leak, *on);
                text.filter(|_| *on || was)
            }
            _ => text,
        }
    }

    fn supply(&mut self, at_ms: u64, on: bool) {
        if !on {
            self.off_since = Some(at_ms);
        } else if let Some(since) = self.off_since.take() {
            let text = format!("supply off for {}", about(at_ms.saturating_sub(since)));
            self.pending.push((since, Item::Note(text)));
        }
    }
}

impl<W: io::Write> Sink for Timeline<W> {
    fn event(&mut self, at_ms: u64, event: &Event<'_>) {
        match event {
            Event::Opened { key, asked } => {
                if !self.open.contains(&(*key, *asked)) && self.open.len() < MOST_OPEN {
                    self.open.push((*key, *asked));
                }
                return;
            }
            Event::Pump { .. } => return,
            Event::Named { id, name } => return self.names.learn(*id, name),
            Event::Outcome(outcome) => {
                self.open.retain(|open| *open != (outcome.key, outcome.asked));
                let at = outcome
                    .started_ms
                    .unwrap_or_else(|| u64::try_from(outcome.due_ms).unwrap_or(0));
                // one that was skipped long after it was due stands where that
                // became known
                let at = at.max(self.told_to);
                self.pending.push((at, Item::Dose(Box::new((*outcome).clone()))));
            }
            Event::Supply { on } => self.supply(at_ms, *on),
            event => {
                // what the installer does at the start is the scenario's own text, and
                // the alarm that the clock is unset comes and goes with it
                let installed =
                    at_ms == 0 && matches!(event, Event::Asked { .. } | Event::Clock(_));
                if at_ms == 0 && matches!(event, Event::Alarm { on: false, .. }) {
                    self.pending.retain(|(_, item)| matches!(item, Item::Dose(_)));
                    return;
                }
                let text = words::note(&self.frame.zone, event, &self.names);
                if let Some(text) = self.heard(at_ms, event, text).filter(|_| !installed) {
                    let twice = matches!(
                        self.pending.last(),
                        Some((at, Item::Note(last))) if *at == at_ms && *last == text
                    );
                    if !twice {
                        self.pending.push((at_ms, Item::Note(text)));
                    }
                }
            }
        }
        self.release_if_quiet(at_ms);
    }
}
