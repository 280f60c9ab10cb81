//! What is said of the weeks that are not drawn.

use maud::{Markup, html};

use super::super::figure::dated;
use super::super::unusual::{Kind, Left};
use crate::words::plural;

/// Kinds of what they show that are told one by one.
const MOST_KINDS: usize = 20;

fn word(kind: Kind<'_>) -> String {
    match kind {
        (word, "") => word.to_owned(),
        ("alarm", which) => format!("alarm: {which}"),
        (word, cause) => format!("{word}, {cause}"),
    }
}

/// How many there are, what they have, and what none that is drawn shows, each with the
/// week that shows most of it.
pub(super) fn words(left: &Left<'_>, date: impl Fn(usize) -> String) -> Markup {
    let all = left.usual + left.alike + left.own;
    if all == 0 {
        return html! {};
    }
    let verb = |count: usize, one: &'static str, many: &'static str| {
        if count == 1 { one } else { many }
    };
    if left.usual == all {
        let weeks = plural(all as u64, "week");
        let are = verb(all, "is", "are");
        return html! { p class="note" { (weeks) " in which everything went as usual " (are) " not drawn." } };
    }
    let mut parts = Vec::new();
    if left.usual > 0 {
        parts.push(format!("in {} everything went as usual", left.usual));
    }
    if left.alike > 0 {
        let show = verb(left.alike, "shows", "show");
        parts.push(format!("{} {show} nothing that those above do not show", left.alike));
    }
    if left.own > 0 {
        parts.push(format!("{} {} something else", left.own, verb(left.own, "shows", "show")));
    }
    let end = if left.own > 0 { ":" } else { "." };
    let said = format!(
        "{} {} not drawn: {}{end}",
        plural(all as u64, "week"),
        verb(all, "is", "are"),
        parts.join(", ")
    );
    html! {
        p class="note" { (said) }
        @if left.own > 0 {
            ul class="note" {
                @for (kind, weeks) in left.kinds.iter().take(MOST_KINDS) {
                    @let first = weeks.first().copied().unwrap_or_default();
                    @let more = match weeks.len() { 0 | 1 => String::new(), many => format!(" and {} more", many - 1) };
                    li { (dated(&format!("{}: week of Monday {}{more}", word(*kind), date(first)))) }
                }
                @if let Some(more) = left.kinds.len().checked_sub(MOST_KINDS).filter(|more| *more > 0) {
                    li { "and " (more) " more such things" }
                }
            }
        }
    }
}
