//! Getters of zones, dates, times and moments.

use dosewright_core::civil::{Date, Days, Local};

use super::super::doc::{Node, Value};
use super::super::model::{Change, ClaimTime, IntervalStart, Moment, NamedZone};
use super::super::quantity::{Problem, show};
use super::super::zones;
use super::super::{datetime, moment};
use super::{Context, TableReader};
use crate::diagnose::{Diagnostic, Span, codes};

impl TableReader<'_, '_> {
    pub(in crate::scenario) fn zone(&mut self, key: &'static str) -> Option<NamedZone> {
        let (text, node, _) = self.text(key)?;
        let read = zones::zone(text);
        let problem = match &read {
            Ok(zone) => zones::reads_backward(text, zone),
            Err(problem) => Some(problem.clone()),
        };
        if let Some(problem) = problem {
            self.refuse(key, node, problem);
        }
        read.ok()
    }

    /// A date or time, which TOML can write without quotes.
    fn stamp<T>(
        &mut self,
        key: &'static str,
        read: impl Fn(&str) -> Result<T, Problem>,
    ) -> Option<T> {
        let (node, kind) = self.node(key)?;
        let (Value::Stamp(text) | Value::Text { text, .. }) = &node.value else {
            self.wrong_type(key, node, kind);
            return None;
        };
        read(text).map_err(|problem| self.refuse_stamp(key, node, problem)).ok()
    }

    /// A problem in a date that is written without quotes stands where it is written.
    fn refuse_stamp(&mut self, key: &str, node: &Node, mut problem: Problem) {
        if matches!(node.value, Value::Stamp(_)) {
            let message = format!("`{key}` {}", problem.what);
            let at = std::mem::take(&mut problem.at);
            let span = Span::new(node.span.start + at.start, node.span.start + at.end);
            let mut found = Diagnostic::new(problem.code, span, message).label(problem.label);
            found.help = problem.help;
            self.cx.report(found);
        } else {
            self.refuse(key, node, problem);
        }
    }

    pub(in crate::scenario) fn local(&mut self, key: &'static str) -> Option<Local> {
        self.stamp(key, datetime::local)
    }

    /// A local time that may have its offset.
    pub(in crate::scenario) fn claim_time(&mut self, key: &'static str) -> Option<ClaimTime> {
        self.stamp(key, datetime::claim_time)
    }

    pub(in crate::scenario) fn date(&mut self, key: &'static str) -> Option<Date> {
        self.stamp(key, datetime::date)
    }

    /// A date, or "none".
    pub(in crate::scenario) fn date_or_none(&mut self, key: &'static str) -> Option<Change<Date>> {
        self.stamp(key, |text| {
            if text == "none" { Ok(Change::Clear) } else { datetime::date(text).map(Change::To) }
        })
    }

    pub(in crate::scenario) fn minute_of_day(&mut self, key: &'static str) -> Option<u16> {
        self.stamp(key, datetime::minute_of_day)
    }

    /// A moment of the run; outside the run it is an error or a warning.
    pub(in crate::scenario) fn moment(&mut self, key: &'static str) -> Option<Moment> {
        let bounds = self.cx.bounds;
        let moment = self.stamp(key, |text| moment::moment(text, bounds))??;
        let place = self.place(key);
        self.cx.check_inside_run(key, moment, place).then_some(moment)
    }

    pub(in crate::scenario) fn interval_start(
        &mut self,
        key: &'static str,
    ) -> Option<IntervalStart> {
        self.stamp(key, |text| match text.trim() {
            "now" => Ok(IntervalStart::Accepted),
            length if length.starts_with('+') => match moment::moment(text, None)? {
                Some(Moment::After(after)) => Ok(IntervalStart::After(after)),
                _ => Err(Problem::new(codes::BAD_DATE, 0..text.len(), "is not a length of time")),
            },
            other if other.starts_with(|c: char| c.is_ascii_digit()) => {
                datetime::local(text).map(IntervalStart::Local)
            }
            _ => Err(Problem::new(codes::BAD_DATE, 0..text.len(), "cannot be read")
                .help("write \"2026-10-19 06:00\", \"+6 h\" after the start, or \"now\"")),
        })
    }

    /// A list of weekdays.
    pub(in crate::scenario) fn days(&mut self, key: &'static str) -> Option<Days> {
        let (node, kind) = self.node(key)?;
        let Value::List { items, of_tables: false } = &node.value else {
            self.wrong_type(key, node, kind);
            return None;
        };
        let (mut days, mut good) = (Days::NONE, true);
        for item in items {
            let word = match &item.value {
                Value::Text { text, .. } => text,
                Value::Broken => {
                    good = false;
                    continue;
                }
                _ => {
                    self.wrong_type(key, item, kind);
                    good = false;
                    continue;
                }
            };
            match datetime::weekday(word) {
                Ok(day) if days.contains(day) => {
                    let message = format!("`{key}` names \"{word}\" twice");
                    self.cx.report(
                        Diagnostic::new(codes::DUPLICATE, item.span, message).help("name it once"),
                    );
                    good = false;
                }
                Ok(day) => days = days.with(day),
                Err(problem) => {
                    self.refuse(key, item, problem);
                    good = false;
                }
            }
        }
        if days.is_empty() && good {
            let message = format!("`{key}` names no day");
            let help = format!("name one or more of {}", datetime::DAY_WORDS.join(", "));
            self.cx.report(Diagnostic::new(codes::OUT_OF_RANGE, node.span, message).help(help));
            good = false;
        }
        good.then_some(days)
    }
}

impl Context {
    /// Reports a moment outside the run; false where it is an error.
    pub(in crate::scenario) fn check_inside_run(
        &mut self,
        key: &str,
        moment: Moment,
        place: Span,
    ) -> bool {
        let Some(bounds) = self.bounds else { return true };
        let end = bounds.end();
        match moment {
            Moment::Local(local) if bounds.is_before_start(local) => {
                let message = format!("`{key}` lies before the start of the run");
                self.report(
                    Diagnostic::new(codes::BEFORE_START, place, message)
                        .label(format!("the run starts at {}", show::local(bounds.start))),
                );
                return false;
            }
            Moment::Local(local) if bounds.is_after_end(local) => {
                self.after_end(key, place, end);
            }
            Moment::After(after) if bounds.run_for.is_some_and(|run_for| after > run_for) => {
                self.after_end(key, place, end);
            }
            _ => {}
        }
        true
    }

    fn after_end(&mut self, key: &str, place: Span, end: Option<Local>) {
        let message = format!("`{key}` lies after the end of the run");
        let end = end.map_or(String::new(), |end| format!("the run ends at {}", show::local(end)));
        self.report(
            Diagnostic::new(codes::AFTER_END, place, message)
                .label(end)
                .help("make `run_for` longer"),
        );
    }
}
