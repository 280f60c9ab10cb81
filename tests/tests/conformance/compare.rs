//! The table against what a program made of the same scenario.

use crate::table::{Kind, Row, Which};

/// What a program says became of a dose, or of a stretch of skipped ones.
#[derive(Clone, PartialEq, Eq, Debug)]
pub(crate) struct Got {
    pub(crate) entry: String,
    pub(crate) first: Which,
    pub(crate) last: Which,
    pub(crate) epoch: u16,
    pub(crate) revision: u16,
    pub(crate) kind: Kind,
    /// The causes of which any one will do; empty where there is none.
    pub(crate) causes: Vec<String>,
    pub(crate) least_nl: u64,
    pub(crate) most_nl: u64,
    /// How far off the program itself says that its volumes may be.
    pub(crate) slack_nl: u64,
    pub(crate) count: u64,
    /// True UTC in ms since 1970; `None` where it did not begin or the program
    /// does not say.
    pub(crate) began_utc_ms: Option<i64>,
}

impl std::fmt::Display for Got {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let ml = |nl: u64| format!("{}.{:06}", nl / 1_000_000, nl % 1_000_000);
        let began = self.began_utc_ms.and_then(|ms| jiff::Timestamp::from_millisecond(ms).ok());
        write!(
            f,
            "{} {} .. {} epoch {} rev {} {} {} {} to {} ml, {}, began {}",
            self.entry,
            self.first,
            self.last,
            self.epoch,
            self.revision,
            self.kind.word(),
            if self.causes.is_empty() { "-".to_owned() } else { self.causes.join(" or ") },
            ml(self.least_nl),
            ml(self.most_nl),
            self.count,
            began.map_or_else(|| "-".to_owned(), |at| at.to_string()),
        )
    }
}

/// Entry, revision, epoch: what a stretch has in common. Asked doses apart.
type Group<'a> = (&'a str, u16, u16, bool);

const fn is_asked(which: Which) -> bool {
    matches!(which, Which::Asked)
}

fn group_of_got(got: &Got) -> Group<'_> {
    (&got.entry, got.epoch, got.revision, is_asked(got.first))
}

fn group_of_row(row: &Row) -> Group<'_> {
    (&row.entry, row.epoch, row.revision, is_asked(row.first))
}

/// Joins what follows each other: skipped doses of one cause, so that it does
/// not matter how the device folded them, and whatever the table has as one
/// line of several doses.
fn joined(mut got: Vec<Got>, rows: &[Row]) -> Vec<Got> {
    got.sort_by(|a, b| (group_of_got(a), a.first).cmp(&(group_of_got(b), b.first)));
    let mut out: Vec<Got> = Vec::new();
    for next in got {
        let same_line = |one: &Got| {
            rows.iter().any(|row| {
                row.count > 1
                    && group_of_row(row) == group_of_got(one)
                    && row.first <= one.first
                    && next.last <= row.last
                    && row.kind == Kind::Dosed
            })
        };
        match out.last_mut() {
            Some(one)
                if group_of_got(one) == group_of_got(&next)
                    && one.kind == next.kind
                    && ((one.kind == Kind::Skipped && one.causes == next.causes)
                        || same_line(one)) =>
            {
                one.last = next.last;
                one.count += next.count;
                one.least_nl += next.least_nl;
                one.most_nl += next.most_nl;
                one.slack_nl = one.slack_nl.max(next.slack_nl);
            }
            _ => out.push(next),
        }
    }
    out
}

/// Every disagreement, in words; empty where there is none.
pub(crate) fn differences(rows: &[Row], got: Vec<Got>) -> Vec<String> {
    let mut got = joined(got, rows);
    let mut found = Vec::new();
    for row in rows {
        let at = got
            .iter()
            .position(|one| group_of_got(one) == group_of_row(row) && one.first == row.first);
        let Some(at) = at else {
            found.push(format!("line {}: {} {} is missing", row.line, row.entry, row.first));
            continue;
        };
        let one = got.swap_remove(at);
        let wrong = wrong_columns(row, &one);
        if !wrong.is_empty() {
            found.push(format!("line {}: {}: {one}", row.line, wrong.join(", ")));
        }
    }
    found.extend(got.iter().map(|one| format!("not in the table: {one}")));
    found
}

fn wrong_columns(row: &Row, one: &Got) -> Vec<&'static str> {
    let mut wrong = Vec::new();
    let mut check = |right: bool, column| {
        if !right {
            wrong.push(column);
        }
    };
    check(row.last == one.last, "last due");
    check(row.kind == one.kind, "outcome");
    let caused = matches!(row.kind, Kind::Part | Kind::Skipped);
    check(!caused || row.causes.iter().any(|cause| one.causes.contains(cause)), "cause");
    check(row.least.is_none_or(|least| least.allows(one.least_nl, one.slack_nl)), "least");
    check(row.most.is_none_or(|most| most.allows(one.most_nl, one.slack_nl)), "most");
    check(row.count == one.count, "count");
    if let (Some(began), Some(utc_ms)) = (row.began, one.began_utc_ms) {
        check(began.utc_ms.abs_diff(utc_ms) <= began.off_by_ms, "began");
    }
    wrong
}
