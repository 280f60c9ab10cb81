//! The keys of a scenario file: one table of them, used by the reader, its
//! hints, and the JSON Schema.

mod acts;
mod brief;
mod expect;
mod faults;
mod product;
mod site;

pub(super) use acts::*;
pub(super) use brief::*;
pub(super) use expect::*;
pub(super) use faults::*;
pub(super) use product::*;
pub(super) use site::*;

use super::quantity::{self, Dimension, show};
use dosewright_core::time::Duration;
use dosewright_core::units::{Flow, Volume};

/// Limits in a kind's base unit, both included.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Range {
    pub(super) least: i64,
    pub(super) most: i64,
}

/// From, to.
pub(super) const fn range(least: i64, most: i64) -> Range {
    Range { least, most }
}

/// What a value is.
#[derive(Debug, Clone, Copy)]
pub(super) enum Kind {
    /// The version of the format.
    Version,
    /// Free text of at most so many characters.
    Text(usize),
    /// The name of a new entry.
    Name,
    /// The name of an entry that exists.
    EntryRef,
    /// A bare whole number.
    Count(Range),
    /// The same, or "none".
    CountOrNone(Range),
    /// True or false.
    Switch,
    /// In nanolitres.
    Volume(Range),
    /// In nanolitres, or a share of something in parts per million.
    VolumeOrShare(Range),
    /// In nanolitres a minute.
    Flow(Range),
    /// In milliseconds.
    Length(Range),
    /// Another quantity, in its dimension's base unit.
    Quantity(&'static Dimension, Range),
    /// A zone.
    Zone,
    /// A local date and time.
    LocalTime,
    /// A local date and time, with or without its offset.
    ClaimTime,
    /// A local date and time, a length after the start, or "now".
    IntervalStart,
    /// A date.
    Date,
    /// A date, or "none".
    DateOrNone,
    /// Hour and minute.
    TimeOfDay,
    /// A moment of the run.
    Moment,
    /// A list of weekdays.
    Days,
    /// A word of a list.
    Word(fn() -> Vec<&'static str>),
    /// A table.
    Table(&'static Table),
    /// A list of tables.
    Tables(&'static Table),
}

impl Kind {
    /// What it wants, for a message: "a volume such as \"120 ml\"".
    pub(super) fn wants(&self) -> String {
        let such = |d: &Dimension| format!("{} in quotes, such as \"{}\"", d.what, d.example);
        match self {
            Self::Version | Self::Count(_) => "a whole number without quotes".to_owned(),
            Self::CountOrNone(_) => "a whole number without quotes, or \"none\"".to_owned(),
            Self::Text(_) => "text in quotes".to_owned(),
            Self::Name | Self::EntryRef => "a name in quotes".to_owned(),
            Self::Switch => "true or false".to_owned(),
            Self::Volume(_) => such(&quantity::VOLUME),
            Self::VolumeOrShare(_) => {
                "a volume or a share in quotes, such as \"0.1 l\" or \"4 %\"".to_owned()
            }
            Self::Flow(_) => "a flow in quotes, such as \"26.5 ml/min\"".to_owned(),
            Self::Length(_) => such(&quantity::TIME),
            Self::Quantity(dimension, _) => such(dimension),
            Self::Zone => {
                "a zone in quotes, such as \"Europe/Berlin\" or \"CET-1CEST,M3.5.0,M10.5.0/3\""
                    .to_owned()
            }
            Self::LocalTime => "a local date and time, such as 2026-10-25T02:30:00".to_owned(),
            Self::ClaimTime => {
                "a local date and time, such as 2026-10-25T02:30:00, with +01:00 after \
                                it where it comes twice"
                    .to_owned()
            }
            Self::IntervalStart => {
                "a local date and time, a length such as \"+6 h\", or \"now\"".to_owned()
            }
            Self::Date => "a date, such as 2026-12-24".to_owned(),
            Self::DateOrNone => "a date, such as 2026-12-24, or \"none\"".to_owned(),
            Self::TimeOfDay => "a time in quotes, such as \"00:45\"".to_owned(),
            Self::Moment => "a moment in quotes, such as \"fri 00:50:20\"".to_owned(),
            Self::Days => "a list of weekdays, such as [\"mon\", \"thu\"]".to_owned(),
            Self::Word(words) => format!(
                "one of {}",
                words().iter().map(|w| format!("\"{w}\"")).collect::<Vec<_>>().join(", ")
            ),
            Self::Table(table) => format!("a table: {{ {} }}", table.example()),
            Self::Tables(_) => "a list of tables".to_owned(),
        }
    }

    /// A value in this kind's base unit, as people write it.
    pub(super) fn show(&self, value: i128) -> String {
        let sign = if value < 0 { "-" } else { "" };
        let size = u64::try_from(value.unsigned_abs()).unwrap_or(u64::MAX);
        match self {
            Self::Volume(_) | Self::VolumeOrShare(_) => {
                format!("{sign}{}", show::written(Volume::from_nl(size)))
            }
            Self::Flow(_) => {
                let flow = u32::try_from(size).ok().and_then(Flow::from_nl_per_min);
                flow.map_or_else(
                    || format!("{value} nl/min"),
                    |flow| format!("{sign}{}", show::written_flow(flow)),
                )
            }
            Self::Length(_) if size < 86_400_000 => format!("{sign}{}", Duration::from_ms(size)),
            Self::Length(_) => format!("{sign}{}", show::length(size)),
            Self::Quantity(dimension, _) => {
                // The largest unit that gives a whole number.
                let whole = |u: &&quantity::Unit| u.den == 1 && size.is_multiple_of(u.num);
                let unit = dimension.units.iter().filter(whole).max_by_key(|u| u.num);
                if let Some(unit) = unit {
                    return format!("{sign}{} {}", size / unit.num, unit.symbol);
                }
                // None does: the first one, with decimals.
                match dimension.units.first() {
                    Some(u) if u.den == 1 && MILLION.is_multiple_of(u.num) => {
                        let decimals = size % u.num * (MILLION / u.num);
                        let text = format!("{}.{decimals:06}", size / u.num);
                        format!("{sign}{} {}", text.trim_end_matches('0'), u.symbol)
                    }
                    _ => value.to_string(),
                }
            }
            _ => value.to_string(),
        }
    }
}

/// Whether a key has to be there.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Need {
    Required,
    Optional,
    /// Exactly one key of the table's that have this.
    OneOf,
    /// At least one key of the table's that have this.
    AnyOf,
}

/// A key.
#[derive(Debug)]
pub(super) struct Key {
    pub(super) name: &'static str,
    pub(super) need: Need,
    pub(super) kind: Kind,
    /// For the schema: one sentence.
    pub(super) doc: &'static str,
}

/// A table's keys.
#[derive(Debug)]
pub(super) struct Table {
    /// How messages name it: "[clock]", "the fault".
    pub(super) name: &'static str,
    /// What its `OneOf` or `AnyOf` keys say between them: "when its doses are due".
    pub(super) group: &'static str,
    pub(super) keys: &'static [Key],
}

impl Table {
    pub(super) fn key(&self, name: &str) -> Option<&'static Key> {
        self.keys.iter().find(|key| key.name == name)
    }

    /// The names of its keys, those for which `pick` holds.
    pub(super) fn names(&self, pick: impl Fn(&Key) -> bool) -> Vec<&'static str> {
        self.keys.iter().filter(|key| pick(key)).map(|key| key.name).collect()
    }

    /// A few of its keys, for a message.
    fn example(&self) -> String {
        let required = self.names(|key| matches!(key.need, Need::Required));
        let names = if required.is_empty() { self.names(|_| true) } else { required };
        let parts: Vec<String> = names.iter().take(3).map(|name| format!("{name} = ...")).collect();
        parts.join(", ")
    }
}

pub(super) const fn required(name: &'static str, kind: Kind, doc: &'static str) -> Key {
    Key { name, need: Need::Required, kind, doc }
}

pub(super) const fn optional(name: &'static str, kind: Kind, doc: &'static str) -> Key {
    Key { name, need: Need::Optional, kind, doc }
}

pub(super) const fn one_of(name: &'static str, kind: Kind, doc: &'static str) -> Key {
    Key { name, need: Need::OneOf, kind, doc }
}

pub(super) const fn any_of(name: &'static str, kind: Kind, doc: &'static str) -> Key {
    Key { name, need: Need::AnyOf, kind, doc }
}

const MS_PER_DAY: i64 = 86_400_000;
const MILLION: u64 = 1_000_000;
/// A hundred thousand litres, in nl.
const MOST_VOLUME: i64 = 100_000_000_000_000;
/// A thousand litres, in nl: what a record of the device holds is a tenth more.
const MOST_KEPT: i64 = 1_000_000_000_000;
/// A hundred years of 365.25 days.
const LONGEST_RUN: i64 = 36_525 * MS_PER_DAY;

/// More than nothing.
pub(super) const A_VOLUME: Kind = Kind::Volume(range(1, MOST_VOLUME));
/// Nothing, or more.
pub(super) const ANY_VOLUME: Kind = Kind::Volume(range(0, MOST_VOLUME));
/// More than nothing, that the device keeps a record of.
pub(super) const KEPT_VOLUME: Kind = Kind::Volume(range(1, MOST_KEPT));
/// Nothing, or more, that the device keeps a record of.
pub(super) const ANY_KEPT_VOLUME: Kind = Kind::Volume(range(0, MOST_KEPT));
/// What a `Flow` of the logic can hold.
pub(super) const A_FLOW: Kind = Kind::Flow(range(1, u32::MAX as i64));
/// More than nothing, at most the longest run.
pub(super) const A_LENGTH: Kind = Kind::Length(range(1, LONGEST_RUN));
/// Nothing, or more.
pub(super) const ANY_LENGTH: Kind = Kind::Length(range(0, LONGEST_RUN));
/// Up to a day.
pub(super) const UP_TO_A_DAY: Kind = Kind::Length(range(1, MS_PER_DAY));
/// Either sign.
pub(super) const EITHER_WAY: Kind = Kind::Length(range(-LONGEST_RUN, LONGEST_RUN));
