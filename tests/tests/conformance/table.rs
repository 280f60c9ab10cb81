//! The expected outcomes of a case: `NAME.dues`, as conformance/README.md lays
//! it out.

use jiff::civil::DateTime;

/// The header line, column by column.
pub(crate) const COLUMNS: [&str; 10] =
    ["entry", "due", "epoch", "rev", "outcome", "cause", "least ml", "most ml", "count", "began"];
/// How far off a volume may be where the table does not say, in nl: at 60
/// ml/min one millisecond of flow.
const TOLERANCE_NL: u64 = 1_000;
/// How far off a begin may be, in ms: plain, and with `~`.
const TO_THE_SECOND_MS: u64 = 1_000;
const TO_THE_MINUTE_MS: u64 = 60_000;

/// Which dose of an entry.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub(crate) enum Which {
    /// Minutes of local time since 1970-01-01 00:00.
    Weekly(i64),
    /// The n-th of an interval.
    Interval(i64),
    /// Asked for by an operator.
    Asked,
}

impl std::fmt::Display for Which {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Weekly(minute) => {
                let day = jiff::civil::date(1970, 1, 1)
                    .saturating_add(jiff::Span::new().days(minute.div_euclid(1440)));
                let minute = minute.rem_euclid(1440);
                write!(f, "{day} {:02}:{:02}", minute / 60, minute % 60)
            }
            Self::Interval(n) => write!(f, "#{n}"),
            Self::Asked => f.write_str("asked"),
        }
    }
}

/// An outcome word.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(crate) enum Kind {
    Dosed,
    Part,
    Skipped,
    Open,
}

impl Kind {
    pub(crate) const ALL: [Self; 4] = [Self::Dosed, Self::Part, Self::Skipped, Self::Open];

    pub(crate) const fn word(self) -> &'static str {
        match self {
            Self::Dosed => "dosed",
            Self::Part => "part",
            Self::Skipped => "skipped",
            Self::Open => "open",
        }
    }
}

/// A volume, and how far off it may be.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(crate) struct Delivered {
    pub(crate) nl: u64,
    pub(crate) off_by_nl: u64,
}

impl Delivered {
    /// Whether it can be this volume, itself so far off at most.
    pub(crate) const fn allows(self, nl: u64, slack_nl: u64) -> bool {
        self.nl.abs_diff(nl) <= self.off_by_nl + slack_nl
    }
}

/// When the pump first ran.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(crate) struct Began {
    /// True UTC in ms since 1970.
    pub(crate) utc_ms: i64,
    /// As written, in seconds east.
    pub(crate) offset_s: i32,
    pub(crate) off_by_ms: u64,
}

/// A line of the table.
#[derive(Clone, PartialEq, Eq, Debug)]
pub(crate) struct Row {
    /// Line of the file, from 1.
    pub(crate) line: usize,
    pub(crate) entry: String,
    pub(crate) first: Which,
    pub(crate) last: Which,
    pub(crate) epoch: u16,
    pub(crate) revision: u16,
    pub(crate) kind: Kind,
    /// The causes of which any one will do; empty where there is none.
    pub(crate) causes: Vec<String>,
    /// `None` where open.
    pub(crate) least: Option<Delivered>,
    pub(crate) most: Option<Delivered>,
    pub(crate) count: u64,
    pub(crate) began: Option<Began>,
}

/// A table with the comments above it.
#[derive(Debug)]
pub(crate) struct Table {
    pub(crate) why: String,
    pub(crate) rows: Vec<Row>,
}

/// Reads a table; an error names its line and column.
pub(crate) fn read(text: &str) -> Result<Table, String> {
    let mut why = String::new();
    let mut rows = Vec::new();
    let mut header = false;
    for (index, line) in text.lines().enumerate() {
        let number = index + 1;
        if let Some(comment) = line.strip_prefix('#') {
            why.push_str(comment.trim());
            why.push('\n');
            continue;
        }
        if line.trim().is_empty() {
            continue;
        }
        let cells: Vec<&str> = line.split('|').map(str::trim).collect();
        if header {
            rows.push(row(number, &cells).map_err(|what| format!("line {number}: {what}"))?);
        } else if cells == COLUMNS {
            header = true;
        } else {
            return Err(format!("line {number}: the header has to be {}", COLUMNS.join(" | ")));
        }
    }
    if !header {
        return Err("there is no header line".to_owned());
    }
    Ok(Table { why, rows })
}

fn row(line: usize, cells: &[&str]) -> Result<Row, String> {
    let [entry, due, epoch, revision, outcome, cause, least, most, count, began] = cells else {
        return Err(format!("there are {} columns, not {}", cells.len(), COLUMNS.len()));
    };
    if entry.is_empty() {
        return Err("entry: no name".to_owned());
    }
    let (first, last) = match due.split_once("..") {
        Some((first, last)) => (which(first.trim())?, which(last.trim())?),
        None => (which(due)?, which(due)?),
    };
    let kind = Kind::ALL
        .into_iter()
        .find(|kind| kind.word() == *outcome)
        .ok_or_else(|| format!("outcome: {outcome:?} is none"))?;
    Ok(Row {
        line,
        entry: (*entry).to_owned(),
        first,
        last,
        epoch: number("epoch", epoch)?,
        revision: number("rev", revision)?,
        kind,
        causes: if *cause == "-" {
            Vec::new()
        } else {
            cause.split(" or ").map(str::to_owned).collect()
        },
        least: delivered("least", least)?,
        most: delivered("most", most)?,
        count: number("count", count)?,
        began: instant(began)?,
    })
}

fn number<T: std::str::FromStr>(column: &str, text: &str) -> Result<T, String> {
    text.parse().map_err(|_| format!("{column}: {text:?} is no whole number in its range"))
}

fn which(text: &str) -> Result<Which, String> {
    if text == "asked" {
        return Ok(Which::Asked);
    }
    if let Some(n) = text.strip_prefix('#') {
        return number("due", n).map(Which::Interval);
    }
    let local: DateTime = match text.split_once(' ') {
        Some((date, time)) if time.len() == 5 => format!("{date}T{time}").parse().ok(),
        _ => None,
    }
    .ok_or_else(|| format!("due: {text:?} is no date and time such as 2026-10-20 00:45"))?;
    let midnight = jiff::civil::date(1970, 1, 1);
    let days = midnight.until(local.date()).map_err(|error| format!("due: {error}"))?.get_days();
    Ok(Which::Weekly(
        i64::from(days) * 1440 + i64::from(local.hour()) * 60 + i64::from(local.minute()),
    ))
}

/// Millilitres with up to six decimals, as nanolitres.
fn nl(text: &str) -> Option<u64> {
    let (whole, decimals) = text.split_once('.').unwrap_or((text, ""));
    if whole.is_empty()
        || decimals.len() > 6
        || !(whole.to_owned() + decimals).bytes().all(|byte| byte.is_ascii_digit())
    {
        return None;
    }
    format!("{whole}{decimals:0<6}").parse().ok()
}

fn delivered(column: &str, text: &str) -> Result<Option<Delivered>, String> {
    if text == "-" {
        return Ok(None);
    }
    let (volume, off_by) = match text.split_once('±') {
        Some((volume, off_by)) => (nl(volume.trim()), nl(off_by.trim())),
        None => (nl(text), Some(TOLERANCE_NL)),
    };
    match (volume, off_by) {
        (Some(nl), Some(off_by_nl)) => Ok(Some(Delivered { nl, off_by_nl })),
        _ => Err(format!("{column} ml: {text:?} is no volume such as 37.5 or 37.5 ±4")),
    }
}

fn instant(text: &str) -> Result<Option<Began>, String> {
    if text == "-" {
        return Ok(None);
    }
    let (text, off_by_ms) =
        text.strip_prefix('~').map_or((text, TO_THE_SECOND_MS), |text| (text, TO_THE_MINUTE_MS));
    let bad = || format!("began: {text:?} is no instant such as 2026-10-20T00:45:00+02:00");
    let pieces =
        jiff::fmt::temporal::DateTimeParser::new().parse_timestamp(text).map_err(|_| bad())?;
    let offset_s = if text.ends_with('Z') {
        0
    } else {
        let (hours, minutes) = text
            .get(text.len().saturating_sub(6)..)
            .and_then(|o| o.split_once(':'))
            .ok_or_else(bad)?;
        let sign = if hours.starts_with('-') { -1 } else { 1 };
        let hours: i32 = hours.parse().map_err(|_| bad())?;
        let minutes: i32 = minutes.parse().map_err(|_| bad())?;
        hours * 3600 + sign * minutes * 60
    };
    Ok(Some(Began { utc_ms: pieces.as_millisecond(), offset_s, off_by_ms }))
}
